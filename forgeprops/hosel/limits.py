"""What each limit of the metal allows: the wall flattens, a crack starts, or it must stand bends there and back."""

import math
from collections.abc import Mapping

import numpy as np

from ..base.cautions import STEADY_PULL_N
from ..base.constants import POISSON
from ..base.ranges import beyond
from ..strength.hardness_scales import convert_array
from ..strength.tensile import YOUNGS_MPA
from . import fatigue
from .bench import LIMITS, Bench, Hosels, Nodes, bar_for_force, load, metal_of


def limit_forces(n: Nodes, bench: Bench, cold=fatigue.COLD_STRAIN, scatter=None, used=0.0):
    """Force on the bar (N, (3, n)) and curvature (1/mm, (3, n, p)) at which each of `LIMITS` is reached.

    Wall: ovalisation r⁴ k² (1 − ν²)/t², an elastic formula used as an order of magnitude, and wrinkling strain
    t/(2D).  Crack: `fatigue.crack_strain` on the outer strain under load.  Re-bends, n times 0 → X → 0: the
    range of the outer strain, strain under load + 1.2 YS/E, is at most 2 ea(n · scatter)/K.

    .. [1] Ovalisation: L. G. Brazier, Proc. R. Soc. A 116 (1927) 104 (from memory).
    .. [2] Wrinkling: Murphey & Langner 1985 (from memory).
    """
    hardness, yields, tensile, _, _, reduction, exponent = n.metal
    crack = fatigue.crack_strain(reduction, exponent, bench.notch_factor, cold)
    crack = crack * bench.plating_factor - used
    scatter = bench.scatter_factor if scatter is None else scatter
    amplitude = fatigue.allowed_amplitude(hardness, tensile, bench.rebends, scatter)
    there_and_back = 2.0 * amplitude / fatigue.notch_strain_factor(exponent, bench.notch_factor)
    rebend = there_and_back - fatigue.RETURN_STRAINS * yields / YOUNGS_MPA
    wall, mean = 0.5 * (n.outside_mm - n.bore_mm), 0.25 * (n.outside_mm + n.bore_mm)
    flattening = bench.bore_out_of_round_mm / (2.0 * mean)  # change of radius over mean radius
    # of an off-centre bore the mean flexibility of the ring counts, ⟨1/t³⟩ of t = t₀(1 + ε cos θ)
    off = np.minimum(bench.eccentricity_mm / wall, 0.9) ** 2
    ring = wall * ((1.0 - off) ** 2.5 / (1.0 + 0.5 * off)) ** (1.0 / 3.0)
    ovalising = ring / mean**2 * np.sqrt(flattening / (1.0 - POISSON**2))
    # the wall thins by half the outer strain (constant volume, isotropic); it wrinkles at t/(2D)
    crumpling = np.minimum(2.0 * bench.wall_thinning, wall / (2.0 * n.outside_mm)) / n.fibre_mm
    strains = np.maximum(np.stack([crack, rebend]), 1e-6) / n.fibre_mm
    curvature = np.stack([np.minimum(ovalising, crumpling), *strains])
    return n.least_force(n.section.moment_slope(curvature, False)[0]), curvature


def governing(forces):
    """Index into `LIMITS` of the limit reached first; of those equal to within rounding the first."""
    return (forces <= forces.min(axis=0) * (1.0 + 1e-9)).argmax(axis=0)


def bends_of_heads(outside_mm, bore_mm, length_mm, hosel, neck, neck_share, bench=None):
    """Allowed bends of many hosels at once; `hosel_bend` is a batch of one of the same code.

    Section and free length, arrays; strength of the two zones (`strength.tensile.strength_arrays`) and the share of
    their difference that lies within the free length (`gradient_share`).  Gives "one_bend_deg", "rebend_deg",
    "allowed_deg" (the least of both), "governed_by" (index into `LIMITS`); at the allowed bend "force_n",
    "springback_deg", "outer_strain" (the greatest) and "gathers" (all in less than a quarter of the diameter); of the
    required change "target_deg", "bar_force_n" and "bar_length_needed_mm"; "length_mm", "hardness_hv" and
    "yield_plateau_strain" at the bar's mouth.
    """
    bench = bench or Bench()
    here = metal_of(hosel)
    share = np.asarray(neck_share, dtype=float)[..., None]
    metal = np.stack([here, here + share * (metal_of(neck) - here)], axis=1)
    hosels = Hosels.of(metal, outside_mm, bore_mm, length_mm, bench.bar_mm)
    begins = range(0, max(len(hosels), 1), _CHUNK)
    pieces = [_bends(hosels.part(slice(i, i + _CHUNK)), bench) for i in begins]
    return {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}


