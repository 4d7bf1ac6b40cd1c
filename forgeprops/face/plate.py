"""Clamped plates under a load spread over a central patch: static bending of the face at the strike.

Results are coefficients, free of thickness and material:  stress = coefficient · W/t²,  deflection =
coefficient · W b²/(E t³), W load, t thickness, b short side (or diameter).
"""

from __future__ import annotations

import dataclasses
import functools
import math
from dataclasses import dataclass

import numpy as np

from ..base.constants import POISSON
from ..base.errors import check_number
from ..base.tables import read_rows

__all__ = [
    "PlateCoefficients",
    "clamped_circle",
    "clamped_rectangle",
    "dynamic_overshoot",
    "first_frequency_hz",
    "limit_load_factor",
    "rectangle_coefficients",
]


#: Poisson's ratio of steel (common practice).


@dataclass(frozen=True)
class PlateCoefficients:
    """Bending stresses (σ t²/W) and deflection (y E t³/(W b²)) of a clamped plate, and of one free to turn.

    Attributes
    ----------
    centre : float
        Tension on the side away from the load.
    edge : float
        Tension on the loaded side, in the middle of the long edge.
    deflection : float
        At the centre.
    supported : float
        Tension at the centre of the same plate held at its edge but free to turn there.
    """

    centre: float
    edge: float
    deflection: float
    supported: float


def clamped_circle(
    radius_mm: float, patch_mm: float, poisson: float = POISSON
) -> PlateCoefficients:
    """Clamped circular plate, load uniform over a central circle.

    Centre moment W(1 + ν)/(4π) [ln(a/r₀) + r₀²/(4a²)], edge moment (W/4π)[1 − r₀²/(2a²)], deflection
    W/(64πD) [4a² − 4r₀² ln(a/r₀) − 3r₀²]; stress 6M/t², D = E t³/(12(1 − ν²)).

    Examples
    --------
    >>> c = clamped_circle(22.0, 10.0)                # 9 kN, 3 mm
    >>> round(c.centre * 9000 / 3**2), round(c.edge * 9000 / 3**2)
    (521, 428)
    """
    a = check_number(radius_mm, "plate radius", 1.0, 1000.0, "mm")
    r = check_number(patch_mm, "patch radius", 1e-6, a, "mm")
    log = math.log(a / r)
    centre = 6.0 * (1.0 + poisson) / (4.0 * math.pi) * (log + r * r / (4.0 * a * a))
    edge = 6.0 / (4.0 * math.pi) * (1.0 - r * r / (2.0 * a * a))
    shape = (4.0 * a * a - 4.0 * r * r * log - 3.0 * r * r) / (64.0 * math.pi)
    # an edge free to turn: the edge moment comes off everywhere
    deflection = 12.0 * (1.0 - poisson**2) * shape / (2.0 * a) ** 2
    return PlateCoefficients(centre, edge, deflection, centre + edge)


# Even shape functions (1 − ξ²)² P₂ᵢ(ξ) per direction; 16 give stresses to 1 % for a patch radius of a tenth
# of the short side and to 0.3 % for a quarter, where faces are.
_TERMS = 16
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(64)


def _shapes(x):
    """Shape functions and their first two derivatives at x, (terms, n) each."""
    legendre = np.polynomial.legendre
    even = np.eye(2 * _TERMS - 1)[:, ::2]  # Legendre coefficients of P₀, P₂, P₄ …
    p, p1, p2 = (legendre.legval(x, legendre.legder(even, order)) for order in (0, 1, 2))
    b, b1, b2 = (1.0 - x * x) ** 2, -4.0 * x * (1.0 - x * x), 12.0 * x * x - 4.0
    return b * p, b1 * p + b * p1, b2 * p + 2.0 * b1 * p1 + b * p2


@functools.cache
def _gram():
    f, _, f2 = _shapes(_POINTS)
    return (f * _WEIGHTS) @ f.T, (f2 * _WEIGHTS) @ f.T, (f2 * _WEIGHTS) @ f2.T


