"""Cases judged: what comes out, what it costs, and how far it stands from the user's limits."""

from __future__ import annotations

import functools

import numpy as np

from ..errors import InputError
from ..head import Head
from ..route import Route
from ..shop import Shop
from ..steel.grades import grade
from ..thermal.march.columns import Columns, columns_of
from .answers import answers
from .line import Line
from .user_limits import Limits

__all__ = ["REFERENCE", "assess", "checked_limits", "numeric", "reference_stress_mpa"]

#: Press effort 1: this grade from this furnace setting, °C, on the same head and route (our choice: a plain
#: carbon steel at a usual setting).
REFERENCE = ("1030", 900.0)


def checked_limits(limits: Limits | None) -> Limits:
    """The limits, or none at all.

    Raises
    ------
    InputError
        Something that is not `Limits`.
    """
    if limits is None:
        return Limits()
    if not isinstance(limits, Limits):
        raise InputError(f"limits is {limits!r:.60}; allowed is Limits(face_hardness_hv=(380, 460), ...).")
    return limits


@functools.lru_cache(maxsize=256)
def reference_stress_mpa(
    head: Head, route: Route, shop: Shop, reference: tuple[str, float] = REFERENCE
) -> float:
    """Mean flow stress in the die of the reference grade from its setting, on this head and route, MPa."""
    name, preheat_c = reference
    columns = columns_of([grade(name)], [head], [route.with_(preheat_c=preheat_c)], [shop])
    return float(answers(columns, line=Line())["flow_stress_mpa"][0])


def assess(columns: Columns, limits: Limits, line: Line, reference_mpa, **options) -> dict[str, np.ndarray]:
    """Answers and costs of many cases, with "press_effort", "slack", "meets" and "binding".

    Parameters
    ----------
    reference_mpa : float or array
        See `reference_stress_mpa`.
    options
        Passed to `answers`.
    """
    table = answers(columns, line=line, **options)
    table["press_effort"] = table["flow_stress_mpa"] / reference_mpa
    table["slack"] = limits.slack(table)
    table["meets"] = table["slack"] >= 0.0
    table["binding"] = limits.binding(table)
    return table


def numeric(table: dict[str, np.ndarray]) -> list[str]:
    """Names of the columns that hold numbers."""
    return [name for name, values in table.items() if values.dtype.kind == "f"]
