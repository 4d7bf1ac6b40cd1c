"""What the compiled march is fed: flat named records, one row a case.

`CASE` holds what the steel, the furnace and the room are; `ZONE` one slab of the head; `STEP` one step of the
route.  Nothing is computed here that belongs to a formula room: numbers are asked for there and laid out.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...head import ZONES, Head
from ...route import Route
from ...shop import Shop
from ...steel import Steel
from ...transformation import austenite, kinetics, phase_hardness, temperatures, tempering
from ...transformation.decomposition import TABLE_CARBON
from .. import surroundings
from .section import lobatto, stiffness

__all__ = ["AIR", "CARBON_POINTS", "CASE", "CONVECTION_C", "COOL", "FURNACE", "JET", "JET_W_M2K", "POINTS", "REST", "SPRAY",
           "SPRAY_ON_DIE", "STEP", "STROKE", "ZONE", "Compositions", "Section", "convection_table", "kinetic_array",
           "pack_head", "pack_route", "pack_steels", "convection_tables", "later_heats_j", "section", "start_tables"]

# Kinds of step.
FURNACE, AIR, REST, STROKE, SPRAY, SPRAY_ON_DIE, COOL, JET = range(8)

#: Points through the thickness of face, rim, body, neck, hosel.
POINTS = (5, 5, 3, 3, 3)
#: Temperatures at which convection to air is tabulated, °C.
CONVECTION_C = np.arange(0.0, 1401.0, 50.0)
#: Points of carbon at which Ms, the martensite law and martensite hardness are tabulated.
CARBON_POINTS = 49
#: Film coefficient of an end-quench jet, W/(m² K): high enough that the end face follows the water within a second
#: (5000-20 000 is read from measured end-quench cooling curves; our choice, see specimens).
JET_W_M2K = 12_000.0
#: What a sleeve loses on its outside at 100-200 °C, W/(m² K) (still air and radiation, see `surroundings`).
_SLEEVE_OUTSIDE_W_M2K = 15.0

STEEL_FIELDS = ("carbon", "si", "mn", "ni", "cr", "mo", "v", "ae1", "ae3", "ac1", "ac3", "bainite_limit",
                "ln_f", "ln_p", "ln_b", "grain_m", "grain_ln_k", "grain_q", "grain_ln_k_low", "grain_q_low",
                "pin_low", "pin_high", "alloyed", "fp_a0", "fp_ac", "fp_b0", "fp_bc", "b_a0", "b_ac", "b_b0", "b_bc",
                "ferrite_hv", "first_ferrite_cap", "temper_q_k", "half_log_j", "temper_width", "temper_soft_hv",
                "temper_slope_hv")
ROUTE_FIELDS = ("furnace_c", "furnace_emissivity", "start_c", "air_c", "emissivity", "view_factor", "air_factor",
                "sleeve_w_m2k", "flux", "spray_factor", "water_c", "die_factor", "die_c", "work_k", "scale_left",
                "start_grain_um", "start_austenite", "start_scale_um", "first_finish_c", "first_grain_um")
#: What a study may turn, as natural logarithms (0 = as the laws say): how fast carbides dissolve in the furnace, and how
#: much the press strain that stays speeds ferrite and bainite in every zone.
LN_FIELDS = [("ln_carbide_speed", np.float64), ("ln_strain_f", np.float64, (5,)), ("ln_strain_b", np.float64, (5,))]
CASE = np.dtype([(n, np.float64) for n in STEEL_FIELDS + ROUTE_FIELDS] + [("later_j", np.float64, (5,))] + LN_FIELDS,
                align=True)
ZONE = np.dtype([(n, np.float64) for n in ("mass_kg", "front_m2", "back_m2", "side_m2", "conduction_m", "link_m")], align=True)
STEP = np.dtype([("kind", np.int64), ("duration_s", np.float64), ("contact", np.float64), ("share", np.float64, (5,))], align=True)

#: Steps in a packed route: furnace, transfer, rest, stroke, rest, delay, spray, cooling.
STEPS = 8


@dataclass(frozen=True)
class Section:
    """Points of every zone, flattened: offsets, weights and unit conduction matrices."""

    points: tuple[int, ...]
    offset: np.ndarray
    weight: np.ndarray
    tensor: np.ndarray


@functools.cache
def section(points: tuple[int, ...] = POINTS) -> Section:
    """Lay out the through-thickness points of all zones."""
    most = max(points)
    tensor = np.zeros((len(points), most, most))
    for z, n in enumerate(points):
        tensor[z, :n, :n] = stiffness(n)
    return Section(points, np.concatenate([[0], np.cumsum(points)]).astype(np.int64),
                   np.concatenate([lobatto(n)[1] for n in points]), tensor)


class Compositions:
    """Many steels seen as one composition whose contents are columns of numbers, shape (n, 1)."""

    def __init__(self, steels: Sequence[Steel]):
        self._steels = steels
        self._columns: dict[str, np.ndarray] = {}

    def get(self, element: str) -> np.ndarray:
        """Content of every steel, wt%, shape (n, 1)."""
        if element not in self._columns:
            self._columns[element] = np.array([[s.get(element)] for s in self._steels])
        return self._columns[element]


def kinetic_array(k: dict[str, float] | None = None) -> np.ndarray:
    """Constants of the rate equations the march needs per point: Q, grain exponents, sensitivities to C, Cr, Mo."""
    k = k or kinetics.constants()
    return np.array([k["q_ferrite"], k["q_pearlite"], k["q_bainite"],
                     k["grain_ferrite"], k["grain_pearlite"], k["grain_bainite"],
                     k["ferrite_c"], k["pearlite_c"], k["bainite_c"], k["ferrite_cr"], k["pearlite_cr"],
                     k["bainite_cr"], k["ferrite_mo"], k["pearlite_sqrt_mo"], k["bainite_mo"]])


def start_tables(comp: Compositions, methods: dict[str, str] | None = None) -> np.ndarray:
    """Ms (°C), martensite law (1/K) and martensite hardness (HV) on even steps of carbon, shape (n, 3, points)."""
    methods = methods or {}
    carbon = np.linspace(0.0, TABLE_CARBON, CARBON_POINTS)[None, :]
    ms = temperatures.martensite_start_c(comp, carbon, **({"method": methods["ms"]} if "ms" in methods else {}))
    alpha = temperatures.martensite_alpha_per_k(comp, carbon)
    hv = phase_hardness.martensite_coefficients(comp, carbon)[0]
    shape = (comp.get("C").shape[0], CARBON_POINTS)
    return np.ascontiguousarray(np.stack([np.broadcast_to(t, shape) for t in (ms, alpha, hv)], axis=1))


def pack_steels(steels: Sequence[Steel], cases: np.ndarray, k: dict[str, float] | None = None,
                methods: dict[str, str] | None = None) -> np.ndarray:
    """Fill the steel fields of `cases` (one row a steel); return the start tables, shape (n, 3, points)."""
    comp = Compositions(steels)

    def put(**values):
        for name, value in values.items():
            cases[name] = np.broadcast_to(value, comp.get("C").shape)[:, 0]

    put(carbon=comp.get("C"), si=comp.get("Si"), mn=comp.get("Mn"), ni=comp.get("Ni"), cr=comp.get("Cr"),
        mo=comp.get("Mo"), v=comp.get("V"))
    ae1, ae3 = temperatures.ae1_c(comp), temperatures.ae3_c(comp)
    ac1, ac3 = temperatures.ac1_c(comp), temperatures.ac3_c(comp)
    put(ae1=ae1, ae3=np.maximum(ae3, ae1 + 1.0), ac1=ac1, ac3=np.maximum(ac3, ac1 + 10.0),
        bainite_limit=kinetics.kinetic_bainite_start_c(comp))
    ln_f, ln_p, ln_b = kinetics.ln_composition_factors(comp, k=k)
    put(ln_f=ln_f, ln_p=ln_p, ln_b=ln_b)
    growth = np.array([austenite.grain_growth_coefficients(s) for s in steels])
    for name, column in zip(("grain_m", "grain_ln_k", "grain_q", "grain_ln_k_low", "grain_q_low", "pin_low", "pin_high"),
                            growth.T, strict=True):
        cases[name] = column
    put(alloyed=np.minimum(1.0, (comp.get("Cr") + comp.get("Ni") + comp.get("Mo")) / 1.1))
    for name, coefficients in (("fp", phase_hardness.ferrite_pearlite_coefficients),
                               ("b", phase_hardness.bainite_coefficients)):
        (a0, b0), (a1, b1) = coefficients(comp, 0.0), coefficients(comp, 1.0)
        put(**{f"{name}_a0": a0, f"{name}_ac": a1 - a0, f"{name}_b0": b0, f"{name}_bc": b1 - b0})
    # What stays ferrite below Ac3 is as soft as carbon-free ferrite of this alloy, slowly cooled.
    a, b = phase_hardness.ferrite_pearlite_coefficients(comp, kinetics.CARBON_IN_FERRITE)
    put(ferrite_hv=np.maximum(a + b * phase_hardness.LOG_V_LOW, phase_hardness.FERRITE_PEARLITE_FLOOR_HV))
    boundary = comp.get("C") + (cases["ae3"] - cases["ae1"])[:, None] / kinetics.AE3_SLOPE_C
    put(first_ferrite_cap=np.clip((boundary - comp.get("C")) / (boundary - kinetics.CARBON_IN_FERRITE), 0.0, 1.0))
    temper = tempering.tempering_coefficients(comp)
    put(temper_q_k=temper.activation_k, half_log_j=temper.half_log_j, temper_width=temper.width,
        temper_soft_hv=temper.soft_hv, temper_slope_hv=temper.slope_hv)
    return start_tables(comp, methods)


@functools.lru_cache(maxsize=512)
def convection_table(shape: str, size_mm: float, air_c: float, air_speed_m_s: float) -> np.ndarray:
    """Convection to air on the temperatures `CONVECTION_C`, W/(m² K)."""
    return surroundings.convection_w_m2k(shape, np.maximum(CONVECTION_C, air_c + 1.0), air_c, size_mm, air_speed_m_s)


@functools.lru_cache(maxsize=512)
def convection_tables(head: Head, air_c: float, air_speed_m_s: float) -> np.ndarray:
    """Convection tables of all zones of a head, shape (zones, temperatures)."""
    zones = head.zones("forged")
    return np.array([convection_table(zones[name].shape, zones[name].size_mm, air_c, air_speed_m_s)
                     for name in ZONES])


@functools.lru_cache(maxsize=512)
def pack_head(head: Head) -> np.ndarray:
    """The head as five `ZONE` records, in the forged state, which is what the second heat sees."""
    zones = head.zones("forged")
    packed = np.zeros(len(ZONES), ZONE)
    for i, name in enumerate(ZONES):
        z = zones[name]
        area = 0.5e-6 * (z.front_mm2 + z.back_mm2)
        packed[i] = (z.mass_g * 1e-3, z.front_mm2 * 1e-6, z.back_mm2 * 1e-6, 0.0,
                     area * z.path_factor / (z.path_mm * 1e-3), 0.0)
    for link in head.links("forged"):
        packed["link_m"][ZONES.index(link.a)] = link.area_mm2 / link.length_mm * 1e-3
    return packed


def pack_route(route: Route, shop: Shop, hosel_mm: float, case: np.ndarray, steps: np.ndarray) -> float:
    """Fill the route fields of one case and its steps; return the air speed for the convection tables, m/s."""
    cool, press, spray = route.cool, route.press, route.spray
    around = surroundings.neighbours(cool.surroundings)
    case["furnace_c"], case["furnace_emissivity"] = route.preheat.temperature_c, route.preheat.emissivity
    case["start_c"], case["air_c"], case["emissivity"] = route.preheat.start_c, cool.air_c, shop.emissivity
    case["view_factor"] = around.view_factor if cool.view_factor is None else cool.view_factor
    case["air_factor"] = shop.air * (1.0 - around.air_share)
    case["sleeve_w_m2k"] = surroundings.sleeve_w_m2k(
        _SLEEVE_OUTSIDE_W_M2K, hosel_mm, surroundings.SLEEVE_THICKNESS_MM, surroundings.SLEEVE_CONDUCTIVITY_W_MK) \
        if cool.surroundings == "sleeve" else 0.0
    case["die_factor"], case["die_c"], case["scale_left"] = shop.die, press.die_c, press.scale_left
    case["first_finish_c"] = route.first_heat.finish_c
    case["first_grain_um"] = austenite.diameter_um_from_astm(route.first_heat.grain_size_astm)
    case["start_grain_um"] = austenite.starting_grain_um(case["first_grain_um"])
    case["start_austenite"] = case["start_scale_um"] = 0.0
    steps["kind"] = AIR
    steps["duration_s"] = 0.0
    steps["share"] = 0.0
    steps["contact"] = 0.0
    half = 0.5 * press.rest_s
    steps["kind"][0], steps["duration_s"][0] = FURNACE, route.preheat.soak_s
    steps["duration_s"][1] = route.transfer.duration_s
    steps["kind"][2], steps["duration_s"][2] = REST, half
    steps["kind"][3], steps["duration_s"][3], steps["contact"][3] = STROKE, press.dwell_s, press.contact_w_m2k
    if spray is None:
        steps["kind"][4], steps["duration_s"][4] = REST, half
        case["flux"], case["water_c"], case["spray_factor"] = 0.0, 25.0, shop.spray
    else:
        delay = max(spray.delay_s + shop.delay_s, 0.0)
        steps["kind"][4], steps["duration_s"][4] = REST, min(half, delay)
        steps["kind"][5], steps["duration_s"][5] = (REST if spray.back_on_die else AIR), max(delay - half, 0.0)
        steps["kind"][6], steps["duration_s"][6] = (SPRAY_ON_DIE if spray.back_on_die else SPRAY), spray.duration_s
        steps["share"][6] = (1.0, spray.rim_share, spray.body_share, spray.neck_share, spray.hosel_share)
        case["flux"], case["water_c"], case["spray_factor"] = spray.flux_kg_m2_s, spray.water_c, shop.spray
    steps["kind"][7], steps["duration_s"][7] = COOL, 1e5
    return cool.air_speed_m_s if around.forced else 0.0


def later_heats_j(route: Route, temper_q_k: float) -> np.ndarray:
    """Tempering integral of the later heats for every zone, s."""
    total = np.zeros(5)
    for heat in route.later:
        gain = heat.hold_s * np.exp(-temper_q_k / (heat.temperature_c + 273.15))
        for i, name in enumerate(ZONES):
            if not heat.zones or name in heat.zones:
                total[i] += gain
    return total
