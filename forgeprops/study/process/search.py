"""Settings that meet the limits with the most room for scatter; where none do, which limit to relax."""

from __future__ import annotations

import dataclasses
import html
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...answer.cases import head_from, route_from, shop_from, steel_from
from ...base.errors import InputError, check_number, check_whole
from ...inputs.head import Head
from ...inputs.job import changed, value_of, varied
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.route import Route
from ...inputs.settings import setting, table
from ...inputs.shop import Shop
from ...inputs.steel import Steel
from .assess import (
    REFERENCE,
    assess,
    checked_call,
    checked_limits,
    checked_line,
    checked_reference,
    checked_threads,
    reference_stress_mpa,
)
from .line_cost import Line
from .many import Stop
from .scatter_inputs import Input, inputs_of
from .scattering import Scatter, even_numbers, scatter

__all__ = ["Choice", "SETTINGS", "choose"]

#: What is turned when the user names nothing: low and high.
SETTINGS: Mapping[str, tuple[float, float]] = {
    name: table()[name].search for name in ("preheat_c", "flux", "delay_s", "spray_s")
}

#: Cases of the first look, for each setting turned, and heads drawn at every candidate.
_FIRST_LOOK, _DRAWN = 64, 32
#: Heads drawn to check what was found.
_CHECKED = 1024
#: Starts lie at least this far apart, and gradients are taken over this step, as a share of the range: far
#: above the noise of the march's own steps.
_APART, _STEP = 0.2, 0.02
#: The search for robustness begins at so many of the surest places; nearer than this share of the range is one.
_SURER, _SAME = 2, 0.05
#: Least standard deviation counted with, in steps: below it a margin is as sure as it gets.
_LEAST_SD = 0.05
#: A drawn head is counted as spread out by this share of the standard deviation, so that a share of few heads
#: changes smoothly.
_SMOOTH = 0.5
#: A margin that has no number counts as this, and so does all beyond it (steps).
_FARTHEST = 50.0


@dataclass(frozen=True)
class Choice:
    """What `choose` found.

    Attributes
    ----------
    feasible : bool
        Whether settings were found that meet all limits.
    settings : dict of str to float
        The settings chosen; without feasible ones those that come nearest.
    steel, head, route, shop
        The case with these settings.
    results : dict of str to float
        What comes out there and what it costs.
    slack : float
        Least margin without scatter, in steps of `user_limits.QUANTITIES`; below 0 outside.
    binding : str
        The limit that comes first.
    robustness : float
        The share of heads inside all limits under scatter, told as the standard deviations that a single limit
        would be away if the same share of a normal distribution met it (3: a Cpk of 1).  It ranks places by few
        drawn heads; how many heads are outside is told by `scatter`.
    at_end : tuple of str
        Settings that stand at an end of their range: beyond it may be better.
    scatter : Scatter or None
        Full scatter at the settings: share outside with its interval, capability, what matters.
    relax : DataFrame
        Empty if feasible.  For every limit alone: by how much it would have to give, to what, and whether
        that is enough (``enough``); the least first.
    together_steps : float
        By how many steps all limits would have to give together; 0 if feasible.
    starts : DataFrame
        The starts and what became of them.
    limits : Limits
    cases : int
        How many cases it took.
    cancelled : bool
    """

    feasible: bool
    settings: Mapping[str, float]
    steel: Steel
    head: Head
    route: Route
    shop: Shop
    results: Mapping[str, float]
    slack: float
    binding: str
    robustness: float
    at_end: tuple[str, ...]
    scatter: Scatter | None
    relax: object
    together_steps: float
    starts: object
    limits: Limits
    cases: int
    cancelled: bool

    def words(self) -> str:
        """The answer in sentences."""
        at = ", ".join(
            f"{setting(name).label} {value:.4g} {setting(name).unit}".rstrip()
            for name, value in self.settings.items()
        )
        if not self.feasible:
            told = f"No settings in these ranges meet all limits ({self.limits}). Nearest: {at}; "
            told += f"it misses {self.binding} by {-self.slack:.1f} steps. "
            enough = self.relax[self.relax["enough"]] if len(self.relax) else self.relax
            if len(enough):
                row = enough.iloc[0]
                return (
                    told
                    + f"Relax {row['limit']} by {row['by']:.3g} {row['unit']} (to {row['to']:.4g})."
                )
            return told + (
                f"No limit alone is enough; all together would have to give {self.together_steps:.1f} steps."
            )
        cost = self.results
        told = (
            f"{at}: all limits are met, first comes {self.binding} with {self.slack:.1f} steps to spare. "
            f"{cost['press_s']:.1f} s on the press, {cost['heads_per_hour']:.0f} heads an hour, "
            f"{cost['water_l']:.2f} L of water per head."
        )
        if self.scatter is not None:
            o = self.scatter.outside
            told += (
                f" Under scatter {100 * o.share:.2g} % of heads are outside (95 % interval {100 * o.low:.2g} "
                f"to {100 * o.high:.2g} %)."
            )
        return " ".join(filter(None, (told, self.end_words())))

    def end_words(self) -> str:
        """Which settings stand at an end of their range, in a sentence; empty if none does."""
        ends = ", ".join(setting(name).label for name in self.at_end)
        return f"At an end of its range, so that beyond it may be better: {ends}." if ends else ""

    def __repr__(self) -> str:
        return self.words()

    def _repr_html_(self) -> str:
        table = "" if not len(self.relax) else self.relax.to_html(index=False, escape=True)
        return f"<p>{html.escape(self.words())}</p>{table}"


