"""The main question: this steel, this head, this route; how hard, how strong, how far does the hosel bend."""

from __future__ import annotations

from ...answer import words
from .. import markup, style
from ..controls.fields import buttons, flag
from ..controls.panel import Panel, case_controls, row
from ..controls.save_bar import SheetBar
from ..figures import BendGauge, CoolingCurves, HardnessBars, HeadOutline, StructureBars
from ..units import Units, units

__all__ = ["EstimatePanel", "estimate_panel"]

_SPRAY = ("flux", "spray_s", "delay_s")


class EstimatePanel(Panel):
    """Controls, pictures and words of one estimate.

    Parameters
    ----------
    model : callable, optional
        ``model(job) -> Estimate``; `forgeprops.estimate` unless a test hands in another.
    display_units : Units, optional
    **first
        First values of the controls.

    Attributes
    ----------
    result : Estimate
        The last answer.
    """

    kind = "estimate"
    shows = "cooling curves, hardness on the head and by zone, structure, and bend allowed"

    def __init__(self, model=None, display_units: Units | None = None, **first):
        import forgeprops

        shown, self._model, self.result = (
            display_units or units(),
            model or forgeprops.estimate,
            None,
        )
        left, right = ("grade", "head", "surroundings"), ("preheat_c", *_SPRAY)
        controls = case_controls((*left, *right), shown, **first)
        controls["water"] = flag("water", "spray", first.get("water", True))
        super().__init__(controls, ((*left, "water"), right), shown)
        self.all_zones = buttons(
            "zones", "curves", [("face and hosel", False), ("all five zones", True)], False
        )
        self.scale = buttons(
            "scale", "time", [("whole cooling", "log"), ("first minute", "linear")], "log"
        )
        for control in (self.all_zones, self.scale):
            control.on_change(lambda _: self._reframe())
        self._build_picture()
        self.sheet = SheetBar(lambda: self.result)
        top, answer, picture, caption, keep, names = self.widget.children
        frame = row(self.all_zones.widget, self.scale.widget)
        self.widget.children = (
            top,
            answer,
            picture,
            frame,
            caption,
            keep,
            self.sheet.widget,
            names,
        )
        self._moved(self.controls["grade"])

    def answer(self, control) -> None:
        first = self.result is None
        self.result = self._model(self.job)
        for name in _SPRAY:
            self.sliders[name].widget.disabled = not self.inputs.water
        self.controls["water"].note.value = markup.note(self._in_shop_units(), bad=False)
        self._show(static=first)

    def _in_shop_units(self) -> str:
        if not self.inputs.water:
            return ""
        from ...thermal.spray_units import from_flux

        reading = from_flux(self.inputs.flux)
        length, width = (self.units.from_mm(side) for side in reading.footprint_mm)
        return (
            f"= {reading.total_l_min:.1f} L/min on {length:.3g} × {width:.3g} {self.units.length}, or "
            f"{reading.can_ml:.0f} mL in {reading.can_seconds:.0f} s in a can of "
            f"{reading.can_area_mm2 / 100:.0f} cm²"
        )

    def _build_picture(self) -> None:
        with style.look():
            upper, lower = self.live.figure.add_gridspec(2, 1, height_ratios=(1.35, 1.0))
            upper = upper.subgridspec(1, 2, width_ratios=(1.45, 1.0))
            lower = lower.subgridspec(1, 3, width_ratios=(1.25, 0.9, 0.9))
            add = self.live.figure.add_subplot
            self.cooling = CoolingCurves(add(upper[0]), style.ZONES, units=self.units)
            self.cooling.set_zones(("face", "hosel"))
            self.outline = HeadOutline(add(upper[1]), "hardness", units=self.units)
            self.hardness = HardnessBars(add(lower[0]), units=self.units)
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
        self.say(markup.text(words.headline(self.result)), markup.text(self._in_readers_scale()))
        warnings = markup.bullets(self.result.warnings, "Warnings:", caution=True)
        self.explain([p.describe(self.result) for p in self._pictures[:4]], warnings)

    def _in_readers_scale(self) -> str:
        """Face and hosel in the scale the reader chose, if it is not HV."""
        if self.units.hardness == "HV":
            return ""
        zones, text = self.result.zones, self.units.hardness_text
        told = (f"{z} {text(zones[z].hardness_hv)}" for z in ("face", "hosel"))
        return f"In your scale: {', '.join(told)}."

    def _reframe(self) -> None:
        self.cooling.set_zones(style.ZONES if self.all_zones.value else ("face", "hosel"))
        self.cooling.set_scale(self.scale.value)
        self._show(static=True)


def estimate_panel(**first):
    """Return the estimate panel, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **first
        First values of the controls: ``grade``, ``head``, ``surroundings``, ``preheat_c``, ``flux``, ``spray_s``,
        ``delay_s``, ``water``.
    """
    return EstimatePanel(**first).widget
