"""Published formulas for the critical temperatures, °C, by quantity and name; nothing is fitted here.

Every formula takes `comp`, anything whose ``get(symbol)`` gives a content in wt% (a `Steel`, a dict, arrays that
broadcast), and `carbon`, which replaces the steel's own (enriched austenite).  What the originals leave out (elements,
ranges) is left out here too; `temperatures` chooses and warns.
"""

import numpy as np

from ..base.constants import ZERO_C_K
from ..base.tables import read_rows


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
