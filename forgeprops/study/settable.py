"""What a shop can set, and how sure a case is: proposed settings rounded, and the chances of the verdict for many cases."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

from ..answer.estimate import estimate
from ..answer.verdict import ShortVerdict, short_verdicts
from ..inputs.limits import Limits
from ..inputs.settings import setting
from ..thermal.spray_units import from_flux

#: Steps in which a setting is set, by its unit: °C and s (our choice); 0.5 L/min of spray.
_STEPS = {"°C": 5.0, "s": 0.5, "kg/(m² s)": 0.5 / from_flux(1.0).total_l_min}
#: Of a time in minutes.
_LONG_S, _LONG_STEP_S = 3600.0, 30.0
#: Cases whose chances are drawn at most, those with the most slack first; lots and heads drawn for each.
MOST, LOTS, HEADS = 48, 256, 32


def step_of(name: str) -> float:
    """Step in which a shop sets a setting of the route, in its unit; 0 for what is not set.

    Examples
    --------
    >>> step_of("preheat_c"), step_of("spray_s"), step_of("soak_s"), step_of("C")
    (5.0, 0.5, 30.0, 0.0)
    """
    what = setting(name)
    if what.group != "route":
        return 0.0
    long = what.unit == "s" and what.slider is not None and what.slider[1] >= _LONG_S
    return _LONG_STEP_S if long else _STEPS.get(what.unit, 0.0)


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


def sureness(cases: Sequence[tuple], limits: Limits) -> list[ShortVerdict]:
    """Verdict in short of cases (steel, head, route, shop) by `LOTS` lots of `HEADS` heads each; none without limits.

    The doubt of the formulas for hosel and strike is that of the first case.
    """
    if not cases or not limits.bounds:
        return []
    return short_verdicts(cases, estimate(*cases[0], limits=limits), limits, LOTS, HEADS)
