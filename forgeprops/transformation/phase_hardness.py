"""Hardness of the constituents (martensite, bainite, ferrite with pearlite) from composition and cooling
rate.

Scalar functions use only floats, so that the compiled march can call them.  Each constituent is a
straight line in the logarithm of the cooling rate, HV = a + b·log10 V with V in °C/h; the ``*_coefficients``
functions give a and b once per steel, on arrays too, and `line_hv` evaluates the line inside the march.

The rate: Maynier's V is the rate at 700 °C.  The march takes for each constituent the mean rate over the
interval in which it forms, which is the same number when cooling is steady, and the rate at 700 °C itself where
the body re-heats what the water has undercooled.
"""

from __future__ import annotations

import functools

import numpy as np

from ..base.errors import check_choice
from ..base.ranges import Warn, contents_outside
from ..base.tables import read_rows
from .temperature_formulas import content

__all__ = [
    "BAINITE_FLOOR_HV",
    "FERRITE_PEARLITE_FLOOR_HV",
    "LOG_V_HIGH",
    "LOG_V_LOW",
    "MARTENSITE_FLOOR_HV",
    "HARDNESS_ELEMENTS",
    "as_quenched_hrc",
    "bainite_coefficients",
    "bainite_hv",
    "constituent_warnings",
    "ferrite_pearlite_coefficients",
    "ferrite_pearlite_hv",
    "hrc_from_hv",
    "hv_from_hrc",
    "line_hv",
    "martensite_coefficients",
    "martensite_hv",
]


#: Floors, HV.  Ferrite of ultra-low-carbon steel is near 80 HV, carbide-free lath martensite near 200 HV;
#: bainite cannot be softer than coarse ferrite with carbide.  Our own limits, common practice.
FERRITE_PEARLITE_FLOOR_HV = 80.0
BAINITE_FLOOR_HV = 120.0
MARTENSITE_FLOOR_HV = 200.0
#: Rates, log10 of °C/h, at which the straight lines are held: 0.03 °C/s to 900 °C/s.  Our own limits.
LOG_V_LOW, LOG_V_HIGH = 2.0, 6.5

#: Elements whose contents the hardness of the constituents has a range for.
HARDNESS_ELEMENTS = ("C", "Si", "Mn", "Ni", "Cr", "Mo", "V")


def martensite_hv(c: float, si: float, mn: float, ni: float, cr: float, log_v: float) -> float:
    """Hardness of martensite as cooled (with what self-tempering the rate brings), HV.

    Parameters
    ----------
    c, si, mn, ni, cr : float
        Contents, wt% (0.1-0.5 C).
    log_v : float
        log10 of the cooling rate in °C/h.

    Examples
    --------
    >>> round(martensite_hv(0.40, 0.25, 0.85, 0.0, 0.95, 4.857))
    640
    """
    return max(
        127.0 + 949.0 * c + 27.0 * si + 11.0 * mn + 8.0 * ni + 16.0 * cr + 21.0 * log_v, 200.0
    )


def bainite_hv(
    c: float, si: float, mn: float, ni: float, cr: float, mo: float, log_v: float
) -> float:
    """Hardness of bainite, HV.

    Parameters
    ----------
    c, si, mn, ni, cr, mo : float
        Contents, wt%.
    log_v : float
        log10 of the cooling rate in °C/h.

    Examples
    --------
    >>> round(bainite_hv(0.40, 0.25, 0.85, 0.0, 0.95, 0.20, 3.556))
    324
    """
    return max(
        -323.0
        + 185.0 * c
        + 330.0 * si
        + 153.0 * mn
        + 65.0 * ni
        + 144.0 * cr
        + 191.0 * mo
        + (89.0 + 53.0 * c - 55.0 * si - 22.0 * mn - 10.0 * ni - 20.0 * cr - 33.0 * mo) * log_v,
        120.0,
    )


def ferrite_pearlite_hv(
    c: float, si: float, mn: float, ni: float, cr: float, mo: float, v: float, log_v: float
) -> float:
    """Hardness of ferrite with pearlite, HV.

    Parameters
    ----------
    c, si, mn, ni, cr, mo, v : float
        Contents, wt%.
    log_v : float
        log10 of the cooling rate in °C/h.

    Examples
    --------
    >>> round(ferrite_pearlite_hv(0.20, 0.25, 0.45, 0.0, 0.0, 0.0, 0.0, 3.255))
    130
    """
    return max(
        42.0
        + 223.0 * c
        + 53.0 * si
        + 30.0 * mn
        + 12.6 * ni
        + 7.0 * cr
        + 19.0 * mo
        + (10.0 - 19.0 * si + 4.0 * ni + 8.0 * cr + 130.0 * v) * log_v,
        80.0,
    )


def line_hv(a: float, b: float, log_v: float, floor_hv: float) -> float:
    """Evaluate a constituent's line a + b·log10 V, the rate held inside its limits, HV.

    Parameters
    ----------
    a, b : float
        From one of the ``*_coefficients`` functions.
    log_v : float
        log10 of the cooling rate in °C/h.
    floor_hv : float
        Least hardness of the constituent.

    References
    ----------
    .. [1] Floors and ends of the rate (our choice).

    Examples
    --------
    >>> line_hv(100.0, 10.0, 3.0, 80.0)
    130.0
    """
    return max(a + b * min(max(log_v, 2.0), 6.5), floor_hv)


