"""The committed constants of the rate equations are the least squares of the fit script on the bundled rows."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
from fit_kinetics import PRIOR, Problem


def test_committed_constants_are_the_least_squares():
    problem, n = Problem(), len(PRIOR)
    x = np.array(problem.start())
    moved = problem.solve(x, most=4)
    there = np.concatenate((x[:n], moved[n:]))  # the two baths are not stored
    here, best = (0.5 * np.sum(problem.residuals(z) ** 2) for z in (there, moved))
    # units of ln likelihood; a few steps from other baths find nothing better
    assert here - best < 0.15
    assert np.abs(moved - x)[:n].max() < 0.5  # standard deviations of the priors
    assert here < 0.5 * (0.5 * np.sum(problem.residuals(np.zeros(len(x))) ** 2))
