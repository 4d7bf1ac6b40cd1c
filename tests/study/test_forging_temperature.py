"""Furnace settings 700–1250 °C, what softens a hard hosel and at what cost, the cooling diagram, what goes against expectation."""

import re

import numpy as np
import pytest
from checks import evaluated, refuses

import forgeprops as fp
from forgeprops.answer.warnings.listing import FURNACE_CODES
from forgeprops.forging import effort
from forgeprops.specimens import cooling_diagram
from forgeprops.study.expectation import against_expectation
from forgeprops.study.process import preheat as ee

SETTINGS_C = np.arange(700.0, 1250.1, 5.0)
#: Face, body, hosel.
ZONES = [0, 2, 4]


def marched(pairs, **options):
    routes = [fp.Route().with_(preheat_c=float(t)) for _, t in pairs]
    return evaluated([name for name, _ in pairs], routes, **options)


@pytest.fixture(scope="module")
def sweep():
    """Every library grade at every setting: hardness, share, grain, scale, metal in the die."""
    r = marched([(name, t) for name in fp.grades() for t in SETTINGS_C]).results
    columns = {"hv": r.hardness_hv, "share": r.share, "grain": r.grain_astm, "scale": r.scale_um}
    shape = (len(fp.grades()), len(SETTINGS_C), 5)
    return {name: column.reshape(shape) for name, column in (columns | {"die": r.die_c}).items()}


@pytest.mark.slow
def test_hardness_has_no_jump_for_any_grade(sweep, record_property):
    # steep it is where pearlite turns to austenite and a quench follows: 25 HV a degree, 350 HV in all;
    # a jump would keep its size in steps ten times smaller (marched finely, so that no time step shows)
    steps = np.abs(np.diff(sweep["hv"][:, :, ZONES], axis=1))
    record_property("largest_step_hv_in_5_c", float(steps.max()))
    assert steps.max() < 140.0
    steepest = steps.argmax(axis=1)
    pairs = [
        (name, t)
        for name, row in zip(fp.grades(), steepest, strict=True)
        for at in row
        for t in np.linspace(SETTINGS_C[at], SETTINGS_C[at + 1], 11)
    ]
    fine = marched(pairs, tolerance_c=0.1).hardness_hv[:, ZONES].reshape(len(fp.grades()), 3, 11, 3)
    for z in range(3):
        small = np.abs(np.diff(fine[:, z, :, z], axis=1)).max(axis=1)
        record_property(f"largest_step_hv_in_half_a_degree_{z}", float(small.max()))
        assert small.max() < 20.0
        # 3 HV: the march's own tolerance
        assert np.all(small < 0.5 * steps[:, :, z].max(axis=1) + 3.0)


def test_sweep_has_no_austenite_below_ac1_all_above_ac3_and_only_rises(sweep):
    for i, name in enumerate(fp.grades()):
        t = fp.critical_temperatures(fp.grade(name))
        assert sweep["share"][i, SETTINGS_C < t.ac1_c].max(initial=0.0) == 0.0
        assert sweep["share"][i, SETTINGS_C > t.ac3_c + 25.0].min() > 0.99
    assert np.all(np.diff(sweep["share"], axis=1) >= -1e-9)
    assert np.all(np.diff(sweep["grain"], axis=1) <= 1e-9)  # ASTM number falls as grain grows
    assert np.all(np.diff(sweep["scale"], axis=1) > 0.0)
    rises = (np.diff(sweep["die"], axis=1) > 0.0).all(axis=(1, 2))
    # 1215 enters the press 0.7 °C cooler from 880 °C, all austenite, than from 875 °C, where ferrite is left to grow and warm it
    assert [n for n, rise in zip(fp.grades(), rises, strict=True) if not rise] == ["1215"]


def test_study_is_the_single_estimates():
    steel, temperatures = fp.grade("4135"), [730.0, 770.0, 950.0, 1100.0]
    study = fp.forging_temperature_study(steel, "long-iron", temperatures=temperatures)
    for k, t in enumerate(temperatures):
        one = fp.estimate(steel, "long-iron", fp.Route().with_(preheat_c=t))
        zones, surface, effort_ = one.zones, one.surface, one.effort
        expected = {
            "face_austenite": zones["face"].austenite_share, "die_c": zones["face"].die_c, "water_c": zones["face"].water_c,
            "allowed_deg": one.hosel.allowed_deg, "allowed_low_deg": one.hosel.allowed_deg_low, "allowed_high_deg": one.hosel.allowed_deg_high,
            "scale_um": surface.scale_um, "decarburised_um": surface.decarburised_um, "skin_hv": surface.skin_hv,
            "flow_stress_mpa": effort_.mean_mpa, "press_force_kn": effort_.press_force.kn, "heat_through_s": one.heat_through_s,
            "hosel_grain_astm": zones["hosel"].grain_astm,
        }  # fmt: skip
        for zone in ("face", "hosel"):
            for end in ("", "_low", "_high"):
                expected[f"{zone}{end}_hv"] = getattr(zones[zone], f"hardness{end}_hv")
        for field, value in expected.items():
            assert getattr(study, field)[k] == pytest.approx(value, rel=1e-6, abs=1e-6), (t, field)
        told = {w.code for w in one.warnings} & FURNACE_CODES
        assert set(filter(None, study.warnings[k].split("; "))) == told
    assert len(study) == 4 and study.warnings.any()


