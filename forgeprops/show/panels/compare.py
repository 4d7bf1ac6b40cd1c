"""Grades against preheat temperatures for one head, ranked by the reader's own limits."""

from __future__ import annotations

import functools

import numpy as np

from ...base.errors import InputError
from ...inputs.route import Route
from ...study.process.comparison import PREHEATS_C, Comparison
from .. import markup
from ..controls.fields import html, several
from ..controls.limits_box import LimitsBox
from ..controls.panel import WorkPanel, case_controls
from ..controls.save_bar import checked
from ..figures.compare import compare_picture
from ..units import Units, units

__all__ = ["ComparePanel", "compare_panel"]

#: Most grades that stand in one picture and can still be read.
MOST_GRADES = 10
GRADES = ("1030", "1040", "1050", "4130", "4140", "8620")
#: First limits: an invented wish, so that there is something to rank by.
WISH = {
    "face_hardness_hv": (380.0, 450.0),
    "hosel_allowed_deg": (2.0, None),
    "press_effort": (None, 1.15),
    "scale_um": (None, 130.0),
}
_HINT = markup.note(f"Hold Ctrl (or Cmd) for several; up to {MOST_GRADES}.", bad=False)


@functools.lru_cache(maxsize=512)
def calculated(grade: str, head: str, flux: float, spray_s: float, preheats_c=PREHEATS_C):
    """Rows of one grade at every temperature."""
    import forgeprops

    route = Route().with_(flux=flux, spray_s=spray_s)
    return forgeprops.compare([grade], preheats_c, head, route).table


class ComparePanel(WorkPanel):
    """Grades, head, water and limits; six tables in one picture, the answer in words, and the ranking.

    A new grade, head or spray is calculated beside the page; new limits rank what is there at once.

    Parameters
    ----------
    model : callable, optional
        ``model(grade, head, flux, spray_s) -> DataFrame``; the real one unless a test hands in another.
    display_units : Units, optional
    **first
        First values of the controls.

    Attributes
    ----------
    result : Comparison
    """

    kind, size = "compare", (1080, 560)
    shows = "grades against preheat temperatures: rank, results and costs"

    def __init__(self, model=None, display_units: Units | None = None, **first):
        import forgeprops

        shown, self._model, self._tables = display_units or units(), model or calculated, []
        left = ("head", "flux", "spray_s")
        controls = case_controls(left, shown, **first)
        grades = first.get("grades", GRADES)
        controls["grades"] = several("grades", "steel grades", forgeprops.grades(), grades)
        controls["limits"] = self.box = LimitsBox(first.get("limits", WISH), shown)
        super().__init__(controls, ((*left, "grades"), ("limits",)), shown)
        for slider in self.sliders.values():
            slider.widget.continuous_update = False
        self.ranking = html("ranking")
        self.below.children = (self.ranking,)
        self.start()

    def answer(self, control) -> None:
        if control is not self.box:
            self.start()
        elif self._tables:
            self._ranked()

    def put(self, values) -> None:
        given = checked(self.controls, values)
        _checked_count(given["grades"])
        self.turn(given)

    def items(self) -> tuple[str, ...]:
        """The grades chosen, one step each."""
        self._tables, self._asked = [], self.inputs
        beside = self.controls["grades"].note
        try:
            grades = _checked_count(self._asked.grades)
        except InputError as error:
            beside.value = markup.note(str(error))
            raise
        beside.value = _HINT
        return grades

    def step(self, grade: str) -> None:
        asked = self._asked
        self._tables.append(self._model(grade, asked.head, asked.flux, asked.spray_s))
        self._ranked()

    def _ranked(self) -> None:
        """Rank what is there by the limits as they are now."""
        self.result = ranked(self._tables, self.box.limits)
        self.draw(compare_picture, self.result, self._asked.grades)
        self.tell(self.sentences())
        table = _ranking(self.result, self.units)
        self.ranking.value = markup.folded("The ranking as a table", table)

    def sentences(self) -> list[str]:
        """The answer in sentences."""
        found, text = self.result, self.units.temperature_text
        if not found.limits.bounds:
            return ["No limits are set, so nothing is ranked. Put in what you need, at the right."]
        best = found.best
        at = f"{best['grade']} from {text(best['preheat_c'])}"
        if not best["meets"]:
            return [
                f"Nothing here meets all your limits. {at} comes nearest: it misses {best['binding']} by "
                f"{-best['slack']:.1f} steps."
            ]
        met = found.table[found.table["meets"]]
        told = [
            f"{at} meets all your limits with the most room: face {self.units.hardness_text(best['face_hardness_hv'])}"
            f", hosel {best['hosel_allowed_deg']:.1f}°; what comes first is {best['binding']}."
        ]
        spans = [
            f"{grade} from {text(mine['preheat_c'].min())}"
            + (f" to {text(mine['preheat_c'].max())}" if len(mine) > 1 else "")
            for grade, mine in met.groupby("grade", sort=False)
        ]
        told.append(f"{len(met)} of {len(found.table)} fields meet them all: {'; '.join(spans)}.")
        never = [g for g in dict.fromkeys(found.table["grade"]) if g not in set(met["grade"])]
        if never:
            told.append(f"At no temperature: {', '.join(never)}.")
        costs = f"{best['press_s']:.1f} s on the press, {best['heads_per_hour']:.0f} heads an hour"
        told.append(
            f"It takes {costs} ({best['held_up_by']} is the slowest) and {best['water_l']:.2f} L of water a head."
        )
        return told


def _checked_count(grades: tuple[str, ...]) -> tuple[str, ...]:
    if not 1 <= len(grades) <= MOST_GRADES:
        raise InputError(f"{len(grades)} grades are chosen; allowed are 1 to {MOST_GRADES}.")
    return grades


def ranked(tables, limits) -> Comparison:
    """Rows of several grades as one comparison, judged by `limits`."""
    import pandas as pd

    table = pd.concat(tables, ignore_index=True)
    table["slack"], table["binding"] = limits.slack(table), limits.binding(table)
    table["meets"] = table["slack"] >= 0.0
    table["rank"] = np.argsort(np.argsort(-table["slack"].to_numpy(float), kind="stable")) + 1
    return Comparison(table, None, limits)


def _ranking(found: Comparison, shown: Units) -> str:
    head = ("rank", "grade", f"from, {shown.temperature}", "face", "hosel", "bend, °", "margin", "effort",
            "scale, µm", "room, steps", "what comes first")  # fmt: skip
    limited = bool(found.limits.bounds)
    rows = [
        (r["rank"] if limited else "", r["grade"], f"{shown.from_c(r['preheat_c']):.0f}",
         shown.hardness_text(r["face_hardness_hv"]), shown.hardness_text(r["hosel_hardness_hv"]),
         f"{r['hosel_allowed_deg']:.1f}", f"{r['face_margin']:.2f}", f"{r['press_effort']:.2f}",
         f"{r['scale_um']:.0f}", f"{r['slack']:.1f}" if limited else "", r["binding"])
        for r in found.table.sort_values("rank").to_dict("records")
    ]  # fmt: skip
    return markup.table(head, rows)


def compare_panel(**first):
    """Return the panel that compares grades, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **first
        First values of the controls: ``grades``, ``head``, ``flux``, ``spray_s``, ``limits``.
    """
    return ComparePanel(**first).widget
