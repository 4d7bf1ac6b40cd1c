"""Warnings of many cases as codes: the conditions under which `estimate` warns, on arrays."""

from __future__ import annotations

import numpy as np

from ...answer.evaluation import (
    COLD_CORE_C,
    CRACK_CARBON,
    CRACK_MARTENSITE,
    HARD_SHARE,
    HEATED_RANGES,
    LATE_WATER_C,
    REBOUND_C,
    SELF_TEMPERED_HV,
    STIFF_HOSEL_DEG,
    Evaluated,
)
from ...base.ranges import RANGES
from ...engine import march as marks
from ...engine import outcome as out
from ...forging.cautions import (
    CARBIDES_LEFT,
    COARSE_GRAIN_ASTM,
    FULL_AUSTENITE,
    NO_AUSTENITE,
    SCALE_LOSS_UM,
    heating_limit_arrays,
    is_idle,
)
from ...forging.scale import metal_loss_um
from ...inputs.case_columns import Columns
from ...transformation import temperatures
from ...transformation.phase_hardness import HARDNESS_ELEMENTS

__all__ = ["NOT_TOLD", "maybe_idle", "warning_codes"]

#: Codes that only a single estimate has: they need its curve or other marches beside its own.
NOT_TOLD = (
    "cliff",
    "decarburised",
    "decarb-below-ac3",
    "hosel:gathers",
    "range:hosel_strain",
    "range:decarburisation.temperature",
    "range:roessle_fatemi",
    "range:shida",
)

#: Branch of the strength of hosel and neck -> share it needs to be judged by its range (as `strength` does).
_BRANCH_SHARE = 0.3


def _outside(id: str, values) -> np.ndarray:
    span = RANGES[id]
    return (np.asarray(values) < span.low) | (np.asarray(values) > span.high)


def _sprayed(columns: Columns) -> np.ndarray:
    route = columns.route
    return route["has_spray"] & (route["flux"] > 0.0) & (route["spray_s"] > 0.0)


def _reheated(columns: Columns, told: Evaluated) -> np.ndarray:
    """Whether the body re-heated a face that the water had left above Ms."""
    m = told.marched.marks[:, 0]
    above = m[:, marks.M_WATER_OFF] > temperatures.martensite_start_c(columns)
    return _sprayed(columns) & above & (m[:, marks.M_REBOUND] > REBOUND_C)


def _soft_face(told: Evaluated) -> np.ndarray:
    return told.fractions["martensite"][:, 0] < HARD_SHARE * told.marched.zones[:, 0, out.O_SHARE]


def maybe_idle(columns: Columns, told: Evaluated) -> np.ndarray:
    """Cases whose water is called idle if their face comes out as hard without it."""
    hardens = told.marched.zones[:, 0, out.O_SHARE] > 0.0
    return _sprayed(columns) & hardens & ~(_reheated(columns, told) & _soft_face(told))


