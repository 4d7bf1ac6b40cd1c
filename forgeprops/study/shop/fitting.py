"""The shop's own multipliers from its thermocouple traces and hardness readings, by least squares with
priors.

Residuals are the readings over their noise and, as a pseudo-reading each, what is known of a multiplier
before anything was measured.  Traces that the model misses by more than their noise count for less: their
variance is estimated along, with how far their misses hang together in time.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from ...answer import interval as uncertainty
from ...answer.cases import shop_from
from ...answer.evaluation import Evaluation, evaluate
from ...base.errors import InputError, check_choice, check_number
from ...inputs.cases import SHOP_NUMBERS, Cases
from ...inputs.head import ZONES
from ...inputs.settings import numbers_of
from ...inputs.shop import Shop
from .measured_heads import Observed, observe
from .report import ShopFit, residual_tables, warnings_of

__all__ = ["NUMBERS", "Prior", "ShopFit", "fit", "priors"]


#: What is fitted unless told otherwise.  Air is left out: radiation is nearly nine tenths of what a hot
#: head loses, and both fall with time in much the same way.
NUMBERS = ("spray", "emissivity", "die", "delay_s")
#: By how much the model may miss a trace at first, K, before that is estimated (our choice).
_FIRST_MISS_C = 10.0
#: Step of the finite differences, in standard deviations of the prior (well above the march's own error).
_STEP = 0.1
#: Rounds of fitting and weighing; the weights have settled after the third (our choice).
_ROUNDS = 3
#: Standard deviation of the logger's zero, s: a logger started by hand with the furnace door (our choice).
CLOCK_SD_S = 0.3
#: Scatter of single hardness readings, HV (HV10 on a ground forging; common practice, no source).
HARDNESS_NOISE_HV = 10.0
_THREADS = os.cpu_count() or 1
#: Lowest multiplier whose logarithm is fitted (the die's own bound is 0).
_LEAST_FACTOR = 0.01
#: Marches that are kept while fitting.
_KEPT = 30


@dataclass(frozen=True)
class Prior:
    """What is known of one multiplier beforehand: normal in its logarithm where `log` is true."""

    number: str
    label: str
    unit: str
    log: bool
    centre: float
    sd: float
    why: str

    def value(self, z):
        """Multiplier at `z` standard deviations from the centre."""
        return self.centre * np.exp(self.sd * z) if self.log else self.centre + self.sd * z

    def deviate(self, value: float) -> float:
        """Standard deviations from the centre at which the multiplier has this value."""
        return float(
            np.log(value / self.centre) / self.sd if self.log else (value - self.centre) / self.sd
        )

    def slope(self, value: float) -> float:
        """Change of the multiplier for one standard deviation."""
        return self.sd * (value if self.log else 1.0)


def priors(shop: Shop | None = None) -> dict[str, Prior]:
    """Priors by number: the published spread, or an earlier fit's own numbers and standard errors.

    Parameters
    ----------
    shop : Shop, optional
        An earlier fit; its other numbers are the centres of the published spreads.

    References
    ----------
    .. [1] What is known of a shop before it measures, row by row (data/constants/settings.csv)
       (our choice).

    Examples
    --------
    >>> round(float(priors()["spray"].value(1.645)), 2)       # the ends of a 90 % interval
    1.5
    """
    shop = Shop() if shop is None else shop
    found = {}
    for name, what in numbers_of("shop").items():
        log = what.spread.kind == "lognormal"
        centre, sd, why = float(getattr(shop, name)), what.spread.value, what.source
        if shop.standard_error(name) > 0.0:
            sd, why = (
                shop.standard_error(name) / (centre if log else 1.0),
                f"the earlier fit {shop.name!r}",
            )
        if log and centre <= 0.0:
            raise InputError(f"shop {name} is {centre:g}; to fit it, it must start above 0.")
        found[name] = Prior(name, what.label.removeprefix("shop "), what.unit, log, centre, sd, why)
    return found


def fit(
    traces=None,
    hardness=None,
    head="mid-iron",
    steel=None,
    route=None,
    *,
    shop: Shop | None = None,
    numbers: Sequence[str] = NUMBERS,
    noise_c: float | None = None,
    hardness_noise_hv: float = HARDNESS_NOISE_HV,
    hardness_model_sd_hv: float | None = None,
    clock_sd_s: float = CLOCK_SD_S,
    name: str = "our shop",
    measured_on: str = "",
    data_files: Sequence[str] = (),
) -> ShopFit:
    """What a shop's measurements make of the published laws.

    Parameters
    ----------
    traces : Traces, optional
        Thermocouple traces (`study.shop.traces.read_traces`); time counts from the moment the head leaves the
        furnace.
    hardness : HardnessReadings, optional
        Hardness readings (`study.shop.measurements.read_hardness`).
    head, steel, route
        What was measured: one of each, or many by ``head_id``: `route` may be the list of runs
        (`study.shop.runs.read_runs`), `steel` the certificates (`certificates.reading.read_certificates`) by heat.
         Left out: the mid-iron and the default route.
    shop : Shop, optional
        What is known beforehand; an earlier fit counts with its standard errors.
    numbers : sequence of str
        Which of spray, emissivity, air, die, delay_s to fit; the others stay as in `shop`.
    noise_c : float, optional
        Noise of the thermocouples, K; by default estimated from each trace.
    hardness_noise_hv : float
        Scatter of single hardness readings, HV.
    hardness_model_sd_hv : float, optional
        Standard deviation of the hardness model itself, HV; by default what its residuals on measured bars
        say for the structure.
    clock_sd_s : float
        Standard deviation of the logger's zero, s; an offset of each head's clock is fitted along.  0:
        trusted.
    name, measured_on, data_files
        Kept in the shop's file.

    Returns
    -------
    ShopFit

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
    numbers = tuple(dict.fromkeys((numbers,) if isinstance(numbers, str) else numbers))
    for number in numbers:
        check_choice(number, "number to fit", SHOP_NUMBERS)
    if not numbers:
        raise InputError(f"there is no number to fit; allowed are {', '.join(SHOP_NUMBERS)}.")
    clock_sd_s = check_number(clock_sd_s, "standard deviation of the clock", 0.0, 60.0, "s")
    noise_hv = check_number(hardness_noise_hv, "scatter of hardness readings", 0.1, 200.0, "HV")
    if hardness_model_sd_hv is not None:
        check_number(
            hardness_model_sd_hv, "standard deviation of the hardness model", 0.0, 200.0, "HV"
        )
    seen = observe(traces, hardness, head, steel, route, noise_c)
    model = _Model(seen, before, [known[n] for n in numbers], clock_sd_s)
    at, weights = np.zeros(model.size), None
    for _ in range(_ROUNDS):
        weights = model.weights(at, weights, noise_hv, hardness_model_sd_hv)
        at = model.solve(at, weights)
    jacobian = model.jacobian(at, weights)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    return _told(
        model, seen, before, at, covariance, weights, (name, measured_on, tuple(data_files))
    )


