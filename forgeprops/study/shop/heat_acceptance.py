"""Acceptance of a heat of steel before it is forged: accept, accept with adjusted settings, or hold, and why."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ...answer.cases import head_from, limits_from, route_from, shop_from
from ...answer.estimate import estimate
from ...answer.remedy import step_of
from ...answer.verdict import GOOD, ShortVerdict
from ...base.errors import InputError, check_choice, check_flag, check_list, check_number
from ...base.in_words import InWords
from ...certificates.reading import Certificate
from ...inputs.cases import Cases
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.settings import setting
from ...inputs.steel import Steel
from ...io.tables import data_frame
from ..process.scattering import even_numbers
from ..process.search import SETTINGS
from ..process.study import MOST, Stop, Study, checked_call

ACCEPT, ADJUST, HOLD = "accept", "accept with adjusted settings", "hold"
#: What may be adjusted for a heat unless named: low and high as in `choose`, the delay left alone.
TURNED = {name: SETTINGS[name] for name in ("preheat_c", "flux", "spray_s")}
#: Points examined on the line of each setting alone, and all settings together.
_ON_A_LINE, _TOGETHER = 25, 128
#: Candidates whose chances are drawn, of each order in which they are tried.
_TRIED = MOST // 3
#: Slack a candidate should have, in steps of `inputs.limits.QUANTITIES`: half a step, so that it does not lie
#: on the edge.
_SPARE = 0.5
_SHOWN = ("face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg")


@dataclass(frozen=True, repr=False)
class Judgement(InWords):
    """What comes of a heat of steel, and what to do with it; results by the names of `inputs.limits.QUANTITIES`."""

    heat: str
    verdict: str  # `ACCEPT`, `ADJUST` or `HOLD`
    reason: str
    limits: Limits
    results: Mapping[str, float] = field(default_factory=dict)  # at the settings as they are
    #: 80 % intervals of face, hosel and its bend there.
    intervals: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    settings: Mapping[str, float] = field(default_factory=dict)  # empty unless adjusted
    #: Chances at the settings that the verdict stands for; None if the certificate cannot be used.
    sure: ShortVerdict | None = None

    @property
    def sentence(self) -> str:
        """Verdict and reason."""
        return f"{self.heat}: {self.verdict}. {self.reason}"

    def words(self) -> str:
        """Verdict and reason in sentences, and the limits."""
        return f"{self.sentence} {self.limits.title}"


class Judgements(InWords, tuple):
    """Judgements of a list of heats, in the list's order."""

    def table(self):
        """One row a heat: verdict, predictions with 80 % intervals, chance, adjusted settings, reason."""
        rows = []
        for j in self:
            row = {"heat": j.heat, "verdict": j.verdict}
            for name in _SHOWN:
                row[name] = j.results.get(name, math.nan)
                ends = j.intervals.get(name, (math.nan, math.nan))
                row[f"{name}_low"], row[f"{name}_high"] = ends
            sure = (math.nan,) * 2
            if j.sure is not None:
                sure = j.sure.chance_right, j.sure.heads_inside
            row |= dict(zip(("chance", "heads_inside"), sure, strict=True))
            row["settings"] = ", ".join(f"{n}={v:.4g}" for n, v in j.settings.items())
            rows.append({**row, "reason": j.reason})
        return data_frame(rows)

    shown = table

    def words(self) -> str:
        titles = dict.fromkeys(j.limits.title for j in self)
        return "\n".join([*(j.sentence for j in self), *titles])


