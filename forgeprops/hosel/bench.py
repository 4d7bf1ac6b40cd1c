"""The bending bench: a head clamped at the blade, a bar over the hosel, the free length between them bends.

Along that length (s = 0 at the bar's mouth, s = length at the clamp) the moment is M(s) = F (bar + s):
almost constant, greatest at the clamp.  Where the hosel bends first depends on section (taper into the
neck, end of the bore) and on the hardness gradient, both straight lines along s here.  The permanent angle
is the integral of k − M/(E I) over the length that has yielded; what springs back is the integral of M/(E
I).

What yields inside the bar's jaw and inside the clamp is left out, which is cautious where the weakest place
lies at either end.  The angle agrees with general quadrature to 0.3 % at the allowed bend; at half a
degree, where the end of a yield plateau lies inside a graded zone, to 2 %.

Everything is arrays of cases; a single bend is a batch of one.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from ..strength.tensile import YOUNGS_MPA, FlowCurve, flow_curve
from .bending_moment import curvature, moment_nmm, second_moment_mm4
from .fatigue import allowed_amplitude

__all__ = [
    "LIMITS",
    "POISSON",
    "Bench",
    "along",
    "angles",
    "curve_at",
    "force_for_angle",
    "limit_forces",
    "yield_force",
]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "limit_forces": (
        "moment_curvature",
        "strain_fraction",
        "strain_life",
        "ovalisation",
        "wrinkling",
    ),
    "yield_force": ("moment_curvature", "bench_beam"),
    "angles": ("moment_curvature", "bench_beam"),
    "along": ("moment_curvature", "bench_beam"),
    "force_for_angle": ("moment_curvature", "bench_beam"),
    "curve_at": ("considere",),
}

#: What can end the bend, in the order in which ties are named.
LIMITS = ("strain", "bar force", "re-bends", "wall")

#: Poisson's ratio of steel (common practice).
POISSON = 0.3

# Gauss–Legendre over the yielded length; 8 points are exact enough for curvatures that rise like a power of
# s.
_X, _W = np.polynomial.legendre.leggauss(8)
_X, _W = 0.5 * (_X + 1.0), 0.5 * _W

# Places along the bend zone where limits are looked at: ends and three points between.
_LOOK = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


@dataclass(frozen=True)
class Bench:
    """Hosel, bench and limits as arrays of one shape (n,); `hosel.hosel_bend` explains each."""

    outside_mm: np.ndarray
    bore_mm: np.ndarray
    length_mm: np.ndarray
    bored_mm: np.ndarray
    neck_outside_mm: np.ndarray
    bar_mm: np.ndarray
    hardness_hv: np.ndarray
    yield_mpa: np.ndarray
    tensile_mpa: np.ndarray
    uniform_elongation: np.ndarray
    plateau_strain: np.ndarray
    neck_hardness_hv: np.ndarray
    neck_yield_mpa: np.ndarray
    neck_tensile_mpa: np.ndarray
    neck_uniform_elongation: np.ndarray
    neck_plateau_strain: np.ndarray
    force_limit_n: np.ndarray
    strain_fraction: np.ndarray
    notch_factor: np.ndarray
    bore_factor: np.ndarray
    plating_factor: np.ndarray
    rebends: np.ndarray
    scatter_factor: np.ndarray
    bore_out_of_round_mm: np.ndarray
    wall_thinning: np.ndarray
    used_strain: np.ndarray
    fibre_factor: np.ndarray
    moment_factor: np.ndarray

    def __len__(self) -> int:
        return self.outside_mm.shape[0]

    @classmethod
    def of(cls, **values) -> Bench:
        """Broadcast numbers and arrays to one shape (n,)."""
        names = [f.name for f in dataclasses.fields(cls)]
        arrays = np.broadcast_arrays(
            *(np.atleast_1d(np.asarray(values[n], dtype=float)) for n in names)
        )
        return cls(**dict(zip(names, arrays, strict=True)))

    def part(self, index) -> Bench:
        """Some of the cases."""
        return Bench(**{f.name: getattr(self, f.name)[index] for f in dataclasses.fields(self)})


def _between(bench: Bench, name: str, s):
    """A quantity at positions s (n, p): straight line from the bar's mouth to the clamp."""
    a, b = getattr(bench, name)[:, None], getattr(bench, f"neck_{name}")[:, None]
    return a + (b - a) * (s / bench.length_mm[:, None])


