"""Strength from hardness and hardness scales: printed rows, handbook bars, Considère, smooth blends, arrays equal singles."""

import math

import numpy as np
import pytest
from checks import refuses
from fits.fit_strength import fit_strength, handbook
from scipy import stats

import forgeprops as fp
from forgeprops.base.constants import Z80
from forgeprops.base.tables import read_rows
from forgeprops.strength import hardness_scales as hs
from forgeprops.strength import tensile as t

K = {r["id"]: float(r["value"]) for r in read_rows("fits/strength_fits.csv")}


def test_refit_gives_the_stored_constants_and_errors():
    assert {name: K[name] for name in fit_strength()} == pytest.approx(fit_strength(), rel=1e-5)
    rows = handbook("quenched and tempered")
    assert np.mean(rows["tensile_mpa"] / rows["hardness_hv"]) == pytest.approx(3.12, rel=0.03)
    assert t.tensile_strength(300) == pytest.approx(3.12 * 300)
    rows = handbook("ferrite-pearlite")
    s = t.strength_arrays(rows["hardness_hv"], 1.0)
    for name in ("yield", "tensile"):
        off = rows[f"{name}_mpa"] - s[f"{name}_mpa"]
        assert np.sqrt(np.mean(off**2)) == pytest.approx(s[f"{name}_se_mpa"][0], rel=0.15)


# 4140, 25 mm, oil quenched and tempered: tension read, hardness from memory of the same table.
@pytest.mark.parametrize("hb, ys, ts, el", [(285, 834, 951, 18), (230, 655, 758, 22), (370, 1138, 1248, 13)])  # fmt: skip
def test_4140_quenched_and_tempered(hb, ys, ts, el):
    s = t.strength(hb / 0.95, {"martensite": 1.0})
    assert abs(s.tensile_mpa - ts) < 2 * s.tensile_se_mpa
    assert abs(s.yield_mpa - ys) < 2 * s.yield_se_mpa
    assert s.elongation * 100 == pytest.approx(el, rel=0.2)


@pytest.mark.parametrize("branch", t.BRANCHES)
@pytest.mark.parametrize("hv", [90, 120, 150, 210, 320, 450, 600, 800])
def test_curve_passes_yield_tensile_and_considere(branch, hv):
    s = t.strength(hv, branch=branch)
    c, e_u = s.curve, math.log1p(s.uniform_elongation)
    assert 0 < s.yield_mpa < s.tensile_mpa and 0 < s.uniform_elongation < s.elongation
    assert c.stress_mpa(c.yield_mpa / c.youngs_mpa) == pytest.approx(s.yield_mpa, rel=1e-12)
    assert c.stress_mpa(c.hardening_starts) == pytest.approx(s.yield_mpa, rel=1e-9)
    assert c.stress_mpa(e_u) / (1 + s.uniform_elongation) == pytest.approx(s.tensile_mpa, rel=1e-9)
    h = 1e-6
    slope = (c.stress_mpa(e_u + h) - c.stress_mpa(e_u - h)) / (2 * h)
    # Considère: the load is greatest there
    assert slope == pytest.approx(c.stress_mpa(e_u), rel=1e-5)
    load = [c.stress_mpa(e) * math.exp(-e) for e in np.linspace(0.01, 2 * e_u, 400)]
    assert max(load) == pytest.approx(s.tensile_mpa, rel=1e-3)
    assert 0 < c.hardening_power < 1 and c.stress_mpa(-0.02) == -c.stress_mpa(0.02)


def test_single_equals_batch_and_blend_has_no_jumps():
    share = np.linspace(0, 1, 201)
    many = t.strength_arrays(240.0, 1 - share, 0.6 * share, 0.4 * share)
    for i in (0, 57, 200):
        x = share[i]
        one = t.strength(240.0, {"ferrite": 1 - x, "bainite": 0.6 * x, "martensite": 0.4 * x})
        for name, values in many.items():
            assert getattr(one, name) == pytest.approx(values[i], rel=1e-12), name
    for name in "yield_mpa tensile_mpa uniform_elongation elongation reduction_of_area".split():
        assert np.abs(np.diff(many[name])).max() < 0.03 * many[name].mean(), name
    assert many["yield_plateau_strain"][0] == 0.015 and many["yield_plateau_strain"][-1] == 0.0
    assert (np.diff(many["yield_plateau_strain"]) <= 0).all()


