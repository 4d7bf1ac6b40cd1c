"""Heats after the quench: temper, torch or coil on the hosel, normalise."""

from dataclasses import dataclass

from ..base.errors import check_choice, check_list
from .settings import CHOICES, COOLING_WORDS, check_settings

#: Ways to cool after the spray.
COOLING = CHOICES["surroundings"]


@dataclass(frozen=True)
class Temper:
    """A heat below Ac1 of the whole head or of some zones: temper, bake, stress relief, subcritical anneal."""

    temperature_c: float  # of the metal
    hold_s: float = 3600.0  # at temperature
    zones: tuple[str, ...] = ()  # that reach it; empty means all

    def __post_init__(self):
        check_settings(self, "later_heat")
        zones = check_list(self.zones, "zones")
        for zone in zones:
            check_choice(zone, "zone", ("face", "rim", "body", "neck", "hosel"), "later heat")
        object.__setattr__(self, "zones", zones)

    @property
    def where(self) -> str:
        """What is heated, in words."""
        return " and ".join(self.zones) or "whole head"

    @property
    def words(self) -> str:
        """What is done, in words."""
        return f"temper of {self.where} at {self.temperature_c:.0f} °C for {_minutes(self.hold_s)}"


#: The same by its old name.
LaterHeat = Temper


@dataclass(frozen=True)
class LocalHeat:
    """Torch or coil on the bend zone of the hosel; hosel and neck are hot as far as they conduct.

    Above Ac1 the hosel becomes austenite, and what it cools to in still air is calculated; what stays ferrite begins from
    the first-heat structure.  Meanwhile the head lies in a soaked cloth or water up to the neck ("cloth"), or in still air
    ("air"), where a hot head loses the hardness of its face (see `forgeprops.thermal.local_heat`).
    """

    place: str = "hosel"
    peak_c: float = 680.0  # of the hottest place
    hold_s: float = 600.0  # at temperature
    cooled: str = "cloth"  # or "air"

    def __post_init__(self):
        check_choice(self.place, "place", ("hosel",), "local heat")
        check_choice(self.cooled, "cooled", ("cloth", "air"), "local heat")
        check_settings(self, "local_heat")

    @property
    def temperature_c(self) -> float:
        """The highest temperature of the metal, °C."""
        return self.peak_c

    @property
    def where(self) -> str:
        """What is heated, in words."""
        kept = "a wet cloth" if self.cooled == "cloth" else "still air"
        return f"{self.place} by torch or coil, head in {kept}"

    @property
    def words(self) -> str:
        """What is done, in words."""
        return f"local heat ({self.where}) to {self.peak_c:.0f} °C for {_minutes(self.hold_s)}"


@dataclass(frozen=True)
class Normalise:
    """A heat of the whole head above Ac3, cooled in air: new austenite, and nothing of the quench is left."""

    temperature_c: float = 890.0  # of the furnace, above the steel's Ac3
    hold_s: float = 1800.0  # in the furnace from loading cold
    surroundings: str = "single"  # how it cools, one of `COOLING`

    def __post_init__(self):
        check_settings(self, "later_heat")
        check_choice(self.surroundings, "surroundings", COOLING, "normalise")

    @property
    def words(self) -> str:
        """What is done, in words."""
        cooled = COOLING_WORDS[self.surroundings]
        heat = f"{self.temperature_c:.0f} °C for {_minutes(self.hold_s)}"
        return f"normalise at {heat}, cooled {cooled}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 3600:g} h" if seconds >= 3600.0 else f"{seconds / 60:.3g} min"
