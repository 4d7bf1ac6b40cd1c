"""The committed constants are what the fit scripts make of the bundled data."""

import numpy as np
import pytest
from fits.fit_kinetics import PRIOR, Problem
from fits.fit_start_temperatures import MS_SETTINGS, MS_TERMS, evaluate, load
from fits.source_effects import fit, group_bootstrap, leave_groups_out

from forgeprops.base.tables import read_rows
from forgeprops.transformation.temperature_formulas import FORMULAS


def test_ms_refit_gives_the_committed_table():
    comp, ms, names, group = load(read_rows("measured/martensite_start.csv"), "ms_c", "source")
    fits, checks = evaluate("ms", comp, ms, names, group, MS_TERMS, MS_SETTINGS, FORMULAS["ms"])

    def committed(name):
        return [r for r in read_rows(name) if r["quantity"] == "ms"]

    def values(rows):
        return {r["term"]: float(r["value"]) for r in rows}

    stored = values(committed("fits/start_temperature_fits.csv"))
    assert values(fits) == pytest.approx(stored, rel=2e-3, abs=1e-3)
    tables = checks, committed("validation/start_temperature_validation.csv")
    found, stored = ([float(r["mean_absolute_error_c"]) for r in t] for t in tables)
    assert found == pytest.approx(stored, abs=0.011)


def test_source_offsets_do_not_leak_into_the_slope():
    """Two sources with an offset of 50 between them, one low and one high in x: the slope stays near 2."""
    rng = np.random.default_rng(3)
    x = np.concatenate([rng.uniform(0, 5, 60), rng.uniform(3, 8, 60)])
    group = np.repeat([0, 1], 60)
    y = 2.0 * x + np.where(group == 1, 50.0, 0.0) + rng.normal(0, 1, 120)
    columns = np.column_stack([np.ones_like(x), x])
    slope = fit(columns, y, group, [100.0, 100.0], 100.0, 1.0)[0][1]
    assert slope == pytest.approx(2.0, abs=0.3)
    assert np.polyfit(x, y, 1)[0] > 8.0


def test_leaving_groups_out_never_sees_the_group():
    y, group = np.array([0.0, 0.0, 0.0, 0.0, 9.0, 9.0]), np.array([0, 0, 1, 1, 2, 2])
    settings = {"group_sd": 1e-3, "noise_sd": 1.0, "huber": 1e9}
    predicted = leave_groups_out(np.ones((6, 1)), y, group, [1e6], **settings)
    assert predicted[4:] == pytest.approx(0.0, abs=1e-6)
    low, high = group_bootstrap(y - predicted, group)
    assert low <= np.abs(y - predicted).mean() <= high


def test_committed_rate_constants_are_the_least_squares():
    problem, n = Problem(), len(PRIOR)
    x = np.array(problem.start())
    moved = problem.solve(x, most=4)
    there = np.concatenate((x[:n], moved[n:]))  # the two baths are not stored
    here, best = (0.5 * np.sum(problem.residuals(z) ** 2) for z in (there, moved))
    # units of ln likelihood; a few steps from other baths find nothing better
    assert here - best < 0.15
    assert np.abs(moved - x)[:n].max() < 0.5  # standard deviations of the priors
    assert here < 0.5 * (0.5 * np.sum(problem.residuals(np.zeros(len(x))) ** 2))
