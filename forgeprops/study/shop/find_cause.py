"""Which drift explains hardness that is off: causes ranked by likelihood, and which check separates them.

Every cause alone is turned through its plausible drifts on the engine.  The chance of a cause is the
likelihood of the readings averaged over its drifts: a cause that needs an unlikely drift, or fits with one
narrow drift only, gains little.  Readings scatter by the tester, by the everyday scatter of all settings,
and by the model's own error where the shop's usual hardness is not given.
"""

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

from ...answer.evaluation import evaluate
from ...base.errors import InputError, check_choice, check_number, shown
from ...inputs.head import ZONES
from ...io.tables import data_frame
from ..process.study import Study
from .causes import LIKELY, NOTHING, SPOKEN, Causes, Drift, causes
from .fitting import HARDNESS_NOISE_HV
from .measurements import HardnessReadings
from .residuals import model_sd_hv as predicted_sd_hv

#: Chance beforehand that nothing has drifted; the causes share the rest evenly (our choice).
_NOTHING_CHANCE = 0.5
#: Drifts examined: out to this many standard deviations, marched at so many places, interpolated to so many.
_FAR, _MARCHED, _FINE = 3.0, 21, 241
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
_LOOKS = (
    ("as it leaves the furnace", "peak_c"),
    ("in the press", "die_c"),
    ("as the water starts", "water_on_c"),
    ("as the water stops", "water_off_c"),
)


