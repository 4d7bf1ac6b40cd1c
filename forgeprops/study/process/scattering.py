"""The scatter of a real shop: what comes out when nothing stays as it is written down, and what matters."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError, check_choice, check_list, check_number, check_whole, shown
from ...base.in_words import InWords
from ...inputs.head import ZONES
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.settings import Setting, Spread, setting
from ...io.tables import data_frame
from .sensitivity import Capability, Indices, capability, share_interval, swap, variance_indices
from .study import Study

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


@dataclass(frozen=True)
class Input:
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
        return Spread(given[0], given[1])
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        raise InputError(
            f"spread of {name} must be a standard deviation, or (kind, value) with the kinds "
            f"normal, relative, lognormal, uniform; got {shown(given)}."
        )
    return Spread("normal", given)


def inputs_of(
    study: Study, spread: Mapping | None = None, chemistry: str = "heat"
) -> tuple[Input, ...]:
    """Everything that is drawn.

    `spread` holds a standard deviation, (kind, value) or Spread by the name of a setting; it adds to the
    defaults of a shop (data/constants/settings.csv) and replaces them; 0 takes one out.  `chemistry` draws
    the analysis about this heat's ("heat"), within its grade ("grade"), or not ("fixed").

    >>> found = inputs_of(Study("4130"), {"flux": 0.5}, "fixed")
    >>> [i.name for i in found]
    ['preheat_c', 'transfer_s', 'delay_s', 'flux', 'water_c', 'face_thickness_mm', 'shop_emissivity',
    'shop_spray']
    """
    steel, shop = study.steel, study.shop
    chemistry = check_choice(chemistry, "chemistry", CHEMISTRY)
    if spread is not None and not isinstance(spread, Mapping):
        raise InputError(f"spread must be a mapping such as {{'flux': 0.8}}; got {shown(spread)}.")
    own = {setting(name).name: _spread(name, given) for name, given in (spread or {}).items()}
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
                ends[element] = study.value(element), 0.0, high
    found = []
    for name, how in (wanted | own).items():
        if name in own or study.has(name):
            what = setting(name)
            middle, low, high = ends.get(name) or (study.value(name), what.low, what.high)
            if how.sd(middle) > 0.0:
                found.append(Input(what, middle, how, low, high))
    if not found:
        raise InputError("nothing varies; give a spread above 0 for one input or more.")
    return tuple(found)


@dataclass(frozen=True)
class Distribution:
    """One quantity over the scatter."""

    mean: float
    sd: float
    percentiles: Mapping[float, float]  # at `_PERCENTS`
    nominal: float  # with every input at its middle


@dataclass(frozen=True)
class Outside:
    """Share of cases outside one limit, or outside any, as counted, with its 95 % interval."""

    share: float
    low: float
    high: float
    capability: Capability | None = None  # of a limited quantity


@dataclass(frozen=True, repr=False)
class Scatter(InWords):
    """What `scatter` found."""

    inputs: tuple[Input, ...]  # what was drawn
    drawn: Mapping[str, np.ndarray]  # the inputs of every case
    samples: Mapping[str, np.ndarray]  # the results of every case
    distributions: Mapping[str, Distribution]
    outside: Outside  # any of the limits
    by_quantity: Mapping[str, Outside]  # outside the limits of each, with its capability
    indices: Mapping[str, Indices]  # by quantity; "slack" is the distance from the limits
    limits: Limits
    cases: int  # marched
    cancelled: bool

    def ranking(self, quantity: str = "face_hardness_hv"):
        """Inputs by total order, most first (DataFrame)."""
        found = self.indices[check_choice(quantity, "quantity", self.indices, "scatter")]
        order = [f"{order}{end}" for order in ("total", "first") for end in ("", "_low", "_high")]
        table = data_frame({"input": found.names, **{name: getattr(found, name) for name in order}})
        return table.sort_values("total", ascending=False, ignore_index=True)

    def table(self):
        """Distributions, shares outside and capability by quantity (DataFrame)."""
        rows = []
        for name, d in self.distributions.items():
            row = {"quantity": name, "unit": QUANTITIES[name].unit}
            row |= {"nominal": d.nominal, "mean": d.mean, "sd": d.sd}
            row |= {f"p{p:g}".replace(".", "_"): d.percentiles[p] for p in (2.5, 50.0, 97.5)}
            if name in self.by_quantity:
                o, c = self.by_quantity[name], self.by_quantity[name].capability
                row |= {"outside": o.share, "outside_low": o.low, "outside_high": o.high}
                row |= {"cp": c.cp, "cpk": c.cpk, "cpk_by_percentiles": c.by_percentiles}
                row["normal"] = c.normal
            rows.append(row)
        return data_frame(rows)

    shown = table

    def words(self) -> str:
        lines, o = [], self.outside
        for name in ("face_hardness_hv", "hosel_allowed_deg"):
            if name in self.distributions:
                d, q = self.distributions[name], QUANTITIES[name]
                lines.append(
                    f"{q.label[0].upper()}{q.label[1:]}: {d.mean:.4g} ± {d.sd:.2g} {q.unit} (one standard "
                    f"deviation), 95 % of heads between {d.percentiles[2.5]:.4g} and "
                    f"{d.percentiles[97.5]:.4g} {q.unit}."
                )
        lines.append(
            f"Outside the limits: {100 * o.share:.2g} % of heads (95 % interval {100 * o.low:.2g} to "
            f"{100 * o.high:.2g} %)."
        )
        for name, by in self.by_quantity.items():
            c, text = by.capability, f"Cpk {by.capability.cpk:.2f}"
            if not c.normal:
                text = f"not normally distributed, so Cpk ({c.cpk:.2f}) misleads; "
                text += f"by percentiles {c.by_percentiles:.2f}"
            lines.append(f"{QUANTITIES[name].label}: {100 * by.share:.2g} % outside, {text}.")
        for name in list(self.indices)[:2]:
            top = self.ranking(name).head(3)
            what = "distance from the limits" if name == "slack" else QUANTITIES[name].label
            shares = (f"{r.input} {100 * max(r.total, 0.0):.0f} %" for r in top.itertuples())
            lines.append(f"{what.capitalize()} varies most by: {', '.join(shares)} (total order).")
        if self.cancelled:
            lines.append("Stopped before its end: fewer cases than required.")
        return " ".join([*lines, self.limits.title])


def scatter(
    steel, head=None, route=None, spread=None, limits=None, *, n: int = 8192, chemistry: str = "heat",
    indices: bool | int = True, quantities=None, seed: int = 0, **options,
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
    wanted: tuple[str, ...] = ("slack", *limits.bounds)
    if quantities is not None:
        if isinstance(quantities, str) or not (names := check_list(quantities, "quantities")):
            raise InputError(f"quantities must be a sequence of names; got {shown(quantities)}.")
        known = (*QUANTITIES, "slack")
        wanted = tuple(check_choice(q, "quantity", known, "scatter") for q in names)

    def run(x: np.ndarray, before: int, names) -> dict[str, np.ndarray]:
        """Quantities by name at inputs, shape (cases, d); a cancel ends them early."""
        pieces = {name: [np.empty(0)] for name in names}
        for table in study.tables(
            {i.name: x[:, k] for k, i in enumerate(inputs)}, before, n + base * d
        ):
            slack = limits.slack(table)  # no veto: what is counted is heads
            table["slack"] = np.maximum(slack, _FARTHEST)  # where there is no number
            for name, found in pieces.items():
                found.append(table[name])
        return {name: np.concatenate(found) for name, found in pieces.items()}

    u = even_numbers(-(-n // 2), 2 * d, seed)
    half = len(u)
    a, b = (np.stack([i.quantile(part[:, k]) for k, i in enumerate(inputs)], axis=1)
            for part in (u[:, :d], u[:, d:]))  # fmt: skip
    both = np.concatenate([a, b])[:n]
    kept = (*_KEPT, *limits.bounds, *(q for q in wanted if q != "slack"), "slack")
    samples = run(both, 0, tuple(dict.fromkeys(kept)))
    done = len(samples["slack"])
    if not done:
        raise InputError("the scatter was stopped before its first cases were finished.")
    drawn = {i.name: both[:done, k] for k, i in enumerate(inputs)}
    ranked: dict[str, Indices] = {}
    if base and done == n:
        mixed = run(swap(a[:base], b[:base]).reshape(-1, d), n, wanted)
        done += len(mixed[wanted[0]])
        for q in wanted if done == n + base * d else ():
            y_a, y_b = samples[q][:base], samples[q][half : half + base]
            ranked[q] = variance_indices([*drawn], y_a, y_b, mixed[q].reshape(d, base))
    nominal = study.assess(study.varied({i.name: np.array([i.middle]) for i in inputs}))
    distributions, by_quantity = {}, {}
    for name, values in samples.items():
        if name != "slack":
            at = dict(zip(_PERCENTS, np.percentile(values, _PERCENTS).tolist(), strict=True))
            mean, sd = float(values.mean()), float(values.std(ddof=1))
            distributions[name] = Distribution(mean, sd, at, float(nominal[name][0]))
    for name, (low, high) in limits.bounds.items():
        values = samples[name]
        out = values < (-np.inf if low is None else low)
        out |= values > (np.inf if high is None else high)
        by_quantity[name] = _outside(out, capability(values, low, high))
    counted = (distributions, _outside(samples["slack"] < 0.0), by_quantity)
    return Scatter(inputs, drawn, samples, *counted, ranked, limits, done, study.cancel.wanted)


def even_numbers(n: int, d: int, seed: int) -> np.ndarray:
    """Evenly filling numbers in 0..1, shape (n, d)."""
    from scipy.stats import qmc

    sobol = qmc.Sobol(d, scramble=True, rng=np.random.default_rng(seed))
    return sobol.random_base2(math.ceil(math.log2(max(n, 2))))[:n]


def _outside(out: np.ndarray, of: Capability | None = None) -> Outside:
    return Outside(float(out.mean()), *share_interval(int(out.sum()), len(out)), of)
