"""How fast austenite decomposes: additive rate equations for ferrite, pearlite and bainite, and martensite.

The rate equations are those of Li, Niebuhr, Meekisho & Atteridge, Metall. Mater. Trans. B 29 (1998) 661-672
(coefficients from memory), in rate form, which makes them exactly additive along any temperature curve:

    dX/dt = K(T) / S'(X),    S(X) = integral of dx / [x^(0.4 (1-x)) (1-x)^(0.4 x)] from 0 to X
    K(T)  = 2^(n G) (T0 - T)^m exp(-Q / R T) / F(composition)

X is the amount formed over what can form: for ferrite the equilibrium pro-eutectoid share at that temperature, for
pearlite and bainite what is not yet anything else.  That share of ferrite is the lever rule against the Ae3 line down to Ae1;
below it the extrapolated Acm line takes over, so that it falls with undercooling, as at the centre of a quenched 50 mm 1045 bar:
20 % ferrite where the lever rule says 42 % (``native/reactions.c``).  The constants stand in data/fits/kinetics.csv.

References
----------
.. [1] Rates of decomposition: M. V. Li et al., Metall. Mater. Trans. B 29 (1998) 661-672 (from memory).
.. [2] Most ferrite, slope of Ae3: R. A. Grange, Metal Progress 79 (April 1961) 73-75; Acm line and carbon of ferrite:
   W. D. Callister, Materials Science and Engineering, ch. 10 (read).
.. [3] Fall of the share of ferrite with undercooling: Esfahani, Babaei & Sarrami-Foroushani 2020, doi
   10.1016/j.matcom.2020.07.016 (read).
"""

import functools
import math
from collections.abc import Mapping

import numpy as np

from ..base.errors import InputError, check_kind, check_number
from ..base.tables import read_rows
from ..hardenability.boron import boron_factor
from .temperatures import FORMULAS

#: Gas constant, cal/(mol K), with the rounding of the rate equations.
GAS_CAL = 1.987
#: Bainite start of the rate equations, a kinetic limit.
kinetic_bainite_start_c = FORMULAS["bs"]["li"]
#: Slope of the Ae3 line, °C per wt% C: -323 °F of Grange.
AE3_SLOPE_C = 323.0 / 1.8
#: Slope of the Acm line, °C per wt% C: from (0.76 % C, 727 °C) to (2.1 % C, 1147 °C).
ACM_SLOPE_C = (1147.0 - 727.0) / (2.1 - 0.76)
#: Molybdenum at which its term in pearlite's factor bends, wt%, and its scale: sqrt(0.22) at 0.22 wt%, where the
#: steels of the published square root lie (our choice).
MO_HALF = 0.10
MO_SCALE = math.sqrt(0.22) * (1.0 + (MO_HALF / 0.22) ** 2)


@functools.cache
def constants(column: str = "value") -> dict[str, float]:
    """Constants of the rate equations by id; column "published" gives the uncalibrated set."""
    return {row["id"]: float(row[column]) for row in read_rows("fits/kinetics.csv")}


def check_constants(given) -> None:
    """Refuse what is no full set of the constants of the rate equations (`constants`)."""
    check_kind(given, Mapping, "constants")
    for name in constants():
        if name not in given:
            raise InputError(f"constants have no {name}; start from kinetics.constants().")
        check_number(given[name], name, -1e6, 1e6)


def mo_term(mo):
    """What stands for molybdenum, wt%, in pearlite's factor: ``Mo² / (Mo² + 0.10²)``, scaled; flat at zero.

    The published square root has an infinite slope at zero: what a mill calls "0.00" or "< 0.01" decided a face.

    .. [1] Form: of four that are smooth at zero, one of the two with the least error on steels left out (our choice).
    """
    return MO_SCALE * mo * mo / (mo * mo + MO_HALF**2)


def _linear(comp, carbon=None, k=None):
    """Linear parts of the three logarithms, before the floors and boron."""
    c = comp.get("C") if carbon is None else carbon
    mn, si, ni, cr, mo = (comp.get(e) for e in ("Mn", "Si", "Ni", "Cr", "Mo"))
    contents = {"c": c, "mn": mn, "si": si, "ni": ni, "cr": cr, "mo": mo}

    def ln_f(phase, *names, **own):
        terms = (k[f"{phase}_{name}"] * (contents | own)[name] for name in names)
        return sum(terms, k[f"{phase}_0"])

    ferrite = ln_f("ferrite", "c", "mn", "si", "ni", "cr", "mo")
    pearlite = ln_f("pearlite", "c", "mn", "si", "ni", "cr", "mo", mo=mo_term(mo))
    bainite = ln_f("bainite", "c", "mn", "ni", "cr", "mo")
    return ferrite, pearlite, bainite