@dataclass(frozen=True)
class _Weights:
    """Standard deviations of the residuals: of each probe's readings (with what hangs together counted), of
    means."""

    probe_sd_c: np.ndarray
    miss_c: np.ndarray
    together: np.ndarray
    hardness_sd_hv: np.ndarray


class _Model:
    """Residuals over their standard deviations, by deviates from the priors: multipliers first, then
    clocks."""

    def __init__(self, seen: Observed, before: Shop, known, clock_sd_s: float):
        self.seen, self.before, self.known, self.clock_sd_s = seen, before, known, clock_sd_s
        self.wired = sorted({p.of for p in seen.probes})
        self.clocked = self.wired if clock_sd_s > 0.0 else []
        self.size = len(known) + len(self.clocked)
        self._kept: dict[bytes, tuple] = {}
        ends = [
            [
                p.deviate(max(v, _LEAST_FACTOR) if p.log else v)
                for v in (numbers_of("shop")[p.number].low, numbers_of("shop")[p.number].high)
            ]
            for p in known
        ]
        ends += [[-np.inf, np.inf]] * len(self.clocked)
        self.low, self.high = np.array(ends).T

    def shop(self, at) -> Shop:
        """The shop at these deviates."""
        return replace(
            self.before,
            fitted=(),
            standard_errors=(),
            correlations=(),
            **{p.number: float(p.value(z)) for p, z in zip(self.known, at, strict=False)},
        )

    # ---- the march
    def marched(self, shops: Sequence[Shop]) -> list[tuple[list, np.ndarray, np.ndarray]]:
        """For every shop: traces by head (None where no probe sits), hardness and its model's sd by head
        and zone."""
        heads, n = self.seen.heads, len(self.seen.heads)
        pairs = [(s, i) for s in range(len(shops)) for i in range(n)]
        traced = [k for k, (_, i) in enumerate(pairs) if i in self.wired]
        plain = [k for k, (_, i) in enumerate(pairs) if i not in self.wired]
        traces: list = [None] * len(pairs)
        hardness = np.zeros((len(pairs), len(ZONES)))
        spread = np.zeros_like(hardness)
        parts = [traced[j::_THREADS] for j in range(_THREADS)] + [
            plain[j::_THREADS] for j in range(_THREADS)
        ]
        jobs = [(part, k < _THREADS) for k, part in enumerate(parts) if part]

        def march(job):
            part, with_trace = job
            cases = [(heads[pairs[k][1]], shops[pairs[k][0]]) for k in part]
            columns = Cases.of(
                [h.steel for h, _ in cases],
                [h.head for h, _ in cases],
                [h.route for h, _ in cases],
                [s for _, s in cases],
            )
            return part, evaluate(columns, ("points",) if with_trace else (), threads=1)

        with ThreadPoolExecutor(_THREADS) as pool:
            for part, told in pool.map(march, jobs):
                hardness[part], spread[part] = told.hardness_hv, model_sd_hv(told)
                for k, trace in zip(part, told.results.traces or (), strict=False):
                    traces[k] = trace
        return [
            (
                traces[s * n : (s + 1) * n],
                hardness[s * n : (s + 1) * n],
                spread[s * n : (s + 1) * n],
            )
            for s in range(len(shops))
        ]

    def at(self, points: Sequence[np.ndarray]):
        """The march at several deviates; what was marched last is kept."""
        if len(self._kept) > _KEPT:
            self._kept.clear()
        keys = [np.asarray(z[: len(self.known)]).tobytes() for z in points]
        missing = {k: z for k, z in zip(keys, points, strict=True) if k not in self._kept}
        if missing:
            fresh = self.marched([self.shop(z) for z in missing.values()])
            self._kept.update(zip(missing, fresh, strict=True))
        return [self._kept[k] for k in keys]

    def predicted(self, marched, clocks=None) -> tuple[list[np.ndarray], np.ndarray]:
        """Temperatures at the probes' readings and hardness means."""
        traces, hardness, _ = marched
        temperatures = []
        for p in self.seen.probes:
            offset = (
                self.clock_sd_s * clocks[self.clocked.index(p.of)]
                if clocks is not None and self.clocked
                else 0.0
            )
            temperatures.append(self.probe_c(traces[p.of], p, p.time_s - offset))
        return temperatures, np.array(
            [hardness[h.of, ZONES.index(h.zone)] for h in self.seen.hardness]
        )

    def probe_c(self, trace: np.ndarray, probe, time_s: np.ndarray) -> np.ndarray:
        """What a probe reads at these times from the furnace door on, °C."""
        soak = self.seen.heads[probe.of].route.preheat.soak_s
        return np.interp(time_s + soak, trace.time_s, trace.weighted(probe.weights))

    # ---- residuals
    def residuals(self, at, weights: _Weights) -> np.ndarray:
        temperatures, hardness = self.predicted(self.at([at])[0], at[len(self.known) :])
        return self._scaled(temperatures, hardness, at, weights)

    def _scaled(self, temperatures, hardness, at, weights) -> np.ndarray:
        parts = [
            (t - p.temperature_c) / sd
            for t, p, sd in zip(temperatures, self.seen.probes, weights.probe_sd_c, strict=True)
        ]
        means = np.array([h.mean_hv for h in self.seen.hardness])
        return np.concatenate([*parts, (hardness - means) / weights.hardness_sd_hv, at])

    def jacobian(self, at, weights: _Weights) -> np.ndarray:
        """Central differences; all marches in one call, clocks without any."""
        n = len(self.known)
        steps = np.eye(self.size)[:n] * _STEP
        sides = [
            (np.clip(at + s, self.low, self.high), np.clip(at - s, self.low, self.high))
            for s in steps
        ]
        here, *there = self.at([at, *(z for pair in sides for z in pair)])
        columns = []
        for i, (up, down) in enumerate(sides):
            high, low = (
                self._scaled(*self.predicted(m, z[n:]), z, weights)
                for m, z in zip(there[2 * i : 2 * i + 2], (up, down), strict=True)
            )
            columns.append((high - low) / (up[i] - down[i]))
        for i in range(n, self.size):
            up, down = (at + sign * np.eye(self.size)[i] * _STEP for sign in (1.0, -1.0))
            high, low = (self._scaled(*self.predicted(here, z[n:]), z, weights) for z in (up, down))
            columns.append((high - low) / (2.0 * _STEP))
        return np.array(columns).T

    def solve(self, at, weights: _Weights) -> np.ndarray:
        from scipy.optimize import least_squares

        start = np.clip(at, self.low + 1e-6, self.high - 1e-6)
        return least_squares(
            self.residuals,
            start,
            jac=self.jacobian,
            bounds=(self.low, self.high),
            args=(weights,),
            xtol=3e-3,
            ftol=1e-5,
            gtol=1e-4,
            max_nfev=25,
        ).x

    def weights(
        self, at, before: _Weights | None, noise_hv: float, model_sd_hv: float | None
    ) -> _Weights:
        """Standard deviations for the next round, from the misses of this one."""
        marched = self.at([at])[0]
        readings = np.array([h.readings for h in self.seen.hardness])
        own = [
            model_sd_hv if model_sd_hv is not None else marched[2][h.of, ZONES.index(h.zone)]
            for h in self.seen.hardness
        ]
        hardness_sd = (
            np.hypot(noise_hv / np.sqrt(readings), np.array(own)) if len(readings) else np.zeros(0)
        )
        noise = np.array([p.noise_c for p in self.seen.probes])
        if before is None:
            return _Weights(np.hypot(noise, _FIRST_MISS_C), noise, np.ones(len(noise)), hardness_sd)
        temperatures, _ = self.predicted(marched, at[len(self.known) :])
        misses = [t - p.temperature_c for t, p in zip(temperatures, self.seen.probes, strict=True)]
        miss = (
            np.maximum(np.array([np.sqrt(np.mean(m * m)) for m in misses]), noise)
            if misses
            else noise
        )
        together = np.array([correlation_readings(m) for m in misses])
        return _Weights(miss * np.sqrt(together), miss, together, hardness_sd)