def judge_heat(
    steel, head="mid-iron", route=None, limits=None, shop=None, *, turned=None,
    chance: float = GOOD, strict_grade: bool = True, bench=None,
) -> Judgement:  # fmt: skip
    """Accept a heat of steel for a head, a route and limits.

    Parameters
    ----------
    steel : Steel, Certificate, grade name or composition; with the grade's range in `Steel.limits` for a
        check against it (certificates of a known grade have it).
    head, route, shop, bench : what it is for; mid-iron, default route and neutral shop when left out.
    limits : Limits, optional; such as ``Limits(face_hardness_hv=(380, 460), hosel_allowed_deg=(2, None))``;
        the default set of the route when left out.
    turned : mapping of name to (low, high); settings that may be adjusted and how far; `TURNED` when left
        out, an empty mapping for none.
    chance : least chance that the setting is right, and least share of heads inside if it is.
    strict_grade : hold a heat whose analysis is outside its grade's range, whatever it would give.

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
    limits, name = limits_from(limits, route := route_from(route), bench), ""
    if isinstance(steel, Certificate):
        name = steel.heat
        if steel.steel is None:
            why = "; ".join(f"{p.what} ({p.assumed})" for p in steel.problems)
            why = f"The certificate cannot be used: {why or 'no composition that can be used'}."
            return Judgement(name, HOLD, why, limits)
        steel = steel.steel
    study = Study(steel, head, route, limits, shop, bench=bench)
    table = study.assess(Cases.of(*([one] for one in study.case)))
    results, intervals, (sure,) = (
        _results(table, 0),
        _intervals(study),
        study.sureness([study.case]),
    )
    judged = Judgement(name or study.steel.name, HOLD, "", limits, results, intervals, sure=sure)
    said = _predicted(results, intervals, _grade_span(study))
    outside = "; ".join(_outside_grade(study.steel))
    beside = f"Outside the grade's range: {outside}." if outside else ""
    if outside and strict_grade:
        return replace(judged, reason=f"{beside} {said} Ask the mill, or have it analysed again.")
    missed = [words for words, room in limits.margins(table).items() if not room[0] >= 0.0]
    missed = [*filter(None, [table["veto"][0]]), *missed]
    if not missed and sure.least >= chance:
        return replace(judged, verdict=ACCEPT, reason=f"{said} {sure.words} {beside}".rstrip())
    if missed:
        said += f" It misses: {'; '.join(missed)}."
    else:
        unsure = ((QUANTITIES[n].label, c) for n, c in sure.by_quantity.items() if c < 1.0)
        unsure = "; ".join(f"{label} {100 * c:.0f} %" for label, c in unsure)
        said += f" Inside the limits, but not sure enough: {sure.words} "
        said += f"{100 * chance:.0f} % is required ({unsure})."
    ranges = study.ranges(turned, TURNED)
    for one in ranges:
        if setting(one).group != "route":
            raise InputError(f"{one} cannot be adjusted for a heat; give settings of the route.")
    if not ranges:
        return replace(judged, reason=f"{said} No setting may be adjusted.")
    settings, adjusted, sure = _adjusted(study, ranges, chance)
    labels = {n: setting(n) for n in ranges}
    moved = ", ".join(
        f"{labels[n].label} {v:.3g} {labels[n].unit} instead of {study.job.value(n):.3g}"
        for n, v in settings.items()
    )
    if sure is not None and sure.least >= chance:
        (sure,) = study.sureness([study.changed(settings)])
        new = _predicted(adjusted, _intervals(study, settings), {})
        reason = f"{said} With {moved}: {new} {sure.words}"
        return replace(judged, verdict=ADJUST, reason=reason, settings=settings, sure=sure)
    if settings:
        said += (
            f" With {moved} it is inside, but not sure enough: a chance of {100 * sure.least:.0f} % where "
            f"{100 * chance:.0f} % is required, and no settings tried do better."
        )
    else:
        spans = (
            f"{labels[n].label} {a:g} to {b:g} {labels[n].unit}" for n, (a, b) in ranges.items()
        )
        does = "bring it inside" if sure is None else "make it surer"  # than the present settings
        said += f" No settings within {'; '.join(map(str.rstrip, spans))} {does}."
    return replace(judged, reason=said)


def judge_heats(
    certificates, head="mid-iron", route=None, limits=None, shop=None, *, progress=None,
    cancel=None, **options,
) -> Judgements:  # fmt: skip
    """Acceptance of a whole list of certificates (or steels); one that cannot be used is held and says why.

    Parameters
    ----------
    certificates : Certificates, steels, grade names or compositions, such as `read_certificates` returns.
    progress : called as ``progress(done, total)``.
    cancel : callable or threading.Event, polled between heats; those finished by then are returned.
    head, route, limits, shop, **options : as for `judge_heat`.
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


