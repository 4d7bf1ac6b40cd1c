"""Is it good: limits against one joint draw, the biggest risk, the remedy, in one sentence of at most 20 words."""

import dataclasses
import functools
import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..base.arrays import rounded
from ..inputs.limits import QUANTITIES, Limits
from .doubt import Doubt, deviates, doubt_of, other_shares
from .warnings.listing import brief, stops_of
from .warnings.spray import idle_why

#: Chance, and share of heads, from which a verdict is good and from which it is marginal.
GOOD, MARGINAL = 0.80, 0.50
#: Lots and heads drawn for one result: standard error of the chances about 0.01.
LOTS, HEADS = 1024, 128
#: Quantities of an estimate; what a line costs is compared elsewhere.
_OF_A_LINE = ("press_effort", "press_s", "heads_per_hour", "water_l")
_KNOWN = tuple(n for n in QUANTITIES if n not in _OF_A_LINE)
#: Words of a sentence.
MOST_WORDS = 20

#: Warnings that say why the face misses its lower limit; the first that applies.
_CAUSES = ("below-ac1", "partial-austenite", "reheated-face", "late-water", "idle-water")
#: What a spray that changes nothing is short of, by `warnings.spray.idle_why`.
_IDLE = {
    "short": "too little water",
    "water": "too little water, or too late",
    "steel": "the steel is too lean",
    "air": "the steel hardens no further under the spray",
}
_SHORT = {"hosel_allowed_deg": "hosel", "bar_force_n": "pull", "face_margin": "strike margin"}
#: What a head is good for, by the purpose of the limits: nobody may read a soft head as a hard face.
_PURPOSES = {
    "soft forged head": " as a soft forged head (no limit on face hardness)",
    "hard thin face": " as a hard thin face",
}


