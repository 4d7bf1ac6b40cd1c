"""The shop's own multipliers from its traces and hardness readings, by least squares with priors.

Residuals are the readings over their noise and, as a pseudo-reading each, what is known of a multiplier
before anything was measured.  Traces that the model misses by more than their noise count for less: their
variance is estimated along, with how far their misses hang together in time.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ...answer.cases import shop_from
from ...base.errors import InputError, check_choice, check_list, check_number
from ...base.in_words import InWords
from ...base.ranges import Warn
from ...inputs.settings import numbers_of
from ...inputs.shop import Shop
from ...io.grids import Problem
from ...io.tables import data_frame
from .measured_heads import Observed, observe
from .residuals import Model, Prior, Weights

#: Numbers fitted by default.  Air is left out: radiation is nearly nine tenths of what a hot head loses, and
#: both fall with time in much the same way.
NUMBERS = ("spray", "emissivity", "die", "delay_s")
#: Rounds of fitting and weighing; the weights have settled after the third (our choice).
_ROUNDS = 3
#: Standard deviation of the logger's zero, s: a logger started by hand with the furnace door (our choice).
CLOCK_SD_S = 0.3
#: Scatter of single hardness readings, HV (HV10 on a ground forging; common practice, no source).
HARDNESS_NOISE_HV = 10.0
#: Scatter of a shop's numbers from one head to the next, as a share of how well they are known before anything is
#: measured: spray 6 %, as nozzle, wear and aim scatter; emissivity 0.015, die 10 %, delay 0.12 s (our choice).
HEAD_SCATTER = 0.25
#: Share of a number's variance that the data took away: settled above the first, hardly known below the
#: second; and the correlation above which two numbers are only known together (our own marks).
_SETTLED, _PARTLY, _TOGETHER = 0.75, 0.30, 0.80
#: Ends of a 95 % interval, standard deviations.
_Z95 = 1.96
#: A probe is said to be missed if the model is off by this many times its noise and this many K; a furnace
#: is said to be off its preheat temperature by this many K (our own marks).
_MISSED_TIMES, _MISSED_C, _FURNACE_OFF_C = 3.0, 15.0, 8.0

_VERDICTS = ("settled by the data", "partly settled", "hardly more than was known before")
_HELPS = {
    "spray": "a thermocouple in the face while the water runs",
    "emissivity": "a trace of the hosel or body cooling in air, or of a head that is not sprayed",
    "air": "a trace that goes down below 300 °C, where air takes more than radiation does",
    "die": "a fast trace of the face in the press, and a longer dwell",
    "delay_s": "a fast trace of the face at the start of the water",
}


@dataclass(frozen=True, repr=False)
class ShopFit(InWords):
    """The shop's own numbers, how sure they are, and what the data still miss."""

    shop: Shop  # to be handed to `estimate` or saved (`shop.save("bay2.shop.json")`)
    before: Shop  # what the fit started from
    priors: tuple[Prior, ...]  # what was known of each fitted number
    deviates: np.ndarray  # each number in standard deviations of its prior
    deviate_sd: np.ndarray  # its standard deviation on that scale
    correlations: np.ndarray  # as the readings tie them; the scatter from head to head is left out
    #: ``head_id, channel, zone, depth_mm, time_s, measured_c, before_c, fitted_c, residual_c, standardised``:
    #: measured minus fitted, and over the standard deviation it counted with.
    traces: object
    #: ``head_id, zone, readings, measured_hv, before_hv, fitted_hv, residual_hv, standardised``.
    hardness: object
    #: By how much each head's logger runs late against the furnace door, s, with its standard error.
    clocks: Mapping[str, tuple[float, float]]
    at_bound: tuple[str, ...]  # numbers that stopped at the end of what is allowed
    problems: tuple[Problem, ...]  # what was not used and why
    warnings: tuple[Warn, ...]

    @property
    def numbers(self) -> tuple[str, ...]:
        """What was fitted."""
        return tuple(p.number for p in self.priors)

    def interval(self, number: str) -> tuple[float, float]:
        """95 % interval of a fitted number."""
        i = self.numbers.index(number)
        ends = self.deviates[i] + np.array([-1.0, 1.0]) * _Z95 * self.deviate_sd[i]
        return tuple(float(v) for v in self.priors[i].value(ends))

    def data_share(self, number: str) -> float:
        """Share of the number's prior variance that the data took away: 1 all, 0 none."""
        return float(max(1.0 - self.deviate_sd[self.numbers.index(number)] ** 2, 0.0))

    def verdict(self, number: str) -> str:
        """How well the number is known, in words."""
        share = self.data_share(number)
        return _VERDICTS[0 if share >= _SETTLED else 1 if share >= _PARTLY else 2]

    def table(self):
        """One row a number: before, value, standard error, 95 % interval, share of the data, verdict."""
        columns = "number before value standard_error low high data_share verdict".split()
        rows, shop = [], self.shop
        for n, p in zip(self.numbers, self.priors, strict=True):
            found = p.centre, getattr(shop, n), shop.standard_error(n), *self.interval(n)
            rows.append((n, *found, self.data_share(n), self.verdict(n)))
        return data_frame(rows, columns=columns)

    shown = table

    def probes(self):
        """One row a trace: readings, mean and rms of measured minus fitted, rms before the fit."""
        f = self.traces.assign(miss=self.traces["measured_c"] - self.traces["before_c"])
        made = {"zone": ("zone", "first"), "readings": ("zone", "size")}
        made |= {"mean_c": ("residual_c", "mean"), "rms_c": ("residual_c", _rms)}
        made["rms_before_c"] = ("miss", _rms)
        return f.groupby(["head_id", "channel"], sort=False).agg(**made).reset_index()

    def report(self) -> str:
        """How well the readings are met, and how well each number is known."""
        heads, met = len({*self.traces["head_id"], *self.hardness["head_id"]}), []
        for what, f, u, unit in (
            ("traces", self.traces, "c", "K"),
            ("hardness means", self.hardness, "hv", "HV"),
        ):
            if len(f):
                first, left = _rms(f[f"measured_{u}"] - f[f"before_{u}"]), _rms(f[f"residual_{u}"])
                met.append(
                    f"{what} within {left:.3g} {unit} (rms; before the fit {first:.3g} {unit})"
                )
        lines = [
            f"Fitted to {len(self.traces)} temperatures and {int(self.hardness['readings'].sum())} hardness "
            f"readings of {'one head' if heads == 1 else f'{heads} heads'}; meets {', '.join(met)}."
        ]
        for p in self.priors:
            (low, high), share = self.interval(p.number), self.data_share(p.number)
            unit, digits = f" {p.unit}" if p.unit == "s" else "", 3 if high - low < 0.02 else 2
            text = (
                f"{p.label.capitalize()} {getattr(self.shop, p.number):.{digits}f}{unit} (95 %: {low:.{digits}f} to "
                f"{high:.{digits}f}): {self.verdict(p.number)} ({100 * share:.0f} % of its variance)."
            )
            if p.number in self.at_bound:
                text += " It stopped at the end of what is allowed: something else is wrong."
            elif share < _SETTLED:
                text += f" What would settle it: {_HELPS[p.number]}."
            lines.append(text)
        for i, j in np.argwhere(np.tril(np.abs(self.correlations) >= _TOGETHER, -1)):
            r = self.correlations[i, j]
            how = "one up, the other down" if r < 0 else "both up or both down"
            lines.append(
                f"{self.priors[j].label.capitalize()} and {self.priors[i].label} are only known together "
                f"(correlation {r:+.2f}: {how} gives nearly the same readings). What would separate them: "
                f"{_HELPS[self.priors[i].number]}."
            )
        lines.append(
            "The intervals come from the scatter of the readings, from what was known before and from an assumed "
            "scatter from head to head; the shape of the laws is not tested."
        )
        late = [f"{v:+.2f} s ({head or 'the head'})" for head, (v, se) in self.clocks.items()
                if abs(v) > max(2.0 * se, 0.05)]  # fmt: skip
        if late:
            lines.append(f"Loggers run late against the furnace door by {', '.join(late)}.")
        lines += [w.text for w in self.warnings]
        lines += [f"Not used: {p.what}; {p.assumed}." for p in self.problems]
        return "\n".join(lines)

    words = report


