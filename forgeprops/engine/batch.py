"""Run the compiled march over many cases: chunks on a thread pool, the interpreter lock released."""

from __future__ import annotations

import ctypes
import functools
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from ..thermal.media import MEDIUM_C
from ..transformation.decomposition import ROWS
from . import packing
from .march import HEAT_ROWS, MARKS, STEP_LIMIT, STOP_C, TOLERANCE_C, control
from .native import library
from .outcome import O_HV, OUT, collect
from .packing import CARBON_POINTS, CASE, CONVECTION_C, STEP, ZONE, Section, section
from .physics import PHYSICS, contact_table, extent_pairs, physics
from .section import lobatto

#: Cases a call of the engine; fewer leave lanes empty, more cost memory.
CHUNK = 512


@dataclass
class Marched:
    """What the march returns; first axis is the case."""

    zones: np.ndarray  # (n, 5, OUT), see `outcome`
    marks: np.ndarray  # (n, 5, MARKS), see `march`
    point_hv: np.ndarray  # (n, points)
    state: np.ndarray | None  # (n, ROWS, points)
    heat: np.ndarray | None  # (n, HEAT_ROWS, points)
    energy: np.ndarray  # (n, 3); from the surroundings, sensible heat, heat of transformation, J
    steps: np.ndarray  # (n,)
    later_j: np.ndarray  # (n, 5); tempering integral of the later heats, s
    trace: list | None  # time, zones' means and fronts; every point with `keep_points`

    @property
    def hardness_hv(self) -> np.ndarray:
        """Hardness of every zone after everything, shape (n, 5)."""
        return self.zones[:, :, O_HV]


_SIZES = "cases_n case_bytes zones steps_n".split()
_TABLES = """carbon_points convection_points extent_points contact_points medium_points trace_points""".split()
_ARRAYS = """points cases heads head_of steps convection convection_of media start start_of kinetics physics control
    extent inverse top contact weight stiff slope""".split()
_RESULTS = ("state", "first_state", "heat", "marks", "energy", "steps", "first_of")


class _Input(ctypes.Structure):
    _fields_ = [(n, ctypes.c_int64) for n in _SIZES + _TABLES]
    _fields_ += [(n, ctypes.c_void_p) for n in _ARRAYS]


class _Output(ctypes.Structure):
    _fields_ = [(name, ctypes.c_void_p) for name in (*_RESULTS, "trace", "trace_rows")]


@functools.cache
def engine() -> ctypes.CDLL:
    """Return the compiled engine, its records compared with those of this package."""
    loaded = library.load()
    loaded.forgeprops_fields.restype = ctypes.c_char_p
    loaded.forgeprops_free.restype = None
    read = [*packing.STEEL_FIELDS, *packing.ROUTE_FIELDS, "ln_carbide_speed"]
    ours = read, packing.ZONE_FIELDS, packing.KINETIC_FIELDS
    ours += PHYSICS.names, control(1.0, 0.0).dtype.names
    theirs = loaded.forgeprops_fields().decode().split("/")
    if [list(names) for names in ours] != [names.split() for names in theirs]:
        why = "The compiled engine has other input fields than this package"
        raise library.EngineLibraryError(f"{why}; install forgeprops again.")
    return loaded


@dataclass(frozen=True)
class Layout:
    """Which points and structures belong to a zone; a lumped zone has one structure for all its points."""

    points: list  # (slice, weights) a zone
    structures: list
    zone_of_structure: np.ndarray
    structure_of_point: np.ndarray


@functools.lru_cache(maxsize=64)
def _layout(points: tuple[int, ...], lumped: tuple[bool, ...]) -> Layout:
    counts = [1 if one else n for n, one in zip(points, lumped, strict=True)]
    first, place = np.cumsum([0, *points]), np.cumsum([0, *counts])
    weights = [lobatto(n)[1] for n in points]
    of_point = [place[z] + (0 if lumped[z] else j) for z, n in enumerate(points) for j in range(n)]
    own = [np.ones(1) if one else w for one, w in zip(lumped, weights, strict=True)]
    spans = ([slice(at[z], at[z + 1]) for z in range(len(points))] for at in (first, place))
    parts = (list(zip(*part, strict=True)) for part in zip(spans, (weights, own), strict=True))
    return Layout(*parts, np.repeat(np.arange(len(points)), counts), np.array(of_point))