def test_harder_is_stronger_and_less_ductile_by_both_estimates():
    hv = np.linspace(120, 600, 97)
    for shares in ((1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 0), (0.4, 0.4, 0.2)):
        s = t.strength_arrays(hv, *shares)
        assert (np.diff(s["tensile_mpa"]) > 0).all() and (np.diff(s["yield_mpa"]) > 0).all()
        assert (np.diff(s["elongation"]) < 0).all()
        assert (s["uniform_elongation"] < 0.8 * s["elongation"]).all()
    # ASME VIII: 0.60 (1 − YS/TS); from memory: 0.55 of the total elongation.
    for branch in t.BRANCHES:
        for hv in (130, 200, 300, 400):
            s = t.strength(hv, branch=branch)
            by_ratio = 0.6 * (1 - s.yield_mpa / s.tensile_mpa)
            low, high = sorted((by_ratio, math.log(1 + 0.55 * s.elongation)))
            assert low <= s.hardening_exponent <= high
            assert s.hardening_exponent_se > 0.19 * s.hardening_exponent


def test_outside_the_range_warns_bad_input_raises_and_odd_numbers_make_a_curve():
    assert [w.code for w in t.strength(650, {"martensite": 1}).warnings] == ["range:strength_qt"]
    plain = t.strength(300, {"martensite": 1})
    assert plain.warnings == ()
    # retained austenite is left out of the shares
    with_it = t.strength(300, {"martensite": 0.9, "austenite": 0.1})
    assert with_it.tensile_mpa == pytest.approx(plain.tensile_mpa)
    refuses("Hardness 20 HV", t.strength, 20)
    refuses("did you mean 'bainite'", t.strength, 200, {"bainit": 1})
    refuses("at least one of", t.strength, 200, {"austenite": 1})
    refuses("branch", t.strength, 200, branch="annealed")
    c = t.flow_curve(900.0, 905.0, 0.004, 0.015)  # plateau longer than the uniform strain
    assert c.hardening_power <= 1 and math.isfinite(float(c.stress_mpa(0.05)))


def test_stated_errors_by_hand():
    """Where two lines or two estimates disagree, half their distance stands beside the scatter of each."""
    s, hb = t.strength(250.0, {"bainite": 1.0}), fp.convert_hardness(250.0, "HV", "HB")
    lines = [K[f"{b}_reduction_intercept"] + K[f"{b}_reduction_slope"] * hb for b in ("fp", "qt")]
    assert s.reduction_of_area == pytest.approx(sum(lines) / 200.0)
    expected = math.hypot(K["fp_reduction_se"], (lines[1] - lines[0]) / 2.0) / 100.0
    assert s.reduction_of_area_se == pytest.approx(expected)
    by_ratio = K["uniform_asme"] * (1.0 - s.yield_mpa / s.tensile_mpa)
    by_elongation = math.log(1.0 + K["uniform_share"] * s.elongation)
    mean = math.sqrt(2.0 / (by_ratio**-2 + by_elongation**-2))
    error = mean * math.hypot(0.20, math.log(by_ratio / by_elongation) / 2.0)
    assert (s.hardening_exponent, s.hardening_exponent_se) == pytest.approx((mean, error))


def test_bainite_goes_by_its_own_two_numbers_and_nothing_is_softer_than_pure_iron():
    hard = {name: v[0] for name, v in t.strength_arrays([340.0], 0.0, 1.0).items()}
    assert hard["tensile_mpa"] == pytest.approx(340.0 * K["b_tensile_slope"])
    assert hard["yield_mpa"] == pytest.approx(hard["tensile_mpa"] * K["b_yield_ratio"])
    share = math.hypot(K["b_yield_ratio_se"], K["b_yield_ratio"] * K["b_tensile_se_share"])
    assert hard["yield_se_mpa"] == pytest.approx(hard["tensile_mpa"] * share)
    soft = t.strength_arrays([60.0] * 4, *np.eye(3, 4))
    assert np.all(soft["tensile_mpa"] >= 180.0) and np.all(soft["yield_mpa"] >= 100.0)
    assert np.all(soft["yield_mpa"] < soft["tensile_mpa"])


@pytest.mark.parametrize("branch", ["ferrite-pearlite", "quenched and tempered"])
@pytest.mark.parametrize("quantity", ["tensile", "yield"])
def test_stated_range_holds_four_fifths_of_the_handbook_bars(branch, quantity):
    """Inside the binomial 90 % band round 80 %; the bars are those of the fit."""
    bars = handbook(branch)
    shares = np.ones(len(bars["hardness_hv"])) * (branch == "ferrite-pearlite")
    found = t.strength_arrays(bars["hardness_hv"], shares, 0.0 * shares, 1.0 - shares)
    error = found[f"{quantity}_mpa"] - bars[f"{quantity}_mpa"]
    held = (np.abs(error) <= Z80 * found[f"{quantity}_se_mpa"])[np.isfinite(error)]
    low, high = stats.binom.ppf((0.05, 0.95), len(held), 0.80)
    assert low <= held.sum() <= high


