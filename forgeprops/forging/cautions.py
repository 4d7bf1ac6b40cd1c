"""Limits at the furnace: heating limits, and what counts as partial austenite, coarse grain, scale, skin, idle spray."""

import functools

import numpy as np

from ..base.tables import read_rows

#: Coarser than this the toughness of quenched steel suffers: ASTM 5 divides fine from coarse (ASTM A29, common practice).
COARSE_GRAIN_ASTM = 5.0
#: Metal lost to scale on one side, µm, from which it is a warning: 2 % of a 2.5 mm face (our choice).
SCALE_LOSS_UM = 50.0
#: Decarburised depth, µm, from which it is a warning: what a light polish no longer removes (our choice).
DECARBURISED_UM = 100.0
#: Austenite share below which the steel is called partly austenitic, and share of Cr-Mo carbides left that is
#: a warning; austenite share that is none (our own limits).
FULL_AUSTENITE, CARBIDES_LEFT, NO_AUSTENITE = 0.99, 0.10, 0.005
#: Gain by the spray, HV, that is next to nothing: about one standard error of the method (our choice).
IDLE_WATER_HV = 20.0

_FAMILIES = ("carbon", "alloy", "nickel alloy")


@functools.cache
def _limits() -> tuple[tuple, ...]:
    columns = ("carbon_low", "carbon_high", "safe_c", "working_c")
    rows = read_rows("constants/forging_temperatures.csv")
    return tuple((_FAMILIES.index(r["family"]), *(float(r[c]) for c in columns)) for r in rows)


def heating_limit_arrays(steel) -> tuple[np.ndarray, np.ndarray]:
    """Highest safe and highest working temperature by family and carbon, °C; contents may be arrays.

    .. [1] ASM Handbook vol. 14A and suppliers' pages, row by row
       (data/constants/forging_temperatures.csv) (from memory).
    """
    carbon, nickel = np.asarray(steel.get("C")), np.asarray(steel.get("Ni"))
    alloy = (np.asarray(steel.get("Cr")) >= 0.30) | (np.asarray(steel.get("Mo")) >= 0.08)
    family = np.where(nickel >= 0.40, 2, np.where(alloy, 1, 0))
    safe, working = np.full(carbon.shape, np.nan), np.full(carbon.shape, np.nan)
    # where rows meet the first counts
    for number, low, high, safe_c, working_c in reversed(_limits()):
        here = (family == number) & (low <= carbon) & (carbon <= high)
        safe[here], working[here] = safe_c, working_c
    return safe, working


def is_idle(wet_hv: float, dry_hv: float) -> bool:
    """Whether the spray changes the hardness next to nothing."""
    return abs(wet_hv - dry_hv) < IDLE_WATER_HV
