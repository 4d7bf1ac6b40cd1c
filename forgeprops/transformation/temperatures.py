"""Critical temperatures of a steel, °C: one number each, the spread of the published formulas, an interval.

`comp` is anything whose ``get(symbol)`` gives a content in wt% (a `Steel`, a dict, arrays that broadcast), `carbon` the
carbon of the (enriched) austenite, instead of the steel's.  `method` names one of `FORMULAS`: as published, without what the
originals leave out (elements, ranges).
"""

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..base.arrays import plain
from ..base.constants import ZERO_C_K
from ..base.errors import check_choice
from ..base.ranges import Warn, contents_outside
from ..base.tables import read_rows
from ..inputs.grades import check_steel


def content(comp, symbol: str, carbon=None):
    """Content of `symbol` in wt%; `carbon` wins over the steel's own carbon, an element a dict lacks is 0."""
    value = carbon if symbol == "C" and carbon is not None else comp.get(symbol)
    return 0.0 if value is None else value


def _formula(row):
    """Formula of one row of ``data/constants/critical_temperatures.csv``, whose head gives its form."""
    terms = row["terms"].split()
    factors = dict(zip(terms[::2], map(float, terms[1::2]), strict=True))
    constant, root, fall, rate = (float(row[k] or 0) for k in ("constant", "rootC", "fall", "rate"))

    def formula(comp, carbon=None):
        c = content(comp, "C", carbon)
        found = constant + (root * np.sqrt(np.maximum(c, 0.0)) if root else 0.0)
        found = found + sum(k * content(comp, s, carbon) for s, k in factors.items())
        found = found - (fall * (1.0 - np.exp(-rate * c)) if fall else 0.0)
        if row["unit"] == "K":
            return found - ZERO_C_K
        return found if row["unit"] == "°C" else (found - 32.0) / 1.8

    return formula


def _andrews_product(comp, carbon=None):
    """512 - 453 C + 217 C² - 71.5 C Mn - 67.6 C Cr + 15 Cr - 16.9 Ni - 9.5 Mo.

    Carbon above the vertex of the parabola is held there, so that Ms never rises with carbon.
    """
    mn, ni, cr, mo = (content(comp, s) for s in ("Mn", "Ni", "Cr", "Mo"))
    vertex = (453.0 + 71.5 * mn + 67.6 * cr) / (2.0 * 217.0)
    c = np.minimum(content(comp, "C", carbon), vertex)
    by_carbon = c * (-453.0 + 217.0 * c - 71.5 * mn - 67.6 * cr)
    return 512.0 + by_carbon - 16.9 * ni + 15.0 * cr - 9.5 * mo


def _li(comp, carbon=None):
    """637 - 58 C - 35 Mn - 15 Ni - 34 Cr - 41 Mo, summed as the rate equations are, to the last digit."""
    c, mn, ni, cr, mo = (content(comp, s, carbon) for s in ("C", "Mn", "Ni", "Cr", "Mo"))
    return 637.0 - 58.0 * c - 35.0 * mn - 15.0 * ni - 34.0 * cr - 41.0 * mo


def _lee(comp, carbon=None):
    """745 - 110 C - 59 Mn - 39 Ni - 68 Cr - 106 Mo + 17 Mn Ni + 6 Cr² + 29 Mo²."""
    c, mn, ni, cr, mo = (content(comp, s, carbon) for s in ("C", "Mn", "Ni", "Cr", "Mo"))
    linear = 745.0 - 110.0 * c - 59.0 * mn - 39.0 * ni - 68.0 * cr - 106.0 * mo
    return linear + 17.0 * mn * ni + 6.0 * cr * cr + 29.0 * mo * mo


_OTHERS = {"andrews_product": _andrews_product, "li": _li, "lee": _lee}
#: Formulas by quantity ("ae1", "ae3", "ac1", "ac3", "bs", "ms") and name.
FORMULAS: dict[str, dict] = {}
for _row in read_rows("constants/critical_temperatures.csv"):
    _made = _formula(_row) if _row["constant"] else _OTHERS[_row["formula"]]
    FORMULAS.setdefault(_row["quantity"], {})[_row["formula"]] = _made

