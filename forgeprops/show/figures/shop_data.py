"""Pictures of the shop's own data: heats judged, fit and what it leaves, ranked causes, control chart,
spray curve.

Each draws into a figure that may have been used before and says in words what it shows.
"""

from __future__ import annotations

import numpy as np

from .. import style
from ..units import Units

__all__ = ["draw_causes", "draw_fit", "draw_heats", "draw_spray_curve", "draw_tracking"]

#: Most points drawn of a trace, so that the line of the fit stays visible.
_MOST_POINTS = 120
_VERDICT_LOOKS = {
    "accept": (style.SERIES[0].colour, "o"),
    "accept with adjusted settings": (style.SERIES[4].colour, "s"),
    "hold": (style.CAUTION, "X"),
}
_VERDICT_WORDS = {"accept": "accept", "accept with adjusted settings": "adjust", "hold": "hold"}


def _axes(figure, *shape, **options):
    figure.clear()
    figure.set_layout_engine("constrained")
    with style.look():
        return figure.subplots(*shape, **options)


def draw_heats(figure, judgements, units: Units | None = None) -> str:
    """Face hardness and hosel bend of every heat with its interval, and the limits as bands.

    Returns
    -------
    str
        The picture in words.
    """
    used = [j for j in judgements if j.results]
    axes = _axes(figure, 1, 2, sharey=True)
    places = (
        ("face_hardness_hv", "Face hardness, HV"),
        ("hosel_allowed_deg", "Hosel bend, degrees"),
    )
    for ax, (name, words) in zip(axes, places, strict=True):
        for row, j in enumerate(used):
            colour, marker = _VERDICT_LOOKS[j.verdict]
            low, high = j.intervals[name]
            ax.plot(
                [low, high],
                [row, row],
                color=colour,
                linewidth=2.2,
                solid_capstyle="butt",
                zorder=3,
            )
            ax.plot(j.results[name], row, marker, color=colour, markersize=8, zorder=4)
            if j.adjusted:
                ax.plot(
                    j.adjusted[name],
                    row,
                    marker,
                    markersize=9,
                    markerfacecolor=style.PAPER,
                    markeredgecolor=colour,
                    markeredgewidth=1.8,
                    zorder=5,
                )
        if used and name in used[0].limits.bounds:
            low, high = used[0].limits.bounds[name]
            left, right = ax.get_xlim()
            ax.axvspan(
                left if low is None else low,
                right if high is None else high,
                color=style.WANTED,
                zorder=0,
            )
        ax.set_xlabel(words)
        ax.grid(axis="y", visible=False)
    for row, j in enumerate(used):  # the verdict in words: colour and mark alone would need a key
        axes[1].annotate(
            _VERDICT_WORDS[j.verdict], (1.0, row), xycoords=("axes fraction", "data"), xytext=(6, 0),
            textcoords="offset points", va="center", fontsize=9, annotation_clip=False,
        )  # fmt: skip
    if used:
        axes[0].set(
            yticks=range(len(used)),
            yticklabels=[j.heat for j in used],
            ylim=(len(used) - 0.5, -0.5),
        )
    style.title(axes[0], "Every heat at the settings as they are")
    style.title(axes[1], "Hollow: with adjusted settings; shaded: your limits")
    counts = {v: sum(j.verdict == v for j in judgements) for v in _VERDICT_LOOKS}
    return "; ".join(f"{v}: {n}" for v, n in counts.items() if n) or "no heats"


