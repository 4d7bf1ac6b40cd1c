"""A hosel that came out too hard: what softens it and what that costs elsewhere, and what its allowance hangs on.

Tried one at a time: a lower preheat, a slower cooling hosel (single or in a sleeve), local heat of the bend zone with the
head in a wet cloth, and a temper of the whole head.
"""

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..answer.estimate import Estimate
from ..answer.evaluation import evaluate
from ..base.errors import check_kind
from ..hosel.bench import bench_options
from ..hosel.bend import bend_of_head
from ..inputs.cases import Cases
from ..inputs.head import ZONES
from ..inputs.route import LocalHeat, Route, Temper
from ..io.tables import data_frame

#: Steps down from the preheat that are tried, and the lowest preheat at which the press still forms the head, °C (our choice).
_PREHEAT_STEPS_C, _LOWEST_PREHEAT_C = (20.0, 40.0, 80.0), 750.0
#: Local heats that are tried: °C below Ac1 and minutes.  30 °C are for the thermometer: above Ac1 the hosel hardens again
#: (our choice; 650–700 °C is the usual subcritical range, from memory).
_ANNEALS = ((70.0, 10.0), (30.0, 10.0), (30.0, 30.0))
#: Tempers of the whole head, °C, for an hour (our choice).
_TEMPERS_C = (550.0, 650.0)
#: What an hour in a furnace costs besides, min: heating up and cooling; the same of a torch (common practice).
_FURNACE_MIN, _TORCH_MIN = 40.0, 8.0
#: Below this share of a degree, this pull or this many HV a change is not worth telling (our choice: inside every
#: model error).
_NOTHING_DEG, _NOTHING_N, _NOTHING_HV = 0.05, 10.0, 3.0
#: A remedy that costs face, rim or body more than this comes after those that do not, HV (our choice: the width of the face's
#: own interval).
_COSTLY_HV = 30.0
#: Share of bainite and martensite below which a hosel counts as normalised: heat below Ac1 does not soften it (our choice).
_NORMALISED = 0.3
_RESULT = "what forgeprops.estimate(...) returns"


@dataclass(frozen=True)
class Remedy:
    """One thing to do; gains and losses count against the route as it is."""

    kind: str  # "preheat", "cooling", "local heat" or "temper"
    what: str  # in words
    route: Route  # with this one change
    minutes: float  # longer, per head or per charge
    risk: str  # what goes wrong if it is done badly
    hosel_hv: float
    face_hv: float
    allowed_deg: float
    bar_force_n: float  # the pull for the required change
    face_margin: float
    degrees_won: float
    pull_saved_n: float
    face_softer_hv: float
    lost_elsewhere_hv: float  # the most that face, rim or body lose

    @property
    def helps(self) -> bool:
        """Whether the bench gains more than the models' own noise."""
        return self.degrees_won > _NOTHING_DEG or self.pull_saved_n > _NOTHING_N

    def words(self) -> str:
        """One sentence for what it wins and costs, one for its risk."""
        won, saved, softer = self.degrees_won, self.pull_saved_n, self.face_softer_hv
        gain, face = "wins no degrees", "the face keeps its hardness"
        if abs(won) > _NOTHING_DEG:
            gain = f"{'wins' if won > 0 else 'costs'} {abs(won):.1f}°"
        pull = f"{'saves' if saved >= 0 else 'costs'} {abs(saved):.0f} N of pull"
        if abs(softer) >= _NOTHING_HV:
            face = f"the face {'loses' if softer > 0 else 'gains'} {abs(softer):.0f} HV"
        time = f"; {self.minutes:.0f} min" if self.minutes else ""
        there = f"{self.allowed_deg:.1f}° at {self.hosel_hv:.0f} HV"
        return f"{self.what}: {gain} ({there}) and {pull}; {face}{time}. {self.risk}"


