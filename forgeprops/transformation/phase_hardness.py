"""Hardness of the constituents from composition and cooling rate: straight lines HV = a + b·log10 V, V in °C/h.

The ``*_coefficients`` functions give a and b of a steel (contents through ``get``, wt%; arrays broadcast; `carbon` replaces
the steel's own); `line_hv` evaluates the line.  V is the rate at 700 °C; the march takes for each constituent the mean rate
over the interval in which it forms (the same when cooling is steady), and the rate at 700 °C itself where the body re-heats
what the water has undercooled.
"""

import numpy as np

from ..hardenability.end_quench import as_quenched_hardness_hrc
from ..strength.hardness_scales import hv_from_hrc
from .temperatures import content

#: Floors, HV.  Ferrite of ultra-low-carbon steel is near 80 HV, carbide-free lath martensite near 200 HV;
#: bainite cannot be softer than coarse ferrite with carbide.
FERRITE_PEARLITE_FLOOR_HV, BAINITE_FLOOR_HV, MARTENSITE_FLOOR_HV = 80.0, 120.0, 200.0
#: Rates, log10 of °C/h, at which the straight lines are held: 0.03 °C/s to 900 °C/s.
LOG_V_LOW, LOG_V_HIGH = 2.0, 6.5


def line_hv(a, b, log_v, floor_hv):
    """Hardness of a constituent, HV: a + b·log10 V, the rate held inside its limits, at least `floor_hv`.

    .. [1] Floors and ends of the rate (our choice).
    """
    held = np.minimum(np.maximum(log_v, LOG_V_LOW), LOG_V_HIGH)
    return np.maximum(a + b * held, floor_hv)


def as_quenched_hrc(carbon):
    """Hardness of fully martensitic steel, HRC, from the carbon of the austenite alone; held at 0 and 0.70 wt%."""
    return as_quenched_hardness_hrc(np.clip(carbon, 0.0, 0.70))


def martensite_coefficients(comp, carbon=None):
    """a and b of martensite's line: the initial hardness of ASTM A255, b = 0, as quenched without self-tempering, which the march
    computes along the curve.

    .. [1] Ph. Maynier, B. Jungmann & J. Dollet, Hardenability Concepts with Applications to Steel, AIME 1978, pp. 518-544, have
       127 + 949 C + 27 Si + 11 Mn + 8 Ni + 16 Cr + 21 log V, which holds self-tempering and reads 3-10 % above as-quenched
       bars; of theirs are the two lines below (from memory).
    """
    a = hv_from_hrc(as_quenched_hrc(content(comp, "C", carbon)))
    return a, 0.0 * a


def bainite_coefficients(comp, carbon=None):
    """a and b of bainite's line.

    .. [1] Ph. Maynier, B. Jungmann & J. Dollet, AIME 1978, pp. 518-544 (from memory).
    """
    c = content(comp, "C", carbon)
    si, mn, ni, cr, mo = (content(comp, s) for s in ("Si", "Mn", "Ni", "Cr", "Mo"))
    a = -323.0 + 185.0 * c + 330.0 * si + 153.0 * mn + 65.0 * ni + 144.0 * cr + 191.0 * mo
    b = 89.0 + 53.0 * c - 55.0 * si - 22.0 * mn - 10.0 * ni - 20.0 * cr - 33.0 * mo
    return a, b


def ferrite_pearlite_coefficients(comp, carbon=None):
    """a and b of the line of ferrite with pearlite.

    .. [1] Ph. Maynier, B. Jungmann & J. Dollet, AIME 1978, pp. 518-544 (from memory).
    """
    c = content(comp, "C", carbon)
    si, mn, ni, cr, mo, v = (content(comp, s) for s in ("Si", "Mn", "Ni", "Cr", "Mo", "V"))
    a = 42.0 + 223.0 * c + 53.0 * si + 30.0 * mn + 12.6 * ni + 7.0 * cr + 19.0 * mo
    b = 10.0 - 19.0 * si + 4.0 * ni + 8.0 * cr + 130.0 * v
    return a, b + 0.0 * a
