"""Save a panel's inputs to a small file beside the notebook, and load them again."""

from __future__ import annotations

from ...base.errors import InputError, check_choice
from ...io.saved import read_json, write_json
from ..sheet import PAPERS
from .settings import note

__all__ = ["KeepBar", "SheetBar", "check_names", "load_inputs", "save_inputs"]

_VERSION = 1


def save_inputs(path, kind: str, inputs: dict, overwrite: bool = False) -> None:
    """Write inputs of a panel as a small readable JSON file.

    Raises
    ------
    InputError
        The file exists (and `overwrite` is not given) or cannot be written.
    """
    write_json(path, f"{kind} inputs", _VERSION, inputs, overwrite=overwrite)


def load_inputs(source, kind: str) -> dict:
    """Read inputs that `save_inputs` wrote; `source` is a path, bytes or what a file chooser hands over.

    Raises
    ------
    InputError
        Not such a file.
    """
    content = read_json(source, f"{kind} inputs", (_VERSION,))
    content.pop("version", None)
    return content


def check_names(values: dict, known) -> None:
    """Refuse saved inputs that name a setting the panel does not know, or leave one out.

    Raises
    ------
    InputError
        Which name, and which are known.
    """
    known = sorted(known)
    for name in values:
        check_choice(name, "setting", known, "settings file")
    for name in known:
        if name not in values:
            raise InputError(f"{name} is missing; a settings file names all of {', '.join(known)}.")


class KeepBar:
    """File name, Save, Load, back to the first settings, and a sentence that says what happened.

    Parameters
    ----------
    kind : str
        Panel name, written into the file.
    get, put : callable
        ``get() -> dict`` of the inputs; ``put(dict)`` sets the controls (raises InputError if it cannot).
    remark : callable, optional
        ``remark() -> str``: what follows "saved as …", such as what could not be kept.
    """

    def __init__(self, kind: str, get, put, remark=None):
        import ipywidgets as w

        self.kind, self._get, self._put, self._remark = kind, get, put, remark or (lambda: "")
        self.name = w.Text(
            value=f"my_{kind}.json",
            description="settings file",
            style={"description_width": "90px"},
            layout={"width": "260px"},
        )
        self.save = w.Button(
            description="Save", icon="save", tooltip="write these settings to the file"
        )
        self.load = w.FileUpload(
            accept=".json",
            multiple=False,
            description="Load",
            tooltip="choose a settings file to load",
        )
        for widget, name in (
            (self.name, "fp-file"),
            (self.save, "fp-save"),
            (self.load, "fp-load"),
        ):
            widget.add_class(name)
        self.save.layout.width, self.load.layout.width = "90px", "110px"
        self.reset = w.Button(
            description="Start again", icon="undo", tooltip="back to the first settings"
        )
        self.reset.layout.width = "120px"
        self.reset.add_class("fp-reset")
        self._first = get()
        self.reset.on_click(lambda _: self._put(self._first))
        self.said = w.HTML()
        self.widget = w.HBox(
            [self.name, self.save, self.load, self.reset, self.said],
            layout={"align_items": "center", "min_height": "34px", "flex_flow": "row wrap"},
        )
        self.save.on_click(lambda _: self._save())
        self.load.observe(lambda change: self._load(change["new"]), names="value")

    def _save(self) -> None:
        try:
            save_inputs(self.name.value, self.kind, self._get())
            self.said.value = note(f"saved as {self.name.value}{self._remark()}", bad=False)
        except InputError as error:
            self.said.value = note(str(error))

    def _load(self, uploads) -> None:
        if not uploads:
            return
        try:
            self._put(load_inputs(uploads, self.kind))
            self.said.value = note(f"loaded {uploads[0]['name']}", bad=False)
        except InputError as error:
            self.said.value = note(str(error))
        finally:
            self.load.value = ()  # so that the same file can be loaded again


class SheetBar:
    """File name, paper and button that write the printable setting sheet of the result on the page.

    Parameters
    ----------
    get : callable
        ``get() -> Estimate``.
    """

    def __init__(self, get):
        import ipywidgets as w

        self._get = get
        self.name = w.Text(
            value="setting_sheet.html", description="sheet file", style={"description_width": "90px"},
            layout={"width": "260px"},
        )  # fmt: skip
        self.paper = w.Dropdown(
            options=tuple(PAPERS), value="A4", description="paper", style={"description_width": "50px"},
            layout={"width": "140px"},
        )  # fmt: skip
        self.paper.add_class("fp-paper")
        self.make = w.Button(
            description="Setting sheet", icon="print", tooltip="write a printable sheet; .html or .pdf",
            layout={"width": "140px"},
        )  # fmt: skip
        self.make.add_class("fp-sheet")
        self.make.on_click(lambda _: self._make())
        self.said = w.HTML()
        self.widget = w.HBox(
            [self.name, self.paper, self.make, self.said],
            layout={"align_items": "center", "flex_flow": "row wrap"},
        )

    def _make(self) -> None:
        from ..sheet import sheet

        self.said.value = note("writing …", bad=False)
        try:
            made = sheet(self._get(), self.name.value, self.paper.value)
            self.said.value = note(f"written: {made.name}, beside this notebook", bad=False)
        except InputError as error:
            self.said.value = note(str(error))
