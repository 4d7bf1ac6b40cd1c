"""The answer in sentences: plain words first, numbers second, the reason beside them."""

import dataclasses
import math
import textwrap
from typing import Any

from ..base import cautions
from ..base.arrays import rounded
from ..base.ranges import ranked
from ..base.tables import read_rows, texts
from ..forging.cautions import FULL_AUSTENITE, NO_AUSTENITE, is_idle
from ..strength.hardness_scales import try_convert
from ..thermal.spray_units import from_flux
from ..units import Units
from .warnings.spray import LATE_WATER_C

#: Elements that are named as holding back ferrite and pearlite, from which wt% on: above residuals (our choice).
_ALLOYING = (("chromium", "Cr", 0.30), ("nickel", "Ni", 0.40), ("molybdenum", "Mo", 0.08))


def _say(name: str, result, **added) -> str:
    """A sentence of the table; it names the result as r, its zones, and what is added."""
    return texts("sentences")[name].format(r=result, **result.zones, **added)


def structure(fractions, most: int | None = None) -> str:
    """Structure in words, main part first: "72 % martensite, 28 % bainite"; the first `most` of them."""
    parts = ((share, name) for name, share in fractions.items() if share >= 0.02)
    shown = sorted(parts, reverse=True)[:most]
    names = {"untransformed": "first-heat structure"}
    return ", ".join(f"{100 * share:.0f} % {names.get(name, name)}" for share, name in shown)


def _hosel_why(result) -> str:
    """Why the hosel is as hard as it is."""
    hosel, steel = result.zones["hosel"], result.steel
    hard = hosel.fractions["bainite"] + hosel.fractions["martensite"]
    passed = f"; 800 to 500 °C takes {hosel.t85_s:.0f} s" if hosel.t85_s else ""
    free = f"°C/s at 700 °C (heat of transformation left out{passed})"
    rate = f"{hosel.rate_700_c_per_s:.1f} {free}" if hosel.rate_700_c_per_s else "slowly"
    alloy = steel.get("Cr") + steel.get("Mo") > 0.4
    named = [n for n, e, least in _ALLOYING if alloy and steel.get(e) >= least] or ["steel"]
    if hosel.austenite_share < NO_AUSTENITE:
        return "it never became austenite and keeps its first-heat structure, tempered"
    if hosel.austenite_share < 0.5:
        return "most of the hosel never became austenite and keeps its first-heat structure"
    if hard > 0.5:
        what = " and ".join([*([", ".join(named[:-1])] if named[1:] else []), named[-1]])
        held = f"the {what} {'hold' if named[1:] else 'holds'} back ferrite and pearlite"
        return f"in {_cooled_in(result)} it cools at {rate}, and {held} long enough for harder structures"
    soft = "slow enough for ferrite and pearlite in this alloy"
    soft = soft if alloy else "and without alloy that leaves soft ferrite and pearlite"
    return f"in {_cooled_in(result)} it cools at {rate}, {soft}"


def _air(result) -> str:
    rows = read_rows("constants/surroundings.csv")
    return next(r["short"] for r in rows if r["kind"] == result.route.surroundings)


def _cooled_in(result) -> str:
    """What cools the hosel first: a quench that reaches it, else air."""
    quenches = (q for q in result.route.quench if dict(q.zones).get("hosel") and q.duration_s > 0.0)
    return next((f"the {q.medium}" for q in quenches), _air(result))


