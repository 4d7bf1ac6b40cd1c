"""The main question: this steel, this head, this route; how hard, how strong, how far does the hosel bend."""

from __future__ import annotations

import dataclasses
import html
from dataclasses import asdict, dataclass

from ...answer import words
from ...base.errors import InputError, check_choice
from ...inputs.route import COOLING, Route
from .. import style
from ..canvas import LiveFigure
from ..controls.accessibility import slider_names
from ..controls.save_bar import KeepBar, SheetBar, check_names
from ..controls.settings import Choice, Slider, note
from ..figures import BendGauge, CoolingCurves, HardnessBars, HeadOutline, StructureBars
from ..units import Units, units

__all__ = ["COOLING_WORDS", "EstimateInputs", "EstimatePanel", "estimate_panel"]

COOLING_WORDS = {
    "single": "alone in still air",
    "row": "in a row on a conveyor",
    "bin": "in a bin of hot heads",
    "fan": "in front of a fan",
    "sleeve": "still air, sleeve on the hosel",
}
_SLIDERS = ("preheat_c", "flux", "spray_s", "delay_s")


@dataclass(frozen=True)
class EstimateInputs:
    """What the panel asks for.

    Attributes
    ----------
    grade, head : str
        Names from the library.
    preheat_c : float
        Furnace set point, °C.
    flux : float
        Water on the face, kg/(m² s).
    spray_s, delay_s : float
        How long the water runs and how long after the squeeze it starts, s.
    water : bool
        False: no spray at all.
    surroundings : str
        How the head cools, one of `forgeprops.route.COOLING`.
    """

    grade: str = "4130"
    head: str = "mid-iron"
    preheat_c: float = Route().preheat.temperature_c
    flux: float = Route().spray.flux_kg_m2_s
    spray_s: float = Route().spray.duration_s
    delay_s: float = Route().spray.delay_s
    water: bool = True
    surroundings: str = "single"

    def route(self) -> Route:
        """Build the route; raises InputError if a setting is out of bounds."""
        route = Route().with_(
            preheat_c=self.preheat_c,
            flux=self.flux,
            spray_s=self.spray_s,
            delay_s=self.delay_s,
            surroundings=self.surroundings,
        )
        return route if self.water else dataclasses.replace(route, spray=None)


