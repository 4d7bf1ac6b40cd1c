"""Softening by time and temperature below Ac1: one law for martensite, bainite and ferrite with pearlite.

Along any temperature curve one number adds up exactly, J = ∫ exp(-θ/T) dt (T in K, t in s, θ = Q/R): two heat treatments
of equal J temper equally, be they a preheat, a temper, a torch or the body that re-heats the face.  Every constituent
carries its hardness as it formed, its carbon and its J.  Martensite follows the master curve `tempered_martensite_hv`;
bainite, partly tempered as it forms, continues on it from its own hardness (`tempered_bainite_hv`); ferrite with pearlite
changes only as its lamellae turn into spheres (`spheroidised_hv`); the annealed steel at the constituent's carbon is the
floor of all three (`annealed_hv`).  Floats or arrays.  The constants stand in ``data/fits/tempering_law.csv``, which
``tests/fits/fit_tempering.py`` makes.
"""

import functools
import math
from typing import NamedTuple

import numpy as np

from ..base.constants import SECONDS_PER_HOUR, ZERO_C_K
from ..base.errors import check_number
from ..base.ranges import contents_outside, outside, tell
from ..base.tables import read_rows
from ..inputs.grades import check_steel
from ..strength.hardness_scales import hrc_from_hv, hv_from_hrc
from .phase_hardness import as_quenched_hrc as _full_martensite_hrc
from .temperatures import content

#: log10 J (s) at which `TemperingCoefficients.soft_hv` is given, an hour near 495 °C: only an origin.
_REFERENCE_LOG_J = -14.0
#: Least log10 J: a second at 25 °C.  Nothing softens there; it keeps the formulas finite for J = 0.
_LEAST_LOG_J = -45.0
#: An hour above it, °C, the law errs more, and the interval is wider: alloy carbides coarsen.
OVERAGED_C = 640.0
#: log10 J (s) where alloy carbides have lost half of what they add (1 h at 657 °C), and the width of that, decades.
_OVERAGED_LOG_J, _OVERAGED_WIDTH = -10.9, 0.6
#: How smoothly hardness comes down on its floor, HV (our choice).
_FLOOR_SMOOTH_HV = 12.0
#: Most carbon that still hardens the annealed steel, wt% (annealed bars of 1060, 1080 and 1095 are alike).
_MOST_CARBON = 0.6
#: log10 J (s) where half of the lamellae are round, and the power of J: half in 15 h at 680 °C, 7.6 h at 700 °C, 4 h at
#: 720 °C (subcritical spheroidising takes 10-24 h at 680-700 °C, from memory).
_ROUND_LOG_J, _ROUND_POWER = -9.4, 0.6
#: log10 J (s) where half of a residual stress is left (1 h at 390 °C), and decades over which its logit moves by ten.
_RELIEF_LOG_J, _RELIEF_WIDTH = -16.7, 3.9


class TemperingCoefficients(NamedTuple):
    """What the law needs of a steel: floats, or arrays of one shape."""

    activation_k: float  #: θ, K
    half_log_j: float  #: log10 J (J in s) where half of the quenched part is gone
    width: float  #: how slowly it goes
    soft_hv: float  #: hardness of the softened part at log10 J = -14
    slope_hv: float  #: its change per decade
    overaged_hv: float  #: what alloy carbides add and lose
    floor_hv: float  #: annealed hardness without carbon
    floor_carbon_hv: float  #: what a wt% of carbon adds to it
    #: Least share of martensite's distance from the floor that bainite of the same state keeps.
    bainite_share: float


def tempering_rate(temperature_k: float, activation_k: float) -> float:
    """dJ/dt = exp(-θ/T), dimensionless; metal temperature T and θ of `TemperingCoefficients` in K.

    .. [1] J. H. Hollomon & L. D. Jaffe, Trans. AIME 162 (1945) 223: one sum exp(-Q/RT) dt for time
       and temperature (read).
    """
    return math.exp(-activation_k / temperature_k)


def log_tempering(j):
    """log10 of the tempering integral J (s, float or array), held at -45: nothing softens there."""
    return np.log10(np.maximum(j, 10.0**_LEAST_LOG_J))


