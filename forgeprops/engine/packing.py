"""What the compiled march is fed: flat named records, one row a case.

`CASE` holds what the steel, the furnace and the room are; `ZONE` one slab of the head; `STEP` one step of the
route.  Nothing is computed here that belongs to a formula room: it takes numbers from there and lays them out.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..inputs.cases import Cases, HeadColumns, SteelColumns, steel_columns
from ..inputs.head import ZONES, Zone, forged_parts, links_of, zones_of
from ..inputs.later import COOLING, LocalHeat, Temper
from ..inputs.route import HEATING, QUENCH
from ..inputs.steel import Steel
from ..thermal import surroundings
from ..thermal.furnace import FURNACES
from ..thermal.local_heat import hosel_heats
from ..thermal.media import MEDIUM_C, bath_w_m2
from ..thermal.properties import alloyed_share
from ..transformation import (
    austenite,
    constituents,
    kinetics,
    phase_hardness,
    temperatures,
    tempering,
)
from ..transformation.decomposition import TABLE_CARBON
from .section import lobatto, stiffness

__all__ = [
    "AIR",
    "BATH",
    "CARBON_POINTS",
    "CASE",
    "CONVECTION_C",
    "COOL",
    "FURNACE",
    "JET",
    "JET_W_M2K",
    "MEDIUM_C",
    "POINTS",
    "REST",
    "SPRAY",
    "SPRAY_ON_DIE",
    "STEP",
    "STROKE",
    "ZONE",
    "Section",
    "convection_table",
    "convection_tables",
    "kinetic_array",
    "later_heats_j",
    "pack_heads",
    "pack_routes",
    "pack_steels",
    "section",
    "start_tables",
]

# Kinds of step.
FURNACE, AIR, REST, STROKE, SPRAY, SPRAY_ON_DIE, COOL, JET, BATH = range(9)

#: Points through the thickness of face, rim, body, neck, hosel: the water's side of face and rim needs most.
POINTS = (5, 6, 4, 3, 3)
#: Temperatures at which convection to air is tabulated, °C.
CONVECTION_C = np.arange(0.0, 1401.0, 50.0)
#: Points of carbon at which Ms, the martensite law and martensite hardness are tabulated.
CARBON_POINTS = 49
#: Film coefficient of an end-quench jet, W/(m² K): high enough that the end face follows the water within a second
#: (5000-20 000 is read from measured end-quench cooling curves; our choice, see specimens).
JET_W_M2K = 12_000.0

#: Fields of a steel that the engine reads, that only its hardness needs, and fields of the route.
STEEL_FIELDS = (
    *("carbon", "cr", "mo", "ae1", "ae3", "ac1", "ac3", "bainite_limit", "ln_f", "ln_p", "ln_b"),
    *("grain_m", "grain_ln_k", "grain_q", "grain_ln_k_low", "grain_q_low", "pin_low", "pin_high"),
    *("alloyed", "temper_q_k", "ms_grain"),
)
HARDNESS_FIELDS = (
    *("f_a", "f_b", "p_a0", "p_ac", "p_b", "b_a0", "b_ac", "b_b0", "b_bc", "ferrite_hv"),
    *("first_ferrite_cap", "half_log_j", "temper_width", "temper_soft_hv", "temper_slope_hv"),
    *("temper_overaged_hv", "temper_floor_hv", "temper_floor_carbon_hv", "temper_bainite_share"),
)
ROUTE_FIELDS = (
    *("furnace_c", "furnace_emissivity", "start_c", "air_c", "emissivity", "view_factor"),
    *(
        "air_factor",
        "spray_factor",
        "scale_factor",
        "furnace_convection",
        "coil_s",
        "die_factor",
        "die_c",
    ),
    *("work_k", "scale_left", "start_grain_um", "start_austenite", "start_scale_um"),
    *("first_finish_c", "first_grain_um"),
)
#: What a study may turn, as natural logarithms (0 = as the laws say): how fast carbides dissolve in the furnace, and how
#: much the press strain that stays speeds ferrite and bainite in every zone.
LN_FIELDS = [
    ("ln_carbide_speed", np.float64),
    ("ln_strain_f", np.float64, (5,)),
    ("ln_strain_b", np.float64, (5,)),
    ("coil_c", np.float64, (5,)),
]
#: A case; what the engine reads comes first, in the order of ``native/input.h``.
CASE = np.dtype(
    [(n, np.float64) for n in STEEL_FIELDS + ROUTE_FIELDS]
    + LN_FIELDS
    + [("later_j", np.float64, (5,))]
    + [(n, np.float64) for n in HARDNESS_FIELDS]
)
ZONE_FIELDS = (
    "mass_kg",
    "front_m2",
    "back_m2",
    "side_m2",
    "conduction_m",
    "link_m",
    "one_structure",
)
ZONE = np.dtype([(n, np.float64) for n in ZONE_FIELDS])
STEP = np.dtype(
    [
        ("kind", np.int64),
        ("medium", np.int64),
        ("air", np.int64),
        ("duration_s", np.float64),
        ("contact", np.float64),
        ("flux", np.float64),
        ("fluid_c", np.float64),
        ("share", np.float64, (5,)),
        ("cover", np.float64, (5,)),
    ]
)
#: Constants of the rate equations that the engine needs at every point.
KINETIC_FIELDS = (
    *("q_ferrite", "q_pearlite", "q_bainite", "grain_ferrite", "grain_pearlite", "grain_bainite"),
    *("ferrite_c", "pearlite_c", "bainite_c", "ferrite_cr", "pearlite_cr", "bainite_cr"),
    *("ferrite_mo", "pearlite_sqrt_mo", "bainite_mo", "bainite_tail"),
)

#: Steps in a packed route: furnace, transfer, rest, stroke, rest, delay, spray, then delay and quench as often as there are
#: any, and cooling.
STEPS = 8


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
    return np.array(
        [tuple(k[name] for name in KINETIC_FIELDS)], [(n, np.float64) for n in KINETIC_FIELDS]
    )


def start_tables(comp: SteelColumns, methods: dict[str, str] | None = None) -> np.ndarray:
    """Ms (°C), martensite law (1/K) and martensite hardness (HV) on even steps of carbon, shape (n, 3, points)."""
    methods = methods or {}
    carbon = np.linspace(0.0, TABLE_CARBON, CARBON_POINTS)[None, :]
    ms = temperatures.martensite_start_c(
        comp, carbon, **({"method": methods["ms"]} if "ms" in methods else {})
    )
    alpha = temperatures.martensite_alpha_per_k(comp, carbon)
    hv = constituents.fresh_martensite_hv(
        comp, phase_hardness.martensite_coefficients(comp, carbon)[0], ms, alpha
    )
    shape = (comp.get("C").shape[0], CARBON_POINTS)
    return np.ascontiguousarray(
        np.stack([np.broadcast_to(t, shape) for t in (ms, alpha, hv)], axis=1)
    )


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
    put(
        ae1=ae1,
        ae3=np.maximum(ae3, ae1 + 1.0),
        ac1=ac1,
        ac3=np.maximum(ac3, ac1 + 10.0),
        bainite_limit=kinetics.kinetic_bainite_start_c(comp),
    )
    pack_constants(comp, cases, k)
    growth = austenite.grain_growth_coefficients(_OneColumn(comp))
    for name, column in zip(
        (
            "grain_m",
            "grain_ln_k",
            "grain_q",
            "grain_ln_k_low",
            "grain_q_low",
            "pin_low",
            "pin_high",
        ),
        growth,
        strict=True,
    ):
        cases[name] = column
    put(alloyed=alloyed_share(comp))
    boundary = comp.get("C") + (cases["ae3"] - cases["ae1"])[:, None] / kinetics.AE3_SLOPE_C
    put(
        first_ferrite_cap=np.clip(
            (boundary - comp.get("C")) / (boundary - kinetics.CARBON_IN_FERRITE), 0.0, 1.0
        )
    )
    put(ms_grain=temperatures.martensite_grain_coefficient((methods or {}).get("ms", "own")))
    temper = tempering.tempering_coefficients(comp)
    put(
        temper_q_k=temper.activation_k,
        half_log_j=temper.half_log_j,
        temper_width=temper.width,
        temper_soft_hv=temper.soft_hv,
        temper_slope_hv=temper.slope_hv,
        temper_overaged_hv=temper.overaged_hv,
        temper_floor_hv=temper.floor_hv,
        temper_floor_carbon_hv=temper.floor_carbon_hv,
        temper_bainite_share=temper.bainite_share,
    )
    return start_tables(comp, methods)


def pack_constants(
    comp: SteelColumns, cases: np.ndarray, k: dict[str, float] | None = None
) -> None:
    """Fill the fields of `cases` that hold constants of the rate equations and of the constituents' hardness."""
    names = (
        "ln_f",
        "ln_p",
        "ln_b",
        "f_a",
        "f_b",
        "p_a0",
        "p_ac",
        "p_b",
        "b_a0",
        "b_ac",
        "b_b0",
        "b_bc",
    )
    values = (
        *kinetics.ln_composition_factors(comp, k=k),
        *constituents.ferrite_line(comp, k),
        *constituents.pearlite_line(comp, k),
        *constituents.bainite_line(comp, k),
    )
    for name, value in zip(names, values, strict=True):
        cases[name] = np.broadcast_to(value, comp.get("C").shape)[:, 0]
    # what stays ferrite below Ac3 is as soft as slowly cooled ferrite
    cases["ferrite_hv"] = np.maximum(
        cases["f_a"] + cases["f_b"] * phase_hardness.LOG_V_LOW,
        phase_hardness.FERRITE_PEARLITE_FLOOR_HV,
    )


