"""The march: one head through its route, heat and structure together, in adaptive steps.

It is written in C (``native/``) and compiled ahead of time.  This module names what it writes and says how its step is
controlled.
"""

from __future__ import annotations

import functools

import numpy as np

#: Rows of the furnace state of a point: share of austenite; undissolved share; d^m in µm^m.
HEAT_ROWS = 3

#: Marks of a zone.
MARKS = 10
(
    M_FURNACE,  # mean temperature as it leaves the furnace, °C
    M_DIE,  # as the press closes, °C
    M_WATER_ON,  # as the water comes, °C
    M_WATER_OFF,  # as it stops, °C
    M_T800,  # time at which it passes 800 °C, s; -1 if it does not
    M_T500,  # the same for 500 °C
    M_RATE700,  # rate at 700 °C without heat of transformation, mean over 680-720 °C, °C/s
    M_REBOUND,  # re-heating after its low, °C
    M_SCALE,  # scale as it leaves the furnace, µm
    M_LOW,  # lowest temperature, °C
) = range(MARKS)

#: A march that has tried so many steps is given up (it takes some 175).
STEP_LIMIT = 40_000
#: Default tolerance, °C, and the temperature at which a cooling head is left, °C.
TOLERANCE_C = 1.8
STOP_C = 80.0

#: What limits a step, in units of the tolerance: the error that the method estimates (of its first-order part: far above the true
#: one); the change of temperature of a point that transforms, in the air and in water, and of one that does not; the heat, as a
#: temperature, that came otherwise than the step had assumed; error, such heat and change in the furnace, and its change while
#: austenite forms.
ERROR, STRIDE, STRIDE_WATER, STRIDE_IDLE, DEBT = 8.0, 9.0, 13.5, 22.0, 0.5
FURNACE_ERROR, FURNACE_DEBT, FURNACE_STRIDE, FURNACE_STRIDE_AC = 4.0, 1.25, 240.0, 48.0
#: How much smaller these limits are for a head that leaves the furnace with part of its steel austenite, in the furnace and in
#: cooling: its hardness may rise by 30 HV a kelvin.
FURNACE_FINER, FINER = 0.03, 0.5


@functools.lru_cache(maxsize=32)
def control(tolerance_c: float, stop_c: float) -> np.ndarray:
    """Limits of a step as a record for the engine, shape (1,)."""
    values = {"error": ERROR, "stride": STRIDE, "stride_water": STRIDE_WATER}
    values |= {"stride_idle": STRIDE_IDLE, "debt": DEBT}
    values |= {"furnace_error": FURNACE_ERROR, "furnace_debt": FURNACE_DEBT}
    values |= {"furnace_stride": FURNACE_STRIDE, "furnace_stride_ac": FURNACE_STRIDE_AC}
    values = {name: value * tolerance_c for name, value in values.items()}
    values |= {"furnace_finer": FURNACE_FINER, "finer": FINER}
    values |= {"stop_c": stop_c, "step_limit": float(STEP_LIMIT)}
    return np.array([tuple(values.values())], [(name, np.float64) for name in values])
