"""The one error a user meets: what was given, what is allowed, where it came from."""

import contextlib
import dataclasses
import difflib
import math
import numbers
import re
from collections.abc import Mapping


class InputError(ValueError):
    """Input that cannot be used; the message is one sentence a person of the trade can act on."""


class OtherLayout(InputError):
    """A file that is readable, but not of the kind that was looked for."""


def _at(where: str) -> str:
    return f" ({where})" if where else ""


def shown(value) -> str:
    """A value as a message may show it: short, and its type where its own words say nothing."""
    try:
        text = " ".join(repr(value).split())
    except Exception:  # noqa: BLE001  (a foreign object's own repr)
        text = ""
    if not text or re.search(r"(^<function| at 0x[0-9a-f]+)", text):
        return f"a {type(value).__name__}"
    return text if len(text) <= 60 else f"{text[:59]}…"


def _refuse(name: str, form: str, value, where: str = ""):
    raise InputError(f"{name} must be {form}; got {shown(value)}{_at(where)}.")


def check_kind(value, kind: type, name: str, where: str = "", form: str = ""):
    """Return `value` if it is of `kind`, in words `form`; otherwise raise."""
    form = form or f"a {kind.__name__}"
    return value if isinstance(value, kind) else _refuse(name, form, value, where)


def check_list(value, name: str, form: str = "a list", count: int | None = None) -> tuple:
    """Return the items of a list, tuple, array or other iterable, of `count` items if given; otherwise raise."""
    items = None
    if not isinstance(value, (str, bytes, Mapping, type)):
        with contextlib.suppress(Exception):  # whatever a foreign object says
            items = iter(value)
    made = () if items is None else tuple(items)
    wrong = items is None or len(made) != (count or len(made))
    return _refuse(name, form, value) if wrong else made


def check_options(given, kind, what: str, example: str) -> dict:
    """Options given as a mapping by the field names of a dataclass, none for None; otherwise raise."""
    if given is None:
        return {}
    if not isinstance(given, Mapping):
        got = f"{type(given).__name__} {shown(given)}"
        raise InputError(f"{what} must be a mapping such as {example}; got {got}.")
    names = tuple(f.name for f in dataclasses.fields(kind))
    return {check_choice(name, f"{what} option", names): value for name, value in given.items()}


def check_name(value, name: str, where: str = "") -> str:
    """Return `value` if it can be a name: 1 to 120 printable characters, not all blank; otherwise raise."""
    if isinstance(value, str) and value.strip() and value.isprintable() and len(value) <= 120:
        return value
    return _refuse(name, "1 to 120 printable characters", value, where)


def check_flag(value, name: str, where: str = "") -> bool:
    """Return `value` as a bool if it is True or False (NumPy's too); otherwise raise."""
    if isinstance(value, bool) or type(value).__name__ in ("bool_", "bool"):
        return bool(value)
    return _refuse(name, "True or False", value, where)


def check_whole(value, name: str, low: int, high: int, where: str = "") -> int:
    """Return `value` as an int if it is a whole number in ``[low, high]``; otherwise raise."""
    number = check_number(value, name, low, high, "", where)
    if number != int(number):
        _refuse(name, f"a whole number from {low} to {high}", value, where)
    return int(number)


def check_number(value, name: str, low: float, high: float, unit="", where="") -> float:
    """Return `value` as a float if it is a finite number in ``[low, high]``; otherwise raise.

    `name` is what the user calls it ("preheat temperature"), ``math.inf`` an end for "no limit", `where`
    the place that it came from ("certs.csv, row 4, column Cr").

    >>> check_number(930, "preheat temperature", 20, 1300, "°C")
    930.0
    >>> check_number(-5, "spray flux", 0, 100, "kg/(m² s)")
    Traceback (most recent call last):
    ...
    forgeprops.base.errors.InputError: Spray flux -5 kg/(m² s) is out of range (0–100 kg/(m² s)).
    """
    unit_text = f" {unit}" if unit else ""
    if high == math.inf:
        allowed = f"{low:g}{unit_text} or more"
    elif low == -math.inf:
        allowed = f"{high:g}{unit_text} or less"
    else:
        allowed = f"{low:g}{'–' if low >= 0.0 else ' to '}{high:g}{unit_text}"
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        _refuse(name, f"a number ({allowed})", value, where)
    try:
        number = float(value)
    except (OverflowError, ValueError):
        number = math.inf
    if not math.isfinite(number) or not low <= number <= high:
        given = f"{number:g}{unit_text}" if abs(number) < 1e300 else shown(value)
        what = name if "_" in name else name[:1].upper() + name[1:]
        place = f"; {where}" if where else ""
        raise InputError(f"{what} {given} is out of range ({allowed}{place}).")
    return number


def check_curve(time_s, temperature_c, what: str, least: int = 2) -> tuple:
    """Return the times and temperatures of a curve as arrays; raise unless they are finite numbers and the times rise.

    >>> check_curve([0.0, 1.0, 1.0], [900.0, 880.0, 870.0], "the curve")
    Traceback (most recent call last):
    ...
    forgeprops.base.errors.InputError: the curve does not rise in time at point 3 (1 to 1 s); sort it, average double times.
    """
    import numpy as np

    try:
        t, y = (np.asarray(v, dtype=float) for v in (time_s, temperature_c))
    except Exception:  # noqa: BLE001  (whatever a foreign object says)
        raise InputError(f"{what} is not made of numbers; give two lists of numbers.") from None
    if t.ndim != 1 or t.shape != y.shape or t.size < least:
        given = f"{t.size} times and {y.size} temperatures"
        raise InputError(f"{what} has {given}; give two sequences of one length, {least} or more.")
    if not (np.isfinite(t).all() and np.isfinite(y).all()):
        raise InputError(f"{what} holds a number that is not finite; take such points out.")
    for i in np.flatnonzero(np.diff(t) <= 0.0):
        at = f"at point {i + 2} ({t[i]:g} to {t[i + 1]:g} s)"
        raise InputError(f"{what} does not rise in time {at}; sort it, average double times.")
    return t, y


def bounded(default, label: str, low: float, high: float, unit=""):
    """Field of a dataclass for a number that `check_bounded` holds between two ends."""
    return dataclasses.field(default=default, metadata={"ends": (label, low, high, unit)})


def check_bounded(obj) -> None:
    """Check the `bounded` numbers of a frozen dataclass and store them as floats; a default of None may stay."""
    for f in dataclasses.fields(obj):
        value = getattr(obj, f.name)
        if "ends" in f.metadata and (value is not None or f.default is not None):
            object.__setattr__(obj, f.name, check_number(value, *f.metadata["ends"]))


def check_choice(value, name: str, allowed, where: str = "") -> str:
    """Return `value` if it is one of `allowed`; otherwise raise and suggest the nearest.

    >>> check_choice("4130 H", "grade", ("1020", "4130", "4140"))
    Traceback (most recent call last):
    ...
    forgeprops.base.errors.InputError: grade '4130 H' is unknown; did you mean '4130'? Allowed: 1020, 4130, 4140.
    """
    allowed = tuple(allowed)
    hint = "."
    if isinstance(value, str):
        if value in allowed:
            return value
        folded, given = {str(a).casefold(): a for a in allowed}, value.strip().casefold()
        if given in folded:
            return folded[given]
        near = difflib.get_close_matches(given, folded, n=1, cutoff=0.6)
        hint = f"; did you mean {folded[near[0]]!r}?" if near else "."
    listed = ", ".join(str(a) for a in allowed)
    raise InputError(f"{name} {shown(value)} is unknown{hint} Allowed: {listed}{_at(where)}.")