def _curve(bench: Bench, s) -> FlowCurve:
    names = ("yield_mpa", "tensile_mpa", "uniform_elongation", "plateau_strain")
    return flow_curve(*(_between(bench, name, s) for name in names))


def _parts(bench: Bench):
    """The bored and, if any case has one, the solid part of the zone: (bore (n, 1), start, end)."""
    bored = np.minimum(bench.bored_mm, bench.length_mm)
    parts = [(bench.bore_mm[:, None], np.zeros_like(bored), bored)]
    if np.any(bored < bench.length_mm):
        parts.append((np.zeros_like(bench.bore_mm)[:, None], bored, bench.length_mm))
    return parts


def _curvature_limits(bench: Bench, bore, s):
    """Curvature at which strain, re-bends and wall reach their limits, (n, p) each."""
    outside, uniform = _between(bench, "outside_mm", s), _between(bench, "uniform_elongation", s)
    fibre = 0.5 * outside * bench.fibre_factor[:, None]
    notch = bench.notch_factor[:, None]
    # outer fibre or bore edge, whichever suffers more
    felt = np.maximum(fibre * notch, 0.5 * bore * bench.bore_factor[:, None])
    allowed = bench.strain_fraction[:, None] * np.log1p(uniform) * bench.plating_factor[:, None]
    strain = np.maximum(allowed - bench.used_strain[:, None] * notch, 1e-6) / felt
    amplitude = allowed_amplitude(
        _between(bench, "hardness_hv", s),
        _between(bench, "tensile_mpa", s),
        bench.rebends[:, None],
        bench.scatter_factor[:, None],
    )
    rebend = amplitude / felt
    wall, mean = 0.5 * (outside - bore), 0.25 * (outside + bore)
    flattening = bench.bore_out_of_round_mm[:, None] / (
        2.0 * mean
    )  # change of radius over mean radius
    ovalising = wall / mean**2 * np.sqrt(flattening / (1.0 - POISSON**2))
    # the wall thins by half the outer strain (constant volume, isotropic); it wrinkles at t/(2D)
    crumpling = np.minimum(2.0 * bench.wall_thinning[:, None], wall / (2.0 * outside)) / fibre
    return strain, rebend, np.minimum(ovalising, crumpling)


def limit_forces(bench: Bench) -> dict[str, np.ndarray]:
    """Force on the bar at which each limit is reached, N, (n,) each.

    Sources: strain, a stated share of uniform strain (see `hosel_bend`); re-bends,
    `rebend.allowed_amplitude`; wall, ovalisation r⁴ k² (1 − ν²)/t² (Brazier 1927), wrinkling strain t/(2D)
    (Murphey & Langner 1985), both from memory, the first an elastic formula used as an order of magnitude.
    """
    found = {name: np.full(len(bench), np.inf) for name in LIMITS}
    found["bar force"] = bench.force_limit_n * 1.0
    for bore, start, end in _parts(bench):
        s = start[:, None] + (end - start)[:, None] * _LOOK
        outside, curve, arm = (
            _between(bench, "outside_mm", s),
            _curve(bench, s),
            bench.bar_mm[:, None] + s,
        )
        limits = _curvature_limits(bench, bore, s)
        for name, k in zip(("strain", "re-bends", "wall"), limits, strict=True):
            force = bench.moment_factor[:, None] * moment_nmm(outside, bore, curve, k) / arm
            found[name] = np.minimum(found[name], np.where(end > start, force.min(axis=1), np.inf))
    return found


