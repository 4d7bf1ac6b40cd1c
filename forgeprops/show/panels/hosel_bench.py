"""The bending bench: how far this hosel goes, with what pull, where to stop, and what would soften it."""

from __future__ import annotations

import dataclasses
import functools
import html
from dataclasses import asdict, dataclass

import numpy as np

from ...answer import interval as uncertainty
from ...base.errors import InputError, check_choice
from ...hosel.bend import bend_of_head
from ...hosel.result import CAUTIONS
from ...inputs.route import Route
from ...strength.tensile import strength
from ...study.hosel_bench import allowance_curve, grade_hosels, soften
from .. import style
from ..canvas import LiveFigure
from ..controls.accessibility import slider_names
from ..controls.save_bar import KeepBar, check_names
from ..controls.settings import Choice, Slider, note
from ..figures import AllowanceByHardness, HoselOnBench, MomentAngle, PullDirection
from ..units import Units, units

__all__ = ["BENCH_SETTINGS", "HoselBenchInputs", "HoselBenchPanel", "hosel_bench_panel"]

#: Sliders of the bench; everyday ranges (our choice), inside what `hosel_bend` takes (a test holds it there).
BENCH_SETTINGS = {
    "lie_deg": "target_lie_deg",
    "loft_deg": "target_loft_deg",
    "bend_mm": "bend_zone_mm",
    "bar_mm": "bar_mm",
    "force_n": "force_limit_n",
    "rebends": "rebends",
    "hardness_hv": "tested_hv",
}

_COOLING = (
    ("a single head in still air", "single"),
    ("a row of heads", "row"),
    ("a bin of hot heads", "bin"),
    ("moving air", "fan"),
    ("an insulating sleeve on the hosel", "sleeve"),
)
_FROM = (("the estimate", "estimate"), ("a hardness test", "test"))
_HANDS = (("right-handed", "right"), ("left-handed", "left"))

#: Hardness at which the two curves of allowance are worked out, HV: where steels have such structures.
_SOFT_HV, _HARD_HV = np.linspace(105.0, 300.0, 30), np.linspace(200.0, 475.0, 45)


@dataclass(frozen=True)
class HoselBenchInputs:
    """What the panel asks for.

    Attributes
    ----------
    grade, head, cooling : str
        The steel, the head and how it cools after the water.
    hardness_from : {"estimate", "test"}
        Where the hosel's hardness comes from.
    hardness_hv : float
        Measured, used with "test".
    lie_deg, loft_deg : float
        Wanted change.
    hand : {"right", "left"}
    bend_mm, bar_mm : float
        Free length that bends; hand to the bar's mouth.
    force_n : float
        Most that a hand should pull.
    rebends : float
        Bends there and back that the hosel must survive.
    """

    grade: str = "4130"
    head: str = "mid-iron"
    cooling: str = "single"
    hardness_from: str = "estimate"
    hardness_hv: float = 230.0
    lie_deg: float = 2.0
    loft_deg: float = 1.0
    hand: str = "right"
    bend_mm: float = 15.0
    bar_mm: float = 500.0
    force_n: float = 400.0
    rebends: float = 5.0


def _route(cooling: str) -> Route:
    return Route().with_(surroundings=cooling)


@functools.lru_cache(maxsize=64)
def _estimated(grade: str, head: str, cooling: str):
    import forgeprops

    return forgeprops.estimate(forgeprops.grade(grade), forgeprops.head(head), _route(cooling))


@functools.lru_cache(maxsize=16)
def _grades(head: str, cooling: str):
    import forgeprops

    return grade_hosels(forgeprops.head(head), _route(cooling))


