"""How the rim holds the edge of the face: share of full clamping, and what the corner radius takes off.

The face is a disc of its own area, the rim a ring around it out to the blade's area, held at its outer edge
by the body, which turns as a ring.  Exact for the stepped disc; a rectangle is taken to share its loads
alike (our choice).
"""

import math

import numpy as np

from ..strength.tensile import YOUNGS_MPA
from .plate import POISSON

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

    Parameters
    ----------
    thickness_mm, rim_thickness_mm, body_depth_mm : face, rim and the body's ring.
    face_mm, blade_mm : tuple; length and height of the free span and of the blade.
    patch_mm : radius of the loaded circle.

    Notes
    -----
    Slope of the ring, from its constant shear W/(2πr): φ = P r (ln(r/b) − ½) + C₁ r + C₂/r with
    P = W/(4πD₂).  At b the body's ring gives M = k φ, k = E w d³/(12 b²); at a slope and moment are those of
    the face, φ = −a (M₀ − M)/(D₁ (1 + ν)) with the clamped moment M₀ = (W/4π)(1 − c²/2a²).

    References
    ----------
    .. [1] S. Timoshenko & S. Woinowsky-Krieger, Theory of Plates and Shells; two plates joined (derived).

    Examples
    --------
    >>> round(float(edge_held(2.6, (46.0, 32.0), 4.2, (74.0, 44.0), 9.0)), 2)
    0.68
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

    References
    ----------
    .. [1] Radial moment of the clamped disc under a central patch (derived).
    """
    a = _disc_mm(*face_mm)
    c, x = np.minimum(patch_mm, 0.9 * a), a - np.minimum(radius_mm, 0.2 * a)
    patch = 0.25 * c * c * ((1.0 + POISSON) / a**2 + (1.0 - POISSON) / x**2)
    return (1.0 - patch - (1.0 + POISSON) * np.log(a / x)) / (1.0 - c * c / (2.0 * a * a))
