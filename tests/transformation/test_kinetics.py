"""Rate equations and one step of decomposition: extent, ferrite limit, constants; additive, whole, martensite by its law."""

import math

import numpy as np
import pytest
from engine.formulas import Formulas
from reference import engine_laws as laws
from scipy.integrate import quad

import forgeprops as fp
from forgeprops.base.tables import read_rows
from forgeprops.engine import packing
from forgeprops.transformation import decomposition as d
from forgeprops.transformation import kinetics as ki
from forgeprops.transformation import temperatures as tp
from forgeprops.transformation.austenite import FERRITE_CARBON

STEEL_4140 = {"C": 0.40, "Mn": 0.85, "Si": 0.25, "Ni": 0.0, "Cr": 0.95, "Mo": 0.20}


@pytest.mark.parametrize("x, s", [(0.01, 0.104), (0.5, 1.026), (0.99, 1.947), (1.0, 2.052)])
def test_extent_li_1998(x, s):
    # computed apart from this package, to the digits given
    forward, _, _ = ki.extent_tables()
    assert laws.extent_of(x, forward, 0) == pytest.approx(s, abs=0.001)


@pytest.mark.parametrize("tail", [0.0, 1.5, 4.0])
@pytest.mark.parametrize("x", [1e-4, 0.03, 0.4, 0.83, 0.999])
def test_bainite_extent_by_quadrature(x, tail):
    forward, _, _ = ki.extent_tables(tail)

    def extent(u):
        return math.exp(tail * u * u) / (u ** (0.4 * (1 - u)) * (1 - u) ** (0.4 * u))

    exact, _ = quad(extent, 0.0, x)
    # straight lines between the points: in the last cells before 1 the integrand turns up steeply
    assert laws.extent_of(x, forward, 1) == pytest.approx(exact, rel=2e-3 if x < 0.99 else 0.02)


def test_ferrite_cap_is_the_lever_rule_above_ae1_and_falls_with_undercooling_to_what_was_seen_in_1045():
    # Callister: 0.20 C at the eutectoid (0.76 C): (0.76 - 0.20) / (0.76 - 0.022)
    carbon, ae1 = 0.20, 727.0
    ae3 = ae1 + ki.AE3_SLOPE_C * (0.76 - carbon)
    for rich in (0.76, 0.5 * (0.76 + carbon)):
        found = laws.ferrite_cap(ae3 - ki.AE3_SLOPE_C * (rich - carbon), ae1, ae3, carbon)
        assert found == pytest.approx((rich - 0.20) / (rich - 0.022), abs=1e-9)
    assert laws.ferrite_cap(ae3, ae1, ae3, carbon) == 0.0
    # centre of a water-quenched 50 mm 1045 bar: about 20 % ferrite, 42 % by the lever rule (Esfahani, Babaei
    # & Sarrami-Foroushani 2020, doi 10.1016/j.matcom.2020.07.016; read)
    carbon, ae1 = 0.45, 720.0
    ae3 = ae1 + ki.AE3_SLOPE_C * (0.76 - carbon)
    t = np.arange(ae1, 560.0, -1.0)
    caps = np.array([laws.ferrite_cap(x, ae1, ae3, carbon) for x in t])
    assert caps[0] == pytest.approx(0.42, abs=0.005) and all(np.diff(caps) <= 0.0)
    assert 610.0 < t[caps < 0.20][0] < 690.0  # where a quenched carbon steel makes its ferrite


def test_published_factors_li_1998():
    # by hand from Li et al. 1998 (coefficients from memory), which has no floors; the term of Mo is its square root at 0.22
    no_floor = {"ferrite_f0": -math.inf, "pearlite_f0": -math.inf}
    assert ki.mo_term(0.22) == pytest.approx(math.sqrt(0.22))
    f = 1.00 + 6.31 * 0.40 + 1.78 * 0.85 + 0.31 * 0.25 + 2.70 * 0.95 + 4.06 * 0.20
    p = -4.25 + 4.12 * 0.40 + 4.36 * 0.85 + 0.44 * 0.25 + 3.33 * 0.95 + 5.19 * ki.mo_term(0.20)
    b = -10.23 + 10.18 * 0.40 + 0.85 * 0.85 + 0.90 * 0.95 + 0.36 * 0.20
    found = ki.ln_composition_factors(STEEL_4140, k=ki.constants("published") | no_floor)
    assert found == pytest.approx((f, p, b))
    assert ki.kinetic_bainite_start_c(STEEL_4140) == pytest.approx(544.0, abs=1.0)


