"""Every grade at every preheat temperature, for one head and one setting of the spray: a table with its numbers."""

from __future__ import annotations

from .. import markup, style
from ..controls.fields import html
from ..controls.panel import WorkPanel, case_controls
from ..units import Units, units
from .compare import calculated

__all__ = ["GradeMapPanel", "grade_map_panel"]

#: Preheat temperatures of the table, °C: from warm to hot (our choice).
PREHEATS_C = (800.0, 850.0, 900.0, 950.0, 1000.0)
#: Column of `compare` → words, number format, colour map (each rises in lightness) and its ends.
_COLUMNS = {
    "face_hardness_hv": ("face, HV", "{:.0f}", style.HARDNESS_MAP, (120.0, 600.0)),
    "hosel_hardness_hv": ("hosel, HV", "{:.0f}", style.HARDNESS_MAP, (120.0, 600.0)),
    "hosel_allowed_deg": ("bend, °", "{:.1f}", "viridis", (0.0, 4.0)),
}


class GradeMapPanel(WorkPanel):
    """A table filled grade by grade while the page stays alive.

    Parameters
    ----------
    grades : sequence of str, optional
        Rows; every grade of the library unless given.
    display_units : Units, optional
    """

    kind = "grade_map"

    def __init__(self, grades=None, display_units: Units | None = None):
        import forgeprops

        self.grades = tuple(grades or forgeprops.grades())
        names, shown = ("head", "flux", "spray_s"), display_units or units()
        super().__init__(case_controls(names, shown), (names[:1], names[1:]), shown)
        self.live.widget.layout.display = "none"
        for slider in self.sliders.values():
            slider.widget.continuous_update = False
        self.table = html("map")
        self.below.children = (self.table,)
        self.rows: dict[str, dict] = {}
        self.start()

    def answer(self, control) -> None:
        self.start()

    def items(self):
        self.rows, self._asked = {}, self.inputs
        return self.grades

    def step(self, grade: str) -> None:
        asked = self._asked
        found = calculated(grade, asked.head, asked.flux, asked.spray_s, PREHEATS_C)
        self.rows[grade] = {name: found[name].to_numpy(float) for name in _COLUMNS}
        self.table.value = self._written()

    def _written(self) -> str:
        head = ["grade"]
        for words, *_ in _COLUMNS.values():
            head += [f"{words}, {self.units.temperature_text(t)}" for t in PREHEATS_C]
        fields = [(name, place) for name in _COLUMNS for place in range(len(PREHEATS_C))]
        rows = [
            (grade, *(_COLUMNS[name][1].format(values[name][place]) for name, place in fields))
            for grade, values in self.rows.items()
        ]
        found = list(self.rows.values())

        def shade(row: int, column: int) -> str | None:
            if column == 0:
                return None
            name, place = fields[column - 1]
            return style.shade(*_COLUMNS[name][2:], found[row][name][place])

        return markup.table(head, rows, shade)


def grade_map_panel(grades=None):
    """Return the table of every grade (or the ones named) at every preheat temperature."""
    return GradeMapPanel(grades).widget