def _face_why(result) -> str:
    face = result.zones["face"]
    if not (result.sprayed or result.route.quench):
        return "no spray: it cools in air with the rest"
    if not result.sprayed:
        return f"{result.route.quench[0].words}, and {structure(face.fractions, 2)}"
    share, dry = face.austenite_share, result.without_spray
    if share < 0.05:
        return "it was not austenite when the spray started, so there was nothing to harden"
    it, first = "it", ""
    if share < FULL_AUSTENITE:
        it = "that part"
        first = f"only {100 * share:.0f} % of it was austenite when it left the furnace, and "
    martensite, bainite = (face.fractions[name] / share for name in ("martensite", "bainite"))
    late = face.water_off_c is not None and face.water_off_c > result.critical.ms_c
    idle = dry is not None and is_idle(face.hardness_hv, dry["face"])
    if martensite > 0.5:
        if late and idle:
            return f"{first}{it} hardens in air as well as under the spray"
        return f"{first}the spray took {it} below Ms before it could turn into anything softer"
    if martensite + bainite > 0.5:
        if idle:
            return f"{first}{it} turns to bainite under the spray as it would in air"
        if late:
            return f"{first}the spray stopped above Ms and {it} turned to bainite while the body re-heated it"
        return f"{first}the spray was fast enough for bainite but not for martensite"
    if face.water_c is not None and face.water_c < result.critical.ae3_c - LATE_WATER_C:
        return f"{first}the spray came after ferrite could form"
    if late:
        return f"{first}the spray stopped above Ms, too weak or too short for this steel"
    return f"{first}this steel is too lean to harden under this spray"


#: Lines of a summary.
_MOST_LINES = 25


def second_scale(hv: float) -> str:
    """Hardness on the Rockwell scale that has it: "44 HRC", "97 HRB", else nothing."""
    found = {scale: try_convert(hv, "HV", scale) for scale in ("HRC", "HRB")}
    return next((f"{value:.0f} {s}" for s, value in found.items() if value is not None), "")


def _hardness(zone, units: Units) -> tuple[str, str, str]:
    """Hardness of a zone, its range without the unit where both have one, and Rockwell beside Vickers."""
    hardness = units.hardness_text(zone.hardness_hv)
    span = units.hardness_text(zone.hardness_low_hv, zone.hardness_high_hv)
    span = span.removesuffix(f" {hardness.rpartition(' ')[2]}")
    return hardness, span, second_scale(zone.hardness_hv) if units.hardness == "HV" else ""


def _zone_line(zone, units: Units) -> str:
    hardness, span, second = _hardness(zone, units)
    line = f"{zone.name:6} {f'{hardness:>7} ({span})':20} {second:>7} "
    for name in ("tensile_mpa", "yield_mpa"):
        rounded = map(round, (getattr(zone.strength, name), *zone.interval(name)))
        value, low, high = (units.convert(v, "MPa") for v in rounded)
        line += f"{f'{value:4.0f} ({low:.0f}–{high:.0f})':16} "
    lines = (line + structure(zone.fractions, most) for most in (2, 1))
    return next((s for s in lines if len(s) <= 100), line)


def _job(result) -> str:
    """Steel, head and settings in one line."""
    route, spray, wet = result.route, result.route.spray, "no spray"
    if spray and spray.flux_kg_m2_s * spray.duration_s:
        flow = from_flux(spray.flux_kg_m2_s).flow_l_min
        wet = f"delay {spray.delay_s:g} s, spray {flow:.1f} L/min for {spray.duration_s:g} s"
    parts = [f"preheat temperature {route.preheat_c:.0f} °C", wet]
    parts += [q.words for q in route.quench] + [_air(result)] + [h.words for h in route.later]
    return f"{result.steel.name}, {result.head.name}: " + ", ".join(parts)


