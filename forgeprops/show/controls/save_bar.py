"""Save a page's inputs to a small file beside the notebook and load them again; write the setting sheet."""

from __future__ import annotations

from ...base.errors import InputError, check_choice
from ...io.saved import plain, read_json, write_json
from .. import markup
from .fields import FileChoice, button, html, typed

_VERSION = 1


def _bar(*widgets):
    import ipywidgets as w

    look = {"align_items": "center", "min_height": "34px", "flex_flow": "row wrap"}
    return w.HBox(list(widgets), layout=look)


class KeepBar:
    """File name, Save, Load, back to the first settings, and a sentence that says what happened.

    Parameters
    ----------
    panel : Panel
        Its `controls` are kept by their names, under its `kind`.
    """

    def __init__(self, panel):
        import ipywidgets as w

        self._panel, self._kind = panel, f"{panel.kind} inputs"
        self.name = typed("file", "settings file", f"my_{panel.kind}.json", 90, "260px").widget
        self.save = button("save", "Save", "save", self._save, "90px")
        look = {"description": "Load", "layout": {"width": "110px"}}
        self.load = w.FileUpload(accept=".json", tooltip="choose a settings file to load", **look)
        self.load.add_class("fp-load")
        self._first = panel.inputs
        self.reset = button(
            "reset", "Start again", "undo", lambda: panel.put(vars(self._first)), "120px"
        )
        self.said = html()
        self.widget = _bar(self.name, self.save, self.load, self.reset, self.said)
        self.load.observe(lambda change: self._load(change["new"]), names="value")

    def _save(self) -> None:
        files = [c for c in self._panel.controls.values() if isinstance(c, FileChoice) and c.chosen]
        names = " and ".join(c.file_name for c in files)
        left = (
            f"; not {names}, which was chosen and has no path: write its path instead"
            if files
            else ""
        )
        try:
            write_json(self.name.value, self._kind, _VERSION, plain(vars(self._panel.inputs)))
            self.said.value = markup.note(f"saved as {self.name.value}{left}", bad=False)
        except InputError as error:
            self.said.value = markup.note(str(error))

    def _load(self, uploads) -> None:
        if not uploads:
            return
        try:
            content = read_json(uploads, self._kind, (_VERSION,))
            content.pop("version")
            self._panel.put(content)
            self.said.value = markup.note(f"loaded {uploads[0]['name']}", bad=False)
        except InputError as error:
            self.said.value = markup.note(str(error))
        finally:
            self.load.value = ()  # so that the same file can be loaded again


def checked(controls, values) -> dict:
    """Values that the controls take, from those of a settings file."""
    known = sorted(controls)
    for name in values:
        check_choice(name, "setting", known, "settings file")
    for name in known:
        if name not in values:
            raise InputError(f"{name} is missing; a settings file names all of {', '.join(known)}.")
    return {name: control.check(values[name], name) for name, control in controls.items()}
