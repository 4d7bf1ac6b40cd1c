"""The lesson and the start page in a real browser: guess, reveal, film, task, units."""

import re
from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "08_why_face_and_hosel_differ.ipynb"


def test_guess_then_reveal(notebook):
    page = notebook.page
    notebook.screenshot("08_lesson_opened")
    step = page.locator(".fp-step-1").first
    assert step.locator("img").count() == 0  # nothing is given away
    notebook.press(".fp-step-1", "ArrowRight", 3)
    step.locator(".fp-show").first.click()
    step.locator("img").first.wait_for(timeout=20_000)
    assert re.search(r"The model says \d+ times", step.inner_text())
    notebook.screenshot("08_lesson_step_1")


def test_step_without_a_guess_asks_for_one(notebook):
    step = notebook.page.locator(".fp-step-3").first
    step.locator(".fp-show").first.scroll_into_view_if_needed()
    step.locator(".fp-show").first.click()
    step.get_by_text("Choose one first").wait_for(timeout=10_000)
    step.locator("input[type=radio]").first.check()
    step.locator(".fp-show").first.click()
    step.locator("img").first.wait_for(timeout=20_000)
    assert re.search(r"(Right|Look again)\. Mainly", step.inner_text())
    notebook.screenshot("08_lesson_step_3")


def test_film_plays_pauses_and_scrubs(notebook):
    page = notebook.page
    page.locator(".fp-play").first.scroll_into_view_if_needed()
    old = notebook.picture(".fp-film")
    page.locator(".fp-play button").first.click()
    notebook.wait_for_new_picture(old, ".fp-film")
    page.wait_for_timeout(1500)
    page.locator(".fp-play button").first.click()
    page.wait_for_timeout(800)
    paused = notebook.words(".fp-clock")
    page.wait_for_timeout(800)
    assert notebook.words(".fp-clock") == paused != "0.0 s: carried to the press"
    notebook.press(".fp-frame", "End")
    page.wait_for_timeout(500)
    assert "cooling in air" in notebook.words(".fp-clock")
    notebook.press(".fp-frame", "PageDown", 5)
    page.wait_for_timeout(500)
    notebook.screenshot("08_film")


def test_task_is_scored(notebook):
    page = notebook.page
    page.locator(".fp-task").first.scroll_into_view_if_needed()
    old = notebook.picture(".fp-target")
    notebook.press(".fp-task .fp-flux", "End")
    notebook.wait_for_new_picture(old, ".fp-target")
    page.locator(".fp-score").first.click()
    page.get_by_text(re.compile(r"About \d+ of 100")).first.wait_for(timeout=60_000)
    notebook.screenshot("08_task")


def test_frame_to_picture(notebook, record_time):
    taken = notebook.stopwatch(".fp-frame", ".fp-film")
    record_time("08_why_face_and_hosel_differ (film)", taken)
