"""Moment–curvature and low-cycle fatigue of the hosel: published values, closed forms, independent models."""

import math

import numpy as np
import pytest
from reference.bending import elastic_modulus_mm3, plastic_modulus_mm3, second_moment_mm4
from reference.bending import moment_nmm as by_quadrature
from scipy.optimize import brentq
from scipy.special import beta

from forgeprops.hosel import bending_moment as bm
from forgeprops.hosel import fatigue as f
from forgeprops.strength.hardness_scales import convert_hardness
from forgeprops.strength.tensile import BRANCHES, FlowCurve, strength

E = 205_000.0


def section_of(outside, bore, curve, k):
    return bm.Section.of(np.broadcast_to(outside, np.shape(k)), bore, curve)


def moment_nmm(*case):
    return section_of(*case).moment_slope(np.asarray(case[-1], float))[0]


def shape_factor(outside, bore=0.0):
    return plastic_modulus_mm3(outside, bore) / elastic_modulus_mm3(outside, bore)


def perfectly_plastic(yield_mpa, youngs=E):
    return FlowCurve(youngs, yield_mpa, 0.0, 0.0, 0.5)


def test_shape_factor_limits_and_hosel_sections_by_hand():
    """Their moduli are rows of printed_values.csv."""
    assert shape_factor(10.0) == pytest.approx(16 / (3 * math.pi), rel=1e-12)
    assert shape_factor(10.0, 9.9999) == pytest.approx(4 / math.pi, rel=1e-4)
    for outside, bore, factor in (
        (12.5, 9.5, 1.4293), (12.5, 9.0, 1.4550), (13.0, 9.4, 1.4531), (13.5, 9.4, 1.4701), (13.5, 9.0, 1.4887),
        (14.0, 9.4, 1.4857), (13.5, 0.0, 1.6977),
    ):  # fmt: skip
        assert shape_factor(outside, bore) == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize("ratio, expected", [
    (1, 1.0), (1.25, 1.1998), (1.5, 1.3004), (2, 1.3806), (3, 1.4317), (5, 1.4565), (10, 1.4667),
    (20, 1.4693),
])  # fmt: skip
def test_perfectly_plastic_tube_worked_by_hand(ratio, expected):
    curve = perfectly_plastic(350.0)
    first = 350 * elastic_modulus_mm3(13.5, 9.4)
    yields = 350 / (E * 6.75)
    found = moment_nmm(13.5, 9.4, curve, ratio * yields) / first
    assert found == pytest.approx(expected, abs=1e-4)
    assert moment_nmm(13.5, 9.4, curve, 2 * yields) / 1000 == pytest.approx(89.28, abs=0.01)


@pytest.mark.parametrize("bore", [0.0, 5.0, 9.4, 12.5])
def test_elastic_and_fully_plastic_limits(bore):
    curve = perfectly_plastic(350.0)
    elastic, plastic = moment_nmm(13.5, bore, curve, np.array([0.5, 1e4]) * 350 / (E * 6.75))
    assert elastic == pytest.approx(0.5 * 350 / 6.75 * second_moment_mm4(13.5, bore), rel=1e-12)
    assert plastic == pytest.approx(350 * plastic_modulus_mm3(13.5, bore), rel=1e-6)


def test_linear_hardening_and_power_law_closed_forms():
    # M = (1 − Et/E) M_epp + Et I k; the hardening stress is Et (e − e_y) above the plateau
    tangent = 2000.0
    curve, k = FlowCurve(E, 350.0, 0.0, tangent, 1.0), np.array([3e-4, 1e-3, 5e-3])
    exact = (1 - tangent / E) * moment_nmm(13.5, 9.4, perfectly_plastic(350.0), k)
    exact += tangent * second_moment_mm4(13.5, 9.4) * k
    assert moment_nmm(13.5, 9.4, curve, k) == pytest.approx(exact, rel=1e-6)
    # a tube whose stress is K e^n has M = K k^n 2 (R^(n+3) - r^(n+3)) B(n/2 + 1, 3/2) (derived)
    j = 2 * (6.75**3.2 - 4.7**3.2) * beta(0.2 / 2 + 1, 1.5)
    exact = 700 * 0.0021**0.2 * j
    curve = FlowCurve(E, 1e-3, 0.0, 700.0, 0.2)  # with a vanishing yield
    assert moment_nmm(13.5, 9.4, curve, 0.0021) == pytest.approx(exact, rel=1e-3)


