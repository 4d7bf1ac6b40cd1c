"""How far to trust the numbers: predicted against measured, errors of formulas, coverage, bands."""

from __future__ import annotations

import numpy as np

from .. import style

__all__ = ["band_plot", "coverage_plot", "error_plot", "parity_plot", "parity_words"]

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
    """Draw predicted over measured with the line of equality; the interval as a band or as bars.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    parity : forgeprops.study.validation.Parity
    """
    t = parity.table
    ends = np.array(
        [t[["measured", "predicted"]].min().min(), t[["measured", "predicted"]].max().max()]
    )
    ends = ends + np.array([-0.06, 0.06]) * (ends[1] - ends[0])
    below, above = (t["predicted"] - t["low"]).to_numpy(), (t["high"] - t["predicted"]).to_numpy()
    if (
        np.ptp(below) < 0.2
    ):  # one interval for all: a band, where a measured value x is held by predictions x - above ...
        ax.fill_between(
            ends, ends - above[0], ends + below[0], color="#E9E9E9", linewidth=0, zorder=1
        )
    else:
        for m, low, high in zip(t["measured"], t["low"], t["high"], strict=True):
            ax.plot([m, m], [low, high], color="#B9B9B9", linewidth=0.8, zorder=2)
    ax.plot(ends, ends, color=style.INK, linewidth=1.0, zorder=2)
    kinds = [k for k in (*_KINDS, "measured", "read", "recalled") if (t["kind"] == k).any()]
    for place, kind in enumerate(kinds):
        look = style.series_look(_KINDS.get(kind, 0))
        for read in (True, False):
            mine = t[(t["kind"] == kind) & (t["read"] == read)]
            if len(mine):
                ax.plot(
                    mine["measured"],
                    mine["predicted"],
                    look.marker,
                    markersize=3.2 if len(t) > 200 else 5,
                    markerfacecolor=look.colour if read else style.PAPER,
                    markeredgecolor=look.colour,
                    markeredgewidth=0.9,
                    alpha=0.6 if len(t) > 200 else 1.0,
                    zorder=3,
                )
        if kind in _KINDS:
            ax.text(
                0.97,
                0.24 - 0.06 * place,
                f"{kind} {_SIGN[look.marker]}",
                transform=ax.transAxes,
                ha="right",
                color=look.colour,
                fontsize=8.5,
                zorder=5,
            )
    if t["read"].nunique() > 1:
        ax.text(
            0.97,
            0.04,
            "filled: read, hollow: recalled",
            transform=ax.transAxes,
            ha="right",
            color=style.QUIET,
            fontsize=8.5,
            zorder=5,
        )
    e = parity.errors()
    words = (
        f"mean error {e['mean_absolute_error']:.1f} {parity.unit}\non average {e['bias']:+.1f} "
        f"{parity.unit}\n"
        f"{e['rows']} rows, {e['groups']} {parity.groups}"
    )
    ax.text(
        0.03,
        0.97,
        words,
        transform=ax.transAxes,
        va="top",
        fontsize=8.5,
        linespacing=1.35,
        zorder=5,
    )
    ax.set(
        xlim=ends,
        ylim=ends,
        aspect="equal",
        xlabel=f"measured, {parity.unit}",
        ylabel=f"predicted, {parity.unit}",
    )
    style.title(ax, parity.quantity[0].upper() + parity.quantity[1:])


_SIGN = {"o": "●", "s": "■", "^": "▲", "D": "◆", "v": "▼"}


