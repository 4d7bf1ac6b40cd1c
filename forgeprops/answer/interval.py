"""How sure: fit residuals, spread of the methods and of the water law, made into an 80 % interval."""

import functools
import math
from collections.abc import Mapping

import numpy as np

from ..base.constants import Z80 as Z
from ..base.tables import read_rows
from ..transformation.tempering import OVERAGED_C

#: Share of results an interval should hold; `Z` is the normal deviate of its ends.
COVERAGE = 0.80

#: Standard deviation of ln(spray multiplier): a published spray law is good to a factor of about
#: 1.5, read as a 90 % interval: ln 1.5 / 1.645 (in film boiling ours stands within 45 % of the
#: middle of six; the factor is our assumption).
LN_SPRAY_SD = math.log(1.5) / 1.645

#: Factors on the rate at which Cr-Mo carbides dissolve, taken as the ends of an 80 % interval:
#: carbides three times as coarse or as fine as the law assumes (the time goes with the square of
#: size; our choice).
CARBIDE_SPEEDS = (1.0 / 9.0, 9.0)
#: Carbon in carbides, wt%, and austenite share that make the furnace's work unsure enough to march
#: its two ends (our choice).
UNSURE_CARBON, UNSURE_SHARE = 0.002, 0.9995

#: Rows of data/fits/hardness_spread.csv in the order `spread_variance` takes them: three shares of
#: hardness, HV at one half martensite, and the weight of the opinions' spread.
FIGURES = ("ferrite-pearlite", "bainite", "martensite", "martensite share", "opinions", "far rates")


@functools.cache
def figures() -> tuple[float, ...]:
    """Values of `FIGURES`."""
    rows = {row["id"]: row for row in read_rows("fits/hardness_spread.csv")}
    return tuple(float(rows[name]["value"]) for name in FIGURES)


def hardness_sd_hv(hardness_hv, ferrite_pearlite, bainite, martensite, spread_hv=0.0):
    """Standard deviation of a computed hardness, HV, from shares (0 to 1, austenite with martensite) and `opinions_spread_hv`.

    Centre ± `Z` times it should hold 8 of 10 measurements.  Every constituent has its own share of error, in proportion to
    hardness.  Where martensite stands beside something else its amount is the greatest doubt: that part goes with the
    standard deviation of a share, ``sqrt(m (1 - m))``, and is whole at one half.  The weight of the opinions' spread is
    fitted too: bars on which the methods disagree are not much worse than others.  The figures are misses on bars of steels
    left out of the fit, all scaled so that 8 of 10 of those lie inside.

    >>> bool(hardness_sd_hv(200.0, 1.0, 0.0, 0.0) < hardness_sd_hv(200.0, 0.0, 1.0, 0.0))
    True

    .. [1] Standard deviation on bars left out of the fit: tests/fits/fit_hardness_spread.py
       (data/fits/hardness_spread.csv) (our own fit).
    """
    parts = (ferrite_pearlite, bainite, martensite)
    shares = (np.clip(np.asarray(x, float), 0.0, 1.0) for x in parts)
    hv, spread_hv = np.asarray(hardness_hv, float), np.asarray(spread_hv, float)
    return np.sqrt(spread_variance(hv, *shares, spread_hv, *figures()[:5]))


def spread_variance(hv, fp, b, m, spread_hv, in_fp, in_b, in_m, in_share, in_opinions):
    """Variance of hardness, HV², with five figures as arguments: what their fit varies."""
    own = hv**2 * (fp * in_fp**2 + b * in_b**2 + m * in_m**2)
    return own + 4.0 * m * (1.0 - m) * in_share**2 + (in_opinions * spread_hv) ** 2


def tempering_sd_hv(softened_hv, hardness_hv, temper_c):
    """Standard deviation that later heats add to a hardness, HV, from what they took, the hardness after them, the hottest.

    At most 5 % of the hardness up to 620 °C and 8 % from 660 °C, but no more than 35 % of what was softened: bainite that
    hardly softens is hardly unsure.

    >>> [round(float(tempering_sd_hv(s, 260.0, 700.0))) for s in (0.0, 20.0, 200.0)]
    [0, 7, 21]

    .. [1] Steels left out of the tempering law: +2.3/-2.2 HRC below 640 °C, +3.3/-2.9 HRC above (our own fit).
    .. [2] Share of bainite between 0.45 and 0.8 in the law: 201 HV (-12/+18) for 4130 after 1 h at 700 °C (our choice).
    """
    part = np.interp(temper_c, (OVERAGED_C - 20.0, OVERAGED_C + 20.0), (0.05, 0.08))
    return np.minimum(0.35 * np.maximum(softened_hv, 0.0), part * np.asarray(hardness_hv))


