"""Grades against forging temperatures for one head, ranked by the reader's own limits."""

from __future__ import annotations

import dataclasses
import functools
import html
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

import numpy as np

from ...base.errors import InputError, check_choice
from ...inputs.route import Route
from ...study.process.comparison import PREHEATS_C, Comparison
from ..controls.file_panel import FilePanel
from ..controls.limits_box import LimitsBox
from ..controls.save_bar import KeepBar, check_names
from ..controls.settings import Choice, Slider, note
from ..figures.compare import compare_picture
from ..units import Units, units

__all__ = ["CompareInputs", "ComparePanel", "compare_panel"]

#: Most grades that stand in one picture and can still be read.
MOST_GRADES = 10
_ROUTE = Route()
#: First limits: an invented wish, so that there is something to rank by.
_WISH = {
    "face_hardness_hv": (380.0, 450.0),
    "hosel_allowed_deg": (2.0, None),
    "press_effort": (None, 1.15),
    "scale_um": (None, 130.0),
}


@dataclass(frozen=True)
class CompareInputs:
    """What the panel asks for.

    Attributes
    ----------
    grades : tuple of str
    head : str
    flux, spray_s : float
        Water on the face, kg/(m² s), and how long it runs, s.
    limits : mapping of str to (low, high)
    """

    grades: tuple[str, ...] = ("1030", "1040", "1050", "4130", "4140", "8620")
    head: str = "mid-iron"
    flux: float = _ROUTE.spray.flux_kg_m2_s
    spray_s: float = _ROUTE.spray.duration_s
    limits: Mapping = field(default_factory=lambda: dict(_WISH))


@functools.lru_cache(maxsize=512)
def _marched(grade: str, head: str, flux: float, spray_s: float):
    """Rows of one grade at every temperature."""
    import forgeprops

    route = Route().with_(flux=flux, spray_s=spray_s)
    return forgeprops.compare([grade], PREHEATS_C, head, route).table


class ComparePanel(FilePanel):
    """Grades, head, water and limits; six tables in one picture, the answer in words, and the ranking.

    A new grade, head or water is marched beside the page; new limits rank what is there at once.

    Parameters
    ----------
    inputs : CompareInputs
        First settings.
    model : callable, optional
        ``model(grade, head, flux, spray_s) -> DataFrame``; the real one unless a test hands in another.
    display_units : Units, optional

    Attributes
    ----------
    result : Comparison
    """

    go_words, size = "Work it out again", (1080, 560)
    shows = "grades against forging temperatures: rank, results and costs"

    def __init__(
        self, inputs: CompareInputs | None = None, model=None, display_units: Units | None = None
    ):
        import ipywidgets as w

        import forgeprops

        inputs, shown = inputs or CompareInputs(), display_units or units()
        self._model, self._busy, self._tables = model or _marched, True, []
        self.grades = w.SelectMultiple(
            options=forgeprops.grades(),
            value=tuple(inputs.grades),
            rows=9,
            description="steel grades",
            style={"description_width": "100px"},
            layout={"width": "240px"},
        )
        self.grades.add_class("fp-grades")
        self.grades_note = w.HTML(_HINT)
        self.head = Choice("head", "head", forgeprops.heads(), inputs.head)
        self.sliders = {
            name: Slider(name, getattr(inputs, name), shown) for name in ("flux", "spray_s")
        }
        self.box = LimitsBox(inputs.limits, shown)
        left = w.VBox(
            [self.head.row, *(s.row for s in self.sliders.values()), self.grades, self.grades_note]
        )
        controls = w.HBox([left, self.box.widget], layout={"flex_flow": "row wrap"})
        super().__init__([controls], shown)
        self.live.widget.add_class("fp-picture")
        self.keep = KeepBar("compare", lambda: _kept(self.inputs), self.set_inputs)
        self.widget.children = (*self.widget.children, self.keep.widget)
        self.widget.add_class("fp-compare")
        for slider in self.sliders.values():
            slider.widget.continuous_update = False
            slider.on_change(lambda _: self._changed())
        self.head.on_change(lambda _: self._changed())
        self.grades.observe(lambda _: self._changed(), names="value")
        self.box.on_change(self._ranked)
        self._busy = False
        self.start()

    @property
    def inputs(self) -> CompareInputs:
        """What the controls say now."""
        return CompareInputs(
            tuple(self.grades.value),
            self.head.value,
            self.sliders["flux"].value,
            self.sliders["spray_s"].value,
            self.box.kept,
        )

    def set_inputs(self, values: dict) -> None:
        """Set the controls from saved inputs; nothing changes if one of them cannot be used.

        Raises
        ------
        InputError
            A name that is missing or unknown, or a value outside what the control offers.
        """
        check_names(values, (f.name for f in dataclasses.fields(CompareInputs)))
        if not isinstance(values["grades"], (list, tuple)):
            raise InputError(f"grades is {values['grades']!r:.60}; allowed is a list of grades.")
        grades = tuple(self._forgeprops.grade(g).name for g in values["grades"])
        _checked_count(grades)
        check_choice(values["head"], "head", self._forgeprops.heads(), "settings file")
        for name in self.sliders:
            self.sliders[name].check(values[name])
        self._busy = True
        try:
            self.box.put(values["limits"])  # it checks before it changes anything
            self.grades.value, self.head.value = grades, values["head"]
            for name, slider in self.sliders.items():
                slider.value = values[name]
        finally:
            self._busy = False
        self.start()

    def _changed(self) -> None:
        if not self._busy:
            self.start()

    def items(self) -> tuple[str, ...]:
        """The grades chosen, one step each."""
        try:
            grades = _checked_count(tuple(self.grades.value))
        except InputError as error:
            self.grades_note.value = note(str(error))
            raise
        self.grades_note.value = _HINT
        return grades

    def start(self) -> None:
        """March the grades chosen; those marched before come at once."""
        self.work.stop()
        self.work.join(raising=False)
        self._tables, self._asked = [], self.inputs
        super().start()

    def step(self, grade: str) -> None:
        asked = self._asked
        self._tables.append(self._model(grade, asked.head, asked.flux, asked.spray_s))
        self._ranked()

    def _ranked(self) -> None:
        """Rank what is there by the limits as they are now."""
        if self._busy or not self._tables:
            return
        self.result = ranked(self._tables, self.box.limits)
        self.draw(compare_picture, self.result, self._asked.grades)
        self.tell("\n".join(self.answer()))
        self.below.children = (_ranking(self.result, self._units),)

    def answer(self) -> list[str]:
        """The answer in sentences."""
        found, text = self.result, self._units.temperature_text
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
            f"{at} meets all your limits with the most room: face {self._units.hardness_text(best['face_hardness_hv'])}"
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


