"""Force on the press from the flow stress."""

from __future__ import annotations

from typing import NamedTuple

from ..base.errors import check_choice, check_number

#: Shape factor Kf of impression-die forging: (central, low, high); Groover's table 18.1 has 6 simple with flash, 8
#: complex, 10 very complex, 6-8 flashless; Schey gives 5-8 and 8-12.
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
    """Press force F = Kf Y A of an impression die with flash; `shape` as in `FORCE_FACTORS`.

    A is the plan area of the head with its flash, Y the flow stress at the metal temperature in the die.  Good for
    comparing routes; an absolute force within the band.

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
