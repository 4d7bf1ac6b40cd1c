"""The part: a forged iron head as five zones whose mass, surfaces and paths follow from dimensions.

All follow from a drawing in two states: "finished" is what the player holds, "forged" what lies in the die (thicker face and
rim before the recess is milled, solid hosel at its forged diameter before it is turned and bored).
"""

from __future__ import annotations

import dataclasses
import functools
import math
from dataclasses import dataclass

import numpy as np

from ..base.arrays import plain
from ..base.constants import STEEL_DENSITY_KG_M3
from ..base.errors import InputError, check_choice, check_kind, check_name, check_number
from ..base.tables import read_rows
from .drawing import DIMENSIONS, Block, Drawing, check_fit, tour_speed_m_s
from .parts import part, takes_parts
from .settings import check_settings, numbers_of, settings, table

#: Zones of every head, from the strike to the shaft.
ZONES = ("face", "rim", "body", "neck", "hosel")

#: States of the drawing.
STATES = ("forged", "finished")

#: Declared and computed mass must agree within this share (our choice: what scales and a drawing agree to).
MASS_CLOSURE = 0.03

#: Finished mass of a head that the impact with the ball is calculated for, g (our own limits).
MASS_G = (100.0, 600.0)

#: Terms of the torsion series.
_ODD = np.arange(1.0, 40.0, 2.0)


def bar_mean_rise_mm2(width_mm, thickness_mm):
    """Mean of u over a rectangle where the Laplacian of u is −1 and u = 0 on the edge, mm²; numbers or arrays.

    In a bar cooling steadily the mean is hotter than the surface by (heat per volume)·u/k; a wide plate gives
    thickness²/12, a square 0.03514·side².

    Source: the equation of Saint-Venant torsion, u = torsion constant / (4 × section area); series of Timoshenko & Goodier,
    *Theory of Elasticity*, art. 109, from memory, checked against 0.1406 side⁴ for a square.

    >>> round(bar_mean_rise_mm2(1.0, 1.0), 5)
    0.03514
    >>> round(bar_mean_rise_mm2(1e4, 3.0), 4)
    0.7499
    """
    a, b = np.maximum(width_mm, thickness_mm), np.minimum(width_mm, thickness_mm)
    terms = np.tanh(0.5 * math.pi * np.multiply.outer(a / b, _ODD)) / _ODD**5
    return plain(b * b / 12.0 * (1.0 - 192.0 / math.pi**5 * b / a * terms.sum(axis=-1)))


def tube_mean_rise_mm2(outside_mm, bore_mm=0.0):
    """Mean of u over a tube section cooled from outside, bore insulated, mm² (see `bar_mean_rise_mm2`).

    u = (R² − r²)/4 + (a²/2) ln(r/R); its mean over the section.  A solid round gives R²/8, a thin wall w gives w²/3.

    Source: integrated here from Poisson's equation.
    """
    big, small = (outside_mm / 2) ** 2, (bore_mm / 2) ** 2
    hole = np.where(small > 0.0, small, 0.5 * big)  # a solid round needs no logarithm
    log = np.log(big / hole) / 2.0  # ln(R/a)
    tube = (big - hole) / 8.0 - (hole / 2.0) * (0.5 - hole * log / (big - hole))
    return plain(np.where(small > 0.0, tube, big / 8.0))


@dataclass(frozen=True)
class Zone:
    """One zone as the thermal march sees it: a slab between a front and a back surface.

    Of a round or blocky zone each surface takes half of what is exposed.  `path_factor` is the factor on the slab's
    inner conductance k/path that gives the section's own mean-to-surface resistance: 1 for a plate, 2/3 for a solid round
    (slab of half-thickness L: L/3k; round of radius R = 2L: R/4k).
    """

    name: str  # one of `ZONES`
    volume_mm3: float
    mass_g: float
    front_mm2: float  # exposed to the front: water, upper die
    back_mm2: float  # and to the back: lower die
    path_mm: float  # thickness of the slab: volume over the mean of front and back
    path_factor: float
    size_mm: float  # for convection: diameter of a round zone, height of a plate
    shape: str  # "plate" or "round": which convection law applies

    def biot(self, h_w_m2k: float, conductivity_w_mk: float = 27.3) -> float:
        """Biot number h (V/A)/k, V/A half the path, k by default austenite's (EN 1993-1-2); below 0.1 one temperature will do."""
        return h_w_m2k * 0.5e-3 * self.path_mm / conductivity_w_mk


