"""The main job: a steel, a head and a route in; hardness, strength, hosel allowance and face margin out.

It reads like the shop floor: march the head through its route, then hardness, strength, limits, answer.
`evaluate` does it for many cases at once; `estimate` is a small batch of one head, told in full.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..base.errors import InputError, check_flag
from ..base.ranges import Warn, contents_outside, outside
from ..engine import batch
from ..engine import march as marks
from ..engine import outcome as out
from ..engine.packing import POINTS
from ..engine.run import march_heads
from ..engine.section import lobatto
from ..face.distortion import CUTTING_LIMIT_HV, FLATNESS_MM, bow_of_head, cutting_warnings
from ..forging.cautions import FULL_AUSTENITE, decarburised_warning, furnace_warnings, is_idle
from ..forging.decarburisation import decarburisation_warnings
from ..forging.effort import effort_warnings
from ..hosel.bench import bench_options
from ..hosel.bend import bend_of_head
from ..inputs.head import ZONES, Head
from ..inputs.head import head as library_head
from ..inputs.job import Job
from ..inputs.route import Route
from ..inputs.shop import Shop, shop_or_file
from ..inputs.steel import Steel
from ..strength.hardness_scales import try_convert
from ..strength.tensile import NOTHING_BUT_AUSTENITE, Strength, strength, strength_arrays
from ..thermal.spray import spray_warnings
from ..thermal.surroundings import radiation_w_m2k
from ..transformation import decomposition, temperatures
from ..transformation.austenite import carbide_carbon, diameter_um_from_astm
from ..transformation.phase_hardness import constituent_warnings
from . import interval as uncertainty
from .press_and_skin import (
    PressStrain,
    Surface,
    effort_of,
    heat_through_s,
    press_rate_per_s,
    press_strain,
    squeeze_strain,
    surface_of,
)
from .result import Estimate, ZoneResult
from .second_opinions import opinions

__all__ = [
    "Evaluated",
    "carbides_unsure",
    "estimate",
    "evaluate",
    "furnace_warnings_of",
    "press_strains",
    "zone_result",
]

_PHASES = {
    "ferrite": out.O_FERRITE,
    "pearlite": out.O_PEARLITE,
    "bainite": out.O_BAINITE,
    "martensite": out.O_MARTENSITE,
    "austenite": out.O_AUSTENITE,
    "untransformed": out.O_UNTRANSFORMED,
}
#: What is worth a warning (our own limits): °C that a zone leaves the furnace below the set point; °C by which the
#: body re-heats a face that the water left above Ms, HV that self-tempering takes from the face; °C below Ae3 at
#: which water comes late; carbon (wt%) and martensite that may crack under water; degrees that are hardly a bend;
#: share of martensite that is a hard face all the same.
COLD_CORE_C, REBOUND_C, SELF_TEMPERED_HV, LATE_WATER_C = 15.0, 30.0, 30.0, 60.0
CRACK_CARBON, CRACK_MARTENSITE, STIFF_HOSEL_DEG, HARD_SHARE = 0.35, 0.5, 1.0, 0.5
#: Rise of the mean temperature after its low, °C, that counts as re-heating by the body (our choice).
REHEATED_C = 60.0
#: Ranges of what the furnace temperature enters.
HEATED_RANGES = ("thermal.conductivity", "thermal.cp_austenite")
#: Longest soak marched to learn when a head is heated through, s.
_LONG_SOAK_S = 14_400.0


@dataclass(frozen=True)
class Evaluated:
    """Many cases as arrays; first axis the case, second the zone (`head.ZONES`).

    Attributes
    ----------
    hardness_hv, as_quenched_hv : array, shape (n, 5)
        With and without self-tempering.
    fractions : dict of str to array, shape (n, 5)
    strength : dict of str to array, shape (n, 5)
        See `strength.tensile.strength_arrays`.
    marched : Marched
        What the march handed back.
    """

    hardness_hv: np.ndarray
    as_quenched_hv: np.ndarray
    fractions: dict[str, np.ndarray]
    strength: dict[str, np.ndarray]
    marched: batch.Marched


def evaluate(
    steels: Sequence[Steel],
    heads: Sequence[Head],
    routes: Sequence[Route],
    shops: Sequence[Shop] | None = None,
    **options: Any,
) -> Evaluated:
    """March many heads and give hardness and strength of every zone; the sequences have one length.

    Parameters
    ----------
    options
        Passed to `engine.run.march_heads` (tolerance_c, points, trace, threads, constants).
    """
    shops = [Shop()] * len(steels) if shops is None else shops
    return outcome(march_heads(steels, heads, routes, shops, **options))


def outcome(marched: batch.Marched) -> Evaluated:
    """Hardness, structure and strength of every zone of a finished march."""
    zones = marched.zones
    fractions = {name: zones[:, :, column] for name, column in _PHASES.items()}
    soft = fractions["ferrite"] + fractions["pearlite"] + fractions["untransformed"]
    shape = zones.shape[:2]
    flat = strength_arrays(
        np.clip(zones[:, :, out.O_HV], 60.0, 900.0).ravel(),
        soft.ravel(),
        fractions["bainite"].ravel(),
        fractions["martensite"].ravel(),
    )
    return Evaluated(
        zones[:, :, out.O_HV],
        zones[:, :, out.O_HV_QUENCHED],
        fractions,
        {name: a.reshape(shape) for name, a in flat.items()},
        marched,
    )


def _checked(value, kind, what: str, or_else: str = ""):
    if not isinstance(value, kind):
        raise InputError(
            f"{what} is {type(value).__name__} {value!r:.60}; allowed is a {kind.__name__}{or_else}."
        )
    return value


def estimate(
    steel: Steel | Job,
    head: Head | str | None = None,
    route: Route | None = None,
    shop: Shop | str | os.PathLike | None = None,
    *,
    count_press_strain: bool = False,
    bench: Mapping[str, Any] | None = None,
    flatness_mm: float = FLATNESS_MM,
    cutting_limit_hv: float = CUTTING_LIMIT_HV,
    **options: Any,
) -> Estimate:
    """How hard and strong face, rim, body, neck and hosel come out, how far the hosel bends, how sure that is.

    Parameters
    ----------
    steel : Steel or Job
        A job brings head, route, shop and bench with it.
    head : Head or str, optional
        A head, or the name of a library head; the mid-iron when left out.
    route : Route, optional
        The second heat; `Route()` when left out.
    shop : Shop or path, optional
        The shop's own multipliers, or the file `Shop.save` wrote; neutral when left out.
    count_press_strain : bool
        Let the strain that the press leaves in the austenite speed ferrite and bainite.  Off by default, because only
        its bound is known; `Estimate.strain_effect_hv` tells what it would change either way.
    bench : mapping, optional
        Bending bench and wanted change by the names of `hosel.bend.hosel_bend`: ``{"target_lie_deg": 1.5,
        "target_loft_deg": 1, "bar_mm": 600, "hand": "left"}``.
    flatness_mm, cutting_limit_hv : float
        Your limits on the bow of the face (mm) and on the hardness of what is machined afterwards (HV), for
        `Estimate.distortion`.

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        Something that is not a steel, head, route or shop.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> result = estimate(grade("4130"))
    >>> result.zones["face"].hardness_hv > result.zones["hosel"].hardness_hv
    True
    """
    if isinstance(steel, Job):
        return estimate(
            *(steel.steel, steel.head, steel.route, steel.shop),
            bench=dict(steel.bench) if bench is None else bench,
            count_press_strain=count_press_strain,
            flatness_mm=flatness_mm,
            cutting_limit_hv=cutting_limit_hv,
            **options,
        )
    _checked(steel, Steel, "steel")
    check_flag(count_press_strain, "count_press_strain")
    if head is None or isinstance(head, str):
        head = library_head("mid-iron" if head is None else head)
    _checked(head, Head, "head")
    route = _checked(Route() if route is None else route, Route, "route")
    shop = _checked(shop_or_file(shop), Shop, "shop", " or the path of its file")
    bench = bench_options(bench)
    check_later_heats(steel, route)

    full = {**options, "trace": True, "keep_points": True}
    told = evaluate([steel], [head], [route], [shop], **full)
    strains = press_strains(steel, route, shop, told)
    plain, strained = np.ones(len(ZONES)), np.array([s.speed for s in strains])
    speed = strained if count_press_strain else plain
    if count_press_strain:
        told = evaluate(
            [steel], [head], [route], [shop], strain_speed=(speed[None], speed[None]), **full
        )

    # the same without water, with the water law stronger and weaker, with the press strain and without, and with
    # carbides that dissolve slower and faster
    sprayed = (
        route.spray is not None and route.spray.flux_kg_m2_s > 0.0 and route.spray.duration_s > 0.0
    )
    deviates, factors = uncertainty.spray_nodes() if sprayed else (np.array([]), np.array([]))
    water = len(factors)
    cases = [
        (route, dataclasses.replace(shop, spray=min(max(shop.spray * f, 0.1), 10.0)), 1.0, speed)
        for f in factors
    ]
    cases.append((route, shop, 1.0, plain if count_press_strain else strained))
    if sprayed:
        cases.append((dataclasses.replace(route, spray=None), shop, 1.0, speed))
    unsure = carbides_unsure(steel, told)
    if unsure:
        cases += [(route, shop, f, speed) for f in uncertainty.CARBIDE_SPEEDS]
    n = len(cases)
    speeds = np.array([c[3] for c in cases])
    rest = evaluate(
        [steel] * n,
        [head] * n,
        [c[0] for c in cases],
        [c[1] for c in cases],
        carbide_speed=np.array([c[2] for c in cases]),
        strain_speed=(speeds, speeds),
        **options,
    ).hardness_hv
    strain_effect = (told.hardness_hv[0] - rest[water]) * (1.0 if count_press_strain else -1.0)
    carbide_span = np.abs(rest[-1] - rest[-2]) if unsure else np.zeros(len(ZONES))

    zones, warnings = {}, list(_route_warnings(steel, route))
    for i, name in enumerate(ZONES):
        zones[name] = zone_result(
            name,
            steel,
            head,
            route,
            told,
            0,
            rest[:water, i],
            deviates,
            carbide_span[i],
            strains[i],
        )
    effort = effort_of(steel, head, route.press, {name: z.die_c for name, z in zones.items()})
    for name, stress in effort.flow_stress.items():
        zones[name] = dataclasses.replace(zones[name], flow_stress=stress)
    dry = {name: float(rest[water + 1, i]) for i, name in enumerate(ZONES)} if sprayed else None
    hosel = _hosel(head, zones, bench)
    face = _face(head, zones)
    events = _events(route, shop)
    surface = surface_of(
        steel,
        route,
        zones["face"].time_s,
        zones["face"].front_c,
        float(told.marched.marks[0, 0, marks.M_SCALE]),
        zones["face"].hardness_hv,
        events.get("water on"),
        zones["face"].water_c if sprayed else None,
    )
    warnings += furnace_warnings_of(steel, route, told, 0, surface)
    warnings += effort_warnings(
        steel, effort.die_c, squeeze_strain(route.press), press_rate_per_s(route.press)
    )
    warnings += _result_warnings(steel, route, zones, hosel, dry)
    return Estimate(
        steel=steel,
        head=head,
        route=route,
        shop=shop,
        zones=zones,
        hosel=hosel,
        face=face,
        events=events,
        without_spray=dry,
        critical=temperatures.critical_temperatures(steel),
        steps=int(told.marched.steps[0]),
        scale_um=surface.scale_um,
        surface=surface,
        effort=effort,
        heat_through_s=_heat_through(steel, head, route, shop, told, options),
        strain_effect_hv={name: float(strain_effect[i]) for i, name in enumerate(ZONES)},
        press_strain_counted=count_press_strain,
        warnings=_unique([*warnings, *hosel.warnings]),
        distortion=_distortion(steel, head, zones, flatness_mm, cutting_limit_hv),
    )


def check_later_heats(steel: Steel, route: Route) -> None:
    """Refuse later heats above Ac1.

    Raises
    ------
    InputError
    """
    if not route.later:
        return
    ac1 = float(temperatures.ac1_c(steel))
    for heat in route.later:
        if heat.temperature_c > ac1:
            raise InputError(
                f"later heat is {heat.temperature_c:g} °C; allowed is up to this steel's Ac1, {ac1:.0f} °C: "
                "above it the head would be hardened anew, which is a second route."
            )


def press_strains(
    steel: Steel, route: Route, shop: Shop, told: Evaluated, case: int = 0
) -> list[PressStrain]:
    """Press strain of every zone when the water starts, from a traced march."""
    trace, zones = told.marched.trace[case], told.marched.zones[case]
    return [
        press_strain(steel, route, shop, trace[:, 0], trace[:, 1 + i], float(zones[i, out.O_GRAIN]))
        for i in range(len(ZONES))
    ]


def carbides_unsure(steel: Steel, told: Evaluated, case: int = 0) -> bool:
    """Whether carbides that dissolve faster or slower could change the answer."""
    bound = [
        carbide_carbon(float(u), steel.get("C"), steel.get("Cr"), steel.get("Mo"))
        for u in told.marched.zones[case, :, out.O_UNDISSOLVED]
    ]
    shares = told.marched.zones[case, :, out.O_SHARE]
    return bool(
        shares.max() > 0.0
        and (shares.min() < uncertainty.UNSURE_SHARE or max(bound) > uncertainty.UNSURE_CARBON)
    )


def _heat_through(steel, head, route, shop, told: Evaluated, options) -> float | None:
    """Time until the slowest zone is within 10 °C of the furnace, s; None if hours do not do it."""

    def of(evaluated: Evaluated, soak_s: float) -> float | None:
        trace = evaluated.marched.trace[0]
        return heat_through_s(
            trace[:, 0], trace[:, 1 : 1 + len(ZONES)], route.preheat.temperature_c, soak_s
        )

    found = of(told, route.preheat.soak_s)
    if found is None and route.preheat.soak_s < _LONG_SOAK_S:
        long = evaluate(
            [steel], [head], [route.with_(soak_s=_LONG_SOAK_S)], [shop], trace=True, **options
        )
        found = of(long, _LONG_SOAK_S)
    return found


def zone_result(
    name: str,
    steel: Steel,
    head: Head,
    route: Route,
    told: Evaluated,
    case: int,
    values,
    deviates,
    carbide_span_hv: float,
    strain: PressStrain,
) -> ZoneResult:
    """Everything about one zone of one case of a traced march.

    Parameters
    ----------
    values, deviates : array
        Hardness with the water law moved, HV, and by how many standard deviations; empty without water.
    carbide_span_hv : float
        Hardness between carbides that dissolve slowly and fast, HV.
    strain : PressStrain
    """
    i = ZONES.index(name)
    z, m = told.marched.zones[case, i], told.marched.marks[case, i]
    trace = told.marched.trace[case]
    fractions = {phase: float(z[column]) for phase, column in _PHASES.items()}
    hv = float(z[out.O_HV])
    views = opinions(
        steel,
        float(m[marks.M_RATE700]) or None,
        _t85(m),
        bool(m[marks.M_REBOUND] > REHEATED_C),
        min(float(z[out.O_SHARE]), 1.0),
        min(max(float(m[marks.M_FURNACE]), 700.0), 1250.0),
        max(route.preheat.soak_s, 60.0),
    )
    sd = _hardness_sd_hv(hv, fractions, views, carbide_span_hv)
    low, high = uncertainty.interval(hv, sd, deviates, values)
    chances = uncertainty.outcome_chances(hv, sd, deviates, values) if len(deviates) else None
    first, last = sum(POINTS[:i]), sum(POINTS[: i + 1])
    states = told.marched.state
    kept = None if states is None else states[case, :, first:last]
    shape = head.zones("forged")[name]
    worst_h = radiation_w_m2k(route.preheat.temperature_c, route.cool.air_c, 0.8) + 15.0
    return ZoneResult(
        name=name,
        time_s=trace[:, 0],
        temperature_c=trace[:, 1 + i],
        front_c=trace[:, 6 + i],
        fractions=fractions,
        hardness_hv=hv,
        hardness_low_hv=max(low, 60.0),
        hardness_high_hv=min(high, 900.0),
        hardness_sd_hv=sd,
        hardness_hrc=try_convert(hv, "HV", "HRC"),
        as_quenched_hv=float(z[out.O_HV_QUENCHED]),
        layers_hv=told.marched.point_hv[case, first:last].copy(),
        strength=_strength(hv, fractions),
        austenite_share=float(z[out.O_SHARE]),
        austenite_carbon=float(z[out.O_CARBON]),
        grain_astm=float(z[out.O_GRAIN]),
        undissolved=float(z[out.O_UNDISSOLVED]),
        peak_c=float(m[marks.M_FURNACE]),
        die_c=float(m[marks.M_DIE]),
        water_c=_known(m[marks.M_WATER_ON]),
        water_off_c=_known(m[marks.M_WATER_OFF]),
        low_c=float(m[marks.M_LOW]),
        rebound_c=float(m[marks.M_REBOUND]),
        rate_700_c_per_s=_known(m[marks.M_RATE700], 0.0),
        t85_s=_t85(m),
        biot=shape.biot(worst_h),
        biot_die=shape.biot(route.press.contact_w_m2k),
        opinions=views,
        chances=chances,
        recrystallised_share=strain.recrystallised,
        retained_strain=strain.strain,
        layer_fractions=None if kept is None else _layer_fractions(kept),
        back_c=None if kept is None else trace[:, 1 + 2 * len(ZONES) + last - 1],
    )


def _hardness_sd_hv(
    hv: float, fractions: Mapping[str, float], views, carbide_span_hv: float
) -> float:
    """Standard deviation of hardness from the model, the spread of the methods and unsure carbides, HV."""
    soft = fractions["ferrite"] + fractions["pearlite"] + fractions["untransformed"]
    views_hv = [hv, *(v.hardness_hv for v in views if v.applicable)]
    sd = float(
        uncertainty.hardness_sd_hv(
            hv,
            soft,
            fractions["bainite"],
            fractions["martensite"] + fractions["austenite"],
            uncertainty.opinions_spread_hv(views_hv, [True] * len(views_hv)),
        )
    )
    return float(np.hypot(sd, carbide_span_hv / (2.0 * uncertainty.Z)))


def _known(value, missing: float = -1.0) -> float | None:
    return None if value == missing else float(value)


def _t85(m) -> float | None:
    return (
        float(m[marks.M_T500] - m[marks.M_T800])
        if m[marks.M_T800] >= 0.0 and m[marks.M_T500] >= 0.0
        else None
    )


def _strength(hv: float, fractions: Mapping[str, float]) -> Strength:
    shares = {k: v for k, v in fractions.items() if k != "untransformed"}
    shares["ferrite"] += fractions[
        "untransformed"
    ]  # the first heat's structure, or its ferrite: counted as soft
    known = sum(v for k, v in shares.items() if k != "austenite") > NOTHING_BUT_AUSTENITE
    return strength(min(max(hv, 60.0), 900.0), shares if known else None)


def _layer_fractions(state: np.ndarray) -> dict[str, np.ndarray]:
    """Structure of every point of a zone, front to back, from the state that the march kept."""
    rows = {
        "ferrite": decomposition.FERRITE,
        "pearlite": decomposition.PEARLITE,
        "bainite": decomposition.BAINITE,
        "martensite": decomposition.MARTENSITE,
        "austenite": decomposition.AUSTENITE,
    }
    return {
        **{name: state[row].copy() for name, row in rows.items()},
        "untransformed": 1.0 - state[decomposition.AUSTENITE_0],
    }


def _hosel(head: Head, zones, bench: Mapping[str, Any]):
    h = zones["hosel"]
    spread = (h.hardness_high_hv - h.hardness_low_hv) / (2 * uncertainty.Z)
    return bend_of_head(
        head, h.strength, zones["neck"].strength, **{"hardness_se_hv": spread, **bench}
    )


def _distortion(steel: Steel, head: Head, zones, flatness_mm: float, cutting_limit_hv: float):
    """Bow and drift, with warnings of what is machined later (so the drawing says) and comes out too hard."""
    shape = bow_of_head(head, zones["face"], steel.get("C"), zones["neck"], limit_mm=flatness_mm)
    machined = {
        "face": head.face.allowance_mm,
        "rim": head.rim.allowance_mm,
        "neck": head.neck.allowance_mm,
        "hosel": head.hosel.allowance_mm + head.hosel.bore_mm,
        "body": max(b.allowance_mm for b in head.body),
    }
    hardest = {name: float(zones[name].layers_hv.max()) for name in zones}
    # the recess is milled from the back
    back = np.linspace(head.face.thickness_mm / head.face.forged_thickness_mm, 1.0, 5)
    points = zones["face"].layers_hv
    hardest["face"] = float(np.interp(back, lobatto(points.size)[0], points).max())
    hard = cutting_warnings(
        hardest, [name for name in zones if machined[name] > 0.0], cutting_limit_hv
    )
    return dataclasses.replace(shape, warnings=(*shape.warnings, *hard))


def _face(head: Head, zones):
    try:
        from ..face.margin import strike_of_head
    except ImportError:
        return None
    return strike_of_head(head, zones["face"], zones["rim"])


def _events(route: Route, shop: Shop) -> dict[str, float]:
    t = route.preheat.soak_s
    events = {"out of furnace": t}
    t += route.transfer.duration_s
    events["in die"] = t
    t += route.press.rest_s / 2
    events["stroke"] = t
    t += route.press.dwell_s
    events["end of stroke"] = t
    if route.spray is not None:
        t += max(route.spray.delay_s + shop.delay_s, 0.0)
        events["water on"] = t
        t += route.spray.duration_s
        events["water off"] = t
    return events


def _route_warnings(steel: Steel, route: Route):
    found = contents_outside("kinetics", steel)
    found += constituent_warnings(steel)
    found += [outside(id, route.preheat.temperature_c) for id in HEATED_RANGES]
    if route.press.strain > 0.0:
        found.append(outside("recrystallisation.strain", route.press.strain))
    if route.spray is not None:
        found += spray_warnings(route.spray.flux_kg_m2_s, route.spray.water_c)
    return [w for w in found if w]


def furnace_warnings_of(
    steel: Steel, route: Route, told: Evaluated, case: int, surface: Surface
) -> list[Warn]:
    """What the furnace gives to warn of in one case: skin, part austenite, carbides, grain, scale, burning, cold core.

    Scale and heat are told once, of the face, the thinnest; below Ac1 one sentence says it for the whole head.
    """
    found = [decarburised_warning(surface.decarburised_um, surface.skin_hv, surface.sound_hv)]
    below = float(told.marched.zones[case, :, out.O_SHARE].max()) <= 0.0
    if below:
        hottest, ac1 = (
            float(told.marched.marks[case, :, marks.M_FURNACE].max()),
            float(temperatures.ac1_c(steel)),
        )
        if route.preheat.temperature_c < ac1:
            which = f"The preheat stays below this steel's Ac1 of {ac1:.0f} °C"
        else:
            which = f"No zone reaches this steel's Ac1 of {ac1:.0f} °C in the furnace (hottest {hottest:.0f} °C)"
        found.append(
            Warn(
                "below-ac1",
                f"{which}: nothing hardens; the head keeps its first-heat structure, tempered.",
            )
        )
    if surface.decarburised_um > 0.0:
        found += decarburisation_warnings(
            steel, round(float(told.marched.marks[case, 0, marks.M_FURNACE]), 1)
        )
    for i in (0, 4):
        z, m = told.marched.zones[case, i], told.marched.marks[case, i]
        # rounded: a head at 1300.00001 °C is not outside a range that ends at 1300
        here = furnace_warnings(
            steel,
            round(float(m[marks.M_FURNACE]), 1),
            share=float(z[out.O_SHARE]),
            undissolved=float(z[out.O_UNDISSOLVED]),
            where=f"the {ZONES[i]}",
            grain_um=diameter_um_from_astm(float(z[out.O_GRAIN])),
            scale_um=float(m[marks.M_SCALE]),
        )
        said = {w.code for w in found if w}
        found += [
            w
            for w in here
            if (w.code not in said or ZONES[i] in w.text)
            and not (below and w.code == "partial-austenite")
        ]
    peaks = told.marched.marks[case, :, marks.M_FURNACE]
    coldest = int(peaks.argmin())
    if route.preheat.temperature_c - peaks[coldest] > COLD_CORE_C:
        found.append(
            Warn(
                "cold-core",
                f"The {ZONES[coldest]} leaves the furnace at {peaks[coldest]:.0f} °C, "
                f"{route.preheat.temperature_c - peaks[coldest]:.0f} °C below the set point: "
                "soak longer.",
            )
        )
    return [w for w in found if w]


def _result_warnings(steel: Steel, route: Route, zones, hosel, dry):
    face, hose = zones["face"], zones["hosel"]
    found = []
    if route.spray is not None and dry is not None:
        ms = float(temperatures.martensite_start_c(steel))
        above = face.water_off_c is not None and face.water_off_c > ms
        reheated = above and face.rebound_c > REBOUND_C
        soft = face.fractions["martensite"] < HARD_SHARE * face.austenite_share
        if reheated and soft:
            found.append(
                Warn(
                    "reheated-face",
                    f"The water stops while the face is still at {face.water_off_c:.0f} °C, above "
                    f"Ms ({ms:.0f} °C); the body re-heats it by {face.rebound_c:.0f} °C and it "
                    f"ends at {face.hardness_hv:.0f} HV ({dry['face']:.0f} HV without water): "
                    "spray longer or harder.",
                )
            )
        elif not reheated and face.as_quenched_hv - face.hardness_hv > SELF_TEMPERED_HV:
            found.append(
                Warn(
                    "self-tempered",
                    f"The body re-heats the quenched face by {face.rebound_c:.0f} °C, which tempers "
                    f"it from {face.as_quenched_hv:.0f} to {face.hardness_hv:.0f} HV.",
                )
            )
        if not (reheated and soft):
            found.append(_idle_water(face, dry["face"], ms))
        if face.water_c is not None and face.austenite_share > FULL_AUSTENITE:
            ar = float(temperatures.ae3_c(steel))
            if face.water_c < ar - LATE_WATER_C:
                found.append(
                    Warn(
                        "late-water",
                        f"The face is at {face.water_c:.0f} °C when the water starts, "
                        f"{ar - face.water_c:.0f} °C below Ae3: part of it may have gone to ferrite.",
                    )
                )
        if face.chances is not None:
            c = face.chances
            found.append(
                Warn(
                    "cliff",
                    f"The face stands near a cliff: about {100 * c['hard_chance']:.0f} % chance of "
                    f"{c['hard']:.0f} HV, {100 * c['soft_chance']:.0f} % of {c['soft']:.0f} HV, by how "
                    "well the water works.",
                )
            )
        if steel.get("C") > CRACK_CARBON and face.fractions["martensite"] > CRACK_MARTENSITE:
            found.append(
                Warn(
                    "quench-crack",
                    f"Quench cracks: {steel.get('C'):.2f} % C and {100 * face.fractions['martensite']:.0f} % "
                    "martensite under water; use less or warmer water and temper soon.",
                )
            )
    if hosel.allowed_deg < STIFF_HOSEL_DEG:
        found.append(
            Warn(
                "hosel-hard",
                f"The hosel is likely too hard to bend: {hosel.allowed_deg:.1f}° at most "
                f"({hose.hardness_hv:.0f} HV).",
            )
        )
    for z in zones.values():
        if len(z.layers_hv) == 1 and z.biot > 0.1:
            found.append(
                Warn(
                    "biot",
                    f"The {z.name} is one temperature but its Biot number is {z.biot:.2f}, above 0.1.",
                )
            )
    return [w for w in found if w]


def _idle_water(face: ZoneResult, dry_hv: float, ms: float) -> Warn | None:
    """Say it when the water buys the face almost nothing, and why."""
    if face.austenite_share <= 0.0 or not is_idle(face.hardness_hv, dry_hv):
        return None
    if face.fractions["martensite"] >= HARD_SHARE * face.austenite_share:
        why = "this steel hardens in air as well; spare the water or choose a leaner steel"
    elif face.water_off_c is not None and face.water_off_c > ms:
        why = (
            f"the face is still at {face.water_off_c:.0f} °C when it stops, above Ms ({ms:.0f} °C); spray longer or "
            "harder"
        )
    else:
        why = "the face turns soft before it reaches Ms; more water, sooner, or a steel with more carbon or alloy"
    return Warn(
        "idle-water",
        f"The water buys the face almost nothing ({dry_hv:.0f} HV without it, {face.hardness_hv:.0f} HV "
        f"with it): {why}.",
    )


def _unique(warnings) -> tuple[Warn, ...]:
    """Every text once, and of a formula's range the first value outside it."""
    return tuple(
        {
            w.code if w.code.startswith("range:") else w.text: w for w in reversed(tuple(warnings))
        }.values()
    )[::-1]
