"""One small step of austenite decomposition at one point of the steel.

The thermal march and the imposed-curve specimen both call `decompose`; it works in place on a column of a
state array whose rows are named here.  Plain numbers and `math` only: it is compiled where it is used.
"""

from __future__ import annotations

import math

from .kinetics import CARBON_IN_FERRITE, TABLE_FROM_C, extent_of, ferrite_cap, inverse_extent

__all__ = [
    "ROWS",
    "begin_cooling",
    "carbon_of_austenite",
    "decompose",
    "martensite_ahead",
    "temper_step",
]


#: Rows of the state array, one column a point.
ROWS = 21
(
    AUSTENITE_0,  # austenite share when cooling began
    AUSTENITE,  # what is left of it
    FERRITE,
    PEARLITE,
    BAINITE,
    MARTENSITE,  # shares formed in this cooling
    LOG_V_FP,
    LOG_V_B,
    LOG_V_M,  # sum of share x log10(cooling rate, °C/h) while it formed
    J_MARTENSITE,
    J_BAINITE,  # effective tempering integral of what has formed, s (see `_joined`)
    CARBON_M,  # sum of martensite share x carbon of the austenite it came from
    UNDERCOOLING,  # largest Ms - T reached, °C
    K_F,
    K_P,
    K_B,  # rate constants at this point without their exp(-Q/RT)
    CARBON_0,
    AE3,  # carbon (wt%) and Ae3 (°C) of the austenite when cooling began
    J_OLD,  # tempering integral of the first-heat structure, s
    T_MIN,  # lowest temperature since cooling began, °C
    LOG_V_700,  # log10 of the cooling rate, °C/h, when it was last above 700 °C
) = range(ROWS)

#: Slowest rate put into the hardness of a constituent, log10 of °C/h: 36 °C/h = 0.01 °C/s, the slow end of
#: the diagrams the hardness formulas were made from (from memory).
LOG_V_FLOOR = math.log10(36.0)
#: Steel that the water undercooled and the body re-heats forms fine pearlite and bainite, as after fast cooling: its
#: rate is then the one at 700 °C, Maynier's own, in full from this re-heating on, °C (our choice).
_REHEATED_C = 50.0
#: Carbon up to which the start tables reach, wt%, and their step.
TABLE_CARBON = 1.2
#: No martensite is looked for above this, °C (pure iron starts near 540 °C; from memory).
_HIGHEST_MS_C = 620.0


def carbon_of_austenite(carbon_0, austenite_0, ferrite):
    """Carbon of the remaining austenite, wt%, after `ferrite` of `austenite_0` has left it (mass balance).

    References
    ----------
    .. [1] Mass balance of carbon between ferrite and austenite (derived).
    """
    left = austenite_0 - ferrite
    if left <= 1e-6:
        return TABLE_CARBON
    c = (carbon_0 * austenite_0 - CARBON_IN_FERRITE * ferrite) / left
    return min(max(c, carbon_0), TABLE_CARBON)


def _on_carbon(table, row, carbon):
    """Linear look-up in a table on even steps of carbon from 0 to `TABLE_CARBON`."""
    last = table.shape[1] - 1
    position = carbon / TABLE_CARBON * last
    i = min(int(position), last - 1)
    return table[row, i] + (position - i) * (table[row, i + 1] - table[row, i])


def _joined(share):
    """Factor on the tempering integral J of a constituent when fresh, untempered metal joins it; `share` is
    the old part.

    Softening goes with J^p, p = 1/(width ln 10) of the tempering law, about 1/14 for its width of 6: it is
    J^p that mixes by shares, so J itself by their power 14.  A plain mean of J would let a thousandth of
    early, well-tempered martensite soften all.
    """
    two = share * share
    four = two * two
    return four * four * four * two


def temper_step(integral, tempering_q_k, kelvin, dt_s):
    """Tempering integral after `dt_s` more seconds: additive ``exp(-Q/RT) dt`` with Q/R in kelvin."""
    return integral + math.exp(-tempering_q_k / kelvin) * dt_s


def martensite_ahead(state, i, start):
    """Temperature below which more martensite forms at point `i`, °C, and how much a kelvin, share of the
    steel.

    References
    ----------
    .. [1] D. P. Koistinen & R. E. Marburger, Acta Metall. 7 (1959) 59 (from memory).
    """
    c = carbon_of_austenite(state[CARBON_0, i], state[AUSTENITE_0, i], state[FERRITE, i])
    return (
        _on_carbon(start, 0, c) - state[UNDERCOOLING, i],
        state[AUSTENITE, i] * _on_carbon(start, 1, c),
    )


def begin_cooling(state, i, austenite, carbon, ae3_c, t_c, ln_f, ln_p, ln_b):
    """Set point `i` to `austenite` share with that carbon, nothing decomposed yet."""
    for row in range(ROWS):
        if row != J_OLD:
            state[row, i] = 0.0
    state[AUSTENITE_0, i] = austenite
    state[AUSTENITE, i] = austenite
    state[CARBON_0, i] = carbon
    state[AE3, i] = ae3_c
    state[K_F, i] = math.exp(ln_f)
    state[K_P, i] = math.exp(ln_p)
    state[K_B, i] = math.exp(ln_b)
    state[T_MIN, i] = t_c


