"""Routes as steps of the march: furnace, press, spray, quenches and cooling, and what later heats add to tempering."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..inputs.cases import Cases
from ..inputs.head import ZONES, Zone
from ..inputs.route import COOLING, HEATING, QUENCH, LocalHeat, Temper
from ..thermal import surroundings
from ..thermal.local_heat import hosel_heats
from ..thermal.media import MEDIUM_C, bath_w_m2
from ..transformation import austenite
from . import packing
from .packing import AIR, BATH, COOL, FURNACE, REST, SPRAY, SPRAY_ON_DIE, STEPS, STROKE

_VIEW, _AIR_SHARE, _FORCED = (
    np.array([getattr(surroundings.NEIGHBOURS[kind], field) for kind in COOLING], float)
    for field in ("view_factor", "air_share", "forced")
)
_COVERED = np.array([bool(surroundings.NEIGHBOURS[kind].covered) for kind in COOLING])
_FURNACES = np.array([surroundings.FURNACES[kind] for kind in HEATING])


def pack_routes(
    columns: Cases, zones: dict[str, Zone], head_of: np.ndarray, cases: np.ndarray
) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Fill the route fields of `cases`; return their steps, convection to air (see `convection_tables`) and the tables of the baths."""
    route, shop = columns.route, columns.shop
    kind = route["surroundings"].astype(np.int64)
    for field, name in (("furnace_c", "preheat_c"), ("first_finish_c", "finish_c")):
        cases[field] = route[name]
    for name in ("start_c", "air_c", "die_c", "scale_left"):
        cases[name] = route[name]
    for name, field in (("emissivity",) * 2, ("die", "die_factor"), ("spray", "spray_factor")):
        cases[field] = shop[name]
    heating = _FURNACES[route["furnace"].astype(np.int64)]
    cases["furnace_convection"], emissivity, cases["scale_factor"], coil = heating.T
    cases["furnace_emissivity"] = route["furnace_emissivity"] * emissivity
    cases["coil_s"] = np.where(coil > 0.0, route["soak_s"], 0.0)
    cases["coil_c"] = np.where(coil > 0.0, route["preheat_c"], 0.0)[:, None]
    own = route["view_factor"]
    cases["view_factor"] = np.where(np.isnan(own), _VIEW[kind], own)
    cases["air_factor"] = shop["air"] * (1.0 - _AIR_SHARE[kind])
    cases["first_grain_um"] = austenite.diameter_um_from_astm(route["first_grain_astm"])
    cases["start_grain_um"] = austenite.starting_grain_um(cases["first_grain_um"])
    cases["start_austenite"] = cases["start_scale_um"] = 0.0

    most = max((len(q) for q in columns.quenches), default=0)
    steps = np.zeros((len(columns), STEPS + 2 * most), packing.STEP)
    wet, back = route["has_spray"], route["back_on_die"] > 0.0
    half = 0.5 * route["rest_s"]
    delay = np.where(wet, columns.delay_s, half)
    kinds, seconds, share = steps["kind"], steps["duration_s"], steps["share"][:, 6]
    kinds[:, :5] = FURNACE, AIR, REST, STROKE, REST
    kinds[:, 5] = np.where(wet & back, REST, AIR)
    kinds[:, 6] = np.where(wet, np.where(back, SPRAY_ON_DIE, SPRAY), AIR)
    seconds[:, 0], seconds[:, 1] = route["soak_s"], route["transfer_s"]
    seconds[:, 2], seconds[:, 3] = half, route["dwell_s"]
    seconds[:, 4], seconds[:, 5] = np.minimum(half, delay), delay - half
    seconds[:, 6] = route["spray_s"]
    seconds[~wet, 6] = 0.0
    # below a nanosecond a step is none: its inverse must stay a number
    seconds[~(seconds > 1e-9)] = 0.0
    kinds[:, -1], seconds[:, -1] = COOL, 1e5
    steps["contact"][:, 3] = route["contact"]
    for z, name in enumerate(("rim_share", "body_share", "neck_share", "hosel_share"), start=1):
        share[:, z] = route[name]
    share[:, 0] = 1.0
    share[~wet] = 0.0
    steps["flux"][:, 6], steps["fluid_c"][:, 6] = route["flux"], route["water_c"]
    for code in np.flatnonzero(_COVERED) if _COVERED[kind].any() else ():
        mine = kind == code
        for z, name in enumerate(ZONES):
            size = np.broadcast_to(zones[name].size_mm, (len(columns.heads),))[head_of[mine]]
            sized = name, zones[name].shape, size
            steps["cover"][mine, -1, z] = surroundings.cover_w_m2k(COOLING[code], *sized)
    speed = np.where(_FORCED[kind] > 0.0, route["air_speed_m_s"], 0.0)
    tables, table_of = packing.convection_tables(zones, head_of, route["air_c"], speed)
    media: dict[tuple, int] = {}
    streams = [tables]
    for k in range(most):
        _pack_quench(columns, k, (zones, head_of), steps, media, streams)
    baths = [bath_w_m2(*bath) for bath in media] or [np.zeros(len(MEDIUM_C))]
    return steps, (np.concatenate(streams), table_of), np.array(baths)


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
        fields = {n: s.field for n, s in QUENCH.items()}
        number = {f: getattr(q, f) if k else route[n] for n, f in fields.items()}
        number = {f: np.broadcast_to(np.asarray(v, float), mine.shape) for f, v in number.items()}
        late = np.where(route["has_spray"], 0.0, columns.shop["delay_s"][mine])
        wait = number["delay_s"] + (0.0 if k else late)
        delay["kind"][mine], delay["duration_s"][mine] = AIR, np.maximum(wait, 0.0)
        at["duration_s"][mine], at["fluid_c"][mine] = number["duration_s"], number["fluid_c"]
        share = np.broadcast_to([dict(q.zones).get(z, 0.0) for z in ZONES], (len(mine), len(ZONES)))
        if q.medium == "water spray":
            at["kind"][mine], at["flux"][mine] = SPRAY, number["flux_kg_m2_s"]
            at["share"][mine] = share
        elif q.medium.endswith("air"):
            blown = number["air_speed_m_s"] if q.medium == "forced air" else np.zeros(len(mine))
            speed = share * blown[:, None]
            of_heads = heads[0], heads[1][mine], route["air_c"]
            tables, table_of = packing.convection_tables(*of_heads, speed)
            at["kind"][mine], at["air"][mine] = AIR, sum(map(len, streams)) + table_of + 1
            streams.append(tables)
        else:
            bath = number["fluid_c"], number["agitation"], route["bath_factor"]
            baths, of = np.unique(np.stack(bath, axis=1), axis=0, return_inverse=True)
            keys = [(q.medium, *map(float, bath), q.table) for bath in baths]
            ids = [media.setdefault(key, len(media)) for key in keys]
            at["kind"][mine], at["medium"][mine] = BATH, np.array(ids)[of.ravel()]
            at["share"][mine] = share * dipped_share(columns, mine, number["depth_mm"])