@dataclass(frozen=True)
class LimitState:
    """One limit of the result, with the middle value and its 80 % range: that of `Estimate.interval`, else over lots."""

    name: str  # of the quantity
    words: str
    value: float
    low: float
    high: float
    met: bool  # by the middle value
    chance: float  # that the middle head of the lot keeps it

    @property
    def shown(self) -> str:
        """Quantity and value, short: "face 428 HV"."""
        label = _SHORT.get(self.name, QUANTITIES[self.name].label.replace(" hardness", ""))
        return f"{label} {self.text(self.value)}"

    def text(self, *values: float) -> str:
        """Values with their unit, "380 to 520 HV"."""
        return QUANTITIES[self.name].text(*values)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and texts, ready for JSON."""
        found = {"limit": self.words, "quantity": self.name}
        found |= {n: rounded(getattr(self, n)) for n in ("value", "low", "high")}
        return found | {"met": self.met, "chance": round(self.chance, 3)}


@dataclass(frozen=True)
class Chances:
    """Chance that a setting is right, share of heads inside if it is and over all lots, and the chance of each limit."""

    right: float
    heads_inside: float
    with_doubt: float
    by_end: dict[str, float]

    @property
    def least(self) -> float:
        return min(self.right, self.heads_inside)


def chances(doubt: Doubt, case: int, limits: Limits, lots=LOTS, heads=HEADS) -> Chances:
    """Chances of one case over one joint draw of lots and heads.

    A setting is right where the middle head of the lot keeps all limits; heads inside are counted in those lots.
    """
    z, x = deviates(lots, heads)
    middle = doubt.lots(case, z)
    single = x @ doubt.scatter[:, :, case]  # how far its heads depart from it
    right, inside, by_end = np.ones(lots, bool), np.ones((lots, heads), bool), {}
    for words, name, value, sign in limits.ends():
        if name in doubt.names:
            q = doubt.names.index(name)
            met = sign * (middle[:, q] - value) >= 0.0
            by_end[words] = float(met.mean())
            right &= met
            inside &= sign * (middle[:, q, None] + single[None, :, q] - value) >= 0.0
    share = float(inside[right].mean()) if right.any() else 0.0
    return Chances(float(right.mean()), share, float(inside.mean()), by_end)


def level_of(met: bool, least_chance: float, stopped: bool) -> str:
    """ "good", "marginal" or "out": out where a limit is missed at its middle value or a warning says stop."""
    if not met or stopped or least_chance < MARGINAL:
        return "out"
    return "good" if least_chance >= GOOD else "marginal"


@dataclass(frozen=True, eq=False)
class Verdict:
    """The answer first.

    The level is "good" from a chance of 80 % on and 80 heads of 100, "marginal" from 50; a limit missed at its middle value,
    or a warning of rank stop, is "out".
    """

    level: str
    limits: tuple[LimitState, ...]
    not_included: tuple[str, ...]  # limits on what an estimate does not give
    chance_right: float  # that this setting is right: model doubt, common to the lot
    heads_inside: int  # of 100 heads, by the shop's scatter, if it is right
    with_doubt: int  # of 100 heads, by scatter and model doubt together
    biggest_risk: str
    result: Any = field(repr=False)
    against: Limits = field(repr=False)
    doubt: Doubt = field(repr=False)
    stops: tuple = field(repr=False)

    @functools.cached_property
    def remedy(self):
        """The nearest single change that brings it inside (`remedy.Remedy`), or None; none is sought if it is good."""
        from . import remedy

        return None if self.level == "good" else remedy.best_remedy(self.result, self)

    @functools.cached_property
    def measure_next(self):
        """See `next_measurement.next_measurement`."""
        from . import next_measurement

        return next_measurement.next_measurement(self.result)

    @property
    def sure(self) -> str:
        """ "76 % that this setting is right; then 99 of 100 heads inside"; of a stop only the limits are said to be kept."""
        right = f"{100 * self.chance_right:.0f} % that this setting is right"
        if self.stops:
            kept = f"the limits alone are kept with {100 * self.chance_right:.0f} % chance"
            right = f"not right: {brief(self.stops[0].code)}; {kept}"
        inside = f"; then {self.heads_inside} of 100 heads inside"
        return right + inside * (self.chance_right >= 0.01)

    @property
    def weakest(self) -> LimitState | None:
        """The limit that decides: missed ones first, then the least chance."""
        return min(self.limits, key=lambda s: (s.met, s.chance), default=None)

    @property
    def sentence(self) -> str:
        """Level, cause and remedy in at most 20 words."""
        level, of = self.level.capitalize(), _PURPOSES.get(self.against.purpose, "")
        if self.level == "good":
            sure = f"{100 * self.chance_right:.0f} % sure, then {self.heads_inside} of 100 heads inside."
            return f"Good{of}: {sure}" if of else f"Good: all limits are kept; {sure}"
        reason, cause = self._reason(), self.cause
        # the second unit of a spray rate stands in the remedy's own line
        remedy = re.sub(r"( L/min) \(.*\)", r"\1", self.remedy.words) if self.remedy else ""
        remedy = f"Remedy: {remedy}." if remedy else "No near remedy found."
        options = [f"{level}: {reason}; {cause}. {remedy}"] if cause else []
        options += [f"{level}{of}: {reason}. {remedy}"] if of and self.level == "marginal" else []
        options += [f"{level}: {reason}. {remedy}", f"{level}: {self._brief()}. {remedy}"]
        return next((s for s in options if len(s.split()) <= MOST_WORDS), options[-1])

    def _brief(self) -> str:
        if self.stops:
            return brief(self.stops[0].code)
        return f"{QUANTITIES[self.weakest.name].label} misses its limit"

    def _reason(self) -> str:
        missed = sorted((s for s in self.limits if not s.met), key=lambda s: s.chance)
        if self.stops:
            return self._brief()
        if len(missed) > 1:
            return " and ".join(s.shown for s in missed[:2]) + " miss their limits"
        worst = self.weakest
        if worst.met:
            few = f", {self.heads_inside} of 100 heads inside" * (self.heads_inside < 100 * GOOD)
            return f"{worst.shown}, {100 * self.chance_right:.0f} % sure{few}"
        end = "at least" if "at least" in worst.words else "at most"
        return f"{worst.shown}, {end} {worst.words.split(end)[1].strip()} required"

    @property
    def cause(self) -> str:
        """Why the face is too soft, in a few words; empty where no warning says it."""
        worst = self.weakest
        soft = worst is not None and worst.name == "face_hardness_hv" and "least" in worst.words
        if self.stops or not soft or worst.met:
            return ""
        codes = {w.code for w in self.result.warnings}
        code = next((code for code in _CAUSES if code in codes), "")
        if code == "idle-water":
            return _IDLE[idle_why(self.result.evaluation, 0)]
        return brief(code) if code else ""

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and texts, ready for JSON."""
        names = ("level", "sentence", "chance_right", "heads_inside", "with_doubt", "biggest_risk")
        found = {name: getattr(self, name) for name in names}
        found |= {"chance_right": round(self.chance_right, 3), "purpose": self.against.purpose}
        found["limits"] = [s.to_dict() for s in self.limits]
        found["not_included"] = list(self.not_included)
        parts = {"remedy": self.remedy, "measure_next": self.measure_next}
        return found | {name: part and part.to_dict() for name, part in parts.items()}


