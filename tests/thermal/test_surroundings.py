"""Air, radiation, neighbours and furnace.

Published numbers stand in tests/published/test_textbook_heat.py.  Here: a table of the same laws evaluated
apart from this package with CoolProp air (derived), quadrature, geometry, limits.
"""

import math

import numpy as np
import pytest
from checks import refuses
from scipy.integrate import quad

from forgeprops.base.constants import STEFAN_BOLTZMANN
from forgeprops.inputs.later import COOLING
from forgeprops.thermal import surroundings as su
from forgeprops.thermal.properties import air

#: 13.5 mm cylinder, still air 25 °C, emissivity 0.8: surface °C, natural, radiation, total, forced at 2 m/s,
#: W/(m² K).
CYLINDER = [
    (300, 12.0, 16.5, 28.5, 39.8), (500, 12.9, 33.4, 46.3, 39.3), (700, 13.5, 59.7, 73.2, 39.0),
    (800, 13.7, 77.2, 90.9, 38.8), (850, 13.8, 87.1, 100.9, 38.8), (900, 13.9, 97.8, 111.7, 38.7),
    (950, 14.0, 109.4, 123.3, 38.7),
]  # fmt: skip


@pytest.mark.parametrize(("surface", "natural", "radiation", "total", "forced"), CYLINDER)
def test_cylinder_table(surface, natural, radiation, total, forced):
    h_n = su.natural_convection_cylinder_w_m2k(surface, 25.0, 13.5)
    h_r = su.radiation_w_m2k(surface, 25.0, 0.8)
    assert h_n == pytest.approx(natural, abs=0.06)
    assert h_r == pytest.approx(radiation, abs=0.06)
    assert h_n + h_r == pytest.approx(total, abs=0.1)
    assert su.forced_cylinder_w_m2k(surface, 25.0, 13.5, 2.0) == pytest.approx(forced, abs=0.11)


def test_plate_40_mm_high_and_sigma_from_its_definition():
    plate = [su.natural_convection_plate_w_m2k(t, 25.0, 40.0) for t in (200.0, 950.0)]
    assert plate == pytest.approx([10.1, 12.4], abs=0.06)
    k, h, c = 1.380649e-23, 6.62607015e-34, 299792458.0
    assert STEFAN_BOLTZMANN == pytest.approx(2 * math.pi**5 * k**4 / (15 * h**3 * c**2), rel=1e-6)


#: Diameter mm, time 800→500 °C s, rate at 700 °C K/s: lumped cylinder from 900 °C, cp 600 J/(kg K), density
#: 7700.
LUMPED = [
    (10, 88.6, 4.36), (13.5, 122.5, 3.17), (20, 185.6, 2.10), (30, 283.9, 1.38),
    (50, 482.0, 0.81),
]  # fmt: skip


@pytest.mark.parametrize(("diameter", "t85", "rate"), LUMPED)
def test_lumped_cylinder_in_still_air(diameter, t85, rate):
    """Derived apart from this package with CoolProp air and the same laws."""

    def kelvin_per_s(t):
        h = su.natural_convection_cylinder_w_m2k(t, 25.0, diameter) + su.radiation_w_m2k(
            t, 25.0, 0.8
        )
        return float(h) * (t - 25.0) * 4 / (diameter * 1e-3 * 7700 * 600)

    assert quad(lambda t: 1 / kelvin_per_s(t), 500, 800)[0] == pytest.approx(t85, rel=2e-3)
    assert kelvin_per_s(700.0) == pytest.approx(rate, abs=0.006)


def test_convection_by_shape_and_speed():
    surface = np.array([200.0, 600.0, 900.0])
    still = su.convection_w_m2k("round", surface, 25.0, 14.0)
    assert still == pytest.approx(su.natural_convection_cylinder_w_m2k(surface, 25.0, 14.0))
    for shape, size in (("round", 14.0), ("plate", 44.0)):
        speeds = (0.0, 0.01, 1.0, 3.0, 10.0)
        rising = [su.convection_w_m2k(shape, surface, 25.0, size, v) for v in speeds]
        assert (np.diff(rising, axis=0) >= 0).all()
        assert rising[1] == pytest.approx(rising[0], rel=0.02)  # no jump as the fan stops
    refuses("shape 'cube' is unknown", su.convection_w_m2k, "cube", surface, 25.0, 14.0)


def test_forced_plate_against_the_local_law_integrated():
    """Mean of the laminar local law 0.332 Re^½ Pr^⅓ k/x is the 0.664 form."""
    speed, length = 3.0, 44.0
    film = air((600.0 + 25.0) / 2)

    def at(x):
        reynolds = speed * x / film.viscosity_m2_s
        return 0.332 * math.sqrt(reynolds) * film.prandtl ** (1 / 3) * film.conductivity_w_mk / x

    local = quad(at, 0, length * 1e-3)[0] / (length * 1e-3)
    assert su.forced_plate_w_m2k(600.0, 25.0, length, speed) == pytest.approx(local, rel=1e-6)


# ---- radiation and neighbours


def test_row_view_factor_by_drawing_the_strings_and_opening_with_the_pitch():
    """Crossed strings round two equal circles, their lengths built from tangent segments and arcs."""
    for pitch, size in ((60.0, 48.0), (100.0, 48.0), (49.0, 48.0)):
        r = size / 2
        # inner tangents cross half way: tangent length from the crossing, and the arc from the outer touch
        # point
        half = pitch / 2
        tangent = math.sqrt(half**2 - r**2)
        arc = r * (math.pi / 2 - math.acos(r / half))
        # two of each; F = (sum − sum) / (2 × perimeter)
        crossed, uncrossed = 2 * (tangent + arc), pitch
        factor = (2 * crossed - 2 * uncrossed) / (2 * 2 * math.pi * r)
        assert 1 - su.row_view_factor(pitch, size) == pytest.approx(2 * factor, rel=1e-12)
    factors = [su.row_view_factor(p, 48.0) for p in (48, 60, 100, 1000, 10_000)]
    assert factors == sorted(factors)
    assert factors[0] == pytest.approx(1 - 2 * (0.5 - 1 / math.pi))  # touching
    assert factors[-1] == pytest.approx(1.0, abs=0.002)
    refuses("Pitch of the row 40 mm", su.row_view_factor, 40.0, 48.0)


def test_every_surrounding_of_the_route_is_known():
    assert set(su.NEIGHBOURS) == set(COOLING)
    for kind in COOLING:
        around = su.neighbours(kind)
        assert 0 < around.view_factor <= 1 and around.reason and around.basis
    bin_, row, single = (su.neighbours(kind).view_factor for kind in ("bin", "row", "single"))
    assert bin_ < row < single == 1
    refuses("did you mean 'bin'", su.neighbours, "bins")


def test_sleeve_limits():
    bare = 100.0
    assert su.sleeve_w_m2k(bare, 14.0, 1e-6, 0.15) == pytest.approx(bare, rel=1e-3)  # no sleeve
    assert su.sleeve_w_m2k(15.0, 14.0, 10.0, 0.15) < 0.2 * bare
    # thin sleeve on a wide round is a flat slab: 1/(d/k + 1/h)
    expected = 1 / (10e-3 / 0.15 + 1 / 20)
    assert su.sleeve_w_m2k(20.0, 1e5, 10.0, 0.15) == pytest.approx(expected, rel=1e-3)
