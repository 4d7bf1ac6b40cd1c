"""Moment against curvature of a bored round bar (the hosel), elastic to plastic, on a flow curve.

Symbols: R, r outside and bore radius (mm), k curvature (1/mm), E Young's modulus, c = YS/(E k) half-depth
of the elastic core.  Plane sections, no ovalisation, tension and compression alike.  Units N, mm, MPa, so
moments are N mm.

All functions take floats or arrays (NumPy broadcasting); a single case is a batch of one.
"""

from __future__ import annotations

import functools
import math

import numpy as np

from ..engine.compiled import compiled
from ..strength.tensile import FlowCurve

__all__ = [
    "curvature",
    "eccentric_section",
    "elastic_modulus_mm3",
    "moment_nmm",
    "moment_slope",
    "plastic_modulus_mm3",
    "power_law_moment_nmm",
    "second_moment_mm4",
    "shape_factor",
]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "second_moment_mm4": ("tube_section",),
    "elastic_modulus_mm3": ("tube_section",),
    "plastic_modulus_mm3": ("tube_section",),
    "shape_factor": ("tube_section",),
    "power_law_moment_nmm": ("moment_curvature",),
    "moment_slope": ("moment_curvature",),
    "moment_nmm": ("moment_curvature",),
    "curvature": ("moment_curvature",),
    "eccentric_section": ("eccentric_bore",),
}


def second_moment_mm4(outside_mm, bore_mm=0.0):
    """Second moment of area π (D⁴ − d⁴)/64, mm⁴ (Roark, Table A.1, as read in a public worksheet)."""
    return math.pi / 64.0 * (outside_mm**4 - bore_mm**4)


def elastic_modulus_mm3(outside_mm, bore_mm=0.0):
    """Elastic section modulus I/(D/2), mm³ (Roark, Table A.1, as read in a public worksheet)."""
    return 2.0 * second_moment_mm4(outside_mm, bore_mm) / outside_mm


def plastic_modulus_mm3(outside_mm, bore_mm=0.0):
    """Plastic section modulus (D³ − d³)/6, mm³ (Roark, Table A.1, as read in a public worksheet).

    Examples
    --------
    >>> round(plastic_modulus_mm3(200.0))       # published: solid 200 mm bar
    1333333
    """
    return (outside_mm**3 - bore_mm**3) / 6.0


def shape_factor(outside_mm, bore_mm=0.0):
    """Plastic over elastic modulus: 16/(3π) for a solid bar, 4/π for a thin ring.

    Examples
    --------
    >>> round(shape_factor(13.5, 9.4), 4)
    1.4701
    """
    return plastic_modulus_mm3(outside_mm, bore_mm) / elastic_modulus_mm3(outside_mm, bore_mm)


def power_law_moment_nmm(outside_mm, bore_mm, strength_mpa, exponent, curvature_per_mm):
    """Moment of a tube whose stress is K eⁿ (no elastic part): K kⁿ J, N mm.

    J = 2 (Rⁿ⁺³ − rⁿ⁺³) B(n/2 + 1, 3/2) with the Euler beta function; n = 0 gives the plastic modulus, n = 1
    the second moment.  Derived here from equilibrium.

    Examples
    --------
    >>> round(power_law_moment_nmm(13.5, 9.4, 700.0, 0.2, 0.0021) / 1000, 3)
    74.358
    """
    n = exponent
    beta = math.gamma(n / 2 + 1) * math.gamma(1.5) / math.gamma(n / 2 + 2.5)
    big, small = outside_mm / 2.0, bore_mm / 2.0
    return strength_mpa * curvature_per_mm**n * 2.0 * (big ** (n + 3) - small ** (n + 3)) * beta


# ---- the flow curve's moment -------------------------------------------------------------------------------

#: t √(1+t) as a polynomial in x = 1 − t on 0..1, lowest power first; degree 9 is exact to 2e-8.
_SHAPE = (
    np.polynomial.Chebyshev.interpolate(
        lambda x: (1.0 - x) * np.sqrt(2.0 - x), 9, domain=[0.0, 1.0]
    )
    .convert(kind=np.polynomial.Polynomial)
    .coef
)


