"""Warnings of the hosel on the bench; a bend in full says them with its own numbers."""

from collections.abc import Iterator

import numpy as np

from ...base.ranges import beyond
from ...hosel.limits import NOTES
from ...strength.tensile import NOTHING_BUT_AUSTENITE, RANGE_OF, RANGE_SHARE
from .rule import HOSEL, NECK, Rule

#: Degrees that are hardly a bend (our choice).
STIFF_HOSEL_DEG = 1.0


def _shares(e) -> dict[str, np.ndarray]:
    """Share of every branch of the strength, shape (n, 5); "all data" where nothing but austenite is left."""
    known = np.maximum(e.shares, 0.0)
    whole = known.sum(axis=0)
    names = ("ferrite-pearlite", "bainite", "quenched and tempered")
    there = known > RANGE_SHARE * whole
    return dict(zip(names, there, strict=True)) | {"all data": whole <= NOTHING_BUT_AUSTENITE}


def _branch(name: str, id: str) -> Rule:
    """Hardness of hosel or neck outside the range of a branch of the strength that counts there."""

    def where(e):
        there = _shares(e)[name] & beyond(id, e.strength["hardness_hv"])
        return there[:, NECK] | there[:, HOSEL]

    return Rule(f"range:{id}", "note", where, lambda e, i: "", "hosel", once=True)


def stiff(allowed_deg):
    return allowed_deg < STIFF_HOSEL_DEG


def stiff_text(allowed_deg, hardness_hv) -> str:
    there = f"{allowed_deg:.1f}° at most ({hardness_hv:.0f} HV)"
    return f"The hosel is likely too hard to bend: {there}."


def _stiff_text(e, i) -> str:
    return stiff_text(e.hosel["allowed_deg"][i], e.hardness_hv[i, HOSEL])


def _on_bench(holds):
    return lambda e: holds(e.hosel)


def hosel() -> Iterator[Rule]:
    yield Rule(
        "hosel-hard", "change", lambda e: stiff(e.hosel["allowed_deg"]), _stiff_text, "hosel"
    )
    for name, id in RANGE_OF.items():
        yield _branch(name, id)
    for code, (rank, holds) in NOTES.items():
        yield Rule(code, rank, _on_bench(holds), lambda e, i: "", "hosel", once=True)