def dipped_share(columns: Cases, rows: np.ndarray, depth_mm: np.ndarray) -> np.ndarray:
    """Share of every zone in a bath when the head hangs by its hosel, sole down, shape (rows, zones); NaN: the whole head.

    The neck begins at the height of the rim, the hosel above it; lie and the place of body and sole are left out.
    """
    names = ("rim_height_mm", "neck_length_mm", "hosel_length_mm")
    height, neck, hosel = (columns.dimension(name)[rows] for name in names)
    blade = np.clip(depth_mm / height, 0.0, 1.0)
    of_neck = np.clip((depth_mm - height) / neck, 0.0, 1.0)
    of_hosel = np.clip((depth_mm - height - neck) / hosel, 0.0, 1.0)
    shares = np.stack([blade, blade, blade, of_neck, of_hosel], axis=1)
    return np.where(np.isnan(depth_mm)[:, None], 1.0, shares)


def hosel_shape_mm(columns: Cases) -> np.ndarray:
    """Forged hosel and neck of every case as `thermal.local_heat.hosel_heat` takes them, shape (n, 5)."""
    names = (
        ("hosel_length_mm", "hosel_length_allowance_mm"),
        ("hosel_outside_mm", "hosel_allowance_mm"),
        ("neck_length_mm", None),
        ("neck_base_mm", "neck_allowance_mm"),
        ("bend_zone_mm", None),
    )
    size = columns.dimension
    return np.stack([size(name) + (size(more) if more else 0.0) for name, more in names], axis=1)


def later_heats_j(
    heats: Sequence[Temper | LocalHeat], temper_q_k: np.ndarray, hosel_mm: np.ndarray
) -> np.ndarray:
    """Tempering integral of later heats for every zone, s, shape (n, zones), of heads with `hosel_shape_mm`."""
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
