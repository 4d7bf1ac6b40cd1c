"""The bending bench: will this hosel take the wanted change, with how much pull, and what softens it."""

from __future__ import annotations

import functools

import numpy as np

from ...answer import interval as uncertainty
from ...base.errors import InputError
from ...hosel.bend import bend_of_head
from ...inputs.route import Route
from ...strength.tensile import strength
from ...study.hosel_bench import allowance_curve, grade_hosels, soften
from .. import markup, style
from ..controls.fields import Slider, button, choice, html
from ..controls.panel import Panel, case_controls, row
from ..figures import AllowanceByHardness, HoselOnBench, MomentAngle, PullDirection
from ..units import Units, units

__all__ = ["HoselBenchPanel", "hosel_bench_panel"]

#: Name in a settings file → setting with a slider, and its first value.
BENCH = {
    "lie_deg": ("target_lie_deg", 2.0),
    "loft_deg": ("target_loft_deg", 1.0),
    "bend_mm": ("bend_zone_mm", 15.0),
    "bar_mm": ("bar_mm", 500.0),
    "force_n": ("force_limit_n", 400.0),
    "rebends": ("rebends", 4.0),
    "hardness_hv": ("tested_hv", 230.0),
}
_FROM = (("the estimate", "estimate"), ("a hardness test", "test"))
_HANDS = (("right-handed", "right"), ("left-handed", "left"))

#: Hardness at which the two curves of allowance are calculated, HV: where steels have such structures.
_SOFT_HV, _HARD_HV = np.linspace(105.0, 300.0, 30), np.linspace(200.0, 475.0, 45)


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


