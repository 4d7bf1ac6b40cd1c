"""Compile the march once and run it over many cases: chunks on a thread pool, the interpreter lock released."""

from __future__ import annotations

import functools
import hashlib
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..transformation import kinetics
from ..transformation.decomposition import ROWS
from .balance import WET_POINTS
from .compiled import compiled
from .march import HEAT_ROWS, MARKS, STEP_LIMIT
from .outcome import OUT
from .packing import CASE, COOL, STEP, Section

__all__ = ["Marched", "STOP_C", "TOLERANCE_C", "engine", "run", "run_curve"]

#: Default error allowed a step, °C, and the temperature at which a cooling head is left, °C.
TOLERANCE_C = 0.4
STOP_C = 80.0
_TRACE_ROWS = 6000


@dataclass
class Marched:
    """What the march returns; first axis is the case.

    Attributes
    ----------
    zones : array, shape (n, 5, OUT)
        See `outcome`.
    marks : array, shape (n, 5, MARKS)
        See `march`.
    point_hv : array, shape (n, points)
    state, heat : arrays, shapes (n, ROWS, points) and (n, HEAT_ROWS, points)
    energy : array, shape (n, 3)
        Heat taken from the surroundings, sensible heat stored, heat of transformation, J.
    steps : array, shape (n,)
    trace : list of array, or None
        Time, mean and front temperatures of the zones; with `keep_points` also the temperature of every point.
    """

    zones: np.ndarray
    marks: np.ndarray
    point_hv: np.ndarray
    state: np.ndarray | None
    heat: np.ndarray | None
    energy: np.ndarray
    steps: np.ndarray
    trace: list | None


def _formula_files() -> list[Path]:
    package = Path(__file__).resolve().parents[1]
    return [
        *sorted(Path(__file__).parent.glob("*.py")),
        *sorted((package / "thermal").glob("*.py")),
        *sorted((package / "transformation").glob("*.py")),
        *sorted((package / "forging").glob("scale*.py")),
    ]


def _checksum() -> int:
    """Checksum of every file whose code is compiled: the compile cache itself notices only the kernel's file."""
    digest = hashlib.sha256()
    for path in _formula_files():
        digest.update(path.read_bytes())
    return int.from_bytes(digest.digest()[:6], "big")


_lock = threading.Lock()


@functools.cache
def engine():
    """Return the compiled march and curve kernels; compiled on first use, from the cache afterwards."""
    with _lock:
        return _compile(_checksum())


