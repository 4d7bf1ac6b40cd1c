"""Cases judged: what comes out, what it costs, and how far it stands from the user's limits."""

from __future__ import annotations

import functools

import numpy as np

from ...answer.evaluation import evaluate
from ...base.errors import InputError, check_number, check_whole
from ...inputs.cases import Cases
from ...inputs.grades import grade
from ...inputs.head import Head
from ...inputs.limits import Limits
from ...inputs.route import BURNING_C, Route
from ...inputs.shop import Shop
from .answers import answers
from .line_cost import Line

__all__ = [
    "REFERENCE",
    "assess",
    "checked_call",
    "checked_limits",
    "checked_line",
    "checked_reference",
    "checked_threads",
    "numeric",
    "reference_stress_mpa",
]

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
        raise InputError(
            f"limits is {limits!r:.60}; allowed is Limits(face_hardness_hv=(380, 460), ...)."
        )
    return limits


def checked_line(line: Line | None) -> Line:
    """The line, or the demonstration line.

    Raises
    ------
    InputError
    """
    if line is not None and not isinstance(line, Line):
        raise InputError(f"line is {line!r:.60}; allowed is Line(handling_s=5, ...).")
    return Line() if line is None else line


def checked_reference(reference) -> tuple[str, float]:
    """Grade and furnace setting that press effort 1 means.

    Raises
    ------
    InputError
    """
    if (
        isinstance(reference, (str, bytes))
        or not hasattr(reference, "__len__")
        or len(reference) != 2
    ):
        raise InputError(
            f"reference is {reference!r:.60}; allowed is (grade, furnace setting in °C)."
        )
    name, preheat_c = reference
    return grade(name).name, check_number(
        preheat_c, "furnace setting of the reference", 600.0, BURNING_C, "°C"
    )


def checked_threads(threads) -> int | None:
    """Number of threads, or None for one on every core.

    Raises
    ------
    InputError
    """
    return None if threads is None else check_whole(threads, "number of threads", 1, 1024)


def checked_call(function, name: str):
    """A function to be called, or None.

    Raises
    ------
    InputError
    """
    if function is not None and not callable(function):
        raise InputError(f"{name} is {function!r:.60}; allowed is a function.")
    return function


@functools.lru_cache(maxsize=256)
def reference_stress_mpa(
    head: Head, route: Route, shop: Shop, reference: tuple[str, float] = REFERENCE
) -> float:
    """Mean flow stress in the die of the reference grade from its setting, on this head and route, MPa."""
    name, preheat_c = reference
    cases = Cases.of([grade(name)], [head], [route.with_(preheat_c=preheat_c)], [shop])
    return float(evaluate(cases).press["flow_stress_mpa"][0])


def assess(
    cases: Cases, limits: Limits, line: Line, reference_mpa, **options
) -> dict[str, np.ndarray]:
    """Answers and costs of many cases, with "press_effort", "slack", "meets" and "binding".

    Parameters
    ----------
    reference_mpa : float or array
        See `reference_stress_mpa`.
    options
        Passed to `answers`.
    """
    table = answers(cases, line=line, **options)
    table["press_effort"] = table["flow_stress_mpa"] / reference_mpa
    table["slack"] = limits.slack(table)
    table["meets"] = table["slack"] >= 0.0
    table["binding"] = limits.binding(table)
    return table


def numeric(table: dict[str, np.ndarray]) -> list[str]:
    """Names of the columns that hold numbers."""
    return [name for name, values in table.items() if values.dtype.kind == "f"]
