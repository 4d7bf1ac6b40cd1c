"""Grades against forging temperatures: for one head, or for a set of heads that share a furnace."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...answer.cases import head_from, route_from
from ...base.errors import InputError, check_list, check_number
from ...inputs.cases import Cases
from ...inputs.grades import steel_of
from ...inputs.head import Head
from ...inputs.limits import Limits
from ...inputs.route import BURNING_C, Route
from ...inputs.settings import table
from ...inputs.steel import Steel
from .line_cost import Line
from .study import ALL_WARNINGS, REFERENCE, Study, reference_stress_mpa

#: Forging temperatures compared when none are named, °C.
_LOW_C, _HIGH_C = table()["preheat_c"].search
PREHEATS_C = tuple(float(t) for t in np.arange(_LOW_C, _HIGH_C + 1.0, 25.0))

#: Columns in the order they are shown.
_SHOWN = (
    "face_hardness_hv",
    "face_hardness_low_hv",
    "face_hardness_high_hv",
    "hosel_hardness_hv",
    "hosel_hardness_low_hv",
    "hosel_hardness_high_hv",
    "hosel_allowed_deg",
    "hosel_governed_by",
    "face_margin",
    "press_effort",
    "press_force_kn",
    "flow_stress_mpa",
    "die_c",
    "forging_low_c",
    "quench_start_c",
    "crack_index",
    "scale_um",
    "press_s",
    "heads_per_hour",
    "held_up_by",
    "water_l",
)


#: Steps of slack that a veto costs: more than any limit is missed by in practice (our choice).
_VETO_STEPS = 100.0


@dataclass(frozen=True)
class Comparison:
    """What `compare` found.

    Attributes
    ----------
    table : DataFrame
        One row a grade and temperature (and head): ``grade``, ``head``, ``preheat_c``, results, costs;
        ``meets``, ``slack`` (in steps of `user_limits.QUANTITIES`), ``binding`` (the limit that comes first),
        ``rank`` (1 is best: those that meet the limits before those that do not, then by slack; what a veto forbids,
        `limits.VETOES` or a warning that says stop, meets none and comes last);
        ``warnings``.
    sets : DataFrame or None
        Of a whole set: one row a preheat temperature: ``meets`` if every head does, ``slack`` and ``binding`` of
        the worst head, ``worst_head``, ``rank``; totals of press time and water.
    limits : Limits
    """

    table: object
    sets: object
    limits: Limits

    @property
    def best(self):
        """Row of rank 1 (of the set: of its best preheat temperature)."""
        ranked = self.table if self.sets is None else self.sets
        return ranked.sort_values("rank").iloc[0]

    @property
    def best_of_each(self):
        """The best row of every head of a set, or of every grade: for settings that are not shared
        (DataFrame)."""
        key = "grade" if self.sets is None else "head"
        return self.table.sort_values("rank").groupby(key, sort=False).head(1).sort_index()

    def words(self) -> str:
        """The answer in sentences."""
        best = self.best
        setting = f"from {best['preheat_c']:.0f} °C"
        who = f"{best['grade']} {setting}" if self.sets is None else f"The set {setting}"
        if not self.limits.bounds:
            return f"No limits are set, so nothing is ranked; what is compared stands in the table ({len(self.table)} rows)."
        if best["meets"]:
            many = int((self.table if self.sets is None else self.sets)["meets"].sum())
            return (
                f"{who} meets all limits with the most slack, {best['slack']:.1f} steps; first comes: "
                f"{best['binding']}. {many} of {len(self.table if self.sets is None else self.sets)} do."
            )
        where = "" if self.sets is None else f" ({best['worst_head']})"
        if best["slack"] <= -_VETO_STEPS:
            return f"Nothing compared is free of a veto: {who} fails by {best['binding']}{where}."
        return (
            f"Nothing compared meets all limits. {who} comes nearest; it misses {best['binding']}{where} by "
            f"{-best['slack']:.1f} steps."
        )

    def __repr__(self) -> str:
        return self.words()

    def _repr_html_(self) -> str:
        shown = self.table if self.sets is None else self.sets
        rows = shown.sort_values("rank").to_html(
            index=False, escape=True, float_format=lambda v: f"{v:.4g}"
        )
        return f"<p>{html.escape(self.words())}</p>{rows}"


def _sequence(given, what: str) -> list:
    if isinstance(given, (str, Steel, Head, Route, Mapping)) or not isinstance(given, Iterable):
        given = [given]
    given = check_list(given, what)
    if not given:
        raise InputError(f"{what} is empty; give one or more.")
    return list(given)


def compare(
    grades,
    preheats_c: Sequence[float] = PREHEATS_C,
    head=None,
    route=None,
    limits: Limits | None = None,
    *,
    shop=None,
    line: Line | None = None,
    reference: tuple[str, float] = REFERENCE,
) -> Comparison:
    """Compare grades at forging temperatures, and rank them by the user's own limits.

    Parameters
    ----------
    grades : sequence of grade names or steels
        Of a whole set: one for each head, in the heads' order.
    preheats_c : sequence of float
        Furnace settings, °C.
    head : head, or sequence of heads
        One head for all grades; a sequence is a whole set whose heads have their own grades and share every
        preheat temperature.
    route : route, or sequence of routes
        Of a whole set: one for all, or one for each head.
    limits : Limits, optional
        Requirements on the result and its costs.
    shop, line
        The shop's multipliers, and what the line is like.
    reference : (grade, preheat temperature)
        What press effort 1 means.

    Returns
    -------
    Comparison

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
    import pandas as pd

    steels = [steel_of(g) for g in _sequence(grades, "grades")]
    preheats = [
        check_number(t, "forging temperature", 20.0, BURNING_C, "°C", "compare")
        for t in _sequence(preheats_c, "preheats_c")
    ]
    whole_set = not isinstance(head, (str, Head, Mapping)) and head is not None
    heads = [head_from(h) for h in (_sequence(head, "head") if whole_set else [head])]
    several = isinstance(route, Iterable) and not isinstance(route, (Route, Mapping))
    routes = [route_from(r) for r in (_sequence(route, "route") if several else [route])]
    if whole_set:
        if len(steels) == 1:
            steels *= len(heads)
        if len(routes) == 1:
            routes *= len(heads)
        if not len(steels) == len(heads) == len(routes):
            raise InputError(
                f"the set has {len(heads)} heads, {len(steels)} grades and {len(routes)} routes; allowed "
                "is one grade and one route for each head, or one for all."
            )
    elif len(routes) > 1:
        raise InputError(f"{len(routes)} routes for one head; give one route, or a set of heads.")
    else:
        heads, routes = heads * len(steels), routes * len(steels)

    study = Study(steels[0], heads[0], routes[0], limits, shop, line, reference)
    n, m = len(steels), len(preheats)
    each = Cases.of(steels, heads, routes, [study.shop] * n)
    of = np.repeat(np.arange(n), m)
    cases = each.rows(of)
    cases.route["preheat_c"][:] = np.tile(preheats, n)
    stress = [
        reference_stress_mpa(h, r, study.shop, study.reference)
        for h, r in zip(heads, routes, strict=True)
    ]
    found = study.assess(cases, np.array(stress)[of], want=ALL_WARNINGS)
    vetoed = found["veto"] != ""
    found["slack"] = np.where(vetoed, np.minimum(found["slack"], 0.0) - _VETO_STEPS, found["slack"])
    names = (*_SHOWN, *(name for name in study.limits.bounds if name not in _SHOWN))
    table = pd.DataFrame(
        {
            "grade": np.array([s.name for s in steels], object)[of],
            "head": np.array([h.name for h in heads], object)[of],
            "preheat_c": cases.route["preheat_c"],
            **{name: found[name] for name in names if name in found},
            **{name: found[name] for name in ("meets", "slack", "binding", "warnings")},
        }
    )
    table.insert(table.columns.get_loc("warnings"), "rank", _ranks(table["slack"]))
    return Comparison(table, _sets(table) if whole_set else None, study.limits)