@dataclass(frozen=True)
class Softening:
    """All remedies of one hosel, the best first; and the route as it is."""

    hosel_hv: float
    face_hv: float
    allowed_deg: float
    bar_force_n: float
    #: Bar that brings the pull down to what a hand may; None where it is there already.
    bar_length_needed_mm: float | None
    #: Ferrite and pearlite as cooled in air: heat below Ac1 hardly softens the hosel.
    normalised: bool
    #: Those that cost less than 30 HV elsewhere first; by degrees won, then by pull saved.
    remedies: tuple[Remedy, ...]

    def words(self) -> str:
        """The answer in sentences, one a line."""
        lines = [
            f"The hosel is {self.hosel_hv:.0f} HV and takes {self.allowed_deg:.1f}°; the required change takes "
            f"{self.bar_force_n:.0f} N."
        ]
        if self.bar_length_needed_mm is not None:
            bar = f"a longer bar ({self.bar_length_needed_mm:.0f} mm)"
            lines.append(f"That is too much for a hand: {bar} or a screw bender would do.")
        if self.normalised:
            said = "are as normalised: an hour below Ac1 hardly softens them"
            lines.append(f"Its ferrite and pearlite {said}.")
        useful = [r for r in self.remedies if r.helps]
        if not useful:
            lines.append("Nothing tried here softens it; a softer grade is what is left.")
        return "\n".join([*lines, *(r.words() for r in useful)])

    def to_dict(self) -> dict:
        """Plain numbers and texts, ready for JSON."""
        parts = [
            {n: round(v, 3) if isinstance(v, float) else v for n, v in vars(of).items() if n not in ("route", "remedies")}
            for of in (self, *self.remedies)
        ]  # fmt: skip
        return {**parts[0], "remedies": parts[1:]}


def _changes(route: Route, ac1: float) -> Iterator[tuple]:
    """Kind, words, changed route, minutes and risk of everything that is tried."""

    def later(heat) -> Route:
        return dataclasses.replace(route, later=(*route.later, heat))

    now = route.preheat_c
    risk = "The press works harder and the face may miss its quench start temperature."
    for to in (now - step for step in _PREHEAT_STEPS_C if now - step >= _LOWEST_PREHEAT_C):
        words = f"Preheat {to:.0f} °C instead of {now:.0f} °C"
        yield "preheat", words, route.with_(preheat_c=to), 0.0, risk
    for how, what, risk in (
        ("single", "A single head in still air", "It needs room to cool apart."),
        ("sleeve", "An insulating sleeve on the hosel", "It must sit at once after the press."),
    ):
        if route.surroundings not in (how, "sleeve"):
            yield "cooling", what, route.with_(surroundings=how), 0.0, risk
    risk = f"Above {ac1:.0f} °C it hardens again in air: measure the temperature. Keep the face below 200 °C.  "
    risk += "The hottest is not always the best: the bend gathers in the softest end of the ring."
    for below, minutes in _ANNEALS:
        heat = LocalHeat("hosel", round((ac1 - below) / 5.0) * 5.0, 60.0 * minutes)
        words = f"Bend zone {minutes:.0f} min at {heat.peak_c:.0f} °C, head in a wet cloth"
        yield "local heat", words, later(heat), minutes + _TORCH_MIN, risk
    risk = "The face tempers with the hosel."
    for t in (t for t in _TEMPERS_C if t <= ac1 - 30.0):
        words = f"Temper of the whole head 1 h at {t:.0f} °C"
        yield "temper", words, later(Temper(t, 3600.0)), 60.0 + _FURNACE_MIN, risk


