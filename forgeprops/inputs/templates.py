"""A head from the few numbers that a drawing shows first: the rest scaled from a template to close the mass."""

import dataclasses
import math

from ..base.errors import InputError, check_list, check_name, check_number, shown
from .head import MASS_G, Head, head
from .settings import table

#: Least and largest factor on width and thickness of the body's blocks that still is the template's shape (our choice).
BODY_FACTOR = (0.6, 1.6)


def head_from(
    mass_g: float | None = None,
    face_mm: float | None = None,
    blade_mm: tuple[float, float] | None = None,
    hosel_mm: tuple[float, float, float] | None = None,
    like: str | Head = "mid-iron",
    *,
    loft_deg: float | None = None,
    name: str | None = None,
) -> Head:
    """A head whose face, blade, hosel and mass are given and whose other dimensions are scaled from a template.

    Parameters
    ----------
    mass_g : float, optional; finished mass, g: the body closes it
    face_mm : float, optional; finished thickness of the face
    blade_mm : (length, height), optional; whole, heel to toe and sole to top line at its middle
    hosel_mm : (outside, bore, length), optional; finished, from the neck to the free end
    like : str or Head; template of the library (see `heads`), or a head of your own
    loft_deg : float, optional; static loft: the club speed follows
    name : str, optional

    Returns
    -------
    Head
        `Head.note` lists what was assumed; any dimension can be changed afterwards by `Head.with_`.
        An InputError refuses a number out of bounds, or a mass that the template's shape cannot have.

    Notes
    -----
    The span of the face and the blocks along sole, top line, toe and heel follow the blade, the neck follows the hosel,
    the depth of the bore its length; thickness of the rim and all allowances stay.  Width and thickness of the blocks
    take one factor, so that the computed mass is the given one.

    Examples
    --------
    >>> mine = head_from(mass_g=270, face_mm=2.4, blade_mm=(76, 45), hosel_mm=(13.4, 9.4, 60))
    >>> round(mine.mass_g(), 3), mine.wall_mm
    (270.0, 2.0)
    >>> mine.with_(rim_thickness_mm=4.2).rim_thickness_mm
    4.2
    """
    t = head(like) if isinstance(like, str) else like
    if not isinstance(t, Head):
        raise InputError(f"like must be a Head or the name of a library head; got {shown(t)}.")
    length, height = _numbers(blade_mm, ("rim_length_mm", "rim_height_mm"), "blade_mm", t)
    names = ("hosel_outside_mm", "hosel_bore_mm", "hosel_length_mm")
    outside, bore, stem = _numbers(hosel_mm, names, "hosel_mm", t)
    along, up, grow = length / t.rim_length_mm, height / t.rim_height_mm, dataclasses.replace
    face = None if face_mm is None else (face_mm,)
    (thick,) = _numbers(face, ("face_thickness_mm",), "face_mm", t)
    drawn = {"rim_length_mm": length, "rim_height_mm": height, "face_thickness_mm": thick}
    drawn |= {"face_length_mm": t.face_length_mm * along, "face_height_mm": t.face_height_mm * up}
    drawn |= {"hosel_outside_mm": outside, "hosel_bore_mm": bore, "hosel_length_mm": stem}
    drawn["hosel_bore_depth_mm"] = t.hosel_bore_depth_mm * stem / t.hosel_length_mm
    drawn["neck_base_mm"] = t.neck_base_mm * outside / t.hosel_outside_mm
    if loft_deg is not None:
        drawn |= {"loft_deg": loft_deg, "club_speed_m_s": None}
    factors = [up if b.name in ("toe", "heel") else along for b in t.body]
    body = tuple(grow(b, length_mm=b.length_mm * f) for b, f in zip(t.body, factors, strict=True))
    what = f"like {t.name}" if name is None else check_name(name, "head name")
    made = grow(t, name=what, body=body, declared_mass_g=None, **drawn)
    factor = 1.0
    if mass_g is not None:
        mass_g = check_number(mass_g, "head mass", *MASS_G, "g", "head_from")
        own = made.zones("finished")["body"].mass_g
        rest, (low, high) = made.mass_g() - own, (f * f for f in BODY_FACTOR)
        if not rest + low * own <= mass_g <= rest + high * own:
            ends = f"{rest + low * own:.0f} to {rest + high * own:.0f} g"
            said = f"with this face, blade and hosel the shape of {t.name} takes {ends}"
            raise InputError(f"head mass is {mass_g:g} g; {said}.")
        factor = math.sqrt((mass_g - rest) / own)
        sizes = ((b, b.width_mm * factor, b.thickness_mm * factor) for b in body)
        body = tuple(grow(b, width_mm=wide, thickness_mm=thick) for b, wide, thick in sizes)
    given = (mass_g, face_mm, blade_mm, hosel_mm, loft_deg)
    kept = zip(("mass", "face", "blade", "hosel", "loft"), given, strict=True)
    note = [
        f"face {made.face_length_mm:.1f} × {made.face_height_mm:.1f} mm, rim {made.rim_thickness_mm:g} mm, "
        f"neck {made.neck_length_mm:g} mm to {made.neck_base_mm:.1f} mm, bore {made.hosel_bore_depth_mm:.1f} mm deep",
        "blocks of the body" + f" {factor:.3f} times as wide and thick" * (factor != 1.0),
        "allowances of face, rim and hosel, bend zone",
        *(f"{what} of the template" for what, value in kept if value is None),
    ]
    note = f"Assumed from {t.name}: {'; '.join(note)}."
    return grow(made, body=body, declared_mass_g=mass_g, note=note)


def _numbers(given, names: tuple[str, ...], what: str, t: Head) -> list[float]:
    """The numbers given, checked by their settings; the template's where none are."""
    settings = [table()[n] for n in names]
    if given is None:
        return [getattr(t, name) for name in names]
    words = ", ".join(n.split("_", 1)[1].removesuffix("_mm") for n in names)
    given = check_list(given, what, f"({words}) in mm", len(names))
    return [s.check(value, "head_from") for s, value in zip(settings, given, strict=True)]