@dataclass(frozen=True)
class Noise:
    """Standard deviations of readings and of the hardness model."""

    noise_c: float | None = None  # of the thermocouples, K; by default estimated from each trace
    hardness_noise_hv: float = HARDNESS_NOISE_HV  # of single readings
    #: Of the hardness model itself; by default what its residuals on measured bars say for the structure.
    hardness_model_sd_hv: float | None = None
    clock_sd_s: float = CLOCK_SD_S  # an offset of each head's clock is fitted too; 0: no offset
    head_scatter: float = HEAD_SCATTER

    def __post_init__(self):
        check_number(self.clock_sd_s, "standard deviation of the clock", 0.0, 60.0, "s")
        check_number(self.head_scatter, "scatter from head to head", 0.0, 10.0)
        check_number(self.hardness_noise_hv, "scatter of hardness readings", 0.1, 200.0, "HV")
        if self.hardness_model_sd_hv is not None:
            what = "standard deviation of the hardness model"
            check_number(self.hardness_model_sd_hv, what, 0.0, 200.0, "HV")


def priors(shop: Shop | None = None) -> dict[str, Prior]:
    """Priors by number: the published spread about the shop's numbers, or an earlier fit's own standard errors.

    References
    ----------
    .. [1] What is known of a shop before it measures, row by row (data/constants/settings.csv)
       (our choice).
    """
    shop = Shop() if shop is None else shop
    found = {}
    for name, what in numbers_of("shop").items():
        log = what.spread.kind == "lognormal"
        centre, sd, why = float(getattr(shop, name)), what.spread.value, what.source
        if shop.standard_error(name) > 0.0:
            sd = shop.standard_error(name) / (centre if log else 1.0)
            why = f"the earlier fit {shop.name!r}"
        if log and centre <= 0.0:
            raise InputError(f"shop {name} is {centre:g}; to fit it, it must start above 0.")
        found[name] = Prior(name, what.label.removeprefix("shop "), what.unit, log, centre, sd, why)
    return found


