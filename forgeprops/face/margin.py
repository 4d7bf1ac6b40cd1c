"""What the strike asks of the face: margin, life and minimum thickness, each place by its own hardness.

Cracks go by hardness alone, the dent by yield strength, so by hardness and structure of the face.  The formulas are for a
face that is free behind; a thick blade is no plate (above 5–6 mm the stress is low anyway).  No measured strike force,
face stress or face life of an iron was found.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from ..base.constants import Z80
from ..base.errors import InputError, check_number, shown
from ..base.ranges import outside
from ..hosel.result import said
from ..inputs.drawing import tour_speed_m_s
from ..inputs.head import MASS_G
from ..strength.tensile import strength_arrays, structure_shares
from . import plate as plates
from .fatigue import FINISHES, capacity_mpa, life, secant
from .result import LOCATIONS, FaceStrike
from .strike import PEAK_FACTOR, PEAK_RANGE, Faces, Strike, strike_load, strike_options

#: Points through the finished thickness at which a zone's hardness is compared with the stress.
LAYERS_LOOKED_AT = 9

#: Share of the limit load at which 0.05 mm stay (elastic–plastic layered disc, our own calculation), and strain rate of the
#: strike, 1/s (order of magnitude, derived: 0.5 % in half a millisecond).
_SET_SHARE, _STRIKE_RATE = 0.85, 10.0
_BODY_MM = plates.BODY_RING_MM[1]


class _Bending:
    """Load and plate of faces, whatever their thickness, for some peak force over mean, patch and depth of the body's ring (mm)."""

    def __init__(self, faces, strike, peak=PEAK_FACTOR, patch_share=1.0, body_mm=_BODY_MM):
        hit = faces.head_mass_g, strike.speed(faces), strike.spin(faces), strike.restitution, peak
        self.force, patch, self.contact = strike_load(*hit)
        self.span, self.patch = (faces.length_mm, faces.height_mm), patch * patch_share
        self.plate = plates.rectangle_coefficients(*self.span, self.patch)
        # what fillet and notch make of the edge stress
        fillet = plates.fillet_share(self.span, self.patch, strike.fillet_mm)
        self.edge, self.body_mm = strike.edge_notch * fillet, body_mm

    def stresses(self, faces: Faces, thickness):
        """Tension at the back of the centre and the front of the edge, MPa, and the share of full clamping: centre = clamped +
        (1 − share)(free to turn − clamped); edge = share · clamped · fillet · notch."""
        plate, rim = self.plate, (faces.rim_mm[0], faces.rim_mm[1:])
        held = plates.edge_held(thickness, self.span, *rim, self.patch, self.body_mm)
        overshoot = plates.dynamic_overshoot(*self.span, thickness, self.contact)
        pressure = self.force * overshoot / thickness**2
        centre = plate.centre + (1.0 - held) * (plate.supported - plate.centre)
        return centre * pressure, held * plate.edge * self.edge * pressure, held


def _residual_mpa(faces: Faces, strike: Strike, more=0.0) -> np.ndarray:
    """Residual stress of both surfaces, MPa, shape (n,): as given, with `more`, after the later heats."""
    left = np.broadcast_to(faces.stress_left, faces.layers_hv.shape[:1])
    return np.round((strike.residual_mpa + more) * left, 1)  # few values, since each has its tables


def _capacities(faces: Faces, strike: Strike, residual=0.0, shift_sd=0.0):
    """Pulses of stress (MPa) that the places take: back (n,), edge (3, n), inside (n, m)."""
    n, moved = strike.required_strikes, _residual_mpa(faces, strike, residual)
    skin = faces.skin(strike.front_removed_um) if np.any(faces.decarburised_um) else ()
    skin = [np.broadcast_to(part, moved.shape) for part in skin]
    edge_hv, front_um = faces.edge_hv(strike.fillet_mm), FINISHES[strike.front_finish]
    back, edge = np.empty(len(moved)), np.empty((3, len(moved)))
    for value in np.unique(moved):
        mine, of = moved == value, (n, float(value), shift_sd)
        back[mine] = capacity_mpa(faces.layers_hv[mine, -1], FINISHES[strike.back_finish], *of)
        of_skin = [part[mine] for part in skin]
        edge[:, mine] = capacity_mpa(edge_hv[:, mine], front_um, *of, *of_skin)
    return back, edge, capacity_mpa(faces.layers_hv, 1.0, n, 0.0, shift_sd)


