"""Published flow-stress laws of hot steel, one function each; `effort` chooses among them."""

import functools

import numpy as np

from ..base.arrays import plain
from ..base.constants import GAS_J_MOL_K, KGF_N, ZERO_C_K
from ..base.errors import check_choice
from ..base.tables import read_rows


def shida_mpa(carbon, temperature_c, strain, rate_per_s):
    """Flow stress of carbon steel by Shida, MPa; point value on the stress-strain curve.

    0.01-1.2 wt% C, 700-1200 °C, true strain up to 0.7, 0.1-100 1/s.  Below 815-840 °C it dips: ferrite is softer
    than austenite.  An erratum in print has the sign of 0.126 wrong: the two branches would not meet.

    .. [1] S. Shida, J. JSTP 10 (1969) 610-617 (read).
    """
    c = np.asarray(carbon, float)
    t = (np.asarray(temperature_c, float) + ZERO_C_K) / 1000.0
    td = 0.95 * (c + 0.41) / (c + 0.32)
    hot = t >= td
    cold_g = 30.0 * (c + 0.90) * (t - 0.95 * (c + 0.49) / (c + 0.42)) ** 2 + (c + 0.06) / (c + 0.09)
    g = np.where(hot, 1.0, cold_g)
    m_hot = (-0.019 * c + 0.126) * t + 0.076 * c - 0.050
    m_cold = (0.081 * c - 0.154) * t - 0.019 * c + 0.207 + 0.027 / (c + 0.32)
    m = np.where(hot, m_hot, m_cold)
    sd = 0.28 * g * np.exp(5.0 / np.where(hot, t, td) - 0.01 / (c + 0.05))
    e = np.asarray(strain, float) / 0.2
    f = 1.3 * e ** (0.41 - 0.07 * c) - 0.3 * e
    return plain(KGF_N * sd * f * (np.asarray(rate_per_s, float) / 10.0) ** m)


def misaka_mpa(carbon, temperature_c, strain, rate_per_s):
    """Mean flow stress of carbon steel in rolling by Misaka & Yoshimoto, MPa; used for the band only.

    Up to 1.2 wt% C, 750-1200 °C, strain up to 0.5, 30-200 1/s.

    >>> round(misaka_mpa(0.20, 1000.0, 0.3, 10.0), 1)
    121.5

    .. [1] Y. Misaka & T. Yoshimoto, J. JSTP 8 (1967) 414-422 (from memory).
    """
    c = np.asarray(carbon, float)
    t = np.asarray(temperature_c, float) + ZERO_C_K
    soft = np.exp(0.126 - 1.75 * c + 0.594 * c * c + (2851 + 2968 * c - 1120 * c * c) / t)
    e, r = np.asarray(strain, float), np.asarray(rate_per_s, float)
    return plain(KGF_N * soft * e**0.21 * r**0.13)


@functools.cache
def _sets():
    keys = ("A", "m1", "m2", "m3", "m4", "m5", "m7", "m8")
    rows = read_rows("constants/hot_flow_stress_sets.csv")
    return {r["set"]: tuple(float(r[k]) for k in keys) for r in rows}


def hensel_spittel_mpa(name, temperature_c, strain, rate_per_s):
    """Flow stress of one measured steel, "C45", "C20" or "CrMo", by its Hensel-Spittel set, MPa.

    A e^(m1 T) ε^m2 φ^(m3 + m8 T) e^(m4/ε) (1 + ε)^(m5 T) e^(m7 ε).  "CrMo" has 0.30 C, 1.86 Cr, 0.52 Mo, 0.68 Ni: more
    alloyed than 4130 or 4140.

    .. [1] M. Spittel & T. Spittel, Landolt-Börnstein VIII/2C1 (2009); P. Tize Mha et al., Metals 13
       (2023) 633 (data/constants/hot_flow_stress_sets.csv) (read).
    """
    a, m1, m2, m3, m4, m5, m7, m8 = _sets()[check_choice(name, "flow-stress set", _sets())]
    t, e, r = (np.asarray(x, float) for x in (temperature_c, strain, rate_per_s))
    level = a * np.exp(m1 * t + m4 / e + m7 * e) * e**m2
    return plain(level * (1.0 + e) ** (m5 * t) * r ** (m3 + m8 * t))


def medina_hernandez_mpa(composition, temperature_c, strain, rate_per_s):
    """Flow stress of low-alloy austenite before dynamic recrystallisation, from C, Mn, Si, Mo, V, MPa.

    850-1200 °C, 0.5-5 1/s (ranges from memory).  Chromium does not enter: the authors found no effect they could
    separate.

    >>> steel = {"C": 0.30, "Mn": 0.70, "Si": 0.25, "Mo": 0.02, "V": 0.0}
    >>> round(medina_hernandez_mpa(steel, 1000.0, 0.3, 1.0))
    118

    .. [1] Attribution to S. F. Medina & C. A. Hernández, Acta Mater. 44 (1996) 165, and 8.314 J/(mol K)
       (from memory).
    .. [2] Coefficients: a public flow-stress code (read).
    """
    c, mn, si, mo, v = (composition.get(e) for e in ("C", "Mn", "Si", "Mo", "V"))
    q = 267_000.0 - 2535.52 * c + 1010.0 * mn + 33_620.76 * si + 35_651.28 * mo
    q = q + 31_673.46 * (0.0 if v is None else v)
    t, e = np.asarray(temperature_c, float) + ZERO_C_K, np.asarray(strain, float)
    x = np.asarray(rate_per_s, float) * np.exp(q / (GAS_J_MOL_K * t))
    x = x / ((12.197 + 65.590 * c) * np.exp(7.076e-5 * q))
    rise = 1.0 - np.exp(-3.9202 * x**0.0592 * e)
    power = 0.3449 * np.exp(0.0139 * np.sqrt(x))
    return plain((9.5326 + 0.6196 * np.log(x)) ** 2 * rise**power)
