"""One slider for the forging temperature, everything it moves side by side, and what a hotter heat costs."""

from __future__ import annotations

import dataclasses
import functools
import html
from dataclasses import asdict, dataclass

import numpy as np

from ...base.errors import InputError, check_choice
from ...inputs.route import Route
from ...inputs.settings import table
from .. import style
from ..canvas import LiveFigure
from ..controls.accessibility import slider_names
from ..controls.save_bar import KeepBar, check_names
from ..controls.settings import Choice, Slider, note
from ..figures.forging_temperature import ForgingTemperatureCurves
from ..units import Units, units

__all__ = ["ForgingTemperatureInputs", "ForgingTemperaturePanel", "forging_temperature_panel"]

#: Spacing of the furnace settings marched, °C: between Ac1 and Ac3 the curves bend most (our choice).
_FINE_C, _COARSE_C = 6.0, 25.0
#: Settings of the compared steel at which its equal-effort setting is solved, °C.
_EQUAL_C = np.arange(700.0, 1101.0, 80.0)


@dataclass(frozen=True)
class ForgingTemperatureInputs:
    """What the panel asks for.

    Attributes
    ----------
    grade, other : str
        The steel, and the one its effort is compared with.
    head : str
    preheat_c : float
        Furnace set point, °C.
    """

    grade: str = "4130"
    other: str = "1030"
    head: str = "mid-iron"
    preheat_c: float = Route().preheat.temperature_c


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


class ForgingTemperaturePanel:
    """Controls, six plots and words about the forging temperature.

    Parameters
    ----------
    inputs : ForgingTemperatureInputs
        First settings.
    model : callable, optional
        ``model(grade, head) -> ForgingTemperatureStudy``; the real one unless a test hands in another.
    equal : callable, optional
        ``equal(other, grade, head)``, see `_equal`.
    display_units : Units, optional

    Attributes
    ----------
    widget : ipywidgets.VBox
    study, other_study : ForgingTemperatureStudy
    """

    def __init__(self, inputs=None, model=None, equal=None, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        inputs = inputs or ForgingTemperatureInputs()
        self._forgeprops, self._model, self._equal = forgeprops, model or _studied, equal or _equal
        self._units, self._busy = display_units or units(), False
        self.study = self.other_study = None
        self.grade = Choice("grade", "steel grade", forgeprops.grades(), inputs.grade)
        self.other = Choice("other", "compare effort with", forgeprops.grades(), inputs.other)
        self.head = Choice("head", "head", forgeprops.heads(), inputs.head)
        self.preheat = Slider("preheat_c", inputs.preheat_c, self._units)
        for choice in (self.grade, self.other, self.head):
            choice.on_change(self._chosen)
        self.preheat.on_change(lambda _: None if self._busy else self._moved())
        self.live = LiveFigure(1060, 600, "six plots over the forging temperature")
        self.live.widget.add_class("fp-picture")
        low, high, _ = table()["preheat_c"].slider
        with style.look():
            self.curves = ForgingTemperatureCurves(
                self.live.figure, units=self._units, low_c=low, high_c=high
            )
        self.headline, self.caption = w.HTML(), w.HTML()
        self.headline.add_class("fp-headline")
        self.caption.add_class("fp-caption")
        self.keep = KeepBar("forging_temperature", lambda: asdict(self.inputs), self.set_inputs)
        self.widget = w.VBox(
            [
                w.HBox(
                    [
                        w.VBox([self.grade.row, self.other.row]),
                        w.VBox([self.head.row, self.preheat.row]),
                    ],
                    layout={"flex_flow": "row wrap"},
                ),
                self.headline,
                self.live.widget,
                self.caption,
                self.keep.widget,
                slider_names(),
            ]
        )
        self.widget.add_class("fp-forging-temperature")
        self._work_out(self.grade)

    # ---- control → inputs
    @property
    def inputs(self) -> ForgingTemperatureInputs:
        """What the controls say now."""
        return ForgingTemperatureInputs(
            self.grade.value, self.other.value, self.head.value, self.preheat.value
        )

    def set_inputs(self, values: dict) -> None:
        """Set the controls from saved inputs; nothing changes if one of them cannot be used.

        Raises
        ------
        InputError
            A name that is missing or unknown, or a value outside what the control offers.
        """
        check_names(values, (f.name for f in dataclasses.fields(ForgingTemperatureInputs)))
        for name, options in (
            ("grade", self._forgeprops.grades()),
            ("other", self._forgeprops.grades()),
            ("head", self._forgeprops.heads()),
        ):
            check_choice(values[name], name, options, "settings file")
        self.preheat.check(values["preheat_c"])
        self._busy = True
        try:
            for name in ("grade", "other", "head"):
                getattr(self, name).value = values[name]
            self.preheat.value = values["preheat_c"]
        finally:
            self._busy = False
        self._work_out(self.grade)

    # ---- inputs → model → view
    def _chosen(self, control) -> None:
        if not self._busy:
            self._work_out(control)

    def _work_out(self, control) -> None:
        """March both steels anew (a second or so), then show."""
        inputs = self.inputs
        control.note.value = note("marching …", bad=False)
        try:
            self.study = self._model(inputs.grade, inputs.head)
            self.other_study = self._model(inputs.other, inputs.head)
            self.equal_c = self._equal(inputs.other, inputs.grade, inputs.head)
        except InputError as error:
            control.note.value = note(str(error))
            return
        control.note.value = ""
        self.curves.update(self.study, self.other_study)
        self.curves.at(inputs.preheat_c)
        self.live.set_live(*self.curves.artists)
        self._say(inputs.preheat_c)

    def _moved(self) -> None:
        self.curves.at(self.preheat.value)
        self.live.refresh()
        self._say(self.preheat.value)

    def equal_setting(self, preheat_c: float) -> tuple[float, float, float]:
        """Setting at which the steel presses like the other from `preheat_c`, °C: middle, low, high."""
        return tuple(float(np.interp(preheat_c, _EQUAL_C, column)) for column in self.equal_c.T)

    def _say(self, preheat_c: float) -> None:
        self.headline.value = (
            f'<div role="status" style="font-size:15px;margin:4px 0 2px 8px;min-height:64px">'
            f"{html.escape(self.answer(preheat_c))}</div>"
        )
        nearest = int(np.abs(self.study.preheat_c - preheat_c).argmin())
        cautions = "".join(f"<li>{html.escape(w.text)}</li>" for w in self.study.warnings[nearest])
        self.caption.value = (
            f'<div style="line-height:1.35;margin-left:8px;color:{style.INK}">'
            + (
                f'<b style="color:{style.CAUTION}">Mind:</b><ul style="margin:0 0 4px 18px">{cautions}</ul>'
                if cautions
                else ""
            )
            + "<details><summary>The pictures in words</summary><p>"
            + html.escape(self.curves.describe(preheat_c))
            + "</p></details></div>"
        )

    def answer(self, preheat_c: float) -> str:
        """What this setting means, and what it costs to press as easily as the other steel."""
        now, text = self.study.at(preheat_c), self._units.temperature_text
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
        hv = self._units.hardness_text
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


def forging_temperature_panel(**settings):
    """Return the forging-temperature panel, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **settings
        First settings, see `ForgingTemperatureInputs`.
    """
    return ForgingTemperaturePanel(ForgingTemperatureInputs(**settings)).widget