@dataclass(frozen=True, kw_only=True)
class Head(Drawing):
    """A forged iron head, drawn in millimetres; an InputError says what cannot be built, or that the mass does not close.

    Parameters
    ----------
    name : str; what the shop calls it
    face_length_mm ... bend_zone_mm : float; the dimensions of `Drawing`
    body : tuple of Block; sole, top line, toe, heel
    declared_mass_g : float or None; from the drawing or the scales; refused beyond 3 % of the dimensions' mass
    note : str; where the dimensions come from

    Examples
    --------
    >>> h = head("mid-iron")
    >>> 250 < h.mass_g() < 275, h.mass_g("forged") > h.mass_g("finished")
    (True, True)
    >>> h.with_(face_thickness_mm=2.2).forged_thickness_mm
    2.6
    """

    name: str
    declared_mass_g: float | None = None
    note: str = ""

    def __post_init__(self):
        put = functools.partial(object.__setattr__, self)
        where = repr(check_name(self.name, "head name"))
        if self.club_speed_m_s is None:
            loft = table()["loft_deg"].check(self.loft_deg, f"head {where}")
            put("club_speed_m_s", float(tour_speed_m_s(loft)))
        check_settings(self, "head", f"head {where}")
        blocks = (self.body,) if isinstance(self.body, Block) else tuple(self.body)
        if not blocks:
            raise InputError(f"body is empty; give at least a sole Block(...) (head {where}).")
        put("body", tuple(_checked(b, f"head {where}") for b in blocks))
        check_fit(self, where)
        bounds = (*MASS_G, "g", f"head {where}")
        computed = check_number(self.mass_g(), "head mass", *bounds)
        if self.declared_mass_g is not None:
            declared = check_number(self.declared_mass_g, "declared mass", *bounds)
            put("declared_mass_g", declared)
            if abs(declared - computed) > MASS_CLOSURE * computed:
                said = f"declared mass is {declared:.0f} g but the finished dimensions make {computed:.0f} g"
                agree = f"they must agree within {MASS_CLOSURE:.0%}, or leave it out (head {where})"
                raise InputError(f"{said}; {agree}.")

    #: Dimensions people vary, by short name.
    SETTINGS = settings("head")

    def with_(self, **settings) -> Head:
        """Return a copy with some dimensions changed, by short name (see `Head.SETTINGS`), or say what cannot be (InputError).

        The declared mass goes, since it belonged to the old dimensions.
        A changed thickness or diameter is the finished one; the allowance stays, so the forging follows.

        >>> head("wedge").with_(hosel_outside_mm=13.0).wall_mm
        1.8
        """
        for name in settings:
            check_choice(name, "dimension", self.SETTINGS, f"head {self.name!r}")
        if "loft_deg" in settings:
            settings.setdefault("club_speed_m_s", None)  # the mean swing of the new loft
        return dataclasses.replace(self, **settings, declared_mass_g=None)

    def drawing(self, state: str) -> Drawing:
        """The parts with their allowances on (forged, hosel solid) or off (finished, hosel bored)."""
        state = check_choice(state, "state", STATES, f"head {self.name!r}")
        return self if state == "finished" else forged(self)

    def zones(self, state: str = "forged") -> dict[str, Zone]:
        """Zones of the drawing in the state "forged" or "finished", in the order of `ZONES`."""
        return dict(_zones(self, state))

    def mass_g(self, state: str = "finished") -> float:
        """Mass of the head, g."""
        return float(mass_g_of(self.drawing(state)))


#: The parts of a head by their own names.
Face = part(
    "Face", Head, "The thin centre that the ball meets",
    "length_mm=face_length_mm height_mm=face_height_mm thickness_mm=face_thickness_mm allowance_mm=face_allowance_mm "
    "loft_deg=loft_deg club_speed_m_s=club_speed_m_s",
)  # fmt: skip
Rim = part(
    "Rim", Head, "The ring around the face",
    "length_mm=rim_length_mm height_mm=rim_height_mm thickness_mm=rim_thickness_mm allowance_mm=rim_allowance_mm",
)  # fmt: skip
Neck = part(
    "Neck", Head, "The taper between hosel and body",
    "length_mm=neck_length_mm base_mm=neck_base_mm allowance_mm=neck_allowance_mm",
)  # fmt: skip
Hosel = part(
    "Hosel", Head, "The round that takes the shaft",
    "length_mm=hosel_length_mm outside_mm=hosel_outside_mm bore_mm=hosel_bore_mm bore_depth_mm=hosel_bore_depth_mm "
    "allowance_mm=hosel_allowance_mm length_allowance_mm=hosel_length_allowance_mm bend_zone_mm=bend_zone_mm",
)  # fmt: skip
takes_parts(Head, face=Face, rim=Rim, neck=Neck, hosel=Hosel)


def _zone(name, volume, exposed, path_factor, size, shape) -> Zone:
    mass_g = volume * STEEL_DENSITY_KG_M3 * 1e-6
    half = exposed / 2
    return Zone(name, volume, mass_g, half, half, 2 * volume / exposed, path_factor, size, shape)


