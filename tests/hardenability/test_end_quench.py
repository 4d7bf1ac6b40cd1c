"""End-quench curve: shape, limits, arrays, warnings.  Bands and worked example are in tests/published."""

import types

import numpy as np
import pytest

from forgeprops.hardenability.end_quench import (
    _coefficients,
    as_quenched_hardness_hrc,
    dividing_factors,
    end_quench,
    end_quench_distances_mm,
    end_quench_hrc,
    end_quench_warnings,
    hardness_at_distance_hrc,
)
from forgeprops.inputs.grades import grade, grades
from forgeprops.inputs.steel import Steel


def test_frame():
    curve = end_quench(grade("4130"))
    assert list(curve.columns) == ["distance_mm", "hrc"]
    assert curve.distance_mm.tolist() == [1.5, 3, 5, 7, 9, 11, 13, 15, 20, 25, 30, 35, 40, 45, 50]
    assert curve.hrc.notna().all()
    assert curve.attrs["ideal_diameter_mm"] == pytest.approx(68.8, abs=0.1)


@pytest.mark.parametrize("name", grades())
def test_never_rises_and_starts_at_the_initial_hardness(name):
    hrc = end_quench_hrc(grade(name))
    assert hrc[0] == as_quenched_hardness_hrc(grade(name).get("C"))
    assert np.all(np.diff(hrc) <= 0.0)


def test_factors_fall_with_ideal_diameter_and_rise_with_distance():
    di = np.linspace(8.0, 250.0, 2000)
    factors = dividing_factors(di)
    assert factors.min() == 1.0
    # where a row is cut off at its upper end the step to 1 must be small
    assert np.diff(factors, axis=0).max() < 0.03
    assert np.all(np.diff(factors, axis=1) >= 0.0)


def test_safeguards_hardly_touch_the_standard_inside_its_range():
    distance, poly, upper, _ = _coefficients()
    for di in np.linspace(25.4, 177.8, 400):
        law = np.polynomial.polynomial.polyval
        pairs = zip(poly, upper, strict=True)
        raw = np.array([law(di, c) if di <= u else 1.0 for c, u in pairs])
        assert dividing_factors(di) == pytest.approx(np.maximum(raw, 1.0), abs=0.03)


def test_arrays_equal_scalars():
    steels = [grade(n) for n in grades()]
    elements = ("C", "Mn", "Si", "Ni", "Cr", "Mo", "Cu", "V", "Zr", "B", "Ti", "N")
    table = {e: np.array([s.get(e) for s in steels]) for e in elements}
    batch = types.SimpleNamespace(get=lambda e: table[e])
    curves = end_quench_hrc(batch)
    assert curves == pytest.approx(np.array([end_quench_hrc(s) for s in steels]))
    where = np.linspace(0.5, 55.0, len(steels))
    expected = [hardness_at_distance_hrc(s, x) for s, x in zip(steels, where, strict=True)]
    assert hardness_at_distance_hrc(batch, where) == pytest.approx(expected)


def test_hardness_at_the_tabulated_distances_and_beyond():
    steel = grade("4140")
    expected = end_quench_hrc(steel)
    assert hardness_at_distance_hrc(steel, end_quench_distances_mm()) == pytest.approx(expected)
    assert hardness_at_distance_hrc(steel, 0.1) == end_quench_hrc(steel)[0]
    assert hardness_at_distance_hrc(steel, 99.0) == end_quench_hrc(steel)[-1]


def test_low_hardenability_is_flagged():
    codes = [w.code for w in end_quench(grade("1020")).attrs["warnings"]]
    assert "range:end_quench.ideal_diameter" in codes and "end_quench:below_20_hrc" in codes
    assert end_quench(grade("4140")).attrs["warnings"] == ()
    codes = [w.code for w in end_quench_warnings(grade("4340"))]
    assert codes == ["range:end_quench.Ni", "range:end_quench.ideal_diameter"]
    low_manganese = Steel("low manganese", {"C": 0.4, "Mn": 0.3, "Cr": 1.0, "Mo": 0.2})
    assert end_quench_warnings(low_manganese)[0].text == (
        "Mn for the end-quench curve 0.3 wt% is outside the range 0.5 to 1.65 wt% "
        "(ASTM A255-10, end-quench curve from chemistry)."
    )