def _dent_mpa(faces: Faces, patch, *rated: bool) -> list:
    """Loads over the square of the thickness at which 0.05 mm stay, MPa: 0.85 of the plastic limit load of the clamped disc under
    a patch, where `rated` with the yield at the strike's rate, YS (ε̇/10⁻⁴)^(0.074 − 0.040 YS/414), never below YS.

    .. [1] L. J. Malvar, ACI Mater. J. 95 (1998) 609-616; valid 290-710 MPa (from memory).
    """
    shares = (np.broadcast_to(s, faces.layers_hv.shape[:1]) for s in faces.shares)
    yields = strength_arrays(core_hv(faces.layers_hv), *shares)["yield_mpa"]
    fast = yields * (_STRIKE_RATE / 1e-4) ** np.maximum(0.074 - 0.040 * yields / 414.0, 0.0)
    load = plates.limit_load_factor(patch / np.sqrt(faces.length_mm * faces.height_mm / math.pi))
    return [_SET_SHARE * 0.5 * math.pi * (fast if rate else yields) * load for rate in rated]


def _by_place(faces: Faces, bending: _Bending, takes, dent, thickness):
    """Margins in the order of `LOCATIONS`, shape (6, n), with stresses and the share of clamping."""
    back, edge_takes, inside = takes
    centre, edge, held = bending.stresses(faces, thickness)
    m = faces.layers_hv.shape[1]
    within = np.full(np.shape(centre), np.inf)
    if m > 2:
        # the back half is in tension at the centre, the front half at the edge; the outer layers are the skins
        at = np.abs(np.linspace(-1.0, 1.0, m))[1:-1]
        felt = np.where(np.arange(1, m - 1) < m / 2, edge[:, None], centre[:, None]) * at
        within = (inside[:, 1:-1] / np.maximum(felt, 1e-9)).min(axis=1)
    felt = edge * faces.edge_share(thickness)
    places = back / centre, *(edge_takes / felt), within, dent * thickness**2 / bending.force
    return np.stack(np.broadcast_arrays(*places)), centre, edge, held


def strike_margins(faces: Faces, strike: Strike | None = None) -> dict[str, np.ndarray]:
    """Margin of many faces at the strike, arrays of shape (n,): "margin" (load over strike that half the faces take),
    "location" (index into `LOCATIONS`), "by_place" (6, n), "centre_mpa", "edge_mpa", "edge_held", "force_n", "patch_mm",
    "dent_slow" (dent margin without the rise of yield with strain rate)."""
    strike = strike or Strike()
    bending, t = _Bending(faces, strike), faces.thickness_mm
    dent, slow = _dent_mpa(faces, bending.patch, strike.dent_rate, False)
    by_place, centre, edge, held = _by_place(faces, bending, _capacities(faces, strike), dent, t)
    margin, location = by_place.min(axis=0), by_place.argmin(axis=0)
    found = {"margin": margin, "location": location, "by_place": by_place, "centre_mpa": centre}
    found |= {"edge_mpa": edge, "edge_held": held, "force_n": bending.force}
    return {**found, "patch_mm": bending.patch, "dent_slow": slow * t**2 / bending.force}


def strike_interval(faces: Faces, strike: Strike, spread_hv: float) -> np.ndarray:
    """Margin of one face with its 80 % interval, shape (3,): its assumptions moved one at a time, root sum of squares;
    `spread_hv`: standard deviation of the hardness."""
    # as it is; peak force, patch and body down and up; no strain rate; fatigue limit, residual stress, hardness
    peak, patch, body = np.full(14, PEAK_FACTOR), np.ones(14), np.full(14, _BODY_MM)
    peak[1:3], patch[3:5], body[5:7] = PEAK_RANGE, (0.8, 1.2), plates.BODY_RING_RANGE_MM
    bending = _Bending(faces, strike, peak, patch, body)
    softer, harder = (faces.moved(np.array([sign * Z80 * spread_hv])) for sign in (-1.0, 1.0))
    takes, usual = _capacities(faces, strike), bending.patch[:1]
    dent, slow = _dent_mpa(faces, usual, strike.dent_rate, False)
    capacities = [takes] * 8 + [_capacities(faces, strike, shift_sd=sd) for sd in (-Z80, Z80)]
    capacities += [_capacities(faces, strike, residual) for residual in (150.0, -150.0)]
    capacities += [_capacities(f, strike) for f in (softer, harder)]
    dents = [dent] * 7 + [slow] + [dent] * 4
    dents += [dent for f in (softer, harder) for dent in _dent_mpa(f, usual, strike.dent_rate)]
    by_part = zip(zip(*capacities, strict=True), (0, 1, 0), strict=True)
    takes = [np.concatenate(parts, axis=axis) for parts, axis in by_part]
    found = _by_place(faces, bending, takes, np.concatenate(dents), faces.thickness_mm)[0]
    margin, *moved = found.min(axis=0)
    shift = np.array(moved) - margin
    down, up = (np.sqrt(np.sum(f(shift, 0.0) ** 2)) for f in (np.minimum, np.maximum))
    return np.array([margin, max(margin - down, 0.0), margin + up])


