"""Settings that meet the limits with the most room for scatter; where none do, which limit to relax."""

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...answer.estimate import estimate
from ...answer.verdict import Verdict, verdict_of
from ...base.errors import InputError, check_whole
from ...base.in_words import InWords
from ...inputs.head import Head
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.route import Route
from ...inputs.settings import setting, table
from ...inputs.shop import Shop
from ...inputs.steel import Steel
from ...io.tables import data_frame
from .scattering import Input, Scatter, even_numbers, inputs_of, scatter
from .study import Stopped, Study, neighbours, settings_words

#: What is turned when the user names nothing: low and high.
SETTINGS = {name: table()[name].search for name in ("preheat_c", "flux", "delay_s", "spray_s")}
#: Cases of the first look, for each setting turned, and heads drawn at every candidate.
_FIRST_LOOK, _DRAWN = 64, 32
#: Heads drawn to check what was found.
_CHECKED = 1024
#: The search for robustness begins at so many of the surest places; nearer than this share of the range is one.
_SURER, _SAME = 2, 0.05
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
_RELAX = ("limit", "by", "to", "unit", "steps", "enough")


@dataclass(frozen=True, repr=False)
class Choice(InWords):
    """What `choose` found."""

    feasible: bool  # settings were found that meet all limits
    settings: Mapping[str, float]  # chosen; without feasible ones those that come nearest
    case: tuple[Steel, Head, Route, Shop]  # with these settings
    results: Mapping[str, float]  # what comes out there and what it costs
    slack: float  # least margin without scatter, steps of `inputs.limits.QUANTITIES`; outside < 0
    binding: str  # the limit that comes first
    #: Chance that the settings are right, heads inside if so, with the model's doubt.
    verdict: Verdict
    #: To what a shop can set; not where no such values next to the optimum meet the limits.
    rounded: bool
    at_end: tuple[str, ...]  # settings at an end of their range: beyond it may be better
    scatter: Scatter | None  # in full, at the settings
    #: Empty if feasible.  For every limit alone: by how much it would have to give, to what, and whether that is
    #: ``enough``; the least first.
    relax: object
    together_steps: float  # by which all limits would have to give together; 0 if feasible
    limits: Limits
    cases: int  # calculated
    cancelled: bool

    def words(self) -> str:
        at, cost, o, v = settings_words(self.settings), self.results, self.scatter, self.verdict
        if not self.feasible:
            text = f"No settings in these ranges meet all limits. Nearest: {at}; "
            text += f"it misses {self.binding} by {-self.slack:.1f} steps. "
            enough = self.relax[self.relax["enough"]] if len(self.relax) else self.relax
            if len(enough):
                limit, by, to, unit = enough.iloc[0][["limit", "by", "to", "unit"]]
                return f"{text}Relax {limit} by {by:.3g} {unit} (to {to:.4g}). {self.limits.title}"
            all_by = f"all together would have to give {self.together_steps:.1f} steps"
            return f"{text}No limit alone is enough; {all_by}. {self.limits.title}"
        text = (
            f"{at}: all limits are met, first comes {self.binding} with {self.slack:.1f} steps to spare. "
            f"{cost['press_s']:.1f} s on the press, {cost['heads_per_hour']:.0f} heads an hour, "
            f"{cost['water_l']:.2f} L of water per head."
        )
        if o is not None:
            share, *ends = (100 * part for part in o.outside)
            text += (
                f" Under scatter {share:.2g} % of heads are outside (95 % interval {ends[0]:.2g} to {ends[1]:.2g} %); "
                f"with the model's doubt {100 - v.with_doubt} %. Chance that this setting is right: "
                f"{100 * v.chance_right:.0f} %."
            )
        if not self.rounded:
            text += (
                " Rounded to what a shop can set it misses a limit, so the values stand as found."
            )
        if self.at_end:
            ends = ", ".join(setting(name).label for name in self.at_end)
            text += f" At an end of its range, so that beyond it may be better: {ends}."
        return f"{text} {self.limits.title}"

    def shown(self):
        return self.relax


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


