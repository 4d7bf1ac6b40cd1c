"""01_estimate in a real browser: what a reader does, and what physics demands of the answer."""

import re
from pathlib import Path

import pytest

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "01_estimate.ipynb"


def hv(words: str) -> tuple[float, float]:
    """Face and hosel hardness in the sentence above the pictures."""
    face, hosel = re.findall(r"about (\d+) HV", words)[:2]
    return float(face), float(hosel)


@pytest.fixture(autouse=True)
def start_again(notebook):
    """Every test begins at the first settings."""
    notebook.page.locator(".fp-reset").first.click()
    notebook.page.wait_for_timeout(600)


def test_water_hardens_the_face_and_leaves_the_hosel_alone(notebook):
    notebook.screenshot("01_estimate_opened")
    wet = hv(notebook.words(".fp-headline"))
    old = notebook.picture()
    notebook.press(".fp-spray-s", "Home")  # the water does not run at all
    notebook.wait_for_new_picture(old)
    dry = hv(notebook.words(".fp-headline"))
    assert notebook.reading(".fp-spray-s") == 0.0
    assert dry[0] < wet[0] - 50
    assert abs(dry[1] - wet[1]) < 10
    notebook.screenshot("01_estimate_without_water")


def test_short_spray_is_reheated_and_the_page_says_so(notebook):
    old = notebook.picture()
    notebook.press(".fp-spray-s", "Home")
    notebook.press(".fp-spray-s", "PageUp", 3)  # five steps of 0.25 s each
    notebook.press(".fp-spray-s", "ArrowRight")
    notebook.wait_for_new_picture(old)
    assert notebook.reading(".fp-spray-s") == 4.0
    caption = notebook.words(".fp-caption")
    assert "water stops while the face is still" in caption and "re-heats it" in caption


def test_low_carbon_is_softer_than_chromoly(notebook):
    chromoly = hv(notebook.words(".fp-headline"))
    old = notebook.picture()
    notebook.choose(".fp-grade", "1020")
    notebook.wait_for_new_picture(old)
    low = hv(notebook.words(".fp-headline"))
    assert low[0] < chromoly[0] and low[1] < chromoly[1]


def test_mouse_and_saved_settings(notebook):
    old = notebook.picture()
    before = notebook.reading(".fp-preheat-c")
    notebook.drag(".fp-preheat-c", -40)
    notebook.wait_for_new_picture(old)
    moved = notebook.reading(".fp-preheat-c")
    assert moved < before
    save = notebook.page.locator(".fp-save").first
    save.scroll_into_view_if_needed()
    save.click()
    notebook.page.get_by_text("saved as my_estimate.json").first.wait_for(timeout=10_000)
    save.click()
    notebook.page.get_by_text("exists already").first.wait_for(timeout=10_000)


def test_controls_are_reached_by_the_keyboard_alone(notebook):
    """From the drop-down list of grades, Tab leads to the sliders."""
    notebook.page.locator(".fp-grade select").first.focus()
    seen = set()
    for _ in range(14):
        notebook.page.keyboard.press("Tab")
        seen.add(
            notebook.page.evaluate(
                "[...(document.activeElement.closest('[class*=fp-]')?.classList ?? [])]"
                ".find(c => c.startsWith('fp-')) ?? ''"
            )
        )
    assert {"fp-head", "fp-preheat-c", "fp-flux", "fp-spray-s"} <= seen


def test_narrow_page_scrolls_to_the_rest_of_the_picture(notebook):
    """A picture stops shrinking where its words can just be read; what is cut off is reached by scrolling."""
    wide = notebook.page.viewport_size
    notebook.page.set_viewport_size({"width": 560, "height": 900})
    notebook.page.wait_for_timeout(800)
    try:
        shown, hidden, scrolls = notebook.page.evaluate(
            """() => { const image = document.querySelector('.fp-picture'); let box = image.parentElement;
               while (box && box.scrollWidth <= box.clientWidth + 1) box = box.parentElement;
               return [image.getBoundingClientRect().width, box ? box.scrollWidth - box.clientWidth : 0,
                       box ? getComputedStyle(box).overflowX : 'none']; }"""
        )
        notebook.screenshot("01_estimate_narrow")
        assert shown > 600.0 and hidden > 0.0 and scrolls in ("auto", "scroll")
    finally:
        notebook.page.set_viewport_size(wide)
        notebook.page.wait_for_timeout(500)


def test_slider_to_picture(notebook, record_time):
    taken = notebook.stopwatch(".fp-flux")
    record_time("01_estimate", taken)


def test_map_of_grades_fills(notebook):
    page = notebook.page
    said = page.locator(".fp-progress-words").first
    said.scroll_into_view_if_needed()
    page.locator(".fp-go").first.click()
    page.get_by_text("32 of 32 steps").first.wait_for(timeout=120_000)
    notebook.screenshot("01_estimate_map")
    page.locator(".fp-go").first.click()
    page.locator(".fp-stop").first.click()
    page.get_by_text(re.compile("stopped after|32 of 32")).first.wait_for(timeout=60_000)
