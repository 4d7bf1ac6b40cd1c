"""Heats judged: the verdict follows the limits, adjusted settings hold up in an estimate, nothing is
dropped."""

import math

import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.base.tables import data_path
from forgeprops.study.shop import heat_acceptance as ha

LIMITS = fp.Limits(face_hardness_hv=(380, 470), hosel_allowed_deg=(1.5, None))


def test_a_heat_inside_is_accepted_with_the_numbers_of_an_estimate():
    wide = fp.Limits(face_hardness_hv=(330, 520), hosel_allowed_deg=(1.5, None))
    found, told = ha.judge_heat("4130", limits=wide), fp.estimate(fp.grade("4130"))
    assert found.verdict == ha.ACCEPT and not found.settings
    face = told.zones["face"]
    assert found.results["face_hardness_hv"] == pytest.approx(face.hardness_hv, abs=0.1)
    assert found.intervals["face_hardness_hv"] == (face.hardness_low_hv, face.hardness_high_hv)
    assert found.results["hosel_allowed_deg"] == pytest.approx(told.hosel.allowed_deg, abs=0.02)
    low, high = found.grade_span["face_hardness_hv"]
    assert low < found.results["face_hardness_hv"] < high
    assert "80 %" in found.words() and "the grade's range gives" in found.words()


def test_adjusted_settings_meet_the_limits_and_change_little():
    wanted = fp.Limits(face_hardness_hv=(380, None), hosel_allowed_deg=(1.5, None))
    found = ha.judge_heat("1030", limits=wanted)
    assert found.verdict == ha.ADJUST and set(found.settings) <= set(ha.TURNED)
    told = fp.estimate(fp.grade("1030"), None, fp.Route().with_(**found.settings))
    assert told.zones["face"].hardness_hv >= 380 and told.hosel.allowed_deg >= 1.5
    assert min(found.chances.values()) >= 0.8 and found.sure.words in found.reason
    assert "instead of" in found.reason
    assert "It misses: face hardness at least 380 HV" in found.reason
    # half of the change is not enough
    route = fp.Route()
    half = {n: 0.5 * (v + route.setting(n)) for n, v in found.settings.items()}
    assert ha.judge_heat("1030", None, route.with_(**half), wanted, turned={}).verdict == ha.HOLD


def test_settings_that_are_not_sure_enough_are_named_as_such():
    found = ha.judge_heat("4130", limits=LIMITS, chance=0.99)
    assert found.verdict == ha.HOLD
    assert "it is inside, but not sure enough: a chance of" in found.reason
    assert "99 % is required" in found.reason and "bring it inside" not in found.reason
    # the present settings are inside and the surest there are
    found = ha.judge_heat("4130", limits=LIMITS, chance=0.9, turned={"flux": (2.0, 12.0)})
    assert "Inside the limits, but not sure enough" in found.reason
    assert found.reason.endswith("make it surer.")


def test_a_heat_that_no_setting_helps_is_held():
    found = ha.judge_heat("1020", limits=fp.Limits(face_hardness_hv=(480, None)))
    assert found.verdict == ha.HOLD and found.chance < 0.05
    assert "No settings within preheat temperature 850 to 1000 °C" in found.reason
    told = ha.judge_heat("1030", limits=LIMITS, turned={})
    assert told.verdict == ha.HOLD and "No setting may be adjusted" in told.reason


def test_a_heat_outside_its_grade_is_held_unless_that_is_waived():
    grade = fp.grade("4130")
    rich = fp.Steel("R9", {**grade.composition, "Mo": 0.28}, limits=grade.limits)
    held = ha.judge_heat(rich, limits=LIMITS)
    assert held.verdict == ha.HOLD and held.outside_grade == (
        "Mo 0.28 wt%, at most 0.25 is allowed",
    )
    waived = ha.judge_heat(rich, limits=fp.Limits(face_hardness_hv=(300, None)), strict_grade=False)
    assert waived.verdict == ha.ACCEPT and "Mo 0.28" in waived.reason


