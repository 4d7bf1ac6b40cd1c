"""What the compiled march is fed: flat named records, one row a case.

`CASE` holds what the steel, the furnace and the room are; `ZONE` one slab of the head; `STEP` one step of the
route.  Nothing is computed here that belongs to a formula room: it takes numbers from there and lays them out.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..inputs.cases import SteelColumns, steel_columns
from ..inputs.drawing import Drawing
from ..inputs.head import ZONES, Zone, forged, links_of, zones_of
from ..inputs.steel import Steel
from ..thermal import surroundings
from ..thermal.properties import alloyed_share
from ..transformation import austenite, constituents, kinetics, phase_hardness, temperatures
from ..transformation.decomposition import TABLE_CARBON
from ..transformation.tempering import tempering_coefficients
from .section import lobatto, stiffness

# Kinds of step.
FURNACE, AIR, REST, STROKE, SPRAY, SPRAY_ON_DIE, COOL, JET, BATH = range(9)

#: Points through the thickness of face, rim, body, neck, hosel: the water's side of face and rim needs most.
POINTS = (6, 8, 5, 3, 3)
#: Temperatures at which convection to air is tabulated, °C.
CONVECTION_C = np.arange(0.0, 1401.0, 50.0)
#: Points of carbon at which Ms, the martensite law and martensite hardness are tabulated.
CARBON_POINTS = 49
#: Film coefficient of an end-quench jet, W/(m² K): high enough that the end face follows the water within a second
#: (5000-20 000 is read from measured end-quench cooling curves; our choice, see specimens).
JET_W_M2K = 12_000.0

#: Fields of a steel that the engine reads, that only its hardness needs, and fields of the route.
_GRAIN = "grain_m grain_ln_k grain_q grain_ln_k_low grain_q_low pin_low pin_high".split()
STEEL_FIELDS = (
    """carbon cr mo ae1 ae3 ac1 ac3 bainite_limit ln_f ln_p ln_b alloy_f alloy_p""".split()
)
STEEL_FIELDS += [*_GRAIN, "alloyed", "temper_q_k", "ms_grain"]
#: Of the tempering law, after its activation, in the order of `tempering.TemperingCoefficients`.
TEMPER_FIELDS = """half_log_j temper_width temper_soft_hv temper_slope_hv temper_overaged_hv temper_floor_hv
    temper_floor_carbon_hv temper_bainite_share""".split()
HARDNESS_FIELDS = """f_a f_b p_a0 p_ac p_b b_a0 b_ac b_b0 b_bc ferrite_hv v_content v_hv first_ferrite_cap""".split()
HARDNESS_FIELDS += TEMPER_FIELDS
ROUTE_FIELDS = """furnace_c furnace_emissivity start_c air_c emissivity view_factor air_factor spray_factor scale_factor
    furnace_convection coil_s die_factor die_c work_k scale_left start_grain_um start_austenite start_scale_um
    first_finish_c first_grain_um""".split()
#: What a study may turn, as natural logarithms (0 = as the laws say): how fast carbides dissolve in the furnace, and how
#: much the press strain that stays speeds ferrite and bainite in every zone.
LN_FIELDS = ["ln_carbide_speed", ("ln_strain_f", 5), ("ln_strain_b", 5), ("coil_c", 5)]


def _record(fields) -> np.dtype:
    """Record of floats by their names, or names and lengths."""
    return np.dtype(
        [(f, np.float64) if isinstance(f, str) else (f[0], np.float64, f[1:]) for f in fields]
    )


#: A case; what the engine reads comes first, in the order of ``native/input.h``.
CASE = _record([*STEEL_FIELDS, *ROUTE_FIELDS, *LN_FIELDS, ("later_j", 5), *HARDNESS_FIELDS])
ZONE_FIELDS = "mass_kg front_m2 back_m2 side_m2 conduction_m link_m one_structure".split()
ZONE = _record(ZONE_FIELDS)
STEP = np.dtype(
    [(name, np.int64) for name in ("kind", "medium", "air")]
    + _record(["duration_s", "contact", "flux", "fluid_c", ("share", 5), ("cover", 5)]).descr
)
#: Constants of the rate equations that the engine needs at every point.
KINETIC_FIELDS = """q_ferrite q_pearlite q_bainite grain_ferrite grain_pearlite grain_bainite ferrite_c pearlite_c
    bainite_c ferrite_cr pearlite_cr bainite_cr ferrite_mo pearlite_mo bainite_mo bainite_tail""".split()
KINETICS = _record(KINETIC_FIELDS)

#: Steps in a packed route: furnace, transfer, rest, stroke, rest, delay, spray, then delay and quench as often as there are
#: any, and cooling.
STEPS = 8


def rows_of(records: np.ndarray, rows) -> np.ndarray:
    """Copies of some records, by a slice or their numbers: as plain bytes, because field by field is ten times slower."""
    return records.view((np.void, records.itemsize))[rows].copy().view(records.dtype)


@dataclass(frozen=True)
class Section:
    """Points through the thickness of every zone, their weights, conduction matrices and slopes, zone after zone."""

    points: tuple[int, ...]
    weight: np.ndarray
    stiff: np.ndarray
    slope: np.ndarray


@functools.lru_cache(maxsize=64)
def section(points: tuple[int, ...] = POINTS) -> Section:
    """Lay out the points through the thickness, one number a zone."""
    parts = [(lobatto(n)[1], stiffness(n), lobatto(n)[2]) for n in points]
    return Section(points, *(np.concatenate([np.ravel(p[i]) for p in parts]) for i in range(3)))


def kinetic_array(k: dict[str, float] | None = None) -> np.ndarray:
    """Constants of the rate equations by `KINETIC_FIELDS`: Q, grain exponents, sensitivities to C, Cr, Mo, and how
    bainite slows down, as a record, shape (1,)."""
    k = k or kinetics.constants()
    return np.array([tuple(k[name] for name in KINETIC_FIELDS)], KINETICS)


def start_tables(comp: SteelColumns, methods: dict[str, str] | None = None) -> np.ndarray:
    """Ms (°C), martensite law (1/K) and martensite hardness (HV) on even steps of carbon, shape (n, 3, points)."""
    carbon = np.linspace(0.0, TABLE_CARBON, CARBON_POINTS)[None, :]
    law = {"method": methods["ms"]} if methods and "ms" in methods else {}
    ms = temperatures.martensite_start_c(comp, carbon, **law)
    alpha = temperatures.martensite_alpha_per_k(comp, carbon)
    middle_hv = phase_hardness.martensite_coefficients(comp, carbon)[0]
    hv = constituents.fresh_martensite_hv(comp, middle_hv, ms, alpha)
    shape = (comp.get("C").shape[0], CARBON_POINTS)
    tables = [np.broadcast_to(t, shape) for t in (ms, alpha, hv)]
    return np.ascontiguousarray(np.stack(tables, axis=1))


def pack_steels(
    steels: Sequence[Steel] | SteelColumns,
    cases: np.ndarray,
    k: dict[str, float] | None = None,
    methods: dict[str, str] | None = None,
) -> np.ndarray:
    """Fill the steel fields of `cases` (one row a steel); return the start tables, shape (n, 3, points)."""
    comp = steels if isinstance(steels, SteelColumns) else steel_columns(steels)

    def put(**values):
        for name, value in values.items():
            cases[name] = np.broadcast_to(value, comp.get("C").shape)[:, 0]

    put(carbon=comp.get("C"), cr=comp.get("Cr"), mo=comp.get("Mo"))
    ae1, ae3 = temperatures.ae1_c(comp), temperatures.ae3_c(comp)
    ac1, ac3 = temperatures.ac1_c(comp), temperatures.ac3_c(comp)
    put(ae1=ae1, ae3=np.maximum(ae3, ae1 + 1.0), ac1=ac1, ac3=np.maximum(ac3, ac1 + 10.0))
    put(bainite_limit=kinetics.kinetic_bainite_start_c(comp))
    pack_constants(comp, cases, k)
    growth = austenite.grain_growth_coefficients(_OneColumn(comp))
    for name, column in zip(_GRAIN, growth, strict=True):
        cases[name] = column
    put(alloyed=alloyed_share(comp))
    boundary = comp.get("C") + (cases["ae3"] - cases["ae1"])[:, None] / kinetics.AE3_SLOPE_C
    cap = (boundary - comp.get("C")) / (boundary - austenite.FERRITE_CARBON)
    put(first_ferrite_cap=np.clip(cap, 0.0, 1.0))
    put(ms_grain=temperatures.martensite_grain_coefficient((methods or {}).get("ms", "own")))
    temper = tempering_coefficients(comp)
    put(temper_q_k=temper.activation_k)
    put(**{name: getattr(temper, name.removeprefix("temper_")) for name in TEMPER_FIELDS})
    return start_tables(comp, methods)


def pack_constants(
    comp: SteelColumns, cases: np.ndarray, k: dict[str, float] | None = None
) -> None:
    """Fill the fields of `cases` that hold constants of the rate equations and of the constituents' hardness."""
    names = """ln_f ln_p ln_b alloy_f alloy_p v_content v_hv f_a f_b p_a0 p_ac p_b b_a0 b_ac b_b0 b_bc""".split()
    values = *kinetics.ln_composition_factors(comp, k=k), *kinetics.alloy_shares(comp, k)
    values += comp.get("V"), (k or kinetics.constants())["solid_v"], *constituents.lines(comp, k)
    for name, value in zip(names, values, strict=True):
        cases[name] = np.broadcast_to(value, comp.get("C").shape)[:, 0]
    # what stays ferrite below Ac3 is as soft as slowly cooled ferrite
    slow_hv = cases["f_a"] + cases["f_b"] * phase_hardness.LOG_V_LOW
    cases["ferrite_hv"] = np.maximum(slow_hv, phase_hardness.FERRITE_PEARLITE_FLOOR_HV)