def _results(table, i: int) -> dict[str, float]:
    return {name: float(table[name][i]) for name in QUANTITIES if name in table}


def _intervals(study: Study, settings=None) -> dict[str, tuple[float, float]]:
    result = estimate(*study.changed(settings or {}), bench=study.bench)
    return {name: tuple(map(float, result.interval(name))) for name in _SHOWN}


def _predicted(results, intervals, span) -> str:
    parts = []
    for name, words in (("face_hardness_hv", "Face"), ("hosel_allowed_deg", "hosel bend")):
        q = QUANTITIES[name]
        text = f"{words} {q.text(results[name])} (80 %: {q.text(*intervals[name])}"
        if name in span:
            text += f"; the grade's range gives {q.text(*span[name])}"
        parts.append(text + ")")
    return f"{'; '.join(parts)}."


def _outside_grade(steel: Steel) -> Iterator[str]:
    for element, (low, high) in (steel.limits or {}).items():
        content = steel.composition.get(element, math.nan)
        if low is not None and content < low:
            yield f"{element} {content:g} wt%, at least {low:g} is required"
        if high is not None and content > high:
            yield f"{element} {content:g} wt%, at most {high:g} is allowed"


def _grade_span(study: Study) -> dict[str, tuple[float, float]]:
    """What the lean and the rich end of the grade give with everything else the same."""
    steel, *rest = study.case
    ranged = {e: pair for e, pair in (steel.limits or {}).items() if None not in pair}
    if not ranged:
        return {}
    ends = [{**steel.composition, **{e: pair[k] for e, pair in ranged.items()}} for k in (0, 1)]
    ends = [replace(steel, composition=c, limits=None, source="", unsure={}) for c in ends]
    table = study.assess(Cases.of(ends, *([one] * 2 for one in rest)))
    return {name: tuple(sorted(table[name].tolist())) for name in _SHOWN}


def _adjusted(study: Study, ranges, chance: float):
    """Settings of the least change that are sure enough to meet the limits, else the surest, with results and
    chances; none and None where nothing meets them."""
    names, now = list(ranges), np.array([study.job.value(n) for n in ranges])
    low, high = np.array(list(ranges.values())).T
    points = [np.tile(now, (_ON_A_LINE, 1)) for _ in names]
    for k, rows in enumerate(points):
        rows[:, k] = np.linspace(low[k], high[k], _ON_A_LINE)
    values = np.vstack([*points, low + even_numbers(_TOGETHER, len(names), 0) * (high - low)])
    step = np.array([step_of(n) for n in names])
    round_to = (step > 0.0) & (values != now)
    values = np.where(round_to, np.round(values / np.where(step > 0.0, step, 1.0)) * step, values)
    values = np.unique(np.where(values == now, values, np.clip(values, low, high)), axis=0)
    table = study.table(dict(zip(names, values.T, strict=True)))
    change = np.abs((values - now) / (high - low)).sum(axis=1)
    tried: list[int] = []
    # the least changes that leave room, then any that do, then those with the most room: the surest
    for order, spare in ((change, _SPARE), (change, 0.0), (-table["slack"], 0.0)):
        free = (table["slack"] >= spare) & (table["veto"] == "")
        ranked = [i for i in np.argsort(order, kind="stable") if free[i] and i not in tried]
        tried += ranked[:_TRIED]
    if not tried:
        return {}, {}, None
    moved = [np.flatnonzero(np.abs(values[i] - now) > 1e-9) for i in tried]
    settings = [
        {names[k]: float(values[i, k]) for k in m} for i, m in zip(tried, moved, strict=True)
    ]
    sure = study.sureness([study.changed(s) for s in settings])
    least = [v.least for v in sure]
    k = next((k for k, share in enumerate(least) if share >= chance), int(np.argmax(least)))
    return settings[k], _results(table, tried[k]), sure[k]
