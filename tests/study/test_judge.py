"""The shop: heats judged, drifts that were put in found again with honest chances, and its invented files."""

import csv
import math
import re
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from checks import refuses
from scipy.stats import norm

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.base.tables import data_path
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.head import ZONES
from forgeprops.study.process.study import Study
from forgeprops.study.shop import heat_acceptance as ha
from forgeprops.study.shop.find_cause import _FAR, _FINE, NOTHING, _ranked, causes, find_cause
from forgeprops.study.shop.measurements import HardnessReadings
from forgeprops.study.spray_plate.conduction import Plate

LIMITS = fp.Limits(face_hardness_hv=(380, 470), hosel_allowed_deg=(1.5, None))
demo = partial(data_path, "demo")


def test_a_heat_inside_is_accepted_with_the_numbers_of_an_estimate():
    wide = fp.Limits(face_hardness_hv=(330, 520), hosel_allowed_deg=(1.5, None))
    found, told = ha.judge_heat("4130", limits=wide), fp.estimate(fp.grade("4130"))
    assert found.verdict == ha.ACCEPT and not found.settings
    face = told.zones["face"]
    assert found.results["face_hardness_hv"] == pytest.approx(face.hardness_hv, abs=0.1)
    assert found.intervals["face_hardness_hv"] == (face.hardness_low_hv, face.hardness_high_hv)
    assert found.results["hosel_allowed_deg"] == pytest.approx(told.hosel.allowed_deg, abs=0.02)
    said = re.search(r"grade's range gives (\d+) to (\d+) HV", found.words())
    low, high = map(int, said.groups())
    assert low < found.results["face_hardness_hv"] < high and "80 %" in found.words()


def test_adjusted_settings_meet_the_limits_and_change_little():
    wanted = fp.Limits(face_hardness_hv=(380, None), hosel_allowed_deg=(1.5, None))
    found = ha.judge_heat("1030", limits=wanted)
    assert found.verdict == ha.ADJUST and set(found.settings) <= set(ha.TURNED)
    told = fp.estimate(fp.grade("1030"), None, fp.Route().with_(**found.settings))
    assert told.zones["face"].hardness_hv >= 380 and told.hosel.allowed_deg >= 1.5
    assert min(found.sure.by_quantity.values()) >= 0.8 and found.sure.words in found.reason
    assert "instead of" in found.reason
    assert "It misses: face hardness at least 380 HV" in found.reason
    # half of the change is not enough
    route = fp.Route()
    half = {n: 0.5 * (v + route.setting(n)) for n, v in found.settings.items()}
    assert ha.judge_heat("1030", None, route.with_(**half), wanted, turned={}).verdict == ha.HOLD


def test_settings_not_sure_enough_and_a_heat_that_none_helps():
    found = ha.judge_heat("4130", limits=LIMITS, chance=0.99)
    assert found.verdict == ha.HOLD
    assert "it is inside, but not sure enough: a chance of" in found.reason
    assert "99 % is required" in found.reason and "bring it inside" not in found.reason
    # the present settings are inside and the surest there are
    found = ha.judge_heat("4130", limits=LIMITS, chance=0.9, turned={"flux": (2.0, 12.0)})
    assert "Inside the limits, but not sure enough" in found.reason
    assert found.reason.endswith("make it surer.")
    found = ha.judge_heat("1020", limits=fp.Limits(face_hardness_hv=(480, None)))
    assert found.verdict == ha.HOLD and found.sure.chance_right < 0.05
    assert "No settings within preheat temperature 850 to 1000 °C" in found.reason
    told = ha.judge_heat("1030", limits=LIMITS, turned={})
    assert told.verdict == ha.HOLD and "No setting may be adjusted" in told.reason


def test_a_heat_outside_its_grade_or_that_may_crack_is_held_unless_allowed():
    grade = fp.grade("4130")
    rich = fp.Steel("R9", {**grade.composition, "Mo": 0.28}, limits=grade.limits)
    held = ha.judge_heat(rich, limits=LIMITS)
    assert held.verdict == ha.HOLD
    words = "Outside the grade's range: Mo 0.28 wt%, at most 0.25 is allowed. "
    assert held.reason.startswith(words)
    waived = ha.judge_heat(rich, limits=fp.Limits(face_hardness_hv=(300, None)), strict_grade=False)
    assert waived.verdict == ha.ACCEPT and "Mo 0.28" in waived.reason
    wanted = {"hosel_allowed_deg": (0.5, None)}
    held = ha.judge_heat("1045", limits=fp.Limits(**wanted), turned={})
    assert held.verdict == ha.HOLD and "warning quench-crack" in held.reason
    allowed = fp.Limits(**wanted, crack_index=(None, 3))
    assert ha.judge_heat("1045", limits=allowed).verdict == ha.ACCEPT


