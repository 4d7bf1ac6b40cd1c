"""A heat of steel judged before it is forged: accept, accept with adjusted settings, or hold, and why."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from ...answer import interval as uncertainty
from ...answer.cases import head_from, route_from, shop_from
from ...answer.evaluation import estimate
from ...answer.result import Estimate
from ...base.errors import InputError, check_flag, check_number
from ...certificates.reading import Certificate
from ...inputs.cases import Cases
from ...inputs.head import ZONES
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.settings import setting
from ...inputs.steel import Steel
from ..process.scattering import even_numbers
from ..process.search import SETTINGS
from ..process.study import Study, checked_call, checked_limits

__all__ = [
    "ACCEPT",
    "ADJUST",
    "HOLD",
    "Judgement",
    "Judgements",
    "TURNED",
    "judge_heat",
    "judge_heats",
]


ACCEPT, ADJUST, HOLD = "accept", "accept with adjusted settings", "hold"

#: What may be adjusted for a heat unless named: low and high as in `choose`, the delay left alone.
TURNED: Mapping[str, tuple[float, float]] = {
    name: SETTINGS[name] for name in ("preheat_c", "flux", "spray_s")
}

#: Steps in which people set what is adjusted (our choice).
_ROUNDED = {
    "preheat_c": 5.0,
    "flux": 0.5,
    "spray_s": 0.5,
    "delay_s": 0.25,
    "transfer_s": 0.5,
    "soak_s": 30.0,
}
#: Points looked at on the line of each setting alone, and all settings together.
_ON_A_LINE, _TOGETHER = 25, 128
#: Candidates kept for a full estimate with its intervals, least change first.
_TRIED = 6
#: Slack a candidate should have, in steps of `user_limits.QUANTITIES`: half a step, so that it does not lie
#: on the edge.
_SPARE = 0.5


@dataclass(frozen=True)
class Judgement:
    """What comes of a heat of steel, and what to do with it.

    Attributes
    ----------
    heat, verdict, reason : str
        Verdict is "accept", "accept with adjusted settings" or "hold".
    limits : Limits
    results : dict of str to float
        At the settings as they are: by the names of `user_limits.QUANTITIES`.
    intervals : dict of str to (float, float)
        80 % interval of those that have one: hardness of the zones and the hosel's degrees.
    chances : dict of str to float
        Chance that each limited quantity is inside.
    grade_span : dict of str to (float, float)
        The same quantities at the lean and the rich end of the grade's range, lower number first; empty
        without one.
    outside_grade : tuple of str
        Elements outside the grade's range, in words.
    settings : dict of str to float
        Adjusted settings; empty unless adjusted.
    adjusted : dict of str to float
        Results at the adjusted settings; empty unless adjusted.
    estimate : Estimate or None
        At the settings that the verdict stands for; None if the certificate cannot be used.
    """

    heat: str
    verdict: str
    reason: str
    limits: Limits
    results: Mapping[str, float] = field(default_factory=dict)
    intervals: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    chances: Mapping[str, float] = field(default_factory=dict)
    grade_span: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    outside_grade: tuple[str, ...] = ()
    settings: Mapping[str, float] = field(default_factory=dict)
    adjusted: Mapping[str, float] = field(default_factory=dict)
    estimate: Estimate | None = None

    @property
    def chance(self) -> float:
        """Least of the chances (nan if nothing could be predicted, 1 without limits)."""
        return math.nan if not self.results else min(self.chances.values(), default=1.0)

    def words(self) -> str:
        """Verdict and reason in sentences."""
        return f"{self.heat}: {self.verdict}. {self.reason}"

    def __repr__(self) -> str:
        return self.words()

    def row(self) -> dict:
        """Row of the table of a list."""
        out = {"heat": self.heat, "verdict": self.verdict}
        for name in ("face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg"):
            low, high = self.intervals.get(name, (math.nan, math.nan))
            out |= {
                name: self.results.get(name, math.nan),
                f"{name}_low": low,
                f"{name}_high": high,
            }
        return {
            **out,
            "chance": self.chance,
            "settings": _settings_words(self.settings),
            "reason": self.reason,
        }

    def _repr_html_(self) -> str:
        return f"<p style='max-width:900px'>{html.escape(self.words())}</p>"


class Judgements(tuple):
    """Judgements of a list of heats, in the list's order."""

    def table(self):
        """One row a heat: verdict, predictions with 80 % intervals, chance, adjusted settings, reason
        (DataFrame)."""
        import pandas as pd

        return pd.DataFrame([j.row() for j in self])

    def __repr__(self) -> str:
        return "\n".join(j.words() for j in self)

    def _repr_html_(self) -> str:
        shown = self.table().rename(columns=lambda name: name.replace("_", " "))
        return shown.to_html(index=False, border=0, float_format=lambda v: f"{v:.3g}", na_rep="")


