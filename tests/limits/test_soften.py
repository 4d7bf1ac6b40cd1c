"""What softens a hard hosel: every remedy is a full estimate, told with its cost."""

import pytest

import forgeprops as fp
from forgeprops.base.errors import InputError
from forgeprops.study.softening import soften


@pytest.fixture(scope="module")
def hard():
    steel, head, route = fp.grade("4340"), fp.head("mid-iron"), fp.Route()

    def again(changed):
        return fp.estimate(steel, head, changed)

    return route, again, soften(route, again, ac1_c=fp.critical_temperatures(steel).ac1_c)


def test_each_remedy_is_the_estimate_of_its_route(hard):
    route, again, answer = hard
    base = again(route)
    assert answer.hosel_hv == pytest.approx(base.zones["hosel"].hardness_hv)
    for remedy in (answer.remedies[0], answer.remedies[-1]):
        fresh = again(remedy.route)
        assert remedy.hosel_hv == pytest.approx(fresh.zones["hosel"].hardness_hv)
        assert remedy.allowed_deg == pytest.approx(fresh.hosel.allowed_deg)
        assert remedy.degrees_won == pytest.approx(fresh.hosel.allowed_deg - base.hosel.allowed_deg)
        assert remedy.face_softer_hv == pytest.approx(
            base.zones["face"].hardness_hv - fresh.zones["face"].hardness_hv
        )


def test_local_heat_softens_the_hosel_and_spares_the_face(hard):
    _, _, answer = hard
    heats = [r for r in answer.remedies if r.kind == "local heat"]
    assert len(heats) == 3
    for remedy in heats:
        assert remedy.hosel_softer_hv > 50 and remedy.pull_saved_n > 0  # a martensitic hosel
        assert abs(remedy.lost_elsewhere_hv) < 3
        assert max(h.temperature_c for h in remedy.route.later) < 720  # below Ac1 of this steel
        assert "hardens again in air" in remedy.risk and remedy.minutes > 10


def test_temper_of_the_whole_head_costs_the_face(hard):
    _, _, answer = hard
    cold, hot = sorted(
        (r for r in answer.remedies if r.kind == "temper"), key=lambda r: -r.hosel_hv
    )
    assert hot.hosel_hv < cold.hosel_hv < answer.hosel_hv
    assert hot.face_softer_hv > cold.face_softer_hv > 50
    assert hot.lost_elsewhere_hv >= hot.face_softer_hv


def test_slower_cooling_and_preheat_are_tried_and_the_best_is_first(hard):
    _, _, answer = hard
    assert {r.kind for r in answer.remedies} == {"preheat", "cooling", "local heat", "temper"}
    sleeve = next(r for r in answer.remedies if "sleeve" in r.what)
    assert sleeve.hosel_softer_hv > 0
    ranks = [
        (r.lost_elsewhere_hv <= 30.0, round(r.degrees_won, 2), round(r.pull_saved_n))
        for r in answer.remedies
    ]
    assert ranks == sorted(ranks, reverse=True)


def test_force_limited_hosel_is_told_of_a_longer_bar(hard):
    _, _, answer = hard
    assert answer.bar_length_needed_mm > 500.0 and answer.bar_force_n > 400.0
    text = answer.words()
    assert "longer bar" in text and "N of pull" in text and "face tempers" in text and "HV" in text


def test_soft_hosel_has_nothing_to_win():
    steel, head, route = fp.grade("1020"), fp.head("mid-iron"), fp.Route()
    answer = soften(route, lambda r: fp.estimate(steel, head, r))
    assert answer.bar_length_needed_mm is None and answer.normalised
    assert "as normalised" in answer.words()
    assert all(abs(r.degrees_won) < 0.8 for r in answer.remedies)


def test_limits_of_the_search_and_bad_input(hard):
    route, again, _ = hard
    few = soften(route, again, lowest_preheat_c=900, anneals=(), tempers_c=())
    assert [r.kind for r in few.remedies].count("preheat") == 1
    with pytest.raises(InputError, match="must be a Route"):
        soften("route", again)
    with pytest.raises(InputError, match="Ac1 1200"):
        soften(route, again, ac1_c=1200)
