"""The cases behind one answer: material, off-centre bore, earlier bends, ageing, moved assumptions."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping

import numpy as np

from ..base.errors import InputError
from ..base.ranges import Warn
from ..strength.tensile import FlowCurve, Strength, flow_curve, strength
from .bench import Bench, along, force_for_angle
from .bending_moment import eccentric_section
from .fatigue import miner_damage

__all__ = [
    "AGEING_MPA",
    "after_bends",
    "bench_of",
    "between",
    "eccentric_factors",
    "force_of",
    "gradient_share",
    "material_of",
    "moved",
    "over_strain",
]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "force_of": ("bench_beam",),
    "over_strain": ("bench_beam",),
    "bench_of": (),
    "material_of": ("strength_handbook_lines",),
    "gradient_share": ("bend_zone",),
    "between": ("bench_beam",),
    "eccentric_factors": ("eccentric_bore",),
    "after_bends": ("strain_life", "strain_ageing"),
    "moved": ("bend_zone", "strain_fraction"),
}

#: What ageing adds to the flow stress of low-carbon steel after a bend, MPa (30–60, from memory).
AGEING_MPA = 40.0

#: Standard normal quantile of an 80 % interval.
_Z80 = 1.2816

#: 80 % half-range of two choices of ours: share of uniform strain 0.3–0.5 about 0.4, scatter factor 10–40
#: about 20.
_FRACTION_SPREAD, _SCATTER_SPREAD = 0.25, 2.0


def force_of(bench: Bench, degrees: float) -> float:
    """Force that leaves a bend on the first case."""
    return float(force_for_angle(bench.part(slice(0, 1)), math.radians(degrees))[0])


def over_strain(bench: Bench, force: float) -> float:
    """Greatest outer-fibre strain under a force on the bar."""
    return float(np.max(along(bench, force)["outer_strain"]))


def bench_of(here: Strength, neck: Strength, numbers: Mapping[str, float], **changes) -> Bench:
    """Bench of one hosel, with some values changed."""
    values = dict(numbers)
    for prefix, m in (("", here), ("neck_", neck)):
        values |= {
            f"{prefix}hardness_hv": m.hardness_hv,
            f"{prefix}yield_mpa": m.yield_mpa,
            f"{prefix}tensile_mpa": m.tensile_mpa,
            f"{prefix}uniform_elongation": m.uniform_elongation,
            f"{prefix}plateau_strain": m.yield_plateau_strain,
        }
    return Bench.of(**{**values, **changes})


def material_of(hardness_hv, fractions, given: Strength | None, label: str) -> Strength:
    """A given `Strength`, or one from hardness and structure."""
    if given is None:
        return strength(hardness_hv, fractions)
    if not isinstance(given, Strength):
        raise InputError(
            f"{label} is {given!r}; allowed is a Strength from forgeprops.strength(...)."
        )
    return given


def gradient_share(head) -> float:
    """Share of the difference neck − hosel that lies within the bend zone of a head.

    Zone values belong to the middles of hosel and neck, half their lengths apart; the bend zone is shorter.
    """
    apart = 0.5 * (head.hosel.length_mm + head.neck.length_mm)
    return min(head.hosel.bend_zone_mm / apart, 1.0)


def between(here: Strength, neck: Strength, share: float) -> Strength:
    """Strength part of the way from the hosel to the neck (straight line in each quantity)."""
    names = (
        "hardness_hv",
        "yield_mpa",
        "tensile_mpa",
        "uniform_elongation",
        "yield_plateau_strain",
    )
    mixed = {n: getattr(here, n) + share * (getattr(neck, n) - getattr(here, n)) for n in names}
    return dataclasses.replace(neck, **mixed)


def eccentric_factors(
    here: Strength, numbers: Mapping[str, float], offset: float
) -> dict[str, float]:
    """Factors of an off-centre bore on fibre distance and moment, taken at the strain limit."""
    out_d, bore = numbers["outside_mm"], numbers["bore_mm"]
    at = numbers["strain_fraction"] * math.log1p(here.uniform_elongation) / (0.5 * out_d)
    moment, fibre = eccentric_section(out_d, bore, offset, here.curve, at)
    centred, _ = eccentric_section(out_d, bore, 0.0, here.curve, at)
    return {"fibre_factor": fibre / (0.5 * out_d), "moment_factor": moment / centred}


def after_bends(past, here: Strength, neck: Strength, numbers: dict, aged: bool, notes: list):
    """Earlier bends: life and strain they took (into `numbers`), ageing, and what to say of it."""
    virgin = bench_of(here, neck, numbers)
    of_bend = {d: over_strain(virgin, force_of(virgin, d)) for d in {abs(d) for d in past} if d}
    ranges = [of_bend[abs(d)] for d in past if d]
    damage = miner_damage(here.hardness_hv, here.tensile_mpa, ranges, numbers["scatter_factor"])
    net = abs(sum(past))
    left = along(virgin, force_of(virgin, net))["permanent_strain"] if net else np.zeros(1)
    numbers["used_strain"] = max(float(np.max(left)), 0.0)
    numbers["rebends"] = numbers["rebends"] / max(1.0 - damage, 1e-6)
    notes.append(
        Warn(
            "hosel:history",
            f"{len(past)} earlier bends are reckoned in: they leave {net:.1f}° and took "
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
    if aged and ranges:
        here, neck = (_aged(m, max(ranges)) for m in (here, neck))
    return here, neck, damage


def _aged(material: Strength, strain: float) -> Strength:
    """Strength after a bend and strain ageing: yield at the flow stress of half the strain, plus ageing."""
    half = 0.5 * strain  # mean over the section, roughly
    elastic = material.yield_mpa / material.curve.youngs_mpa
    raised = float(material.curve.stress_mpa(half + elastic)) + AGEING_MPA
    tensile = max(material.tensile_mpa + 0.5 * AGEING_MPA, 1.02 * raised)
    uniform = max(material.uniform_elongation - half, 0.3 * material.uniform_elongation)
    curve = flow_curve(raised, tensile, uniform, material.yield_plateau_strain)
    curve = FlowCurve(*(float(getattr(curve, f.name)) for f in dataclasses.fields(FlowCurve)))
    return dataclasses.replace(
        material, yield_mpa=raised, tensile_mpa=tensile, uniform_elongation=uniform, curve=curve
    )


def moved(
    here: Strength, neck: Strength, numbers: Mapping[str, float], spread_hv: float
) -> list[Bench]:
    """Cases with one assumption moved by its 80 % half-range, either way."""

    def stronger(m: Strength, sign: float) -> Strength:
        # hardness and both strengths move together
        def factor(se: float, value: float) -> float:
            return max(1.0 + sign * _Z80 * math.hypot(se / value, spread_hv / m.hardness_hv), 0.2)

        tensile = m.tensile_mpa * factor(m.tensile_se_mpa, m.tensile_mpa)
        lower = m.yield_mpa * factor(m.yield_se_mpa, m.yield_mpa)
        return dataclasses.replace(m, tensile_mpa=tensile, yield_mpa=min(lower, 0.97 * tensile))

    def tougher(m: Strength, sign: float) -> Strength:
        shifted = m.uniform_elongation + sign * _Z80 * m.uniform_elongation_se
        return dataclasses.replace(m, uniform_elongation=max(shifted, 0.2 * m.uniform_elongation))

    cases = []
    for sign in (-1.0, 1.0):
        cases += [
            bench_of(stronger(here, sign), stronger(neck, sign), numbers),
            bench_of(tougher(here, sign), tougher(neck, sign), numbers),
            bench_of(
                here,
                neck,
                numbers,
                strain_fraction=numbers["strain_fraction"] * (1.0 + sign * _FRACTION_SPREAD),
            ),
            bench_of(
                here,
                neck,
                numbers,
                scatter_factor=numbers["scatter_factor"] * _SCATTER_SPREAD**-sign,
            ),
        ]
    return cases