class _OneColumn:
    """Steels whose contents are plain columns, shape (n,), for formulas that also ask for `fine_grain`."""

    def __init__(self, steels: SteelColumns):
        self._steels, self.fine_grain = steels, steels.fine_grain

    def get(self, element: str) -> np.ndarray:
        return self._steels.get(element)[:, 0]


# ---- heads and the air around them ---------------------------------------------------------------------------------


def pack_heads(heads: HeadColumns) -> tuple[np.ndarray, dict[str, Zone]]:
    """The heads as `ZONE` records, shape (h, zones), in the forged state, which is what the second heat sees."""
    parts = forged_parts(*heads.parts)
    zones = zones_of(*parts)
    packed = np.zeros((len(heads), len(ZONES)), ZONE)
    for i, name in enumerate(ZONES):
        z = zones[name]
        area = 0.5e-6 * (z.front_mm2 + z.back_mm2)
        for field, value in (
            ("mass_kg", z.mass_g * 1e-3),
            ("front_m2", z.front_mm2 * 1e-6),
            ("back_m2", z.back_mm2 * 1e-6),
            ("conduction_m", area * z.path_factor / (z.path_mm * 1e-3)),
        ):
            packed[field][:, i] = value
    for link in links_of(*parts, zones):
        packed["link_m"][:, ZONES.index(link.a)] = link.area_mm2 / link.length_mm * 1e-3
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

    Parameters
    ----------
    zones : dict of str to Zone
        Sizes are numbers or arrays, one number a head.
    head_of, air_c : array, shape (n,)
    air_speed_m_s : array, shape (n,) or (n, zones)
        0 is still air.

    Returns
    -------
    array, shape (tables, zones, temperatures); int array, shape (n,)
    """
    sizes = [
        np.full(len(head_of), z.size_mm) if np.ndim(z.size_mm) == 0 else z.size_mm[head_of]
        for z in (zones[name] for name in ZONES)
    ]
    speeds = np.broadcast_to(air_speed_m_s.reshape(len(head_of), -1), (len(head_of), len(ZONES)))
    moving_air = speeds.T[:1] if air_speed_m_s.ndim == 1 else speeds.T
    keys = [key for key in (*sizes, air_c, *moving_air) if (key != key[0]).any()]
    if keys:
        _, first, table_of = np.unique(
            np.stack(keys, axis=1), axis=0, return_index=True, return_inverse=True
        )
    else:
        first, table_of = np.zeros(1, np.int64), np.zeros(len(air_c), np.int64)
    air = air_c[first]
    tables = np.empty((len(first), len(ZONES), len(CONVECTION_C)))
    for i, name in enumerate(ZONES):
        shape = zones[name].shape
        size, speed = sizes[i][first], speeds[first, i]
        if len(first) <= _KEPT_TABLES:
            for k in range(len(first)):
                tables[k, i] = convection_table(
                    shape, float(size[k]), float(air[k]), float(speed[k])
                )
            continue
        for moving in (False, True):
            row = np.flatnonzero((speed > 0.0) == moving)
            if len(row):
                surface = np.maximum(CONVECTION_C, air[row, None] + 1.0)
                tables[row, i] = surroundings.convection_w_m2k(
                    shape,
                    surface,
                    air[row, None],
                    size[row, None],
                    speed[row, None] if moving else 0.0,
                )
    return tables, table_of.ravel()


# ---- routes ----------------------------------------------------------------------------------------------------------

_VIEW, _AIR_SHARE, _FORCED = (
    np.array([getattr(surroundings.neighbours(kind), field) for kind in COOLING], float)
    for field in ("view_factor", "air_share", "forced")
)
_COVERED = [i for i, kind in enumerate(COOLING) if surroundings.NEIGHBOURS[kind].covered]
_FURNACES = [FURNACES[kind] for kind in HEATING]


def pack_routes(
    columns: Cases, zones: dict[str, Zone], head_of: np.ndarray, cases: np.ndarray
) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Fill the route fields of `cases`; return their steps, convection to air (see `convection_tables`) and the tables of the baths."""
    route, shop = columns.route, columns.shop
    kind = route["surroundings"].astype(np.int64)
    for field, name in (
        ("furnace_c", "preheat_c"),
        ("start_c", "start_c"),
        ("air_c", "air_c"),
        ("die_c", "die_c"),
        ("scale_left", "scale_left"),
        ("first_finish_c", "finish_c"),
    ):
        cases[field] = route[name]
    cases["emissivity"], cases["die_factor"], cases["spray_factor"] = (
        shop["emissivity"],
        shop["die"],
        shop["spray"],
    )
    heating = np.array(_FURNACES)[route["furnace"].astype(np.int64)]
    cases["furnace_convection"], emissivity, cases["scale_factor"], coil = heating.T
    cases["furnace_emissivity"] = route["furnace_emissivity"] * emissivity
    cases["coil_s"] = np.where(coil > 0.0, route["soak_s"], 0.0)
    cases["coil_c"] = np.where(coil > 0.0, route["preheat_c"], 0.0)[:, None]
    cases["view_factor"] = np.where(
        np.isnan(route["view_factor"]), _VIEW[kind], route["view_factor"]
    )
    cases["air_factor"] = shop["air"] * (1.0 - _AIR_SHARE[kind])
    cases["first_grain_um"] = austenite.diameter_um_from_astm(route["first_grain_astm"])
    cases["start_grain_um"] = austenite.starting_grain_um(cases["first_grain_um"])
    cases["start_austenite"] = cases["start_scale_um"] = 0.0

    most = max((len(q) for q in columns.quenches), default=0)
    steps = np.zeros((len(columns), STEPS + 2 * most), STEP)

    def step(i, kinds, seconds):
        # below a nanosecond a step is none: its inverse must stay a number
        steps["kind"][:, i], steps["duration_s"][:, i] = (
            kinds,
            np.where(np.asarray(seconds) > 1e-9, seconds, 0.0),
        )

    wet, back = route["has_spray"], route["back_on_die"] > 0.0
    half = 0.5 * route["rest_s"]
    delay = np.where(wet, columns.delay_s, half)
    step(0, FURNACE, route["soak_s"])
    step(1, AIR, route["transfer_s"])
    step(2, REST, half)
    step(3, STROKE, route["dwell_s"])
    steps["contact"][:, 3] = route["contact"]
    step(4, REST, np.minimum(half, delay))
    step(5, np.where(wet & back, REST, AIR), np.maximum(delay - half, 0.0))
    step(
        6,
        np.where(wet, np.where(back, SPRAY_ON_DIE, SPRAY), AIR),
        np.where(wet, route["spray_s"], 0.0),
    )
    for z, name in enumerate(("rim_share", "body_share", "neck_share", "hosel_share"), start=1):
        steps["share"][:, 6, z] = np.where(wet, route[name], 0.0)
    steps["share"][:, 6, 0] = wet
    steps["flux"][:, 6], steps["fluid_c"][:, 6] = route["flux"], route["water_c"]
    step(-1, COOL, 1e5)
    for code in _COVERED if np.isin(kind, _COVERED).any() else ():
        mine = kind == code
        for z, name in enumerate(ZONES):
            size = np.broadcast_to(zones[name].size_mm, (len(columns.heads),))[head_of[mine]]
            steps["cover"][mine, -1, z] = surroundings.cover_w_m2k(
                COOLING[code], name, zones[name].shape, size
            )
    speed = np.where(_FORCED[kind] > 0.0, route["air_speed_m_s"], 0.0)
    tables, table_of = convection_tables(zones, head_of, route["air_c"], speed)
    media: dict[tuple, int] = {}
    streams = [tables]
    for k in range(most):
        _pack_quench(columns, k, (zones, head_of), steps, media, streams)
    baths = (
        np.array([bath_w_m2(*bath) for bath in media]) if media else np.zeros((1, len(MEDIUM_C)))
    )
    return steps, (np.concatenate(streams), table_of), baths


