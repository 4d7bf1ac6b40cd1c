"""07_how_far_to_trust_it in a real browser: every tab has its pictures and words, goals say what is missed."""

from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "07_how_far_to_trust_it.ipynb"


def _open(notebook, tab: str):
    notebook.page.get_by_role("tab", name=tab).click()
    notebook.screenshot("07_" + tab.replace(" ", "_").replace("?", ""))
    return notebook.page.locator(".fpg .other")


def test_the_answer_stands_first(notebook):
    notebook.page.set_viewport_size({"width": 1280, "height": 720})
    assert "of 100 measured bars" in notebook.words(".fpg h1")
    assert _open(notebook, "Does the range hold?").locator("svg.chart path").count() >= 8


def test_pictures_and_their_words(notebook):
    panel = _open(notebook, "Predicted and measured")
    assert panel.locator("svg.chart").count() == 4
    assert "527 rows, 26 sources; each source predicted without it" in panel.inner_text()
    with notebook.page.expect_download() as got:
        panel.locator("summary").first.click()
        panel.get_by_role("button", name="Table (CSV)").first.click()
    assert len(Path(got.value.path()).read_text("utf-8").splitlines()) > 76
    assert "15 of 15 points" in _open(notebook, "End-quench bar").inner_text()


def test_goals_say_what_does_not_count_and_what_is_missed(notebook):
    words = _open(notebook, "Goals and misses").inner_text()
    assert "missed by" in words and "does not count" in words
    assert "from memory" in _open(notebook, "From memory").inner_text()
