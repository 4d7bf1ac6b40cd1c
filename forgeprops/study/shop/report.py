"""What a fit to the shop's measurements found, in numbers, tables and words."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...base.ranges import Warn
from ...inputs.shop import Shop
from ...io.grids import Problem
from .measured_heads import Observed

__all__ = ["PARTLY", "SETTLED", "TOGETHER", "ShopFit", "residual_tables", "warnings_of"]

#: Share of a number's variance that the data took away: settled above the first, hardly known below the
#: second; and the correlation above which two numbers are only known together (our own marks).
SETTLED, PARTLY, TOGETHER = 0.75, 0.30, 0.80
#: Ends of a 95 % interval, standard deviations.
_Z95 = 1.96
#: A probe is said to be missed if the model is off by this many times its noise and this many K; a furnace
#: is said to be off its set point by this many K (our own marks).
_MISSED_TIMES, _MISSED_C, _FURNACE_OFF_C = 3.0, 15.0, 8.0

_VERDICTS = ("settled by the data", "partly settled", "hardly more than was known before")
_MEANS = {
    "spray": "how strongly the water cools, against the published law",
    "emissivity": "how strongly the scaled head radiates",
    "air": "how strongly still or moving air cools, against the published law",
    "die": "how well the die touches the head, against the assumed contact",
    "delay_s": "what valve and pipe add to the spray delay",
}
_HELPS = {
    "spray": "a thermocouple in the face while the water runs",
    "emissivity": "a trace of the hosel or body cooling in air, or of a head that is not sprayed",
    "air": "a trace that goes down below 300 °C, where air takes more than radiation does",
    "die": "a fast trace of the face through the squeeze, and a longer dwell",
    "delay_s": "a fast trace of the face at the start of the water",
}


@dataclass(frozen=True)
class ShopFit:
    """The shop's own numbers, how sure they are, and what the data still miss.

    Attributes
    ----------
    shop : Shop
        To be handed to `estimate` or saved (`shop.save("bay2.shop.json")`).
    before : Shop
        What the fit started from.
    priors : tuple of Prior
        What was known of each fitted number.
    deviates, deviate_sd : array
        Each number in standard deviations of its prior, and its standard deviation on that scale.
    correlations : array
        Between the fitted numbers.
    traces : DataFrame
        ``head_id, channel, zone, depth_mm, time_s, measured_c, before_c, fitted_c, residual_c,
        standardised``: measured minus fitted, and over the standard deviation it counted with.
    hardness : DataFrame
        ``head_id, zone, readings, measured_hv, before_hv, fitted_hv, residual_hv, standardised``.
    clocks : dict of str to (float, float)
        By how much each head's logger runs late against the furnace door, s, with its standard error.
    at_bound : tuple of str
        Numbers that stopped at the end of what is allowed.
    problems : tuple of Problem
        What was not used and why.
    warnings : tuple of Warn
    """

    shop: Shop
    before: Shop
    priors: tuple
    deviates: np.ndarray
    deviate_sd: np.ndarray
    correlations: np.ndarray
    traces: object
    hardness: object
    clocks: Mapping[str, tuple[float, float]]
    at_bound: tuple[str, ...]
    problems: tuple[Problem, ...]
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
        """One row a number: before, value, standard error, 95 % interval, share of the data, verdict
        (DataFrame)."""
        import pandas as pd

        rows = []
        for p in self.priors:
            low, high = self.interval(p.number)
            rows.append(
                {
                    "number": p.number,
                    "before": p.centre,
                    "value": getattr(self.shop, p.number),
                    "standard_error": self.shop.standard_error(p.number),
                    "low": low,
                    "high": high,
                    "data_share": self.data_share(p.number),
                    "verdict": self.verdict(p.number),
                }
            )
        return pd.DataFrame(rows)

    def correlation_table(self):
        """Correlations of the fitted numbers (DataFrame)."""
        import pandas as pd

        return pd.DataFrame(self.correlations, index=self.numbers, columns=self.numbers)

    def probes(self):
        """One row a trace: readings, mean and rms of measured minus fitted, rms before the fit
        (DataFrame)."""
        import pandas as pd

        rows = []
        for (head, channel), f in self.traces.groupby(["head_id", "channel"], sort=False):
            rows.append(
                {
                    "head_id": head,
                    "channel": channel,
                    "zone": f["zone"].iloc[0],
                    "readings": len(f),
                    "mean_c": f["residual_c"].mean(),
                    "rms_c": np.sqrt((f["residual_c"] ** 2).mean()),
                    "rms_before_c": np.sqrt(((f["measured_c"] - f["before_c"]) ** 2).mean()),
                }
            )
        return pd.DataFrame(
            rows,
            columns=["head_id", "channel", "zone", "readings", "mean_c", "rms_c", "rms_before_c"],
        )

    def report(self) -> str:
        """What is well and badly known, in words."""
        lines = [
            f"Fitted to {len(self.traces)} temperatures and {int(self.hardness['readings'].sum())} hardness "
            f"readings of {self._heads()}."
        ]
        for p in self.priors:
            lines.append(self._about(p))
        lines += self._together()
        lines.append(
            "The intervals come from the scatter of the readings and from what was known before; that the "
            "laws "
            "have the right shape is taken for granted."
        )
        if len(self.traces):
            f = self.traces
            before = np.sqrt(((f["measured_c"] - f["before_c"]) ** 2).mean())
            lines.append(
                f"The traces are met within {np.sqrt((f['residual_c'] ** 2).mean()):.1f} K (rms); before the "
                f"fit it was {before:.1f} K."
            )
        if len(self.hardness):
            f = self.hardness
            before = np.sqrt(((f["measured_hv"] - f["before_hv"]) ** 2).mean())
            lines.append(
                f"The hardness means are met within {np.sqrt((f['residual_hv'] ** 2).mean()):.0f} HV (rms); "
                f"before the fit it was {before:.0f} HV."
            )
        late = [
            f"{v:+.2f} s ({head or 'the head'})"
            for head, (v, se) in self.clocks.items()
            if abs(v) > max(2.0 * se, 0.05)
        ]
        if late:
            lines.append(f"Loggers run late against the furnace door by {', '.join(late)}.")
        lines += [w.text for w in self.warnings]
        lines += [f"Not used: {p.what}; {p.assumed}." for p in self.problems]
        return "\n".join(lines)

    def _heads(self) -> str:
        names = list(dict.fromkeys([*self.traces["head_id"], *self.hardness["head_id"]]))
        return "one head" if len(names) == 1 else f"{len(names)} heads"

    def _about(self, p) -> str:
        low, high = self.interval(p.number)
        unit = f" {p.unit}" if p.unit == "s" else ""
        value = getattr(self.shop, p.number)
        share = self.data_share(p.number)
        digits = 3 if high - low < 0.02 else 2
        text = (
            f"{p.label.capitalize()} {value:.{digits}f}{unit} (95 %: {low:.{digits}f} to {high:.{digits}f}), "
            f"{_MEANS[p.number]}: {self.verdict(p.number)}; the data took away "
            f"{'more than 99' if share > 0.99 else f'{100 * share:.0f}'} % of its variance."
        )
        if p.number in self.at_bound:
            text += " It stopped at the end of what is allowed: something else is wrong."
        elif share < SETTLED:
            text += f" What would settle it: {_HELPS[p.number]}."
        return text

    def _together(self) -> list[str]:
        lines, names = [], self.numbers
        for i in range(len(names)):
            for j in range(i):
                r = self.correlations[i, j]
                if abs(r) >= TOGETHER:
                    how = "one up, the other down" if r < 0 else "both up or both down"
                    lines.append(
                        f"{self.priors[j].label.capitalize()} and {self.priors[i].label} are only known "
                        f"together "
                        f"(correlation {r:+.2f}: {how} gives nearly the same readings); what would part "
                        f"them: "
                        f"{_HELPS[names[i]]}."
                    )
        return lines

    def __repr__(self) -> str:
        return self.report()

    def _repr_html_(self) -> str:
        words = "".join(f"<li>{html.escape(line)}</li>" for line in self.report().splitlines())
        table = (
            self.table()
            .round(
                {"value": 3, "standard_error": 3, "low": 3, "high": 3, "data_share": 2, "before": 3}
            )
            .to_html(index=False, border=0)
        )
        return f"<div><ul style='max-width:900px;line-height:1.4'>{words}</ul>{table}</div>"


def residual_tables(seen: Observed, start, end, probe_sd_c, hardness_sd_hv, clocks):
    """Traces and hardness as DataFrames: measured, predicted before and after, and what is left."""
    import pandas as pd

    columns = [
        "head_id",
        "channel",
        "zone",
        "depth_mm",
        "time_s",
        "measured_c",
        "before_c",
        "fitted_c",
        "residual_c",
        "standardised",
    ]
    frames = []
    for p, before, after, sd in zip(seen.probes, start[0], end[0], probe_sd_c, strict=True):
        miss = p.temperature_c - after
        frames.append(
            pd.DataFrame(
                {
                    "head_id": seen.heads[p.of].head_id,
                    "channel": p.channel,
                    "zone": p.zone,
                    "depth_mm": np.nan if p.depth_mm is None else p.depth_mm,
                    "time_s": p.time_s,
                    "measured_c": p.temperature_c,
                    "before_c": before,
                    "fitted_c": after,
                    "residual_c": miss,
                    "standardised": miss / sd,
                }
            )
        )
    traces = (
        pd.concat(frames, ignore_index=True) if frames else pd.DataFrame({c: [] for c in columns})
    )
    means = seen.hardness
    measured = np.array([h.mean_hv for h in means])
    hardness = pd.DataFrame(
        {
            "head_id": [seen.heads[h.of].head_id for h in means],
            "zone": [h.zone for h in means],
            "readings": np.array([h.readings for h in means], int),
            "measured_hv": measured,
            "before_hv": start[1],
            "fitted_hv": end[1],
            "residual_hv": measured - end[1],
            "standardised": (measured - end[1]) / hardness_sd_hv,
        }
    )
    return traces[columns], hardness


def warnings_of(seen: Observed, traces, miss_c, at_bound) -> tuple[Warn, ...]:
    """Traces that the model cannot meet, furnaces off their set point, numbers at their bounds."""
    found = []
    for p, miss in zip(seen.probes, miss_c, strict=True):
        head = seen.heads[p.of]
        label = f"{p.channel} of head {head.head_id}" if head.head_id else p.channel
        mine = traces[(traces["head_id"] == head.head_id) & (traces["channel"] == p.channel)]
        if miss > max(_MISSED_TIMES * p.noise_c, _MISSED_C):
            found.append(
                Warn(
                    "fit:trace-missed",
                    f"{label} is missed by {miss:.0f} K (rms) at a noise of {p.noise_c:.1f} K: "
                    "loose junction, wrong depth or zone, or settings that were not those of the route; it "
                    "counts for little.",
                )
            )
        inside = mine[mine["time_s"] < 0.0]
        if len(inside) >= 5:
            off = float(inside["residual_c"].mean())
            if abs(off) > _FURNACE_OFF_C:
                found.append(
                    Warn(
                        "fit:furnace",
                        f"{label} leaves the furnace at {inside['measured_c'].mean():.0f} °C, "
                        f"{abs(off):.0f} °C {'above' if off > 0 else 'below'} what the set point of "
                        f"{head.route.preheat.temperature_c:.0f} °C gives: correct the route's preheat and "
                        f"fit "
                        "again.",
                    )
                )
    if at_bound:
        found.append(
            Warn("fit:bound", f"{', '.join(at_bound)} stopped at the end of what is allowed.")
        )
    return tuple(found)
