"""What the page shows of one job: curves, zones, tiles, signs and the sentence, in the reader's units."""

import re
from base64 import b64encode
from dataclasses import replace

import numpy as np

from ...answer.evaluation import evaluate
from ...answer.verdict import LimitState, Verdict, level_of
from ...answer.warnings.listing import brief
from ...answer.words import second_scale
from ...inputs.cases import Cases
from ...inputs.head import ZONES
from ...inputs.job import Job
from ...inputs.limits import QUANTITIES
from ...inputs.settings import COOLING_WORDS, table
from ..units import Units
from .desk import differences
from .fields import MAIN, fields_of, hardness_number, number_of, purpose_of, shown

#: Seconds after the furnace of the samples of a curve, even on a logarithmic axis.
TIMES_S = np.geomspace(1.0, 2000.0, 160)
#: Ends of the gauges: face hardness in HV, hosel bend in degrees (our choice).
FACE_HV, HOSEL_DEG = (100.0, 700.0), (0.0, 6.0)
#: Press effort against 1030 at the same temperatures from which the forgeability sign warns (our choice).
HARD_TO_PRESS = 1.25
#: Numbers that a head of one's own is first described by.
HEAD_NUMBERS = "mass_g face_mm blade_length_mm blade_height_mm".split()
HEAD_NUMBERS += "hosel_outside_mm hosel_bore_mm hosel_length_mm".split()
_LEVELS = ("good", "marginal", "out")


def curves_of(e, units: Units) -> str:
    """Times and the temperature of the five zones of an evaluation, six rows of float32, zone after zone, in base 64.

    Text, because the page server hangs on a binary message to a connection that names no protocol.
    """
    at_s, trace = e.cases.times_s["out of furnace"][0] + TIMES_S, e.results.traces[0]
    rows = [units.from_c(np.interp(at_s, trace.time_s, c)) for c in trace.zones_c.T]
    return b64encode(np.stack([TIMES_S, *rows]).astype("<f4")).decode()


def first_of(job: Job, units: Units) -> tuple[dict, str]:
    """Hardness of the zones and the curves by one march, for a slider on its way."""
    e = evaluate(Cases.of(*([part] for part in case_of(job))), {"trace"})
    texts = {z: units.hardness_text(hv) for z, hv in zip(ZONES, e.hardness_hv[0], strict=True)}
    value, _, second = _hardness(units, e.hardness_hv[0, 0])
    return {"zones": texts, "value": value, "second": second}, curves_of(e, units)


def case_of(job: Job) -> tuple:
    """The job as a case of many."""
    return job.steel, job.struck_head, job.route, job.shop


def _level(states: list[LimitState]) -> str:
    if not states:
        return "none"
    return level_of(all(s.met for s in states), min(s.chance for s in states), False)


def _worst(levels) -> str:
    return max((x for x in levels if x != "none"), key=_LEVELS.index, default="none")


def _share(value: float, ends: tuple[float, float]) -> float:
    return round(100.0 * min(max((value - ends[0]) / (ends[1] - ends[0]), 0.0), 1.0), 1)


def _gauge(ends, limit, low, value, high) -> dict:
    band = [_share(ends[i] if end is None else end, ends) for i, end in enumerate(limit)]
    span = [_share(low, ends), _share(high, ends)]
    return {"band": band if any(limit) else [0, 0], "span": span, "dot": _share(value, ends)}


def _hardness(units: Units, hv: float) -> tuple[str, str, str]:
    """Number, scale, and for readers of HV the Rockwell hardness beside it."""
    number, _, scale = units.hardness_text(hv).rpartition(" ")
    if scale == "HV" and units.hardness == "HV":
        return number, scale, second_scale(hv)
    return number, scale, ""


