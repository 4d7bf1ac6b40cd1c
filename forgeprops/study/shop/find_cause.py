"""Which drift explains hardness that is off: causes ranked by likelihood, and which check separates them.

Every cause alone is turned through its plausible drifts on the engine.  The chance of a cause is the
likelihood of the readings averaged over its drifts: a cause that needs an unlikely drift, or fits with one
narrow drift only, gains little.  Readings scatter by the tester, by the everyday scatter of all settings,
and by the model's own error where the shop's usual hardness is not given.
"""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...answer.evaluation import Evaluation, evaluate
from ...base.errors import InputError, check_choice, check_kind, check_list, check_number, shown
from ...base.in_words import InWords
from ...base.tables import read_rows
from ...inputs.head import ZONES
from ...inputs.settings import Setting, setting
from ...io.tables import data_frame
from ..process.study import Study
from .fitting import HARDNESS_NOISE_HV
from .measurements import HardnessReadings
from .residuals import model_sd_hv

#: Name of the hypothesis that nothing has drifted, and its chance beforehand; the causes share the rest evenly
#: (our choice).
NOTHING, _NOTHING_CHANCE = "nothing", 0.5
#: Drifts examined: out to this many standard deviations, marched at so many places, interpolated to so many.
_FAR, _MARCHED, _FINE = 3.0, 21, 241
#: A cause is worth a word from this chance on, and at most so many are compared in words (our marks).
_LIKELY, _SPOKEN = 0.05, 4
#: A pair that differs by less than this many standard deviations of the readings cannot be separated (our
#: mark).
APART_SD = 2.0
#: A further check counts as parting two causes from this many of its own standard deviations on (our mark).
_PARTS_SD = 3.0
#: How well a further look tells: three hardness readings, a pyrometer on a scaled head, K (common practice,
#: no source).
_EXTRA_HV, _PYROMETER_C = HARDNESS_NOISE_HV / np.sqrt(3.0), 8.0
#: Lowest temperature a workshop pyrometer reads well, °C (common practice, no source).
_PYROMETER_FROM_C = 300.0
#: When a pyrometer can look at a zone, and the column of results it would read.
_LOOKS = {
    "as it leaves the furnace": "peak_c",
    "in the press": "die_c",
    "as the water starts": "water_on_c",
    "as the water stops": "water_off_c",
}


class Drift(NamedTuple):
    """One thing that may have drifted."""

    setting: Setting
    now: float
    everyday_sd: float
    sd: float  # of its drift
    check: str  # what shows it

    @property
    def name(self) -> str:
        return self.setting.name


def causes(study: Study, names: Iterable[str] | None = None) -> tuple[Drift, ...]:
    """What may have drifted on this route: all of data/constants/drift_causes.csv that it has, or those named.

    .. [1] Multiples of the everyday scatter; product tolerances of ASTM A29
       (data/constants/drift_causes.csv) (our choice).
    """
    rows, found = {row["name"]: row for row in read_rows("constants/drift_causes.csv")}, []
    wanted = filter(study.has, rows) if names is None else check_list(names, "names")
    for name in wanted:
        row = rows[check_choice(name, "cause", rows)]
        what = setting(row["name"])
        now = study.job.value(what.name)
        everyday = what.spread.sd(now)
        if everyday > 0.0:
            found.append(Drift(what, now, everyday, everyday * float(row["times"]), row["check"]))
    if not found:
        raise InputError(f"no cause is left to look at; give {', '.join(rows)}.")
    return tuple(found)