@dataclass
class Packed:
    """Cases as the engine takes them, and which row of every table a case has."""

    cases: np.ndarray  # of CASE, (n,)
    heads: np.ndarray  # of ZONE, (heads, zones)
    head_of: np.ndarray
    steps: np.ndarray  # of STEP, (n, m)
    convection: np.ndarray  # (tables, zones, temperatures)
    convection_of: np.ndarray
    start: np.ndarray  # (steels, 3, carbon points)
    start_of: np.ndarray
    kinetics: np.ndarray  # record from `packing.kinetic_array`
    section: Section
    media: np.ndarray = field(default_factory=lambda: np.zeros((1, len(MEDIUM_C))))  # one a bath

    def moved(self, rows, carbide_speed, ln_delay) -> Packed:
        """Some of the cases, by a slice or their numbers, with their rates moved; the tables are shared."""
        own = {name: a[rows] for name, a in vars(self).items() if name.endswith("_of")}
        cases = packing.rows_of(self.cases, rows)
        cases["ln_carbide_speed"] = np.log(np.maximum(carbide_speed, 1e-9))
        for name in ("ln_f", "ln_p", "ln_b"):
            cases[name] += ln_delay
        return Packed(**{**vars(self), **own, "cases": cases, "steps": self.steps[rows]})


@functools.lru_cache(maxsize=32)
def _shared(points, bainite_tail, tolerance_c, stop_c) -> tuple[dict, dict]:
    """The arrays that calls have in common and their addresses, by name."""
    extent, inverse, top = extent_pairs(bainite_tail)
    arrays = {"extent": extent, "inverse": inverse, "top": top, "contact": contact_table()}
    arrays |= {"points": np.array(points, np.int64), "physics": physics()}
    arrays |= {name: getattr(section(points), name) for name in ("weight", "stiff", "slope")}
    arrays["control"] = control(tolerance_c, stop_c)
    arrays = {name: np.ascontiguousarray(a) for name, a in arrays.items()}
    return arrays, {name: a.ctypes.data for name, a in arrays.items()}


class _Call:
    """The arrays of one set of cases, kept alive and laid out for the engine."""

    def __init__(self, packed: Packed, tolerance_c, stop_c, keep_points):
        tail = float(packed.kinetics["bainite_tail"][0])
        self.shared, self.address = _shared(packed.section.points, tail, tolerance_c, stop_c)
        arrays = {name: a for name, a in vars(packed).items() if name != "section"}
        arrays |= {n: np.asarray(a, np.int64) for n, a in arrays.items() if n.endswith("_of")}
        self.arrays = {name: np.ascontiguousarray(a) for name, a in arrays.items()}
        self.address = self.address | {name: a.ctypes.data for name, a in self.arrays.items()}
        cases, heads, steps = (self.arrays[name] for name in ("cases", "heads", "steps"))
        assert cases.dtype == CASE and steps.dtype == STEP and heads.dtype == ZONE
        assert self.arrays["start"].shape[2] == CARBON_POINTS
        assert self.arrays["convection"].shape[2] == len(CONVECTION_C)
        self.sizes = (CASE.itemsize, heads.shape[1], steps.shape[1], CARBON_POINTS)
        self.sizes += (len(CONVECTION_C), self.shared["extent"].shape[1] + 1)
        self.sizes += (len(contact_table()), len(MEDIUM_C), keep_points)

    def part(self, begin: int, end: int) -> _Input:
        """The cases from `begin` to `end`."""
        address = dict(self.address)
        for name in ("cases", "steps", "head_of", "convection_of", "start_of"):
            address[name] += begin * self.arrays[name].strides[0]
        return _Input(end - begin, *self.sizes, *(address[name] for name in _ARRAYS))