# Integrated by hand: perfectly plastic 13.5 × 9.4, uniform moment, 205 GPa; springback, strain at 2°.
@pytest.mark.parametrize("sy, length, moment, spring, strain", [
    (300, 10, 81.5, 0.18, 2.57), (300, 20, 81.4, 0.36, 1.39), (350, 15, 95.0, 0.32, 1.82),
    (350, 20, 94.9, 0.42, 1.43), (450, 15, 122.0, 0.41, 1.89), (600, 15, 162.6, 0.55, 2.00),
    (800, 10, 217, 0.49, 2.93), (800, 20, 216, 0.96, 1.75),
])  # fmt: skip
def test_springback_table(sy, length, moment, spring, strain):
    curve, inertia = perfectly_plastic(float(sy)), second_moment_mm4(13.5, 9.4)

    def kept(k):
        return math.degrees(length * (k - float(moment_nmm(13.5, 9.4, curve, k)) / (E * inertia)))

    k = brentq(lambda k: kept(k) - 2.0, 1e-5, 0.1)
    m = float(moment_nmm(13.5, 9.4, curve, k))
    assert m / 1000 == pytest.approx(moment, rel=8e-3)  # the table gives one moment for 1 to 4°
    assert math.degrees(length * m / (E * inertia)) == pytest.approx(spring, abs=0.006)
    assert 100 * k * 6.75 == pytest.approx(strain, abs=0.01)


@pytest.mark.parametrize("branch", BRANCHES)
@pytest.mark.parametrize("hv", [120, 150, 210, 320, 450])
@pytest.mark.parametrize("outside, bore", [(13.4, 9.4), (13.5, 0.0)])
def test_moments_of_real_steels_by_quadrature(branch, hv, outside, bore):
    curve = strength(hv, branch=branch).curve
    for k in (3e-4, 1e-3, 4e-3, 1.2e-2):
        exact = by_quadrature(curve, outside, bore, k, epsrel=1e-10, limit=200)
        assert moment_nmm(outside, bore, curve, k) == pytest.approx(exact, rel=1e-7)


def test_slope_is_the_derivative_and_inverse_returns():
    for hv in (130, 250, 400):
        curve = strength(hv, branch="ferrite-pearlite").curve
        k = np.geomspace(1e-4, 2e-2, 40)
        section = section_of(13.4, 9.4, curve, k)
        moment, slope = section.moment_slope(k)
        up, down = (moment_nmm(13.4, 9.4, curve, k * by) for by in (1.00001, 0.99999))
        assert slope == pytest.approx((up - down) / (2e-5 * k), rel=2e-3) and (slope > 0).all()
        for start in ((), (0.05,)):
            assert section.curvature(moment, *start) == pytest.approx(k, rel=1e-9)


def test_centred_bore_by_the_eccentric_path():
    for curve in (strength(150).curve, strength(320).curve):
        for k in (2e-4, 1e-3, 5e-3):
            moment, fibre = bm.eccentric_section(13.4, 9.4, 0.0, curve, k)
            assert moment == pytest.approx(float(moment_nmm(13.4, 9.4, curve, k)), rel=1e-6)
            assert fibre == pytest.approx(6.7, abs=1e-6)


