"""A head in millimetres: its dimensions, the blocks of its body, what fits together.

Every dimension is the finished one; an allowance is what the forging has more.
"""

import dataclasses
from dataclasses import dataclass

import numpy as np

from ..base.errors import InputError, check_number
from ..base.tables import read_rows
from .settings import table

#: Thinnest hosel wall that can be turned and still be bent, mm (our estimate; usual walls are 1.6–2.5 mm).
LEAST_WALL_MM = 0.8


@dataclass(frozen=True)
class Block:
    """One bar of the body (sole, top line, toe, heel): `length_mm` runs along the blade's edge.

    The edge of the rim stands on the face `length_mm` × `width_mm`; `thickness_mm` is measured away from the
    rim, `width_mm` from front to back.
    """

    name: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    allowance_mm: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Drawing:
    """Dimensions by the short names of their settings: numbers, or arrays of shape (h,) for many heads at once."""

    # the thin centre, where the strike is and the spray hits: mean length and height of the free span
    face_length_mm: float
    face_height_mm: float
    face_thickness_mm: float
    face_allowance_mm: float = 0.0  # milled off later
    loft_deg: float = 30.0  # static (a mid-iron, common practice)
    #: Speed at which the head is swung; None: the mean of professional men at that loft (`tour_speed_m_s`).
    club_speed_m_s: float | None = None
    # the ring around the face; length and mean height are of the whole blade
    rim_length_mm: float
    rim_height_mm: float
    rim_thickness_mm: float
    rim_allowance_mm: float = 0.0
    body: tuple[Block, ...]
    # round taper from the hosel's diameter to the base at the body
    neck_length_mm: float
    neck_base_mm: float
    neck_allowance_mm: float = 0.0
    # the round that takes the shaft, drilled after the second heat: the forging is solid
    hosel_length_mm: float  # from the neck to the free end
    hosel_outside_mm: float
    hosel_bore_mm: float
    hosel_bore_depth_mm: float
    hosel_allowance_mm: float = 0.0  # turned off the diameter later
    hosel_length_allowance_mm: float = 0.0  # cut off the end later
    #: Length over which a bench bend spreads; nowhere measured, 10–20 mm is believed.
    bend_zone_mm: float = 15.0

    def __len__(self) -> int:
        """Number of heads."""
        values = (v for part in (self, *self.body) for v in vars(part).values())
        return next((v.size for v in values if isinstance(v, np.ndarray)), 1)

    def rows(self, index: np.ndarray) -> "Drawing":
        """Some of the heads."""

        def cut(part, **more):
            arrays = {n: v[index] for n, v in vars(part).items() if isinstance(v, np.ndarray)}
            return dataclasses.replace(part, **arrays, **more)

        return cut(self, body=tuple(map(cut, self.body)))

    @property
    def forged_thickness_mm(self) -> float:
        return self.face_thickness_mm + self.face_allowance_mm

    @property
    def forged_outside_mm(self) -> float:
        return self.hosel_outside_mm + self.hosel_allowance_mm

    @property
    def wall_mm(self) -> float:
        return (self.hosel_outside_mm - self.hosel_bore_mm) / 2


#: Dimensions beside the blocks of the body.
DIMENSIONS = tuple(f.name for f in dataclasses.fields(Drawing) if f.name != "body")


def clubs() -> dict[str, np.ndarray]:
    """Columns of ``data/constants/clubs.csv``: loft, head speed, attack and launch of full swings."""
    rows = read_rows("constants/clubs.csv")
    return {name: np.array([float(r[name]) for r in rows]) for name in rows[0]}


def tour_speed_m_s(loft_deg):
    """Head speed of a full swing by the mean of professional men, m/s; held beyond 21 to 46° of loft.

    .. [1] Tour means by club, a trade page (read); lofts by club (from memory).
    """
    table = clubs()
    return 0.44704 * np.interp(loft_deg, table["loft_deg"], table["head_speed_mph"])


def check_fit(d, where: str) -> None:
    """Refuse parts that do not fit each other, of a `Drawing` or a `Head`.

    .. [1] Allowed dimensions of a drawing; mass closes within 3 % (our choice).
    """
    thick = table()["face_thickness_mm"]
    bounds = ("forged face thickness", thick.low, thick.high, "mm", f"head {where}")
    check_number(d.forged_thickness_mm, *bounds)
    outside, bore, depth = d.hosel_outside_mm, d.hosel_bore_mm, d.hosel_bore_depth_mm
    stem, base = d.hosel_length_mm + d.neck_length_mm, bore + 2 * LEAST_WALL_MM
    edge, along = 2 * (d.rim_length_mm + d.rim_height_mm), sum(b.length_mm for b in d.body)
    misfits = (
        (d.face_length_mm >= d.rim_length_mm, f"face length is {d.face_length_mm:g} mm; it must be less than the blade's {d.rim_length_mm:g} mm"),
        (d.face_height_mm >= d.rim_height_mm, f"face height is {d.face_height_mm:g} mm; it must be less than the blade's {d.rim_height_mm:g} mm"),
        (bore >= outside, f"bore is {bore:g} mm; it must be less than the hosel's outside diameter {outside:g} mm"),
        (d.wall_mm < LEAST_WALL_MM, f"hosel wall is {d.wall_mm:.2f} mm ({outside:g} mm outside, {bore:g} mm bore); give {LEAST_WALL_MM:g} mm or more"),
        (depth > d.hosel_length_mm, f"bore depth is {depth:g} mm; it cannot exceed the hosel length {d.hosel_length_mm:g} mm"),
        (d.bend_zone_mm > stem, f"bend zone is {d.bend_zone_mm:g} mm; hosel and neck together are only {stem:g} mm long"),
        (d.neck_base_mm < base, f"neck base is {d.neck_base_mm:g} mm, thinner than a hosel bored {bore:g} mm can stand on; give {base:g} mm or more"),
        (along > edge, f"the body's blocks are {along:g} mm long together; the blade's edge is only {edge:g} mm"),
    )  # fmt: skip
    for wrong, words in misfits:
        if wrong:
            raise InputError(f"{words} (head {where}).")