#: Floors, °C: what a formula gives below is extrapolation in carbon, not metallurgy (our choice).
MS_FLOOR_C, BS_FLOOR_C, AE3_FLOOR_C = -100.0, 200.0, 400.0
#: Austenite grain at which our Ms holds without correction, µm (about ASTM 7); the fit's own choice.
REFERENCE_GRAIN_UM = 25.0
#: Rate of van Bohemen's carbon term, 1/wt%, which our corrections share, and products in our terms.
_CARBON_RATE = {"ms": 0.96, "bs": 1.33}
_PRODUCTS = {"NiCr": ("Ni", "Cr"), "CrMo": ("Cr", "Mo")}
#: Carbon up to which the interval of Ms and Bs goes with carbon, wt%.
INTERVAL_CARBON = 0.7


def _by(quantity: str, method: str, comp, carbon=None):
    formulas, label = FORMULAS[quantity], f"method for {quantity.capitalize()}"
    return formulas[check_choice(method, label, formulas)](comp, carbon)


def ae1_c(comp, method: str = "grange"):
    """Lower equilibrium temperature Ae1; the formulas agree within about 10 °C."""
    return _by("ae1", method, comp)


def ae3_c(comp, carbon=None, method: str = "grange"):
    """Upper equilibrium temperature Ae3, not below 400 °C (below Ae1 its extrapolation, the ferrite limit); the formulas spread by
    about ±15 °C."""
    return plain(np.maximum(_by("ae3", method, comp, carbon), AE3_FLOOR_C))


def ac1_c(comp, method: str = "hougardy"):
    """Temperature at which austenite appears on heating (about 2-3 K/min), Ac1."""
    return _by("ac1", method, comp)


def ac3_c(comp, carbon=None, method: str = "hougardy"):
    """Temperature at which the last ferrite dissolves on heating, Ac3; never below Ac1 of the same method.

    >>> steel = {"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}
    >>> round(ac1_c(steel)), round(ac3_c(steel))
    (745, 823)
    """
    return plain(np.maximum(_by("ac3", method, comp, carbon), ac1_c(comp, method)))


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
    first, *second = _PRODUCTS.get(term, (term,))
    value = content(comp, first, carbon)
    return value * content(comp, second[0], carbon) if second else value


def _start(quantity: str, method: str, comp, carbon, grain_um=REFERENCE_GRAIN_UM):
    """Ms or Bs by a published formula, or ("own") by van Bohemen's with our fitted correction."""
    label, formulas = f"method for {quantity.capitalize()}", FORMULAS[quantity]
    if check_choice(method, label, ("own", *formulas)) != "own":
        return formulas[method](comp, carbon)
    value = formulas["van_bohemen"](comp, carbon)
    for term, k in _fitted(quantity).items():
        if not term.startswith("residual"):
            value = value + k * start_term(quantity, term, comp, carbon, grain_um)
    return value


def martensite_start_c(comp, carbon=None, method: str = "own", grain_um=None):
    """Martensite start Ms, not below -100 °C; finite up to 1.2 wt% carbon.

    "own" is van Bohemen's formula with a shrunken correction fitted to 527 measurements.  The austenite grain, µm, is
    used by "own" alone (2.6-56 µm in the data, 25 µm where it is not given): fine grain lowers Ms.

    .. [1] Correction: own fit to 527 measurements (data/measured/martensite_start.csv) by
       tests/fits/fit_start_temperatures.py (data/fits/start_temperature_fits.csv) (our own fit).
    """
    grain_um = REFERENCE_GRAIN_UM if grain_um is None else grain_um
    return plain(np.maximum(_start("ms", method, comp, carbon, grain_um), MS_FLOOR_C))


def martensite_grain_coefficient(method: str = "own") -> float:
    """Shift of Ms by austenite grain, °C·µm^½: times (1/√d − 1/√25 µm); 0 for formulas without grain."""
    return _fitted("ms")["grain"] if method == "own" else 0.0


