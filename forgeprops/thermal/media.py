"""Heat that a quench bath takes from hot steel: water, polymer and oil, still or agitated, and a medium of the user's own.

Each bath is film boiling at high surface temperature, a peak of boiling, and convection below the boiling point.
"""

from typing import NamedTuple

import numpy as np

from ..base.errors import check_choice

#: Surface temperatures at which the loss to a bath is tabulated, °C.
MEDIUM_C = np.arange(0.0, 1401.0, 10.0)


class Bath(NamedTuple):
    """A still bath at its usual temperature."""

    film: float  #: W/(m² K), in film boiling
    peak: float
    convection: float
    peak_c: float  #: surface temperature of the peak, °C
    width_hot_c: float  #: how wide it is above it
    width_cold_c: float  #: and below
    stirred: float  #: what good circulation adds to all of it, as a share
    weakening: float  #: share lost a kelvin of bath temperature above `usual_c`
    usual_c: float
    range_c: tuple[float, float]  #: bath temperatures for which the law is meant, °C
    reason: str
    basis: str


#: What good circulation adds: Grossmann severity 0.40-0.50 against 0.25-0.30 in oil, 1.4-1.5 against 0.9-1.0 in water (from memory).
BATHS = {
    "water bath": Bath(
        1000.0, 12_000.0, 2000.0, 250.0, 180.0, 90.0, 0.5, 0.0075, 20.0, (5.0, 60.0),
        "film, peak and convection of still water by order of magnitude; severity of a bar in it against Grossmann's 0.9-1.0",
        "common practice",
    ),
    "polymer bath": Bath(
        3200.0, 7400.0, 2000.0, 430.0, 130.0, 130.0, 0.5, 0.0075, 25.0, (15.0, 45.0),
        "3.2 kW/(m² K) at 800 °C, 7.4 at the peak some 100 K below that of oil, 2.0 at 150 °C (R. Buczek & T. Telejko, Int. J. Heat "
        "Fluid Flow 44 (2013) 358, abstract); polymer and concentration not named there",
        "read",
    ),
    "oil bath": Bath(
        500.0, 4700.0, 500.0, 535.0, 40.0, 40.0, 0.6, 0.0, 50.0, (20.0, 120.0),
        "still mineral oil: 0.5 kW/(m² K) at 800 °C, 4.7 at the peak at 520-550 °C, 0.5 at 150 °C (R. Buczek & T. Telejko, Int. J. Heat "
        "Fluid Flow 44 (2013) 358, abstract); the width of the peak is ours, so that a 25 mm bar has a Grossmann severity near 0.3",
        "read",
    ),
}  # fmt: skip


def bath_w_m2k(medium, surface_c, bath_c=None, agitation=0.0):
    """Heat-transfer coefficient of a bath on clean hot steel, W/(m² K), total (do not add radiation), referred to surface minus bath.

    Parameters
    ----------
    medium : {"water bath", "polymer bath", "oil bath"}
    surface_c : float or array; 150 to 900 °C; above the law stays at its film value.
    bath_c : float; the usual temperature of the bath when left out, see `BATHS`.
    agitation : float; 0 for a still bath to 1 for good circulation.

    Notes
    -----
    h = c + (f - c) s + (p - (c + (f - c) s)) exp(-((T - Tp)/w)²), s rising from 0 to 1 through the peak, times (1 + stirred × agitation)
    and, for water and polymer, (1 - 0.0075 (bath - usual)) on what boils.  By it the 12.5 mm nickel probe of ISO 9950 cools at most
    at 63 °C/s in oil (reference oil 47-53), 146 in water (190-260) and 160 in polymer (100-190; all from memory).

    References
    ----------
    .. [1] R. Buczek & T. Telejko, Int. J. Heat Fluid Flow 44 (2013) 358, abstract: levels in oil and polymer (read).
    .. [2] Widths, water and the effect of agitation by Grossmann severities (common practice).

    Examples
    --------
    >>> [round(float(bath_w_m2k("oil bath", t)), -2) for t in (150.0, 535.0, 800.0)]
    [500.0, 4700.0, 500.0]
    """
    bath = BATHS[check_choice(medium, "medium", BATHS)]
    off = np.asarray(surface_c, float) - bath.peak_c
    rise = 0.5 + 0.5 * np.tanh(off / bath.width_hot_c)
    base = bath.convection + (bath.film - bath.convection) * rise
    width = np.where(off > 0.0, bath.width_hot_c, bath.width_cold_c)
    h = base + (bath.peak - base) * np.exp(-((off / width) ** 2))
    warm = 1.0 - bath.weakening * ((bath.usual_c if bath_c is None else bath_c) - bath.usual_c)
    return h * np.maximum(warm, 0.2) * (1.0 + bath.stirred * agitation)


def bath_w_m2(medium, bath_c, agitation=0.0, factor=1.0, table=()):
    """Loss of a clean surface to a bath on `MEDIUM_C`, W/m², times `factor`; of a medium "own" by its table of (°C, W/(m² K))."""
    if medium == "own bath":
        h = np.interp(MEDIUM_C, *zip(*table, strict=True))
    else:
        h = bath_w_m2k(medium, MEDIUM_C, bath_c, agitation)
    return factor * h * (MEDIUM_C - bath_c)