def state_of(job: Job, result, verdict: Verdict, units: Units, pinned=None) -> dict:
    """Everything the page paints on a move, as plain numbers and texts; `pinned` (job, result, verdict) to compare with."""
    sure = min(verdict.chance_right, 0.01 * verdict.heads_inside)
    decides = verdict.weakest  # shows the level of the verdict
    limits = [replace(s, chance=min(s.chance, sure)) if s is decides else s for s in verdict.limits]
    by_name = {name: [s for s in limits if s.name == name] for name in QUANTITIES}
    zones, hosel = result.zones, result.hosel
    hosel_level = _worst([_level(by_name["hosel_allowed_deg"]), _level(by_name["bar_force_n"])])
    crack = next((w for w in verdict.stops if w.code == "quench-crack"), None)
    levels = {z: _level(by_name[f"{z}_hardness_hv"]) for z in ZONES}
    for z in ("neck", "hosel"):
        levels[z] = _worst([levels[z], hosel_level])
    face_level = _worst([levels["face"], "out" if crack else "none"])
    levels["face"] = _worst([face_level, _level(by_name["face_margin"])])
    heads = {}
    for z, r in zones.items():
        phases = {name: round(100 * share) for name, share in r.fractions.items() if share >= 0.01}
        head = {"level": levels[z], "text": units.hardness_text(r.hardness_hv)}
        heads[z] = head | {"phases": phases}
    face = zones["face"]
    words = {"face": "may crack" if crack else _missed(by_name["face_hardness_hv"])}
    words["hosel"] = _missed([*by_name["hosel_allowed_deg"], *by_name["bar_force_n"]])
    heads["face"]["word"] = words["face"] or _missed(by_name["face_margin"])
    number, scale, second = _hardness(units, face.hardness_hv)
    bounds = ("face_hardness_hv", "hosel_allowed_deg", "bar_force_n")
    bounds = (result.limits.bounds.get(name, (None, None)) for name in bounds)
    face_limits, deg_limits, force_limits = bounds
    face_ends = [None if e is None else hardness_number(units, e) for e in face_limits]
    most_force = None if force_limits[1] is None else round(units.convert(force_limits[1], "N"))
    deg_span = hosel.allowed_deg_low, hosel.allowed_deg_high
    bar = units.convert(float(job.bench.get("bar_mm", 500.0)), "mm")
    bar = f"{bar:.0f} mm" if units.length == "mm" else f"{bar:.1f} in"
    pull = f"{units.force_text(hosel.bar_force_n)}, {bar} bar"
    a = dict.fromkeys(("face", "hosel", "sure"), "")
    if pinned is not None:
        a["face"] = f"A {units.hardness_text(pinned[1].zones['face'].hardness_hv)}"
        a["hosel"] = f"A {pinned[1].hosel.allowed_deg:.1f}°"
        a["sure"] = f"A {100 * pinned[2].chance_right:.0f} %"
    tiles = {
        "face": {
            "level": face_level, "word": words["face"], "value": number, "unit": scale, "second": second, "a": a["face"], "ends": face_ends, "scale": units.hardness,
            "gauge": _gauge(FACE_HV, face_limits, face.hardness_low_hv, face.hardness_hv, face.hardness_high_hv),
        },
        "hosel": {
            "level": hosel_level, "word": words["hosel"], "value": f"{hosel.allowed_deg:.1f}°", "unit": "", "a": a["hosel"],
            "second": pull if hosel.takes_change else f"do not bend it {hosel.target_deg:.1f}°", "ends": [deg_limits[0], most_force], "force": units.force,
            "gauge": _gauge(HOSEL_DEG, deg_limits, deg_span[0], hosel.allowed_deg, deg_span[1]),
        },
        "sure": {
            "level": level_of(True, sure, bool(verdict.stops)), "value": f"{100 * verdict.chance_right:.0f}", "unit": "%", "a": a["sure"],
            "second": f"if so, {verdict.heads_inside} of 100 inside" if verdict.chance_right >= 0.01 else "", "gauge": {"band": [0, 0], "span": [0, 0], "dot": round(100 * verdict.chance_right)},
        },
    }  # fmt: skip
    events, out_s = result.events, result.events["out of furnace"]
    ends = [events[f"water {w}"] - out_s for w in ("on", "off") if f"water {w}" in events]
    critical = result.critical
    own = {n: getattr(job.head, n) for n in HEAD_NUMBERS[4:]}
    own["face_mm"] = job.head.face_thickness_mm
    own = {n: round(float(units.convert(v, "mm")), 3) for n, v in own.items()}
    fields = fields_of(job, units)
    if pinned is not None:
        for name, field in fields.items():
            field["pin"] = shown(units, name, number_of(pinned[0], name))
    return {
        "level": verdict.level, "zones": heads, "tiles": tiles, "signs": _signs(result, verdict, units, by_name),
        "sentence": sentence(verdict), "fields": fields, "spray": ends or None, "hosel": f"{hosel.allowed_deg:.1f}°",
        "marks": {n: float(units.from_c(v)) for n, v in (("Ae3", critical.ae3_c), ("Bs", critical.bs_c), ("Ms", critical.ms_c))},
        "steel": job.steel.name, "head": job.head.name, "cooling": job.route.surroundings, "purpose": purpose_of(result.limits),
        "analysis": " ".join(f"{e}={v:g}" for e, v in job.steel.composition.items() if v), "own": own, "title": f"{job.steel.name} · {job.head.name}", "sub": _setting_words(job, units),
        "shop": "" if job.shop.name == "neutral" else job.shop.name, "temperature": units.temperature, "why": _why(result, units),
        "compared": "" if pinned is None else change_words(pinned[0], job, units), "units": [units.temperature, units.length, units.hardness],
    }  # fmt: skip