def bainite_start_c(comp, carbon=None, method: str = "own"):
    """Bainite start Bs, not below 200 °C: the highest temperature at which any bainite forms.

    "own" is van Bohemen's formula with a shrunken correction fitted to 85 measurements with Si < 0.6 %; "kirkaldy" and
    "li" are kinetic limits, 20-130 °C lower, only for the rate equations they belong to.

    .. [1] Correction: own fit to 85 of the 103 measurements in Schuscha et al., Acta Mater. (2025)
       doi 10.1016/j.actamat.2025.121131, supplement (data/fits/start_temperature_fits.csv) (our own fit).
    """
    return plain(np.maximum(_start("bs", method, comp, carbon), BS_FLOOR_C))


def start_interval_c(quantity: str, carbon):
    """What to add to our Ms ("ms") or Bs ("bs") at a carbon content, wt%, for the ends of its 80 % interval, K.

    Lines through the tenth and ninetieth percentile of measured minus predicted, every source predicted without it.
    """
    fitted = _fitted(check_choice(quantity, "quantity", ("ms", "bs")))
    carbon, ends = np.minimum(carbon, INTERVAL_CARBON), ("residual_q10", "residual_q90")
    return tuple(plain(fitted[end] + fitted[f"{end}_C"] * carbon) for end in ends)


def martensite_alpha_per_k(comp, carbon=None):
    """Rate α of the martensite law f = 1 - exp[-α (Ms - T)], 1/K, not below 0.005.

    1000 α = 27.2 - (0.14 Mn + 0.21 Si + 0.11 Cr + 0.08 Ni + 0.05 Mo) - 19.8 (1 - exp(-1.56 C)).

    .. [1] S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495 (from memory).
    .. [2] Floor of 0.005/K; D. P. Koistinen & R. E. Marburger, Acta Metall. 7 (1959) 59, have 0.011 for
       high-carbon steels (our choice).
    """
    c, *alloys = (content(comp, s, carbon) for s in ("C", "Mn", "Si", "Cr", "Ni", "Mo"))
    alloy = sum(k * x for k, x in zip((0.14, 0.21, 0.11, 0.08, 0.05), alloys, strict=True))
    alpha = 1e-3 * (27.2 - alloy - 19.8 * (1.0 - np.exp(-1.56 * c)))
    return plain(np.maximum(alpha, 0.005))


@dataclass(frozen=True)
class CriticalTemperatures:
    """Critical temperatures of one steel, °C: equilibrium (Ae), heating (Ac), bainite start, martensite start."""

    ae1_c: float
    ae3_c: float
    ac1_c: float
    ac3_c: float
    bs_c: float
    ms_c: float
    #: Least and greatest value the published formulas give ("ae1", "ae3", "ac1", "ac3", "bs", "ms").
    spread: Mapping[str, tuple[float, float]]
    interval: Mapping[str, tuple[float, float]]  #: 80 % interval of our own fits ("bs", "ms")
    method: Mapping[str, str]  #: which formula each number came from
    warnings: tuple[Warn, ...]  #: contents outside the ranges of the formulas


#: Formulas that do not count for the spread of Bs: kinetic limits, not true starts.
_KINETIC = ("kirkaldy", "li")


def critical_temperatures(steel) -> CriticalTemperatures:
    """Every critical temperature of `steel` with the spread of the published formulas.

    Examples
    --------
    >>> t = critical_temperatures({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20})
    >>> t.ms_c < t.bs_c < t.ae1_c < t.ae3_c
    True
    """
    steel, spread, interval = check_steel(steel), {}, {}
    of = {"ae1": ae1_c, "ae3": ae3_c, "ac1": ac1_c, "ac3": ac3_c}
    of |= {"bs": bainite_start_c, "ms": martensite_start_c}
    values = {name: float(f(steel)) for name, f in of.items()}
    for name, formulas in FORMULAS.items():
        found = [float(f(steel)) for key, f in formulas.items() if key not in _KINETIC]
        spread[name] = (min(found), max(found))
    for name in ("bs", "ms"):
        ends = start_interval_c(name, steel.get("C"))
        interval[name] = tuple(float(values[name] + end) for end in ends)
    method = {"ae1": "grange", "ae3": "grange", "ac1": "hougardy", "ac3": "hougardy"}
    method |= {"bs": "own", "ms": "own"}
    rest = (MappingProxyType(m) for m in (spread, interval, method))
    warnings = tuple(contents_outside("temperatures", steel))
    return CriticalTemperatures(*values.values(), *rest, warnings)