def fit(
    traces=None, hardness=None, head="mid-iron", steel=None, route=None, *, shop=None,
    numbers=NUMBERS, name: str = "our shop", measured_on: str = "", data_files=(), **noise,
) -> ShopFit:  # fmt: skip
    """What a shop's measurements make of the published laws.

    Parameters
    ----------
    traces : Traces (`read_traces`), optional; time counts from the moment the head leaves the furnace.
    hardness : HardnessReadings (`read_hardness`), optional.
    head, steel, route : what was measured: one of each, or many by ``head_id``: `route` may be the list of
        runs (`read_runs`), `steel` the certificates (`read_certificates`) by heat.  Left out: mid-iron,
        default route.
    shop : Shop, optional; what is known beforehand; an earlier fit counts with its standard errors.
    numbers : which of spray, emissivity, air, die, delay_s to fit; the others stay as in `shop`.
    name, measured_on, data_files : kept in the shop's file.
    **noise : ``noise_c, hardness_noise_hv, hardness_model_sd_hv, clock_sd_s, head_scatter`` (see `Noise`).

    Raises
    ------
    InputError
        No steel, nothing to fit to, an unknown number, or a number out of bounds.

    References
    ----------
    .. [1] Least squares with priors as pseudo-readings; autocorrelation time: A. Sokal's lectures
       (1989) (from memory).
    .. [2] Shares of variance that count as settled, 0.75, and partly, 0.3; correlation that counts
       as together, 0.8 (our choice).

    Examples
    --------
    >>> from forgeprops.study.shop.measurements import read_hardness
    >>> bench = read_hardness(b"zone,value,scale\\nface,462,HV10\\nface,455,HV10\\nhosel,236,HV10")
    >>> found = fit(hardness=bench, steel="4130", numbers=("spray",))
    >>> 0.5 < found.shop.spray < 2.0
    True
    """
    if steel is None:
        raise InputError(
            "no steel is given; needed is the steel that was measured: a Steel, a grade or certificates."
        )
    before = shop_from(shop)
    known = priors(before)
    numbers = (numbers,) if isinstance(numbers, str) else check_list(numbers, "numbers")
    of_shop = numbers_of("shop")
    numbers = tuple(dict.fromkeys(check_choice(n, "number to fit", of_shop) for n in numbers))
    if not numbers:
        raise InputError(f"there is no number to fit; give {', '.join(of_shop)}.")
    for option in noise:
        check_choice(option, "option of fit", Noise.__dataclass_fields__)
    sd, data_files = Noise(**noise), check_list(data_files, "data_files")
    seen = observe(traces, hardness, head, steel, route, sd.noise_c)
    model = Model(seen, before, [known[n] for n in numbers], sd.clock_sd_s)
    n, at, weights = len(numbers), np.zeros(model.size), None
    for _ in range(_ROUNDS):
        weights = model.weights(at, weights, sd.hardness_noise_hv, sd.hardness_model_sd_hv)
        at = model.solve(at, weights)
    jacobian = model.jacobian(at, weights)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    tied = _correlations(covariance[:n, :n])
    published = np.array([numbers_of("shop")[p.number].spread.value / p.sd for p in model.known])
    between = (sd.head_scatter * published) ** 2 / (len(model.wired) or len(seen.heads))
    covariance = _with_scatter(covariance, between)
    deviate_sd, shop = np.sqrt(np.diag(covariance)), model.shop(at)
    block = np.clip(_correlations(covariance[:n, :n]), -1.0, 1.0)
    np.fill_diagonal(block, 1.0)
    slopes = [p.slope(getattr(shop, p.number)) for p in model.known]
    shop = replace(
        shop, name=name, fitted=numbers, measured_on=measured_on, data_files=data_files,
        standard_errors=tuple((np.array(slopes) * deviate_sd[:n]).tolist()),
        correlations=tuple(map(tuple, (0.5 * (block + block.T)).tolist())),
        n_readings=sum(p.time_s.size for p in seen.probes) + int(seen.hardness["readings"].sum()),
    )  # fmt: skip
    start = model.predicted(model.marched([before])[0])
    end = model.predicted(model.at([at])[0], at[n:])
    late = (sd.clock_sd_s * np.column_stack([at, deviate_sd])[n:]).tolist()
    clocks = {seen.heads[i].head_id: tuple(v) for i, v in zip(model.clocked, late, strict=True)}
    near = np.minimum(at - model.low, model.high - at)[:n] < 0.02
    at_bound = tuple(number for number, ends in zip(numbers, near, strict=True) if ends)
    traces, hardness = _residual_tables(seen, start, end, weights)
    warnings = _warnings_of(seen, traces, weights.miss_c, at_bound)
    known_by = (tuple(model.known), at[:n].copy(), deviate_sd[:n].copy(), tied)
    rest = (traces, hardness, clocks, at_bound, seen.problems, warnings)
    return ShopFit(shop, before, *known_by, *rest)


