"""The bending bench: a head clamped at the blade, a bar over the hosel, the free length between them bends.

Along that length (s = 0 at the bar's mouth, s = length at the clamp) the moment is M(s) = F (bar + s).  Where the hosel
bends first depends on section (taper into the neck, end of the bore) and on the hardness gradient, both straight lines
along s.  The permanent angle is the integral of k − M/(E I) along the length; what springs back is that of M/(E I).

What yields inside the bar's jaw and the clamp is left out, which is cautious where the weakest place lies at either
end.  The angle agrees with general quadrature to 0.5 %; only where the hardness doubles within the zone and the soft
end yields in a plateau is it off by up to a fifth at bends below 1°.  Everything is arrays of cases.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..base.constants import YOUNGS_MPA
from ..base.errors import (
    bounded,
    check_bounded,
    check_choice,
    check_flag,
    check_number,
    check_options,
)
from ..engine.section import lobatto
from ..strength.tensile import Strength, flow_curve
from .bending_moment import Section
from .fatigue import NOTCH, SCATTER_FACTOR

#: What the bench needs of the metal, by the names of `strength.tensile.Strength`.
QUANTITIES = ("hardness_hv", "yield_mpa", "tensile_mpa", "uniform_elongation")
QUANTITIES += ("yield_plateau_strain", "reduction_of_area", "hardening_exponent")

#: What of the metal can end the bend, in the order in which ties are named.
LIMITS = ("wall", "crack", "re-bends")

# Gauss–Lobatto along the zone: its ends, where the strain is greatest, are among the points.
_X, _W, _ = lobatto(8)


def metal_of(strength: Strength | Mapping) -> np.ndarray:
    """`QUANTITIES` of a `Strength`, or of the arrays of `strength_arrays`, on the last axis."""
    if isinstance(strength, Strength):
        return np.array([getattr(strength, name) for name in QUANTITIES])
    return np.stack([np.asarray(strength[name], dtype=float) for name in QUANTITIES], axis=-1)


@dataclass(frozen=True)
class Bench:
    """Bar, required change and limits of the bend; `hosel_bend` takes the same names.

    Attributes
    ----------
    bar_mm : From the hand to the bar's mouth, mm. 500 is a usual bending bar (common practice, no source).
    force_limit_n : Greatest pull on the bar, N. 400 is the greatest mean pull of standing men (`EASE`); daily
        work: 225. It limits the hand (`HoselBend.hand_deg`), not the metal.
    target_lie_deg, target_loft_deg : Required change; they add as vectors. 2° of lie is common practice for forged
        low-carbon heads.
    hand : {"right", "left"}; head turned for a right- or a left-handed player.
    notch_factor : Stress concentration of a stamp, the end of the bore or a scratch, 1 to 5; 2 is our choice.
    plating_factor : Share of the allowed strain that a plated skin takes; 1: bare. Chrome cracks at 0.1–0.5 %
        (from memory).
    rebends : Adjustments there and back that the hosel must survive. 4: fitted now and then (our choice).
    scatter_factor : On cycles to a crack of smooth bars (see `fatigue.SCATTER_FACTOR`).
    bore_out_of_round_mm : Allowed change of bore diameter, mm; 0.10 is a usual glue gap (0.05–0.15, from memory).
    wall_thinning : Allowed thinning of the wall; 0.10 is our choice.
    history_deg : Earlier bends in order, signed degrees (+2, −1 …). Each counts as half a fatigue cycle; the angle
        they leave uses up strain.
    aged : Time or warmth since: strain ageing raises yield and shortens the uniform strain.
    neck_outside_mm : Outside diameter at the clamp (taper); None: as at the bar's mouth.
    bored_mm : Bored length from the bar's mouth, mm; solid beyond. Default: bored through (the weaker case).
    eccentricity_mm : Offset of the bore, mm; the worse direction counts.
    hardness_se_hv : Standard error of the hardness; widens the interval.

    References
    ----------
    .. [1] Notch of 2, 4 adjustments, bend zone of 10 to 20 mm (our choice).
    .. [2] Bar of 500 mm (common practice).
    .. [3] Glue gap of 0.10 mm (from memory).
    """

    bar_mm: float = bounded(500.0, "bar length", 50.0, 3000.0, "mm")
    force_limit_n: float = bounded(400.0, "force limit", 10.0, 20_000.0, "N")
    target_lie_deg: float = bounded(2.0, "lie change", -15.0, 15.0, "°")
    target_loft_deg: float = bounded(0.0, "loft change", -15.0, 15.0, "°")
    hand: str = "right"
    notch_factor: float = bounded(NOTCH, "notch factor", 1.0, 5.0)
    plating_factor: float = bounded(1.0, "plating factor", 0.01, 1.0)
    rebends: float = bounded(4.0, "re-bends", 0.5, 10_000.0)
    scatter_factor: float = bounded(SCATTER_FACTOR, "scatter factor", 1.0, 1000.0)
    bore_out_of_round_mm: float = bounded(0.10, "bore out of round", 0.005, 2.0, "mm")
    wall_thinning: float = bounded(0.10, "wall thinning", 0.005, 0.5)
    history_deg: Sequence[float] = ()
    aged: bool = False
    neck_outside_mm: float | None = None
    bored_mm: float = math.inf
    eccentricity_mm: float = 0.0
    hardness_se_hv: float = bounded(0.0, "standard error of hardness", 0.0, 300.0, "HV")

    def __post_init__(self):
        check_bounded(self)
        check_choice(self.hand, "hand", ("right", "left"))
        check_flag(self.aged, "aged")
        past = tuple(check_number(d, "earlier bend", -20.0, 20.0, "°") for d in self.history_deg)
        object.__setattr__(self, "history_deg", past)
        if self.bored_mm != math.inf:
            check_number(self.bored_mm, "bored length", 0.0, 1e6, "mm")

    @property
    def target_deg(self) -> float:
        """Required change, degrees."""
        return math.hypot(self.target_lie_deg, self.target_loft_deg)


def bench_options(bench: Mapping | None) -> dict:
    """Check a bench given as a mapping by the names of `Bench`."""
    return check_options(bench, Bench, "bench", "{'bar_mm': 600}")


# ---- the beam ----


@dataclass(frozen=True)
class Hosels:
    """Free lengths of hosels on the bench, arrays of shape (n,)."""

    outside_mm: np.ndarray  # at the bar's mouth
    bore_mm: np.ndarray
    neck_outside_mm: np.ndarray  # at the clamp
    length_mm: np.ndarray  # from the bar's mouth to the clamp
    bored_mm: np.ndarray  # how far it is bored, solid beyond
    bar_mm: np.ndarray  # from the hand to the bar's mouth
    fibre_factor: np.ndarray  # of an off-centre bore on the distance of the outer fibre; 1: centred
    moment_factor: np.ndarray  # and on the moment
    metal: np.ndarray  # shape (n, 2, 7); `QUANTITIES` at the bar's mouth and at the clamp

    def __len__(self) -> int:
        return self.metal.shape[0]

    @classmethod
    def of(cls, metal, outside_mm, bore_mm, length_mm, bar_mm=500.0, **others) -> Hosels:
        """Broadcast numbers and arrays to one shape (n,); `others` are the remaining fields."""
        values = {"outside_mm": outside_mm, "neck_outside_mm": outside_mm, "bore_mm": bore_mm}
        values |= {"length_mm": length_mm, "bored_mm": np.inf, "bar_mm": bar_mm}
        values |= {"fibre_factor": 1.0, "moment_factor": 1.0, **others}
        n = np.broadcast_shapes(metal.shape[:1], *(np.shape(v) for v in values.values()))
        columns = {name: np.broadcast_to(np.asarray(v, float), n) for name, v in values.items()}
        return cls(metal=np.broadcast_to(metal, (*n, *metal.shape[1:])), **columns)

    def part(self, index) -> Hosels:
        """Some of the cases."""
        return Hosels(**{f.name: getattr(self, f.name)[index] for f in dataclasses.fields(self)})

    def nodes(self, x=_X, w=_W) -> Nodes:
        """Points along the free length at shares `x` of its bored and of its solid part."""
        length = self.length_mm[:, None]
        bored = np.minimum(self.bored_mm[:, None], length)
        s, weight = bored * x, bored * w
        bore = np.broadcast_to(self.bore_mm[:, None], s.shape)
        real = np.broadcast_to(bored > 0.0, s.shape)
        if np.any(bored < length):
            solid = length - bored
            s, weight = np.hstack([s, bored + solid * x]), np.hstack([weight, solid * w])
            real = np.hstack([real, np.broadcast_to(solid > 0.0, real.shape)])
            bore = np.hstack([bore, np.zeros_like(bore)])
        share = s / length
        here, there = np.ascontiguousarray(np.transpose(self.metal, (1, 2, 0)))[..., None]
        at = here + (there - here) * share
        outside = self.outside_mm[:, None]
        outside = outside + (self.neck_outside_mm[:, None] - outside) * share
        curve = flow_curve(*at[1:5])
        fibre, factor = 0.5 * outside * self.fibre_factor[:, None], self.moment_factor[:, None]
        arm, section = self.bar_mm[:, None] + s, Section.of(outside, bore, curve)
        return Nodes(s, weight, outside, bore, real, fibre, factor, arm, section, at)


@dataclass(frozen=True)
class Nodes:
    """Points along the free length, arrays of shape (n, p); what `Hosels.nodes` makes."""

    s_mm: np.ndarray  # place from the bar's mouth
    weight_mm: np.ndarray  # weight in an integral along the length
    outside_mm: np.ndarray
    bore_mm: np.ndarray
    real: np.ndarray  # False where a part has no length
    fibre_mm: np.ndarray  # distance of the outer fibre
    moment_factor: np.ndarray  # of an off-centre bore
    arm_mm: np.ndarray  # distance from the hand
    section: Section
    metal: np.ndarray | None = None  # shape (7, n, p); `QUANTITIES`

    def part(self, index) -> Nodes:
        """Some of the cases, by their numbers, to be loaded, for which the `metal` itself is not needed."""
        own = {name: v for name, v in vars(self).items() if name not in ("section", "metal")}
        both = own, vars(self.section)
        own, section = ({k: v.take(index, axis=-2) for k, v in part.items()} for part in both)
        return Nodes(**own, section=Section(**section))

    def yield_force(self) -> np.ndarray:
        """Force on the bar at which the first fibre yields, N."""
        first = self.metal[1] * self.section.stiffness / (self.fibre_mm * YOUNGS_MPA)
        return self.least_force(first)

    def least_force(self, moment) -> np.ndarray:
        """Least force on the bar at which some point bears its given moment (N mm), N, (..., n)."""
        return np.where(self.real, self.moment_factor * moment / self.arm_mm, np.inf).min(axis=-1)

    def elastic(self, force) -> np.ndarray:
        """Elastic part of the curvatures under forces on the bar, 1/mm."""
        return force[:, None] * self.arm_mm / (self.moment_factor * self.section.stiffness)


class Loaded(NamedTuple):
    """Hosels under load, (n,) and (n, p)."""

    x: np.ndarray  # force on the bar, N
    permanent: np.ndarray  # what stays, radians
    sprung: np.ndarray  # what springs back
    curvature: np.ndarray  # 1/mm
    strain: np.ndarray  # of the outer fibre


def load(nodes: Nodes, force, angle=None, start=None) -> Loaded:
    """Hosels under forces on the bar, N above 0, (n,).

    One Newton step takes all curvatures k and the force at once: with k' = k + (moment − M(k))/M'(k) the permanent angle
    Σ w (k' − moment/EI) is linear in the force.  With that force k then moves along the power law that touches M(k), which is
    straighter than the tangent.  Where `angle` (rad, (n,)) is above 0 the force that leaves it is sought and
    `force` is a first guess; `start`, the first guess of the curvatures, (n, p), changes the speed alone.

    .. [1] Statics of a cantilever; angle by adding curvature (derived).
    """
    x = np.array(force, dtype=float)
    angle = np.full(x.shape, np.nan) if angle is None else np.asarray(angle, dtype=float)
    first = nodes.section.yields[0]
    k = np.array(4.0 * first if start is None else start)
    bent = 1.2 * first + (angle / nodes.weight_mm.sum(axis=1))[:, None]
    k = np.where((angle > 0.0)[:, None], bent, k)
    left, n, on = np.arange(len(x)), nodes, np.ones(len(x), bool)
    for step in range(12):  # what has not settled by then goes round in circles on a yield plateau
        old = k[left]
        found, new = _newton(n, x[left], old, angle[left], free=step == 0)
        x[left], k[left] = np.where(on, found, x[left]), np.where(on[:, None], new, old)
        on &= (np.abs(new - old) > 1e-4 * old).any(axis=1)  # what is left is its square
        if not on.any():
            break
        if np.count_nonzero(on) < 0.9 * len(on) or step == 11:  # a copy costs half a step
            left, n, on = left[on], n.part(np.flatnonzero(on)), on[on]
    else:
        x[left], k[left] = _bracketed(n, x[left], k[left], angle[left])
    elastic = nodes.arm_mm / nodes.moment_factor * x[:, None] / nodes.section.stiffness
    permanent = np.sum(nodes.weight_mm * np.where(k > first, k - elastic, 0.0), axis=1)
    sprung = np.sum(nodes.weight_mm * elastic, axis=1)
    return Loaded(x, permanent, sprung, k, k * nodes.fibre_mm)


def _newton(n: Nodes, x, k, angle, free: bool):
    """One step of force and curvatures; the force moves by at most a factor of 2 unless it is `free`."""
    arm, inverse = n.arm_mm / n.moment_factor, 1.0 / n.section.stiffness
    moment, slope = n.section.moment_slope(k)
    soft = np.divide(1.0, slope, out=slope)
    gain = (n.weight_mm * arm * (soft - inverse)).sum(axis=1)
    miss = angle - (n.weight_mm * (k - moment * soft)).sum(axis=1)
    found = np.where(angle > 0.0, miss / np.where(gain > 0.0, gain, np.inf), x)
    x = found if free else np.minimum(np.maximum(found, 0.5 * x), 2.0 * x)
    target = arm * x[:, None]
    new = k * (target / moment) ** (moment * soft / k)
    new = np.maximum(new, np.maximum(target * inverse, 0.3 * k))
    return x, np.minimum(new, 3.0 * k)


def force_for_angle(nodes: Nodes, angle) -> Loaded:
    """Hosels under the force that leaves a permanent angle (rad, (n,)); 0 gives the force of first yield."""
    return load(nodes, nodes.yield_force(), angle)


def bar_for_force(bar_mm, length_mm, force_n, wanted_n):
    """Bar with which `wanted_n` puts the same moment on the middle of the zone as `force_n` on `bar_mm`, mm."""
    half = 0.5 * length_mm
    return np.maximum(force_n / wanted_n * (bar_mm + half) - half, 0.0)


def _bracketed(n: Nodes, x, k, angle):
    """Force and curvatures where Newton's steps go round in circles: between brackets of the curvature at the point that is
    known least, for on its plateau the angle jumps with the force, but not with its curvature."""
    find, arm, rows = angle > 0.0, n.arm_mm / n.moment_factor, np.arange(len(x))
    low, high = np.zeros_like(k), np.full_like(k, np.inf)
    at = rows, np.where(n.real, k / n.section.yields[0], 0.0).argmax(axis=1)
    lead, found_x, found_k = k[at], x.copy(), k.copy()
    on = np.ones(len(x), bool)  # each stops by itself: the same digits in any batch
    for _ in range(60):
        k[at] = lead
        x = np.where(find, n.section.moment_slope(k)[0][at] / arm[at], x)
        k = n.section.curvature(arm * x[:, None], k)
        k[at] = np.where(find, lead, k[at])
        found_x[on], found_k[on] = x[on], k[on]
        slope, kept = n.section.moment_slope(k)[1], k - arm * x[:, None] / n.section.stiffness
        miss = (np.sum(n.weight_mm * np.maximum(kept, 0.0), axis=1) - angle)[:, None]
        low, high = np.where(miss < 0.0, k, low), np.where(miss > 0.0, k, high)
        reach = np.where(high < np.inf, (high - low) / k, arm / slope)
        at = rows, np.where(n.real, reach, 0.0).argmax(axis=1)
        soft = np.where(kept > 0.0, 1.0 / slope - 1.0 / n.section.stiffness, 0.0)
        gain = np.sum(n.weight_mm * arm * soft, axis=1) * slope[at] / arm[at]
        here, least, most = k[at], low[at], high[at]
        new = here - miss[:, 0] / np.where(gain > 0.0, gain, np.inf)
        middle = np.where(most < np.inf, 0.5 * (least + most), 2.0 * here)
        new = np.where((miss[:, 0] != 0.0) & ~((new > least) & (new < most)), middle, new)
        lead = np.where(find, new, here)
        on &= np.abs(lead - here) > 1e-9 * here
        if not on.any():
            break
    return found_x, found_k