def stress_left(j):
    """Share of a residual stress that the tempering integral J (s, float or array) leaves: 1 / (1 + 10^((log10 J + 16.7) / 3.9)).

    >>> hour = 3600.0 * np.exp(-31000.0 / (np.array([200.0, 260.0, 540.0, 650.0]) + 273.15))
    >>> [round(float(x), 2) for x in stress_left(hour)]
    [0.99, 0.95, 0.1, 0.03]

    .. [1] Alloy steel: little or no relief below about 260 °C, about 90 % by 540 °C, an hour understood
       (page on subcritical annealing and stress relief, read); the straight logit between is ours (our choice).
    """
    return 1.0 / (1.0 + 10.0 ** ((log_tempering(j) - _RELIEF_LOG_J) / _RELIEF_WIDTH))


def left_and_soft(as_quenched_hv, log_j, k):
    """Share left of martensite's quenched part at ``x = log10 J``, 1 / (1 + exp((x - half) / width)), and hardness of the rest, HV,
    soft + slope (x + 14), held between 100 HV and as quenched.

    .. [1] Own form; constants fitted by tests/fits/fit_tempering.py (our own fit).
    """
    x = np.maximum(log_j, _LEAST_LOG_J)
    soft = k.soft_hv + k.slope_hv * (x - _REFERENCE_LOG_J)
    soft = np.minimum(np.maximum(soft, 100.0), as_quenched_hv)
    return 1.0 / (1.0 + np.exp((x - k.half_log_j) / k.width)), soft


def softened_hv(as_quenched_hv, log_j, k):
    """Hardness of martensite before overaging, HV, ``L Hq + (1 - L) S`` by `left_and_soft`; never rising with `log_j`."""
    left, soft = left_and_soft(as_quenched_hv, log_j, k)
    return left * as_quenched_hv + (1.0 - left) * soft


def master_hv(as_quenched_hv, log_j, carbon, k):
    """Hardness of tempered martensite, HV: strictly falling with `log_j` down to the annealed steel at its carbon, A.

    M0 from `softened_hv`; ``M1 = M0 - over / (1 + exp(-(x + 10.9) / 0.6))`` (Mo2C and M7C3 coarsen: what molybdenum and
    chromium add at 500-600 °C fades at 650-700 °C; nothing happens below x = -13, an hour at 535 °C);
    ``HV = A + 12 ln(1 + exp((M1 - A) / 12))``, not above Hq.

    .. [1] Own form and fit, tests/fits/fit_tempering.py: martensite to 694 rows of R. A. Grange & R. W.
       Baughman, Trans. ASM 48 (1956) 165, and J. H. Hollomon & L. D. Jaffe, Trans. AIME 162 (1945) 223, not
       bundled; overaging to those above 500 °C and data/measured/tempered_data_sheets.csv (our own fit).
    """
    floor_hv = annealed_hv(carbon, k)
    hv = softened_hv(as_quenched_hv, log_j, k)
    hv = hv - k.overaged_hv / (1.0 + np.exp((_OVERAGED_LOG_J - log_j) / _OVERAGED_WIDTH))
    above = np.logaddexp(0.0, (hv - floor_hv) / _FLOOR_SMOOTH_HV)
    return np.minimum(floor_hv + _FLOOR_SMOOTH_HV * above, as_quenched_hv)


def annealed_hv(carbon, k):
    """Hardness of the fully annealed steel, HV, at the carbon (wt%) of one constituent: what tempering leads to.

    Linear up to 0.6 wt%, so that the floors of the constituents add up to the steel's.

    .. [1] Line through 25 annealed handbook bars (data/measured/annealed_bars.csv), less 5 %, because long subcritical
       rounding is softer than the lamellae of the full anneal; bars left out one by one miss by 12 HV rms (our own fit).
    """
    return k.floor_hv + k.floor_carbon_hv * np.minimum(carbon, _MOST_CARBON)


def tempered_martensite_hv(quenched_hv, j, carbon, k):
    """Hardness of martensite of that hardness untempered (HV) and carbon (wt%) that has taken the tempering `j` (s), HV."""
    return master_hv(quenched_hv, log_tempering(j), carbon, k)


