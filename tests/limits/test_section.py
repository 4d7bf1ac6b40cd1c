"""Moment–curvature of the hosel: published values, closed forms, an independent fibre model, quadrature."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import beta

from forgeprops.hosel import bending_moment as bm
from forgeprops.strength.tensile import BRANCHES, FlowCurve, strength

E = 205_000.0


def section_of(outside, bore, curve, k):
    return bm.Section.of(np.broadcast_to(outside, np.shape(k)), bore, curve)


def moment_nmm(*case):
    return section_of(*case).moment_slope(np.asarray(case[-1], float))[0]


def shape_factor(outside, bore=0.0):
    return bm.plastic_modulus_mm3(outside, bore) / bm.elastic_modulus_mm3(outside, bore)


def perfectly_plastic(yield_mpa, youngs=E):
    return FlowCurve(youngs, yield_mpa, 0.0, 0.0, 0.5)


# ---- an independent fibre model: any width, thin strips, midpoint rule ----


def fibre_moment(stress, width, low, high, k, strips=40_000):
    edges = np.linspace(low, high, strips + 1)
    y = 0.5 * (edges[1:] + edges[:-1])
    return float(np.sum(stress(k * y) * y * width(y)) * (edges[1] - edges[0]))


def tube_width(outside, bore):
    big, small = outside / 2, bore / 2
    return lambda y: (
        2 * (np.sqrt(np.maximum(big**2 - y**2, 0)) - np.sqrt(np.maximum(small**2 - y**2, 0)))
    )


def test_beer_johnston_rectangular_beam_by_the_fibre_model():
    # Beer & Johnston, Mechanics of Materials, plastic bending (numbers from memory, each recomputed): 50 ×
    # 120 mm, 240 MPa, 200 GPa, 36.8 kN m: My 28.8 kN m, elastic half-depth 40 mm, R 33.3 m; unloaded R 225
    # m, residual 35.5 and −66.7 MPa.
    curve = perfectly_plastic(240.0, 200_000.0)

    def moment(k):
        return fibre_moment(curve.stress_mpa, lambda y: 50.0 + 0 * y, -60, 60, k)

    k = brentq(lambda k: moment(k) - 36.8e6, 1e-6, 1e-3)
    inertia = 50 * 120**3 / 12
    assert 240 * inertia / 60 == pytest.approx(28.8e6)
    assert 240 / (200_000 * k) == pytest.approx(40.0, rel=1e-3)  # elastic half-depth
    assert 1 / k == pytest.approx(33.3e3, rel=2e-3)
    assert 1 / (k - 36.8e6 / (200_000 * inertia)) == pytest.approx(225e3, rel=1e-2)
    assert 240 - 36.8e6 * 40 / inertia == pytest.approx(35.5, abs=0.2)
    assert 240 - 36.8e6 * 60 / inertia == pytest.approx(-66.7, abs=0.1)


# ---- closed forms ----


def test_shape_factor_limits():
    assert shape_factor(10.0) == pytest.approx(16 / (3 * math.pi), rel=1e-12)
    assert shape_factor(10.0, 9.9999) == pytest.approx(4 / math.pi, rel=1e-4)


@pytest.mark.parametrize(("outside", "bore", "inertia", "ze", "zp", "f"), [
    (12.5, 9.5, 798.6, 127.78, 182.62, 1.4293), (12.5, 9.0, 876.4, 140.22, 204.02, 1.4550),
    (13.0, 9.4, 1018.7, 156.73, 227.74, 1.4531), (13.5, 9.4, 1247.2, 184.77, 271.63, 1.4701),
    (13.5, 9.0, 1308.4, 193.83, 288.56, 1.4887), (14.0, 9.4, 1502.5, 214.64, 318.90, 1.4857),
    (13.5, 0.0, 1630.4, 241.55, 410.06, 1.6977),
])  # fmt: skip
def test_hosel_sections_worked_by_hand(outside, bore, inertia, ze, zp, f):
    assert bm.second_moment_mm4(outside, bore) == pytest.approx(inertia, rel=1e-4)
    assert bm.elastic_modulus_mm3(outside, bore) == pytest.approx(ze, rel=1e-4)
    assert bm.plastic_modulus_mm3(outside, bore) == pytest.approx(zp, rel=1e-4)
    assert shape_factor(outside, bore) == pytest.approx(f, abs=1e-4)


@pytest.mark.parametrize(("ratio", "expected"), [
    (1, 1.0), (1.25, 1.1998), (1.5, 1.3004), (2, 1.3806), (3, 1.4317), (5, 1.4565), (10, 1.4667),
    (20, 1.4693),
])  # fmt: skip
def test_perfectly_plastic_tube_worked_by_hand(ratio, expected):
    curve = perfectly_plastic(350.0)
    first = 350 * bm.elastic_modulus_mm3(13.5, 9.4)
    yields = 350 / (E * 6.75)
    found = moment_nmm(13.5, 9.4, curve, ratio * yields) / first
    assert found == pytest.approx(expected, abs=1e-4)
    assert moment_nmm(13.5, 9.4, curve, 2 * yields) / 1000 == pytest.approx(89.28, abs=0.01)


@pytest.mark.parametrize("bore", [0.0, 5.0, 9.4, 12.5])
def test_elastic_and_fully_plastic_limits(bore):
    curve = perfectly_plastic(350.0)
    ky = 350 / (E * 6.75)
    expected = 0.5 * ky * E * bm.second_moment_mm4(13.5, bore)
    assert moment_nmm(13.5, bore, curve, 0.5 * ky) == pytest.approx(expected, rel=1e-12)
    expected = 350 * bm.plastic_modulus_mm3(13.5, bore)
    assert moment_nmm(13.5, bore, curve, 1e4 * ky) == pytest.approx(expected, rel=1e-6)


def test_linear_hardening_closed_form():
    # M = (1 − Et/E) M_epp + Et I k; here the hardening stress is Et' (e − e_y) above the plateau with Et' =
    # Et.
    tangent = 2000.0
    curve = FlowCurve(E, 350.0, 0.0, tangent, 1.0)
    for k in (3e-4, 1e-3, 5e-3):
        exact = (1 - tangent / E) * moment_nmm(13.5, 9.4, perfectly_plastic(350.0), k)
        exact += tangent * bm.second_moment_mm4(13.5, 9.4) * k
        assert moment_nmm(13.5, 9.4, curve, k) == pytest.approx(exact, rel=1e-6)


def test_power_law_closed_form():
    # a tube whose stress is K e^n has M = K k^n 2 (R^(n+3) - r^(n+3)) B(n/2 + 1, 3/2) (derived)
    j = 2 * (6.75**3.2 - 4.7**3.2) * beta(0.2 / 2 + 1, 1.5)
    exact = 700 * 0.0021**0.2 * j
    assert exact == pytest.approx(74_358, abs=1)
    curve = FlowCurve(E, 1e-3, 0.0, 700.0, 0.2)  # with a vanishing yield
    assert moment_nmm(13.5, 9.4, curve, 0.0021) == pytest.approx(exact, rel=1e-3)


# Worked with a hand integration: perfectly plastic 13.5 × 9.4, uniform moment, E 205 GPa (springback,
# strain at 2°).
@pytest.mark.parametrize(("sy", "length", "moment", "spring", "strain"), [
    (300, 10, 81.5, 0.18, 2.57), (300, 20, 81.4, 0.36, 1.39), (350, 15, 95.0, 0.32, 1.82),
    (350, 20, 94.9, 0.42, 1.43), (450, 15, 122.0, 0.41, 1.89), (600, 15, 162.6, 0.55, 2.00),
    (800, 10, 217, 0.49, 2.93), (800, 20, 216, 0.96, 1.75),
])  # fmt: skip
def test_springback_table(sy, length, moment, spring, strain):
    curve, inertia = perfectly_plastic(float(sy)), bm.second_moment_mm4(13.5, 9.4)

    def kept(k):
        return math.degrees(length * (k - float(moment_nmm(13.5, 9.4, curve, k)) / (E * inertia)))

    k = brentq(lambda k: kept(k) - 2.0, 1e-5, 0.1)
    m = float(moment_nmm(13.5, 9.4, curve, k))
    assert m / 1000 == pytest.approx(moment, rel=8e-3)  # the table gives one moment for 1 to 4°
    assert math.degrees(length * m / (E * inertia)) == pytest.approx(spring, abs=0.006)
    assert 100 * k * 6.75 == pytest.approx(strain, abs=0.01)


# ---- independent integration of the same flow curve ----


@pytest.mark.parametrize("branch", BRANCHES)
@pytest.mark.parametrize("hv", [120, 150, 210, 320, 450])
@pytest.mark.parametrize(("outside", "bore"), [(13.4, 9.4), (13.5, 0.0)])
def test_quadrature_and_fibres_agree(branch, hv, outside, bore):
    curve, big, small = strength(hv, branch=branch).curve, outside / 2, bore / 2
    for k in (3e-4, 1e-3, 4e-3, 1.2e-2):

        def part(y, k=k):
            inner = math.sqrt(small**2 - y * y) if y < small else 0.0
            return 4 * float(curve.stress_mpa(k * y)) * y * (math.sqrt(big**2 - y * y) - inner)

        fronts = (curve.yield_mpa / E / k, curve.hardening_starts / k, small)
        cuts = sorted({0.0, big, *(x for x in fronts if 0 < x < big)})
        ends = zip(cuts, cuts[1:], strict=False)
        exact = sum(quad(part, a, b, epsrel=1e-10, limit=200)[0] for a, b in ends)
        ours = float(moment_nmm(outside, bore, curve, k))
        assert ours == pytest.approx(exact, rel=1e-7)
        strips = fibre_moment(curve.stress_mpa, tube_width(outside, bore), -big, big, k, 4000)
        assert ours == pytest.approx(strips, rel=5e-4)


def test_slope_is_the_derivative_and_inverse_returns():
    for hv in (130, 250, 400):
        curve = strength(hv, branch="ferrite-pearlite").curve
        k = np.geomspace(1e-4, 2e-2, 40)
        section = section_of(13.4, 9.4, curve, k)
        moment, slope = section.moment_slope(k)
        up = moment_nmm(13.4, 9.4, curve, k * 1.00001)
        down = moment_nmm(13.4, 9.4, curve, k * 0.99999)
        assert slope == pytest.approx((up - down) / (2e-5 * k), rel=2e-3)
        assert (slope > 0).all()
        assert section.curvature(moment) == pytest.approx(k, rel=1e-9)
        assert section.curvature(moment, 0.05) == pytest.approx(k, rel=1e-9)


# ---- eccentric bore ----


def test_centred_bore_by_the_eccentric_path():
    for hv in (150, 320):
        curve = strength(hv).curve
        for k in (2e-4, 1e-3, 5e-3):
            moment, fibre = bm.eccentric_section(13.4, 9.4, 0.0, curve, k)
            assert moment == pytest.approx(float(moment_nmm(13.4, 9.4, curve, k)), rel=1e-6)
            assert fibre == pytest.approx(6.7, abs=1e-6)


def test_elastic_eccentric_bore_by_the_parallel_axis_theorem():
    curve, off, k = strength(320).curve, 0.4, 1e-5
    outer, inner = math.pi * 6.7**2, math.pi * 4.7**2
    shift = inner * off / (outer - inner)
    inertia = bm.second_moment_mm4(13.4) + outer * shift**2
    inertia -= bm.second_moment_mm4(9.4) + inner * (off + shift) ** 2
    moment, fibre = bm.eccentric_section(13.4, 9.4, off, curve, k)
    assert moment == pytest.approx(E * inertia * k, rel=1e-6)
    assert fibre == pytest.approx(6.7 + shift, rel=1e-6)


def test_plastic_eccentric_bore_by_equal_areas():
    # Perfectly plastic: the neutral axis halves the area; moment = yield × first moment of the halves, by
    # fibres.
    off, curve = 0.4, perfectly_plastic(300.0)

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