class HoselBenchPanel(Panel):
    """Controls, four pictures, the answer in words and the cautions that belong to it.

    Parameters
    ----------
    model, grades : callable, optional
        ``model(grade, head, cooling) -> Estimate`` and ``grades(head, cooling) -> GradeHosels``; the real
        ones unless a test hands in others.
    display_units : Units, optional
    **first
        First values of the controls.

    Attributes
    ----------
    bend : HoselBend
        The answer on the page.
    """

    kind, size = "hosel_bench", (1060, 720)
    shows = "the hosel on the bench: strain, pull, moment and allowance"

    def __init__(self, model=None, grades=None, display_units: Units | None = None, **first):
        shown, self._model, self._grades = (
            display_units or units(),
            model or _estimated,
            grades or _grades,
        )
        controls = case_controls(("grade", "head"), shown, **first)
        cooling = {"surroundings": first["cooling"]} if "cooling" in first else {}
        controls["cooling"] = case_controls(("surroundings",), shown, **cooling)["surroundings"]
        for name, label, options, value in (
            ("hardness_from", "hosel hardness from", _FROM, "estimate"),
            ("hand", "head is", _HANDS, "right"),
        ):
            controls[name] = choice(name, label, options, first.get(name, value))
        for name, (setting, value) in BENCH.items():
            controls[name] = Slider(setting, first.get(name, value), shown)
        left = ("grade", "head", "cooling", "hardness_from", "hardness_hv", "hand")
        right = ("lie_deg", "loft_deg", "bend_mm", "bar_mm", "force_n", "rebends")
        super().__init__(controls, (left, right), shown)
        self.result, self._drawn, self._asked = None, False, None
        with style.look():
            grid = self.live.figure.add_gridspec(
                2, 2, width_ratios=(1.45, 1), height_ratios=(1, 1.05)
            )
            below = grid[1, :].subgridspec(1, 2)
            add = self.live.figure.add_subplot
            self.drawing, self.direction = (
                HoselOnBench(add(grid[0, 0])),
                PullDirection(add(grid[0, 1])),
            )
            self.moment, self.allowance = (
                MomentAngle(add(below[0])),
                AllowanceByHardness(add(below[1])),
            )
        self.softening = html("softening")
        self.ask = button("soften", "What softens it?", "search", self._soften, "170px")
        *above, keep, names = self.widget.children
        self.widget.children = (*above, row(self.ask), self.softening, keep, names)
        self._moved(self.controls["grade"])

    # ---- inputs → model → view
    def answer(self, control) -> None:
        asked = self.inputs
        if self.result is None or control.name in ("grade", "head", "surroundings"):
            control.note.value = markup.note("calculating …", bad=False)
            result = self._model(asked.grade, asked.head, asked.cooling)
            self.result, self.grades = result, self._grades(asked.head, asked.cooling)
            control.note.value = ""
        self.sliders["hardness_hv"].widget.disabled = asked.hardness_from == "estimate"
        bend = self.bent(asked)
        along = bend.along(bend.target_deg)
        curve = bend.moment_angle(max(1.5 * bend.allowed_deg, 1.3 * bend.target_deg, 1.0))
        self.bend, bench = bend, self._bench(asked)
        key = (asked.head, asked.cooling, asked.bend_mm, *bench.values())
        if key != self._asked:  # the wanted change moves none of them
            hosel, self._asked = self.result.head.hosel, key
            tube = (hosel.outside_mm, hosel.bore_mm, asked.bend_mm)
            self._curves = {
                kind: (hv, allowance_curve(hv, *tube, hard=kind == "hard", **bench))
                for kind, hv in (("soft", _SOFT_HV), ("hard", _HARD_HV))
            }
            self._allowed = self.grades.allowed(asked.bend_mm, **bench)
        self.drawing.update(bend, along)
        self.direction.update(bend, asked.lie_deg, asked.loft_deg)
        changed = self.moment.update(bend, curve)
        changed = self.allowance.update(bend, self._curves, self.grades, self._allowed) or changed
        pictures = (self.drawing, self.direction, self.moment, self.allowance)
        if self._drawn:
            self.live.refresh(static=changed)
        else:
            self.live.set_live(*(a for p in pictures for a in p.artists))
            self._drawn = True
        self._say(along)

    @staticmethod
    def _bench(asked) -> dict[str, float]:
        return {"bar_mm": asked.bar_mm, "force_limit_n": asked.force_n, "rebends": asked.rebends}

    def bent(self, asked):
        """`HoselBend` of the inputs, on the estimate at hand."""
        head, zones = self.result.head, self.result.zones
        head = head.with_(bend_zone_mm=asked.bend_mm)
        hosel, neck = zones["hosel"].strength, zones["neck"].strength
        low, high = zones["hosel"].hardness_low_hv, zones["hosel"].hardness_high_hv
        spread = (high - low) / (2.0 * uncertainty.Z)
        if asked.hardness_from == "test":
            # measured on the hosel: of the estimate only the structure counts
            structure = dict(zones["hosel"].fractions)
            structure["ferrite"] += structure.pop("untransformed", 0.0)
            hosel = neck = strength(asked.hardness_hv, structure)
            spread = 0.0
        wanted = {"target_lie_deg": asked.lie_deg, "target_loft_deg": asked.loft_deg}
        more = {"hand": asked.hand, "hardness_se_hv": spread, **self._bench(asked)}
        return bend_of_head(head, hosel, neck, **wanted, **more)

    def _say(self, along) -> None:
        bend = self.bend
        self.say(f"<b>{markup.text(self.verdict())}</b>", markup.text(bend.words()))
        left = ", ".join(f"{n:,.0f} by {name}" for name, n in bend.rebends_left.items())
        crack = (
            f"Adjustments by {bend.target_deg:.1f}° and back to a crack, scatter taken off: {left}."
        )
        told = [crack] * bool(left) + [w.text for w in bend.warnings]
        pictures = [
            self.drawing.describe(bend, along),
            self.direction.describe(bend),
            self.moment.describe(bend),
            self.allowance.describe(bend, self.grades, self._allowed),
        ]
        cautions = markup.bullets(bend.cautions, "Before you pull:", caution=True)
        self.explain(pictures, markup.bullets(told), cautions)

    def verdict(self) -> str:
        """Yes or no in one sentence, and the bar that would do where only force is short."""
        bend = self.bend
        if bend.target_deg == 0.0:
            return f"Nothing to bend; {bend.allowed_deg:.1f}° allowed ({bend.governed_by})."
        asked = (
            f"{bend.target_deg:.1f}° wanted, {bend.allowed_deg:.1f}° allowed ({bend.governed_by})"
        )
        if bend.target_deg <= bend.allowed_deg:
            if bend.bar_force_n > bend.force_limit_n:
                bar = 10 * np.ceil(bend.bar_length_needed_mm / 10)
                return f"Too stiff for this bar: {asked}. A bar of {bar:.0f} mm would do."
            sure = bend.target_deg <= bend.allowed_deg_low
            return (
                f"{'It will take it' if sure else 'It should take it, but not for sure'}: {asked}."
            )
        return f"No: {asked}."

    def _soften(self) -> None:
        """Try what softens the hosel of the estimate; about a second."""
        self.softening.value = markup.note("trying other settings …", bad=False)
        self.ask.disabled = True
        try:
            lines = soften(self.result, bench=self._bench(self.inputs)).words().splitlines()
        except InputError as error:
            self.softening.value = markup.note(str(error))
            return
        finally:
            self.ask.disabled = False
        how = (
            "Each was calculated on the bench set above, but with the bend zone of the drawing and the "
            "estimated hardness."
        )
        self.softening.value = markup.status(markup.bullets(lines[1:], lines[0]), markup.text(how))


def hosel_bench_panel(**first):
    """Return the page of the bending bench, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **first
        First values of the controls: ``grade``, ``head``, ``cooling``, ``hardness_from``, ``hand``, and `BENCH`.
    """
    return HoselBenchPanel(**first).widget