class HoselBenchPanel:
    """Controls, four pictures, the answer in words and the cautions that belong to it.

    Parameters
    ----------
    inputs : HoselBenchInputs
        First settings.
    model, grades : callable, optional
        ``model(grade, head, cooling) -> Estimate`` and ``grades(head, cooling) -> GradeHosels``; the real
        ones unless a test hands in others.
    display_units : Units, optional

    Attributes
    ----------
    widget : ipywidgets.VBox
    bend : HoselBend
        The answer on the page.
    """

    def __init__(self, inputs=None, model=None, grades=None, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        inputs = inputs or HoselBenchInputs()
        self._forgeprops, self._model, self._grades = (
            forgeprops,
            model or _estimated,
            grades or _grades,
        )
        self._units, self._busy = display_units or units(), False
        self._drawn, self._asked = False, None
        self.grade = Choice("grade", "steel grade", forgeprops.grades(), inputs.grade)
        self.head = Choice("head", "head", forgeprops.heads(), inputs.head)
        self.cooling = Choice("cooling", "it cools as", _COOLING, inputs.cooling)
        self.hardness_from = Choice(
            "hardness-from", "hosel hardness from", _FROM, inputs.hardness_from
        )
        self.hand = Choice("hand", "head is", _HANDS, inputs.hand)
        self.sliders = {
            name: Slider(setting, getattr(inputs, name), self._units)
            for name, setting in BENCH_SETTINGS.items()
        }
        for choice in (self.grade, self.head, self.cooling):
            choice.on_change(self._chosen)
        for control in (self.hardness_from, self.hand, *self.sliders.values()):
            control.on_change(self._moved)
        self.live = LiveFigure(
            1060, 720, "the hosel on the bench: strain, pull, moment and allowance"
        )
        self.live.widget.add_class("fp-picture")
        with style.look():
            grid = self.live.figure.add_gridspec(
                2, 2, width_ratios=(1.45, 1), height_ratios=(1, 1.05)
            )
            below = grid[1, :].subgridspec(1, 2)
            self.drawing = HoselOnBench(self.live.figure.add_subplot(grid[0, 0]))
            self.direction = PullDirection(self.live.figure.add_subplot(grid[0, 1]))
            self.moment = MomentAngle(self.live.figure.add_subplot(below[0]))
            self.allowance = AllowanceByHardness(self.live.figure.add_subplot(below[1]))
        self.headline, self.caption, self.softening = w.HTML(), w.HTML(), w.HTML()
        self.headline.add_class("fp-headline")
        self.caption.add_class("fp-caption")
        self.softening.add_class("fp-softening")
        self.ask = w.Button(
            description="What softens it?",
            icon="search",
            layout={"width": "170px"},
            tooltip="tries other settings of the route, one at a time",
        )
        self.ask.add_class("fp-soften")
        self.ask.on_click(lambda _: self._soften())
        self.keep = KeepBar("hosel_bench", lambda: asdict(self.inputs), self.set_inputs)
        rows = {name: slider.row for name, slider in self.sliders.items()}
        self.widget = w.VBox(
            [
                w.HBox(
                    [
                        w.VBox(
                            [
                                self.grade.row,
                                self.head.row,
                                self.cooling.row,
                                self.hardness_from.row,
                                rows["hardness_hv"],
                                self.hand.row,
                            ]
                        ),
                        w.VBox(
                            [
                                rows[name]
                                for name in (
                                    "lie_deg",
                                    "loft_deg",
                                    "bend_mm",
                                    "bar_mm",
                                    "force_n",
                                    "rebends",
                                )
                            ]
                        ),
                    ],
                    layout={"flex_flow": "row wrap"},
                ),
                self.headline,
                self.live.widget,
                self.caption,
                w.HBox([self.ask], layout={"margin": "4px 0 0 8px"}),
                self.softening,
                self.keep.widget,
                slider_names(),
            ]
        )
        self.widget.add_class("fp-hosel-bench")
        self._work_out(self.grade)

    # ---- control → inputs
    @property
    def inputs(self) -> HoselBenchInputs:
        """What the controls say now."""
        chosen = {
            name: getattr(self, name).value
            for name in ("grade", "head", "cooling", "hardness_from", "hand")
        }
        return HoselBenchInputs(
            **chosen, **{name: slider.value for name, slider in self.sliders.items()}
        )

    def set_inputs(self, values: dict) -> None:
        """Set the controls from saved inputs; nothing changes if one of them cannot be used.

        Raises
        ------
        InputError
            A name that is missing or unknown, or a value outside what the control offers.
        """
        check_names(values, (f.name for f in dataclasses.fields(HoselBenchInputs)))
        choices = {
            "grade": self._forgeprops.grades(),
            "head": self._forgeprops.heads(),
            "cooling": [v for _, v in _COOLING],
            "hardness_from": [v for _, v in _FROM],
            "hand": [v for _, v in _HANDS],
        }
        for name, options in choices.items():
            check_choice(values[name], name.replace("_", " "), options, "settings file")
        for name, slider in self.sliders.items():
            slider.check(values[name])
        self._busy = True
        try:
            for name in choices:
                getattr(self, name).value = values[name]
            for name, slider in self.sliders.items():
                slider.value = values[name]
        finally:
            self._busy = False
        self._work_out(self.grade)

    # ---- inputs → model → view
    def _chosen(self, control) -> None:
        if not self._busy:
            self._work_out(control)

    def _work_out(self, control) -> None:
        """March the head anew, and the grades beside it, then show."""
        inputs = self.inputs
        control.note.value = note("marching …", bad=False)
        try:
            self.result = self._model(inputs.grade, inputs.head, inputs.cooling)
            self.grades = self._grades(inputs.head, inputs.cooling)
        except InputError as error:
            control.note.value = note(str(error))
            return
        control.note.value = ""
        self._show(control)

    def _moved(self, control) -> None:
        if not self._busy:
            self._show(control)

    def _show(self, control) -> None:
        inputs = self.inputs
        self.sliders["hardness_hv"].widget.disabled = inputs.hardness_from == "estimate"
        try:
            bend = self.bend = self.bent(inputs)
            along = bend.along(bend.target_deg)
            curve = bend.moment_angle(max(1.5 * bend.allowed_deg, 1.3 * bend.target_deg, 1.0))
        except InputError as error:
            control.note.value = note(str(error))
            return
        control.note.value = ""
        hosel = self.result.head.hosel
        asked = (inputs.head, inputs.cooling, inputs.bend_mm, *self._bench(inputs).values())
        if asked != self._asked:  # the wanted change moves none of them
            self._asked = asked
            self._curves = {
                kind: (
                    hv,
                    allowance_curve(
                        hv,
                        hosel.outside_mm,
                        hosel.bore_mm,
                        inputs.bend_mm,
                        hard=hard,
                        **self._bench(inputs),
                    ),
                )
                for kind, hard, hv in (("soft", False, _SOFT_HV), ("hard", True, _HARD_HV))
            }
            self._allowed = self.grades.allowed(inputs.bend_mm, **self._bench(inputs))
        curves, allowed = self._curves, self._allowed
        self.drawing.update(bend, along)
        self.direction.update(bend, inputs.lie_deg, inputs.loft_deg)
        changed = self.moment.update(bend, curve)
        changed = self.allowance.update(bend, curves, self.grades, allowed) or changed
        if self._drawn:
            self.live.refresh(static=changed)
        else:
            self.live.set_live(
                *self.drawing.artists,
                *self.direction.artists,
                *self.moment.artists,
                *self.allowance.artists,
            )
            self._drawn = True
        self._say(along, allowed)

    @staticmethod
    def _bench(inputs: HoselBenchInputs) -> dict[str, float]:
        return {"bar_mm": inputs.bar_mm, "force_limit_n": inputs.force_n, "rebends": inputs.rebends}

    def bent(self, inputs: HoselBenchInputs):
        """`HoselBend` of the inputs, on the estimate at hand."""
        head, zones = self.result.head, self.result.zones
        head = dataclasses.replace(
            head, hosel=dataclasses.replace(head.hosel, bend_zone_mm=inputs.bend_mm)
        )
        hosel, neck = zones["hosel"].strength, zones["neck"].strength
        spread = (zones["hosel"].hardness_high_hv - zones["hosel"].hardness_low_hv) / (
            2.0 * uncertainty.Z
        )
        if inputs.hardness_from == "test":
            # measured on the hosel: the estimate keeps its word on the structure only
            structure = dict(zones["hosel"].fractions)
            structure["ferrite"] += structure.pop("untransformed", 0.0)
            hosel = neck = strength(inputs.hardness_hv, structure)
            spread = 0.0
        return bend_of_head(
            head,
            hosel,
            neck,
            target_lie_deg=inputs.lie_deg,
            target_loft_deg=inputs.loft_deg,
            hand=inputs.hand,
            hardness_se_hv=spread,
            **self._bench(inputs),
        )

    def _say(self, along, allowed) -> None:
        bend = self.bend
        self.headline.value = (
            '<div role="status" style="font-size:15px;margin:4px 0 2px 8px;min-height:84px">'
            f"<b>{html.escape(self.verdict())}</b> {html.escape(bend.words())}</div>"
        )
        left = ", ".join(f"{n:,.0f} by {name}" for name, n in bend.rebends_left.items())
        told = (
            [
                f"Bends there and back by ±{bend.target_deg:.1f}° to a crack, scatter taken off: {left}."
            ]
            if left
            else []
        )
        told += [w.text for w in bend.warnings]
        points = "".join(f"<li>{html.escape(text)}</li>" for text in told)
        cautions = "".join(f"<li>{html.escape(text)}</li>" for text in CAUTIONS)
        described = " ".join(
            [
                self.drawing.describe(bend, along),
                self.direction.describe(bend),
                self.moment.describe(bend),
                self.allowance.describe(bend, self.grades, allowed),
            ]
        )
        self.caption.value = (
            f'<div style="line-height:1.35;margin-left:8px;color:{style.INK}">'
            f'<ul style="margin:0 0 4px 18px">{points}</ul>'
            f'<b style="color:{style.CAUTION}">Before you pull:</b>'
            f'<ul style="margin:0 0 4px 18px">{cautions}</ul>'
            "<details><summary>The pictures in words</summary><p>"
            + html.escape(described)
            + "</p></details></div>"
        )

    def verdict(self) -> str:
        """Yes or no in one sentence, and the bar that would do where only force is short."""
        bend = self.bend
        if bend.target_deg == 0.0:
            return f"Nothing to bend; {bend.allowed_deg:.1f}° allowed ({bend.governed_by})."
        asked = (
            f"{bend.target_deg:.1f}° wanted, {bend.allowed_deg:.1f}° allowed ({bend.governed_by})"
        )
        if bend.target_deg <= bend.allowed_deg:
            sure = bend.target_deg <= bend.allowed_deg_low
            return (
                f"{'It will take it' if sure else 'It should take it, but not for sure'}: {asked}."
            )
        others = min(deg for limit, deg in bend.allowed_by.items() if limit != "bar force")
        if bend.governed_by == "bar force" and bend.target_deg <= others:
            length, bar = float(bend.bench.length_mm[0]), float(bend.bench.bar_mm[0])
            # the same moment at the clamp from the most that a hand pulls
            longer = bend.bar_force_n / self.inputs.force_n * (bar + length) - length
            return f"Too stiff for this bar: {asked}. A bar of {10 * np.ceil(longer / 10):.0f} mm would do."
        return f"No: {asked}."

    def _soften(self) -> None:
        """Try what softens the hosel of the estimate; about a second."""
        self.softening.value = note("trying other settings …", bad=False)
        self.ask.disabled = True
        try:
            lines = soften(self.result, bench=self._bench(self.inputs)).words().splitlines()
        except InputError as error:
            self.softening.value = note(str(error))
            return
        finally:
            self.ask.disabled = False
        rest = "".join(f"<li>{html.escape(line)}</li>" for line in lines[1:])
        self.softening.value = (
            f'<div role="status" style="margin-left:8px"><b>{html.escape(lines[0])}</b>'
            f'<ul style="margin:0 0 4px 18px">{rest}</ul>Each was marched anew, on the bench set above '
            "but with the bend zone of the drawing and the estimated hardness.</div>"
        )


def hosel_bench_panel(**settings):
    """Return the panel of the bending bench, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **settings
        First settings, see `HoselBenchInputs`.
    """
    return HoselBenchPanel(HoselBenchInputs(**settings)).widget
