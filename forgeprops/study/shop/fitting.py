"""The shop's own multipliers from its traces and hardness readings, by least squares with priors.

Residuals are the readings over their noise and, as a pseudo-reading each, what is known of a multiplier
before anything was measured.  Traces that the model misses by more than their noise count for less: their
variance is estimated along, with how far their misses hang together in time.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ...answer.cases import shop_from
from ...base.errors import (
    InputError,
    bounded,
    check_bounded,
    check_choice,
    check_list,
    check_options,
)
from ...base.in_words import InWords
from ...base.ranges import Warn
from ...inputs.settings import numbers_of
from ...inputs.shop import Shop
from ...io.grids import Problem
from ...io.tables import data_frame
from .measured_heads import observe
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
    #: By number: ``label, unit, before, value, standard_error, low, high`` (95 % interval), ``data_share`` (of its
    #: prior variance that the data took away: 1 all, 0 none) and ``verdict``.
    table: object
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

    def shown(self):
        return self.table

    def words(self) -> str:
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
        for r in self.table.itertuples():
            unit, digits = f" {r.unit}" if r.unit == "s" else "", 3 if r.high - r.low < 0.02 else 2
            text = (
                f"{r.label.capitalize()} {r.value:.{digits}f}{unit} (95 %: {r.low:.{digits}f} to "
                f"{r.high:.{digits}f}): {r.verdict} ({100 * r.data_share:.0f} % of its variance)."
            )
            if r.Index in self.at_bound:
                text += " It stopped at the end of what is allowed: something else is wrong."
            elif r.data_share < _SETTLED:
                text += f" What would settle it: {_HELPS[r.Index]}."
            lines.append(text)
        labels = self.table["label"]
        for i, j in np.argwhere(np.tril(np.abs(self.correlations) >= _TOGETHER, -1)):
            r = self.correlations[i, j]
            how = "one up, the other down" if r < 0 else "both up or both down"
            lines.append(
                f"{labels.iloc[j].capitalize()} and {labels.iloc[i]} are only known together "
                f"(correlation {r:+.2f}: {how} gives nearly the same readings). What would separate them: "
                f"{_HELPS[labels.index[i]]}."
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


@dataclass(frozen=True)
class Noise:
    """Standard deviations of readings and of the hardness model."""

    #: Of the thermocouples; by default estimated from each trace.
    noise_c: float | None = bounded(None, "noise of the thermocouples", 0.0, 100.0, "K")
    #: Of single readings.
    hardness_noise_hv: float = bounded(
        HARDNESS_NOISE_HV, "scatter of hardness readings", 0.1, 200.0, "HV"
    )
    #: Of the hardness model itself; by default what its residuals on measured bars say for the structure.
    hardness_model_sd_hv: float | None = bounded(
        None, "standard deviation of the hardness model", 0.0, 200.0, "HV"
    )
    #: An offset of each head's clock is fitted too; 0: no offset.
    clock_sd_s: float = bounded(CLOCK_SD_S, "standard deviation of the clock", 0.0, 60.0, "s")
    head_scatter: float = bounded(HEAD_SCATTER, "scatter from head to head", 0.0, 10.0)

    def __post_init__(self):
        check_bounded(self)


def priors(shop: Shop | None = None) -> dict[str, Prior]:
    """Priors by number: the published spread about the shop's numbers, or an earlier fit's own standard errors.

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
    sd, data_files = (
        Noise(**check_options(noise, Noise, "fit", "")),
        check_list(data_files, "data_files"),
    )
    *seen, problems = observe(traces, hardness, head, steel, route, sd.noise_c)
    heads, probes, means = seen
    model = Model(seen, before, [known[n] for n in numbers], sd.clock_sd_s)
    n, at, weights = len(numbers), np.zeros(model.size), None
    for _ in range(_ROUNDS):
        weights = model.weights(at, weights, sd.hardness_noise_hv, sd.hardness_model_sd_hv)
        at = model.solve(at, weights)
    jacobian = model.jacobian(at, weights)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    tied = _correlations(covariance[:n, :n])
    published = np.array([numbers_of("shop")[p.number].spread.value / p.sd for p in model.known])
    between = (sd.head_scatter * published) ** 2 / (len(model.wired) or len(heads))
    covariance = _with_scatter(covariance, between)
    deviate_sd, shop = np.sqrt(np.diag(covariance)), model.shop(at)
    block = np.clip(_correlations(covariance[:n, :n]), -1.0, 1.0)
    np.fill_diagonal(block, 1.0)
    columns = "label unit before value standard_error low high data_share verdict".split()
    rows = [
        _row(p, getattr(shop, p.number), *z)
        for p, *z in zip(model.known, at, deviate_sd, strict=False)
    ]
    table = data_frame(rows, columns=columns, index=list(numbers))
    shop = replace(
        shop, name=name, fitted=numbers, measured_on=measured_on, data_files=data_files,
        standard_errors=tuple(table["standard_error"].tolist()),
        correlations=tuple(map(tuple, (0.5 * (block + block.T)).tolist())),
        n_readings=sum(p.time_s.size for p in probes) + int(means["readings"].sum()),
    )  # fmt: skip
    start = model.predicted(model.marched([before])[0])
    end = model.predicted(model.at([at])[0], at[n:])
    late = (sd.clock_sd_s * np.column_stack([at, deviate_sd])[n:]).tolist()
    clocks = {list(heads)[i]: tuple(v) for i, v in zip(model.clocked, late, strict=True)}
    near = np.minimum(at - model.low, model.high - at)[:n] < 0.02
    at_bound = tuple(number for number, ends in zip(numbers, near, strict=True) if ends)
    traces, hardness = _residual_tables(probes, means, start, end, weights)
    warnings = _warnings_of(heads, probes, traces, weights.miss_c, at_bound)
    rest = (traces, hardness, clocks, at_bound, problems, warnings)
    return ShopFit(shop, before, table, tied, *rest)


