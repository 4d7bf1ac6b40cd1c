"""Grades against forging temperatures: for one head, or for a set of heads that share a furnace."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from ...answer.cases import head_from, limits_from, route_from
from ...base.errors import InputError, check_list
from ...base.in_words import InWords
from ...inputs.cases import Cases
from ...inputs.grades import steel_of
from ...inputs.head import Head
from ...inputs.limits import Limits
from ...inputs.route import Route
from ...inputs.settings import setting
from ...inputs.steel import Steel
from ...io.tables import data_frame
from .preheat import preheat_for_c
from .study import ALL_WARNINGS, MOST, Study, reference_stress_mpa

#: Forging temperatures compared when none are named, °C.
_LOW_C, _HIGH_C = setting("preheat_c").search
PREHEATS_C = tuple(float(t) for t in np.arange(_LOW_C, _HIGH_C + 1.0, 25.0))
#: Columns in the order they are shown.
_SHOWN = (
    *(f"{zone}_hardness{end}_hv" for zone in ("face", "hosel") for end in ("", "_low", "_high")),
    *("hosel_allowed_deg", "hosel_governed_by", "face_margin"),
    *("press_effort", "press_force_kn", "flow_stress_mpa", "forging_c", "forging_low_c"),
    *("quench_start_c", "crack_index", "scale_um"),
    *("press_s", "heads_per_hour", "held_up_by", "water_l"),
)
#: Chances that differ by less than about two standard errors of the draw rank alike.
_SURE_STEP = 0.05
#: Steps of slack that a veto costs: more than any limit is missed by in practice (our choice).
_VETO_STEPS = 100.0


@dataclass(frozen=True, repr=False)
class Comparison(InWords):
    """What `compare` found."""

    #: One row a grade and temperature (and head): ``grade``, ``head``, ``preheat_c``, results, costs; ``meets``,
    #: ``slack`` (steps of `inputs.limits.QUANTITIES`), ``binding`` (the limit that comes first), ``chance_right``,
    #: ``heads_inside`` and ``with_doubt`` (see `Verdict`; of the 48 with the most slack that meet the limits, 256
    #: lots of 32 heads drawn: standard error 0.02), ``rank`` (1 is best: those that meet the limits first, by the
    #: lesser chance in steps of 5 %, then by slack; what a veto forbids, `limits.VETOES` or a warning that says
    #: stop, meets none and comes last); ``warnings``.
    table: object
    #: Of a whole set: one row a preheat temperature: ``meets`` if every head does, ``slack`` and ``binding`` of the
    #: worst head, ``worst_head``, ``rank``; totals of press time and water.
    sets: object
    limits: Limits

    def shown(self):
        return (self.table if self.sets is None else self.sets).sort_values("rank")

    @property
    def best(self):
        """Row of rank 1 (of the set: of its best preheat temperature)."""
        return self.shown().iloc[0]

    def words(self) -> str:
        best, meets, one = self.best, self.shown()["meets"], self.sets is None
        who = f"{best['grade'] if one else 'The set'} from {best['preheat_c']:.0f} °C"
        which = f"{best['binding']}{'' if one else f' ({best.worst_head})'}"
        if best["meets"]:
            sure = "with the most slack"
            if one and np.isfinite(best["chance_right"]):
                right, inside = 100 * best["chance_right"], best["heads_inside"]
                sure = f"most surely, {right:.0f} % that it is right and then {inside:.0f} of 100 heads inside"
            text = (
                f"{who} meets all limits {sure}; slack {best['slack']:.1f} steps, first comes: "
                f"{best['binding']}. {meets.sum()} of {len(meets)} do."
            )
        elif best["slack"] <= -_VETO_STEPS:
            text = f"Nothing compared is free of a veto: {who} fails by {which}."
        else:
            miss = f"it misses {which} by {-best['slack']:.1f} steps"
            text = f"Nothing compared meets all limits. {who} comes nearest; {miss}."
        return f"{text} {self.limits.title}"


def _sequence(given, what: str) -> list:
    if isinstance(given, (str, Steel, Head, Route, Mapping)) or not isinstance(given, Iterable):
        given = [given]
    given = check_list(given, what)
    if not given:
        raise InputError(f"{what} is empty; give one or more.")
    return list(given)


def compare(
    grades, preheats_c=PREHEATS_C, head=None, route=None, limits=None, *, forgings_c=None,
    shop=None, line=None, bench=None,
) -> Comparison:  # fmt: skip
    """Compare grades at preheat or forging temperatures, and rank them by the user's own limits.

    Parameters
    ----------
    grades : grade names or steels; of a whole set one for each head, in the heads' order.
    preheats_c : preheat temperatures (furnace), °C.
    forgings_c : in their place forging temperatures, °C: the mean of the metal when the press closes,
        the same for every grade (not of a whole set, which shares its furnace).
    head : one for all grades; a sequence is a whole set whose heads have their own grades and share
        every preheat temperature.
    route : of a whole set one for all, or one for each head.
    limits : Limits, optional; left out the default set of the route, without a hardness of the face
        where a route of a set does not harden it.
    shop, line, bench : see `study.Study`.

    Raises
    ------
    InputError
        Nothing to compare, or a set whose grades and heads differ in number.

    Examples
    --------
    >>> found = compare(["1030", "4130"], [900, 950], limits=Limits(hosel_allowed_deg=(1.5, None)))
    >>> found.table[["grade", "preheat_c"]].values.tolist()
    [['1030', 900.0], ['1030', 950.0], ['4130', 900.0], ['4130', 950.0]]
    >>> found.best["grade"]
    '1030'
    """
    steels = [steel_of(g) for g in _sequence(grades, "grades")]
    furnace = setting("preheat_c")
    preheats = [furnace.check(t, "compare") for t in _sequence(preheats_c, "preheats_c")]
    whole_set = not isinstance(head, (str, Head, Mapping)) and head is not None
    heads = [head_from(h) for h in (_sequence(head, "head") if whole_set else [head])]
    several = isinstance(route, Iterable) and not isinstance(route, (Route, Mapping))
    routes = [route_from(r) for r in (_sequence(route, "route") if several else [route])]
    if whole_set and forgings_c is not None:
        raise InputError("a set shares its furnace; give preheats_c, not forgings_c.")
    if not whole_set and len(routes) > 1:
        raise InputError(f"{len(routes)} routes for one head; give one route, or a set of heads.")
    n = len(heads) if whole_set else len(steels)
    steels, heads, routes = (x * n if len(x) == 1 else x for x in (steels, heads, routes))
    if not len(steels) == len(heads) == len(routes):
        raise InputError(
            f"the set has {len(heads)} heads, {len(steels)} grades and {len(routes)} routes; allowed "
            "is one grade and one route for each head, or one for all."
        )
    soft = (r for r in routes if not r.hardens_face)
    limits = limits_from(limits, next(soft, routes[0]), bench)
    one = steels[0], heads[0], routes[0]
    study = Study(*one, limits, shop, line, bench=bench)
    shop = study.shop
    rows_c = np.tile(preheats, (n, 1))
    if forgings_c is not None:
        wanted = _sequence(forgings_c, "forgings_c")
        rows_c = np.array([preheat_for_c(s, wanted, heads[0], routes[0], shop) for s in steels])
    of = np.repeat(np.arange(n), rows_c.shape[1])
    cases = Cases.of(steels, heads, routes, [shop] * n).rows(of)
    cases.route["preheat_c"][:] = rows_c.ravel()
    made = zip(heads, routes, strict=True)
    stress = np.array([reference_stress_mpa(h, r, shop) for h, r in made])
    found = study.assess(cases, stress[of], want=ALL_WARNINGS)
    slack, free = found["slack"], found["veto"] == ""
    found["slack"] = np.where(free, slack, np.minimum(slack, 0.0) - _VETO_STEPS)
    table = {"grade": [steels[k].name for k in of], "head": [heads[k].name for k in of]}
    table["preheat_c"] = cases.route["preheat_c"]
    names = dict.fromkeys((*_SHOWN, *limits.bounds, "meets", "slack", "binding", "warnings"))
    table = data_frame(table | {name: found[name] for name in names if name in found})
    chances = ["chance_right", "heads_inside", "with_doubt"]
    table[chances] = np.nan
    met = [i for i in np.argsort(-table["slack"], kind="stable") if table["meets"][i]][:MOST]
    shape = [
        (k, routes[k].with_(preheat_c=rows_c.flat[i])) for i, k in zip(met, of[met], strict=True)
    ]
    sure = study.sureness([(steels[k], heads[k], route, shop) for k, route in shape])
    for i, v in zip(met, sure, strict=True):
        table.loc[i, chances] = v.chance_right, v.heads_inside, v.with_doubt
    least = np.fmin(table["chance_right"], table["heads_inside"] / 100.0).fillna(-1.0)
    surest = 0.0 if whole_set else np.where(table["meets"], np.round(least / _SURE_STEP), -np.inf)
    table["rank"] = _ranks(table["slack"], surest)
    return Comparison(table, _sets(table) if whole_set else None, study.limits)


def _ranks(slack, surest=0.0) -> np.ndarray:
    """1 for the surest, then the most slack; what meets the limits has slack 0 or more and so comes first."""
    slack = np.asarray(slack, float)
    order = np.lexsort((-slack, -np.broadcast_to(surest, slack.shape)))
    return np.argsort(order) + 1


def _sets(table):
    """One row a preheat temperature that the whole set shares: no better than its worst head."""
    worst = table.sort_values("slack", kind="stable").drop_duplicates("preheat_c")
    sets = worst.set_index("preheat_c").sort_index()[["slack", "binding", "head", "grade"]]
    sets = sets.rename(columns={"head": "worst_head", "grade": "worst_grade"})
    timed = table.assign(set_s=3600.0 / table["heads_per_hour"]).groupby("preheat_c")
    sets.insert(0, "meets", timed["meets"].all())
    sets["heads_that_meet"] = timed["meets"].sum()
    sets[["press_s", "set_s", "water_l"]] = timed[["press_s", "set_s", "water_l"]].sum()
    sets["rank"] = _ranks(sets["slack"])
    return sets.reset_index()
