"""Scatter: distributions, indices and capability against closed forms, honest shares; the window: maps against single estimates."""

import math

import numpy as np
import pytest
from checks import refuses
from scipy import stats

import forgeprops as fp
from forgeprops.answer.interval import LN_SPRAY_SD
from forgeprops.answer.remedy import step_of
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.settings import setting, settings
from forgeprops.study.process import scattering as sc
from forgeprops.study.process import study as study_module
from forgeprops.study.process.process_window import Axis, _largest_box
from forgeprops.study.process.study import Study, answers

# Ishigami & Homma 1990 with a = 7, b = 0.1 (closed form, derived from the variances; the usual printing has
# 0.3139, 0.4424, 0 and 0.5576, 0.4424, 0.2437)
A, B = 7.0, 0.1
V1, V2, V13 = 0.5 * (1 + B * math.pi**4 / 5) ** 2, A**2 / 8, B**2 * math.pi**8 * (1 / 18 - 1 / 50)
VARIANCE = V1 + V2 + V13
FIRST = np.array([V1, V2, 0.0]) / VARIANCE
TOTAL = np.array([V1 + V13, V2, V13]) / VARIANCE


def ishigami(x):
    return np.sin(x[..., 0]) + A * np.sin(x[..., 1]) ** 2 + B * x[..., 2] ** 4 * np.sin(x[..., 0])


def test_indices_on_ishigami_and_by_another_library():
    u = sc.even_numbers(4096, 6, 1)
    a, b = (math.pi * (2 * part - 1) for part in (u[:, :3], u[:, 3:]))
    fa, fb, fab = ishigami(a), ishigami(b), ishigami(sc.swap(a, b))
    found = sc.variance_indices("xyz", fa, fb, fab)
    assert found["first"].to_numpy() == pytest.approx(FIRST, abs=0.015)
    assert found["total"].to_numpy() == pytest.approx(TOTAL, abs=0.01)
    # the intervals hold the truth (each 95 %, so one of six may miss)
    lows, highs = (*found.first_low, *found.total_low), (*found.first_high, *found.total_high)
    held = [a <= t <= b for a, b, t in zip(lows, highs, (*FIRST, *TOTAL), strict=True)]
    assert sum(held) >= 5
    salib = pytest.importorskip("SALib.analyze.sobol")
    # SALib's order: A, AB_1 ... AB_d, B of each row after the other
    y = np.stack([fa, *fab, fb], axis=1).ravel()
    problem = {"num_vars": 3, "names": list("xyz"), "bounds": [[-math.pi, math.pi]] * 3}
    theirs = salib.analyze(problem, y, calc_second_order=False, seed=1, num_resamples=20)
    assert found["first"].to_numpy() == pytest.approx(theirs["S1"], abs=0.02)
    assert found["total"].to_numpy() == pytest.approx(theirs["ST"], abs=0.02)


@pytest.mark.parametrize("spread, exact", [
    (sc.Spread("normal", 8.0), stats.norm(930, 8.0)),
    (sc.Spread("relative", 0.02), stats.norm(930, 0.02 * 930)),
    (sc.Spread("uniform", 20.0), stats.uniform(910, 40)),
    (sc.Spread("lognormal", 0.05), stats.lognorm(0.05, scale=930)),
])  # fmt: skip
def test_quantiles_are_those_of_the_distribution(spread, exact):
    drawn = sc.Input(setting("preheat_c"), 930.0, spread, 20.0, 1340.0)
    u = np.linspace(0.001, 0.999, 201)
    np.testing.assert_allclose(drawn.quantile(u), exact.ppf(u), rtol=1e-9)
    assert spread.sd(930.0) == pytest.approx(exact.std(), rel=1e-9)