def yield_force(bench: Bench) -> np.ndarray:
    """Force on the bar at which the first fibre yields, N."""
    least = np.full(len(bench), np.inf)
    for bore, start, end in _parts(bench):
        s = start[:, None] + (end - start)[:, None] * _LOOK
        force = _yield_moment(bench, bore, s) / (bench.bar_mm[:, None] + s)
        least = np.minimum(least, np.where(end > start, force.min(axis=1), np.inf))
    return least


def _yield_moment(bench: Bench, bore, s):
    outside = _between(bench, "outside_mm", s)
    elastic = 2.0 * second_moment_mm4(outside, bore) / (outside * bench.fibre_factor[:, None])
    return bench.moment_factor[:, None] * _between(bench, "yield_mpa", s) * elastic


def _yielded(bench: Bench, bore, start, end, force):
    """Ends of the yielded stretch of a part; its yield front is found by bisection."""

    def over(s):
        at = s[:, None]
        return (force * (bench.bar_mm + s))[:, None] - _yield_moment(bench, bore, at)

    first, last = over(start)[:, 0] > 0.0, over(end)[:, 0] > 0.0
    low, high = start * 1.0, end * 1.0  # bracket of the front where just one end has yielded
    mixed = first != last
    if np.any(mixed):
        for _ in range(40):
            middle = 0.5 * (low + high)
            same = (over(middle)[:, 0] > 0.0) == first
            low, high = np.where(same, middle, low), np.where(same, high, middle)
    front = 0.5 * (low + high)
    begin = np.where(mixed & ~first, front, start)
    finish = np.where(mixed & first, front, np.where(first | last, end, start))
    return begin, finish


def angles(bench: Bench, force) -> tuple[np.ndarray, np.ndarray]:
    """Permanent angle and springback of the bend zone under a force on the bar, radians.

    Parameters
    ----------
    force : (n,) array
        N, above 0.
    """
    force = np.asarray(force, dtype=float)
    permanent, sprung = np.zeros(len(bench)), np.zeros(len(bench))
    for bore, start, end in _parts(bench):
        begin, finish = _yielded(bench, bore, start, end, force)
        for a, b, plastic in ((begin, finish, True), (start, end, False)):
            s = a[:, None] + (b - a)[:, None] * _X
            outside = _between(bench, "outside_mm", s)
            moment = force[:, None] * (bench.bar_mm[:, None] + s) / bench.moment_factor[:, None]
            elastic = moment / (YOUNGS_MPA * second_moment_mm4(outside, bore))
            if plastic:
                guess = 0.03 / outside  # a few degrees; only speed depends on it
                bent = curvature(outside, bore, _curve(bench, s), moment, guess) - elastic
                permanent = permanent + (b - a) * (bent @ _W)
            else:
                sprung = sprung + (b - a) * (elastic @ _W)
    return permanent, sprung


def along(bench: Bench, force: float, points: int = 41) -> dict[str, np.ndarray]:
    """One case along its bend zone: position from the bar's mouth, section, moment, curvature, strain.

    Parameters
    ----------
    bench : Bench
        The first case is shown.
    force : float
        N.
    """
    bench = bench.part(slice(0, 1))
    names = (
        "s_mm",
        "outside_mm",
        "bore_mm",
        "moment_nm",
        "curvature_per_mm",
        "outer_strain",
        "permanent_strain",
    )
    out: dict[str, list] = {name: [] for name in names}
    for bore, start, end in _parts(bench):
        s = np.linspace(start[0], end[0], points)[None, :]
        outside, applied = _between(bench, "outside_mm", s), force * (bench.bar_mm[:, None] + s)
        moment = applied / bench.moment_factor[:, None]
        k = curvature(outside, bore, _curve(bench, s), moment)
        fibre = 0.5 * outside * bench.fibre_factor[:, None]
        kept = fibre * (k - moment / (YOUNGS_MPA * second_moment_mm4(outside, bore)))
        columns = (s, outside, np.broadcast_to(bore, s.shape), applied / 1000.0, k, k * fibre, kept)
        for name, values in zip(out, columns, strict=True):
            out[name].append(values[0])
    return {name: np.concatenate(parts) for name, parts in out.items()}


