"""Valid ranges as data: each formula's limits stand in data/constants/ranges.csv; outside them a result warns."""

import re
import warnings
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .tables import read_rows


@dataclass(frozen=True)
class ValidRange:
    """Interval in which a formula was made or tested: one row of data/constants/ranges.csv, ends included."""

    quantity: str
    low: float
    high: float
    unit: str
    source: str
    basis: str


@dataclass(frozen=True)
class Warn:
    """A warning a result carries: a short code for tables, a sentence for people, and its rank.

    Rank "stop": do not run it so; "change": a setting should change; "note": know it.
    """

    code: str
    text: str
    rank: str = "note"

    def __str__(self) -> str:
        return self.text


#: Ranks of a warning, the gravest first.
RANKS = ("stop", "change", "note")


def ranked(warnings) -> tuple[Warn, ...]:
    """Warnings by rank, those that say stop first."""
    return tuple(sorted(warnings, key=lambda w: RANKS.index(w.rank)))


#: Ranges by id; ids that end in an element, such as "tempering.Cr", limit its content.
RANGES: dict[str, ValidRange] = {}
for _row in read_rows("constants/ranges.csv"):
    _id, _quantity, _low, _high, *_rest = _row.values()
    RANGES[_id] = ValidRange(_quantity, float(_low), float(_high), *_rest)


def outside(id: str, value: float) -> Warn | None:
    """Return a `Warn` if `value` lies outside the range `id`, else None.

    >>> print(outside("phase_hardness.C", 0.8))
    C for the hardness of constituents 0.8 wt% is outside the range 0.1 to 0.5 wt% (Maynier, Jungmann ...
    >>> outside("phase_hardness.C", 0.3) is None
    True
    """
    r = RANGES[id]
    if r.low <= value <= r.high:
        return None
    unit = f" {r.unit}" if r.unit else ""
    what = r.quantity[:1].upper() + r.quantity[1:]
    source = f"{r.source}, from memory" if r.basis == "from memory" else r.source
    span = f"{r.low:g} to {r.high:g}{unit} ({source})"
    return Warn(f"range:{id}", f"{what} {value:.4g}{unit} is outside the range {span}.")


def beyond(id: str, values) -> np.ndarray:
    """Where values lie outside the range `id`: the condition of `outside`, on arrays."""
    r, values = RANGES[id], np.asarray(values, float)
    return (values < r.low) | (values > r.high)


def content_ranges(formula: str) -> dict[str, str]:
    """Ids of the ranges "formula.element" by element."""
    ids = (id for id in RANGES if re.fullmatch(rf"{formula}\.[A-Z][a-z]?", id))
    return {id.rpartition(".")[2]: id for id in ids}


def contents_outside(formula: str, steel) -> list[Warn]:
    """Warnings for the contents of one steel outside the ranges "formula.element"; an absent element is 0."""
    ids = content_ranges(formula).items()
    found = (outside(id, float(steel.get(element) or 0.0)) for element, id in ids)
    return [warn for warn in found if warn]


def tell(found: Iterable[Warn | None]) -> None:
    """Say warnings where a formula alone is called and its answer, a number, cannot carry them."""
    for warn in found:
        if warn is not None:
            warnings.warn(warn.text, stacklevel=3)
