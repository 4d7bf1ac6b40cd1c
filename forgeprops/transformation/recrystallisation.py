"""What the squeeze leaves in the austenite until the water starts: recrystallised share, strain that stays.

Recrystallisation is carried as S, the time integral of 1/t50: X = 1 - exp(-ln 2 · S^n), additive over any
curve.
"""

from __future__ import annotations

import math

import numpy as np

from ..base.errors import check_choice

__all__ = [
    "RECRYSTALLISATION_LAWS",
    "recrystallisation_coefficients",
    "recrystallisation_rate_per_s",
    "recrystallised_share",
    "recrystallised_share_along",
    "retained_strain",
    "strain_speed_factor",
]


_R = 8.314462618
_ZERO_C = 273.15

#: Weights of Simpson's rule with 16 strips on the unit interval.
_SIMPSON = np.array([1.0, *[4.0, 2.0] * 7, 4.0, 1.0]) / 48.0

#: Laws t50 = a · strain^p · d² · exp(Q/RT), d in µm: name -> (a, p, Q J/mol, exponent n, source).
RECRYSTALLISATION_LAWS = {
    "hodgson_gibbs": (
        2.3e-15,
        -2.5,
        230_000.0,
        1.0,
        "P. D. Hodgson & R. K. Gibbs, ISIJ Int. 32 (1992) 1329 (from memory)",
    ),
    "sellars": (
        2.5e-19,
        -4.0,
        300_000.0,
        2.0,
        "C. M. Sellars & J. A. Whiteman, Met. Sci. 13 (1979) 187 (from memory)",
    ),
}


def recrystallisation_coefficients(strain, grain_um, molybdenum=0.0, law="hodgson_gibbs"):
    """Coefficients of one squeeze: (ln t50 without temperature, Q/R, exponent n).

    Parameters
    ----------
    strain : float
        Strain of the squeeze, above 0.
    grain_um : float
        Austenite grain before the squeeze, µm.
    molybdenum : float
        wt%; it slows recrystallisation: time × (1 + 4 Mo), so 0.2 % nearly doubles it (size of the effect
        from memory of Jonas' solute retardation parameter; the law is our choice).
    law : {"hodgson_gibbs", "sellars"}

    References
    ----------
    .. [1] "hodgson_gibbs": P. D. Hodgson & R. K. Gibbs, ISIJ Int. 32 (1992) 1329; "sellars": C. M.
       Sellars & J. A. Whiteman, Met. Sci. 13 (1979) 187 (from memory).
    .. [2] Factor 1 + 4 Mo on the time, after the solute retardation parameter of Jonas (our
       choice).

    Examples
    --------
    >>> ln_a, q, n = recrystallisation_coefficients(0.15, 20.0)
    >>> round(1.0 / recrystallisation_rate_per_s(850.0, ln_a, q), 1)
    5.3
    """
    a, p, q, n, _ = RECRYSTALLISATION_LAWS[
        check_choice(law, "recrystallisation law", RECRYSTALLISATION_LAWS)
    ]
    ln_a = (
        math.log(a)
        + p * math.log(max(strain, 1e-6))
        + 2.0 * math.log(grain_um)
        + math.log(1.0 + 4.0 * molybdenum)
    )
    return ln_a, q / _R, n


def recrystallisation_rate_per_s(t_c, ln_a, q_over_r):
    """Rate 1/t50 at a temperature, 1/s; its time integral is S."""
    return math.exp(-ln_a - q_over_r / max(t_c + _ZERO_C, 300.0))


def recrystallised_share(s, exponent):
    """Recrystallised share X = 1 - exp(-ln 2 · S^n).

    Examples
    --------
    >>> recrystallised_share(1.0, 1.0)
    0.5
    """
    return 1.0 - math.exp(-math.log(2.0) * s**exponent)


def recrystallised_share_along(
    time_s, temperature_c, strain, grain_um, molybdenum=0.0, law="hodgson_gibbs"
):
    """Recrystallised share at the end of a curve that starts at the squeeze.

    Parameters
    ----------
    time_s, temperature_c : array
        From the squeeze to the first water, s and °C.
    strain, grain_um, molybdenum, law
        See `recrystallisation_coefficients`.

    Examples
    --------
    >>> share = recrystallised_share_along([0.0, 2.0], [850.0, 850.0], 0.15, 20.0)
    >>> round(share, 2)
    0.23
    """
    ln_a, q, n = recrystallisation_coefficients(strain, grain_um, molybdenum, law)
    t = np.asarray(time_s, float)
    temp = np.asarray(temperature_c, float)
    inside = temp[:-1, None] + np.diff(temp)[:, None] * np.linspace(0.0, 1.0, _SIMPSON.size)
    s = float(np.diff(t) @ (np.exp(-ln_a - q / (inside + _ZERO_C)) @ _SIMPSON))
    return recrystallised_share(s, n)


def retained_strain(strain, share):
    """Strain left after a share has recrystallised: the mean over all grains."""
    return strain * (1.0 - share)


def strain_speed_factor(retained, exponent=2.0):
    """Factor by which retained strain speeds the start of ferrite; 1 without strain.

    1/(1 - 0.45 sqrt(strain))^k.  Strained austenite gives ferrite grains finer by 1 - 0.45 sqrt(strain)
    (Sellars & Beynon 1984, from memory): the diffusion distance shrinks by that, and the time of diffusion
    growth with its square (k = 2, derived).  k = 1 to 3 is the bound; bainite lies between 1/factor (large
    strain stabilises it) and factor.  Off by default: the march takes no strain.

    Parameters
    ----------
    retained : float
        Retained strain, 0-0.5.
    exponent : float
        k.

    References
    ----------
    .. [1] Finer ferrite grain: C. M. Sellars & J. H. Beynon 1984 (from memory).
    .. [2] Exponent 2: time of diffusion growth goes with the square of the distance (derived).

    Examples
    --------
    >>> strain_speed_factor(0.0), round(strain_speed_factor(0.15), 2)
    (1.0, 1.47)
    """
    return (1.0 - 0.45 * math.sqrt(min(max(retained, 0.0), 0.5))) ** -exponent