def _path_factor(section_mm2: float, perimeter_mm: float, mean_rise_mm2: float) -> float:
    """Mean rise of a slab of half-thickness section/perimeter, over its own; free ends neglected."""
    return (section_mm2 / perimeter_mm) ** 2 / 3 / mean_rise_mm2


def forged(d: Drawing) -> Drawing:
    """A finished drawing with its allowances on and the hosel solid."""
    thick = {"face_thickness_mm": d.forged_thickness_mm}
    thick["rim_thickness_mm"] = d.rim_thickness_mm + d.rim_allowance_mm
    solid = {"hosel_outside_mm": d.forged_outside_mm}
    solid["hosel_length_mm"] = d.hosel_length_mm + d.hosel_length_allowance_mm
    solid |= {"hosel_bore_mm": 0.0, "hosel_bore_depth_mm": 0.0}
    neck = {"neck_base_mm": d.neck_base_mm + d.neck_allowance_mm}
    body = (dataclasses.replace(b, thickness_mm=b.thickness_mm + b.allowance_mm) for b in d.body)
    finished = {name: getattr(d, name) for name in DIMENSIONS}
    return Drawing(**{**finished, **thick, **solid, **neck}, body=tuple(body))


def _checked(block, where: str) -> Block:
    """A block with its dimensions checked and made floats; the same object where they are so already."""
    check_kind(block, Block, "block", where, "a Block(...)")
    changed = {}
    for field, d in numbers_of("block").items():
        label = f"{block.name} {field.removesuffix('_mm')}"
        changed[field] = check_number(getattr(block, field), label, d.low, d.high, d.unit, where)
    same = all(getattr(block, name) is value for name, value in changed.items())
    return block if same else dataclasses.replace(block, **changed)


@functools.lru_cache(maxsize=4096)
def _zones(head: Head, state: str) -> dict[str, Zone]:
    def one(z: Zone) -> Zone:
        return Zone(*(v if isinstance(v, str) else float(v) for v in vars(z).values()))

    return {name: one(z) for name, z in zones_of(head.drawing(state)).items()}


def volumes_of(d: Drawing) -> dict:
    """Metal of the zones, mm³."""
    inside = d.face_length_mm * d.face_height_mm
    top, base = d.hosel_outside_mm, d.neck_base_mm
    return {
        "face": inside * d.face_thickness_mm,
        "rim": (d.rim_length_mm * d.rim_height_mm - inside) * d.rim_thickness_mm,
        "body": sum(b.length_mm * (b.width_mm * b.thickness_mm) for b in d.body),
        "neck": math.pi / 12 * (top * top + top * base + base * base) * d.neck_length_mm,
        "hosel": math.pi / 4 * (top * top - even_bore_mm(d) ** 2) * d.hosel_length_mm,
    }


def mass_g_of(d: Drawing):
    """Mass of a drawing, g."""
    return sum(volume * STEEL_DENSITY_KG_M3 * 1e-6 for volume in volumes_of(d).values())


def even_bore_mm(d: Drawing):
    """Bore of a hosel bored through with the same metal; the bore's own surface exchanges nothing."""
    return d.hosel_bore_mm * np.sqrt(d.hosel_bore_depth_mm / d.hosel_length_mm)


def zones_of(d: Drawing) -> dict[str, Zone]:
    """Zones of a drawing.

    .. [1] Mean-to-surface rise of a bar by the torsion analogy: S. P. Timoshenko & J. N. Goodier,
       Theory of Elasticity, art. 109 (from memory).
    """
    volume, size = volumes_of(d), d.rim_height_mm
    face_area = d.face_length_mm * d.face_height_mm
    rim_area = d.rim_length_mm * d.rim_height_mm - face_area
    blocks = slab_rise = own_rise = 0.0
    for b in d.body:
        section, girth = b.width_mm * b.thickness_mm, 2 * (b.width_mm + b.thickness_mm)
        v = b.length_mm * section
        blocks += (
            b.length_mm * girth
            + 2 * section * (b.length_mm > 0.0)  # a block of no length pads a batch: it has no ends
            - b.length_mm * np.minimum(d.rim_thickness_mm, b.width_mm)
        )
        slab_rise += v * (section / girth) ** 2 / 3
        own_rise += v * bar_mean_rise_mm2(b.width_mm, b.thickness_mm)
    top, base = d.hosel_outside_mm, d.neck_base_mm
    mean = (top + base) / 2
    cone = math.pi * mean * np.hypot(d.neck_length_mm, (base - top) / 2)
    cone_factor = _path_factor(math.pi / 4 * mean**2, math.pi * mean, tube_mean_rise_mm2(mean))
    even_bore = even_bore_mm(d)
    section = math.pi / 4 * (top * top - even_bore**2)
    tube = math.pi * top * d.hosel_length_mm + math.pi / 4 * (top * top - d.hosel_bore_mm**2)
    tube_factor = _path_factor(section, math.pi * top, tube_mean_rise_mm2(top, even_bore))
    zones = (
        _zone("face", volume["face"], 2 * face_area, 1.0, size, "plate"),
        _zone("rim", volume["rim"], 2 * rim_area, 1.0, size, "plate"),
        _zone("body", volume["body"], blocks, slab_rise / own_rise, size, "plate"),
        _zone("neck", volume["neck"], cone, cone_factor, mean, "round"),
        _zone("hosel", volume["hosel"], tube, tube_factor, top, "round"),
    )
    return {z.name: z for z in zones}