def test_the_whole_list_in_one_table():
    certificates = fp.read_certificates(demo("certificates.csv"))
    seen = []
    given = certificates, "mid-iron", fp.Route(), LIMITS
    found = ha.judge_heats(*given, progress=lambda *at: seen.append(at))
    table = found.table()
    assert list(table["heat"]) == [c.heat for c in certificates] and seen[-1] == (5, 5)
    assert set(table["verdict"]) <= {ha.ACCEPT, ha.ADJUST, ha.HOLD}
    # no toss of a coin is an accept, and every accept says how sure it is
    for heat in (j for j in found if j.verdict != ha.HOLD):
        assert heat.sure.least >= 0.8, heat
        assert f"{100 * heat.sure.chance_right:.0f} % that the setting is right" in heat.reason
    broken = table[table["heat"] == "R5"].iloc[0]
    assert broken["verdict"] == ha.HOLD and "2.9 wt% C" in broken["reason"]
    assert math.isnan(broken["chance"])
    assert (table["face_hardness_hv_low"] < table["face_hardness_hv"]).sum() == 4
    assert "<table" in found._repr_html_()
    one = ha.judge_heats("4130", limits=LIMITS)
    assert len(one) == 1 and one[0].heat == "4130"


def test_chances_are_those_of_the_verdict():
    found = ha.judge_heat("4130", limits=LIMITS)
    verdict = fp.estimate(fp.Job("4130", limits=LIMITS)).verdict
    assert found.sure.chance_right == pytest.approx(verdict.chance_right, abs=0.06)
    assert found.sure.heads_inside == pytest.approx(verdict.heads_inside, abs=6)
    low, high = (s.chance for s in verdict.limits if s.name == "face_hardness_hv")
    assert found.sure.by_quantity["face_hardness_hv"] == pytest.approx(low + high - 1.0, abs=0.06)


#: What each refuses in place of what it is given, and the words.
REFUSED = {
    partial(ha.judge_heat, steel="1030", limits=fp.Limits(face_hardness_hv=(380, None))): [
        ({"limits": (380, 460)}, "must be Limits"),
        ({"turned": {"C": (0.2, 0.3)}}, "cannot be adjusted for a heat"),
        ({"turned": {"flux": (20, 2)}}, "from low to high"),
        ({"chance": 1.5}, "least chance"), ({"steel": 7}, "must be a Steel"),
    ],
    partial(find_cause, steel="4130", measured={"face": 400}): [
        ({"measured": {}}, "must be a mapping"), ({"measured": {"sole": 400}}, "zone"),
        ({"measured": {"face": 4000}}, "face hardness"),
        ({"measured": {"face": []}}, "no reading of the face"),
        ({"usual": {"hosel": 230}}, "usual has no face"), ({"names": ("flu",)}, "did you mean 'flux'"),
        ({"route": fp.Route(spray=None), "names": ("flux",)}, "flux"),
        ({"heads_measured": -1}, "number of heads"),
    ],
}  # fmt: skip


@pytest.mark.parametrize("call, bad", [(call, bad) for call in REFUSED for bad in REFUSED[call]])
def test_bad_input_is_refused_in_one_sentence(call, bad):
    refuses(f"(?i){bad[1]}", call, **bad[0])


def test_results_tell_themselves_in_words_not_in_arrays():
    held = ha.judge_heats(["4130", "1020"], limits=LIMITS)
    assert repr(held) == "\n".join([*(j.sentence for j in held), LIMITS.title])
    assert len(repr(held)) < 2000
    axes = {"x": ("preheat_c", 900, 950, 3), "y": ("flux", 8, 12, 3)}
    results = fp.estimate("4130"), fp.compare(["4130"], [900]), fp.window("4130", **axes)
    results += fp.scatter("4130", n=16, indices=False), fp.find_cause({"face": 400}, "4130")
    results += fp.track(demo("log.csv")), fp.read_certificates(demo("certificates.csv"))
    for told in results:
        said = repr(told)
        assert "array(" not in said and "mappingproxy" not in said and len(said) < 8000


STEEL, HEAD, ROUTE = fp.grade("4130"), fp.head("mid-iron"), fp.Route()
STUDY = Study(STEEL, HEAD, ROUTE, shop=fp.Shop())


def hardness(**moved):
    """Hardness by zone with some numbers of the case moved."""
    hv = evaluate(Cases.of(*([part] for part in STUDY.changed(moved)))).hardness_hv[0]
    return dict(zip(ZONES, hv, strict=True))


USUAL = hardness()


