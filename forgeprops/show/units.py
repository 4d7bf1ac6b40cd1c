"""The reader's units, chosen once: °C or °F, mm or in, HV, HRC or HB.  Displays change, numbers do not."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from pathlib import Path

from ..base.constants import MM_PER_INCH
from ..base.errors import InputError, check_choice
from ..io.saved import read_json, write_json

__all__ = ["Units", "choose_units", "units", "units_file"]

_KIND, _VERSION = "units", 1
#: Numbers and their unit in a sentence: "by 357 °C", "380 to 520 HV", "2.8 °C/s".
_AMOUNT = re.compile(
    r"(\bby |± ?)?(-?\d+(?:\.\d+)?)(?:( to | and |–|, )(-?\d+(?:\.\d+)?))? (°C(?:/s)?|HV|mm)(?![²³\w/])"
)


@dataclass(frozen=True)
class Units:
    """Units of every display.

    Attributes
    ----------
    temperature : {"°C", "°F"}
    length : {"mm", "in"}
    hardness : {"HV", "HRC", "HB"}

    Examples
    --------
    >>> Units("°F").temperature_text(930)
    '1706 °F'
    >>> Units(length="in").length_text(13.4)
    '0.528 in'
    """

    temperature: str = "°C"
    length: str = "mm"
    hardness: str = "HV"

    def __post_init__(self):
        check_choice(self.temperature, "temperature unit", ("°C", "°F"))
        check_choice(self.length, "length unit", ("mm", "in"))
        check_choice(self.hardness, "hardness scale", ("HV", "HRC", "HB"))

    def from_c(self, temperature_c):
        """Temperature (number or array) in the chosen unit."""
        return temperature_c if self.temperature == "°C" else temperature_c * 1.8 + 32.0

    def to_c(self, temperature):
        """Temperature in °C from the chosen unit."""
        return temperature if self.temperature == "°C" else (temperature - 32.0) / 1.8

    def step_from_c(self, difference_c):
        """Temperature difference in the chosen unit."""
        return difference_c if self.temperature == "°C" else difference_c * 1.8

    def from_mm(self, length_mm):
        """Length in the chosen unit."""
        return length_mm if self.length == "mm" else length_mm / MM_PER_INCH

    def unit(self, unit: str) -> str:
        """Name of a unit of the package as the reader has it."""
        return {"°C": self.temperature, "mm": self.length}.get(unit, unit)

    def shown(self, setting, value):
        """A setting's number (or array) in the reader's units."""
        if setting.unit == "°C":
            return self.from_c(value)
        return self.from_mm(value) if setting.unit == "mm" else value

    def title(self, setting) -> str:
        """Words and unit of a setting, as an axis title."""
        return f"{setting.label}, {self.unit(setting.unit)}".rstrip(", ")

    def setting_text(self, setting, value: float) -> str:
        """A setting and its number in a sentence: "spray rate 12.1 kg/(m² s)"."""
        return f"{setting.label} {self.value_text(setting, value)}"

    def value_text(self, setting, value: float) -> str:
        """A setting's number and unit, with the decimals that it needs: "12.1 kg/(m² s)"."""
        unit, inches = self.unit(setting.unit), setting.unit == "mm" and self.length == "in"
        digits = 3 if inches else setting.digits
        return f"{self.shown(setting, value):.{digits}f} {unit}".rstrip()

    def step_text(self, setting, step: float) -> str:
        """A difference of a setting, such as its tolerance: "10 °C"."""
        step = self.step_from_c(step) if setting.unit == "°C" else self.shown(setting, step)
        return f"{step:.2g} {self.unit(setting.unit)}".rstrip()

    def temperature_text(self, temperature_c: float) -> str:
        """Temperature in words: '930 °C'."""
        return f"{self.from_c(temperature_c):.0f} {self.temperature}"

    def length_text(self, length_mm: float) -> str:
        """Length in words: '2.8 mm'."""
        return f"{length_mm:.1f} mm" if self.length == "mm" else f"{self.from_mm(length_mm):.3f} in"

    def text(self, words: str) -> str:
        """A sentence of the package with its temperatures, lengths and hardness values in the reader's units.

        A temperature after "by" or "±", or with "/s", is a difference.

        Examples
        --------
        >>> Units("°F", "in", "HRC").text("spray from 930 °C, 2.6 mm at 2.8 °C/s, cooler by 100 °C: 380 to 520 HV")
        'spray from 1706 °F, 0.102 in at 5.0 °F/s, cooler by 180 °F: 39 HRC to 50 HRC'
        """
        if self == Units():
            return words

        def turned(found) -> str:
            before, low, between, high, unit = (part or "" for part in found.groups())
            step = bool(before) or unit.endswith("/s")
            texts = [self._amount(float(n), unit, step) for n in (low, high) if n]
            return before + between.join(texts)

        return _AMOUNT.sub(turned, words)

    def _amount(self, number: float, unit: str, difference: bool) -> str:
        if unit == "HV":
            return f"{number:.0f} HV" if difference else self.hardness_text(number)
        if unit == "mm":
            return self.length_text(number) if self.length == "in" else f"{number:g} mm"
        per = unit.removeprefix("°C")
        if difference:
            return f"{self.step_from_c(number):.{1 if per else 0}f} {self.temperature}{per}"
        return self.temperature_text(number)

    def hardness_text(self, hardness_hv: float) -> str:
        """Hardness in words; below the foot of the C scale it says HV and the B scale, never a blank."""
        if self.hardness != "HV":
            from ..strength.hardness_scales import convert_hardness

            for scale in (self.hardness, "HRB") if self.hardness == "HRC" else (self.hardness,):
                try:
                    return f"{convert_hardness(hardness_hv, 'HV', scale):.0f} {scale}"
                except InputError:
                    continue
        return f"{hardness_hv:.0f} HV"


_chosen: list[Units] = []


def units_file() -> Path:
    """Where the choice is kept between notebooks: a small file in Jupyter's own configuration folder."""
    from jupyter_core.paths import jupyter_config_dir

    return Path(jupyter_config_dir()) / "forgeprops_units.json"


def units() -> Units:
    """Return the chosen units: what was chosen here, else what was kept on file, else °C, mm, HV."""
    if not _chosen:
        try:
            kept = read_json(units_file(), _KIND, (_VERSION,))
            _chosen.append(
                Units(**{name: kept[name] for name in ("temperature", "length", "hardness")})
            )
        except (ImportError, InputError, KeyError):  # no file yet, or one that says nothing usable
            _chosen.append(Units())
    return _chosen[-1]


def choose_units(
    temperature: str = "°C", length: str = "mm", hardness: str = "HV", keep: bool = True
) -> Units:
    """Choose the display units once, for this notebook and (with `keep`) for every later one.

    Raises
    ------
    InputError
        A unit that is not offered.
    """
    chosen = Units(temperature, length, hardness)
    _chosen[:] = [chosen]
    if keep:
        path = units_file()
        path.parent.mkdir(parents=True, exist_ok=True)
        write_json(path, _KIND, _VERSION, asdict(chosen), overwrite=True)
    return chosen