@dataclass(frozen=True, repr=False)
class Causes(InWords):
    """Ranked causes of hardness that is off."""

    #: One row a cause, likeliest first: ``cause, label, probability, drift, drift_low, drift_high, from_value,
    #: to_value, unit, misfit_sd`` (drift: likeliest, with 80 % interval; misfit: what it leaves unexplained,
    #: standard deviations), and ``<zone>_hv`` that it would give in the measured zones.
    table: object
    readings: object  # ``zone, readings, measured_hv, expected_hv, off_hv, sd_hv, off_sd``
    #: Row: the true cause, at its likeliest drift (at least one standard deviation); column: another; how near the
    #: other can come to the same readings, in their standard deviations.
    apart: object
    #: Likely causes these readings cannot separate: ``cause, other, apart_sd, check``.
    confusable: object
    #: How far all readings together are from what was expected, standard deviations (root of the chi-square over
    #: the number of zones).
    off_sd: float
    checks: Mapping[str, str]  # what shows each cause

    @property
    def likeliest(self) -> str:
        """Name of the likeliest cause (`NOTHING` if none is needed)."""
        return str(self.table["cause"].iloc[0])

    def words(self) -> str:
        lines = [
            f"{r.zone.capitalize()} {r.measured_hv:.0f} HV where {r.expected_hv:.0f} is expected: "
            f"{round(r.off_hv):+d} HV, {abs(r.off_sd):.1f} standard deviations."
            for r in self.readings.itertuples()
        ]
        likely = self.table[self.table["probability"] >= _LIKELY].head(_SPOKEN)
        for r in likely.itertuples():
            said = "nothing has drifted; everyday scatter and the model's error are enough."
            if r.cause != NOTHING:
                said = (
                    f"{r.label} {r.drift:+.3g} {r.unit} ({r.drift_low:+.3g} to {r.drift_high:+.3g}), so "
                    f"{r.to_value:.4g} instead of {r.from_value:.4g}. Check: {self.checks[r.cause]}."
                )
            lines.append(f"{100 * r.probability:.0f} %: {said}")
        rest = max(1.0 - likely["probability"].sum(), 0.0)
        lines.append(f"All others together: {100 * rest:.0f} %.")
        drifted, pairs = self.table[self.table["cause"] != NOTHING], self.confusable
        if drifted["probability"].sum() >= 0.5:
            label = dict(zip(self.table["cause"], self.table["label"], strict=True))
            top = drifted["cause"].iloc[0]
            for r in pairs[(pairs["cause"] == top) | (pairs["other"] == top)].itertuples():
                lines.append(
                    f"{label[r.cause].capitalize()} and {label[r.other]} cannot be separated by these "
                    f"readings ({r.apart_sd:.1f} standard deviations). {r.check}"
                )
        return "\n".join(lines)

    def shown(self):
        drift = ["drift", "drift_low", "drift_high", "unit", "misfit_sd"]
        return self.table[["label", "probability", *drift]]


def find_cause(
    measured, steel, head="mid-iron", route=None, shop=None, *, usual=None, names=None,
    reading_sd_hv: float = HARDNESS_NOISE_HV, heads_measured: int | None = None,
) -> Causes:  # fmt: skip
    """Rank what may have drifted, given hardness that is not what it should be.

    Parameters
    ----------
    measured : HardnessReadings, or readings by zone, HV: ``{"face": [395, 402, 390], "hosel": 231}``.
    steel, head, route, shop : what was set; mid-iron, default route and neutral shop when left out.
    usual : mapping of zone to float; what these zones usually measure with these settings, HV: then only
        the change counts, and the model's own error, its residuals by structure, falls out.
    names : causes to look at, of data/constants/drift_causes.csv; all that the route has when left out.
    reading_sd_hv : scatter of single readings, HV.
    heads_measured : heads that the readings come from: everyday scatter averages over them; counted in
        `HardnessReadings`, else 1.

    Raises
    ------
    InputError
        No reading, an unknown zone or cause.

    References
    ----------
    .. [1] Marginal likelihood of one cause at a time: H. Jeffreys, Theory of Probability (from
       memory).
    .. [2] An even chance of no drift beforehand; causes nearer than 2 standard deviations cannot be
       separated (our choice).

    Examples
    --------
    >>> found = find_cause({"face": [330, 325, 335], "hosel": 236}, "4130", usual={"face": 430, "hosel": 237})
    >>> found.likeliest in ("flux", "delay_s", "spray_s")
    True
    """
    study = Study(steel, head, route, shop=shop)
    readings, counted = _readings_of(measured)
    zones = [z for z in ZONES if z in readings]
    index = [ZONES.index(zone) for zone in zones]
    heads_n = counted if heads_measured is None else heads_measured
    heads_n = int(check_number(heads_n, "number of heads", 1, 1_000_000))
    check_number(reading_sd_hv, "scatter of readings", 0.1, 200.0, "HV")
    drifts = causes(study, names)
    z, fine = np.linspace(-_FAR, _FAR, _MARCHED), np.linspace(-_FAR, _FAR, _FINE)
    marched = _turned(study, drifts, np.outer([d.sd for d in drifts], z))
    middle = _MARCHED // 2  # of the first cause: nothing has drifted there
    every = marched.hardness_hv.reshape(len(drifts), _MARCHED, -1)
    here = every[0, middle, index]
    response = every[:, :, index] - here
    curves = np.array([[np.interp(fine, z, zone) for zone in r.T] for r in response])
    curves = curves.transpose(0, 2, 1)
    mean = np.array([np.mean(readings[zone]) for zone in zones])
    count = np.array([len(readings[zone]) for zone in zones])
    expected = _expected(usual, zones, here)
    own = model_sd_hv(marched)[middle, index] if usual is None else np.zeros(len(zones))
    # change for one everyday standard deviation of everything that scatters
    everyday = causes(study)
    ends = _turned(study, everyday, np.outer([d.everyday_sd for d in everyday], (1.0, -1.0)))
    slopes = 0.5 * (ends.hardness_hv[::2] - ends.hardness_hv[1::2])[:, index]
    noise = np.diag(reading_sd_hv**2 / count + own**2)
    covariance = noise + slopes.T @ slopes / heads_n
    off, precision, sd = mean - expected, np.linalg.inv(covariance), np.sqrt(np.diag(covariance))
    table, best = _ranked(drifts, curves, fine, off, precision, zones, expected)
    apart = _apart(drifts, curves, fine, best, precision)
    confusable = _confusable(drifts, table, apart, fine[best], marched, z, zones)
    seen = {"zone": zones, "readings": count, "measured_hv": mean, "expected_hv": expected}
    seen = data_frame({**seen, "off_hv": off, "sd_hv": sd, "off_sd": off / sd})
    off_sd = float(np.sqrt(off @ precision @ off / len(zones)))
    return Causes(table, seen, apart, confusable, off_sd, {d.name: d.check for d in drifts})


