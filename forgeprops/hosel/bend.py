"""How far the hosel will bend: the least of strain, force on the bar, re-bends and wall, and why.

The mechanics are in `bending_moment` (moment–curvature), `bench` (along the bend zone) and `fatigue`
(low-cycle fatigue).  No open measurement of hosel bends exists: the intervals rest on assumptions, named
beside each default.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping

import numpy as np

from ..base.constants import POISSON, Z80
from ..base.errors import InputError, check_number
from ..base.ranges import Warn, outside
from ..strength.hardness_scales import convert_array
from ..strength.tensile import Strength, flow_curve, strength
from .bench import (
    LIMITS,
    QUANTITIES,
    Bench,
    Hosels,
    Nodes,
    bench_options,
    force_for_angle,
    load,
    metal_of,
)
from .bending_moment import eccentric_section, elastic_modulus_mm3, plastic_modulus_mm3
from .fatigue import (
    aged,
    allowed_amplitude,
    cycles_to_crack,
    miner_damage,
    roessle_fatemi,
    uniform_material_law,
)
from .result import HoselBend, ease_of

__all__ = ["bend_of_head", "bends_of_heads", "gradient_share", "hosel_bend"]

#: Bend zones always shown, mm.  Nobody has measured it: 10–20 mm lies free between bar and clamp (our
#: estimate).
LENGTHS_MM = (10.0, 20.0)

#: Poisson's ratio of steel (common practice).

#: Standard normal quantile of an 80 % interval.
#: 80 % half-range of two choices of ours: share of uniform strain 0.3–0.5 about 0.4, scatter factor 10–40
#: about 20.
_FRACTION_SPREAD, _SCATTER_SPREAD = 0.25, 2.0


# ---- what each limit allows ----


def _limit_forces(n: Nodes, bench: Bench, fraction, scatter, used) -> np.ndarray:
    """Force on the bar at which each of `LIMITS` is reached, N, shape (4, n).

    Strain, a stated share of uniform strain (see `Bench`); re-bends, `fatigue.allowed_amplitude`; wall,
    ovalisation r⁴ k² (1 − ν²)/t², an elastic formula used as an order of magnitude, and wrinkling strain t/(2D).

    References
    ----------
    .. [1] Ovalisation: L. G. Brazier, Proc. R. Soc. A 116 (1927) 104 (from memory).
    .. [2] Wrinkling: Murphey & Langner 1985 (from memory).
    """
    hardness, _, tensile, uniform = (n.metal[..., i] for i in range(4))
    # outer fibre or bore edge, whichever suffers more
    felt = np.maximum(n.fibre_mm * bench.notch_factor, 0.5 * n.bore_mm * bench.bore_factor)
    strain = fraction * np.log1p(uniform) * bench.plating_factor - used * bench.notch_factor
    rebend = allowed_amplitude(hardness, tensile, bench.rebends, scatter)
    wall, mean = 0.5 * (n.outside_mm - n.bore_mm), 0.25 * (n.outside_mm + n.bore_mm)
    flattening = bench.bore_out_of_round_mm / (2.0 * mean)  # change of radius over mean radius
    ovalising = wall / mean**2 * np.sqrt(flattening / (1.0 - POISSON**2))
    # the wall thins by half the outer strain (constant volume, isotropic); it wrinkles at t/(2D)
    crumpling = np.minimum(2.0 * bench.wall_thinning, wall / (2.0 * n.outside_mm)) / n.fibre_mm
    limits = np.maximum(strain, 1e-6) / felt, rebend / felt, np.minimum(ovalising, crumpling)
    by_strain, by_rebends, by_wall = n.least_force(np.stack(limits))
    return np.stack([by_strain, np.full_like(by_wall, bench.force_limit_n), by_rebends, by_wall])


def bends_of_heads(
    outside_mm, bore_mm, length_mm, hosel: Mapping, neck: Mapping, neck_share, bench=None
) -> dict[str, np.ndarray]:
    """Allowed bends of many hosels at once; `hosel_bend` is a batch of one of the same code.

    Parameters
    ----------
    outside_mm, bore_mm, length_mm : array_like
        Section and free length.
    hosel, neck : dict of str to array
        Strength of the two zones (`strength.tensile.strength_arrays`).
    neck_share : array_like
        Share of their difference that lies within the free length (`gradient_share`).
    bench : Bench, optional

    Returns
    -------
    dict
        "allowed_deg", "governed_by" (index into `LIMITS`); at the allowed bend "force_n", "springback_deg",
        "outer_strain" (the greatest) and "gathers" (all in less than a quarter of the diameter).

    Examples
    --------
    >>> from forgeprops.strength.tensile import strength_arrays
    >>> soft = strength_arrays([150.0, 150.0], 1.0)
    >>> bends_of_heads(13.4, 9.4, [10.0, 20.0], soft, soft, 0.0)["allowed_deg"].round(2).tolist()
    [2.38, 4.58]
    """
    bench = bench or Bench()
    here = metal_of(hosel)
    share = np.asarray(neck_share, dtype=float)[..., None]
    metal = np.stack([here, here + share * (metal_of(neck) - here)], axis=1)
    hosels = Hosels.of(metal, outside_mm, bore_mm, length_mm, bench.bar_mm)
    pieces = []
    for i in range(0, max(len(hosels), 1), _CHUNK):
        nodes = hosels.part(slice(i, i + _CHUNK)).nodes()
        forces = _limit_forces(nodes, bench, bench.strain_fraction, bench.scatter_factor, 0.0)
        found = load(nodes, forces.min(axis=0))
        degrees = np.degrees([found.permanent, found.sprung])
        strain, gathers = _bent_most(nodes, found)
        pieces.append((degrees[0], forces.argmin(axis=0), found.x, degrees[1], strain, gathers))
    names = ("allowed_deg", "governed_by", "force_n", "springback_deg", "outer_strain", "gathers")
    return {n: np.concatenate(p) for n, p in zip(names, zip(*pieces, strict=True), strict=True)}


#: Allowed bend below which the hosel only springs, degrees (our choice).
_SPRINGS_DEG = 0.05


def _bent_most(n: Nodes, found) -> tuple[np.ndarray, np.ndarray]:
    """Greatest outer-fibre strain of every case, and whether its bending gathers in a quarter of the diameter."""
    strain = np.where(n.real, found.strain, 0.0)
    at = np.arange(len(strain)), strain.argmax(axis=1)
    elastic = found.x[:, None] * n.arm_mm / (n.moment_factor * n.section.stiffness)
    most = (found.curvature - elastic)[at]
    bends = found.permanent >= math.radians(_SPRINGS_DEG)  # less is rounding
    return strain[at], bends & (found.permanent < 0.25 * n.outside_mm[:, 0] * most)


# Cases per pass: what one pass needs stays in the processor's cache.
_CHUNK = 256


def gradient_share(bend_zone_mm, hosel_mm, neck_mm):
    """Share of the difference neck − hosel that lies within the bend zone; floats or arrays.

    Zone values belong to the middles of hosel and neck, half their lengths apart; the bend zone is shorter.
    """
    return np.minimum(bend_zone_mm / (0.5 * (hosel_mm + neck_mm)), 1.0)


# ---- one hosel ----


def hosel_bend(
    outside_mm: float = 13.4,
    bore_mm: float = 9.4,
    length_mm: float = 20.0,
    hardness_hv: float = 210.0,
    *,
    fractions: Mapping[str, float] | None = None,
    material: Strength | None = None,
    neck_hardness_hv: float | None = None,
    neck_fractions: Mapping[str, float] | None = None,
    neck_material: Strength | None = None,
    **bench,
) -> HoselBend:
    """How far a hosel bends, by which limit, with what force and springback.

    Parameters
    ----------
    outside_mm, bore_mm : float
        Hosel at the bar's mouth, mm (13.4 × 9.4 lies inside the usual 12.5–14 × 9.1–9.5).
    length_mm : float
        Free length between the bar's mouth and the clamp, mm, 3 to 60.  **Nobody has measured how much of it
        bends**; 20 mm is the long end of our estimate of 10–20, and the answer is given for both.
    hardness_hv : float
        At the bar's mouth, HV.
    fractions, material : optional
        Structure, or a ready `Strength`.  Without either the all-data regression speaks.
    neck_hardness_hv, neck_fractions, neck_material : optional
        The same at the clamp; straight lines between.  None: as at the bar's mouth.
    **bench
        Bar, wanted change and limits, by the names of `Bench`.

    Returns
    -------
    HoselBend

    Raises
    ------
    InputError
        A dimension that cannot be built, or a number out of bounds.

    Notes
    -----
    The interval combines as independent: one standard error × 1.28 of strength (with hardness) and of uniform
    elongation, strain share 0.3–0.5, scatter factor 10–40.  The bend length is kept out of it (`for_length`).

    Examples
    --------
    >>> soft = hosel_bend(hardness_hv=150, fractions={"ferrite": 0.75, "pearlite": 0.25})
    >>> soft.governed_by, round(soft.allowed_deg, 1), round(soft.springback_deg, 1)
    ('re-bends', 4.6, 0.4)
    >>> hard = hosel_bend(hardness_hv=320, fractions={"bainite": 0.6, "martensite": 0.4})
    >>> hard.governed_by, hard.allowed_deg < 0.5
    ('bar force', True)
    """
    out_d = check_number(outside_mm, "hosel outside diameter", 6.0, 40.0, "mm")
    bore = check_number(bore_mm, "hosel bore", 0.0, 39.0, "mm")
    if bore > out_d - 1.0:
        raise InputError(
            f"hosel bore is {bore:g} mm in a {out_d:g} mm hosel; allowed is a wall of 0.5 mm or more."
        )
    length = check_number(length_mm, "bend zone", 3.0, 60.0, "mm")
    bench = Bench(**bench_options(bench))
    if bench.neck_outside_mm is not None:
        check_number(bench.neck_outside_mm, "neck diameter", bore + 1.0, 60.0, "mm")
    check_number(bench.eccentricity_mm, "bore eccentricity", 0.0, 0.45 * (out_d - bore), "mm")
    here = neck = _metal(hardness_hv, fractions, material, "material")
    if not (neck_hardness_hv is None and neck_fractions is None and neck_material is None):
        hv = here.hardness_hv if neck_hardness_hv is None else neck_hardness_hv
        structure = fractions if neck_fractions is None else neck_fractions
        neck = _metal(hv, structure, neck_material, "neck material")
    # a range once, with the hosel's value
    notes = [*{w.code: w for w in (*neck.warnings, *here.warnings)}.values()]
    notes += [outside("hosel_length", length), *_advice(here, bench)]
    factors = _off_centre(here, bench, out_d, bore)
    shape = {
        "outside_mm": out_d,
        "bore_mm": bore,
        "length_mm": length,
        "bar_mm": bench.bar_mm,
        "neck_outside_mm": out_d if bench.neck_outside_mm is None else bench.neck_outside_mm,
        "bored_mm": bench.bored_mm,
        **factors,
    }
    used, damage = 0.0, 0.0
    if bench.history_deg:
        here, neck, bench, used, damage = _after_bends(shape, here, neck, bench, notes)
    return _answer(shape, here, neck, bench, used, damage, notes)


def bend_of_head(head, hosel: Strength, neck: Strength, **bench) -> HoselBend:
    """`hosel_bend` of a head from the strengths of its hosel and neck zones.

    The head's ``bend_zone_mm`` is by definition the length over which the bend spreads: straight, bored
    hosel.  Taper and solid neck are stronger and stay out of it; the hardness gradient across it is kept.

    Parameters
    ----------
    head : forgeprops.head.Head
    hosel, neck : Strength
        Of the two zones.
    **bench
        As in `hosel_bend`.
    """
    h = head.hosel
    share = float(gradient_share(h.bend_zone_mm, h.length_mm, head.neck.length_mm))
    mixed = {
        q: getattr(hosel, q) + share * (getattr(neck, q) - getattr(hosel, q)) for q in QUANTITIES
    }
    neck = dataclasses.replace(neck, **mixed)
    return hosel_bend(
        h.outside_mm, h.bore_mm, h.bend_zone_mm, material=hosel, neck_material=neck, **bench
    )


# ---- pieces of the answer ----


def _variants(shape, here: Strength, neck: Strength, bench: Bench):
    """The case, other bend zones, and the case with one assumption moved by its 80 % half-range, either way.

    Returns
    -------
    hosels : Hosels
    fraction, scatter : array, shape (n, 1)
    """
    ends = (here, neck)
    metal = np.stack([metal_of(m) for m in ends])
    se = np.array([[m.yield_se_mpa, m.tensile_se_mpa, m.uniform_elongation_se] for m in ends])
    many = 1 + len(LENGTHS_MM) + 8
    all_ = np.repeat(metal[None], many, axis=0)
    fraction, scatter = (
        np.full((many, 1), x) for x in (bench.strain_fraction, bench.scatter_factor)
    )
    length = np.full(many, shape["length_mm"])
    length[1 : 1 + len(LENGTHS_MM)] = LENGTHS_MM
    yields, tensile, uniform = metal[:, 1], metal[:, 2], metal[:, 3]
    doubt = bench.hardness_se_hv / metal[:, 0]
    for i, sign in ((1 + len(LENGTHS_MM), -1.0), (5 + len(LENGTHS_MM), 1.0)):
        # hardness and both strengths move together
        stronger = tensile * np.maximum(1.0 + sign * Z80 * np.hypot(se[:, 1] / tensile, doubt), 0.2)
        lower = yields * np.maximum(1.0 + sign * Z80 * np.hypot(se[:, 0] / yields, doubt), 0.2)
        all_[i, :, 2], all_[i, :, 1] = stronger, np.minimum(lower, 0.97 * stronger)
        all_[i + 1, :, 3] = np.maximum(uniform + sign * Z80 * se[:, 2], 0.2 * uniform)
        fraction[i + 2] *= 1.0 + sign * _FRACTION_SPREAD
        scatter[i + 3] *= _SCATTER_SPREAD**-sign
    return Hosels.of(all_, **{**shape, "length_mm": length}), fraction, scatter


def _answer(shape, here, neck, bench: Bench, used, damage, notes) -> HoselBend:
    hosels, fraction, scatter = _variants(shape, here, neck, bench)
    nodes, others = hosels.nodes(), len(LENGTHS_MM)
    forces = _limit_forces(nodes, bench, fraction, scatter, used)
    # each limit alone, no further than where the outer fibre reaches uniform strain
    most = nodes.least_force(np.log1p(nodes.metal[..., 3]) / nodes.fibre_mm)[0]
    rows = np.r_[np.arange(len(hosels)), np.zeros(len(LIMITS) + 1, dtype=int)]
    target = bench.target_deg
    loaded = nodes.part(rows)
    found = load(
        loaded,
        np.r_[forces.min(axis=0), np.minimum(forces[:, 0], most), nodes.yield_force()[0]],
        np.r_[np.full(len(rows) - 1, np.nan), math.radians(target)],
    )
    degrees = np.degrees(found.permanent)
    now, shift = float(degrees[0]), degrees[1 + others : len(hosels)] - degrees[0]
    low = max(now - math.sqrt(float(np.sum(np.minimum(shift, 0.0) ** 2))), 0.0)
    high = now + math.sqrt(float(np.sum(np.maximum(shift, 0.0) ** 2)))
    force, sprung = float(found.x[-1]), float(np.degrees(found.sprung[-1]))
    governed = LIMITS[int(forces[:, 0].argmin())]
    strain, gathers = (float(x[0]) for x in _bent_most(loaded, found))
    notes.append(outside("hosel_strain", strain))
    if governed == "re-bends":
        notes.append(
            outside("roessle_fatemi", float(convert_array(here.hardness_hv, "HV", "HB")[0]))
        )
    if gathers:
        notes.append(
            Warn(
                "hosel:gathers",
                "All the bending gathers in less than a quarter of the diameter (taper, end of the "
                "bore, hardness gradient); the beam picture is cautious there: try it.",
            )
        )
    if now < _SPRINGS_DEG:
        notes.append(
            Warn("hosel:too-strong", "Within these limits the hosel only springs; no bend stays.")
        )
    turn = math.degrees(math.atan2(bench.target_loft_deg, bench.target_lie_deg)) if target else 0.0
    out_d, bore = shape["outside_mm"], shape["bore_mm"]
    return HoselBend(
        allowed_deg=now,
        allowed_deg_low=low,
        allowed_deg_high=high,
        governed_by=governed,
        allowed_by=dict(zip(LIMITS, degrees[len(hosels) : -1].tolist(), strict=True)),
        for_length={x: float(degrees[1 + i]) for i, x in enumerate(LENGTHS_MM)},
        target_deg=target,
        direction_deg=turn if bench.hand == "right" else -turn,
        bar_force_n=force,
        ease=ease_of(force),
        springback_deg=sprung,
        overbend_deg=float(degrees[-1]) + sprung,
        yield_moment_nm=_first_yield_nm(shape, here, bench),
        limit_moment_nm=here.yield_mpa * plastic_modulus_mm3(out_d, bore) / 1000.0,
        return_force_n=_return_force(nodes, found.strain[-1], force, bench.bauschinger),
        outer_strain=strain,
        bends_at_mm=float(nodes.s_mm[0, np.where(nodes.real[0], found.strain[0], 0.0).argmax()]),
        rebends_left=_rebends_left(here, float(found.strain[-1].max()), bench, damage)
        if target
        else {},
        strength=here,
        hardness_hv=here.hardness_hv,
        warnings=tuple(n for n in notes if n is not None),
        bench=hosels.part(slice(0, 1)),
        hand=bench.hand,
    )


def _metal(hardness_hv, fractions, given: Strength | None, label: str) -> Strength:
    """A given `Strength`, or one from hardness and structure."""
    if given is None:
        return strength(hardness_hv, fractions)
    if not isinstance(given, Strength):
        raise InputError(
            f"{label} is {given!r}; allowed is a Strength from forgeprops.strength(...)."
        )
    return given


def _advice(here: Strength, bench: Bench) -> list[Warn]:
    notes = []
    if bench.aged and not bench.history_deg:
        notes.append(
            Warn("hosel:ageing", "Strain ageing needs an earlier bend; history_deg names none.")
        )
    if here.yield_plateau_strain > 0.002:
        notes.append(
            Warn(
                "hosel:plateau",
                "Low-carbon steel yields in a plateau: it gives suddenly, then stiffens. A bend "
                "that rested for days or was warmed has aged: stiffer, less ductile.",
            )
        )
    if bench.plating_factor < 1.0:
        notes.append(
            Warn("hosel:plating", "A plated skin cracks first; its factor is an assumption.")
        )
    return notes


def _off_centre(here: Strength, bench: Bench, out_d: float, bore: float) -> dict[str, float]:
    """Factors of an off-centre bore on fibre distance and moment, taken at the strain limit."""
    if bench.eccentricity_mm == 0.0:
        return {}
    at = bench.strain_fraction * math.log1p(here.uniform_elongation) / (0.5 * out_d)
    moment, fibre = eccentric_section(out_d, bore, bench.eccentricity_mm, here.curve, at)
    centred, _ = eccentric_section(out_d, bore, 0.0, here.curve, at)
    return {"fibre_factor": fibre / (0.5 * out_d), "moment_factor": moment / centred}


def _after_bends(shape, here: Strength, neck: Strength, bench: Bench, notes: list):
    """Earlier bends: ageing, life and strain they took, and what to say of it.

    Returns
    -------
    here, neck : Strength
    bench : Bench
        With as many more re-bends as the earlier ones took.
    used, damage : float
        Outer-fibre strain left, share of the life used up.
    """
    past = bench.history_deg
    bends = np.abs([*(d for d in past if d), sum(past)])
    metal = np.stack([metal_of(here), metal_of(neck)])
    nodes = Hosels.of(np.repeat(metal[None], len(bends), axis=0), **shape).nodes()
    found = force_for_angle(nodes, np.radians(bends))
    strains = found.strain.max(axis=1)[:-1]
    damage = miner_damage(here.hardness_hv, here.tensile_mpa, strains, bench.scatter_factor)
    elastic = found.x[:, None] * nodes.arm_mm / (nodes.moment_factor * nodes.section.stiffness)
    left = (nodes.fibre_mm * (found.curvature - elastic))[-1].max()
    used = max(float(left), 0.0) if bends[-1] else 0.0
    notes.append(
        Warn(
            "hosel:history",
            f"{len(past)} earlier bends are reckoned in: they leave {bends[-1]:.1f}° and took "
            f"{100 * min(damage, 1.0):.0f} % of the re-bends; the allowance is for going further "
            "the same way.",
        )
    )
    if damage >= 1.0:
        notes.append(
            Warn(
                "hosel:used-up",
                "The earlier bends have used up the re-bends; do not bend this hosel again.",
            )
        )
    if bench.aged and len(strains):
        here, neck = (aged(m, float(strains.max())) for m in (here, neck))
    more = bench.rebends / max(1.0 - damage, 1e-6)
    bench = dataclasses.replace(bench, rebends=min(more, 10_000.0))
    return here, neck, bench, used, damage


def _rebends_left(material: Strength, strain: float, bench: Bench, damage: float):
    """Cycles of ± the wanted change to a crack by each fatigue method."""
    lives = {
        "Roessle–Fatemi": roessle_fatemi(material.hardness_hv),
        "uniform material law": uniform_material_law(material.tensile_mpa),
    }
    left, amplitude = max(1.0 - damage, 0.0) / bench.scatter_factor, strain * bench.notch_factor
    return {name: float(cycles_to_crack(life, amplitude)) * left for name, life in lives.items()}


def _first_yield_nm(shape, here: Strength, bench: Bench) -> float:
    """First yield at the hosel's section, residual tension taken off."""
    left = max(here.yield_mpa - bench.residual_stress_mpa, 0.0)
    section = elastic_modulus_mm3(shape["outside_mm"], shape["bore_mm"])
    factor = shape.get("moment_factor", 1.0) / shape.get("fibre_factor", 1.0)
    return left * section * factor / 1000.0


def _return_force(n: Nodes, strain, force: float, reverse: float) -> float:
    """Force in reverse at which the most strained fibre yields again after a bend under `force`.

    Unloading and reverse loading are elastic until that fibre has come down by its peak stress plus the
    reduced reverse yield (Bauschinger): ΔM = (stress + factor · YS) I/R.
    """
    i = int(strain.argmax())
    curve = flow_curve(*n.metal[0, i, 1:5])
    stress = float(curve.stress_mpa(strain[i])) + reverse * float(curve.yield_mpa)
    section = elastic_modulus_mm3(n.outside_mm[0, i], n.bore_mm[0, i])
    factor = n.moment_factor[0, 0] * 0.5 * n.outside_mm[0, i] / n.fibre_mm[0, i]
    return max(float(stress * section * factor / n.arm_mm[0, i]) - force, 0.0)