def test_quantiles_and_wilsons_interval():
    drawn = sc.Input(setting("delay_s"), 0.3, sc.Spread("normal", 0.5), 0.0, 600.0)
    u = np.linspace(0.001, 0.999, 101)
    exact = stats.truncnorm((0.0 - 0.3) / 0.5, (600.0 - 0.3) / 0.5, 0.3, 0.5)
    np.testing.assert_allclose(drawn.quantile(u), exact.ppf(u), rtol=1e-7, atol=1e-9)
    assert drawn.quantile(u).min() >= 0.0
    assert setting("shop_spray").spread.value == pytest.approx(LN_SPRAY_SD, abs=5e-5)
    # Wilson 1927 by hand: (p + z²/2n ± z √(p(1-p)/n + z²/4n²)) / (1 + z²/n)
    for k, n in ((0, 50), (5, 100), (400, 1000)):
        z, p = stats.norm.ppf(0.975), k / n
        mid, half = (p + z * z / 2 / n), z * math.sqrt(p * (1 - p) / n + z * z / 4 / n / n)
        low, high = ((mid + s * half) / (1 + z * z / n) for s in (-1, 1))
        assert sc.share_of(np.arange(n) < k) == pytest.approx((p, low, high), abs=1e-12)


def test_inputs_follow_route_shop_and_steel():
    steel = fp.grade("4130")
    names = [i.name for i in sc.inputs_of(Study(steel))]
    assert {"flux", "delay_s", "C", "Mo", "face_thickness_mm", "shop_spray"} <= set(names)
    dry = [i.name for i in sc.inputs_of(Study(steel, route=fp.Route(spray=None)))]
    assert not {"flux", "delay_s", "water_c"} & set(dry)
    grade = {i.name: i for i in sc.inputs_of(Study(steel), chemistry="grade")}
    low, high = steel.limits["Cr"]
    assert (grade["Cr"].low, grade["Cr"].high, grade["Cr"].middle) == (low, high, (low + high) / 2)
    fitted = fp.Shop(spray=1.3, fitted=("spray",), standard_errors=(0.039,))
    mine = {i.name: i for i in sc.inputs_of(Study(steel, shop=fitted))}
    assert mine["shop_spray"].spread == sc.Spread("relative", 0.03)
    none = {i.name for i in sc.inputs_of(Study(steel), {"flux": 0, "shop_spray": 0}, "fixed")}
    assert not none & {"flux", "shop_spray", "C"}


@pytest.mark.parametrize("spread, chemistry, words", [
    ({"fluxx": 1}, "heat", "did you mean 'flux'"),
    ({"flux": "much"}, "heat", "spread of flux must be .*'much'"),
    ({"flux": ("even", 1)}, "heat", "kind of spread 'even'"),
    ({"flux": -1}, "heat", "Normal spread -1"), (5, "heat", "spread must be .*5"),
    (None, "mill", "chemistry 'mill'"), (None, "grade", "has no limits"),
])  # fmt: skip
def test_bad_spreads_are_refused(spread, chemistry, words):
    refuses(words, sc.inputs_of, Study(fp.Steel("mine", {"C": 0.3})), spread, chemistry)


def test_capability_of_normal_and_other_processes():
    x = stats.norm(400, 10).ppf((np.arange(20_000) + 0.5) / 20_000)
    found = sc.capability(x, 370.0, 450.0)
    assert found["cp"] == pytest.approx(80 / 60, rel=2e-3)
    assert found["cpk"] == pytest.approx(1.0, rel=2e-3)
    assert found["cpk_by_percentiles"] == pytest.approx(found["cpk"], rel=0.02) and found["normal"]
    assert sc.capability(x, 370.0, None)["cp"] is None
    x = stats.expon(0, 10).ppf((np.arange(20_000) + 0.5) / 20_000)
    found = sc.capability(x, None, 80.0)
    assert not found["normal"] and found["skewness"] > 1.5
    # exp(-8) = 0.03 % are above 80; Cpk of 2.3 promises far fewer, the percentile form does not
    top, median = -10 * math.log(0.00135), 10 * math.log(2)
    assert found["cpk"] > 2.3
    assert found["cpk_by_percentiles"] == pytest.approx((80 - median) / (top - median), rel=0.01)


