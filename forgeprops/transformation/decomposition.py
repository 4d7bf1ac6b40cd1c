"""The state of a piece of decomposing austenite: what the engine carries for it, and its carbon balance.

The laws that move it are rate equations (`kinetics`), the martensite law (`temperatures`) and the tempering sum
(`tempering`); the engine integrates them in ``engine/native/reactions.c``.
"""

import numpy as np

from .austenite import FERRITE_CARBON

#: Rows of the state, in the order of ``engine/native/input.h``.
ROWS = 21
(
    AUSTENITE,  # what is left of it, share of the steel
    FERRITE,
    PEARLITE,
    BAINITE,
    MARTENSITE,  # shares formed in this cooling
    LOG_V_FP,
    LOG_V_B,  # sum of share x log10(cooling rate, °C/h) while it formed
    J_MARTENSITE,
    J_BAINITE,  # effective tempering integral of what has formed, s
    CARBON_M,  # sum of martensite share x carbon of the austenite it came from
    UNDERCOOLING,  # largest Ms - T reached, °C
    T_MIN,  # lowest temperature since cooling began, °C
    LOG_V_700,  # sum of log10 of the cooling rate, °C/h, over the window of 700 °C when it was last passed
    PASSED_700,  # share of that window that has been passed
    AUSTENITE_0,  # austenite share when cooling began
    K_F,
    K_P,
    K_B,  # rate constants without their exp(-Q/RT)
    CARBON_0,
    AE3,  # carbon (wt%) and Ae3 (°C) of the austenite when cooling began
    J_OLD,  # tempering integral of the first-heat structure, s
) = range(ROWS)

#: Slowest rate put into the hardness of a constituent, °C/h: 0.01 °C/s, the slow end of the diagrams the hardness
#: formulas were made from (from memory).
LEAST_RATE_C_PER_H = 36.0
#: Steel that the water undercooled and the body re-heats forms fine pearlite and bainite, as after fast cooling: its
#: rate is then the one at 700 °C, Maynier's own, in full from this re-heating on, °C (our choice).
FULL_REHEAT_C = 50.0
#: That rate is the mean over a window of temperature, °C, as wide as this (our choice): read at one temperature, hardness
#: jumps by 20 HV where the water happens to come at 700 °C.
RATE_AT_C, RATE_WINDOW_C = 700.0, 40.0
#: Carbon up to which the start tables reach, wt%.
TABLE_CARBON = 1.2
#: No martensite is looked for above this, °C (pure iron starts near 540 °C; from memory).
HIGHEST_MS_C = 620.0


def carbon_of_austenite(carbon_0, austenite_0, ferrite):
    """Carbon of the remaining austenite, wt%, after `ferrite` of `austenite_0` has left it (mass balance).

    .. [1] Mass balance of carbon between ferrite and austenite (derived).
    """
    left = austenite_0 - ferrite
    c = (carbon_0 * austenite_0 - FERRITE_CARBON * ferrite) / np.maximum(left, 1e-6)
    return np.where(left <= 1e-6, TABLE_CARBON, np.minimum(np.maximum(c, carbon_0), TABLE_CARBON))
