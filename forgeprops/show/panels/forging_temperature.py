"""One slider for the preheat temperature, everything it moves side by side, and what a hotter heat costs."""

from __future__ import annotations

import functools

import numpy as np

from ...inputs.route import Route
from ...inputs.settings import table
from .. import markup, style
from ..controls.fields import choice
from ..controls.panel import Panel, case_controls
from ..figures.forging_temperature import ForgingTemperatureCurves
from ..units import Units, units

__all__ = ["ForgingTemperaturePanel", "forging_temperature_panel"]

#: Spacing of the preheat temperatures calculated, °C: between Ac1 and Ac3 the curves bend most (our choice).
_FINE_C, _COARSE_C = 6.0, 25.0
#: Settings of the compared steel at which its equal-effort setting is solved, °C.
_EQUAL_C = np.arange(700.0, 1101.0, 80.0)


def settings_c(steel) -> np.ndarray:
    """Furnace settings worth marching for a steel: the slider's range, closer where austenite forms."""
    from ...transformation.temperatures import ac1_c, ac3_c

    low, high, _ = table()["preheat_c"].slider
    first, last = float(ac1_c(steel)), float(ac3_c(steel))
    inner = np.arange(first - 4.0, last + 15.0, _FINE_C)
    outer = np.arange(low, high + 0.5 * _COARSE_C, _COARSE_C)
    outer = outer[(outer < inner[0] - _FINE_C) | (outer > inner[-1] + _FINE_C)]
    return np.unique(np.clip(np.concatenate([outer, inner, [low, high]]), low, high))


@functools.lru_cache(maxsize=64)
def _studied(grade: str, head: str):
    import forgeprops
    from forgeprops.study.process.furnace import forging_temperature_study

    steel = forgeprops.grade(grade)
    return forging_temperature_study(steel, forgeprops.head(head), Route(), settings_c(steel))


@functools.lru_cache(maxsize=64)
def _equal(other: str, grade: str, head: str) -> np.ndarray:
    """Setting at which `grade` presses like `other` from `_EQUAL_C`, with its band; shape (n, 3)."""
    import forgeprops
    from forgeprops.study.process.equal_effort import equal_effort_setting

    a, b, part = forgeprops.grade(other), forgeprops.grade(grade), forgeprops.head(head)
    return np.array([equal_effort_setting(a, float(t), b, part)[:3] for t in _EQUAL_C])


class ForgingTemperaturePanel(Panel):
    """Controls, six plots and words about the preheat temperature.

    Parameters
    ----------
    model : callable, optional
        ``model(grade, head) -> ForgingTemperatureStudy``; the real one unless a test hands in another.
    equal : callable, optional
        ``equal(other, grade, head)``, see `_equal`.
    display_units : Units, optional
    **first
        First values of the controls.

    Attributes
    ----------
    study, other_study : ForgingTemperatureStudy
    """

    kind, size = "forging_temperature", (1060, 600)
    shows = "six plots over the preheat temperature"

    def __init__(self, model=None, equal=None, display_units: Units | None = None, **first):
        import forgeprops

        shown, self._model, self._equal = (
            display_units or units(),
            model or _studied,
            equal or _equal,
        )
        controls = case_controls(("grade", "head", "preheat_c"), shown, **first)
        other = choice(
            "other", "compare effort with", forgeprops.grades(), first.get("other", "1030")
        )
        super().__init__(
            controls | {"other": other}, (("grade", "other"), ("head", "preheat_c")), shown
        )
        self.study = self.other_study = None
        low, high, _ = table()["preheat_c"].slider
        with style.look():
            self.curves = ForgingTemperatureCurves(
                self.live.figure, units=self.units, low_c=low, high_c=high
            )
        self._moved(self.controls["grade"])

    def answer(self, control) -> None:
        asked, first = self.inputs, self.study is None
        if first or control is not self.controls["preheat_c"]:
            control.note.value = markup.note("calculating …", bad=False)
            study, other = (
                self._model(asked.grade, asked.head),
                self._model(asked.other, asked.head),
            )
            equal = self._equal(asked.other, asked.grade, asked.head)
            self.study, self.other_study, self.equal_c = study, other, equal
            control.note.value = ""
            self.curves.update(study, other)
            self.curves.at(asked.preheat_c)
            self.live.set_live(*self.curves.artists)
        else:
            self.curves.at(asked.preheat_c)
            self.live.refresh()
        self.say(markup.text(self.words(asked.preheat_c)))
        nearest = int(np.abs(self.study.preheat_c - asked.preheat_c).argmin())
        warnings = [w.text for w in self.study.warnings[nearest]]
        self.explain(
            [self.curves.describe(asked.preheat_c)],
            markup.bullets(warnings, "Warnings:", caution=True),
        )

    def equal_setting(self, preheat_c: float) -> tuple[float, float, float]:
        """Setting at which the steel presses like the other from `preheat_c`, °C: middle, low, high."""
        return tuple(float(np.interp(preheat_c, _EQUAL_C, column)) for column in self.equal_c.T)

    def words(self, preheat_c: float) -> str:
        """What this setting means, and what it costs to press as easily as the other steel."""
        now, text = self.study.at(preheat_c), self.units.temperature_text
        name, other = self.study.steel.name, self.other_study.steel.name
        three = f"Furnace {text(preheat_c)}, metal {text(now['die_c'])} in the die"
        if np.isfinite(now["water_c"]):
            three += f" and {text(now['water_c'])} when the water starts"
        share = now["face_austenite"]
        if share <= 0.0:
            state = f"Too cold for {name}: no austenite, nothing hardens, the first heat's structure stays."
        elif share < 0.99:
            state = (
                f"Too cold for {name}: only {100 * share:.0f} % of the face becomes austenite; the rest "
                "stays soft, and how hard the hosel gets is least sure here."
            )
        else:
            state = f"Hot enough: all of the face of {name} becomes austenite."
        if name == other or preheat_c < _EQUAL_C[0]:
            return f"{three}. {state}"
        middle, low, high = self.equal_setting(preheat_c)
        there = self.study.at(
            float(np.clip(middle, self.study.preheat_c[0], self.study.preheat_c[-1]))
        )
        hv = self.units.hardness_text
        moves = [
            f"metal lost by {there['metal_loss_um'] - now['metal_loss_um']:+.0f} µm",
            f"depth of lost carbon by {there['decarburised_um'] - now['decarburised_um']:+.0f} µm",
        ]
        if abs(there["hosel_hv"] - now["hosel_hv"]) >= 1.0:
            moves.append(f"hosel from {hv(now['hosel_hv'])} to {hv(there['hosel_hv'])}")
        if abs(there["face_grain_astm"] - now["face_grain_astm"]) >= 0.05:
            moves.append(
                f"grain from ASTM {now['face_grain_astm']:.1f} to {there['face_grain_astm']:.1f}"
            )
        cost = (
            f"To press as easily as {other} from {text(preheat_c)} it needs {text(middle)} ({text(low)} to "
            f"{text(high)}), which moves {', '.join(moves)}."
        )
        return f"{three}. {state} {cost}"


def forging_temperature_panel(**first):
    """Return the page of the preheat temperature, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **first
        First values of the controls: ``grade``, ``other``, ``head``, ``preheat_c``.
    """
    return ForgingTemperaturePanel(**first).widget