def _compile(checksum: int):
    from numba.extending import register_jitable

    from ..forging import scale
    from ..thermal import die_contact, properties
    from ..thermal import spray as spray_law
    from ..transformation import austenite, decomposition, phase_hardness, tempering
    from . import balance, imposed, march, outcome, step

    formulas = (
        (
            properties.austenite_cp_j_kgk,
            properties.ferrite_cp_j_kgk,
            properties.conductivity_w_mk,
            properties.conductivity,
        ),
        (
            spray_law._wendelstorf_w_m2k,
            spray_law.water_factor,
            spray_law.spray_single_phase_w_m2k,
            spray_law.spray_w_m2k,
            spray_law.wet_share,
            spray_law.evaporation_limit_w_m2,
            die_contact.die_contact_w_m2k,
        ),
        (scale.scale_rate,),
        (
            austenite.austenite_equilibrium,
            austenite.austenite_carbon,
            austenite.austenite_formation_time_s,
            austenite.carbide_dissolution_time_s,
            austenite.carbide_carbon,
            austenite.alloy_in_austenite,
            austenite.grain_growth_rate,
            austenite.astm_from_diameter,
            austenite.island_diameter_um,
            austenite.pearlite_site_um,
            austenite.ferrite_return_per_s,
        ),
        (kinetics.ferrite_cap, kinetics.extent_of, kinetics.inverse_extent),
        (
            phase_hardness.line_hv,
            tempering.log_tempering,
            tempering.softened_hv,
            tempering.master_hv,
            tempering.annealed_hv,
            tempering._master,
            tempering.tempered_martensite_hv,
            tempering.tempered_bainite_hv,
            tempering.spheroidised_hv,
        ),
        (
            decomposition.carbon_of_austenite,
            decomposition._on_carbon,
            decomposition._joined,
            decomposition.begin_cooling,
            decomposition.martensite_ahead,
            decomposition.decompose,
        ),
        (
            balance._convection,
            balance._radiation,
            balance.dry_loss,
            balance.wet_table,
            balance.surface_loss,
            balance.mean_temperatures,
            balance.balance,
        ),
        (step.factorise, step.solve),
        (
            march.heat_up,
            march.set_austenite,
            march._martensite_capacity,
            march._furnace_structure,
            march._spread,
            march._lumped_structure,
            march._cooling_structure,
            march._settle,
            march._copy,
            march._mark,
            march._note,
            march.march,
            imposed.follow,
        ),
        (
            outcome._table_hv,
            outcome._law,
            outcome._constituents,
            outcome.point_hardness,
            outcome._old_hardness,
            outcome.collect,
        ),
    )
    for group in formulas:
        for formula in group:
            register_jitable(formula)
    march_, collect_, follow_ = march.march, outcome.collect, imposed.follow

    def kernel(
        cases,
        zones,
        head_of,
        steps,
        convection,
        convection_of,
        start,
        start_of,
        kin,
        arrhenius,
        marker,
        weight,
        stiff,
        slope,
        forward,
        inverse,
        top,
        tolerance_c,
        stop_c,
        begin,
        end,
        zone_out,
        marks,
        point_hv,
        states,
        heats,
        energy,
        n_steps,
        trace,
        trace_rows,
    ):
        key = checksum  # noqa: F841 - a closure cell that goes into the cache key
        n_zones = zones.shape[1]
        n_each = len(marker)
        n = n_zones * n_each
        work = (
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n),
            np.empty(n_zones),
            np.empty(n_zones),
            np.empty(n_zones),
            np.zeros(n_zones),
            np.empty(n_zones),
            np.empty(n_zones),
            np.empty((n_zones, 2)),
            np.empty((n_zones, n_each, n_each)),
            np.zeros((ROWS, n)),
            np.zeros((HEAT_ROWS, n)),
            np.zeros((n_zones, WET_POINTS)),
        )
        t_c = np.empty(n)
        heat = np.zeros((HEAT_ROWS, n))
        state = np.zeros((ROWS, n))
        first_state = np.zeros((ROWS, n))
        first_heat = np.zeros((HEAT_ROWS, n))
        scale_um = np.zeros(n_zones)
        first_marks = np.zeros((n_zones, MARKS))
        first_energy = np.zeros(3)
        no_trace = np.zeros((0, 1))
        air_only = np.zeros(1, steps.dtype)
        air_only[0].kind = COOL
        air_only[0].duration_s = 1e5
        for c in range(begin, end):
            case = cases[c]
            head = zones[head_of[c]]
            table = start[start_of[c]]
            air = convection[convection_of[c]]
            for i in range(n):
                t_c[i] = case.start_c
                for r in range(ROWS):
                    state[r, i] = 0.0
                heat[0, i] = case.start_austenite
                heat[1, i] = 1.0 - case.start_austenite
                heat[2, i] = case.start_grain_um**case.grain_m
            for z in range(n_zones):
                scale_um[z] = case.start_scale_um
            taken, rows = march_(
                case,
                head,
                steps[c],
                air,
                table,
                kin,
                arrhenius,
                marker,
                weight,
                stiff,
                slope,
                forward,
                inverse,
                top,
                tolerance_c,
                stop_c,
                t_c,
                heat,
                state,
                marks[c],
                scale_um,
                energy[c],
                trace,
                work,
            )
            n_steps[c] = taken
            trace_rows[0] = rows
            least = 1.0
            for i in range(n):
                least = min(least, heat[0, i])
                for r in range(ROWS):
                    first_state[r, i] = 0.0
            if least < 0.9995:
                for i in range(n):
                    t_c[i] = case.first_finish_c
                    first_heat[0, i] = 1.0
                    first_heat[1, i] = 0.0
                    first_heat[2, i] = case.first_grain_um**case.grain_m
                for z in range(n_zones):
                    scale_um[z] = 0.0
                taken, _ = march_(
                    case,
                    head,
                    air_only,
                    air,
                    table,
                    kin,
                    arrhenius,
                    marker,
                    weight,
                    stiff,
                    slope,
                    forward,
                    inverse,
                    top,
                    2.0 * tolerance_c,
                    stop_c,
                    t_c,
                    first_heat,
                    first_state,
                    first_marks,
                    scale_um,
                    first_energy,
                    no_trace,
                    work,
                )
                if taken >= STEP_LIMIT:
                    n_steps[c] = taken
            collect_(
                case, table, state, heat, marker, weight, first_state, point_hv[c], zone_out[c]
            )
            if states.shape[0] > c:
                for i in range(n):
                    for r in range(ROWS):
                        states[c, r, i] = state[r, i]
                    for r in range(HEAT_ROWS):
                        heats[c, r, i] = heat[r, i]

    def curve_kernel(
        case,
        start,
        kin,
        arrhenius,
        time_s,
        temperature_c,
        grain_um,
        forward,
        inverse,
        top,
        marker,
        weight,
        history,
        point_hv,
        out,
    ):
        key = checksum  # noqa: F841
        state = np.zeros((ROWS, 1))
        heat = np.zeros((HEAT_ROWS, 1))
        heat[0, 0] = 1.0
        heat[2, 0] = grain_um**case.grain_m
        follow_(
            case,
            start,
            kin,
            arrhenius,
            time_s,
            temperature_c,
            grain_um,
            forward,
            inverse,
            top,
            state,
            history,
        )
        collect_(case, start, state, heat, marker, weight, state, point_hv, out)

    return compiled(kernel), compiled(curve_kernel)