def tempered_bainite_hv(own_hv, quenched_hv, j, carbon, k):
    """Hardness of bainite that was `own_hv` hard once cold and has taken the tempering `j` (s) since, HV.

    `quenched_hv` is the hardness of untempered martensite of the same carbon (wt%).

    With A = `annealed_hv` and M(J) the martensite of the same carbon, bainite keeps the share s of martensite's distance
    above the floor, ``s = max(bainite_share, (own - A) / (M(0) - A))``.  Its own hardness says where on the curve it
    begins, ``M(J0) = A + (own - A) / s``, and then ``HV = min(own, A + s (M(J0 + J) - A))``.  Bainite nearly as hard as
    martensite has s = 1 and tempers as martensite does; what formed at 450-600 °C does not soften at 400 °C.

    .. [1] Ph. Maynier, B. Jungmann & J. Dollet, Hardenability Concepts with Applications to Steel, AIME 1978, pp. 518-544:
       their line for tempered bainite is 0.45 to 0.68 of our martensite above the floor in seven Cr, Mo and Ni steels at
       600-700 °C, 0.55 at best; its coefficients were not read (from memory).
    """
    floor = annealed_hv(carbon, k)
    above = np.maximum(own_hv - floor, 0.0)
    fresh = master_hv(quenched_hv, _LEAST_LOG_J + 0.0 * above, carbon, k)
    share = np.maximum(k.bainite_share, above / np.maximum(fresh - floor, 1.0))
    aim = floor + above / share
    # M falls strictly, so halving the interval finds J0, to 1e-12 of a decade
    x = 0.5 * _LEAST_LOG_J + 0.0 * above
    half = -0.25 * _LEAST_LOG_J
    for _ in range(44):
        x = x + half * np.sign(master_hv(quenched_hv, x, carbon, k) - aim)
        half = 0.5 * half
    together = log_tempering(10.0**x + j)
    return np.minimum(own_hv, floor + share * (master_hv(quenched_hv, together, carbon, k) - floor))


def spheroidised_hv(own_hv, j, carbon, k):
    """Hardness of ferrite with pearlite that was `own_hv` hard once cold and has taken `j` (s) since, HV; carbon is their mean.

    The rounded share is ``X = 1 / (1 + (10**-9.4 / J)**0.6)``, the hardness ``own - X (own - A)`` with A = `annealed_hv`.
    Good to a factor of 4 in time; coarse pearlite far from 700 °C less (a published activation energy is lower).

    .. [1] Common practice: subcritical spheroidising takes 10 to 24 h at 680-700 °C (from memory).
    """
    rounded = 1.0 / (1.0 + 10.0 ** (_ROUND_POWER * (_ROUND_LOG_J - log_tempering(j))))
    return own_hv - rounded * np.maximum(own_hv - annealed_hv(carbon, k), 0.0)


@functools.cache
def _law() -> dict[str, dict[str, float]]:
    """Constants by quantity and term."""
    law: dict[str, dict[str, float]] = {}
    for row in read_rows("fits/tempering_law.csv"):
        law.setdefault(row["quantity"], {})[row["term"]] = float(row["value"])
    return law


def _linear(terms: dict[str, float], comp, carbon=None):
    """Constant plus coefficient x content."""
    of = {t: 1.0 if t == "1" else content(comp, t, carbon) for t in terms}
    return sum(k * of[t] for t, k in terms.items())