def _row(p: Prior, value: float, z: float, sd: float) -> tuple:
    """A number in the table, from its deviate and its standard deviation on that scale."""
    low, high = (float(p.value(z + end * sd)) for end in (-_Z95, _Z95))
    share = float(max(1.0 - sd * sd, 0.0))
    verdict = _VERDICTS[0 if share >= _SETTLED else 1 if share >= _PARTLY else 2]
    found = p.centre, value, float(p.slope(value) * sd), low, high
    return p.label, p.unit, *found, share, verdict


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


def _residual_tables(probes, means, start, end, weights: Weights):
    """Traces and hardness as DataFrames: measured, predicted before and after, and what is left."""
    n = np.array([p.time_s.size for p in probes], int)
    place = ("head_id", "channel", "zone", "depth_mm")
    traces = {x: np.repeat(np.array([getattr(p, x) for p in probes], object), n) for x in place}
    traces["depth_mm"] = traces["depth_mm"].astype(float)
    read = [p.time_s for p in probes], [p.temperature_c for p in probes], start[0], end[0]
    for name, each in zip(("time_s", "measured_c", "before_c", "fitted_c"), read, strict=True):
        traces[name] = np.concatenate([np.empty(0), *each])
    traces = data_frame(traces)
    traces["residual_c"] = traces["measured_c"] - traces["fitted_c"]
    traces["standardised"] = traces["residual_c"] / np.repeat(weights.probe_sd_c, n)
    hardness = means.assign(before_hv=start[1], fitted_hv=end[1])
    hardness["residual_hv"] = hardness["measured_hv"] - hardness["fitted_hv"]
    hardness["standardised"] = hardness["residual_hv"] / weights.hardness_sd_hv
    return traces, hardness


def _warnings_of(heads, probes, traces, miss_c, at_bound) -> tuple[Warn, ...]:
    """Traces that the model cannot meet, furnaces off their preheat temperature, numbers at their bounds."""
    found = []
    for p, miss in zip(probes, miss_c, strict=True):
        set_c = heads[p.head_id].route.preheat_c
        if miss > max(_MISSED_TIMES * p.noise_c, _MISSED_C):
            text = (
                f"{p.label} is missed by {miss:.0f} K (rms) at a noise of {p.noise_c:.1f} K and counts for "
                "little: loose junction, wrong depth or zone, or other settings than those of the route."
            )
            found.append(Warn("fit:trace-missed", text))
        mine = (traces["head_id"] == p.head_id) & (traces["channel"] == p.channel)
        inside = traces[mine & (traces["time_s"] < 0.0)]
        off = float(inside["residual_c"].mean()) if len(inside) >= 5 else 0.0
        if abs(off) > _FURNACE_OFF_C:
            text = (
                f"{p.label} leaves the furnace at {inside['measured_c'].mean():.0f} °C, "
                f"{abs(off):.0f} °C {'above' if off > 0 else 'below'} what the preheat temperature of "
                f"{set_c:.0f} °C gives: correct the route's preheat and fit again."
            )
            found.append(Warn("fit:furnace", text))
    if at_bound:
        text = f"{', '.join(at_bound)} stopped at the end of what is allowed."
        found.append(Warn("fit:bound", text))
    return tuple(found)