@pytest.fixture(scope="module")
def study():
    limits = fp.Limits(face_hardness_hv=(400, 470), hosel_allowed_deg=(2.5, None))
    quantities = ["slack", "face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg"]
    spread = {"shop_spray": ("lognormal", 0.15)}
    how = {"n": 256, "indices": 32, "quantities": quantities, "seed": 5}
    return fp.scatter("4130", None, None, spread, limits, **how)


def test_shares_are_counted_and_samples_are_single_estimates(study):
    hv, deg = study.samples["face_hardness_hv"], study.samples["hosel_allowed_deg"]
    out = (hv < 400) | (hv > 470)
    assert study.quantities.loc["face_hardness_hv", "outside"] == pytest.approx(out.mean())
    assert study.outside.share == pytest.approx((out | (deg < 2.5)).mean())
    assert study.outside.low <= study.outside.share <= study.outside.high
    assert study.quantities.loc["face_hardness_hv", "mean"] == pytest.approx(hv.mean())
    assert study.cases == 256 + 32 * len(study.inputs)
    # Three drawn cases, made as objects and estimated one by one.
    for i in (0, 255):
        values = {name: float(column[i]) for name, column in study.drawn.items()}
        one = fp.estimate(*Study(fp.grade("4130")).changed(values))
        expected = one.zones["face"].hardness_hv, one.hosel.allowed_deg, one.face.margin
        names = ("face_hardness_hv", "hosel_allowed_deg", "face_margin")
        assert [study.samples[n][i] for n in names] == pytest.approx(expected, rel=1e-9)


def test_water_decides_the_face_and_not_the_hosel(study):
    face = study.ranking("face_hardness_hv").set_index("input")["total"]
    hosel = study.ranking("hosel_hardness_hv").set_index("input")["total"]
    assert face[["shop_spray", "flux"]].sum() > 0.7
    assert abs(hosel[["shop_spray", "flux"]].sum()) < 0.1
    assert hosel["C"] + hosel["Mn"] + hosel["Cr"] > 0.2
    assert "Outside the limits" in study.words() and "Cpk" in study.words()
    assert len(study.table()) == len(study.quantities) and "<table" in study._repr_html_()


@pytest.mark.xfail(strict=True, reason="0.23: the neck, which the water reaches, counts in the bend")  # fmt: skip
def test_water_does_not_decide_the_bend(study):
    bend = study.ranking("hosel_allowed_deg").set_index("input")["total"]
    assert abs(bend[["shop_spray", "flux"]].sum()) < 0.1


def test_cancel_tells_what_was_finished(monkeypatch):
    monkeypatch.setattr(study_module, "_BETWEEN", 64)
    done = []
    watch = {"progress": lambda d, t: done.append((d, t)), "cancel": lambda: len(done) >= 2}
    found = fp.scatter("1030", n=512, **watch)
    assert found.cancelled and len(found.samples["slack"]) == 128 and not found.indices
    assert done[0] == (64, 512 + 256 * len(found.inputs))
    refuses("stopped before", fp.scatter, "1030", n=64, cancel=lambda: True)


def axis(name, low, high, n, tolerance):
    return Axis(setting(name), np.linspace(low, high, n), tolerance)


@pytest.fixture(scope="module")
def found():
    wanted = {"face_hardness_hv": (380, 470), "hosel_allowed_deg": (2.5, None)}
    limits = fp.Limits(**wanted, press_effort=(None, 1.1))
    axes = ("preheat_c", 840, 1000, 9), ("flux", 4, 20, 9)
    return fp.window("4130", "mid-iron", None, *axes, limits)