class EstimatePanel:
    """Controls, pictures and words of one estimate.

    Parameters
    ----------
    inputs : EstimateInputs
        First settings.
    model : callable, optional
        ``model(steel, head, route) -> Estimate``; `forgeprops.estimate` unless a test hands in another.
    display_units : Units, optional
        The reader's units; what was chosen once unless given.

    Attributes
    ----------
    widget : ipywidgets.VBox
        The whole panel.
    result : Estimate
        The last answer.
    """

    def __init__(
        self, inputs: EstimateInputs | None = None, model=None, display_units: Units | None = None
    ):
        import ipywidgets as w

        import forgeprops

        inputs = inputs or EstimateInputs()
        self._model, self._units, self._forgeprops = (
            model or forgeprops.estimate,
            display_units or units(),
            forgeprops,
        )
        self.result, self._busy = None, False
        self.grade = Choice("grade", "steel grade", forgeprops.grades(), inputs.grade)
        self.head = Choice("head", "head", forgeprops.heads(), inputs.head)
        self.surroundings = Choice(
            "surroundings",
            "then it cools",
            [(COOLING_WORDS[c], c) for c in COOLING],
            inputs.surroundings,
        )
        self.water = w.Checkbox(
            value=inputs.water, description="water", indent=False, layout={"width": "80px"}
        )
        self.water.add_class("fp-water")
        self.shop_words = w.HTML()
        self.shop_words.add_class("fp-shop-words")
        self.sliders = {name: Slider(name, getattr(inputs, name), self._units) for name in _SLIDERS}
        self._controls = (self.grade, self.head, self.surroundings, *self.sliders.values())
        for control in self._controls:
            control.on_change(self._moved)
        self.water.observe(lambda _: self._moved(self.sliders["flux"]), names="value")
        self.all_zones = w.ToggleButtons(
            options=[("face and hosel", False), ("all five zones", True)],
            value=False,
            description="curves",
            style={"description_width": "60px", "button_width": "120px"},
        )
        self.scale = w.ToggleButtons(
            options=[("whole cooling", "log"), ("first minute", "linear")],
            value="log",
            description="time",
            style={"description_width": "60px", "button_width": "120px"},
        )
        self.all_zones.add_class("fp-zones")
        self.scale.add_class("fp-scale")
        self.all_zones.observe(self._reframe, names="value")
        self.scale.observe(self._reframe, names="value")
        self._build_picture()
        self.headline = w.HTML()
        self.headline.add_class("fp-headline")
        self.caption = w.HTML()
        self.caption.add_class("fp-caption")
        self.keep = KeepBar("estimate", lambda: asdict(self.inputs), self.set_inputs)
        self.sheet = SheetBar(lambda: self.result)
        left = w.VBox(
            [
                self.grade.row,
                self.head.row,
                self.surroundings.row,
                w.HBox(
                    [self.water, self.shop_words],
                    layout={"margin": "0 0 0 60px", "align_items": "center", "width": "410px"},
                ),
            ]
        )
        right = w.VBox([slider.row for slider in self.sliders.values()])
        self.widget = w.VBox(
            [
                w.HBox([left, right], layout={"flex_flow": "row wrap"}),
                self.headline,
                self.live.widget,
                w.HBox([self.all_zones, self.scale], layout={"flex_flow": "row wrap"}),
                self.caption,
                self.keep.widget,
                self.sheet.widget,
                slider_names(),
            ]
        )
        self.widget.add_class("fp-estimate")
        self._answer(self.grade, static=True)

    # ---- control → inputs
    @property
    def inputs(self) -> EstimateInputs:
        """What the controls say now."""
        return EstimateInputs(
            self.grade.value,
            self.head.value,
            **{n: s.value for n, s in self.sliders.items()},
            water=self.water.value,
            surroundings=self.surroundings.value,
        )

    def set_inputs(self, values: dict) -> None:
        """Set the controls from saved inputs; nothing changes if one of them cannot be used.

        Raises
        ------
        InputError
            A name that is missing or unknown, or a value outside what the control offers.
        """
        check_names(values, (f.name for f in dataclasses.fields(EstimateInputs)))
        for name, options in (
            ("grade", self._forgeprops.grades()),
            ("head", self._forgeprops.heads()),
            ("surroundings", COOLING),
        ):
            check_choice(values[name], name, options, "settings file")
        if not isinstance(values["water"], bool):
            raise InputError(
                f"water is {values['water']!r}; allowed is true or false (settings file)."
            )
        for name in _SLIDERS:
            self.sliders[name].check(values[name])
        self._busy = True
        try:
            for name in ("grade", "head", "surroundings"):
                getattr(self, name).value = values[name]
            self.water.value = values["water"]
            for name, slider in self.sliders.items():
                slider.value = values[name]
        finally:
            self._busy = False
        self._answer(self.grade)

    # ---- inputs → model → view
    def _moved(self, control) -> None:
        if not self._busy:
            self._answer(control)

    def _answer(self, control, static: bool = False) -> None:
        inputs = self.inputs
        try:
            steel = self._forgeprops.grade(inputs.grade)
            self.result = self._model(steel, self._forgeprops.head(inputs.head), inputs.route())
        except InputError as error:
            control.note.value = note(str(error))
            return
        for other in self._controls:
            if other.note.value:
                other.note.value = ""
        for name in ("flux", "spray_s", "delay_s"):
            self.sliders[name].widget.disabled = not inputs.water
        self.shop_words.value = note(self._water_in_shop_units(inputs), bad=False)
        self._show(static)

    def _water_in_shop_units(self, inputs) -> str:
        if not inputs.water:
            return ""
        from ...thermal.spray_units import from_flux

        reading = from_flux(inputs.flux)
        length, width = (self._units.from_mm(side) for side in reading.footprint_mm)
        return (
            f"= {reading.total_l_min:.1f} L/min on {length:.3g} × {width:.3g} {self._units.length}, or "
            f"{reading.can_ml:.0f} mL in {reading.can_seconds:.0f} s in a can of "
            f"{reading.can_area_mm2 / 100:.0f} cm²"
        )

    def _build_picture(self) -> None:
        self.live = LiveFigure(
            1060,
            580,
            "cooling curves, hardness on the head and by zone, structure, and bend allowed",
        )
        self.live.widget.add_class("fp-picture")
        with style.look():
            upper, lower = self.live.figure.add_gridspec(2, 1, height_ratios=(1.35, 1.0))
            upper = upper.subgridspec(1, 2, width_ratios=(1.45, 1.0))
            lower = lower.subgridspec(1, 3, width_ratios=(1.25, 0.9, 0.9))
            add = self.live.figure.add_subplot
            self.cooling = CoolingCurves(add(upper[0]), style.ZONES, units=self._units)
            self.cooling.set_zones(("face", "hosel"))
            self.outline = HeadOutline(add(upper[1]), "hardness", units=self._units)
            self.hardness = HardnessBars(add(lower[0]), units=self._units)
            self.structure = StructureBars(add(lower[1]), show_names=False)
            self.bend = BendGauge(add(lower[2]))
        self._pictures = (self.cooling, self.outline, self.hardness, self.structure, self.bend)

    def _show(self, static: bool = False) -> None:
        for picture in self._pictures:
            static = picture.update(self.result) or static
        if static:
            self.live.set_live(*(a for p in self._pictures for a in p.artists))
        else:
            self.live.refresh()
        self.headline.value = (
            f'<div role="status" style="font-size:15px;line-height:1.35;margin:4px 0 2px 8px;'
            f'min-height:64px">'
            f"{html.escape(words.headline(self.result))}{html.escape(self._in_readers_scale())}</div>"
        )
        sentences = [p.describe(self.result) for p in self._pictures[:4]]
        cautions = "".join(f"<li>{html.escape(str(w))}</li>" for w in self.result.warnings)
        self.caption.value = (
            f'<div style="line-height:1.35;margin-left:8px;color:{style.INK}">'
            + (
                f'<b style="color:{style.CAUTION}">Mind:</b><ul style="margin:0 0 4px 18px">{cautions}</ul>'
                if cautions
                else ""
            )
            + "<details><summary>The pictures in words</summary><p>"
            + "</p><p>".join(html.escape(s) for s in sentences)
            + "</p></details></div>"
        )

    def _in_readers_scale(self) -> str:
        """Face and hosel in the scale the reader chose, if it is not HV."""
        if self._units.hardness == "HV":
            return ""
        zones = self.result.zones
        told = (f"{z} {self._units.hardness_text(zones[z].hardness_hv)}" for z in ("face", "hosel"))
        return f" In your scale: {', '.join(told)}."

    def _reframe(self, _) -> None:
        self.cooling.set_zones(style.ZONES if self.all_zones.value else ("face", "hosel"))
        self.cooling.set_scale(self.scale.value)
        self._show(static=True)


def estimate_panel(**settings):
    """Return the estimate panel, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **settings
        First settings, see `EstimateInputs`.
    """
    return EstimatePanel(EstimateInputs(**settings)).widget