class _Cancelled(Exception):
    """The user stopped the search; what was found by then is told."""


@dataclass
class _Problem:
    """Margins of candidates, one column a limit; candidates are given as shares of the ranges."""

    case: tuple[Steel, Head, Route, Shop]
    limits: Limits
    line: Line
    reference_mpa: float
    names: tuple[str, ...]
    low: np.ndarray
    high: np.ndarray
    inputs: tuple[Input, ...]
    u: np.ndarray
    threads: int | None
    stop: Stop
    progress: Callable[[int, int | None], Any] | None
    cases: int = 0

    def values(self, x: np.ndarray) -> np.ndarray:
        return self.low + np.clip(x, 0.0, 1.0) * (self.high - self.low)

    def _margins(self, arrays: Mapping[str, np.ndarray]) -> np.ndarray:
        if self.stop():
            raise _Cancelled
        table = assess(
            varied(*self.case, arrays),
            self.limits,
            self.line,
            self.reference_mpa,
            threads=self.threads,
        )
        self.cases += len(table["slack"])
        if self.progress is not None:
            self.progress(self.cases, None)
        margins = np.stack(list(self.limits.margins(table).values()), axis=1)
        return np.clip(np.nan_to_num(margins, nan=-_FARTHEST), -_FARTHEST, _FARTHEST)

    def nominal(self, x: np.ndarray) -> np.ndarray:
        """Margins without scatter, shape (m, limits)."""
        values = self.values(x)
        return self._margins({name: values[:, k] for k, name in enumerate(self.names)})

    def sure(self, x: np.ndarray) -> np.ndarray:
        """How sure all limits together are under scatter (`_deviations_away`), shape (m, 1): the same draws
        everywhere."""
        values, m, n = self.values(x), len(x), len(self.u)
        arrays = {name: np.repeat(values[:, k], n) for k, name in enumerate(self.names)}
        for k, one in enumerate(self.inputs):
            if one.name in arrays:
                at = arrays[one.name].reshape(m, n)[:, 0]
                arrays[one.name] = np.concatenate(
                    [dataclasses.replace(one, middle=float(v)).quantile(self.u[:, k]) for v in at]
                )
            else:
                arrays[one.name] = np.tile(one.quantile(self.u[:, k]), m)
        return _deviations_away(self._margins(arrays).min(axis=1).reshape(m, n))[:, None]


