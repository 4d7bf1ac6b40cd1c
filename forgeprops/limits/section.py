"""Moment against curvature of a bored round bar (the hosel), elastic to plastic, on a flow curve.

Symbols: R, r outside and bore radius (mm), k curvature (1/mm), E Young's modulus, c = YS/(E k) half-depth
of the elastic core.  Plane sections, no ovalisation, tension and compression alike.  Units N, mm, MPa, so
moments are N mm.

All functions take floats or arrays (NumPy broadcasting); a single case is a batch of one.
"""

from __future__ import annotations

import math

import numpy as np

from ..mechanical.strength import FlowCurve

__all__ = ["curvature", "eccentric_section", "elastic_modulus_mm3", "moment_nmm", "moment_slope",
           "plastic_modulus_mm3", "power_law_moment_nmm", "rise_terms", "second_moment_mm4", "shape_factor"]


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
_SHAPE = (np.polynomial.Chebyshev.interpolate(lambda x: (1.0 - x) * np.sqrt(2.0 - x), 9, domain=[0.0, 1.0])
          .convert(kind=np.polynomial.Polynomial).coef)


def _core(sine):
    """Perfectly plastic solid disc: moment/(YS R³) and second moment of the elastic core/R⁴ at c/R = sine."""
    sine = np.minimum(sine, 1.0)
    angle = np.arcsin(sine)
    cosine = np.sqrt((1.0 - sine) * (1.0 + sine))
    double, cosine_double = 2.0 * sine * cosine, 1.0 - 2.0 * sine * sine
    core = 0.5 * angle - 0.25 * double * cosine_double  # p/2 − sin(4p)/8
    return core / sine + 4.0 / 3.0 * cosine**3, core


def rise_terms(power):
    """Coefficients of the hardening integral for an exponent: b_j B(m + 1, j + 3/2), first axis j.

    They depend on the exponent alone, so an inversion computes them once.
    """
    from scipy.special import beta

    m = np.asarray(power, dtype=float)
    first = beta(m + 1.0, 1.5)
    terms = np.empty((_SHAPE.size, *m.shape))
    for j in range(_SHAPE.size):
        terms[j] = _SHAPE[j] * first
        first = first * (j + 1.5) / (m + j + 2.5)  # B(a, b + 1) = B(a, b) b/(a + b)
    return terms


def _rise(start, power, terms):
    """∫ (t − u)^m t √(1−t²) dt from u to 1 and its derivative in u; 0 where u ≥ 1.

    With 1 − t = (1 − u)(1 − s) the integrand is s^m (1 − s)^½ times a polynomial, so each power is an Euler
    beta function.
    """
    left = np.maximum(1.0 - start, 0.0)
    value, slope = 0.0, 0.0
    for j in range(_SHAPE.size - 1, -1, -1):
        value = value * left + terms[j]
        slope = slope * left + (power + 1.5 + j) * terms[j]
    grown = left ** (power + 0.5)
    return value * grown * left, -slope * grown


