"""Two opinions on hardness beside the kinetics, which widen its range where they stand apart: by critical cooling rates,
and by the end-quench position.

Both look at one number, the cooling rate at 700 °C, and hold for austenite cooled without interruption.
"""

import numpy as np

from ..base.constants import SECONDS_PER_HOUR
from ..base.ranges import beyond, content_ranges
from ..hardenability import end_quench
from ..hardenability.boron import boron_factor
from ..hardenability.critical_rates import critical_rate_fractions
from ..hardenability.ideal_diameter import ideal_diameter
from ..strength.hardness_scales import hv_from_hrc
from ..transformation import phase_hardness

#: Share of austenite from which a zone counts as fully austenitised.  Our own limit: 1 % of ferrite is below
#: what a microscope tells.
FULLY_AUSTENITE = 0.99

#: Our own limits of the critical rates, from comparison.  In steel with less molybdenum than this, wt%, they
#: are counted only where they give mostly ferrite and pearlite: 1045 and 41Cr4 come out up to 360 and 180 HV
#: above their end-quench curves, C45 fully martensitic at 60 °C/s where more than 100 is known; in Cr-Mo
#: steels the two methods agree within 80 HV.  With more nickel than this they are not counted: normalised
#: 4340 bars come out 40-200 HV too hard.
_LEAN_MO, _MOSTLY_FERRITE_PEARLITE = 0.05, 0.5
_RICH_NI = 1.0
#: Boron's factor on the ideal diameter from which the critical rates, which have no boron, are not counted.
_ACTIVE_BORON = 1.05

#: Rise of the mean temperature after its low, °C, that counts as re-heating by the body (our choice).
OPINION_REHEAT_C = 60.0

#: Lowest HRC that the conversion tables know (ASTM E140 table 1).
_LOWEST_HRC = 20.0


def opinion_arrays(
    steel, rate, reheated=False, austenite_share=1.0, austenitise_c=900.0, hold_s=900.0
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Opinions on the hardness of zones, HV, and whether each is counted; by "critical rates" and "end-quench position".

    Arguments are numbers or arrays: the rate at 700 °C, °C/s, 0 or nan where a zone never cooled through it; whether the
    zone was re-heated on its way down; its share of austenite; austenitising temperature and time, °C and s.

    Not counted (the number is a placeholder then): interrupted cooling, partial austenite, composition or rate outside the
    range.  The critical rates: steel without molybdenum where they give less than half ferrite and pearlite, steel with
    more than 1 % nickel (they harden both too easily), and active boron, of which they know nothing.  The end-quench
    position (`hardenability.end_quench`, ASTM A255-10): below 20 HRC, which no standard converts to HV, and slower than
    the far end of the bar.

    >>> from forgeprops.inputs.grades import grade
    >>> {method: (round(float(hv)), bool(counts)) for method, (hv, counts) in opinion_arrays(grade("4140"), 5.556).items()}
    {'critical rates': (470, True), 'end-quench position': (451, True)}

    .. [1] Not counted below 0.05 wt% Mo unless mostly ferrite and pearlite, nor above 1 wt% Ni (our choice).
    """
    rate = np.nan_to_num(np.asarray(rate, dtype=float))
    whole = (np.asarray(austenite_share) >= FULLY_AUSTENITE) & ~np.asarray(reheated) & (rate > 0.0)
    rate = np.maximum(rate, 1e-9)
    found = {"critical rates": _by_critical_rates(steel, rate, austenitise_c, hold_s)}
    found["end-quench position"] = _by_end_quench(steel, rate)
    return {method: (hv, whole & holds) for method, (hv, holds) in found.items()}


def _outside(formula: str, steel) -> np.ndarray:
    """Whether a content lies outside its range for a formula."""
    ids = content_ranges(formula).items()
    return np.any([beyond(id, steel.get(element)) for element, id in ids], axis=0)


def _by_critical_rates(steel, rate, austenitise_c, hold_s):
    """Hardness by the structure that the critical rates give, HV, and whether they hold for this steel, rate and heat."""
    share = critical_rate_fractions(steel, rate, austenitise_c, np.maximum(hold_s, 1.0))
    mn, ni, cr, mo = (np.asarray(steel.get(e), float) for e in ("Mn", "Ni", "Cr", "Mo"))
    lean = (mo < _LEAN_MO) & (share["ferrite_pearlite"] < _MOSTLY_FERRITE_PEARLITE)
    boron = np.asarray(boron_factor(steel)) > _ACTIVE_BORON
    unfit = lean | boron | (ni > _RICH_NI) | _outside("critical_rates", steel)
    unfit = unfit | beyond("critical_rates.alloy", mn + ni + cr + mo)
    unfit = (
        unfit
        | beyond("opinions.rate", rate)
        | beyond("critical_rates.austenitising", austenitise_c)
    )
    hv, log_v = 0.0, np.log10(rate * SECONDS_PER_HOUR)
    for name in ("martensite", "bainite", "ferrite_pearlite"):
        line = getattr(phase_hardness, f"{name}_coefficients")(steel)
        floor_hv = getattr(phase_hardness, f"{name.upper()}_FLOOR_HV")
        hv = hv + share[name] * phase_hardness.line_hv(*line, log_v, floor_hv)
    return hv, ~unfit


def _by_end_quench(steel, rate):
    """Hardness at the place of the end-quench bar that cools alike, HV, and whether the curve holds for steel and rate."""
    distance_mm = end_quench.end_quench_equivalent_mm(rate)
    hrc = np.maximum(end_quench.hardness_at_distance_hrc(steel, distance_mm), 0.0)
    unfit = (rate < end_quench.slowest_cooling_c_per_s()) | (hrc < _LOWEST_HRC)
    unfit = unfit | beyond("end_quench.ideal_diameter", ideal_diameter(steel))
    return np.asarray(hv_from_hrc(hrc)), ~(unfit | _outside("end_quench", steel))
