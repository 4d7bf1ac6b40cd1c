"""The parts a head is drawn from, in millimetres: face, rim, body blocks, neck, hosel.

Every dimension is the finished one; `allowance_mm` is what the forging has more.
"""

import dataclasses
from dataclasses import dataclass

import numpy as np

from ..base.errors import InputError, check_number, shown
from ..base.tables import read_rows
from .settings import numbers_of

#: Thinnest hosel wall that can be turned and still be bent, mm (our estimate; usual walls are 1.6–2.5 mm).
LEAST_WALL_MM = 0.8


@dataclass(frozen=True)
class Face:
    """The thin centre, where the strike is and the spray hits; mean length and height of the free span.

    `allowance_mm` is what is milled off later: forged thickness = thickness + allowance.  `loft_deg` is the
    static loft (30: a mid-iron, common practice), `club_speed_m_s` the speed at which the head is swung; None:
    the mean of professional men at that loft (`tour_speed_m_s`).
    """

    length_mm: float
    height_mm: float
    thickness_mm: float
    allowance_mm: float = 0.0
    loft_deg: float = 30.0
    club_speed_m_s: float | None = None

    @property
    def forged_thickness_mm(self) -> float:
        return self.thickness_mm + self.allowance_mm


@dataclass(frozen=True)
class Rim:
    """The ring of the blade around the face; length and mean height are of the whole blade."""

    length_mm: float
    height_mm: float
    thickness_mm: float
    allowance_mm: float = 0.0


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


@dataclass(frozen=True)
class Neck:
    """Round taper from the hosel's diameter to `base_mm` at the body."""

    length_mm: float
    base_mm: float
    allowance_mm: float = 0.0


@dataclass(frozen=True)
class Hosel:
    """The round that takes the shaft, drilled after the second heat (the forging is solid), and its geometry on the bench.

    `bend_zone_mm` is the length over which a bench bend spreads; nowhere measured, 10–20 mm is believed.
    """

    length_mm: float  # from the neck to the free end
    outside_mm: float
    bore_mm: float
    bore_depth_mm: float
    allowance_mm: float = 0.0  # turned off the diameter later
    length_allowance_mm: float = 0.0  # cut off the end later
    bend_zone_mm: float = 15.0

    @property
    def forged_outside_mm(self) -> float:
        return self.outside_mm + self.allowance_mm

    @property
    def wall_mm(self) -> float:
        return (self.outside_mm - self.bore_mm) / 2


@dataclass(frozen=True, eq=False)
class Drawing:
    """The five parts in one state; every dimension is a number, or an array of shape (h,) for many heads at once."""

    face: Face
    rim: Rim
    body: tuple[Block, ...]
    neck: Neck
    hosel: Hosel

    def __len__(self) -> int:
        """Number of heads."""
        parts = (self.face, self.rim, *self.body, self.neck, self.hosel)
        return max(np.size(v) for part in parts for v in vars(part).values())

    def rows(self, index: np.ndarray) -> "Drawing":
        """Some of the heads."""

        def cut(part):
            arrays = {name: v[index] for name, v in vars(part).items() if np.ndim(v)}
            return dataclasses.replace(part, **arrays)

        body = tuple(map(cut, self.body))
        return Drawing(cut(self.face), cut(self.rim), body, cut(self.neck), cut(self.hosel))


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


def checked(part, kind, owner: str):
    """Return `part` with every dimension checked and made a float; the same object where it is so already."""
    if not isinstance(part, kind):
        what = kind.__name__
        raise InputError(f"{what.lower()} must be a {what}(...); got {shown(part)} (head {owner}).")
    what, where = kind.__name__.lower(), f"head {owner}"
    if kind is Face and part.club_speed_m_s is None:
        loft = numbers_of(what)["loft_deg"].check(part.loft_deg, where)
        part = dataclasses.replace(part, club_speed_m_s=float(tour_speed_m_s(loft)))
    changed = {}
    for name, d in numbers_of(what).items():
        block = f"{part.name} {name.removesuffix('_mm').replace('_', ' ')}" if kind is Block else ""
        value = getattr(part, name)
        changed[name] = check_number(value, block or d.label, d.low, d.high, d.unit, where)
    same = all(getattr(part, name) is value for name, value in changed.items())
    return part if same else dataclasses.replace(part, **changed)


def check_fit(d, where: str) -> None:
    """Refuse parts that do not fit each other, of a `Drawing` or a `Head`.

    .. [1] Allowed dimensions of a drawing; mass closes within 3 % (our choice).
    """
    face, rim, neck, hosel = d.face, d.rim, d.neck, d.hosel
    thick, forged = numbers_of("face")["thickness_mm"], face.forged_thickness_mm
    check_number(forged, "forged face thickness", thick.low, thick.high, "mm", f"head {where}")
    outside, bore, depth, bends = (
        hosel.outside_mm,
        hosel.bore_mm,
        hosel.bore_depth_mm,
        hosel.bend_zone_mm,
    )
    stem, base = hosel.length_mm + neck.length_mm, bore + 2 * LEAST_WALL_MM
    edge, along = 2 * (rim.length_mm + rim.height_mm), sum(b.length_mm for b in d.body)
    misfits = (
        (face.length_mm >= rim.length_mm, f"face length is {face.length_mm:g} mm; it must be less than the blade's {rim.length_mm:g} mm"),
        (face.height_mm >= rim.height_mm, f"face height is {face.height_mm:g} mm; it must be less than the blade's {rim.height_mm:g} mm"),
        (bore >= outside, f"bore is {bore:g} mm; it must be less than the hosel's outside diameter {outside:g} mm"),
        (hosel.wall_mm < LEAST_WALL_MM, f"hosel wall is {hosel.wall_mm:.2f} mm ({outside:g} mm outside, {bore:g} mm bore); give {LEAST_WALL_MM:g} mm or more"),
        (depth > hosel.length_mm, f"bore depth is {depth:g} mm; it cannot exceed the hosel length {hosel.length_mm:g} mm"),
        (bends > stem, f"bend zone is {bends:g} mm; hosel and neck together are only {stem:g} mm long"),
        (neck.base_mm < base, f"neck base is {neck.base_mm:g} mm, thinner than a hosel bored {bore:g} mm can stand on; give {base:g} mm or more"),
        (along > edge, f"the body's blocks are {along:g} mm long together; the blade's edge is only {edge:g} mm"),
    )  # fmt: skip
    for wrong, words in misfits:
        if wrong:
            raise InputError(f"{words} (head {where}).")
