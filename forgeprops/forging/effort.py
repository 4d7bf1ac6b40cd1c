"""Flow stress of the hot steel and the preheat of equal effort.

Plain carbon steel follows Shida 1969.  Chromium and molybdenum multiply it by a factor built from two read laws: the
general expression of Medina & Hernandez (Mo, Si) and a measured Cr-Mo steel against measured C45.  Every answer carries its
band.
"""

import functools
import math
from typing import NamedTuple

import numpy as np

from ..base.arrays import plain
from ..base.constants import ZERO_C_K
from ..base.errors import check_number
from ..inputs.grades import steel_of
from .flow_stress_laws import hensel_spittel_mpa, medina_hernandez_mpa, misaka_mpa, shida_mpa

#: Press strain and rate (1/s) where none are given: those of the default press step (0.15 in 0.05 s).
_STRAIN, _RATE = 0.15, 3.0
#: Plain steel the alloy factor is counted from, wt%: a carbon bar's silicon, manganese and residuals.
_PLAIN = {"Si": 0.25, "Mn": 0.65, "Cr": 0.08, "Mo": 0.02, "V": 0.0, "Ni": 0.08}


class FlowStress(NamedTuple):
    """Flow stress, MPa: central value and band (alloy factor and disagreement of the laws)."""

    mpa: float
    low_mpa: float
    high_mpa: float


class EqualEffort(NamedTuple):
    """Preheat of B, °C, at which it forges as easily as A: central value and band."""

    preheat_c: float
    low_c: float
    high_c: float
    stress_mpa: float


def _molybdenum_silicon(composition, temperature_c):
    """Flow stress against the plain steel by Medina & Hernandez, at their middle rate, inside their range."""
    t = np.clip(temperature_c, 900.0, 1200.0)  # held where the softer two-phase range begins
    base = {**_PLAIN, "C": composition.get("C")}
    return medina_hernandez_mpa(composition, t, 0.2, 2.0) / medina_hernandez_mpa(base, t, 0.2, 2.0)


@functools.cache
def _chromium_coefficient():
    """Rise of ln(flow stress) per wt% Cr.

    The measured CrMo steel (1.86 Cr) over carbon steel (mean of measured C45 and of Shida at 0.30 C) at 1050 °C, the end of its
    range nearest to a second heat; what Medina & Hernandez give Mo and Si is taken out and the rest laid on chromium (nickel
    has no effect by them).
    """
    steel = {"C": 0.30, "Mn": 0.89, "Si": 0.34, "Mo": 0.52, "V": 0.0}
    e, r = np.array([[0.1], [0.2], [0.3]]), np.array([1.0, 2.0, 5.0])
    carbon = np.log(hensel_spittel_mpa("C45", 1050.0, e, r)), np.log(shida_mpa(0.30, 1050.0, e, r))
    rise = np.mean(np.log(hensel_spittel_mpa("CrMo", 1050.0, e, r)) - 0.5 * (carbon[0] + carbon[1]))
    return float(rise - math.log(_molybdenum_silicon(steel, 1050.0))) / (1.86 - _PLAIN["Cr"])


def _rolling_factor(get):
    mn, cr, mo, ni, v = (get(e) for e in ("Mn", "Cr", "Mo", "Ni", "V"))
    slow = 0.835 + 0.098 * mn + 0.128 * cr**0.8 + 0.144 * mo**0.3
    return slow + 0.175 * (0.0 if v is None else v) + 0.01 * ni


def _low_and_central(steel, temperature_c):
    low = _molybdenum_silicon(steel, temperature_c)
    rise = _chromium_coefficient() * np.maximum(steel.get("Cr") - _PLAIN["Cr"], 0.0)
    return low, low * np.exp(rise)


def alloy_factor(steel, temperature_c):
    """Flow stress of a steel over plain steel of the same carbon: (central, low, high).

    Low: molybdenum and silicon alone (Medina & Hernández).  Central: chromium added from the measured Cr-Mo steel.  High: factor
    for rolling-mill force 0.835 + 0.098 Mn + 0.128 Cr^0.8 + 0.144 Mo^0.3 + 0.175 V + 0.01 Ni, against the plain steel.  Shida
    himself held that a carbon equivalent in place of carbon covers low-alloy steel, which gives no rise at all.

    >>> from forgeprops.inputs.steel import Steel
    >>> steel = Steel("4130", {"C": 0.305, "Si": 0.25, "Mn": 0.5, "Cr": 0.95, "Mo": 0.20})
    >>> [round(float(f), 2) for f in alloy_factor(steel, 950.0)]
    [1.09, 1.02, 1.14]

    .. [1] Chromium: CrMo set over C45 and Shida at 1050 °C, Medina & Hernández for Mo and Si (derived).
    .. [2] Upper bound: E. I. Poliak, M. K. Shim, G. S. Kim & W. Y. Choo, Met. Mater. 4 (1998) 1047 (from memory).
    """
    low, mid = _low_and_central(steel, temperature_c)
    high = np.maximum(_rolling_factor(steel.get) / _rolling_factor(_PLAIN.get), mid)
    return mid, np.minimum(low, mid), high


def _without_dip(carbon, temperature_c, *press):
    """Shida's stress, below the transformation temperature held at its value there until it rises beyond.

    In the published law ferrite forming on cooling softens the steel again, by up to 12 %, and the branches meet within 1.4 %
    only.  A second heat cannot rely on that: a colder head never counts as easier to forge.
    """
    td_c = 950.0 * (carbon + 0.41) / (carbon + 0.32) - ZERO_C_K + 1e-9  # just inside the hot branch
    bottom_c = 950.0 * (carbon + 0.49) / (carbon + 0.42) - ZERO_C_K  # of the dip
    t = np.asarray(temperature_c, float)
    stress = shida_mpa(carbon, t, *press)
    if np.all(t >= td_c):
        return stress
    at_td = shida_mpa(carbon, td_c, *press)
    return np.where(t >= td_c, stress, np.where(t >= bottom_c, at_td, np.maximum(stress, at_td)))