def judge_heat(
    steel,
    head="mid-iron",
    route=None,
    limits: Limits | None = None,
    shop=None,
    *,
    turned: Mapping[str, tuple[float, float]] | None = None,
    chance: float = 0.5,
    strict_grade: bool = True,
) -> Judgement:
    """Judge a heat of steel for a head, a route and limits.

    Parameters
    ----------
    steel : Steel, Certificate, grade name or composition
        With the grade's range in `Steel.limits` if it is to be held against it (certificates of a known
        grade have it).
    head, route, shop
        What it is for; the mid-iron, the default route and the neutral shop when left out.
    limits : Limits
        What is asked, such as ``Limits(face_hardness_hv=(380, 460), hosel_allowed_deg=(2, None))``.
    turned : mapping of str to (low, high), optional
        Settings that may be adjusted and how far; `TURNED` when left out, an empty mapping for none.
    chance : float
        Least chance, for every limited quantity, of being inside: 0.5 is "more likely than not".
    strict_grade : bool
        Hold a heat whose analysis is outside its grade's range, whatever it would give.

    Returns
    -------
    Judgement

    Raises
    ------
    InputError
        Something that is not a steel, head, route or limits.

    Notes
    -----
    The halves of an 80 % interval are taken as halves of normal distributions.  Adjusted settings are those
    of the least change, as a share of what may be turned, that meet all limits with half a step to spare:
    one setting alone where that is enough.

    References
    ----------
    .. [1] Accepted if more likely than not inside every limit (our choice).

    Examples
    --------
    >>> soft = judge_heat("1020", limits=Limits(face_hardness_hv=(480, 560)))
    >>> soft.verdict, judge_heat("1030", limits=Limits(hosel_allowed_deg=(1.0, None))).verdict
    ('hold', 'accept')
    """
    check_flag(strict_grade, "strict_grade")
    check_number(chance, "least chance", 0.0, 0.999)
    name = ""
    if isinstance(steel, Certificate):
        if steel.steel is None:
            return _unusable(steel, checked_limits(limits))
        name, steel = steel.heat, steel.steel
    study = Study(steel, head, route, limits, shop)
    limits, case = study.limits, study.case
    table = study.assess(Cases.of(*([one] for one in case)))
    told = estimate(*case)
    results = _results(table, 0)
    intervals = _intervals(told)
    chances = _chances(limits, results, intervals)
    outside = _outside_grade(study.steel)
    span = _grade_span(study)
    judged = dict(
        heat=name or study.steel.name,
        limits=limits,
        results=results,
        intervals=intervals,
        chances=chances,
        grade_span=span,
        outside_grade=outside,
    )
    said = _predicted_words(results, intervals, span)
    if outside and strict_grade:
        return Judgement(
            verdict=HOLD,
            estimate=told,
            **judged,
            reason="Outside the grade's range: "
            f"{'; '.join(outside)}. {said} Ask the mill, or have it analysed again.",
        )
    if _good(results, chances, limits, chance):
        sure = (
            f" The least sure limit is met with a chance of {100 * min(chances.values()):.0f} %."
            if chances
            else ""
        )
        beside = f" Outside the grade's range: {'; '.join(outside)}." if outside else ""
        return Judgement(verdict=ACCEPT, estimate=told, **judged, reason=f"{said}{sure}{beside}")
    missed = _missed_words(limits, results, chances, chance)
    ranges = _turnable(study, turned)
    found, surest = _adjust(study, ranges, chance)
    if found is None:
        said = f"{said} {missed} {_ranges_words(study, ranges, surest, chance)}"
        return Judgement(verdict=HOLD, estimate=told, **judged, reason=said)
    settings, adjusted, new = found
    moved = _moved_words(settings, study)
    judged["chances"] = _chances(limits, adjusted, _intervals(new))
    then = _predicted_words(adjusted, _intervals(new), {})
    return Judgement(
        verdict=ADJUST,
        estimate=new,
        settings=settings,
        adjusted=adjusted,
        **judged,
        reason=f"{said} {missed} With {moved}: {then}",
    )


