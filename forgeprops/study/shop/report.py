"""What a fit to the shop's measurements found, in numbers, tables and words."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...base.in_words import InWords
from ...base.ranges import Warn
from ...inputs.shop import Shop
from ...io.grids import Problem
from ...io.tables import data_frame
from .measured_heads import Observed
from .residuals import Prior, Weights

#: Share of a number's variance that the data took away: settled above the first, hardly known below the
#: second; and the correlation above which two numbers are only known together (our own marks).
SETTLED, PARTLY, TOGETHER = 0.75, 0.30, 0.80
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
        return _VERDICTS[0 if share >= SETTLED else 1 if share >= PARTLY else 2]

    def table(self):
        """One row a number: before, value, standard error, 95 % interval, share of the data, verdict."""
        columns = "number before value standard_error low high data_share verdict".split()
        rows = [(n, p.centre, getattr(self.shop, n), self.shop.standard_error(n), *self.interval(n), self.data_share(n), self.verdict(n))
                for n, p in zip(self.numbers, self.priors, strict=True)]  # fmt: skip
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
            elif share < SETTLED:
                text += f" What would settle it: {_HELPS[p.number]}."
            lines.append(text)
        for i, j in np.argwhere(np.tril(np.abs(self.correlations) >= TOGETHER, -1)):
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


def _rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def residual_tables(seen: Observed, start, end, weights: Weights):
    """Traces and hardness as DataFrames: measured, predicted before and after, and what is left."""
    probes, means = seen.probes, seen.hardness
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
    rows = [(seen.heads[h.of].head_id, h.zone, h.readings, h.mean_hv) for h in means]
    hardness = data_frame(rows, columns=["head_id", "zone", "readings", "measured_hv"])
    hardness = hardness.astype({"readings": int, "measured_hv": float})
    hardness["before_hv"], hardness["fitted_hv"] = start[1], end[1]
    hardness["residual_hv"] = hardness["measured_hv"] - hardness["fitted_hv"]
    hardness["standardised"] = hardness["residual_hv"] / weights.hardness_sd_hv
    return traces, hardness


def warnings_of(seen: Observed, traces, miss_c, at_bound) -> tuple[Warn, ...]:
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
