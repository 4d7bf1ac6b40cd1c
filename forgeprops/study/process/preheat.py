"""What a preheat temperature does: the metal in the die, the preheat of equal effort, and everything it moves."""

import functools
import math

import numpy as np

from ...answer.cases import checked_case
from ...answer.evaluation import evaluate
from ...answer.warnings.listing import FURNACE_CODES
from ...base.errors import InputError, check_list, check_number
from ...engine.run import check_march_options
from ...forging import effort
from ...forging.press import least_press
from ...inputs.cases import spread
from ...inputs.head import Head
from ...inputs.route import BURNING_C, Route
from ...inputs.shop import Shop
from ...inputs.steel import Steel
from ...io.tables import data_frame

#: Furnace settings marched for the map to metal temperature in the die, °C.
_MARCHED_C = np.arange(640.0, BURNING_C + 1.0, 35.0)
#: Lowest and highest setting of steel A, °C: the range of the flow-stress laws with the drop on the way.
_LOWEST_C, _HIGHEST_C = 700.0, 1300.0
#: Furnace settings studied when none are given, °C.
_SETTINGS_C = np.arange(700.0, 1251.0, 10.0)


@functools.lru_cache(maxsize=256)
def _die_map(steel: Steel, head: Head, route: Route, shop: Shop) -> np.ndarray:
    """Mean metal temperature in the die by projected area, °C, at every one of `_MARCHED_C`."""
    cases = spread(steel, head, route, shop, {"preheat_c": _MARCHED_C})
    return np.maximum.accumulate(evaluate(cases).press["die_c"])


def metal_in_die_c(steel, preheat_c, head=None, route=None, shop=None):
    """Mean metal temperature in the die, by projected area, at preheat temperatures of 640-1340 °C, °C.

    From marches 35 °C apart, straight between them.
    """
    answer = np.interp(preheat_c, _MARCHED_C, _die_map(*checked_case(steel, head, route, shop)))
    return float(answer) if np.ndim(preheat_c) == 0 else answer


def preheat_for_c(steel, forging_c, head=None, route=None, shop=None):
    """Preheat temperature for a mean metal temperature in the die, °C: the inverse of `metal_in_die_c`.

    A forging temperature that no preheat of 640 to 1340 °C gives is an InputError.
    """
    die = _die_map(*checked_case(steel, head, route, shop))
    low, high = math.ceil(die[0]), math.floor(die[-1])
    for wanted in np.ravel(np.asarray(forging_c, object)):
        check_number(wanted, "forging temperature", low, high, "°C")
    return np.interp(forging_c, die, _MARCHED_C)


def equal_effort_setting(
    steel_a: Steel, preheat_a_c: float, steel_b: Steel, head=None, route=None, shop=None
) -> effort.EqualEffort:
    """Furnace setting at which B forges as easily as A, with the band of the laws.

    Equal means equal flow stress of the metal in the die.  What the head loses on its way is marched for both
    steels, so the answer is what to set on the furnace.  The band is that of `forging.effort.equal_effort`, which
    takes a known loss on the way: every alloy factor with every law.  A setting above the burning limit of the
    route is held there.

    Parameters
    ----------
    steel_a, steel_b : Steel
    preheat_a_c : preheat temperature of A, °C, 700-1300.
    head, route, shop : mid-iron, `Route()` and a neutral shop when left out; the press strain is the route's.

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
    preheat_a_c = check_number(preheat_a_c, label, _LOWEST_C, _HIGHEST_C, "°C")
    steel_a, *rest = checked_case(steel_a, head, route, shop)
    steel_b, press = checked_case(steel_b, *rest)[0], rest[1]
    die_a_c = max(metal_in_die_c(steel_a, preheat_a_c, *rest), _LOWEST_C)
    used = {k: float(x) for k, x in least_press(press.strain, press.dwell_s).items()}
    found = effort.equal_effort(steel_a, die_a_c, steel_b, **used)
    settings = np.interp(found[:3], _die_map(steel_b, *rest), _MARCHED_C).tolist()
    return effort.EqualEffort(*settings, found.stress_mpa)


def equal_effort_preheat(
    steel_a: Steel,
    preheat_a_c: float,
    steel_b: Steel,
    head=None,
    route=None,
    shop=None,
    *,
    die_drop_c=None,
) -> float:
    """Preheat temperature, °C, at which steel B forges as easily as steel A; see `equal_effort_setting`.

    `die_drop_c` is the loss on the way into the die where it is known (°C, or a function of the preheat; also in the
    place of `head`): nothing is marched then.

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


