"""Tempering and annealing of whole heads: the same act gives the same hardness, however it is named."""

import dataclasses
import math

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.engine.packing import POINTS
from forgeprops.engine.run import march_heads
from forgeprops.transformation.decomposition import J_OLD
from forgeprops.transformation.tempering import tempering_rate

HEAD = fp.head("mid-iron")
COLD = fp.Route(spray=None).with_(preheat_c=20.0)
HOSEL = 4


def hosels(grade, routes):
    n = len(routes)
    return evaluate([fp.grade(grade)] * n, [HEAD] * n, routes).hardness_hv[:, HOSEL]


def later(route, *heats):
    return dataclasses.replace(route, later=tuple(fp.LaterHeat(t, hold_s=s) for t, s in heats))


@pytest.mark.parametrize("grade", ["1045", "4130", "4140"])
@pytest.mark.parametrize("celsius", [550.0, 700.0])
def test_preheat_below_ac1_tempers_as_a_later_heat_of_equal_history(grade, celsius):
    """The first-heat structure, once through the furnace and once through a later heat of the same integral."""
    furnace = COLD.with_(preheat_c=celsius, soak_s=3600.0)
    marched = march_heads([fp.grade(grade)], [HEAD], [furnace], [fp.Shop()], keep_points=True)
    took_s = marched.state[0, J_OLD, sum(POINTS[:HOSEL])]
    hold_s = took_s / tempering_rate(celsius + 273.15, 31000.0)
    assert 2400.0 < hold_s < 3600.0  # it takes minutes to get hot
    preheated, reheated = hosels(grade, [furnace, later(COLD, (celsius, hold_s))])
    assert preheated == pytest.approx(reheated, abs=1e-9)


@pytest.mark.parametrize("grade", ["4130", "4140"])
def test_preheat_and_later_heat_soften_alike(grade):
    """Different structures to begin with, as forged and as cooled in air after a preheat of 930 °C."""
    forged, cooled = hosels(grade, [COLD, fp.Route(spray=None)])
    for celsius in (550.0, 600.0, 650.0, 700.0):
        by_furnace, by_heat = hosels(
            grade,
            [
                COLD.with_(preheat_c=celsius, soak_s=3600.0),
                later(fp.Route(spray=None), (celsius, 3600.0)),
            ],
        )
        assert by_furnace / forged == pytest.approx(by_heat / cooled, abs=0.1)


@pytest.mark.parametrize(
    ("grade", "celsius", "low", "high"),
    [("4140", 650, 240, 282), ("4140", 700, 220, 262), ("4130", 700, 188, 220)],
)
def test_an_hour_softens_the_hosel_as_the_trade_knows_it(grade, celsius, low, high):
    cooled, softened = hosels(grade, [fp.Route(), later(fp.Route(), (celsius, 3600.0))])
    assert cooled == pytest.approx({"4140": 310.0, "4130": 230.0}[grade], abs=10.0)
    assert low <= softened <= high


def test_1045_softens_a_little():
    cooled, softened = hosels("1045", [fp.Route(), later(fp.Route(), (700, 3600.0))])
    assert 1.0 < cooled - softened < 20.0


@pytest.mark.parametrize("grade", ["1020", "1045", "4130", "4140", "4340", "5140"])
def test_hosels_soften_with_time_and_temperature(grade):
    acts = [(t, 600.0) for t in range(100, 721, 62)] + [(680, 10.0**e) for e in range(6)]
    hv = hosels(grade, [later(fp.Route(), act) for act in acts])
    hot, long = hv[:-6], hv[-6:]
    assert np.all(np.diff(hot) <= 1e-9) and np.all(np.diff(long) <= 1e-9)
    split = later(fp.Route(), (680, 400.0), (680, 600.0))
    assert hosels(grade, [split])[0] == pytest.approx(long[3], abs=1e-9)
    assert math.isfinite(hv.sum())
