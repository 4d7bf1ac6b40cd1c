"""Run length of the EWMA chart, to check its design against published tables."""

import numpy as np
from scipy.stats import norm

from forgeprops.study.shop.tracking import EWMA_WEIGHT, EWMA_WIDTH


def ewma_run_length(shift=0.0, weight=EWMA_WEIGHT, width=EWMA_WIDTH) -> float:
    """Average number of values until an EWMA with steady limits alarms, for a shift in standard deviations.

    S. V. Crowder, Technometrics 29 (1987) 401 (from memory).

    >>> round(ewma_run_length(0.0), -1), round(ewma_run_length(1.0), 1)
    (500.0, 10.5)
    """
    half = width * np.sqrt(weight / (2.0 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(120)
    y, w = half * nodes, half * weights
    start = np.r_[0.0, y]
    kernel = w / weight * norm.pdf((y - (1.0 - weight) * start[:, None]) / weight - shift)
    kernel = np.column_stack([np.zeros(start.size), kernel])
    return float(np.linalg.solve(np.eye(start.size) - kernel, np.ones(start.size))[0])
