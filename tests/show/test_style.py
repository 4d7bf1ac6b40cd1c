"""Colours hold up on a grey print and under simulated colour-blindness."""

import itertools

import numpy as np
import pytest

from forgeprops.show import style

# Full-strength matrices of Machado, Oliveira & Fernandes 2009 (IEEE TVCG 15(6)), linear RGB; from memory.
BLINDNESS = {
    "normal": np.eye(3),
    "red": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "green": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "blue": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)


def lab(colour, matrix):
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    x = XYZ @ np.clip(matrix @ linear, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(x > 0.008856, np.cbrt(x), 7.787 * x + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


FAMILIES = {
    "zones": [style.zone_look(z).colour for z in style.ZONES],
    "phases": [style.phase_look(p).colour for p in style.PHASES if p != "untransformed"],
    "series": [s.colour for s in style.SERIES],
}


@pytest.mark.parametrize("family", FAMILIES)
def test_grey_print_keeps_the_family_apart(family):
    assert style.least_grey_step(FAMILIES[family]) > 8.0


@pytest.mark.parametrize("kind", BLINDNESS)
@pytest.mark.parametrize("family", FAMILIES)
def test_colour_blind_readers_tell_them_apart(family, kind):
    nearest = min(
        np.linalg.norm(lab(a, BLINDNESS[kind]) - lab(b, BLINDNESS[kind]))
        for a, b in itertools.combinations(FAMILIES[family], 2)
    )
    assert nearest > 20.0  # a difference of about 2 is just seen side by side


def test_zone_lines_stand_out_from_paper():
    assert all(style.grey_lightness(style.zone_look(z).colour) < 72 for z in style.ZONES)


def test_lines_differ_without_colour():
    dashes = [str(style.zone_look(z).dash) for z in style.ZONES]
    markers = [style.zone_look(z).marker for z in style.ZONES]
    assert len(set(dashes)) == len(set(markers)) == len(style.ZONES)


@pytest.mark.parametrize("name", [style.TEMPERATURE_MAP, style.HARDNESS_MAP])
def test_colour_maps_rise_in_lightness(name):
    import matplotlib as mpl

    steps = [mpl.colors.to_hex(c) for c in mpl.colormaps[name](np.linspace(0, 1, 40))]
    assert np.all(np.diff([style.grey_lightness(c) for c in steps]) > 0)


def test_look_leaves_the_users_settings_alone():
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    with style.look():
        assert mpl.rcParams["axes.spines.top"] is False
    assert dict(mpl.rcParams) == before