def ln_composition_factors(comp, carbon=None, k=None):
    """Natural logarithms of the composition factors F for ferrite, pearlite and bainite.

    Contents in wt% through ``comp.get``; `carbon` replaces the steel's; `k` defaults to `constants()`.

    ``ln F = ln(exp(a + sum b_i x_i) + exp(f0)) + 1.25 ln BF`` for ferrite and pearlite, without the floor f0 for bainite: the
    factors are sums with a constant, so that lean steel does not transform at once.  Boron holds back all three.

    .. [1] M. V. Li, D. V. Niebuhr, L. L. Meekisho & D. G. Atteridge, Metall. Mater. Trans. B 29 (1998) 661-672
       (data/fits/kinetics.csv, column published) (from memory).
    .. [2] A sum with a constant: J. S. Kirkaldy & D. Venugopalan, Phase Transformations in Ferrous Alloys,
       AIME 1984, pp. 125-148 (from memory).
    .. [3] Constants in use: own fit of tests/fits/fit_kinetics.py to data/measured/air_cooled_bars.csv, 71 of 119 rows
       from memory (column value) (our own fit).
    .. [4] Boron: in solution it holds back nucleation, National Bureau of Standards, J. Res. 41 (1948) 93, doi
       10.6028/jres.041.043, abstract (read).
    .. [5] The 1.25: from the recalled band of 15B35H alone (data/fits/kinetics.csv, boron_delay) (our own fit).
    """
    k = k or constants()
    *slow, bainite = _linear(comp, carbon, k)
    delay = k["boron_delay"] * np.log(boron_factor(comp))
    floors = k["ferrite_f0"], k["pearlite_f0"]
    held = (np.logaddexp(f, f0) + delay for f, f0 in zip(slow, floors, strict=True))
    return (*held, bainite + delay)


def alloy_shares(comp, k=None):
    """Share of the factors of ferrite and pearlite that the composition makes; the floor makes the rest.

    .. [1] Slope of `ln_composition_factors` (derived).
    """
    k = k or constants()
    ferrite, pearlite, _ = _linear(comp, k=k)
    above = ferrite - k["ferrite_f0"], pearlite - k["pearlite_f0"]
    return tuple(1.0 / (1.0 + np.exp(-x)) for x in above)


_POINTS = 1025


@functools.lru_cache(maxsize=32)
def extent_tables(bainite_tail: float | None = None):
    """Tables of S(X) on even steps of sqrt(X), and of sqrt(X) on even steps of S, (2, 1025) each, and S(1), (2,).

    Row 0 is for ferrite and pearlite, row 1 for bainite, whose integrand carries ``exp(tail X^2)``, of one constant for all
    steels (by default that of `constants()`): the reaction slows down as it nears its end, which leaves some austenite to
    become martensite over a decade of cooling rates.  Near zero S grows as X^0.6, so that even steps of sqrt(X) keep linear
    interpolation accurate there.

    .. [1] Integral of M. V. Li et al., Metall. Mater. Trans. B 29 (1998) 661-672; tail of bainite: J. S. Kirkaldy &
       D. Venugopalan 1984 (from memory).
    """
    tail = constants()["bainite_tail"] if bainite_tail is None else bainite_tail
    # single precision: the engine holds the nodes so, and both agree to the last digit
    forward = np.array([_integral(0.0), _integral(tail)], np.float32).astype(float)
    root = np.linspace(0.0, 1.0, _POINTS)
    even = [np.interp(np.linspace(0.0, row[-1], _POINTS), row, root) for row in forward]
    return forward, np.array(even, np.float32).astype(float), forward[:, -1].copy()


def _integral(tail: float) -> np.ndarray:
    """Integral of exp(tail x^2) / [x^(0.4 (1-x)) (1-x)^(0.4 x)] from 0 to the squares of even steps."""
    # x = y^5 takes the singularities x^-0.4 and (1-x)^(-0.4 x) out of the ends; Gauss-Legendre on many cells
    nodes, weights = np.polynomial.legendre.leggauss(8)
    edges, total = np.linspace(0.0, 1.0, _POINTS) ** 2, np.zeros(_POINTS)
    for i in range(1, _POINTS):
        a, b = edges[i - 1], edges[i]
        lo, hi = (a**0.2, b**0.2) if b < 0.5 else ((1.0 - b) ** 0.2, (1.0 - a) ** 0.2)
        y = lo + (hi - lo) * 0.5 * (nodes + 1.0)
        x, jac = y**5 if b < 0.5 else 1.0 - y**5, 5.0 * y**4
        x = np.clip(x, 1e-300, 1.0 - 1e-16)
        f = np.exp(-0.4 * ((1.0 - x) * np.log(x) + x * np.log1p(-x)) + tail * x * x) * jac
        total[i] = total[i - 1] + 0.5 * (hi - lo) * float(weights @ f)
    return total
