"""The answer in sentences: plain words first, numbers second, the reason beside them."""

from __future__ import annotations

import textwrap
from typing import Any

from ..base import cautions
from ..base.constants import MM_PER_INCH, Z80
from ..forging.cautions import FULL_AUSTENITE, NO_AUSTENITE, is_idle
from ..thermal.spray_units import from_flux

__all__ = ["summary", "to_dict"]

#: Elements that are named as holding back ferrite and pearlite, from which wt% on: above residuals (our choice).
_ALLOYING = (("chromium", "Cr", 0.30), ("nickel", "Ni", 0.40), ("molybdenum", "Mo", 0.08))


def _hrc(zone) -> str:
    return f"{zone.hardness_hrc:4.0f} HRC" if zone.hardness_hrc is not None else "  <20 HRC"


def structure(fractions) -> str:
    """Structure in words, main part first: "72 % martensite, 28 % bainite"."""
    shown = sorted(
        ((share, name) for name, share in fractions.items() if share >= 0.02), reverse=True
    )
    names = {"untransformed": "first-heat structure"}
    return ", ".join(f"{100 * share:.0f} % {names.get(name, name)}" for share, name in shown)


def _hosel_why(result) -> str:
    """Why the hosel is as hard as it is."""
    hosel, steel = result.zones["hosel"], result.steel
    f = hosel.fractions
    hard = f["bainite"] + f["martensite"]
    rate = f"{hosel.rate_700_c_per_s:.1f} °C/s at 700 °C" if hosel.rate_700_c_per_s else "slowly"
    alloy = steel.get("Cr") + steel.get("Mo") > 0.4
    named = (
        [name for name, element, least in _ALLOYING if steel.get(element) >= least]
        if alloy
        else ["steel"]
    )
    if hosel.austenite_share < NO_AUSTENITE:
        return "it never became austenite and keeps its first-heat structure, tempered"
    if hosel.austenite_share < 0.5:
        return "most of the hosel never became austenite and keeps its first-heat structure"
    if hard > 0.5:
        what = " and ".join([*([", ".join(named[:-1])] if named[1:] else []), named[-1]])
        return (
            f"in {_air(result)} it cools at {rate}, and the {what} {'hold' if named[1:] else 'holds'} back ferrite and "
            "pearlite long enough for harder structures"
        )
    if alloy:
        return f"in {_air(result)} it cools at {rate}, just slow enough for ferrite and pearlite in this alloy"
    return f"in {_air(result)} it cools at {rate}, and without alloy that leaves soft ferrite and pearlite"


def _air(result) -> str:
    return {
        "single": "still air",
        "row": "a row in still air",
        "bin": "a bin",
        "fan": "moving air",
        "sleeve": "its sleeve",
    }[result.route.cool.surroundings]


def _face_why(result) -> str:
    face = result.zones["face"]
    if result.route.spray is None:
        return "no water: it cools in air with the rest"
    share, dry = face.austenite_share, result.without_spray
    if share < 0.05:
        return "it was not austenite when the water came, so there was nothing to harden"
    it, first = "it", ""
    if share < FULL_AUSTENITE:
        it, first = (
            "that part",
            f"only {100 * share:.0f} % of it was austenite when it left the furnace, and ",
        )
    martensite, bainite = (face.fractions[name] / share for name in ("martensite", "bainite"))
    late = face.water_off_c is not None and face.water_off_c > result.critical.ms_c
    idle = dry is not None and is_idle(face.hardness_hv, dry["face"])
    if martensite > 0.5:
        if late and idle:
            return f"{first}{it} hardens in air as well as under the water"
        return f"{first}the water took {it} below Ms before it could turn into anything softer"
    if martensite + bainite > 0.5:
        if idle:
            return f"{first}{it} turns to bainite with the water as it would in air"
        if late:
            return f"{first}the water stopped above Ms and {it} turned to bainite while the body heated it again"
        return f"{first}the water was quick enough for bainite but not for martensite"
    return f"{first}the water came too late, was too weak or too short for this steel"


