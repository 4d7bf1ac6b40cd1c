"""Choose the display units once, for every notebook."""

from __future__ import annotations

from ...units import OFFERED
from .. import markup
from ..units import choose_units, units, units_file
from .fields import buttons, html


class UnitsPanel:
    """A row of buttons for each kind; a click is kept for every notebook opened or run afterwards."""

    def __init__(self):
        import ipywidgets as w

        self.rows = {
            n: buttons(f"unit-{n}", n, options, getattr(units(), n))
            for n, options in OFFERED.items()
        }
        for one in self.rows.values():
            one.on_change(lambda _: self._chosen())
        again = "Run a notebook's cells again after a change."
        self.said = html("unit-words", markup.note(again, bad=False))
        self.widget = w.VBox([*(one.widget for one in self.rows.values()), self.said])

    def _chosen(self) -> None:
        c = choose_units(**{name: one.value for name, one in self.rows.items()})
        kept = f"Kept: {', '.join(c.to_dict().values())} ({units_file().name})."
        self.said.value = markup.note(f"{kept} Run a notebook's cells again to see it.", bad=False)


def units_panel():
    """Return the panel that chooses the display units."""
    return UnitsPanel().widget