def test_eccentric_bore_by_the_parallel_axis_theorem_and_by_equal_areas():
    curve, off, k = strength(320).curve, 0.4, 1e-5
    outer, inner = math.pi * 6.7**2, math.pi * 4.7**2
    shift = inner * off / (outer - inner)
    inertia = second_moment_mm4(13.4) + outer * shift**2
    inertia -= second_moment_mm4(9.4) + inner * (off + shift) ** 2
    expected = E * inertia * k, 6.7 + shift
    assert bm.eccentric_section(13.4, 9.4, off, curve, k) == pytest.approx(expected, rel=1e-6)
    # Perfectly plastic: the neutral axis halves the area; yield × first moment of the halves, by fibres.
    curve = perfectly_plastic(300.0)

    def width(y):
        outer, inner = 6.7**2 - y**2, 4.7**2 - (y - off) ** 2
        return 2 * (np.sqrt(np.maximum(outer, 0)) - np.sqrt(np.maximum(inner, 0)))

    y = np.linspace(-6.7, 6.7, 400_001)
    area = np.cumsum(width(y))
    axis = y[np.searchsorted(area, area[-1] / 2)]
    exact = 300 * np.sum(np.abs(y - axis) * width(y)) * (y[1] - y[0])
    moment, fibre = bm.eccentric_section(13.4, 9.4, off, curve, 1.0)
    assert moment == pytest.approx(exact, rel=1e-3)
    assert fibre == pytest.approx(6.7 + abs(axis), abs=2e-3)


AMPLITUDES = np.array([0.005, 0.010, 0.014, 0.020, 0.030])


@pytest.mark.parametrize("law, lives", [
    (f.roessle_fatemi(convert_hardness(150, "HB", "HV")), [5935, 1174, 577, 281, 127]),
    (f.roessle_fatemi(convert_hardness(200, "HB", "HV")), [5824, 1000, 474, 225, 100]),
    (f.roessle_fatemi(convert_hardness(300, "HB", "HV")), [6045, 706, 306, 136, 57]),
    (f.roessle_fatemi(convert_hardness(400, "HB", "HV")), [7599, 481, 183, 75, 30]),
    (f.uniform_material_law(500), [3786, 817, 415, 208, 98]), (f.uniform_material_law(1000), [6825, 822, 364, 166, 72]),
])  # fmt: skip
def test_lives_worked_independently(law, lives):
    assert f.cycles_to_crack(law, AMPLITUDES) == pytest.approx(lives, rel=0.01, abs=0.6)


def test_fatigue_methods_amplitude_and_damage_of_bends():
    for hv in (150, 200, 250, 300, 350):
        a = f.cycles_to_crack(f.roessle_fatemi(hv), 0.015)
        assert 1 / 3 < a / f.cycles_to_crack(f.uniform_material_law(3.12 * hv), 0.015) < 3
    n = np.array([1, 5, 20, 100])
    amp = f.allowed_amplitude(200, 624, n, 20.0)
    assert (np.diff(amp) < 0).all()
    laws = f.roessle_fatemi(200), f.uniform_material_law(624)
    both = np.array([f.strain_amplitude(x, 20.0 * n) for x in laws])
    assert (amp >= both.min(axis=0)).all() and (amp <= both.max(axis=0)).all()
    assert (both.max(axis=0) < 1.3 * both.min(axis=0)).all()  # the methods agree to a quarter
    assert f.miner_damage(200, 624, []) == 0.0
    one = f.miner_damage(200, 624, [0.03])
    life = np.sqrt(np.prod([f.cycles_to_crack(law, 0.015) for law in laws]))
    assert one == pytest.approx(0.5 * 3.3 / life)
    assert f.miner_damage(200, 624, [0.03, 0.03]) == pytest.approx(2 * one)


def test_plain_bend_of_known_steels():
    # Datsko & Yang: a steel of 50 % reduction folds to R/t = 1/3; below 20 % within 16 % of their 50/r − 1
    assert 1 / (1 + 2 / 3) == pytest.approx(float(f.bending_strain(0.5)), abs=1e-3)
    for r in (0.05, 0.10, 0.20):
        theirs = 1.0 / (1.0 + 2.0 * (0.5 / r - 1.0))
        assert 0.84 * theirs < float(f.bending_strain(r)) <= theirs
    strain = f.crack_strain(np.linspace(0.05, 0.75, 30), 0.1)
    assert (np.diff(strain) >= 0).all() and strain.max() <= 0.05
