"""The answer for one face: margin, life and thickness with their words and cautions."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..base.cautions import FACE as CAUTIONS
from ..base.ranges import Warn
from ..base.tables import texts

#: Where the margin can be least, in the order of the margins by place.
LOCATIONS = (
    "a crack at the back of the centre",
    "a crack at the front edge, in the face",
    "a crack at the front edge, at the corner to the rim",
    "a crack at the front edge, in the rim",
    "a crack inside the face",
    "a permanent dent",
)


@dataclass(frozen=True)
class FaceStrike:
    """How the face takes the strike."""

    margin: float  #: load factor of the weakest location at the required number of strikes
    margin_low: float  #: its 80 % interval, resting on assumptions
    margin_high: float
    location: str  #: where and how: one of `LOCATIONS`
    by_place: Mapping[str, float]  #: margin of each location
    strikes: float | None  #: at which half the faces would crack; None: no end
    strikes_is_bound: bool  #: `strikes` is a bound: fewer than that
    required_strikes: float
    least_thickness_mm: float  #: thickness at margin 1
    least_thickness_safe_mm: float  #: with the low end of the interval at 1
    thickness_mm: float
    peak_force_n: float
    patch_mm: float  #: radius the load is spread over
    centre_mpa: float  #: tension at the back of the centre
    edge_mpa: float  #: and at the front of the edge
    edge_held: float  #: edge moment over that of a face clamped all round
    club_speed_m_s: float
    loft_deg: float  #: static
    spin_loft_deg: float  #: angle between path and face normal
    skin_hv: float | None  #: hardness of the soft skin that is counted
    skin_um: float  #: and its depth
    dent_margin: float  #: against a dent of 0.05 mm
    dent_margin_slow: float  #: the same without the rise of yield with the strain rate
    warnings: tuple[Warn, ...]
    cautions = CAUTIONS  # must be said beside the number

    @property
    def peak_force_kn(self) -> float:
        """Peak force, kN."""
        return self.peak_force_n / 1000.0

    @property
    def life(self) -> str:
        """Strikes to a crack, in words; no number above a bound: "fewer than 1,000"."""
        if self.strikes is None:
            return "no crack: the stress is below the fatigue limit"
        if self.strikes_is_bound:
            return f"half such faces would crack after fewer than {self.strikes:,.0f} strikes"
        digits = max(math.floor(math.log10(self.strikes)) - 1, 0)
        count = f"{round(self.strikes, -digits):,.0f}"
        return f"half such faces would crack after about {count} strikes"

    def words(self) -> str:
        """The answer in sentences."""
        if self.margin_low >= 1.0:
            verdict = "holds, also at the low end of the interval"
        elif self.margin >= 1.0:
            verdict = "holds on average, not at the low end of the interval"
        else:
            verdict = "does not hold"
        names = ["strike"] + ["skin"] * (self.skin_hv is not None)
        names += ["rim"] * ("edge" in self.location and self.edge_held > 0.7)
        known = {"f": self, "verdict": verdict, "held": 100 * self.edge_held}
        return " ".join(texts("hosel_and_face")[n].format(**known) for n in names)
