"""The scatter of a real shop: what comes out when nothing stays as it is written down, and what matters."""

import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...base.errors import (
    InputError,
    check_choice,
    check_kind,
    check_list,
    check_number,
    check_whole,
    shown,
)
from ...base.in_words import InWords
from ...inputs.head import ZONES
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.settings import Setting, Spread, setting
from ...io.tables import data_frame
from .study import Study, joined

#: Values of a distribution examined for normality; more make every real process "not normal".
_TESTED = 1000
#: Chance below which a sample counts as not normal (common practice).
_NOT_NORMAL = 0.01
_INDICES = tuple(f"{order}{end}" for order in ("total", "first") for end in ("", "_low", "_high"))
#: Quantities always kept.
_KEPT = tuple(f"{zone}_hardness_hv" for zone in ZONES)
_KEPT += ("hosel_allowed_deg", "face_margin", "scale_um", "press_effort")
#: Slack of a case without a number, in steps.
_FARTHEST = -100.0
_PERCENTS = (0.135, 2.5, 10.0, 50.0, 90.0, 97.5, 99.865)
#: Where the analysis is drawn from.
CHEMISTRY = ("heat", "grade", "fixed")
#: Inputs of a shop that are drawn when the user names none, as far as the route has them.
_DEFAULT = ("preheat_c", "transfer_s", "delay_s", "flux", "water_c", "face_thickness_mm")
_DEFAULT += ("shop_emissivity", "shop_spray")
_ELEMENTS = ("C", "Si", "Mn", "Cr", "Mo", "Ni")
#: Within a grade the analysis is a normal whose limits lie this many standard deviations from the middle, cut
#: off there (our choice: mills aim well inside), and a residual with an upper limit only spreads by this
#: share.
_GRADE_SDS, _RESIDUAL_SHARE = 2.0, 0.25


class Input(NamedTuple):
    """One number that is drawn."""

    setting: Setting
    middle: float
    spread: Spread
    low: float  # where it is cut off: what the setting may be, or the limits of the grade
    high: float

    @property
    def name(self) -> str:
        return self.setting.name

    def quantile(self, u: np.ndarray) -> np.ndarray:
        """Values at even quantiles `u` in 0..1: the distribution cut off at `low` and `high`."""
        from scipy.special import ndtr, ndtri

        middle, width, ends = self.middle, self.spread.value, (self.low, self.high)
        if self.spread.kind == "uniform":
            low, high = max(middle - width, self.low), min(middle + width, self.high)
            return low + u * (high - low)
        log = self.spread.kind == "lognormal"
        sd = width if log else self.spread.sd(middle)
        if log:
            middle, ends = np.log(middle), [np.log(max(end, 1e-300)) for end in ends]
        below, above = (float(ndtr((end - middle) / sd)) for end in ends)
        values = middle + sd * ndtri(np.clip(below + u * (above - below), 1e-15, 1.0 - 1e-15))
        return np.clip(np.exp(values) if log else values, self.low, self.high)


def _spread(name: str, given) -> Spread:
    if isinstance(given, Spread):
        return given
    if isinstance(given, (list, tuple)) and len(given) == 2 and isinstance(given[0], str):
        return Spread(*given)
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        raise InputError(
            f"spread of {name} must be a standard deviation, or (kind, value) with the kinds "
            f"normal, relative, lognormal, uniform; got {shown(given)}."
        )
    return Spread("normal", given)


def inputs_of(study: Study, spread=None, chemistry: str = "heat") -> tuple[Input, ...]:
    """Everything that is drawn.

    `spread` holds a standard deviation, (kind, value) or Spread by the name of a setting; it adds to the
    defaults of a shop (data/constants/settings.csv) and replaces them; 0 takes one out.  `chemistry` draws
    the analysis about this heat's ("heat"), within its grade ("grade"), or not ("fixed").
    """
    steel, shop = study.steel, study.shop
    chemistry = check_choice(chemistry, "chemistry", CHEMISTRY)
    spread = {} if spread is None else spread
    check_kind(spread, Mapping, "spread", form="a mapping such as {'flux': 0.8}")
    own = {setting(name).name: _spread(name, given) for name, given in spread.items()}
    if chemistry == "grade" and not steel.limits:
        raise InputError(
            f"steel {steel.name!r} has no limits to draw its analysis from; give chemistry='heat', or a "
            f"steel with limits."
        )
    wanted = {name: setting(name).spread for name in _DEFAULT}
    # what this shop has measured: its own uncertainty counts
    if "spray" in shop.fitted:
        wanted["shop_spray"] = Spread("relative", shop.standard_error("spray") / shop.spray)
    if "emissivity" in shop.fitted:
        wanted["shop_emissivity"] = Spread("normal", shop.standard_error("emissivity"))
    ends = {}
    if chemistry == "heat":
        wanted |= {e: setting(e).spread for e in _ELEMENTS}
    elif chemistry == "grade":
        for element, (low, high) in steel.limits.items():
            if low is not None and high is not None and high > low:
                wanted[element] = Spread("normal", (high - low) / 2.0 / _GRADE_SDS)
                ends[element] = 0.5 * (low + high), low, high
            elif high is not None and element in steel.composition:
                wanted[element] = Spread("relative", _RESIDUAL_SHARE)
                ends[element] = study.job.value(element), 0.0, high
    found = []
    for name, how in (wanted | own).items():
        if name in own or study.has(name):
            what = setting(name)
            middle, low, high = ends.get(name) or (study.job.value(name), what.low, what.high)
            if how.sd(middle) > 0.0:
                found.append(Input(what, middle, how, low, high))
    if not found:
        raise InputError("nothing varies; give a spread above 0 for one input or more.")
    return tuple(found)