def decompose(
    state,
    i,
    t_mid_c,
    t_end_c,
    dt_s,
    rate_c_per_h,
    ae1_c,
    bainite_limit_c,
    arrhenius,
    start,
    forward,
    inverse,
    top,
):
    """Advance point `i` by `dt_s`; return what went to ferrite and pearlite, to bainite, to martensite, as
    shares.

    Parameters
    ----------
    state : array, shape (ROWS, points)
        Changed in place, column `i`.
    t_mid_c, t_end_c : float
        Temperature in the middle and at the end of the step, °C.
    rate_c_per_h : float
        Cooling rate the surroundings impose, °C/h, latent heat left out.
    arrhenius : array, shape (4, 1501)
        `kinetics.arrhenius_table` for ferrite, pearlite, bainite and tempering.
    start : array, shape (3, m)
        Ms (°C) and the rate of the martensite law (1/K) on even steps of carbon.

    References
    ----------
    .. [1] Rates: M. V. Li et al., Metall. Mater. Trans. B 29 (1998) 661-672, with own constants
       (data/fits/kinetics.csv) (our own fit).
    """
    austenite = state[AUSTENITE, i]
    hard = state[MARTENSITE, i] + state[BAINITE, i] > 0.0
    if austenite <= 1e-7 and not hard:
        return 0.0, 0.0, 0.0
    position = t_mid_c - TABLE_FROM_C
    at = int(position)
    part = position - at
    if hard:
        grown = dt_s * (arrhenius[3, at] + part * (arrhenius[3, at + 1] - arrhenius[3, at]))
        state[J_MARTENSITE, i] += grown
        state[J_BAINITE, i] += grown
    if austenite <= 1e-7:
        return 0.0, 0.0, 0.0
    a0 = state[AUSTENITE_0, i]
    gone_fp = 0.0
    gone_b = 0.0
    ae3 = state[AE3, i]
    if t_mid_c < ae3:
        cap = ferrite_cap(t_mid_c, ae1_c, ae3, state[CARBON_0, i]) * a0
        ferrite = state[FERRITE, i]
        if cap > ferrite:
            under = ae3 - t_mid_c
            k = (
                state[K_F, i]
                * (arrhenius[0, at] + part * (arrhenius[0, at + 1] - arrhenius[0, at]))
                * under
                * under
                * under
            )
            x = inverse_extent(
                extent_of(ferrite / cap, forward, 0) + k * dt_s, forward, inverse, top, 0
            )
            d = min(x * cap - ferrite, austenite)
            if d > 0.0:
                state[FERRITE, i] = ferrite + d
                austenite -= d
                gone_fp += d
    if t_mid_c < ae1_c and austenite > 1e-9:
        pearlite = state[PEARLITE, i]
        whole = pearlite + austenite
        under = ae1_c - t_mid_c
        k = (
            state[K_P, i]
            * (arrhenius[1, at] + part * (arrhenius[1, at + 1] - arrhenius[1, at]))
            * under
            * under
            * under
        )
        x = inverse_extent(
            extent_of(pearlite / whole, forward, 0) + k * dt_s, forward, inverse, top, 0
        )
        d = min(x * whole - pearlite, austenite)
        if d > 0.0:
            state[PEARLITE, i] = pearlite + d
            austenite -= d
            gone_fp += d
    if t_mid_c < bainite_limit_c and austenite > 1e-9:
        bainite = state[BAINITE, i]
        whole = bainite + austenite
        under = bainite_limit_c - t_mid_c
        k = (
            state[K_B, i]
            * (arrhenius[2, at] + part * (arrhenius[2, at + 1] - arrhenius[2, at]))
            * under
            * under
        )
        x = inverse_extent(
            extent_of(bainite / whole, forward, 1) + k * dt_s, forward, inverse, top, 1
        )
        d = min(x * whole - bainite, austenite)
        if d > 0.0:
            state[J_BAINITE, i] *= _joined(bainite / (bainite + d))
            state[BAINITE, i] = bainite + d
            austenite -= d
            gone_b = d
    gone_m = 0.0
    reheated = t_mid_c - state[T_MIN, i]
    if t_end_c < state[T_MIN, i]:
        state[T_MIN, i] = t_end_c
        if austenite > 1e-9 and t_end_c < _HIGHEST_MS_C:
            c = carbon_of_austenite(state[CARBON_0, i], a0, state[FERRITE, i])
            under = _on_carbon(start, 0, c) - t_end_c
            before = state[UNDERCOOLING, i]
            if under > before:
                gone_m = austenite * (1.0 - math.exp(-_on_carbon(start, 1, c) * (under - before)))
                state[UNDERCOOLING, i] = under
                martensite = state[MARTENSITE, i]
                state[J_MARTENSITE, i] *= _joined(martensite / (martensite + gone_m))
                state[MARTENSITE, i] = martensite + gone_m
                state[CARBON_M, i] += gone_m * c
                austenite -= gone_m
    went = gone_fp + gone_b + gone_m
    hot = t_end_c >= 700.0
    if hot or went > 1e-9:
        log_v = LOG_V_FLOOR
        if rate_c_per_h > 36.0:
            log_v = math.log10(rate_c_per_h)
        if hot:
            state[LOG_V_700, i] = log_v
        if reheated > 0.0:
            log_v += min(reheated / _REHEATED_C, 1.0) * max(state[LOG_V_700, i] - log_v, 0.0)
        state[LOG_V_FP, i] += gone_fp * log_v
        state[LOG_V_B, i] += gone_b * log_v
        state[LOG_V_M, i] += gone_m * log_v
    state[AUSTENITE, i] = austenite
    return gone_fp, gone_b, gone_m
