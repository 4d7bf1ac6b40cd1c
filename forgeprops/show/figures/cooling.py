"""Temperature of the zones against time: from the furnace through die and water to cold."""

from __future__ import annotations

import numpy as np

from .. import style
from ..canvas import Picture
from ..units import Units

_LATEST_S = 1500.0
_EARLIEST_S = 1.0
_LINES = (("ae3_c", "Ae3"), ("bs_c", "Bs"), ("ms_c", "Ms"))


class CoolingCurves(Picture):
    """Cooling curves of some zones, with what happens when, and the temperatures at which the steel changes."""

    _frame = ("_levels", "_level_texts")

    def __init__(self, ax, zones=("face", "hosel"), scale: str = "log", units: Units | None = None):
        self.ax, self.zones, self.units = ax, tuple(zones), units or Units()
        self._top_c = 1100.0
        self._set_top()
        self.set_scale(scale)
        ax.set_xlabel("time since the head left the furnace, s")
        ax.set_ylabel(f"metal temperature, {self.units.temperature}")
        style.title(ax, "How the zones cool")
        self._bands = {
            name: ax.axvspan(1, 2, color=colour, alpha=alpha, linewidth=0, zorder=0.5)
            for name, colour, alpha in (("die", "#8A8A8A", 0.35), ("water", "#6CB6E0", 0.22))
        }
        self._band_texts = {
            name: ax.text(
                1,
                0.985,
                name,
                transform=ax.get_xaxis_transform(),
                va="top",
                size=9,
                c=style.INK,
                zorder=4,
                clip_on=True,
            )
            for name in self._bands
        }
        self._levels = {
            key: ax.plot(
                [_EARLIEST_S, _LATEST_S], [0, 0], c=style.QUIET, lw=0.9, dashes=(2, 3), zorder=1
            )[0]
            for key, _ in _LINES
        }
        self._level_texts = {
            key: ax.text(
                0.006,
                0,
                "",
                transform=ax.get_yaxis_transform(),
                ha="left",
                va="bottom",
                size=9,
                c=style.QUIET,
                zorder=2,  # a curve runs over it, never behind
                bbox=style.BOX,
            )
            for key, _ in _LINES
        }
        for key, text in self._level_texts.items():
            self._put_level(key, text)
        looks = {zone: style.zone_look(zone) for zone in self.zones}
        self._curves = {
            zone: ax.plot([], [], **look.line, zorder=3, solid_capstyle="round")[0]
            for zone, look in looks.items()
        }
        self._names = {
            zone: ax.text(
                1,
                0,
                zone,
                c=look.colour,
                size=10.5,
                weight="bold",
                zorder=5,
                ha="center",
                clip_on=True,
                bbox=style.BOX,
            )
            for zone, look in looks.items()
        }
        self._shown = self.zones
        self._drawn_levels: tuple = ()

    def set_scale(self, scale: str) -> None:
        """Change the time axis; the next refresh must redraw the frame."""
        from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator, StrMethodFormatter

        self.scale = scale
        if scale == "log":
            self.ax.set_xscale("log")
            self.ax.set_xlim(_EARLIEST_S, _LATEST_S)
            self.ax.xaxis.set_major_locator(
                FixedLocator([1, 2, 5, 10, 20, 50, 100, 200, 500, 1000])
            )
            self.ax.xaxis.set_minor_locator(NullLocator())
            self.ax.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
            self.ax.xaxis.set_minor_formatter(NullFormatter())
        else:
            self.ax.set_xscale("linear")
            self.ax.set_xlim(0.0, 60.0)
        for key, text in getattr(self, "_level_texts", {}).items():
            self._put_level(key, text)

    def _put_level(self, key: str, text) -> None:
        """Names of levels stand where few curves are: at the left over log time, else at the right, Bs below
        its line."""
        left = self.scale == "log"
        text.set(x=0.006 if left else 0.994, ha="left" if left else "right")
        text.set_va("top" if key == "bs_c" and not left else "bottom")

    def set_zones(self, zones) -> None:
        """Show the curves of these zones only, of those the picture was made with."""
        self._shown = tuple(zone for zone in self.zones if zone in zones)
        for zone in self.zones:
            self._curves[zone].set_visible(zone in self._shown)
            self._names[zone].set_visible(zone in self._shown)

    def _set_top(self):
        self.ax.set_ylim(self.units.from_c(0.0), self.units.from_c(self._top_c))

    def update(self, result) -> bool:
        """Follow a result; return True if the frame itself changed and needs a full redraw."""
        out_s = result.events["out of furnace"]
        self._place_bands(result.events, out_s)
        grid_s = np.geomspace(2.0, 900.0, 50) if self.scale == "log" else np.linspace(2.0, 55.0, 50)
        on_grid = {}
        for zone in self._shown:
            time_s, temperature_c = (
                result.zones[zone].time_s - out_s,
                result.zones[zone].temperature_c,
            )
            keep = time_s >= (0.5 * _EARLIEST_S if self.scale == "log" else 0.0)
            self._curves[zone].set_data(time_s[keep], self.units.from_c(temperature_c[keep]))
            on_grid[zone] = np.interp(grid_s, time_s, temperature_c)
        self._place_names(grid_s, on_grid)
        changed = self._place_levels(result.critical)
        hottest_c = max(float(result.zones[zone].temperature_c.max()) for zone in self._shown)
        top_c = max(1000.0, 100.0 * np.ceil((hottest_c + 80.0) / 100.0))
        if top_c != self._top_c:
            self._top_c = top_c
            self._set_top()
            changed = True
        return changed

    def _place_levels(self, critical) -> bool:
        levels = tuple(getattr(critical, key) for key, _ in _LINES)
        if levels == self._drawn_levels:
            return False
        self._drawn_levels = levels
        for (key, name), level_c in zip(_LINES, levels, strict=True):
            self._levels[key].set_visible(level_c is not None)
            self._level_texts[key].set_visible(level_c is not None)
            if level_c is not None:
                level = self.units.from_c(level_c)
                self._levels[key].set_ydata([level, level])
                self._level_texts[key].set_y(level)
                self._level_texts[key].set_text(f"{name} {self.units.temperature_text(level_c)}")
        return True

    def _place_bands(self, events, out_s):
        spans = {
            "die": (events.get("in die"), events.get("end of stroke")),
            "water": (events.get("water on"), events.get("water off")),
        }
        for name, (start, end) in spans.items():
            shown = start is not None and end is not None
            self._bands[name].set_visible(shown)
            self._band_texts[name].set_visible(shown)
            if shown:
                start, end = max(start - out_s, 0.5 * _EARLIEST_S), end - out_s
                self._bands[name].set_x(start)
                self._bands[name].set_width(max(end - start, 0.005 * start))
                left = name == "die"
                self._band_texts[name].set_ha("right" if left else "left")
                self._band_texts[name].set_x(start * 0.97 if left else start * 1.02)

    def _place_names(self, grid_s, on_grid):
        """Write each name where its curve stands furthest from the others and from names already placed."""
        placed = []
        for zone in self._shown:
            mine = on_grid[zone]
            others = [c for z, c in on_grid.items() if z != zone]
            away = (
                np.min([np.abs(mine - c) for c in others], axis=0)
                if others
                else np.full(len(mine), 100.0)
            )
            score = np.minimum(away, 150.0)
            for column, value in placed:
                near = np.exp(
                    -(((np.arange(len(mine)) - column) / 4.0) ** 2) - ((mine - value) / 60.0) ** 2
                )
                score = score - 400.0 * near
            score = score - 0.8 * np.abs(np.gradient(mine))  # flat stretches carry a name best
            if self.scale == "linear":  # level names stand at the right
                score = score - 100.0 * (grid_s > 48.0) - 100.0 * (grid_s < 3.0)
            score = score - 200.0 * (mine < 90.0) - 200.0 * (mine > self._top_c - 130.0)
            best = int(np.argmax(score))
            above = not others or mine[best] >= np.mean([c[best] for c in others])
            placed.append((best, mine[best]))
            self._names[zone].set_position(
                (grid_s[best], self.units.from_c(mine[best] + (15.0 if above else -15.0)))
            )
            self._names[zone].set_va("bottom" if above else "top")
            falls = mine[min(best + 1, len(mine) - 1)] < mine[max(best - 1, 0)]
            self._names[zone].set_ha("left" if above == falls else "right")

    def describe(self, result) -> str:
        """One or two sentences that say what the picture shows."""
        parts = []
        for zone in self._shown:
            z = result.zones[zone]
            parts.append(f"the {zone} reaches the die at {self.units.temperature_text(z.die_c)}")
        text = "Cooling curves: " + ", ".join(parts)
        water_c = result.zones[self._shown[0]].water_c
        if "water on" in result.events and water_c is not None:
            z = result.zones[self._shown[0]]
            wet = (z.time_s >= result.events["water on"]) & (z.time_s <= result.events["water off"])
            lowest_c = float(z.temperature_c[wet].min()) if wet.any() else float(water_c)
            after = z.time_s > result.events["water off"]
            rebound_c = float(z.temperature_c[after].max()) if after.any() else lowest_c
            text += (
                f"; the water finds the {self._shown[0]} at {self.units.temperature_text(water_c)} "
                f"and takes it to {self.units.temperature_text(lowest_c)}"
            )
            if rebound_c > lowest_c + 5.0:
                text += f", then the body re-heats it to {self.units.temperature_text(rebound_c)}"
        return text + "."
