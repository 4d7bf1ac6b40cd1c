"""What a route costs the line: time on the press, heads an hour, water per head, effort of the press."""

from dataclasses import dataclass

import numpy as np

from ...base.errors import check_number
from ...inputs.cases import Cases
from ...thermal.spray_units import FOOTPRINT_MM, from_flux

#: What may hold up the line.
BOTTLENECKS = ("press", "spray", "furnace")


@dataclass(frozen=True)
class Line:
    """The line around the press; the defaults are a demonstration line of our own."""

    #: Laying a head in the die and taking it out, s (5 s with tongs: common practice, no source), 0 to 600.
    handling_s: float = 5.0
    furnace_heads: float = 90.0  # in the furnace at the same time, 1 to 100 000
    spray_stations: float = 1.0  # where a head is sprayed and cooled off the die, 1 to 1000
    #: Wetted length and width of one spray, mm; water beside the head is spent too.
    footprint_mm: tuple[float, float] = FOOTPRINT_MM
    overlap: float = 1.0  # share of the water that lands inside the footprint

    def __post_init__(self):
        for name, *bounds in (
            ("handling_s", "handling", 0.0, 600.0, "s"),
            ("furnace_heads", "heads in the furnace", 1.0, 1e5, ""),
            ("spray_stations", "spray stations", 1.0, 1000.0, ""),
        ):
            object.__setattr__(self, name, check_number(getattr(self, name), *bounds, "line"))
        from_flux(1.0, footprint_mm=self.footprint_mm, overlap=self.overlap)  # checks its own


def line_arrays(cases: Cases, line: Line) -> dict[str, np.ndarray]:
    """Time on the press, heads an hour, what holds up the line, and water per head.

    "press_s" is handling, rest and dwell, and with the back on the die the wait and the water too;
    "heads_per_hour" that of the slowest of press, spray stations and furnace, which "held_up_by"
    names; "water_l" the litres that leave the nozzles for one head.

    References
    ----------
    .. [1] Handling 5 s, 90 heads in the furnace, one spray station: a demonstration line
       (invented).

    Examples
    --------
    >>> import forgeprops as fp
    >>> made = line_arrays(Cases.of([fp.grade("4130")], [fp.head("mid-iron")], [fp.Route()]), Line())
    >>> float(made["press_s"][0]), float(made["heads_per_hour"][0]), made["held_up_by"][0]
    (5.55, 300.0, 'spray')
    >>> round(float(made["water_l"][0]), 2)        # 12 kg/(m² s) on 80 × 50 mm for 10 s
    0.48
    """
    route = cases.route
    wet, on_die = route["has_spray"], route["back_on_die"] > 0.0
    watering = cases.delay_s + np.where(wet, route["spray_s"], 0.0)
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