def force_for_angle(bench: Bench, angle_rad) -> np.ndarray:
    """Force on the bar that leaves a permanent angle, N (secant in the curvature of the weakest place).

    Parameters
    ----------
    angle_rad : float or (n,) array
        At least 0; 0 gives the yield force.
    """
    target = np.broadcast_to(np.asarray(angle_rad, dtype=float), (len(bench),))
    least, place, bore = yield_force(bench), np.zeros(len(bench)), bench.bore_mm * 1.0
    for hole, start, end in _parts(bench):
        s = start[:, None] + (end - start)[:, None] * _LOOK
        force = _yield_moment(bench, hole, s) / (bench.bar_mm[:, None] + s)
        i = np.argmin(force, axis=1)
        here = (force[np.arange(len(bench)), i] <= least) & (end > start)
        place = np.where(here, s[np.arange(len(bench)), i], place)
        bore = np.where(here, np.broadcast_to(hole, force.shape)[:, 0], bore)
    at = place[:, None]
    outside, curve = _between(bench, "outside_mm", at)[:, 0], _curve(bench, at)
    curve = FlowCurve(*(np.ravel(getattr(curve, f.name)) for f in dataclasses.fields(FlowCurve)))

    def force_at(k):
        return bench.moment_factor * moment_nmm(outside, bore, curve, k) / (bench.bar_mm + place)

    # below the first curvature nothing stays; an eccentric bore yields a little earlier than this centred
    # section
    low = curve.yield_mpa / curve.youngs_mpa / (0.5 * outside * np.maximum(bench.fibre_factor, 1.0))
    high = low + 2.0 * np.maximum(target, 1e-9) / bench.length_mm
    at_low, at_high = -target, angles(bench, force_at(high))[0] - target
    for _ in range(60):
        short = at_high < 0.0
        if not np.any(short):
            break
        low, at_low = np.where(short, high, low), np.where(short, at_high, at_low)
        high = np.where(short, high + 2.0 * (high - low) + 2.0 * target / bench.length_mm, high)
        at_high = np.where(short, angles(bench, force_at(high))[0] - target, at_high)
    k, value = high, at_high
    older, at_older = low, at_low
    for _ in range(60):
        # secant through the last two points; a step out of the bracket is replaced by false position
        slope = (value - at_older) / np.where(k == older, np.inf, k - older)
        step = k - value / np.where(slope > 0.0, slope, np.inf)
        safe = low + (high - low) * np.clip(
            -at_low / np.maximum(at_high - at_low, 1e-300), 0.05, 0.95
        )
        new = np.where((step > low) & (step < high) & (slope > 0.0), step, safe)
        done = np.abs(value) <= 1e-10 * np.maximum(target, 1e-6)
        older, at_older = np.where(done, older, k), np.where(done, at_older, value)
        k = np.where(done, k, new)
        if np.all(done):
            break
        value = np.where(done, value, angles(bench, force_at(k))[0] - target)
        under = value < 0.0
        low, at_low = np.where(under, k, low), np.where(under, value, at_low)
        high, at_high = np.where(under, high, k), np.where(under, at_high, value)
    return np.where(target > 0.0, force_at(k), least)


def curve_at(bench: Bench, s_mm: float) -> FlowCurve:
    """Flow curve of the first case at a position along its zone (floats)."""
    curve = _curve(bench.part(slice(0, 1)), np.array([[float(s_mm)]]))
    return FlowCurve(
        *(float(np.ravel(getattr(curve, f.name))[0]) for f in dataclasses.fields(FlowCurve))
    )