def test_maps_region_and_box_of_single_estimates(found):
    m, hv, deg = found.maps, found.maps["face_hardness_hv"], found.maps["hosel_allowed_deg"]
    assert hv.shape == (9, 9) == found.slack.shape
    for j, i in ((0, 0), (3, 5), (8, 2)):
        one = fp.estimate(fp.Job("4130").with_(preheat_c=found.x.values[i], flux=found.y.values[j]))
        expected = one.zones["face"].hardness_hv, one.hosel.allowed_deg
        assert (hv[j, i], deg[j, i]) == pytest.approx(expected, rel=1e-9)
    meets = (hv >= 380) & (hv <= 470) & (deg >= 2.5) & (m["press_effort"] <= 1.1)
    assert np.array_equal(meets, found.meets) and 0.0 < found.share < 1.0
    # with the least water the face is too soft
    assert "face hardness at least 380 HV" in set(found.binding[0])
    assert {"press_s", "heads_per_hour", "water_l", "press_effort"} <= set(m)
    assert found.centre["heads_per_hour"] > 0
    (x_low, x_high), (y_low, y_high) = found.box["preheat_c"], found.box["flux"]
    x, y = found.x.values, found.y.values
    rows, columns = (y >= y_low) & (y <= y_high), (x >= x_low) & (x <= x_high)
    inside = found.meets[np.ix_(rows, columns)]
    assert inside.size and inside.all()
    half = (x_high - x_low) / 2 / found.x.tolerance, (y_high - y_low) / 2 / found.y.tolerance
    assert found.centre["slack"] >= 0 and found.tolerances_held == pytest.approx(min(half))
    assert "largest box" in found.words() and len(found.table()) == 81


def test_box_of_a_known_rectangle_and_triangle():
    # inside 900..960 by 8..12, tolerances 10 °C and 1 kg/(m² s): half-width 2 about (930, 10), 3 along x
    ax, ay = axis("preheat_c", 880, 980, 101, 10.0), axis("flux", 6, 14, 81, 1.0)
    x, y = np.meshgrid(ax.values, ay.values)
    slack = np.minimum(np.minimum(x - 900, 960 - x) / 10, np.minimum(y - 8, 12 - y))
    centre, box, held, at_edge = _largest_box(slack, ax, ay)
    assert (centre["preheat_c"], centre["flux"]) == pytest.approx((930.0, 10.0))
    assert held == pytest.approx(2.0) and not at_edge
    assert (*box["preheat_c"], *box["flux"]) == pytest.approx((900.0, 960.0, 8.0, 12.0))
    # x + y <= 10 in tolerances from the corner of the map: the largest square has side 5
    ax, ay = axis("preheat_c", 800, 900, 101, 10.0), axis("flux", 0, 10, 101, 1.0)
    u, v = np.meshgrid((ax.values - 800) / 10, ay.values)
    centre, _, held, at_edge = _largest_box(10.0 - u - v, ax, ay)
    assert held == pytest.approx(2.5, abs=0.06) and at_edge
    assert centre["flux"] == pytest.approx(2.5, abs=0.11)


def test_nearest_is_told_any_number_is_an_axis_within_its_bounds():
    axes = {"x": ("preheat_c", 860, 940, 3), "y": ("delay_s", 1, 5, 3)}
    none = fp.window("4140", **axes, limits=fp.Limits(hosel_allowed_deg=(3, None)))
    assert none.centre is none.box is None and none.tolerances_held == none.share == 0.0
    assert "Nothing on this map" in none.words() and "hosel bend at least 3°" in none.words()
    w = fp.window("4130", x=("face_thickness_mm", 2.2, 3.2, 3), y=("C", 0.28, 0.34, 3))
    assert (np.diff(w.maps["face_margin"], axis=1) > 0).all()  # thicker is stronger
    assert (np.diff(w.maps["hosel_hardness_hv"], axis=0) > 0).all()  # more carbon is harder
    s = fp.window("4130", x=("shop_spray", 0.7, 1.4, 3), y=("delay_s", 0.5, 4, 2))
    assert (np.diff(s.maps["face_hardness_hv"], axis=1) > 0).all()
    study = Study("4130", "wedge")
    wrong = {"flux": (5.0, 99.0), "hosel_bore_mm": (9.0, 13.0), "C": (0.3, np.nan)}
    for (name, ends), words in zip(wrong.items(), ("Spray rate 99", "hosel wall", "C content"), strict=True):  # fmt: skip
        refuses(words, study.job.varied, {name: np.array(ends)})