def soften(result: Estimate) -> Softening:
    """What softens a hosel that came out too hard: degrees won, and what the face pays.

    Parameters
    ----------
    result : Estimate; the head as it is; its steel, drawing, shop and bench stay.

    Raises
    ------
    InputError
        Not an estimate.

    References
    ----------
    .. [1] Steps down, local heats and tempers that are tried; 650-700 °C is the usual subcritical range (our choice).

    Examples
    --------
    >>> import forgeprops as fp
    >>> hard = fp.estimate(fp.grade("4140"))
    >>> best = fp.soften(hard).remedies[0]
    >>> best.helps, best.hosel_hv < hard.zones["hosel"].hardness_hv
    (True, True)
    """
    now = check_kind(result, Estimate, "result", form=_RESULT).evaluation
    tried = list(_changes(result.route, result.critical.ac1_c))
    routes = [result.route, *(change[2] for change in tried)]
    steels, drawings, shops = ([part] * len(routes) for part in (result.steel, result.head, result.shop))  # fmt: skip
    cases = Cases.of(steels, drawings, routes, shops)
    e = evaluate(cases, count_press_strain=result.press_strain_counted, **now.options)
    e = dataclasses.replace(e, bench=now.bench, strike=now.strike)
    face, hosel = (e.hardness_hv[:, ZONES.index(zone)] for zone in ("face", "hosel"))
    allowed, pull = e.hosel["allowed_deg"], e.hosel["bar_force_n"]
    others = [ZONES.index(zone) for zone in ("face", "rim", "body")]
    lost = (e.hardness_hv[:1, others] - e.hardness_hv[:, others]).max(axis=1)
    columns = (hosel, face, allowed, pull, e.face_margin)
    columns += (allowed - allowed[0], pull[0] - pull, face[0] - face, lost)
    base, *rows = np.column_stack(columns).tolist()
    remedies = [Remedy(*change, *row) for change, row in zip(tried, rows, strict=True)]

    def rank(r: Remedy) -> tuple:
        """Rounded, so that noise in the last digits does not order what is equal."""
        return r.lost_elsewhere_hv > _COSTLY_HV, -round(r.degrees_won, 2), -round(r.pull_saved_n)

    bend = result.hosel
    longer = bend.bar_length_needed_mm if bend.bar_force_n > bend.force_limit_n else None
    shares = result.zones["hosel"].fractions
    normalised = shares["bainite"] + shares["martensite"] < _NORMALISED
    return Softening(*base[:4], longer, normalised, tuple(sorted(remedies, key=rank)))


#: What nobody has measured or everybody chooses: low and high end of each default (our choice; `hosel_bend`
#: defends each), with words.
_ENDS = {
    "bend zone, 10 to 20 mm": ("bend_zone_mm", 10.0, 20.0),
    "adjustments there and back, 10 to 1": ("rebends", 10.0, 1.0),
    "scatter of cracking, 6.6 to 1.7": ("scatter_factor", 6.6, 1.7),
    "notch, 3 to 1.5": ("notch_factor", 3.0, 1.5),
    "bore out of round, 0.05 to 0.15 mm": ("bore_out_of_round_mm", 0.05, 0.15),
}


def hosel_sensitivity(result: Estimate, bench: Mapping[str, Any] | None = None):
    """How many degrees each default of the bench is worth, the strongest first.

    A DataFrame with columns ``what``, ``low_deg``, ``high_deg`` (allowed degrees at the two ends), ``span_deg``.

    Parameters
    ----------
    result : Estimate
    bench : mapping, optional; options of the bench that stay as given, as `estimate` takes them.

    Examples
    --------
    >>> import forgeprops as fp
    >>> table = hosel_sensitivity(fp.estimate(fp.grade("1020")))
    >>> table["what"][0]
    'bend zone, 10 to 20 mm'
    """
    check_kind(result, Estimate, "result", form=_RESULT)
    bench, head, zone = bench_options(bench), result.head, result.zones["hosel"]
    metal = zone.strength, result.zones["neck"].strength

    def allowed(name: str, value: float) -> float:
        if name == "bend_zone_mm":
            return bend_of_head(head.with_(bend_zone_mm=value), *metal, **bench).allowed_deg
        return bend_of_head(head, *metal, **{**bench, name: value}).allowed_deg

    rows = [(words, *(allowed(name, v) for v in ends)) for words, (name, *ends) in _ENDS.items()]
    found = []
    for hv in (zone.hardness_high_hv, zone.hardness_low_hv):  # the neck moves with the hosel
        names = ("hardness_hv", "yield_mpa", "tensile_mpa")
        moved = ({n: getattr(s, n) * hv / zone.hardness_hv for n in names} for s in metal)
        moved = (dataclasses.replace(s, **m) for s, m in zip(metal, moved, strict=True))
        found.append(bend_of_head(head, *moved, **bench).allowed_deg)
    rows.append(("hardness of the hosel, its 80 % interval", *found))
    table = data_frame(rows, columns=["what", "low_deg", "high_deg"])
    table["span_deg"] = (table["high_deg"] - table["low_deg"]).abs()
    return table.sort_values("span_deg", ascending=False, kind="stable", ignore_index=True)