def noses(k, grain=8.0):
    """Shortest time to 1 % of 4140, s, and its temperature, °C, for ferrite, pearlite, bainite."""
    forward, _, _ = ki.extent_tables(k["bainite_tail"])
    found = []
    tops = tp.ae3_c(STEEL_4140), tp.ae1_c(STEEL_4140), ki.kinetic_bainite_start_c(STEEL_4140)
    names = ("ferrite", "pearlite", "bainite")
    for row, (name, top, power) in enumerate(zip(names, tops, (3, 3, 2), strict=True)):
        ln_f = ki.ln_composition_factors(STEEL_4140, k=k)[row]
        t = np.arange(350.0, float(top) - 1.0)
        ln_k, q = k[f"grain_{name}"] * grain * math.log(2.0) - ln_f, k[f"q_{name}"]
        rate = [laws.rate_per_s(ln_k, top - u, power, q, u + 273.15) for u in t]
        s = laws.extent_of(0.01, forward, 1 if name == "bainite" else 0) / np.array(rate)
        found.append((float(s.min()), float(t[s.argmin()])))
    return found


def test_noses_of_4140():
    # computed apart from this package with Q = 27.5 kcal/mol, G = 8, Ae3 of Grange, Ae1 of Andrews
    published = (68.0, 611.0), (41.0, 580.0), (5.2, 465.0)
    for (seconds, at), (s, t) in zip(noses(ki.constants("published")), published, strict=True):
        assert seconds == pytest.approx(s, rel=0.10) and at == pytest.approx(t, abs=4.0)
    # isothermal diagrams of 42CrMo4 and 4140 have ferrite after 10-60 s near 650 °C, bainite after 3-10 s
    # near 450-480 °C, and pearlite after ferrite (from memory)
    (ferrite, at_f), (pearlite, _), (bainite, at_b) = noses(ki.constants())
    assert 6.0 < ferrite < 60.0 < pearlite
    assert 1.5 < bainite < 10.0
    assert 590.0 < at_f < 660.0 and 430.0 < at_b < 490.0


def test_constants_file_says_what_was_fitted():
    rows = read_rows("fits/kinetics.csv")
    for row in rows:
        freed = bool(row["standard_error"])
        assert freed or float(row["value"]) == float(row["published"]), row["id"]
        assert row["source"] and row["basis"] and row["unit"], row["id"]
        if freed:
            assert float(row["standard_error"]) > 0.0
    # no more freed constants than steels allow: about one for three to four bars
    assert sum(bool(r["standard_error"]) for r in rows) <= 25


AE1, AE3, CARBON = 735.0, 790.0, 0.40
Q = ("q_ferrite", "q_pearlite", "q_bainite")
MS, ALPHA = 330.0, 0.018


@pytest.fixture(scope="module")
def law():
    """The engine with one Ms and one martensite law for all carbons."""
    case = np.zeros(1, packing.CASE)
    case["ae1"], case["bainite_limit"], case["temper_q_k"] = AE1, 540.0, 31000.0
    kin = packing.kinetic_array({**ki.constants(), **dict.fromkeys(Q, 27500.0)})
    return Formulas(case, np.repeat(np.array([[MS], [ALPHA], [600.0]]), 49, axis=1), kin)


def fresh(ln_f=-40.0, ln_p=-40.0, ln_b=-40.0, austenite=1.0):
    state = np.zeros(d.ROWS)
    state[[d.AUSTENITE, d.AUSTENITE_0]] = austenite
    state[[d.CARBON_0, d.AE3, d.T_MIN]] = CARBON, AE3, 860.0
    state[[d.K_F, d.K_P, d.K_B]] = np.exp([ln_f, ln_p, ln_b])
    return state


