"""The lesson in a real browser: one step a screen, guess by dragging, film, task with its trail."""

import re
from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "08_why_face_and_hosel_differ.ipynb"


def _step(notebook, number):
    notebook.page.locator(".dots button").nth(number - 1).click()
    assert notebook.words(".fpg h1").startswith(str(number))


def test_guess_by_dragging_then_the_answer_grows(notebook):
    page = notebook.page
    page.set_viewport_size({"width": 1280, "height": 720})
    page.wait_for_timeout(600)
    show = page.get_by_role("button", name="Show the answer")
    assert show.is_disabled() and page.locator(".fpg .answer").inner_text() == ""
    curves = page.locator(".guess path").count()
    box = page.get_by_role("slider").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 120, steps=8)
    page.mouse.up()
    assert float(page.get_by_role("slider").get_attribute("aria-valuenow")) > 520
    show.click()
    more = "n => document.querySelectorAll('.guess path').length > n"
    page.wait_for_function(more, arg=curves, timeout=5000)
    assert re.search(r"(Good guess|you thought)\. The hosel is still at \d+ °C", notebook.words(".fpg .answer"))  # fmt: skip
    page.wait_for_timeout(1700)
    notebook.screenshot("08_step_1")
    page.locator(".foot .cure").click()
    assert notebook.words(".fpg h1").startswith("2")


def test_every_step_fits_and_answers_by_keyboard(notebook):
    page = notebook.page
    for number in range(2, 7):
        _step(notebook, number)
        page.get_by_role("slider").focus()
        page.keyboard.press("ArrowUp")
        page.get_by_role("button", name="Show the answer").click()
        page.wait_for_timeout(300)
        assert len(notebook.words(".fpg .answer")) > 20
        over = page.evaluate(
            "() => [...document.querySelectorAll('.fpg :is(.screen, .tell)')].map(s =>"
            " [s.scrollWidth - s.clientWidth, s.scrollHeight - s.clientHeight])"
        )
        assert max(map(max, over)) <= 1, number
    assert page.locator(".dots .done").count() >= 5


def test_film_plays_pauses_and_scrubs(notebook):
    page = notebook.page
    _step(notebook, 7)
    curve = ".film svg.chart path[stroke='#0B1020']"
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(1500)
    page.get_by_role("button", name="Pause").click()
    paused, grown = notebook.words(".film .ask"), page.locator(curve).first.get_attribute("d")
    page.wait_for_timeout(400)
    assert notebook.words(".film .ask") == paused and not paused.startswith("0.0 s")
    page.get_by_role("slider", name="time of the film").evaluate(
        "e => { e.value = 14; e.dispatchEvent(new Event('input')); }"
    )
    assert "Slow motion" in notebook.words(".film .ask")
    assert len(page.locator(curve).first.get_attribute("d")) > len(grown)
    notebook.screenshot("08_film")


def test_task_keeps_a_trail(notebook):
    page = notebook.page
    _step(notebook, 8)
    for keys in (0, 6):
        page.locator("[data-name=flux]").focus()
        for _ in range(keys):
            page.keyboard.press("ArrowRight")
        tries = page.locator(".fpg tbody tr").count()
        page.get_by_role("button", name="Try these settings").click()
        more = "n => document.querySelectorAll('.fpg tbody tr').length > n"
        page.wait_for_function(more, arg=tries)
        assert page.evaluate("document.activeElement.dataset.name") == "try"
    said = page.locator(".fpg .words.answer").last.inner_text()
    assert re.search(r"(Passed|Score): \d+ of 100\.", said)
    notebook.screenshot("08_task")
    page.locator(".fpg tbody button").last.click()
    assert page.locator(".fpg tbody tr").count() == 2