def _carbon_laws(strain, rate_per_s):
    """Carbon-steel laws of steel and temperature: Shida, measured C45, Medina & Hernandez, Misaka."""

    def shida(steel, t):
        return _without_dip(steel.get("C"), t, strain, rate_per_s)

    def continued(law):
        # known from 850 to 1200 °C, carried on with the slope of Shida
        def carried(steel, t):
            inside = np.clip(t, 850.0, 1200.0)
            return law(steel, inside) * shida(steel, t) / shida(steel, inside)

        return carried

    at = strain, rate_per_s
    measured = continued(lambda _steel, t: hensel_spittel_mpa("C45", t, *at))
    general = continued(lambda s, t: medina_hernandez_mpa({**_PLAIN, "C": s.get("C")}, t, *at))
    return shida, measured, general, continued(lambda s, t: misaka_mpa(s.get("C"), t, *at))


def flow_stress_mpa(steel, temperature_c, strain=_STRAIN, rate_per_s=_RATE):
    """Central flow stress, MPa: Shida times the alloy factor; never falls as the steel gets colder.

    Metal temperature in the die, °C; true strain; strain rate, 1/s; numbers or arrays.
    """
    _, mid = _low_and_central(steel, temperature_c)
    return plain(mid * _without_dip(steel.get("C"), temperature_c, strain, rate_per_s))


def flow_stress(steel, temperature_c, strain=_STRAIN, rate_per_s=_RATE):
    """Flow stress of a steel with its band.

    The band spans the alloy factor and, for the carbon steel beneath, the least and greatest of Shida, measured C45 and Medina
    & Hernandez at that temperature (they differ by up to 20 % at forging temperature).
    """
    mid, low, high = alloy_factor(steel, temperature_c)
    laws = _carbon_laws(strain, rate_per_s)
    shida, *others = (law(steel, temperature_c) for law in laws[:3])
    least, most = (end(shida, end(*others)) for end in (np.minimum, np.maximum))
    return FlowStress(plain(mid * shida), plain(low * least), plain(high * most))


def _solve(stress, target, near_c, low_c=600.0, high_c=1350.0):
    """Temperature at which a falling `stress` reaches `target`; an end of the interval if it does not.

    Where the stress is level (see `_without_dip`) the answer is the temperature nearest to `near_c`.
    """
    from scipy.optimize import brentq

    def crossing(aim):
        if stress(low_c) <= aim:
            return low_c
        if stress(high_c) >= aim:
            return high_c
        return brentq(lambda t: stress(t) - aim, low_c, high_c, xtol=1e-6)

    low = crossing(target * (1.0 + 1e-9))
    if stress(low + 0.01) < target * (1.0 - 1e-9):
        return low
    return min(max(near_c, low), crossing(target * (1.0 - 1e-9)))


def equal_effort(steel_a, preheat_a_c, steel_b, die_drop_c=0.0, strain=_STRAIN, rate_per_s=_RATE):
    """Preheat at which steel B presses as easily as steel A does from its preheat, with the band.

    Parameters
    ----------
    steel_a, steel_b : Steel
    preheat_a_c : float
        Metal temperature of A out of the furnace, 700-1300 °C.
    die_drop_c : float or callable
        What the metal loses on its way into the die, °C: one number, or a function of the preheat.  0 takes
        both temperatures as metal temperature in the die.
    strain, rate_per_s : float
        Of the press.

    Returns
    -------
    EqualEffort
        The band takes every alloy factor (low, central, high) of the two steels with every law for the fall
        of stress with temperature (Shida, measured C45, Medina & Hernandez, Misaka).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> a = Steel("1030", {"C": 0.31, "Si": 0.25, "Mn": 0.75})
    >>> b = Steel("4130", {"C": 0.305, "Si": 0.25, "Mn": 0.50, "Cr": 0.95, "Mo": 0.20})
    >>> answer = equal_effort(a, 900.0, b)
    >>> round(answer.preheat_c)
    924
    """
    steel_a, steel_b = steel_of(steel_a, "first steel"), steel_of(steel_b, "second steel")
    preheat_a_c = check_number(preheat_a_c, "preheat of the first steel", 700.0, 1300.0, "°C")
    strain = check_number(strain, "strain", 0.001, 3.0)
    rate_per_s = check_number(rate_per_s, "strain rate", 1e-4, 1e4, "1/s")

    def drop(preheat_c):
        lost = die_drop_c(preheat_c) if callable(die_drop_c) else die_drop_c
        return check_number(lost, "temperature lost until the die", -50.0, 600.0, "°C")

    in_die_a = preheat_a_c - drop(preheat_a_c)

    def answer(law, choice):
        def stress(steel, t):
            return float(alloy_factor(steel, t)[choice] * law(steel, t))

        target = stress(steel_a, in_die_a)
        return _solve(lambda preheat: stress(steel_b, preheat - drop(preheat)), target, preheat_a_c)

    laws = _carbon_laws(strain, rate_per_s)
    centre = answer(laws[0], 0)
    every = [answer(law, choice) for law in laws for choice in (0, 1, 2)]
    stress_a = flow_stress_mpa(steel_a, in_die_a, strain, rate_per_s)
    return EqualEffort(centre, min(every), max(every), stress_a)