class _OneColumn:
    """Steels whose contents are plain columns, shape (n,), for formulas that also ask for `fine_grain`."""

    def __init__(self, steels: SteelColumns):
        self._steels, self.fine_grain = steels, steels.fine_grain

    def get(self, element: str) -> np.ndarray:
        return self._steels.get(element)[:, 0]


# ---- heads and the air around them ---------------------------------------------------------------------------------


def pack_heads(heads: Drawing) -> tuple[np.ndarray, dict[str, Zone]]:
    """The heads as `ZONE` records, shape (h, zones), in the forged state, which is what the second heat sees."""
    drawing = forged(heads)
    zones = zones_of(drawing)
    packed = np.zeros((len(heads), len(ZONES)), ZONE)
    for i, name in enumerate(ZONES):
        z = zones[name]
        area = 0.5e-6 * (z.front_mm2 + z.back_mm2)
        packed["mass_kg"][:, i] = z.mass_g * 1e-3
        packed["front_m2"][:, i] = z.front_mm2 * 1e-6
        packed["back_m2"][:, i] = z.back_mm2 * 1e-6
        packed["conduction_m"][:, i] = area * z.path_factor / (z.path_mm * 1e-3)
    for name, (area_mm2, length_mm) in links_of(drawing, zones).items():
        packed["link_m"][:, ZONES.index(name)] = area_mm2 / length_mm * 1e-3
    packed["one_structure"][:, [ZONES.index("neck"), ZONES.index("hosel")]] = 1.0
    return packed, zones