@pytest.mark.parametrize("x, words", [
    (("preheat", 850, 950, 5), "did you mean 'preheat_c'"),
    (("preheat_c", 950, 850, 5), "from 950 to 850"),
    (("preheat_c", 850, 9999, 5), "out of range .20–1340"),
    (("preheat_c", 850, 950, 1), "Points of an axis 1"),
    (("preheat_c", 850, 950, 4.5), "whole number"), (("preheat_c", 850), "axis must be"),
    ("preheat_c", "axis must be"), (("flux", 2, 8, 5), "both axes are flux"),
    (("surroundings", 0, 1, 2), "setting to vary 'surroundings'"),
])  # fmt: skip
def test_bad_axes_are_refused(x, words):
    refuses(words, fp.window, "4130", x=x, y=("flux", 2, 20, 5))


def test_varied_cases_are_the_changed_case():
    study = Study("4130", "wedge")
    values = {"preheat_c": 905.0, "C": 0.29, "face_thickness_mm": 2.7, "shop_delay_s": 0.2}
    values["hosel_outside_mm"] = 13.1
    one = study.changed(values)
    again = Study(*one[:3], shop=one[3])
    assert [again.job.value(name) for name in values] == pytest.approx(list(values.values()))
    a = answers(study.job.varied({name: np.array([v]) for name, v in values.items()}))
    b = answers(Cases.of(*([part] for part in one)))
    for name in a:
        value = pytest.approx(b[name][0], rel=1e-9) if a[name].dtype.kind == "f" else b[name][0]
        assert a[name][0] == value
    assert len(settings()) > 60


def test_progress_and_a_cancel(monkeypatch):
    axes, done = (("preheat_c", 900, 950, 3), ("flux", 8, 12, 3)), []
    fp.window("4130", None, None, *axes, progress=lambda *counts: done.append(counts))
    assert done == [(9, 9)]
    refuses("stopped before two rows", fp.window, "4130", None, None, *axes, cancel=lambda: True)
    monkeypatch.setattr(study_module, "_BETWEEN", 7)
    axes, done = (("preheat_c", 900, 950, 3), ("flux", 8, 12, 5)), []
    options = {"progress": lambda *counts: done.append(counts), "cancel": lambda: bool(done)}
    part = fp.window("4130", None, None, *axes, fp.Limits(hosel_allowed_deg=(1, None)), **options)
    assert part.cancelled and part.slack.shape == (2, 3) and part.y.values.tolist() == [8, 9]
    assert part.words().startswith("Stopped at spray rate 9 kg/(m² s).")


def test_forging_temperature_is_an_axis_whatever_moves_it(found):
    """The metal reaches it at every transfer time; what is proposed to set is a preheat temperature."""
    limits = fp.Limits(hosel_allowed_deg=(1, None))
    axes = {"x": ("forging_c", 850, 900, 3), "y": ("transfer_s", 2, 10, 3)}
    map_ = fp.window("4130", **axes, limits=limits)
    assert map_.maps["forging_c"] == pytest.approx(np.tile([850, 875, 900], (3, 1)), abs=1.5)
    assert set(map_.proposed) == {"preheat_c", "transfer_s"}
    # what is proposed can be set, keeps the limits and is as sure as its own verdict says
    for one in (map_, found):
        steps = {"preheat_c": 5, "transfer_s": 0.5, "flux": step_of("flux")}
        for name, value in one.proposed.items():
            assert value / steps[name] == pytest.approx(round(value / steps[name]), abs=1e-6)
        verdict = fp.estimate(fp.Job("4130", limits=one.limits).with_(**one.proposed)).verdict
        assert all(s.met for s in verdict.limits)
        assert one.sure.chance_right == pytest.approx(verdict.chance_right, abs=0.06)
        assert one.sure.heads_inside == pytest.approx(verdict.heads_inside, abs=6)
