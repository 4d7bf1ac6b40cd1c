"""Margins of candidate settings, without scatter and under it, and the search that raises the least of them."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .scatter_inputs import Input
from .study import Study

#: Starts lie at least this far apart, and gradients are taken over this step, as a share of the range: far
#: above the noise of the march's own steps.
_APART, _STEP = 0.2, 0.02
#: Least standard deviation counted with, in steps: below it a margin is as sure as it gets.
_LEAST_SD = 0.05
#: A drawn head is counted as spread out by this share of the standard deviation, so that a share of few heads
#: changes smoothly.
_SMOOTH = 0.5
#: Weight of the margin of a veto, so that it counts only near its edge.
_VETO = 20.0
#: A margin that has no number counts as this, and so does all beyond it (steps).
_FARTHEST = 50.0


@dataclass
class Margins:
    """Margins of candidates, one column a limit; candidates are given as shares of the ranges."""

    study: Study
    ranges: Mapping[str, tuple[float, float]]  # of the settings that are searched
    inputs: tuple[Input, ...]  # what scatters
    u: np.ndarray  # shape (m, inputs); quantiles of the heads drawn at every candidate
    cases: int = 0  # calculated so far

    def __post_init__(self):
        self.low, self.high = np.array(list(self.ranges.values())).T

    def values(self, x: np.ndarray) -> np.ndarray:
        """Settings of candidates."""
        return self.low + np.clip(x, 0.0, 1.0) * (self.high - self.low)

    def shares(self, values) -> np.ndarray:
        """Candidates of settings."""
        return (np.asarray(values) - self.low) / (self.high - self.low)

    def settings(self, x: np.ndarray) -> dict[str, float]:
        """Settings of one candidate by name."""
        return dict(zip(self.ranges, self.values(x).tolist(), strict=True))

    def _margins(self, arrays: Mapping[str, np.ndarray]) -> np.ndarray:
        table = self.study.table(arrays, self.cases)
        self.cases += len(table["slack"])
        limits = self.study.limits
        vetoes = _VETO * limits.vetoes().slack(table)
        margins = np.stack([*limits.margins(table).values(), vetoes], axis=1)
        return np.clip(np.nan_to_num(margins, nan=-_FARTHEST), -_FARTHEST, _FARTHEST)

    def nominal(self, x: np.ndarray) -> np.ndarray:
        """Margins without scatter, shape (m, limits)."""
        return self._margins(dict(zip(self.ranges, self.values(x).T, strict=True)))

    def sure(self, x: np.ndarray) -> np.ndarray:
        """How sure all limits are under scatter (`deviations_away`), shape (m, 1): the same draws everywhere."""
        values, m, n = self.values(x), len(x), len(self.u)
        arrays = {name: np.repeat(values[:, k], n) for k, name in enumerate(self.ranges)}
        for k, one in enumerate(self.inputs):
            at = arrays[one.name][::n] if one.name in arrays else np.full(m, one.middle)
            moved = (dataclasses.replace(one, middle=float(v)) for v in at)
            arrays[one.name] = np.concatenate([i.quantile(self.u[:, k]) for i in moved])
        return deviations_away(self._margins(arrays).min(axis=1).reshape(m, n))[:, None]


def deviations_away(slack: np.ndarray) -> np.ndarray:
    """Standard deviations that a limit is away if the slack were normal with the same share below 0.

    Slack of n drawn heads at m places, shape (m, n).  The share is that of the heads smoothed by a normal of
    `_SMOOTH` times their standard deviation, and the result is scaled so that it is mean over standard
    deviation where the slack is normal.  Where it is not (a face near a cliff has a long tail, several
    limits bind) mean over standard deviation misleads.

    >>> even = (np.arange(4000) + 0.5) / 4000
    >>> from scipy.special import ndtri
    >>> deviations_away((1.5 + ndtri(even))[None]).round(2).tolist()
    [1.5]
    """
    from scipy.special import ndtr, ndtri

    width = np.maximum(_SMOOTH * slack.std(axis=1, ddof=1, keepdims=True), _LEAST_SD)
    inside, outside = ndtr(slack / width).mean(axis=1), ndtr(-slack / width).mean(axis=1)
    away = ndtri(np.maximum(np.minimum(inside, outside), 1e-300))  # the smaller has the digits
    return np.where(outside < inside, -away, away) * np.hypot(1.0, _SMOOTH)


def raise_least(
    f, x0, free, iterations=25, enough=1e-3
) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Raise the least of the `free` columns of f while the others stay at 0 or above.

    Sequential least squares (`scipy.optimize.minimize`) on t with f_j >= t for the free columns; values and
    gradients of a point are one batch.  The best point of all that were calculated is returned: the march's own
    noise may lead the last step astray.
    """
    from scipy.optimize import minimize

    d = len(x0)
    known: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}
    best: tuple = None, None, -np.inf

    def look(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        nonlocal best
        x = np.clip(x, 0.0, 1.0)
        key = np.round(x, 9).tobytes()
        if key not in known:
            step = np.where(x + _STEP <= 1.0, _STEP, -_STEP)
            points = np.vstack([x, x + np.diag(step)])
            values = f(points)
            for point, value in zip(points, values, strict=True):
                if np.all(value[~free] >= -1e-3) and value[free].min() > best[2]:
                    best = point, value, float(value[free].min())
            known[key] = values[0], (values[1:] - values[0]) / step[:, None]
        return known[key]

    least, weight = float(look(x0)[0][free].min()), free.astype(float)
    minimize(
        lambda v: -v[-1],
        np.append(x0, least),
        jac=lambda v: np.append(np.zeros(d), -1.0),
        bounds=[(0.0, 1.0)] * d + [(-_FARTHEST, _FARTHEST)],
        method="SLSQP",
        constraints={
            "type": "ineq",
            "fun": lambda v: look(v[:-1])[0] - weight * v[-1],
            "jac": lambda v: np.hstack([look(v[:-1])[1].T, -weight[:, None]]),
        },
        options={"maxiter": iterations, "ftol": enough},
    )
    return best[:2]


def spread_out(x: np.ndarray, worth: np.ndarray, count: int) -> list[int]:
    """The best points, no two near each other."""
    chosen: list[int] = []
    for i in np.argsort(-worth, kind="stable"):
        if all(np.abs(x[i] - x[k]).max() >= _APART for k in chosen):
            chosen.append(int(i))
        if len(chosen) == count:
            break
    return chosen