def _readings_of(measured) -> tuple[dict[str, list[float]], int]:
    """Readings in HV by zone, and how many heads they come from."""
    if isinstance(measured, HardnessReadings):
        frame = measured.frame
        by_zone = {zone: list(f["hardness_hv"]) for zone, f in frame.groupby("zone", sort=False)}
        return by_zone, max(int(frame["head_id"].nunique()), 1)
    if not isinstance(measured, Mapping) or not measured:
        form = "a mapping such as {'face': [395, 402], 'hosel': 231} or hardness readings"
        raise InputError(f"measured must be {form}; got {shown(measured)}.")
    found = {}
    for zone, values in measured.items():
        zone = check_choice(zone, "zone", ZONES, "measured")
        values, what = np.atleast_1d(np.asarray(values, object)), f"{zone} hardness"
        found[zone] = [check_number(v, what, 60.0, 1000.0, "HV", "measured") for v in values]
        if not found[zone]:
            raise InputError(f"there is no reading of the {zone}; give one or more (measured).")
    return found, 1


def _expected(usual, zones, predicted: np.ndarray) -> np.ndarray:
    if usual is None:
        return predicted
    form = "a mapping such as {'face': 430, 'hosel': 237}"
    check_kind(usual, Mapping, "usual", form=form)
    if lost := [zone for zone in zones if zone not in usual]:
        need = f"every zone that was measured ({', '.join(zones)})"
        raise InputError(f"usual has no {lost[0]}; needed is {need}.")
    named = [(usual[zone], f"usual {zone} hardness") for zone in zones]
    return np.array([check_number(*pair, 60.0, 1000.0, "HV") for pair in named])


def _turned(study: Study, drifts: Sequence[Drift], off: np.ndarray) -> Evaluation:
    """Every cause turned by `off`, shape (causes, n), one after the other; cut off at what the setting may be."""
    n, arrays = off.shape[1], {d.name: np.full(off.size, d.now) for d in drifts}
    for k, d in enumerate(drifts):
        turned = np.clip(d.now + off[k], d.setting.low, d.setting.high)
        arrays[d.name][k * n : (k + 1) * n] = turned
    return evaluate(study.job.varied(arrays))


