"""March many heads: any mix of steels, heads, routes and shops, packed as columns."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..base.constants import STEEL_DENSITY_KG_M3
from ..base.errors import check_choice, check_number, check_whole
from ..forging.effort import flow_stress_mpa
from ..inputs.cases import Cases, SteelColumns
from ..inputs.head import ZONES
from ..inputs.route import COOLING, HEATING, LocalHeat
from ..thermal.local_heat import RISE_S, hosel_heats
from ..thermal.properties import austenite_cp_j_kgk
from ..transformation import kinetics
from . import batch, packing, routes
from .march import M_RATE700, M_T500, M_T800
from .outcome import O_HV_COOLED, O_HV_QUENCHED

#: Share of plastic work that becomes heat (Taylor & Quinney 1934; from memory).
_WORK_TO_HEAT = 0.9
#: Strain rate of the press, 1/s (a mechanical press, common practice, no source).
_RATE_PER_S = 10.0


def check_march_options(options) -> None:
    """Refuse options of a march that a user's call passes on, by name and by value."""
    for name, value in options.items():
        check_choice(name, "option", ("tolerance_c", "threads", "constants"))
        if name == "tolerance_c":
            check_number(value, "error allowed a step", 1e-4, 50.0, "°C")
        elif value is not None and name == "threads":
            check_whole(value, "number of threads", 1, 1024)
        elif value is not None:
            kinetics.check_constants(value)


def march_columns(columns: Cases, strain_speed=None, **options) -> batch.Marched:
    """March many heads given as columns; one row a case, in the same order; options of `PackedCases`."""
    return PackedCases.of(columns, strain_speed, **options).march()


@dataclass(frozen=True)
class PackedCases:
    """Many heads packed once, to be marched as often as their unsure rates are moved.

    A torch above Ac1 makes new austenite of the hosel: it is marched again, with neck and head as warm as the torch leaves
    them, and its outcome replaces the hosel's.
    """

    packed: batch.Packed
    torches: list  # each: the hosels, and which of them a case has, -1 for none, shape (n,)
    options: Mapping  # of `march`

    @classmethod
    def of(cls, columns: Cases, strain_speed=None, **options) -> PackedCases:
        """Pack cases; options: points, constants and methods of the formulas, and those of `march`.

        `strain_speed`, shape (n, 5), is a factor on the rates of ferrite and bainite from the press strain that stays in the
        austenite (`transformation.recrystallisation.strain_speed_factor`).
        """
        laws = {n: options.pop(n) for n in ("points", "constants", "methods") if n in options}
        torches = []
        for rows, heat, after in _torches(columns):
            place = np.full(len(columns), -1)
            place[rows] = np.arange(len(rows))
            torches.append((_pack(_again(columns, rows, heat, after), None, heat, **laws), place))
        return cls(_pack(columns, strain_speed, **laws), torches, options)

    def march(self, rows=slice(None), **options) -> batch.Marched:
        """March some rows, any of them several times; options, beside those of `batch.run`, numbers or one a row:

        carbide_speed, a factor on the rate at which Cr-Mo carbides dissolve in the furnace (near 0 none does), and ln_delay,
        taken from ln(rate) of ferrite, pearlite and bainite.
        """
        options = {**self.options, **options}
        unsure = options.pop("carbide_speed", 1.0), options.pop("ln_delay", 0.0)
        marched = batch.run(self.packed.moved(rows, *unsure), **options)
        options["trace"] = False
        for hosels, place in self.torches:
            place = place[rows]
            mine = np.flatnonzero(place >= 0)
            of_mine = (np.broadcast_to(x, len(place))[mine] for x in unsure)
            again = batch.run(hosels.moved(place[mine], *of_mine), **options)
            _replace_hosel(marched, mine, again, slice(-hosels.section.points[-1], None))
        return marched

    def hardness_hv(self, rows, **options) -> np.ndarray:
        """Hardness alone of every zone of some rows, see `march`."""
        return self.march(rows, **options, only_hardness=True).hardness_hv


def _torches(columns: Cases):
    """Cases, shape (m,), whose last local heat above Ac1 is `heat`, with the heats after it."""
    if not any(isinstance(heat, LocalHeat) for heats in columns.later for heat in heats):
        return
    ac1, _ = _packed_steels(columns.steels)
    ac1 = ac1["ac1"][columns.steel_of]
    for kind, heats in enumerate(columns.later):
        left = columns.later_of == kind
        for at in reversed(range(len(heats))):
            if isinstance(heats[at], LocalHeat):
                mine = left & (ac1 < heats[at].peak_c)
                left &= ~mine
                if mine.any():
                    yield np.flatnonzero(mine), heats[at], heats[at + 1 :]


