"""What a hosel is before it is bent: bored off centre, bent before, aged since."""

import dataclasses

import numpy as np

from ..base.ranges import Warn
from ..strength.tensile import YOUNGS_MPA, Strength
from . import fatigue
from .bench import Bench, Hosels, force_for_angle, metal_of
from .bending_moment import eccentric_section


def off_centre(here: Strength, bench: Bench, out_d: float, bore: float) -> dict[str, float]:
    """Factors of an off-centre bore on fibre distance and moment, taken at the cold strain."""
    if bench.eccentricity_mm == 0.0:
        return {}
    at = fatigue.COLD_STRAIN / (0.5 * out_d)
    moment, fibre = eccentric_section(out_d, bore, bench.eccentricity_mm, here.curve, at)
    centred, _ = eccentric_section(out_d, bore, 0.0, here.curve, at)
    return {"fibre_factor": fibre / (0.5 * out_d), "moment_factor": moment / centred}


def after_bends(shape, here: Strength, neck: Strength, bench: Bench, notes: list):
    """Earlier bends: ageing, life and strain they took, and what to say of it.

    Gives hosel and neck as aged, the bench with as many more re-bends as the earlier bends took, the
    outer-fibre strain left, and the share of the life used up.
    """
    past = bench.history_deg
    bends = np.abs([*(d for d in past if d), sum(past)])
    metal = np.stack([metal_of(here), metal_of(neck)])
    nodes = Hosels.of(np.repeat(metal[None], len(bends), axis=0), **shape).nodes()
    found = force_for_angle(nodes, np.radians(bends))
    strains = found.strain.max(axis=1)[:-1]
    ranges = strains + fatigue.RETURN_STRAINS * here.yield_mpa / YOUNGS_MPA
    ranges = ranges * fatigue.notch_strain_factor(here.hardening_exponent, bench.notch_factor)
    damage = fatigue.miner_damage(here.hardness_hv, here.tensile_mpa, ranges, bench.scatter_factor)
    left = (nodes.fibre_mm * (found.curvature - nodes.elastic(found.x)))[-1].max()
    used = max(float(left), 0.0) if bends[-1] else 0.0
    text = (
        f"{len(past)} earlier bends are counted: they leave {bends[-1]:.1f}° and took "
        f"{100 * min(damage, 1.0):.0f} % of the re-bends; the allowance is for going further the same way."
    )
    notes.append(Warn("hosel:history", text))
    if damage >= 1.0:
        text = "The earlier bends have used up the re-bends; do not bend this hosel again."
        notes.append(Warn("hosel:used-up", text))
    if bench.aged and len(strains):
        here, neck = (fatigue.aged(m, float(strains.max())) for m in (here, neck))
    more = bench.rebends / max(1.0 - damage, 1e-6)
    bench = dataclasses.replace(bench, rebends=min(more, 10_000.0))
    return here, neck, bench, used, damage