def _disc(radius, youngs, yield_mpa, starts, hardening, power, terms, k):
    """Moment of a solid disc at curvature k and its slope; see `moment_slope`."""
    cube = radius * radius * radius
    reach = yield_mpa / (youngs * k * radius)
    sine = min(reach, 1.0)
    cosine = math.sqrt((1.0 - sine) * (1.0 + sine))
    core = 0.5 * math.asin(sine) - 0.5 * sine * cosine * (
        1.0 - 2.0 * sine * sine
    )  # p/2 - sin(4p)/8
    # below yield the closed form is continued by the elastic line
    moment = (
        yield_mpa * cube * (core / sine + 4.0 / 3.0 * cosine * cosine * cosine) / max(reach, 1.0)
    )
    slope = youngs * cube * radius * core
    left = 1.0 - starts / (k * radius)
    if left > 0.0 and hardening > 0.0:
        # the integral of (t - u)^m t sqrt(1 - t^2) from u to 1: with 1 - t = (1 - u)(1 - s) it is
        # s^m (1 - s)^1/2 times a polynomial, so each power is an Euler beta function
        value = 0.0
        change = 0.0
        for j in range(terms.shape[0] - 1, -1, -1):
            value = value * left + terms[j]
            change = change * left + (power + 1.5 + j) * terms[j]
        factor = 4.0 * hardening * cube * math.sqrt(left) * (left * k * radius) ** power
        moment += factor * left * value
        slope += factor * (power * left * value + (1.0 - left) * change) / k
    return moment, slope


#: Gamma(m + 1)/Gamma(m + 5/2) for m on 0..1, where exponents lie, as a polynomial in 2 m - 1 (to 1e-13).
_GAMMA_RATIO = np.polynomial.chebyshev.cheb2poly(
    np.polynomial.chebyshev.chebinterpolate(
        np.vectorize(lambda x: math.gamma(0.5 * x + 1.5) / math.gamma(0.5 * x + 3.0)), 18
    )
)


def _terms_of(power, terms):
    """Fill the coefficients of the hardening integral for an exponent: b_j B(m + 1, j + 3/2)."""
    ratio = 0.0
    if power <= 1.0:
        x = 2.0 * power - 1.0
        for j in range(_GAMMA_RATIO.shape[0] - 1, -1, -1):
            ratio = ratio * x + _GAMMA_RATIO[j]
    else:
        ratio = math.gamma(power + 1.0) / math.gamma(power + 2.5)
    first = 0.5 * math.sqrt(math.pi) * ratio
    for j in range(terms.shape[0]):
        terms[j] = _SHAPE[j] * first
        first *= (j + 1.5) / (power + j + 2.5)  # B(a, b + 1) = B(a, b) b/(a + b)


def _tube(case, terms, k):
    """Moment of a tube and its slope; `case` is a row of `_cases`."""
    outer, outer_slope = _disc(0.5 * case[0], case[2], case[3], case[4], case[5], case[6], terms, k)
    if case[1] <= 0.0:
        return outer, outer_slope
    inner, inner_slope = _disc(0.5 * case[1], case[2], case[3], case[4], case[5], case[6], terms, k)
    return outer - inner, outer_slope - inner_slope


#: Newton steps allowed; 6 to 9 are needed from far, 2 to 4 from the neighbour's curvature.
_STEPS = 60


def _solved(case, terms, target, start):
    """Curvature that carries a moment and the slope there: Newton between brackets."""
    low = target / (
        case[2] * _QUARTER * (case[0] ** 4 - case[1] ** 4)
    )  # elastic: plastic flow only softens
    k = max(start, low)
    high = math.inf
    slope = 0.0
    for _ in range(_STEPS):
        value, slope = _tube(case, terms, k)
        miss = value - target
        if miss < 0.0:
            low = k
        elif miss > 0.0:
            high = k
        new = k - miss / slope
        # the curve bends both ways (plateau, then hardening): a step out of the bracket is replaced by its
        # middle
        if miss != 0.0 and (new <= low or new >= high):
            new = 0.5 * (low + high) if high < math.inf else 2.0 * low
        # the error after a Newton step is of the order of the step squared
        done = abs(new - k) <= 1e-9 * k
        k = new
        if done:
            break
    return k, slope