def judge_heats(
    certificates: Iterable,
    head="mid-iron",
    route=None,
    limits: Limits | None = None,
    shop=None,
    *,
    progress=None,
    **options,
) -> Judgements:
    """Judge a whole list of certificates (or steels); one that cannot be used is held and says why.

    Parameters
    ----------
    certificates : iterable of Certificate, Steel, grade name or composition
        Such as `read_certificates` returns.
    progress : callable, optional
        Called as ``progress(done, total)``.
    options
        As for `judge_heat`.
    """
    if isinstance(certificates, (str, Steel, Certificate, Mapping)):
        certificates = [certificates]
    items, progress = list(certificates), checked_call(progress, "progress")
    head, route, shop = head_from(head), route_from(route), shop_from(shop)
    made = []
    for done, item in enumerate(items, 1):
        made.append(judge_heat(item, head, route, limits, shop, **options))
        if progress is not None:
            progress(done, len(items))
    return Judgements(made)


def _unusable(certificate: Certificate, limits: Limits) -> Judgement:
    why = (
        "; ".join(f"{p.what} ({p.assumed})" for p in certificate.problems)
        or "no composition that can be used"
    )
    return Judgement(certificate.heat, HOLD, f"The certificate cannot be used: {why}.", limits)


# ---- what comes out


def _results(table, i: int) -> dict[str, float]:
    return {name: float(table[name][i]) for name in QUANTITIES if name in table}


def _intervals(told: Estimate) -> dict[str, tuple[float, float]]:
    found = {
        f"{z}_hardness_hv": (
            float(told.zones[z].hardness_low_hv),
            float(told.zones[z].hardness_high_hv),
        )
        for z in ZONES
    }
    found["hosel_allowed_deg"] = (
        float(told.hosel.allowed_deg_low),
        float(told.hosel.allowed_deg_high),
    )
    return found


def _below(value: float, centre: float, low: float, high: float) -> float:
    """Chance that the quantity comes out below `value`."""
    half = centre - low if value < centre else high - centre
    spread = max(half / uncertainty.Z, 1e-9)
    return 0.5 * math.erfc((centre - value) / (spread * math.sqrt(2.0)))


def _chances(limits: Limits, results, intervals) -> dict[str, float]:
    """Chance of every limited quantity to be inside; certain either way for one without an interval."""
    found = {}
    for name, (low, high) in limits.bounds.items():
        centre = results.get(name, math.nan)
        ends = intervals.get(name, (centre, centre))
        if math.isnan(centre):
            found[name] = 0.0
            continue
        up = 1.0 if high is None else _below(high, centre, *ends)
        down = 0.0 if low is None else _below(low, centre, *ends)
        found[name] = min(max(up - down, 0.0), 1.0)
    return found


def _good(results, chances, limits: Limits, chance: float) -> bool:
    inside = (
        bool(limits.meets({name: [value] for name, value in results.items()})[0])
        if limits.bounds
        else True
    )
    return inside and all(c >= chance for c in chances.values())


def _outside_grade(steel: Steel) -> tuple[str, ...]:
    found = []
    for element, (low, high) in (steel.limits or {}).items():
        content = steel.composition.get(element)
        if content is None:
            continue
        if low is not None and content < low:
            found.append(f"{element} {content:g} wt%, at least {low:g} is asked")
        if high is not None and content > high:
            found.append(f"{element} {content:g} wt%, at most {high:g} is allowed")
    return tuple(found)


def _grade_span(study: Study) -> dict[str, tuple[float, float]]:
    """What the lean and the rich end of the grade give with everything else the same."""
    steel, head, route, shop = study.case
    ranged = {
        e: pair
        for e, pair in (steel.limits or {}).items()
        if pair[0] is not None and pair[1] is not None
    }
    if not ranged:
        return {}
    ends = [
        Steel(
            steel.name,
            {**steel.composition, **{e: pair[k] for e, pair in ranged.items()}},
            steel.grain_size_astm,
            None,
            steel.fine_grain,
        )
        for k in (0, 1)
    ]
    table = study.assess(Cases.of(ends, [head] * 2, [route] * 2, [shop] * 2))
    names = dict.fromkeys(
        ["face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg", *study.limits.bounds]
    )
    return {name: tuple(sorted(float(v) for v in table[name])) for name in names}


# ---- adjusted settings


