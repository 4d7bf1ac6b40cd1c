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
    """Shares of the variance of one quantity.

    Attributes
    ----------
    names : Inputs.
    first, total : First order: what fixing the input alone would take away. Total: what would be
        left if all others were fixed.
    first_low, first_high, total_low, total_high : Their 95 % bootstrap intervals.
    cases : How many cases it took.
    """

    names: tuple[str, ...]
    first: np.ndarray
    total: np.ndarray
    first_low: np.ndarray
    first_high: np.ndarray
    total_low: np.ndarray
    total_high: np.ndarray
    cases: int


def variance_indices(
    names, a: np.ndarray, b: np.ndarray, ab: np.ndarray, resamples: int = 200
) -> Indices:
    """First and total order indices from the three sets of outputs of a Saltelli design.

    Parameters
    ----------
    names : sequence of str; d inputs.
    a, b : shape (n,); output on two independent samples A and B of the inputs.
    ab : shape (d, n); output on A with one input after the other taken from B.
    resamples : Of the bootstrap that makes the intervals.

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

    outputs = {"f_A": a[None, :], "f_B": b[None, :], "f_AB": ab[:, None, :]}
    names, n = tuple(names), len(a)
    if not np.ptp(np.concatenate([a, b])) > 0.0:
        none = np.zeros(len(names))
        return Indices(names, none, none, none, none, none, none, n * (len(names) + 2))
    found = sobol_indices(func=outputs, n=n)
    with warnings.catch_warnings():  # an input without effect has no spread for an interval
        warnings.simplefilter("ignore", DegenerateDataWarning)
        warnings.filterwarnings("ignore", "invalid value encountered", RuntimeWarning)
        spread = found.bootstrap(confidence_level=0.95, n_resamples=resamples)
    points, ends = [], []
    for point, order in (
        (found.first_order, spread.first_order.confidence_interval),
        (found.total_order, spread.total_order.confidence_interval),
    ):
        point, low, high = (np.reshape(v, len(names)) for v in (point, order.low, order.high))
        points.append(point)  # without an interval it is its own
        ends += [np.where(np.isnan(low), point, low), np.where(np.isnan(high), point, high)]
    return Indices(names, *points, *ends, n * (len(names) + 2))


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
    """How a quantity fits between its limits.

    Attributes
    ----------
    cp : Width of the limits over six standard deviations; None with one limit.
    cpk : Distance from the mean to the nearer limit over three standard deviations.
    by_percentiles : The same from the median and the 0.135 and 99.865 percentiles, which needs no
        normal distribution.
    normal : False: the distribution is not normal, and `cp` and `cpk` do not mean the usual shares;
        use `by_percentiles` and the share that was counted.
    """

    cp: float | None
    cpk: float
    by_percentiles: float
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

    values = np.asarray(values, float)
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    bottom, median, top = (float(v) for v in np.quantile(values, [0.00135, 0.5, 0.99865]))
    if sd <= 1e-12 * max(abs(mean), 1.0):
        inside = (low is None or mean >= low) and (high is None or mean <= high)
        end = np.inf if inside else -np.inf
        return Capability(None if low is None or high is None else np.inf, end, end, True, 0.0)
    ends, tails = [], []
    if low is not None:
        ends.append((mean - low) / (3.0 * sd))
        tails.append((median - low) / max(median - bottom, 1e-12))
    if high is not None:
        ends.append((high - mean) / (3.0 * sd))
        tails.append((high - median) / max(top - median, 1e-12))
    step = max(len(values) // _TESTED, 1)
    normal = bool(normaltest(values[::step]).pvalue > _NOT_NORMAL) if len(values) >= 20 else True
    cp = None if low is None or high is None else (high - low) / (6.0 * sd)
    return Capability(cp, min(ends), min(tails), normal, float(skew(values)))


def swap(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """A with one input after the other taken from B, shape (d, n, d): the third set of a Saltelli design."""
    swapped = np.repeat(a[None], a.shape[1], axis=0)
    for i in range(a.shape[1]):
        swapped[i, :, i] = b[:, i]
    return swapped