def _again(columns: Cases, rows: np.ndarray, heat: LocalHeat, after: tuple) -> Cases:
    """The cases under a torch instead of their route: held at its peak, cooled in still air, then what comes after."""
    part = columns.rows(rows)
    changed = dict.fromkeys("transfer_s dwell_s rest_s strain has_spray has_quench".split(), 0)
    changed |= {"preheat_c": heat.peak_c, "soak_s": RISE_S + heat.hold_s, "start_c": 25.0}
    changed |= {"furnace": HEATING.index("induction"), "surroundings": COOLING.index("single")}
    changed |= {"view_factor": np.nan}
    columns_of = {n: np.full(len(rows), v, part.route[n].dtype) for n, v in changed.items()}
    return dataclasses.replace(
        part, route={**part.route, **columns_of}, later=(after,), later_of=np.zeros(len(rows), int)
    )


def _replace_hosel(marched: batch.Marched, rows: np.ndarray, again, points: slice) -> None:
    """Put the hosel of `again` into `rows`; what it was before the later heats stays."""
    hosel = len(ZONES) - 1
    new, old = again.zones[:, hosel], marched.zones[rows, hosel]
    before = [O_HV_COOLED, O_HV_QUENCHED]
    new[:, before] = old[:, before]
    marched.zones[rows, hosel] = new
    for mark in (M_T800, M_T500, M_RATE700):
        marched.marks[rows, hosel, mark] = again.marks[:, hosel, mark]
    for name in ("point_hv", "state", "heat"):
        if getattr(marched, name) is not None:
            getattr(marched, name)[rows, ..., points] = getattr(again, name)[..., points]


def _pack(
    columns, strain_speed, torch=None, *, points=packing.POINTS, constants=None, methods=None
) -> batch.Packed:
    """Pack cases for their route, or for hosel and neck under a torch."""
    steel_of, head_of = columns.steel_of, columns.head_of
    own = () if constants is None and methods is None else (constants, methods)
    of_steel, start = (_pack_steels if own else _packed_steels)(columns.steels, *own)
    cases = packing.rows_of(of_steel, steel_of)  # with nothing yet in the fields of the route
    heads, zones = _packed_heads(columns.heads)
    steps, (tables, table_of), media = routes.pack_routes(columns, zones, head_of, cases)
    if torch is not None:
        act = torch.peak_c, torch.hold_s, torch.cooled, float(cases["temper_q_k"][0])
        cases["coil_c"] = hosel_heats(routes.hosel_shape_mm(columns), *act).zone_c
        cases["coil_s"] = RISE_S
    cases["work_k"] = _press_work_k(columns)
    for kind, heats in enumerate(columns.later):
        mine = columns.later_of == kind
        if heats and mine.any():  # a part of many cases keeps their lists of later heats
            shapes = routes.hosel_shape_mm(columns)[mine]
            cases["later_j"][mine] = routes.later_heats_j(heats, cases["temper_q_k"][mine], shapes)
    if strain_speed is not None:
        cases["ln_strain_f"] = cases["ln_strain_b"] = np.log(strain_speed)
    laws = packing.kinetic_array(constants), packing.section(points), media
    return batch.Packed(cases, heads, head_of, steps, tables, table_of, start, steel_of, *laws)


def _pack_steels(steels: SteelColumns, constants=None, methods=None):
    packed = np.zeros(len(steels), packing.CASE)
    return packed, packing.pack_steels(steels, packed, constants, methods)


#: The last steels and heads are kept packed: a slider moves the route, and variants share both.
_packed_steels = functools.lru_cache(maxsize=8)(_pack_steels)
_packed_heads = functools.lru_cache(maxsize=8)(packing.pack_heads)


def _press_work_k(columns: Cases) -> np.ndarray:
    """Rise of temperature by plastic work, K: a few kelvin, so the furnace's temperature serves for the metal's."""
    strain = columns.route["strain"]
    metal_c = np.minimum(np.maximum(columns.route["preheat_c"], 700.0), 1250.0)
    stress = flow_stress_mpa(columns, metal_c, np.maximum(strain, 0.01), _RATE_PER_S)
    rise = _WORK_TO_HEAT * stress * 1e6 / (STEEL_DENSITY_KG_M3 * austenite_cp_j_kgk(900.0))
    return np.where(strain > 0.0, rise * strain, 0.0)
