"""Allowed degrees of thousands of hosels at once: the least force of all limits, and the angle it leaves."""

from __future__ import annotations

import math

import numpy as np

from ..base.errors import check_choice
from .bench import LIMITS, Bench, angles, limit_forces
from .fatigue import SCATTER_FACTOR

__all__ = ["DEFAULTS", "allowed", "allowed_deg_array"]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "allowed_deg_array": ("moment_curvature", "bench_beam", "strain_fraction", "bend_zone"),
    "allowed": ("moment_curvature", "bench_beam", "strain_fraction"),
    "DEFAULTS": ("bar", "bore_out_of_round", "bauschinger"),
}

#: Bench and limits by default; `hosel.hosel_bend` defends each.
DEFAULTS = {
    "bored_mm": math.inf,
    "bar_mm": 500.0,
    "force_limit_n": 400.0,
    "strain_fraction": 0.4,
    "notch_factor": 1.0,
    "bore_factor": 1.0,
    "plating_factor": 1.0,
    "rebends": 5.0,
    "scatter_factor": SCATTER_FACTOR,
    "bore_out_of_round_mm": 0.10,
    "wall_thinning": 0.10,
    "used_strain": 0.0,
    "fibre_factor": 1.0,
    "moment_factor": 1.0,
}

# Cases per pass: keeps the work arrays of a large batch near 100 MB.
_CHUNK = 4096


def allowed_deg_array(
    outside_mm,
    bore_mm,
    length_mm,
    yield_mpa,
    tensile_mpa,
    uniform_elongation,
    hardness_hv,
    plateau_strain=0.0,
    *,
    neck_outside_mm=None,
    neck_yield_mpa=None,
    neck_tensile_mpa=None,
    neck_uniform_elongation=None,
    neck_hardness_hv=None,
    neck_plateau_strain=None,
    details: bool = False,
    **options,
):
    """Allowed degrees of many hosels at once; `hosel_bend` is a batch of one of the same code.

    Parameters
    ----------
    outside_mm, bore_mm, length_mm, yield_mpa, tensile_mpa, uniform_elongation, hardness_hv, plateau_strain
    : array_like
        Section, free length, and strength at the bar's mouth (from `strength.tensile.strength_arrays`).
    neck_... : array_like, optional
        The same at the clamp; None: as at the bar's mouth.
    details : bool
        Also return what governs.
    **options : array_like
        Bench and limits by the names and defaults of `hosel_bend`: bored_mm, bar_mm, force_limit_n,
        strain_fraction, notch_factor, bore_factor, plating_factor, rebends, scatter_factor,
        bore_out_of_round_mm, wall_thinning, used_strain (outer-fibre strain left by earlier bends),
        fibre_factor and moment_factor (of an eccentric bore).

    Returns
    -------
    ndarray or dict
        Degrees; with `details` a dict of "allowed_deg", "governed_by" (index into `bench.LIMITS`), "force_n",
        "springback_deg" (all at the allowed bend).

    Examples
    --------
    >>> [round(float(a), 2) for a in allowed_deg_array(13.4, 9.4, [10.0, 20.0], 342, 489, 0.184, 150, 0.015)]
    [2.38, 4.58]
    """
    for name in options:
        check_choice(name, "option", DEFAULTS)
    values = {
        **DEFAULTS,
        **options,
        "outside_mm": outside_mm,
        "bore_mm": bore_mm,
        "length_mm": length_mm,
        "yield_mpa": yield_mpa,
        "tensile_mpa": tensile_mpa,
        "uniform_elongation": uniform_elongation,
        "hardness_hv": hardness_hv,
        "plateau_strain": plateau_strain,
    }
    for name, given in (
        ("outside_mm", neck_outside_mm),
        ("yield_mpa", neck_yield_mpa),
        ("tensile_mpa", neck_tensile_mpa),
        ("uniform_elongation", neck_uniform_elongation),
        ("hardness_hv", neck_hardness_hv),
        ("plateau_strain", neck_plateau_strain),
    ):
        values[f"neck_{name}"] = values[name] if given is None else given
    bench = Bench.of(**values)
    found = [
        allowed(bench.part(slice(i, i + _CHUNK))) for i in range(0, max(len(bench), 1), _CHUNK)
    ]
    out = {name: np.concatenate([f[name] for f in found]) for name in found[0]}
    return out if details else out["allowed_deg"]


def allowed(bench: Bench) -> dict[str, np.ndarray]:
    """Angle, limit that governs (index into `LIMITS`), force and springback of every case."""
    forces = np.stack([limit_forces(bench)[name] for name in LIMITS])
    governed = np.argmin(forces, axis=0)
    force = np.min(forces, axis=0)
    permanent, sprung = angles(bench, force)
    return {
        "allowed_deg": np.degrees(permanent),
        "governed_by": governed,
        "force_n": force,
        "springback_deg": np.degrees(sprung),
    }
