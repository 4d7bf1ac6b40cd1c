"""Critical temperatures of a steel, °C: one number each, the spread of the published formulas, an interval.

`comp` gives contents in wt% through ``get``; arrays broadcast.  `carbon` is the carbon of the austenite, instead of
the steel's.  `method` names a formula of `temperature_formulas`.
"""

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..base.arrays import plain
from ..base.errors import check_choice
from ..base.ranges import Warn, contents_outside
from ..base.tables import read_rows
from ..inputs.grades import check_steel
from . import temperature_formulas as formulas
from .temperature_formulas import content

#: Floors, °C: what a formula gives below is extrapolation in carbon, not metallurgy (our choice).
MS_FLOOR_C, BS_FLOOR_C, AE3_FLOOR_C = -100.0, 200.0, 400.0
#: Least rate of the martensite law, 1/K (Koistinen & Marburger's high-carbon steels have 0.011).  Our own
#: limit.
ALPHA_FLOOR_PER_K = 0.005
#: Austenite grain at which our Ms holds without correction, µm (about ASTM 7); the fit's own choice.
REFERENCE_GRAIN_UM = 25.0
#: Rate of van Bohemen's carbon term, 1/wt%, which our corrections share (see `temperature_formulas`).
_CARBON_RATE = {"ms": 0.96, "bs": 1.33}
_BASE = {"ms": formulas.ms_van_bohemen, "bs": formulas.bs_van_bohemen}


def _pick(table, method, what):
    return table[check_choice(method, f"method for {what}", table)]


def ae1_c(comp, method: str = "grange"):
    """Lower equilibrium temperature Ae1, by "grange", "andrews" or "eldis": they agree within about 10 °C.

    >>> round(ae1_c({"C": 0.20, "Mn": 0.45, "Si": 0.25}), 1)
    722.1
    """
    return _pick(formulas.AE1, method, "Ae1")(comp)


def ae3_c(comp, carbon=None, method: str = "grange"):
    """Upper equilibrium temperature Ae3, not below 400 °C; below Ae1 its extrapolation (the ferrite limit).

    By "grange", "andrews", "andrews_long" or "eldis": they spread by about ±15 °C.

    >>> round(ae3_c({"C": 0.40, "Mn": 0.85, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}), 1)
    780.4
    """
    return plain(np.maximum(_pick(formulas.AE3, method, "Ae3")(comp, carbon), AE3_FLOOR_C))


def ac1_c(comp, method: str = "hougardy"):
    """Temperature at which austenite appears on heating (about 2-3 K/min), Ac1, by "hougardy" or "trzaska".

    >>> round(ac1_c({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}))
    745
    """
    return _pick(formulas.AC1, method, "Ac1")(comp)


def ac3_c(comp, carbon=None, method: str = "hougardy"):
    """Temperature at which the last ferrite dissolves on heating, Ac3; never below Ac1 of the same method.

    >>> round(ac3_c({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}))
    823
    """
    return plain(np.maximum(_pick(formulas.AC3, method, "Ac3")(comp, carbon), ac1_c(comp, method)))


@functools.cache
def _fitted(quantity: str) -> dict[str, float]:
    """Fitted terms and residuals of `quantity` ("ms" or "bs") by name."""
    rows = read_rows("fits/start_temperature_fits.csv")
    return {r["term"]: float(r["value"]) for r in rows if r["quantity"] == quantity}


def start_term(quantity: str, term: str, comp, carbon, grain_um):
    """One term of the correction to van Bohemen's formula, by its name in ``fits/start_temperature_fits.csv``."""
    if term == "1":
        return 1.0
    if term == "Cexp":
        return 1.0 - np.exp(-_CARBON_RATE[quantity] * content(comp, "C", carbon))
    if term == "grain":
        return 1.0 / np.sqrt(grain_um) - 1.0 / np.sqrt(REFERENCE_GRAIN_UM)
    if term.endswith("2"):
        return content(comp, term[:-1], carbon) ** 2
    first, second = _PRODUCTS.get(term, (term, None))
    value = content(comp, first, carbon)
    return value if second is None else value * content(comp, second, carbon)


