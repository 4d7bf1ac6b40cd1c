"""The committed constants of the rate equations are the least squares of the fit script on the bundled rows."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
from fit_kinetics import PRIOR, Problem

from forgeprops.transformation import kinetics


def test_committed_constants_are_the_least_squares():
    problem, value = Problem(), kinetics.constants()
    x = np.array([(value[n] - problem.published[n]) / sd for n, sd in PRIOR.items()] + [0.0, 0.0])
    moved = problem.solve(x, most=4)
    there = np.concatenate((x[: len(PRIOR)], moved[len(PRIOR) :]))  # the two baths are not stored
    here, best = (0.5 * np.sum(problem.residuals(z) ** 2) for z in (there, moved))
    assert (
        here - best < 0.15
    )  # units of ln likelihood; a few steps from other baths find nothing better
    assert np.abs(moved - x)[: len(PRIOR)].max() < 0.5  # standard deviations of the priors
    assert here < 0.5 * (0.5 * np.sum(problem.residuals(np.zeros(len(x))) ** 2))
