"""Strength, bending, fatigue and plates against numbers printed elsewhere; each test names its source."""

import math

import pytest
from reference.plates import clamped_rectangle

from forgeprops.face.ball_impact import strike_load
from forgeprops.hosel.bending_moment import elastic_modulus_mm3, plastic_modulus_mm3
from forgeprops.hosel.fatigue import roessle_fatemi, uniform_material_law
from forgeprops.strength.hardness_scales import convert_hardness
from forgeprops.strength.tensile import strength


@pytest.mark.parametrize("hv, ys, ts", [(200, 484.5, 647.0), (400, 1059.7, 1393.8), (550, 1491.1, 1953.9)])  # fmt: skip
def test_pavlina_van_tyne_2008(hv, ys, ts):
    s = strength(hv)  # published coefficients, worked by hand
    assert (s.branch, s.yield_se_mpa, s.tensile_se_mpa) == ("all data", 102, 112)
    assert s.yield_mpa == pytest.approx(ys, abs=0.06)
    assert s.tensile_mpa == pytest.approx(ts, abs=0.06)


# Read whole in a supplier's data sheet (1020 normalised, 100 mm bar: not a row of the fit).
def test_1020_normalised_100_mm_bar():
    s = strength(121 / 0.95, {"ferrite": 0.77, "pearlite": 0.23})
    assert s.tensile_mpa == pytest.approx(415, rel=0.05)
    assert s.yield_mpa == pytest.approx(281, rel=0.15)
    assert s.elongation == pytest.approx(0.36, rel=0.1)
    assert s.reduction_of_area == pytest.approx(0.666, abs=0.06)


def test_published_section_values():
    # Solid 200 mm bar, 250 MPa: Zp 1 333 333 mm³, shape factor 1.6977, Mp 333.333 kN m
    # (a public worked example, read).
    assert plastic_modulus_mm3(200.0) == pytest.approx(1_333_333, abs=1)
    shape = plastic_modulus_mm3(200.0) / elastic_modulus_mm3(200.0)
    assert shape == pytest.approx(1.6977, abs=5e-5)
    assert 250 * plastic_modulus_mm3(200.0) / 1e6 == pytest.approx(333.333, abs=1e-3)
    # Structural hollow section 48.3 × 4.0: Wel 5.70, Wpl 7.87 cm³ (EN 10210-2, from memory).
    assert elastic_modulus_mm3(48.3, 40.3) / 1000 == pytest.approx(5.70, abs=0.005)
    assert plastic_modulus_mm3(48.3, 40.3) / 1000 == pytest.approx(7.87, abs=0.005)


def test_metals_15_2025_780_result_rows():
    # Published results, read: uniform law 750.00 MPa, 0.5900; Roessle–Fatemi 866.75 MPa, 0.5941.  The inputs
    # were not printed; 750.00 means a tensile strength of 500 MPa, 866.75 means HB 151, with E = 210 GPa.
    # Only the ductilities test anything: the strengths gave the inputs.
    assert uniform_material_law(500.0, 210_000.0).ductility == 0.59
    steel = roessle_fatemi(convert_hardness(151, "HB", "HV"), 210_000.0)
    assert steel.ductility == pytest.approx(0.5941, abs=5e-5)


def test_published_driver_force():
    # Published: peak up to 13.3 kN (rules body, equipment studies), 8.9–13.3 kN (a public page), head 200 g, 50 m/s.
    force, patch, _ = strike_load(200, 50, 14, 0.825)
    assert 8900 < force < 13_300
    assert 9 < patch < 13  # 10–13 mm for a full driver strike, from memory


# Roark Table 11.4 case 8b (read): all edges fixed, load on a small central circle.
ROARK = {
    1.0: (-0.238, 0.7542, 0.0611), 1.4: (0.011, 0.9624, 0.0754), 1.8: (0.068, 1.000, 0.0786),
    2.0: (0.067, 1.004, 0.0788)}  # fmt: skip


@pytest.mark.parametrize("ratio", ROARK)
def test_clamped_rectangle_against_roark(ratio):
    b1, b2, alpha = ROARK[ratio]
    b, r = 40.0, 4.0  # small against the span, large against the mesh of shape functions
    c = clamped_rectangle(ratio * b, b, r)
    expected = 3 / (2 * math.pi) * (1.3 * math.log(2 * b / (math.pi * r)) + b1)
    assert c.centre == pytest.approx(expected, rel=0.012)
    assert c.edge == pytest.approx(b2, rel=0.025)  # a point load; ours is spread
    assert c.edge < b2
    assert clamped_rectangle(ratio * b, b, 1.0).deflection == pytest.approx(alpha, rel=0.02)
