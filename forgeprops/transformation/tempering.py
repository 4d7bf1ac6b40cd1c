"""Softening of martensite by time and temperature: a law of ours, fitted to open measurements.

Along any temperature curve one number adds up exactly, J = ∫ exp(-θ/T) dt (T in K, t in s, θ = Q/R): two heat
treatments of equal J temper equally.  The softened hardness is a function of log10 J, of the hardness as
quenched and of four numbers of the steel (`TemperingCoefficients`), which are linear in the composition.
Scalar functions use only floats and `math`, so that the compiled march can call them.

The constants stand in ``data/fits/tempering_law.csv``; ``tests/fits/fit_tempering.py`` makes that file.
"""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np

from ..base.errors import check_number
from ..base.ranges import Warn, contents_outside, outside
from ..base.tables import read_rows
from ..inputs.steel import check_steel
from .phase_hardness import as_quenched_hrc as _full_martensite_hrc
from .phase_hardness import hrc_from_hv, hv_from_hrc
from .temperature_formulas import content

__all__ = [
    "REFERENCE_LOG_J",
    "TemperingCoefficients",
    "equivalent_hours",
    "softened_hv",
    "tempered_hardness",
    "tempering_coefficients",
    "tempering_interval_hrc",
    "tempering_rate",
    "tempering_sd_hrc",
    "tempering_warnings",
]


#: log10 J (s) at which `TemperingCoefficients.soft_hv` is given: an hour near 495 °C.  Only a choice of
#: origin.
REFERENCE_LOG_J = -14.0


class TemperingCoefficients(NamedTuple):
    """What the law needs of a steel: floats, or arrays of one shape.

    `activation_k` is θ in K; `half_log_j` is log10 J (J in s) where half of the quenched part is gone,
    `width` how slowly; `soft_hv` the hardness of the softened part at log10 J = -14 and `slope_hv` its
    change per decade."""

    activation_k: float
    half_log_j: float
    width: float
    soft_hv: float
    slope_hv: float


def tempering_rate(temperature_k: float, activation_k: float) -> float:
    """Return dJ/dt = exp(-θ/T), 1 for infinite temperature.

    Parameters
    ----------
    temperature_k : float
        Metal temperature, K.
    activation_k : float
        θ of `TemperingCoefficients`, K.

    References
    ----------
    .. [1] J. H. Hollomon & L. D. Jaffe, Trans. AIME 162 (1945) 223: one sum exp(-Q/RT) dt for time
       and temperature (read).
    """
    return math.exp(-activation_k / temperature_k)


def softened_hv(
    as_quenched_hv: float,
    log_j: float,
    half_log_j: float,
    width: float,
    soft_hv: float,
    slope_hv: float,
) -> float:
    """Hardness of martensite after the tempering `log_j`, HV; never above `as_quenched_hv`, never rising.

    Parameters
    ----------
    as_quenched_hv : float
        Hardness as quenched, HV.
    log_j : float
        log10 of J = ∫ exp(-θ/T) dt in s; -inf is allowed.
    half_log_j, width, soft_hv, slope_hv : float
        From `tempering_coefficients`.
    """
    x = max(log_j, -45.0)  # nothing softens there; keeps the formula finite for J = 0
    left = 1.0 / (1.0 + math.exp((x - half_log_j) / width))
    soft = min(max(soft_hv + slope_hv * (x + 14.0), 100.0), as_quenched_hv)
    return left * as_quenched_hv + (1.0 - left) * soft


@functools.cache
def _law() -> dict[str, dict[str, float]]:
    """Constants by quantity and term."""
    law: dict[str, dict[str, float]] = {}
    for row in read_rows("fits/tempering_law.csv"):
        law.setdefault(row["quantity"], {})[row["term"]] = float(row["value"])
    return law


def _linear(terms: dict[str, float], comp, carbon):
    """Constant plus coefficient x content."""
    return sum(
        k * (1.0 if term == "1" else content(comp, term, carbon)) for term, k in terms.items()
    )


