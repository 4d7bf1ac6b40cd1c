"""04_settings_and_scatter in a real browser: window, scatter, and one case for all."""

from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "04_settings_and_scatter.ipynb"


def _finished(notebook, panel, steps):
    notebook.page.wait_for_function(
        f"document.querySelector('{panel} .fp-progress-words')?.innerText.includes('{steps} of {steps} steps')",
        timeout=150_000,
    )


def test_window_has_a_middle_and_takes_it(notebook):
    _finished(notebook, ".fp-window", 2)
    notebook.page.locator(".fp-window").first.scroll_into_view_if_needed()
    notebook.screenshot("04_settings_window")
    assert "The middle of the window is" in notebook.words(".fp-window-words")
    notebook.press(".fp-flux", "Home")
    assert notebook.reading(".fp-flux") == 0.0
    assert "earlier settings" in notebook.words(".fp-window-stale")
    notebook.page.locator(".fp-window-take").first.click()
    notebook.page.wait_for_timeout(800)
    assert 8.0 < notebook.reading(".fp-flux") < 18.0  # inside the window that the picture shows


def test_scatter_tells_share_and_what_matters(notebook):
    _finished(notebook, ".fp-scatter", 2)
    notebook.page.locator(".fp-scatter").first.scroll_into_view_if_needed()
    notebook.screenshot("04_settings_scatter")
    words = notebook.words(".fp-scatter-words")
    assert "heads miss a limit" in words and "how well the water cools" in words


def test_search_can_be_stopped(notebook):
    notebook.page.locator(".fp-choose .fp-go").first.click()
    notebook.page.wait_for_function(
        "document.querySelector('.fp-choose .fp-progress-words')?.innerText.includes('calculated so far')",
        timeout=60_000,
    )
    notebook.page.locator(".fp-choose .fp-stop").first.click()
    notebook.page.wait_for_function(
        "document.querySelector('.fp-choose .fp-stop').disabled", timeout=90_000
    )
    notebook.screenshot("04_settings_search")
    assert "Stopped before its end" in notebook.words(
        ".fp-choose-words"
    ) or "stopped" in notebook.words(".fp-choose .fp-progress-words")
