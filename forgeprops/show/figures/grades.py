"""Every grade at every forging temperature: a map with its numbers."""

from __future__ import annotations

import numpy as np

from .. import style
from ..units import Units

__all__ = ["GradeMap"]

#: Column of `estimate_many` or `compare` → title, unit words, colour map (all rise in lightness), number format, colour limits.
_MAPS = {
    "face_hardness_hv": ("Face hardness", "HV", "cividis", "{:.0f}", (120.0, 600.0)),
    "hosel_hardness_hv": ("Hosel hardness", "HV", "cividis", "{:.0f}", (120.0, 600.0)),
    "hosel_allowed_deg": ("Hosel bend allowed", "degrees", "viridis", "{:.1f}", (0.0, 4.0)),
}


class GradeMap:
    """Map grade × forging temperature of one number, which stands in each field.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    column : {"face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg"}
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
        self,
        ax,
        column: str,
        grades,
        preheats_c,
        units: Units | None = None,
        show_names: bool = True,
    ):
        import matplotlib as mpl

        units = units or Units()
        self.ax, self.column, self.grades, self.preheats_c = (
            ax,
            column,
            tuple(grades),
            tuple(preheats_c),
        )
        title, unit, colours, self._form, limits = _MAPS[column]
        self._norm, self._map = (
            mpl.colors.Normalize(*limits),
            mpl.colormaps[colours].with_extremes(bad="#F2F2F2"),
        )
        self.values = np.full((len(self.grades), len(self.preheats_c)), np.nan)
        self._image = ax.imshow(
            self.values, aspect="auto", cmap=self._map, norm=self._norm, zorder=2
        )
        ax.grid(visible=False)
        ax.set_xticks(
            range(len(self.preheats_c)), [f"{units.from_c(t):.0f}" for t in self.preheats_c]
        )
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

    def describe(self, grade: str) -> str:
        """A row in words, first and last forging temperature; nothing while it is empty."""
        values = self.values[self.grades.index(grade)]
        if not np.isfinite(values).all():
            return ""
        title, unit, *_ = _MAPS[self.column]
        ends = " to ".join(dict.fromkeys(self._form.format(v) for v in (values[0], values[-1])))
        return f"{title.lower()} {ends} {unit}"

    def clear(self) -> None:
        """Empty all fields."""
        for grade in self.grades:
            self.set_row(grade, np.full(len(self.preheats_c), np.nan))