_PRODUCTS = {"NiCr": ("Ni", "Cr"), "CrMo": ("Cr", "Mo")}


def _own(quantity: str, comp, carbon, grain_um=REFERENCE_GRAIN_UM):
    """Van Bohemen's formula with our fitted correction."""
    value = _BASE[quantity](comp, carbon)
    for term, k in _fitted(quantity).items():
        if not term.startswith("residual"):
            value = value + k * start_term(quantity, term, comp, carbon, grain_um)
    return value


def martensite_start_c(comp, carbon=None, method: str = "own", grain_um=None):
    """Martensite start Ms, not below -100 °C; finite up to 1.2 wt% carbon.

    "own" is van Bohemen's formula with a shrunken correction fitted to 527 measurements.  The austenite grain, µm, is
    used by "own" alone (2.6-56 µm in the data, 25 µm where it is not given): fine grain lowers Ms.

    References
    ----------
    .. [1] Correction: own fit to 527 measurements (data/measured/martensite_start.csv) by
       tests/fits/fit_start_temperatures.py (data/fits/start_temperature_fits.csv) (our own fit).

    Examples
    --------
    >>> steel = {"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}
    >>> round(martensite_start_c(steel, method="andrews"))
    384
    >>> martensite_start_c(steel, grain_um=5.0) < martensite_start_c(steel) < 390
    True
    """
    if check_choice(method, "method for Ms", ("own", *formulas.MARTENSITE_START)) == "own":
        ms = _own("ms", comp, carbon, REFERENCE_GRAIN_UM if grain_um is None else grain_um)
    else:
        ms = formulas.MARTENSITE_START[method](comp, carbon)
    return plain(np.maximum(ms, MS_FLOOR_C))


def martensite_grain_coefficient(method: str = "own") -> float:
    """Shift of Ms by austenite grain, °C·µm^½: times (1/√d − 1/√25 µm); 0 for formulas without grain.

    >>> martensite_grain_coefficient() < -50.0 and martensite_grain_coefficient("andrews") == 0.0
    True
    """
    return _fitted("ms")["grain"] if method == "own" else 0.0


def bainite_start_c(comp, carbon=None, method: str = "own"):
    """Bainite start Bs, not below 200 °C: the highest temperature at which any bainite forms.

    "own" is van Bohemen's formula with a shrunken correction fitted to 85 measurements with Si < 0.6 %; "kirkaldy" and
    "li" are kinetic limits, 20-130 °C lower, only for the rate equations they belong to.

    References
    ----------
    .. [1] Correction: own fit to 85 of the 103 measurements in Schuscha et al., Acta Mater. (2025)
       doi 10.1016/j.actamat.2025.121131, supplement (data/fits/start_temperature_fits.csv) (our own
       fit).

    Examples
    --------
    >>> steel = {"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}
    >>> round(bainite_start_c(steel, method="steven_haynes"))
    621
    >>> 580 < bainite_start_c(steel) < 640
    True
    """
    if check_choice(method, "method for Bs", ("own", *formulas.BAINITE_START)) == "own":
        bs = _own("bs", comp, carbon)
    else:
        bs = formulas.BAINITE_START[method](comp, carbon)
    return plain(np.maximum(bs, BS_FLOOR_C))


#: Carbon up to which the interval of Ms and Bs goes with carbon, wt%.
INTERVAL_CARBON = 0.7


def start_interval_c(quantity: str, carbon):
    """What to add to our Ms ("ms") or Bs ("bs") at a carbon content, wt%, for the ends of its 80 % interval, K.

    Lines through the tenth and ninetieth percentile of measured minus predicted, every source predicted without it.

    >>> low, high = start_interval_c("ms", 0.3)
    >>> -40 < low < 0 < high < 40
    True
    """
    fitted = _fitted(check_choice(quantity, "quantity", ("ms", "bs")))
    carbon = np.minimum(carbon, INTERVAL_CARBON)
    return tuple(
        plain(fitted[end] + fitted[f"{end}_C"] * carbon) for end in ("residual_q10", "residual_q90")
    )


