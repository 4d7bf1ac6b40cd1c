"""Every setting of a case, described once in data/constants/settings.csv: words, unit, bounds, slider, search, spread."""

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..base.errors import check_choice, check_number
from ..base.tables import read_rows

#: Groups whose numbers a study may vary, in the order they are listed.
VARIED = ("route", "head", "steel", "shop")
#: Ways to cool after the spray and to preheat, in words; see `forgeprops.thermal.surroundings`.
COOLING_WORDS, HEATING_WORDS = (
    {r["kind"]: r["words"] for r in read_rows(f"constants/{name}.csv")}
    for name in ("surroundings", "furnaces")
)
#: What settings choose from that are no numbers; columns hold the place in it.
CHOICES = {"surroundings": tuple(COOLING_WORDS), "furnace": tuple(HEATING_WORDS)}
#: Shapes of a forging, by which its force goes.
CHOICES["press_shape"] = ("simple", "complex", "very complex", "coining")


@dataclass(frozen=True)
class Spread:
    """How a number varies about its middle: kind "normal", "relative", "lognormal" or "uniform".

    The value is the standard deviation; that as a share of the middle; of the natural logarithm; half of the whole range.
    """

    kind: str
    value: float

    def __post_init__(self):
        check_choice(self.kind, "kind of spread", ("normal", "relative", "lognormal", "uniform"))
        object.__setattr__(self, "value", check_number(self.value, f"{self.kind} spread", 0.0, 1e6))

    def sd(self, middle: float) -> float:
        """Standard deviation about a middle, before anything is cut off."""
        if self.kind == "relative":
            return abs(middle) * self.value
        if self.kind == "lognormal":
            return abs(middle) * float(np.sqrt(np.expm1(self.value**2) * np.exp(self.value**2)))
        return self.value / 3.0**0.5 if self.kind == "uniform" else self.value


@dataclass(frozen=True)
class Setting:
    """One number, choice or flag of a case, under one short name in Python, on the command line, in tables and files."""

    name: str
    group: str  # "route", "head", "steel", "shop", "later", "block" or "bench"
    part: str  # where the case keeps it: ``route.spray.duration_s``
    field: str
    label: str  # as a person says it
    unit: str
    low: float  # what is accepted; nan for a choice or a flag
    high: float
    slider: tuple[float, float, float] | None = None  # everyday range and step of a page
    search: tuple[float, float] | None = None  # of a search, a map or a comparison that names none
    spread: Spread | None = None  # how much it varies about what is written down
    source: str = ""  # of the spread

    @property
    def is_number(self) -> bool:
        return self.low == self.low

    @property
    def digits(self) -> int:
        """Decimals that a slider's step or the spread needs, for people."""
        step = 0.1 if self.unit in ("mm", "s", "") else 1.0
        step = self.slider[2] if self.slider else step
        return next(n for n in range(4) if n == 3 or abs(step * 10**n - round(step * 10**n)) < 1e-9)

    def check(self, value, where: str = ""):
        """The value as a float within the bounds, or one of the choices; otherwise an InputError."""
        if self.name in CHOICES:
            return check_choice(value, self.label, CHOICES[self.name], where)
        return check_number(value, self.label, self.low, self.high, self.unit, where)

    def tolerance(self, value: float) -> float:
        """Two standard deviations of a shop's spread about `value`; 0 where none is known."""
        return 0.0 if self.spread is None else 2.0 * self.spread.sd(value)


def _pair(row, *names):
    return tuple(float(row[n]) for n in names) if row[names[0]] else None


@functools.cache
def table() -> Mapping[str, Setting]:
    """All settings by name, in the order of the table."""
    found = {}
    for row in read_rows("constants/settings.csv"):
        low, high = _pair(row, "low", "high") or (float("nan"),) * 2
        named = (row[n] for n in ("name", "group", "part", "field", "label", "unit"))
        slider = _pair(row, "slider_low", "slider_high", "step")
        spread = Spread(row["spread"], float(row["spread_value"])) if row["spread"] else None
        ranges = (low, high, slider, _pair(row, "search_low", "search_high"))
        found[row["name"]] = Setting(*named, *ranges, spread, row["source"])
    return MappingProxyType(found)


@functools.cache
def settings(group: str = "") -> tuple[str, ...]:
    """Names of the numbers that can be varied; of one group, everything in it."""
    if group:
        return tuple(s.name for s in table().values() if s.group == group)
    return tuple(s.name for g in VARIED for s in map(table().get, settings(g)) if s.is_number)


def by_part(values: Mapping, known: Mapping, what: str, where: str) -> dict[str, dict]:
    """Values by short name as values by part and field; a name that is not known is refused."""
    parts: dict[str, dict] = {}
    for name, value in values.items():
        part, field = known[check_choice(name, what, known, where)]
        parts.setdefault(part, {})[field] = value
    return parts


def setting(name: str) -> Setting:
    """Look up a number of a case that can be varied."""
    return table()[check_choice(name, "setting to vary", settings())]


@functools.cache
def numbers_of(part: str) -> Mapping[str, Setting]:
    """Numbers and choices of one part of a case (``"spray"``, ``"route"``, ``"shop"``) by their field there."""
    of_part = (s for s in table().values() if s.part == part)
    return {s.field: s for s in of_part if s.is_number or s.name in CHOICES}


def check_settings(obj, part: str | Mapping[str, Setting], where: str = "") -> None:
    """Check numbers and choices of a frozen part of a case, by its name or by field, and store them; a default of None may stay."""
    of_part = numbers_of(part) if isinstance(part, str) else part
    for field, what in of_part.items():
        value = getattr(obj, field)
        if type(value) is float and what.low <= value <= what.high:  # as most are
            continue
        if value is not None or getattr(type(obj), field, "") is not None:
            value = what.check(value, where or part.replace("_", " "))
            object.__setattr__(obj, field, value)
