"""A spray in the units a shop has: nozzle flow, a catch can, or rate on the face; each shown as the others.

Impact density V, kg/(m² s), is what the heat-transfer law wants: density × flow × nozzles × overlap / wetted area.  A catch
can set where the face lies gives it directly: mass caught over time and opening.
"""

import math
import numbers
from dataclasses import dataclass

from ..base.errors import InputError, check_list, check_number
from ..base.ranges import Warn, outside
from .spray import WATER_KG_L

#: Footprint assumed when only the impact density is known, mm: a face with its rim (our choice, a nominal
#: blade).
FOOTPRINT_MM = (80.0, 50.0)
#: Catch can in which a reading is shown, mm² (50 mm diameter, our choice), and its time, s.
CAN_AREA_MM2 = math.pi / 4 * 50.0**2
CAN_SECONDS = 10.0


@dataclass(frozen=True)
class SprayReading:
    """One spray in all three forms."""

    flux_kg_m2_s: float  #: impact density on the face
    flow_l_min: float  #: flow of each nozzle
    nozzles: int  #: how many spray the same footprint
    footprint_mm: tuple[float, float]  #: wetted length and width
    overlap: float  #: share of the water that lands inside the footprint
    can_ml: float  #: what a can of `can_area_mm2` catches in `can_seconds`
    can_seconds: float
    can_area_mm2: float

    @property
    def total_l_min(self) -> float:
        """Flow of all nozzles, L/min."""
        return self.flow_l_min * self.nozzles

    @property
    def warnings(self) -> tuple[Warn, ...]:
        """Warnings when the spray rate is outside what the law was measured for."""
        found = outside("thermal.spray_flux", self.flux_kg_m2_s) if self.flux_kg_m2_s > 0 else None
        return (found,) if found else ()

    def litres(self, duration_s: float) -> float:
        """Water used in one spray of `duration_s`, L."""
        return self.total_l_min * check_number(duration_s, "spray time", 0, 3600, "s") / 60

    def __str__(self) -> str:
        nozzles = f"{self.nozzles} nozzle{'s' if self.nozzles > 1 else ''}"
        share = "" if self.overlap == 1 else f" ({self.overlap:.0%} of it on target)"
        return (
            f"{self.flux_kg_m2_s:.3g} kg/(m² s) = {nozzles} × {self.flow_l_min:.3g} L/min on "
            f"{self.footprint_mm[0]:g} × {self.footprint_mm[1]:g} mm{share} = {self.can_ml:.3g} mL in "
            f"{self.can_seconds:g} s in a can of {self.can_area_mm2:.4g} mm²"
        )


def _footprint(footprint_mm) -> tuple[float, float]:
    """Length and width; one number is the diameter of a round footprint, made a square of the same area."""
    if isinstance(footprint_mm, numbers.Real):
        side = check_number(footprint_mm, "footprint diameter", 1, 2000, "mm")
        return (side * math.sqrt(math.pi) / 2,) * 2
    sides = check_list(footprint_mm, "footprint", "(length, width) in mm, or one diameter", 2)
    length, width = (
        check_number(side, f"footprint {name}", 1, 2000, "mm")
        for name, side in zip(("length", "width"), sides, strict=True)
    )
    return length, width


def spray_setting(
    flow_l_min: float,
    nozzles: int = 1,
    footprint_mm=FOOTPRINT_MM,
    overlap: float = 1.0,
    *,
    can_area_mm2: float = CAN_AREA_MM2,
    seconds: float = CAN_SECONDS,
) -> SprayReading:
    """Impact density from nozzle flow and footprint.

    Parameters
    ----------
    flow_l_min, nozzles : float, int
        Flow of one nozzle at the set pressure, L/min, 0 to 500; nozzles that spray the same footprint.
    footprint_mm : (float, float) or float
        Wetted length and width where the face lies, mm; one number is the diameter of a round cone.
    overlap : float
        Share of the water that lands inside the footprint, 0 to 1.
    can_area_mm2, seconds : float
        Catch can in which the answer is also shown.

    References
    ----------
    .. [1] Mass balance (derived).

    Examples
    --------
    >>> print(spray_setting(1.0, footprint_mm=(40, 80)))
    5.2 kg/(m² s) = 1 nozzle × 1 L/min on 40 × 80 mm = 102 mL in 10 s in a can of 1963 mm²
    """
    flow = check_number(flow_l_min, "nozzle flow", 0, 500, "L/min")
    count, sides = check_number(nozzles, "number of nozzles", 1, 1000), _footprint(footprint_mm)
    if count != int(count):
        raise InputError(f"number of nozzles must be a whole number; got {nozzles:g}.")
    share = check_number(overlap, "overlap", 0.01, 1, "")
    can = check_number(can_area_mm2, "can opening", 10, 1e6, "mm²")
    time = check_number(seconds, "catch time", 0.1, 3600, "s")
    flux = WATER_KG_L * flow * count / 60 * share / (sides[0] * sides[1] * 1e-6)
    caught_ml = flux * can * 1e-6 * time / WATER_KG_L * 1e3
    return SprayReading(flux, flow, int(count), sides, share, caught_ml, time, can)


def from_flux(flux_kg_m2_s: float, *place, **can) -> SprayReading:
    """Nozzle flow and catch-can volume that belong to an impact density: the inverse of `spray_setting`, its arguments after.

    >>> round(from_flux(10.0, nozzles=2, footprint_mm=(80, 50)).flow_l_min, 3)
    1.202
    """
    flux = check_number(flux_kg_m2_s, "spray rate", 0, 1000, "kg/(m² s)")
    one = spray_setting(1.0, *place, **can)
    return spray_setting(flux / one.flux_kg_m2_s, *place, **can)