def headline(result) -> str:
    """Two sentences for the top: face and hosel."""
    face, hosel = result.zones["face"], result.zones["hosel"]
    bend = result.hosel
    return (
        f"The face comes out at about {face.hardness_hv:.0f} HV ({face.hardness_low_hv:.0f} to "
        f"{face.hardness_high_hv:.0f}, 80 % interval): {_face_why(result)}. "
        f"The hosel comes out at about {hosel.hardness_hv:.0f} HV ({hosel.hardness_low_hv:.0f} to "
        f"{hosel.hardness_high_hv:.0f}) and takes {bend.allowed_deg:.1f}° at most ({bend.allowed_deg_low:.1f} to "
        f"{bend.allowed_deg_high:.1f}°): {_hosel_why(result)}."
    )


def summary(result) -> str:
    """The whole answer as text."""
    face = result.zones["face"]
    lines = [
        f"{result.steel.name}, {result.head.name}, preheat {result.route.preheat.temperature_c:.0f} °C",
        *textwrap.wrap(_water(result), 100),
        "",
        *textwrap.wrap(headline(result), 100),
        "",
    ]
    lines.append(
        f"{'zone':6} {'hardness':>9} {'80 % interval':>15} {'HRC':>9} {'tensile':>14} {'yield':>12}   structure"
    )
    for zone in result.zones.values():
        s = zone.strength
        lines.append(
            f"{zone.name:6} {zone.hardness_hv:6.0f} HV {zone.hardness_low_hv:6.0f} to {zone.hardness_high_hv:4.0f} HV "
            f"{_hrc(zone):>9} {s.tensile_mpa:5.0f} ± {Z80 * s.tensile_se_mpa:2.0f} MPa "
            f"{s.yield_mpa:5.0f} ± {Z80 * s.yield_se_mpa:2.0f}   {structure(zone.fractions)}"
        )
    lines.append("")
    if result.without_spray is not None:
        dry = round(result.without_spray["face"])
        gain = round(face.hardness_hv) - dry
        does = (
            f"adds {gain} HV"
            if gain > 0
            else f"takes {-gain} HV away"
            if gain < 0
            else "changes nothing"
        )
        lines.append(
            f"What the water buys: the face without spray would be {dry} HV; the spray {does}."
        )
    loss = face.peak_c - (face.water_c if face.water_c is not None else face.die_c)
    where = "when the water starts" if face.water_c is not None else "at the stroke"
    lines += textwrap.wrap(
        f"Face: furnace set {result.route.preheat.temperature_c:.0f} °C, metal {face.peak_c:.0f} °C leaving it, "
        f"{face.die_c:.0f} °C in the die, {face.peak_c - loss:.0f} °C {where} (transfer and press "
        f"{'took' if loss >= 0.0 else 'gave'} {abs(loss):.0f} °C).",
        100,
    )
    critical, diameter = result.critical, result.ideal_diameter_mm
    lines += textwrap.wrap(
        f"Steel: ideal diameter {diameter:.0f} mm ({diameter / MM_PER_INCH:.1f} in) with the grain the furnace gave the face; Ae3 "
        f"{critical.ae3_c:.0f} °C, Bs {critical.bs_c:.0f} °C, Ms {critical.ms_c:.0f} °C.",
        100,
    )
    lines += [line for text in _second_heat(result) for line in textwrap.wrap(text, 100)]
    lines += textwrap.wrap("Hosel: " + result.hosel.words(), 100)
    if result.face is not None:
        lines += textwrap.wrap("Face at the strike: " + result.face.words(), 100)
    warnings = result.warnings
    if result.distortion is not None:
        lines += textwrap.wrap("Shape: " + result.distortion.words(), 100)
        warnings = (*warnings, *result.distortion.warnings)
    if warnings:
        lines += ["", "Warnings"]
        for warning in warnings:
            lines += textwrap.wrap(f"- {warning.text}", 100, subsequent_indent="  ")
    lines += ["", *textwrap.wrap(cautions.SHORT, 100)]
    return "\n".join(lines)


def _water(result) -> str:
    """The water in the units of the shop, and how the head cools after it."""
    spray = result.route.spray
    after = f"{_air(result)} to the end."
    if spray is None:
        return f"No water; {after}"
    if spray.flux_kg_m2_s <= 0.0:
        return f"Water 0 kg/(m² s); {after}"
    return (
        f"Water {from_flux(spray.flux_kg_m2_s)}, for {spray.duration_s:g} s, {spray.delay_s:g} s after the squeeze; then "
        f"{after}"
    )


