"""Quenches other than the plain spray: medium, zones, one after another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..base.errors import InputError, check_choice, check_list, check_number, shown
from .settings import check_settings, numbers_of

__all__ = ["MEDIA", "QUENCH", "Quench"]

#: Media of a quench with their usual temperature, °C, and the zones they reach, with overspray; see `forgeprops.thermal.media`.
_ALL = (("face", 1.0), ("rim", 1.0), ("body", 1.0), ("neck", 1.0), ("hosel", 1.0))
_SPRAYED = (("face", 1.0), ("rim", 0.8), ("body", 0.15), ("neck", 0.03))
MEDIA = {
    "water spray": (25.0, _SPRAYED),
    "water bath": (20.0, _ALL),
    "polymer bath": (25.0, _ALL),
    "oil bath": (50.0, _ALL),
    "own bath": (25.0, _ALL),
    "forced air": (25.0, _ALL),
    "still air": (25.0, _ALL),
}


@dataclass(frozen=True)
class Quench:
    """A quench after the spray or in its place; several follow one another.

    Attributes
    ----------
    medium : str
        One of `MEDIA`: "water spray", "water bath", "polymer bath", "oil bath", "forced air", "still air", or "own bath" with `table`.
    zones : str, sequence or mapping of zone to share, optional
        What it reaches: the share of the spray or of the air speed, or of the surface in a bath.  Left out: face with overspray for a
        spray, all zones else.  A jet on the hosel is a spray or forced air with ``zones="hosel"``.
    duration_s, delay_s : float
        How long, and the wait before it, from the press or the quench before, s.
    fluid_c : float, optional
        Temperature of the fluid, °C; the usual one when left out (air: the room's).
    flux_kg_m2_s : float
        Water spray only, kg/(m² s).
    agitation : float
        Baths only: 0 still to 1 good circulation.
    depth_mm : float, optional
        Baths only: how deep the head is dipped, sole down, mm; the whole head when left out.
    air_speed_m_s : float
        Forced air only, m/s.
    table : tuple of (°C, W/(m² K))
        Own bath only: heat-transfer coefficient over surface temperature, as `forgeprops.cooling_curve` gives it.
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
        if isinstance(self.medium, str) and self.medium in (
            "oil spray",
            "oil mist",
            "polymer spray",
        ):
            raise InputError(
                f"{self.medium} is not possible: sprayed on red-hot steel it burns or fumes; allowed is a bath "
                f"({self.medium.split()[0]} bath) (quench)."
            )
        check_choice(self.medium, "medium", MEDIA, "quench")
        usual_c, reached = MEDIA[self.medium]
        given = (self.zones,) if isinstance(self.zones, str) else self.zones
        given = given.items() if isinstance(given, Mapping) else check_list(given, "zones")
        form = "a zone or (zone, share)"
        pairs = [
            (z, 1.0) if isinstance(z, str) else check_list(z, "one of zones", form, 2)
            for z in given or reached
        ]
        for zone, share in pairs:
            check_choice(zone, "zone", [z for z, _ in _ALL], "quench")
            check_number(share, f"share of the {zone}", 0.0, 1.0, "", "quench")
        object.__setattr__(self, "zones", tuple((z, float(share)) for z, share in pairs))
        object.__setattr__(self, "fluid_c", usual_c if self.fluid_c is None else self.fluid_c)
        check_settings(self, "quench", skip=("depth_mm",) if self.depth_mm is None else ())
        if self.depth_mm is not None and not self.medium.endswith("bath"):
            raise InputError(f"depth_mm is for a bath; the medium is {self.medium} (quench).")
        rows = tuple(
            tuple(
                check_number(x, "table", 0.0, 1e6)
                for x in check_list(row, "a row of table", "(°C, W/(m² K))", 2)
            )
            for row in check_list(self.table, "table")
        )
        if (self.medium == "own bath") != (len(rows) >= 2):
            raise InputError(
                f"table is {shown(self.table)}; an own bath needs two or more rows of (°C, W/(m² K)), other media none (quench)."
            )
        if any(b[0] <= a[0] for a, b in zip(rows, rows[1:], strict=False)):
            raise InputError("the temperatures of a table must rise (quench).")
        object.__setattr__(self, "table", rows)

    @property
    def words(self) -> str:
        """What is done, in words."""
        named = dict(self.zones)
        where = "" if self.zones == MEDIA[self.medium][1] else " on " + " and ".join(named)
        deep = "" if self.depth_mm is None else f", {self.depth_mm:.0f} mm deep"
        stirred = f", agitation {self.agitation:g}" if self.agitation else ""
        return f"after {self.delay_s:g} s {self.medium}{where} for {self.duration_s:g} s{deep}{stirred}"


#: Numbers of a quench by their short name.
QUENCH = {s.name: s for s in numbers_of("quench").values()}