@pytest.mark.parametrize("given, words", [([900.0, 800.0], "do not rise"), ([], "do not rise"), ([900.0, 1500.0], "1500")])  # fmt: skip
def test_study_refuses_bad_settings(given, words):
    refuses(f"(?i){words}", fp.forging_temperature_study, fp.grade("1030"), temperatures=given)


@pytest.mark.parametrize("name", ["4130", "4140"])
def test_chromoly_needs_a_hotter_furnace_for_equal_effort(name):
    a, b = fp.grade("1030"), fp.grade(name)
    answer = ee.equal_effort_setting(a, 900.0, b)
    assert 905.0 < answer.preheat_c < 960.0 and answer.low_c <= answer.preheat_c <= answer.high_c
    # equal means equal flow stress of the metal in the die, as marched at both settings
    at_b = ee.metal_in_die_c(b, answer.preheat_c)
    at_a = ee.metal_in_die_c(a, 900.0)
    stress = [effort.flow_stress_mpa(s, t, 0.15, 3.0) for s, t in ((a, at_a), (b, at_b))]
    assert stress[0] == pytest.approx(stress[1], rel=1e-3)
    assert stress[0] == pytest.approx(answer.stress_mpa, rel=1e-6)
    one = fp.estimate(b, route=fp.Route().with_(preheat_c=answer.preheat_c)).effort.mean_mpa
    assert one == pytest.approx(answer.stress_mpa, rel=0.02)  # zone by zone instead of at the mean


def test_metal_in_die_is_what_the_march_says():
    steel = fp.grade("4130")
    zones = fp.estimate(steel, route=fp.Route().with_(preheat_c=900.0)).zones
    die = [z.die_c for z in zones.values()]
    assert min(die) < ee.metal_in_die_c(steel, 900.0) < max(die)
    # a longer way to the die is a colder head
    slow = fp.Route().with_(transfer_s=12.0)
    assert ee.metal_in_die_c(steel, 900.0, route=slow) < ee.metal_in_die_c(steel, 900.0) - 20.0
    in_die = effort.equal_effort(fp.grade("1030"), 900.0, steel).preheat_c
    late, soon = (ee.preheat_for_c(steel, in_die, route=route) for route in (slow, None))
    assert late > soon > in_die
    refuses("Preheat of the first steel", ee.equal_effort_setting, fp.grade("1030"), 200.0, steel)


GRADES = ("1020", "4140", "4340")


@pytest.fixture(scope="module")
def results():
    return {name: fp.estimate(fp.grade(name), fp.head("mid-iron")) for name in GRADES}


@pytest.fixture(scope="module")
def answer(results):
    return fp.soften(results["4340"])


def test_remedies_are_estimates_and_local_heat_spares_the_face(results, answer):
    base = results["4340"]
    assert answer.hosel_hv == pytest.approx(base.zones["hosel"].hardness_hv)
    for remedy in (answer.remedies[0], answer.remedies[-1]):
        fresh = fp.estimate(base.steel, base.head, remedy.route)
        assert remedy.hosel_hv == pytest.approx(fresh.zones["hosel"].hardness_hv)
        assert remedy.allowed_deg == pytest.approx(fresh.hosel.allowed_deg)
        assert remedy.degrees_won == pytest.approx(fresh.hosel.allowed_deg - base.hosel.allowed_deg)
        expected = base.zones["face"].hardness_hv - fresh.zones["face"].hardness_hv
        assert remedy.face_softer_hv == pytest.approx(expected)
        assert remedy.face_margin == pytest.approx(fresh.face.margin)
    heats = [r for r in answer.remedies if r.kind == "local heat"]
    assert len(heats) == 3
    for remedy in heats:
        assert answer.hosel_hv - remedy.hosel_hv > 50 and remedy.pull_saved_n > 0  # martensitic
        assert abs(remedy.lost_elsewhere_hv) < 3
        assert max(h.temperature_c for h in remedy.route.later) < 720  # below Ac1 of this steel
        assert "hardens again in air" in remedy.risk and remedy.minutes > 10
    tempers = (r for r in answer.remedies if r.kind == "temper")
    cold, hot = sorted(tempers, key=lambda r: -r.hosel_hv)
    assert hot.hosel_hv < cold.hosel_hv < answer.hosel_hv
    assert hot.face_softer_hv > cold.face_softer_hv > 50
    assert hot.lost_elsewhere_hv >= hot.face_softer_hv


