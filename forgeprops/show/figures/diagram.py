"""Cooling curves of the zones laid over the continuous-cooling diagram of the steel."""

from __future__ import annotations

import numpy as np

from .. import style
from ..units import Units

__all__ = ["TransformationDiagram"]

_SPAN_S = (0.1, 3000.0)


class TransformationDiagram:
    """Regions where each constituent forms, paths of zones over them, a mark that moves with time.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    zones : tuple of str
        Zones whose paths are drawn.
    units : Units
    """

    def __init__(self, ax, zones=("face", "hosel"), units: Units | None = None):
        from matplotlib.ticker import FixedLocator, NullLocator, StrMethodFormatter

        self.ax, self.zones, self.units = ax, tuple(zones), units or Units()
        ax.set_xscale("log")
        ax.set_xlim(*_SPAN_S)
        ax.xaxis.set_major_locator(FixedLocator([0.1, 1, 10, 100, 1000]))
        ax.xaxis.set_minor_locator(NullLocator())
        ax.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
        ax.set_ylim(self.units.from_c(0.0), self.units.from_c(900.0))
        ax.set_xlabel("time since the zone fell below Ae3, s")
        ax.set_ylabel(f"metal temperature, {self.units.temperature}")
        self._regions: list = []
        self._curves, self._names, self._marks = {}, {}, {}
        box = {"facecolor": style.PAPER, "edgecolor": "none", "alpha": 0.75, "pad": 0.8}
        for zone in self.zones:
            look = style.zone_look(zone)
            (self._curves[zone],) = ax.plot(
                [], [], color=look.colour, linestyle=look.dash, linewidth=look.width, zorder=4
            )
            self._names[zone] = ax.text(
                1,
                0,
                zone,
                color=look.colour,
                fontsize=10.5,
                fontweight="bold",
                zorder=6,
                bbox=box,
                clip_on=True,
            )
            (self._marks[zone],) = ax.plot(
                [], [], look.marker, color=look.colour, markersize=11, markeredgecolor=style.PAPER, zorder=7
            )
        self._paths: dict = {}

    @property
    def artists(self) -> tuple:
        """What moves with time; regions and paths belong to the frame."""
        return tuple(self._marks.values())

    def update(self, result, diagram) -> bool:
        """Draw the diagram of the steel and the paths of the zones; the frame always changes.

        Parameters
        ----------
        result : Estimate
        diagram : forgeprops.study.diagram.CoolingDiagram
        """
        for artist in self._regions:
            artist.remove()
        self._regions = []
        for phase in ("ferrite", "pearlite", "bainite", "martensite"):
            if phase in diagram.regions:
                self._region(phase, diagram.regions[phase])
        ae3 = self.units.from_c(diagram.ae3_c)
        self._regions += [
            self.ax.axhline(ae3, color=style.QUIET, linewidth=0.9, dashes=(2, 3), zorder=1),
            self.ax.text(
                _SPAN_S[0] * 1.1, ae3, f"Ae3 {self.units.temperature_text(diagram.ae3_c)}",
                va="bottom", fontsize=9, color=style.QUIET,
            ),
        ]  # fmt: skip
        style.title(self.ax, f"Where {diagram.steel.name} changes, and the paths through it")
        out_s = result.events["out of furnace"]
        for zone in self.zones:
            z = result.zones[zone]
            after = z.time_s >= out_s
            time_s, temperature_c = z.time_s[after], z.temperature_c[after]
            below = temperature_c < diagram.ae3_c
            cross_s = float(time_s[np.argmax(below)]) if below.any() else float(time_s[-1])
            self._paths[zone] = (time_s - out_s, temperature_c, cross_s - out_s)
            self._curves[zone].set_data(time_s - cross_s, self.units.from_c(temperature_c))
        self._place_names()
        self.at(0.0)
        return True

    def _region(self, phase, region) -> None:
        look = style.phase_look(phase)
        x = np.concatenate([region.start_s, region.end_s[::-1]])
        y = self.units.from_c(np.concatenate([region.start_c, region.end_c[::-1]]))
        (area,) = self.ax.fill(
            x, y, facecolor=look.colour, alpha=0.55, edgecolor=look.colour, linewidth=1.2, zorder=2
        )
        inside = (region.start_s > 2 * _SPAN_S[0]) & (region.end_s < 0.6 * _SPAN_S[1])
        strong = np.flatnonzero(inside & (region.share > 0.5 * region.share[inside].max(initial=0.0)))
        if strong.size:
            middle = strong[strong.size // 2]
            spot_s = float(np.sqrt(region.start_s[middle] * region.end_s[middle]))
            spot_c = float(0.5 * (region.start_c[middle] + region.end_c[middle]))
        else:
            spot_s, spot_c = float(region.start_s[0]), float(region.start_c[0])
        words = self.ax.text(
            spot_s, self.units.from_c(spot_c), phase, ha="center", va="center", fontsize=9.5, color=style.INK,
            zorder=3, clip_on=True,
        )  # fmt: skip
        self._regions += [area, words]

    def _place_names(self) -> None:
        for zone in self.zones:
            curve = self._curves[zone]
            x, y = np.asarray(curve.get_xdata()), np.asarray(curve.get_ydata())
            inside = x > (1.0 if zone == "face" else 20.0)
            i = int(np.argmax(inside))
            self._names[zone].set_position((x[i] * 1.15, y[i]))
            self._names[zone].set_va("bottom")

    def at(self, time_s: float) -> None:
        """Put the marks where the zones are `time_s` seconds after the head left the furnace."""
        for zone, (since_s, temperature_c, cross_s) in self._paths.items():
            now = np.interp(time_s, since_s, temperature_c)
            shown = time_s > cross_s + _SPAN_S[0]
            self._marks[zone].set_data([max(time_s - cross_s, _SPAN_S[0])], [self.units.from_c(now)])
            self._marks[zone].set_visible(bool(shown))

    def describe(self, result, diagram) -> str:
        """One sentence that says what the picture shows."""
        parts = []
        for zone in self.zones:
            fractions = result.zones[zone].fractions
            phase = max(fractions, key=fractions.get)
            parts.append(f"the {zone} becomes mainly {phase} ({100 * fractions[phase]:.0f} %)")
        return f"Continuous-cooling diagram of {diagram.steel.name}: " + ", ".join(parts) + "."