def find_cause(
    measured,
    steel,
    head="mid-iron",
    route=None,
    shop=None,
    *,
    usual=None,
    names: Sequence[str] | None = None,
    reading_sd_hv: float = HARDNESS_NOISE_HV,
    model_sd_hv: float | None = None,
    heads_measured: int | None = None,
) -> Causes:
    """Rank what may have drifted, given hardness that is not what it should be.

    Parameters
    ----------
    measured : HardnessReadings, or mapping of str to float or sequence of float
        Readings by zone, HV: ``{"face": [395, 402, 390], "hosel": 231}``.
    steel, head, route, shop
        What was set; the mid-iron, the default route and the neutral shop when left out.
    usual : mapping of str to float, optional
        What these zones usually measure with these settings, HV: then only the change counts, and the
        model's own error falls out.
    names : sequence of str, optional
        Causes to look at, of data/constants/drift_causes.csv; all that the route has when left out.
    reading_sd_hv : float
        Scatter of single readings, HV.
    model_sd_hv : float, optional
        Standard deviation of the predicted hardness, HV; by default the model's residuals by structure, or
        0 with `usual`.
    heads_measured : int, optional
        Heads that the readings come from: everyday scatter averages over them; counted in
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
    heads_n = counted if heads_measured is None else heads_measured
    heads_n = int(check_number(heads_n, "number of heads", 1, 1_000_000))
    if model_sd_hv is not None:
        check_number(model_sd_hv, "standard deviation of the model", 0.0, 300.0, "HV")
    check_number(reading_sd_hv, "scatter of readings", 0.1, 200.0, "HV")
    drifts = causes(study, names)
    z = np.linspace(-_FAR, _FAR, _MARCHED)
    marched = evaluate(study.varied(_turned(drifts, z)))
    middle = _MARCHED // 2  # of the first cause: nothing has drifted there
    index = [ZONES.index(zone) for zone in zones]
    every = marched.hardness_hv.reshape(len(drifts), _MARCHED, -1)
    here = every[0, middle]
    response = every[:, :, index] - here[index]
    mean = np.array([np.mean(readings[zone]) for zone in zones])
    count = np.array([len(readings[zone]) for zone in zones])
    expected = _expected(usual, zones, here[index])
    own = model_sd_hv or 0.0
    if model_sd_hv is None and usual is None:
        own = predicted_sd_hv(marched)[middle, index]
    slopes = _everyday(study)[:, index]
    noise = np.diag(reading_sd_hv**2 / count + np.broadcast_to(own, len(zones)) ** 2)
    covariance = noise + slopes.T @ slopes / heads_n
    off = mean - expected
    precision = np.linalg.inv(covariance)
    fine = np.linspace(-_FAR, _FAR, _FINE)
    curves = np.array([[np.interp(fine, z, zone) for zone in r.T] for r in response])
    curves = curves.transpose(0, 2, 1)
    table, best = _ranked(drifts, curves, fine, off, precision, zones, expected)
    apart = _apart(drifts, curves, fine, best, precision)
    confusable = _confusable(drifts, table, apart, fine, best, marched, every, z, zones)
    sd = np.sqrt(np.diag(covariance))
    seen = {"zone": zones, "readings": count, "measured_hv": mean, "expected_hv": expected}
    seen = data_frame({**seen, "off_hv": off, "sd_hv": sd, "off_sd": off / sd})
    off_sd = float(np.sqrt(off @ precision @ off / len(zones)))
    return Causes(table, seen, apart, confusable, off_sd)


# ---- inputs


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
    if not isinstance(usual, Mapping):
        form = "a mapping such as {'face': 430, 'hosel': 237}"
        raise InputError(f"usual must be {form}; got {shown(usual)}.")
    for zone in zones:
        if zone not in usual:
            every = ", ".join(zones)
            raise InputError(
                f"usual has no {zone}; needed is every zone that was measured ({every})."
            )
    named = [(usual[zone], f"usual {zone} hardness") for zone in zones]
    return np.array([check_number(*pair, 60.0, 1000.0, "HV") for pair in named])


def _turned(drifts: Sequence[Drift], z: np.ndarray) -> dict[str, np.ndarray]:
    """Every cause turned through its drifts, one after the other; cut off at what the setting may be."""
    n = len(z)
    arrays = {d.name: np.full(len(drifts) * n, d.now) for d in drifts}
    for k, d in enumerate(drifts):
        turned = np.clip(d.now + d.sd * z, d.setting.low, d.setting.high)
        arrays[d.name][k * n : (k + 1) * n] = turned
    return arrays


def _everyday(study: Study) -> np.ndarray:
    """Change of every zone's hardness for one everyday standard deviation of everything that scatters, HV."""
    every = causes(study)
    n = len(every)
    arrays = {}
    for k, d in enumerate(every):
        arrays[d.name] = np.full(2 * n, d.now)
        ends = d.now + d.everyday_sd, d.now - d.everyday_sd
        arrays[d.name][[2 * k, 2 * k + 1]] = np.clip(ends, d.setting.low, d.setting.high)
    hardness = evaluate(study.varied(arrays)).hardness_hv
    return 0.5 * (hardness[::2] - hardness[1::2])


# ---- ranking


def _ranked(drifts, curves, fine, off, precision, zones, expected):
    """Table of the causes, likeliest first, and the place of each cause's likeliest drift."""
    miss = off - curves
    chi = np.einsum("knz,zy,kny->kn", miss, precision, miss)
    weight = np.exp(-0.5 * fine * fine)
    weight /= weight.sum()
    log_likelihood = -0.5 * chi
    top = max(log_likelihood.max(), float(-0.5 * off @ precision @ off))
    evidence = (np.exp(log_likelihood - top) * weight).sum(axis=1)
    nothing = float(np.exp(-0.5 * off @ precision @ off - top))
    evidence *= (1.0 - _NOTHING_CHANCE) / len(drifts)
    nothing *= _NOTHING_CHANCE
    total = evidence.sum() + nothing
    best = np.argmax(log_likelihood - 0.5 * fine * fine, axis=1)
    every = np.arange(len(drifts))
    posterior = np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True)) * weight
    steps = np.cumsum(posterior, axis=1) / posterior.sum(axis=1, keepdims=True)
    ends = ((steps < p).sum(axis=1).clip(max=len(fine) - 1) for p in (0.1, 0.9))
    now, sd, low, high = np.array([(d.now, d.sd, d.setting.low, d.setting.high) for d in drifts]).T
    to, to_low, to_high = (np.clip(now + sd * fine[at], low, high) for at in (best, *ends))
    misfit = np.append(chi[every, best], off @ precision @ off)
    rows = [(d.name, d.label, d.setting.unit) for d in drifts]
    table = data_frame([*rows, (NOTHING, "no drift", "")], columns=["cause", "label", "unit"])
    table["probability"] = np.append(evidence, nothing) / total
    for name, value in (("drift", to), ("drift_low", to_low), ("drift_high", to_high)):
        table[name] = np.append(value - now, 0.0)
    table["from_value"], table["to_value"] = np.append(now, np.nan), np.append(to, np.nan)
    table["misfit_sd"] = np.sqrt(misfit / len(zones))
    for i, zone in enumerate(zones):
        table[f"{zone}_hv"] = np.append(expected[i] + curves[every, best, i], expected[i])
    return table.sort_values("probability", ascending=False, kind="stable", ignore_index=True), best


