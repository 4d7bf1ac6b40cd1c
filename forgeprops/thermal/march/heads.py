"""March many heads: any mix of steels, heads, routes and shops, packed once for each distinct one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...forging.effort import flow_stress_mpa
from ...head import STEEL_DENSITY_KG_M3, Head
from ...route import Route
from ...shop import Shop
from ...steel import Steel
from ..properties import austenite_cp_j_kgk
from . import batch, packing

__all__ = ["march_heads"]

#: Share of plastic work that becomes heat (Taylor & Quinney 1934; from memory).
_WORK_TO_HEAT = 0.9
#: Strain rate of the squeeze, 1/s (a mechanical press, common practice, no source).
_RATE_PER_S = 10.0


def _distinct(items: Sequence) -> tuple[list, np.ndarray]:
    """Distinct objects in order of first use, and which one every item is (by identity, then by value)."""
    index: dict[int, int] = {}
    by_value: dict = {}
    first, where = [], np.empty(len(items), np.int64)
    for i, item in enumerate(items):
        key = id(item)
        if key not in index:
            slot = by_value.setdefault(item, len(first))
            if slot == len(first):
                first.append(item)
            index[key] = slot
        where[i] = index[key]
    return first, where


def march_heads(steels: Sequence[Steel], heads: Sequence[Head], routes: Sequence[Route], shops: Sequence[Shop], *,
                tolerance_c: float = batch.TOLERANCE_C, points: tuple[int, ...] = packing.POINTS, trace: bool = False,
                threads: int | None = None, constants: dict[str, float] | None = None,
                methods: dict[str, str] | None = None, keep_points: bool = False, carbide_speed=1.0,
                strain_speed=None) -> batch.Marched:
    """March `n` heads; the four sequences have one length.

    Parameters
    ----------
    carbide_speed : float or array, shape (n,)
        Factor on the rate at which Cr-Mo carbides dissolve in the furnace; near 0 none does.
    strain_speed : tuple of two arrays, shape (n, 5), optional
        Factors on the rates of ferrite and of bainite, by zone, from the press strain that stays in the austenite
        (see `transformation.recrystallisation.strain_speed_factor`); 1 when left out.

    Returns
    -------
    Marched
        One row a case, in the same order.
    """
    n = len(steels)
    cases = np.zeros(n, packing.CASE)
    steps = np.zeros((n, packing.STEPS), packing.STEP)
    steel_list, steel_of = _distinct(steels)
    head_list, head_of = _distinct(heads)
    packed = np.zeros(len(steel_list), packing.CASE)
    start = packing.pack_steels(steel_list, packed, constants, methods)
    for name in packing.STEEL_FIELDS:
        cases[name] = packed[name][steel_of]
    route_list, route_of = _distinct(list(zip(routes, shops, head_of.tolist(), strict=True)))
    rows = np.zeros(len(route_list), packing.CASE)
    row_steps = np.zeros((len(route_list), packing.STEPS), packing.STEP)
    air: dict[tuple, int] = {}
    air_of_route = np.empty(len(route_list), np.int64)
    tables = []
    for r, (route, shop, h) in enumerate(route_list):
        speed = packing.pack_route(route, shop, head_list[h].hosel.forged_outside_mm, rows[r], row_steps[r])
        key = (h, route.cool.air_c, speed)
        if key not in air:
            air[key] = len(tables)
            tables.append(packing.convection_tables(head_list[h], route.cool.air_c, speed))
        air_of_route[r] = air[key]
    for name in packing.ROUTE_FIELDS:
        cases[name] = rows[name][route_of]
    steps[:] = row_steps[route_of]
    # plastic work at the furnace's own temperature: a few kelvin, so the metal's exact one hardly matters
    strain = np.array([r.press.strain for r, _, _ in route_list])[route_of]
    comp = packing.Compositions(steel_list)
    columns = _Rows(comp, steel_of)
    stress = flow_stress_mpa(columns, np.clip(cases["furnace_c"], 700.0, 1250.0), np.maximum(strain, 0.01), _RATE_PER_S)
    cases["work_k"] = np.where(strain > 0.0, _WORK_TO_HEAT * stress * 1e6 * strain
                               / (STEEL_DENSITY_KG_M3 * austenite_cp_j_kgk(900.0)), 0.0)
    if any(route.later for route, _, _ in route_list):
        for i in range(n):
            cases["later_j"][i] = packing.later_heats_j(route_list[route_of[i]][0], float(cases["temper_q_k"][i]))
    cases["ln_carbide_speed"] = np.log(np.maximum(carbide_speed, 1e-9))
    if strain_speed is not None:
        cases["ln_strain_f"], cases["ln_strain_b"] = np.log(strain_speed[0]), np.log(strain_speed[1])
    zones = np.array([packing.pack_head(h) for h in head_list])
    return batch.run(cases, zones, head_of, steps, np.array(tables), air_of_route[route_of], start, steel_of,
                     packing.kinetic_array(constants), packing.section(points), tolerance_c=tolerance_c, trace=trace,
                     threads=threads, keep_points=keep_points)


class _Rows:
    """Compositions spread over the cases: one number a case."""

    def __init__(self, comp: packing.Compositions, steel_of: np.ndarray):
        self._comp, self._of = comp, steel_of

    def get(self, element: str) -> np.ndarray:
        return self._comp.get(element)[self._of, 0]