def forging_temperature_study(
    steel: Steel, head=None, route=None, temperatures=None, shop=None, **options
):
    """One steel, head and route at many preheat temperatures, and everything that moves.

    Parameters
    ----------
    steel : Steel
    head, route, shop : mid-iron, `Route()` and neutral shop when left out; `effort` is counted from the
        preheat temperature of the route.
    temperatures : preheat temperatures, °C, rising, 20 to 1340; 700 to 1250 by 10 when left out.
    **options : passed to the march (see `estimate`).

    Returns
    -------
    DataFrame
        A row a temperature, ``preheat_c``.  Of the face: ``peak_c, die_c, water_c`` (metal leaving the furnace, in
        the die, when the water starts; NaN without water), ``scale_um, metal_loss_um, decarburised_um, skin_hv``
        (see `forging.skin.Surface`); ``heat_through_s`` (when the slowest zone is within 10 °C of the furnace;
        infinite if the soak ends before); of face and hosel: ``_austenite`` (share when cooling starts),
        ``_grain_astm`` (large is fine), ``_hv, _low_hv, _high_hv`` (with its 80 % interval); ``flow_stress_mpa`` (in
        the die, mean by projected area), ``press_force_kn``, ``effort`` (flow stress over that at the route's own
        setting); ``allowed_deg, allowed_low_deg, allowed_high_deg`` of the hosel; ``warnings``: codes of those
        from the furnace, joined by "; ".

    Raises
    ------
    InputError
        Temperatures that do not rise or are out of range.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> study = forging_temperature_study(grade("4130"), temperatures=[780.0, 930.0, 1100.0])
    >>> bool(np.all(np.diff(study.flow_stress_mpa) < 0.0)), bool(np.all(np.diff(study.scale_um) > 0.0))
    (True, True)
    """
    steel, head, route, shop = checked_case(steel, head, route, shop)
    check_march_options(options)
    given = check_list(_SETTINGS_C if temperatures is None else temperatures, "temperatures")
    given = [check_number(t, "forging temperature", 20.0, BURNING_C, "°C") for t in given]
    if not given or np.any(np.diff(given) <= 0.0):
        form = "one or more preheat temperatures, each above the one before"
        raise InputError(f"temperatures do not rise; give {form}.")
    # the last case is the route as it stands, which effort is counted from
    all_c = np.array([*given, route.preheat_c])
    cases = spread(steel, head, route, shop, {"preheat_c": all_c})
    e = evaluate(cases, ("interval", "trace"), **options)
    r, (low, high), every = e.results, e.interval_hv, range(len(all_c))
    found = {"preheat_c": all_c, "peak_c": r.peak_c[:, 0], "die_c": r.die_c[:, 0]}
    found["water_c"] = r.water_on_c[:, 0]
    through = (e.heat_through_s(i) for i in every)
    found["heat_through_s"] = [np.inf if t is None else t for t in through]
    for name, zone in (("face", 0), ("hosel", 4)):
        columns = {"austenite": r.share, "grain_astm": r.grain_astm, "hv": r.hardness_hv}
        columns |= {"low_hv": low, "high_hv": high}
        found |= {f"{name}_{what}": column[:, zone] for what, column in columns.items()}
    found |= {"scale_um": r.scale_um[:, 0], "metal_loss_um": e.metal_loss_um[:, 0]}
    found |= {
        "decarburised_um": e.decarburised_um,
        "skin_hv": [e.surface(i).skin_hv for i in every],
    }
    found |= {name: e.press[name] for name in ("flow_stress_mpa", "press_force_kn")}
    found["effort"] = e.press["flow_stress_mpa"] / e.press["flow_stress_mpa"][-1]
    bends = [e.bend_of(head, i) for i in every]
    for end in ("", "_low", "_high"):
        found[f"allowed{end}_deg"] = [getattr(b, f"allowed_deg{end}") for b in bends]
    codes = (text.split("; ") for text in e.codes)
    found["warnings"] = ["; ".join(c for c in some if c in FURNACE_CODES) for some in codes]
    return data_frame(found).iloc[:-1]