_QUARTER = math.pi / 64.0


def _moments(cases, curvatures, moment, slope):
    terms = np.empty(_SHAPE.shape[0])
    for i in range(cases.shape[0]):
        _terms_of(cases[i, 6], terms)
        moment[i], slope[i] = _tube(cases[i], terms, curvatures[i])


def _curvatures(cases, moments, start, out):
    terms = np.empty(_SHAPE.shape[0])
    for row in range(cases.shape[0]):
        guess = start[row]
        for i in range(cases.shape[1]):
            case = cases[row, i]
            _terms_of(case[6], terms)
            out[row, i], slope = _solved(case, terms, moments[row, i], guess)
            if i + 1 < cases.shape[1]:  # neighbours are alike: along the slope to the next moment
                guess = out[row, i] + (moments[row, i + 1] - moments[row, i]) / slope


@functools.cache
def _loops():
    from numba.extending import register_jitable

    for part in (_disc, _terms_of, _tube, _solved):
        register_jitable(part)
    return compiled(_moments), compiled(_curvatures)


def _cases(outside_mm, bore_mm, curve: FlowCurve, *others):
    """Sections and flow curves as rows of numbers, and the other arrays in the same shape."""
    given = (
        outside_mm,
        bore_mm,
        curve.youngs_mpa,
        curve.yield_mpa,
        curve.hardening_starts,
        curve.hardening_mpa,
        curve.hardening_power,
        *others,
    )
    arrays = np.broadcast_arrays(*(np.asarray(x, dtype=float) for x in given))
    cases = np.empty((*arrays[0].shape, 7))
    for i in range(7):
        cases[..., i] = arrays[i]
    return cases, *arrays[7:]


def moment_slope(outside_mm, bore_mm, curve: FlowCurve, curvature_per_mm):
    """Moment (N mm) and its slope dM/dk (N mm²) at a curvature above 0.

    The elastic–perfectly plastic part is the closed form for a disc, Ms = YS R³ [(p − sin(4p)/4)/(2 sin p)
    + (4/3) cos³p] with sin p = c/R, outer disc less bore (derived here from equilibrium); the hardening
    part is 4 K (kR)^m R³ ∫ (t − u)^m t √(1−t²) dt from u = e₁/(kR) to 1, a series of Euler beta functions.

    Parameters
    ----------
    outside_mm, bore_mm : float or array
        Bore 0: solid.
    curve : FlowCurve
        Fields may be arrays.
    curvature_per_mm : float or array
        Above 0.

    Examples
    --------
    >>> curve = FlowCurve(205_000.0, 350.0, 0.0, 0.0, 0.5)              # perfectly plastic
    >>> m, _ = moment_slope(13.5, 9.4, curve, 2 * 350 / (205_000 * 6.75))
    >>> round(float(m) / 1000, 2)
    89.28
    """
    cases, k = _cases(outside_mm, bore_mm, curve, curvature_per_mm)
    moment, slope = np.empty(k.shape), np.empty(k.shape)
    _loops()[0](cases.reshape(-1, 7), k.ravel(), moment.reshape(-1), slope.reshape(-1))
    return moment, slope


def moment_nmm(outside_mm, bore_mm, curve: FlowCurve, curvature_per_mm):
    """Moment at a curvature, N mm (see `moment_slope`)."""
    return moment_slope(outside_mm, bore_mm, curve, curvature_per_mm)[0]


def curvature(outside_mm, bore_mm, curve: FlowCurve, moment, start=None):
    """Curvature that carries a moment, 1/mm (Newton between brackets).

    Parameters
    ----------
    moment : float or array
        N mm, above 0.
    start : float or array, optional
        A first guess, 1/mm; the result does not depend on it.  Along the last axis neighbours help each
        other.

    Examples
    --------
    >>> from forgeprops.strength.tensile import strength
    >>> curve = strength(150, branch="ferrite-pearlite").curve
    >>> k = curvature(13.4, 9.4, curve, 90_000.0)
    >>> round(float(moment_nmm(13.4, 9.4, curve, k)), 3)
    90000.0
    """
    cases, target, guess = _cases(
        outside_mm, bore_mm, curve, moment, 0.0 if start is None else start
    )
    wide = target.shape[-1] if target.ndim else 1
    found = np.empty(target.shape)
    _loops()[1](
        cases.reshape(-1, wide, 7),
        target.reshape(-1, wide),
        guess.reshape(-1, wide)[:, 0].copy(),
        found.reshape(-1, wide),
    )
    return found


