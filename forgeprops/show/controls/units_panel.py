"""Choose °C or °F, mm or in, HV, HRC or HB: once, for every notebook."""

from __future__ import annotations

from dataclasses import fields

from ..units import Units, choose_units, units, units_file
from .settings import note

__all__ = ["UnitsPanel", "units_panel"]

_CHOICES = {"temperature": ("°C", "°F"), "length": ("mm", "in"), "hardness": ("HV", "HRC", "HB")}


class UnitsPanel:
    """Three rows of buttons; a click is kept for every notebook opened or run afterwards."""

    def __init__(self):
        import ipywidgets as w

        now = units()
        self.rows = {}
        for name, options in _CHOICES.items():
            wide = {"description_width": "100px", "button_width": "80px"}
            self.rows[name] = w.ToggleButtons(
                options=options, value=getattr(now, name), description=name, style=wide
            )
            self.rows[name].add_class(f"fp-unit-{name}")
            self.rows[name].observe(lambda _: self._chosen(), names="value")
        self.said = w.HTML(note("Run a notebook's cells again after a change.", bad=False))
        self.said.add_class("fp-unit-words")
        self.widget = w.VBox([*self.rows.values(), self.said])

    def _chosen(self) -> None:
        chosen = choose_units(
            **{field.name: self.rows[field.name].value for field in fields(Units)}
        )
        self.said.value = note(
            f"Kept: {chosen.temperature}, {chosen.length}, {chosen.hardness} ({units_file().name}). Run a "
            "notebook's "
            "cells again to see it.",
            bad=False,
        )


def units_panel():
    """Return the panel that chooses the display units."""
    return UnitsPanel().widget
