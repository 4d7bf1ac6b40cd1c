"""What the strike asks of the face: ball load, plate stress, fatigue strength; margin and least thickness.

A thick blade is no plate (above 5–6 mm the stress is low anyway); the formulas are for a face that is free
behind, clamped all round by its rim.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..base.constants import Z80
from ..base.errors import InputError, check_choice, check_number
from ..base.ranges import Warn, outside
from ..strength.tensile import NOTHING_BUT_AUSTENITE, strength_arrays, structure_shares
from .ball_impact import CONTACT_S, PEAK_FACTOR, PEAK_RANGE, strike_load
from .plate import first_frequency_hz, rectangle_coefficients

__all__ = [
    "FINISHES",
    "LAYERS_LOOKED_AT",
    "PLACES",
    "FaceStrike",
    "core_hv",
    "face_margin_of_heads",
    "face_strike",
    "fatigue_strength_mpa",
    "layers_of_faces",
    "strike_of_head",
]

#: Surface factor k_a = a TS^b on the endurance limit (Noll & Lipson 1946; Shigley's Mechanical Engineering Design,
#: 9th ed., Table 6-2, read; the 11th edition fits the same points anew, within 5 % where compared).
FINISHES = {
    "polished": (1.0, 0.0),
    "ground": (1.58, -0.085),
    "machined": (4.51, -0.265),
    "as forged": (272.0, -0.995),
}

# Fatigue limit at 10⁷ cycles of polished bars: 29.8 + 1.589 HV, sd 19 MPa (fit on 360 heats of the NIMS
# fatigue data sheets, 195–380 HV); knee at 10⁶ and 0.85 of the tensile strength at 10³ cycles (Shigley,
# from memory).
_LIMIT_INTERCEPT, _LIMIT_SLOPE, _LIMIT_SD = 29.8, 1.589, 19.0
_KNEE, _FIRST, _FIRST_SHARE = 1e6, 1e3, 0.85


#: Fully plastic over first-yield moment of a plate in bending (rectangle: 1.5).
_PLASTIC = 1.5


def fatigue_strength_mpa(
    hardness_hv, tensile_mpa, strikes, finish: str = "machined", shift_sd: float = 0.0
):
    """Stress amplitude that cracks half the parts after a number of strikes, fully reversed, MPa.

    Straight in log–log between 0.85 of the tensile strength at 10³ and the fatigue limit with its surface
    factor at 10⁶, level beyond.

    Parameters
    ----------
    shift_sd : float
        Standard deviations (19 MPa) to move the fatigue limit.

    References
    ----------
    .. [1] 29.8 + 1.589 HV: own fit to NIMS fatigue data sheets, 360 heats; rows not bundled (our own fit).
    .. [2] 0.85 of tensile strength at 1000 cycles, knee at 1e6: Shigley's Mechanical Engineering
       Design (from memory).
    .. [3] Finish: G. C. Noll & C. Lipson, Proc. SESA 3 (1946) 29; Shigley 9th ed., table 6-2
       (read).

    Examples
    --------
    >>> round(float(fatigue_strength_mpa(250, 780, 1e7, "polished")))
    427
    """
    a, b = FINISHES[check_choice(finish, "finish", FINISHES)]
    tensile = np.asarray(tensile_mpa, dtype=float)
    limit = (
        _LIMIT_INTERCEPT
        + _LIMIT_SLOPE * np.asarray(hardness_hv, dtype=float)
        + shift_sd * _LIMIT_SD
    )
    limit = limit * np.minimum(a * tensile**b, 1.0)
    first = np.maximum(_FIRST_SHARE * tensile, limit)
    n = np.clip(strikes, _FIRST, _KNEE)
    return first * (limit / first) ** (np.log(n / _FIRST) / math.log(_KNEE / _FIRST))


# ---- many at once ----


def _overshoot(thickness, length, height, contact_s):
    """Overshoot of the face under a half-sine pulse over its static answer.

    1/(1 − T/2t_c) is the envelope of one mass on a spring (derived), held at 1.77, the top of its shock
    spectrum (from memory); T from `plate.first_frequency_hz`.
    """
    period = 1.0 / first_frequency_hz(length, height, thickness)
    return 1.0 / (1.0 - np.minimum(period / (2.0 * contact_s), 0.435))


def _stresses(thickness, length, height, force, patch, contact_s):
    """Tension at the back of the centre and at the front of the edge, MPa."""
    plate = rectangle_coefficients(length, height, patch)
    load = force * _overshoot(thickness, length, height, contact_s) / thickness**2
    return plate.centre * load, plate.edge * load


def _capacity_mpa(hardness_hv, strength_of, strikes, finish, shift_sd):
    """Greatest pulse of stress, MPa, one place takes for that number of strikes; load factor = capacity / stress.

    Pulses from zero under Goodman's line, amplitude/S + mean/TS = 1.  Where the peak passes yield, the
    first strikes shake the mean stress down to YS − amplitude; that ends where the range passes 2 YS and
    every strike yields.

    References
    ----------
    .. [1] Shakedown: mean stress falls to yield less amplitude (from memory).
    """
    s = strength_of(hardness_hv)
    yield_, tensile = s["yield_mpa"], s["tensile_mpa"]
    fatigue = fatigue_strength_mpa(hardness_hv, tensile, strikes, finish, shift_sd)
    elastic = 2.0 / (1.0 / fatigue + 1.0 / tensile)
    shaken = 2.0 * (1.0 - yield_ / tensile) / np.maximum(1.0 / fatigue - 1.0 / tensile, 1e-12)
    return np.where(elastic <= yield_, elastic, np.minimum(shaken, 2.0 * yield_))


#: Where and how the margin is least, in the order of the margins.
PLACES = (
    "fatigue at the centre of the back",
    "fatigue at the edge of the front",
    "a permanent dent",
)


def _least_thickness(margin, wanted, thickness, length, height, contact_s):
    """Thickness at which a margin found at one thickness becomes `wanted`, mm.

    What each place takes does not depend on thickness and every stress goes with overshoot(t)/t², nearly with
    1/t²: t·√(wanted/found) settles in a few steps.
    """
    at_start = _overshoot(thickness, length, height, contact_s) / thickness**2
    t = np.full(np.shape(wanted), thickness)
    for _ in range(60):
        now = margin * at_start / (_overshoot(t, length, height, contact_s) / t**2)
        new = t * np.sqrt(wanted / now)
        done = np.all(np.abs(new - t) < 1e-10 * t)
        t = np.clip(new, 0.2, 50.0)
        if done:
            break
    return t


# ---- one face ----


@dataclass(frozen=True)
class FaceStrike:
    """How the face takes the strike.

    Attributes
    ----------
    margin, margin_low, margin_high : float
        Load factor of the weakest place at the wanted number of strikes, with an 80 % interval.
    governed_by : str
        Where and how: one of `PLACES`, or a layer inside.
    least_thickness_mm, least_thickness_safe_mm : float
        Thickness at margin 1, and with the low end of the interval at 1.
    peak_force_n, patch_mm : float
        Strike load and the radius it is spread over.
    centre_mpa, edge_mpa : float
        Tension at the back of the centre and at the front of the edge.
    fatigue_strength_mpa : float
        Stress amplitude, fully reversed, of the governing skin at that number of strikes.
    strikes : float
    strikes_to_crack : float or None
        Strikes at which half the faces would crack; None: no end, below the fatigue limit.
    thickness_mm : float
    warnings : tuple of Warn
    """

    margin: float
    margin_low: float
    margin_high: float
    governed_by: str
    least_thickness_mm: float
    least_thickness_safe_mm: float
    peak_force_n: float
    patch_mm: float
    centre_mpa: float
    edge_mpa: float
    fatigue_strength_mpa: float
    strikes: float
    strikes_to_crack: float | None
    thickness_mm: float
    warnings: tuple[Warn, ...]

    @property
    def peak_force_kn(self) -> float:
        """Peak force, kN."""
        return self.peak_force_n / 1000.0

    @property
    def stress_mpa(self) -> float:
        """The greater of the two tensions, MPa."""
        return max(self.centre_mpa, self.edge_mpa)

    def words(self) -> str:
        """The answer in sentences."""
        if self.margin_low >= 1.0:
            verdict = "holds, also at the low end of the interval"
        elif self.margin >= 1.0:
            verdict = "holds on average, not at the low end of the interval"
        else:
            verdict = "does not hold"
        end = (
            "the stress is below the fatigue limit"
            if self.strikes_to_crack is None
            else f"half such faces would crack after about {_round(self.strikes_to_crack)} strikes"
        )
        return (
            f"The {self.thickness_mm:.1f} mm face {verdict} for {self.strikes:,.0f} hard strikes of "
            f"{self.peak_force_kn:.1f} kN: margin {self.margin:.2f} ({self.margin_low:.2f} to "
            f"{self.margin_high:.2f}) against {self.governed_by}; {end}. "
            f"Least thickness {self.least_thickness_mm:.1f} mm, "
            f"{self.least_thickness_safe_mm:.1f} mm to be safe."
        )


def _layered(faces, layers, force, patch, shift_sd, options):
    """Least margin of faces over their skins, their layers inside (fatigue at their outer side) and a dent.

    Parameters
    ----------
    faces : tuple of float or array, shape (n,)
        Thickness, length and height.
    layers : array, shape (n, m)
        Hardness front to back.
    force, patch, shift_sd : float or array, shape (n,)
    options : dict
        strikes, finish, contact_s and, unless the structure is unknown, the shares of the structure.

    Returns
    -------
    margins : array, shape (n,)
    by_place : array, shape (n, m + 1)
        Of the layers and of a dent.
    centre, edge : array, shape (n,)
        Stresses, MPa.
    """
    count, n = layers.shape
    centre, edge = (
        np.broadcast_to(x, (count,)) for x in _stresses(*faces, force, patch, options["contact_s"])
    )
    shares = {k: np.broadcast_to(v, (count,)) for k, v in options.items() if k.endswith("_share")}

    def strength_of(hv):
        each = {k: np.repeat(v, hv.size // count) for k, v in shares.items()}
        found = strength_arrays(hv.ravel(), **each)
        return {k: v.reshape(hv.shape) for k, v in found.items()}

    shift = np.broadcast_to(shift_sd, (count,))[:, None]
    capacity = _capacity_mpa(layers, strength_of, options["strikes"], options["finish"], shift)
    if n == 1:
        factors = capacity / np.maximum(centre, edge)[:, None]
    else:
        back, share = _tension(n)
        factors = capacity / (np.where(back, centre[:, None], edge[:, None]) * share)
    dent = 2.0 * _PLASTIC * strength_of(core_hv(layers))["yield_mpa"] / (centre + edge)
    by_place = np.column_stack([factors, dent])
    return by_place.min(axis=1), by_place, centre, edge


def _tension(n):
    """Layers held to the tension at the back of the centre (else: front of the edge), and their share of it.

    The back half is in tension at the centre, the front half at the edge; a layer is held at its outer side.
    """
    i = np.arange(n)
    at_back, at_front = 2.0 * (i + 1) / n - 1.0, 1.0 - 2.0 * i / n
    at_back[-1] = at_front[0] = 1.0
    return at_back >= at_front, np.maximum(np.maximum(at_back, at_front), 1e-9)


def _place(i, n, centre, edge) -> str:
    """Words for the weakest place: layer i of n, or n for a dent."""
    if i == n:
        return PLACES[2]
    if n == 1:
        return PLACES[0] if centre >= edge else PLACES[1]
    name = PLACES[0] if _tension(n)[0][i] else PLACES[1]
    inside = f", inside (layer {i + 1} of {n} from the front)"
    return name if i in (0, n - 1) else name + inside


def core_hv(layers):
    """Mean hardness weighed by the distance from mid-thickness, HV: what carries plastic bending.

    Parameters
    ----------
    layers : array_like
        Layers of equal thickness on the last axis.

    Examples
    --------
    >>> float(core_hv([300.0, 100.0, 100.0, 300.0]))
    250.0
    """
    layers = np.asarray(layers, dtype=float)
    edges = np.linspace(-1.0, 1.0, layers.shape[-1] + 1)
    weight = np.abs(np.diff(edges * np.abs(edges)))  # ∫ |z| dz over each layer, doubled
    return layers @ (weight / weight.sum())


def _strikes_to_crack(stresses, skins, shares, finish) -> float | None:
    """Strikes at which the first of the skins has margin 1 against fatigue; None where none ever has."""
    least = None
    for stress, hv in zip(stresses, skins, strict=True):
        s = strength_arrays(hv, **shares)
        tensile, amplitude = float(s["tensile_mpa"][0]), 0.5 * stress
        mean = min(amplitude, max(float(s["yield_mpa"][0]) - amplitude, 0.0))
        first, limit = (
            float(fatigue_strength_mpa(hv, tensile, n, finish)) for n in (_FIRST, _KNEE)
        )
        needed = amplitude / max(1.0 - mean / tensile, 1e-9)
        if needed <= limit:
            continue
        n = _FIRST
        if needed < first:
            n *= (_KNEE / _FIRST) ** (math.log(needed / first) / math.log(limit / first))
        least = n if least is None else min(least, n)
    return least


def _round(n: float) -> str:
    digits = max(int(math.floor(math.log10(max(n, 1.0)))) - 1, 0)
    return f"{round(n, -digits):,.0f}"


def face_strike(
    thickness_mm: float,
    hardness_hv: float | Sequence[float],
    *,
    length_mm: float = 60.0,
    height_mm: float = 40.0,
    head_mass_g: float = 268.0,
    speed_m_s: float = 38.0,
    loft_deg: float = 24.0,
    restitution: float = 0.79,
    contact_s: float = CONTACT_S,
    patch_mm: float | None = None,
    strikes: float = 10_000.0,
    finish: str = "machined",
    fractions: Mapping[str, float] | None = None,
    hardness_se_hv: float = 0.0,
) -> FaceStrike:
    """Margin and least thickness of a face under the strike.

    Parameters
    ----------
    thickness_mm : float
        Finished face, mm, 0.8 to 15.
    hardness_hv : float or sequence of float
        One value, or layers of equal thickness from front to back; each is held against the stress at its
        outer side.
    length_mm, height_mm : float
        Free span between the rims, mm.
    head_mass_g, speed_m_s, loft_deg : float
        The strike (defaults: an example mid-iron and a fast swing).
    restitution, contact_s, patch_mm : float
        See `strike_load`; `patch_mm` replaces its estimate (10–13 mm from memory for a full driver strike,
        less for irons; no measured value read).
    strikes : float
        Hard strikes in the middle of the face.  10 000 is the usual air-cannon series (a trade page, read:
        5000–10 000).
    finish : {"polished", "ground", "machined", "as forged"}
        Of the skin in tension.  A decarburised or as-forged back is far weaker.
    fractions : mapping, optional
        Structure; None: all-data strength.
    hardness_se_hv : float
        Widens the interval.

    Notes
    -----
    The clamped edge overstates its stress where the rim gives or a fillet thickens it; off-centre strikes
    are milder at the centre and worse at an edge.  The interval combines peak over mean force 1.4–2, patch
    ±20 %, fatigue limit ±1.28 sd and hardness, as independent.

    Raises
    ------
    InputError

    References
    ----------
    .. [1] 10 000 strikes: usual air-cannon series are 5000-10 000 (common practice).

    Examples
    --------
    >>> face = face_strike(3.0, 250)
    >>> round(face.peak_force_kn, 1), face.margin < 1.5, face.least_thickness_mm > 2
    (7.7, True, True)
    """
    t = check_number(thickness_mm, "face thickness", 0.8, 15.0, "mm")
    try:
        layers = np.atleast_1d(np.asarray(hardness_hv, dtype=float))
    except (TypeError, ValueError):
        layers = np.array([])
    if layers.ndim != 1 or layers.size == 0:
        raise InputError(
            f"face hardness is {hardness_hv!r}; allowed is a number or a sequence of numbers, "
            "front to back."
        )
    layers = np.array([check_number(float(v), "face hardness", 60.0, 900.0, "HV") for v in layers])
    length = check_number(length_mm, "face length", 10.0, 150.0, "mm")
    height = check_number(height_mm, "face height", 10.0, 150.0, "mm")
    mass = check_number(head_mass_g, "head mass", 100.0, 600.0, "g")
    speed = check_number(speed_m_s, "head speed", 1.0, 80.0, "m/s")
    loft = check_number(loft_deg, "loft", 0.0, 75.0, "°")
    cor = check_number(restitution, "restitution", 0.0, 1.0)
    contact = check_number(contact_s, "contact time", 1e-4, 2e-3, "s")
    count = check_number(strikes, "strikes", 1.0, 1e9)
    finish = check_choice(finish, "finish", FINISHES)
    spread_hv = check_number(hardness_se_hv, "standard error of hardness", 0.0, 300.0, "HV")
    force, patch = (float(x) for x in strike_load(mass, speed, loft, cor, contact))
    if patch_mm is not None:
        patch = check_number(patch_mm, "patch radius", 1.0, 0.5 * min(length, height), "mm")
    shares = {}
    if fractions is not None:
        fp, b, m = structure_shares(fractions)
        shares = {"ferrite_pearlite_share": fp, "bainite_share": b, "martensite_share": m}
    options = {
        "length_mm": length,
        "height_mm": height,
        "strikes": count,
        "finish": finish,
        "contact_s": contact,
        **shares,
    }

    # the face itself, then peak over mean force, patch, fatigue limit and hardness each moved down and up
    spread = PEAK_RANGE[0] / PEAK_FACTOR, PEAK_RANGE[1] / PEAK_FACTOR
    forces = force * np.array([1.0, *spread, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    patches = patch * np.array([1.0, 1.0, 1.0, 0.8, 1.2, 1.0, 1.0, 1.0, 1.0])
    shifts = np.array([0.0, 0.0, 0.0, 0.0, 0.0, -Z80, Z80, 0.0, 0.0])
    moved_hv = spread_hv * np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -Z80, Z80])
    variants = np.maximum(layers[None, :] + moved_hv[:, None], 60.0)
    moved, by_place, stress_c, stress_e = _layered(
        (t, length, height), variants, forces, patches, shifts, options
    )
    margin, centre, edge = float(moved[0]), float(stress_c[0]), float(stress_e[0])
    place = _place(int(by_place[0].argmin()), layers.size, centre, edge)
    shift = moved[1:] - margin
    low = max(margin - math.sqrt(float(np.sum(np.minimum(shift, 0.0) ** 2))), 0.0)
    high = margin + math.sqrt(float(np.sum(np.maximum(shift, 0.0) ** 2)))
    front, back = float(layers[0]), float(layers[-1])
    wanted = np.array([1.0, margin / low if low > 0.0 else 10.0])
    skins = float(np.minimum(by_place[0, [0, -2]].min(), by_place[0, -1]))
    thin, safe = map(float, _least_thickness(skins, wanted, t, length, height, contact))
    skin = front if by_place[0, 0] < by_place[0, -2] or edge > centre and layers.size == 1 else back
    tensile = strength_arrays(skin, **shares)["tensile_mpa"]
    fatigue = float(fatigue_strength_mpa(skin, tensile, count, finish)[0])
    notes = [outside("face_thickness", t), outside("face_fatigue", skin)]
    if layers.min() < 0.8 * min(front, back):
        notes.append(
            Warn(
                "face:soft-core",
                "The core is much softer than the skins; each layer is held to its own stress.",
            )
        )
    return FaceStrike(
        margin=margin,
        margin_low=low,
        margin_high=high,
        governed_by=place,
        least_thickness_mm=thin,
        least_thickness_safe_mm=safe,
        peak_force_n=force,
        patch_mm=patch,
        centre_mpa=centre,
        edge_mpa=edge,
        fatigue_strength_mpa=fatigue,
        strikes=count,
        strikes_to_crack=_strikes_to_crack((centre, edge), (back, front), shares, finish),
        thickness_mm=t,
        warnings=tuple(n for n in notes if n is not None),
    )


#: Points through the finished thickness at which a zone's hardness is held against the stress.
LAYERS_LOOKED_AT = 9


def layers_of_faces(points_hv, kept, rim_hv):
    """Hardness through the finished thickness, front to back, HV, shape (n, layers).

    The recess is milled from the back, so the finished face keeps the front of the forged thickness.  At
    the edge the softer of face and rim counts.

    Parameters
    ----------
    points_hv : array, shape (n, points)
        Gauss–Lobatto points through the forged thickness, front to back.
    kept : array, shape (n,)
        Finished over forged thickness.
    rim_hv : array, shape (n,)
        Front of the rim.
    """
    from ..engine.section import lobatto

    nodes = np.asarray(lobatto(points_hv.shape[1])[0])
    at = np.asarray(kept)[:, None] * np.linspace(0.0, 1.0, LAYERS_LOOKED_AT)
    i = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    share = (at - nodes[i]) / (nodes[i + 1] - nodes[i])
    rows = np.arange(len(points_hv))[:, None]
    layers = points_hv[rows, i] + share * (points_hv[rows, i + 1] - points_hv[rows, i])
    layers[:, 0] = np.minimum(layers[:, 0], rim_hv)
    return np.clip(layers, 60.0, 900.0)


def face_margin_of_heads(face, forged_mm, head_mass_g, face_hv, rim_hv, shares) -> np.ndarray:
    """Margin of many heads at the default strike of `face_strike`; the same code as for one.

    Parameters
    ----------
    face : tuple of array, shape (n,)
        Finished thickness, length and height of the free span, mm.
    forged_mm, head_mass_g : array, shape (n,)
        Forged thickness of the face, finished mass.
    face_hv, rim_hv : array, shape (n, points)
        Hardness at the points through face and rim, front to back.
    shares : dict of str to array, shape (n,)
        Structure of the face by the names of `strength_arrays`.
    """
    layers = layers_of_faces(face_hv, face[0] / forged_mm, rim_hv[:, 0])
    names = ("speed_m_s", "loft_deg", "restitution", "contact_s", "strikes", "finish")
    given = {name: face_strike.__kwdefaults__[name] for name in names}
    force, patch = strike_load(head_mass_g, *(given[name] for name in names[:4]))
    return _layered(face, layers, force, patch, 0.0, {**given, **shares})[0]


def strike_of_head(head, face, rim, **options) -> FaceStrike:
    """`face_strike` of a head from its computed zones (see `layers_of_faces`).

    Parameters
    ----------
    head : forgeprops.head.Head
    face, rim : zone results
        With ``layers_hv`` (Gauss–Lobatto points, front to back), ``fractions`` and ``hardness_sd_hv``.
    **options
        As in `face_strike` (head speed, loft, strikes …).
    """
    points = np.asarray(face.layers_hv, dtype=float)[None]
    kept = np.array([head.face.thickness_mm / head.face.forged_thickness_mm])
    layers = layers_of_faces(points, kept, float(np.asarray(rim.layers_hv)[0]))[0]
    shares = dict(face.fractions)
    shares["ferrite"] = shares.get("ferrite", 0.0) + shares.pop("untransformed", 0.0)
    if sum(v for k, v in shares.items() if k != "austenite") <= NOTHING_BUT_AUSTENITE:
        shares = None
    given = {
        "length_mm": head.face.length_mm,
        "height_mm": head.face.height_mm,
        "head_mass_g": head.mass_g("finished"),
        "fractions": shares,
        "hardness_se_hv": face.hardness_sd_hv,
        **options,
    }
    return face_strike(head.face.thickness_mm, layers, **given)
