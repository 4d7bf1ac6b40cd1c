"""Two standard control charts for small lasting shifts, tabular CUSUM and EWMA, and how fast they alarm.

All work on numbers in any unit; with standardised numbers (in standard deviations from the target) the
defaults are the published designs.
"""

from typing import NamedTuple

import numpy as np

from ...base.errors import InputError, check_number

#: Reference value and decision interval of the tabular CUSUM, in standard deviations: k = 1/2 and h = 5 serve
#: against a shift of about one standard deviation; one false alarm in 465 on average.  Source: Montgomery &
#: Runger, Applied Statistics and Probability for Engineers, 3rd ed., ch. 16-10 and Table 16-9, read at
#: pages 635-638.
CUSUM_K, CUSUM_H = 0.5, 5.0

#: Weight of the newest value and half-width of the limits in standard errors: one false alarm in 500.
#: Source: Lucas & Saccucci, Technometrics 32 (1990) 1-12, Table 3 (from memory; recomputed in the tests).
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.962


class Cusum(NamedTuple):
    """A tabular CUSUM: upper and lower sums, how long each is above zero, and where it alarms (arrays)."""

    high: np.ndarray
    low: np.ndarray
    n_high: np.ndarray
    n_low: np.ndarray
    alarm: np.ndarray


class Ewma(NamedTuple):
    """An EWMA: its value, its limits, and where it lies outside them (arrays)."""

    value: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    alarm: np.ndarray


def _finite(values, name: str) -> np.ndarray:
    try:
        array = np.asarray(values, dtype=float).ravel()
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"{name} must be a list of finite numbers.") from None
    if not np.isfinite(array).all():
        raise InputError(f"{name} hold a number that is not finite; give finite numbers.")
    return array


def cusum(
    values, target=0.0, allowance: float = CUSUM_K, interval: float = CUSUM_H, restart=True
) -> Cusum:
    """Tabular cumulative sums above and below a target.

    ``high[i] = max(0, x[i] − (target + K) + high[i−1])`` and ``low[i] = max(0, (target − K) − x[i] +
    low[i−1])``; an alarm where one exceeds the decision interval H.

    `values` in order of time, `target` the level they should have, `allowance` the reference value K (half the
    shift that matters) and `interval` H in their unit; `restart` begins again at zero after an alarm.

    References
    ----------
    .. [1] D. C. Montgomery & G. C. Runger, Applied Statistics and Probability for Engineers, 3rd
       ed., eqs 16-30 to 16-32 (read).

    Examples
    --------
    >>> cusum([102.0, 94.8, 98.3], target=99, allowance=1, interval=10).low.round(1).tolist()
    [0.0, 3.2, 2.9]
    """
    x = _finite(values, "values")
    check_number(allowance, "allowance", 0.0, np.inf)
    check_number(interval, "decision interval", 0.0, np.inf)
    sums, counts, rows = [0.0, 0.0], [0, 0], []
    for value in x:
        off = value - (target + allowance), (target - allowance) - value
        sums = [max(0.0, o + sum_) for o, sum_ in zip(off, sums, strict=True)]
        counts = [n + 1 if sum_ > 0.0 else 0 for n, sum_ in zip(counts, sums, strict=True)]
        alarm = max(sums) > interval
        rows.append((*sums, *counts, alarm))
        if alarm and restart:
            sums, counts = [0.0, 0.0], [0, 0]
    high, low, n_high, n_low, alarms = np.array(rows, float).reshape(-1, 5).T
    return Cusum(high, low, n_high.astype(int), n_low.astype(int), alarms.astype(bool))


def ewma(values, target=0.0, sigma=1.0, weight=EWMA_WEIGHT, width=EWMA_WIDTH, steady=False) -> Ewma:
    """Exponentially weighted moving average with its control limits.

    ``z[i] = λ x[i] + (1 − λ) z[i−1]``, begun at the target; limits at ``target ± L σ √(λ/(2−λ) (1 −
    (1−λ)^2i))``.

    `values` in order of time, `target` and `sigma` the level and standard deviation they should have, in their
    unit; `weight` λ above 0 up to 1, `width` L in standard errors; `steady` takes the limits of long ago (without
    the last factor), as the handbook's example does.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4, doi 10.18434/M32189; width: J.
       M. Lucas & M. S. Saccucci, Technometrics 32 (1990) 1 (from memory).

    Examples
    --------
    >>> ewma([52.0, 47.0, 53.0], target=50, sigma=2.0539, weight=0.3, width=3).value.round(2).tolist()
    [50.6, 49.52, 50.56]
    """
    x = _finite(values, "values")
    check_number(weight, "weight", 1e-6, 1.0)
    check_number(sigma, "sigma", 0.0, np.inf)
    check_number(width, "width", 0.0, np.inf)
    z, level = np.empty(x.size), target
    for i in range(x.size):
        level = weight * x[i] + (1.0 - weight) * level
        z[i] = level
    settled = 1.0 if steady else 1.0 - (1.0 - weight) ** (2.0 * np.arange(1, x.size + 1))
    half = width * sigma * np.sqrt(weight / (2.0 - weight) * settled * np.ones(x.size))
    return Ewma(z, target - half, target + half, np.abs(z - target) > half)


def cusum_run_length(shift: float = 0.0, k: float = CUSUM_K, h: float = CUSUM_H) -> float:
    """Average number of values until a two-sided CUSUM alarms, for a lasting shift in standard deviations.

    Solves the integral equation of the one-sided chart, L(z) = 1 + L(0) Φ(k − z − δ) + ∫ L(y) φ(y + k − z −
    δ) dy over 0..h, at Gauss–Legendre nodes, and joins both sides by 1/L = 1/L⁺ + 1/L⁻.

    References
    ----------
    .. [1] E. S. Page, Biometrika 41 (1954) 100; K. W. Kemp 1961 (from memory).

    Examples
    --------
    >>> round(cusum_run_length(0.0)), round(cusum_run_length(1.0), 1)
    (465, 10.4)
    """
    from scipy.special import ndtr

    check_number(shift, "shift", -20.0, 20.0, "standard deviations")
    check_number(h, "decision interval", 1e-3, 50.0, "standard deviations")
    nodes, weights = np.polynomial.legendre.leggauss(80)
    y, w = 0.5 * h * (nodes + 1.0), 0.5 * h * weights
    start = np.r_[0.0, y]

    def one_sided(delta):
        x = y + k - start[:, None] - delta
        density = w * np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi)
        kernel = np.column_stack([ndtr(k - start - delta), density])
        return np.linalg.solve(np.eye(start.size) - kernel, np.ones(start.size))[0]

    return float(1.0 / (1.0 / one_sided(shift) + 1.0 / one_sided(-shift)))
