"""Hardness of the zones as bars with their uncertainty, Vickers below and Rockwell above."""

from __future__ import annotations

from ...errors import InputError
from .. import style
from ..units import Units

__all__ = ["HardnessBars"]

_TOP_HV = 700.0
_ROCKWELL = (("HRB", (80,)), ("HRC", (20, 30, 40, 50, 55)))


def _rockwell_ticks():
    """Places in HV and words for the Rockwell axis; values a table does not reach are left out."""
    from ...mechanical.hardness_scales import convert_hardness

    ticks = []
    for scale, values in _ROCKWELL:
        for value in values:
            try:
                ticks.append(
                    (
                        convert_hardness(value, scale, "HV"),
                        f"{value} {scale}" if value == values[0] else f"{value}",
                    )
                )
            except InputError:
                continue
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
        rows = range(len(self.zones))
        ax.set(
            xlim=(0, _TOP_HV), ylim=(len(self.zones) - 0.4, -0.6), yticks=list(rows), yticklabels=self.zones
        )
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="y", visible=False)
        ax.set_xlabel("hardness, HV")
        ax.set_title("How hard each zone comes out")
        for label in ax.get_yticklabels():
            label.set_fontweight("bold")
        top = ax.secondary_xaxis("top")
        ticks = _rockwell_ticks()
        top.set_xticks([hv for hv, _ in ticks], [words for _, words in ticks])
        top.tick_params(labelsize=8, labelcolor=style.QUIET)
        self._bars = {
            z: ax.barh(i, 0, height=0.56, color=style.zone_look(z).colour, zorder=2)[0]
            for i, z in enumerate(self.zones)
        }
        self._spans = {
            z: ax.plot([0, 0], [i, i], color=style.INK, linewidth=1.4, marker="|", markersize=9, zorder=3)[0]
            for i, z in enumerate(self.zones)
        }
        self._words = {
            z: ax.text(0, i, "", va="center", fontsize=9.5, zorder=4) for i, z in enumerate(self.zones)
        }
        (self._dry,) = ax.plot(
            [0],
            [0],
            marker="o",
            markersize=8,
            markerfacecolor=style.PAPER,
            linestyle="none",
            markeredgecolor=style.INK,
            zorder=5,
        )
        self._dry_words = ax.text(0, 0.36, "", fontsize=8, color=style.INK, va="top", ha="center", zorder=5)

    @property
    def artists(self) -> tuple:
        """Everything that moves with the result."""
        return (
            *self._bars.values(),
            *self._spans.values(),
            *self._words.values(),
            self._dry,
            self._dry_words,
        )

    def words(self, zone) -> str:
        """Number of one zone in words: '412 ± 30 HV · 42 HRC'."""
        half = (zone.hardness_high_hv - zone.hardness_low_hv) / 2
        first = f"{zone.hardness_hv:.0f} ± {half:.0f} HV"
        if self.units.hardness == "HB":
            return f"{first} · {self.units.hardness_text(zone.hardness_hv)}"
        return f"{first} · {Units(hardness='HRC').hardness_text(zone.hardness_hv)}"

    def update(self, result) -> bool:
        """Follow a result; the frame never changes."""
        for zone in self.zones:
            z = result.zones[zone]
            self._bars[zone].set_width(z.hardness_hv)
            self._spans[zone].set_xdata([z.hardness_low_hv, z.hardness_high_hv])
            self._words[zone].set_text(self.words(z))
            fits = z.hardness_high_hv < 0.70 * _TOP_HV
            self._words[zone].set_x(z.hardness_high_hv + 12 if fits else z.hardness_low_hv - 12)
            self._words[zone].set_ha("left" if fits else "right")
            self._words[zone].set_color(style.INK if fits else _on(style.zone_look(zone).colour))
        dry = (result.without_spray or {}).get("face_hv") if "face" in self.zones else None
        self._dry.set_visible(dry is not None)
        self._dry_words.set_visible(dry is not None)
        if dry is not None:
            row = self.zones.index("face")
            self._dry.set_data([dry], [row])
            self._dry_words.set_position((dry, row + 0.30))
            self._dry_words.set_text("without water")
        return False

    def words_of_face_and_hosel(self, result) -> str:
        """First sentence of an answer."""
        face, hosel = result.zones["face"], result.zones["hosel"]
        return f"The face comes out at {self.words(face)}, the hosel at {self.words(hosel)}."

    def describe(self, result) -> str:
        """One sentence with every number in the picture."""
        return (
            "Hardness: " + ", ".join(f"{zone} {self.words(result.zones[zone])}" for zone in self.zones) + "."
        )


def _on(colour: str) -> str:
    """Ink or paper, whichever is read better on `colour`."""
    return style.PAPER if style.grey_lightness(colour) < 60 else style.INK