def error_plot(
    ax, table, names, values, words: str, unit: str, goal: float | None = None, ours=(), spans=None
) -> None:
    """Draw errors as dots in rows, ours filled, others hollow, with the goal as a line.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    table : pandas.DataFrame
    names, values : str
        Columns of the names and of the errors.
    words, unit : str
        Title, and unit of the errors.
    goal : float, optional
    ours : sequence of str
        Names to fill.
    spans : tuple of str, optional
        Columns of the ends of an interval of the error.
    """
    look = style.series_look(0)
    for row, (_, r) in enumerate(table.iterrows()):
        mine = r[names] in ours
        colour = look.colour if mine else style.QUIET
        if spans:
            ax.plot(
                [r[spans[0]], r[spans[1]]],
                [row, row],
                color=colour,
                linewidth=2.0 if mine else 1.2,
                zorder=2,
            )
        ax.plot(
            r[values],
            row,
            "o",
            markersize=7,
            markeredgecolor=colour,
            markerfacecolor=colour if mine else style.PAPER,
            zorder=3,
        )
    ax.set_yticks(range(len(table)), table[names])
    for label, name in zip(ax.get_yticklabels(), table[names], strict=True):
        label.set_fontweight("bold" if name in ours else "normal")
    ax.set(ylim=(len(table) - 0.4, -0.9), xlabel=f"mean error, {unit}")
    ax.set_xlim(left=0)
    ax.grid(axis="y", visible=False)
    if goal is not None:
        ax.axvline(goal, color=style.CAUTION, linestyle=(0, (4, 2)), linewidth=1.2, zorder=1)
        ax.text(goal, -0.85, f" goal {goal:g}", color=style.CAUTION, fontsize=8.5, va="top")
    style.title(ax, words)


def coverage_plot(ax, table) -> None:
    """Draw the share of measured bars inside the 80 % interval, group by group, beside the wanted 72 to 88 %."""
    ax.axvspan(72, 88, facecolor=style.WANTED, edgecolor=style.QUIET, linewidth=0.6, zorder=0)
    ax.axvline(80, color=style.QUIET, linewidth=1.0, linestyle=(0, (4, 2)), zorder=1)
    for row, r in enumerate(table.to_dict("records")):
        look = style.series_look(0 if row == 0 else 3)
        ax.plot(
            [100 * r["low_90"], 100 * r["high_90"]],
            [row, row],
            color=look.colour,
            linewidth=2,
            zorder=2,
        )
        ax.plot(100 * r["coverage"], row, "o", markersize=8, color=look.colour, zorder=3)
        ax.text(
            102,
            row,
            f"{100 * r['coverage']:.0f} %   {r['rows']} rows, {r['steels']} steels",
            va="center",
            fontsize=8.5,
        )
    ax.set_yticks(range(len(table)), table["scope"])
    ax.set(
        ylim=(len(table) - 0.4, -0.6),
        xlim=(50, 125),
        xticks=range(50, 101, 10),
        xlabel="measured hardness inside its 80 % interval, %",
    )
    ax.grid(axis="y", visible=False)
    style.title(ax, "Does the range hold 8 of 10? Wanted: dot inside the shaded band")


def band_plot(ax, name: str, band, distance_mm, own_hrc, standard_hrc) -> None:
    """Draw an end-quench band with the march of the bar and the curve of the standard.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    name : str
    band : sequence of (distance_mm, low_hrc, high_hrc)
    distance_mm, own_hrc, standard_hrc : array
    """
    x, low, high = np.array(band, float).T
    ax.fill_between(x, low, high, color="#E3E3E3", linewidth=0, zorder=1)
    ax.plot(x, low, color=style.QUIET, linewidth=0.8, zorder=2)
    ax.plot(x, high, color=style.QUIET, linewidth=0.8, zorder=2)
    for i, (y, words) in enumerate(
        ((own_hrc, "kinetics, bar marched"), (standard_hrc, "ASTM A255"))
    ):
        look = style.series_look(i)
        ax.plot(
            distance_mm,
            y,
            color=look.colour,
            linestyle=look.dash,
            linewidth=2.2 if i == 0 else 1.8,
            zorder=3,
        )
        ax.text(
            0.97,
            0.95 - 0.09 * i,
            words,
            transform=ax.transAxes,
            ha="right",
            va="top",
            color=look.colour,
            fontweight="bold",
            fontsize=9,
            zorder=4,
        )
    ax.text(
        0.97,
        0.77,
        "band",
        transform=ax.transAxes,
        ha="right",
        va="top",
        color=style.QUIET,
        fontweight="bold",
        fontsize=9,
    )
    ax.set(
        xlabel="distance from the quenched end, mm",
        ylabel="hardness, HRC",
        xlim=(0, 52),
        ylim=(15, 66),
    )
    style.title(ax, f"End-quench bar, {name}")
