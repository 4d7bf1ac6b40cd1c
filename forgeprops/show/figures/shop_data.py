"""Pictures of the shop's own data: heats checked, fit and what it leaves, ranked causes, control chart, spray curve.

Each draws into a figure that may have been used before and returns in words what it shows.
"""

from __future__ import annotations

import numpy as np

from .. import style
from ..units import Units

#: Most points drawn of a trace, so that the line of the fit stays visible.
_MOST_POINTS = 120
#: Verdict → colour, mark, short word.
_VERDICTS = {
    "accept": (style.SERIES[0].colour, "o", "accept"),
    "accept with adjusted settings": (style.SERIES[4].colour, "s", "adjust"),
    "hold": (style.CAUTION, "X", "hold"),
}
#: Words to the right of a picture.
_OUTSIDE = {"xycoords": ("axes fraction", "data"), "textcoords": "offset points", "va": "center"}
_OUTSIDE |= {"size": 9, "annotation_clip": False}


def _axes(figure, *shape, **options):
    figure.clear()
    figure.set_layout_engine("constrained")
    with style.look():
        return figure.subplots(*shape, **options)


def draw_heats(figure, judgements, units: Units | None = None) -> str:
    """Face hardness and hosel bend of every heat with its interval, and the limits as bands."""
    used = [j for j in judgements if j.results]
    axes = _axes(figure, 1, 2, sharey=True)
    places = {"face_hardness_hv": "Face hardness, HV", "hosel_allowed_deg": "Hosel bend, degrees"}
    for ax, (name, words) in zip(axes, places.items(), strict=True):
        for row, j in enumerate(used):
            colour, marker, _ = _VERDICTS[j.verdict]
            style.span(ax, *j.intervals[name], row, colour, 2.2, 3)
            ax.plot(j.results[name], row, marker, c=colour, ms=8, zorder=4)
            if j.adjusted:
                hollow = {"mfc": style.PAPER, "mec": colour, "mew": 1.8, "zorder": 5}
                ax.plot(j.adjusted[name], row, marker, ms=9, **hollow)
        if used and name in used[0].limits.bounds:
            ends = zip(used[0].limits.bounds[name], ax.get_xlim(), strict=True)
            low, high = (edge if end is None else end for end, edge in ends)
            ax.axvspan(low, high, color=style.WANTED, zorder=0)
        ax.set_xlabel(words)
        ax.grid(axis="y", visible=False)
    for row, j in enumerate(used):  # the verdict in words: colour and mark alone would need a key
        axes[1].annotate(_VERDICTS[j.verdict][2], (1.0, row), xytext=(6, 0), **_OUTSIDE)
    if used:
        style.rows(axes[0], [j.heat for j in used], 0.5, 0.5)
    style.title(axes[0], "Every heat at the settings as they are")
    style.title(axes[1], "Hollow: with adjusted settings; shaded: your limits")
    counts = {v: sum(j.verdict == v for j in judgements) for v in _VERDICTS}
    return "; ".join(f"{v}: {n}" for v, n in counts.items() if n) or "no heats"