def draw_fit(figure, found, head_id: str | None = None, units: Units | None = None) -> str:
    """Traces of one head measured, before and after the fit; what is left of all; each number before and
    after.

    Parameters
    ----------
    found : ShopFit
    head_id : str, optional
        Which head's traces; the first when left out.

    Returns
    -------
    str
        The picture in words.
    """
    units = units or Units()
    (trace_ax, left_ax), (hard_ax, number_ax) = _axes(figure, 2, 2)
    heads = list(dict.fromkeys(found.traces["head_id"]))
    head = head_id if head_id in heads else (heads[0] if heads else None)
    for (owner, _), f in found.traces.groupby(["head_id", "channel"], sort=False):
        look = style.zone_look(f["zone"].iloc[0])
        thin = f.iloc[:: max(1, len(f) // _MOST_POINTS)]
        left_ax.plot(
            thin["time_s"], thin["residual_c"], ".", color=look.colour, markersize=2.5, alpha=0.6
        )
        if owner == head:
            trace_ax.plot(
                thin["time_s"],
                units.from_c(thin["measured_c"]),
                look.marker,
                color=look.colour,
                markersize=2.5,
                zorder=2,
            )
            trace_ax.plot(
                f["time_s"],
                units.from_c(f["before_c"]),
                color=look.colour,
                linewidth=0.9,
                linestyle=":",
                zorder=3,
            )
            trace_ax.plot(
                f["time_s"], units.from_c(f["fitted_c"]), color=style.INK, linewidth=1.1, zorder=4
            )
            trace_ax.annotate(
                f["zone"].iloc[0],
                (f["time_s"].iloc[-1], units.from_c(f["fitted_c"].iloc[-1])),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                color=look.colour,
                fontweight="bold",
                annotation_clip=False,
            )
    for ax in (trace_ax, left_ax):
        ax.set_xlabel("time since the head left the furnace, s")
    trace_ax.set_ylabel(f"temperature, {units.temperature}")
    left_ax.set_ylabel(f"measured − fitted, {'K' if units.temperature == '°C' else '°C'}")
    style.title(
        trace_ax, f"Head {head}: dots measured, dotted before, line fitted" if head else "Traces"
    )
    style.title(left_ax, "What the fit leaves, all heads")
    h = found.hardness
    for zone in dict.fromkeys(h["zone"]):
        mine, look = h[h["zone"] == zone], style.zone_look(zone)
        hard_ax.plot(
            mine["before_hv"],
            mine["measured_hv"],
            look.marker,
            markerfacecolor=style.PAPER,
            markeredgecolor=look.colour,
            markersize=5,
        )
        hard_ax.plot(
            mine["fitted_hv"],
            mine["measured_hv"],
            look.marker,
            color=look.colour,
            markersize=6,
            label=zone,
        )
    if len(h):
        ends = (
            h[["before_hv", "fitted_hv", "measured_hv"]].to_numpy().min() - 15.0,
            h[["before_hv", "fitted_hv", "measured_hv"]].to_numpy().max() + 15.0,
        )
        hard_ax.plot(ends, ends, color=style.QUIET, linewidth=0.9, zorder=0)
        hard_ax.legend(fontsize=8, loc="upper left")
    hard_ax.set(xlabel="predicted, HV (hollow: before the fit)", ylabel="measured, HV")
    style.title(hard_ax, "Hardness")
    _numbers(number_ax, found)
    return "; ".join(
        f"{n} {getattr(found.shop, n):.3g} ± {found.shop.standard_error(n):.2g} ({found.verdict(n)})"
        for n in found.numbers
    )


def _numbers(ax, found) -> None:
    """Each number's 95 % interval before (grey) and after (dark), in standard deviations of what was
    known."""
    names = found.numbers
    for row, (p, z, sd) in enumerate(
        zip(found.priors, found.deviates, found.deviate_sd, strict=True)
    ):
        ax.plot(
            [-1.96, 1.96],
            [row, row],
            color=style.GRID,
            linewidth=9,
            solid_capstyle="butt",
            zorder=1,
        )
        ax.plot(
            [z - 1.96 * sd, z + 1.96 * sd],
            [row, row],
            color=style.ACCENT,
            linewidth=3.5,
            solid_capstyle="butt",
            zorder=2,
        )
        ax.plot(z, row, "o", color=style.ACCENT, markersize=6, zorder=3)
        unit = f" {p.unit}" if p.unit == "s" else ""
        ax.text(
            z, row - 0.32, f"{getattr(found.shop, p.number):.3g}{unit}", ha="center", fontsize=9
        )
    ax.set(
        yticks=range(len(names)),
        yticklabels=[p.label for p in found.priors],
        ylim=(len(names) - 0.4, -0.7),
        xlabel="standard deviations from what was known before",
    )
    ax.grid(axis="y", visible=False)
    style.title(ax, "Wide: known before; narrow: after (95 %)")


def draw_causes(figure, found, units: Units | None = None) -> str:
    """Chance of every cause as bars, and by how much readings are off.

    Returns
    -------
    str
        The picture in words.
    """
    off_ax, ax = _axes(figure, 1, 2, width_ratios=(2, 3))
    for row, r in enumerate(found.readings.itertuples()):
        look = style.zone_look(r.zone)
        off_ax.plot(
            [-r.sd_hv, r.sd_hv],
            [row, row],
            color=style.GRID,
            linewidth=12,
            solid_capstyle="butt",
            zorder=1,
        )
        off_ax.plot(r.off_hv, row, look.marker, color=look.colour, markersize=9, zorder=3)
    off_ax.axvline(0.0, color=style.QUIET, linewidth=0.9)
    n = len(found.readings)
    off_ax.set(
        yticks=range(n),
        yticklabels=found.readings["zone"],
        ylim=(n - 0.5, -0.5),
        xlabel="measured − expected, HV",
    )
    off_ax.grid(axis="y", visible=False)
    style.title(off_ax, "Off by (bar: one standard deviation)")
    table = found.table
    ax.barh(range(len(table)), 100 * table["probability"], color=style.ACCENT, height=0.6)
    for row, r in enumerate(table.itertuples()):
        drift = "" if r.cause == "nothing" else f"  {r.drift:+.3g} {r.unit}"
        ax.text(
            100 * r.probability + 1,
            row,
            f"{100 * r.probability:.0f} %{drift}",
            va="center",
            fontsize=9,
        )
    ax.set(
        yticks=range(len(table)),
        yticklabels=table["label"],
        ylim=(len(table) - 0.4, -0.6),
        xlim=(0, 125),
        xlabel="chance, %",
        xticks=(0, 25, 50, 75, 100),
    )
    ax.grid(axis="y", visible=False)
    style.title(ax, "What may have drifted, and by how much")
    return "; ".join(f"{r.label} {100 * r.probability:.0f} %" for r in table.head(4).itertuples())


def draw_tracking(figure, found, quantity: str | None = None, units: Units | None = None) -> str:
    """Errors of one quantity with control limits, and its CUSUM with alarms.

    Returns
    -------
    str
        The picture in words.
    """
    from ...study.shop.charts import CUSUM_H

    upper, lower = _axes(figure, 2, 1, sharex=True)
    names = list(dict.fromkeys(found.table["quantity"])) if len(found.limits) else []
    name = quantity if quantity in names else (names[0] if names else None)
    if name is not None:
        f = found.table[found.table["quantity"] == name].reset_index(drop=True)
        limits = found.limits[found.limits["quantity"] == name].iloc[0]
        x = np.arange(1, len(f) + 1)
        upper.plot(x, f["error"], "o-", color=style.ACCENT, markersize=3.5, linewidth=0.8)
        for value, words in (
            (limits["lower"], "−3 σ"),
            (limits["centre"], "centre"),
            (limits["upper"], "+3 σ"),
        ):
            upper.axhline(value, color=style.QUIET, linewidth=0.9, linestyle="--")
            upper.annotate(
                words,
                (1.0, value),
                xycoords=("axes fraction", "data"),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
                annotation_clip=False,
            )
        lower.plot(x, f["cusum_high"], color=style.SERIES[1].colour, label="upwards")
        lower.plot(
            x,
            -f["cusum_low"],
            color=style.SERIES[2].colour,
            linestyle=style.SERIES[1].dash,
            label="downwards",
        )
        for end in (CUSUM_H, -CUSUM_H):
            lower.axhline(end, color=style.INK, linewidth=1.1, linestyle="--")
        at = x[f["alarm"].to_numpy(bool)]
        upper.plot(
            at, f["error"].to_numpy()[at - 1], "X", color=style.CAUTION, markersize=9, zorder=5
        )
        lower.legend(fontsize=8, loc="upper left")
        upper.set_ylabel("measured − predicted")
        lower.set(xlabel="head, in the order of the log", ylabel="CUSUM, σ")
        style.title(upper, name)
        style.title(lower, "Sum of what does not average out (alarm beyond the dashed lines)")
    return " ".join(found.sentences)


def draw_spray_curve(figure, curve, flux_kg_m2_s: float, units: Units | None = None) -> str:
    """Heat transfer of the spray against surface temperature, with the published law.

    Returns
    -------
    str
        The picture in words.
    """
    from ...thermal.spray import spray_w_m2k

    units = units or Units()
    ax, trace_ax = _axes(figure, 1, 2)
    table = curve.table()
    at = units.from_c(table["surface_c"].to_numpy())
    ax.fill_between(at, table["low"] / 1e3, table["high"] / 1e3, color="#B9CDE8", zorder=1)
    ax.plot(at, table["h_w_m2k"] / 1e3, color=style.ACCENT, linewidth=2.2, zorder=3)
    law = [spray_w_m2k(flux_kg_m2_s, float(t), curve.water_c) / 1e3 for t in table["surface_c"]]
    ax.plot(at, law, color=style.INK, linestyle="--", linewidth=1.2, zorder=2)
    middle = len(at) // 3
    ax.annotate(
        "published law",
        (at[middle], law[middle]),
        xytext=(-8, -14),
        textcoords="offset points",
        ha="right",
    )
    ax.set(
        xlabel=f"surface temperature, {units.temperature}",
        ylabel="heat transfer coefficient, kW/(m² K)",
    )
    style.title(ax, "This shop's spray (band: 95 %)")
    trace_ax.plot(
        curve.time_s, units.from_c(curve.measured_c), ".", color=style.QUIET, markersize=2
    )
    trace_ax.plot(curve.time_s, units.from_c(curve.fitted_c), color=style.ACCENT)
    trace_ax.plot(
        curve.time_s, units.from_c(curve.at_surface_c), color=style.SERIES[1].colour, linestyle="--"
    )
    trace_ax.set(xlabel="time, s", ylabel=f"temperature, {units.temperature}")
    style.title(trace_ax, "Thermocouple (line) and surface (dashed)")
    factor, spread = curve.multiplier(flux_kg_m2_s)
    return (
        f"Above 500 °C the spray cools {factor:.2f} times as strongly as the published law; its shape "
        f"differs by "
        f"{100 * spread:.0f} %."
    )
