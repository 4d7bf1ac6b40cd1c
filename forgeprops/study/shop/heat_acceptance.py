"""Acceptance of a heat of steel before it is forged: accept, accept with adjusted settings, or hold, and why."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from ...answer.cases import head_from, limits_from, route_from, shop_from
from ...answer.estimate import estimate
from ...answer.remedy import step_of
from ...answer.result import Estimate
from ...answer.verdict import GOOD, ShortVerdict
from ...base.errors import InputError, check_choice, check_flag, check_list, check_number
from ...certificates.reading import Certificate
from ...inputs.cases import Cases
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.settings import setting
from ...inputs.steel import Steel
from ..process.scattering import even_numbers
from ..process.search import SETTINGS
from ..process.study import MOST, Stop, Study, checked_call
from .judgement import (
    ACCEPT,
    ADJUST,
    HOLD,
    Judgement,
    Judgements,
    missed_words,
    moved_words,
    predicted_words,
    ranges_words,
)

#: What may be adjusted for a heat unless named: low and high as in `choose`, the delay left alone.
TURNED = {name: SETTINGS[name] for name in ("preheat_c", "flux", "spray_s")}

#: Points examined on the line of each setting alone, and all settings together.
_ON_A_LINE, _TOGETHER = 25, 128
#: Candidates whose chances are drawn, of each order in which they are tried.
_TRIED = MOST // 3
#: Slack a candidate should have, in steps of `inputs.limits.QUANTITIES`: half a step, so that it does not lie
#: on the edge.
_SPARE = 0.5


def judge_heat(
    steel,
    head="mid-iron",
    route=None,
    limits: Limits | None = None,
    shop=None,
    *,
    turned: Mapping[str, tuple[float, float]] | None = None,
    chance: float = GOOD,
    strict_grade: bool = True,
    bench: Mapping | None = None,
) -> Judgement:
    """Accept a heat of steel for a head, a route and limits.

    Parameters
    ----------
    steel : Steel, Certificate, grade name or composition
        With the grade's range in `Steel.limits` for a check against it (certificates of a known
        grade have it).
    head, route, shop
        What it is for; the mid-iron, the default route and the neutral shop when left out.
    limits : Limits, optional
        Requirements, such as ``Limits(face_hardness_hv=(380, 460), hosel_allowed_deg=(2, None))``; the default
        set of the route when left out.
    turned : mapping of str to (low, high), optional
        Settings that may be adjusted and how far; `TURNED` when left out, an empty mapping for none.
    chance : float
        Least chance that the setting is right, and least share of heads inside if it is; that of a good verdict
        unless given.
    strict_grade : bool
        Hold a heat whose analysis is outside its grade's range, whatever it would give.
    bench : mapping, optional
        Bending bench and required change by the names of `hosel.bench.Bench`.

    Raises
    ------
    InputError
        Something that is not a steel, head, route or limits.

    Notes
    -----
    The chance is the verdict's, by 256 lots of 32 heads (standard error 0.02).  Adjusted settings are those
    of the least change, as a share of what may be turned, that meet all limits with half a step to spare:
    one setting alone where that is enough.

    References
    ----------
    .. [1] Accepted from 80 % on, as a verdict is good (our choice).

    Examples
    --------
    >>> soft = judge_heat("1020", limits=Limits(face_hardness_hv=(480, 560)))
    >>> soft.verdict, judge_heat("1030", limits=Limits(hosel_allowed_deg=(1.0, None))).verdict
    ('hold', 'accept')
    """
    check_flag(strict_grade, "strict_grade")
    check_number(chance, "least chance", 0.0, 0.999)
    limits = limits_from(limits, route := route_from(route), bench)
    name = ""
    if isinstance(steel, Certificate):
        if steel.steel is None:
            return _unusable(steel, limits)
        name, steel = steel.heat, steel.steel
    study = Study(steel, head, route, limits, shop, bench=bench)
    case = study.case
    table = study.assess(Cases.of(*([one] for one in case)))
    result = estimate(*case, bench=study.bench)
    results, intervals = _results(table, 0), _intervals(result)
    chances, sure = _sureness(study, case, results)
    veto, span = table["veto"][0], _grade_span(study)
    outside, name = _outside_grade(study.steel), name or study.steel.name
    numbers = (results, intervals, chances, span, outside)
    judged = Judgement(name, HOLD, "", limits, *numbers, estimate=result, sure=sure)
    said, beside = predicted_words(results, intervals, span), ""
    if outside:
        beside = f"Outside the grade's range: {'; '.join(outside)}."
        if strict_grade:
            reason = f"{beside} {said} Ask the mill, or have it analysed again."
            return replace(judged, reason=reason)
    if _good(limits, results, veto, sure, chance):
        return replace(judged, verdict=ACCEPT, reason=f"{said} {sure.words} {beside}".rstrip())
    said += f" {missed_words(limits, results, veto, (chances, sure), chance)}"
    ranges = _turnable(study, turned)
    found, surest = _adjust(study, ranges, chance)
    if found is None:
        return replace(judged, reason=f"{said} {ranges_words(study, ranges, surest, chance)}")
    settings, adjusted, new, (chances, sure) = found
    intervals = _intervals(new)
    then = predicted_words(adjusted, intervals, {})
    reason = f"{said} With {moved_words(settings, study)}: {then} {sure.words}"
    found = {"settings": settings, "adjusted": adjusted, "estimate": new}
    return replace(judged, verdict=ADJUST, reason=reason, chances=chances, sure=sure, **found)


def judge_heats(
    certificates: Iterable,
    head="mid-iron",
    route=None,
    limits: Limits | None = None,
    shop=None,
    *,
    progress=None,
    cancel=None,
    **options,
) -> Judgements:
    """Acceptance of a whole list of certificates (or steels); one that cannot be used is held and says why.

    Parameters
    ----------
    certificates : iterable of Certificate, Steel, grade name or composition
        Such as `read_certificates` returns.
    progress : callable, optional
        Called as ``progress(done, total)``.
    cancel : callable or threading.Event, optional
        Polled between heats; those finished by then are returned.
    options
        As for `judge_heat`.
    """
    if isinstance(certificates, (str, Steel, Certificate, Mapping)):
        certificates = [certificates]
    items, progress = check_list(certificates, "certificates"), checked_call(progress, "progress")
    for option in options:
        check_choice(option, "option of judge_heats", ("turned", "chance", "strict_grade", "bench"))
    head, route, shop = head_from(head), route_from(route), shop_from(shop)
    made, stop = [], Stop(cancel)
    for done, item in enumerate(items, 1):
        if stop():
            break
        made.append(judge_heat(item, head, route, limits, shop, **options))
        if progress is not None:
            progress(done, len(items))
    return Judgements(made)


def _unusable(certificate: Certificate, limits: Limits) -> Judgement:
    why = "; ".join(f"{p.what} ({p.assumed})" for p in certificate.problems)
    why = f"The certificate cannot be used: {why or 'no composition that can be used'}."
    return Judgement(certificate.heat, HOLD, why, limits)


# ---- what comes out


def _results(table, i: int) -> dict[str, float]:
    return {name: float(table[name][i]) for name in QUANTITIES if name in table}


def _intervals(result: Estimate) -> dict[str, tuple[float, float]]:
    hosel = result.hosel
    found = {"hosel_allowed_deg": (float(hosel.allowed_deg_low), float(hosel.allowed_deg_high))}
    for name, zone in result.zones.items():
        ends = float(zone.hardness_low_hv), float(zone.hardness_high_hv)
        found[f"{name}_hardness_hv"] = ends
    return found


def _inside(limits: Limits, results) -> bool:
    table = {name: [results.get(name, math.nan)] for name in limits.bounds}
    return bool(limits.meets(table)[0])


def _sureness(study: Study, case, results) -> tuple[dict[str, float], ShortVerdict]:
    """Chance of each limited quantity by the draw of the verdict, and that verdict; certain for what a line costs."""
    limits = study.limits
    (found,) = study.sureness([case])
    chances = {n: float(_inside(Limits(**{n: p}), results)) for n, p in limits.bounds.items()}
    return {**chances, **found.by_quantity}, found


def _good(limits: Limits, results, veto: str, sure: ShortVerdict, chance: float) -> bool:
    return not veto and _inside(limits, results) and sure.least >= chance


def _outside_grade(steel: Steel) -> tuple[str, ...]:
    found = []
    for element, (low, high) in (steel.limits or {}).items():
        content = steel.composition.get(element)
        if content is None:
            continue
        if low is not None and content < low:
            found.append(f"{element} {content:g} wt%, at least {low:g} is required")
        if high is not None and content > high:
            found.append(f"{element} {content:g} wt%, at most {high:g} is allowed")
    return tuple(found)


def _grade_span(study: Study) -> dict[str, tuple[float, float]]:
    """What the lean and the rich end of the grade give with everything else the same."""
    steel, head, route, shop = study.case
    ranged = {e: pair for e, pair in (steel.limits or {}).items() if None not in pair}
    if not ranged:
        return {}
    ends = [{**steel.composition, **{e: pair[k] for e, pair in ranged.items()}} for k in (0, 1)]
    ends = [replace(steel, composition=c, limits=None, source="", unsure={}) for c in ends]
    table = study.assess(Cases.of(ends, [head] * 2, [route] * 2, [shop] * 2))
    names = ("face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg", *study.limits.bounds)
    return {name: tuple(sorted(float(v) for v in table[name])) for name in names}


# ---- adjusted settings


def _adjust(study: Study, ranges, chance: float):
    """Settings of the least change that are sure enough to meet the limits, with results and estimate, or None;
    and the surest that are not sure enough, with their chance, or None."""
    if not ranges:
        return None, None
    names, now = list(ranges), np.array([study.value(n) for n in ranges])
    low, high = np.array(list(ranges.values())).T
    points = [np.tile(now, (_ON_A_LINE, 1)) for _ in names]
    for k, rows in enumerate(points):
        rows[:, k] = np.linspace(low[k], high[k], _ON_A_LINE)
    points.append(low + even_numbers(_TOGETHER, len(names), 0) * (high - low))
    step = np.array([step_of(n) for n in names])
    values = np.vstack(points)
    round_to = (step > 0.0) & (values != now)
    values = np.where(round_to, np.round(values / np.where(step > 0.0, step, 1.0)) * step, values)
    values = np.unique(np.where(values == now, values, np.clip(values, low, high)), axis=0)
    table = study.table({n: values[:, k] for k, n in enumerate(names)})
    change = np.abs((values - now) / (high - low)).sum(axis=1)
    tried = []
    # the least changes that leave room, then any that do, then those with the most room: the surest
    for order, spare in ((change, _SPARE), (change, 0.0), (-table["slack"], 0.0)):
        free = (table["slack"] >= spare) & (table["veto"] == "")
        ranked = [i for i in np.argsort(order, kind="stable") if free[i] and i not in tried]
        tried += ranked[:_TRIED]
    if not tried:
        return None, None
    moved = [np.flatnonzero(np.abs(values[i] - now) > 1e-9) for i in tried]
    settings = [
        {names[k]: float(values[i, k]) for k in m} for i, m in zip(tried, moved, strict=True)
    ]
    least = [v.least for v in study.sureness([study.changed(s) for s in settings])]
    k = next((k for k, share in enumerate(least) if share >= chance), int(np.argmax(least)))
    if least[k] < chance:
        return None, (least[k], settings[k])
    here, results = study.changed(settings[k]), _results(table, tried[k])
    found = estimate(*here, bench=study.bench), _sureness(study, here, results)
    return (settings[k], results, *found), None


def _turnable(study: Study, turned) -> dict[str, tuple[float, float]]:
    """Ranges of the settings that may be adjusted, as far as the route has them."""
    for name in turned or ():
        if setting(name).group != "route":
            raise InputError(f"{name} cannot be adjusted for a heat; give settings of the route.")
    return study.ranges(turned, TURNED)