def _austenite(result) -> str:
    """How much austenite the furnace made, and how coarse."""
    face, hosel = result.zones["face"], result.zones["hosel"]
    if max(face.austenite_share, hosel.austenite_share) < NO_AUSTENITE:
        return " No austenite forms."
    return (
        f" Austenite: {100 * face.austenite_share:.0f} % of the face, grain ASTM {face.grain_astm:.1f}; "
        f"{100 * hosel.austenite_share:.0f} % of the hosel, ASTM {hosel.grain_astm:.1f}."
    )


def _second_heat(result) -> list[str]:
    """What the second heat costs: time, effort, skin, press strain; one sentence or two each."""
    soak, through = result.route.preheat.soak_s, result.heat_through_s
    if through is None:
        time = "The slowest zone does not come within 10 °C of the furnace."
    else:
        time = (
            f"Heated through after {through:.0f} s of the {soak:.0f} s in the furnace."
            if through <= soak
            else f"Not heated through: that takes {through:.0f} s, the furnace has {soak:.0f} s."
        )
    time += _austenite(result)
    effort, surface = result.effort, result.surface
    press = (
        f"Effort: flow stress {effort.mean_mpa:.0f} MPa in the die, {effort.relative:.2f} times that of 1030 at the "
        f"same temperatures; about {effort.press_force.kn / 1000:.1f} MN on the press "
        f"({effort.press_force.low_kn / 1000:.1f} to {effort.press_force.high_kn / 1000:.1f}).{_as_easy(result)}"
    )
    skin = f"Skin of the face: {surface.scale_um:.0f} µm of scale took {surface.metal_loss_um:.0f} µm of metal; "
    if surface.decarburised_um < 1.0:
        skin += "no carbon is lost."
    else:
        skin += (
            f"carbon is lost to {surface.decarburised_um:.0f} µm, so the skin has {surface.skin_hv:.0f} HV over "
            f"{surface.sound_hv:.0f} HV; for a hard skin the blast must take off {surface.blast.scale_um:.0f} µm of "
            f"scale and {surface.blast.metal_um:.0f} µm of metal."
        )
    hosel, effect = result.zones["hosel"], result.strain_effect_hv
    counted = "is counted in" if result.press_strain_counted else "is not counted in"
    strain = (
        f"Press strain: {100 * hosel.recrystallised_share:.0f} % of the hosel has recrystallised "
        f"{'when the water starts' if result.route.spray is not None else 'at Ae3'}; what is left {counted} and "
        f"would move the face by {round(effect['face']):+d} and the hosel by {round(effect['hosel']):+d} HV at most."
    )
    return [time, press, skin, strain]


def _as_easy(result) -> str:
    """How much hotter the metal would have to be to press like the reference grade; nothing if it presses like it."""
    equal = result.equal_effort
    if equal is None or abs(equal.hotter_c) < 0.5:
        return ""
    way = "hotter" if equal.hotter_c > 0.0 else "colder"
    ends = sorted((equal.low_c, equal.high_c), key=abs)
    band = (
        f"{abs(ends[0]):.0f} to {abs(ends[1]):.0f}"
        if ends[0] * ends[1] >= 0.0
        else (f"{equal.low_c:+.0f} to {equal.high_c:+.0f}")
    )
    return (
        f" To press like 1030 its metal would have to be {abs(equal.hotter_c):.0f} °C {way} in the die "
        f"({band} °C by the laws)."
    )


def _round(value: float, digits: int = 4):
    return float(f"{value:.{digits}g}")


