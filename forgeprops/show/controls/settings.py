"""Controls with the trade's words, limits inside the valid ranges, and room beside each for a sentence."""

from __future__ import annotations

import html
from dataclasses import dataclass

from .. import style
from ..units import Units

__all__ = ["SETTINGS", "Choice", "Setting", "Slider", "note"]

_LABEL_WIDTH, _CONTROL_WIDTH = "195px", "470px"


@dataclass(frozen=True)
class Setting:
    """One thing people turn: its words and the limits its slider offers.

    Attributes
    ----------
    label : str
        Words beside the slider.
    unit : str
        Unit; "°C" follows the reader's choice.
    low, high, step : float
        What the slider offers: the everyday range, inside what `Route` accepts (a test holds it there).
    form : str
        Number format of the readout.
    """

    label: str
    unit: str
    low: float
    high: float
    step: float
    form: str = ".0f"


#: Sliders by the short names of `Route.SETTINGS`.  Limits: everyday ranges (our choice), inside the route's.
SETTINGS = {
    "preheat_c": Setting("forging temperature", "°C", 650.0, 1100.0, 5.0),
    "soak_s": Setting("time in the furnace", "s", 120.0, 3600.0, 30.0),
    "transfer_s": Setting("furnace to die", "s", 0.0, 20.0, 0.5, ".1f"),
    "rest_s": Setting("rest in the die", "s", 0.0, 5.0, 0.1, ".1f"),
    "die_c": Setting("die temperature", "°C", 20.0, 450.0, 10.0),
    "flux": Setting("water on the face", "kg/(m² s)", 0.0, 30.0, 0.5, ".1f"),
    "spray_s": Setting("water runs", "s", 0.0, 20.0, 0.25, ".2f"),
    "delay_s": Setting("squeeze to water", "s", 0.0, 15.0, 0.25, ".2f"),
    "water_c": Setting("water temperature", "°C", 5.0, 60.0, 1.0),
    "hosel_share": Setting("water on the hosel, share", "", 0.0, 1.0, 0.05, ".2f"),
}


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
        Short name in `SETTINGS`.
    value : float
        First value, in the package's unit.
    units : Units
        Display units.
    setting : Setting, optional
        Words and limits of something that is no setting of the route.
    """

    def __init__(self, name: str, value: float, units: Units, setting: Setting | None = None):
        import ipywidgets as w

        self.name, self.setting, self._units = name, setting or SETTINGS[name], units
        s = self.setting
        self.widget = w.FloatSlider(
            value=value,
            min=s.low,
            max=s.high,
            step=s.step,
            readout_format=s.form,
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
        low, high = self._out(s.low), self._out(s.high)
        step = units.step_from_c(s.step) if s.unit == "°C" else s.step
        self._quiet = True
        try:
            with self.widget.hold_trait_notifications():
                self.widget.min, self.widget.max, self.widget.step = low, high, step
                self.widget.value = self._out(value)
                self.widget.description = self._label()
        finally:
            self._quiet = False

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
