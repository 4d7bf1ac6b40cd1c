"""Warnings of the hosel on the bench; a bend in full says them with its own numbers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ...base.cautions import STEADY_PULL_N
from ...base.ranges import beyond
from ...hosel.bench import LIMITS
from ...strength.hardness_scales import convert_array
from ...strength.tensile import NOTHING_BUT_AUSTENITE, RANGE_OF, RANGE_SHARE
from .rule import HOSEL, NECK, Rule, of_range

#: Degrees that are hardly a bend; plateau strain and degrees of a hosel that gives suddenly or only springs (our choice).
STIFF_HOSEL_DEG, PLATEAU_STRAIN, SPRINGS_DEG = 1.0, 0.002, 0.05


def _shares(e) -> dict[str, np.ndarray]:
    """Share of every branch of the strength, shape (n, 5); "all data" where nothing but austenite is left."""
    f = e.results.fractions
    known = np.maximum(np.stack([e.soft, f["bainite"], f["martensite"]]), 0.0)
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
    return (
        f"The hosel is likely too hard to bend: {allowed_deg:.1f}° at most ({hardness_hv:.0f} HV)."
    )


def hosel() -> Iterator[Rule]:
    yield Rule(
        "hosel-hard",
        "change",
        lambda e: stiff(e.hosel["allowed_deg"]),
        lambda e, i: stiff_text(e.hosel["allowed_deg"][i], e.hardness_hv[i, HOSEL]),
        "hosel",
    )
    for name, id in RANGE_OF.items():
        yield _branch(name, id)
    yield of_range(
        "hosel_length", lambda e: e.cases.dimension("hosel", "bend_zone_mm"), needs="hosel"
    )
    yield Rule(
        "hosel:plateau",
        "note",
        lambda e: e.strength["yield_plateau_strain"][:, HOSEL] > PLATEAU_STRAIN,
        lambda e, i: "",
        "hosel",
    )
    yield of_range("hosel_strain", lambda e: e.hosel["outer_strain"], needs="hosel")
    yield of_range(
        "roessle_fatemi",
        lambda e: convert_array(e.strength["hardness_hv"][:, HOSEL], "HV", "HB")[0],
        lambda e: e.hosel["governed_by"] == LIMITS.index("re-bends"),
        "hosel",
    )
    yield Rule("hosel:gathers", "note", lambda e: e.hosel["gathers"], lambda e, i: "", "hosel")
    yield Rule(
        "hosel:pull",
        "note",
        lambda e: e.hosel["bar_force_n"] > STEADY_PULL_N,
        lambda e, i: "",
        "hosel",
    )
    yield Rule(
        "hosel:too-strong",
        "change",
        lambda e: e.hosel["allowed_deg"] < SPRINGS_DEG,
        lambda e, i: "",
        "hosel",
    )
