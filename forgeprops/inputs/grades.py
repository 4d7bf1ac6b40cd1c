"""Steels by name or by a typed chemistry: the range of the standard and a steel in its middle; what is not covered."""

import dataclasses
import functools
import re
from collections.abc import Mapping

from ..base.errors import InputError, check_choice, check_number, shown
from ..base.tables import read_rows
from ..io.cells import clean_text
from .steel import DEFAULT_RESIDUALS, ELEMENTS, Steel, composition_of, is_composition


@functools.cache
def _rows() -> dict[str, dict[str, str]]:
    return {row["grade"]: row for row in read_rows("library/grades.csv")}


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

    >>> "4130" in grades(), len(grades()) >= 26
    (True, True)
    """
    return tuple(_rows())


def _is_near(key: str, known: str) -> bool:
    """Whether a spelling has letters behind a name or stops short of it; another number is another steel."""
    if key.replace("o", "0").replace("l", "1") == known:
        return True
    if key.startswith(known):
        return len(known) >= 4 and not re.search(r"\d", key[len(known) :])
    return len(key) >= 5 and known.startswith(key)


@functools.cache
def _steel(name: str) -> Steel:
    row, composition, limits = _rows()[name], {}, {}
    for element in (c.removesuffix("_low") for c in row if c.endswith("_low")):
        ends = (row[f"{element}_{end}"] for end in ("low", "high"))
        low, high = (float(text) if text else None for text in ends)
        if low is None and high is None:
            continue
        limits[element] = (low, high)
        if low is not None and high is not None:
            composition[element] = round((low + high) / 2.0, 6)
        elif high is not None:
            usual = DEFAULT_RESIDUALS.get(element, high * (element == "C"))
            if high / 2.0 < usual:
                composition[element] = high / 2.0
    where = f"{row['standard']}; {row['source']}"
    where += "" if row["basis"] == "read" else f" ({row['basis']})"
    return Steel(name, composition, limits=limits, source=where)


def grade(name: str) -> Steel:
    """A library grade at the middle of its standard's range.

    An element with a maximum only takes half of it where that is less than the default residual, and carbon half of it;
    otherwise it stays unnamed, as one that the standard does not name, so that the default residual fills it and
    `Steel.assumed` says so.

    Parameters
    ----------
    name : str; "4130", "AISI 4130", "42CrMo4", "1.7225", "SCM420": blanks, dashes and case do not matter

    Returns
    -------
    Steel
        `.limits` holds the standard's (low, high), wt%, None where an end is not named; `.source` where it was read.
        An InputError says of a grade that it is unknown, or known and not covered and why.

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
    if isinstance(name, int) and not isinstance(name, bool):
        name = str(name)
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"grade must be a name such as '4130' (see grades()); got {shown(name)}.")
    key = _key(name)
    if key in _names():
        return _steel(_names()[key])
    for row in read_rows("library/not_covered.csv"):
        if re.fullmatch(row["pattern"], key):
            what = f"{row['what']}, which is not covered: {row['why']}"
            raise InputError(f"{name.strip()} is {what}.")
    near = {n for k, n in _names().items() if _is_near(key, k)}
    hint = f"; did you mean {near.pop()!r}?" if len(near) == 1 else "."
    raise InputError(
        f"grade {shown(name)} is unknown{hint} Type its chemistry, such as 'C 0.31 Mn 0.5 Cr 0.95 Mo 0.2', or take one "
        f"of the {len(grades())} library grades (fp.grades(), --list)."
    )


def steel_of(given, name: str = "steel") -> Steel:
    """A steel from whatever names one: the one place where every function that takes a steel reads it.

    A Steel, a grade ("4130", "42CrMo4", "1.1191", "SCM420"), a typed chemistry ("C 0.31 Mn 0.5 B 20 ppm
    Mo <0.01", wt% unless said), both ("4130 with B 0.002 Ti 0.03"), contents in wt%, the arguments of
    `Steel`, or the heat of a certificate.

    >>> steel_of("C 0.31 Mn 0.5 Cr 0.95 Mo 0.2").get("Cr"), steel_of("4130 with B 0.002 Ti 0.03").get("Mo")
    (0.95, 0.2)
    >>> steel_of("431")
    Traceback (most recent call last):
    ...
    forgeprops.base.errors.InputError: 431 is a martensitic stainless steel, which is not covered: it hardens right through in air so that no spray sets face and hosel apart.
    """
    if isinstance(given, Steel):
        return given
    if isinstance(given, str) and len(given) <= 1000:
        return _typed(given)
    if isinstance(given, Mapping):
        if "composition" not in given:
            return Steel("steel", given)
        fields = [f.name for f in dataclasses.fields(Steel) if f.init]
        for key in given:
            check_choice(key, "field", fields, "steel")
        return Steel(**{"name": "steel", **given})
    if hasattr(given, "heat") and hasattr(given, "problems"):
        if given.steel is None:
            why = "; ".join(p.what for p in given.problems)
            raise InputError(f"heat {given.heat} of the certificate cannot be used: {why}.")
        return given.steel
    form = "a Steel, a grade such as '4130' or a chemistry such as 'C 0.31 Mn 0.5'"
    raise InputError(f"{name} must be {form}; got {shown(given)}.")


@functools.lru_cache(maxsize=1024)
def _typed(text: str) -> Steel:
    first, _, rest = clean_text(text).partition(" ")
    rest = re.sub(r"^(with|and|plus|\+|,)\s*", "", rest)
    base = None
    if _key(first) in _names() and is_composition(rest):
        base = grade(first)
    elif not is_composition(text):
        return grade(text)
    contents, unsure, said = composition_of(rest if base else text)
    source = "; ".join(("as typed", *said))
    named = clean_text(text) if len(text) <= 120 else f"{clean_text(text)[:117]}..."
    if base is None:
        return Steel(named, contents, source=source, unsure=unsure)
    changed = {"composition": {**base.composition, **contents}, "unsure": unsure}
    source = f"{base.source}; {source}"
    return dataclasses.replace(base, name=named, source=source, **changed)


def check_steel(steel, name: str = "steel"):
    """What formulas take: a `Steel`, contents (numbers or arrays) or anything with their ``get``; a text becomes a `Steel`."""
    if not callable(getattr(steel, "get", None)):
        return steel_of(steel, name)
    if isinstance(steel, Mapping):
        if "C" not in steel:
            raise InputError(f"{name} is {shown(steel)}; a composition needs at least C, in wt%.")
        for symbol, content in steel.items():
            check_choice(symbol, "element", ELEMENTS, name)
            if not hasattr(content, "shape"):
                check_number(content, f"{symbol} content", 0.0, ELEMENTS[symbol], "wt%", name)
    return steel
