"""What to tell at the furnace: partial austenite, carbides left, coarse grain, scale, skin, burning."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np

from ..base.tables import read_rows

__all__ = [
    "CARBIDES_LEFT",
    "COARSE_GRAIN_ASTM",
    "DECARBURISED_UM",
    "FULL_AUSTENITE",
    "HeatingLimits",
    "NO_AUSTENITE",
    "IDLE_WATER_HV",
    "SCALE_LOSS_UM",
    "heating_limit_arrays",
    "heating_limits",
    "is_idle",
]


#: Coarser than this the toughness of quenched steel suffers: ASTM 5 divides fine from coarse (ASTM A29,
#: common practice).
COARSE_GRAIN_ASTM = 5.0
#: Metal lost to scale on one side, µm, worth a word: 2 % of a 2.5 mm face (our own limit).
SCALE_LOSS_UM = 50.0
#: Decarburised depth, µm, worth a word: what a light polish no longer removes (our own limit).
DECARBURISED_UM = 100.0
#: Austenite share below which the steel is called partly austenitic, and share of Cr-Mo carbides left that is
#: worth a word; austenite share that is none (our own limits).
FULL_AUSTENITE, CARBIDES_LEFT, NO_AUSTENITE = 0.99, 0.10, 0.005
#: Gain by the water, HV, that is next to nothing: about one standard error of the method (our choice).
IDLE_WATER_HV = 20.0


class HeatingLimits(NamedTuple):
    """Forging heating limits of a steel, °C, with their source."""

    safe_c: float
    working_c: float
    finish_c: float
    source: str


@functools.cache
def _limits():
    return tuple(
        (
            r["family"],
            float(r["carbon_low"]),
            float(r["carbon_high"]),
            HeatingLimits(
                float(r["safe_c"]),
                float(r["working_c"]),
                float(r["finish_c"]),
                f"{r['source']} ({r['basis']})",
            ),
        )
        for r in read_rows("constants/forging_temperatures.csv")
    )


def heating_limits(steel) -> HeatingLimits:
    """Highest safe and highest working temperature of a steel, by family and carbon.

    References
    ----------
    .. [1] ASM Handbook vol. 14A and suppliers' pages, row by row
       (data/constants/forging_temperatures.csv) (from memory).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> heating_limits(Steel("4130", {"C": 0.305, "Cr": 0.95, "Mo": 0.20})).working_c
    1200.0
    """
    family = _FAMILIES[int(_family(steel))]
    carbon = steel.get("C")
    return next(
        limits for name, low, high, limits in _limits() if name == family and low <= carbon <= high
    )


_FAMILIES = ("carbon", "alloy", "nickel alloy")


def _family(steel):
    """Number of the family in `_FAMILIES`; contents may be arrays."""
    alloy = (np.asarray(steel.get("Cr")) >= 0.30) | (np.asarray(steel.get("Mo")) >= 0.08)
    return np.where(np.asarray(steel.get("Ni")) >= 0.40, 2, np.where(alloy, 1, 0))


def heating_limit_arrays(steel) -> tuple[np.ndarray, np.ndarray]:
    """Safe and working temperature of many steels, °C, as `heating_limits` tells one.

    Parameters
    ----------
    steel : object
        ``get(element)`` gives wt% as an array.
    """
    carbon, family = np.asarray(steel.get("C")), _family(steel)
    safe, working = np.full(carbon.shape, np.nan), np.full(carbon.shape, np.nan)
    for name, low, high, limits in reversed(_limits()):  # where rows meet the first counts
        here = (family == _FAMILIES.index(name)) & (low <= carbon) & (carbon <= high)
        safe[here], working[here] = limits.safe_c, limits.working_c
    return safe, working


def is_idle(wet_hv: float, dry_hv: float) -> bool:
    """Whether the water changes the hardness next to nothing.

    Examples
    --------
    >>> is_idle(249.0, 247.0), is_idle(429.0, 247.0)
    (True, False)
    """
    return abs(wet_hv - dry_hv) < IDLE_WATER_HV
