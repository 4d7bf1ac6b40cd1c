"""07_how_far_to_trust_it in a real browser: pictures and words, a band to choose, goals and misses."""

from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "07_how_far_to_trust_it.ipynb"


def test_pictures_and_their_words(notebook):
    notebook.screenshot("07_how_far_to_trust_it_opened")
    words = notebook.words(".fp-parity-words")
    assert "527 rows, 26 sources" in words and "each steel predicted without it" in words
    assert "measured bars lie inside the interval" in notebook.words(".fp-coverage-words")


def test_band_of_a_grade(notebook):
    words = notebook.words(".fp-band-words")
    assert "15 points" in words and "was read" in words
    notebook.page.locator(".fp-band").first.scroll_into_view_if_needed()
    notebook.screenshot("07_how_far_to_trust_it_band")


def test_goals_say_what_does_not_count_and_what_is_missed(notebook):
    words = notebook.words(".fp-goals")
    assert "met" in words and "does not count" in words
    notebook.page.locator(".fp-goals").first.scroll_into_view_if_needed()
    notebook.screenshot("07_how_far_to_trust_it_goals")
    assert "recalled" in notebook.words(".fp-remembered")
