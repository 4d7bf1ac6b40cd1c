"""Two opinions on hardness beside the kinetics: by critical cooling rates, and by the end-quench position.

Both look at one number, the cooling rate at 700 °C, and both hold for austenite cooled without interruption.
They say so ("not applicable") when a zone was re-heated on the way, when it was only partly austenite, or
when steel or rate lie outside what the method was made for.
"""

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..base.constants import SECONDS_PER_HOUR
from ..base.errors import check_number
from ..base.ranges import beyond, outside
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

#: Rates at which the lines of the constituents are held, °C/s; our own limits.
_SLOWEST, _FASTEST = 0.03, 900.0

_CRITICAL, _END_QUENCH = "critical rates", "end-quench position"
#: Elements with a range in the critical rates.
_IN_CRITICAL = ("C", "Si", "Mn", "Ni", "Cr", "Mo", "V", "Cu")


@dataclass(frozen=True)
class Opinion:
    """What a method says about one zone."""

    hardness_hv: float | None  # None if the method gives no number
    applicable: bool  # False: the number, if any, must not be counted
    why: str  # how the number came about, or why the method does not apply
    method: str = ""  # "critical rates" or "end-quench position"


def _mixture(steel, rate, share, martensite: str = "end_quench"):
    log_v = np.log10(np.clip(np.asarray(rate, dtype=float), _SLOWEST, _FASTEST) * SECONDS_PER_HOUR)
    hv = 0.0
    lines = {"martensite": phase_hardness.martensite_coefficients(steel, method=martensite)}
    lines["bainite"] = phase_hardness.bainite_coefficients(steel)
    lines["ferrite_pearlite"] = phase_hardness.ferrite_pearlite_coefficients(steel)
    for name, (a, b) in lines.items():
        floor = getattr(phase_hardness, f"{name.upper()}_FLOOR_HV")
        hv = hv + share[name] * np.maximum(a + b * log_v, floor)
    return float(hv) if np.ndim(hv) == 0 else hv


#: Conditions under which a method does not apply: a mask, and what to say of one case.
_Reasons = list[tuple[np.ndarray, Callable[[], str]]]


def _interrupted(reheated, austenite_share) -> _Reasons:
    share, holds = np.asarray(austenite_share), "the method holds for"
    again = f"re-heated while it cooled; {holds} uninterrupted cooling only"

    def partly():
        return f"only {100.0 * float(share):.0f} % austenite; {holds} full austenite"

    return [(np.asarray(reheated), lambda: again), (share < FULLY_AUSTENITE, partly)]


def _beyond(id: str, value) -> tuple[np.ndarray, Callable[[], str]]:
    """The reason that a value lies outside a registered range."""
    return beyond(id, value), lambda: outside(id, float(value)).text.rstrip(".")


def _critical(steel, rate, reheated, share, austenitise_c, hold_s, pa_unit="C"):
    """Hardness by the critical rates, HV, the structure there, and why it would not apply."""
    found = critical_rate_fractions(steel, rate, austenitise_c, np.maximum(hold_s, 1.0), pa_unit)
    content = {e: np.asarray(steel.get(e), float) for e in _IN_CRITICAL}
    reasons = _interrupted(reheated, share)
    reasons += [_beyond(f"critical_rates.{e}", content[e]) for e in _IN_CRITICAL]
    lean = (content["Mo"] < _LEAN_MO) & (found["ferrite_pearlite"] < _MOSTLY_FERRITE_PEARLITE)
    too_low = "the critical rates come out too low"
    too_hard = "steel without molybdenum cooled this fast hardens less than the critical rates say"
    boron = np.asarray(boron_factor(steel)) > _ACTIVE_BORON
    reasons += [
        _beyond("critical_rates.alloy", sum(content[e] for e in ("Mn", "Ni", "Cr", "Mo"))),
        _beyond("critical_rates.austenitising", austenitise_c),
        _beyond("opinions.rate", rate),
        (lean, lambda: too_hard),
        (boron, lambda: "the critical rates know nothing of boron"),
        (content["Ni"] > _RICH_NI, lambda: f"with {float(content['Ni']):.2g} wt% Ni {too_low}"),
    ]
    return _mixture(steel, rate, found), found, reasons


def _end_quench(steel, rate, reheated, share):
    """Hardness by end-quench position, HRC, the position, mm, and why it would not apply."""
    distance, slowest = end_quench.end_quench_equivalent_mm(rate), end_quench.slowest_cooling()[0]
    hrc = np.maximum(end_quench.hardness_at_distance_hrc(steel, distance), 0.0)
    unfit = beyond("end_quench.ideal_diameter", ideal_diameter(steel))
    for name in ("C", "Mn", "Si", "Cr", "Ni", "Cu", "Mo", "V"):
        unfit = unfit | beyond(f"end_quench.{name}", steel.get(name))

    def too_slow():
        far = f"slower than the far end of the bar ({slowest:.3g} °C/s)"
        return f"{float(rate):.3g} °C/s at 700 °C is {far}"

    soft = "HRC is below 20 HRC, where no standard converts to HV"
    return (
        hrc,
        distance,
        [
            *_interrupted(reheated, share),
            (np.asarray(rate < slowest), too_slow),
            (np.broadcast_to(unfit, np.shape(hrc)), lambda: "; ".join(_end_quench_texts(steel))),
            (hrc < _LOWEST_HRC, lambda: f"{float(hrc):.1f} {soft}"),
        ],
    )