@dataclass(frozen=True)
class ShortVerdict:
    """Verdict of one case of many, in short: level, chances, and the code of a warning that says stop."""

    level: str
    chance_right: float
    heads_inside: int
    with_doubt: int
    by_quantity: dict[str, float]
    stop: str
    values: dict[str, float]

    @property
    def words(self) -> str:
        """Both chances in a sentence."""
        return f"{100 * self.chance_right:.0f} % that the setting is right, then {self.heads_inside} of 100 heads inside."

    @property
    def least(self) -> float:
        """The lesser of both chances, which decides the level."""
        return min(self.chance_right, 0.01 * self.heads_inside)


def short_verdicts(cases, result, limits: Limits, lots=256, heads=32) -> list[ShortVerdict]:
    """Levels of many cases (steel, head, route, shop) by the verdict's own draw, in one engine call.

    `result` is the estimate whose strike, bench and options count, and from whose intervals the
    doubt of the formulas is taken.  With 256 lots of 32 heads the standard error of a chance is
    about 0.02, a quarter of it left by the even quantiles.
    """
    names, found = _names(limits), []
    doubt, e = doubt_of(cases, names, other_shares(result, names), result.evaluation)
    ends = [end for end in limits.ends() if end[1] in names]
    for i, codes in enumerate(e.codes):
        values = dict(zip(names, map(float, doubt.middle[:, i]), strict=True))
        met = all(sign * (values[name] - value) >= 0.0 for _, name, value, sign in ends)
        c = chances(doubt, i, limits, lots, heads)
        stop = "".join(stops_of(codes.split("; "), limits)[:1])
        level, by = level_of(met, c.least, bool(stop)), {}
        for words, name, *_ in ends:
            by[name] = by.get(name, 1.0) + c.by_end[words] - 1.0
        counts = round(100 * c.heads_inside), round(100 * c.with_doubt)
        found.append(ShortVerdict(level, c.right, *counts, by, stop, values))
    return found


def _names(limits: Limits) -> tuple[str, ...]:
    """Limited quantities of an estimate, and what a reading may be of, limited or not."""
    read = ("face_hardness_hv", "hosel_hardness_hv", "bar_force_n", "hosel_allowed_deg")
    return tuple(dict.fromkeys([*(n for n in limits.bounds if n in _KNOWN), *read]))


def verdict_of(result, limits: Limits | None = None, like: Verdict | None = None) -> Verdict:
    """Verdict of an estimate against its own limits or others.

    `like` is the verdict of a near case with the same limits, whose responses are taken: first order, and
    no further engine call.
    """
    limits = result.limits if limits is None else limits
    left = tuple(QUANTITIES[n].label for n in limits.bounds if n not in _KNOWN)
    names = _names(limits)
    if like is not None and like.doubt.names == names:
        middle = np.stack([result.evaluation.quantity(name)[:1] for name in names])
        doubt = dataclasses.replace(like.doubt, middle=middle)
    else:
        case = (result.steel, result.head, result.route, result.shop)
        doubt, _ = doubt_of([case], names, other_shares(result, names), result.evaluation)
    found = chances(doubt, 0, limits)
    ranges = np.quantile(doubt.lots(0, deviates(LOTS, HEADS)[0]), [0.1, 0.9], axis=0)
    states = []
    for words, name, value, sign in limits.ends():
        if name in names:
            q = names.index(name)
            middle = float(doubt.middle[q, 0])
            met = sign * (middle - value) >= 0.0
            ends = result.interval(name) or ranges[:, q]  # its own interval stands
            ends = (max(float(end), 0.0) for end in ends)
            states.append(LimitState(name, words, middle, *ends, met, found.by_end[words]))
    codes = stops_of((w.code for w in result.warnings), limits)
    stops = tuple(w for w in result.warnings if w.code in codes)
    level = level_of(all(s.met for s in states), found.least, bool(stops))
    heads = round(100 * found.heads_inside), round(100 * found.with_doubt)
    rest = (_risk(stops, states, result), result, limits, doubt, stops)
    return Verdict(level, tuple(states), left, found.right, *heads, *rest)


def _risk(stops, states, result) -> str:
    if stops:
        return stops[0].text
    worst = min(states, key=lambda s: (s.met, s.chance), default=None)
    if worst is not None and (not worst.met or worst.chance < GOOD):
        found = f"{worst.text(worst.value)} ({worst.text(worst.low, worst.high)})"
        kept = f"is kept with {100 * worst.chance:.0f} % chance" if worst.met else "is missed"
        return f"{worst.words} {kept}: {found}."
    change = next((w.text for w in result.warnings if w.rank == "change"), None)
    return change or "None found beyond the usual: check a trial head."