def hold(law, state, t_c, seconds, steps):
    for _ in range(steps):
        law.advance(state, t_c, t_c, seconds / steps, 0.0)


@pytest.mark.parametrize("t_c, ln, row", [
    (650.0, (3.0, -40.0, -40.0), d.FERRITE), (600.0, (-40.0, -2.0, -40.0), d.PEARLITE),
    (450.0, (-40.0, -40.0, 7.0), d.BAINITE),
])  # fmt: skip
def test_isothermal_hold_may_be_cut_into_steps(law, t_c, ln, row):
    one, many = fresh(*ln), fresh(*ln)
    hold(law, one, t_c, 20.0, 1)
    hold(law, many, t_c, 20.0, 1000)
    assert 0.02 < one[row] < 0.97
    assert many[row] == pytest.approx(one[row], rel=1e-6)


@pytest.mark.parametrize("share, t_c", [(0.1, 470.0), (0.5, 430.0), (0.9, 500.0)])
def test_time_to_a_share_is_the_rate_equation(law, share, t_c):
    """tau = S(X) / K: bainite alone, held until the time of the formula."""
    forward, _, _ = ki.extent_tables()
    k = laws.rate_per_s(7.0, 540.0 - t_c, 2, 27500.0, t_c + 273.15)
    state = fresh(ln_b=7.0)
    hold(law, state, t_c, laws.extent_of(share, forward, 1) / k, 7)
    assert state[d.BAINITE] == pytest.approx(share, abs=2e-4)


def test_ferrite_stops_at_its_limit(law):
    state = fresh(ln_f=12.0)
    hold(law, state, 700.0, 1e5, 40)
    cap = laws.ferrite_cap(700.0, AE1, AE3, CARBON)
    assert state[d.FERRITE] == pytest.approx(cap, abs=1e-6)
    # its carbon is in the austenite that is left
    left = (CARBON - FERRITE_CARBON * cap) / (1.0 - cap)
    assert d.carbon_of_austenite(CARBON, 1.0, cap) == pytest.approx(left)


@pytest.mark.parametrize("austenite", [1.0, 0.6])
def test_martensite_van_bohemen_law(law, austenite):
    """f = 1 - exp[-alpha (Ms - T)] of the austenite, whatever the steps (S. M. C. van Bohemen 2012)."""
    state = fresh(austenite=austenite)
    for t in np.arange(860.0, 20.0, -7.0):
        law.advance(state, t - 3.5, t - 7.0, 1e-3, 3.6e6)
        expected = austenite * (1.0 - math.exp(-ALPHA * max(MS - (t - 7.0), 0.0)))
        assert state[d.MARTENSITE] == pytest.approx(expected, abs=1e-9)
    # warming and cooling again makes none until the old temperature is passed
    before = state[d.MARTENSITE]
    for t in (150.0, 100.0, state[d.T_MIN] + 1.0):
        law.advance(state, t, t, 1e-3, 36.0)
    assert state[d.MARTENSITE] == before


@pytest.mark.parametrize("rate", [1e-3, 0.1, 3.0, 30.0, 900.0])
@pytest.mark.parametrize("name", ["1020", "1045", "4130", "4140", "4340"])
def test_shares_sum_to_one(name, rate):
    cooled = fp.continuous_cooling(fp.grade(name), rate_c_per_s=rate)
    assert sum(cooled.fractions.values()) == pytest.approx(1.0, abs=1e-9)
    for history in cooled.history.values():
        assert np.all((history >= -1e-12) & (history <= 1.0 + 1e-12))
    for product in ("ferrite", "pearlite", "bainite", "martensite"):
        assert np.all(np.diff(cooled.history[product]) >= -1e-12)


def test_quenched_steel_follows_its_own_martensite_law():
    steel = fp.grade("4340")
    cooled = fp.continuous_cooling(steel, rate_c_per_s=500.0)
    ms, alpha = float(tp.martensite_start_c(steel)), float(tp.martensite_alpha_per_k(steel))
    # fine-grained austenite starts a little lower: Ms is found from the first martensite, the rest is the law
    first = float(np.interp(0.02, cooled.history["martensite"], cooled.temperature_c))
    own = first + -math.log(0.98) / alpha
    assert own == pytest.approx(ms, abs=20.0)
    for t in (own - 60.0, own - 150.0, own - 250.0):
        share = float(np.interp(-t, -cooled.temperature_c, cooled.history["martensite"]))
        assert share == pytest.approx(1.0 - math.exp(-alpha * (own - t)), abs=0.01)