def _pack_quench(
    columns: Cases, k: int, heads: tuple, steps: np.ndarray, media: dict, streams: list
) -> None:
    """Lay out the k-th quench of every case: the wait before it and itself; new baths and air streams are added."""
    delay, at = steps[:, STEPS - 1 + 2 * k], steps[:, STEPS + 2 * k]
    for which, quenches in enumerate(columns.quenches):
        mine = np.flatnonzero((columns.quench_of == which) & columns.route["has_quench"])
        if k >= len(quenches) or not len(mine):
            continue
        q, route = quenches[k], {name: values[mine] for name, values in columns.route.items()}
        number = {
            s.field: (route[name] if k == 0 else getattr(q, s.field)) for name, s in QUENCH.items()
        }
        number = {f: np.broadcast_to(np.asarray(v, float), mine.shape) for f, v in number.items()}
        wait = number["delay_s"] + (
            np.where(route["has_spray"], 0.0, columns.shop["delay_s"][mine]) if k == 0 else 0.0
        )
        delay["kind"][mine], delay["duration_s"][mine] = AIR, np.maximum(wait, 0.0)
        at["duration_s"][mine], at["fluid_c"][mine] = number["duration_s"], number["fluid_c"]
        share = np.broadcast_to([dict(q.zones).get(z, 0.0) for z in ZONES], (len(mine), len(ZONES)))
        if q.medium == "water spray":
            at["kind"][mine], at["flux"][mine], at["share"][mine] = (
                SPRAY,
                number["flux_kg_m2_s"],
                share,
            )
        elif q.medium.endswith("air"):
            speed = (
                share * number["air_speed_m_s"][:, None]
                if q.medium == "forced air"
                else 0.0 * share
            )
            zones, head_of = heads
            tables, table_of = convection_tables(zones, head_of[mine], route["air_c"], speed)
            at["kind"][mine], at["air"][mine] = AIR, sum(map(len, streams)) + table_of + 1
            streams.append(tables)
        else:
            baths, of = np.unique(
                np.stack([number["fluid_c"], number["agitation"]], axis=1),
                axis=0,
                return_inverse=True,
            )
            ids = [
                media.setdefault((q.medium, *map(float, bath), q.table), len(media))
                for bath in baths
            ]
            at["kind"][mine], at["medium"][mine] = BATH, np.array(ids)[of.ravel()]
            at["share"][mine] = share * dipped_share(columns, mine, number["depth_mm"])