def variance_indices(names, a: np.ndarray, b: np.ndarray, ab: np.ndarray, resamples: int = 200):
    """First and total order indices from the three sets of outputs of a Saltelli design (DataFrame).

    Outputs on two independent samples A and B of the d inputs named, shape (n,), and on A with one input after
    the other taken from B, shape (d, n); `resamples` of the bootstrap that makes the 95 % intervals.  A row an
    input: ``total`` (what would be left of the variance if all others were fixed), ``first`` (what fixing it
    alone would take away), each with ``_low`` and ``_high``.

    .. [1] A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259; M. J. W. Jansen, Comput. Phys.
       Commun. 117 (1999) 35 (from memory).
    """
    from scipy.stats import DegenerateDataWarning, sobol_indices

    columns = {"input": list(names)}
    if not np.ptp(np.concatenate([a, b])) > 0.0:
        return data_frame(columns | dict.fromkeys(_INDICES, 0.0))
    found = sobol_indices(func={"f_A": a[None], "f_B": b[None], "f_AB": ab[:, None]}, n=len(a))
    with warnings.catch_warnings():  # an input without effect has no spread for an interval
        warnings.simplefilter("ignore", DegenerateDataWarning)
        warnings.filterwarnings("ignore", "invalid value encountered", RuntimeWarning)
        spread = found.bootstrap(confidence_level=0.95, n_resamples=resamples)
    for name in _INDICES:
        order, _, end = name.partition("_")
        point = np.ravel(getattr(found, f"{order}_order"))
        interval = getattr(spread, f"{order}_order").confidence_interval
        ends = np.ravel(getattr(interval, end)) if end else point
        columns[name] = np.where(np.isnan(ends), point, ends)  # without an interval it is its own
    return data_frame(columns)


class Outside(NamedTuple):
    """Share of cases outside limits, as counted, with its 95 % interval."""

    share: float
    low: float
    high: float


def share_of(out: np.ndarray) -> Outside:
    """Share of True, with its 95 % interval (Wilson's, as `scipy.stats` computes it).

    For independent draws; of an evenly filling sample it is on the safe side.

    .. [1] E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209 (from memory).
    """
    from scipy.stats import binomtest

    found = binomtest(int(out.sum()), len(out)).proportion_ci(0.95, method="wilson")
    return Outside(float(out.mean()), float(found.low), float(found.high))


