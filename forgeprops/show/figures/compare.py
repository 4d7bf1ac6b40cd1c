"""Grades against preheat temperatures: what each gives and costs, and the rank by the user's limits."""

from __future__ import annotations

import numpy as np

from .. import style
from ..units import Units

__all__ = ["SHORT_NAMES", "compare_picture"]

#: Quantity → title, colour map, its limits, number format.
_MAPS = {
    "face_hardness_hv": ("Face hardness, HV", style.HARDNESS_MAP, (120.0, 600.0), "{:.0f}"),
    "hosel_allowed_deg": ("Hosel bend, degrees", "viridis", (0.0, 5.0), "{:.1f}"),
    "press_effort": ("Press effort", "Greys", (0.4, 3.0), "{:.2f}"),
    "scale_um": ("Scale on the face, µm", "Greys", (0.0, 400.0), "{:.0f}"),
    "face_margin": ("Face margin at the strike", "Greys", (0.2, 3.0), "{:.2f}"),
}
#: What a limited quantity is called in a small field.
SHORT_NAMES = {
    "face_hardness_hv": "face",
    "hosel_hardness_hv": "hosel",
    "hosel_allowed_deg": "bend",
    "face_margin": "margin",
    "press_effort": "effort",
    "scale_um": "scale",
    "press_s": "press",
    "heads_per_hour": "speed",
    "water_l": "water",
}
_LOW, _HIGH = "\N{BLACK DOWN-POINTING TRIANGLE}", "\N{BLACK UP-POINTING TRIANGLE}"
_HATCH = "////"


def compare_picture(figure, comparison, grades=None, units: Units | None = None) -> str:
    """Draw six tables: the rank by the limits, then each result and cost; return them in words.

    A coloured field keeps the limit of its own quantity, a white hatched one misses it, and the thick line
    runs around what meets all limits.
    """
    units, table = units or Units(), comparison.table
    names = list(grades or dict.fromkeys(table["grade"]))
    preheats = sorted(set(table["preheat_c"]))
    rows = table.pivot(index="grade", columns="preheat_c").reindex(names)
    figure.clear()
    figure.set_layout_engine("constrained")
    with style.look():
        axes = figure.subplots(2, 3).ravel()
        meets = rows["meets"].fillna(False).to_numpy(bool) & bool(comparison.limits.bounds)
        for place, (ax, name) in enumerate(zip(axes, ("rank", *_MAPS), strict=True)):
            _frame(ax, names if place % 3 == 0 else [], len(names), preheats, units, place >= 3)
            if name == "rank":
                _ranks(ax, rows, meets, comparison.limits)
            else:
                _numbers(ax, rows, name, comparison.limits)
            _outline(ax, meets)
    return _words(comparison, units)


def _frame(ax, names, count: int, preheats, units: Units, below: bool) -> None:
    ax.grid(visible=False)
    ax.set_xlim(-0.5, len(preheats) - 0.5)
    ax.set_ylim(count - 0.5, -0.5)
    ax.set_xticks(range(len(preheats)), [f"{units.from_c(t):.0f}" for t in preheats])
    ax.set_yticks(range(count), names if names else [""] * count)
    ax.tick_params(length=0)
    for spine in ax.spines.values():
        spine.set_visible(False)
    if below:
        ax.set_xlabel(f"preheat temperature, {units.temperature}")


def _ranks(ax, rows, meets, limits) -> None:
    """Number of the rank where all limits are met; else which limit is missed first, and to which side."""
    _title(ax, "Rank by your limits", f"{_LOW} too low, {_HIGH} too high" if limits.bounds else "")
    if not limits.bounds:
        ax.text(
            0.5,
            0.5,
            "no limits set:\nnothing to rank by",
            transform=ax.transAxes,
            ha="center",
            va="center",
        )
        return
    ends = {words: (name, sign) for words, name, _, sign in limits.ends()}
    slack, rank = rows["slack"].to_numpy(float), rows["rank"].to_numpy(float)
    for row, column in np.argwhere(np.isfinite(rank)):
        if meets[row, column]:
            first = rank[row, column] == 1
            shade = style.shade("Blues", (-1.0, 8.0), slack[row, column])
            words = f"{rank[row, column]:.0f}" + (" \N{BLACK STAR}" if first else "")
            _field(ax, row, column, words, shade, bold=True)
        else:
            name, sign = ends[rows["binding"].iloc[row, column]]
            missed = f"{SHORT_NAMES.get(name, name)}{_LOW if sign > 0 else _HIGH}"
            _field(ax, row, column, missed, None, size=7.5)


