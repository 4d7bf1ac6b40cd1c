"""The live figure shows exactly what a full redraw would show, and never touches pyplot."""

import io
import sys

import numpy as np
import pytest
from PIL import Image

from forgeprops.show import style
from forgeprops.show.canvas import LiveFigure


@pytest.fixture
def live():
    picture = LiveFigure(400, 200)
    with style.look():
        ax = picture.figure.add_subplot()
        ax.set(xlim=(0, 1), ylim=(0, 10), xlabel="time / s")
        (line,) = ax.plot([0, 1], [1, 2])
        text = ax.text(0.5, 5, "one")
    picture.set_live(line, text)
    picture.line, picture.text = line, text
    return picture


def pixels(picture):
    return np.asarray(Image.open(io.BytesIO(picture.widget.value)))


def test_quick_refresh_equals_a_full_redraw(live):
    live.line.set_data([0, 1], [9, 3])
    live.text.set_text("two")
    live.refresh()
    quick = pixels(live)
    live.refresh(static=True)
    assert np.array_equal(quick, pixels(live))


def test_old_line_leaves_no_trace(live):
    before = pixels(live)
    live.line.set_data([0, 1], [9, 9])
    live.refresh()
    assert not np.array_equal(before, pixels(live))
    live.line.set_data([0, 1], [1, 2])
    live.refresh()
    assert np.array_equal(before, pixels(live))


def test_size_on_the_page_is_fixed(live):
    assert (live.widget.width, live.widget.height) == ("400", "200")
    assert pixels(live).shape == (200, 400, 3)


def test_neither_pyplot_nor_ipympl_is_imported():
    import subprocess

    code = (
        "import sys; from forgeprops.show.canvas import LiveFigure; f = LiveFigure(); f.figure.add_subplot(); "
        "f.refresh(); print([m for m in ('matplotlib.pyplot', 'ipympl') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_picture_has_a_name_for_those_who_hear_the_page_and_stays_legible_when_narrow():
    picture = LiveFigure(1000, 200, "cooling curves")
    assert picture.widget.tooltip == "cooling curves" and picture.widget.layout.min_width == "600px"
    assert (
        "description" in picture.widget.keys
    )  # without it the page shows no image that has a tooltip


def test_names_of_sliders_are_put_on_the_page_by_an_invisible_widget():
    from forgeprops.show.controls.accessibility import slider_names

    made = slider_names()
    assert (
        made.layout.display == "none"
        and "aria-label" in made.value
        and "<style onload=" in made.value
    )
