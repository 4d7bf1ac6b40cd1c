"""Which input matters: first and total order indices of variance, and capability of a process."""

import warnings
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError

#: Values of a distribution examined for normality; more make every real process "not normal".
_TESTED = 1000
#: Chance below which a sample counts as not normal (common practice).
_NOT_NORMAL = 0.01


@dataclass(frozen=True)
class Indices:
    """Shares of the variance of one quantity, one an input, with their 95 % bootstrap intervals."""

    names: tuple[str, ...]
    first: np.ndarray  # what fixing the input alone would take away
    total: np.ndarray  # what would be left if all others were fixed
    first_low: np.ndarray
    first_high: np.ndarray
    total_low: np.ndarray
    total_high: np.ndarray
    cases: int  # it took


def variance_indices(
    names, a: np.ndarray, b: np.ndarray, ab: np.ndarray, resamples: int = 200
) -> Indices:
    """First and total order indices from the three sets of outputs of a Saltelli design.

    Outputs on two independent samples A and B of the d inputs named, shape (n,), and on A with one input after
    the other taken from B, shape (d, n); `resamples` of the bootstrap that makes the intervals.

    References
    ----------
    .. [1] A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259; M. J. W. Jansen, Comput. Phys.
       Commun. 117 (1999) 35 (from memory).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> x, y = rng.normal(size=(2, 4096, 2))
    >>> mixed = [np.where(np.arange(2) == i, y, x) for i in range(2)]
    >>> found = variance_indices("pq", x @ [2, 1], y @ [2, 1], np.array([m @ [2, 1] for m in mixed]))
    >>> np.allclose(found.first, [0.8, 0.2], atol=0.05), np.allclose(found.total, [0.8, 0.2], atol=0.05)
    (True, True)
    """
    from scipy.stats import DegenerateDataWarning, sobol_indices

    names, n = tuple(names), len(a)
    cases = n * (len(names) + 2)
    if not np.ptp(np.concatenate([a, b])) > 0.0:
        return Indices(names, *[np.zeros(len(names))] * 6, cases)
    found = sobol_indices(func={"f_A": a[None], "f_B": b[None], "f_AB": ab[:, None]}, n=n)
    with warnings.catch_warnings():  # an input without effect has no spread for an interval
        warnings.simplefilter("ignore", DegenerateDataWarning)
        warnings.filterwarnings("ignore", "invalid value encountered", RuntimeWarning)
        spread = found.bootstrap(confidence_level=0.95, n_resamples=resamples)
    points, ends = [], []
    for order in ("first_order", "total_order"):
        interval, point = (
            getattr(spread, order).confidence_interval,
            np.ravel(getattr(found, order)),
        )
        points.append(point)  # without an interval it is its own
        ends += [
            np.where(np.isnan(v), point, v) for v in map(np.ravel, (interval.low, interval.high))
        ]
    return Indices(names, *points, *ends, cases)


def share_interval(outside: int, n: int) -> tuple[float, float]:
    """95 % interval of a share that was counted (Wilson's, as `scipy.stats` computes it).

    For independent draws; of an evenly filling sample it is on the safe side.

    References
    ----------
    .. [1] E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209 (from memory).

    Examples
    --------
    >>> [round(x, 4) for x in share_interval(5, 100)]
    [0.0215, 0.1118]
    """
    from scipy.stats import binomtest

    found = binomtest(int(outside), int(n)).proportion_ci(0.95, method="wilson")
    return float(found.low), float(found.high)


@dataclass(frozen=True)
class Capability:
    """How a quantity fits between its limits."""

    cp: float | None  # width of the limits over six standard deviations; None with one limit
    cpk: float  # distance from the mean to the nearer limit over three standard deviations
    #: The same from the median and the 0.135 and 99.865 percentiles, which needs no normal distribution.
    by_percentiles: float
    #: False: `cp` and `cpk` do not mean the usual shares; use `by_percentiles` and the share that was counted.
    normal: bool
    skewness: float


def capability(values: np.ndarray, low: float | None, high: float | None) -> Capability:
    """Capability indices of a sample; one of the limits may be missing.

    Cp and Cpk: common practice; the percentile form is that of ISO 22514-2 (from memory).  Normality by
    D'Agostino & Pearson's test (`scipy.stats.normaltest`) on up to 1000 of the values.

    >>> x = np.random.default_rng(0).normal(100.0, 5.0, 4000)
    >>> found = capability(x, 80.0, 130.0)
    >>> round(found.cp, 1), round(found.cpk, 1), found.normal
    (1.7, 1.3, True)
    """
    if low is None and high is None:
        raise InputError("a capability needs a limit; give a low one, a high one or both.")
    from scipy.stats import normaltest, skew

    both = low is not None and high is not None
    low, high = -np.inf if low is None else low, np.inf if high is None else high
    values = np.asarray(values, float)
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    bottom, median, top = (float(v) for v in np.quantile(values, [0.00135, 0.5, 0.99865]))
    if sd <= 1e-12 * max(abs(mean), 1.0):
        end = np.inf if low <= mean <= high else -np.inf
        return Capability(np.inf if both else None, end, end, True, 0.0)
    cpk = min((mean - low) / (3.0 * sd), (high - mean) / (3.0 * sd))
    tails = max(median - bottom, 1e-12), max(top - median, 1e-12)
    by_percentiles = min((median - low) / tails[0], (high - median) / tails[1])
    step = max(len(values) // _TESTED, 1)
    normal = len(values) < 20 or bool(normaltest(values[::step]).pvalue > _NOT_NORMAL)
    cp = (high - low) / (6.0 * sd) if both else None
    return Capability(cp, cpk, by_percentiles, normal, float(skew(values)))


def swap(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """A with one input after the other taken from B, shape (d, n, d): the third set of a Saltelli design."""
    own = np.eye(a.shape[1], dtype=bool)[:, None]
    return np.where(own, b, a)
