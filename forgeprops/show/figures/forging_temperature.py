"""Everything the preheat temperature moves, side by side; one mark on each curve follows the slider."""

from __future__ import annotations

import numpy as np

from .. import style
from ..canvas import Picture
from ..units import Units

__all__ = ["ForgingTemperatureCurves"]

_TITLES = {
    "austenite": "How much becomes austenite",
    "grain": "How coarse its grain gets",
    "effort": "How hard it is to press",
    "surface": "What the face's skin loses",
    "hardness": "How hard face and hosel come out",
    "bend": "How far the hosel bends",
}
#: Looks of the three lines of the skin: not zones, so they take the colours of things without identity.
_SKIN = {
    "scale_um": ("scale", 4),
    "metal_loss_um": ("metal lost", 3),
    "decarburised_um": ("carbon lost to", 2),
}
#: Where along the axis face, hosel and the steel carry their names: clear of the everyday settings, where the
#: line at the slider stands.
_NAMED_AT = 0.72
#: Where along the axis each of them carries its name, as a share: to the left of where they part.
_NAMES = {"scale_um": 0.86, "metal_loss_um": 1.0, "decarburised_um": 0.69}


class ForgingTemperatureCurves(Picture):
    """Six plots over the furnace setting."""

    _frame = ("_still",)

    def __init__(self, figure, spec=None, units: Units | None = None, low_c=650.0, high_c=1100.0):
        self.units, self.low_c, self.high_c = units or Units(), low_c, high_c
        grid = figure.add_gridspec(2, 3) if spec is None else spec.subgridspec(2, 3)
        self.axes = {name: figure.add_subplot(grid[divmod(i, 3)]) for i, name in enumerate(_TITLES)}
        for name, ax in self.axes.items():
            style.title(ax, _TITLES[name])
            ax.set_xlim(self.units.from_c(low_c), self.units.from_c(high_c))
            if list(self.axes).index(name) >= 3:
                ax.set_xlabel(f"preheat temperature, {self.units.temperature}")
        for name, words in (
            ("austenite", "share of the metal, %"),
            ("grain", "ASTM number (small is coarse)"),
            ("effort", "flow stress in the die, MPa"),
            ("surface", "depth on one side, µm"),
            ("hardness", "HV, with 80 % interval"),
            ("bend", "degrees, with 80 % interval"),
        ):
            self.axes[name].set_ylabel(words)
        self.axes["austenite"].set_ylim(-4, 112)
        self._still: list = []
        self._cursor = {
            name: ax.axvline(0, c=style.INK, lw=1.1, zorder=5) for name, ax in self.axes.items()
        }
        self._dots = {
            key: self.axes[name].plot(
                [], [], look.marker, c=look.colour, ms=8, mec=style.PAPER, zorder=6
            )[0]
            for key, (name, look) in self._lines().items()
        }
        (self._like,) = self.axes["effort"].plot(
            [], [], "s", ms=8, mfc=style.PAPER, mec=style.INK, zorder=6
        )
        (self._level,) = self.axes["effort"].plot(
            [], [], c=style.INK, lw=1.0, dashes=(2, 2), zorder=4
        )
        self._words = {
            name: ax.text(
                0.985,
                0.97,
                "",
                transform=ax.transAxes,
                ha="right",
                va="top",
                size=9.5,
                zorder=7,
                bbox=style.BOX,
            )
            for name, ax in self.axes.items()
        }
        self.study = self.other = None

    def _lines(self) -> dict:
        """Live dot → (plot, look)."""
        lines = {key: ("surface", style.series_look(place)) for key, (_, place) in _SKIN.items()}
        for zone in ("face", "hosel"):
            look = style.zone_look(zone)
            lines |= {
                f"{zone}_austenite": ("austenite", look),
                f"{zone}_grain_astm": ("grain", look),
                f"{zone}_hv": ("hardness", look),
            }
        return lines | {
            "allowed_deg": ("bend", style.zone_look("hosel")),
            "flow_stress_mpa": ("effort", style.series_look(1)),
        }

    def update(self, study, other) -> bool:
        """Draw the curves of a steel, and the effort of another beside it; the frame always changes."""
        for artist in self._still:
            artist.remove()
        self._still = []
        self.study, self.other = study, other
        x = self.units.from_c(study.preheat_c)
        for zone in ("face", "hosel"):
            look = style.zone_look(zone)
            self._line("austenite", x, 100.0 * getattr(study, f"{zone}_austenite"), look)
            self._line("grain", x, getattr(study, f"{zone}_grain_astm"), look)
            self._line("hardness", x, getattr(study, f"{zone}_hv"), look)
            self._band(
                "hardness",
                x,
                getattr(study, f"{zone}_low_hv"),
                getattr(study, f"{zone}_high_hv"),
                look,
            )
        hosel = style.zone_look("hosel")
        self._line("bend", x, study.allowed_deg, hosel)
        self._band("bend", x, study.allowed_low_deg, study.allowed_high_deg, hosel)
        for key, (_, place) in _SKIN.items():
            self._line("surface", x, getattr(study, key), style.series_look(place))
        self._line(
            "effort",
            self.units.from_c(other.preheat_c),
            other.flow_stress_mpa,
            style.series_look(0),
        )
        self._line("effort", x, study.flow_stress_mpa, style.series_look(1))
        self._limits()
        self._write_names()
        self._mark_temperatures()
        return True

    def _line(self, name, x, y, look) -> None:
        self._still += self.axes[name].plot(x, y, **look.line, zorder=3)

    def _band(self, name, x, low, high, look) -> None:
        self._still.append(
            self.axes[name].fill_between(
                x, low, high, color=look.colour, alpha=0.14, linewidth=0, zorder=2
            )
        )

    def _limits(self) -> None:
        study = self.study
        top_hv = (
            50.0 * np.ceil(max(study.face_high_hv.max(), study.hosel_high_hv.max()) / 50.0) + 100.0
        )
        self.axes["hardness"].set_ylim(50.0, top_hv)
        self.axes["bend"].set_ylim(0.0, max(1.0, 1.35 * float(study.allowed_high_deg.max())))
        stress = np.concatenate([study.flow_stress_mpa, self.other.flow_stress_mpa])
        self.axes["effort"].set_ylim(0.0, 1.25 * float(stress.max()))
        self.axes["surface"].set_ylim(
            0.0, 1.25 * float(max(study.decarburised_um.max(), study.scale_um.max()))
        )
        grain = np.concatenate([study.face_grain_astm, study.hosel_grain_astm])
        self.axes["grain"].set_ylim(np.floor(grain.min()) - 0.5, np.ceil(grain.max()) + 1.5)

    def _name(self, name, x, y, words, colour, ha="left", va="center") -> None:
        self._still.append(
            self.axes[name].text(
                x, y, words, c=colour, size=9.5, weight="bold", ha=ha, va=va, zorder=4,
                bbox=style.BOX,
            )
        )  # fmt: skip

    def _write_names(self) -> None:
        """Names of the lines, on their own side of the pair."""
        study = self.study
        high = self.axes["surface"].get_ylim()[1]
        for key, (words, place) in _SKIN.items():
            below = key == "metal_loss_um"
            t = self.low_c + _NAMES[key] * (self.high_c - self.low_c)
            under = (
                t - 0.27 * (self.high_c - self.low_c) if below else t
            )  # where a name below the line begins
            y = float(np.interp(under, study.preheat_c, getattr(study, key)))
            self._name(
                "surface", self.units.from_c(t), y + (-0.02 if below else 0.02) * high, words,
                style.series_look(place).colour, ha="right", va="top" if below else "bottom",
            )  # fmt: skip
        right = self.units.from_c(self.low_c + _NAMED_AT * (self.high_c - self.low_c))

        def at(column) -> float:
            return float(np.interp(self.units.to_c(right), study.preheat_c, getattr(study, column)))

        above = {zone: at(f"{zone}_hv") for zone in ("face", "hosel")}
        for zone in above:
            up = above[zone] >= max(above.values())
            self._name(
                "hardness", right, above[zone] + (18.0 if up else -18.0), zone, style.zone_look(zone).colour,
                va="bottom" if up else "top",
            )  # fmt: skip
        middle = 0.5 * (study.ac1_c + study.ac3_c)
        for zone, shift, ha in (("face", -0.06, "right"), ("hosel", 0.06, "left")):
            x = self.units.from_c(middle + shift * (self.high_c - self.low_c))
            self._name("austenite", x, 60.0, zone, style.zone_look(zone).colour, ha=ha)
        for one, place in ((study, 1), (self.other, 0)):
            t = self.low_c + (_NAMED_AT if place else 0.88) * (self.high_c - self.low_c)
            stress = float(np.interp(t, one.preheat_c, one.flow_stress_mpa))
            self._name(
                "effort", self.units.from_c(t), stress + (15.0 if place else -15.0), one.steel.name,
                style.series_look(place).colour, ha="left" if place else "right",
                va="bottom" if place else "top",
            )  # fmt: skip

    def _mark_temperatures(self) -> None:
        """Ac1 and Ac3 of the steel, in every plot; named in the first."""
        for words, t in (("Ac1", self.study.ac1_c), ("Ac3", self.study.ac3_c)):
            if not self.low_c < t < self.high_c:
                continue
            x = self.units.from_c(t)
            for ax in self.axes.values():
                self._still.append(ax.axvline(x, c=style.QUIET, lw=0.9, dashes=(2, 3), zorder=1))
            self._still.append(
                self.axes["austenite"].text(
                    x,
                    9.0,
                    f" {words} ",
                    c=style.QUIET,
                    size=9,
                    ha="right" if words == "Ac1" else "left",
                )
            )

    def at(self, preheat_c: float) -> dict[str, float]:
        """Move the marks to a furnace setting; return the numbers there."""
        study = self.study
        now = study.at(float(np.clip(preheat_c, study.preheat_c[0], study.preheat_c[-1])))
        x = self.units.from_c(preheat_c)
        for line in self._cursor.values():
            line.set_xdata([x, x])
        for key, dot in self._dots.items():
            value = 100.0 * now[key] if key.endswith("austenite") else now[key]
            dot.set_data([x], [value])
        like = self.like_other_c(preheat_c)
        self._like.set_data(
            [] if like is None else [self.units.from_c(like)],
            [] if like is None else [now["flow_stress_mpa"]],
        )
        self._level.set_data(
            [] if like is None else [self.units.from_c(like), x],
            [] if like is None else [now["flow_stress_mpa"]] * 2,
        )
        words = self.units.hardness_text
        self._words["austenite"].set_text(
            f"face {100 * now['face_austenite']:.0f} %, hosel {100 * now['hosel_austenite']:.0f} %"
        )
        self._words["grain"].set_text(f"ASTM {now['face_grain_astm']:.1f}")
        beside = (
            ""
            if like is None
            else f", as {self.other.steel.name} at {self.units.temperature_text(like)}"
        )
        self._words["effort"].set_text(f"{now['flow_stress_mpa']:.0f} MPa{beside}")
        self._words["surface"].set_text(
            f"scale {now['scale_um']:.0f}, metal {now['metal_loss_um']:.0f}, "
            f"carbon {now['decarburised_um']:.0f} µm"
        )
        self._words["hardness"].set_text(
            f"face {words(now['face_hv'])}, hosel {words(now['hosel_hv'])}"
        )
        self._words["bend"].set_text(
            f"{now['allowed_deg']:.1f}° ({now['allowed_low_deg']:.1f} to {now['allowed_high_deg']:.1f}°)"
        )
        return now

    def like_other_c(self, preheat_c: float) -> float | None:
        """Furnace setting at which the other steel has the same flow stress, °C; None outside the curves."""
        stress = float(np.interp(preheat_c, self.study.preheat_c, self.study.flow_stress_mpa))
        other = self.other.flow_stress_mpa
        if not other[-1] <= stress <= other[0]:
            return None
        # nearest of a level stretch
        inside = np.isclose(other, stress, rtol=1e-9)
        if inside.any():
            level = self.other.preheat_c[inside]
            return float(np.clip(preheat_c, level[0], level[-1]))
        return float(np.interp(-stress, -other, self.other.preheat_c))

    def describe(self, preheat_c: float) -> str:
        """The numbers of all six plots in one or two sentences."""
        now = self.study.at(preheat_c)
        text, words = self.units.temperature_text, self.units.hardness_text
        return (
            f"{self.study.steel.name} from {text(preheat_c)}: austenite {100 * now['face_austenite']:.0f} % "
            f"in the face and {100 * now['hosel_austenite']:.0f} % in the hosel, grain ASTM "
            f"{now['face_grain_astm']:.1f}, flow stress {now['flow_stress_mpa']:.0f} MPa at "
            f"{text(now['die_c'])} in the die; the skin loses {now['metal_loss_um']:.0f} µm of metal to "
            f"{now['scale_um']:.0f} µm of scale and carbon down to {now['decarburised_um']:.0f} µm; face "
            f"{words(now['face_hv'])}, hosel {words(now['hosel_hv'])}, bend {now['allowed_deg']:.1f}°."
        )