def _correlations(covariance: np.ndarray) -> np.ndarray:
    sd = np.sqrt(np.diag(covariance))
    return covariance / np.outer(sd, sd)


def _with_scatter(covariance, between) -> np.ndarray:
    """Covariance of deviates to which every reading adds a variance between heads that it cannot average out."""
    n = len(between)
    if not between.any():
        return covariance
    readings = np.linalg.inv(covariance[:n, :n]) - np.eye(n)  # less what was known before
    less = readings @ np.linalg.solve(readings + np.diag(1.0 / between), readings)
    wider = covariance.copy()
    wider[:n, :n] = np.linalg.inv(np.eye(n) + readings - less)
    return wider


def _rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _residual_tables(seen: Observed, start, end, weights: Weights):
    """Traces and hardness as DataFrames: measured, predicted before and after, and what is left."""
    probes = seen.probes
    n = np.array([p.time_s.size for p in probes], int)
    traces = {"head_id": [seen.heads[p.of].head_id for p in probes]}
    traces |= {name: [getattr(p, name) for p in probes] for name in ("channel", "zone", "depth_mm")}
    traces = {name: np.repeat(np.array(each, object), n) for name, each in traces.items()}
    traces["depth_mm"] = traces["depth_mm"].astype(float)
    read = [p.time_s for p in probes], [p.temperature_c for p in probes], start[0], end[0]
    for name, each in zip(("time_s", "measured_c", "before_c", "fitted_c"), read, strict=True):
        traces[name] = np.concatenate([np.empty(0), *each])
    traces = data_frame(traces)
    traces["residual_c"] = traces["measured_c"] - traces["fitted_c"]
    traces["standardised"] = traces["residual_c"] / np.repeat(weights.probe_sd_c, n)
    hardness = seen.hardness.assign(before_hv=start[1], fitted_hv=end[1])
    hardness["residual_hv"] = hardness["measured_hv"] - hardness["fitted_hv"]
    hardness["standardised"] = hardness["residual_hv"] / weights.hardness_sd_hv
    return traces, hardness


def _warnings_of(seen: Observed, traces, miss_c, at_bound) -> tuple[Warn, ...]:
    """Traces that the model cannot meet, furnaces off their preheat temperature, numbers at their bounds."""
    found = []
    for p, miss in zip(seen.probes, miss_c, strict=True):
        head = seen.heads[p.of]
        label = f"{p.channel} of head {head.head_id}" if head.head_id else p.channel
        mine = traces[(traces["head_id"] == head.head_id) & (traces["channel"] == p.channel)]
        if miss > max(_MISSED_TIMES * p.noise_c, _MISSED_C):
            text = (
                f"{label} is missed by {miss:.0f} K (rms) at a noise of {p.noise_c:.1f} K and counts for "
                "little: loose junction, wrong depth or zone, or other settings than those of the route."
            )
            found.append(Warn("fit:trace-missed", text))
        inside = mine[mine["time_s"] < 0.0]
        off = float(inside["residual_c"].mean()) if len(inside) >= 5 else 0.0
        if abs(off) > _FURNACE_OFF_C:
            text = (
                f"{label} leaves the furnace at {inside['measured_c'].mean():.0f} °C, "
                f"{abs(off):.0f} °C {'above' if off > 0 else 'below'} what the preheat temperature of "
                f"{head.route.preheat.temperature_c:.0f} °C gives: correct the route's preheat and fit again."
            )
            found.append(Warn("fit:furnace", text))
    if at_bound:
        text = f"{', '.join(at_bound)} stopped at the end of what is allowed."
        found.append(Warn("fit:bound", text))
    return tuple(found)