def _ranks(slack) -> np.ndarray:
    """1 for the most slack; what meets the limits has slack 0 or more and so comes first."""
    order = np.argsort(-np.asarray(slack, float), kind="stable")
    ranks = np.empty(len(order), np.int64)
    ranks[order] = np.arange(1, len(order) + 1)
    return ranks


def _sets(table):
    """One row a preheat temperature that the whole set shares: no better than its worst head."""
    import pandas as pd

    rows = []
    for preheat_c, heads in table.groupby("preheat_c", sort=True):
        worst = (
            heads.loc[heads["slack"].idxmin()]
            if np.isfinite(heads["slack"]).any()
            else heads.iloc[0]
        )
        rows.append(
            {
                "preheat_c": preheat_c,
                "meets": bool(heads["meets"].all()),
                "slack": worst["slack"],
                "binding": worst["binding"],
                "worst_head": worst["head"],
                "worst_grade": worst["grade"],
                "heads_that_meet": int(heads["meets"].sum()),
                "press_s": heads["press_s"].sum(),
                "set_s": (3600.0 / heads["heads_per_hour"]).sum(),
                "water_l": heads["water_l"].sum(),
            }
        )
    sets = pd.DataFrame(rows)
    sets["rank"] = _ranks(sets["slack"])
    return sets
