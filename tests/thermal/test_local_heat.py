"""Torch on the hosel: the hot place is as hot as set, the rest obeys the fin equation, a cloth keeps the head cold."""

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from forgeprops.thermal import local_heat
from forgeprops.thermal.local_heat import heated_band_mm, hosel_heat
from forgeprops.thermal.properties import conductivity
from forgeprops.thermal.surroundings import radiation_w_m2k

SHAPE = (53.5, 14.0, 18.0, 16.6, 15.0)


def heated(peak_c=690.0, hold_s=600.0, cooled="cloth", shape=SHAPE):
    return hosel_heat((shape,), peak_c, hold_s, cooled, 31000.0)


def test_hottest_place_is_as_set_inside_the_band_and_more_tempers_more():
    heat = heated()
    assert heat.peak_c.max() == pytest.approx(690.0, abs=1e-6)
    low, high = heated_band_mm(*(SHAPE[i] for i in (0, 2, 4)))
    assert low <= heat.place_mm[0, heat.peak_c.argmax()] <= high
    j = [heated(t, s).zone_j[0] for t, s in ((640, 60), (690, 60), (690, 600), (690, 1800))]
    assert np.all(np.diff(j, axis=0)[:, 3:] > 0.0)
    assert j[-1][4] < 1800.0 * np.exp(-31000.0 / 963.15)  # nowhere more than the hottest place
    assert j[2][4] < 600.0 * np.exp(-31000.0 / 963.15)


def test_ferrule_end_after_hours_obeys_the_steady_fin():
    """Between the free end and the band nothing is heated: d/ds (k dT/ds) = 4/d (h + radiation) (T - air)."""
    heat = heated(hold_s=30_000.0, cooled="air")
    outer = heat.place_mm[0] < heated_band_mm(*(SHAPE[i] for i in (0, 2, 4)))[0] - 2.0
    place, peak = 1e-3 * heat.place_mm[0, outer], heat.peak_c[0, outer]

    def slope(s, y):
        t = y[0]
        k = np.vectorize(conductivity)(t, 1.0)
        loss = (10.0 + radiation_w_m2k(t, 25.0, 0.8)) * (t - 25.0)
        return np.stack([y[1] / k, 4.0 / 0.014 * loss])

    mesh = np.linspace(0.0, place[-1], 50)
    ends = lambda a, b: np.array([a[1], b[0] - peak[-1]])  # noqa: E731
    found = solve_bvp(slope, ends, mesh, np.ones((2, 50)) * peak[-1])
    assert found.success
    assert np.abs(found.sol(place)[0] - peak).max() < 4.0


def test_cloth_keeps_the_head_cold_and_air_does_not():
    wet, dry = heated(), heated(cooled="air")
    assert wet.neck_end_c[0] < 150.0 < 300.0 < dry.neck_end_c[0]
    assert wet.body_c[0] < 80.0 < 200.0 < dry.body_c[0] < 500.0
    assert 400.0 < wet.ferrule_end_c[0] < 690.0  # a ferrule would burn: it goes on afterwards
    assert 100.0 < dry.power_w[0] < wet.power_w[0] < 500.0


def test_steps_are_fine_enough(monkeypatch):
    coarse = [heated(cooled=c).zone_j[0, 4] for c in ("air", "cloth")]
    hosel_heat.cache_clear()
    for name, value in (("_RISE_STEPS", 80), ("_HOLD_STEPS", 240), ("_COOLING_STEP_S", 2.5)):
        monkeypatch.setattr(local_heat, name, value)
    monkeypatch.setattr(local_heat, "_HOSEL_CELLS", 78)
    monkeypatch.setattr(local_heat, "_NECK_CELLS", 27)
    fine = [heated(cooled=c).zone_j[0, 4] for c in ("air", "cloth")]
    hosel_heat.cache_clear()
    assert np.log10(coarse) == pytest.approx(np.log10(fine), abs=0.05)  # 1 HV


def test_many_hosels_as_one_by_one():
    other = (50.0, 13.6, 17.0, 16.6, 20.0)
    both = hosel_heat((SHAPE, other), 690.0, 600.0, "cloth", 31000.0)
    for i, shape in enumerate((SHAPE, other)):
        assert both.zone_j[i] == pytest.approx(heated(shape=shape).zone_j[0], rel=1e-9)
