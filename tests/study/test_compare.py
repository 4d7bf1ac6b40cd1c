"""Limits, line costs, and the comparison of grades: against single estimates and sums by hand."""

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.limits import QUANTITIES, Limits
from forgeprops.study.process.line_cost import Line, line_arrays


def test_margins_count_in_steps():
    bounds = {"face_hardness_hv": (380, 460), "hosel_allowed_deg": (2.0, None)}
    wanted = Limits(**bounds, press_force_kn=(None, 9000))
    table = {
        "face_hardness_hv": np.array([400.0, 470.0, np.nan]),
        "press_force_kn": np.full(3, 8000.0),
    }
    table["hosel_allowed_deg"] = np.array([1.6, 3.0, 3.0])
    margins = wanted.margins(table)
    names = "face hardness at least 380 HV|face hardness at most 460 HV|hosel bend at least 2°|press force at most 9000 kN"
    assert list(margins) == names.split("|")
    step = QUANTITIES["face_hardness_hv"].step
    assert margins["face hardness at most 460 HV"][:2].tolist() == [60 / step, -10 / step]
    first = pytest.approx(-0.4 / QUANTITIES["hosel_allowed_deg"].step)
    assert wanted.slack(table).tolist() == [first, -10 / step, -np.inf]
    assert wanted.meets(table).tolist() == [False, False, False]
    assert wanted.binding(table)[0] == "hosel bend at least 2°"


@pytest.mark.parametrize("bounds, words", [
    ({"face_hardness": (1, 2)}, "did you mean 'face_hardness_hv'"),
    ({"face_hardness_hv": 400}, "must be a pair"),
    ({"face_hardness_hv": (None, None)}, "has no end"),
    ({"face_hardness_hv": (460, 380)}, "must be below"),
    ({"face_hardness_hv": ("a", None)}, "must be a number"),
    ({"face_hardness_hv": (1, 2, 3)}, "must be a pair"),
])  # fmt: skip
def test_bad_limits_are_refused(bounds, words):
    refuses(words, Limits, **bounds)


def test_line_by_hand():
    wet = fp.Route().with_(rest_s=0.5, dwell_s=0.05, delay_s=2.0, spray_s=10.0, flux=12.0)
    dry = fp.Route(spray=None).with_(soak_s=3600.0)
    routes = [wet.with_(soak_s=900.0), wet.with_(back_on_die=True), dry]
    n, line = len(routes), Line(handling_s=4.0, furnace_heads=100.0, footprint_mm=(80, 50))
    parts = [fp.grade("4130")] * n, [fp.head("mid-iron")] * n, routes, [fp.Shop(delay_s=0.5)] * n
    made = line_arrays(Cases.of(*parts), line)
    # press: 4 + 0.5 + 0.05, and with the back on the die 2 + 0.5 + 10 more
    assert made["press_s"].tolist() == pytest.approx([4.55, 17.05, 4.55])
    # slowest: the spray place 12.5 s; the press 17.05 s; the furnace 36 s
    assert made["heads_per_hour"].tolist() == pytest.approx([3600 / 12.5, 3600 / 17.05, 100.0])
    assert made["held_up_by"].tolist() == ["spray", "press", "furnace"]
    # 12 kg/(m² s) on 0.004 m² for 10 s
    assert made["water_l"].tolist() == pytest.approx([0.48, 0.48, 0.0], rel=0.01)


@pytest.fixture(scope="module")
def found():
    bounds = {"face_hardness_hv": (300, 520), "hosel_allowed_deg": (1.5, None)}
    wanted = Limits(**bounds, press_effort=(None, 1.1))
    return fp.compare(["1020", "1030", "4130", "4140"], [860, 920], "mid-iron", None, wanted)


def test_table_is_of_single_estimates(found):
    pairs = [[g, t] for g in ("1020", "1030", "4130", "4140") for t in (860.0, 920.0)]
    assert found.table[["grade", "preheat_c"]].values.tolist() == pairs
    for i in (2, 5):
        row = found.table.iloc[i]
        one = fp.estimate(row["grade"], "mid-iron", fp.Route().with_(preheat_c=row["preheat_c"]))
        expected = {
            "face_hardness_hv": one.zones["face"].hardness_hv, "hosel_allowed_deg": one.hosel.allowed_deg, "scale_um": one.scale_um,
            "face_margin": one.face.margin, "press_force_kn": one.effort.press_force.kn, "flow_stress_mpa": one.effort.mean_mpa,
        }  # fmt: skip
        assert {name: row[name] for name in expected} == pytest.approx(expected, rel=1e-9)
        assert row["warnings"].count(";") < 20
    plain = fp.compare(["1030"], [900.0], reference=("1030", 900.0)).table
    assert plain["press_effort"].tolist() == pytest.approx([1.0])
    by_grade = found.table.set_index(["grade", "preheat_c"])["press_effort"]
    assert by_grade["4130", 860.0] > by_grade["1030", 860.0] > by_grade["1030", 920.0]


