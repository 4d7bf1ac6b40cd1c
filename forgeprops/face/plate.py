"""Static bending of the face at the strike: clamped plates, load over a central patch, and how the rim holds the edge.

Results are coefficients, free of thickness and material:  stress = coefficient · W/t²,  deflection =
coefficient · W b²/(E t³), W load, t thickness, b short side (or diameter).
"""

import functools
import math
from typing import NamedTuple

import numpy as np

from ..base.constants import POISSON, STEEL_DENSITY_KG_M3, YOUNGS_MPA
from ..base.tables import read_rows


class PlateCoefficients(NamedTuple):
    """Bending stresses (σ t²/W) and deflection (y E t³/(W b²)) of a clamped plate, and of one free to turn."""

    centre: float  #: tension on the side away from the load
    edge: float  #: tension on the loaded side, in the middle of the long edge
    deflection: float  #: at the centre
    supported: float  #: tension at the centre of the same plate, its edge free to turn


@functools.cache
def _tables():
    rows = read_rows("constants/plate_coefficients.csv")
    names = ("side_ratio", "patch_over_half_side")
    axes = [np.log(sorted({float(r[name]) for r in rows})) for name in names]
    values = np.array([[float(r[name]) for r in rows] for name in PlateCoefficients._fields])
    return *axes, values.reshape(-1, axes[0].size, axes[1].size)


def _four(axis, x):
    """Four neighbours on an axis and their Lagrange weights, shapes (..., 4)."""
    i = np.clip(np.searchsorted(axis, x) - 2, 0, axis.size - 4)[..., None] + np.arange(4)
    apart = np.asarray(x)[..., None] - axis[i]
    weight = np.ones(i.shape)
    for a in range(4):
        for b in range(4):
            if a != b:
                weight[..., a] *= apart[..., b] / (axis[i[..., a]] - axis[i[..., b]])
    return i, weight


def rectangle_coefficients(length_mm, height_mm, patch_mm) -> PlateCoefficients:
    """Clamped rectangular plate, load even over a central circle; floats or arrays.

    From a table of the Ritz solution by cubics in the logarithms (to 0.3 %), Poisson's ratio 0.3.  Sides beyond 3:1 count as
    3:1; a patch is held between 0.075 and 0.5 of the short side.  Handbook formulas hold for a small patch: on a face their edge
    stress is high (9 kN on 60 × 40 × 3 mm over r₀ = 10 mm: 977 MPa by the handbook, 871 here; centre 595 and 621).

    .. [1] Ritz solution of the clamped plate; Navier's series with the edge free to turn
       (data/constants/plate_coefficients.csv) (derived).
    """
    ratios, patches, values = _tables()
    long, short = np.maximum(length_mm, height_mm), np.minimum(length_mm, height_mm)
    ratio = np.minimum(np.log(long / short), ratios[-1])
    patch = np.log(2.0 * np.asarray(patch_mm, dtype=float) / short)
    patch = np.clip(patch, patches[0], patches[-1])
    i, u = _four(ratios, ratio)
    j, v = _four(patches, patch)
    near = values[:, i[..., :, None], j[..., None, :]]
    return PlateCoefficients(*np.einsum("...a,q...ab,...b->q...", u, near, v))


def first_frequency_hz(length_mm, height_mm, thickness_mm):
    """First natural frequency of a clamped rectangular steel plate, Hz.

    ω = √(D/ρt) √(500.6 (1/a⁴ + 1/b⁴) + 302.7/(a²b²)), Rayleigh's quotient with the clamped beam's shape.

    .. [1] A. W. Leissa, Vibration of Plates: a²ω√(ρt/D) = 35.99 (from memory).
    """
    a, b, t = (np.asarray(x, dtype=float) / 1000.0 for x in (length_mm, height_mm, thickness_mm))
    wave = YOUNGS_MPA * 1e6 * t**2 / (12.0 * (1.0 - POISSON**2) * STEEL_DENSITY_KG_M3)
    return np.sqrt(wave * (500.6 * (a**-4 + b**-4) + 302.7 / (a * b) ** 2)) / (2.0 * math.pi)


def dynamic_overshoot(length_mm, height_mm, thickness_mm, contact_s):
    """Overshoot of a clamped face under a half-sine pulse over its static answer.

    1/(1 − T/2t_c) is the envelope of one mass on a spring, held at 1.77, the top of its shock spectrum.

    .. [1] Envelope of one mass on a spring (derived).
    .. [2] 1.77, top of the half-sine shock spectrum (from memory).
    """
    period = 1.0 / first_frequency_hz(length_mm, height_mm, thickness_mm)
    return 1.0 / (1.0 - np.minimum(period / (2.0 * contact_s), 0.435))


def limit_load_factor(patch_share):
    """Plastic limit load of a clamped disc over 2π M₀, load even on a central circle (Tresca); floats or arrays.

    By the radius of the circle over that of the disc: (q − 1) ln(a/b) = 1 with b = c (2q/3)/(q − 1) up to q = 3, where the
    radial moment vanishes at b outside the patch; beyond, (q − 1) ln(a/c) + q/2 − ½ ln(q/3) = 5/2.  1 for a point load, 5.63
    for an even pressure.

    .. [1] H. G. Hopkins & W. Prager, J. Mech. Phys. Solids 2 (1953) 1-13 (from memory), load on a part of the disc (derived).
    """
    shares, factors = _limit_loads()
    return np.interp(patch_share, shares, factors)