# ---- eccentric bore ----------------------------------------------------------------------------------------

# Fixed nodes: y = a + (b − a) v²(3 − 2v) takes the root at the rim and the power at the yield front out of
# the integrand.
_V, _W = np.polynomial.legendre.leggauss(16)
_V, _W = 0.5 * (_V + 1.0), 0.5 * _W
_S = _V * _V * (3.0 - 2.0 * _V)
_DS = 6.0 * _V * (1.0 - _V) * _W


def _disc_sums(centre, radius, curve: FlowCurve, k):
    """Force and moment (about the neutral axis at 0) of a disc whose centre lies `centre` from the axis."""
    ends = [
        np.full_like(centre, x) if np.ndim(x) == 0 else x
        for x in (
            -curve.hardening_starts / k,
            -curve.yield_mpa / curve.youngs_mpa / k,
            curve.yield_mpa / curve.youngs_mpa / k,
            curve.hardening_starts / k,
        )
    ]
    low, high = centre - radius, centre + radius
    cuts = [low, *(np.clip(e, low, high) for e in ends), high]
    force, moment = 0.0, 0.0
    for a, b in zip(cuts[:-1], cuts[1:], strict=True):
        y = a[..., None] + (b - a)[..., None] * _S
        width = 2.0 * np.sqrt(np.maximum(radius**2 - (y - centre[..., None]) ** 2, 0.0))
        strain = np.abs(k * y)
        rise = np.maximum(strain - curve.hardening_starts, 0.0)
        flat = np.minimum(curve.youngs_mpa * strain, curve.yield_mpa)
        stress = np.sign(y) * (flat + curve.hardening_mpa * rise**curve.hardening_power)
        share = stress * width * _DS * (b - a)[..., None]
        force, moment = force + share.sum(-1), moment + (share * y).sum(-1)
    return force, moment


def eccentric_section(
    outside_mm: float,
    bore_mm: float,
    eccentricity_mm: float,
    curve: FlowCurve,
    curvature_per_mm: float,
) -> tuple[float, float]:
    """Moment (N mm) and greatest fibre distance (mm) of a tube with an off-centre bore, bent that way.

    The neutral axis is found from zero axial force; the fibre on the thin side is then farther than the
    outside radius. Bent across the offset the tube behaves like a centred one, so this is the worse
    direction.

    Parameters
    ----------
    outside_mm, bore_mm, eccentricity_mm : float
        Offset of the bore's axis, less than the wall.
    curve : FlowCurve
    curvature_per_mm : float
        Above 0.

    Source: equilibrium of the section, solved here (fixed Gauss points between the yield fronts).

    Examples
    --------
    >>> from forgeprops.strength.tensile import strength
    >>> curve = strength(210).curve
    >>> m, fibre = eccentric_section(13.4, 9.4, 0.3, curve, 0.002)
    >>> round(m / float(moment_nmm(13.4, 9.4, curve, 0.002)), 4), round(fibre, 2)
    (0.9891, 7.32)
    """
    from scipy.optimize import brentq

    big, small, k = outside_mm / 2.0, bore_mm / 2.0, float(curvature_per_mm)

    def sums(axis):
        outer = _disc_sums(np.array(-axis), big, curve, k)
        inner = _disc_sums(np.array(eccentricity_mm - axis), small, curve, k)
        return float(outer[0] - inner[0]), float(outer[1] - inner[1])

    # the axis moves away from the bore
    axis = brentq(lambda a: sums(a)[0], -(big - small) - 1e-6, big - small, xtol=1e-10)
    return sums(axis)[1], big + abs(axis)