@functools.lru_cache(maxsize=512)
def _rectangle(ratio: float, patch: float, poisson: float) -> PlateCoefficients:
    """Ritz solution in units of the short half-side: half-sides `ratio` and 1, D = 1, W = 1."""
    g00, g20, g22 = _gram()
    n = _TERMS
    # energy of a clamped plate: ½ ∫ (w_xx + w_yy)²
    stiffness = (
        np.einsum("ik,jl->ijkl", g22, g00) / ratio**3
        + np.einsum("ik,jl->ijkl", g00, g22) * ratio
        + (np.einsum("ik,jl->ijkl", g20, g20.T) + np.einsum("ik,jl->ijkl", g20.T, g20)) / ratio
    )
    # load: uniform over the patch, by Gauss points in radius and equal steps in angle over a quarter
    points, weights = np.polynomial.legendre.leggauss(16)
    radius = 0.5 * patch * (points[:, None] + 1.0)
    angle = (np.arange(24)[None, :] + 0.5) * math.pi / 48.0
    share = np.broadcast_to(weights[:, None] * radius, (16, 24)).ravel()
    share = share / share.sum()
    along = _shapes((radius * np.cos(angle) / ratio).ravel())[0]
    across = _shapes((radius * np.sin(angle)).ravel())[0]
    load = (along * share) @ across.T
    c = np.linalg.solve(stiffness.reshape(n * n, n * n), load.ravel()).reshape(n, n)
    f, _, f2 = (column[:, 0] for column in _shapes(np.array([0.0])))
    edge2 = _shapes(np.array([1.0]))[2][:, 0]
    long_curve, short_curve = f2 @ c @ f / ratio**2, f @ c @ f2
    centre = -(short_curve + poisson * long_curve)
    edges = f @ c @ edge2, edge2 @ c @ f / ratio**2
    deflection = 12.0 * (1.0 - poisson**2) * (f @ c @ f) / 4.0
    stresses = 6.0 * float(centre), 6.0 * float(max(edges))
    return PlateCoefficients(*stresses, float(deflection), _supported(ratio, patch, poisson))


def _supported(ratio: float, patch: float, poisson: float) -> float:
    """Centre stress of the plate held but free to turn: Navier's series, half-sides `ratio` and 1."""
    from scipy.special import j1

    m = np.arange(1, 400, 2) * math.pi / 2.0
    along, across = m[:, None] / ratio, m[None, :]
    square = along**2 + across**2
    k = np.sqrt(square) * patch
    load = (
        2.0 * j1(k) / k / (ratio * square**2)
    )  # W = 1 on the patch, 4/(ab) with sides 2 ratio and 2
    moments = load * (along**2 + poisson * across**2), load * (across**2 + poisson * along**2)
    return 6.0 * float(max(x.sum() for x in moments))


def clamped_rectangle(
    length_mm: float, height_mm: float, patch_mm: float, poisson: float = POISSON
) -> PlateCoefficients:
    """Clamped rectangular plate, load uniform over a central circle; Ritz with 16 × 16 shape functions.

    Parameters
    ----------
    length_mm, height_mm : float
        Sides; either may be the longer.
    patch_mm : float
        Radius of the loaded circle, inside the plate; below a tenth of the short side use the handbook's
        small-patch formula instead.

    Notes
    -----
    Handbook formulas hold for a small patch; on a face the patch is a quarter of the span and their edge
    stress is high (9 kN on 60 × 40 × 3 mm over r₀ = 10 mm: 977 MPa by the handbook, 871 here; centre 595
    and 621).

    References
    ----------
    .. [1] Ritz solution of the clamped plate; Navier's series with the edge free to turn
       (data/constants/plate_coefficients.csv) (derived).

    Examples
    --------
    >>> c = clamped_rectangle(60, 40, 10)
    >>> round(c.centre * 9000 / 3**2, -1), round(c.edge * 9000 / 3**2, -1)
    (620.0, 870.0)
    """
    a = check_number(length_mm, "face length", 2.0, 500.0, "mm")
    b = check_number(height_mm, "face height", 2.0, 500.0, "mm")
    long, short = max(a, b), min(a, b)
    r = check_number(patch_mm, "patch radius", 0.02 * short, 0.5 * short, "mm")
    # beyond 3:1 the far ends no longer matter
    return _rectangle(min(long / short, 3.0), round(2.0 * r / short, 6), poisson)


# ---- fast and vectorised: the same solution from a table ----