_HINT = note(f"Hold Ctrl (or Cmd) for several; up to {MOST_GRADES}.", bad=False)


def _checked_count(grades: tuple[str, ...]) -> tuple[str, ...]:
    if not 1 <= len(grades) <= MOST_GRADES:
        raise InputError(f"{len(grades)} grades are chosen; allowed are 1 to {MOST_GRADES}.")
    return grades


def _kept(inputs: CompareInputs) -> dict:
    """Inputs as a settings file keeps them."""
    return asdict(inputs) | {"grades": list(inputs.grades), "limits": dict(inputs.limits)}


def ranked(tables, limits) -> Comparison:
    """Rows of several grades as one comparison, judged by `limits`."""
    import pandas as pd

    table = pd.concat(tables, ignore_index=True)
    table["slack"], table["binding"] = limits.slack(table), limits.binding(table)
    table["meets"] = table["slack"] >= 0.0
    table["rank"] = np.argsort(np.argsort(-table["slack"].to_numpy(float), kind="stable")) + 1
    return Comparison(table, None, limits)


def _ranking(found: Comparison, shown: Units):
    """The ranking as a table, folded."""
    import ipywidgets as w

    head = ("rank", "grade", f"from, {shown.temperature}", "face", "hosel", "bend, °", "margin", "effort",
            "scale, µm", "room, steps", "what comes first")  # fmt: skip
    rows = []
    for r in found.table.sort_values("rank").to_dict("records"):
        cells = (r["rank"] if found.limits.bounds else "", r["grade"], f"{shown.from_c(r['preheat_c']):.0f}",
                 shown.hardness_text(r["face_hardness_hv"]), shown.hardness_text(r["hosel_hardness_hv"]),
                 f"{r['hosel_allowed_deg']:.1f}", f"{r['face_margin']:.2f}", f"{r['press_effort']:.2f}",
                 f"{r['scale_um']:.0f}", f"{r['slack']:.1f}" if found.limits.bounds else "", r["binding"])  # fmt: skip
        rows.append(
            "<tr>"
            + "".join(
                f"<td style='padding:1px 10px 1px 0'>{html.escape(str(c))}</td>" for c in cells
            )
            + "</tr>"
        )
    titles = "".join(f"<th style='text-align:left;padding-right:10px'>{h}</th>" for h in head)
    table = w.HTML(
        "<details><summary style='cursor:pointer'>The ranking as a table</summary>"
        f"<table><tr>{titles}</tr>{''.join(rows)}</table></details>"
    )
    table.add_class("fp-ranking")
    return table


def compare_panel(**settings):
    """Return the panel that compares grades, ready to show as the last line of a notebook cell.

    Parameters
    ----------
    **settings
        First settings, see `CompareInputs`.
    """
    return ComparePanel(CompareInputs(**settings)).widget
