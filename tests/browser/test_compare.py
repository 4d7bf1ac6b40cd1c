"""03_compare_grades in a real browser: a table that fills, limits that rank, a bad limit told beside its field."""

from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "03_compare_grades.ipynb"


def test_grades_are_ranked_and_limits_change_the_order(notebook):
    notebook.page.wait_for_function(
        "document.querySelector('.fp-compare .fp-progress-words')?.innerText.includes('6 of 6')",
        timeout=120_000,
    )
    notebook.screenshot("03_compare_grades_opened")
    assert "meets all your limits with the most room" in notebook.words(".fp-compare .fp-headline")
    old = notebook.picture(".fp-compare .fp-picture")
    field = notebook.page.locator(".fp-limit-face-hardness-hv-low input").first
    field.fill("600")
    field.press("Enter")
    notebook.page.wait_for_timeout(600)
    said = notebook.page.locator(".fp-limits, .fp-compare").first.inner_text()
    assert (
        "the low end must be below the high one" in said
        and notebook.picture(".fp-compare .fp-picture") == old
    )
    field.fill("300")
    field.press("Enter")
    notebook.wait_for_new_picture(old, ".fp-compare .fp-picture")
    notebook.screenshot("03_compare_grades_lower_limit")