def _ranked(drifts, curves, fine, off, precision, zones, expected):
    """Table of the causes, likeliest first, and the place of each cause's likeliest drift."""
    miss = off - curves
    chi, chi_nothing = np.einsum("knz,zy,kny->kn", miss, precision, miss), off @ precision @ off
    weight = np.exp(-0.5 * fine * fine)
    weight /= weight.sum()
    log_likelihood = -0.5 * chi
    top = max(log_likelihood.max(), float(-0.5 * chi_nothing))
    evidence = np.exp(log_likelihood - top) @ weight
    evidence *= (1.0 - _NOTHING_CHANCE) / len(drifts)
    evidence = np.append(evidence, np.exp(-0.5 * chi_nothing - top) * _NOTHING_CHANCE)
    best = np.argmax(log_likelihood - 0.5 * fine * fine, axis=1)
    every = np.arange(len(drifts))
    posterior = np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True)) * weight
    steps = np.cumsum(posterior, axis=1) / posterior.sum(axis=1, keepdims=True)
    ends = ((steps < p).sum(axis=1).clip(max=len(fine) - 1) for p in (0.1, 0.9))
    now, sd, low, high = np.array([(d.now, d.sd, d.setting.low, d.setting.high) for d in drifts]).T
    to, to_low, to_high = (np.clip(now + sd * fine[at], low, high) for at in (best, *ends))
    rows = [(d.name, d.setting.label, d.setting.unit) for d in drifts]
    table = data_frame([*rows, (NOTHING, "no drift", "")], columns=["cause", "label", "unit"])
    table["probability"] = evidence / evidence.sum()
    for name, value in (("drift", to), ("drift_low", to_low), ("drift_high", to_high)):
        table[name] = np.append(value - now, 0.0)
    table["from_value"], table["to_value"] = np.append(now, np.nan), np.append(to, np.nan)
    table["misfit_sd"] = np.sqrt(np.append(chi[every, best], chi_nothing) / len(zones))
    for i, zone in enumerate(zones):
        table[f"{zone}_hv"] = np.append(expected[i] + curves[every, best, i], expected[i])
    return table.sort_values("probability", ascending=False, kind="stable", ignore_index=True), best


def _apart(drifts, curves, fine, best, precision):
    """How far the nearest that the column's cause can give is from what the row's cause gives, in sds.

    The row's cause stands at its likeliest drift, or one standard deviation out if that is less.
    """
    far = []
    for curve, place in zip(curves, best, strict=True):
        if abs(fine[place]) < 1.0:
            place = int(np.abs(fine - np.copysign(1.0, fine[place])).argmin())
        miss = curve[place] - curves
        far.append(np.sqrt(np.einsum("knz,zy,kny->kn", miss, precision, miss).min(axis=1)))
    names = [d.name for d in drifts]
    return data_frame(np.array(far), index=names, columns=names)


def _confusable(drifts, table, apart, at, marched, z, zones):
    """Likely pairs that the readings do not part, with the check that would; `at` are the likeliest drifts."""
    order = {d.name: k for k, d in enumerate(drifts)}
    likely = table[(table["probability"] >= _LIKELY) & (table["cause"] != NOTHING)]["cause"]
    rows = []
    for pair in itertools.combinations(likely[:_SPOKEN], 2):
        distance = float(min(apart.loc[pair], apart.loc[pair[::-1]]))
        if distance < APART_SD:
            causes_ = [(drifts[order[name]], order[name], at[order[name]]) for name in pair]
            rows.append((*pair, distance, _check_words(causes_, marched, z, zones)))
    return data_frame(rows, columns=["cause", "other", "apart_sd", "check"])


def _check_words(pair, marched: Evaluation, z, zones) -> str:
    """The further look at a head that parts two causes (drift, its number and likeliest place) best, in words."""
    looks, hv = [], marched.hardness_hv.T
    for zone in (zone for zone in ZONES if zone not in zones):
        words = f"measure the hardness of the {zone}"
        looks.append((words, hv[ZONES.index(zone)], "HV", _EXTRA_HV, 0.0))
    for when, column in _LOOKS.items():
        for zone, values in zip(ZONES, getattr(marched.results, column).T, strict=True):
            words = f"read the {zone} with a pyrometer {when}"
            looks.append((words, values, "°C", _PYROMETER_C, _PYROMETER_FROM_C))
    (a, *_), (b, *_) = pair
    direct, n, parted = f"{a.check}; {b.check}.", len(z), []
    for words, values, unit, sd, least in looks:
        both = [float(np.interp(at, z, values[k * n : (k + 1) * n])) for _, k, at in pair]
        if np.isfinite(both).all() and min(both) > least:
            says = f"{words}; {both[0]:.0f} {unit} speaks for {a.setting.label}"
            parted.append(
                (abs(both[0] - both[1]) / sd, f"{says}, {both[1]:.0f} {unit} for {b.setting.label}")
            )
    apart, words = max(parted, key=lambda look: look[0], default=(0.0, ""))
    if apart >= _PARTS_SD:
        return f"What parts them: {words}. Or directly: {direct}"
    return f"No further reading of the head parts them; check directly: {direct}"