def _apart(drifts, curves, fine, best, precision):
    """How far the nearest that the column's cause can give is from what the row's cause gives, in sds.

    The row's cause stands at its likeliest drift, or one standard deviation out if that is less.
    """
    n = len(drifts)
    far = np.zeros((n, n))
    for i in range(n):
        place = best[i]
        if abs(fine[place]) < 1.0:
            place = int(np.abs(fine - np.copysign(1.0, fine[place])).argmin())
        miss = curves[i, place] - curves
        far[i] = np.sqrt(np.einsum("knz,zy,kny->kn", miss, precision, miss).min(axis=1))
    names = [d.name for d in drifts]
    return data_frame(far, index=names, columns=names)


# ---- what parts two causes


def _confusable(drifts, table, apart, fine, best, marched, every, z, zones):
    """Likely pairs that the readings do not part, with the check that would."""
    order = {d.name: k for k, d in enumerate(drifts)}
    likely = table[(table["probability"] >= LIKELY) & (table["cause"] != NOTHING)]["cause"]
    rows = []
    for one, other in itertools.combinations(likely[:SPOKEN], 2):
        distance = float(min(apart.loc[one, other], apart.loc[other, one]))
        if distance < APART_SD:
            a, b = order[one], order[other]
            at = fine[best[a]], fine[best[b]]
            looks = _looks(a, b, at, marched, every, z, zones)
            rows.append((one, other, distance, _check_words(drifts[a], drifts[b], looks)))
    return data_frame(rows, columns=["cause", "other", "apart_sd", "check"])


def _looks(a: int, b: int, at, marched, every, z, zones):
    """Further looks at a head, by how well they part two causes: words, what each gives, unit, sds."""
    n, looks = len(z), []

    def look(words: str, values: np.ndarray, unit: str, sd: float, least: float) -> None:
        turned = zip((a, b), at, strict=True)
        both = [float(np.interp(place, z, values[k * n : (k + 1) * n])) for k, place in turned]
        if np.isfinite(both).all() and min(both) > least:
            looks.append((words, both, unit, abs(both[0] - both[1]) / sd))

    for i, zone in enumerate(ZONES):
        if zone not in zones:
            words = f"measure the hardness of the {zone}"
            look(words, every[:, :, i].ravel(), "HV", _EXTRA_HV, 0.0)
    for when, column in _LOOKS:
        for i, zone in enumerate(ZONES):
            values = getattr(marched.results, column)[:, i]
            words = f"read the {zone} with a pyrometer {when}"
            look(words, values, "°C", _PYROMETER_C, _PYROMETER_FROM_C)
    return sorted(looks, key=lambda look: -look[3])


def _check_words(a: Drift, b: Drift, looks) -> str:
    direct = f"{a.check}; {b.check}."
    if looks and looks[0][3] >= _PARTS_SD:
        words, both, unit, _ = looks[0]
        return (
            f"What parts them: {words}; {both[0]:.0f} {unit} speaks for {a.label}, "
            f"{both[1]:.0f} {unit} for {b.label}. Or directly: {direct}"
        )
    return f"No further reading of the head parts them; check directly: {direct}"