def _lives(faces: Faces, strike: Strike, found) -> np.ndarray:
    """Strikes to a crack, the least of the places; infinite below every fatigue limit."""
    hv, share = faces.edge_hv(strike.fillet_mm), faces.edge_share(faces.thickness_mm)
    skin, residual = faces.skin(strike.front_removed_um), _residual_mpa(faces, strike)
    front_um, back_um = FINISHES[strike.front_finish], FINISHES[strike.back_finish]
    edge = life(hv, front_um, found["edge_mpa"] * share, residual, *skin)
    back = life(faces.layers_hv[:, -1], back_um, found["centre_mpa"], residual)
    return np.minimum(edge.min(axis=0), back)


def _least_thickness(faces: Faces, strike: Strike, wanted):
    """Thickness at which the margin is `wanted` (the share of clamping moves with it), mm."""
    bending, takes = _Bending(faces, strike), _capacities(faces, strike)
    (dent,) = _dent_mpa(faces, bending.patch, strike.dent_rate)

    def miss(x):
        margin = _by_place(faces, bending, takes, dent, np.exp(x))[0].min(axis=0)
        return np.log(margin / wanted)

    # the margin goes nearly with a power of the thickness
    begin = np.log(np.broadcast_to(faces.thickness_mm, np.shape(wanted)).astype(float))
    return np.exp(secant(miss, begin, 1.7, (0.7, 4.0), 0.5, 1e-8, (-1.6, 3.9)))


def core_hv(layers):
    """Mean hardness of equal layers (last axis) weighed by the distance from mid-thickness, HV: what carries plastic bending.

    >>> float(core_hv([300.0, 100.0, 100.0, 300.0]))
    250.0
    """
    layers = np.asarray(layers, dtype=float)
    edges = np.linspace(-1.0, 1.0, layers.shape[-1] + 1)
    weight = np.abs(np.diff(edges * np.abs(edges)))  # ∫ |z| dz over each layer, doubled
    return layers @ (weight / weight.sum())


def layers_of_faces(points_hv, kept):
    """Hardness through the finished thickness, front to back, HV, (n, layers), from Gauss–Lobatto points through the forged
    thickness, of which the share `kept` stays: the recess is milled from the back."""
    from ..engine.section import lobatto

    nodes = np.asarray(lobatto(points_hv.shape[1])[0])
    at = np.asarray(kept)[:, None] * np.linspace(0.0, 1.0, LAYERS_LOOKED_AT)
    i = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    share = (at - nodes[i]) / (nodes[i + 1] - nodes[i])
    rows = np.arange(len(points_hv))[:, None]
    layers = points_hv[rows, i] + share * (points_hv[rows, i + 1] - points_hv[rows, i])
    return np.clip(layers, 60.0, 900.0)


def strike_of_faces(faces: Faces, strike: Strike, spread_hv: float = 0.0) -> FaceStrike:
    """The first of some faces with its interval (`spread_hv`: sd of its hardness), life and thicknesses."""
    found = strike_margins(faces, strike)
    margin, low, high = strike_interval(faces, strike, spread_hv).tolist()
    count = float(_lives(faces, strike, found)[0])
    wanted = np.array([1.0, margin / low if low > 0.0 else 10.0])
    thin, safe = _least_thickness(faces, strike, wanted).tolist()
    place, layers = int(found["location"][0]), faces.layers_hv[0]
    places = found["by_place"][:, 0].tolist()
    t, dent, slow = float(faces.thickness_mm[0]), places[-1], float(found["dent_slow"][0])
    skin_hv, skin_um = (float(np.ravel(x)[0]) for x in faces.skin(strike.front_removed_um))
    edge_hv = faces.edge_hv(strike.fillet_mm)[:, 0]
    weak = float(edge_hv[min(place - 1, 2)] if place else layers[-1])
    notes = [outside("face_thickness", t), outside("face_fatigue", weak)]
    if layers.min() < 0.8 * min(layers[0], layers[-1]):
        notes.append(said("face:soft-core"))
    if slow < 1.0 <= margin:
        notes.append(said("face:dent", slow=slow, dent=dent))
    named = zip(LOCATIONS, places, strict=True)
    swing = strike.speed(faces), faces.loft_deg, strike.spin(faces), found["force_n"]
    speed, loft, spin, force = (float(np.ravel(x)[0]) for x in swing)
    names = "patch_mm", "centre_mpa", "edge_mpa", "edge_held"
    first = {name: float(found[name][0]) for name in names}
    return FaceStrike(
        margin, low, high, LOCATIONS[place],
        by_place={name: x for name, x in named if x < math.inf},
        strikes=None if count == math.inf else max(count, 1000.0), strikes_is_bound=count < 1000.0,
        required_strikes=strike.required_strikes, peak_force_n=force, **first,
        least_thickness_mm=thin, least_thickness_safe_mm=safe, thickness_mm=t,
        club_speed_m_s=speed, loft_deg=loft, spin_loft_deg=spin,
        skin_hv=skin_hv if skin_um > 0.0 else None, skin_um=max(skin_um, 0.0),
        dent_margin=dent, dent_margin_slow=slow, warnings=tuple(n for n in notes if n is not None),
    )  # fmt: skip


