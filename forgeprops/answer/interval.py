"""How sure: fit residuals, spread of the methods and of the water law, made into an 80 % interval."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping

import numpy as np

from ..base.tables import read_rows

__all__ = [
    "CARBIDE_SPEEDS",
    "COVERAGE",
    "FIGURES",
    "LN_SPRAY_SD",
    "Z",
    "hardness_interval_hv",
    "hardness_sd_hv",
    "interval",
    "interval_arrays",
    "opinions_spread_hv",
    "outcome_chances",
    "spray_nodes",
    "spread_variance",
    "student_factor",
]


#: Share of results an interval should hold, and the normal deviate of its ends.
COVERAGE = 0.80
Z = 1.2816

#: Standard deviation of ln(spray multiplier): a published spray law is good to a factor of about 1.5, read
#: as a
#: 90 % interval: ln 1.5 / 1.645 (the five laws compared in `thermal.spray` agree within 45 %).
LN_SPRAY_SD = math.log(1.5) / 1.645

#: Factors on the rate at which Cr-Mo carbides dissolve, taken as the ends of an 80 % interval: carbides
#: three times as
#: coarse or as fine as the law assumes (the time goes with the square of size; our choice).
CARBIDE_SPEEDS = (1.0 / 9.0, 9.0)
#: Carbon in carbides, wt%, and austenite share that make the furnace's work unsure enough to march its two
#: ends
#: (our choice).
UNSURE_CARBON, UNSURE_SHARE = 0.002, 0.9995


#: Rows of data/fits/hardness_spread.csv in the order `spread_variance` takes them: three shares of hardness, HV
#: at one
#: half martensite, and the weight of the opinions' spread.
FIGURES = ("ferrite-pearlite", "bainite", "martensite", "martensite share", "opinions")


def student_factor(steels: float) -> float:
    """Student's t over the normal deviate at the ends of the interval: what few steels behind a figure cost.

    Examples
    --------
    >>> [round(student_factor(n), 2) for n in (4, 10, 1000)]
    [1.2, 1.07, 1.0]
    """
    from scipy.special import stdtrit  # scipy.stats would take half a second

    return float(stdtrit(float(steels), 0.5 + COVERAGE / 2)) / Z


@functools.cache
def _figures() -> tuple[float, ...]:
    rows = {row["id"]: row for row in read_rows("fits/hardness_spread.csv")}
    return tuple(
        float(rows[name]["value"]) * student_factor(float(rows[name]["steels"])) for name in FIGURES
    )


def hardness_sd_hv(hardness_hv, ferrite_pearlite, bainite, martensite, spread_hv=0.0):
    """Standard deviation of a computed hardness, HV; numbers or arrays.

    Parameters
    ----------
    hardness_hv : float or array
        Computed hardness, HV.
    ferrite_pearlite, bainite, martensite : float or array
        Shares of the structure, 0 to 1 (retained austenite counts with martensite).
    spread_hv : float or array
        How far the other opinions stand apart, HV; see `opinions_spread_hv`.

    Returns
    -------
    float or array
        HV; centre ± `Z` times it should hold 8 of 10 measurements.

    Notes
    -----
    Every constituent has its own share of error, in proportion to hardness.  Where martensite stands beside
    something else its amount is the greatest doubt: that part goes with the standard deviation of a share,
    ``sqrt(m (1 - m))``, and is whole at one half.  The weight of the opinions' spread is fitted too: bars on
    which the methods disagree are not much worse than others.  The figures are misses on bars of steels
    left out of the fit, data/fits/hardness_spread.csv, each times `student_factor` of the steels behind it.

    References
    ----------
    .. [1] Standard deviation on bars left out of the fit: tests/fits/fit_hardness_spread.py
       (data/fits/hardness_spread.csv) (our own fit).

    Examples
    --------
    >>> bool(hardness_sd_hv(200.0, 1.0, 0.0, 0.0) < hardness_sd_hv(200.0, 0.0, 1.0, 0.0))
    True
    """
    fp, b, m = (
        np.clip(np.asarray(x, float), 0.0, 1.0) for x in (ferrite_pearlite, bainite, martensite)
    )
    return np.sqrt(
        spread_variance(
            np.asarray(hardness_hv, float), fp, b, m, np.asarray(spread_hv, float), *_figures()
        )
    )


def spread_variance(hv, fp, b, m, spread_hv, in_fp, in_b, in_m, in_share, in_opinions):
    """Variance of hardness, HV², with the five figures as arguments: what their fit varies."""
    own = hv**2 * (fp * in_fp**2 + b * in_b**2 + m * in_m**2)
    return own + 4.0 * m * (1.0 - m) * in_share**2 + (in_opinions * spread_hv) ** 2


def opinions_spread_hv(values, counted):
    """How far the opinions on one hardness stand apart: their standard deviation, HV.

    Parameters
    ----------
    values : array, shape (methods,) or (methods, n)
        Hardness by the kinetics and by the other methods, HV; anything finite where not counted.
    counted : array of bool, same shape
        Which of them apply.

    Returns
    -------
    float or array
        0 where only one applies.

    Examples
    --------
    >>> float(opinions_spread_hv([200.0, 220.0, 999.0], [True, True, False]))
    10.0
    """
    values, counted = np.asarray(values, float), np.asarray(counted, bool)
    n = np.maximum(counted.sum(axis=0), 1)
    mean = np.where(counted, values, 0.0).sum(axis=0) / n
    return np.sqrt((np.where(counted, values - mean, 0.0) ** 2).sum(axis=0) / n)


def hardness_interval_hv(hardness_hv: float, fractions: Mapping[str, float]) -> tuple[float, float]:
    """80 % interval of the hardness of a specimen cooled as told, HV, from its structure.

    Parameters
    ----------
    hardness_hv : float
    fractions : mapping
        Shares by name, as results carry them.

    Examples
    --------
    >>> low, high = hardness_interval_hv(150.0, {"ferrite": 0.8, "pearlite": 0.2})
    >>> 130 < low < 150 < high < 170
    True
    """
    soft = (
        fractions.get("ferrite", 0.0)
        + fractions.get("pearlite", 0.0)
        + fractions.get("untransformed", 0.0)
    )
    hard = fractions.get("martensite", 0.0) + fractions.get("austenite", 0.0)
    sd = float(hardness_sd_hv(hardness_hv, soft, fractions.get("bainite", 0.0), hard))
    return hardness_hv - Z * sd, hardness_hv + Z * sd


def spray_nodes() -> tuple[np.ndarray, np.ndarray]:
    """Deviates of ln(spray multiplier) to march besides the central case, and the multipliers.

    References
    ----------
    .. [1] Spray law good to a factor of 1.5, taken as a 90 % interval: six published laws agree
       within a factor of about 2 in film boiling; nothing confirms the fall through boiling (our
       choice).

    Examples
    --------
    >>> [round(float(f), 2) for f in spray_nodes()[1]]
    [0.61, 0.78, 1.28, 1.64]
    """
    deviates = np.array([-2.0, -1.0, 1.0, 2.0])
    return deviates, np.exp(LN_SPRAY_SD * deviates)


def interval(centre: float, sd: float, deviates=None, values=None) -> tuple[float, float]:
    """80 % interval of a quantity: model residuals with, where given, its response to an unsure input.

    Parameters
    ----------
    centre : float
        Central value.
    sd : float
        Standard deviation from the model.
    deviates, values : array, optional
        Normal deviates of the input (without 0) and the quantity there.

    Returns
    -------
    tuple of float
        Low and high.  Skewed where the response is: near a cliff the two sides differ.
    """
    if deviates is None or len(deviates) == 0:
        return centre - Z * sd, centre + Z * sd
    samples = _spread(centre, sd, deviates, values)
    low, high = np.quantile(samples, [0.5 - COVERAGE / 2, 0.5 + COVERAGE / 2])
    return float(min(low, centre)), float(max(high, centre))


#: Cases spread over the lattice at a time: about 3 MB.
_AT_ONCE = 256


def interval_arrays(centre, sd, deviates, values) -> tuple[np.ndarray, np.ndarray]:
    """`interval` of many quantities: `centre` and `sd` of shape (n,), `values` of shape (deviates, n)."""
    order = np.argsort(np.append(deviates, 0.0))
    x = np.append(deviates, 0.0)[order]
    y = np.vstack([values, centre])[order].T
    z = _lattice()[0][: int(np.sqrt(len(_lattice()[0])))]
    i = np.clip(np.searchsorted(x, z, side="right") - 1, 0, len(x) - 2)
    share = np.clip((z - x[i]) / (x[i + 1] - x[i]), 0.0, 1.0)
    low, high = np.empty(len(y)), np.empty(len(y))
    for begin in range(0, len(y), _AT_ONCE):
        rows = slice(begin, begin + _AT_ONCE)
        response = y[rows][:, i] + share * (y[rows][:, i + 1] - y[rows][:, i])
        samples = response[:, None, :] + sd[rows, None, None] * z[None, :, None]
        low[rows], high[rows] = np.quantile(
            samples.reshape(len(response), -1), [0.5 - COVERAGE / 2, 0.5 + COVERAGE / 2], axis=1
        )
    return np.minimum(low, centre), np.maximum(high, centre)


@functools.cache
def _lattice() -> tuple[np.ndarray, np.ndarray]:
    """Even quantiles of two independent normal deviates, as a grid."""
    n = 41
    p = (np.arange(n) + 0.5) / n
    z = np.sqrt(2.0) * _erfinv(2.0 * p - 1.0)
    return tuple(a.ravel() for a in np.meshgrid(z, z))


def _erfinv(y: np.ndarray) -> np.ndarray:
    from scipy.special import erfinv

    return erfinv(y)


def _spread(centre, sd, deviates, values):
    order = np.argsort(np.append(deviates, 0.0))
    x = np.append(deviates, 0.0)[order]
    y = np.append(values, centre)[order]
    u, v = _lattice()
    return np.interp(u, x, y) + sd * v


def outcome_chances(
    centre: float, sd: float, deviates, values, gap_hv: float = 60.0
) -> dict[str, float] | None:
    """Near a cliff: chance of a soft and of a hard outcome, with the middle of each; else None.

    A cliff is a response that moves by more than `gap_hv` between neighbouring nodes of the unsure input.

    Returns
    -------
    dict or None
        ``soft_chance``, ``soft``, ``hard_chance``, ``hard``, ``between``.
    """
    order = np.argsort(np.append(deviates, 0.0))
    y = np.append(values, centre)[order]
    jumps = np.abs(np.diff(y))
    if jumps.max() < gap_hv:
        return None
    k = int(jumps.argmax())
    between = 0.5 * (y[k] + y[k + 1])
    samples = _spread(centre, sd, deviates, values)
    soft, hard = samples[samples < between], samples[samples >= between]
    if not len(soft) or not len(hard):
        return None
    return {
        "soft_chance": len(soft) / len(samples),
        "soft": float(np.median(soft)),
        "hard_chance": len(hard) / len(samples),
        "hard": float(np.median(hard)),
        "between": float(between),
    }