def test_ranking_by_the_users_own_limits(found):
    t = found.table
    assert sorted(t["rank"]) == list(range(1, 9))
    best = t.sort_values("rank")
    assert best["meets"].tolist() == sorted(t["meets"], reverse=True)  # those that meet come first
    met = best[best["meets"]]  # the surest first, alike within 5 % by slack; what misses by slack
    least = np.round(np.fmin(met["chance_right"], met["heads_inside"] / 100) / 0.05)
    assert (np.diff(least) <= 0).all() and (np.diff(best["slack"][len(met) :]) <= 1e-12).all()
    row = met.iloc[0]
    job = fp.Job(row["grade"], limits=found.limits).with_(preheat_c=row["preheat_c"])
    one = fp.estimate(job).verdict
    assert row["chance_right"] == pytest.approx(one.chance_right, abs=0.06)
    assert row["heads_inside"] == pytest.approx(one.heads_inside, abs=6)
    meets = t["face_hardness_hv"].between(300, 520) & (t["hosel_allowed_deg"] >= 1.5)
    meets &= (t["press_effort"] <= 1.1) & ~t["warnings"].str.contains("quench-crack|burning")
    assert meets.tolist() == t["meets"].tolist() and meets.any() and not meets.all()
    soft = Limits(hosel_allowed_deg=(3.4, None))
    other = fp.compare(["1020", "1030", "4130", "4140"], [860, 920], limits=soft)
    # other limits, other order: the wall ends both soft grades, 1030 a tenth of a degree later
    assert other.best["grade"] == "1030" != found.best["grade"]
    assert found.best["grade"] in found.words() and "<table" in found._repr_html_()


def test_a_warning_that_says_stop_comes_last():
    limits = fp.Limits.hard_thin_face()
    found = fp.compare(["1045", "8620"], [900], limits=limits)
    assert "quench-crack" in found.table["warnings"][0] and found.best["grade"] == "8620"
    cracks = fp.compare(["1045"], [900], limits=limits)
    assert not cracks.best["meets"] and "quench-crack" in cracks.words()


def test_a_set_shares_its_furnace():
    heads = ["long-iron", "mid-iron", "wedge"]
    wanted = Limits(hosel_allowed_deg=(2.0, None), scale_um=(None, 90))
    found = fp.compare(["1030", "4130", "1020"], [860, 940], heads, None, wanted)
    assert len(found.table) == 6
    assert found.table["head"].tolist() == [h for h in heads for _ in range(2)]
    assert found.table["grade"].tolist() == ["1030"] * 2 + ["4130"] * 2 + ["1020"] * 2
    for row in found.sets.itertuples():
        mine = found.table[found.table["preheat_c"] == row.preheat_c]
        assert row.meets == mine["meets"].all() and row.slack == mine["slack"].min()
        assert row.worst_head == mine.loc[mine["slack"].idxmin(), "head"]
        assert row.water_l == pytest.approx(mine["water_l"].sum())
    assert found.best["preheat_c"] == 860.0  # a hotter furnace scales too much
    # each head may have its own route; the preheat temperature stays shared
    routes = [fp.Route(), {"flux": 6}, {"spray": None}]
    own = fp.compare(["1030", "4130", "1020"], [900], heads, routes, wanted).table
    assert own["water_l"].iloc[2] == 0.0 < own["water_l"].iloc[1] < own["water_l"].iloc[0]


@pytest.mark.parametrize("arguments, words", [
    ((["1030", "4130"], [900], ["wedge", "mid-iron", "long-iron"]), "3 heads, 2 grades"),
    (([], [900]), "grades is empty"), ((["1030"], []), "preheats_c is empty"),
    ((["103"], [900]), "grade '103'"),
    ((["1030"], [9000]), "Preheat temperature 9000"),
    ((["1030"], [900], None, [{}, {}]), "2 routes for one head"),
    ((["1030"], [900], None, None, {"face_hardness_hv": (1, 2)}), "must be Limits"),
])  # fmt: skip
def test_bad_comparisons_are_refused(arguments, words):
    refuses(words, fp.compare, *arguments)


def test_forging_temperatures_are_met_by_every_grade():
    found = fp.compare(["1030", "4130"], forgings_c=[850, 900]).table
    assert found["forging_c"].tolist() == pytest.approx([850, 900] * 2, abs=1.5)
    assert (found["preheat_c"] > found["forging_c"] + 10).all()
    assert (found["quench_start_c"] < found["forging_c"]).all()
    refuses("Forging temperature 2000", fp.compare, ["1030"], forgings_c=[2000])
    heads = ["wedge", "mid-iron"]
    refuses("shares its furnace", fp.compare, ["1030"], head=heads, forgings_c=[900])
