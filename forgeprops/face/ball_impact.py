"""The load of the ball on the face: loft and speed of the swing to peak force and loaded patch."""

import math

import numpy as np

from ..inputs.drawing import clubs

#: Golf ball: at most 45.93 g (1.620 oz, rule figure from memory; 45.9 g read in Proceedings 49 (2020) 47)
#: and at least 42.67 mm across (1.680 in, read in the rules' interpretation of the impact area).
BALL_MASS_G, BALL_RADIUS_MM = 45.93, 42.67 / 2.0

#: Restitution of an iron's face (0.74–0.80; our choice).
RESTITUTION = 0.78

#: Peak over mean force: 1.57 for a half sine, 1.84 for a Hertz contact (derived); 1.4–2 read on a golf-physics
#: page.  1.6 and the range are our choice.
PEAK_FACTOR, PEAK_RANGE = 1.6, (1.4, 1.84)


def spin_loft_deg(loft_deg):
    """Angle between the path of the head and the normal of its face at impact, degrees.

    (launch − attack)/0.75 of tour means by static loft (``data/constants/clubs.csv``), 1° a degree beyond them: the
    ball leaves three quarters of the way from the path to the face normal.

    >>> round(float(spin_loft_deg(30.0)), 1), round(float(spin_loft_deg(56.0)), 1)
    (24.3, 48.9)

    References
    ----------
    .. [1] Attack angles: tour means by club, a trade page (read); launch angles and the share 0.75 (from memory).
    """
    table = clubs()
    known, loft = table["loft_deg"], np.asarray(loft_deg, dtype=float)
    spin = (table["launch_deg"] - table["attack_deg"]) / 0.75
    beyond = np.maximum(loft - known[-1], 0.0) + np.minimum(loft - known[0], 0.0)
    return np.maximum(np.interp(loft, known, spin) + beyond, 0.0)


def strike_load(head_mass_g, speed_m_s, spin_loft, restitution=RESTITUTION, peak=PEAK_FACTOR):
    """Peak force (N), radius of an equal uniform patch (mm) and contact time (s) of a strike; floats or arrays.

    Parameters
    ----------
    head_mass_g : float; 150–400 g; the shaft adds little in half a millisecond.
    speed_m_s, spin_loft : float; head speed; angle between path and face normal, degrees.
    restitution, peak : float; see `RESTITUTION`, `PEAK_FACTOR`.

    Notes
    -----
    Impulse J = m M/(m + M) (1 + e) v cos(spin loft), peak force = factor · J/T with T = 0.45 ms (41 m/s over v)^0.2.
    Patch: a Hertz contact of radius √(R d) with the approach d = v T/2.94; 0.87 of it spread evenly bends a plate
    alike (equal mean of ln r).  A driver (50 m/s) gives 12 kN against 8.9–13.3 kN published (read).  No measured
    force on an iron was found.

    References
    ----------
    .. [1] Mass 45.93 g and diameter 42.67 mm by the rules of golf (from memory).
    .. [2] Contact of 0.4 to 0.5 ms measured on clubs, usga.org, May 2025 (read).
    .. [3] Speed to the power −0.2; patch, T = 2.94 d/v: H. Hertz 1882 (from memory).

    Examples
    --------
    >>> force, patch, contact = strike_load(262, 41.1, 24.3)
    >>> round(float(force)), round(float(patch), 1), round(1e6 * float(contact))
    (9099, 9.7, 458)
    """
    ball, head = BALL_MASS_G / 1000.0, np.asarray(head_mass_g, dtype=float) / 1000.0
    reduced = ball * head / (ball + head)
    normal = np.asarray(speed_m_s, dtype=float) * np.cos(np.radians(spin_loft))
    time = 0.45e-3 * (41.0 / normal) ** 0.2
    force = peak * reduced * (1.0 + restitution) * normal / time
    approach = normal * time / 2.94 * 1000.0
    # radius of an equal uniform patch over Hertz's; mean of ln(r/a): −½ for even pressure, ln 2 − 4/3 for Hertz
    even = math.exp(math.log(2.0) - 4.0 / 3.0 + 0.5)
    return force, even * np.sqrt(BALL_RADIUS_MM * approach), time