def to_dict(result) -> dict[str, Any]:
    """Plain numbers and texts of an estimate, ready for JSON."""
    zones = {}
    for name, z in result.zones.items():
        zones[name] = {
            "hardness_hv": _round(z.hardness_hv),
            "hardness_low_hv": _round(z.hardness_low_hv),
            "hardness_high_hv": _round(z.hardness_high_hv),
            "hardness_hrc": None if z.hardness_hrc is None else _round(z.hardness_hrc, 3),
            "as_quenched_hv": _round(z.as_quenched_hv),
            "fractions": {k: round(v, 4) for k, v in z.fractions.items()},
            "tensile_mpa": _round(z.strength.tensile_mpa),
            "tensile_se_mpa": _round(z.strength.tensile_se_mpa, 3),
            "yield_mpa": _round(z.strength.yield_mpa),
            "yield_se_mpa": _round(z.strength.yield_se_mpa, 3),
            "elongation": _round(z.strength.elongation, 3),
            "austenite_share": round(z.austenite_share, 4),
            "undissolved": round(z.undissolved, 4),
            "grain_astm": _round(z.grain_astm, 3),
            "peak_c": _round(z.peak_c),
            "die_c": _round(z.die_c),
            "water_c": None if z.water_c is None else _round(z.water_c),
            "water_off_c": None if z.water_off_c is None else _round(z.water_off_c),
            "rebound_c": _round(z.rebound_c),
            "biot": _round(z.biot, 3),
            "flow_stress_mpa": _round(z.flow_stress.mpa, 3),
            "flow_stress_low_mpa": _round(z.flow_stress.low_mpa, 3),
            "flow_stress_high_mpa": _round(z.flow_stress.high_mpa, 3),
            "recrystallised_share": round(z.recrystallised_share, 3),
            "retained_strain": round(z.retained_strain, 4),
            "strain_effect_hv": _round(result.strain_effect_hv[name], 3),
        }
    bend, surface, effort = result.hosel, result.surface, result.effort
    equal = result.equal_effort
    out = {
        "steel": result.steel.name,
        "head": result.head.name,
        "preheat_c": result.route.preheat.temperature_c,
        "ideal_diameter_mm": _round(result.ideal_diameter_mm),
        "critical_c": {
            name: _round(getattr(result.critical, f"{name}_c"))
            for name in ("ac1", "ac3", "ae3", "bs", "ms")
        },
        "zones": zones,
        "hosel": {
            "allowed_deg": _round(bend.allowed_deg, 3),
            "allowed_deg_low": _round(bend.allowed_deg_low, 3),
            "allowed_deg_high": _round(bend.allowed_deg_high, 3),
            "governed_by": bend.governed_by,
            "target_deg": _round(bend.target_deg, 3),
            "direction_deg": _round(bend.direction_deg, 3),
            "bar_force_n": _round(bend.bar_force_n, 3),
            "springback_deg": _round(bend.springback_deg, 3),
            "overbend_deg": _round(bend.overbend_deg, 3),
            "ease": bend.ease,
        },
        "surface": {
            "scale_um": _round(surface.scale_um, 3),
            "metal_loss_um": _round(surface.metal_loss_um, 3),
            "decarburised_um": _round(surface.decarburised_um, 3),
            "skin_hv": _round(surface.skin_hv, 3),
            "blast_scale_um": _round(surface.blast.scale_um, 3),
            "blast_metal_um": _round(surface.blast.metal_um, 3),
        },
        "effort": {
            "flow_stress_mpa": _round(effort.mean_mpa),
            "press_force_kn": _round(effort.press_force.kn, 3),
            "press_force_low_kn": _round(effort.press_force.low_kn, 3),
            "press_force_high_kn": _round(effort.press_force.high_kn, 3),
            "relative_to_1030": _round(effort.relative),
            "hotter_like_1030_c": None if equal is None else _round(equal.hotter_c, 3),
            "hotter_like_1030_low_c": None if equal is None else _round(equal.low_c, 3),
            "hotter_like_1030_high_c": None if equal is None else _round(equal.high_c, 3),
        },
        "heat_through_s": None if result.heat_through_s is None else _round(result.heat_through_s),
        "press_strain_counted": result.press_strain_counted,
        "without_spray_hv": None
        if result.without_spray is None
        else {k: _round(v) for k, v in result.without_spray.items()},
        "warnings": [{"code": w.code, "text": w.text} for w in result.warnings],
        "cautions": cautions.beside(),
        "sources": [str(source) for source in result.sources],
    }
    if result.face is not None:
        out["face"] = {
            "margin": _round(result.face.margin, 3),
            "least_thickness_mm": _round(result.face.least_thickness_mm, 3),
        }
    if result.distortion is not None:
        shape = result.distortion
        out["distortion"] = {
            "bow_mm": _round(shape.bow_mm, 3),
            "limit_mm": _round(shape.limit_mm),
            "neck_drift_deg": _round(shape.neck_drift_deg, 3),
            "warnings": [{"code": w.code, "text": w.text} for w in shape.warnings],
        }
    return out
