"""Heat is accounted for to 0.1 %, and finer steps and layers change little, on a mix of grades, heads and routes.

*Regression* against the march itself at a finer setting; the figures are printed (`pytest -s`).
"""

import dataclasses

import numpy as np
import pytest
from engine import method_of_lines as reference

import forgeprops as fp
from forgeprops.engine import outcome as o
from forgeprops.engine.batch import TOLERANCE_C
from forgeprops.engine.packing import POINTS
from forgeprops.engine.run import march_columns
from forgeprops.inputs.cases import Cases

CASES = 300


@pytest.fixture(scope="module")
def delivered(mixed):
    """The mix marched as delivered: cases, and what came out."""
    cases = mixed(CASES)
    return cases, march_columns(Cases.of(*cases, [fp.Shop()] * CASES))


def again(cases, **options):
    return march_columns(Cases.of(*cases, [fp.Shop()] * CASES), **options)


def errors(name, found, fine):
    off = np.abs(found.zones[:, :, o.O_HV] - fine.zones[:, :, o.O_HV])
    median, last = np.median(off), np.quantile(off, 0.99)
    print(f"\n{name}: median {median:.3f} HV, 99 % {last:.2f} HV, largest {off.max():.1f} HV")
    return median, last


def test_energy_closes_to_a_thousandth(delivered):
    """Heat from the surroundings + heat of transformation = sensible heat stored, against what the furnace gave."""
    (_, heads_, routes), marched = delivered
    mass_kg = np.array([sum(z.mass_g for z in h.zones("forged").values()) / 1e3 for h in heads_])
    rise = np.array([r.preheat.temperature_c - r.preheat.start_c for r in routes])
    throughput = mass_kg * 650.0 * rise  # mean heat capacity of steel up to forging heat, J/(kg K)
    taken, stored, transformed = marched.energy.T
    off = np.abs(taken + transformed - stored) / throughput
    print(f"\nenergy: median {100 * np.median(off):.3f} %, largest {100 * off.max():.3f} %")
    assert off.max() < 1e-3
    finer = again(delivered[0], tolerance_c=0.1).energy.T
    assert (np.abs(finer[0] + finer[2] - finer[1]) / throughput).max() < 2e-4


def test_steps_in_time(delivered):
    """As delivered against 0.02 °C a step."""
    cases, marched = delivered
    some = tuple(column[:150] for column in cases)
    fine = march_columns(Cases.of(*some, [fp.Shop()] * 150), tolerance_c=0.02)
    coarse = dataclasses.replace(marched, zones=marched.zones[:150])
    median, last = errors(f"time, {TOLERANCE_C} °C against 0.02 °C", coarse, fine)
    assert median < 0.2 and last < 1.0


def test_points_through_the_thickness(delivered):
    """As delivered against 9 points (both at 0.1 °C a step)."""
    cases = delivered[0]
    found, fine = again(cases, tolerance_c=0.1), again(cases, tolerance_c=0.1, points=(9,) * 5)
    median, last = errors(f"layers, {POINTS[0]} points against 9", found, fine)
    assert median < 0.1 and last < 3.0


def test_shares_sum_to_one_and_hardness_is_sane(delivered):
    zones = delivered[1].zones
    kinds = o.O_FERRITE, o.O_PEARLITE, o.O_BAINITE, o.O_MARTENSITE, o.O_AUSTENITE, o.O_UNTRANSFORMED
    shares = zones[:, :, kinds]
    assert np.abs(shares.sum(axis=2) - 1.0).max() < 1e-9
    assert shares.min() > -1e-12
    assert np.isfinite(zones).all()
    assert zones[:, :, o.O_HV].min() > 80.0 and zones[:, :, o.O_HV].max() < 900.0
    assert delivered[1].steps.max() < 3000


def test_even_cells_with_local_conductivity(monkeypatch):
    """The whole scheme against 9 even cells a zone with their own conductivity and structure: only formulas are shared."""
    steel, part, route = fp.grade("4130"), fp.head("mid-iron"), fp.Route()
    fed = reference.fed(monkeypatch, [steel], [part], [route])
    case = reference.Case(fed, 0, (9,) * 5, cells=True)
    case.run(stop_c=150.0)
    found = march_columns(Cases.of([steel], [part], [route], [fp.Shop()])).zones[0, :, o.O_HV]
    expected = case.hardness()[:, o.O_HV]
    assert found == pytest.approx(expected, abs=2.5)
