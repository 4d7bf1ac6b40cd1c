"""What is done to the head in its second heat: preheat, transfer, press, spray and quenches, cool, later heats.

Every default is one a forge could run; the reasons stand beside each field.  All are our own invented demo route.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from ..base.errors import InputError, check_choice, check_flag, check_kind, check_list, check_number
from ..io.saved import Saved
from .parts import part, takes_parts
from .settings import CHOICES, COOLING_WORDS, by_part, check_settings, numbers_of, table

#: Highest furnace temperature accepted, °C: above it low-alloy steel burns (incipient melting at the grain
#: boundaries).  1343 °C is the highest safe heating temperature read for 1010 ("Heating
#: practices for steel alloys"); alloy steel burns lower, which the estimate warns of.
BURNING_C = 1340.0

#: Ways to preheat, to cool after the spray, and shapes of a forging.
HEATING, COOLING, SHAPES = (CHOICES[n] for n in ("furnace", "surroundings", "press_shape"))

#: Media of a quench with their usual temperature, °C, and the zones they reach, with overspray; see `forgeprops.thermal.media`.
_ALL = tuple((zone, 1.0) for zone in ("face", "rim", "body", "neck", "hosel"))
_SPRAYED = (("face", 1.0), ("rim", 0.8), ("body", 0.15), ("neck", 0.03))
_USUAL_C = {"water bath": 20.0, "polymer bath": 25.0, "oil bath": 50.0, "own bath": 25.0}
_USUAL_C |= {"forced air": 25.0, "still air": 25.0}
MEDIA = {"water spray": (25.0, _SPRAYED), **{name: (c, _ALL) for name, c in _USUAL_C.items()}}


@dataclass(frozen=True)
class Spray:
    """Water on the face.

    Attributes
    ----------
    flux_kg_m2_s : Impact density on the face, kg/(m² s); `forgeprops.thermal.spray_units` gets it
        from L/min, nozzles and footprint or from a catch can.
    delay_s : From the end of the press to the spray, s.
    duration_s : How long the water runs, s.
    water_c : Water temperature, °C.
    rim_share, body_share, neck_share, hosel_share : Overspray: share of it on the front of the zone.
    back_on_die : The back still rests on the die while the water runs.
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
        rests = check_flag(self.back_on_die, "back_on_die", "spray")
        object.__setattr__(self, "back_on_die", rests)


@dataclass(frozen=True)
class Quench:
    """A quench after the spray or in its place; several follow one another.

    Attributes
    ----------
    medium : One of `MEDIA`; "own bath" with `table`.
    zones : What it reaches: the share of the spray or of the air speed, or of the surface in a bath;
        face with overspray for a spray, all zones else. ``zones="hosel"``: a jet on the hosel.
    duration_s, delay_s : How long, and the wait before it, from the press or the quench before, s.
    fluid_c : Temperature of the fluid, °C; the usual one when left out (air: the room's).
    flux_kg_m2_s : Water spray only, kg/(m² s).
    agitation : Baths only: 0 still to 1 good circulation.
    depth_mm : Baths only: how deep the head is dipped, sole down, mm; the whole head when left out.
    air_speed_m_s : Forced air only, m/s.
    table : tuple of (°C, W/(m² K)); own bath only: heat-transfer coefficient over surface
        temperature, see `bath_table` of `forgeprops.cooling_curve`.
    """

    medium: str
    zones: tuple[tuple[str, float], ...] = ()
    duration_s: float = 10.0
    delay_s: float = 2.0
    fluid_c: float | None = None
    flux_kg_m2_s: float = 12.0
    agitation: float = 0.0
    depth_mm: float | None = None
    air_speed_m_s: float = 20.0
    table: tuple[tuple[float, float], ...] = ()

    def __post_init__(self):
        if str(self.medium) in ("oil spray", "oil mist", "polymer spray"):
            bath = f"a bath ({self.medium.split()[0]} bath) (quench)"
            why = "sprayed on red-hot steel it burns or fumes"
            raise InputError(f"{self.medium} is not possible: {why}; allowed is {bath}.")
        check_choice(self.medium, "medium", MEDIA, "quench")
        usual_c, reached = MEDIA[self.medium]
        given = (self.zones,) if isinstance(self.zones, str) else self.zones
        given = given.items() if isinstance(given, Mapping) else check_list(given, "zones")
        form = "a zone or (zone, share)"
        pairs = [(z, 1.0) if isinstance(z, str) else z for z in given or reached]
        pairs = [check_list(pair, "one of zones", form, 2) for pair in pairs]
        for zone, share in pairs:
            check_choice(zone, "zone", [z for z, _ in _ALL], "quench")
            check_number(share, f"share of the {zone}", 0.0, 1.0, "", "quench")
        object.__setattr__(self, "zones", tuple((z, float(share)) for z, share in pairs))
        object.__setattr__(self, "fluid_c", usual_c if self.fluid_c is None else self.fluid_c)
        check_settings(self, "quench")
        if self.depth_mm is not None and not self.medium.endswith("bath"):
            raise InputError(f"depth_mm is for a bath; the medium is {self.medium} (quench).")
        form = "(°C, W/(m² K))"
        rows = [check_list(r, "a row of table", form, 2) for r in check_list(self.table, "table")]
        rows = tuple(tuple(check_number(x, "table", 0.0, 1e6) for x in row) for row in rows)
        if (self.medium == "own bath") != (len(rows) >= 2):
            need = f"an own bath needs two or more of {form}, other media none"
            raise InputError(f"table has {len(rows)} rows; {need} (quench).")
        if any(b[0] <= a[0] for a, b in zip(rows, rows[1:], strict=False)):
            raise InputError("the temperatures of a table must rise (quench).")
        object.__setattr__(self, "table", rows)

    @property
    def words(self) -> str:
        named = dict(self.zones)
        where = "" if self.zones == MEDIA[self.medium][1] else " on " + " and ".join(named)
        deep = "" if self.depth_mm is None else f", {self.depth_mm:.0f} mm deep"
        stirred = f", agitation {self.agitation:g}" if self.agitation else ""
        return f"after {self.delay_s:g} s {self.medium}{where} for {self.duration_s:g} s{deep}{stirred}"


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
    def words(self) -> str:
        where = " and ".join(self.zones) or "whole head"
        return f"temper of {where} at {self.temperature_c:.0f} °C for {_minutes(self.hold_s)}"


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
    def words(self) -> str:
        kept = "a wet cloth" if self.cooled == "cloth" else "still air"
        heat = f"{self.peak_c:.0f} °C for {_minutes(self.hold_s)}"
        return f"local heat ({self.place} by torch or coil, head in {kept}) to {heat}"


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
        cooled = COOLING_WORDS[self.surroundings]
        heat = f"{self.temperature_c:.0f} °C for {_minutes(self.hold_s)}"
        return f"normalise at {heat}, cooled {cooled}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 3600:g} h" if seconds >= 3600.0 else f"{seconds / 60:.3g} min"