def model_sd_hv(told: Evaluation) -> np.ndarray:
    """Standard deviation of the predicted hardness of every case and zone, HV, by structure."""
    f = told.results.fractions
    return uncertainty.hardness_sd_hv(
        told.hardness_hv, told.soft, f["bainite"], f["martensite"] + f["austenite"]
    )


def correlation_readings(miss: np.ndarray) -> float:
    """How many neighbouring readings of a trace hang together: 1 for noise, many where the model is off.

    The integrated autocorrelation time, summed up to the first lag whose correlation is lost in the noise.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> bool(correlation_readings(rng.normal(size=500)) < 1.5)
    True
    >>> bool(correlation_readings(np.linspace(-1, 1, 500)) > 50)
    True
    """
    n = miss.size
    power = np.abs(np.fft.rfft(miss, 2 * n)) ** 2
    correlation = np.fft.irfft(power)[:n]
    if correlation[0] <= 0.0:
        return 1.0
    correlation = correlation / correlation[0]
    lost = np.flatnonzero(correlation < 2.0 / np.sqrt(n))
    first = int(lost[0]) if lost.size else n
    return float(min(max(1.0 + 2.0 * correlation[1:first].sum(), 1.0), n))


def _told(
    model: _Model, seen: Observed, before: Shop, at, covariance, weights: _Weights, kept
) -> ShopFit:
    """The result with its tables."""
    n = len(model.known)
    values = np.array([float(p.value(z)) for p, z in zip(model.known, at, strict=False)])
    sd = np.sqrt(np.diag(covariance))
    correlations = covariance / np.outer(sd, sd)
    errors = np.array([p.slope(v) for p, v in zip(model.known, values, strict=True)]) * sd[:n]
    block = np.clip(correlations[:n, :n], -1.0, 1.0)
    np.fill_diagonal(block, 1.0)
    name, measured_on, files = kept
    shop = replace(
        model.shop(at),
        name=name,
        fitted=tuple(p.number for p in model.known),
        standard_errors=tuple(float(e) for e in errors),
        measured_on=measured_on,
        data_files=files,
        correlations=tuple(tuple(float(c) for c in row) for row in 0.5 * (block + block.T)),
        n_readings=seen.readings,
    )
    start = model.predicted(model.marched([before])[0])
    end = model.predicted(model.at([at])[0], at[n:])
    clocks = {
        seen.heads[i].head_id: (
            float(model.clock_sd_s * at[n + k]),
            float(model.clock_sd_s * sd[n + k]),
        )
        for k, i in enumerate(model.clocked)
    }
    at_bound = tuple(
        p.number
        for p, z, lo, hi in zip(model.known, at, model.low, model.high, strict=False)
        if z - lo < 0.02 or hi - z < 0.02
    )
    traces, hardness = residual_tables(
        seen, start, end, weights.probe_sd_c, weights.hardness_sd_hv, clocks
    )
    return ShopFit(
        shop=shop,
        before=before,
        priors=tuple(model.known),
        deviates=at[:n].copy(),
        deviate_sd=sd[:n].copy(),
        correlations=correlations[:n, :n],
        traces=traces,
        hardness=hardness,
        clocks=clocks,
        at_bound=at_bound,
        problems=seen.problems,
        warnings=warnings_of(seen, traces, weights.miss_c, at_bound),
    )
