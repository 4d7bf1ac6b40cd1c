"""Hardness of the zones as bars with their uncertainty, Vickers below and Rockwell above."""

from __future__ import annotations

from ...base.errors import InputError
from .. import style
from ..units import Units

__all__ = ["HardnessBars"]

_TOP_HV = 700.0
_ROCKWELL = (("HRB", (80,)), ("HRC", (20, 30, 40, 50, 55)))
#: Within a row of height 1: where the words stand and where the bar lies.
_WORDS_UP, _BAR_DOWN, _BAR_HEIGHT = 0.27, 0.21, 0.32


def _rockwell_ticks():
    """Places in HV and words for the Rockwell axis; values a table does not reach are left out."""
    from ...strength.hardness_scales import convert_hardness

    ticks = []
    for scale, values in _ROCKWELL:
        for value in values:
            try:
                place = convert_hardness(value, scale, "HV")
            except InputError:
                continue
            ticks.append((place, f"{value} {scale}" if value == values[0] else f"{value}"))
    return ticks


class HardnessBars:
    """One bar per zone with its interval and its number; a hollow mark shows the face without water.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    zones : tuple of str
    units : Units
    """

    def __init__(self, ax, zones=style.ZONES, units: Units | None = None):
        self.ax, self.zones, self.units = ax, tuple(zones), units or Units()
        n = len(self.zones)
        ax.set(xlim=(0, _TOP_HV), ylim=(n - 0.45, -0.55), yticks=range(n), yticklabels=self.zones)
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="y", visible=False)
        ax.set_xlabel("hardness, HV")
        style.title(ax, "How hard each zone comes out")
        for label in ax.get_yticklabels():
            label.set_fontweight("bold")
        top = ax.secondary_xaxis("top")
        ticks = _rockwell_ticks()
        top.set_xticks([hv for hv, _ in ticks], [words for _, words in ticks])
        top.tick_params(labelsize=8, labelcolor=style.QUIET)
        self._bars, self._spans, self._words = {}, {}, {}
        for row, zone in enumerate(self.zones):
            middle = row + _BAR_DOWN
            self._bars[zone] = ax.barh(
                middle, 0, height=_BAR_HEIGHT, color=style.zone_look(zone).colour, zorder=2
            )[0]
            self._spans[zone] = ax.plot(
                [0, 0],
                [middle] * 2,
                color=style.INK,
                linewidth=1.4,
                marker="|",
                markersize=7,
                zorder=3,
                path_effects=style.cased(2.6),  # else it is lost on the dark bar of the body
            )[0]
            self._words[zone] = ax.text(8, row - _WORDS_UP, "", va="center", fontsize=9, zorder=4)
        (self._dry,) = ax.plot(
            [0],
            [0],
            "o",
            markersize=7,
            markerfacecolor=style.PAPER,
            markeredgecolor=style.INK,
            zorder=5,
        )

    @property
    def artists(self) -> tuple:
        """Everything that moves with the result."""
        return (*self._bars.values(), *self._spans.values(), *self._words.values(), self._dry)

    def words(self, zone) -> str:
        """Number of one zone in words: '412 HV (380–440) · 42 HRC'."""
        first = (
            f"{zone.hardness_hv:.0f} HV ({zone.hardness_low_hv:.0f}–{zone.hardness_high_hv:.0f})"
        )
        second = self.units if self.units.hardness == "HB" else Units(hardness="HRC")
        return f"{first} · {second.hardness_text(zone.hardness_hv)}"

    def update(self, result) -> bool:
        """Follow a result; the frame never changes."""
        dry_hv = (result.without_spray or {}).get("face")
        for row, zone in enumerate(self.zones):
            z = result.zones[zone]
            self._bars[zone].set_width(z.hardness_hv)
            self._spans[zone].set_xdata([z.hardness_low_hv, z.hardness_high_hv])
            with_dry = zone == "face" and dry_hv is not None
            self._words[zone].set_text(
                self.words(z) + (f"   (o without water {dry_hv:.0f})" if with_dry else "")
            )
            if with_dry:
                self._dry.set_data([dry_hv], [row + _BAR_DOWN])
        self._dry.set_visible(dry_hv is not None and "face" in self.zones)
        return False

    def describe(self, result) -> str:
        """One sentence with every number in the picture."""
        text = "Hardness: " + ", ".join(
            f"{zone} {self.words(result.zones[zone])}" for zone in self.zones
        )
        dry_hv = (result.without_spray or {}).get("face")
        return text + (
            "." if dry_hv is None else f"; without water the face would be {dry_hv:.0f} HV."
        )