def test_tensile_strength_of_normalised_bars_from_computed_hardness_has_no_bias():
    """Nine grades, 25 mm, hardness, structure and strength all calculated: within 3 % on average."""
    ratio = []
    for r in read_rows("validation/handbook_properties.csv"):
        if r["condition"].startswith("normalised "):
            hot_c = float(r["condition"].removeprefix("normalised ").removesuffix("C"))
            bar = fp.air_cooled_bar(fp.grade(r["grade"]), 25.0, hot_c)
            found = t.strength(bar.hardness_hv, bar.fractions).tensile_mpa
            ratio.append(found / float(r["tensile_mpa"]))
    assert len(ratio) == 9 and abs(np.mean(ratio) - 1.0) < 0.03


ROWS = read_rows("constants/hardness_conversion.csv")


def _pairs(table, a, b):
    return [(float(r[a]), float(r[b])) for r in ROWS if r["table"] == table and r[a] and r[b]]


@pytest.mark.parametrize("table, a, b", [
    ("E140 T1", "HV", "HRC"), ("E140 T1", "HB", "HRC"), ("E140 T1", "HV", "HB"),
    ("E140 T2", "HV", "HRB"), ("E140 T2", "HB", "HRB"),
])  # fmt: skip
def test_exact_at_every_printed_row_both_ways(table, a, b):
    pairs = _pairs(table, a, b)
    assert len(pairs) >= 40
    for x, y in pairs:
        assert hs.convert_hardness(x, a, b) == pytest.approx(y, abs=1e-9)
        assert hs.convert_hardness(y, b, a) == pytest.approx(x, abs=1e-9)


@pytest.mark.parametrize("low, high", [(0, 238), pytest.param(239, 999, marks=pytest.mark.xfail(strict=True, reason="ASTM E140, up to 1.7 HB off"))])  # fmt: skip
def test_one_brinell_relation_follows_iso_18265(low, high):
    pairs = [(hv, hb) for hv, hb in _pairs("ISO 18265 A1", "HV", "HB") if low <= hv <= high]
    assert len(pairs) > 10
    for hv, hb in pairs:
        assert hs.convert_hardness(hv, "HV", "HB") == pytest.approx(hb, abs=1.0)


def test_values_of_the_standards_and_checksum_of_the_table():
    hv = np.array([80.0, 150.0, 222.0, 238.0])  # ISO 18265: 0.95 HV up to 238
    assert hs.convert_array(hv, "HV", "HB")[0] == pytest.approx(0.95 * hv, abs=0.2)
    # HRC column of ISO 18265 table A.1 (DIN 50150), read in a public reproduction
    column = (20.3, 21.3, 22.2, 23.1, 24.0, 24.8, 25.6, 26.4)
    for hv, hrc in zip(range(240, 276, 5), column, strict=True):
        assert hs.convert_hardness(hv, "HV", "HRC") == pytest.approx(hrc, abs=0.15)
    # a changed cell must be a deliberate change
    totals = {"HV": 55966.0, "HRC": 2156.0, "HRB": 3565.0, "HB": 28870.2, "Rm_MPa": 82355.0}
    for column, total in totals.items():
        assert sum(float(r[column]) for r in ROWS if r[column]) == total, column


@pytest.mark.parametrize("a", hs.SCALES)
@pytest.mark.parametrize("b", hs.SCALES)
def test_round_trip_and_rising(a, b):
    if a == b:
        assert hs.convert_hardness(200.0, a, b) == 200.0
        return
    low, high = hs.scale_range(a, b)
    values = np.linspace(low, high, 301)
    there = np.array([hs.convert_hardness(v, a, b) for v in values])
    back = np.array([hs.convert_hardness(v, b, a) for v in there])
    assert np.all(np.diff(there) > 0) and back == pytest.approx(values, abs=1e-9)


def test_outside_the_table_bad_values_and_arrays():
    outside = "237.9 HV HRC|941 HV HRC|19.9 HRC HV|101 HRB HV|241 HV HRB|700 HV HB|40 HRC HRB"
    for value, a, b in (text.split() for text in outside.split("|")):
        assert hs.try_convert(float(value), a, b) is None
        refuses(f"{a} cannot be converted to {b}", hs.convert_hardness, float(value), a, b)
    for bad in (float("nan"), float("inf"), -1, "hard", None, True):
        refuses("(?i)hardness HV", hs.convert_hardness, bad, "HV", "HRC")
    refuses("to_scale 'HRA' is unknown; did you mean 'HR", hs.convert_hardness, 300, "HV", "HRA")
    assert hs.convert_hardness(421, "HBW", "hrc") == 45.0
    hrc, outside = hs.convert_array([100.0, 238.0, 300.0, 940.0, 1000.0], "HV", "HRC")
    assert outside.tolist() == [True, False, False, False, True]
    assert hrc[[0, 4]].tolist() == [20.0, 68.0]
    assert hrc[2] == hs.convert_hardness(300, "HV", "HRC")
