"""The march against `scipy.integrate.solve_ivp` with the same formulas: furnace, dies, water, air.

*Analytic* in kind: another integrator of the same equations (`method_of_lines.py`, BDF, relative 1e-6, which is 0.001 °C
and 1e-6 of a share; 1e-7 changes nothing above 0.1 HV).  The engine with a small tolerance must find its curves
to 0.5 °C and its hardness to 0.5 HV; as delivered, its hardness to 2 HV.
"""

import dataclasses

import numpy as np
import pytest
from engine import method_of_lines as reference

import forgeprops as fp
from forgeprops.engine.outcome import O_HV, O_HV_QUENCHED, O_MARTENSITE
from forgeprops.engine.packing import POINTS
from forgeprops.engine.run import march_columns
from forgeprops.inputs.cases import Cases

SPRAYED = fp.Route()
DRY = dataclasses.replace(SPRAYED, spray=None)
PART = fp.Route().with_(preheat_c=775.0, spray_s=6.0, back_on_die=True, surroundings="fan")


@pytest.mark.parametrize(
    ("name", "route"),
    [("4130", SPRAYED), ("1030", DRY), ("4340", PART)],
    ids=["4130-sprayed", "1030-dry", "4340-part-austenite"],
)
def test_same_curves_and_hardness_as_solve_ivp(name, route, monkeypatch, record_property):
    steel, part = fp.grade(name), fp.head("mid-iron")
    case = reference.Case(reference.fed(monkeypatch, [steel], [part], [route]), 0, POINTS)
    pieces = case.run(rtol=1e-6)
    expected = case.hardness()

    def marched(tolerance_c):
        one = Cases.of([steel], [part], [route], [fp.Shop()])
        found = march_columns(one, trace=True, tolerance_c=tolerance_c)
        trace = found.trace[0]
        trace = trace[trace[:, 0] < pieces[-1][1]]
        rows = trace[np.linspace(0, len(trace) - 1, 400).astype(int)]
        mean, front = reference.along(case, pieces, rows[:, 0])
        off = max(np.abs(mean - rows[:, 1:6]).max(), np.abs(front - rows[:, 6:11]).max())
        return found.zones[0], off

    found, off = marched(0.03)
    record_property("off_c", float(off))
    assert off < 0.5
    if route is not PART:  # what keeps its first-heat structure is not the reference's business
        assert found[:, O_HV] == pytest.approx(expected[:, O_HV], abs=0.5)
        assert found[:, O_HV_QUENCHED] == pytest.approx(expected[:, O_HV_QUENCHED], abs=0.5)
    assert found[:, O_MARTENSITE] == pytest.approx(expected[:, O_MARTENSITE], abs=3e-3)
    found, off = marched(0.4)
    # where the face falls by 300 °C a second and where the furnace's steps are long
    assert off < 3.0
    if route is not PART:
        assert found[:, O_HV] == pytest.approx(expected[:, O_HV], abs=2.0)