def moment_slope(outside_mm, bore_mm, curve: FlowCurve, curvature_per_mm, terms=None):
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
    terms : array, optional
        `rise_terms` of the exponent, if already known (for iterations).

    Examples
    --------
    >>> curve = FlowCurve(205_000.0, 350.0, 0.0, 0.0, 0.5)              # perfectly plastic
    >>> m, _ = moment_slope(13.5, 9.4, curve, 2 * 350 / (205_000 * 6.75))
    >>> round(float(m) / 1000, 2)
    89.28
    """
    k, power = np.asarray(curvature_per_mm, dtype=float), np.asarray(curve.hardening_power, dtype=float)
    if terms is None:
        terms = rise_terms(power)
    reach = curve.yield_mpa / (curve.youngs_mpa * k)
    moment, slope = 0.0, 0.0
    for radius, sign in ((outside_mm / 2.0, 1.0), (bore_mm / 2.0, -1.0)):
        radius = np.maximum(np.asarray(radius, dtype=float), 1e-9)
        disc, core = _core(reach / radius)
        cube = radius**3
        # below yield the closed form is continued by the elastic line
        elastic = np.maximum(reach / radius, 1.0)
        moment = moment + sign * curve.yield_mpa * cube * disc / elastic
        slope = slope + sign * curve.youngs_mpa * cube * radius * core
        start = np.minimum(curve.hardening_starts / (k * radius), 1.0)
        value, change = _rise(start, power, terms)
        factor = sign * 4.0 * curve.hardening_mpa * (k * radius) ** power * cube
        moment = moment + factor * value
        slope = slope + factor * (power * value - start * change) / k
    return moment, slope


def moment_nmm(outside_mm, bore_mm, curve: FlowCurve, curvature_per_mm):
    """Moment at a curvature, N mm (see `moment_slope`)."""
    return moment_slope(outside_mm, bore_mm, curve, curvature_per_mm)[0]


#: Newton steps allowed; 6 to 9 are needed.
_STEPS = 40


def curvature(outside_mm, bore_mm, curve: FlowCurve, moment, start=None):
    """Curvature that carries a moment, 1/mm (Newton between brackets).

    Parameters
    ----------
    moment : float or array
        N mm, above 0.
    start : float or array, optional
        A first guess, 1/mm; the result does not depend on it.

    Examples
    --------
    >>> from forgeprops.mechanical.strength import strength
    >>> curve = strength(150, branch="ferrite-pearlite").curve
    >>> k = curvature(13.4, 9.4, curve, 90_000.0)
    >>> round(float(moment_nmm(13.4, 9.4, curve, k)), 3)
    90000.0
    """
    target = np.asarray(moment, dtype=float)
    terms = rise_terms(curve.hardening_power)
    stiffness = curve.youngs_mpa * second_moment_mm4(outside_mm, bore_mm)
    low = target / stiffness  # elastic: a lower bound, since plastic flow only softens
    k = low * 1.0 if start is None else np.maximum(start, low)
    high = np.full_like(k, np.inf)
    for _ in range(_STEPS):
        value, slope = moment_slope(outside_mm, bore_mm, curve, k, terms)
        miss = value - target
        low, high = np.where(miss < 0.0, k, low), np.where(miss > 0.0, k, high)
        step = k - miss / slope
        # the curve bends both ways (plateau, then hardening): a step out of the bracket is replaced by its
        # middle
        out = (step <= low) | (step >= high)
        middle = np.where(np.isfinite(high), 0.5 * (low + np.where(np.isfinite(high), high, 0.0)), 2.0 * low)
        new = np.where(out & (miss != 0.0), middle, step)
        # the error after a Newton step is of the order of the step squared
        done = np.all(np.abs(new - k) <= 1e-9 * k)
        k = new
        if done:
            break
    return k


# ---- eccentric bore ----------------------------------------------------------------------------------------

# Fixed nodes: y = a + (b − a) v²(3 − 2v) takes the root at the rim and the power at the yield front out of
# the integrand.
_V, _W = np.polynomial.legendre.leggauss(16)
_V, _W = 0.5 * (_V + 1.0), 0.5 * _W
_S = _V * _V * (3.0 - 2.0 * _V)
_DS = 6.0 * _V * (1.0 - _V) * _W


def _disc_sums(centre, radius, curve: FlowCurve, k):
    """Force and moment (about the neutral axis at 0) of a disc whose centre lies `centre` from the axis."""
    ends = [np.full_like(centre, x) if np.ndim(x) == 0 else x for x in (
        -curve.hardening_starts / k, -curve.yield_mpa / curve.youngs_mpa / k,
        curve.yield_mpa / curve.youngs_mpa / k, curve.hardening_starts / k)]
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


def eccentric_section(outside_mm: float, bore_mm: float, eccentricity_mm: float, curve: FlowCurve,
                      curvature_per_mm: float) -> tuple[float, float]:
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
    >>> from forgeprops.mechanical.strength import strength
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
