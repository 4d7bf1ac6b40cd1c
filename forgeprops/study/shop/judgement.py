"""What comes of a heat of steel: the verdict in numbers, as a row of a table and in sentences."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from ...answer.result import Estimate
from ...answer.verdict import ShortVerdict
from ...base.in_words import InWords
from ...inputs.limits import QUANTITIES, Limits
from ...inputs.settings import setting
from ...io.tables import data_frame
from ..process.study import Study

ACCEPT, ADJUST, HOLD = "accept", "accept with adjusted settings", "hold"


@dataclass(frozen=True, repr=False)
class Judgement(InWords):
    """What comes of a heat of steel, and what to do with it.

    Attributes
    ----------
    heat, verdict, reason : Verdict is "accept", "accept with adjusted settings" or "hold".
    results : At the settings as they are: by the names of `inputs.limits.QUANTITIES`.
    intervals : dict of str to (float, float); 80 % interval of those that have one: hardness of the
        zones and the hosel's degrees.
    chances : Chance that each limited quantity is inside.
    grade_span : dict of str to (float, float); the same quantities at the lean and the rich end of
        the grade's range, lower number first; empty without one.
    outside_grade : Elements outside the grade's range, in words.
    settings : Adjusted settings; empty unless adjusted.
    adjusted : Results at the adjusted settings; empty unless adjusted.
    sure : Chances by the draw of the verdict at the same settings.
    estimate : At the settings that the verdict stands for; None if the certificate cannot be used.
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
    sure: ShortVerdict | None = None

    @property
    def chance(self) -> float:
        """That all limits are kept (nan if nothing could be predicted)."""
        return math.nan if self.sure is None else self.sure.chance_right

    @property
    def sentence(self) -> str:
        """Verdict and reason."""
        return f"{self.heat}: {self.verdict}. {self.reason}"

    def words(self) -> str:
        """Verdict and reason in sentences, and the limits."""
        return f"{self.sentence} {self.limits.title}"

    def row(self) -> dict:
        """Row of the table of a list."""
        out = {"heat": self.heat, "verdict": self.verdict}
        for name in ("face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg"):
            out[name] = self.results.get(name, math.nan)
            ends = self.intervals.get(name, (math.nan, math.nan))
            out[f"{name}_low"], out[f"{name}_high"] = ends
        settings = ", ".join(f"{n}={v:.4g}" for n, v in self.settings.items())
        heads = math.nan if self.sure is None else self.sure.heads_inside
        out |= {"chance": self.chance, "heads_inside": heads, "settings": settings}
        return {**out, "reason": self.reason}


class Judgements(InWords, tuple):
    """Judgements of a list of heats, in the list's order."""

    def table(self):
        """One row a heat: verdict, predictions with 80 % intervals, chance, adjusted settings, reason."""
        return data_frame([j.row() for j in self])

    shown = table

    def words(self) -> str:
        titles = dict.fromkeys(j.limits.title for j in self)
        return "\n".join([*(j.sentence for j in self), *titles])


# ---- words


def predicted_words(results, intervals, span) -> str:
    parts = []
    for name, words in (("face_hardness_hv", "Face"), ("hosel_allowed_deg", "hosel bend")):
        q = QUANTITIES[name]
        text = f"{words} {q.text(results[name])} (80 %: {q.text(*intervals[name])}"
        if name in span:
            text += f"; the grade's range gives {q.text(*span[name])}"
        parts.append(text + ")")
    return f"{'; '.join(parts)}."


def missed_words(limits: Limits, results, veto: str, sureness, chance: float) -> str:
    parts = [veto] if veto else []
    for words, name, value, sign in limits.ends():
        if not sign * (results.get(name, math.nan) - value) >= 0.0:
            parts.append(words)
    if parts:
        return f"It misses: {'; '.join(parts)}."
    chances, sure = sureness
    unsure = [f"{QUANTITIES[n].label} {100 * c:.0f} %" for n, c in chances.items() if c < 1.0]
    return f"Inside the limits, but not sure enough: {sure.words} {100 * chance:.0f} % is required ({'; '.join(unsure)})."


def moved_words(settings, study: Study) -> str:
    return ", ".join(
        f"{setting(n).label} {v:.3g} {setting(n).unit} instead of {study.value(n):.3g}"
        for n, v in settings.items()
    )


def ranges_words(study: Study, ranges, surest, chance: float) -> str:
    if not ranges:
        return "No setting may be adjusted."
    if surest is not None and surest[1]:
        return (
            f"With {moved_words(surest[1], study)} it is inside, but not sure enough: a chance of "
            f"{100 * surest[0]:.0f} % where {100 * chance:.0f} % is required, and no settings tried do better."
        )
    parts = (
        f"{setting(n).label} {low:g} to {high:g} {setting(n).unit}".rstrip()
        for n, (low, high) in ranges.items()
    )
    does = "bring it inside" if surest is None else "make it surer"  # than the present settings
    return f"No settings within {'; '.join(parts)} {does}."