def opinions_spread_hv(values, counted):
    """How far the opinions on one hardness stand apart: their standard deviation, HV; 0 for only one.

    `values`, shape (methods,) or (methods, n), are the hardness by the kinetics and by the other
    methods, HV, finite also where `counted` says that a method does not apply.

    >>> float(opinions_spread_hv([200.0, 220.0, 999.0], [True, True, False]))
    10.0
    """
    values, counted = np.asarray(values, float), np.asarray(counted, bool)
    n = np.maximum(counted.sum(axis=0), 1)
    mean = np.where(counted, values, 0.0).sum(axis=0) / n
    return np.sqrt((np.where(counted, values - mean, 0.0) ** 2).sum(axis=0) / n)


def hardness_interval_hv(hardness_hv: float, fractions: Mapping[str, float]) -> tuple[float, float]:
    """80 % interval of the hardness of a specimen cooled in a known way, HV, from its shares by name.

    >>> low, high = hardness_interval_hv(150.0, {"ferrite": 0.8, "pearlite": 0.2})
    >>> 130 < low < 150 < high < 170
    True
    """
    groups = (("ferrite", "pearlite", "untransformed"), ("bainite",), ("martensite", "austenite"))
    shares = (sum(fractions.get(name, 0.0) for name in names) for names in groups)
    sd = float(hardness_sd_hv(hardness_hv, *shares))
    return hardness_hv - Z * sd, hardness_hv + Z * sd


def spray_ln_sd(fitted):
    """Standard deviation of ln(spray multiplier): the shop's own where it was fitted (not nan), else `LN_SPRAY_SD`."""
    return np.where(np.isnan(fitted), LN_SPRAY_SD, fitted)


def spray_nodes() -> np.ndarray:
    """Deviates of ln(spray multiplier) to march besides the central case.

    >>> [round(float(f), 2) for f in np.exp(LN_SPRAY_SD * spray_nodes())]
    [0.61, 0.78, 1.28, 1.64]

    .. [1] Spray law good to a factor of 1.5, taken as a 90 % interval: six published laws agree within a factor of about 2
       in film boiling; nothing confirms the fall through boiling (our choice).
    """
    return NODES[NODES != 0.0]


#: The same with the central case among them.
NODES = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
#: Cases spread over the lattice at a time: about 3 MB.
_AT_ONCE = 256
#: Even quantiles of the two normal deviates of the lattice.
_LATTICE = 41
#: Change between neighbouring nodes that is a cliff, HV.
CLIFF_HV = 60.0


@functools.cache
def even_deviates(n: int) -> np.ndarray:
    """Normal deviates of n even quantiles."""
    from scipy.special import ndtri

    return ndtri((np.arange(n) + 0.5) / n)


def at_nodes(centre, values) -> np.ndarray:
    """A quantity at `NODES`, shape (5, …), from that of the central case and those at `spray_nodes`."""
    return np.insert(values, len(values) // 2, centre, axis=0)


def _samples(centre, sd, values) -> np.ndarray:
    """Quantity on a lattice of two normal deviates, the water law's and the model's, shape (n, lattice)."""
    y, z = at_nodes(centre, values).T, even_deviates(_LATTICE)
    i = np.clip(np.searchsorted(NODES, z, side="right") - 1, 0, len(NODES) - 2)
    share = np.clip(z - NODES[i], 0.0, 1.0)
    response = y[:, i] + share * (y[:, i + 1] - y[:, i])
    samples = response[:, None, :] + sd[:, None, None] * z[None, :, None]
    return samples.reshape(len(y), -1)


def interval_arrays(centre, sd, values) -> tuple[np.ndarray, np.ndarray]:
    """80 % intervals, low and high: model residuals with the response to the unsure water law.

    Central values and standard deviations of the model, shape (n,), and the quantities at `spray_nodes`, (nodes, n).
    Skewed where the response is: near a cliff the two sides differ.
    """
    low, high = np.empty(len(centre)), np.empty(len(centre))
    ends = [0.5 - COVERAGE / 2, 0.5 + COVERAGE / 2]
    for begin in range(0, len(centre), _AT_ONCE):
        rows = slice(begin, begin + _AT_ONCE)
        samples = _samples(centre[rows], sd[rows], values[:, rows])
        low[rows], high[rows] = np.quantile(samples, ends, axis=1)
    return np.minimum(low, centre), np.maximum(high, centre)


def outcome_chances(centre: float, sd: float, values) -> dict[str, float] | None:
    """Near a cliff: chance of a soft and of a hard outcome, with the middle of each; else None.

    A cliff is a response that moves by more than `CLIFF_HV` between neighbouring `NODES`.  The result has ``soft_chance``,
    ``soft``, ``hard_chance``, ``hard``, ``between``.
    """
    y = at_nodes(centre, np.asarray(values, float))
    jumps = np.abs(np.diff(y))
    k = int(jumps.argmax())
    between = float(0.5 * (y[k] + y[k + 1]))
    samples = _samples(np.array([centre]), np.array([sd]), np.asarray(values, float)[:, None])[0]
    soft, hard = samples[samples < between], samples[samples >= between]
    if jumps[k] < CLIFF_HV or not len(soft) or not len(hard):
        return None
    found = {"between": between}
    for name, part in (("soft", soft), ("hard", hard)):
        found |= {f"{name}_chance": len(part) / len(samples), name: float(np.median(part))}
    return found
