"""What every page has: controls by name → inputs → model → picture and words, saved and loaded by those names."""

from __future__ import annotations

import types
from collections.abc import Mapping, Sequence

from ...base.cautions import SHORT
from ...base.errors import InputError
from ...inputs.job import Job
from ...inputs.later import COOLING_WORDS
from ...inputs.limits import Limits
from ...inputs.settings import table
from .. import markup, style
from ..canvas import LiveFigure
from ..units import Units, units
from .accessibility import slider_names
from .fields import Control, Slider, button, choice, html
from .progress import Work
from .save_bar import KeepBar, checked


def row(*widgets, **layout):
    """Widgets side by side, wrapped on a narrow page."""
    import ipywidgets as w

    return w.HBox(list(widgets), layout={"flex_flow": "row wrap", "align_items": "center"} | layout)


def case_controls(names: Sequence[str], shown: Units, **first) -> dict[str, Control]:
    """Controls of a case: lists of grades, heads and ways to cool, and sliders.

    Parameters
    ----------
    names : sequence of str
        ``grade``, ``head``, ``surroundings``, and settings that have a slider.
    shown : Units
    **first
        First values; the default job's where none is given.
    """
    import forgeprops

    lists = {
        "grade": ("steel grade", forgeprops.grades(), "4130"),
        "head": ("head", forgeprops.heads(), "mid-iron"),
        "surroundings": ("then it cools", [(v, k) for k, v in COOLING_WORDS.items()], "single"),
    }
    made: dict[str, Control] = {}
    for name in names:
        if name in lists:
            label, options, value = lists[name]
            made[name] = choice(name, label, options, first.get(name, value))
        else:
            value = first[name] if name in first else Job().value(name)
            made[name] = Slider(name, value, shown)
    return made


class Panel:
    """Controls, a picture, an answer above it and details below.

    Parameters
    ----------
    controls : mapping of str to Control
        By the names under which a settings file keeps them.
    columns : sequence of sequence of str
        Names of the controls from top to bottom, column by column; all in one column when left out.
    display_units : Units, optional
        The reader's units; what was chosen once unless given.

    Attributes
    ----------
    widget : ipywidgets.VBox
    live : LiveFigure
    headline, caption : ipywidgets.HTML
    """

    kind = "panel"
    size, shows = (1060, 580), "picture of the result"

    def __init__(
        self,
        controls: Mapping,
        columns: Sequence[Sequence[str]] = (),
        display_units: Units | None = None,
    ):
        import ipywidgets as w

        self.units, self.controls, self._busy = display_units or units(), dict(controls), False
        self.sliders = {n: c for n, c in self.controls.items() if isinstance(c, Slider)}
        columns = columns or (tuple(self.controls),)
        rows = [w.VBox([self.controls[n].row for n in names]) for names in columns]
        self.top = row(*rows, align_items="flex-start")
        self.headline, self.caption = html("headline"), html("caption")
        self.live = LiveFigure(*self.size, self.shows)
        self.live.widget.add_class("fp-picture")
        self.keep = KeepBar(self)
        self.widget = w.VBox(
            [
                self.top,
                self.headline,
                self.live.widget,
                self.caption,
                self.keep.widget,
                w.VBox([html("cautions", markup.line(SHORT)), slider_names()]),
            ]
        )
        self.widget.add_class(f"fp-{self.kind.replace('_', '-')}")
        for control in self.controls.values():
            control.on_change(self._moved)

    @property
    def inputs(self) -> types.SimpleNamespace:
        """What the controls say now."""
        return types.SimpleNamespace(**{name: c.value for name, c in self.controls.items()})

    @property
    def job(self) -> Job:
        """The job that the controls describe; what they do not say keeps its default."""
        given = vars(self.inputs)
        changes = {name: v for name, v in given.items() if name in table()}
        changes |= {n: given[n] for n in ("steel", "head") if n in given}
        if not given.get("water", True):
            changes = {
                n: v for n, v in changes.items() if n not in table() or table()[n].part != "spray"
            }
            changes["spray"] = None
        limits = Limits(**given.get("limits", {}))
        return Job(given["grade"]).with_(limits=limits, **changes)

    def put(self, values: Mapping) -> None:
        """Set all controls from saved inputs; nothing changes if one of the values cannot be used."""
        self.turn(checked(self.controls, values))

    def turn(self, values: Mapping) -> None:
        """Move controls, then answer once."""
        self._busy = True
        try:
            for name, value in values.items():
                self.controls[name].value = value
        finally:
            self._busy = False
        self._moved(next(iter(self.controls.values())))

    def _moved(self, control) -> None:
        """Answer; what the model refuses is a sentence beside the control, and the old answer stays."""
        if self._busy:
            return
        for one in self.controls.values():
            if 'role="alert"' in one.note.value:
                one.note.value = ""
        try:
            self.answer(control)
        except InputError as error:
            control.note.value = markup.note(str(error))

    def answer(self, control) -> None:
        """Inputs → model → picture and words, after `control` has changed."""

    def say(self, *parts: str) -> None:
        """Write the answer, of pieces of HTML."""
        self.headline.value = markup.status(*parts, least_px=64)

    def explain(self, pictures: Sequence[str], *parts: str) -> None:
        """Write the details: pieces of HTML, and the pictures in words."""
        words = "".join(f"<p>{markup.text(s)}</p>" for s in pictures)
        self.caption.value = (
            f'<div style="line-height:1.35;margin-left:8px;color:{style.INK}">{"".join(parts)}'
            f"{markup.folded('The pictures in words', words)}</div>"
        )


class WorkPanel(Panel):
    """A page whose answer takes a while: button, progress, and the work beside the page.

    Attributes
    ----------
    result
        What the last step has found.
    below : ipywidgets.VBox
        Under the picture: tables and more controls.
    """

    go_words, size = "Calculate", (1000, 380)

    def __init__(self, controls, columns=(), display_units: Units | None = None, extra=()):
        import ipywidgets as w

        super().__init__(controls, columns, display_units)
        self.result = None
        self.go = button("go", self.go_words, "play", self.start, "170px", button_style="primary")
        self.work, self.below = Work(), w.VBox([])
        self.bar = row(self.go, *extra, self.work.widget)
        top, words, picture, caption, keep, names = self.widget.children
        self.widget.children = (top, self.bar, words, picture, caption, self.below, keep, names)
        with style.look():  # an empty place looks broken
            self.live.figure.text(
                0.5, 0.5, f"The picture comes here: press “{self.go_words}”.", ha="center", va="center",
                color=style.QUIET, fontsize=12,
            )  # fmt: skip
        self.live.refresh(static=True)

    def items(self):
        """Steps of the work; one unless a page has more."""
        return ("all",)

    def start(self) -> None:
        """Do the work from the beginning; what cannot be used is a sentence beside the bar."""
        self.work.stop()
        self.work.join(raising=False)
        try:
            items = self.items()
        except InputError as error:
            self.work.said.value = markup.note(str(error))
            return
        self.work.start(items, self.step, "steps")

    def step(self, item) -> None:
        """One step of the work."""
        self.result = self.compute()
        self.show()

    def tell(self, lines) -> None:
        """The answer above the picture, one point a sentence."""
        lines = lines.splitlines() if isinstance(lines, str) else lines
        self.headline.value = markup.status(markup.bullets(filter(None, lines)))

    def draw(self, how, *arguments) -> None:
        """Draw the picture from its beginning, and write it in words."""
        with style.look():
            told = how(self.live.figure, *arguments, units=self.units)
        self.live.refresh(static=True)
        self.caption.value = markup.line(told)
