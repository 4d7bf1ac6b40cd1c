"""Every grade at every forging temperature: a map with the numbers in it, and lines for a few grades."""

from __future__ import annotations

from .. import style
from ..units import Units

__all__ = ["grade_lines", "grade_map"]

#: Column of the comparison table → words, colour map (all rise in lightness), number format, colour limits.
_MAPS = {
    "face_hv": ("Face hardness, HV", "cividis", "{:.0f}", (120.0, 600.0)),
    "hosel_hv": ("Hosel hardness, HV", "cividis", "{:.0f}", (120.0, 600.0)),
    "hosel_deg": ("Hosel bend allowed, degrees", "viridis", "{:.1f}", (0.0, 6.0)),
}


def grade_map(ax, table, column: str, units: Units | None = None, show_names: bool = True) -> None:
    """Draw a map grade × forging temperature, the number written in each field.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    table : pandas.DataFrame
        Columns ``grade``, ``preheat_c`` and `column`; grades stand in the order they first appear.
    column : {"face_hv", "hosel_hv", "hosel_deg"}
        What is mapped.
    units : Units
    show_names : bool
        Write the grade names at the left.
    """
    import matplotlib as mpl

    units = units or Units()
    title, colours, form, limits = _MAPS[column]
    grades = list(dict.fromkeys(table["grade"]))
    wide = table.pivot(index="grade", columns="preheat_c", values=column).loc[grades]
    norm, cmap = mpl.colors.Normalize(*limits), mpl.colormaps[colours]
    ax.imshow(wide.to_numpy(), aspect="auto", cmap=cmap, norm=norm)
    ax.grid(visible=False)
    ax.set_xticks(range(wide.shape[1]), [f"{units.from_c(t):.0f}" for t in wide.columns])
    ax.set_yticks(range(len(grades)), grades if show_names else [])
    ax.tick_params(length=0)
    for spine in ax.spines.values():
        spine.set_visible(False)
    for row, values in enumerate(wide.to_numpy()):
        for place, value in enumerate(values):
            rgba = cmap(norm(value))
            shade = "#{:02X}{:02X}{:02X}".format(*(round(255 * c) for c in rgba[:3]))
            ax.text(
                place,
                row,
                form.format(value),
                ha="center",
                va="center",
                fontsize=8,
                color=style.PAPER if style.grey_lightness(shade) < 55 else style.INK,
            )
    ax.set_xlabel(f"forging temperature (furnace), {units.temperature}")
    ax.set_title(title)


def grade_lines(ax, table, column: str, grades, units: Units | None = None) -> None:
    """Draw one line per grade against forging temperature, named at its right end.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    table : pandas.DataFrame
        As for `grade_map`.
    column : str
        What is drawn.
    grades : sequence of str
        Which grades, at most five.
    units : Units
    """
    units = units or Units()
    ends = []
    for index, grade in enumerate(grades):
        mine, line = table[table["grade"] == grade].sort_values("preheat_c"), style.series_look(index)
        ax.plot(
            units.from_c(mine["preheat_c"].to_numpy()),
            mine[column],
            color=line.colour,
            linestyle=line.dash,
            marker=line.marker,
            markersize=4,
            linewidth=line.width,
        )
        ends.append(
            [
                float(mine[column].iloc[-1]),
                grade,
                line.colour,
                units.from_c(float(mine["preheat_c"].iloc[-1])),
            ]
        )
    low, high = ax.get_ylim()
    least = 0.06 * (high - low)
    ends.sort()
    for before, after in zip(ends, ends[1:], strict=False):
        after[0] = max(after[0], before[0] + least)
    for place, grade, colour, right in ends:
        ax.annotate(
            grade,
            (right, place),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            color=colour,
            fontweight="bold",
            annotation_clip=False,
        )
    ax.set_xlabel(f"forging temperature (furnace), {units.temperature}")
    ax.set_ylabel(_MAPS[column][0])
    ax.set_title(_MAPS[column][0].split(",")[0])
    ax.margins(x=0.02)
