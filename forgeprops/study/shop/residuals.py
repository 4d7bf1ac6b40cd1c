"""Readings of a shop against the model: residuals over their noise, their derivatives, and the least-squares step."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...answer import interval as uncertainty
from ...answer.evaluation import Evaluation, evaluate
from ...inputs.cases import Cases
from ...inputs.head import ZONES
from ...inputs.settings import numbers_of
from ...inputs.shop import NUMBERS, Shop

#: By how much the model may miss a trace at first, K, before that is estimated (our choice).
_FIRST_MISS_C = 10.0
#: Step of the finite differences, in standard deviations of the prior (well above the march's own error).
_STEP = 0.1
#: Lowest multiplier whose logarithm is fitted (the die's own bound is 0).
_LEAST_FACTOR = 0.01
#: Marches that are kept while fitting.
_KEPT = 30


class Prior(NamedTuple):
    """What is known of one multiplier beforehand."""

    number: str
    label: str
    unit: str
    log: bool  # normal in its logarithm
    centre: float
    sd: float
    why: str

    def value(self, z):
        """Multiplier at `z` standard deviations from the centre."""
        return self.centre * np.exp(self.sd * z) if self.log else self.centre + self.sd * z

    def deviate(self, value: float) -> float:
        """Standard deviations from the centre at which the multiplier has this value."""
        off = np.log(value / self.centre) if self.log else value - self.centre
        return float(off / self.sd)

    def slope(self, value: float) -> float:
        """Change of the multiplier for one standard deviation."""
        return self.sd * (value if self.log else 1.0)


class Weights(NamedTuple):
    """Standard deviations of the residuals."""

    probe_sd_c: np.ndarray  # of a probe's readings, correlated ones counted
    miss_c: np.ndarray  # the same without that
    hardness_sd_hv: np.ndarray  # of means


class Model:
    """Residuals over their standard deviations, by deviates from the priors: multipliers, then clocks."""

    def __init__(self, seen: tuple, before: Shop, known, clock_sd_s: float):
        made, self.probes, means = seen  # heads, probes and means, see `measured_heads.observe`
        self.before, self.known, self.clock_sd_s = before, known, clock_sd_s
        heads, parts = list(made), ("steel", "head", "route")
        self.cases = Cases.of(*([getattr(h, part) for h in made.values()] for part in parts))
        #: Head and zone of each mean, and the head of each probe, as places.
        self.place = tuple(
            np.array([every.index(x) for x in means[name]], int)
            for name, every in (("head_id", heads), ("zone", ZONES))
        )
        self.probe_on = [heads.index(p.head_id) for p in self.probes]
        self.read, self.means_hv = (means[c].to_numpy(float) for c in ("readings", "measured_hv"))
        #: Heads with a thermocouple, as places, and those of them whose clock is fitted.
        self.wired = sorted(set(self.probe_on))
        self.clocked = self.wired if clock_sd_s > 0.0 else []
        self.size = len(known) + len(self.clocked)
        self._kept: dict[bytes, tuple] = {}
        ends = []
        for p in known:
            what = numbers_of("shop")[p.number]
            low = max(what.low, _LEAST_FACTOR) if p.log else what.low
            ends.append([p.deviate(low), p.deviate(what.high)])
        self.low, self.high = np.array([*ends, *[[-np.inf, np.inf]] * len(self.clocked)]).T

    def shop(self, at) -> Shop:
        """The shop at these deviates."""
        values = {p.number: float(p.value(z)) for p, z in zip(self.known, at, strict=False)}
        return replace(self.before, fitted=(), standard_errors=(), correlations=(), **values)

    def marched(self, shops: Sequence[Shop]) -> list[tuple[list, np.ndarray, np.ndarray]]:
        """For every shop: traces by head (None without a probe), hardness and its model's sd by head and zone."""
        n = len(self.cases)
        cases = self.cases.rows(np.tile(np.arange(n), len(shops)))
        for name in NUMBERS:
            cases.shop[name][:] = np.repeat([getattr(shop, name) for shop in shops], n)
        traces: list = [None] * len(cases)
        hardness, spread = np.zeros((2, len(cases), len(ZONES)))
        wired = np.isin(np.arange(len(cases)) % n, self.wired)
        for rows, want in ((np.flatnonzero(wired), ("points",)), (np.flatnonzero(~wired), ())):
            if len(rows):
                found = evaluate(cases.rows(rows), want)
                hardness[rows], spread[rows] = found.hardness_hv, model_sd_hv(found)
                for k, trace in zip(rows, found.results.traces or (), strict=False):
                    traces[k] = trace
        parts = [slice(s * n, (s + 1) * n) for s in range(len(shops))]
        return [(traces[part], hardness[part], spread[part]) for part in parts]

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

    def predicted(self, marched, clocks=()) -> tuple[list[np.ndarray], np.ndarray]:
        """Temperatures at the probes' readings and hardness means."""
        (traces, hardness, _), temperatures = marched, []
        late = dict(zip(self.clocked, clocks, strict=False))
        for p, of in zip(self.probes, self.probe_on, strict=True):
            time_s = p.time_s + self.cases.route["soak_s"][of]  # from the furnace door
            time_s = time_s - self.clock_sd_s * late.get(of, 0.0)
            trace = traces[of]
            temperatures.append(np.interp(time_s, trace.time_s, trace.weighted(p.weights)))
        return temperatures, hardness[self.place]

    def residuals(self, at, weights: Weights, marched=None) -> np.ndarray:
        marched = self.at([at])[0] if marched is None else marched
        temperatures, hardness = self.predicted(marched, at[len(self.known) :])
        every = zip(temperatures, self.probes, weights.probe_sd_c, strict=True)
        parts = [(t - p.temperature_c) / sd for t, p, sd in every]
        return np.concatenate([*parts, (hardness - self.means_hv) / weights.hardness_sd_hv, at])

    def jacobian(self, at, weights: Weights) -> np.ndarray:
        """Central differences; all marches in one call, clocks without any."""
        steps = np.eye(self.size) * _STEP
        sides = np.array([np.clip((at + s, at - s), self.low, self.high) for s in steps])
        points = sides.reshape(-1, self.size)
        marched = zip(self.at(points), points, strict=True)
        rows = [self.residuals(z, weights, m) for m, z in marched]
        cut = np.diagonal(sides[:, 0] - sides[:, 1])  # at the bounds of a multiplier
        apart = np.where(np.isfinite(self.low), cut, 2.0 * _STEP)
        every = zip(rows[::2], rows[1::2], apart, strict=True)
        return np.array([(high - low) / step for high, low, step in every]).T

    def solve(self, at, weights: Weights) -> np.ndarray:
        from scipy.optimize import least_squares

        options = {"bounds": (self.low, self.high), "jac": self.jacobian, "args": (weights,)}
        options |= {"xtol": 3e-3, "ftol": 1e-5, "gtol": 1e-4, "max_nfev": 25}
        start = np.clip(at, self.low + 1e-6, self.high - 1e-6)
        return least_squares(self.residuals, start, **options).x

    def weights(self, at, before: Weights | None, noise_hv: float, own_sd_hv) -> Weights:
        """Standard deviations for the next round, from the misses of this one."""
        marched = self.at([at])[0]
        own = marched[2][self.place] if own_sd_hv is None else own_sd_hv
        hardness_sd = np.hypot(noise_hv / np.sqrt(self.read), own)
        noise = np.array([p.noise_c for p in self.probes])
        if before is None:
            return Weights(np.hypot(noise, _FIRST_MISS_C), noise, hardness_sd)
        temperatures, _ = self.predicted(marched, at[len(self.known) :])
        misses = [t - p.temperature_c for t, p in zip(temperatures, self.probes, strict=True)]
        miss = np.maximum([np.sqrt(np.mean(m * m)) for m in misses], noise)
        together = np.array([correlation_readings(m) for m in misses])
        return Weights(miss * np.sqrt(together), miss, hardness_sd)


def model_sd_hv(found: Evaluation) -> np.ndarray:
    """Standard deviation of the predicted hardness of every case and zone, HV, by structure."""
    return uncertainty.hardness_sd_hv(found.hardness_hv, *found.doubted)


def correlation_readings(miss: np.ndarray) -> float:
    """How many neighbouring readings of a trace hang together: 1 for noise, many where the model is off.

    The integrated autocorrelation time, summed up to the first lag whose correlation is lost in the noise.
    """
    n = miss.size
    correlation = np.fft.irfft(np.abs(np.fft.rfft(miss, 2 * n)) ** 2)[:n]
    if correlation[0] <= 0.0:
        return 1.0
    correlation = correlation / correlation[0]
    lost = np.flatnonzero(correlation < 2.0 / np.sqrt(n))
    first = int(lost[0]) if lost.size else n
    return float(min(max(1.0 + 2.0 * correlation[1:first].sum(), 1.0), n))
