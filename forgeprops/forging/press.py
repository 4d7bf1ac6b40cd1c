"""Force on the press and pressure that fills the corners, from the flow stress."""

from __future__ import annotations

import math
from typing import NamedTuple

from ..base.errors import check_choice, check_number

__all__ = [
    "FORCE_FACTORS",
    "PressForce",
    "flash_edge_pressure_mpa",
    "press_force_kn",
    "upsetting_factor",
]


#: Shape factor Kf of impression-die forging: (central, low, high). Groover, Fundamentals of Modern
#: Manufacturing, table 18.1: 6 simple with flash, 8 complex, 10 very complex, 6-8 flashless; Schey gives 5-8
#: and 8-12 (all from memory; "3 to 12 by complexity" read in a public summary).
FORCE_FACTORS = {
    "simple": (6.0, 5.0, 8.0),
    "complex": (8.0, 6.0, 10.0),
    "very complex": (10.0, 8.0, 12.0),
    "coining": (6.0, 5.0, 8.0),
}


class PressForce(NamedTuple):
    """Press force, kN: central value and band of the shape factor."""

    kn: float
    low_kn: float
    high_kn: float


def press_force_kn(projected_area_mm2, flow_stress_mpa, shape="complex"):
    """Press force F = Kf Y A of an impression die with flash.

    Parameters
    ----------
    projected_area_mm2 : float
        Plan area of the head with its flash, mm².
    flow_stress_mpa : float
        Flow stress Y at the metal temperature in the die, MPa.
    shape : {"simple", "complex", "very complex", "coining"}

    Returns
    -------
    PressForce
        Good for comparing routes; an absolute force within the band.

    References
    ----------
    .. [1] M. P. Groover, Fundamentals of Modern Manufacturing, eq. 18.18 (read).
    .. [2] Factors: M. P. Groover, table 18.1; J. A. Schey (from memory).

    Examples
    --------
    >>> press_force_kn(5000.0, 100.0).kn
    4000.0
    """
    area = check_number(projected_area_mm2, "projected area", 0.0, 1e6, "mm²")
    middle, low, high = FORCE_FACTORS[check_choice(shape, "shape", FORCE_FACTORS)]
    unit = flow_stress_mpa * area / 1000.0
    return PressForce(middle * unit, low * unit, high * unit)


def upsetting_factor(diameter_mm, height_mm, friction=0.1):
    """Kf = 1 + 0.4 mu D/h of open-die upsetting (Groover eq. 18.17, read in public course notes after the book).

    Examples
    --------
    >>> round(upsetting_factor(55.0, 62.0), 4)
    1.0355
    """
    return 1.0 + 0.4 * friction * diameter_mm / height_mm


def flash_edge_pressure_mpa(flow_stress_mpa, land_width_mm, flash_thickness_mm, shear_factor=0.5):
    """Pressure at the cavity's edge that a flash land builds up, MPa: what fills the corners.

    p = Y (1 + 2/sqrt(3) m w/t), slab method (derived; the form is that of Altan et al., Cold and Hot Forging,
    ch. 15, from memory).

    Examples
    --------
    >>> round(flash_edge_pressure_mpa(100.0, 6.0, 1.5, 0.5))
    331
    """
    return flow_stress_mpa * (
        1.0 + 2.0 / math.sqrt(3.0) * shear_factor * land_width_mm / flash_thickness_mm
    )
