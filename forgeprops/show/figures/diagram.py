"""Cooling curves of the zones laid over the continuous-cooling diagram of the steel."""

from __future__ import annotations

import numpy as np

from .. import style
from ..canvas import Picture
from ..units import Units

_SPAN_S = (0.1, 3000.0)
_NAMED = ("ferrite", "pearlite", "bainite", "martensite")
#: Paper-coloured rim of a path, points: without it a path is lost in a dark region on a grey print.
_RIM = 2.4
#: Room that a name takes, as shares of the height of the plot: up or down, and to either side.
_NAME_HIGH, _NAME_WIDE = 0.045, 0.14


class TransformationDiagram(Picture):
    """Regions where each constituent forms, paths of zones over them, a mark that moves with time."""

    _frame = ("_regions", "_curves", "_names")

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
        for zone in self.zones:
            look = style.zone_look(zone)
            (self._curves[zone],) = ax.plot(
                [], [], **look.line, zorder=4,
                path_effects=style.cased(look.width + _RIM),
            )  # fmt: skip
            self._names[zone] = ax.text(
                1,
                0,
                zone,
                c=look.colour,
                size=10.5,
                weight="bold",
                zorder=6,
                bbox=style.BOX,
                clip_on=True,
            )
            (self._marks[zone],) = ax.plot(
                [], [], look.marker, c=look.colour, ms=11, mec=style.PAPER, zorder=7
            )
        self._paths: dict = {}

    def update(self, result, diagram) -> bool:
        """Draw the diagram of the steel and the paths of the zones; the frame always changes."""
        for artist in self._regions:
            artist.remove()
        self._regions = []
        for phase in _NAMED:
            if phase in diagram.regions:
                self._region(phase, diagram.regions[phase])
        ae3 = self.units.from_c(diagram.ae3_c)
        self._regions += [
            self.ax.axhline(ae3, c=style.QUIET, lw=0.9, dashes=(2, 3), zorder=1),
            self.ax.text(
                _SPAN_S[0] * 1.1, ae3, f"Ae3 {self.units.temperature_text(diagram.ae3_c)}",
                va="bottom", size=9, c=style.QUIET,
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
        self._place_names(diagram)
        self.at(0.0)
        return True

    def _region(self, phase, region) -> None:
        from matplotlib.colors import to_rgba

        look = style.phase_look(phase)
        x = np.concatenate([region.start_s, region.end_s[::-1]])
        y = self.units.from_c(np.concatenate([region.start_c, region.end_c[::-1]]))
        self._regions += self.ax.fill(
            x, y, facecolor=to_rgba(look.colour, 0.55), edgecolor=style.INK, linewidth=0.7, zorder=2
        )

    # ---- where names stand.  Points are (share of the width, share of the height) of the plot; distances
    # count a step to the side less, because names are wider than high.
    def _shares(self, time_s, temperature):
        """Points of the plot as shares of its width and height."""
        low, high = np.log(_SPAN_S[0]), np.log(_SPAN_S[1])
        bottom, top = self.ax.get_ylim()
        across = (np.log(np.maximum(time_s, 1e-3)) - low) / (high - low)
        return np.column_stack([across, (np.asarray(temperature, float) - bottom) / (top - bottom)])

    def _paths_drawn(self):
        """Points along all paths, close enough that no name slips between two."""
        points = []
        for zone in self.zones:
            x, y = (np.asarray(d, float) for d in self._curves[zone].get_data())
            kept = x > 0.5 * _SPAN_S[0]
            fine = np.geomspace(max(x[kept][0], _SPAN_S[0]), x[kept][-1], 300)
            points.append(self._shares(fine, np.interp(fine, x[kept], y[kept])))
        return np.concatenate(points)

    def _place_names(self, diagram) -> None:
        """Write every name where it is furthest from paths and other names; a region's inside its own."""
        from matplotlib.path import Path

        paths, taken = self._paths_drawn(), []
        outlines, spots = {}, {}
        for phase, region in diagram.regions.items():
            if phase not in _NAMED:
                continue
            start = self._shares(region.start_s, self.units.from_c(region.start_c))
            end = self._shares(region.end_s, self.units.from_c(region.end_c))
            outlines[phase] = Path(np.concatenate([start, end[::-1], start[:1]]))
            shares = np.linspace(0.2, 0.8, 7)[:, None, None]
            spots[phase] = (start + shares * (end - start)).reshape(-1, 2)
        for phase, where in spots.items():
            others = [outline for name, outline in outlines.items() if name != phase]
            crossed = np.zeros(len(where))  # other regions met by the name's foot, middle or head
            for outline in others:
                crossed += sum(
                    outline.contains_points(where + [0.0, up * _NAME_HIGH]) for up in (-1, 0, 1)
                )
            edge = outlines[phase].interpolated(20).vertices
            room = np.minimum(_apart(where, paths, taken), 1.6 * _NAME_HIGH)
            inside = np.minimum(_apart(where, edge), 0.6 * _NAME_HIGH)
            outside = (where[:, 0] < _NAME_WIDE / 2) | (where[:, 0] > 1.0 - _NAME_WIDE / 2)
            best = where[int(np.argmax(room + inside - 0.02 * crossed - 1.0 * outside))]
            taken.append(best)
            self._regions.append(
                self.ax.text(
                    *best, phase, transform=self.ax.transAxes, ha="center", va="center", size=9.5,
                    c=style.INK, zorder=5, clip_on=True,
                    bbox=style.BOX,
                )
            )  # fmt: skip
        for zone in self.zones:
            x, y = (np.asarray(d, float) for d in self._curves[zone].get_data())
            at = np.geomspace(0.5, 0.3 * _SPAN_S[1], 60)
            on = self._shares(at, np.interp(at, x, y))
            where = np.concatenate([on + [0.0, side * 1.4 * _NAME_HIGH] for side in (1.0, -1.0)])
            room = np.minimum(_apart(where, paths) - 0.2 * _NAME_HIGH, _apart(where, (), taken))
            room -= 0.5 * (where[:, 1] > 0.83) + 0.5 * (
                where[:, 1] < 0.06
            )  # Ae3 stands above, the axis below
            best = where[int(np.argmax(room))]
            taken.append(best)
            self._names[zone].set_transform(self.ax.transAxes)
            self._names[zone].set(position=tuple(best), ha="center", va="center")

    def at(self, time_s: float) -> None:
        """Put the marks where the zones are `time_s` seconds after the head left the furnace."""
        for zone, (since_s, temperature_c, cross_s) in self._paths.items():
            now = np.interp(time_s, since_s, temperature_c)
            shown = time_s > cross_s + _SPAN_S[0]
            self._marks[zone].set_data(
                [max(time_s - cross_s, _SPAN_S[0])], [self.units.from_c(now)]
            )
            self._marks[zone].set_visible(bool(shown))

    def describe(self, result, diagram) -> str:
        """One sentence that says what the picture shows."""
        parts = []
        for zone in self.zones:
            fractions = result.zones[zone].fractions
            phase = max(fractions, key=fractions.get)
            parts.append(f"the {zone} becomes mainly {phase} ({100 * fractions[phase]:.0f} %)")
        return f"Continuous-cooling diagram of {diagram.steel.name}: " + ", ".join(parts) + "."


def _apart(where, points, names=()):
    """Distance of places from points, and from names placed before, in heights of the plot."""
    away = np.full(len(where), 1.0)
    squeeze = np.array([_NAME_HIGH / _NAME_WIDE, 1.0])
    for some, less in ((points, 0.0), (np.reshape(names, (-1, 2)), _NAME_HIGH)):
        if len(some):
            step = (where[:, None, :] - np.asarray(some)[None, :, :]) * squeeze
            away = np.minimum(away, np.hypot(step[..., 0], step[..., 1]).min(axis=1) - less)
    return away
