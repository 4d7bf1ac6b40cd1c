"""The lesson without a kernel: guesses, answers that follow the model, the film, the task and its score."""

import io

import ipywidgets
import numpy as np
import pytest
from PIL import Image

import forgeprops as fp
from forgeprops.show.panels import FilmPanel, Lesson, TaskPanel
from forgeprops.show.panels.lesson import STEPS, diagram_of
from forgeprops.show.panels.task import GOALS, chance
from forgeprops.show.units import Units


@pytest.fixture(scope="module")
def lesson():
    return Lesson(display_units=Units())


def words(question):
    return " ".join(c.value for c in question.box.children if isinstance(c, ipywidgets.HTML))


@pytest.mark.parametrize("number", range(1, len(STEPS) + 1))
def test_step_answers_with_words_picture_and_reason(lesson, number):
    lesson.step(number)
    question = lesson.questions[number]
    assert (
        question.box.children == () and not question.answered
    )  # nothing is given away before the guess
    if question.guess.value is None:
        question.show.click()
        assert "Choose one first" in words(question)
        question.guess.value = question.guess.options[0]
    question.show.click()
    assert question.answered and len(words(question)) > 300
    pictures = [c for c in question.box.children if isinstance(c, ipywidgets.Image)]
    assert len(pictures) == 1
    assert np.asarray(Image.open(io.BytesIO(pictures[0].value))).std() > 5


def test_right_guess_is_called_good(lesson):
    lesson.step(1)
    question = lesson.questions[1]
    face, hosel = (lesson.results["lesson"].zones[z] for z in ("face", "hosel"))
    question.guess.value = round(hosel.t85_s / face.t85_s)
    question.show.click()
    assert "Good guess" in words(question)
    question.guess.value = 1
    question.show.click()
    assert "More than you thought" in words(question)


def test_choice_is_right_only_if_the_model_says_so(lesson):
    lesson.step(3)
    question = lesson.questions[3]
    fractions = lesson.results["lesson"].zones["hosel"].fractions
    soft = fractions["ferrite"] + fractions["pearlite"]
    kinds = {
        "ferrite and pearlite": soft,
        "bainite": fractions["bainite"],
        "martensite": fractions["martensite"],
    }
    for kind in kinds:
        question.guess.value = kind
        question.show.click()
        assert ("Right." in words(question)) == (kind == max(kinds, key=kinds.get))


def test_lesson_shows_what_physics_demands(lesson):
    soft, hard = lesson.results["soft"], lesson.results["hard"]
    assert hard.zones["hosel"].hardness_hv > soft.zones["hosel"].hardness_hv + 50
    assert hard.hosel.allowed_deg < soft.hosel.allowed_deg
    face = lesson.results["lesson"].zones["face"]
    assert face.rebound_c > 30 and face.t85_s < 0.2 * lesson.results["lesson"].zones["hosel"].t85_s


def test_film_colours_and_marks_are_the_temperatures_of_that_moment():
    film = FilmPanel(display_units=Units())
    result = film.result
    frame = int(np.argmin(np.abs(film.times_s - 14.0)))
    film.frame.value = frame
    at = result.events["out of furnace"] + film.times_s[frame]
    face = result.zones["face"]
    expected = float(np.interp(at, face.time_s, face.temperature_c))
    assert film.outline._words["face"].get_text() == f"{expected:.0f} °C"
    assert film.paths._marks["face"].get_ydata()[0] == pytest.approx(expected, abs=0.5)
    assert "spray on the face" in film.clock.value
    first = film.live.widget.value
    film.frame.value = frame + 20
    assert film.live.widget.value != first


def test_film_tells_the_route_in_order():
    film = FilmPanel(display_units=Units())
    told = list(dict.fromkeys(film.doing(t) for t in np.linspace(0, 60, 2000)))
    assert told == [
        "carried to the press",
        "in the die",
        "pressed, waiting",
        "spray on the face",
        "cooling in air",
    ]


def test_chance_follows_the_interval():
    assert chance(400, 360, 440, 400) == pytest.approx(0.5)
    assert chance(400, 360, 440, 360) == pytest.approx(0.9, abs=0.001)
    assert chance(400, 360, 440, 440) == pytest.approx(0.1, abs=0.001)
    assert chance(400, 300, 410, 300) == pytest.approx(0.9, abs=0.001)  # lopsided interval


@pytest.fixture(scope="module")
def task():
    return TaskPanel(display_units=Units())


def mark(task, goal, **settings):
    task.goal.value = goal.grade
    task.controls["surroundings"].value = settings.pop("surroundings", "single")
    for name, value in settings.items():
        task.sliders[name].value = value
    task.score_button.click()
    task.work.join()
    return task.marks()[0]


@pytest.mark.parametrize(
    ("goal", "settings"),
    [
        (GOALS[0], dict(flux=30, spray_s=18, delay_s=0.5, preheat_c=880)),
        (GOALS[1], dict(flux=16, spray_s=13, delay_s=0.5, preheat_c=870, surroundings="sleeve")),
    ],
    ids=["low carbon", "chromoly"],
)
def test_task_can_be_solved(task, goal, settings):
    assert mark(task, goal, **settings) >= 0.75
    assert "would do in a shop" in task.verdict.value


@pytest.mark.parametrize("goal", GOALS, ids=lambda g: g.grade)
def test_task_is_failed_without_enough_water_and_says_which_side(task, goal):
    assert mark(task, goal, flux=2, spray_s=2, delay_s=2, preheat_c=930) < 0.2
    assert "face is the weak side" in task.verdict.value


def test_score_does_not_hang_on_one_hidden_setting(task):
    """Several quite different settings pass."""
    first = mark(
        task, GOALS[1], flux=15, spray_s=14, delay_s=0.5, preheat_c=870, surroundings="sleeve"
    )
    second = mark(
        task, GOALS[1], flux=19, spray_s=11.5, delay_s=1.0, preheat_c=880, surroundings="sleeve"
    )
    assert min(first, second) > 0.7


def test_held_out_heads_stay_inside_the_grade(task):
    task.goal.value = GOALS[1].grade
    limits = fp.grade(GOALS[1].grade).limits
    cases = task.held_out()
    assert len({tuple(sorted(job.steel.composition.items())) for job in cases}) == len(cases)
    for job in cases:
        for element, (low, high) in limits.items():
            if low is not None and high is not None:
                assert low <= job.steel.composition[element] <= high


def test_moving_a_slider_clears_the_score(task):
    mark(task, GOALS[0], flux=2)
    assert task.verdict.value
    task.sliders["flux"].widget.value = 9.0
    assert task.verdict.value == ""


def test_diagram_grain_is_that_of_the_head(lesson):
    result = lesson.results["hard"]
    assert diagram_of(result).steel == result.steel


def test_task_is_saved_and_loaded(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    task = TaskPanel(display_units=Units())
    first = vars(task.inputs)
    mine = {
        "grade": "4130",
        "preheat_c": 905.0,
        "flux": 9.0,
        "spray_s": 7.0,
        "delay_s": 1.0,
        "surroundings": "fan",
    }
    assert set(mine) == set(first)
    task.put(mine)
    assert vars(task.inputs) == mine and task.job.route.setting("flux") == 9.0
    assert (
        task.result.steel.name == fp.grade("4130").name
        and task.result.route.cool.surroundings == "fan"
    )
    task.keep.save.click()
    assert "saved as my_task.json" in task.keep.said.value
    with pytest.raises(fp.InputError, match="4140"):
        task.put(mine | {"grade": "4140"})
    assert vars(task.inputs) == mine
    task.keep.reset.click()
    assert vars(task.inputs) == first