def face_strike(
    thickness_mm: float,
    hardness_hv: float | Sequence[float],
    *,
    length_mm: float = 46.0,
    height_mm: float = 32.0,
    rim: Sequence[float] | None = None,
    head_mass_g: float = 262.0,
    loft_deg: float = 30.0,
    fractions: Mapping[str, float] | None = None,
    skin: Sequence[float] | None = None,
    hardness_se_hv: float = 0.0,
    **strike,
) -> FaceStrike:
    """Margin, life and minimum thickness of a face under the strike.

    Parameters
    ----------
    thickness_mm : float
        Finished face, mm, 0.8 to 15.
    hardness_hv : float or sequence of float
        One value, or layers of equal distance from front to back, HV, 60 to 900.
    length_mm, height_mm : float
        Free span between the rims, mm.
    rim : sequence of float, optional
        Thickness of the rim, length and height of the blade (mm), hardness of the rim's front (HV).  None:
        clamped all round in steel of the face's own hardness.
    head_mass_g, loft_deg : float
        Head; its static loft also sets the speed unless ``speed_m_s`` is given.
    fractions : mapping, optional
        Structure of the face, for its yield strength; None: all-data strength.
    skin : sequence of float, optional
        Hardness of a decarburised front (HV) and depth at which 90 % of the carbon is left (µm).
    hardness_se_hv : float
        Widens the interval.
    **strike
        By the names of `Strike`: required_strikes, speed_m_s, front_finish, residual_mpa …

    Notes
    -----
    The interval combines as independent: peak over mean force 1.4–1.84, patch ±20 %, body that holds the rim
    from soft to rigid, fatigue limit ±1.28 sd, residual stress ±150 MPa, yield without strain rate, hardness.

    Raises
    ------
    InputError

    Examples
    --------
    >>> face = face_strike(2.6, 400, rim=(4.2, 74, 44, 370))
    >>> round(face.peak_force_kn, 1), round(face.margin, 1), face.location
    (9.1, 1.8, 'a crack at the back of the centre')
    """
    t = check_number(thickness_mm, "face thickness", 0.8, 15.0, "mm")
    form = "a number or a sequence of numbers, front to back"
    layers = _numbers(hardness_hv, "face hardness", form)
    layers = np.array([[check_number(v, "face hardness", 60.0, 900.0, "HV") for v in layers]])
    length = check_number(length_mm, "face length", 10.0, 150.0, "mm")
    height = check_number(height_mm, "face height", 10.0, 150.0, "mm")
    edge = (1000.0, 1.5 * length, 1.5 * height, float(layers[0, 0]))
    if rim is not None:
        edge = _numbers(rim, "rim", "thickness, blade length, blade height (mm), hardness (HV)", 4)
        check_number(edge[0], "rim thickness", 0.5, 1000.0, "mm")
        check_number(edge[3], "rim hardness", 60.0, 900.0, "HV")
    bare = (0.0, 0.0) if skin is None else _numbers(skin, "skin", "hardness (HV), depth (µm)", 2)
    loft = check_number(loft_deg, "loft", 0.0, 75.0, "°")
    mass = check_number(head_mass_g, "head mass", *MASS_G, "g")

    def ones(*numbers):
        return [np.array([x]) for x in numbers]

    size, swing = ones(t, length, height), ones(mass, loft, tour_speed_m_s(loft))
    shares = (0.0, 0.0, 0.0) if fractions is None else structure_shares(fractions)
    rest = layers, *ones(edge[3]), shares, *ones(*bare)
    faces = Faces(*size, tuple(ones(*edge[:3])), *swing, *rest)
    spread = check_number(hardness_se_hv, "standard error of hardness", 0.0, 300.0, "HV")
    return strike_of_faces(faces, Strike(**strike_options(strike)), spread)


def _numbers(value, what: str, allowed: str, count: int | None = None) -> list[float]:
    try:
        found = np.atleast_1d(np.asarray(value, dtype=float))
    except Exception:  # noqa: BLE001  (whatever a foreign object says)
        found = np.array([])
    right = found.ndim == 1 and 0 < found.size == (count or found.size)
    if not (right and np.isfinite(found).all()):
        raise InputError(f"{what} is {shown(value)}; allowed: {allowed}.")
    return found.tolist()
