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
    "first_frequency_hz",
    "rectangle_coefficients",
    "small_patch_mm",
    "tabulate",
]


#: Poisson's ratio of steel (common practice).


@dataclass(frozen=True)
class PlateCoefficients:
    """Largest bending stress at the centre and at the edge (σ t²/W), centre deflection (y E t³/(W b²)).

    Attributes
    ----------
    centre : float
        Tension on the side away from the load.
    edge : float
        Tension on the loaded side, in the middle of the long edge.
    deflection : float
    """

    centre: float
    edge: float
    deflection: float


def small_patch_mm(radius_mm: float, thickness_mm: float) -> float:
    """Equivalent radius of a patch for plate theory: r₀ if r₀ ≥ 0.5 t, else √(1.6 r₀² + t²) − 0.675 t, mm.

    Examples
    --------
    >>> small_patch_mm(10.0, 3.0), round(small_patch_mm(0.5, 3.0), 3)
    (10.0, 1.041)
    """
    if radius_mm >= 0.5 * thickness_mm:
        return radius_mm
    return math.sqrt(1.6 * radius_mm**2 + thickness_mm**2) - 0.675 * thickness_mm


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
    return PlateCoefficients(centre, edge, 12.0 * (1.0 - poisson**2) * shape / (2.0 * a) ** 2)


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
    return PlateCoefficients(6.0 * float(centre), 6.0 * float(max(edges)), float(deflection))


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
    .. [1] Ritz solution of the clamped plate (data/constants/plate_coefficients.csv) (derived).

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


def tabulate() -> list[tuple[float, ...]]:
    """Rows of ``data/constants/plate_coefficients.csv``: side ratio, patch over half the short side, coefficients."""
    return [
        (a, p, *dataclasses.astuple(_rectangle(a, p, POISSON))) for a in _RATIOS for p in _PATCHES
    ]


@functools.cache
def _splines():
    from scipy.interpolate import RectBivariateSpline

    rows = read_rows("constants/plate_coefficients.csv")
    ratios = sorted({float(r["side_ratio"]) for r in rows})
    patches = sorted({float(r["patch_over_half_side"]) for r in rows})
    grids = [
        np.array([float(r[name]) for r in rows]).reshape(len(ratios), len(patches))
        for name in ("centre", "edge", "deflection")
    ]
    # the centre stress follows the logarithm of a small patch
    return [RectBivariateSpline(np.log(ratios), np.log(patches), grid) for grid in grids], patches


def rectangle_coefficients(length_mm, height_mm, patch_mm) -> PlateCoefficients:
    """`clamped_rectangle` for floats or arrays, from its table by cubic splines (to 0.2 %).

    Poisson's ratio 0.3.  Sides beyond 3:1 count as 3:1; a patch is held between 0.075 and 0.5 of the short
    side.

    Examples
    --------
    >>> round(float(rectangle_coefficients(60, 40, 10).centre), 3)
    0.62
    """
    splines, patches = _splines()
    a, b = np.asarray(length_mm, dtype=float), np.asarray(height_mm, dtype=float)
    long, short = np.maximum(a, b), np.minimum(a, b)
    ratio = np.log(np.minimum(long / short, _RATIOS[-1]))
    patch = np.log(
        np.clip(2.0 * np.asarray(patch_mm, dtype=float) / short, patches[0], patches[-1])
    )
    return PlateCoefficients(*(spline.ev(ratio, patch) for spline in splines))


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