def _deciding(result, units: Units) -> list[str]:
    """The six lines that decide: verdict, hardness, hosel, risk, remedy, how sure and what to measure."""
    verdict, bend, zones = result.verdict, result.hosel, []
    for name in ("face", "hosel"):
        hardness, span, second = _hardness(result.zones[name], units)
        zones.append(f"{name} {hardness} ({span}{f', {second}' * bool(second)})")
    by_hand = bend.bar_force_n <= cautions.STEADY_PULL_N
    pull = bend.ease.split(":")[0] if by_hand else "screw bender or longer bar"
    bench = _say("bench", result)
    if not bend.takes_change:
        bench += f"; do not bend it {bend.target_deg:.1f}°"
    elif bend.target_deg > 0.0:
        bench += _say("pull", result, bar_mm=float(bend.bench.bar_mm[0]), pull=pull)
    remedy, measure = verdict.remedy, verdict.measure_next
    cure = "none needed." if verdict.level == "good" else "no single near change keeps all limits."
    if remedy is not None:
        cure = _say("remedy", result, remedy=remedy, sure=100 * remedy.chance_right)
    lines = [
        verdict.sentence,
        f"Hardness: {'; '.join(zones)}. {_say('strike', result)}",
        f"Hosel: {bench}.",
        f"Risk: {verdict.biggest_risk}",
        f"Remedy: {cure}",
        f"Sure: {verdict.sure}. Measure next: {measure.words if measure else 'nothing decides.'}",
    ]
    lines = map(units.text, lines)
    return [line for text in lines for line in textwrap.wrap(text, 100, subsequent_indent="  ")[:3]]


def summary(result, units=None) -> str:
    """What decides in six lines, the zones, the cautions: at most 25 lines of 100 characters.

    `units` as `Units.of` reads them, for example "US" or "°F, HRC".
    """
    units = Units.of(units)
    title = textwrap.wrap(units.text(_job(result)), 100, subsequent_indent="  ")[:2]
    head = f"{'zone':6} {'hardness, 80 % range':20} {'':>7} {f'tensile, {units.strength}':16} {f'yield, {units.strength}':16} structure"
    zones = [_zone_line(zone, units) for zone in result.zones.values()]
    lines = [*title, *_deciding(result, units), "", head, *zones, ""]
    found = [w.rank for w in warnings(result)]
    if found:
        counts = ", ".join(f"{found.count(r)} {r}" for r in dict.fromkeys(found))
        lines.append(f"Warnings: {counts} (details).")
    lines += textwrap.wrap(units.text(cautions.SHORT), 100)
    while len(lines) > _MOST_LINES and "" in lines:
        lines.remove("")
    return "\n".join(lines)


def warnings(result):
    """All warnings, those that say stop first."""
    return ranked((*result.warnings, *result.distortion.warnings))


def details(result, units=None) -> str:
    """Everything beside the summary: why, water, furnace, press, skin, hosel, strike, shape, warnings, cautions."""
    face, sprayed = result.zones["face"], result.zones["face"].water_c is not None
    whys = {"face_why": _face_why(result), "hosel_why": _hosel_why(result)}
    said = [_water(result), _say("headline", result, **whys)]
    said += [] if result.without_spray is None else [_say("effect", result)]
    now_c = face.water_c if sprayed else face.die_c
    water, loss_c = "spray" if result.route.sprays else "quench", face.peak_c - now_c
    where = f"when the {water} starts" if sprayed else "at the press"
    heat = {"now_c": now_c, "where": where, "loss_c": abs(loss_c)}
    said.append(_say("face", result, **heat, took="took" if loss_c >= 0.0 else "gave"))
    said.append(_say("steel", result))
    said += [*_second_heat(result), "Hosel: " + result.hosel.words()]
    said += ["Face at the strike: " + result.face.words(), "Shape: " + result.distortion.words()]
    verdict = result.verdict
    said += [f"Limit: {s.words}: {s.text(s.value)} ({s.text(s.low, s.high)}), kept with {100 * s.chance:.0f} % chance."
              for s in verdict.limits]  # fmt: skip
    said += [f"Limit not included: {name}." for name in verdict.not_included]
    measure = verdict.measure_next
    if measure is not None:
        said.append(f"How to take it: {measure.reading.what}: {measure.reading.how}")
    units = Units.of(units)
    lines = [line for text in said for line in textwrap.wrap(units.text(text), 100)]
    found = [f"{w.rank}: {w.text}" for w in warnings(result)]
    for title, points in (("Warnings", found), ("Cautions", cautions.beside())):
        lines += ["", title] if points else []
        for point in points:
            lines += textwrap.wrap(f"- {units.text(point)}", 100, subsequent_indent="  ")
    return "\n".join(lines)


