"""Interval and chances: exact where theory knows the answer, and what must hold for any structure."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forgeprops.answer.interval import (
    COVERAGE,
    LN_SPRAY_SD,
    Z,
    hardness_interval_hv,
    hardness_sd_hv,
    interval_arrays,
    opinions_spread_hv,
    outcome_chances,
    spray_nodes,
)
from forgeprops.inputs.grades import grade
from forgeprops.specimens import air_cooled_bar, continuous_cooling


def test_deviate_of_the_ends():
    assert pytest.approx(stats.norm.ppf(0.5 + COVERAGE / 2), abs=1e-4) == Z


def interval(centre, sd, values):
    """Ends of one case."""
    one = np.array([centre]), np.array([sd]), spray_nodes(), np.asarray(values)[:, None]
    return tuple(float(end[0]) for end in interval_arrays(*one))


def test_linear_response_adds_variances():
    """A response linear in the unsure input is normal: its variance and the model's add."""
    deviates = spray_nodes()
    low, high = interval(300.0, 20.0, 300.0 + 30.0 * deviates)
    assert (high - low) / 2 == pytest.approx(Z * np.hypot(20.0, 30.0), rel=0.03)
    assert (high + low) / 2 == pytest.approx(300.0, abs=1.0)


def test_skewed_response_against_sampling():
    """A cliff, against 400 000 drawn cases."""
    deviates = spray_nodes()
    values = np.array([180.0, 200.0, 480.0, 490.0])
    low, high = interval(450.0, 15.0, values)
    rng = np.random.default_rng(4)
    x, noise = rng.normal(size=400_000), rng.normal(0, 15, 400_000)
    drawn = np.interp(x, [-2, -1, 0, 1, 2], [180, 200, 450, 480, 490]) + noise
    assert (low, high) == pytest.approx(tuple(np.quantile(drawn, [0.1, 0.9])), abs=6.0)
    assert 450.0 - low > 3 * (high - 450.0)
    chances = outcome_chances(450.0, 15.0, deviates, values)
    assert chances["soft_chance"] + chances["hard_chance"] == pytest.approx(1.0)
    assert chances["soft_chance"] == pytest.approx(np.mean(drawn < chances["between"]), abs=0.02)
    assert chances["soft"] < 300.0 < 420.0 < chances["hard"]
    assert outcome_chances(450.0, 15.0, deviates, 450.0 + 10.0 * deviates) is None


def test_cases_do_not_depend_on_each_other():
    centre, sd = np.array([300.0, 450.0]), np.array([20.0, 15.0])
    values = np.array([[240.0, 180.0], [270.0, 200.0], [330.0, 480.0], [360.0, 490.0]])
    low, high = interval_arrays(centre, sd, spray_nodes(), values)
    for i in range(2):
        assert (low[i], high[i]) == pytest.approx(
            interval(centre[i], sd[i], values[:, i]), abs=1e-9
        )


def test_published_spray_law_holds_a_factor_of_one_and_a_half():
    assert np.exp(1.645 * LN_SPRAY_SD) == pytest.approx(1.5)


def test_half_martensite_is_least_sure_and_disagreement_widens():
    shares = np.linspace(0.0, 1.0, 11)
    sd = hardness_sd_hv(300.0, 1.0 - shares, 0.0, shares)
    assert sd.argmax() == pytest.approx(5, abs=1) and sd[0] > 0.0 and sd[-1] > 0.0
    assert hardness_sd_hv(300.0, 0.0, 1.0, 0.0, 60.0) > hardness_sd_hv(300.0, 0.0, 1.0, 0.0)
    expected = 2.0 * hardness_sd_hv(200.0, 0.0, 1.0, 0.0)
    assert hardness_sd_hv(400.0, 0.0, 1.0, 0.0) == pytest.approx(expected)


def test_spread_of_opinions_counts_only_what_applies():
    values = np.array([[200.0, 300.0], [240.0, 0.0]])
    counted = np.array([[True, True], [True, False]])
    assert opinions_spread_hv(values, counted) == pytest.approx([20.0, 0.0])


def test_specimens_carry_their_interval():
    bar = air_cooled_bar(grade("4130"), 25.0)
    assert bar.hardness_low_hv < bar.hardness_hv < bar.hardness_high_hv
    ends = hardness_interval_hv(bar.hardness_hv, bar.fractions)
    assert (bar.hardness_low_hv, bar.hardness_high_hv) == ends
    hard, soft = (continuous_cooling(grade("1020"), rate_c_per_s=r) for r in (300.0, 0.1))
    wide, narrow = (c.hardness_high_hv - c.hardness_low_hv for c in (hard, soft))
    assert wide > narrow