_DEFAULT_SPRAY = Spray()

#: Numbers of a quench by their short name.
QUENCH = {s.name: s for s in numbers_of("quench").values()}


@dataclass(frozen=True, kw_only=True)
class Route(Saved):
    """The whole second heat by the short names of its settings, with defended defaults.

    Attributes
    ----------
    preheat_c : Preheat temperature (furnace), °C.
    soak_s : Time in the furnace from loading cold, s; 900 s heats the demo heads through.
    start_c : Temperature of the head when loaded, °C.
    furnace : One of `HEATING`; scale and loss of carbon follow from it (`forgeprops.thermal.surroundings`);
        a coil brings the head evenly to temperature in `soak_s`.
    furnace_emissivity : Head to furnace, 0.8 for oxidised steel (thermal-camera manual tables, 0.74–0.89).
    transfer_s : Furnace to die, through still air, s: 3–10 s is usual (from memory).
    dwell_s : Contact under load, s: 0.01–0.06 hot in a screw or mechanical press, longer in a
        hydraulic one (from memory).
    die_c : Die temperature, °C; dies run at 150–400 °C.
    contact : Conductance of the interface under load, W/(m² K): 5000–12 000 in a forging stroke with
        graphite (from memory), in series with the die's own transient resistance.
    rest_s : Time in the lower die under its own weight, s: half before the stroke, half after.
    strain : Mean plastic strain of the press, which heats the metal.
    scale_left : Share of the scale's thickness that sticks after the press (our estimate, no source).
    press_shape : One of `SHAPES`; for the force only (`forgeprops.forging.press.FORCE_FACTORS`).
    spray : Spray, or None for a route without.
    quench, later : One or a list of Quench; of Temper, LocalHeat, Normalise.
    surroundings : How the head cools after the water, one of `COOLING`.
    air_c : Air and wall temperature, °C.
    air_speed_m_s : Air speed of the fan, m/s (used by "fan" only).
    view_factor : Share of what the head radiates that reaches the room; None: that of the surroundings.
    finish_c : Where the hot forging before ended and still-air cooling began, °C; 850–950 °C is read
        for alloy steel. It leaves the structure and grain that this heat starts from.
    first_grain_astm : Austenite after hot forging and recrystallisation, ASTM number (common
        practice, no source).

    Examples
    --------
    >>> Route().preheat_c
    930.0
    >>> Route().with_(preheat_c=900, flux=8).spray.flux_kg_m2_s
    8.0
    """

    KIND = "route"

    preheat_c: float = 930.0
    soak_s: float = 900.0
    start_c: float = 25.0
    furnace: str = "gas"
    furnace_emissivity: float = 0.8
    transfer_s: float = 4.0
    dwell_s: float = 0.05
    die_c: float = 250.0
    contact: float = 7500.0
    rest_s: float = 0.5
    strain: float = 0.15
    scale_left: float = 0.3
    press_shape: str = "complex"
    spray: Spray | None = _DEFAULT_SPRAY
    quench: tuple[Quench, ...] = ()
    surroundings: str = "single"
    air_c: float = 25.0
    air_speed_m_s: float = 3.0
    view_factor: float | None = None
    later: tuple[Temper | LocalHeat | Normalise, ...] = ()
    finish_c: float = 900.0
    first_grain_astm: float = 5.0

    def __post_init__(self):
        check_settings(self, "route")
        check_kind(self.spray, Spray | None, "spray", "route", "a Spray(...) or None")
        later = tuple(self.later) if isinstance(self.later, (tuple, list)) else (self.later,)
        quench = (self.quench,) if isinstance(self.quench, Quench) else self.quench
        quench = check_list(() if quench is None else quench, "quench")
        form = "Temper(...), LocalHeat(...) or Normalise(...)"
        for heat in later:
            check_kind(heat, Temper | LocalHeat | Normalise, "later", "route", form)
        for one in quench:
            check_kind(one, Quench, "quench", "route", "a Quench(...)")
        object.__setattr__(self, "later", later)
        object.__setattr__(self, "quench", quench)

    @property
    def sprays(self) -> tuple[Spray | Quench, ...]:
        """Everything that sprays water, in its order."""
        first = () if self.spray is None else (self.spray,)
        return *first, *(q for q in self.quench if q.medium == "water spray")

    @property
    def hardens_face(self) -> bool:
        """Whether a liquid is put on the face to harden it."""
        first = self.spray is not None and self.spray.flux_kg_m2_s * self.spray.duration_s > 0.0
        liquid = (q for q in self.quench if not q.medium.endswith("air") and q.duration_s > 0.0)
        return first or any("face" in dict(q.zones) for q in liquid)

    def marched(self) -> Route:
        """What makes the structure: a normalise is the last austenite, and nothing before it acts any more."""
        at = max([i for i, h in enumerate(self.later) if isinstance(h, Normalise)], default=-1)
        if at < 0:
            return self
        heat = self.later[at]
        still = dict.fromkeys(("transfer_s", "dwell_s", "rest_s", "strain"), 0.0)
        furnace = {"preheat_c": heat.temperature_c, "soak_s": heat.hold_s, "start_c": 25.0}
        gone = {"scale_left": 1.0, "press_shape": Route.press_shape, "spray": None, "quench": ()}
        cool = {"surroundings": heat.surroundings, "later": self.later[at + 1 :]}
        return dataclasses.replace(self, **furnace, **still, **gone, **cool)

    #: Short name of every setting: the step, or the route itself, and the field that hold it.
    SETTINGS = {s.name: (s.part, s.field) for s in table().values() if s.group == "route"}

    def with_(self, **settings) -> Route:
        """Return a copy with some settings changed, by short name (see `Route.SETTINGS`), or say what cannot be (InputError)."""
        parts = by_part(settings, self.SETTINGS, "setting", "route")
        changed = parts.get("route", {})
        if "spray" in parts:
            if self.spray is None:
                named = ", ".join(sorted(settings))
                raise InputError(f"{named} cannot be set; this route has no spray (spray=None).")
            changed["spray"] = dataclasses.replace(self.spray, **parts["spray"])
        if "quench" in parts:
            changed["quench"] = (self._quenched(parts["quench"]), *self.quench[1:])
        return dataclasses.replace(self, **changed)

    def _quenched(self, changes: dict) -> Quench:
        """The first quench with some settings changed; a medium of its own begins with the usual settings."""
        now = self.quench[0].medium if self.quench else None
        if changes.get("medium", now) != now:
            return Quench(**changes)
        if not self.quench:
            give = 'give a medium first, for example quench_medium="oil bath"'
            raise InputError(f"this route has no quench; {give}.")
        return dataclasses.replace(self.quench[0], **changes)

    def setting(self, name: str):
        """Value of a setting by its short name; None for a spray setting on a route without spray."""
        part, field = self.SETTINGS[check_choice(name, "setting", self.SETTINGS, "route")]
        step = {"spray": self.spray, "quench": next(iter(self.quench), None)}.get(part, self)
        return None if step is None else getattr(step, field)


#: The steps of a route by their own names, and a heat below Ac1 by its old one.
Preheat = part(
    "Preheat", Route, "The furnace or coil of the second heat",
    "temperature_c=preheat_c soak_s=soak_s start_c=start_c emissivity=furnace_emissivity kind=furnace",
)  # fmt: skip
Transfer = part("Transfer", Route, "From the furnace to the die", "duration_s=transfer_s")
Press = part(
    "Press", Route, "Pressing between the dies",
    "dwell_s=dwell_s die_c=die_c contact_w_m2k=contact rest_s=rest_s strain=strain scale_left=scale_left shape=press_shape",
)  # fmt: skip
Cool = part(
    "Cool", Route, "How the head cools after the water",
    "surroundings=surroundings air_c=air_c air_speed_m_s=air_speed_m_s view_factor=view_factor",
)  # fmt: skip
FirstHeat = part(
    "FirstHeat", Route, "The hot forging before", "finish_c=finish_c grain_size_astm=first_grain_astm"
)  # fmt: skip
takes_parts(Route, preheat=Preheat, transfer=Transfer, press=Press, cool=Cool, first_heat=FirstHeat)
LaterHeat = Temper