def tempering_coefficients(comp, carbon=None) -> TemperingCoefficients:
    """Return the law's numbers for a steel.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon of the martensite in wt%, instead of the steel's.

    References
    ----------
    .. [1] Own fit of tests/fits/fit_tempering.py to 694 rows of R. A. Grange & R. W. Baughman,
       Trans. ASM 48 (1956) 165, and J. H. Hollomon & L. D. Jaffe, Trans. AIME 162 (1945) 223, not
       bundled (data/fits/tempering_law.csv) (our own fit).

    Examples
    --------
    >>> k = tempering_coefficients({"C": 0.40, "Mn": 0.85, "Si": 0.25, "Cr": 0.95, "Mo": 0.20})
    >>> k.slope_hv < 0 < k.width
    True
    """
    law = _law()
    soft = _linear(law["soft_hv"], comp, carbon)
    return TemperingCoefficients(
        activation_k=law["activation_k"]["1"],
        half_log_j=_linear(law["half_log_j"], comp, carbon),
        width=law["width"]["1"],
        soft_hv=soft,
        slope_hv=np.minimum(_linear(law["slope_hv"], comp, carbon), 0.0),
    )


def equivalent_hours(from_c: float, hours: float, at_c: float) -> float:
    """Hours at `at_c` that temper as much as `hours` at `from_c`.

    Parameters
    ----------
    from_c, at_c : float
        Temperatures, °C (-273 to 1000).
    hours : float
        Time, h.

    Examples
    --------
    >>> 2.5 < equivalent_hours(600.0, 1.0, 575.0) < 4.0
    True
    """
    theta = _law()["activation_k"]["1"]
    t_from = check_number(from_c, "tempering temperature", -200.0, 1000.0, "°C") + 273.15
    t_at = check_number(at_c, "tempering temperature", -200.0, 1000.0, "°C") + 273.15
    return check_number(hours, "tempering time", 0.0, 1e6, "h") * math.exp(
        theta / t_at - theta / t_from
    )


def tempered_hardness(
    steel, temper_c: float, hours: float = 1.0, as_quenched_hrc: float | None = None
) -> float:
    """Hardness of quenched and tempered steel, HRC.

    Parameters
    ----------
    steel : Steel or mapping
        Contents in wt% through ``get``.
    temper_c : float
        Tempering temperature, °C (0 to 760; made from 100-704 °C).
    hours : float
        Time at temperature, h (made from 10 s to 32 h).
    as_quenched_hrc : float, optional
        Measured hardness as quenched; otherwise that of full martensite of this carbon.

    Returns
    -------
    float
        HRC; below 20 the figure is a continuation of the scale.

    Raises
    ------
    InputError
        Temperature, time or hardness that cannot be.

    Examples
    --------
    >>> steel = {"C": 0.40, "Mn": 0.85, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}
    >>> 33 < tempered_hardness(steel, 600.0) < tempered_hardness(steel, 400.0) < 50
    True
    """
    check_steel(steel)
    t_k = check_number(temper_c, "tempering temperature", 0.0, 760.0, "°C") + 273.15
    seconds = 3600.0 * check_number(hours, "tempering time", 0.0, 1e5, "h")
    if as_quenched_hrc is None:
        as_quenched_hrc = _full_martensite_hrc(content(steel, "C"))
    quenched_hv = hv_from_hrc(
        check_number(as_quenched_hrc, "hardness as quenched", 0.0, 68.0, "HRC")
    )
    k = tempering_coefficients(steel)
    j = seconds * tempering_rate(t_k, k.activation_k)
    log_j = math.log10(j) if j > 0.0 else -math.inf
    return hrc_from_hv(softened_hv(quenched_hv, log_j, *(float(x) for x in k[1:])))


def tempering_sd_hrc() -> float:
    """Standard deviation of measured minus predicted on steels left out of the fit, HRC."""
    return _law()["residual_sd_hrc"]["1"]


def tempering_interval_hrc() -> tuple[float, float]:
    """What to add to `tempered_hardness` for the ends of its 80 % prediction interval, HRC.

    The tenth and ninetieth percentile of measured minus predicted on steels left out of the fit.
    """
    return _law()["residual_q10_hrc"]["1"], _law()["residual_q90_hrc"]["1"]


def tempering_warnings(
    steel, temper_c: float | None = None, hours: float | None = None
) -> tuple[Warn, ...]:
    """Warnings for contents, temperature or time outside the fitted rows."""
    found = contents_outside("tempering", steel)
    found.append(outside("phase_hardness.initial_hardness", float(content(steel, "C"))))
    if temper_c is not None:
        found.append(outside("tempering.temperature", temper_c))
    if hours is not None:
        found.append(outside("tempering.time", 3600.0 * hours))
    return tuple(w for w in found if w is not None)
