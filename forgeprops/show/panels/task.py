"""The task that ends the lesson: strong face, bendable hosel, scored on heads the trainee does not see."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...base.constants import Z80
from ...inputs.job import Job
from .. import markup, style
from ..controls.fields import button, buttons, html
from ..controls.panel import Panel, case_controls, row
from ..controls.progress import Work
from ..units import Units, units


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
    spread = max(half / Z80, 1e-9)
    return 0.5 * math.erfc((goal - value) / (spread * math.sqrt(2.0)))


class TaskPanel(Panel):
    """Sliders, a target to hit, and a score on heads that were not shown.

    Parameters
    ----------
    model : callable, optional
        ``model(job) -> Estimate``.
    display_units : Units, optional
    """

    kind, size, shows = "task", (540, 360), "face hardness against bend allowed, with the goal"

    def __init__(self, model=None, display_units: Units | None = None):
        import forgeprops

        shown, self._model = display_units or units(), model or forgeprops.estimate
        self._goals = {g.grade: g for g in GOALS}
        self.goal = buttons("goal", "steel", tuple(self._goals), GOALS[0].grade)
        names = (*_SLIDERS, "surroundings")
        super().__init__(
            {"grade": self.goal, **case_controls(names, shown)}, (("grade", *names),), shown
        )
        self.live.widget.add_class("fp-target")
        self._draw()
        self.headline.add_class("fp-task-words")
        look = {"button_style": "primary"}
        self.score_button = button(
            "score", "Check my settings", "check", self.score, "190px", **look
        )
        self.verdict, self.work = html("verdict"), Work()
        self.chances: list[tuple[float, float]] = []  # of face and hosel, head by head
        top, words, picture, _, keep, names = self.widget.children
        below = (row(self.score_button, self.work.widget), self.verdict, keep, names)
        self.widget.children = (row(top, picture), words, *below)
        self._moved(self.goal)

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

    def answer(self, control) -> None:
        goal = self._goals[self.goal.value]
        self.result = self._model(self.job)
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
        self.say(
            f"Face {face.hardness_hv:.0f} HV ({face.hardness_low_hv:.0f}–{face.hardness_high_hv:.0f}), hosel "
            f"{hosel.allowed_deg:.1f}° ({hosel.allowed_deg_low:.1f}–{hosel.allowed_deg_high:.1f})."
        )

    # ---- score
    def held_out(self) -> list[Job]:
        """Jobs of the heads that are scored: the settings as a shop's day scatters them.

        The composition lies anywhere in the grade's range; the draws are the same for everybody.
        """
        rng = np.random.default_rng(_SEED)
        steel, route = self.job.steel, self.job.route
        cases = []
        for _ in range(_HEADS):
            given = {}
            for element, (low, high) in (steel.limits or {}).items():
                if low is not None and high is not None:
                    given[element] = float(rng.uniform(low, high))
            settings = {
                n: max(route.setting(n) + rng.normal(0.0, sd), 0.0) for n, sd in _SCATTER.items()
            }
            settings["flux"] = route.setting("flux") * float(
                np.clip(rng.normal(1.0, _FLUX_SHARE), 0.5, 1.5)
            )
            cases.append(self.job.with_(**given, **settings))
        return cases

    def score(self) -> None:
        """Estimate every held-out head; the score is the mean chance that it reaches both goals."""
        goal, self.chances = self._goals[self.goal.value], []

        def one(case) -> None:
            result = self._model(case)
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
        how = (
            f"(Checked on {_HEADS} heads you did not see: another melt within the grade, furnace, delay and "
            "spray as a shop's day scatters them, each with the uncertainty of the model. "
            f"{100 * _PASS:.0f} of 100 is a pass; there is no single right setting.)"
        )
        share = f"<b>About {100 * score:.0f} of 100 heads would meet both goals.</b>"
        self.verdict.value = markup.status(share, markup.text(words), markup.text(how))


def task_panel():
    """Return the task of the lesson."""
    return TaskPanel().widget