def martensite_alpha_per_k(comp, carbon=None):
    """Rate α of the martensite law f = 1 - exp[-α (Ms - T)], 1/K, not below 0.005.

    References
    ----------
    .. [1] S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495 (from memory).
    .. [2] Floor of 0.005/K; D. P. Koistinen & R. E. Marburger, Acta Metall. 7 (1959) 59, have 0.011
       for high-carbon steels (our choice).

    Examples
    --------
    >>> round(martensite_alpha_per_k({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}), 4)
    0.0196
    """
    c = content(comp, "C", carbon)
    alloy = sum(
        k * content(comp, s)
        for s, k in (("Mn", 0.14), ("Si", 0.21), ("Cr", 0.11), ("Ni", 0.08), ("Mo", 0.05))
    )
    return plain(
        np.maximum(1e-3 * (27.2 - alloy - 19.8 * (1.0 - np.exp(-1.56 * c))), ALPHA_FLOOR_PER_K)
    )


@dataclass(frozen=True)
class CriticalTemperatures:
    """Critical temperatures of one steel, °C.

    Attributes
    ----------
    ae1_c, ae3_c, ac1_c, ac3_c, bs_c, ms_c : Equilibrium (Ae), heating (Ac), bainite start,
        martensite start.
    spread : mapping of str to (float, float); least and greatest value the published formulas give
        ("ae1", "ae3", "ac1", "ac3", "bs", "ms").
    interval : mapping of str to (float, float); 80 % prediction interval of our own fits ("bs",
        "ms").
    method : Which formula each number came from.
    warnings : Contents outside the ranges of the formulas.
    """

    ae1_c: float
    ae3_c: float
    ac1_c: float
    ac3_c: float
    bs_c: float
    ms_c: float
    spread: Mapping[str, tuple[float, float]]
    interval: Mapping[str, tuple[float, float]]
    method: Mapping[str, str]
    warnings: tuple[Warn, ...]


#: Formulas that count for the spread of Bs: the true starts, not the kinetic limits.
_BS_TRUE = ("van_bohemen", "steven_haynes", "bodnar", "lee", "trzaska")


def critical_temperatures(steel) -> CriticalTemperatures:
    """Every critical temperature of `steel` with the spread of the published formulas.

    Examples
    --------
    >>> t = critical_temperatures({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20})
    >>> t.ms_c < t.bs_c < t.ae1_c < t.ae3_c
    True
    """
    steel = check_steel(steel)
    spread = {}
    for name, table, only in (
        ("ae1", formulas.AE1, None),
        ("ae3", formulas.AE3, None),
        ("ac1", formulas.AC1, None),
        ("ac3", formulas.AC3, None),
        ("bs", formulas.BAINITE_START, _BS_TRUE),
        ("ms", formulas.MARTENSITE_START, None),
    ):
        values = [float(f(steel)) for key, f in table.items() if only is None or key in only]
        spread[name] = (min(values), max(values))
    bs, ms = float(bainite_start_c(steel)), float(martensite_start_c(steel))
    interval = {
        name: tuple(float(value + end) for end in start_interval_c(name, steel.get("C")))
        for name, value in (("bs", bs), ("ms", ms))
    }
    values = {"ae1_c": ae1_c(steel), "ae3_c": ae3_c(steel), "ac1_c": ac1_c(steel)}
    values |= {"ac3_c": ac3_c(steel), "bs_c": bs, "ms_c": ms}
    method = {"ae1": "grange", "ae3": "grange", "ac1": "hougardy", "ac3": "hougardy"}
    method |= {"bs": "own", "ms": "own"}
    rest = {"spread": spread, "interval": interval, "method": method}
    return CriticalTemperatures(
        **{name: float(value) for name, value in values.items()},
        **{name: MappingProxyType(value) for name, value in rest.items()},
        warnings=tuple(contents_outside("temperatures", steel)),
    )
