"""Preheat temperature at which steel B forges as easily as steel A, by the metal temperature in the die."""

import functools
import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ...answer.cases import checked_case
from ...answer.evaluation import evaluate
from ...base.errors import check_flag, check_number
from ...forging import effort
from ...forging.press import least_press
from ...inputs.cases import spread
from ...inputs.head import Head
from ...inputs.route import BURNING_C, Route
from ...inputs.shop import Shop
from ...inputs.steel import Steel

#: Furnace settings marched for the map to metal temperature in the die, °C.
_SETTINGS_C = np.arange(640.0, BURNING_C + 1.0, 35.0)
#: Lowest and highest setting of steel A, °C: the range of the flow-stress laws with the drop on the way.
_LOWEST_C, _HIGHEST_C = 700.0, 1300.0


class EqualEffortPreheat(NamedTuple):
    """Furnace setting at which B presses as easily as A, °C, with its band; metal temperatures in the die."""

    preheat_c: float
    low_c: float
    high_c: float
    die_a_c: float
    die_b_c: float
    stress_mpa: float


@functools.lru_cache(maxsize=256)
def _die_map(steel: Steel, head: Head, route: Route, shop: Shop) -> np.ndarray:
    """Mean metal temperature in the die by projected area, °C, at every one of `_SETTINGS_C`."""
    cases = spread(steel, head, route, shop, {"preheat_c": _SETTINGS_C})
    return np.maximum.accumulate(evaluate(cases).press["die_c"])


def metal_in_die_c(steel, preheat_c, head=None, route=None, shop=None):
    """Mean metal temperature in the die, by projected area, at preheat temperatures of 640-1340 °C, °C.

    From marches 35 °C apart, straight between them.

    >>> from forgeprops.inputs.grades import grade
    >>> 860 < metal_in_die_c(grade("1030"), 900.0) < 890
    True
    """
    answer = np.interp(preheat_c, _SETTINGS_C, _die_map(*checked_case(steel, head, route, shop)))
    return float(answer) if np.ndim(preheat_c) == 0 else answer


def preheat_for_c(steel, forging_c, head=None, route=None, shop=None):
    """Preheat temperature for a mean metal temperature in the die, °C: the inverse of `metal_in_die_c`.

    A forging temperature that no preheat of 640 to 1340 °C gives is an InputError.

    >>> from forgeprops.inputs.grades import grade
    >>> steel = grade("4130")
    >>> round(float(preheat_for_c(steel, metal_in_die_c(steel, 900.0))), 6)
    900.0
    """
    die = _die_map(*checked_case(steel, head, route, shop))
    low, high = math.ceil(die[0]), math.floor(die[-1])
    for end in (np.min(forging_c), np.max(forging_c)):
        check_number(float(end), "forging temperature", low, high, "°C")
    return np.interp(forging_c, die, _SETTINGS_C)


def equal_effort_setting(
    steel_a: Steel, preheat_a_c: float, steel_b: Steel, head=None, route=None, shop=None, *,
    in_die: bool = False,
) -> EqualEffortPreheat:  # fmt: skip
    """Furnace setting at which B forges as easily as A, with the band of the laws.

    Equal means equal flow stress of the metal in the die.  What the head loses on its way is marched for both
    steels, so the answer is what to set on the furnace.  The band is that of `forging.effort.equal_effort`: every
    alloy factor with every law.  A setting above the burning limit of the route is held there.

    Parameters
    ----------
    steel_a, steel_b : Steel
    preheat_a_c : preheat temperature of A, °C, 700-1300.
    head, route, shop : mid-iron, `Route()` and a neutral shop when left out; the press strain is the route's.
    in_die : take `preheat_a_c` as metal temperature in the die.

    References
    ----------
    .. [1] Equal flow stress of the metal in the die (derived).

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> answer = equal_effort_setting(grade("1030"), 900.0, grade("4130"))
    >>> answer.low_c <= answer.preheat_c <= answer.high_c and answer.preheat_c > 910
    True
    """
    label = "preheat of the first steel"
    die_a = check_number(preheat_a_c, label, _LOWEST_C, _HIGHEST_C, "°C")
    steel_a, *rest = checked_case(steel_a, head, route, shop)
    steel_b, press = checked_case(steel_b, *rest)[0], rest[1].press
    if not check_flag(in_die, "in_die"):
        die_a = metal_in_die_c(steel_a, die_a, *rest)
    used = {k: float(x) for k, x in least_press(press.strain, press.dwell_s).items()}
    found = effort.equal_effort(steel_a, max(die_a, _LOWEST_C), steel_b, **used)
    metal_c = found.preheat_c, found.low_c, found.high_c
    settings = np.interp(metal_c, _die_map(steel_b, *rest), _SETTINGS_C).tolist()
    return EqualEffortPreheat(*settings, die_a, found.preheat_c, found.stress_mpa)


def equal_effort_preheat(
    steel_a: Steel, preheat_a_c: float, steel_b: Steel, head=None, route=None, shop=None, *,
    die_drop_c: float | Callable | None = None,
) -> float:  # fmt: skip
    """Preheat temperature, °C, at which steel B forges as easily as steel A; see `equal_effort_setting`.

    `die_drop_c` is the loss on the way into the die where it is known (°C, or a function of the preheat; also in
    the place of `head`): nothing is marched then.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> round(equal_effort_preheat(grade("1030"), 900, grade("1030")), 3)
    900.0
    """
    if callable(head) or (isinstance(head, (int, float)) and not isinstance(head, bool)):
        die_drop_c, head = head, None
    if die_drop_c is not None:
        return effort.equal_effort(steel_a, preheat_a_c, steel_b, die_drop_c).preheat_c
    return equal_effort_setting(steel_a, preheat_a_c, steel_b, head, route, shop).preheat_c
