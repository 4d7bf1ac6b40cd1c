"""What may drift in a shop, and the answer when causes of odd hardness are ranked: tables and words."""

import functools
from collections.abc import Iterable
from dataclasses import dataclass

from ...base.errors import InputError, check_choice, check_list
from ...base.in_words import InWords
from ...base.tables import read_rows
from ...inputs.settings import Setting, setting
from ..process.study import Study

#: Name of the hypothesis that nothing has drifted.
NOTHING = "nothing"
#: A cause is worth a word from this chance on, and at most so many are compared in words (our marks).
LIKELY, SPOKEN = 0.05, 4


@dataclass(frozen=True)
class Drift:
    """One thing that may have drifted: its everyday and its drift's standard deviation, and its check."""

    setting: Setting
    label: str
    now: float
    everyday_sd: float
    sd: float
    check: str

    @property
    def name(self) -> str:
        return self.setting.name


@functools.cache
def _rows() -> dict[str, dict[str, str]]:
    return {row["name"]: row for row in read_rows("constants/drift_causes.csv")}


def causes(study: Study, names: Iterable[str] | None = None) -> tuple[Drift, ...]:
    """What may have drifted on this route: all of data/constants/drift_causes.csv that it has, or those named.

    References
    ----------
    .. [1] Multiples of the everyday scatter; product tolerances of ASTM A29
       (data/constants/drift_causes.csv) (our choice).
    """
    found = []
    if names is not None:
        names = [check_choice(n, "cause", _rows()) for n in check_list(names, "names")]
    for name in _rows() if names is None else names:
        if names is None and not study.has(name):
            continue
        now = study.value(name)
        row, everyday = _rows()[name], setting(name).spread.sd(now)
        if everyday > 0.0:
            what, sd = setting(name), everyday * float(row["times"])
            found.append(Drift(what, what.label, now, everyday, sd, row["check"]))
    if not found:
        raise InputError(f"no cause is left to look at; give {', '.join(_rows())}.")
    return tuple(found)


@dataclass(frozen=True, repr=False)
class Causes(InWords):
    """Ranked causes of hardness that is off.

    Attributes
    ----------
    table : One row a cause, likeliest first: ``cause, label, probability, drift, drift_low,
        drift_high, from_value, to_value, unit, misfit_sd`` (drift: likeliest, with 80 % interval;
        misfit: what it leaves unexplained, standard deviations), and ``<zone>_hv`` that it would
        give in the measured zones.
    readings : One row a measured zone: ``zone, readings, measured_hv, expected_hv, off_hv, sd_hv,
        off_sd``.
    apart : Row: the true cause, at its likeliest drift (at least one standard deviation); column:
        another; how near the other can come to the same readings, in their standard deviations.
    confusable : Pairs of likely causes these readings cannot separate: ``cause, other, apart_sd,
        check``.
    off_sd : How far all readings together are from what was expected, standard deviations (root of
        the chi-square over the number of zones).
    """

    table: object
    readings: object
    apart: object
    confusable: object
    off_sd: float

    @property
    def likeliest(self) -> str:
        """Name of the likeliest cause (`NOTHING` if none is needed)."""
        return str(self.table["cause"].iloc[0])

    def report(self) -> str:
        """Ranking, doubts and checks in sentences."""
        lines = [
            f"{r.zone.capitalize()} {r.measured_hv:.0f} HV where {r.expected_hv:.0f} is expected: "
            f"{round(r.off_hv):+d} HV, {abs(r.off_sd):.1f} standard deviations."
            for r in self.readings.itertuples()
        ]
        for r in self.table[self.table["probability"] >= LIKELY].head(SPOKEN).itertuples():
            percent = f"{100 * r.probability:.0f} %"
            if r.cause == NOTHING:
                lines.append(
                    f"{percent}: nothing has drifted; everyday scatter and the model's error are enough."
                )
                continue
            lines.append(
                f"{percent}: {r.label} {r.drift:+.3g} {r.unit} ({r.drift_low:+.3g} to "
                f"{r.drift_high:+.3g}), so {r.to_value:.4g} instead of {r.from_value:.4g}. "
                f"Check: {_rows()[r.cause]['check']}."
            )
        spoken = self.table[self.table["probability"] >= LIKELY].head(SPOKEN)["probability"].sum()
        lines.append(f"All others together: {100 * max(1.0 - spoken, 0.0):.0f} %.")
        drifted = self.table[self.table["cause"] != NOTHING]
        top, pairs = drifted["cause"].iloc[0], self.confusable
        if 1.0 - drifted["probability"].sum() > 0.5:
            pairs = pairs[:0]
        for r in pairs[(pairs["cause"] == top) | (pairs["other"] == top)].itertuples():
            lines.append(
                f"{_label(r.cause).capitalize()} and {_label(r.other)} cannot be separated by these "
                f"readings ({r.apart_sd:.1f} standard deviations). {r.check}"
            )
        return "\n".join(lines)

    words = report

    def shown(self):
        drift = ["drift", "drift_low", "drift_high", "unit", "misfit_sd"]
        return self.table[["label", "probability", *drift]]


def _label(name: str) -> str:
    return "no drift" if name == NOTHING else setting(name).label