def tempering_coefficients(comp, carbon=None) -> TemperingCoefficients:
    """The law's numbers for a steel: contents in wt% through ``get``, arrays broadcast; `carbon` of the martensite if another.

    .. [1] Own fit of tests/fits/fit_tempering.py (data/fits/tempering_law.csv) to 694 rows of R. A. Grange &
       R. W. Baughman, Trans. ASM 48 (1956) 165, and J. H. Hollomon & L. D. Jaffe, Trans. AIME 162 (1945) 223, not
       bundled, to data/measured/tempered_data_sheets.csv and to data/measured/annealed_bars.csv (our own fit).
    .. [2] Bainite's share from the line for tempered bainite of Ph. Maynier, B. Jungmann & J. Dollet, Hardenability
       Concepts with Applications to Steel, AIME 1978, pp. 518-544; what vanadium adds rests on one steel (from memory).
    """
    law = _law()
    annealed = dict(law["floor_hv"])
    of_carbon = annealed.pop("C")
    made = {name: _linear(law[name], comp, carbon) for name in ("half_log_j", "soft_hv")}
    made |= {name: law[name]["1"] for name in ("activation_k", "width")}
    made["slope_hv"] = np.minimum(_linear(law["slope_hv"], comp, carbon), 0.0)
    made["overaged_hv"] = _linear(law["overaged_hv"], comp)
    made |= {"floor_hv": _linear(annealed, comp), "floor_carbon_hv": of_carbon}
    made["bainite_share"] = np.minimum(_linear(law["bainite_share"], comp), 1.0)
    return TemperingCoefficients(**made)


def tempered_hardness(
    steel, temper_c: float, hours: float = 1.0, as_quenched_hrc: float | None = None
) -> float:
    """Hardness of quenched and tempered steel, HRC.

    Below 20 HRC the figure is a continuation of the scale.  Outside the fitted rows (contents, temperature, time) a
    warning says so.

    Parameters
    ----------
    temper_c, hours : float
        Temperature, °C (0 to 760; made from 100-704 °C), and time there, h (made from 10 s to 32 h).
    as_quenched_hrc : float, optional
        Measured hardness as quenched; otherwise that of full martensite of this carbon.

    Examples
    --------
    >>> steel = {"C": 0.40, "Mn": 0.85, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}
    >>> 33 < tempered_hardness(steel, 600.0) < tempered_hardness(steel, 400.0) < 50
    True
    """
    steel = check_steel(steel)
    check_number(temper_c, "tempering temperature", 0.0, 760.0, "°C")
    seconds = SECONDS_PER_HOUR * check_number(hours, "tempering time", 0.0, 1e5, "h")
    if as_quenched_hrc is not None:
        check_number(as_quenched_hrc, "hardness as quenched", 0.0, 68.0, "HRC")
    ends = ("tempering.temperature", temper_c), ("tempering.time", seconds)
    ends += (("phase_hardness.initial_hardness", float(content(steel, "C"))),)
    tell([*contents_outside("tempering", steel), *(outside(*end) for end in ends)])
    return tempered_hrc(steel, temper_c, hours, as_quenched_hrc)


def tempered_hrc(steel, temper_c: float, hours: float, as_quenched_hrc=None) -> float:
    """`tempered_hardness` without its checks and warnings."""
    carbon = content(steel, "C")
    quenched = _full_martensite_hrc(carbon) if as_quenched_hrc is None else as_quenched_hrc
    k = tempering_coefficients(steel)
    j = SECONDS_PER_HOUR * hours * tempering_rate(temper_c + ZERO_C_K, k.activation_k)
    return hrc_from_hv(float(tempered_martensite_hv(hv_from_hrc(quenched), j, carbon, k)))


def tempering_interval_hrc(temper_c: float = 20.0, hours: float = 1.0) -> tuple[float, float]:
    """What to add to `tempered_hardness` for the ends of its 80 % prediction interval, HRC.

    The tenth and ninetieth percentile of measured minus predicted on steels left out of the fit; those of the rows above 1 h
    at 640 °C there, with a straight passage from 1 h at 620 to 660 °C.  Their sign there is not settled: data sheets of 4130
    and 41Cr4 are 1.8 HRC softer than calculated (7 rows), the table of the fit 0.3 HRC harder (128 rows).
    """
    law, theta = _law(), _law()["activation_k"]["1"]
    acts = (OVERAGED_C - 20.0, 1.0), (OVERAGED_C + 20.0, 1.0), (temper_c, hours)
    per = theta * math.log10(math.e)
    begin, end, x = (math.log10(max(h, 1e-30)) - per / (t + ZERO_C_K) for t, h in acts)
    hot = min(max((x - begin) / (end - begin), 0.0), 1.0)
    ends = law["residual_q10_hrc"], law["residual_q90_hrc"]
    return tuple((1.0 - hot) * end["1"] + hot * end["overaged"] for end in ends)