def capability(values: np.ndarray, low: float | None, high: float | None) -> dict:
    """How a sample fits between its limits, one of which may be missing.

    "cp": width of the limits over six standard deviations, None with one limit; "cpk": distance from the mean to the
    nearer limit over three (common practice); "cpk_by_percentiles": the same from the median and the 0.135 and
    99.865 percentiles, which needs no normal distribution (ISO 22514-2, from memory); "normal": False where "cp" and
    "cpk" do not mean the usual shares, by D'Agostino & Pearson's test (`scipy.stats.normaltest`) on up to 1000 of
    the values; "skewness".
    """
    from scipy.stats import normaltest, skew

    both = low is not None and high is not None
    low, high = -np.inf if low is None else low, np.inf if high is None else high
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    if sd <= 1e-12 * max(abs(mean), 1.0):
        cp, cpk = np.inf if both else None, np.inf if low <= mean <= high else -np.inf
        by_percentiles, normal, skewness = cpk, True, 0.0
    else:
        cp = (high - low) / (6.0 * sd) if both else None
        cpk = min((mean - low) / (3.0 * sd), (high - mean) / (3.0 * sd))
        bottom, median, top = np.quantile(values, [0.00135, 0.5, 0.99865]).tolist()
        tails = max(median - bottom, 1e-12), max(top - median, 1e-12)
        by_percentiles = min((median - low) / tails[0], (high - median) / tails[1])
        some = values[:: max(len(values) // _TESTED, 1)]
        normal = len(values) < 20 or bool(normaltest(some).pvalue > _NOT_NORMAL)
        skewness = float(skew(values))
    found = {"cp": cp, "cpk": cpk, "cpk_by_percentiles": by_percentiles}
    return {**found, "normal": normal, "skewness": skewness}


def swap(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """A with one input after the other taken from B, shape (d, n, d): the third set of a Saltelli design."""
    own = np.eye(a.shape[1], dtype=bool)[:, None]
    return np.where(own, b, a)


@dataclass(frozen=True, repr=False)
class Scatter(InWords):
    """What `scatter` found."""

    inputs: tuple[Input, ...]  # what was drawn
    drawn: Mapping[str, np.ndarray]  # the inputs of every case
    samples: Mapping[str, np.ndarray]  # the results of every case
    #: By quantity: nominal (with every input at its middle), mean, sd, percentiles, share outside the limits of
    #: each with its 95 % interval, and `Capability`.
    quantities: object
    outside: Outside  # any of the limits
    indices: Mapping[
        str, object
    ]  # by quantity, see `variance_indices`; "slack": distance from limits
    limits: Limits
    cases: int  # marched
    cancelled: bool

    def ranking(self, quantity: str = "face_hardness_hv"):
        """Inputs by total order, most first (DataFrame)."""
        found = self.indices[check_choice(quantity, "quantity", self.indices, "scatter")]
        return found.sort_values("total", ascending=False, ignore_index=True)

    def table(self):
        """Distributions, shares outside and capability, one row a quantity (DataFrame)."""
        return self.quantities.reset_index()

    def shown(self):
        return self.table().drop(columns=["p0_135", "p10", "p90", "p99_865", "skewness"])

    def words(self) -> str:
        lines, o, table = [], self.outside, self.quantities
        for name in ("face_hardness_hv", "hosel_allowed_deg"):
            d, q = table.loc[name], QUANTITIES[name]
            lines.append(
                f"{q.label[0].upper()}{q.label[1:]}: {d['mean']:.4g} ± {d['sd']:.2g} {q.unit} (one standard "
                f"deviation), 95 % of heads between {d['p2_5']:.4g} and {d['p97_5']:.4g} {q.unit}."
            )
        lines.append(
            f"Outside the limits: {100 * o.share:.2g} % of heads (95 % interval {100 * o.low:.2g} to "
            f"{100 * o.high:.2g} %)."
        )
        for name in self.limits.bounds:
            d, text = table.loc[name], f"Cpk {table.loc[name, 'cpk']:.2f}"
            if not d["normal"]:
                text = f"not normally distributed, so Cpk ({d['cpk']:.2f}) misleads; "
                text += f"by percentiles {d['cpk_by_percentiles']:.2f}"
            lines.append(f"{QUANTITIES[name].label}: {100 * d['outside']:.2g} % outside, {text}.")
        for name in list(self.indices)[:2]:
            top = self.ranking(name).head(3)
            what = "distance from the limits" if name == "slack" else QUANTITIES[name].label
            shares = (f"{r.input} {100 * max(r.total, 0.0):.0f} %" for r in top.itertuples())
            lines.append(f"{what.capitalize()} varies most by: {', '.join(shares)} (total order).")
        if self.cancelled:
            lines.append("Stopped before its end: fewer cases than required.")
        return " ".join([*lines, self.limits.title])


def scatter(
    steel, head=None, route=None, spread=None, limits=None, *, n: int = 8192,
    chemistry: str = "heat", indices: bool | int = True, quantities=None, seed: int = 0, **options,
) -> Scatter:  # fmt: skip
    """Draw steel, head, route and shop about their middles, and see what comes out.

    Parameters
    ----------
    steel, head, route : the case at its middle.
    spread : mapping of name to float, (kind, value) or Spread; adds to or replaces the defaults (see
        `inputs_of`); 0 takes an input out.
    limits : Limits, optional; for shares outside and capabilities; the default set of the route when left out.
    n : cases of the distributions; an even fill (Sobol points, scrambled), so best a power of two.
    chemistry : "heat", "grade" or "fixed": analysis about this heat's, within its grade's limits, or as it stands.
    indices : calculate which input matters; a number sets the base sample (default up to 1024), which
        costs that many cases for each input on top of `n`.
    quantities : names of those whose indices are calculated; left out the limited ones and "slack", the
        distance from the limits.
    seed : of the scrambling; the same seed gives the same numbers.
    **options : as of `window`; after a cancel the result holds the cases finished by then.

    Notes
    -----
    The scatter of the *inputs* and of the laws' multipliers is drawn; what the model itself cannot know
    stands in the interval of `estimate`.  Laws (spray, emissivity) are the same for all heads of a shop: with
    ``spread={"shop_spray": 0, "shop_emissivity": 0}`` what is left is the spread from head to head.

    References
    ----------
    .. [1] Scatter of settings and analysis: furnace class 5 (±14 °C), product tolerances of ASTM
       A29, own estimates (data/constants/settings.csv) (from memory).
    .. [2] Scrambled Sobol points: I. M. Sobol 1967; A. B. Owen, J. Complexity 14 (1998) 466 (from
       memory).
    .. [3] Cp, Cpk; percentiles by ISO 22514-2 (from memory).

    Examples
    --------
    >>> found = scatter("1030", n=64, indices=False, limits=Limits(hosel_allowed_deg=(2.0, None)))
    >>> found.outside.share
    0.0
    """
    seed = check_whole(seed, "seed", 0, 2**32 - 1)
    study = Study.of(steel, head, route, limits, options)
    n, limits = int(check_number(n, "cases", 16, 10_000_000)), study.limits
    inputs = inputs_of(study, spread, chemistry)
    d, base = len(inputs), 0
    if indices is not False:
        most = min(1024, n // 2)
        if indices is not True:
            most = check_number(indices, "base sample", 16, 10_000_000)
        base = min(2 ** int(math.log2(most)), n // 2)
    wanted = ("slack", *limits.bounds)
    if quantities is not None:
        names = check_list(quantities, "quantities", "a sequence of names")
        wanted = tuple(
            check_choice(q, "quantity", (*QUANTITIES, "slack"), "scatter") for q in names
        )
    kept = [q for q in dict.fromkeys((*_KEPT, *limits.bounds, *wanted)) if q != "slack"]

    def run(x: np.ndarray, before: int) -> dict[str, np.ndarray]:
        """What is kept of cases with these inputs, shape (cases, d); a cancel ends them early."""
        pieces = []
        values = {i.name: x[:, k] for k, i in enumerate(inputs)}
        for table in study.tables(values, before, n + base * d):
            slack = limits.slack(table)  # no veto: what is counted is heads
            pieces.append({name: table[name] for name in kept})
            pieces[-1]["slack"] = np.maximum(slack, _FARTHEST)  # where there is no number
        return joined(pieces) if pieces else {"slack": np.empty(0)}

    u = even_numbers(-(-n // 2), 2 * d, seed)
    half = len(u)
    a, b = (np.stack([i.quantile(part[:, k]) for k, i in enumerate(inputs)], axis=1)
            for part in (u[:, :d], u[:, d:]))  # fmt: skip
    both = np.concatenate([a, b])[:n]
    samples = run(both, 0)
    done = len(samples["slack"])
    if not done:
        raise InputError("the scatter was stopped before its first cases were finished.")
    drawn = {i.name: both[:done, k] for k, i in enumerate(inputs)}
    ranked = {}
    if base and done == n:
        mixed = run(swap(a[:base], b[:base]).reshape(-1, d), n)
        done += len(mixed["slack"])
        for q in wanted if done == n + base * d else ():
            y_a, y_b = samples[q][:base], samples[q][half : half + base]
            ranked[q] = variance_indices([*drawn], y_a, y_b, mixed[q].reshape(d, base))
    nominal = study.assess(study.job.varied({i.name: np.array([i.middle]) for i in inputs}))
    rows = {}
    for name in kept:
        values = samples[name]
        row = {"unit": QUANTITIES[name].unit, "nominal": float(nominal[name][0])}
        row |= {"mean": float(values.mean()), "sd": float(values.std(ddof=1))}
        at = np.percentile(values, _PERCENTS).tolist()
        row |= {f"p{p:g}".replace(".", "_"): v for p, v in zip(_PERCENTS, at, strict=True)}
        if name in limits.bounds:
            only = Limits(**{name: limits.bounds[name]})
            share = share_of(only.slack(samples) < 0.0)
            row |= dict(zip(("outside", "outside_low", "outside_high"), share, strict=True))
            row |= capability(values, *limits.bounds[name])
        rows[name] = row
    table = data_frame(list(rows.values()), index=list(rows)).rename_axis("quantity")
    counted = table, share_of(samples["slack"] < 0.0), ranked
    return Scatter(inputs, drawn, samples, *counted, limits, done, study.cancel.wanted)


def even_numbers(n: int, d: int, seed: int) -> np.ndarray:
    """Evenly filling numbers in 0..1, shape (n, d)."""
    from scipy.stats import qmc

    sobol = qmc.Sobol(d, scramble=True, rng=np.random.default_rng(seed))
    return sobol.random_base2(math.ceil(math.log2(max(n, 2))))[:n]