def _found(
    columns: Columns, told: Evaluated, allowed_deg: np.ndarray, dry_face_hv: np.ndarray | None
):
    """Pairs of a code and where it holds."""
    z, m, route = told.marched.zones, told.marched.marks, columns.route
    wet = route["has_spray"] & (route["flux"] > 0.0)
    for element in ("C", "Mn", "Ni", "Cr", "Mo"):
        yield f"range:kinetics.{element}", _outside(f"kinetics.{element}", columns.content(element))
    for element in HARDNESS_ELEMENTS:
        yield (
            f"range:phase_hardness.{element}",
            _outside(f"phase_hardness.{element}", columns.content(element)),
        )
    for id in HEATED_RANGES:
        yield f"range:{id}", _outside(id, route["preheat_c"])
    yield (
        "range:recrystallisation.strain",
        (route["strain"] > 0.0) & _outside("recrystallisation.strain", route["strain"]),
    )
    yield "range:thermal.spray_flux", wet & _outside("thermal.spray_flux", route["flux"])
    yield "range:thermal.spray_water", wet & _outside("thermal.spray_water", route["water_c"])

    # the furnace, at face and hosel
    peak, scale = np.round(m[:, :, marks.M_FURNACE], 1), m[:, :, marks.M_SCALE]
    ends, alloyed = (0, 4), (columns.content("Cr") >= 0.30) | (columns.content("Mo") >= 0.08)
    safe, working = heating_limit_arrays(columns)

    def anywhere(condition):
        return condition[:, ends].any(axis=1)

    yield "burning", anywhere(peak > safe[:, None])
    yield "overheating", anywhere((peak > working[:, None]) & (peak <= safe[:, None]))
    share = z[:, :, out.O_SHARE]
    below = share.max(axis=1) <= 0.0
    yield "partial-austenite", ~below & anywhere(share < FULL_AUSTENITE)
    yield (
        "carbides-left",
        alloyed & anywhere((share >= NO_AUSTENITE) & (z[:, :, out.O_UNDISSOLVED] > CARBIDES_LEFT)),
    )
    yield "coarse-grain", anywhere(z[:, :, out.O_GRAIN] < COARSE_GRAIN_ASTM)
    yield "scale", anywhere(metal_loss_um(scale) > SCALE_LOSS_UM)
    yield "range:lee_lee_grain", anywhere(_outside("lee_lee_grain", np.maximum(peak, 900.0)))
    yield (
        "range:scale.temperature",
        anywhere((scale > 0.0) & _outside("scale.temperature", np.maximum(peak, 700.0))),
    )
    yield "cold-core", route["preheat_c"] - m[:, :, marks.M_FURNACE].min(axis=1) > COLD_CORE_C

    # what came out
    yield "below-ac1", below
    sprayed, reheated, on = _sprayed(columns), _reheated(columns, told), m[:, 0, marks.M_WATER_ON]
    yield "reheated-face", reheated & _soft_face(told)
    if dry_face_hv is not None:
        yield "idle-water", is_idle(told.hardness_hv[:, 0], dry_face_hv)
    softened = told.as_quenched_hv[:, 0] - told.hardness_hv[:, 0]
    yield "self-tempered", sprayed & ~reheated & (softened > SELF_TEMPERED_HV)
    yield (
        "late-water",
        sprayed
        & (on >= 0.0)
        & (on < temperatures.ae3_c(columns) - LATE_WATER_C)
        & (share[:, 0] > FULL_AUSTENITE),
    )
    yield (
        "quench-crack",
        (
            sprayed
            & (columns.content("C") > CRACK_CARBON)
            & (told.fractions["martensite"][:, 0] > CRACK_MARTENSITE)
        ),
    )

    # the hosel on the bench
    yield "hosel-hard", allowed_deg < STIFF_HOSEL_DEG
    soft = told.fractions["ferrite"] + told.fractions["pearlite"] + told.fractions["untransformed"]
    shares = {
        "strength_fp": soft,
        "strength_b": told.fractions["bainite"],
        "strength_qt": told.fractions["martensite"],
    }
    whole = sum(np.maximum(s, 0.0) for s in shares.values())
    hv = told.strength["hardness_hv"]
    for id, share in shares.items():
        there = (share > _BRANCH_SHARE * whole) & _outside(id, hv)
        yield f"range:{id}", there[:, 3] | there[:, 4]
    yield "range:hosel_length", _outside("hosel_length", columns.dimension("hosel", "bend_zone_mm"))
    yield "hosel:plateau", told.strength["yield_plateau_strain"][:, 4] > 0.002
    yield "hosel:too-strong", allowed_deg < 0.05


def warning_codes(
    columns: Columns,
    told: Evaluated,
    allowed_deg: np.ndarray,
    dry_face_hv: np.ndarray | None = None,
) -> np.ndarray:
    """Codes of every case joined by "; ", array of text: what a single estimate warns of but `NOT_TOLD`.

    Parameters
    ----------
    dry_face_hv : array, optional
        Hardness of the face without water, HV, where `maybe_idle` asks for it and NaN elsewhere; without it
        "idle-water" is not told.
    """
    names, bits = [], np.zeros(len(columns), np.int64)
    for i, (code, where) in enumerate(_found(columns, told, allowed_deg, dry_face_hv)):
        names.append(code)
        bits |= np.where(where, np.int64(1) << i, 0)
    kinds, which = np.unique(bits, return_inverse=True)
    words = [
        "; ".join(name for i, name in enumerate(names) if kind >> i & 1) for kind in kinds.tolist()
    ]
    return np.array(words, dtype=object)[which]