#: Cases per pass: enough that calls cost little, few enough for the cache of the processor.
_CHUNK = 512


def _bends(hosels: Hosels, bench: Bench) -> dict[str, np.ndarray]:
    nodes, n = hosels.nodes(), len(hosels)
    forces, limits = limit_forces(nodes, bench)
    one, least = forces[:2].min(axis=0), forces.min(axis=0)
    again = np.flatnonzero(one > least)  # where going there and back is the limit one bend is more
    rows = np.r_[np.arange(n), np.arange(n), again]
    loaded = nodes.part(rows)
    angle = np.full(len(rows), np.nan)
    angle[n : 2 * n] = math.radians(bench.target_deg)
    force = np.r_[least, nodes.yield_force(), one[again]]
    found = load(loaded, force, angle, limits.min(axis=0)[rows])
    degrees = np.maximum(np.degrees(found.permanent), 0.0)
    one_bend = degrees[:n].copy()
    one_bend[again] = degrees[2 * n :]
    force, target = found.x[n : 2 * n], np.full(n, bench.target_deg)
    needed = bar_for_force(hosels.bar_mm, hosels.length_mm, force, bench.force_limit_n)
    strain, gathers = bent_most(loaded, found)
    bends = {"one_bend_deg": one_bend, "rebend_deg": degrees[:n], "allowed_deg": degrees[:n]}
    bends |= {"governed_by": governing(forces), "force_n": least, "length_mm": hosels.length_mm}
    bends |= {"springback_deg": np.degrees(found.sprung[:n]), "outer_strain": strain[:n]}
    bends |= {"gathers": gathers[:n], "bar_force_n": force, "target_deg": target}
    bends |= {"hardness_hv": hosels.metal[:, 0, 0], "yield_plateau_strain": hosels.metal[:, 0, 4]}
    return {**bends, "bar_length_needed_mm": needed if bench.target_deg else 0.0 * needed}


def overbent(bend: Mapping):
    """Whether the required change is more than the hosel takes."""
    return np.asarray(bend["target_deg"]) > bend["allowed_deg"]


#: Allowed bend below which the hosel only springs, degrees, and plateau strain of one that gives suddenly (our choice).
SPRINGS_DEG, PLATEAU_STRAIN = 0.05, 0.002


def _beyond_life(b):
    """Whether the re-bends decide outside the hardness of their law."""
    hb = convert_array(b["hardness_hv"], "HV", "HB")[0]
    return beyond("roessle_fatemi", hb) & (b["governed_by"] == LIMITS.index("re-bends"))


def _pull(b):
    return (b["bar_force_n"] > STEADY_PULL_N) & (b["target_deg"] > 0.0) & ~overbent(b)


#: What to say of a bend, by code: rank, and condition on what `bends_of_heads` returns.
NOTES = {
    "range:hosel_length": ("note", lambda b: beyond("hosel_length", b["length_mm"])),
    "hosel:plateau": ("note", lambda b: b["yield_plateau_strain"] > PLATEAU_STRAIN),
    "range:hosel_strain": ("note", lambda b: beyond("hosel_strain", b["outer_strain"])),
    "range:roessle_fatemi": ("note", _beyond_life),
    "hosel:gathers": ("note", lambda b: b["gathers"]),
    "hosel:pull": ("note", _pull),
    "hosel:overbent": ("stop", overbent),
    "hosel:too-strong": ("change", lambda b: b["allowed_deg"] < SPRINGS_DEG),
}


def bent_most(n: Nodes, found) -> tuple[np.ndarray, np.ndarray]:
    """Greatest outer-fibre strain of every case, and whether its bending gathers in a quarter of the diameter."""
    strain = np.where(n.real, found.strain, 0.0)
    at = np.arange(len(strain)), strain.argmax(axis=1)
    most = (found.curvature - n.elastic(found.x))[at]
    bends = found.permanent >= math.radians(SPRINGS_DEG)  # less is rounding
    return strain[at], bends & (found.permanent < 0.25 * n.outside_mm[:, 0] * most)


def gradient_share(bend_zone_mm, hosel_mm, neck_mm):
    """Share of the difference neck − hosel that lies within the bend zone; floats or arrays.

    Zone values belong to the middles of hosel and neck, half their lengths apart; the bend zone is shorter.
    """
    return np.minimum(bend_zone_mm / (0.5 * (hosel_mm + neck_mm)), 1.0)
