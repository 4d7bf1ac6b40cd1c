"""Every grade at every forging temperature, for one head and one water setting."""

from __future__ import annotations

import html

from ...inputs.route import Route
from .. import style
from ..canvas import LiveFigure
from ..controls.accessibility import slider_names
from ..controls.kept_fields import kept, put
from ..controls.progress import Work
from ..controls.save_bar import KeepBar
from ..controls.settings import Choice, Slider
from ..figures import GradeMap
from ..units import Units, units

__all__ = ["GradeMapPanel", "grade_map_panel"]

#: Forging temperatures of the map, °C: from warm to hot, our choice.
PREHEATS_C = (800.0, 850.0, 900.0, 950.0, 1000.0)
_COLUMNS = ("face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg")


class GradeMapPanel:
    """Three maps side by side, filled grade by grade while the page stays alive.

    Parameters
    ----------
    grades : sequence of str, optional
        Rows; every grade of the library unless given.
    display_units : Units, optional
        The reader's units.
    """

    def __init__(self, grades=None, display_units: Units | None = None):
        import ipywidgets as w

        import forgeprops

        self._forgeprops = forgeprops
        shown = self._shown = display_units or units()
        self.grades = tuple(grades or forgeprops.grades())
        route = Route()
        self.head = Choice("map-head", "head", forgeprops.heads(), "mid-iron")
        self.flux = Slider("flux", route.spray.flux_kg_m2_s, shown)
        self.spray_s = Slider("spray_s", route.spray.duration_s, shown)
        self.go = w.Button(
            description="Work it out again",
            icon="play",
            button_style="primary",
            layout={"width": "170px"},
        )
        self.go.add_class("fp-go")
        self.go.on_click(lambda _: self.start())
        self.live = LiveFigure(
            1060, 130 + 19 * len(self.grades), "every grade at every forging temperature"
        )
        self.live.widget.add_class("fp-map")
        with style.look():
            axes = self.live.figure.subplots(1, len(_COLUMNS))
            self.maps = {
                column: GradeMap(ax, column, self.grades, PREHEATS_C, shown, show_names=i == 0)
                for i, (column, ax) in enumerate(zip(_COLUMNS, axes, strict=True))
            }
        self.live.set_live(*(a for m in self.maps.values() for a in m.artists))
        self._controls = {"head": self.head, "flux": self.flux, "spray_s": self.spray_s}
        self.keep = KeepBar("grade_map", self._kept, self.set_inputs)
        self.work, self.caption = Work(), w.HTML()
        self.caption.add_class("fp-map-words")
        self.widget = w.VBox(
            [
                w.HBox([self.head.row, self.flux.row], layout={"flex_flow": "row wrap"}),
                w.HBox(
                    [self.spray_s.row, self.go],
                    layout={"flex_flow": "row wrap", "align_items": "center"},
                ),
                self.work.widget,
                self.live.widget,
                self.caption,
                self.keep.widget,
                slider_names(),
            ]
        )
        self.start()

    def _kept(self) -> dict:
        return kept(self._controls)

    def set_inputs(self, values: dict) -> None:
        """Set the controls from saved inputs and work the map out; nothing changes if one cannot be used.

        Raises
        ------
        InputError
            A name that is missing or unknown, or a value outside what the control offers.
        """
        put(self._controls, values)
        self.start()

    def start(self) -> None:
        """Work the map out for the settings shown."""
        from ...study.process.many import estimate_many

        self.work.stop()
        self.work.join(raising=False)
        for one in self.maps.values():
            one.clear()
        self.live.refresh()
        head = self._forgeprops.head(self.head.value)
        route = Route().with_(flux=self.flux.value, spray_s=self.spray_s.value)

        def row(grade: str) -> None:
            table = estimate_many(
                self._forgeprops.grade(grade), head, [route.with_(preheat_c=t) for t in PREHEATS_C]
            )
            for column, one in self.maps.items():
                one.set_row(grade, table[column].to_numpy(float))
            self.live.refresh()
            self.caption.value = self.described()

        self.work.start(self.grades, row, "grades")

    def described(self) -> str:
        """The map in words, a line a grade, for those who cannot see it."""
        lines = []
        for grade in self.grades:
            told = [one.describe(grade) for one in self.maps.values()]
            if all(told):
                lines.append(f"<li>{html.escape(f'{grade}: ' + ', '.join(told))}.</li>")
        first, last = (self._shown.temperature_text(t) for t in (PREHEATS_C[0], PREHEATS_C[-1]))
        return (
            f"<details><summary>The map in words</summary><p>From {first} to {last}:</p><ul>{''.join(lines)}"
            "</ul></details>"
        )


def grade_map_panel(grades=None):
    """Return the panel with every grade (or the ones named) at every forging temperature."""
    return GradeMapPanel(grades).widget
