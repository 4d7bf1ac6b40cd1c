"""One rule, and the rules that a registered range makes."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from ...base.ranges import RANGES, beyond, outside

FACE, NECK, HOSEL = 0, 3, 4


@dataclass(frozen=True)
class Rule:
    """One warning.

    Attributes
    ----------
    rank : {"stop", "change", "note"}
    where : Evaluation -> mask, shape (n,).
    text : Evaluation and case -> sentence.
    needs : {"", "nodes_hv", "dry_hv", "hosel"}; what the evaluation must hold beside the march of
        the cases; "hosel": a bend on its own bench says it itself.
    once : One sentence of this code is enough for a case.
    """

    code: str
    rank: str
    where: Callable
    text: Callable
    needs: str = ""
    once: bool = False

    def applies(self, e) -> bool:
        """Whether the evaluation holds what the rule needs."""
        return self.needs in ("", "hosel") or getattr(e, self.needs) is not None


def of_range(id: str, value: Callable, also: Callable | None = None, needs: str = "") -> Rule:
    """A value outside a registered range, where `also` holds."""

    def where(e):
        found = beyond(id, value(e))
        return found if also is None else found & also(e)

    def text(e, i):
        return outside(id, float(np.broadcast_to(value(e), (len(e),))[i])).text

    return Rule(f"range:{id}", "note", where, text, needs, once=True)


def of_contents(formula: str, also: Callable | None = None) -> Iterator[Rule]:
    """Contents of the steel outside the ranges "formula.element", where `also` holds."""
    for id in RANGES:
        group, _, element = id.partition(".")
        if group == formula and element.isalpha() and len(element) <= 2 and element[0].isupper():
            yield of_range(id, lambda e, element=element: e.cases.composition[element], also)


def route(name: str) -> Callable:
    return lambda e: e.cases.route[name]
