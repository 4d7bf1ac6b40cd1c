"""The reader's units: °C or °F, mm or in, HV, HRC, HRB or HB, L/min or gpm, N or lbf, MPa or ksi.  Displays change,
numbers do not.

The package calculates, and writes its sentences, in °C, mm, HV, L/min, N and MPa; `Units` shows them otherwise.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from .base.constants import LBF_N, MM_PER_INCH
from .base.errors import InputError, check_choice, check_kind, shown
from .io.saved import Saved
from .strength.hardness_scales import convert_hardness, scale_range, try_convert
from .thermal.spray_units import from_flux

#: Units offered by kind, those of the package first.
OFFERED = {
    "temperature": ("°C", "°F"),
    "length": ("mm", "in"),
    "hardness": ("HV", "HRC", "HRB", "HB"),
}
OFFERED |= {"flow": ("L/min", "gpm"), "force": ("N", "lbf"), "strength": ("MPa", "ksi")}
L_PER_GALLON = 3.785411784
#: One unit on offer in the unit of the package.
_PER = {"in": MM_PER_INCH, "gpm": L_PER_GALLON, "lbf": LBF_N}
_PER["ksi"] = 1000.0 * LBF_N / MM_PER_INCH**2
#: Units of a sentence: the unit of the package, one of them in it, and the decimals to add in the other system.
_WRITTEN = {
    "°C": ("°C", 1.0, 0), "°C/s": ("°C", 1.0, 0), "mm": ("mm", 1.0, 0), "µm": ("mm", 1e-3, 0), "L/min": ("L/min", 1.0, 1),
    "MPa": ("MPa", 1.0, 0), "N": ("N", 1.0, 0), "kN": ("N", 1e3, -1), "MN": ("N", 1e6, -1),
}  # fmt: skip
#: Endings of columns and their units.
_ENDINGS = {"_c": "°C", "_mm": "mm", "_n": "N", "_mpa": "MPa", "_l_min": "L/min", "_hv": "HV"}
#: The scale that goes on where another ends.
_NEXT_SCALE = {"HRC": "HRB", "HRB": "HRC"}
_IMPACT = "kg/(m² s)"

_NUMBER = r"[-+−]?\d[\d,]*(?:\.\d+)?"
#: Numbers before one unit, and what makes a temperature a difference: "by 357 °C", "25 °C below", "380 to 520 HV".
_AMOUNT = re.compile(
    rf"(?P<before>\bby |± ?|\bwithin |\btook |\bgave |\blost )?(?P<numbers>(?<![\w.]){_NUMBER}"
    rf"(?:(?: to | and | or | ?– ?| → | × ){_NUMBER})*) (?P<unit>°C/s|°C|mm|µm|HV|HRC|HRB|HB|L/min|kN|MN|MPa|N)"
    r"(?![\w/²³·])(?P<after> (?:hotter|colder|cooler|higher|lower|below|above|of the furnace)\b)?"
)


@dataclass(frozen=True)
class Units(Saved):
    """Units of every display, by the kinds of `OFFERED`.

    Where Rockwell C ends Rockwell B goes on, and the other way round; the unit of strength is that of flow stress too.

    Examples
    --------
    >>> Units("°F").temperature_text(930)
    '1706 °F'
    >>> Units(length="in").length_text(13.4)
    '0.528 in'
    >>> US.text("930 °C, 25 °C below the preheat; face 380 to 520 HV, hosel 180 HV, 335 N on a 500 mm bar")
    '1706 °F, 45 °F below the preheat; face 39 to 50 HRC, hosel 89 HRB, 75 lbf on a 19.7 in bar'
    """

    KIND = "units"

    temperature: str = "°C"
    length: str = "mm"
    hardness: str = "HV"
    flow: str = "L/min"
    force: str = "N"
    strength: str = "MPa"

    def __post_init__(self):
        for kind, offered in OFFERED.items():
            check_choice(getattr(self, kind), f"unit of {kind}", offered)

    @classmethod
    def of(cls, units) -> Units:
        """Units as a person writes them: None or "SI", "US", "°F, in, HRC", or `Units`; one of each kind.

        >>> Units.of("F in HB").hardness
        'HB'
        """
        if units is None or isinstance(units, cls):
            return units or cls()
        written = check_kind(units, str, "units").replace(",", " ").split()
        if [w.upper() for w in written] in (["SI"], ["US"]):
            return US if written[0].upper() == "US" else cls()
        names = {o.lower(): (k, o) for k, offered in OFFERED.items() for o in offered}
        names |= {"c": names["°c"], "f": names["°f"], "inch": names["in"], "hbw": names["hb"]}
        found: dict[str, str] = {}
        for word in written:
            kind, unit = names.get(word.lower(), ("", ""))
            if not kind or found.get(kind, unit) != unit:
                allowed = "; ".join(" or ".join(offered) for offered in OFFERED.values())
                what = f"units {shown(units)}: {shown(word)} is no unit on offer"
                raise InputError(f"{what} (US, SI, or one each of {allowed}).")
            found[kind] = unit
        return cls(**found)

    def convert(self, value, unit: str, step: bool = False):
        """A number (or array) of a `unit` of the package in the reader's; `step`: a difference of temperatures."""
        name = self.unit(unit)
        if name == "°F":
            return value * 1.8 + (0.0 if step else 32.0)
        return value / _PER.get(name, 1.0)

    def from_c(self, temperature_c):
        """Temperature (number or array) in the chosen unit."""
        return self.convert(temperature_c, "°C")

    def to_c(self, temperature):
        """Temperature in °C from the chosen unit."""
        return temperature if self.temperature == "°C" else (temperature - 32.0) / 1.8

    def unit(self, unit: str) -> str:
        """Name of a unit of the package as the reader has it; an impact density is shown as flow on a nominal face."""
        unit = "L/min" if unit == _IMPACT else unit
        kind = next((kind for kind, offered in OFFERED.items() if unit == offered[0]), "")
        return getattr(self, kind) if kind else unit

    def shown(self, setting, value):
        """A setting's number (or array) in the reader's units."""
        if setting.unit == _IMPACT:
            return self.convert(value * from_flux(1.0).total_l_min, "L/min")
        return self.convert(value, setting.unit)

    def title(self, setting) -> str:
        """Words and unit of a setting, as an axis title."""
        return f"{setting.label}, {self.unit(setting.unit)}".rstrip(", ")

    def value_text(self, setting, value: float) -> str:
        """A setting's number and unit, with the decimals that it needs: "2.9 L/min"."""
        inches = 3 if self.length == "in" else setting.digits
        digits = {_IMPACT: 1 + (self.flow == "gpm"), "mm": inches}
        digits = digits.get(setting.unit, setting.digits)
        return f"{self.shown(setting, value):.{digits}f} {self.unit(setting.unit)}".rstrip()

    def step_text(self, setting, step: float) -> str:
        """A difference of a setting, such as its tolerance: "10 °C"."""
        celsius = setting.unit == "°C"
        step = self.convert(step, "°C", step=True) if celsius else self.shown(setting, step)
        return f"{step:.2g} {self.unit(setting.unit)}".rstrip()

    def temperature_text(self, temperature_c: float) -> str:
        """Temperature in words: '930 °C'."""
        return f"{self.from_c(temperature_c):.0f} {self.temperature}"

    def length_text(self, length_mm: float) -> str:
        """Length in words: '2.8 mm'."""
        return f"{self.convert(length_mm, 'mm'):.{1 if self.length == 'mm' else 3}f} {self.length}"

    def force_text(self, force_n: float) -> str:
        """Force in words: '335 N'."""
        return f"{self.convert(force_n, 'N'):.0f} {self.force}"

    def hardness_text(self, *hardness_hv: float) -> str:
        """Hardness, or a range of it, in words; beyond the tables it says the bound: "44 HRC", "below 55 HRB"."""
        said = list(dict.fromkeys(self._hardness(float(hv)) for hv in hardness_hv))
        *first, last = [f"{n} {s}" for n, s in said]
        if len({scale for _, scale in said}) == 1:
            first = [n for n, _ in said[:-1]]
        return " to ".join([*first, last])

    def _hardness(self, hv: float) -> tuple[str, str]:
        scale = self.hardness
        low, high = scale_range("HV", scale)
        if not low <= hv <= high and scale in _NEXT_SCALE:
            scale = scale if (hv > high) == (scale == "HRC") else _NEXT_SCALE[scale]
            low, high = scale_range("HV", scale)
        bound = "below " if hv < low else "above " if hv > high else ""
        return f"{bound}{convert_hardness(min(max(hv, low), high), 'HV', scale):.0f}", scale

    def text(self, sentence: str) -> str:
        """A sentence or page of the package in the reader's units.

        A temperature is a difference after "by", "±", "within", "took", "gave", "lost", before "hotter", "colder",
        "higher", "lower", "below", "above", and with "/s".  Rockwell beside Vickers stays where Vickers is chosen.
        """
        return sentence if self == Units() else _AMOUNT.sub(self._turned, sentence)

    def _turned(self, found) -> str:
        before, after, unit = found["before"] or "", found["after"] or "", found["unit"]
        parts = re.split(rf"((?<![\d.,]){_NUMBER})", found["numbers"])
        numbers = [float(n.replace("−", "-").replace(",", "")) for n in parts[1::2]]
        digits = max(len(n.partition(".")[2]) for n in parts[1::2])
        if unit in OFFERED["hardness"]:
            beside = {unit, self.hardness} == set(_NEXT_SCALE)
            if self.hardness in (unit, "HV") or beside:
                return found[0]
            hv = [n if unit == "HV" else try_convert(n, unit, "HV") for n in numbers]
            if None in hv:
                return found[0]
            said = [self._hardness(n) for n in hv]
            if len({scale for _, scale in said}) > 1:
                said = [(f"{n} {scale}", "") for n, scale in said]
            texts, name = [n for n, _ in said], said[-1][1]
        else:
            of, size, more = _WRITTEN[unit]
            name = self.unit(of)
            if name == of:
                return found[0]
            step = bool(before or after or unit.endswith("/s"))
            new = [self.convert(n * size, of, step) for n in numbers]
            if unit == "MN":
                name, new = "tons", [lbf / 2000.0 for lbf in new]
            if of == "mm":
                more = {"mm": 2 if digits or max(numbers) < 100.0 else 1, "µm": 4}[unit]
            sign = "+" if parts[1].startswith("+") else ""
            comma = "," if "," in found["numbers"] or max(map(abs, new)) >= 1e4 else ""
            texts = [f"{n:{sign}{comma}.{max(digits + more, 0)}f}" for n in new]
            name += unit[2:] if of == "°C" else ""
        parts[1::2] = texts
        return f"{before}{''.join(parts)} {name}".rstrip() + after

    def table(self, frame):
        """A table whose columns carry their unit (``_c``, ``_mm``, ``_hv``, ``_n``, ``_mpa``, ``_l_min``) in the reader's units.

        Hardness stands as text, since one column may need two scales.
        """
        shown = {}
        for name in frame.columns:
            end, column = next((e for e in _ENDINGS if str(name).endswith(e)), ""), frame[name]
            unit = _ENDINGS.get(end, "")
            if (new := self.unit(unit)) != unit:
                name = f"{str(name).removesuffix(end)}_{new.lower().removeprefix('°')}"
                if unit == "HV":
                    column = [self.hardness_text(v) if v == v else "" for v in column]
                else:
                    column = self.convert(column, unit)
            shown[name] = column
        return type(frame)(shown, index=frame.index)


#: Units of a shop in the United States.
US = Units("°F", "in", "HRC", "gpm", "lbf", "ksi")
