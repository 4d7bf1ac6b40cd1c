"""Warnings of the spray (idle, late, too brief, near a cliff, cracking) and of the baths (law, range, burning oil)."""

from collections.abc import Iterator

import numpy as np

from ...forging.cautions import FULL_AUSTENITE, is_idle
from ...inputs.route import Spray
from ...thermal.media import BATHS
from ..interval import CLIFF_HV, LN_SPRAY_SD, at_nodes
from .rule import FACE, Rule, listed

#: Our own limits: °C by which the body re-heats a face that the spray left above Ms, HV that self-tempering takes from the
#: face; °C below Ae3 at which the spray comes late; carbon (wt%) and martensite that may crack; share of martensite that
#: is a hard face all the same; HV that hardening would bring at least.
NOTE_REHEAT_C, SELF_TEMPERED_HV, LATE_WATER_C = 30.0, 30.0, 60.0
CRACK_CARBON, CRACK_MARTENSITE, HARD_SHARE, HARDENS_HV = 0.35, 0.5, 0.5, 100.0
CRACK_CARBON_POLYMER = 0.45
#: °C from which usual quench oils may be at their flash point (150-200 °C, hot oils more; from memory).
_FLASH_C = 150.0


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


def _why(e, i):
    kind = idle_why(e, i)
    if kind == "air":
        why = "this steel hardens in air as well; leave out the spray or choose a leaner steel"
    elif kind == "short":
        off_c, ms_c = e.results.water_off_c[i, FACE], e.critical["ms"][i]
        still = f"the face is still at {off_c:.0f} °C when it stops, above Ms ({ms_c:.0f} °C)"
        why = f"{still}; spray longer or harder"
    elif kind == "water":
        why = "the face turns soft before it reaches Ms; more water, sooner, or a steel with more carbon or alloy"
    else:
        why = (
            f"the face turns soft before it reaches Ms, and does so with {np.exp(2 * LN_SPRAY_SD):.1f} times the water "
            f"too ({_by_steel(e, i):.0f} HV): it is the steel; choose one with more carbon or alloy"
        )
    return {"why": why}


def _cliff(e):
    jumps_hv = np.abs(np.diff(at_nodes(e.hardness_hv[:, FACE], e.nodes_hv[:, :, FACE]), axis=0))
    steep = jumps_hv.max(axis=0) >= CLIFF_HV
    found = np.zeros(len(e), bool)
    for i in np.flatnonzero(steep & e.cases.sprayed):
        found[i] = e.chances(i, FACE) is not None
    return found


def _chances(e, i):
    c = e.chances(i, FACE)
    return c | {f"{name}_percent": 100 * c[f"{name}_chance"] for name in ("hard", "soft")}


def spray() -> Iterator[Rule]:
    def self_tempered(e):
        lost_hv = (e.results.as_quenched_hv - e.results.as_cooled_hv)[:, FACE]
        return e.cases.sprayed & ~_reheated(e) & (lost_hv > SELF_TEMPERED_HV)

    def below_ae3_c(e):
        return e.critical["ae3"] - e.results.water_on_c[:, FACE]

    def late(e):
        whole = e.results.share[:, FACE] > FULL_AUSTENITE
        return e.cases.sprayed & whole & (below_ae3_c(e) > LATE_WATER_C)

    def dry(e, i):
        return {"dry": "" if e.dry_hv is None else f" ({e.dry_hv[i, FACE]:.0f} HV without spray)"}

    def where(e, i):
        return {"where": "under water" if e.cases.sprayed[i] else "in the bath"}

    yield listed("reheated-face", lambda e: _reheated(e) & _soft_face(e), dry)
    yield listed("self-tempered", self_tempered)
    yield listed("idle-water", _idle, _why, needs="dry_hv")
    yield listed("late-water", late, lambda e, i: {"below_c": below_ae3_c(e)[i]})
    yield listed("cliff", _cliff, _chances, needs="nodes_hv")
    yield listed("quench-crack", lambda e: crack_index(e) > 1.0, where)


def _of_quench(code: str, test) -> Rule:
    """A rule of a quench for which `test` holds; its sentence may name the quench's fields and those of its law."""

    def fields(e, i):
        quench = next(q for q in e.cases.quenches[e.cases.quench_of[i]] if test(q))
        law = BATHS.get(quench.medium)
        low, high = _bath_range(quench)
        return {**vars(quench), "basis": law and law.basis, "low_c": low, "high_c": high}

    return listed(code, lambda e: e.cases.with_quench(test), fields)


def _bath_range(quench) -> tuple[float, float]:
    law = BATHS.get(quench.medium)
    return (law.low_c, law.high_c) if law else (-np.inf, np.inf)


def baths() -> Iterator[Rule]:
    def known(quench):
        return quench.medium in BATHS

    def out(quench):
        low, high = _bath_range(quench)
        return not low <= quench.fluid_c <= high

    def oil(quench):
        return quench.medium == "oil bath"

    def stands_out(quench):
        return oil(quench) and (quench.depth_mm is not None or len(quench.zones) < 5)

    def covered(e):
        return e.cases.with_quench(oil) & ~e.cases.with_quench(stands_out)

    yield _of_quench("bath-law", known)
    yield _of_quench("bath-range", out)
    yield _of_quench("oil-at-flash-point", lambda q: oil(q) and q.fluid_c >= _FLASH_C)
    yield listed("oil-fire", covered)
    yield _of_quench("oil-fire:open", stands_out)
