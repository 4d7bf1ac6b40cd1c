"""Controls with the trade's words, limits inside the valid ranges, and room beside each for a sentence."""

from __future__ import annotations

import html

from ...base.errors import check_number
from ...inputs.settings import table
from .. import style
from ..units import Units

__all__ = ["Choice", "Slider", "note"]

_LABEL_WIDTH, _CONTROL_WIDTH = "195px", "470px"


def note(sentence: str = "", bad: bool = True) -> str:
    """HTML of one sentence beside a control."""
    if not sentence:
        return ""
    colour = style.CAUTION if bad else style.QUIET
    return (
        f'<span role="{"alert" if bad else "status"}" style="color:{colour};line-height:1.25;'
        f'display:inline-block;max-width:420px;white-space:normal">{html.escape(sentence)}</span>'
    )


class Slider:
    """Slider that holds its value in the package's unit and shows it in the reader's.

    Parameters
    ----------
    name : str
        Short name of a setting that has a slider (data/constants/settings.csv).
    value : float
        First value, in the package's unit.
    units : Units
        Display units.
    """

    def __init__(self, name: str, value: float, units: Units):
        import ipywidgets as w

        self.name, self.setting, self._units = name, table()[name], units
        s = self.setting
        self.widget = w.FloatSlider(
            value=value,
            min=s.slider[0],
            max=s.slider[1],
            step=s.slider[2],
            readout_format=f".{s.digits}f",
            description=self._label(),
            continuous_update=True,
            style={"description_width": _LABEL_WIDTH},
            layout={"width": _CONTROL_WIDTH},
        )
        self.widget.add_class(f"fp-{name.replace('_', '-')}")
        self.note = w.HTML()
        self.row = w.HBox(
            [self.widget, self.note], layout={"align_items": "center", "min_height": "32px"}
        )
        self._quiet = False
        self.set_units(units)
        self.value = value

    def _label(self) -> str:
        unit = self._units.temperature if self.setting.unit == "°C" else self.setting.unit
        return f"{self.setting.label}, {unit}" if unit else self.setting.label

    def _out(self, value: float) -> float:
        return self._units.from_c(value) if self.setting.unit == "°C" else value

    @property
    def value(self) -> float:
        """Value in the package's unit, a whole number of steps in the reader's unit."""
        shown = self.widget.value
        return round(self._units.to_c(shown), 6) if self.setting.unit == "°C" else shown

    @value.setter
    def value(self, value: float) -> None:
        self.widget.value = self._out(value)

    def set_units(self, units: Units) -> None:
        """Show the same value in other units."""
        value, self._units = self.value, units
        s = self.setting
        low, high, step = s.slider
        low, high = self._out(low), self._out(high)
        step = units.step_from_c(step) if s.unit == "°C" else step
        self._quiet = True
        try:
            with self.widget.hold_trait_notifications():
                self.widget.min, self.widget.max, self.widget.step = low, high, step
                self.widget.value = self._out(value)
                self.widget.description = self._label()
        finally:
            self._quiet = False

    def check(self, value, where: str = "settings file") -> float:
        """The value if the slider reaches it; otherwise an InputError."""
        s = self.setting
        return check_number(value, s.label, s.slider[0], s.slider[1], s.unit, where)

    def on_change(self, callback) -> None:
        """Call ``callback(self)`` whenever the reader moves the slider."""
        self.widget.observe(lambda _: None if self._quiet else callback(self), names="value")


class Choice:
    """Drop-down list with room for a sentence.

    Parameters
    ----------
    name : str
        Name for tests and saved inputs.
    label : str
    options : sequence of str or of (words, value)
    value : str
    """

    def __init__(self, name: str, label: str, options, value):
        import ipywidgets as w

        self.name = name
        self.widget = w.Dropdown(
            options=options,
            value=value,
            description=label,
            style={"description_width": _LABEL_WIDTH},
            layout={"width": _CONTROL_WIDTH},
        )
        self.widget.add_class(f"fp-{name.replace('_', '-')}")
        self.note = w.HTML()
        self.row = w.HBox(
            [self.widget, self.note], layout={"align_items": "center", "min_height": "32px"}
        )

    @property
    def value(self):
        """Chosen value."""
        return self.widget.value

    @value.setter
    def value(self, value) -> None:
        self.widget.value = value

    def on_change(self, callback) -> None:
        """Call ``callback(self)`` whenever the reader chooses another value."""
        self.widget.observe(lambda _: callback(self), names="value")