def links_of(d: Drawing, zones) -> dict[str, tuple]:
    """Metal bridge from each zone to the next one of `ZONES`: area, mm², and length, mm; it conducts k · area / length.

    Each side of a bridge contributes the distance of its *mean* temperature from the joint in a steadily
    cooling part: a third of its depth for a zone that heat only leaves, half for one it passes through.
    Strong cooling draws the mean nearer: the hosel's own share is up to 18 % too long in air at 850 °C,
    the face's about 20 % in film boiling (fin equation, see tests).

    .. [1] Metal between zones as means to joint; fin equation: F. P. Incropera et al., ch. 3
       (derived).
    """
    links = {}
    # Face to rim through the edge of the thin plate.  In its own plane the face is a rectangle that gives
    # heat to its edge, so its mean stands (mean rise × perimeter / area) from it: height/6 for a long face.
    edge, span = 2 * (d.face_length_mm + d.face_height_mm), d.face_length_mm * d.face_height_mm
    face_reach = bar_mean_rise_mm2(d.face_length_mm, d.face_height_mm) * edge / span
    around = (edge + 2 * (d.rim_length_mm + d.rim_height_mm)) / 2
    rim_width = (d.rim_length_mm * d.rim_height_mm - span) / around
    # Heat passes through the rim: half its width, at the rim's own thickness.
    through = rim_width / 2 * d.face_thickness_mm / d.rim_thickness_mm
    links["face"] = edge * d.face_thickness_mm, face_reach + through

    # Rim to body: along each block, half the rim's width and a third of the block's depth.
    areas = [b.length_mm * np.minimum(d.rim_thickness_mm, b.width_mm) for b in d.body]
    paths = [rim_width / 2 + np.maximum(b.thickness_mm, b.width_mm) / 3 for b in d.body]
    conductance = sum(a / path for a, path in zip(areas, paths, strict=True))
    links["rim"] = sum(areas), sum(areas) / conductance

    # Body to neck: heat gathers along the blade (a third of its length, through the blocks' section as if the
    # body were one bar of the blade's length), then crosses half the neck.
    body_section = zones["body"].volume_mm3 / d.rim_length_mm
    neck_section = zones["neck"].volume_mm3 / d.neck_length_mm
    area = math.pi / 4 * d.neck_base_mm**2
    resistance = d.rim_length_mm / 3 / body_section + d.neck_length_mm / 2 / neck_section
    links["body"] = area, area * resistance

    # Neck to hosel: half the neck and a third of the hosel, whose end is free.
    area = math.pi / 4 * d.hosel_outside_mm**2
    hosel_section = zones["hosel"].volume_mm3 / d.hosel_length_mm
    resistance = d.neck_length_mm / 2 / neck_section + d.hosel_length_mm / 3 / hosel_section
    links["neck"] = area, area * resistance
    return links


@functools.cache
def _library() -> dict[str, Head]:
    drawings: dict[str, dict] = {}
    for row in read_rows("library/heads.csv"):
        part, name, value = row["part"], row["dimension"], float(row["value"])
        drawn = drawings.setdefault(row["head"], {"body": {}})
        if part.startswith("body "):
            drawn["body"].setdefault(part.removeprefix("body "), {})[name] = value
        else:
            drawn[f"{part}_{name}" if f"{part}_{name}" in table() else name] = value
    library = {}
    for name, drawn in drawings.items():
        body = tuple(Block(block, **values) for block, values in drawn.pop("body").items())
        library[name] = Head(name=name, body=body, note="invented for demonstration", **drawn)
    return library


def heads() -> tuple[str, ...]:
    """Names of the heads in the library (all invented).

    >>> heads()
    ('mid-iron', 'long-iron', 'wedge', 'muscle-back', 'cavity', 'hollow-recess')
    """
    return tuple(_library())


def head(name: str) -> Head:
    """Return a head of the library by name; an InputError suggests the nearest."""
    return _library()[check_choice(name, "head", _library(), "library of heads")]