@functools.lru_cache(maxsize=2048)
def convection_table(shape: str, size_mm: float, air_c: float, air_speed_m_s: float) -> np.ndarray:
    return surroundings.convection_w_m2k(
        shape, np.maximum(CONVECTION_C, air_c + 1.0), air_c, size_mm, air_speed_m_s
    )


#: Up to so many different tables are made one by one and kept; more are made at once.
_KEPT_TABLES = 100


def convection_tables(
    zones: dict[str, Zone], head_of: np.ndarray, air_c: np.ndarray, air_speed_m_s: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Convection to air on the temperatures `CONVECTION_C`, W/(m² K), and which table every case has.

    Sizes of `zones` are numbers or arrays, one number a head; speeds, shape (n,) or (n, zones), are 0 in still air.
    """
    speeds = air_speed_m_s.reshape(len(head_of), -1)
    keys = [zone.size_mm[head_of] for zone in zones.values() if np.size(zone.size_mm) > 1]
    keys = [key for key in (*keys, air_c, *speeds.T) if (key != key[0]).any()]
    if keys:
        keys = np.stack(keys, axis=1)
        _, first, table_of = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    else:
        first, table_of = np.zeros(1, np.int64), np.zeros(len(air_c), np.int64)
    air = air_c[first]
    tables = np.empty((len(first), len(ZONES), len(CONVECTION_C)))
    for i, name in enumerate(ZONES):
        shape, size = zones[name].shape, zones[name].size_mm
        size = size[head_of[first]] if np.ndim(size) else np.full(len(first), size)
        speed = speeds[first, i if speeds.shape[1] > 1 else 0]
        if len(first) <= _KEPT_TABLES:
            for k in range(len(first)):
                sized = float(size[k]), float(air[k]), float(speed[k])
                tables[k, i] = convection_table(shape, *sized)
            continue
        for moving in (False, True):
            row = np.flatnonzero((speed > 0.0) == moving)
            if len(row):
                at_c, flow = air[row, None], speed[row, None] if moving else 0.0
                hot_c, wide = np.maximum(CONVECTION_C, at_c + 1.0), size[row, None]
                tables[row, i] = surroundings.convection_w_m2k(shape, hot_c, at_c, wide, flow)
    return tables, table_of.ravel()