def run(
    packed: Packed,
    *,
    tolerance_c: float = TOLERANCE_C,
    stop_c: float = STOP_C,
    keep_points: bool = False,
    trace: bool | slice = False,
    threads: int | None = None,
    only_hardness: bool = False,
    chunk: int = CHUNK,
) -> Marched:
    """March all cases, `tolerance_c` the error allowed a step, °C, with a `trace` of all or of a slice of them; the result does
    not depend on threads or chunks."""
    march, cases, zones = engine().forgeprops_march, packed.cases, packed.heads
    n, n_zones, n_points = len(cases), zones.shape[1], sum(packed.section.points)
    lumped = tuple((zones["one_structure"][0] > 0.0).tolist())
    layout = _layout(packed.section.points, lumped)
    n_structures = len(layout.zone_of_structure)
    call = _Call(packed, tolerance_c, stop_c, keep_points)
    traced = range(n)[trace] if isinstance(trace, slice) else range(n)
    out = Marched(
        *(np.empty((n, n_zones, columns)) for columns in (OUT, MARKS)),
        np.empty((n, n_points)),
        *(np.empty((n, k, n_points)) if keep_points else None for k in (ROWS, HEAT_ROWS)),
        np.empty((n, 3)),
        np.empty(n, np.int64),
        cases["later_j"],
        [None] * n if trace else None,
    )

    def part(span: tuple[int, int]) -> None:
        begin, end = span
        m, mine = end - begin, slice(begin, end)
        state, first_state = np.zeros((2, m, ROWS, n_structures))
        heat, first_of = np.zeros((m, HEAT_ROWS, n_points)), np.zeros(m, np.int64)
        rows, used = (ctypes.c_void_p * m)(), np.zeros(m, np.int64)
        results = (state, first_state, heat, out.marks[mine], out.energy[mine], out.steps[mine])
        output = _Output(*(a.ctypes.data for a in (*results, first_of)))
        if trace:
            output.trace, output.trace_rows = ctypes.addressof(rows), used.ctypes.data
        failed = march(ctypes.byref(call.part(begin, end)), ctypes.byref(output))
        width = 1 + 2 * n_zones + (n_points if keep_points else 0)
        for c in range(m if trace else 0):
            if rows[c]:
                if begin + c in traced:
                    kept = out.trace[begin + c] = np.empty((used[c], width))
                    ctypes.memmove(kept.ctypes.data, rows[c], kept.nbytes)
                engine().forgeprops_free(ctypes.c_void_p(rows[c]))
        if failed:
            raise MemoryError(f"no memory for a march of {m} cases.")
        fresh_hv = packed.start[:, 2][packed.start_of[mine]]
        told = cases[mine], fresh_hv, state, first_state, first_of, heat, layout, only_hardness
        out.zones[mine], out.point_hv[mine] = collect(*told)
        if keep_points:
            out.state[mine] = state[:, :, layout.structure_of_point]
            out.heat[mine] = heat

    spans = [(b, min(b + chunk, n)) for b in range(0, n, chunk)]
    workers = min(threads or os.cpu_count() or 1, len(spans)) if len(spans) > 1 else 1
    if workers <= 1:
        for span in spans:
            part(span)
    else:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(part, spans))
    if (out.steps < 0).any():
        stuck = f"the march of case {out.steps.argmin()} did not end in {STEP_LIMIT} steps"
        raise RuntimeError(f"{stuck}; please report the case.")
    return out


def run_curve(case, start, kin, time_s, temperature_c, grain_um) -> tuple[np.ndarray, np.ndarray]:
    """Structure along an imposed curve of rising times, in austenite of `grain_um`; `case` is a record of CASE.

    Outcome of the one point (see `outcome`), and shares of `CONSTITUENTS` without the last along the curve, shape (n, 5).
    """
    zero, cases = np.zeros(1, np.int64), np.array([case], CASE)
    time_s, temperature_c = (np.ascontiguousarray(a, float) for a in (time_s, temperature_c))
    heads, steps = np.zeros((1, 1), ZONE), np.zeros((1, 1), STEP)
    convection = np.zeros((1, 1, len(CONVECTION_C)))
    tables = steps, convection, zero, start[None], zero
    packed = Packed(cases, heads, zero, *tables, kin, section((1,)))
    call = _Call(packed, TOLERANCE_C, STOP_C, False)
    state, history = np.zeros((1, ROWS, 1)), np.zeros((len(time_s), 5))
    failed = engine().forgeprops_follow(
        ctypes.byref(call.part(0, 1)),
        ctypes.c_int64(len(time_s)),
        *(ctypes.c_void_p(a.ctypes.data) for a in (time_s, temperature_c)),
        ctypes.c_double(grain_um),
        *(ctypes.c_void_p(a.ctypes.data) for a in (state, history)),
    )
    if failed:
        raise MemoryError("no memory for the structure along a curve.")
    heat = np.array([1.0, 0.0, grain_um ** cases["grain_m"][0]]).reshape(1, HEAT_ROWS, 1)
    layout = _layout((1,), (False,))
    zones, _ = collect(cases, start[None, 2], state, state, zero, heat, layout)
    return zones[0, 0], history