def raise_least(f, x0, free, iterations=25, enough=1e-3) -> tuple:
    """Place where the least of the `free` columns of f is greatest while the others stay at 0 or above, and f there.

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


class _Search:
    """Candidates as shares of the ranges, their margins, one column a limit, and what a search from several starts
    has found so far: a cancel leaves that."""

    def __init__(self, study: Study, ranges: Mapping, inputs: tuple[Input, ...], seed: int):
        self.study, self.ranges, self.inputs, d = study, ranges, inputs, len(ranges)
        self.low, self.high = np.array(list(ranges.values())).T
        now = np.clip(self.shares([study.job.value(name) for name in ranges]), 0.0, 1.0)
        self.x = np.vstack([now, even_numbers(_FIRST_LOOK * d, d, seed + 1)])  # of the first look
        self.u = even_numbers(
            _DRAWN, len(inputs), seed
        )  # quantiles of heads drawn at every candidate
        self.cases = 0  # calculated so far
        #: Margins of the first look; the best place and its slack; places that meet the limits, and how sure.
        self.first = np.empty(0)
        self.best: tuple[np.ndarray, float] | None = None
        self.robust: list[tuple[np.ndarray, float]] = []

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
            moved = (one._replace(middle=float(v)) for v in at)
            arrays[one.name] = np.concatenate([i.quantile(self.u[:, k]) for i in moved])
        return deviations_away(self._margins(arrays).min(axis=1).reshape(m, n))[:, None]

    def run(self, starts: int) -> None:
        """Raise the least margin from the settings as they are and from the best of the first look.

        Where that meets the limits, raise the share of drawn heads inside them from the surest places.  How sure is
        told as the standard deviations that a single limit would be away if the same share of a normal
        distribution met it (3: a Cpk of 1): few drawn heads rank places, `scatter` counts the heads outside.
        """
        self.first = self.nominal(self.x)
        slack = self.first.min(axis=1)
        begin, met = spread_out(self.x, slack, starts), []
        self.best = self.x[begin[0]], float(slack[begin[0]])
        every, one = np.ones(self.first.shape[1], bool), np.ones(1, bool)
        for i in begin if 0 in begin else [*begin, 0]:
            at, margin = raise_least(self.nominal, self.x[i], every)
            if margin.min() > self.best[1]:
                self.best = at, float(margin.min())
            if margin.min() >= 0.0:  # more slack is not always more sure
                met.append(np.stack([at, self.x[i]] if slack[i] >= 0.0 else [at]))
        for places in met:
            away = self.sure(places)[:, 0]
            self.robust.append((places[away.argmax()], float(away.max())))
        begun: list[np.ndarray] = []
        for place, _ in sorted(self.robust, key=lambda pair: -pair[1]):
            near = any(np.abs(place - other).max() < _SAME for other in begun)
            if near or len(begun) == _SURER:
                continue
            begun.append(place)
            at, away = raise_least(self.sure, place, one, iterations=8, enough=0.01)
            if self.nominal(at[None]).min() >= 0.0:  # what is chosen meets the limits itself
                self.robust.append((at, float(away.min())))

    def settable(self, values: dict[str, float]) -> tuple[dict[str, float], bool]:
        """The surest settable values next to the optimum, and whether there are any that meet the limits."""
        near = neighbours(values, self.ranges)
        x = self.shares(np.stack(list(near.values()), axis=1))
        met = x[self.nominal(x).min(axis=1) >= 0.0]
        if not len(met):
            return values, False
        best = met[int(self.sure(met).min(axis=1).argmax())]
        return {n: round(v, 6) for n, v in self.settings(best).items()}, True

    def relax(self):
        """For every limit alone: how far it would have to give for all others to be met (DataFrame)."""
        rows = []
        for j, (words, name, value, sign) in enumerate(self.study.limits.ends()):
            free = np.arange(self.first.shape[1]) == j
            others = self.first[:, ~free].min(axis=1)  # the vetoes are always among them
            # begin where the others are met and this one misses least, or where the others come nearest
            met = others >= 0.0
            i = int(np.argmax(np.where(met, self.first[:, j], -np.inf) if met.any() else others))
            raised = (raise_least(self.nominal, x, free)[1] for x in (self.x[i], self.best[0]))
            margins = [float(values[j]) for values in raised if values is not None]
            steps = max(-max(margins), 0.0) if margins else np.nan
            q = QUANTITIES[name]
            by = steps * q.step
            rows.append((words, by, value - sign * by, q.unit, steps, bool(margins)))
        table = data_frame(rows, columns=_RELAX)
        return table.sort_values(["enough", "steps"], ascending=[False, True], ignore_index=True)


def choose(
    steel, head=None, route=None, limits=None, settings=None, *, spread=None,
    chemistry: str = "heat", starts: int = 4, seed: int = 0, **options,
) -> Choice:  # fmt: skip
    """Find the settings that meet the limits and stand farthest from them under scatter.

    Parameters
    ----------
    steel, head, route : the case; what is not turned stays as it is.
    limits : Limits, optional; the default set of the route when left out.
    settings : mapping of name to (low, high); what may be turned and how far (see
        `inputs.settings.settings`); left out `SETTINGS`, as far as the route has them.
    spread, chemistry : what scatters (see `scatter`).
    starts : places the search begins from, beside the settings as they are.
    **options : as of `window`; after a cancel the result is the best found by then.

    Raises
    ------
    InputError
        Nothing to turn, a range that is none.

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
    study = Study.of(steel, head, route, limits, options)
    limits = study.limits
    seed = check_whole(seed, "seed", 0, 2**31)
    ranges = study.ranges(settings, SETTINGS)
    if not ranges:
        raise InputError(f"there is no setting to turn; give some of {', '.join(SETTINGS)}.")
    starts = check_whole(starts, "starts", 1, 100)
    search = _Search(study, ranges, inputs_of(study, spread, chemistry), seed)
    checked, relax = None, data_frame(columns=_RELAX)
    try:
        search.run(starts)
    except Stopped:
        if search.best is None:
            raise InputError("the search was stopped before its first look was finished.") from None
    best_x, best_slack = search.best
    feasible = best_slack >= 0.0
    if not feasible:
        with contextlib.suppress(Stopped):
            relax = search.relax()
    elif search.robust:
        best_x, _ = max(search.robust, key=lambda pair: pair[1])
    values, rounded = search.settings(best_x), False
    if feasible and not study.cancel():
        with contextlib.suppress(Stopped):
            values, rounded = search.settable(values)
    final = study.changed(values)
    table = study.assess(study.job.varied({name: np.array([v]) for name, v in values.items()}))
    if feasible and not study.cancel():
        drawn = {"n": _CHECKED, "chemistry": chemistry, "indices": False, "seed": seed + 2}
        kept = {n: getattr(study, n) for n in ("line", "threads", "bench")}
        checked = scatter(*final[:3], spread, limits, shop=final[3], **drawn, **kept)
        search.cases += checked.cases
    results = {k: float(v[0]) for k, v in table.items() if v.dtype.kind == "f"}
    at_end = (n for n, (a, b) in ranges.items() if not 0.02 < (values[n] - a) / (b - a) < 0.98)
    here = (results, float(table["slack"][0]), str(table["binding"][0]))
    verdict = verdict_of(estimate(*final, bench=study.bench), limits)
    here += (verdict, rounded or not feasible, tuple(at_end), checked)
    rest = (relax, max(-best_slack, 0.0), limits, search.cases, study.cancel.wanted)
    return Choice(feasible, values, final, *here, *rest)
