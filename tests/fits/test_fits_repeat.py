"""The committed constants are what the fit scripts make of the bundled data."""

import numpy as np
import pytest
from fit_kinetics import PRIOR, Problem
from fit_start_temperatures import MS_SETTINGS, MS_TERMS, evaluate, load

from forgeprops.base.tables import read_rows


def test_ms_refit_gives_the_committed_table():
    comp, ms, names, group = load(read_rows("measured/martensite_start.csv"), "ms_c", "source")
    fits, checks = evaluate("ms", comp, ms, names, group, MS_TERMS, MS_SETTINGS)

    def committed(name):
        return [r for r in read_rows(name) if r["quantity"] == "ms"]

    def values(rows):
        return {r["term"]: float(r["value"]) for r in rows}

    stored = values(committed("fits/start_temperature_fits.csv"))
    assert values(fits) == pytest.approx(stored, rel=2e-3, abs=1e-3)
    tables = checks, committed("validation/start_temperature_validation.csv")
    found, stored = ([float(r["mean_absolute_error_c"]) for r in t] for t in tables)
    assert found == pytest.approx(stored, abs=0.011)


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