def _deviations_away(slack: np.ndarray) -> np.ndarray:
    """Standard deviations that a limit is away if the slack were normal with the same share below 0.

    Parameters
    ----------
    slack : array, shape (m, n)
        Of n drawn heads at m places.

    Notes
    -----
    The share is that of the heads smoothed by a normal of `_SMOOTH` times their standard deviation, and the
    result is scaled so that it is mean over standard deviation where the slack is normal.  Where it is not (a
    face near a cliff has a long tail, several limits bind) mean over standard deviation misleads.

    Examples
    --------
    >>> even = (np.arange(4000) + 0.5) / 4000
    >>> from scipy.special import ndtri
    >>> _deviations_away((1.5 + ndtri(even))[None]).round(2).tolist()
    [1.5]
    """
    from scipy.special import ndtr, ndtri

    width = np.maximum(_SMOOTH * slack.std(axis=1, ddof=1, keepdims=True), _LEAST_SD)
    inside, outside = ndtr(slack / width).mean(axis=1), ndtr(-slack / width).mean(axis=1)
    # from the smaller share, which has the digits
    away = np.where(
        outside < inside, -ndtri(np.maximum(outside, 1e-300)), ndtri(np.maximum(inside, 1e-300))
    )
    return away * np.hypot(1.0, _SMOOTH)


