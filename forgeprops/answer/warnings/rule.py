"""One rule: a condition on columns, and a sentence of data/library/warnings.csv with the numbers of one case."""

import functools
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from ...base.ranges import beyond, content_ranges, outside
from ...base.tables import read_rows
from ...inputs.head import ZONES

FACE, NECK, HOSEL = 0, 3, 4


@dataclass(frozen=True)
class Rule:
    """One warning.

    `needs` is what the evaluation must hold beside the march of the cases, "nodes_hv", "dry_hv" or "rate_ends_hv";
    "hosel": a bend on its own bench says it itself.
    """

    code: str
    rank: str  # "stop", "change" or "note"
    where: Callable  # Evaluation -> mask, shape (n,)
    text: Callable  # Evaluation and case -> sentence
    needs: str = ""
    once: bool = False  # one sentence of this code is enough for a case

    def applies(self, e) -> bool:
        """Whether the evaluation holds what the rule needs."""
        return self.needs in ("", "hosel") or getattr(e, self.needs) is not None


@functools.cache
def sentences() -> dict[str, dict[str, str]]:
    """Rank, brief words and sentence (text) by code."""
    return {r["code"]: r for r in read_rows("library/warnings.csv")}


class _Zone:
    """Columns of one zone of one case, of the evaluation or of its results; shares also as "…_percent"."""

    def __init__(self, e, case: int, zone: int):
        self._at = e, case, zone

    def __getattr__(self, name: str):
        e, case, zone = self._at
        if name.endswith("_percent"):
            return 100 * getattr(self, name.removesuffix("_percent"))
        column = e.results.fractions.get(name)
        if column is None:
            column = getattr(e if hasattr(e, name) else e.results, name)
        return column[case, zone]


class _Names(dict):
    """What a sentence may name: ``face`` and the other zones, ``at`` the rule's zone; ``steel``; Ac1 … working, contents, and what is added."""

    def __init__(self, e, case: int, zone: int, added: dict):
        super().__init__(added, zone=ZONES[zone], at=_Zone(e, case, zone))
        self._of = e, case

    def __missing__(self, name: str):
        e, case = self._of
        if name in ZONES:
            return _Zone(e, case, ZONES.index(name))
        if name == "steel":
            return e.cases.steels.names[e.cases.steel_of[case]]
        return (e.critical if name in e.critical else e.cases.composition)[name][case]


def listed(code: str, where: Callable, added: Callable | None = None, zone=FACE, **more) -> Rule:
    """A rule of the table; `added` gives, for an evaluation and a case, what only this sentence names."""
    row = sentences()[code]

    def text(e, i):
        return row["text"].format_map(_Names(e, i, zone, added(e, i) if added else {}))

    return Rule(code, row["rank"], where, text, **more)


def of_range(id: str, value: Callable, also: Callable | None = None) -> Rule:
    """A value outside a registered range, where `also` holds."""

    def where(e):
        return beyond(id, value(e)) & (True if also is None else also(e))

    def text(e, i):
        return outside(id, float(np.broadcast_to(value(e), (len(e),))[i])).text

    return Rule(f"range:{id}", "note", where, text, once=True)


def of_contents(formula: str, also: Callable | None = None) -> Iterator[Rule]:
    """Contents of the steel outside the ranges "formula.element", where `also` holds."""
    for element, id in content_ranges(formula).items():
        yield of_range(id, lambda e, element=element: e.cases.composition[element], also)


def route(name: str) -> Callable:
    return lambda e: e.cases.route[name]
