"""Critical cooling rates from chemistry: how fast is fast enough for martensite, and for no ferrite.

`steel` is a `Steel` or any object whose ``get(element)`` gives wt%, as floats or as arrays.
"""

import functools
import math

import numpy as np

from ..base.arrays import plain
from ..base.constants import SECONDS_PER_HOUR, ZERO_C_K
from ..base.tables import read_rows

#: Molybdenum from which the higher heat of activation holds, wt%; the two heats, cal/mol; the paper's gas constant.
_MO_STEEL = 0.04
_HEAT_CAL_MOL, _HEAT_MO_CAL_MOL, _R_CAL = 110_000.0, 240_000.0, 1.986


def austenitising_parameter_c(temperature_c, hold_s, molybdenum):
    """Temperature of a 1 h hold that austenitises alike, °C; 800-1100 °C.

    Pa = [1/T − (2.303 R/ΔH) log10 t]⁻¹ with T in K, t in h; ΔH = 110 kcal/mol, 240 from 0.04 % Mo on.

    .. [1] Ph. Maynier, J. Dollet & P. Bastien, Hardenability Concepts with Applications to Steel, AIME
       1978, pp. 163-178 (from memory).
    .. [2] Parameter in °C: in K the rates lose their order (our choice).
    """
    heat = np.where(np.asarray(molybdenum) >= _MO_STEEL, _HEAT_MO_CAL_MOL, _HEAT_CAL_MOL)
    hours = np.asarray(hold_s, dtype=float) / SECONDS_PER_HOUR
    kelvin = np.asarray(temperature_c, dtype=float) + ZERO_C_K
    pa = 1.0 / (1.0 / kelvin - math.log(10.0) * _R_CAL / heat * np.log10(hours))
    return plain(pa - ZERO_C_K)


@functools.cache
def _rate_rows():
    columns = ("a", "C", "Mn", "Ni", "Cr", "Mo", "root_Mo", "Pa")
    rows = []
    for r in read_rows("constants/critical_cooling_rates.csv"):
        shares = float(r["martensite"]), float(r["ferrite_pearlite"])
        rows.append((r["rate"], *shares, {k: float(r[k]) for k in columns}))
    return tuple(rows)


def critical_cooling_rates(steel, austenitise_c=900.0, hold_s=900.0) -> dict[str, float]:
    """Cooling rates at 700 °C at which the structure changes, °C/s, from fastest to slowest.

    log10(rate in °C/h) = a − Σ k_i·content − k·√Mo − k·Pa, after austenitising (°C, s).  V1 all martensite, V1(90) and V1(50) with
    90 and 50 % martensite (rest bainite), V2 all bainite, V2(90) and V2(50) with 90 and 50 % bainite, V3(90) and V3 with 90 and
    100 % ferrite and pearlite.  A rate above the one before it is held at that one (V3 in steels without molybdenum).

    With the austenitising parameter in °C the rates keep their order in all steels tried, and full martensite takes 60 °C/s in
    C45 (above 100 is known) and 19 °C/s in 42CrMo4 (20-30 is known); in K they come out 2-9 times lower and normalised 4140
    bars 54-163 HV too hard (in °C mean error 24).

    .. [1] Ph. Maynier, J. Dollet & P. Bastien, Hardenability Concepts with Applications to Steel, AIME 1978, pp. 163-178
       (data/constants/critical_cooling_rates.csv) (from memory).
    """
    pa = austenitising_parameter_c(austenitise_c, hold_s, steel.get("Mo"))
    content = {e: np.asarray(steel.get(e), dtype=float) for e in ("C", "Mn", "Ni", "Cr", "Mo")}
    rates, before = {}, np.inf
    for name, _, _, k in _rate_rows():
        log_v = k["a"] - sum(k[e] * content[e] for e in content)
        log_v = log_v - k["root_Mo"] * np.sqrt(content["Mo"]) - k["Pa"] * pa
        before = np.minimum(before, 10.0**log_v / SECONDS_PER_HOUR)
        rates[name] = plain(before)
    return rates


def _between(x, points, values):
    """Piecewise straight line through points that may differ from steel to steel; ends held."""
    result = np.zeros(np.broadcast(x, *points).shape) + values[0]
    for i in range(1, len(points)):
        share = np.clip((x - points[i - 1]) / np.maximum(points[i] - points[i - 1], 1e-9), 0.0, 1.0)
        result = result + share * (values[i] - values[i - 1])
    return result


def critical_rate_fractions(steel, rate_at_700_c_per_s, austenitise_c=900.0, hold_s=900.0):
    """Shares of "martensite", "bainite", "ferrite_pearlite" by `critical_cooling_rates`; sum 1.

    .. [1] Straight lines in the logarithm of the rate between the critical rates (our choice).
    """
    rates = critical_cooling_rates(steel, austenitise_c, hold_s)
    rows = _rate_rows()[::-1]  # slowest first
    points = [np.log10(rates[name]) for name, *_ in rows]
    log_rate = np.log10(np.maximum(np.asarray(rate_at_700_c_per_s, dtype=float), 1e-12))
    martensite = _between(log_rate, points, [m for _, m, _, _ in rows])
    ferrite = _between(log_rate, points, [f for _, _, f, _ in rows])
    bainite = 1.0 - martensite - ferrite
    return {"martensite": martensite, "bainite": bainite, "ferrite_pearlite": ferrite}