def _water(result) -> str:
    """The spray in the units of the shop, and how the head cools after it."""
    spray = result.route.spray
    after = "; ".join([*(q.words for q in result.route.quench), f"{_air(result)} to the end."])
    if spray is None:
        return f"No spray; {after}"
    if spray.flux_kg_m2_s <= 0.0:
        return f"Water 0 kg/(m² s); {after}"
    reading = from_flux(spray.flux_kg_m2_s)
    across_mm = (4.0 / math.pi * reading.can_area_mm2) ** 0.5
    return _say("spray", result, spray=spray, reading=reading, across_mm=across_mm, after=after)


def _second_heat(result) -> list[str]:
    """What the second heat costs: time, effort, skin, press strain; one sentence or two each."""
    soak_s, through = result.route.soak_s, result.heat_through_s
    name = "never through" if through is None else "through" if through <= soak_s else "not through"
    shares = {f"{n}_share": 100 * result.zones[n].austenite_share for n in ("face", "hosel")}
    austenite = _say("austenite", result, **shares)
    if max(shares.values()) < 100 * NO_AUSTENITE:
        austenite = "No austenite forms."
    time = f"{_say(name, result, soak_s=soak_s)} {austenite}"
    force, surface = result.effort.press_force, result.surface
    mn = {"mn": force.kn / 1000, "low_mn": force.low_kn / 1000, "high_mn": force.high_kn / 1000}
    press = _say("effort", result, **mn, as_easy=_as_easy(result))
    if any(w.code == "too-cold-to-press" for w in result.warnings):
        press = _say("no effort", result)
    how = " by grinding or milling; a blast does not take so much"
    name = "no carbon lost" if surface.decarburised_um < 1.0 else "carbon lost"
    skin = _say(name, result, s=surface, how=how * (surface.decarburised_um > _BLAST_UM))
    zones, effect = result.zones, result.strain_effect_hv
    sign = 0.0 if result.press_strain_counted else 1.0
    hv = {f"{n}_hv": zones[n].hardness_hv + sign * effect[n] for n in ("face", "hosel")}
    counted = "is counted" if result.press_strain_counted else "is not counted"
    when = "when the spray starts" if result.route.spray is not None else "at Ae3"
    share = 100 * zones["hosel"].recrystallised_share
    strained = {"recrystallised": share, "when": when, "counted": counted, **hv}
    return [time, press, skin, _say("press strain", result, **strained)]


#: Metal that a cleaning blast takes off at most, µm (common practice, no source).
_BLAST_UM = 30.0


def _as_easy(result) -> str:
    """How much hotter the metal would have to be to press like the reference grade; nothing if it presses like it."""
    equal = result.equal_effort
    if equal is None or abs(equal.hotter_c) < 0.5:
        return ""
    way = "hotter" if equal.hotter_c > 0.0 else "colder"
    ends = sorted((equal.low_c, equal.high_c), key=abs)
    band = f"{abs(ends[0]):.0f} to {abs(ends[1]):.0f}"
    if ends[0] * ends[1] < 0.0:
        band = f"{equal.low_c:+.0f} to {equal.high_c:+.0f}"
    return " " + _say("as easy", result, by_c=abs(equal.hotter_c), way=way, band=band)


def _spelled(value, units: Units):
    """The same with every text in the reader's units."""
    if isinstance(value, dict):
        return {k: v if k == "sources" else _spelled(v, units) for k, v in value.items()}
    if isinstance(value, list):
        return [_spelled(v, units) for v in value]
    return units.text(value) if isinstance(value, str) else value


