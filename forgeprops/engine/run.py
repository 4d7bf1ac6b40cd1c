"""March many heads: any mix of steels, heads, routes and shops, packed as columns."""

from __future__ import annotations

import functools

import numpy as np

from ..base.constants import STEEL_DENSITY_KG_M3
from ..base.errors import check_choice, check_number, check_whole
from ..forging.effort import flow_stress_mpa
from ..inputs.cases import Cases, SteelColumns
from ..thermal.properties import austenite_cp_j_kgk
from ..transformation import kinetics
from . import batch, packing, routes

#: Share of plastic work that becomes heat (Taylor & Quinney 1934; from memory).
_WORK_TO_HEAT = 0.9
#: Strain rate of the press, 1/s (a mechanical press, common practice, no source).
_RATE_PER_S = 10.0


def check_march_options(options) -> None:
    """Refuse options of a march that a user's call passes on, by name and by value.

    Raises
    ------
    InputError
    """
    for name, value in options.items():
        check_choice(name, "option", ("tolerance_c", "threads", "constants"))
        if name == "tolerance_c":
            check_number(value, "error allowed a step", 1e-4, 50.0, "°C")
        elif value is not None and name == "threads":
            check_whole(value, "number of threads", 1, 1024)
        elif value is not None:
            kinetics.check_constants(value)


def march_columns(
    columns: Cases,
    *,
    tolerance_c: float = batch.TOLERANCE_C,
    points: tuple[int, ...] = packing.POINTS,
    trace: bool = False,
    threads: int | None = None,
    constants: dict[str, float] | None = None,
    methods: dict[str, str] | None = None,
    keep_points: bool = False,
    carbide_speed=1.0,
    strain_speed=None,
) -> batch.Marched:
    """March many heads given as columns; one row a case, in the same order.

    Parameters
    ----------
    carbide_speed : float or array, shape (n,)
        Factor on the rate at which Cr-Mo carbides dissolve in the furnace; near 0 none does.
    strain_speed : array, shape (n, 5), optional
        Factor on the rates of ferrite and of bainite, by zone, from the press strain that stays in the austenite
        (see `transformation.recrystallisation.strain_speed_factor`); 1 when left out.
    """
    n = len(columns)
    every = np.arange(n)
    steel_of = every if columns.steel_of is None else columns.steel_of
    head_of = every if columns.head_of is None else columns.head_of
    cases = np.zeros(n, packing.CASE)
    of_steel, start = (
        _packed_steels(columns.steels)
        if constants is None and methods is None
        else _pack_steels(columns.steels, constants, methods)
    )
    for name in packing.STEEL_FIELDS + packing.HARDNESS_FIELDS:
        cases[name] = of_steel[name][steel_of]
    heads, zones = _packed_heads(columns.heads)
    steps, (tables, table_of), media = routes.pack_routes(columns, zones, head_of, cases)
    cases["work_k"] = _press_work_k(columns)
    for kind, heats in enumerate(columns.later):
        mine = columns.later_of == kind
        if heats and mine.any():  # a part of many cases keeps their lists of later heats
            shapes = routes.hosel_shape_mm(columns)[mine]
            cases["later_j"][mine] = routes.later_heats_j(heats, cases["temper_q_k"][mine], shapes)
    cases["ln_carbide_speed"] = np.log(np.maximum(carbide_speed, 1e-9))
    if strain_speed is not None:
        cases["ln_strain_f"] = cases["ln_strain_b"] = np.log(strain_speed)
    packed = batch.Packed(
        cases,
        heads,
        head_of,
        steps,
        tables,
        table_of,
        start,
        steel_of,
        packing.kinetic_array(constants),
        packing.section(points),
        media,
    )
    return batch.run(
        packed, tolerance_c=tolerance_c, trace=trace, threads=threads, keep_points=keep_points
    )


def _pack_steels(steels: SteelColumns, constants=None, methods=None):
    packed = np.zeros(len(steels), packing.CASE)
    return packed, packing.pack_steels(steels, packed, constants, methods)


#: The last steels and heads are kept packed: a slider moves the route, and variants share both.
_packed_steels = functools.lru_cache(maxsize=8)(_pack_steels)
_packed_heads = functools.lru_cache(maxsize=8)(packing.pack_heads)


def _press_work_k(columns: Cases) -> np.ndarray:
    """Rise of temperature by plastic work, K.

    At the furnace's own temperature: it is a few kelvin, so the metal's exact one hardly matters.
    """
    strain = columns.route["strain"]
    stress = flow_stress_mpa(
        columns.composition,
        np.clip(columns.route["preheat_c"], 700.0, 1250.0),
        np.maximum(strain, 0.01),
        _RATE_PER_S,
    )
    return np.where(
        strain > 0.0,
        _WORK_TO_HEAT * stress * 1e6 * strain / (STEEL_DENSITY_KG_M3 * austenite_cp_j_kgk(900.0)),
        0.0,
    )