def value_words(units: Units, name: str, value: float) -> str:
    """A setting's value with its unit as the page shows it: "10 s", "2.9 L/min"."""
    return re.sub(r"\.0+(?= )", "", units.value_text(table()[name], value))


def _setting_words(job: Job, units: Units) -> str:
    preheat, flux, spray_s = (value_words(units, n, number_of(job, n)) for n in MAIN)
    wet = number_of(job, "flux") > 0 and number_of(job, "spray_s") > 0
    return f"{preheat}, {flux} for {spray_s}" if wet else f"{preheat}, no spray"


def change_words(a: Job, b: Job, units: Units) -> str:
    """What changed from one job to another, in one line."""
    parts = []
    for name, (old, new) in differences(a, b).items():
        if name in table() and isinstance(old, (int, float)) and isinstance(new, (int, float)):
            old, new = (value_words(units, name, v) for v in (old, new))
            parts.append(f"{table()[name].label} {old} → {new}")
        elif name == "cooling":
            parts.append(f"cool {COOLING_WORDS[new]}")
        else:
            named = name in ("steel", "head", "shop")
            parts.append(f"{name} {old} → {new}" if named else f"{name} changed")
    return ", ".join(parts)


def _signs(result, verdict: Verdict, units: Units, by_name) -> list[dict]:
    codes = {w.code for w in result.warnings}
    cracks, effort = "quench-crack" in codes, result.effort
    warm = {"overheating", "below-ac1", "range:shida.temperature"} & codes
    doubt = "marginal" if warm or effort.relative > HARD_TO_PRESS else "good"
    press = "out" if {"burning", "too-cold-to-press"} & codes else doubt
    forge = _worst([press, _level(by_name["forging_low_c"])])
    die, crack = units.temperature_text(effort.die_c), by_name["crack_index"]
    said = "may crack in the spray" if cracks else "no crack warning"
    if crack:
        said = f"index {crack[0].text(crack[0].value)}"
    margin, pull = by_name["face_margin"], by_name["bar_force_n"]
    hosel = result.hosel
    # the strike's interval takes its time and is not shown here
    strike = margin[0].value if margin else result.face.margin
    return [
        {"name": "Crack", "level": _worst(["out" if cracks else "good", _level(crack)]), "text": said},
        {"name": "Forging", "level": forge, "text": f"{die} in the die, {effort.relative:.2f} × 1030"},
        {"name": "Strike", "level": _level(margin) if margin else "good" if strike >= 1 else "out", "text": f"margin {strike:.1f}"},
        {"name": "Pull", "level": _level(pull), "text": f"{units.force_text(hosel.bar_force_n)}, {hosel.ease.partition(':')[0]}"},
    ]  # fmt: skip