#: Numbers that go into JSON, of four digits: an attribute, or a name of its own and where it stands.
_ALONE = "ideal_diameter_mm heat_through_s"
_CRITICAL = "ac1=ac1_c ac3=ac3_c ae3=ae3_c bs=bs_c ms=ms_c"
_ZONE = """hardness_hv hardness_low_hv hardness_high_hv hardness_hrc as_quenched_hv austenite_share undissolved
grain_astm peak_c die_c water_c water_off_c rebound_c biot recrystallised_share retained_strain
tensile_mpa=strength.tensile_mpa yield_mpa=strength.yield_mpa elongation=strength.elongation"""
_FLOW = """flow_stress_mpa=flow_stress.mpa flow_stress_low_mpa=flow_stress.low_mpa
flow_stress_high_mpa=flow_stress.high_mpa"""
_BEND = """allowed_deg allowed_deg_low allowed_deg_high one_bend_deg rebend_deg hand_deg bar_length_needed_mm
target_deg direction_deg bar_force_n springback_deg overbend_deg"""
_SURFACE = """scale_um metal_loss_um decarburised_um skin_hv blast_scale_um
blast_metal_um=decarburised_um"""
_EFFORT = """flow_stress_mpa=effort.mean_mpa relative_to_1030=effort.relative press_force_kn=effort.press_force.kn
press_force_low_kn=effort.press_force.low_kn press_force_high_kn=effort.press_force.high_kn
hotter_like_1030_c=equal_effort.hotter_c hotter_like_1030_low_c=equal_effort.low_c
hotter_like_1030_high_c=equal_effort.high_c"""


def _numbers(thing, names: str) -> dict[str, float | None]:
    found = {}
    for name in names.split():
        new, _, path = name.rpartition("=")
        value = thing
        for part in path.split("."):
            value = None if value is None else getattr(value, part)
        found[new or path] = rounded(value)
    return found


def _zone_numbers(zone, strain_effect_hv: float) -> dict[str, Any]:
    found = _numbers(zone, _ZONE)
    found["fractions"] = {name: round(share, 4) for name, share in zone.fractions.items()}
    found |= {**_numbers(zone, _FLOW), "strain_effect_hv": rounded(strain_effect_hv)}
    for of in ("tensile", "yield"):
        low, high = map(rounded, zone.interval(f"{of}_mpa"))
        found |= {f"{of}_low_mpa": low, f"{of}_high_mpa": high}
    return found


def to_dict(result, units=None) -> dict[str, Any]:
    """Plain numbers, whose names say their units, and texts of an estimate, ready for JSON; `units`: of the texts."""
    units, effect = Units.of(units), result.strain_effect_hv
    bend, dry, face, shape = result.hosel, result.without_spray, result.face, result.distortion
    said = "as the end of their names says: °C, mm, HV, MPa, N"
    out = {
        "units": {"numbers": said, **vars(units)},
        "steel": result.steel.name,
        "head": result.head.name,
        "preheat_c": result.route.preheat_c,
        **_numbers(result, _ALONE),
        "critical_c": _numbers(result.critical, _CRITICAL),
        "verdict": result.verdict.to_dict(),
        "zones": {name: _zone_numbers(z, effect[name]) for name, z in result.zones.items()},
        "hosel": {**_numbers(bend, _BEND), "governed_by": bend.governed_by, "ease": bend.ease},
        "surface": _numbers(result.surface, _SURFACE),
        "effort": _numbers(result, _EFFORT),
        "press_strain_counted": result.press_strain_counted,
        "without_spray_hv": dry and {name: rounded(hv) for name, hv in dry.items()},
        "warnings": [dataclasses.asdict(w) for w in ranked(result.warnings)],
        "cautions": cautions.beside(),
        "sources": [str(source) for source in result.sources],
        "face": {
            **_numbers(face, "margin least_thickness_mm"),
            "strikes": None if face.strikes is None else float(f"{face.strikes:.1g}"),
            "location": face.location,
            "strikes_is_bound": face.strikes_is_bound,
        },
        "distortion": {
            **_numbers(shape, "bow_mm limit_mm neck_drift_deg"),
            "warnings": [dataclasses.asdict(w) for w in shape.warnings],
        },
    }
    return _spelled(out, units)
