"""Blocks of which tabs are made (`tabs`), what stops the work on them, and what the pages share as widgets."""

from pathlib import Path

import anywidget
import traitlets as t

from ...inputs.settings import table
from .desk import Desk

_HERE = Path(__file__).parent
#: What every widget's scripts stand on, in the order in which they are joined.
SHARED = ("dom.js", "head.js", "chart.js", "blocks.js")


class Widget(anywidget.AnyWidget):
    """What the pages share: the scripts, joined with a page's own, and the look."""

    scripts: tuple[str, ...] = ()
    _css = (_HERE / "page.css").read_text(encoding="utf-8")
    static = t.Dict().tag(sync=True)  # choices and pictures, once

    def __init_subclass__(cls, **more):
        if "scripts" in cls.__dict__:  # not the classes that traitlets makes of it
            names = (*SHARED, *cls.scripts)
            cls._esm = "\n".join((_HERE / name).read_text(encoding="utf-8") for name in names)
        super().__init_subclass__(**more)


class Stopped(Exception):
    """Raised by `progress` in work that is no longer needed."""


def text(words: str, look: str = "") -> dict:
    """A block of words; `look` is "", "small", or the rank of a warning."""
    return {"kind": "text", "words": words, "look": look}


def table_of(name: str, head: list, rows: list, **more) -> dict:
    """A table; `more`: levels and take of its rows, here."""
    return {"kind": "table", "name": name, "head": head, "rows": rows, **more}


def button(label: str, act: str = "", **more) -> dict:
    """What a button says and does: an act, or in `more` what it takes or saves."""
    return {"label": label, **({"act": act} if act else {}), **more}


def buttons(*items: dict) -> dict:
    """A row of buttons."""
    return {"kind": "buttons", "items": list(items)}


def form(act: str, label: str, *fields: dict) -> dict:
    """A form, and what its button says and does."""
    return {"kind": "form", "fields": list(fields), "act": act, "button": label}


def entry(name: str, label: str, value, unit: str = "", **more) -> dict:
    """A field of a form; `more` is ``text=True`` for words."""
    return {"name": name, "label": label, "unit": unit, "value": value, **more}


def number(desk: Desk, name: str, value) -> dict:
    """A number field of a form, by a setting's row of the table."""
    what, u = table()[name], desk.units
    return entry(name, what.label, round(float(u.shown(what, value)), 3), u.unit(what.unit))


def rounded(values, digits: int = 1) -> list[float]:
    """Numbers of a plot, as short as its ink needs."""
    return [round(float(v), digits) for v in values]


def line(name: str, x, y, digits: int = 3, **more) -> dict:
    """A line of a plot block; `more` is its look."""
    return {"name": name, "x": rounded(x, digits), "y": rounded(y, digits), "line": True, **more}
