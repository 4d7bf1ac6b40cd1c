"""The task that ends the lesson: strong face, bendable hosel, scored on heads the trainee does not see."""

from __future__ import annotations

import dataclasses
import html
import math
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError
from ...inputs.route import COOLING, Route
from .. import style
from ..canvas import LiveFigure
from ..controls.accessibility import slider_names
from ..controls.kept_fields import kept, put
from ..controls.progress import Work
from ..controls.save_bar import KeepBar
from ..controls.settings import Choice, Slider, note
from ..units import Units, units
from .estimate import COOLING_WORDS

__all__ = ["Goal", "GOALS", "TaskPanel", "task_panel"]


@dataclass(frozen=True)
class Goal:
    """What is asked of one steel."""

    grade: str
    face_hv: float
    hosel_deg: float


#: One low-carbon and one chromoly steel; the goals are invented, hard but within reach.
GOALS = (Goal("1030", 330.0, 2.0), Goal("4130", 410.0, 2.0))

#: How a shop's day scatters about its settings, standard deviations (common practice, no source).
_SCATTER = {"preheat_c": 8.0, "delay_s": 0.3, "transfer_s": 0.6}
_FLUX_SHARE = 0.10
_HEADS, _SEED = 24, 20240
_PASS = 0.75
#: Normal quantile of the 80 % interval that results carry.
_Z80 = 1.2816
_SLIDERS = ("preheat_c", "flux", "spray_s", "delay_s")


def chance(value: float, low: float, high: float, goal: float) -> float:
    """Chance that a quantity with this 80 % interval reaches the goal.

    The two halves of the interval are taken as halves of two normal distributions.

    Examples
    --------
    >>> round(chance(400.0, 360.0, 440.0, 400.0), 2), round(chance(400.0, 360.0, 440.0, 360.0), 2)
    (0.5, 0.9)
    """
    half = (high - value) if goal > value else (value - low)
    spread = max(half / _Z80, 1e-9)
    return 0.5 * math.erfc((goal - value) / (spread * math.sqrt(2.0)))


