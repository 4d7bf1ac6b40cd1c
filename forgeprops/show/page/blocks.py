"""Blocks of which tabs are made, and what stops the work on them."""

from ...inputs.settings import table
from .desk import Desk


class Stopped(Exception):
    """Raised by `progress` in work that is no longer needed."""


def text(words: str, look: str = "") -> dict:
    """A block of words; `look` is "", "small", or the rank of a warning."""
    return {"kind": "text", "words": words, "look": look}


def number(desk: Desk, name: str, value, label: str = "") -> dict:
    """A number field of a form, by a setting's row of the table."""
    what, u = table()[name], desk.units
    return {
        "name": name,
        "label": label or what.label,
        "unit": u.unit(what.unit),
        "value": round(float(u.shown(what, value)), 3),
    }


def rounded(values, digits: int = 1) -> list[float]:
    """Numbers of a plot, as short as its ink needs."""
    return [round(float(v), digits) for v in values]


def line(name: str, x, y, digits: int = 3, **more) -> dict:
    """A line of a plot block; `more` is its look."""
    return {"name": name, "x": rounded(x, digits), "y": rounded(y, digits), "line": True, **more}
