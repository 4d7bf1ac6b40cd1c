"""What is done to the head in its second heat: preheat, transfer, press, spray and quenches, cool, later heats.

Every default is one a forge could run; the reasons stand beside each field.  All are our own invented demo route.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

from ..base.errors import InputError, check_choice, check_list, shown
from .quench import Quench
from .settings import check_settings, table

__all__ = [
    "COOLING",
    "COOLING_WORDS",
    "Cool",
    "HEATING",
    "HEATING_WORDS",
    "FirstHeat",
    "LaterHeat",
    "LocalHeat",
    "Preheat",
    "Press",
    "Route",
    "Spray",
    "Temper",
    "Transfer",
    "BURNING_C",
]

#: Highest furnace temperature accepted, °C: above it low-alloy steel burns (incipient melting at the grain
#: boundaries).  1343 °C is the highest safe heating temperature read for 1010 ("Heating
#: practices for steel alloys"); alloy steel burns lower, which the estimate warns of.
BURNING_C = 1340.0

#: Ways to cool after the spray, in words.
COOLING_WORDS = {
    "single": "alone in still air",
    "row": "in a row on a conveyor",
    "bin": "in a bin of hot heads",
    "fan": "in front of a fan",
    "sleeve": "still air, sleeve on the hosel",
    "box": "in a closed insulated box of hot heads",
    "vermiculite": "buried in vermiculite",
}
COOLING = tuple(COOLING_WORDS)

#: Ways to preheat, in words; see `forgeprops.thermal.furnace`.
HEATING_WORDS = {
    "gas": "gas furnace",
    "electric": "electric furnace",
    "protective": "furnace with protective gas",
    "induction": "induction coil",
}
HEATING = tuple(HEATING_WORDS)


@dataclass(frozen=True)
class FirstHeat:
    """The hot forging before: it leaves the structure and grain the second heat starts from.

    Attributes
    ----------
    finish_c : float
        Temperature at which the first forging ends and still-air cooling begins, °C (850–950 °C is the finish
        range read for alloy steel; 900 °C is our default).
    grain_size_astm : float
        Austenite grain after hot forging and recrystallisation (default 5, common practice, no source).
    """

    finish_c: float = 900.0
    grain_size_astm: float = 5.0

    def __post_init__(self):
        check_settings(self, "first_heat")


@dataclass(frozen=True)
class Preheat:
    """The furnace or coil of the second heat.

    Attributes
    ----------
    temperature_c : float
        Preheat temperature (furnace), °C.
    soak_s : float
        Time in the furnace from loading cold, s.  900 s heats the demo heads through (see the estimate's
        time to heat through).
    start_c : float
        Temperature of the head when loaded, °C.
    emissivity : float
        Effective emissivity head-furnace, 0.8 for oxidised steel (thermal-camera manual tables, 0.74–0.89).
    kind : {"gas", "electric", "protective", "induction"}
        Scale and loss of carbon follow from it (`forgeprops.thermal.furnace`); a coil brings the head evenly to temperature in `soak_s`.
    """

    temperature_c: float = 930.0
    soak_s: float = 900.0
    start_c: float = 25.0
    emissivity: float = 0.8
    kind: str = "gas"

    def __post_init__(self):
        check_choice(self.kind, "preheat kind", HEATING, "preheat")
        check_settings(self, "preheat")


@dataclass(frozen=True)
class Transfer:
    """Furnace to die, through still air: 3–10 s is usual (from memory); 4 s is our default."""

    duration_s: float = 4.0

    def __post_init__(self):
        check_settings(self, "transfer")


@dataclass(frozen=True)
class Press:
    """Pressing between the dies.

    Attributes
    ----------
    dwell_s : float
        Contact under load, s.  A screw or mechanical press holds 0.01–0.06 s hot, a hydraulic one longer (from
        memory); the default 0.05 s is a mechanical press.
    die_c : float
        Die temperature, °C; dies run at 150–400 °C.
    contact_w_m2k : float
        Conductance of the interface under load, W/(m² K): 5000–12 000 in a forging stroke with graphite (from
        memory).  In series with it the engine puts the die's own transient resistance.
    rest_s : float
        Time the head lies in the lower die under its own weight, s: half of it before the stroke, half after.
    strain : float
        Mean plastic strain of the press, which heats the metal.
    scale_left : float
        Share of the scale's thickness that still sticks after the press (0.3 is our estimate, no source).
    """

    dwell_s: float = 0.05
    die_c: float = 250.0
    contact_w_m2k: float = 7500.0
    rest_s: float = 0.5
    strain: float = 0.15
    scale_left: float = 0.3

    def __post_init__(self):
        check_settings(self, "press")


@dataclass(frozen=True)
class Spray:
    """Water on the face.

    Attributes
    ----------
    flux_kg_m2_s : float
        Impact density on the face, kg/(m² s).  Use `forgeprops.thermal.spray_units` to get it from L/min, nozzles and
        footprint or from a catch can.
    delay_s : float
        From the end of the press to the spray, s.
    duration_s : float
        How long the water runs, s.
    water_c : float
        Water temperature, °C.
    rim_share, body_share, neck_share, hosel_share : float
        Overspray: share of the flux that reaches the front of the other zones.
    back_on_die : bool
        The back still rests on the die while the water runs.
    """

    flux_kg_m2_s: float = 12.0
    delay_s: float = 2.0
    duration_s: float = 10.0
    water_c: float = 25.0
    rim_share: float = 0.8
    body_share: float = 0.15
    neck_share: float = 0.03
    hosel_share: float = 0.0
    back_on_die: bool = False

    def __post_init__(self):
        check_settings(self, "spray")
        if not isinstance(self.back_on_die, bool):
            raise InputError(
                f"back_on_die must be True or False; got {shown(self.back_on_die)} (spray)."
            )


@dataclass(frozen=True)
class Cool:
    """How the head cools after the water.

    Attributes
    ----------
    surroundings : {"single", "row", "bin", "fan", "sleeve", "box", "vermiculite"}
        A single head in still air; a row on a conveyor; a bin of hot heads; a fan on it; still air with an
        insulating sleeve on the hosel; a closed insulated box; buried in vermiculite.
    air_c : float
        Air and wall temperature, °C.
    air_speed_m_s : float
        Air speed of the fan, m/s (used by "fan" only).
    view_factor : float or None
        Share of what the head radiates that reaches the room; None takes the stated value of the surroundings.
    """

    surroundings: str = "single"
    air_c: float = 25.0
    air_speed_m_s: float = 3.0
    view_factor: float | None = None

    def __post_init__(self):
        object.__setattr__(
            self, "surroundings", check_choice(self.surroundings, "surroundings", COOLING, "cool")
        )
        check_settings(self, "cool", skip=("view_factor",) if self.view_factor is None else ())


@dataclass(frozen=True)
class Temper:
    """A heat below Ac1 of the whole head or of some zones: temper, bake, stress relief, subcritical anneal.

    Attributes
    ----------
    temperature_c : float
        Metal temperature, °C.
    hold_s : float
        Time at temperature, s.
    zones : tuple of str
        Zones that reach it; empty means all.
    """

    temperature_c: float
    hold_s: float = 3600.0
    zones: tuple[str, ...] = ()

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
    """Torch or coil on the bend zone of the hosel, below Ac1; hosel and neck are hot as far as they conduct.

    Attributes
    ----------
    place : {"hosel"}
    peak_c : float
        Temperature of the hottest place, °C.
    hold_s : float
        Time at temperature, s.
    cooled : {"cloth", "air"}
        What the head lies in meanwhile: a soaked cloth or water up to the neck, or still air, where a hot head loses
        the hardness of its face (see `forgeprops.thermal.local_heat`).
    """

    place: str = "hosel"
    peak_c: float = 680.0
    hold_s: float = 600.0
    cooled: str = "cloth"

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


def _minutes(seconds: float) -> str:
    return f"{seconds / 3600:g} h" if seconds >= 3600.0 else f"{seconds / 60:.3g} min"


_DEFAULT_SPRAY = Spray()


@dataclass(frozen=True)
class Route:
    """The whole second heat, with defended defaults.

    Examples
    --------
    >>> Route().preheat.temperature_c
    930.0
    >>> Route().with_(preheat_c=900, flux=8).spray.flux_kg_m2_s
    8.0
    """

    preheat: Preheat = field(default_factory=Preheat)
    transfer: Transfer = field(default_factory=Transfer)
    press: Press = field(default_factory=Press)
    spray: Spray | None = _DEFAULT_SPRAY
    cool: Cool = field(default_factory=Cool)
    later: tuple[Temper | LocalHeat, ...] = ()
    first_heat: FirstHeat = field(default_factory=FirstHeat)
    quench: tuple[Quench, ...] = ()

    def __post_init__(self):
        kinds = {
            "preheat": Preheat,
            "transfer": Transfer,
            "press": Press,
            "cool": Cool,
            "first_heat": FirstHeat,
        }
        for name, kind in kinds.items():
            if not isinstance(getattr(self, name), kind):
                raise InputError(
                    f"{name} must be a {kind.__name__}(...); got {shown(getattr(self, name))} (route)."
                )
        if self.spray is not None and not isinstance(self.spray, Spray):
            raise InputError(
                f"spray must be a Spray(...) or None; got {shown(self.spray)} (route)."
            )
        later = tuple(self.later) if isinstance(self.later, (tuple, list)) else (self.later,)
        for heat in later:
            if not isinstance(heat, (Temper, LocalHeat)):
                raise InputError(
                    f"later holds {shown(heat)}; give Temper(...) and LocalHeat(...) (route)."
                )
        object.__setattr__(self, "later", later)
        given = self.quench
        quench = (given,) if isinstance(given, Quench) else check_list(given or (), "quench")
        for part in quench:
            if not isinstance(part, Quench):
                raise InputError(f"quench must hold Quench(...); got {shown(part)} (route).")
        object.__setattr__(self, "quench", quench)

    #: Short name of every setting: the step and the field that hold it.
    SETTINGS = {s.name: (s.part, s.field) for s in table().values() if s.group == "route"}

    def with_(self, **settings) -> Route:
        """Return a copy with some settings changed, by their short names (see `Route.SETTINGS`).

        Raises
        ------
        InputError
            Unknown setting, a value out of bounds, or a spray setting on a route without spray.
        """
        parts: dict[str, dict] = {}
        for name, value in settings.items():
            part, attribute = self.SETTINGS[check_choice(name, "setting", self.SETTINGS, "route")]
            parts.setdefault(part, {})[attribute] = value
        if "spray" in parts and self.spray is None:
            raise InputError(
                f"{', '.join(sorted(settings))} cannot be set; this route has no spray (spray=None)."
            )
        first = parts.pop("quench", None)
        changed = {p: dataclasses.replace(getattr(self, p), **v) for p, v in parts.items()}
        if first:
            changed["quench"] = (self._quenched(first), *self.quench[1:])
        return dataclasses.replace(self, **changed)

    def _quenched(self, changes: dict) -> Quench:
        """The first quench with some settings changed; a medium of its own begins with the usual settings."""
        if changes.get("medium", self.quench and self.quench[0].medium) == (
            self.quench and self.quench[0].medium
        ):
            return (
                dataclasses.replace(self.quench[0], **changes) if self.quench else self._no_quench()
            )
        return Quench(**changes)

    def _no_quench(self):
        raise InputError(
            'this route has no quench; give a medium first, for example quench_medium="oil bath".'
        )

    def setting(self, name: str):
        """Value of a setting by its short name; None for a spray setting on a route without spray."""
        part, attribute = self.SETTINGS[check_choice(name, "setting", self.SETTINGS, "route")]
        step = getattr(self, part)
        if part == "quench":
            step = step[0] if step else None
        return None if step is None else getattr(step, attribute)