def _adjust(study: Study, ranges, chance: float):
    """Settings of the least change that are sure enough to meet the limits, with results and estimate, or None;
    and the surest that are not sure enough, with their chance, or None."""
    if not ranges:
        return None, None
    limits, case = study.limits, study.case
    names, now = list(ranges), np.array([study.value(n) for n in ranges])
    low, high = np.array(list(ranges.values())).T
    points = [np.tile(now, (_ON_A_LINE, 1)) for _ in names]
    for k, rows in enumerate(points):
        rows[:, k] = np.linspace(low[k], high[k], _ON_A_LINE)
    points.append(low + even_numbers(_TOGETHER, len(names), 0) * (high - low))
    step = np.array([_ROUNDED.get(n, 0.0) for n in names])
    values = np.vstack(points)
    round_to = (step > 0.0) & (values != now)
    values = np.where(round_to, np.round(values / np.where(step > 0.0, step, 1.0)) * step, values)
    values = np.unique(np.where(values == now, values, np.clip(values, low, high)), axis=0)
    table = study.table({n: values[:, k] for k, n in enumerate(names)})
    change = np.abs((values - now) / (high - low)).sum(axis=1)
    tried = []
    # the least changes that leave room, then any that do, then those with the most room: the surest
    for order, spare in ((change, _SPARE), (change, 0.0), (-table["slack"], 0.0)):
        tried += [
            i
            for i in np.argsort(order, kind="stable")
            if table["slack"][i] >= spare and i not in tried
        ][:_TRIED]
    surest = None
    for i in tried:
        settings = {
            n: float(v)
            for n, v, old in zip(names, values[i], now, strict=True)
            if abs(v - old) > 1e-9
        }
        told = estimate(case[0], case[1], case[2].with_(**settings), case[3])
        results = _results(table, i)
        chances = _chances(limits, results, _intervals(told))
        if _good(results, chances, limits, chance):
            return (settings, results, told), None
        if surest is None or min(chances.values()) > surest[0]:
            surest = min(chances.values()), settings
    return None, surest


def _turnable(study: Study, turned) -> dict[str, tuple[float, float]]:
    """Ranges of the settings that may be adjusted, as far as the route has them."""
    for name in turned or ():
        if setting(name).group != "route":
            raise InputError(
                f"{name} cannot be adjusted for a heat; allowed are settings of the route."
            )
    return study.ranges(turned, TURNED)


# ---- words


def _number(name: str, *values: float) -> str:
    """One value, or several as a range, with the unit once."""
    q = QUANTITIES[name]
    digits = 0 if q.step >= 5.0 else 1 if q.step >= 0.2 else 2
    unit = "°" if q.unit == "°" else f" {q.unit}" if q.unit else ""
    return f"{' to '.join(f'{v:.{digits}f}' for v in values)}{unit}"


def _predicted_words(results, intervals, span) -> str:
    parts = []
    for name, words in (("face_hardness_hv", "Face"), ("hosel_allowed_deg", "hosel bend")):
        text = f"{words} {_number(name, results[name])} (80 %: {_number(name, *intervals[name])}"
        if name in span:
            text += f"; the grade's range gives {_number(name, *span[name])}"
        parts.append(text + ")")
    return f"{'; '.join(parts)}."


def _missed_words(limits: Limits, results, chances, chance: float) -> str:
    parts = []
    for words, name, value, sign in limits.ends():
        if not sign * (results.get(name, math.nan) - value) >= 0.0:
            parts.append(words)
    if parts:
        return f"It misses: {'; '.join(parts)}."
    unsure = [f"{QUANTITIES[n].label} {100 * c:.0f} %" for n, c in chances.items() if c < chance]
    return f"Inside the limits, but not sure enough ({'; '.join(unsure)}; {100 * chance:.0f} % is asked)."


def _moved_words(settings, study: Study) -> str:
    return ", ".join(
        f"{setting(n).label} {v:.3g} {setting(n).unit} instead of {study.value(n):.3g}"
        for n, v in settings.items()
    )


def _settings_words(settings) -> str:
    return ", ".join(f"{n}={v:.4g}" for n, v in settings.items())


def _ranges_words(study: Study, ranges, surest, chance: float) -> str:
    if not ranges:
        return "No setting may be adjusted."
    if surest is not None and surest[1]:
        return (
            f"With {_moved_words(surest[1], study)} it is inside, but not sure enough: a chance of "
            f"{100 * surest[0]:.0f} % where {100 * chance:.0f} % is asked, and no settings tried do better."
        )
    parts = (
        f"{setting(n).label} {low:g} to {high:g} {setting(n).unit}".rstrip()
        for n, (low, high) in ranges.items()
    )
    does = (
        "bring it inside" if surest is None else "make it surer"
    )  # the surest are the present ones
    return f"No settings within {'; '.join(parts)} {does}."
