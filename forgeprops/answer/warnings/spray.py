"""Warnings of the spray: idle, late, too brief, near a cliff, cracking."""

from collections.abc import Iterator

import numpy as np

from ...forging.cautions import FULL_AUSTENITE, is_idle
from ...inputs.route import Spray
from ..interval import CLIFF_HV, LN_SPRAY_SD, jumps_hv, spray_nodes
from .rule import FACE, Rule

#: Our own limits: °C by which the body re-heats a face that the spray left above Ms, HV that self-tempering takes from the
#: face; °C below Ae3 at which the spray comes late; carbon (wt%) and martensite that may crack; share of martensite that
#: is a hard face all the same; HV that hardening would bring at least.
NOTE_REHEAT_C, SELF_TEMPERED_HV, LATE_WATER_C = 30.0, 30.0, 60.0
CRACK_CARBON, CRACK_MARTENSITE, HARD_SHARE, HARDENS_HV = 0.35, 0.5, 0.5, 100.0
CRACK_CARBON_POLYMER = 0.45


def _martensite(e):
    return e.results.fractions["martensite"][:, FACE]


def crack_index(e):
    """Carbon and martensite of the face in water over the marks of the warning, the lesser of both; 0 without.

    An own bath counts as water, a polymer with a higher mark, oil not at all (common practice).
    """
    water = e.cases.sprayed | e.cases.quenched_in("water bath", "own bath")
    mark = np.where(water, CRACK_CARBON, CRACK_CARBON_POLYMER)
    index = np.minimum(e.cases.content("C") / mark, _martensite(e) / CRACK_MARTENSITE)
    return np.where(water | e.cases.quenched_in("polymer bath"), index, 0.0)


def _soft_face(e):
    return _martensite(e) < HARD_SHARE * e.results.share[:, FACE]


def _above_ms(e):
    return e.results.water_off_c[:, FACE] > e.critical["ms"]


def _reheated(e):
    """The body re-heats a face that the spray left above Ms."""
    return e.cases.sprayed & _above_ms(e) & (e.results.rebound_c[:, FACE] > NOTE_REHEAT_C)


def _reheated_text(e, i):
    r = e.results
    dry = "" if e.dry_hv is None else f" ({e.dry_hv[i, FACE]:.0f} HV without spray)"
    return (
        f"The spray stops while the face is still at {r.water_off_c[i, FACE]:.0f} °C, above "
        f"Ms ({e.critical['ms'][i]:.0f} °C); the body re-heats it by {r.rebound_c[i, FACE]:.0f} °C and it "
        f"ends at {r.hardness_hv[i, FACE]:.0f} HV{dry}: spray longer or harder."
    )


def _self_tempered_text(e, i):
    r = e.results
    return (
        f"The body re-heats the quenched face by {r.rebound_c[i, FACE]:.0f} °C, which tempers it from "
        f"{r.as_quenched_hv[i, FACE]:.0f} to {r.as_cooled_hv[i, FACE]:.0f} HV."
    )


def _idle(e):
    hardens = e.results.share[:, FACE] > 0.0
    same = is_idle(e.hardness_hv[:, FACE], e.dry_hv[:, FACE])
    return e.cases.sprayed & hardens & ~(_reheated(e) & _soft_face(e)) & same


def _by_steel(e, i) -> float | None:
    """Hardness of the face with the water as strong as it may be where that does not harden it either, else None.

    A spray that is short of the usual one even then says nothing of the steel.
    """
    usual, factor = Spray(), np.exp(2 * LN_SPRAY_SD)
    little = e.cases.route["flux"][i] * factor < usual.flux_kg_m2_s
    if e.nodes_hv is None or little or e.cases.route["spray_s"][i] < usual.duration_s:
        return None
    best = float(np.nanmax(e.nodes_hv[:, i, FACE]))
    return best if best < e.dry_hv[i, FACE] + HARDENS_HV else None


def idle_why(e, i) -> str:
    """Why a spray changes nothing: "air" (hardens in air too), "short" (stops above Ms), "steel", or "water"."""
    if not _soft_face(e)[i]:
        return "air"
    if _above_ms(e)[i]:
        return "short"
    return "water" if _by_steel(e, i) is None else "steel"


def _idle_text(e, i):
    kind = idle_why(e, i)
    if kind == "air":
        why = "this steel hardens in air as well; leave out the spray or choose a leaner steel"
    elif kind == "short":
        why = (
            f"the face is still at {e.results.water_off_c[i, FACE]:.0f} °C when it stops, above Ms "
            f"({e.critical['ms'][i]:.0f} °C); spray longer or harder"
        )
    elif kind == "water":
        why = "the face turns soft before it reaches Ms; more water, sooner, or a steel with more carbon or alloy"
    else:
        why = (
            f"the face turns soft before it reaches Ms, and does so with {np.exp(2 * LN_SPRAY_SD):.1f} times the water "
            f"too ({_by_steel(e, i):.0f} HV): it is the steel; choose one with more carbon or alloy"
        )
    return (
        f"The spray changes the face almost nothing ({e.dry_hv[i, FACE]:.0f} HV without it, "
        f"{e.hardness_hv[i, FACE]:.0f} HV with it): {why}."
    )


def _late(e):
    on = e.results.water_on_c[:, FACE]
    whole = e.results.share[:, FACE] > FULL_AUSTENITE
    return e.cases.sprayed & whole & (on < e.critical["ae3"] - LATE_WATER_C)


def _late_text(e, i):
    on = e.results.water_on_c[i, FACE]
    return (
        f"The face is at {on:.0f} °C when the spray starts, {e.critical['ae3'][i] - on:.0f} °C below Ae3: part of "
        "it may have gone to ferrite."
    )


def _cliff(e):
    nodes = e.nodes_hv[:, :, FACE]
    steep = jumps_hv(e.hardness_hv[:, FACE], spray_nodes()[0], nodes).max(axis=0) >= CLIFF_HV
    found = np.zeros(len(e), bool)
    for i in np.flatnonzero(steep & e.cases.sprayed):
        found[i] = e.chances(i, FACE) is not None
    return found


def _cliff_text(e, i):
    c = e.chances(i, FACE)
    return (
        f"The face stands near a cliff: about {100 * c['hard_chance']:.0f} % chance of {c['hard']:.0f} HV, "
        f"{100 * c['soft_chance']:.0f} % of {c['soft']:.0f} HV, depending on how well the spray works."
    )


def _self_tempered(e):
    lost_hv = (e.results.as_quenched_hv - e.results.as_cooled_hv)[:, FACE]
    return e.cases.sprayed & ~_reheated(e) & (lost_hv > SELF_TEMPERED_HV)


def _crack_text(e, i):
    return (
        f"Quench cracks: {e.cases.content('C')[i]:.2f} % C and {100 * _martensite(e)[i]:.0f} % martensite "
        f"{'under water' if e.cases.sprayed[i] else 'in the bath'}; quench milder or warmer and temper soon."
    )


def spray() -> Iterator[Rule]:
    yield Rule("reheated-face", "change", lambda e: _reheated(e) & _soft_face(e), _reheated_text)
    yield Rule("self-tempered", "note", _self_tempered, _self_tempered_text)
    yield Rule("idle-water", "change", _idle, _idle_text, "dry_hv")
    yield Rule("late-water", "change", _late, _late_text)
    yield Rule("cliff", "change", _cliff, _cliff_text, "nodes_hv")
    yield Rule("quench-crack", "stop", lambda e: crack_index(e) > 1.0, _crack_text)
