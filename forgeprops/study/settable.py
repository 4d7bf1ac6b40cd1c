"""Settable values next to an optimum, and the chances of the verdict for many cases."""

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

from ..answer.estimate import estimate
from ..answer.remedy import step_of
from ..answer.verdict import ShortVerdict, short_verdicts
from ..inputs.limits import Limits

#: Cases whose chances are drawn at most, those with the most slack first; lots and heads drawn for each.
MOST, LOTS, HEADS = 48, 256, 32


def neighbours(values: Mapping[str, float], ranges: Mapping[str, tuple[float, float]]) -> dict[str, np.ndarray]:  # fmt: skip
    """The settable values about each setting and all their combinations, one array a setting; within the ranges."""
    ends = []
    for name, value in values.items():
        step, (low, high) = step_of(name), ranges[name]
        near = [step * np.floor(value / step + 1e-9), step * np.ceil(value / step - 1e-9)] if step else []  # fmt: skip
        near = [
            min(max(v, low), high) for v in near or [value]
        ]  # an end of a range is settable too
        ends.append(list(dict.fromkeys(near)))
    return dict(zip(values, np.array(list(itertools.product(*ends))).T, strict=True))


def sureness(cases: Sequence[tuple], limits: Limits, bench: Mapping) -> list[ShortVerdict]:
    """Verdict in short of cases (steel, head, route, shop) by `LOTS` lots of `HEADS` heads each.

    The doubt of the formulas for hosel and strike is that of the first case.
    """
    if not cases:
        return []
    return short_verdicts(
        cases, estimate(*cases[0], limits=limits, bench=bench), limits, LOTS, HEADS
    )