@functools.lru_cache(maxsize=512)
def _end_quench_texts(steel) -> tuple[str, ...]:
    found = end_quench.end_quench_warnings(steel)
    return tuple(w.text.rstrip(".") for w in found if w.code != "end_quench:below_20_hrc")


def opinions(
    steel, rate: float | None, reheated=False, austenite_share=1.0, austenitise_c=900.0, hold_s=900.0, pa_unit="C"
) -> tuple[Opinion, Opinion]:  # fmt: skip
    """Opinions on one zone's hardness, by the critical cooling rates and by the end-quench position that cools alike.

    Parameters
    ----------
    steel : Steel
    rate : Cooling rate of the zone at 700 °C, °C/s; None if it never cooled through 700 °C.
    reheated : The zone was re-heated on its way down.
    austenite_share : Share of austenite before cooling, 0-1.
    austenitise_c, hold_s : Austenitising temperature, °C, and time, s.
    pa_unit : See `forgeprops.hardenability.critical_rates.critical_cooling_rates`.

    Notes
    -----
    Not applicable: interrupted cooling, partial austenite, composition or rate outside the range.  The critical rates:
    steel without molybdenum where they give less than half ferrite and pearlite, and steel with more than 1 % nickel
    (they harden both too easily).  The end-quench position (curve and position: `hardenability.end_quench`, ASTM
    A255-10) below 20 HRC: no standard converts it to HV.

    References
    ----------
    .. [1] Not counted below 0.05 wt% Mo unless mostly ferrite and pearlite, nor above 1 wt% Ni (our
       choice).

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> critical, end_quench = opinions(grade("4140"), 5.556)
    >>> round(end_quench.hardness_hv), critical.applicable
    (451, True)
    >>> end_quench.why
    '5.56 °C/s at 700 °C, as 25.4 mm from the quenched end: 45.4 HRC'
    """
    share = check_number(austenite_share, "austenite share", 0.0, 1.0)
    if rate is not None:
        rate = check_number(rate, "cooling rate at 700 °C", 0.0, math.inf, "°C/s")
    heat_c = check_number(austenitise_c, "austenitising temperature", 0.0, 1600.0, "°C")
    hold_s = check_number(hold_s, "austenitising time", 0.0, math.inf, "s")
    if not rate:
        never = (None, False, "did not cool through 700 °C")
        return Opinion(*never, _CRITICAL), Opinion(*never, _END_QUENCH)
    said = f"{rate:.3g} °C/s at 700 °C"
    hv, parts, reasons = _critical(steel, rate, reheated, share, heat_c, hold_s, pa_unit)
    parts = {k.replace("_", " and "): 100.0 * float(v) for k, v in parts.items() if v >= 0.005}
    structure = ", ".join(f"{percent:.0f} % {name}" for name, percent in parts.items())
    critical = _opinion(hv, reasons, f"{said}: {structure}", _CRITICAL)
    hrc, distance, reasons = _end_quench(steel, rate, reheated, share)
    why = f"{said}, as {distance:.1f} mm from the quenched end: {hrc:.1f} HRC"
    return critical, _opinion(hv_from_hrc(hrc), reasons, why, _END_QUENCH)


def _opinion(hv, reasons: _Reasons, why: str, method: str) -> Opinion:
    against = "; ".join(text() for holds, text in reasons if holds)
    return Opinion(float(hv), not against, against or why, method)


def opinion_arrays(
    steel, rate, reheated=False, austenite_share=1.0, austenitise_c=900.0, hold_s=900.0
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Both opinions on many zones at once, without the words: method → hardness, HV, and whether it applies.

    Arguments are numbers or arrays; the rate is 0 or nan where a zone never cooled through 700 °C.
    Where a method does not apply, its number is a placeholder.
    """
    rate = np.nan_to_num(np.asarray(rate, dtype=float))
    cooled, rate = rate > 0.0, np.maximum(rate, 1e-9)
    hv, _, reasons = _critical(steel, rate, reheated, austenite_share, austenitise_c, hold_s)
    hrc, _, others = _end_quench(steel, rate, reheated, austenite_share)
    found = {}
    for name, said, why in ((_CRITICAL, hv, reasons), (_END_QUENCH, hv_from_hrc(hrc), others)):
        unfit = functools.reduce(np.logical_or, [mask for mask, _ in why])
        found[name] = np.asarray(said), cooled & ~unfit
    return found
