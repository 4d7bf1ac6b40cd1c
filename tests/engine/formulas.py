"""The formulas of the compiled engine called one by one, on arrays."""

import ctypes

import numpy as np

from forgeprops.engine import batch, packing
from forgeprops.transformation import austenite, decomposition

#: Order of the formulas in ``native/checks.c``.
NAMES = """exp log capacity conductivity extent inverse cap carbon_left martensite equilibrium grain austenite_carbon
ferrite_return spray die tempering tempered_part sensible""".split()
_STEPS = np.zeros((1, 1), packing.STEP)
_STEPS["kind"], _STEPS["fluid_c"] = packing.SPRAY, 25.0


class Formulas:
    """The engine fed with one steel: start tables (3, carbon points), case, constants and convection, W/(m² K)."""

    def __init__(self, case, start, kin, convection=0.0):
        zero = np.zeros(1, np.int64)
        self._engine = batch.engine()
        tables = np.full((1, 1, len(packing.CONVECTION_C)), convection)
        slab, starts = np.zeros((1, 1), packing.ZONE), np.ascontiguousarray(start)[None]
        section = packing.section((1,))
        packed = batch.Packed(case, slab, zero, _STEPS, tables, zero, starts, zero, kin, section)
        self._call = batch._Call(packed, batch.TOLERANCE_C, batch.STOP_C, False)
        self._input = self._call.part(0, 1)

    def __call__(self, name, *arguments):
        """Values of a formula of `NAMES` at arrays of one shape."""
        arrays = [np.array(a, float, order="C") for a in np.broadcast_arrays(*arguments)]
        out = np.empty(arrays[0].shape)
        pointers = (ctypes.c_void_p * len(arrays))(*(a.ctypes.data for a in arrays))
        index, size, count = (ctypes.c_int64(n) for n in (NAMES.index(name), out.size, len(arrays)))
        case, to = ctypes.byref(self._input), ctypes.c_void_p(out.ctypes.data)
        self._engine.forgeprops_check(index, case, size, pointers, count, to)
        return out

    def _run(self, function, *arguments):
        def of(a):
            return ctypes.c_void_p(a.ctypes.data) if np.ndim(a) else ctypes.c_double(a)

        given = map(of, arguments)
        assert getattr(self._engine, function)(ctypes.byref(self._input), *given) == 0

    def advance(self, state, middle_c, end_c, dt_s, rate_c_per_h):
        """Decompose a structure, shape (ROWS,), in place; shares that went to ferrite and pearlite, bainite, martensite."""
        gone = np.zeros(3)
        self._run("forgeprops_stretch", state, middle_c, end_c, dt_s, rate_c_per_h, gone)
        return gone

    def austenite(self, share, undissolved, grain_um, t_c):
        """State of the austenite at the start of cooling."""
        state = np.zeros(decomposition.ROWS)
        self._run("forgeprops_austenite", share, undissolved, grain_um, t_c, state)
        return state

    def wet_table(self, flux, scale_um):
        """Superheat and loss of a sprayed surface."""
        superheat, table = np.zeros(161), np.zeros(161)
        self._run("forgeprops_wet_table", flux, scale_um, superheat, table)
        return superheat, table


def of_steel(steel, convection=0.0, **case_fields):
    """The formulas for a steel, in still surroundings."""
    case = np.zeros(1, packing.CASE)
    start = packing.pack_steels([steel], case)
    case["air_c"] = 25.0
    case["emissivity"], case["view_factor"], case["air_factor"] = 0.8, 1.0, 1.0
    case["spray_factor"] = 1.0
    case["start_grain_um"] = austenite.diameter_um_from_astm(7.0)
    for name, value in case_fields.items():
        case[name] = value
    made = Formulas(case, start[0], packing.kinetic_array(), convection)
    made.case, made.start, made.kin = case[0], start[0], packing.kinetic_array()
    return made
