"""What a route costs the line: time on the press, heads an hour, water per head, effort of the press."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...answer.press_and_skin import LEAST_STRAIN, RATE_RANGE_PER_S, projected_areas_mm2
from ...base.errors import check_number
from ...forging.effort import flow_stress_mpa
from ...forging.press import FORCE_FACTORS
from ...inputs.case_columns import Columns
from ...inputs.head import ZONES, forged_parts
from ...thermal.spray_units import FOOTPRINT_MM, from_flux

__all__ = ["BOTTLENECKS", "Line", "line_arrays", "press_arrays"]


@dataclass(frozen=True)
class Line:
    """The line around the press; the defaults are a demonstration line of our own.

    Attributes
    ----------
    handling_s : float
        Laying a head in the die and taking it out, s (5 s with tongs: common practice, no source).
    furnace_heads : float
        Heads in the furnace at the same time.
    spray_stations : float
        Places where a head is sprayed and cooled off the die.
    footprint_mm : (float, float)
        Wetted length and width of one spray, mm; water beside the head is spent too.
    overlap : float
        Share of the water that lands inside the footprint.
    """

    handling_s: float = 5.0
    furnace_heads: float = 90.0
    spray_stations: float = 1.0
    footprint_mm: tuple[float, float] = FOOTPRINT_MM
    overlap: float = 1.0

    def __post_init__(self):
        for name, label, low, high, unit in (
            ("handling_s", "handling", 0.0, 600.0, "s"),
            ("furnace_heads", "heads in the furnace", 1.0, 1e5, ""),
            ("spray_stations", "spray stations", 1.0, 1000.0, ""),
        ):
            object.__setattr__(
                self, name, check_number(getattr(self, name), label, low, high, unit, "line")
            )
        from_flux(
            1.0, footprint_mm=self.footprint_mm, overlap=self.overlap
        )  # it checks its own numbers


#: What may hold up the line.
BOTTLENECKS = ("press", "spray", "furnace")


def line_arrays(route: Mapping[str, np.ndarray], delay_s, line: Line) -> dict[str, np.ndarray]:
    """Time on the press, heads an hour, what holds up the line, and water per head.

    Parameters
    ----------
    route : dict of str to array
        As `Columns.route`.
    delay_s : array
        What the shop adds to the spray delay, s.
    line : Line

    Returns
    -------
    dict
        "press_s": handling, rest and dwell, and with the back on the die the wait and the water too.
        "heads_per_hour": of the slowest of press, spray stations and furnace; "held_up_by".
        "water_l": litres that leave the nozzles for one head.

    References
    ----------
    .. [1] Handling 5 s, 90 heads in the furnace, one spray station: a demonstration line
       (invented).

    Examples
    --------
    >>> from forgeprops.inputs.route import Route
    >>> from forgeprops.inputs.case_columns import route_columns
    >>> made = line_arrays(route_columns([Route()]), 0.0, Line())
    >>> float(made["press_s"][0]), float(made["heads_per_hour"][0]), made["held_up_by"][0]
    (5.55, 300.0, 'spray')
    >>> round(float(made["water_l"][0]), 2)        # 12 kg/(m² s) on 80 × 50 mm for 10 s
    0.48
    """
    wet, on_die = route["has_spray"], route["back_on_die"] > 0.0
    watering = np.where(wet, np.maximum(route["delay_s"] + delay_s, 0.0) + route["spray_s"], 0.0)
    press = line.handling_s + route["rest_s"] + route["dwell_s"] + np.where(on_die, watering, 0.0)
    spray = np.where(on_die, 0.0, watering) / line.spray_stations
    slowest = np.stack(np.broadcast_arrays(press, spray, route["soak_s"] / line.furnace_heads))
    litres = from_flux(1.0, footprint_mm=line.footprint_mm, overlap=line.overlap).litres(1.0)
    return {
        "press_s": press,
        "heads_per_hour": 3600.0 / slowest.max(axis=0),
        "held_up_by": np.array(BOTTLENECKS, dtype=object)[slowest.argmax(axis=0)],
        "water_l": np.where(wet, litres * route["flux"] * route["spray_s"], 0.0),
    }


class _Wide:
    """Contents of every case as a column, to meet its zones."""

    def __init__(self, columns: Columns):
        self._columns = columns

    def get(self, element: str) -> np.ndarray:
        return self._columns.content(element)[:, None]


def press_arrays(columns: Columns, die_c: np.ndarray) -> dict[str, np.ndarray]:
    """Mean flow stress of a head in the die and the force of the press, as `second_heat.effort_of` tells one.

    Parameters
    ----------
    die_c : array, shape (n, zones)
        Metal temperature in the die, °C.

    Returns
    -------
    dict
        "die_c" (mean by projected area), "flow_stress_mpa", "press_force_kn".
    """
    areas = projected_areas_mm2(*forged_parts(*columns.heads.parts))
    area = np.stack([np.broadcast_to(areas[z], (len(columns.heads),)) for z in ZONES], axis=1)
    area = area if columns.head_of is None else area[columns.head_of]
    strain = np.maximum(columns.route["strain"], LEAST_STRAIN)
    rate = np.clip(strain / np.maximum(columns.route["dwell_s"], 1e-3), *RATE_RANGE_PER_S)
    stress = flow_stress_mpa(_Wide(columns), die_c, strain[:, None], rate[:, None])
    whole = area.sum(axis=1)
    mean = (stress * area).sum(axis=1) / whole
    return {
        "die_c": (die_c * area).sum(axis=1) / whole,
        "flow_stress_mpa": mean,
        "press_force_kn": FORCE_FACTORS["complex"][0] * mean * whole / 1000.0,
    }
