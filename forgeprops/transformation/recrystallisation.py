"""State of the austenite between press and spray: recrystallised share, retained strain.

Recrystallisation is carried as S, the time integral of 1/t50: X = 1 - exp(-ln 2 · S^n), additive over any curve.
"""

import math
from typing import NamedTuple

import numpy as np

from ..base.arrays import pieces_along
from ..base.constants import GAS_J_MOL_K, ZERO_C_K
from ..base.errors import check_choice
from ..inputs.cases import Cases
from .austenite import diameter_um_from_astm

#: Laws t50 = a · strain^p · d² · exp(Q/RT), d in µm: name -> (a, p, Q J/mol, exponent n).
RECRYSTALLISATION_LAWS = {"hodgson_gibbs": (2.3e-15, -2.5, 230_000.0, 1.0)}
RECRYSTALLISATION_LAWS["sellars"] = (2.5e-19, -4.0, 300_000.0, 2.0)


def recrystallisation_coefficients(strain, grain_um, molybdenum=0.0, law="hodgson_gibbs"):
    """Coefficients of one press: (ln t50 without temperature, Q/R, exponent n); strain above 0, grain before it in µm.

    Molybdenum, wt%, slows recrystallisation: time × (1 + 4 Mo), so 0.2 % nearly doubles it.  The rate 1/t50 at T (K) is
    exp(-ln t50 - Q/(R T)).

    >>> ln_a, q, n = recrystallisation_coefficients(0.15, 20.0)
    >>> round(math.exp(ln_a + q / (850.0 + ZERO_C_K)), 1)
    5.3

    .. [1] "hodgson_gibbs": P. D. Hodgson & R. K. Gibbs, ISIJ Int. 32 (1992) 1329; "sellars": C. M. Sellars & J. A.
       Whiteman, Met. Sci. 13 (1979) 187 (from memory).
    .. [2] Factor 1 + 4 Mo on the time, after the solute retardation parameter of Jonas (our choice).
    """
    laws = RECRYSTALLISATION_LAWS
    a, p, q, n = laws[check_choice(law, "recrystallisation law", laws)]
    ln_a = math.log(a) + p * math.log(max(strain, 1e-6))
    ln_a += 2.0 * math.log(grain_um) + math.log(1.0 + 4.0 * molybdenum)
    return ln_a, q / GAS_J_MOL_K, n


def recrystallised_share(s, exponent):
    """Recrystallised share X = 1 - exp(-ln 2 · S^n)."""
    return 1.0 - math.exp(-math.log(2.0) * s**exponent)


def recrystallised_share_along(
    time_s, temperature_c, strain, grain_um, molybdenum=0.0, law="hodgson_gibbs"
):
    """Recrystallised share at the end of a curve (s, °C) from the press to the start of the spray.

    The two laws differ by a factor of 3 in time at 850 °C and strain 0.15.
    """
    ln_a, q, n = recrystallisation_coefficients(strain, grain_um, molybdenum, law)
    s = pieces_along(lambda t_c: np.exp(-ln_a - q / (t_c + ZERO_C_K)), time_s, temperature_c).sum()
    return recrystallised_share(float(s), n)


def retained_strain(strain, share):
    """Strain left after a share has recrystallised: the mean over all grains."""
    return strain * (1.0 - share)


def strain_speed_factor(retained, exponent=2.0):
    """Factor by which retained strain speeds the start of ferrite, 1/(1 - 0.45 sqrt(strain))^k; strain up to 0.5, 1 without.

    Strained austenite gives ferrite grains finer by 1 - 0.45 sqrt(strain): the diffusion distance shrinks by that, the time of
    diffusion growth with its square (k = 2; the bound is 1 to 3).  Bainite lies between 1/factor (large strain stabilises it)
    and factor.  Off by default: the march takes no strain.

    >>> strain_speed_factor(0.0), round(strain_speed_factor(0.15), 2)
    (1.0, 1.47)

    .. [1] Finer ferrite grain: C. M. Sellars & J. H. Beynon 1984 (from memory).
    .. [2] Exponent 2: time of diffusion growth goes with the square of the distance (derived).
    """
    return (1.0 - 0.45 * math.sqrt(min(max(retained, 0.0), 0.5))) ** -exponent


class PressStrain(NamedTuple):
    """The press strain in the austenite of one zone when the water starts (without water: at Ae3)."""

    recrystallised: float  #: share of the austenite that has recrystallised since the press stroke
    strain: float  #: mean strain that is left
    speed: float  #: factor by which it speeds ferrite, and at most bainite; only used on request


def press_strain(time_s, temperature_c, span_s, strain, grain_um, molybdenum=0.0) -> PressStrain:
    """Strain that the press leaves in one zone until the spray starts.

    Mean temperature of the zone from loading on (s, °C), end of the press and start of the spray (s), strain of the press,
    austenite grain before it (µm), molybdenum (wt%).
    """
    if strain <= 0.0:
        return PressStrain(1.0, 0.0, 1.0)
    start, end = span_s
    inside = (time_s > start) & (time_s < end)
    t = np.concatenate([[start], time_s[inside], [max(end, start)]])
    metal = np.interp(t, time_s, temperature_c), strain, grain_um, molybdenum
    share = recrystallised_share_along(t, *metal)
    left = retained_strain(strain, share)
    return PressStrain(share, left, strain_speed_factor(left))


def press_strain_columns(cases: Cases, traces, grain_astm, ae3_c) -> dict[str, np.ndarray]:
    """`press_strain` of every zone, by its fields, arrays of shape (n, 5); without spray until the zone cools to Ae3."""
    times, molybdenum = cases.times_s, cases.content("Mo")
    found = np.ones((3, *grain_astm.shape))
    for case, trace in enumerate(traces):
        start, on = times["end of stroke"][case], times["water on"][case]
        for zone in range(grain_astm.shape[1]):
            temperature = trace.zones_c[:, zone]
            end = on
            if np.isnan(on):
                cold = (trace.time_s > start) & (temperature < ae3_c[case])
                end = trace.time_s[np.argmax(cold) if cold.any() else -1]
            strain, grain = cases.route["strain"][case], grain_astm[case, zone]
            metal = (strain, diameter_um_from_astm(grain), molybdenum[case])
            found[:, case, zone] = press_strain(trace.time_s, temperature, (start, end), *metal)
    return dict(zip(PressStrain._fields, found, strict=True))
