"""What to warn of: one list of rules, each a condition on columns with its sentence for one case."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from ..base.cautions import STEADY_PULL_N
from ..base.ranges import RANGES, Warn, beyond, outside
from ..forging.cautions import (
    CARBIDES_LEFT,
    COARSE_GRAIN_ASTM,
    DECARBURISED_UM,
    FULL_AUSTENITE,
    NO_AUSTENITE,
    SCALE_LOSS_UM,
    is_idle,
)
from ..hardenability.boron import effective_boron
from ..hardenability.ideal_diameter import ADDED_BORON, EFFECTIVE_BORON, ideal_diameter_warnings
from ..hosel.bench import LIMITS
from ..inputs.head import ZONES
from ..strength.hardness_scales import convert_array
from ..strength.tensile import NOTHING_BUT_AUSTENITE, RANGE_OF, RANGE_SHARE
from ..transformation.austenite import diameter_um_from_astm
from . import later_heats
from .interval import CLIFF_HV, LN_SPRAY_SD, jumps_hv, spray_nodes

__all__ = ["FURNACE_CODES", "RULES", "STOP_CODES", "Rule", "codes", "of_case", "stop_of"]

#: Our own limits: °C that a zone leaves the furnace below the preheat temperature; °C by which the body re-heats a face that the
#: spray left above Ms, HV that self-tempering takes from the face; °C below Ae3 at which the spray comes late; carbon
#: (wt%) and martensite that may crack; degrees that are hardly a bend; share of martensite that is a hard face all the
#: same; plateau strain and degrees of a hosel that gives suddenly or only springs.
COLD_CORE_C, NOTE_REHEAT_C, SELF_TEMPERED_HV, LATE_WATER_C = 15.0, 30.0, 30.0, 60.0
CRACK_CARBON, CRACK_MARTENSITE, STIFF_HOSEL_DEG, HARD_SHARE = 0.35, 0.5, 1.0, 0.5
PLATEAU_STRAIN, SPRINGS_DEG = 0.002, 0.05
#: Least sulphur of a resulphurised grade (SAE J403, from memory) and lead of a leaded one (our own limit), wt%.
FREE_CUTTING_S, FREE_CUTTING_PB = 0.08, 0.05
#: HV that hardening would bring at least (our own limit).
HARDENS_HV = 100.0
_FACE, _NECK, _HOSEL = 0, 3, 4


@dataclass(frozen=True)
class Rule:
    """One warning.

    Attributes
    ----------
    code : str
    rank : {"stop", "change", "note"}
    where : callable
        Evaluation -> mask, shape (n,).
    text : callable
        Evaluation and case -> sentence.
    needs : {"", "nodes_hv", "dry_hv", "hosel"}
        What the evaluation must hold beside the march of the cases; "hosel": a bend on its own bench says it itself.
    once : bool
        One sentence of this code is enough for a case.
    """

    code: str
    rank: str
    where: Callable
    text: Callable
    needs: str = ""
    once: bool = False

    def applies(self, e) -> bool:
        """Whether the evaluation holds what the rule needs."""
        return self.needs in ("", "hosel") or getattr(e, self.needs) is not None


def _range(id: str, value: Callable, also: Callable | None = None, needs: str = "") -> Rule:
    """A value outside a registered range, where `also` holds."""

    def where(e):
        found = beyond(id, value(e))
        return found if also is None else found & also(e)

    def text(e, i):
        return outside(id, float(np.broadcast_to(value(e), (len(e),))[i])).text

    return Rule(f"range:{id}", "note", where, text, needs, once=True)


def _contents(formula: str, also: Callable | None = None) -> Iterator[Rule]:
    """Contents of the steel outside the ranges "formula.element", where `also` holds."""
    for id in RANGES:
        group, _, element = id.partition(".")
        if group == formula and element.isalpha() and len(element) <= 2 and element[0].isupper():
            yield _range(id, lambda e, element=element: e.cases.composition[element], also)


def _route(name: str) -> Callable:
    return lambda e: e.cases.route[name]


# ---- before the furnace --------------------------------------------------------------------------------------------


def _boron_text(e, i):
    steel = {n: float(v[i]) for n, v in e.cases.composition.items()}
    found = [w.text for w in ideal_diameter_warnings(steel) if w.code == "ideal_diameter:boron"]
    return found[0][:1].upper() + found[0][1:]


def _bound_boron(e):
    b = e.cases.content("B")
    return (b >= ADDED_BORON) & (effective_boron(e.cases) < EFFECTIVE_BORON * b)


def _free_cutting(e, i):
    s, pb = (e.cases.content(element)[i] for element in ("S", "Pb"))
    lead = f" and {pb:.2f} % Pb" * bool(pb >= FREE_CUTTING_PB)
    return (
        f"{s:.2f} % S{lead} make a free-cutting steel: it is short when hot, its hosel cracks when bent, a thin face "
        "fails early, and no number here includes that."
    )


def _inputs() -> Iterator[Rule]:
    yield Rule(
        "free-cutting",
        "change",
        lambda e: (
            (e.cases.content("S") >= FREE_CUTTING_S) | (e.cases.content("Pb") >= FREE_CUTTING_PB)
        ),
        _free_cutting,
    )
    yield from _contents("kinetics")
    yield Rule("boron-bound", "change", _bound_boron, _boron_text)
    yield Rule(
        "niobium",
        "note",
        lambda e: e.cases.content("Nb") >= 0.01,
        lambda e, i: (
            f"Niobium {e.cases.content('Nb')[i]:.3g} wt% is counted as grain pinning only: strength that it keeps "
            "from the first forging heat is not."
        ),
    )
    yield from _contents("phase_hardness")
    # what the furnace temperature enters
    for id in ("thermal.conductivity", "thermal.cp_austenite"):
        yield _range(id, _route("preheat_c"))
    yield _range(
        "recrystallisation.strain", _route("strain"), lambda e: e.cases.route["strain"] > 0.0
    )
    for id, name in (("thermal.spray_flux", "flux"), ("thermal.spray_water", "water_c")):
        yield _range(
            id, _route(name), lambda e: e.cases.route["has_spray"] & (e.cases.route["flux"] > 0.0)
        )


# ---- the furnace ---------------------------------------------------------------------------------------------------


def _decarburised(e, i):
    skin = e.surface(i)
    return (
        f"The skin has lost carbon to {skin.decarburised_um:.0f} µm (skin {skin.skin_hv:.0f} HV, below it "
        f"{skin.sound_hv:.0f} HV): grind or mill it off where the face must be hard, or heat shorter."
    )


def _below_ac1(e, i):
    ac1, hottest = e.critical["ac1"][i], e.results.peak_c[i].max()
    which = f"No zone reaches this steel's Ac1 of {ac1:.0f} °C in the furnace (hottest {hottest:.0f} °C)"
    if e.cases.route["preheat_c"][i] < ac1:
        which = f"The preheat stays below this steel's Ac1 of {ac1:.0f} °C"
    return f"{which}: nothing hardens; the head keeps its first-heat structure, tempered."


def _below_ac3(e, i):
    return (
        f"{e.furnace_c[i, _FACE]:.0f} °C is below Ac3 ({e.critical['ac3'][i]:.0f} °C): a carbon-free ferrite rim "
        "can form, and the decarburised depth given is an upper bound."
    )


def _alloyed(e):
    return (e.cases.content("Cr") >= 0.30) | (e.cases.content("Mo") >= 0.08)


def _furnace_at(zone: int) -> Iterator[Rule]:
    """What the furnace does to one zone; scale and heat are said once."""
    where = f"the {ZONES[zone]}"

    def at(column: Callable) -> Callable:
        return lambda e: column(e)[:, zone]

    peak = at(lambda e: e.furnace_c)
    share, grain = at(lambda e: e.results.share), at(lambda e: e.results.grain_astm)
    undissolved, scale = at(lambda e: e.results.undissolved), at(lambda e: e.results.scale_um)

    def safe(e):
        return e.heating_limits[0][:, 0]

    def working(e):
        return e.heating_limits[1][:, 0]

    yield Rule(
        "burning",
        "stop",
        lambda e: peak(e) > safe(e),
        lambda e, i: (
            f"{peak(e)[i]:.0f} °C is above {safe(e)[i]:.0f} °C, the safe limit of "
            f"{e.cases.steel_name(i)}: the grain boundaries may melt, which nothing repairs."
        ),
        once=True,
    )
    yield Rule(
        "overheating",
        "change",
        lambda e: (peak(e) > working(e)) & (peak(e) <= safe(e)),
        lambda e, i: (
            f"{peak(e)[i]:.0f} °C is above {working(e)[i]:.0f} °C, the working limit of "
            f"{e.cases.steel_name(i)}: expect very coarse, brittle grain."
        ),
        once=True,
    )

    def partial(e, i):
        if share(e)[i] < NO_AUSTENITE:
            return (
                f"None of {where} becomes austenite; it keeps the first-heat structure, tempered, and "
                "stays soft."
            )
        return (
            f"Only {100 * share(e)[i]:.0f} % of {where} is austenite when cooling starts; the rest keeps "
            "the first-heat structure, tempered, and stays soft."
        )

    yield Rule(
        "partial-austenite", "change", lambda e: (share(e) < FULL_AUSTENITE) & ~e.below_ac1, partial
    )
    yield Rule(
        "carbides-left",
        "note",
        lambda e: _alloyed(e) & (share(e) >= NO_AUSTENITE) & (undissolved(e) > CARBIDES_LEFT),
        lambda e, i: (
            f"About {100 * undissolved(e)[i]:.0f} % of the Cr-Mo carbides of {where} are not dissolved; it "
            "hardens less than its analysis promises. Soak longer or hotter."
        ),
    )
    yield Rule(
        "coarse-grain",
        "change",
        lambda e: grain(e) < COARSE_GRAIN_ASTM,
        lambda e, i: (
            f"The austenite grain of {where} grows to ASTM {grain(e)[i]:.1f} "
            f"({diameter_um_from_astm(grain(e)[i]):.0f} µm), coarser than {COARSE_GRAIN_ASTM:.0f}: less "
            "tough, and the hosel hardens more in air."
        ),
    )
    yield Rule(
        "scale",
        "change",
        lambda e: e.metal_loss_um[:, zone] > SCALE_LOSS_UM,
        lambda e, i: (
            f"Scale of {scale(e)[i]:.0f} µm takes {e.metal_loss_um[i, zone]:.0f} µm of metal from each side "
            "and must come off before the press or it is pressed in."
        ),
        once=True,
    )
    yield _range("lee_lee_grain", lambda e: np.maximum(peak(e), 900.0))
    yield _range(
        "scale.temperature", lambda e: np.maximum(peak(e), 700.0), lambda e: scale(e) > 0.0
    )


def _cold_core_c(e):
    return e.cases.route["preheat_c"] - e.results.peak_c.min(axis=1)


def _cold_core(e, i):
    peaks = e.results.peak_c[i]
    return (
        f"The {ZONES[int(peaks.argmin())]} leaves the furnace at {peaks.min():.0f} °C, "
        f"{_cold_core_c(e)[i]:.0f} °C below the preheat temperature: soak longer."
    )


def _furnace() -> Iterator[Rule]:
    yield Rule(
        "decarburised", "change", lambda e: e.decarburised_um > DECARBURISED_UM, _decarburised
    )
    yield Rule("below-ac1", "change", lambda e: e.below_ac1, _below_ac1)
    yield _range(
        "decarburisation.temperature",
        lambda e: np.maximum(e.furnace_c[:, _FACE], 700.0),
        lambda e: e.decarburised_um > 0.0,
    )
    yield Rule(
        "decarb-below-ac3",
        "note",
        lambda e: (e.decarburised_um > 0.0) & (e.furnace_c[:, _FACE] < e.critical["ac3"]),
        _below_ac3,
    )
    yield from _furnace_at(_FACE)
    yield from _furnace_at(_HOSEL)
    yield Rule("cold-core", "change", lambda e: _cold_core_c(e) > COLD_CORE_C, _cold_core)


def _press() -> Iterator[Rule]:
    yield _range("shida.carbon", lambda e: e.cases.content("C"))
    yield _range("shida.temperature", lambda e: e.press["die_c"])
    yield _range("shida.strain", lambda e: e.press["strain"])
    yield _range("shida.rate", lambda e: e.press["rate_per_s"])


# ---- spray ---------------------------------------------------------------------------------------------------------


def _martensite(e):
    return e.results.fractions["martensite"][:, _FACE]


def _soft_face(e):
    return _martensite(e) < HARD_SHARE * e.results.share[:, _FACE]


def _above_ms(e):
    return e.results.water_off_c[:, _FACE] > e.critical["ms"]


def _reheated(e):
    """The body re-heats a face that the spray left above Ms."""
    return e.cases.sprayed & _above_ms(e) & (e.results.rebound_c[:, _FACE] > NOTE_REHEAT_C)


def _reheated_text(e, i):
    r = e.results
    dry = "" if e.dry_hv is None else f" ({e.dry_hv[i, _FACE]:.0f} HV without spray)"
    return (
        f"The spray stops while the face is still at {r.water_off_c[i, _FACE]:.0f} °C, above "
        f"Ms ({e.critical['ms'][i]:.0f} °C); the body re-heats it by {r.rebound_c[i, _FACE]:.0f} °C and it "
        f"ends at {r.hardness_hv[i, _FACE]:.0f} HV{dry}: spray longer or harder."
    )


def _self_tempered_text(e, i):
    r = e.results
    return (
        f"The body re-heats the quenched face by {r.rebound_c[i, _FACE]:.0f} °C, which tempers it from "
        f"{r.as_quenched_hv[i, _FACE]:.0f} to {r.as_cooled_hv[i, _FACE]:.0f} HV."
    )


def _idle(e):
    hardens = e.results.share[:, _FACE] > 0.0
    same = is_idle(e.hardness_hv[:, _FACE], e.dry_hv[:, _FACE])
    return e.cases.sprayed & hardens & ~(_reheated(e) & _soft_face(e)) & same


def _by_steel(e, i) -> float | None:
    """Hardness of the face with the water as strong as it may be where that does not harden it either, else None."""
    if e.nodes_hv is None:
        return None
    best = float(np.nanmax(e.nodes_hv[:, i, _FACE]))
    return best if best < e.dry_hv[i, _FACE] + HARDENS_HV else None


def _idle_text(e, i):
    if not _soft_face(e)[i]:
        why = "this steel hardens in air as well; leave out the spray or choose a leaner steel"
    elif _above_ms(e)[i]:
        why = (
            f"the face is still at {e.results.water_off_c[i, _FACE]:.0f} °C when it stops, above Ms "
            f"({e.critical['ms'][i]:.0f} °C); spray longer or harder"
        )
    else:
        why = "the face turns soft before it reaches Ms; more water, sooner, or a steel with more carbon or alloy"
        if (best := _by_steel(e, i)) is not None:
            why = (
                f"the face turns soft before it reaches Ms, and does so with {np.exp(2 * LN_SPRAY_SD):.1f} times the water "
                f"too ({best:.0f} HV): it is the steel; choose one with more carbon or alloy"
            )
    return (
        f"The spray changes the face almost nothing ({e.dry_hv[i, _FACE]:.0f} HV without it, "
        f"{e.hardness_hv[i, _FACE]:.0f} HV with it): {why}."
    )


def _late(e):
    on = e.results.water_on_c[:, _FACE]
    whole = e.results.share[:, _FACE] > FULL_AUSTENITE
    return e.cases.sprayed & whole & (on < e.critical["ae3"] - LATE_WATER_C)


def _late_text(e, i):
    on = e.results.water_on_c[i, _FACE]
    return (
        f"The face is at {on:.0f} °C when the spray starts, {e.critical['ae3'][i] - on:.0f} °C below Ae3: part of "
        "it may have gone to ferrite."
    )


def _cliff(e):
    nodes = e.nodes_hv[:, :, _FACE]
    steep = jumps_hv(e.hardness_hv[:, _FACE], spray_nodes()[0], nodes).max(axis=0) >= CLIFF_HV
    found = np.zeros(len(e), bool)
    for i in np.flatnonzero(steep & e.cases.sprayed):
        found[i] = e.chances(i, _FACE) is not None
    return found


def _cliff_text(e, i):
    c = e.chances(i, _FACE)
    return (
        f"The face stands near a cliff: about {100 * c['hard_chance']:.0f} % chance of {c['hard']:.0f} HV, "
        f"{100 * c['soft_chance']:.0f} % of {c['soft']:.0f} HV, depending on how well the spray works."
    )


def _spray() -> Iterator[Rule]:
    yield Rule("reheated-face", "change", lambda e: _reheated(e) & _soft_face(e), _reheated_text)
    yield Rule(
        "self-tempered",
        "note",
        lambda e: (
            e.cases.sprayed
            & ~_reheated(e)
            & ((e.results.as_quenched_hv - e.results.as_cooled_hv)[:, _FACE] > SELF_TEMPERED_HV)
        ),
        _self_tempered_text,
    )
    yield Rule("idle-water", "change", _idle, _idle_text, "dry_hv")
    yield Rule("late-water", "change", _late, _late_text)
    yield Rule("cliff", "change", _cliff, _cliff_text, "nodes_hv")
    yield Rule(
        "quench-crack",
        "stop",
        lambda e: (
            e.cases.sprayed
            & (e.cases.content("C") > CRACK_CARBON)
            & (_martensite(e) > CRACK_MARTENSITE)
        ),
        lambda e, i: (
            f"Quench cracks: {e.cases.content('C')[i]:.2f} % C and {100 * _martensite(e)[i]:.0f} % martensite "
            "under water; use less or warmer water and temper soon."
        ),
    )


def _later() -> Iterator[Rule]:
    yield from (Rule(*row) for row in later_heats.RULES)
    yield from _contents("tempering", later_heats.any_heat)
    yield _range("tempering.temperature", later_heats.hottest_c, later_heats.any_heat)


# ---- hosel ---------------------------------------------------------------------------------------------------------


def _shares(e) -> dict[str, np.ndarray]:
    """Share of every branch of the strength, shape (n, 5); "all data" where nothing but austenite is left."""
    f = e.results.fractions
    known = np.maximum(np.stack([e.soft, f["bainite"], f["martensite"]]), 0.0)
    whole = known.sum(axis=0)
    names = ("ferrite-pearlite", "bainite", "quenched and tempered")
    there = known > RANGE_SHARE * whole
    return dict(zip(names, there, strict=True)) | {"all data": whole <= NOTHING_BUT_AUSTENITE}


def _branch(name: str, id: str) -> Rule:
    """Hardness of hosel or neck outside the range of a branch of the strength that counts there."""

    def where(e):
        there = _shares(e)[name] & beyond(id, e.strength["hardness_hv"])
        return there[:, _NECK] | there[:, _HOSEL]

    return Rule(f"range:{id}", "note", where, lambda e, i: "", "hosel", once=True)


def _stiff(allowed_deg):
    return allowed_deg < STIFF_HOSEL_DEG


def _stiff_text(allowed_deg, hardness_hv) -> str:
    return (
        f"The hosel is likely too hard to bend: {allowed_deg:.1f}° at most ({hardness_hv:.0f} HV)."
    )


def _hosel() -> Iterator[Rule]:
    yield Rule(
        "hosel-hard",
        "change",
        lambda e: _stiff(e.hosel["allowed_deg"]),
        lambda e, i: _stiff_text(e.hosel["allowed_deg"][i], e.hardness_hv[i, _HOSEL]),
        "hosel",
    )
    for name, id in RANGE_OF.items():
        yield _branch(name, id)
    yield _range(
        "hosel_length", lambda e: e.cases.dimension("hosel", "bend_zone_mm"), needs="hosel"
    )
    yield Rule(
        "hosel:plateau",
        "note",
        lambda e: e.strength["yield_plateau_strain"][:, _HOSEL] > PLATEAU_STRAIN,
        lambda e, i: "",
        "hosel",
    )
    yield _range("hosel_strain", lambda e: e.hosel["outer_strain"], needs="hosel")
    yield _range(
        "roessle_fatemi",
        lambda e: convert_array(e.strength["hardness_hv"][:, _HOSEL], "HV", "HB")[0],
        lambda e: e.hosel["governed_by"] == LIMITS.index("re-bends"),
        "hosel",
    )
    yield Rule("hosel:gathers", "note", lambda e: e.hosel["gathers"], lambda e, i: "", "hosel")
    yield Rule(
        "hosel:pull",
        "note",
        lambda e: e.hosel["bar_force_n"] > STEADY_PULL_N,
        lambda e, i: "",
        "hosel",
    )
    yield Rule(
        "hosel:too-strong",
        "change",
        lambda e: e.hosel["allowed_deg"] < SPRINGS_DEG,
        lambda e, i: "",
        "hosel",
    )


#: Every warning of an estimate, in the order of the shop floor.
RULES = (*_inputs(), *_furnace(), *_press(), *_spray(), *_later(), *_hosel())


#: What the furnace alone gives to warn of.
FURNACE_CODES = frozenset(rule.code for rule in _furnace())


#: Codes of the warnings that say stop: no remedy and no ranking may hold one.
STOP_CODES = frozenset(rule.code for rule in RULES if rule.rank == "stop")


def stop_of(codes: str) -> str:
    """The first code that says stop, of codes joined by "; "; else ""."""
    return next((code for code in codes.split("; ") if code in STOP_CODES), "")


def of_case(e, case: int, bend=None) -> tuple[Warn, ...]:
    """Warnings of one case, in words, in the order of `RULES`.

    Parameters
    ----------
    bend : HoselBend, optional
        The hosel on its own bench, which gives its own warnings; without it the rules of the hosel are left out.

    References
    ----------
    .. [1] ASTM 5 divides fine from coarse grain: ASTM A29 (common practice).
    .. [2] Marks from which scale, lost carbon, carbides and the like are worth a warning (our choice).
    """
    found: dict[str, Warn] = {}
    for rule in RULES:
        if rule.needs == "hosel" or not rule.applies(e):
            continue
        if rule.where(e)[case] and not (rule.once and rule.code in found):
            warn = Warn(rule.code, rule.text(e, case), rule.rank)
            found[rule.code if rule.once else warn.text] = warn
    if bend is None:
        return tuple(found.values())
    stiff = Warn("hosel-hard", _stiff_text(bend.allowed_deg, bend.hardness_hv), "change")
    return (*found.values(), *[stiff] * _stiff(bend.allowed_deg), *bend.warnings)


def codes(e) -> np.ndarray:
    """Codes of the warnings of every case joined by "; ", array of text."""
    masks: dict[str, np.ndarray] = {}
    for rule in RULES:
        if rule.applies(e):
            here = np.broadcast_to(rule.where(e), (len(e),))
            masks[rule.code] = masks[rule.code] | here if rule.code in masks else here
    names = list(masks)
    bits, which = np.unique(
        np.packbits(np.stack(list(masks.values())), axis=0), axis=1, return_inverse=True
    )
    kinds = np.unpackbits(bits, axis=0, count=len(names)).T.astype(bool)
    words = ["; ".join(n for n, there in zip(names, kind, strict=True) if there) for kind in kinds]
    return np.array(words, dtype=object)[which.ravel()]
