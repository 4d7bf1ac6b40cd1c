"""The answer for one hosel: degrees, force and springback with their words and cautions."""

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..base.cautions import BENCH
from ..base.ranges import Warn
from ..base.tables import texts
from ..strength.tensile import Strength
from .bench import Hosels

#: Force by hand on the end of the bar, N, and what it means.
EASE = (
    (110.0, "easy: arm force alone"),
    (225.0, "firm: a steady pull with the body"),
    (400.0, "heavy: the most a strong person pulls, too much for daily work"),
    (math.inf, "beyond the hand: a longer bar or a screw bender"),
)


def ease_of(force_n: float) -> str:
    """Grade of ease of a hand force on the bar, in words.

    .. [1] Ergonomic Design for People at Work, vol. 2, in a public reprint: most for a standing push or pull, 225 N with the
       whole body, 110 N with the arms alone (read).
    .. [2] B. Das & Y. Wang, Int. J. Occup. Saf. Ergon. 10 (2004) 43-58: 400 N, greatest mean pull of standing men
       (abstract) (read).
    """
    return next(words for limit, words in EASE if force_n <= limit)


def said(code: str, rank: str = "note", **known) -> Warn:
    """Warning of hosel or face by its code in ``data/library/hosel_and_face.csv``."""
    return Warn(code, texts("hosel_and_face")[code].format(**known), rank)


@dataclass(frozen=True)
class HoselBend:
    """What the hosel will take: degrees of permanent change, and the force for it."""

    allowed_deg: float  #: what the metal takes either way, the least of the next two kinds
    allowed_deg_low: float  #: its 80 % interval, resting on assumptions
    allowed_deg_high: float
    one_bend_deg: float  #: one bend in the cold, limited by the wall or by a crack
    rebend_deg: float  #: a bend that may be made and undone `rebends` times
    rebends: float
    governed_by: str  #: the limit that comes first: "wall", "crack" or "re-bends"
    allowed_by: Mapping[str, float]  #: degrees by each limit alone
    for_length: Mapping[float, float]  #: allowed degrees for a bend zone of 10 and of 20 mm
    target_deg: float  #: required change, loft and lie added as vectors
    #: Where to pull: 0° towards a more upright lie, 90° towards a weaker loft, as the head of this hand turns.
    direction_deg: float
    bar_force_n: float  #: force on the end of the bar that leaves the required change
    ease: str  #: what that is for a hand
    force_limit_n: float  #: greatest pull allowed
    hand_deg: float  #: what it leaves on this bar, no further than one bend
    steady_deg: float  #: the same of a steady pull of 225 N
    bar_length_needed_mm: float  #: bar that the greatest pull needs for it; 0: none required
    springback_deg: float  #: what springs back from the required change
    overbend_deg: float  #: angle to go to under load
    outer_strain: float  #: greatest outer-fibre strain at the allowed change, under load
    bends_at_mm: float  #: where the hosel bends most, from the bar's mouth
    strength: Strength = dataclasses.field(repr=False)
    hardness_hv: float
    warnings: tuple[Warn, ...]
    bench: Hosels = dataclasses.field(repr=False, compare=False)  #: the case itself
    hand: str = "right"  #: whose head it is
    cautions = BENCH  # must be said beside the number

    @property
    def takes_change(self) -> bool:
        """Whether the metal takes the required change; where not, no pull for it may be named."""
        return self.target_deg <= self.allowed_deg

    @property
    def pull(self) -> str:
        """Which way to pull the bar, the head clamped: towards the toe the lie gets more upright, towards the face side the loft
        weaker, for either hand."""
        turn = math.radians(self.direction_deg if self.hand == "right" else -self.direction_deg)
        lie, loft = math.cos(turn), math.sin(turn)
        first = "towards the toe" if lie > 0.0 else "towards the heel"
        second = "the face side" if loft > 0.0 else "the back"
        if abs(loft) < 0.01:
            return first
        if abs(lie) < 0.01:
            return f"towards {second}"
        return f"{first}, turned {math.degrees(math.atan2(abs(loft), abs(lie))):.0f}° to {second}"

    def words(self) -> str:
        """The answer in sentences."""
        said, (short, long) = texts("hosel_and_face"), sorted(self.for_length)
        bar, (here, neck) = float(self.bench.bar_mm[0]), self.bench.metal[0, :, 0]
        known = {"b": self, "bar": bar, "here": here, "neck": neck, "short": short, "long": long}
        known |= {"at_short": self.for_length[short], "at_long": self.for_length[long]}
        names = ["metal", self.governed_by, "hand"]
        if not self.takes_change:
            names.append("too much")
        elif self.target_deg > 0.0:
            names += ["change"] + ["longer bar"] * (self.bar_force_n > self.force_limit_n)
        if self.bends_at_mm < 0.75 * float(self.bench.length_mm[0]):
            names.append("first, gathering" if here < neck - 1.0 else "first")
        return " ".join(said[n].format(strain=100 * self.outer_strain, **known) for n in names)