def _numbers(ax, rows, name: str, limits) -> None:
    title, colours, ends, form = _MAPS[name]
    low, high = limits.bounds.get(name, (None, None))
    _title(ax, title, _asked(low, high))
    values = rows[name].to_numpy(float)
    for row, column in np.argwhere(np.isfinite(values)):
        value = values[row, column]
        inside = (low is None or value >= low) and (high is None or value <= high)
        _field(
            ax,
            row,
            column,
            form.format(value),
            style.shade(colours, ends, value) if inside else None,
        )


def _title(ax, words: str, asked: str) -> None:
    """Title at the left, what is asked at the right."""
    style.title(ax, words)
    ax.set_title(asked, loc="right", fontsize=9, color=style.QUIET)


def _asked(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return "no limit"
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g} to {high:g}"


def _field(
    ax, row: int, column: int, words: str, shade: str | None, bold: bool = False, size=9.0
) -> None:
    """One field; without a shade it is hatched: outside the limit."""
    from matplotlib.patches import Rectangle

    look = {"facecolor": style.PAPER, "hatch": _HATCH} if shade is None else {"facecolor": shade}
    edge = "#B5B5B5" if shade is None else style.PAPER
    ax.add_patch(Rectangle((column - 0.5, row - 0.5), 1.0, 1.0, ec=edge, lw=0.8, zorder=2, **look))
    dark = shade is not None and style.grey_lightness(shade) < 55
    ax.text(
        column, row, words, ha="center", va="center", size=size, zorder=4,
        c=style.PAPER if dark else style.INK, weight="bold" if bold else "normal",
        bbox=style.BOX,
    )  # fmt: skip


def _outline(ax, mask) -> None:
    """Thick line around the fields that meet all limits."""
    from matplotlib.collections import LineCollection

    wide = np.pad(mask, 1)
    lines = []
    for row, column in np.argwhere(wide[:, 1:] != wide[:, :-1]):
        lines.append([(column - 0.5, row - 1.5), (column - 0.5, row - 0.5)])
    for row, column in np.argwhere(wide[1:] != wide[:-1]):
        lines.append([(column - 1.5, row - 0.5), (column - 0.5, row - 0.5)])
    if lines:
        style_of_line = {"colors": style.INK, "linewidths": 2.4, "capstyle": "projecting"}
        ax.add_collection(LineCollection(lines, zorder=5, clip_on=False, **style_of_line))


def _words(comparison, units: Units) -> str:
    """What the picture shows, for those who cannot see it."""
    parts = []
    for grade, mine in comparison.table.groupby("grade", sort=False):
        met = mine[mine["meets"]]["preheat_c"] if comparison.limits.bounds else []
        said = (
            f"meets all limits from {units.temperature_text(met.min())} to {units.temperature_text(met.max())}"
            if len(met)
            else ("misses a limit at every temperature" if comparison.limits.bounds else "")
        )
        low, high = mine.iloc[0], mine.iloc[-1]
        parts.append(
            f"{grade}: face {low['face_hardness_hv']:.0f} to {high['face_hardness_hv']:.0f} HV, hosel bend "
            f"{low['hosel_allowed_deg']:.1f} to {high['hosel_allowed_deg']:.1f}°, press effort "
            f"{low['press_effort']:.2f} to {high['press_effort']:.2f}, scale {low['scale_um']:.0f} to "
            f"{high['scale_um']:.0f} µm from {units.temperature_text(low['preheat_c'])} to "
            f"{units.temperature_text(high['preheat_c'])}" + (f"; {said}" if said else "") + "."
        )
    return " ".join(parts)
