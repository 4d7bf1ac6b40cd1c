"""Colours hold up on a grey print and under simulated colour-blindness."""

import itertools

import numpy as np
import pytest

from forgeprops.show import style

FAMILIES = {
    "zones": [style.zone_look(z).colour for z in style.ZONES],
    "phases": [style.phase_look(p).colour for p in style.PHASES if p != "untransformed"],
    "series": [s.colour for s in style.SERIES],
}


@pytest.mark.parametrize("family", FAMILIES)
def test_grey_print_keeps_the_family_apart(family):
    lightness = sorted(map(style.grey_lightness, FAMILIES[family]))
    assert np.diff(lightness).min() > 8.0


@pytest.mark.parametrize("family", FAMILIES)
def test_colour_blind_readers_tell_them_apart(family, eyes):
    for kind in eyes.KINDS:
        nearest = min(
            eyes.difference(a, b, kind) for a, b in itertools.combinations(FAMILIES[family], 2)
        )
        assert nearest > eyes.APART, kind


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
