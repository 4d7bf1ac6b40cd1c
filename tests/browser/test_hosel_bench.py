"""05_hosel_bench in a real browser: yes, no, another bar, and what softens it."""

import statistics
from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "05_hosel_bench.ipynb"


def test_answer_pull_and_cautions_stand_on_the_page(notebook):
    notebook.screenshot("05_hosel_bench_opened")
    words = notebook.words(".fp-headline")
    assert "wanted" in words and "allowed" in words and "towards the toe" in words
    assert "eye protection" in notebook.words(".fp-caption")


def test_too_much_is_said_and_the_picture_follows(notebook):
    old = notebook.picture()
    # a short zone takes less than the wanted 4.1 degrees
    notebook.press(".fp-bend-zone-mm", "Home")
    notebook.wait_for_new_picture(old)
    old = notebook.picture()
    notebook.press(".fp-target-lie-deg", "End")
    notebook.wait_for_new_picture(old)
    assert notebook.words(".fp-headline").startswith(("No:", "Too stiff"))
    old = notebook.picture()
    notebook.press(".fp-target-lie-deg", "Home")
    notebook.wait_for_new_picture(old)
    notebook.press(".fp-target-lie-deg", "ArrowRight", 10)  # −4 to −1.5 degrees
    notebook.page.get_by_text("1.8° wanted").first.wait_for(timeout=20_000)
    assert notebook.words(".fp-headline").startswith("It ")
    assert "towards the heel" in notebook.words(".fp-headline")


def test_hard_grade_needs_a_longer_bar_and_the_button_tells_what_softens_it(notebook):
    old = notebook.picture()
    notebook.choose(".fp-grade", "4140")
    notebook.wait_for_new_picture(old)
    notebook.page.get_by_text("the bar must be").first.wait_for(timeout=20_000)
    assert "For 400 N the bar must be" in notebook.words(".fp-headline")
    notebook.page.locator(".fp-soften").click()
    answer = notebook.page.locator(".fp-softening").get_by_text(
        "An insulating sleeve on the hosel:"
    )
    answer.wait_for(timeout=20_000)
    notebook.screenshot("05_hosel_bench_hard")


def test_slider_to_picture(notebook, record_time):
    taken = notebook.stopwatch(".fp-bar-mm")
    record_time("05_hosel_bench", taken)
    assert (
        statistics.median(taken) < 300.0
    )  # loose, for shared machines; the record holds the aim of 100 ms