def test_slower_cooling_and_preheat_are_tried_and_another_bench(answer, results):
    assert {r.kind for r in answer.remedies} == {"preheat", "cooling", "local heat", "temper"}
    assert next(r for r in answer.remedies if "sleeve" in r.what).hosel_hv < answer.hosel_hv
    ranks = [(r.lost_elsewhere_hv <= 30.0, round(r.degrees_won, 2), round(r.pull_saved_n)) for r in answer.remedies]  # fmt: skip
    assert ranks == sorted(ranks, reverse=True)
    route = fp.Route().with_(preheat_c=800.0)
    few = fp.soften(fp.estimate("4340", "mid-iron", route, bench={"bar_mm": 900.0}))
    assert [r.kind for r in few.remedies].count("preheat") == 2  # none below 750 °C
    longer = fp.soften(fp.estimate("4340", "mid-iron", bench={"bar_mm": 900.0}))
    assert longer.hosel_hv == answer.hosel_hv and longer.allowed_deg > answer.allowed_deg


def test_words_name_a_longer_bar_for_a_stiff_hosel_and_nothing_for_a_soft_one(results, answer):
    assert answer.bar_length_needed_mm > 500.0 and answer.bar_force_n > 400.0
    text = answer.words()
    assert "longer bar" in text and "N of pull" in text and "face tempers" in text and "HV" in text
    assert [r["what"] for r in answer.to_dict()["remedies"]] == [r.what for r in answer.remedies]
    soft = fp.soften(results["1020"])
    assert soft.bar_length_needed_mm is None and soft.normalised
    assert "as normalised" in soft.words()
    assert all(abs(r.degrees_won) < 0.8 for r in soft.remedies)


def test_what_the_answer_hangs_on_changes_with_hardness(results):
    soft, hard = fp.hosel_sensitivity(results["1020"]), fp.hosel_sensitivity(results["4140"])
    assert list(soft["span_deg"]) == sorted(soft["span_deg"], reverse=True)
    # the wall ends the soft hosel, so nothing but its length counts; the hard one hangs on its notches
    assert soft["what"][0].startswith("bend zone") and hard["what"][0].startswith("notch")
    row = soft.set_index("what").loc["bend zone, 10 to 20 mm"]
    ends = results["1020"].hosel.for_length
    assert (row["low_deg"], row["high_deg"]) == pytest.approx((ends[10.0], ends[20.0]), rel=0.02)
    longer = fp.hosel_sensitivity(results["4140"], {"bar_mm": 900.0})
    assert (longer["high_deg"] > hard["high_deg"]).all()
    for call in (fp.soften, fp.hosel_sensitivity):
        refuses("result must be .* got None", call, None)
    refuses("did you mean 'bar_mm'", fp.hosel_sensitivity, results["1020"], bench={"bar": 600.0})


@pytest.fixture(scope="module")
def diagrams():
    return {name: cooling_diagram(fp.grade(name)) for name in ("1030", "4130", "4140")}


def test_start_point_is_where_one_per_cent_has_formed(diagrams):
    """Regression against the source of it: stop the cooling at the start point and read the share."""
    diagram = diagrams["4130"]
    bainite = diagram.regions["bainite"]
    i = len(bainite.rate_c_per_s) // 2
    from_c = diagram.ae3_c + 30.0
    rate = float(bainite.rate_c_per_s[i])
    to_c = float(bainite.start_c[i])
    stop = fp.continuous_cooling(fp.grade("4130"), from_c=from_c, rate_c_per_s=rate, to_c=to_c)
    assert stop.history["bainite"][-1] == pytest.approx(0.01, abs=0.002)
    assert bainite.start_s[i] == pytest.approx((diagram.ae3_c - to_c) / rate, rel=1e-6)


def test_regions_lie_between_their_temperatures_and_slower_cooling_is_never_harder(diagrams):
    for diagram in diagrams.values():
        for region in diagram.regions.values():
            assert np.all(region.start_c <= diagram.ae3_c + 1e-6)
            assert np.all(region.end_c <= region.start_c) and np.all(region.end_s >= region.start_s)
        assert np.all(diagram.regions["martensite"].start_c <= diagram.ms_c + 5.0)
        # rates fall; a few HV of kink at a region's edge
        assert np.all(np.diff(diagram.hardness_hv) <= 8.0)


def test_what_goes_against_expectation_is_said_with_the_numbers_of_estimates_and_nothing_else():
    (sentence,) = (s for s in against_expectation(fp.estimate(fp.grade("4130"))) if "delay" in s)
    (hv, at), (more_hv, then) = re.findall(r"(\d+) HV at ([\d.]+) s", sentence)[:2]
    assert "harder" in sentence and int(more_hv) >= int(hv) + 20
    for found, delay_s in ((hv, at), (more_hv, then)):
        face = fp.estimate(fp.Job("4130").with_(delay_s=float(delay_s))).zones["face"]
        assert abs(face.hardness_hv - int(found)) <= 1.0
    assert against_expectation(fp.estimate(fp.grade("1020"))) == []
    assert against_expectation(fp.estimate(fp.grade("4130"), None, fp.Route(spray=None))) == []
    for far, word in (({"preheat_c": 1200.0}, "furnace"), ({"delay_s": 31.0}, "delay")):
        told = against_expectation(fp.estimate(fp.Job("4130").with_(**far)))
        assert not [s for s in told if word in s]
