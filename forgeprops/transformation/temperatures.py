"""Critical temperatures of a steel: one number each, the spread of the published formulas, an honest
interval."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..errors import check_choice
from ..ranges import Warn, outside, register_range
from . import temperature_formulas as formulas
from .temperature_formulas import content

__all__ = [
    "CriticalTemperatures", "ac1_c", "ac3_c", "ae1_c", "ae3_c", "bainite_start_c", "critical_temperatures",
    "martensite_alpha_per_k", "martensite_start_c",
]

#: Floors, °C: what a formula gives below is extrapolation in carbon, not metallurgy.  Our own limits.
MS_FLOOR_C = -100.0
BS_FLOOR_C = 200.0
AE3_FLOOR_C = 400.0
#: Least rate of the martensite law, 1/K (Koistinen & Marburger's high-carbon steels have 0.011).  Our own
#: limit.
ALPHA_FLOOR_PER_K = 0.005

for _symbol, _high, _what in (("C", 0.6, "carbon"), ("Si", 1.0, "silicon"), ("Mn", 2.0, "manganese"),
                              ("Ni", 5.0, "nickel"), ("Cr", 3.5, "chromium"), ("Mo", 1.0, "molybdenum")):
    register_range(f"temperatures.{_symbol}", f"{_what} for the critical temperatures", 0.0, _high, "wt%",
                   "Steven & Haynes 1956 and Andrews 1965, from memory; Si: range of the measured sets")


def _pick(table, method, what):
    return table[check_choice(method, f"method for {what}", table)]


def _plain(value):
    return float(value) if np.ndim(value) == 0 else value


def ae1_c(comp, method: str = "grange"):
    """Lower equilibrium temperature Ae1.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    method : {"grange", "andrews", "eldis"}

    Returns
    -------
    float or ndarray
        Ae1, °C.

    Source
    ------
    See `temperature_formulas`; the three agree within about 10 °C for low-alloy steel.

    Examples
    --------
    >>> round(ae1_c({"C": 0.20, "Mn": 0.45, "Si": 0.25}), 1)
    722.1
    """
    return _pick(formulas.AE1, method, "Ae1")(comp)


def ae3_c(comp, carbon=None, method: str = "grange"):
    """Upper equilibrium temperature Ae3; below Ae1 its extrapolation (used for the ferrite limit).

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon of the austenite in wt%, instead of the steel's.
    method : {"grange", "andrews", "andrews_long", "eldis"}

    Returns
    -------
    float or ndarray
        Ae3, °C, not below 400.

    Source
    ------
    See `temperature_formulas`; they spread by about ±15 °C.

    Examples
    --------
    >>> round(ae3_c({"C": 0.40, "Mn": 0.85, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}), 1)
    780.0
    """
    return _plain(np.maximum(_pick(formulas.AE3, method, "Ae3")(comp, carbon), AE3_FLOOR_C))


def ac1_c(comp, method: str = "hougardy"):
    """Temperature at which austenite appears on heating (about 2-3 K/min), Ac1, °C.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    method : {"hougardy", "steelmaker", "trzaska"}

    Source
    ------
    See `temperature_formulas`.

    Examples
    --------
    >>> round(ac1_c({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}))
    745
    """
    return _pick(formulas.AC1, method, "Ac1")(comp)


def ac3_c(comp, carbon=None, method: str = "hougardy"):
    """Temperature at which the last ferrite dissolves on heating, Ac3, °C; never below Ac1 of the same
    method.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon in wt%, instead of the steel's.
    method : {"hougardy", "steelmaker", "trzaska"}

    Source
    ------
    See `temperature_formulas`.

    Examples
    --------
    >>> round(ac3_c({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}))
    823
    """
    return _plain(np.maximum(_pick(formulas.AC3, method, "Ac3")(comp, carbon), ac1_c(comp, method)))


def martensite_start_c(comp, carbon=None, method: str = "van_bohemen"):
    """Martensite start Ms.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon of the austenite in wt%, instead of the steel's; up to 1.2 the result stays finite.
    method : str
        A published formula: "van_bohemen", "andrews", "andrews_product", "steven_haynes", "kung_rayment",
        "capdevila", "steelmaker", "trzaska".

    Returns
    -------
    float or ndarray
        Ms, °C, not below -100.

    Source
    ------
    See `temperature_formulas`.

    Examples
    --------
    >>> steel = {"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}
    >>> round(martensite_start_c(steel, method="andrews"))
    384
    """
    return _plain(np.maximum(_pick(formulas.MARTENSITE_START, method, "Ms")(comp, carbon), MS_FLOOR_C))


def bainite_start_c(comp, carbon=None, method: str = "van_bohemen"):
    """Bainite start Bs: the highest temperature at which any bainite forms.

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon of the austenite in wt%, instead of the steel's.
    method : str
        A published formula: "van_bohemen", "steven_haynes", "bodnar", "lee", "trzaska" (true starts);
        "kirkaldy", "li" (kinetic limits, 20-130 °C lower, only for the rate equations they belong to).

    Returns
    -------
    float or ndarray
        Bs, °C, not below 200.

    Source
    ------
    See `temperature_formulas`.

    Examples
    --------
    >>> round(bainite_start_c({"C": 0.30, "Mn": 0.50, "Cr": 0.95, "Mo": 0.20}, method="steven_haynes"))
    621
    """
    return _plain(np.maximum(_pick(formulas.BAINITE_START, method, "Bs")(comp, carbon), BS_FLOOR_C))


def martensite_alpha_per_k(comp, carbon=None):
    """Rate α of the martensite law f = 1 - exp[-α (Ms - T)].

    Parameters
    ----------
    comp : Steel or mapping
        Contents in wt% through ``get``; arrays broadcast.
    carbon : float or ndarray, optional
        Carbon of the austenite in wt%, instead of the steel's.

    Returns
    -------
    float or ndarray
        α, 1/K, not below 0.005.

    Source
    ------
    S. M. C. van Bohemen, Mater. Sci. Technol. 28 (2012) 487-495, from memory.  Koistinen & Marburger's 0.011
    (Acta Metall. 7 (1959) 59) belongs to high-carbon steels.

    Examples
    --------
    >>> round(martensite_alpha_per_k({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20}), 4)
    0.0196
    """
    c = content(comp, "C", carbon)
    alloy = sum(k * content(comp, s) for s, k in (("Mn", 0.14), ("Si", 0.21), ("Cr", 0.11), ("Ni", 0.08),
                                                  ("Mo", 0.05)))
    return _plain(np.maximum(1e-3 * (27.2 - alloy - 19.8 * (1.0 - np.exp(-1.56 * c))), ALPHA_FLOOR_PER_K))


@dataclass(frozen=True)
class CriticalTemperatures:
    """Critical temperatures of one steel, °C.

    Attributes
    ----------
    ae1_c, ae3_c, ac1_c, ac3_c, bs_c, ms_c : float
        Equilibrium (Ae), heating (Ac), bainite start, martensite start.
    spread : mapping of str to (float, float)
        Least and greatest value the published formulas give ("ae1", "ae3", "ac1", "ac3", "bs", "ms").
    interval : mapping of str to (float, float)
        80 % prediction interval of our own fits ("bs", "ms").
    method : mapping of str to str
        Which formula each number came from.
    warnings : tuple of Warn
        Contents outside the ranges of the formulas.
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

    Parameters
    ----------
    steel : Steel or mapping
        Contents in wt% through ``get``.

    Returns
    -------
    CriticalTemperatures

    Examples
    --------
    >>> t = critical_temperatures({"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20})
    >>> t.ms_c < t.bs_c < t.ae1_c < t.ae3_c
    True
    """
    spread = {}
    for name, table, only in (("ae1", formulas.AE1, None), ("ae3", formulas.AE3, None),
                              ("ac1", formulas.AC1, None), ("ac3", formulas.AC3, None),
                              ("bs", formulas.BAINITE_START, _BS_TRUE),
                              ("ms", formulas.MARTENSITE_START, None)):
        values = [float(f(steel)) for key, f in table.items() if only is None or key in only]
        spread[name] = (min(values), max(values))
    warnings = [w for s in ("C", "Si", "Mn", "Ni", "Cr", "Mo")
                if (w := outside(f"temperatures.{s}", float(content(steel, s)))) is not None]
    return CriticalTemperatures(
        ae1_c=float(ae1_c(steel)), ae3_c=float(ae3_c(steel)), ac1_c=float(ac1_c(steel)),
        ac3_c=float(ac3_c(steel)), bs_c=float(bainite_start_c(steel)), ms_c=float(martensite_start_c(steel)),
        spread=spread, interval={},
        method={"ae1": "grange", "ae3": "grange", "ac1": "hougardy", "ac3": "hougardy", "bs": "van_bohemen",
                "ms": "van_bohemen"},
        warnings=tuple(warnings))