@pytest.mark.parametrize("name", "1020 1045 4118 4130 SCM435 4140 4340 5140 8620".split())
def test_slower_cooling_is_not_harder(name):
    # 1 HV of slack: hardness lines are lines in log10 of the rate, shares are not
    rates = np.geomspace(0.01, 300.0, 25)
    hv = [fp.continuous_cooling(fp.grade(name), rate_c_per_s=r).hardness_hv for r in rates]
    assert np.all(np.diff(hv) > -1.0), np.round(hv, 1)


def test_grain_and_alloy_harden():
    cooled = (fp.continuous_cooling(fp.grade("4130"), rate_c_per_s=3.0, grain_size_astm=g) for g in (9.0, 7.0, 5.0))  # fmt: skip
    hv = [c.hardness_hv for c in cooled]
    assert hv[0] < hv[1] < hv[2]
    plain = fp.Steel("plain", {"C": 0.3, "Mn": 0.5, "Si": 0.25, "Cr": 0.0, "Mo": 0.0, "Ni": 0.0})
    lean, rich = (fp.continuous_cooling(s, rate_c_per_s=2.0).hardness_hv for s in (plain, fp.grade("4130")))  # fmt: skip
    assert lean < rich


@pytest.mark.parametrize("rates, t_c, row", [
    ({"ln_f": 0.0}, 700.0, "LOG_V_FP"), ({"ln_b": 6.0}, 450.0, "LOG_V_B"),
])  # fmt: skip
@pytest.mark.parametrize("rate_c_per_h, log_v", [(36_000.0, math.log10(36_000.0)), (1.0, math.log10(d.LEAST_RATE_C_PER_H))])  # fmt: skip
def test_each_product_remembers_the_rate_it_formed_at(law, rates, t_c, row, rate_c_per_h, log_v):
    """The lines of hardness go by the logarithm of the rate: share by share, and never below the floor."""
    state = fresh(**rates)
    gone = law.advance(state, t_c, t_c, 1.0, rate_c_per_h)
    at = ("LOG_V_FP", "LOG_V_B").index(row)
    assert gone[at] > 1e-6 and sum(gone) == pytest.approx(gone[at])
    assert state[getattr(d, row)] == pytest.approx(gone[at] * log_v)


@pytest.mark.parametrize("again_c, share", [(425.0, 0.5), (480.0, 1.0)])
def test_re_heated_bainite_goes_by_the_rate_at_700_degrees(law, again_c, share):
    """Undercooled by water and re-heated by the body it is no softer than its quick cooling made it."""
    state = fresh(ln_b=4.0)
    for t in np.arange(860.0, 400.0, -20.0):
        law.advance(state, t - 10.0, t - 20.0, 1e-9, 360_000.0 if t > 680.0 else 72_000.0)
    # the mean over the window of 680 to 720 °C
    assert state[d.PASSED_700] == pytest.approx(1.0) and state[d.T_MIN] == 400.0
    assert state[d.LOG_V_700] == pytest.approx(math.log10(360_000.0))
    before = state[d.LOG_V_B]
    _, gone, _ = law.advance(state, again_c, again_c, 1.0, -3600.0)
    floor, quick = math.log10(d.LEAST_RATE_C_PER_H), state[d.LOG_V_700]
    expected = floor + share * (quick - floor)
    assert gone > 1e-6 and state[d.LOG_V_B] - before == pytest.approx(gone * expected)
    # above 700 °C again it is forgotten
    law.advance(state, 720.0, 720.0, 1.0, 1800.0)
    assert state[d.PASSED_700] == 0.0
    law.advance(state, 710.0, 700.0, 1.0, 1800.0)
    assert state[d.LOG_V_700] == pytest.approx(0.5 * math.log10(1800.0))