def readings(zones=("face", "hosel"), n=5, seed=0, **moved):
    rng, there = np.random.default_rng(seed), hardness(**moved)
    return {zone: list(there[zone] + rng.normal(0.0, 10.0, n)) for zone in zones}


def test_a_shut_nozzle_is_found_and_nothing_off_is_said_so():
    found = find_cause(readings(flux=8.0), STEEL, HEAD, ROUTE, usual=USUAL)
    row = found.table.iloc[0]
    assert found.likeliest == "flux" and row["probability"] > 0.5
    assert row["to_value"] == pytest.approx(8.0, abs=1.0)
    assert row["drift_low"] < -3.0 and row["misfit_sd"] < 1.5
    assert found.off_sd > 3.0 and "catch the spray in a can" in found.words()
    assert found.table["probability"].sum() == pytest.approx(1.0)
    assert "<table" in found._repr_html_()
    found = find_cause(USUAL, STEEL, HEAD, ROUTE, usual=USUAL)
    assert found.likeliest == NOTHING and found.table["probability"].iloc[0] > 0.5
    assert found.off_sd < 1e-6 and "nothing has drifted" in found.words()
    assert "cannot be separated" not in found.words()


def test_what_cannot_be_told_apart_gets_a_check():
    """The face alone has one number: most causes explain it, and the temperature at the water parts them."""
    found = find_cause(readings(("face",), flux=9.0), STEEL, HEAD, ROUTE, usual=USUAL)
    assert len(found.confusable) and (found.confusable["apart_sd"] < 2.0).all()
    pair = found.confusable[found.confusable["cause"] == "flux"].iloc[0]
    assert "What parts them:" in pair["check"] or "check directly" in pair["check"]
    assert "cannot be separated by these readings" in found.words()
    assert (np.diag(found.apart.to_numpy()) < 1e-9).all()
    more = find_cause(readings(flux=9.0, n=50), STEEL, HEAD, ROUTE, usual=USUAL, heads_measured=50)
    assert more.apart.loc["flux", "C"] > found.apart.loc["flux", "C"]


def test_readings_as_the_reader_gives_them_and_without_the_usual_hardness():
    values = [(zone, v) for zone, vs in readings(n=2).items() for v in vs]
    rows = [(h, zone, v) for h in ("1", "2") for zone, v in values]
    frame = pd.DataFrame(rows, columns=["head_id", "zone", "hardness_hv"])
    given = HardnessReadings(frame), STEEL, HEAD, ROUTE
    found = find_cause(*given, usual=USUAL, names=("flux", "C"))
    assert list(found.readings["readings"]) == [4, 4]
    assert set(found.table["cause"]) == {"flux", "C", NOTHING}
    sure = find_cause(readings(flux=8.0), STEEL, HEAD, ROUTE, usual=USUAL)
    unsure = find_cause(readings(flux=8.0), STEEL, HEAD, ROUTE)
    assert (unsure.readings["sd_hv"] > sure.readings["sd_hv"]).all()
    nothing = [c.table.set_index("cause").loc[NOTHING, "probability"] for c in (sure, unsure)]
    assert nothing[0] < nothing[1]


def test_evidence_of_a_straight_response_in_closed_form():
    """y = s z + noise with z ~ N(0, 1) has evidence N(y; 0, s² + R): the textbook marginal likelihood."""
    fine = np.linspace(-_FAR, _FAR, _FINE)
    drifts = causes(STUDY, ("flux", "C"))
    slopes, noise, off = (4.0, 9.0), 6.0, 7.0
    curves = np.array([s * fine for s in slopes])[:, :, None]
    seen = np.array([off]), np.array([[noise**-2]]), ["face"], np.array([400.0])
    table, _ = _ranked(drifts, curves, fine, *seen)
    table = table.set_index("cause")
    p = table["probability"]
    expected = [norm.pdf(off, scale=np.hypot(s, noise)) for s in slopes]
    assert p["flux"] / p["C"] == pytest.approx(expected[0] / expected[1], rel=0.01)
    nothing = norm.pdf(off, scale=noise) / 0.5
    assert p[NOTHING] / p["C"] == pytest.approx(nothing / expected[1], rel=0.01)
    mode = off * slopes[1] / (slopes[1] ** 2 + noise**2)
    assert table.loc["C", "drift"] / drifts[1].sd == pytest.approx(mode, abs=0.03)