def draw_fit(figure, found, head_id: str | None = None, units: Units | None = None) -> str:
    """Traces of one head measured, before and after the fit; what is left of all; each number before and after."""
    units = units or Units()
    (trace_ax, left_ax), (hard_ax, number_ax) = _axes(figure, 2, 2)
    heads = list(dict.fromkeys(found.traces["head_id"]))
    head = head_id if head_id in heads else next(iter(heads), None)
    for (owner, _), f in found.traces.groupby(["head_id", "channel"], sort=False):
        zone = f["zone"].iloc[0]
        c, mark = style.zone_look(zone).colour, style.zone_look(zone).marker
        thin = f.iloc[:: max(1, len(f) // _MOST_POINTS)]
        left_ax.plot(thin["time_s"], thin["residual_c"], ".", c=c, ms=2.5, alpha=0.6)
        if owner == head:
            measured, before, fitted = (
                units.from_c(d[f"{what}_c"])
                for d, what in ((thin, "measured"), (f, "before"), (f, "fitted"))
            )
            trace_ax.plot(thin["time_s"], measured, mark, c=c, ms=2.5, zorder=2)
            trace_ax.plot(f["time_s"], before, c=c, lw=0.9, ls=":", zorder=3)
            trace_ax.plot(f["time_s"], fitted, c=style.INK, lw=1.1, zorder=4)
            look = {**_OUTSIDE, "xycoords": "data", "c": c, "weight": "bold"}
            trace_ax.annotate(zone, (f["time_s"].iloc[-1], fitted.iloc[-1]), xytext=(4, 0), **look)
    for ax in (trace_ax, left_ax):
        ax.set_xlabel("time since the head left the furnace, s")
    trace_ax.set_ylabel(f"temperature, {units.temperature}")
    left_ax.set_ylabel(f"measured − fitted, {'K' if units.temperature == '°C' else '°C'}")
    words = f"Head {head}: dots measured, dotted before, line fitted" if head else "Traces"
    style.title(trace_ax, words)
    style.title(left_ax, "What the fit leaves, all heads")
    h = found.hardness
    for zone in dict.fromkeys(h["zone"]):
        mine, look = h[h["zone"] == zone], style.zone_look(zone)
        before = {"mfc": style.PAPER, "mec": look.colour, "ms": 5}
        after = {"c": look.colour, "ms": 6, "label": zone}
        hard_ax.plot(mine["before_hv"], mine["measured_hv"], look.marker, **before)
        hard_ax.plot(mine["fitted_hv"], mine["measured_hv"], look.marker, **after)
    if len(h):
        values = h[["before_hv", "fitted_hv", "measured_hv"]].to_numpy()
        ends = (values.min() - 15.0, values.max() + 15.0)
        hard_ax.plot(ends, ends, c=style.QUIET, lw=0.9, zorder=0)
        hard_ax.legend(fontsize=8, loc="upper left")
    hard_ax.set(xlabel="predicted, HV (hollow: before the fit)", ylabel="measured, HV")
    style.title(hard_ax, "Hardness")
    _numbers(number_ax, found)
    return "; ".join(
        f"{n} {getattr(found.shop, n):.3g} ± {found.shop.standard_error(n):.2g} ({found.verdict(n)})"
        for n in found.numbers
    )


def _numbers(ax, found) -> None:
    """Each number's 95 % interval before (grey) and after (dark), in standard deviations of what was known."""
    numbers = zip(found.priors, found.deviates, found.deviate_sd, strict=True)
    for row, (p, z, sd) in enumerate(numbers):
        style.span(ax, -1.96, 1.96, row, style.GRID, 9, 1)
        style.span(ax, z - 1.96 * sd, z + 1.96 * sd, row, style.ACCENT, 3.5)
        ax.plot(z, row, "o", c=style.ACCENT, ms=6, zorder=3)
        words = f"{getattr(found.shop, p.number):.3g} {p.unit if p.unit == 's' else ''}".strip()
        ax.text(z, row - 0.32, words, ha="center", size=9)
    style.rows(ax, [p.label for p in found.priors], above=0.7)
    ax.set_xlabel("standard deviations from what was known before")
    style.title(ax, "Wide: known before; narrow: after (95 %)")


def draw_causes(figure, found, units: Units | None = None) -> str:
    """Chance of every cause as bars, and by how much readings are off."""
    off_ax, ax = _axes(figure, 1, 2, width_ratios=(2, 3))
    for row, r in enumerate(found.readings.itertuples()):
        look = style.zone_look(r.zone)
        style.span(off_ax, -r.sd_hv, r.sd_hv, row, style.GRID, 12, 1)
        off_ax.plot(r.off_hv, row, look.marker, c=look.colour, ms=9, zorder=3)
    off_ax.axvline(0.0, c=style.QUIET, lw=0.9)
    style.rows(off_ax, found.readings["zone"], 0.5, 0.5)
    off_ax.set_xlabel("measured − expected, HV")
    style.title(off_ax, "Off by (bar: one standard deviation)")
    table = found.table
    ax.barh(range(len(table)), 100 * table["probability"], color=style.ACCENT, height=0.6)
    for row, r in enumerate(table.itertuples()):
        drift = "" if r.cause == "nothing" else f"  {r.drift:+.3g} {r.unit}"
        percent = 100 * r.probability
        ax.text(percent + 1, row, f"{percent:.0f} %{drift}", va="center", size=9)
    style.rows(ax, table["label"])
    ax.set(xlim=(0, 125), xlabel="chance, %", xticks=(0, 25, 50, 75, 100))
    style.title(ax, "What may have drifted, and by how much")
    return "; ".join(f"{r.label} {100 * r.probability:.0f} %" for r in table.head(4).itertuples())


def draw_tracking(figure, found, quantity: str | None = None, units: Units | None = None) -> str:
    """Errors of one quantity with control limits, and its CUSUM with alarms."""
    from ...study.shop.charts import CUSUM_H

    upper, lower = _axes(figure, 2, 1, sharex=True)
    names = list(dict.fromkeys(found.table["quantity"])) if len(found.limits) else []
    name = quantity if quantity in names else next(iter(names), None)
    if name is not None:
        f = found.table[found.table["quantity"] == name].reset_index(drop=True)
        limits = found.limits[found.limits["quantity"] == name].iloc[0]
        x = np.arange(1, len(f) + 1)
        upper.plot(x, f["error"], "o-", c=style.ACCENT, ms=3.5, lw=0.8)
        for end, words in (("lower", "−3 σ"), ("centre", "centre"), ("upper", "+3 σ")):
            upper.axhline(limits[end], c=style.QUIET, lw=0.9, ls="--")
            upper.annotate(words, (1.0, limits[end]), xytext=(4, 0), **_OUTSIDE)
        up, down = style.SERIES[1], style.SERIES[2]
        lower.plot(x, f["cusum_high"], c=up.colour, label="upwards")
        lower.plot(x, -f["cusum_low"], c=down.colour, ls=up.dash, label="downwards")
        for end in (CUSUM_H, -CUSUM_H):
            lower.axhline(end, c=style.INK, lw=1.1, ls="--")
        at = x[f["alarm"].to_numpy(bool)]
        upper.plot(at, f["error"].to_numpy()[at - 1], "X", c=style.CAUTION, ms=9, zorder=5)
        lower.legend(fontsize=8, loc="upper left")
        upper.set_ylabel("measured − predicted")
        lower.set(xlabel="head, in the order of the log", ylabel="CUSUM, σ")
        style.title(upper, name)
        style.title(lower, "Sum of what does not average out (alarm beyond the dashed lines)")
    return " ".join(found.sentences)


def draw_spray_curve(figure, curve, flux_kg_m2_s: float, units: Units | None = None) -> str:
    """Heat transfer of the spray against surface temperature, with the published law."""
    from ...thermal.spray import spray_w_m2k

    units = units or Units()
    ax, trace_ax = _axes(figure, 1, 2)
    table = curve.table()
    at = units.from_c(table["surface_c"].to_numpy())
    ax.fill_between(at, table["low"] / 1e3, table["high"] / 1e3, color="#B9CDE8", zorder=1)
    ax.plot(at, table["h_w_m2k"] / 1e3, c=style.ACCENT, lw=2.2, zorder=3)
    law = [spray_w_m2k(flux_kg_m2_s, float(t), curve.water_c) / 1e3 for t in table["surface_c"]]
    ax.plot(at, law, c=style.INK, ls="--", lw=1.2, zorder=2)
    place = (at[len(at) // 3], law[len(at) // 3])
    look = {"textcoords": "offset points", "ha": "right"}
    ax.annotate("published law", place, xytext=(-8, -14), **look)
    ax.set_xlabel(f"surface temperature, {units.temperature}")
    ax.set_ylabel("heat transfer coefficient, kW/(m² K)")
    style.title(ax, "This shop's spray (band: 95 %)")
    trace_ax.plot(curve.time_s, units.from_c(curve.measured_c), ".", c=style.QUIET, ms=2)
    trace_ax.plot(curve.time_s, units.from_c(curve.fitted_c), c=style.ACCENT)
    trace_ax.plot(curve.time_s, units.from_c(curve.at_surface_c), c=style.SERIES[1].colour, ls="--")
    trace_ax.set(xlabel="time, s", ylabel=f"temperature, {units.temperature}")
    style.title(trace_ax, "Thermocouple (line) and surface (dashed)")
    factor, spread = curve.multiplier(flux_kg_m2_s)
    return (
        f"Above 500 °C the spray cools {factor:.2f} times as strongly as the published law; its shape "
        f"differs by {100 * spread:.0f} %."
    )
