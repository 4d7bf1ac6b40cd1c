"""Heat that a quench bath takes from hot steel: water, polymer and oil, still or agitated, and a medium of the user's own.

Each bath is film boiling at high surface temperature, a peak of boiling, and convection below the boiling point.
"""

from types import SimpleNamespace

import numpy as np

from ..base.errors import check_choice
from ..base.tables import read_rows

#: Surface temperatures at which the loss to a bath is tabulated, °C.
MEDIUM_C = np.arange(0.0, 1401.0, 10.0)


_NUMBERS = (
    "film peak convection peak_c width_hot_c width_cold_c stirred weakening usual_c low_c high_c"
)
#: Still baths: rows of ``data/constants/quench_baths.csv``, whose head says what the numbers are.
BATHS = {
    r["name"]: SimpleNamespace(**r | {name: float(r[name]) for name in _NUMBERS.split()})
    for r in read_rows("constants/quench_baths.csv")
}


def bath_w_m2k(medium, surface_c, bath_c=None, agitation=0.0):
    """Heat-transfer coefficient of a bath of `BATHS` on clean hot steel, W/(m² K), total (do not add radiation), referred to surface minus bath.

    Surface of 150 to 900 °C (above the law stays at its film value), the usual temperature of the bath when left out, agitation
    from 0 for a still bath to 1 for good circulation.  h = c + (f - c) s + (p - (c + (f - c) s)) exp(-((T - Tp)/w)²), s rising
    from 0 to 1 through the peak, times (1 + stirred × agitation) and, for water and polymer, (1 - 0.0075 (bath - usual)) on what
    boils.  By it the 12.5 mm nickel probe of ISO 9950 cools at most at 63 °C/s in oil (reference oil 47-53), 146 in water
    (190-260) and 160 in polymer (100-190; all from memory).

    >>> [round(float(bath_w_m2k("oil bath", t)), -2) for t in (150.0, 535.0, 800.0)]
    [500.0, 4700.0, 500.0]

    .. [1] R. Buczek & T. Telejko, Int. J. Heat Fluid Flow 44 (2013) 358, abstract: levels in oil and polymer (read).
    .. [2] Widths, water and the effect of agitation by Grossmann severities (common practice).
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
