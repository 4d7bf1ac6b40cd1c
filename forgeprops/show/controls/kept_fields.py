"""Controls of a panel by name, as values that a settings file can hold, and back."""

from __future__ import annotations

from collections.abc import Mapping

from ...base.errors import InputError, check_choice
from .file_panel import FileChoice
from .save_bar import check_names
from .settings import Choice, Slider

__all__ = ["kept", "not_kept", "put"]

_WHERE = "settings file"


def kept(controls: Mapping) -> dict:
    """Values of sliders, lists, buttons, text fields and file choices.

    Of a file the path is kept; one that was chosen on the page has none, so it is kept as None.
    """
    return {name: _value(control) for name, control in controls.items()}


def not_kept(controls: Mapping) -> str:
    """What a settings file leaves out, in a sentence; empty if nothing."""
    chosen = [c.name for c in controls.values() if isinstance(c, FileChoice) and c.chosen]
    return (
        f"; not {' and '.join(chosen)}, which was chosen and has no path: write its path instead"
        if chosen
        else ""
    )


def put(controls: Mapping, values: Mapping) -> None:
    """Set the controls from what `kept` gave; nothing changes if one of the values cannot be used.

    Raises
    ------
    InputError
        A name that is missing or unknown, or a value that the control does not offer.
    """
    check_names(values, controls)
    usable = {name: _checked(name, control, values[name]) for name, control in controls.items()}
    for name, control in controls.items():
        if isinstance(control, FileChoice):
            if usable[name] is not None:  # a file chosen on the page stays where none was kept
                control.path.value = usable[name]
        else:
            control.value = usable[name]


def _value(control):
    if isinstance(control, FileChoice):
        return None if control.chosen else control.path.value
    return control.value


def _checked(name: str, control, value):
    if isinstance(control, Slider):
        return control.check(value, _WHERE)
    options = getattr(control.widget if isinstance(control, Choice) else control, "options", None)
    if options is not None:
        return check_choice(
            value, name, [o[1] if isinstance(o, tuple) else o for o in options], _WHERE
        )
    if isinstance(control, FileChoice) and value is None:
        return None
    if isinstance(value, (int, float)) and not isinstance(
        value, bool
    ):  # written into the file by hand
        return f"{value:g}"
    if not isinstance(value, str):
        raise InputError(f"{name} is {value!r:.60}; allowed is a text or a number ({_WHERE}).")
    return value
