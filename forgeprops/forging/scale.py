"""Oxide scale: thickness, metal it costs, what a blast must take off.

Scale thickness x grows by x² = k t; along a temperature curve x² is the time integral of k(T).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..base.errors import check_choice

__all__ = [
    "ATMOSPHERES",
    "PILLING_BEDWORTH",
    "Blast",
    "blast_depth_um",
    "metal_loss_um",
    "scale_along_um",
    "scale_rate",
    "scale_thickness_um",
]


_R = 8.314462618
_ZERO_C = 273.15
#: k = 6.1 exp(-169 452/RT) cm²/s for iron in air; 1 cm² = 1e8 µm².
_K_UM2_S, _Q = 6.1e8, 169_452.0

#: Thickness against that of iron in air: name -> (central, low, high).  Flue gas with 1-3 % oxygen and heats
#: of a minute or two give 0.5 to 0.8 (common practice; published rates differ 2-3 times); the air law itself
#: is good to ±50 %.  Between water vapour that raises and chromium and silicon that lower the rate nothing
#: finer holds.
ATMOSPHERES = {
    "air": (1.0, 0.5, 1.5),
    "gas furnace": (0.65, 0.35, 1.0),
    "induction": (0.65, 0.35, 1.0),
}

#: Volume of wüstite over the iron it came from: 71.844 g/mol at 5.745 g/cm³ over 55.845 at 7.874 (derived;
#: 1.7 is the value usually quoted).
PILLING_BEDWORTH = (71.844 / 5.745) / (55.845 / 7.874)

#: Weights of Simpson's rule with 16 strips on the unit interval.
_SIMPSON = np.array([1.0, *[4.0, 2.0] * 7, 4.0, 1.0]) / 48.0


class Blast(NamedTuple):
    """What cleaning has to take off the face, µm."""

    scale_um: float
    metal_um: float


def scale_rate(t_c):
    """Growth constant k of x² = k t in air, µm²/s; scalar, for the march to add up.

    References
    ----------
    .. [1] Paidassi, iron in air, as summarised by R. Y. Chen & W. Y. D. Yuen, Oxid. Met. 59 (2003)
       433; no alloy term, x good to ±50 % (from memory).

    Examples
    --------
    >>> round(math.sqrt(scale_rate(1000.0) * 300.0))
    143
    """
    return _K_UM2_S * math.exp(-_Q / (_R * max(t_c + _ZERO_C, 300.0)))


def _factor(atmosphere):
    return ATMOSPHERES[check_choice(atmosphere, "atmosphere", ATMOSPHERES)][0]


def _plain(value):
    return float(value) if np.ndim(value) == 0 else value


def scale_thickness_um(temperature_c, time_s, atmosphere="gas furnace"):
    """Scale after a hold, µm.

    Parameters
    ----------
    temperature_c : float or array
        Surface temperature, 700-1250 °C.
    time_s : float or array
        Time at temperature, s.
    atmosphere : {"air", "gas furnace", "induction"}
        See `ATMOSPHERES` for the factors and their band.

    Examples
    --------
    >>> round(scale_thickness_um(1100.0, 300.0, "air"))
    256
    """
    k = _K_UM2_S * np.exp(-_Q / (_R * (np.asarray(temperature_c, float) + _ZERO_C)))
    return _plain(_factor(atmosphere) * np.sqrt(k * np.asarray(time_s, float)))


def scale_along_um(time_s, temperature_c, atmosphere="gas furnace"):
    """Scale along a temperature curve, µm, at each of its times.

    Parameters
    ----------
    time_s, temperature_c : array
        Curve of the surface; straight between its points (Simpson's rule of 16 strips on each piece).

    References
    ----------
    .. [1] Thickness in flue gas or short heats 0.65 (0.35-1.0) of that in air (common practice).

    Examples
    --------
    >>> hold = scale_along_um([0.0, 100.0, 300.0], [1000.0, 1000.0, 1000.0], "air")
    >>> [round(float(x)) for x in hold]
    [0, 83, 143]
    """
    t = np.asarray(time_s, float)
    temp = np.asarray(temperature_c, float) + _ZERO_C
    inside = temp[:-1, None] + np.diff(temp)[:, None] * np.linspace(0.0, 1.0, _SIMPSON.size)
    pieces = np.diff(t) * (_K_UM2_S * np.exp(-_Q / (_R * inside)) @ _SIMPSON)
    return _factor(atmosphere) * np.sqrt(np.concatenate(([0.0], np.cumsum(pieces))))


def metal_loss_um(scale_um):
    """Metal turned into scale, µm of thickness on each scaled side.

    References
    ----------
    .. [1] Atomic weights and densities of wüstite and iron (derived).

    Examples
    --------
    >>> round(metal_loss_um(100.0), 1)
    56.7
    """
    return scale_um / PILLING_BEDWORTH


def blast_depth_um(scale_um, decarburised_um=0.0):
    """What a cleaning blast must remove: scale, and decarburised metal if the face must be hard to its skin.

    Examples
    --------
    >>> blast_depth_um(60.0, 40.0)
    Blast(scale_um=60.0, metal_um=40.0)
    """
    return Blast(float(scale_um), float(decarburised_um))
