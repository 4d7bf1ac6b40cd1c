"""The start page in a real browser: units chosen here hold in the next notebook."""

from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
NOTEBOOK = FOLDER / "00_start_here.ipynb"


@pytest.fixture
def back_to_celsius(notebook):
    yield
    notebook.page.bring_to_front()
    notebook.page.locator(".fp-unit-temperature button").nth(0).click()
    notebook.page.wait_for_timeout(500)


def test_units_chosen_here_hold_in_the_next_notebook(notebook, open_notebook, back_to_celsius):
    notebook.screenshot("00_start_here")
    notebook.page.locator(".fp-unit-temperature button").nth(1).click()
    notebook.page.get_by_text("Kept: °F").first.wait_for(timeout=10_000)
    other = open_notebook(FOLDER / "01_the_head.ipynb")
    other.run_all()
    assert "°F" in other.words(".fp-preheat-c")
    assert other.reading(".fp-preheat-c") == pytest.approx(930 * 1.8 + 32, abs=9)
    other.screenshot("01_the_head_fahrenheit")
    assert other.errors == []


def test_links_lead_to_the_notebooks(notebook):
    links = notebook.page.locator(".jp-RenderedMarkdown a").evaluate_all(
        "all => all.map(a => a.textContent)"
    )
    assert {"01_the_head", "08_why_face_and_hosel_differ"} <= set(links)
