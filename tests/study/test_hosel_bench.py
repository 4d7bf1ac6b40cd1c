"""What softens a hard hosel, each remedy an estimate told with its cost; and what matters most on the bench."""

import pytest
from checks import refuses

import forgeprops as fp

GRADES = ("1020", "4140", "4340")


@pytest.fixture(scope="module")
def results():
    return {name: fp.estimate(fp.grade(name), fp.head("mid-iron")) for name in GRADES}


@pytest.fixture(scope="module")
def answer(results):
    return fp.soften(results["4340"])


def test_each_remedy_is_the_estimate_of_its_route(results, answer):
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


def test_local_heat_spares_the_face_and_a_temper_costs_it(answer):
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


def test_slower_cooling_and_preheat_are_tried_limits_of_the_search_and_another_bench(
    answer, results
):
    assert {r.kind for r in answer.remedies} == {"preheat", "cooling", "local heat", "temper"}
    sleeve = next(r for r in answer.remedies if "sleeve" in r.what)
    assert sleeve.hosel_hv < answer.hosel_hv
    ranks = [(r.lost_elsewhere_hv <= 30.0, round(r.degrees_won, 2), round(r.pull_saved_n)) for r in answer.remedies]  # fmt: skip
    assert ranks == sorted(ranks, reverse=True)
    options = {"lowest_preheat_c": 900, "anneals": (), "tempers_c": ()}
    few = fp.soften(results["4340"], bench={"bar_mm": 900.0}, **options)
    assert [r.kind for r in few.remedies].count("preheat") == 1
    assert few.hosel_hv == answer.hosel_hv and few.allowed_deg > answer.allowed_deg


def test_words_name_a_longer_bar_for_a_stiff_hosel_and_nothing_for_a_soft_one(results, answer):
    assert answer.bar_length_needed_mm > 500.0 and answer.bar_force_n > 400.0
    text = answer.words()
    assert "longer bar" in text and "N of pull" in text and "face tempers" in text and "HV" in text
    told = answer.to_dict()
    assert [r["what"] for r in told["remedies"]] == [r.what for r in answer.remedies]
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
        refuses("result must be .* got NoneType", call, None)
        refuses("did you mean 'bar_mm'", call, results["1020"], bench={"bar": 600.0})