_RATIOS = (1.0, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0, 2.5, 3.0)
_PATCHES = (0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


@functools.cache
def _tables():
    rows = read_rows("constants/plate_coefficients.csv")
    axes = [
        np.log(sorted({float(r[name]) for r in rows}))
        for name in ("side_ratio", "patch_over_half_side")
    ]
    names = [f.name for f in dataclasses.fields(PlateCoefficients)]
    values = np.array([[float(r[name]) for r in rows] for name in names])
    return *axes, values.reshape(len(names), axes[0].size, axes[1].size)


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
    """`clamped_rectangle` for floats or arrays, from its table by cubics in the logarithms (to 0.3 %).

    Poisson's ratio 0.3.  Sides beyond 3:1 count as 3:1; a patch is held between 0.075 and 0.5 of the short
    side.

    Examples
    --------
    >>> round(float(rectangle_coefficients(60, 40, 10).centre), 3)
    0.62
    """
    ratios, patches, values = _tables()
    long, short = np.maximum(length_mm, height_mm), np.minimum(length_mm, height_mm)
    ratio = np.minimum(np.log(long / short), ratios[-1])
    patch = np.clip(
        np.log(2.0 * np.asarray(patch_mm, dtype=float) / short), patches[0], patches[-1]
    )
    i, u = _four(ratios, ratio)
    j, v = _four(patches, patch)
    near = values[:, i[..., :, None], j[..., None, :]]
    return PlateCoefficients(*np.einsum("...a,q...ab,...b->q...", u, near, v))


def first_frequency_hz(
    length_mm, height_mm, thickness_mm, youngs_mpa: float = 205_000.0, density_kg_m3: float = 7850.0
):
    """First natural frequency of a clamped rectangular steel plate, Hz.

    ω = √(D/ρt) √(500.6 (1/a⁴ + 1/b⁴) + 302.7/(a²b²)), Rayleigh's quotient with the clamped beam's shape.

    References
    ----------
    .. [1] A. W. Leissa, Vibration of Plates: a²ω√(ρt/D) = 35.99 (from memory).

    Examples
    --------
    >>> round(float(first_frequency_hz(60, 40, 3.0)) / 1000, 1)
    12.5
    """
    a, b, t = (np.asarray(x, dtype=float) / 1000.0 for x in (length_mm, height_mm, thickness_mm))
    wave = youngs_mpa * 1e6 * t**2 / (12.0 * (1.0 - POISSON**2) * density_kg_m3)
    return np.sqrt(wave * (500.6 * (a**-4 + b**-4) + 302.7 / (a * b) ** 2)) / (2.0 * math.pi)


def dynamic_overshoot(length_mm, height_mm, thickness_mm, contact_s):
    """Overshoot of a clamped face under a half-sine pulse over its static answer.

    1/(1 − T/2t_c) is the envelope of one mass on a spring, held at 1.77, the top of its shock spectrum.

    References
    ----------
    .. [1] Envelope of one mass on a spring (derived).
    .. [2] 1.77, top of the half-sine shock spectrum (from memory).
    """
    period = 1.0 / first_frequency_hz(length_mm, height_mm, thickness_mm)
    return 1.0 / (1.0 - np.minimum(period / (2.0 * contact_s), 0.435))


def limit_load_factor(patch_share):
    """Plastic limit load of a clamped disc over 2π M₀, load even on a central circle (Tresca); floats or arrays.

    Parameters
    ----------
    patch_share : float or array
        Radius of the circle over that of the disc, 0 to 1.

    Notes
    -----
    (q − 1) ln(a/b) = 1 with b = c (2q/3)/(q − 1) up to q = 3, where the radial moment vanishes at b outside the
    patch; beyond, (q − 1) ln(a/c) + q/2 − ½ ln(q/3) = 5/2.  1 for a point load, 5.63 for an even pressure.

    References
    ----------
    .. [1] H. G. Hopkins & W. Prager, J. Mech. Phys. Solids 2 (1953) 1-13 (from memory), load on a part of the
       disc (derived).

    Examples
    --------
    >>> limit_load_factor([0.01, 0.45, 1.0]).round(2).tolist()
    [1.29, 2.46, 5.63]
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