def test_the_whole_list_in_one_table():
    certificates = fp.read_certificates(data_path("demo", "certificates.csv"))
    seen = []
    watch = {"progress": lambda *at: seen.append(at)}
    found = ha.judge_heats(certificates, "mid-iron", fp.Route(), LIMITS, **watch)
    table = found.table()
    assert list(table["heat"]) == [c.heat for c in certificates] and seen[-1] == (5, 5)
    assert set(table["verdict"]) <= {ha.ACCEPT, ha.ADJUST, ha.HOLD}
    # no toss of a coin is an accept, and every accept says how sure it is
    for heat in (j for j in found if j.verdict != ha.HOLD):
        assert min(heat.chance, heat.sure.heads_inside / 100) >= 0.8, heat
        assert f"{100 * heat.chance:.0f} % that the setting is right" in heat.reason
    broken = table[table["heat"] == "R5"].iloc[0]
    assert broken["verdict"] == ha.HOLD
    assert "2.9 wt% C" in broken["reason"]
    assert math.isnan(broken["chance"])
    assert (table["face_hardness_hv_low"] < table["face_hardness_hv"]).sum() == 4
    assert "<table" in found._repr_html_()
    one = ha.judge_heats("4130", limits=LIMITS)
    assert len(one) == 1 and one[0].heat == "4130"


def test_chances_are_those_of_the_verdict():
    found = ha.judge_heat("4130", limits=LIMITS)
    verdict = fp.estimate(fp.Job("4130", limits=LIMITS)).verdict
    assert found.chance == pytest.approx(verdict.chance_right, abs=0.06)
    assert found.sure.heads_inside == pytest.approx(verdict.heads_inside, abs=6)
    low, high = (s.chance for s in verdict.limits if s.name == "face_hardness_hv")
    assert found.chances["face_hardness_hv"] == pytest.approx(low + high - 1.0, abs=0.06)


def test_a_heat_that_may_crack_is_held_unless_a_limit_allows_it():
    wanted = {"hosel_allowed_deg": (0.5, None)}
    held = ha.judge_heat("1045", limits=fp.Limits(**wanted), turned={})
    assert held.verdict == ha.HOLD and "warning quench-crack" in held.reason
    allowed = fp.Limits(**wanted, crack_index=(None, 3))
    assert ha.judge_heat("1045", limits=allowed).verdict == ha.ACCEPT


@pytest.mark.parametrize("change, says", [
    ({"limits": (380, 460)}, "must be Limits"),
    ({"turned": {"C": (0.2, 0.3)}}, "cannot be adjusted for a heat"),
    ({"turned": {"flux": (20, 2)}}, "from low to high"),
    ({"chance": 1.5}, "least chance"), ({"steel": 7}, "must be a Steel"),
])  # fmt: skip
def test_bad_input_is_refused_in_one_sentence(change, says):
    given = {"steel": "1030", "limits": fp.Limits(face_hardness_hv=(380, None)), **change}
    refuses(f"(?i){says}", ha.judge_heat, **given)


def test_results_tell_themselves_in_words_not_in_arrays():
    held = ha.judge_heats(["4130", "1020"], limits=LIMITS)
    assert repr(held) == "\n".join([*(j.sentence for j in held), LIMITS.title])
    assert len(repr(held)) < 2000
    axes = {"x": ("preheat_c", 900, 950, 3), "y": ("flux", 8, 12, 3)}
    results = fp.estimate("4130"), fp.compare(["4130"], [900]), fp.window("4130", **axes)
    results += fp.scatter("4130", n=16, indices=False), fp.find_cause({"face": 400}, "4130")
    results += (fp.track(data_path("demo", "log.csv")),)
    for told in (*results, fp.read_certificates(data_path("demo", "certificates.csv"))):
        said = repr(told)
        assert "array(" not in said and "mappingproxy" not in said and len(said) < 8000
