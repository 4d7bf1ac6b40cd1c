"""How far to trust the numbers: predicted against measured, errors of formulas, coverage, bands."""

from __future__ import annotations

import numpy as np

from .. import style

#: Which of the looks a kind has, in every picture; read rows are filled, recalled ones hollow.
_KINDS = {"mostly ferrite and pearlite": 0, "mostly bainite": 1, "mostly martensite": 3}


def parity_words(parity) -> str:
    """Error figures of a parity in one sentence."""
    e = parity.errors()
    return (
        f"{parity.quantity}: mean error {e['mean_absolute_error']:.1f} {parity.unit}, on average "
        f"{e['bias']:+.1f}; {100 * e['within_80']:.0f} % inside the 80 % interval; {e['rows']} rows, "
        f"{e['groups']} {parity.groups}; {parity.validation}."
    )


def parity_plot(ax, parity) -> None:
    """Draw predicted over measured with the line of equality; the interval as a band or as bars."""
    t = parity.table
    ends = np.array(
        [t[["measured", "predicted"]].min().min(), t[["measured", "predicted"]].max().max()]
    )
    ends = ends + np.array([-0.06, 0.06]) * (ends[1] - ends[0])
    below, above = (t["predicted"] - t["low"]).to_numpy(), (t["high"] - t["predicted"]).to_numpy()
    if np.ptp(below) < 0.2:  # one interval for all: predictions x - above ... x + below hold x
        ax.fill_between(ends, ends - above[0], ends + below[0], color="#E9E9E9", lw=0, zorder=1)
    else:
        ax.vlines(t["measured"], t["low"], t["high"], color="#B9B9B9", lw=0.8, zorder=2)
    ax.plot(ends, ends, c=style.INK, lw=1.0, zorder=2)
    kinds = [k for k in (*_KINDS, "measured", "read", "recalled") if (t["kind"] == k).any()]
    for place, kind in enumerate(kinds):
        look = style.series_look(_KINDS.get(kind, 0))
        for read in (True, False):
            mine = t[(t["kind"] == kind) & (t["read"] == read)]
            if len(mine):
                size, alpha = (3.2, 0.6) if len(t) > 200 else (5, 1.0)
                fill = {"mfc": look.colour if read else style.PAPER, "mec": look.colour, "mew": 0.9}
                at = (mine["measured"], mine["predicted"])
                ax.plot(*at, look.marker, ms=size, alpha=alpha, zorder=3, **fill)
        if kind in _KINDS:
            words = f"{kind} {_SIGN[look.marker]}"
            style.corner(ax, 0.97, 0.24 - 0.06 * place, words, look.colour)
    if t["read"].nunique() > 1:
        style.corner(ax, 0.97, 0.04, "filled: read, hollow: recalled", style.QUIET)
    e = parity.errors()
    unit = parity.unit
    words = (
        f"mean error {e['mean_absolute_error']:.1f} {unit}\non average {e['bias']:+.1f} {unit}\n"
        f"{e['rows']} rows, {e['groups']} {parity.groups}"
    )
    style.corner(ax, 0.03, 0.97, words, linespacing=1.35)
    ax.set(xlim=ends, ylim=ends, aspect="equal")
    ax.set(xlabel=f"measured, {unit}", ylabel=f"predicted, {unit}")
    style.title(ax, parity.quantity[0].upper() + parity.quantity[1:])


_SIGN = {"o": "●", "s": "■", "^": "▲", "D": "◆", "v": "▼"}


def error_plot(
    ax, table, names, values, words: str, unit: str, goal: float | None = None, ours=(), spans=None
) -> None:
    """Draw errors as dots in rows, ours filled, others hollow, with the goal as a line."""
    look = style.series_look(0)
    for row, (_, r) in enumerate(table.iterrows()):
        mine = r[names] in ours
        colour = look.colour if mine else style.QUIET
        if spans:
            style.span(ax, r[spans[0]], r[spans[1]], row, colour, 2.0 if mine else 1.2)
        fill = colour if mine else style.PAPER
        ax.plot(r[values], row, "o", ms=7, mec=colour, mfc=fill, zorder=3)
    style.rows(ax, table[names], above=0.9)
    for label, name in zip(ax.get_yticklabels(), table[names], strict=True):
        label.set_fontweight("bold" if name in ours else "normal")
    ax.set_xlabel(f"mean error, {unit}")
    ax.set_xlim(left=0)
    if goal is not None:
        ax.axvline(goal, c=style.CAUTION, ls=(0, (4, 2)), lw=1.2, zorder=1)
        ax.text(goal, -0.85, f" goal {goal:g}", c=style.CAUTION, size=8.5, va="top")
    style.title(ax, words)


def coverage_plot(ax, table) -> None:
    """Draw the share of measured bars inside the 80 % interval, group by group, beside the wanted 72 to 88 %."""
    ax.axvspan(72, 88, facecolor=style.WANTED, edgecolor=style.QUIET, linewidth=0.6, zorder=0)
    ax.axvline(80, c=style.QUIET, lw=1.0, ls=(0, (4, 2)), zorder=1)
    for row, r in enumerate(table.to_dict("records")):
        look = style.series_look(0 if row == 0 else 3)
        style.span(ax, 100 * r["low_90"], 100 * r["high_90"], row, look.colour)
        ax.plot(100 * r["coverage"], row, "o", ms=8, c=look.colour, zorder=3)
        words = f"{100 * r['coverage']:.0f} %   {r['rows']} rows, {r['steels']} steels"
        ax.text(102, row, words, va="center", size=8.5)
    style.rows(ax, table["scope"])
    ax.set(xlim=(50, 125), xticks=range(50, 101, 10))
    ax.set_xlabel("measured hardness inside its 80 % interval, %")
    style.title(ax, "Does the range hold 8 of 10? Wanted: dot inside the shaded band")


def band_plot(ax, name: str, band, distance_mm, own_hrc, standard_hrc) -> None:
    """Draw an end-quench band with the march of the bar and the curve of the standard."""
    x, low, high = np.array(band, float).T
    ax.fill_between(x, low, high, color="#E3E3E3", linewidth=0, zorder=1)
    ax.plot(x, low, c=style.QUIET, lw=0.8, zorder=2)
    ax.plot(x, high, c=style.QUIET, lw=0.8, zorder=2)
    curves = ((own_hrc, "kinetics, simulated bar"), (standard_hrc, "ASTM A255"))
    bold = {"weight": "bold", "size": 9}
    for i, (y, words) in enumerate(curves):
        look = style.series_look(i)
        ax.plot(distance_mm, y, c=look.colour, ls=look.dash, lw=2.2 if i == 0 else 1.8, zorder=3)
        style.corner(ax, 0.97, 0.95 - 0.09 * i, words, look.colour, **bold)
    style.corner(ax, 0.97, 0.77, "band", style.QUIET, **bold)
    ax.set(xlim=(0, 52), ylim=(15, 66))
    ax.set(xlabel="distance from the quenched end, mm", ylabel="hardness, HRC")
    style.title(ax, f"End-quench bar, {name}")
