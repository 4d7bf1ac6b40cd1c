"""The lesson: its answers are those of the estimate, every warning has its step, the task can be solved and failed."""

import json

import pytest

import forgeprops as fp
from forgeprops.answer.warnings.listing import RULES
from forgeprops.show.page.lesson import _STEPS, GOALS, Lesson, step_of


@pytest.fixture(scope="module")
def lesson():
    return Lesson(fp.Units())


def answers(lesson):
    return [s["answer"]["value"] for s in lesson.static["steps"]]


def test_answers_are_the_estimates(lesson):
    own, soft, hard = (fp.estimate(fp.grade(g)) for g in ("4130", "1030", "4140"))
    hosel, after, cross_s, hv, alloyed, pull = answers(lesson)
    face = own.zones["face"]
    assert face.water_off_c + 0.8 * face.rebound_c < after < face.water_off_c + face.rebound_c + 1
    assert hosel > 700 > face.water_off_c and cross_s > 10 * face.t85_s
    assert hv == pytest.approx(own.zones["hosel"].hardness_hv, abs=0.1)
    assert alloyed == pytest.approx(hard.zones["hosel"].hardness_hv, abs=0.1)
    assert pull == pytest.approx(hard.hosel.bar_force_n, abs=0.1)
    assert pull > 1.5 * soft.hosel.bar_force_n


def test_nothing_is_given_away_before_the_guess(lesson):
    for step in lesson.static["steps"]:
        guess, axis = step["guess"], step["guess"]["axis"]
        assert not step["answer"]["near"][0] <= guess["start"] <= step["answer"]["near"][1]
        assert step["chart"][axis]["low"] < step["answer"]["value"] < step["chart"][axis]["high"]


def test_film_is_slow_in_the_spray_and_says_what_happens_in_order(lesson):
    film = lesson.static["film"]
    result = fp.estimate(fp.grade("4130"))
    on, off = (result.events[f"water {w}"] - result.events["out of furnace"] for w in ("on", "off"))
    shown_s = sum(on <= t <= off for t in film["times"]) / film["rate"]
    assert shown_s > off - on and film["times"] == sorted(film["times"])
    words = [w for _, w in film["says"]]
    order = [next(i for i, w in enumerate(words) if part in w) for part in ("furnace", "die", "Spray on", "Ms", "spray stops")]  # fmt: skip
    assert order == sorted(order)


def test_every_warning_has_its_step():
    named = tuple(" ".join(_STEPS.values()).split())
    assert [r.code for r in RULES if not r.code.startswith(named)] == []
    assert {step_of(r.code) for r in RULES} == set(_STEPS)


@pytest.mark.parametrize(
    ("steel", "good"), [("1030", {"flux": 4.5, "spray_s": 12.0}), ("4130", {"flux": 4.1, "cooling": "sleeve"})]
)  # fmt: skip
def test_task_is_solved_with_sense_and_failed_without_spray(steel, good):
    lesson = Lesson(fp.Units())
    lesson._heard(None, {"do": "act", "act": "try", "values": {"steel": steel, "spray_s": 1.0}}, [])
    assert not lesson.task["passed"] and lesson.tries[-1]["score"] < 10
    lesson._heard(None, {"do": "act", "act": "try", "values": {"steel": steel} | good}, [])
    last, (hv, newton) = lesson.tries[-1], GOALS[steel]
    assert lesson.task["passed"] and last["x"] < newton and hv[0] < last["y"] < hv[1]
    assert len(lesson.tries) == 2


@pytest.mark.parametrize("given", [None, {}, {"steel": "x"}, {"steel": "1030", "flux": "wet"}])
def test_nonsense_is_answered_in_one_sentence(lesson, given):
    lesson._heard(None, {"do": "act", "act": "try", "values": given}, [])
    assert lesson.tries == [] and lesson.task["tries"][0]["words"].endswith(".")


def test_only_the_readers_units():
    lesson = Lesson(fp.Units(temperature="°F", length="in", force="lbf", hardness="HRC"))
    words = json.dumps([lesson.static, lesson.task], ensure_ascii=False)
    assert "°F" in words and "°C" not in words and " N " not in words and " mm" not in words
    assert "HRC" in words and " HV" not in words
