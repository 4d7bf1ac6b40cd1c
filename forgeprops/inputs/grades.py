"""Standard grades by name: the range of the standard, and a steel in the middle of it."""

from __future__ import annotations

import difflib
import functools
import os.path
import re

from ..base.errors import InputError, shown
from ..base.tables import read_rows
from .steel import DEFAULT_RESIDUALS, ELEMENTS, Steel

__all__ = ["FAMILIES", "family", "grade", "grades"]


#: Kinds of steel a grade belongs to, in order of growing alloy.
FAMILIES = ("carbon", "Cr", "Cr-Mo", "Ni-Cr-Mo")

_TABLE = "library/grades.csv"


@functools.cache
def _rows() -> dict[str, dict[str, str]]:
    return {row["grade"]: row for row in read_rows(_TABLE)}


def _key(name: str) -> str:
    """Spelling without blanks, dashes, case and the makers' prefixes: "AISI 4130" and "4130" are one."""
    return re.sub(r"^(aisi|sae|astm|jis|din|en|uns)", "", re.sub(r"[\s_\-]", "", name.casefold()))


@functools.cache
def _names() -> dict[str, str]:
    """Every spelling accepted → the grade's name."""
    known = {_key(name): name for name in _rows()}
    for name, row in _rows().items():
        for alias in filter(None, row["aliases"].split(";")):
            known.setdefault(_key(alias), name)
    return known


def grades() -> tuple[str, ...]:
    """Names of the grades in the library, in the table's order (standard, then family, then carbon).

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> "4130" in grades(), len(grades()) >= 26
    (True, True)
    """
    return tuple(_rows())


def _resolve(name) -> str:
    if isinstance(name, int) and not isinstance(name, bool):
        name = str(name)
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"grade must be a name such as '4130' (see grades()); got {name!r}.")
    key = _key(name)
    if key in _names():
        return _names()[key]
    near = difflib.get_close_matches(key, _names(), n=3, cutoff=0.5)
    near = sorted(sorted(near), key=lambda other: -len(os.path.commonprefix((key, other))))
    hint = (
        f"did you mean {_names()[near[0]]!r}?" if near else "nothing in the library comes near it."
    )
    raise InputError(f"grade {shown(name)} is unknown; {hint} Allowed: {', '.join(grades())}.")


def _number(row: dict[str, str], column: str) -> float | None:
    text = row[column]
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(
            f"{_TABLE}, grade {row['grade']}, column {column} must be a number in wt% or nothing; got {text!r}."
        ) from None


@functools.cache
def _steel(name: str) -> Steel:
    row = _rows()[name]
    composition, limits = {}, {}
    for column in row:
        element = column.removesuffix("_low")
        if element == column or element not in ELEMENTS:
            continue
        low, high = _number(row, f"{element}_low"), _number(row, f"{element}_high")
        if low is None and high is None:
            continue
        limits[element] = (low, high)
        if low is not None and high is not None:
            composition[element] = round((low + high) / 2.0, 6)
        elif high is not None and high / 2.0 < DEFAULT_RESIDUALS.get(element, 0.0):
            composition[element] = high / 2.0
    where = f"{row['standard']}; {row['source']}"
    if row["basis"] != "read":
        where += f" ({row['basis']})"
    return Steel(name, composition, limits=limits, source=where)


def grade(name: str) -> Steel:
    """A library grade at the middle of its standard's range.

    An element with a range takes its middle.  An element with a maximum only takes half of it where that is
    less than the default residual; otherwise it stays unnamed, so that the default residual fills it and
    `Steel.assumed` says so.  An element the standard does not name stays unnamed too.

    Parameters
    ----------
    name : str
        Grade name or alias: "4130", "AISI 4130", "42CrMo4", "1.7225", "SCM420".  Blanks, dashes and case do
        not matter.

    Returns
    -------
    Steel
        `.limits` holds the standard's (low, high) per element in wt%, None where an end is not named;
        `.source` the standard and where it was read.

    Raises
    ------
    InputError
        If the grade is unknown; the nearest name is suggested.

    References
    ----------
    .. [1] Middle of the range; of a maximum alone half, or the default residual if less (our
       choice).

    Examples
    --------
    >>> chromoly = grade("4130")
    >>> chromoly.get("C"), chromoly.get("Cr"), chromoly.limits["Mo"]
    (0.305, 0.95, (0.15, 0.25))
    >>> grade("1.7225").name
    '42CrMo4'
    """
    return _steel(_resolve(name))


def family(name: str) -> str:
    """Kind of steel of a library grade: carbon, Cr, Cr-Mo or Ni-Cr-Mo.

    Raises
    ------
    InputError
        If the grade is unknown.

    Examples
    --------
    >>> family("SCM420"), family("1030")
    ('Cr-Mo', 'carbon')
    """
    return _rows()[_resolve(name)]["family"]
