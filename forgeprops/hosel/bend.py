"""How far the hosel will bend: what the metal takes, what a hand reaches on the bar, and why.

The mechanics are in `bending_moment` (moment–curvature), `bench` (along the bend zone), `limits` and `fatigue`.  No open
measurement of hosel bends exists: the intervals rest on assumptions, named beside each default.
"""

import dataclasses
import math
from collections.abc import Mapping

import numpy as np

from ..base.cautions import STEADY_PULL_N
from ..base.constants import Z80
from ..base.errors import InputError, check_number, shown
from ..base.ranges import Warn, outside
from ..strength.hardness_scales import convert_array
from ..strength.tensile import YOUNGS_MPA, Strength, strength, strength_arrays
from . import bench as beam
from . import bending_moment, fatigue
from .bench import LIMITS, QUANTITIES, Bench, Hosels
from .limits import NOTES, bent_most, governing, gradient_share, limit_forces
from .result import HoselBend, ease_of, said

#: Bend zones always shown, mm.  Nobody has measured it: 10–20 mm lies free between bar and clamp (our estimate).
LENGTHS_MM = (10.0, 20.0)

#: 80 % half-range of two choices of ours: cold strain 4–6 % about 5, scatter factor by 2.
_COLD_SPREAD, _SCATTER_SPREAD = 0.2, 2.0
#: Hardness at which ferrite, bainite and martensite are found, each tried where the structure is unknown (the ranges of
#: the strength fits).
_STRUCTURES = ((60.0, 280.0), (200.0, 450.0), (200.0, 900.0))


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
        Free length between the bar's mouth and the clamp, mm, 3 to 60.  **Nobody has measured how much of it bends**;
        20 mm is the long end of our estimate of 10–20, and the answer is given for both.
    hardness_hv : float
        At the bar's mouth, HV; a reading will do.
    fractions, material : optional
        Structure, or a ready `Strength`.  Without either the regression of all structures is used, and the interval
        counts what the structure could be.
    neck_hardness_hv, neck_fractions, neck_material : optional
        The same at the clamp; straight lines between.  None: as at the bar's mouth.
    **bench
        Bar, required change and limits, by the names of `Bench`.

    Raises
    ------
    InputError
        A dimension that cannot be built, or a number out of bounds.

    Notes
    -----
    The interval combines as independent: one standard error × 1.28 of strength (with hardness) and of the
    reduction of area, cold strain 4–6 %, scatter factor 1.7–6.6, and the structure where none is given.  The
    bend length is kept out of it (`for_length`).

    Examples
    --------
    A reading is enough: hardness, bar and required change.

    >>> bend = hosel_bend(hardness_hv=230, length_mm=15, bar_mm=600, target_lie_deg=1.5)
    >>> round(bend.allowed_deg, 1), bend.governed_by, bend.ease[:5]
    (3.9, 'wall', 'heavy')
    >>> hard = hosel_bend(hardness_hv=320, length_mm=15, fractions={"bainite": 0.6, "martensite": 0.4})
    >>> hard.governed_by, hard.hand_deg < 1.0 < hard.allowed_deg
    ('re-bends', True)
    """
    out_d = check_number(outside_mm, "hosel outside diameter", 6.0, 40.0, "mm")
    bore = check_number(bore_mm, "hosel bore", 0.0, 39.0, "mm")
    if bore > out_d - 1.0:
        what = f"hosel bore is {bore:g} mm in a {out_d:g} mm hosel"
        raise InputError(f"{what}; give a wall of 0.5 mm or more.")
    length = check_number(length_mm, "bend zone", 3.0, 60.0, "mm")
    bench = Bench(**beam.bench_options(bench))
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
    if bench.aged and not bench.history_deg:
        notes.append(said("hosel:ageing"))
    if bench.plating_factor < 1.0:
        notes.append(said("hosel:plating"))
    factors = _off_centre(here, bench, out_d, bore)
    neck_d = out_d if bench.neck_outside_mm is None else bench.neck_outside_mm
    shape = {"outside_mm": out_d, "neck_outside_mm": neck_d, "bore_mm": bore, "length_mm": length}
    shape |= {"bored_mm": bench.bored_mm, "bar_mm": bench.bar_mm, **factors}
    used = 0.0
    if bench.history_deg:
        here, neck, bench, used = _after_bends(shape, here, neck, bench, notes)
    unknown = material is None and fractions is None
    return _answer(shape, here, neck, bench, (used, unknown), notes)


def bend_of_head(head, hosel: Strength, neck: Strength, **bench) -> HoselBend:
    """`hosel_bend` of a head from the strengths of its hosel and neck zones, on a bench as in `hosel_bend`.

    The head's ``bend_zone_mm`` is by definition the length over which the bend spreads: straight, bored
    hosel.  Taper and solid neck are stronger and stay out of it; the hardness gradient across it is kept.
    """
    here = beam.metal_of(hosel)
    share = float(gradient_share(head.bend_zone_mm, head.hosel_length_mm, head.neck_length_mm))
    mixed = (here + share * (beam.metal_of(neck) - here)).tolist()
    neck = dataclasses.replace(neck, **dict(zip(QUANTITIES, mixed, strict=True)))
    metal = {"material": hosel, "neck_material": neck}
    tube = head.hosel_outside_mm, head.hosel_bore_mm, head.bend_zone_mm
    return hosel_bend(*tube, **metal, **bench)


def _off_centre(here: Strength, bench: Bench, out_d: float, bore: float) -> dict[str, float]:
    """Factors of an off-centre bore on fibre distance and moment, taken at the cold strain."""
    if bench.eccentricity_mm == 0.0:
        return {}
    section, bent = bending_moment.eccentric_section, fatigue.COLD_STRAIN / (0.5 * out_d)
    moment, fibre = section(out_d, bore, bench.eccentricity_mm, here.curve, bent)
    centred, _ = section(out_d, bore, 0.0, here.curve, bent)
    return {"fibre_factor": fibre / (0.5 * out_d), "moment_factor": moment / centred}


def _after_bends(shape, here: Strength, neck: Strength, bench: Bench, notes: list):
    """Hosel and neck as aged by earlier bends, the bench with as many more re-bends as these took, and the outer-fibre strain
    left."""
    past = bench.history_deg
    bends = np.abs([*(d for d in past if d), sum(past)])
    metal = np.stack([beam.metal_of(here), beam.metal_of(neck)])
    nodes = Hosels.of(np.repeat(metal[None], len(bends), axis=0), **shape).nodes()
    found = beam.force_for_angle(nodes, np.radians(bends))
    strains = found.strain.max(axis=1)[:-1]
    ranges = strains + fatigue.RETURN_STRAINS * here.yield_mpa / YOUNGS_MPA
    ranges = ranges * fatigue.notch_strain_factor(here.hardening_exponent, bench.notch_factor)
    damage = fatigue.miner_damage(here.hardness_hv, here.tensile_mpa, ranges, bench.scatter_factor)
    left = (nodes.fibre_mm * (found.curvature - nodes.elastic(found.x)))[-1].max()
    used = max(float(left), 0.0) if bends[-1] else 0.0
    taken = 100 * min(damage, 1.0)
    notes.append(said("hosel:history", n=len(past), left_deg=bends[-1], taken=taken))
    notes += [said("hosel:used-up")] * (damage >= 1.0)
    if bench.aged and len(strains):
        here, neck = (fatigue.aged(m, float(strains.max())) for m in (here, neck))
    more = bench.rebends / max(1.0 - damage, 1e-6)
    bench = dataclasses.replace(bench, rebends=min(more, 10_000.0))
    return here, neck, bench, used


def _variants(shape, here: Strength, neck: Strength, bench: Bench, unknown: bool):
    """The case, other bend zones, and the case with one assumption moved by its 80 % half-range, either way."""
    ends, skip = (here, neck), 1 + len(LENGTHS_MM)
    metal = np.stack([beam.metal_of(m) for m in ends])
    se = np.array([[m.yield_se_mpa, m.tensile_se_mpa, m.reduction_of_area_se] for m in ends])
    hv = here.hardness_hv
    alone = np.eye(len(_STRUCTURES))[[unknown and low <= hv <= high for low, high in _STRUCTURES]]
    many = skip + 8 + len(alone)
    all_ = np.repeat(metal[None], many, axis=0)
    both = fatigue.COLD_STRAIN, bench.scatter_factor
    cold, scatter = (np.full((many, 1), value) for value in both)
    length = np.full(many, shape["length_mm"])
    length[1:skip] = LENGTHS_MM
    yields, tensile, reduction = metal[:, 1], metal[:, 2], metal[:, 5]
    doubt = bench.hardness_se_hv / metal[:, 0]
    for i, sign in ((skip, -1.0), (skip + 4, 1.0)):
        # hardness and both strengths move together
        step = sign * Z80
        stronger = tensile * np.maximum(1.0 + step * np.hypot(se[:, 1] / tensile, doubt), 0.2)
        lower = yields * np.maximum(1.0 + step * np.hypot(se[:, 0] / yields, doubt), 0.2)
        all_[i, :, 2], all_[i, :, 1] = stronger, np.minimum(lower, 0.97 * stronger)
        all_[i + 1, :, 5] = reduction + step * se[:, 2]
        cold[i + 2] *= 1.0 + sign * _COLD_SPREAD
        scatter[i + 3] *= _SCATTER_SPREAD**-sign
    if len(alone):
        each = strength_arrays(np.full(len(alone), hv), *alone.T)
        all_[skip + 8 :] = beam.metal_of(each)[:, None]
    return Hosels.of(all_, **{**shape, "length_mm": length}), cold, scatter


def _answer(shape, here, neck, bench: Bench, state, notes) -> HoselBend:
    """`state`: outer-fibre strain that earlier bends took, and whether the structure is unknown."""
    used, unknown = state
    hosels, cold, scatter = _variants(shape, here, neck, bench, unknown)
    nodes, others, n = hosels.nodes(), len(LENGTHS_MM), len(hosels)
    forces, limits = limit_forces(nodes, bench, cold, scatter, used)
    one, target = float(forces[:2, 0].min()), bench.target_deg
    hands_n = np.array([bench.force_limit_n, STEADY_PULL_N])
    pulls, start = np.minimum(hands_n, one), float(nodes.yield_force()[0])
    rows = np.r_[np.arange(n), np.zeros(len(LIMITS) + 3, dtype=int)]
    loaded = nodes.part(rows)
    force = np.r_[forces.min(axis=0), forces[:, 0], pulls, start]
    angle = np.r_[np.full(len(rows) - 1, np.nan), math.radians(target)]
    found = beam.load(loaded, force, angle, limits.min(axis=0)[rows])
    degrees = np.maximum(np.degrees(found.permanent), 0.0)
    now, shift = float(degrees[0]), degrees[1 + others : n] - degrees[0]
    shift = np.r_[shift[:8], shift[8:].min(initial=0.0), shift[8:].max(initial=0.0)]
    down, up = (math.sqrt(float(np.sum(f(shift, 0.0) ** 2))) for f in (np.minimum, np.maximum))
    by = dict(zip(LIMITS, degrees[n : n + len(LIMITS)].tolist(), strict=True))
    hand, steady = np.where(pulls > start, degrees[-3:-1], 0.0).tolist()
    force, sprung = float(found.x[-1]), float(np.degrees(found.sprung[-1]))
    needed, easy = beam.bar_for_force(bench.bar_mm, shape["length_mm"], force, hands_n).tolist()
    strain, gathers = (float(x[0]) for x in bent_most(loaded, found))
    governed = governing(forces)[0]
    bend = {"allowed_deg": now, "governed_by": governed, "target_deg": target}
    bend |= {"outer_strain": strain, "gathers": gathers, "bar_force_n": force}
    bend |= {"length_mm": shape["length_mm"], "hardness_hv": here.hardness_hv}
    bend["yield_plateau_strain"] = here.yield_plateau_strain
    notes += _notes(bend, bench.force_limit_n, easy)
    turn = math.degrees(math.atan2(bench.target_loft_deg, bench.target_lie_deg)) if target else 0.0
    most_strained = np.where(nodes.real[0], found.strain[0], 0.0).argmax()
    return HoselBend(
        allowed_deg=now, allowed_deg_low=max(now - down, 0.0), allowed_deg_high=now + up,
        one_bend_deg=min(by["wall"], by["crack"]), rebend_deg=now, rebends=bench.rebends,
        governed_by=LIMITS[governed], allowed_by=by,
        for_length={x: float(degrees[1 + i]) for i, x in enumerate(LENGTHS_MM)},
        target_deg=target, direction_deg=turn if bench.hand == "right" else -turn,
        bar_force_n=force, ease=ease_of(force), force_limit_n=bench.force_limit_n,
        hand_deg=hand, steady_deg=steady, bar_length_needed_mm=needed if target else 0.0,
        springback_deg=sprung, overbend_deg=float(degrees[-1]) + sprung,
        outer_strain=strain, bends_at_mm=float(nodes.s_mm[0, most_strained]),
        strength=here, hardness_hv=here.hardness_hv, warnings=tuple(notes),
        bench=hosels.part(slice(0, 1)), hand=bench.hand,
    )  # fmt: skip


def _metal(hardness_hv, fractions, given: Strength | None, label: str) -> Strength:
    """A given `Strength`, or one from hardness and structure."""
    if given is None:
        return strength(hardness_hv, fractions)
    if not isinstance(given, Strength):
        form = "must be a Strength from forgeprops.strength(...)"
        raise InputError(f"{label} {form}; got {shown(given)}.")
    return given


def _notes(bend: Mapping, force_limit_n: float, bar_mm: float) -> list[Warn]:
    """What `NOTES` has to say of one bend."""
    hb = float(convert_array(bend["hardness_hv"], "HV", "HB")[0])
    ranges = {"hosel_length": bend["length_mm"], "hosel_strain": bend["outer_strain"]}
    ranges = {f"range:{id}": (id, v) for id, v in {**ranges, "roessle_fatemi": hb}.items()}
    over = f" and more than the {force_limit_n:.0f} N allowed"
    over *= bend["bar_force_n"] > force_limit_n
    words = {**bend, "steady": STEADY_PULL_N, "most": over, "bar_mm": bar_mm}
    return [
        outside(*ranges[code]) if code in ranges else said(code, rank, **words)
        for code, (rank, holds) in NOTES.items()
        if holds(bend)
    ]