@pytest.mark.slow
def test_the_chances_are_honest():
    """Drifts drawn as stated beforehand: causes are right as often as their chances say."""
    rng = np.random.default_rng(5)
    drifts = causes(STUDY, ("flux", "preheat_c", "C", "spray_s"))
    every = causes(STUDY)
    hits = chance = of_truth = expected = 0.0
    for seed in range(24):
        moved = {d.name: d.now + d.everyday_sd * rng.normal() for d in every}  # an everyday head
        truth = NOTHING
        if rng.random() < 0.5:
            d = drifts[rng.integers(len(drifts))]
            truth = d.name
            moved[d.name] += d.sd * float(np.clip(rng.normal(), -2.9, 2.9))
        seen = readings(("face", "body", "hosel"), n=5, seed=seed, **moved)
        found = find_cause(seen, STEEL, HEAD, ROUTE, usual=USUAL, names=[d.name for d in drifts])
        table = found.table.set_index("cause")["probability"]
        hits += found.likeliest == truth
        chance += table.iloc[0]
        of_truth += table[truth]
        expected += (table**2).sum()
    # 2.5 standard deviations of 24 draws
    assert abs(hits - chance) < 6.0
    assert abs(of_truth - expected) < 3.7
    assert expected > 24 * 0.25  # better than guessing between drift and none


def said(problems):
    return " ".join(f"{p.what} {p.assumed}" for p in problems)


def test_every_file_says_that_it_is_invented():
    for path in demo("").iterdir():
        if path.suffix == ".xlsx":
            first = openpyxl.load_workbook(path).worksheets[0]["A1"].value
        else:
            first = " ".join(path.read_text(encoding="utf-8").splitlines()[:4])
        assert "nvented" in first, path


def test_certificates():
    mill = fp.read_certificates(demo("certificates.csv"))
    laboratory = fp.read_certificates(demo("laboratory.xlsx"))
    for certificates in (mill, laboratory):
        assert [c.heat for c in certificates if c.steel] == ["R1", "R2", "R3", "R4"]
    assert mill[0].steel.get("N") == 0.007 and mill[0].rows == (5, 9)
    for expected in ("row of limits", "below 0.02", "2.9 wt% C", "no composition", "2 rows"):
        assert expected in said(mill.problems)
    for expected in ("hidden", "run down a column", "no Mn is given"):
        assert expected in said(laboratory.problems)
    c, high = (np.array([one[i].steel.get("C") for i in range(4)]) for one in (mill, laboratory))
    assert high == pytest.approx(1.01 * c, abs=0.004)  # the laboratory reads one per cent high


def test_measurements():
    runs = fp.read_runs(demo("runs.csv"))
    channels = fp.read_channels(demo("channels.csv"))
    traces = fp.read_traces(demo("traces.csv"), demo("channels.csv"))
    hardness, bends = fp.read_hardness(demo("hardness.csv")), fp.read_bends(demo("bends.csv"))
    assert set(traces.frame["channel"]) == set(channels) and channels["T1"][0] == "face"
    assert set(traces.frame["head_id"]) == {"101", "102", "103"} <= set(runs)
    assert set(hardness.frame["head_id"]) == set(bends.frame["head_id"]) == set(runs)
    for expected in ("'OL' (rows", "nothing measured", "spike", "gap"):
        assert expected in said(traces.problems)
    assert len([p for p in hardness.problems if p.assumed == "row not used"]) == 1
    assert bends.frame["cracked"].any() and not bends.frame["cracked"].all()
    assert traces.channels()["noise_c"].between(2.0, 3.0).all()


def test_the_log_drifts_and_the_plate_gives_back_the_spray_multiplier():
    alarms = fp.track(demo("log.csv")).alarms.query("chart == 'CUSUM'")
    assert alarms["direction"].iloc[0] == "below" and 38 <= alarms["since_reading"].iloc[0] <= 45
    trace = fp.read_traces(demo("plate.csv"), {"P1": ("face", 1.0)})
    factor, spread = fp.cooling_curve(*trace.trace("P1"), Plate(10.0, 1.0), 25.0).multiplier(12.0)
    assert factor == pytest.approx(1.25, rel=0.03) and spread < 0.06


def test_the_script_makes_them_again(tmp_path):
    script = Path(__file__).parents[1] / "make_demo_data.py"
    subprocess.run([sys.executable, str(script), str(tmp_path)], check=True, timeout=300)
    made = {p.name: p for p in tmp_path.iterdir()}
    assert set(made) == {p.name for p in demo("").iterdir()} - {"README.md"}
    # these do not depend on the engine
    for name in ("certificates.csv", "runs.csv", "channels.csv"):
        assert made[name].read_bytes() == demo(name).read_bytes()
    for name in ("traces.csv", "hardness.csv", "log.csv"):
        with made[name].open() as new, demo(name).open() as old:
            assert len(list(csv.reader(new))) == pytest.approx(len(list(csv.reader(old))), abs=2)
