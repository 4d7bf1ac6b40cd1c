"""Every grade at every forging temperature: a map with its numbers, and lines for a few grades."""

from __future__ import annotations

import numpy as np

from .. import style
from ..units import Units

__all__ = ["GradeMap", "grade_lines"]

#: Column → title, unit words, colour map (all rise in lightness), number format, colour limits.
_MAPS = {
    "face_hv": ("Face hardness", "HV", "cividis", "{:.0f}", (120.0, 600.0)),
    "hosel_hv": ("Hosel hardness", "HV", "cividis", "{:.0f}", (120.0, 600.0)),
    "hosel_deg": ("Hosel bend allowed", "degrees", "viridis", "{:.1f}", (0.0, 4.0)),
}


class GradeMap:
    """Map grade × forging temperature of one number, which stands in each field.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    column : {"face_hv", "hosel_hv", "hosel_deg"}
        What is mapped.
    grades : sequence of str
        Rows, top to bottom.
    preheats_c : sequence of float
        Columns, left to right.
    units : Units
    show_names : bool
        Write the grade names at the left.
    """

    def __init__(
        self, ax, column: str, grades, preheats_c, units: Units | None = None, show_names: bool = True
    ):
        import matplotlib as mpl

        units = units or Units()
        self.ax, self.column, self.grades, self.preheats_c = ax, column, tuple(grades), tuple(preheats_c)
        title, unit, colours, self._form, limits = _MAPS[column]
        self._norm, self._map = (
            mpl.colors.Normalize(*limits),
            mpl.colormaps[colours].with_extremes(bad="#F2F2F2"),
        )
        self.values = np.full((len(self.grades), len(self.preheats_c)), np.nan)
        self._image = ax.imshow(self.values, aspect="auto", cmap=self._map, norm=self._norm, zorder=2)
        ax.grid(visible=False)
        ax.set_xticks(range(len(self.preheats_c)), [f"{units.from_c(t):.0f}" for t in self.preheats_c])
        ax.set_yticks(range(len(self.grades)), self.grades if show_names else [])
        ax.tick_params(length=0)
        for spine in ax.spines.values():
            spine.set_visible(False)
        ax.set_xlabel(f"forging temperature, {units.temperature}")
        style.title(ax, f"{title}, {unit}")
        self._words = [
            [ax.text(place, row, "", ha="center", va="center", fontsize=8.5, zorder=3)
             for place in range(len(self.preheats_c))]
            for row in range(len(self.grades))
        ]  # fmt: skip

    @property
    def artists(self) -> tuple:
        """Everything that moves with the numbers."""
        return (self._image, *(words for row in self._words for words in row))

    def set_row(self, grade: str, values) -> None:
        """Fill the row of one grade."""
        row = self.grades.index(grade)
        self.values[row] = values
        self._image.set_data(np.ma.masked_invalid(self.values))
        for words, value in zip(self._words[row], values, strict=True):
            words.set_text(self._form.format(value) if np.isfinite(value) else "")
            rgba = self._map(self._norm(value))
            shade = "#{:02X}{:02X}{:02X}".format(*(round(255 * c) for c in rgba[:3]))
            words.set_color(style.PAPER if style.grey_lightness(shade) < 55 else style.INK)

    def clear(self) -> None:
        """Empty all fields."""
        for grade in self.grades:
            self.set_row(grade, np.full(len(self.preheats_c), np.nan))


def grade_lines(ax, table, column: str, grades, units: Units | None = None) -> None:
    """Draw one line per grade against forging temperature, named at its right end.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    table : pandas.DataFrame
        Columns ``grade``, ``preheat_c`` and `column`.
    column : {"face_hv", "hosel_hv", "hosel_deg"}
        What is drawn.
    grades : sequence of str
        Which grades, at most five.
    units : Units
    """
    units = units or Units()
    ends = []
    for index, grade in enumerate(grades):
        mine, line = table[table["grade"] == grade].sort_values("preheat_c"), style.series_look(index)
        x, y = units.from_c(mine["preheat_c"].to_numpy()), mine[column].to_numpy()
        ax.plot(
            x,
            y,
            color=line.colour,
            linestyle=line.dash,
            marker=line.marker,
            markersize=4,
            linewidth=line.width,
        )
        ends.append([float(y[-1]), grade, line.colour, float(x[-1])])
    low, high = ax.get_ylim()
    least = 0.06 * (high - low)
    ends.sort()
    for before, after in zip(ends, ends[1:], strict=False):
        after[0] = max(after[0], before[0] + least)
    for place, grade, colour, right in ends:
        ax.annotate(grade, (right, place), xytext=(6, 0), textcoords="offset points", va="center",
                    color=colour, fontweight="bold", annotation_clip=False)  # fmt: skip
    title, unit, *_ = _MAPS[column]
    ax.set(xlabel=f"forging temperature, {units.temperature}", ylabel=f"{title.lower()}, {unit}")
    style.title(ax, title)