def as_quenched_hrc(carbon):
    """Hardness of fully martensitic steel, HRC, from the carbon of the austenite alone.

    Parameters
    ----------
    carbon : float or ndarray
        wt%, 0.10-0.70; held at 0.70 above (retained austenite ends the rise).

    Examples
    --------
    >>> round(as_quenched_hrc(0.40), 1)
    56.3
    """
    c = np.minimum(np.maximum(carbon, 0.0), 0.70)
    hrc = 33.087 + c * (50.723 + c * (33.662 + c * (-2.7048 + c * (-107.02 + c * 43.523))))
    return float(hrc) if np.ndim(hrc) == 0 else hrc


@functools.cache
def _rockwell_curve() -> tuple[np.ndarray, np.ndarray]:
    """HRC and HV, both strictly rising: ASTM E140 Table 1 and its continuation below 20 HRC."""
    points = {
        float(r["HRC"]): float(r["HV"]) for r in read_rows("constants/hardness_below_20_hrc.csv")
    }
    points |= {
        float(r["HRC"]): float(r["HV"])
        for r in read_rows("constants/hardness_conversion.csv")
        if r["table"] == "E140 T1"
    }
    hrc = np.array(sorted(points))
    return hrc, np.array([points[h] for h in hrc])


def hv_from_hrc(hrc):
    """Vickers from Rockwell C for use inside formulas: never raises, held at 0 and 68 HRC.

    Parameters
    ----------
    hrc : float or ndarray
        0-68; below 20 it serves fitting and tempered low-carbon steel, no standard converts there.

    Examples
    --------
    >>> hv_from_hrc(55.0), hrc_from_hv(196.0)
    (595.0, 10.0)
    """
    hv = np.interp(hrc, *_rockwell_curve())
    return float(hv) if np.ndim(hv) == 0 else hv


def hrc_from_hv(hv):
    """Rockwell C from Vickers, the exact inverse of `hv_from_hrc`: held at 160 and 940 HV."""
    hrc_column, hv_column = _rockwell_curve()
    hrc = np.interp(hv, hv_column, hrc_column)
    return float(hrc) if np.ndim(hrc) == 0 else hrc


def martensite_coefficients(comp, carbon=None, method: str = "end_quench"):
    """a and b of martensite's line HV = a + b·log10 V.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon of the austenite it forms from, wt%.
    method : {"end_quench", "maynier"}
        "end_quench": the initial hardness of ASTM A255, b = 0, as quenched without self-tempering (which the
        march computes along the curve); "maynier": with the rate term of Maynier et al., which holds
        self-tempering.

    Returns
    -------
    tuple of (float or ndarray, float or ndarray)

    References
    ----------
    .. [1] Rate term of "maynier": Ph. Maynier, B. Jungmann & J. Dollet, Hardenability Concepts with
       Applications to Steel, AIME 1978, pp. 518-544 (from memory).
    """
    c = content(comp, "C", carbon)
    if check_choice(method, "martensite hardness method", ("end_quench", "maynier")) == "maynier":
        a = (
            127.0
            + 949.0 * c
            + sum(
                k * content(comp, s)
                for s, k in (("Si", 27.0), ("Mn", 11.0), ("Ni", 8.0), ("Cr", 16.0))
            )
        )
        return a, 21.0 + 0.0 * a
    a = hv_from_hrc(as_quenched_hrc(c))
    return a, 0.0 * a


def bainite_coefficients(comp, carbon=None):
    """a and b of bainite's line HV = a + b·log10 V (Maynier et al. 1978, see `bainite_hv`).

    References
    ----------
    .. [1] Ph. Maynier, B. Jungmann & J. Dollet, Hardenability Concepts with Applications to Steel,
       AIME 1978, pp. 518-544 (from memory).
    """
    c = content(comp, "C", carbon)
    si, mn, ni, cr, mo = (content(comp, s) for s in ("Si", "Mn", "Ni", "Cr", "Mo"))
    a = -323.0 + 185.0 * c + 330.0 * si + 153.0 * mn + 65.0 * ni + 144.0 * cr + 191.0 * mo
    b = 89.0 + 53.0 * c - 55.0 * si - 22.0 * mn - 10.0 * ni - 20.0 * cr - 33.0 * mo
    return a, b


def ferrite_pearlite_coefficients(comp, carbon=None):
    """a and b of the line of ferrite with pearlite (Maynier et al. 1978, see `ferrite_pearlite_hv`).

    References
    ----------
    .. [1] Ph. Maynier, B. Jungmann & J. Dollet, Hardenability Concepts with Applications to Steel,
       AIME 1978, pp. 518-544 (from memory).
    """
    c = content(comp, "C", carbon)
    si, mn, ni, cr, mo, v = (content(comp, s) for s in ("Si", "Mn", "Ni", "Cr", "Mo", "V"))
    a = 42.0 + 223.0 * c + 53.0 * si + 30.0 * mn + 12.6 * ni + 7.0 * cr + 19.0 * mo
    b = 10.0 - 19.0 * si + 4.0 * ni + 8.0 * cr + 130.0 * v
    return a, b + 0.0 * a


def constituent_warnings(steel) -> tuple[Warn, ...]:
    """Warnings for contents outside the range of the hardness of constituents.

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> [w.code for w in constituent_warnings(Steel("spring steel", {"C": 0.45, "Si": 1.8}))]
    ['range:phase_hardness.Si']
    """
    return tuple(contents_outside("phase_hardness", steel))