class TaskPanel:
    """Sliders, a target to hit, and a score on heads that were not shown.

    Parameters
    ----------
    model : callable, optional
        ``model(steel, head, route) -> Estimate``.
    display_units : Units, optional
    """

    def __init__(self, model=None, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        self._forgeprops, self._model = forgeprops, model or forgeprops.estimate
        self._units, self._busy = display_units or units(), False
        route = Route()
        self._goals = {g.grade: g for g in GOALS}
        self.goal = w.ToggleButtons(options=tuple(self._goals), description="steel",
                                    style={"description_width": "60px", "button_width": "120px"})  # fmt: skip
        self.goal.add_class("fp-goal")
        self.sliders = {name: Slider(name, route.setting(name), self._units) for name in _SLIDERS}
        self.surroundings = Choice(
            "surroundings", "then it cools", [(COOLING_WORDS[c], c) for c in COOLING], "single"
        )
        for control in (*self.sliders.values(), self.surroundings):
            control.on_change(self._moved)
        self.goal.observe(lambda _: self._moved(self.surroundings), names="value")
        self.live = LiveFigure(540, 360, "face hardness against bend allowed, with the goal")
        self.live.widget.add_class("fp-target")
        self._draw()
        self.words = w.HTML()
        self.words.add_class("fp-task-words")
        self.score_button = w.Button(description="Score it", icon="check", button_style="primary",
                                     layout={"width": "130px"})  # fmt: skip
        self.score_button.add_class("fp-score")
        self.score_button.on_click(lambda _: self.score())
        self.verdict = w.HTML()
        self.verdict.add_class("fp-verdict")
        self.work = Work()
        self.chances: list[tuple[float, float]] = []  # of face and hosel, head by head
        left = w.VBox([*(s.row for s in self.sliders.values()), self.surroundings.row, self.words])
        kept_controls = {"grade": self.goal, **self.sliders, "surroundings": self.surroundings}
        self.keep = KeepBar(
            "task", lambda: kept(kept_controls), lambda values: self._put(kept_controls, values)
        )
        self.widget = w.VBox([self.goal, w.HBox([left, self.live.widget], layout={"flex_flow": "row wrap"}),
                              w.HBox([self.score_button, self.work.widget]), self.verdict, self.keep.widget,
                              slider_names()])  # fmt: skip
        self.widget.add_class("fp-task")
        self._moved(self.surroundings)

    def route(self) -> Route:
        """Route of the settings shown."""
        return Route().with_(
            **{n: s.value for n, s in self.sliders.items()}, surroundings=self.surroundings.value
        )

    def _put(self, controls, values) -> None:
        self._busy = True
        try:
            put(controls, values)
        finally:
            self._busy = False
        self._moved(self.surroundings)

    # ---- picture
    def _draw(self) -> None:
        with style.look():
            self.ax = self.live.figure.add_subplot()
        self.ax.set(
            xlim=(0, 6),
            ylim=(100, 650),
            xlabel="bend allowed at the hosel, degrees",
            ylabel="face hardness, HV",
        )
        style.title(self.ax, "Up is a stronger face, right a hosel that bends")
        (self._area,) = self.ax.fill(
            [0] * 4, [0] * 4, facecolor=style.WANTED, edgecolor=style.QUIET, zorder=1
        )
        self._aim = self.ax.text(0, 0, "", fontsize=9.5, va="top", zorder=4)
        (self._bend_span,) = self.ax.plot(
            [], [], color=style.INK, linewidth=1.4, marker="|", markersize=9, zorder=2
        )
        (self._face_span,) = self.ax.plot(
            [], [], color=style.INK, linewidth=1.4, marker="_", markersize=9, zorder=2
        )
        (self._point,) = self.ax.plot([], [], "o", color=style.ACCENT, markersize=11, zorder=3)
        self.live.set_live(self._area, self._aim, self._bend_span, self._face_span, self._point)

    def _moved(self, control) -> None:
        if self._busy:
            return
        goal = self._goals[self.goal.value]
        try:
            self.result = self._model(
                self._forgeprops.grade(goal.grade), self._forgeprops.head("mid-iron"), self.route()
            )
        except InputError as error:
            control.note.value = note(str(error))
            return
        control.note.value = ""
        self.work.stop()
        self.verdict.value = ""
        face, hosel = self.result.zones["face"], self.result.hosel
        x, y = min(hosel.allowed_deg, 6.0), face.hardness_hv
        self._area.set_xy(
            [(goal.hosel_deg, goal.face_hv), (6, goal.face_hv), (6, 650), (goal.hosel_deg, 650)]
        )
        self._aim.set_position((goal.hosel_deg + 0.1, 640))
        self._aim.set_text(f"goal: face {goal.face_hv:.0f} HV, hosel {goal.hosel_deg:.0f}°")
        self._point.set_data([x], [y])
        self._bend_span.set_data([hosel.allowed_deg_low, min(hosel.allowed_deg_high, 6.0)], [y, y])
        self._face_span.set_data([x, x], [face.hardness_low_hv, face.hardness_high_hv])
        self.live.refresh()
        self.words.value = (
            f'<div role="status" style="font-size:15px;margin-left:8px">Face {face.hardness_hv:.0f} HV '
            f"({face.hardness_low_hv:.0f}–{face.hardness_high_hv:.0f}), hosel {hosel.allowed_deg:.1f}° "
            f"({hosel.allowed_deg_low:.1f}–{hosel.allowed_deg_high:.1f}).</div>"
        )

    # ---- score
    def held_out(self) -> list[tuple[object, Route]]:
        """Steels and routes of the heads that are scored: the settings as a shop's day scatters them.

        The composition lies anywhere in the grade's range; the draws are the same for everybody.
        """
        rng = np.random.default_rng(_SEED)
        steel, route = self._forgeprops.grade(self.goal.value), self.route()
        cases = []
        for _ in range(_HEADS):
            given = dict(steel.composition)
            for element, (low, high) in (steel.limits or {}).items():
                if low is not None and high is not None:
                    given[element] = float(rng.uniform(low, high))
            settings = {
                n: max(route.setting(n) + rng.normal(0.0, sd), 0.0) for n, sd in _SCATTER.items()
            }
            settings["flux"] = route.setting("flux") * float(
                np.clip(rng.normal(1.0, _FLUX_SHARE), 0.5, 1.5)
            )
            cases.append((dataclasses.replace(steel, composition=given), route.with_(**settings)))
        return cases

    def score(self) -> None:
        """Estimate every held-out head; the score is the mean chance that it reaches both goals."""
        goal, self.chances = self._goals[self.goal.value], []
        head = self._forgeprops.head("mid-iron")

        def one(case) -> None:
            result = self._model(case[0], head, case[1])
            face, hosel = result.zones["face"], result.hosel
            self.chances.append(
                (
                    chance(
                        face.hardness_hv, face.hardness_low_hv, face.hardness_high_hv, goal.face_hv
                    ),
                    chance(
                        hosel.allowed_deg,
                        hosel.allowed_deg_low,
                        hosel.allowed_deg_high,
                        goal.hosel_deg,
                    ),
                )
            )
            if len(self.chances) == _HEADS:
                self._tell()

        self.work.start(self.held_out(), one, "heads")

    def marks(self) -> tuple[float, float, float]:
        """Score, and the mean chances of face and hosel alone."""
        both = np.array(self.chances)
        return float(both.prod(axis=1).mean()), *(float(m) for m in both.mean(axis=0))

    def _tell(self) -> None:
        score, face, hosel = self.marks()
        if score >= _PASS:
            words = "Well set: this would do in a shop."
        elif face < hosel:
            words = (
                "The face is the weak side: more water, sooner or longer, but keep the hosel dry."
            )
        else:
            words = "The hosel is the weak side: it comes out too hard or too unsure; look at how it cools."
        self.verdict.value = (
            '<div role="status" style="font-size:15px;max-width:900px;margin:6px 8px"><b>About '
            f"{100 * score:.0f} of 100 "
            f"heads would meet both goals.</b> {html.escape(words)} (Judged on {_HEADS} heads you did not "
            "see: another melt "
            "within the grade, furnace, delay and water as a shop's day scatters them, each with the "
            "uncertainty of the "
            f"model. {100 * _PASS:.0f} of 100 is a pass; there is no single right setting.)</div>"
        )


def task_panel():
    """Return the task of the lesson."""
    return TaskPanel().widget