#: A limit and its end → what is wrong: in two words, missed, in doubt.
_WORDS = {
    ("face_hardness_hv", 1): ("too soft", "the face is too soft", "the face may come out too soft"),
    ("face_hardness_hv", -1): ("too hard", "the face is too hard", "the face may come out too hard"),
    ("hosel_allowed_deg", 1): ("bends too little", "the hosel is too hard to bend far enough", "the hosel may not bend far enough"),
    ("bar_force_n", -1): ("pull too heavy", "the hosel takes too heavy a pull", "the pull may be too heavy"),
    ("face_margin", 1): ("too weak", "the face is too weak for the strike", "the face may be too weak for the strike"),
}  # fmt: skip


def _words(s: LimitState) -> tuple[str, str, str]:
    other = "outside", f"{s.words} is missed", f"{s.words} is in doubt"
    return _WORDS.get((s.name, 1 if "at least" in s.words else -1), other)


def _missed(limits) -> str:
    unsure = "too unsure" if _level(limits) == "out" else ""
    return next((_words(s)[0] for s in limits if not s.met), unsure)


def sentence(verdict: Verdict) -> str:
    """Cause, and what the remedy costs; the numbers stand in the tiles, the remedy on its button."""
    worst = verdict.weakest
    if verdict.level == "good" or worst is None:
        return "Good: every limit is kept. Confirm it on trial heads."
    what = _words(worst)[2 if worst.met else 1]
    if verdict.stops:
        what = brief(verdict.stops[0].code)
    elif verdict.cause:
        what += f": {verdict.cause}"
    return f"{'Not good' if verdict.level == 'out' else 'Not sure'}: {what}."


def remedy_label(job: Job, remedy, units: Units) -> str:
    """The remedy as a command on a button: "Set spray time to 8 s"."""
    for name in (*MAIN, "delay_s"):
        old, new = job.route.setting(name), remedy.route.setting(name)
        if remedy.kind == "setting" and old != new:
            return f"Set {table()[name].label} to {value_words(units, name, new)}"
    words = units.text(remedy.words)
    return words[0].upper() + words[1:]


def _why(result, units: Units) -> dict:
    """Table of the zones, and the three temperatures."""
    rows, degrees = [], units.temperature_text
    for name, z in result.zones.items():
        ends, rate = units.hardness_text(z.hardness_low_hv, z.hardness_high_hv), z.rate_700_c_per_s
        if rate is not None:
            rate = f"{units.convert(rate, '°C', step=True):.1f} {units.temperature}/s"
        rows.append([name, ends, "–" if z.t85_s is None else f"{z.t85_s:.0f} s", rate or "–"])
    start_c, water_c = result.route.preheat_c, result.zones["face"].water_c
    temps = {"preheat": start_c, "forging": result.effort.die_c, "quench start": water_c}
    said = (f"{n} {degrees(v)}" for n, v in temps.items() if v is not None)
    return {"rows": rows, "temperatures": "  ·  ".join(said)}


def numbers_of(job: Job, result, verdict: Verdict, units: Units) -> list[list[str]]:
    """The numbers of the page as rows to copy or to save."""
    h, hv, zones = result.hosel, units.hardness_text, []
    for z, r in result.zones.items():
        ends = hv(r.hardness_low_hv, r.hardness_high_hv)
        zones.append([f"{z} hardness", hv(r.hardness_hv), ends])
    return [
        ["job", f"{job.steel.name}, {job.head.name}, {_setting_words(job, units)}"],
        ["verdict", verdict.level],
        ["chance that the setting is right", f"{100 * verdict.chance_right:.0f} %"],
        ["heads inside", f"{verdict.heads_inside} of 100"],
        *zones,
        ["hosel bend", f"{h.allowed_deg:.2f}°", f"{h.allowed_deg_low:.1f} to {h.allowed_deg_high:.1f}°"],
        ["pull on the bar", units.force_text(h.bar_force_n)],
        ["strike margin", f"{result.face.margin:.2f}"],
    ]  # fmt: skip