def _raise_least(
    f: Callable[[np.ndarray], np.ndarray],
    x0: np.ndarray,
    free: np.ndarray,
    iterations: int = 25,
    enough: float = 1e-3,
) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Raise the least of the `free` columns of f while the others stay at 0 or above.

    Sequential least squares (`scipy.optimize.minimize`) on t with f_j >= t for the free columns; values and
    gradients of a point are one batch.  The best point of all that were looked at is handed back: the march's
    own noise may lead the last step astray.
    """
    from scipy.optimize import minimize

    d = len(x0)
    known: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}
    best: list = [None, None, -np.inf]

    def look(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x = np.clip(x, 0.0, 1.0)
        key = np.round(x, 9).tobytes()
        if key not in known:
            step = np.where(x + _STEP <= 1.0, _STEP, -_STEP)
            points = np.vstack([x, x + np.diag(step)])
            values = f(points)
            for point, value in zip(points, values, strict=True):
                held = np.all(value[~free] >= -1e-3) if (~free).any() else True
                if held and value[free].min() > best[2]:
                    best[:] = [point.copy(), value.copy(), float(value[free].min())]
            known[key] = values[0], (values[1:] - values[0]) / step[:, None]
        return known[key]

    start = look(x0)[0]
    weight = free.astype(float)
    minimize(
        lambda v: -v[-1],
        np.append(x0, float(start[free].min())),
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
    return best[0], best[1]


def _spread_out(x: np.ndarray, worth: np.ndarray, count: int) -> list[int]:
    """The best points, no two near each other."""
    chosen: list[int] = []
    for i in np.argsort(-worth, kind="stable"):
        if all(np.abs(x[i] - x[k]).max() >= _APART for k in chosen):
            chosen.append(int(i))
        if len(chosen) == count:
            break
    return chosen


def choose(
    steel,
    head=None,
    route=None,
    limits: Limits | None = None,
    settings: Mapping[str, tuple[float, float]] | None = None,
    *,
    shop=None,
    spread: Mapping | None = None,
    chemistry: str = "heat",
    line: Line | None = None,
    starts: int = 4,
    reference: tuple[str, float] = REFERENCE,
    seed: int = 0,
    threads: int | None = None,
    progress: Callable[[int, int | None], Any] | None = None,
    cancel=None,
) -> Choice:
    """Find the settings that meet the limits and stand farthest from them under scatter.

    Parameters
    ----------
    steel, head, route, shop
        The case; what is not turned stays as it is.
    limits : Limits
        What is asked of results and costs.
    settings : mapping of str to (low, high), optional
        What may be turned and how far (see `vary.settings`); left out: `SETTINGS`, as far as the route has
        them.
    spread, chemistry
        What scatters (see `scatter`).
    starts : int
        Places the search begins from, beside the settings as they are.
    progress, cancel
        Called with the cases done so far; asked between batches.

    Returns
    -------
    Choice

    Raises
    ------
    InputError
        No limits, nothing to turn, a range that is none.

    Notes
    -----
    A first look at evenly filling points; from the settings as they are and from the best points that lie
    apart the least margin is raised without scatter; then, where the limits are met, the share of the same
    drawn heads inside all limits; the result is checked with fresh draws.  Each step is a constrained
    optimisation, scipy's SLSQP.

    Examples
    --------
    >>> found = choose("1030", limits=Limits(hosel_allowed_deg=(2.0, None)),
    ...                settings={"preheat_c": (860, 960)}, starts=1)
    >>> found.feasible, 860 <= found.settings["preheat_c"] <= 960
    (True, True)
    """
    limits = checked_limits(limits)
    if not limits.bounds:
        raise InputError(
            "nothing is asked; allowed are limits such as Limits(face_hardness_hv=(380, 460))."
        )
    seed = check_whole(seed, "seed", 0, 2**31)
    case = steel_from(steel), head_from(head), route_from(route), shop_from(shop)
    line, threads, reference = (
        checked_line(line),
        checked_threads(threads),
        checked_reference(reference),
    )
    progress = checked_call(progress, "progress")
    ranges = _ranges(settings, case)
    starts = int(check_number(starts, "starts", 1, 100))
    stop = Stop(cancel)
    reference_mpa = reference_stress_mpa(*case[1:], reference)
    inputs = inputs_of(*case, spread, chemistry)
    problem = _Problem(
        case,
        limits,
        line,
        reference_mpa,
        tuple(ranges),
        np.array([r[0] for r in ranges.values()]),
        np.array([r[1] for r in ranges.values()]),
        inputs,
        even_numbers(_DRAWN, len(inputs), seed),
        threads,
        stop,
        progress,
    )
    d = len(ranges)
    every = np.ones(sum(1 for _ in limits.ends()), bool)
    now = (np.array([value_of(name, *case) for name in ranges]) - problem.low) / (
        problem.high - problem.low
    )
    x = np.vstack([np.clip(now, 0.0, 1.0), even_numbers(_FIRST_LOOK * d, d, seed + 1)])
    first = np.zeros((len(x), len(every)))
    rows: list[dict] = []
    best_x, best_margin = None, None
    robust: list[tuple[np.ndarray, float]] = []
    try:
        first = problem.nominal(x)
        begin = _spread_out(x, first.min(axis=1), starts)
        best_x, best_margin = x[begin[0]], first[begin[0]]
        if 0 not in begin:
            begin.append(0)
        for i in begin:
            at, margin = _raise_least(problem.nominal, x[i], every)
            rows.append(
                {
                    "start": len(rows) + 1,
                    "first_slack": float(first[i].min()),
                    "slack": float(margin.min()),
                    "robustness": np.nan,
                    "from": x[i],
                    "x": at,
                }
            )
            if margin.min() > best_margin.min():
                best_x, best_margin = at, margin
        if best_margin.min() >= 0.0:
            met = [row for row in rows if row["slack"] >= 0.0]
            for row in met:  # more slack is not always more sure
                places = np.stack(
                    [row["x"], row["from"]] if row["first_slack"] >= 0.0 else [row["x"]]
                )
                away = problem.sure(places).min(axis=1)
                row["robustness"], row["x"] = float(away.max()), places[int(away.argmax())]
                robust.append((row["x"], row["robustness"]))
            begun: list[np.ndarray] = []
            for row in sorted(met, key=lambda row: -row["robustness"]):
                if len(begun) == _SURER or any(
                    np.abs(row["x"] - place).max() < _SAME for place in begun
                ):
                    continue
                begun.append(row["x"])
                at, away = _raise_least(
                    problem.sure, row["x"], np.ones(1, bool), iterations=8, enough=0.01
                )
                if problem.nominal(at[None]).min() >= 0.0:  # what is chosen meets the limits itself
                    row["robustness"], row["x"] = float(away.min()), at
                    robust.append((at, float(away.min())))
    except _Cancelled:
        if best_x is None:
            raise InputError("the search was stopped before its first look was finished.") from None
    relax, together = _no_relax(), 0.0
    feasible = bool(best_margin.min() >= 0.0)
    robustness, told = np.nan, None
    if feasible and robust:
        best_x, robustness = max(robust, key=lambda pair: pair[1])
    elif not feasible:
        together = -float(best_margin.min())
        try:
            relax = _relax(problem, x, first, best_x)
        except _Cancelled:
            pass
    values = dict(zip(ranges, problem.values(best_x).tolist(), strict=True))
    final = changed(*case, values)
    table = assess(
        varied(*case, {name: np.array([v]) for name, v in values.items()}),
        limits,
        line,
        reference_mpa,
    )
    if feasible and not stop():
        told = scatter(
            *final[:3],
            spread,
            limits,
            shop=final[3],
            n=_CHECKED,
            chemistry=chemistry,
            indices=False,
            line=line,
            reference=reference,
            seed=seed + 2,
            threads=threads,
        )
        problem.cases += told.cases
    return Choice(
        feasible,
        values,
        *final,
        {k: float(v[0]) for k, v in table.items() if v.dtype.kind == "f"},
        float(table["slack"][0]),
        str(table["binding"][0]),
        float(robustness),
        tuple(name for name, part in zip(ranges, best_x, strict=True) if not 0.02 < part < 0.98),
        told,
        relax,
        together,
        _starts_table(rows, problem),
        limits,
        problem.cases,
        stop.wanted,
    )


def _ranges(settings, case) -> dict[str, tuple[float, float]]:
    named = settings is not None
    if named and not (isinstance(settings, Mapping) and settings):
        raise InputError(
            f"settings is {settings!r:.60}; allowed is a mapping such as {{'preheat_c': (850, 1000)}}."
        )
    found = {}
    for name, pair in (settings if named else SETTINGS).items():
        what = setting(name)
        if isinstance(pair, str) or not hasattr(pair, "__len__") or len(pair) != 2:
            raise InputError(f"range of {name} is {pair!r:.60}; allowed is (low, high).")
        low, high = (
            check_number(end, what.label, what.low, what.high, what.unit, "range") for end in pair
        )
        if not low < high:
            raise InputError(
                f"range of {what.label} is {low:g} to {high:g}; allowed is from low to high."
            )
        try:
            value_of(name, *case)
        except InputError:
            if named:
                raise
            continue
        found[what.name] = (low, high)
    return found


def _no_relax():
    import pandas as pd

    return pd.DataFrame({name: [] for name in ("limit", "by", "to", "unit", "steps", "enough")})


def _relax(problem: _Problem, x: np.ndarray, first: np.ndarray, nearest: np.ndarray):
    """For every limit alone: how far it would have to give for all others to be met (DataFrame)."""
    import pandas as pd

    rows = []
    for j, (words, name, value, sign) in enumerate(problem.limits.ends()):
        free = np.zeros(first.shape[1], bool)
        free[j] = True
        others = first[:, ~free].min(axis=1) if (~free).any() else np.zeros(len(first))
        # begin where the others are met and this one misses least, or where the others come nearest
        met = others >= 0.0
        i = (
            int(np.argmax(np.where(met, first[:, j], -np.inf)))
            if met.any()
            else int(np.argmax(others))
        )
        found, margin = None, None
        for start in (x[i], nearest):
            at, values = _raise_least(problem.nominal, start, free)
            if at is not None and (margin is None or values[j] > margin):
                found, margin = at, float(values[j])
        q = QUANTITIES[name]
        steps = np.nan if found is None else max(-margin, 0.0)
        rows.append(
            {
                "limit": words,
                "by": steps * q.step,
                "to": value - sign * steps * q.step,
                "unit": q.unit,
                "steps": steps,
                "enough": found is not None,
            }
        )
    table = pd.DataFrame(rows)
    return table.sort_values(["enough", "steps"], ascending=[False, True], ignore_index=True)


def _starts_table(rows: list[dict], problem: _Problem):
    import pandas as pd

    told = []
    for row in rows:
        values = dict(zip(problem.names, problem.values(row["x"]).tolist(), strict=True))
        told.append({k: v for k, v in row.items() if k not in ("x", "from")} | values)
    return pd.DataFrame(told)
