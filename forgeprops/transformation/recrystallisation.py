"""State of the austenite between press and spray: recrystallised share, retained strain."""

import math
from typing import NamedTuple

import numpy as np

from ..base.arrays import pieces_along
from ..base.constants import GAS_J_MOL_K, ZERO_C_K
from ..inputs.cases import Cases
from .austenite import diameter_um_from_astm


def recrystallised_share(time_s, temperature_c, strain, grain_um, molybdenum=0.0):
    """Share X of the austenite that has recrystallised at the end of a curve (s, °C) from the press to the start of the spray.

    X = 1 - exp(-ln 2 ∫ dt/t50), additive over any curve, t50 = 2.3e-15 strain^-2.5 d² exp(230 000/RT) s for the strain of the
    press and the grain d before it, µm.  Molybdenum, wt%, slows it: time × (1 + 4 Mo), so 0.2 % nearly doubles it.

    .. [1] P. D. Hodgson & R. K. Gibbs, ISIJ Int. 32 (1992) 1329; C. M. Sellars & J. A. Whiteman, Met. Sci. 13 (1979) 187, with
       t50 = 2.5e-19 strain^-4 d² exp(300 000/RT) and the square of the integral, differ by a factor of 3 in time at 850 °C
       and strain 0.15 (from memory).
    .. [2] Factor 1 + 4 Mo on the time, after the solute retardation parameter of Jonas (our choice).
    """
    ln_a = math.log(2.3e-15) - 2.5 * math.log(max(strain, 1e-6))
    ln_a += 2.0 * math.log(grain_um) + math.log(1.0 + 4.0 * molybdenum)
    q = 230_000.0 / GAS_J_MOL_K
    s = pieces_along(lambda t_c: np.exp(-ln_a - q / (t_c + ZERO_C_K)), time_s, temperature_c).sum()
    return 1.0 - math.exp(-math.log(2.0) * float(s))


def strain_speed_factor(retained):
    """Factor by which retained strain speeds the start of ferrite, 1/(1 - 0.45 sqrt(strain))²; strain up to 0.5, 1 without.

    Strained austenite gives ferrite grains finer by 1 - 0.45 sqrt(strain): the diffusion distance shrinks by that, the time of
    diffusion growth with its square (power 1 to 3).  Bainite lies between 1/factor (large strain stabilises it) and factor.
    Off by default: the march takes no strain.

    >>> strain_speed_factor(0.0), round(strain_speed_factor(0.15), 2)
    (1.0, 1.47)

    .. [1] Finer ferrite grain: C. M. Sellars & J. H. Beynon 1984 (from memory).
    .. [2] Exponent 2: time of diffusion growth goes with the square of the distance (derived).
    """
    return (1.0 - 0.45 * math.sqrt(min(max(retained, 0.0), 0.5))) ** -2.0


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
    at = np.interp(t, time_s, temperature_c)
    share = recrystallised_share(t, at, strain, grain_um, molybdenum)
    left = strain * (1.0 - share)  # mean over all grains
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
