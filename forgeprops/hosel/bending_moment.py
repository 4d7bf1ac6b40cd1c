"""Moment against curvature of a bored round bar (the hosel), elastic to plastic, on a flow curve.

Symbols: R, r outside and bore radius (mm), k curvature (1/mm), E Young's modulus, c = YS/(E k) half-depth of the elastic
core.  Plane sections, no ovalisation, tension and compression alike.  Units N, mm, MPa; floats or arrays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..strength.tensile import FlowCurve


def _powers(of, degree: int) -> np.ndarray:
    """Coefficients, lowest power first, of the Chebyshev interpolant of a function on 0..1."""
    fit = np.polynomial.Chebyshev.interpolate(of, degree, [0.0, 1.0])
    return fit.convert(kind=np.polynomial.Polynomial).coef


#: t √(1+t) as a polynomial in x = 1 − t on 0..1, lowest power first; degree 8 is exact to 2e-7.
_SHAPE = _powers(lambda x: (1.0 - x) * np.sqrt(2.0 - x), 8)
#: Gamma(m + 1)/Gamma(m + 5/2) for m on 0..1, where exponents lie, as a polynomial in m (to 1e-9).
_GAMMA_RATIO = _powers(np.vectorize(lambda m: math.gamma(m + 1.0) / math.gamma(m + 2.5)), 12)
_NO_BORE_MM = 1e-6


@dataclass(frozen=True)
class Section:
    """Tubes and their flow curves, ready for moments at many curvatures; arrays of one shape (...).

    The elastic–perfectly plastic part is the closed form for a disc, Ms = YS R³ [(p − sin(4p)/4)/(2 sin p)
    + (4/3) cos³p] with sin p = c/R, outer disc less bore; the hardening part is 4 K (kR)^m R³ ∫ (t − u)^m t √(1−t²) dt
    from u = e₁/(kR) to 1, a series of Euler beta functions.

    .. [1] Equilibrium of plane sections on the flow curve (derived).
    .. [2] Second moment of area π (D⁴ − d⁴)/64: Roark's Formulas for Stress and Strain, table A.1 (read).
    """

    stiffness: np.ndarray  # E I, N mm²
    radii: np.ndarray  # shape (2, ...), outside and bore, mm; the following but `power` alike
    power: np.ndarray  # shape (...); exponent m of the hardening
    yields: np.ndarray  # curvature at which each disc yields, 1/mm
    starts: np.ndarray  # and at which it begins to harden
    plastic: np.ndarray  # YS R³
    elastic: np.ndarray  # E R⁴
    hardening: np.ndarray  # 4 K R³
    terms: np.ndarray  # (9, ...); coefficients b_j B(m + 1, j + 3/2) of the hardening integral

    @classmethod
    def of(cls, outside_mm, bore_mm, curve: FlowCurve) -> Section:
        """Section of outside and bore diameters (bore 0: solid) and a flow curve, floats or arrays."""
        power = np.asarray(curve.hardening_power, dtype=float)
        ratio = np.polynomial.polynomial.polyval(power, _GAMMA_RATIO)
        j, shape = (x.reshape(-1, *[1] * power.ndim) for x in (np.arange(_SHAPE.size), _SHAPE))
        terms = power + (j + 1.5)
        first = terms[0] * ratio
        np.divide(j + 0.5, terms, out=terms)
        for i in range(1, len(terms)):  # B(a, b + 1) = B(a, b) b/(a + b)
            terms[i] *= terms[i - 1]
        terms *= first
        terms *= math.sqrt(math.pi) * shape
        bore = np.maximum(bore_mm, _NO_BORE_MM)
        r = 0.5 * np.stack(np.broadcast_arrays(outside_mm, bore, ratio)[:2])
        cube, e = r * r * r, curve.youngs_mpa
        stiffness = e * (math.pi / 4.0) * (r[0] ** 4 - r[1] ** 4)
        begin = curve.yield_mpa / (e * r), curve.hardening_starts / r
        moments = curve.yield_mpa * cube, e * cube * r, 4.0 * curve.hardening_mpa * cube
        return cls(stiffness, r, power, *begin, *moments, terms)

    def moment_slope(self, k, sloped=True):
        """Moment (N mm) and, if `sloped`, its slope dM/dk (N mm²) at curvatures above 0, shape (..., *sections)."""
        disc = -self.radii.ndim
        if np.ndim(k) > self.radii.ndim - 1:
            k = np.expand_dims(k, disc)
        # in place where it can be: filling a new array takes twice the time
        reach = self.yields / k
        sine = np.minimum(reach, 1.0)
        square = sine * sine
        rest = 1.0 - square
        cosine = np.sqrt(rest)
        core = 0.5 * (np.arcsin(sine) - sine * cosine * (rest - square))
        # below yield the closed form is continued by the elastic line
        moment = self.plastic * (core / sine + (4.0 / 3.0) * cosine * rest) / np.maximum(reach, 1.0)
        left = np.maximum(1.0 - self.starts / k, 0.0, out=square)
        # the integral of (t - u)^m t sqrt(1 - t^2) from u to 1: with 1 - t = (1 - u)(1 - s) it is
        # s^m (1 - s)^1/2 times a polynomial, so each power is an Euler beta function
        rise = np.multiply(self.terms[-1], left, out=rest)
        value = np.add(rise, self.terms[-2], out=reach)
        for term in self.terms[-3::-1]:
            if sloped:
                rise += value
                rise *= left
            value *= left
            value += term
        if sloped:
            rise += (self.power + 1.5) * value
            rise *= 1.0 - left
        value *= left
        factor = self.hardening * np.sqrt(left, out=cosine)
        left *= k * self.radii
        factor *= np.power(left, self.power, out=left)
        moment += np.multiply(factor, value, out=left)
        moment = np.subtract.reduce(moment, axis=disc)
        if not sloped:
            return moment, None
        slope = self.elastic * core + factor * (self.power * value + rise) / k
        return moment, np.subtract.reduce(slope, axis=disc)

    def curvature(self, moment, start=0.0):
        """Curvature that carries a moment, 1/mm: Newton between brackets from a first guess."""
        low = moment / self.stiffness  # elastic: plastic flow only softens
        k, high = np.maximum(start, low), np.full(np.shape(low), np.inf)
        on = np.ones(np.shape(k), bool)  # each stops by itself: the same digits in any batch
        for _ in range(60):
            value, slope = self.moment_slope(k)
            miss = value - moment
            low, high = np.where(miss < 0.0, k, low), np.where(miss > 0.0, k, high)
            new = k - miss / slope
            # the curve bends both ways (plateau, then hardening): a step out of the bracket is replaced by
            # its middle
            out = (miss != 0.0) & ((new <= low) | (new >= high))
            if out.any():
                new = np.where(out, np.where(high < np.inf, 0.5 * (low + high), 2.0 * low), new)
            settled = np.abs(new - k) <= 1e-9 * k
            k = np.where(on, new, k)
            on &= ~settled
            if not on.any():
                break
        return k


# Nodes of an off-centre bore: y = a + (b − a) v²(3 − 2v) takes the root at the rim and the power at the yield front out
# of the integrand.
_V, _W = np.polynomial.legendre.leggauss(16)
_V, _W = 0.5 * (_V + 1.0), 0.5 * _W
_S = _V * _V * (3.0 - 2.0 * _V)
_DS = 6.0 * _V * (1.0 - _V) * _W


def _disc_sums(centre, radius, curve: FlowCurve, k):
    """Force and moment (about the neutral axis at 0) of a disc whose centre lies `centre` from the axis."""
    yields, hardens = curve.yield_mpa / curve.youngs_mpa / k, curve.hardening_starts / k
    ends = [x + np.zeros_like(centre) for x in (-hardens, -yields, yields, hardens)]
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
    outside_mm, bore_mm, eccentricity_mm, curve: FlowCurve, curvature_per_mm
) -> tuple[float, float]:
    """Moment (N mm) and greatest fibre distance (mm) of a tube with an off-centre bore, bent that way.

    The neutral axis is found from zero axial force; the fibre on the thin side is then farther than the outside radius.  Bent
    across the offset (less than the wall) the tube behaves like a centred one, so this is the worse direction.

    .. [1] Equilibrium of plane sections on two discs (derived).
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
