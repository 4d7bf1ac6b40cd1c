"""Panels that start from people's files: file by path or by the page's chooser, work beside the page, a
picture."""

from __future__ import annotations

import html
from pathlib import Path

from ...base.errors import InputError
from ...base.tables import data_path
from .. import style
from ..canvas import LiveFigure
from ..units import Units, units
from .accessibility import slider_names
from .progress import Work
from .save_bar import KeepBar
from .settings import note

__all__ = ["FileChoice", "FilePanel", "number_field", "value_of"]

#: Most notes about a file that are shown.
_NOTES = 12


class FileChoice:
    """Path of a file, or the page's file chooser; what was met while reading stands below.

    Parameters
    ----------
    label : str
    name : str
        File of data/demo shown first; empty for none.
    accept : str
        Endings the chooser offers.
    """

    def __init__(self, label: str, name: str = "", accept: str = ".csv,.xlsx"):
        import ipywidgets as w

        self.path = w.Text(
            value=str(data_path("demo", name)) if name else "",
            description=label,
            style={"description_width": "160px"},
            layout={"width": "560px"},
        )
        self.upload = w.FileUpload(
            accept=accept, multiple=False, description="Choose", tooltip=f"choose a file: {label}",
            layout={"width": "120px"},
        )  # fmt: skip
        self.path.add_class("fp-path")
        self.upload.add_class("fp-upload")
        self.said = w.HTML()
        self.widget = w.VBox([w.HBox([self.path, self.upload]), self.said])
        self._chosen: tuple = ()
        self.upload.observe(lambda change: self._choose(change["new"]), names="value")
        self.path.observe(lambda change: self._typed(), names="value")

    def _choose(self, uploads) -> None:
        if uploads:
            self._chosen = tuple(uploads)
            self.path.value = f"chosen: {uploads[0]['name']}"
            self.upload.value = ()  # so that the same file can be chosen again

    def _typed(self) -> None:
        if not self.path.value.startswith("chosen: "):
            self._chosen = ()

    @property
    def chosen(self) -> bool:
        """Whether the file came through the page's chooser: it has a content but no path."""
        return bool(self._chosen)

    @property
    def source(self):
        """What the readers take: the upload or the path; None if neither is given."""
        return self._chosen or (self.path.value.strip() or None)

    @property
    def name(self) -> str:
        """File name for people."""
        return Path(self.path.value.removeprefix("chosen: ")).name

    def tell(self, problems) -> None:
        """Show what was met and assumed."""
        lines = "".join(f"<li>{html.escape(str(p))}</li>" for p in list(problems)[:_NOTES])
        more = f"<li>and {len(problems) - _NOTES} more</li>" if len(problems) > _NOTES else ""
        self.said.value = (
            f"<details><summary>{len(problems)} note(s) on {html.escape(self.name)}</summary>"
            f"<ul style='max-width:900px'>{lines}{more}</ul></details>"
            if len(problems)
            else ""
        )

    def read(self, reader, *arguments):
        """What `reader` makes of the file, its notes shown; None if no file is given."""
        if self.source is None:
            return None
        made = reader(self.source, *arguments)
        self.tell(getattr(made, "problems", ()))
        return made


class FilePanel:
    """Button, progress, picture and words; `compute` runs beside the page.

    Parameters
    ----------
    controls : sequence of ipywidgets widgets
    display_units : Units, optional
    keep : mapping of str to control, optional
        Controls that `Save` keeps in a settings file, by the names they have there (see `kept_fields`).
    """

    kind = ""
    go_words, size, shows = "Work it out", (1000, 380), "picture of the result"

    def __init__(self, controls, display_units: Units | None = None, keep=None):
        import ipywidgets as w

        import forgeprops

        from .kept_fields import kept, not_kept, put

        self._forgeprops, self._units = forgeprops, display_units or units()
        self.result = None
        if keep:
            self.keep = KeepBar(
                self.kind,
                lambda: kept(keep),
                lambda values: put(keep, values),
                lambda: not_kept(keep),
            )
            controls = [*controls, self.keep.widget]
        self.go = w.Button(
            description=self.go_words,
            icon="play",
            button_style="primary",
            layout={"width": "170px"},
        )
        self.go.add_class("fp-go")
        self.go.on_click(lambda _: self.start())
        self.work = Work()
        self.live = LiveFigure(*self.size, self.shows)
        self._wait()
        self.words, self.caption, self.below = w.HTML(), w.HTML(), w.VBox([])
        self.words.add_class("fp-headline")
        self.widget = w.VBox(
            [
                *controls,
                w.HBox([self.go, self.work.widget], layout={"align_items": "center"}),
                self.words,
                self.live.widget,
                self.caption,
                self.below,
                slider_names(),
            ]
        )
        self.widget.add_class("fp-shop-data")

    def _wait(self) -> None:
        """Until there is a picture, say in its place how it comes: an empty place looks broken."""
        with style.look():
            self.live.figure.text(
                0.5, 0.5, f"The picture comes here: press “{self.go_words}”.", ha="center", va="center",
                color=style.QUIET, fontsize=12,
            )  # fmt: skip
        self.live.refresh(static=True)

    def items(self):
        """Steps of the work; one unless a panel has more."""
        return ("all",)

    def start(self) -> None:
        """Read the files and work it out; an unusable file is told beside the bar."""
        try:
            items = self.items()
        except InputError as error:
            self.work.said.value = note(str(error))
            return
        self.work.start(items, self.step, "steps")

    def step(self, item) -> None:
        """One step of the work."""
        self.result = self.compute()
        self.show()

    def tell(self, sentences: str) -> None:
        """Words above the picture, one line a sentence."""
        lines = "".join(f"<li>{html.escape(s)}</li>" for s in sentences.splitlines() if s)
        self.words.value = (
            f'<div role="status"><ul style="max-width:950px;line-height:1.4">{lines}</ul></div>'
        )

    def draw(self, how, *arguments) -> None:
        """Draw anew and say the picture in words."""
        with style.look():
            told = how(self.live.figure, *arguments, units=self._units)
        self.live.refresh(static=True)
        self.caption.value = (
            f'<p style="max-width:950px;color:{style.QUIET}">{html.escape(told)}</p>'
        )


def number_field(label: str, value, width: str = "230px"):
    """Field for a number that may stay empty."""
    import ipywidgets as w

    return w.Text(
        value="" if value is None else f"{value:g}",
        description=label,
        style={"description_width": "140px"},
        layout={"width": width},
    )


def value_of(field, what: str) -> float | None:
    text = field.value.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(f"{what} is {field.value!r}; allowed is a number, or nothing.") from None
