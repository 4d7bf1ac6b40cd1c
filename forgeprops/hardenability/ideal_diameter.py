"""Ideal diameter from chemistry: the bar that hardens to half martensite at its centre in an ideal quench."""

import functools
import itertools

import numpy as np

from ..base.arrays import plain
from ..base.constants import MM_PER_INCH
from ..base.errors import check_choice, check_flag
from ..base.ranges import Warn, contents_outside, outside
from ..base.tables import read_rows
from ..inputs.grades import check_steel
from ..inputs.steel import Steel
from .boron import boron_factor, content_of, effective_boron

#: Elements that have a factor; P and S are left out by the standard (their effects offset one another).
ELEMENTS_IN_FACTORS = ("C", "Mn", "Si", "Ni", "Cr", "Mo", "Cu", "V", "Zr", "B")

#: Change of the base diameter per ASTM grain-size number: mean ratio of neighbouring columns of the classic table
#: (data/constants/base_diameters.csv, from memory); a worked example (read) has 0.920 to 0.929 for numbers 4 to 8.
GRAIN_SIZE_STEP = 0.923

#: Boron that somebody meant to add, wt%, and the share of it that must be effective (our choice).
ADDED_BORON, EFFECTIVE_BORON = 0.0005, 0.5


@functools.cache
def _branches(element: str) -> tuple[tuple[float, list[float]], ...]:
    """Upper end, wt%, and coefficients, highest power first, of every branch of a factor."""
    rows = [r for r in read_rows("constants/multiplying_factors.csv") if r["element"] == element]
    return tuple((float(r["to_wt_pct"]), [float(r[f"a{i}"]) for i in (3, 2, 1, 0)]) for r in rows)


def _factor(element: str, content):
    branches = _branches(element)
    value = np.polyval(branches[0][1], content)
    for (upto, _), (_, coefficients) in itertools.pairwise(branches):
        value = np.where(content > upto, np.polyval(coefficients, content), value)
    return value


def _in_unit(inches, unit: str):
    unit = check_choice(unit, "unit", ("mm", "in"))
    return plain(inches * (MM_PER_INCH if unit == "mm" else 1.0))


def ideal_diameter_factors(steel) -> dict[str, float]:
    """Factors of the ideal diameter in inch, one per element; the carbon factor is the base diameter.

    The standard prints formulas and rounded tables; its carbon branch at 0.39-0.55 % and its nickel branch above 1.5 % do not
    quite meet their neighbours (0.5 % and 0.1 % of the factor).  Outside the ranges of the factors the last branch is continued;
    `ideal_diameter_warnings` says so.

    .. [1] ASTM A255-10 (2014), after M. A. Grossmann, Trans. AIME 150 (1942) 227-259, as restated in a metallurgy
       handbook (data/constants/multiplying_factors.csv) (read).
    """
    factors = {e: plain(_factor(e, content_of(steel, e))) for e in ELEMENTS_IN_FACTORS if e != "B"}
    return factors | {"B": boron_factor(steel)}


def _inches(steel):
    return functools.reduce(np.multiply, ideal_diameter_factors(steel).values())


#: Every zone of an estimate needs that of the same steel.
_inches_of = functools.lru_cache(maxsize=512)(_inches)


def ideal_diameter(steel, unit: str = "mm", grain_size: bool = False):
    """Ideal diameter of the standard: product of one factor per element.

    Parameters
    ----------
    steel : Steel
        Or any object whose ``get(element)`` gives wt%, as floats or as arrays (the result is then an array).
        Residual Ni, Cr, Mo, Cu count: a `Steel` fills absent ones by its stated default.
    unit : str
        "mm" (default) or "in".
    grain_size : bool
        False (default): austenite grain ASTM 7, as the standard assumes.  True: the base diameter is
        multiplied by 0.923 per grain-size number finer than 7 (`steel.grain_size_astm`); **an extension of
        ours**, not in the standard.

    Returns
    -------
    float
        Ideal diameter in `unit`.  Grossmann's own claim is 10-15 %.

    References
    ----------
    .. [1] Grain-size term: mean ratio of neighbouring columns of the classic base diameters, M. A.
       Grossmann 1942 (derived).

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> round(ideal_diameter(grade("4130")), 1), round(ideal_diameter(grade("1020")), 1)
    (68.8, 11.0)
    """
    steel = check_steel(steel)
    inches = (_inches_of if isinstance(steel, Steel) else _inches)(steel)
    if check_flag(grain_size, "grain_size"):
        grain = np.asarray(getattr(steel, "grain_size_astm", 7.0), dtype=float)
        inches = inches * GRAIN_SIZE_STEP ** (grain - 7.0)
    return _in_unit(inches, unit)


def ideal_diameter_upper(steel, unit: str = "mm"):
    """Upper estimate of the ideal diameter: the classic base diameter by carbon and grain size.

    The standard's carbon factor falls in proportion to carbon, the classic base diameter with its square root: it is 38 %
    larger at 0.20 % C, 13 % at 0.30 % C and the same from 0.40 % C on.  The standard is trusted for the end-quench curve,
    whose dividing factors belong to it; this is the upper end for low-carbon grades.  Never below `ideal_diameter` with
    its grain-size term.

    References
    ----------
    .. [1] M. A. Grossmann, Trans. AIME 150 (1942) 227-259, base diameters as tabulated in ASM handbooks
       (data/constants/base_diameters.csv) (from memory).

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> steel = grade("SCM420")
    >>> round(ideal_diameter_upper(steel) / ideal_diameter(steel), 2)
    1.38
    """
    steel = check_steel(steel)
    rows, carbon = read_rows("constants/base_diameters.csv"), content_of(steel, "C")
    root = np.sqrt([0.0, *(float(r["C_wt_pct"]) for r in rows)])
    base = np.interp(np.sqrt(carbon), root, [0.0, *(float(r["gs7_in"]) for r in rows)])
    ratio = np.maximum(base / _factor("C", carbon), 1.0)
    return _in_unit(ideal_diameter(steel, "in", grain_size=True) * ratio, unit)


def ideal_diameter_warnings(steel, grain_size: bool = False) -> tuple[Warn, ...]:
    """Contents outside the factors' range, boron without effect; with `grain_size` also the classic base diameters' range.

    >>> from forgeprops.inputs.steel import Steel
    >>> print(*ideal_diameter_warnings(Steel("boron steel", {"C": 0.3, "Mn": 1.2, "B": 0.002, "Ti": 0, "N": 0.008})))
    boron 0.002 wt% counts for little: nitrogen binds it. Titanium of 0.030 wt% would protect it, aluminium does not.
    """
    found = contents_outside("ideal_diameter", steel)
    if grain_size:
        grain = float(getattr(steel, "grain_size_astm", 7.0))
        found.append(outside("ideal_diameter_upper.C", float(steel.get("C"))))
        found.append(outside("ideal_diameter.grain_size", grain))
    boron = float(steel.get("B") or 0.0)
    if boron >= ADDED_BORON and effective_boron(steel) < EFFECTIVE_BORON * boron:
        titanium = 5.0 * (float(steel.get("N") or 0.0) - 0.002)
        text = (
            f"boron {boron:.3g} wt% counts for little: nitrogen binds it. Titanium of {titanium:.3f} wt% "
            "would protect it, aluminium does not."
        )
        found.append(Warn("ideal_diameter:boron", text))
    return tuple(w for w in found if w is not None)