def dipped_share(columns: Cases, rows: np.ndarray, depth_mm: np.ndarray) -> np.ndarray:
    """Share of every zone in a bath when the head hangs by its hosel, sole down, shape (rows, zones); NaN: the whole head.

    The neck begins at the height of the rim, the hosel above it; lie and the place of body and sole are left out.
    """
    height, neck, hosel = (
        columns.dimension(*of)[rows]
        for of in (("rim", "height_mm"), ("neck", "length_mm"), ("hosel", "length_mm"))
    )
    blade = np.clip(depth_mm / height, 0.0, 1.0)
    above = (
        np.clip((depth_mm - height) / neck, 0.0, 1.0),
        np.clip((depth_mm - height - neck) / hosel, 0.0, 1.0),
    )
    return np.where(
        np.isnan(depth_mm)[:, None], 1.0, np.stack([blade, blade, blade, *above], axis=1)
    )


def hosel_shape_mm(columns: Cases) -> np.ndarray:
    """Forged hosel and neck of every case as `thermal.local_heat.hosel_heat` takes them, shape (n, 5)."""
    names = (
        ("hosel", "length_mm", "length_allowance_mm"),
        ("hosel", "outside_mm", "allowance_mm"),
        ("neck", "length_mm", None),
        ("neck", "base_mm", "allowance_mm"),
        ("hosel", "bend_zone_mm", None),
    )
    return np.stack(
        [
            columns.dimension(part, name) + (columns.dimension(part, more) if more else 0.0)
            for part, name, more in names
        ],
        axis=1,
    )


def later_heats_j(
    heats: Sequence[Temper | LocalHeat], temper_q_k: np.ndarray, hosel_mm: np.ndarray
) -> np.ndarray:
    """Tempering integral of later heats for every zone, s, shape (n, zones).

    Parameters
    ----------
    hosel_mm : array, shape (n, 5)
        Hosel and neck as `thermal.local_heat.hosel_heat` takes them.
    """
    total = np.zeros((len(temper_q_k), len(ZONES)))
    for heat in heats:
        if isinstance(heat, LocalHeat):
            act = heat.peak_c, heat.hold_s, heat.cooled, float(temper_q_k[0])
            total += hosel_heats(hosel_mm, *act).zone_j
            continue
        gain = heat.hold_s * np.exp(-temper_q_k / (heat.temperature_c + 273.15))
        for i, name in enumerate(ZONES):
            if not heat.zones or name in heat.zones:
                total[:, i] += gain
    return total