def run(
    cases,
    zones,
    head_of,
    steps,
    convection,
    convection_of,
    start,
    start_of,
    kin,
    section: Section,
    *,
    tolerance_c: float = TOLERANCE_C,
    stop_c: float = STOP_C,
    keep_points: bool = False,
    trace: bool = False,
    threads: int | None = None,
    chunk: int = 64,
) -> Marched:
    """March all cases; the result does not depend on threads or chunks.

    Parameters
    ----------
    cases : array of CASE, shape (n,)
    zones : array of ZONE, shape (heads, zones); head_of : int array (n,)
    steps : array of STEP, shape (n, m)
    convection : array, shape (tables, zones, temperatures); convection_of : int array (n,)
    start : array, shape (steels, 3, carbon points); start_of : int array (n,)
    kin : array from `packing.kinetic_array`
    tolerance_c : float
        Error allowed a step, °C.
    """
    assert cases.dtype == CASE and steps.dtype == STEP
    n, n_zones, n_points = len(cases), zones.shape[1], zones.shape[1] * len(section.marker)
    kernel, _ = engine()
    forward, inverse, top = kinetics.extent_tables(float(kin[15]))
    arrhenius = _arrhenius(kin, cases)
    zone_out = np.zeros((n, n_zones, OUT))
    marks = np.zeros((n, n_zones, MARKS))
    point_hv = np.zeros((n, n_points))
    kept = n if keep_points else 0
    states, heats = np.zeros((kept, ROWS, n_points)), np.zeros((kept, HEAT_ROWS, n_points))
    energy, n_steps = np.zeros((n, 3)), np.zeros(n, np.int64)

    def part(begin: int, end: int, table: np.ndarray, tolerance_c: float = tolerance_c) -> int:
        rows = np.zeros(1, np.int64)
        kernel(
            cases,
            zones,
            head_of,
            steps,
            convection,
            convection_of,
            start,
            start_of,
            kin,
            arrhenius,
            section.marker,
            section.weight,
            section.stiff,
            section.slope,
            forward,
            inverse,
            top,
            tolerance_c,
            stop_c,
            begin,
            end,
            zone_out,
            marks,
            point_hv,
            states,
            heats,
            energy,
            n_steps,
            table,
            rows,
        )
        return int(rows[0])

    def empty_table() -> np.ndarray:
        return np.zeros((_TRACE_ROWS, 1 + 2 * n_zones + (n_points if keep_points else 0)))

    traces = None
    none = np.zeros((0, 1 + 2 * n_zones))
    if trace:
        traces = []
        for c in range(n):
            table = empty_table()
            traces.append(table[: part(c, c + 1, table)].copy())
    else:
        spans = [(b, min(b + chunk, n)) for b in range(0, n, chunk)]
        workers = min(threads or os.cpu_count() or 1, len(spans))
        if workers <= 1:
            for b, e in spans:
                part(b, e, none)
        else:
            with ThreadPoolExecutor(workers) as pool:
                list(pool.map(lambda span: part(*span, none), spans))
    for c in np.flatnonzero(n_steps >= STEP_LIMIT):
        table = empty_table() if trace else none
        for looser in (4.0, 16.0):
            rows = part(c, c + 1, table, looser * tolerance_c)
            if n_steps[c] < STEP_LIMIT:
                break
        else:
            raise RuntimeError(
                f"the march of case {c} did not end in {STEP_LIMIT} steps; please report the case."
            )
        if trace:
            traces[c] = table[:rows].copy()
    return Marched(
        zone_out,
        marks,
        point_hv,
        states if keep_points else None,
        heats if keep_points else None,
        energy,
        n_steps,
        traces,
    )


def _arrhenius(kin, cases) -> np.ndarray:
    """Tables of exp(-Q/RT) for the three rate equations and for tempering, whose Q is one number for all steels."""
    return _tables(
        *(float(q) / kinetics.GAS_CAL for q in kin[:3]), float(np.ravel(cases["temper_q_k"])[0])
    )


@functools.lru_cache(maxsize=8)
def _tables(*q_over_r_k) -> np.ndarray:
    return kinetics.arrhenius_table(*q_over_r_k)


def run_curve(case, start, kin, time_s, temperature_c, grain_um) -> tuple[np.ndarray, np.ndarray]:
    """Structure along an imposed curve: outcome of the one point (see `outcome`) and shares along the curve."""
    _, kernel = engine()
    forward, inverse, top = kinetics.extent_tables(float(kin[15]))
    history, hv, out = np.zeros((len(time_s), 5)), np.zeros(1), np.zeros((1, OUT))
    kernel(
        case,
        start,
        kin,
        _arrhenius(kin, case),
        time_s,
        temperature_c,
        grain_um,
        forward,
        inverse,
        top,
        (0,),
        np.ones(1),
        history,
        hv,
        out,
    )
    return out[0], history