@functools.cache
def _limit_loads():
    shares = np.r_[np.geomspace(1e-4, 0.01, 40), np.linspace(0.01, 1.0, 400)[1:]]
    low, high, log = np.full(shares.shape, 1.0 + 1e-9), np.full(shares.shape, 6.0), -np.log(shares)
    for _ in range(52):
        q = 0.5 * (low + high)
        outside = (q - 1.0) * (log - np.log((2.0 * q / 3.0) / (q - 1.0))) - 1.0
        inside = (q - 1.0) * log + 0.5 * q - 0.5 * np.log(q / 3.0) - 2.5
        short = np.where(q < 3.0, outside, inside) < 0.0
        low, high = np.where(short, q, low), np.where(short, high, q)
    return shares, 0.5 * (low + high)


# The edge: the face is a disc of its own area, the rim a ring around it out to the blade's area, held at its outer edge by
# the body, which turns as a ring.  Exact for the stepped disc; a rectangle is taken to share its loads alike (our choice).

#: The body as a ring around the blade: radial width and depth from front to back, mm (our choice; its depth
#: in a band from 6 mm to one that cannot turn).
BODY_RING_MM = (8.0, 10.0)
BODY_RING_RANGE_MM = (6.0, 1000.0)
#: Share of full clamping that is counted: a thick face in a thin rim would turn the edge moment round.
HELD_RANGE = (0.3, 1.0)
#: Corner radius of the recess, mm (our choice).
FILLET_MM = 2.0


def _disc_mm(length_mm, height_mm):
    return np.sqrt(length_mm * height_mm / math.pi)


def edge_held(
    thickness_mm, face_mm, rim_thickness_mm, blade_mm, patch_mm, body_depth_mm=BODY_RING_MM[1]
):
    """Edge moment of the face over that of a face clamped all round, held in `HELD_RANGE`; floats or arrays.

    Thickness of the face and length and height of its free span, thickness of the rim and length and height of the blade, radius
    of the loaded circle, all in mm.  Slope of the ring, from its constant shear W/(2πr): φ = P r (ln(r/b) − ½) + C₁ r + C₂/r
    with P = W/(4πD₂).  At b the body's ring gives M = k φ, k = E w d³/(12 b²); at a slope and moment are those of the face,
    φ = −a (M₀ − M)/(D₁ (1 + ν)) with the clamped moment M₀ = (W/4π)(1 − c²/2a²).

    .. [1] S. Timoshenko & S. Woinowsky-Krieger, Theory of Plates and Shells; two plates joined (derived).
    """
    a = _disc_mm(*face_mm)
    b, c = np.maximum(_disc_mm(*blade_mm), 1.001 * a), np.minimum(patch_mm, a)
    unit = YOUNGS_MPA / (12.0 * (1.0 - POISSON**2))
    d1, d2 = unit * thickness_mm**3, unit * rim_thickness_mm**3
    spring = YOUNGS_MPA * BODY_RING_MM[0] * body_depth_mm**3 / (12.0 * b**2)
    p, log = 1.0 / (4.0 * math.pi * d2), np.log(a / b)
    clamped = (1.0 - c * c / (2.0 * a * a)) / (4.0 * math.pi)
    # two equations in C1 and C2: at b, then at a with the moment put into the slope
    high, low, turn = 1.0 + POISSON, 1.0 - POISSON, a / (d1 * (1.0 + POISSON))
    a11, a12 = d2 * high + spring * b, -d2 * low / b**2 + spring / b
    r1 = 0.5 * p * (spring * b - d2 * low)
    a21, a22 = a - turn * d2 * high, 1.0 / a + turn * d2 * low / a**2
    known = d2 * p * (high * log + 0.5 * low)
    r2 = turn * (known - clamped) - p * a * (log - 0.5)
    det = a11 * a22 - a12 * a21
    c1, c2 = (r1 * a22 - a12 * r2) / det, (a11 * r2 - a21 * r1) / det
    moment = known + d2 * (high * c1 - low * c2 / a**2)
    return np.clip(moment / clamped, *HELD_RANGE)


def fillet_share(face_mm, patch_mm, radius_mm=FILLET_MM):
    """Edge moment at the toe of the recess's corner radius over that at the rim (clamped disc).

    >>> [round(float(fillet_share((46.0, 32.0), 9.7, r)), 2) for r in (0.0, 1.0, 2.0, 3.0)]
    [1.0, 0.93, 0.85, 0.77]

    .. [1] Radial moment of the clamped disc under a central patch (derived).
    """
    a = _disc_mm(*face_mm)
    c, x = np.minimum(patch_mm, 0.9 * a), a - np.minimum(radius_mm, 0.2 * a)
    patch = 0.25 * c * c * ((1.0 + POISSON) / a**2 + (1.0 - POISSON) / x**2)
    return (1.0 - patch - (1.0 + POISSON) * np.log(a / x)) / (1.0 - c * c / (2.0 * a * a))
