"""The main job for many cases at once: arrays of hardness, strength, hosel degrees, face margin, warnings.

Every number is what `forgeprops.estimate` gives for the same case: the same march, the same formulas, on
arrays.
"""

from __future__ import annotations

import dataclasses
import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from ...answer import interval as uncertainty
from ...answer.evaluation import REHEATED_C, Evaluated, outcome
from ...answer.second_opinions import opinion_arrays
from ...engine import march as marks
from ...engine import outcome as out
from ...engine.packing import POINTS
from ...engine.run import march_columns
from ...face.margin import face_margin_of_heads
from ...hosel.bench import LIMITS
from ...hosel.bend import bends_of_heads, gradient_share
from ...inputs.case_columns import Columns
from ...inputs.head import ZONES, zones_of
from ...transformation.austenite import carbide_carbon
from .codes import maybe_idle, warning_codes
from .line_cost import Line, line_arrays, press_arrays

__all__ = ["INTERVAL_COLUMNS", "RESULT_COLUMNS", "answers", "hosel_arrays", "steps_of"]

_PER_ZONE = ("hardness_hv", "tensile_mpa", "yield_mpa")
#: Result columns without intervals, in the order of the table.
RESULT_COLUMNS = (
    *(f"{zone}_{name}" for zone in ZONES for name in _PER_ZONE),
    "hosel_allowed_deg",
    "hosel_governed_by",
    "face_margin",
    "scale_um",
    "warnings",
)
INTERVAL_COLUMNS = tuple(f"{zone}_hardness_{end}_hv" for zone in ZONES for end in ("low", "high"))

#: Cases marched in one piece: what they need stays near 20 MB.
_PIECE = 2048
#: Fewest cases worth a thread of their own.
_LEAST = 32


def steps_of(n: int, size: int) -> list[tuple[int, int]]:
    """Begin and end of pieces of `size`."""
    return [(begin, min(begin + size, n)) for begin in range(0, n, size)]


def answers(
    columns: Columns,
    *,
    intervals: bool = False,
    line: Line | None = None,
    threads: int | None = None,
    **options: Any,
) -> dict[str, np.ndarray]:
    """What comes out of many cases, one array a column (see `RESULT_COLUMNS`).

    Parameters
    ----------
    columns : Columns
    intervals : bool
        Also the 80 % interval of hardness, as `estimate` tells it: water law, carbides, methods, residuals;
        and whether the water buys the face anything.  It marches every case up to eight times.
    line : Line, optional
        Also what the press has to do and what the line makes (see `line.press_arrays`, `line.line_arrays`).
    threads : int, optional
        Threads the pieces are computed on; left out: as many as there are cores.
    options
        Passed to `engine.run.march_columns`.
    """
    n, workers = len(columns), threads or os.cpu_count() or 1
    # pieces small enough that no thread waits long for the last one
    size = min(max(-(-n // (4 * workers)), _LEAST), _PIECE) if workers > 1 else _PIECE

    def piece(span: tuple[int, int]) -> dict[str, np.ndarray]:
        part = columns if span == (0, n) else columns.part(slice(*span))
        return _answers(part, intervals, line, 1, options)

    spans = steps_of(n, size)
    if len(spans) == 1 or workers == 1:
        pieces = [piece(span) for span in spans]
    else:
        with ThreadPoolExecutor(workers, thread_name_prefix="forgeprops") as pool:
            pieces = list(pool.map(piece, spans))
    if len(pieces) == 1:
        return pieces[0]
    return {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}


def _answers(columns: Columns, intervals: bool, line, threads, options) -> dict[str, np.ndarray]:
    told = outcome(march_columns(columns, threads=threads, **options))
    result, dry_face_hv = {}, None
    for i, zone in enumerate(ZONES):
        result[f"{zone}_hardness_hv"] = told.hardness_hv[:, i]
        for name in ("tensile_mpa", "yield_mpa"):
            result[f"{zone}_{name}"] = told.strength[name][:, i]
    if intervals:
        low, high = _intervals(columns, told, threads, options)
        dry_face_hv = _dry_face_hv(columns, told, threads, options)
        for i, zone in enumerate(ZONES):
            result[f"{zone}_hardness_low_hv"], result[f"{zone}_hardness_high_hv"] = (
                low[:, i],
                high[:, i],
            )
    hosel = hosel_arrays(columns, told)
    result["hosel_allowed_deg"] = hosel["allowed_deg"]
    result["hosel_governed_by"] = np.array(LIMITS, dtype=object)[hosel["governed_by"]]
    result["face_margin"] = _face_margin(columns, told)
    result["scale_um"] = told.marched.marks[:, 0, marks.M_SCALE]
    if line is not None:
        result |= press_arrays(columns, told.marched.marks[:, :, marks.M_DIE])
        result |= line_arrays(columns.route, columns.shop["delay_s"], line)
    result["warnings"] = warning_codes(columns, told, hosel["allowed_deg"], dry_face_hv)
    return result


# ---- hosel and face ----------------------------------------------------------------------------------------


def hosel_arrays(columns: Columns, told: Evaluated) -> dict[str, np.ndarray]:
    """Allowed degrees and what governs, as `hosel.bend.bend_of_head` tells one."""
    hosel, neck = (
        {name: values[:, ZONES.index(zone)] for name, values in told.strength.items()}
        for zone in ("hosel", "neck")
    )
    outside, bore, zone, length = (
        columns.dimension("hosel", name)
        for name in ("outside_mm", "bore_mm", "bend_zone_mm", "length_mm")
    )
    share = gradient_share(zone, length, columns.dimension("neck", "length_mm"))
    return bends_of_heads(outside, bore, zone, hosel, neck, share)


def _face_margin(columns: Columns, told: Evaluated) -> np.ndarray:
    mass_g = sum(zone.mass_g for zone in zones_of(*columns.heads.parts).values())
    mass_g = np.broadcast_to(mass_g, (len(columns.heads),))
    mass_g = mass_g if columns.head_of is None else mass_g[columns.head_of]
    face, rim = POINTS[0], POINTS[1]
    part = {name: values[:, 0] for name, values in told.fractions.items()}
    size = [columns.dimension("face", n) for n in ("thickness_mm", "length_mm", "height_mm")]
    return face_margin_of_heads(
        size,
        size[0] + columns.dimension("face", "allowance_mm"),
        mass_g,
        told.marched.point_hv[:, :face],
        told.marched.point_hv[:, face : face + rim],
        {
            "ferrite_pearlite_share": part["ferrite"] + part["pearlite"] + part["untransformed"],
            "bainite_share": part["bainite"],
            "martensite_share": part["martensite"],
        },
    )


# ---- intervals ---------------------------------------------------------------------------------------------


def _intervals(
    columns: Columns, told: Evaluated, threads, options
) -> tuple[np.ndarray, np.ndarray]:
    """80 % interval of every zone's hardness, as `estimate` makes it."""
    route, z, m = columns.route, told.marched.zones, told.marched.marks
    n = len(columns)
    # the water law stronger and weaker
    deviates, factors = uncertainty.spray_nodes()
    wet = np.flatnonzero(route["has_spray"] & (route["flux"] > 0.0) & (route["spray_s"] > 0.0))
    moved = np.repeat(told.hardness_hv[None], len(factors), axis=0)
    for k, factor in enumerate(factors):
        if len(wet):
            shop = {**columns.shop, "spray": np.clip(columns.shop["spray"] * factor, 0.1, 10.0)}
            moved[k, wet] = _hardness(
                dataclasses.replace(columns, shop=shop), wet, threads, options
            )
    # carbides that dissolve slower and faster
    bound = np.vectorize(carbide_carbon)(
        z[:, :, out.O_UNDISSOLVED], *(columns.content(e)[:, None] for e in ("C", "Cr", "Mo"))
    )
    share = z[:, :, out.O_SHARE]
    unsure = np.flatnonzero(
        (share.max(axis=1) > 0.0)
        & (
            (share.min(axis=1) < uncertainty.UNSURE_SHARE)
            | (bound.max(axis=1) > uncertainty.UNSURE_CARBON)
        )
    )
    span = np.zeros((n, len(ZONES)))
    if len(unsure):
        slow, fast = (
            _hardness(columns, unsure, threads, {**options, "carbide_speed": speed})
            for speed in uncertainty.CARBIDE_SPEEDS
        )
        span[unsure] = np.abs(fast - slow)
    low, high = np.empty((n, len(ZONES))), np.empty((n, len(ZONES)))
    for i in range(len(ZONES)):
        soft = (
            told.fractions["ferrite"] + told.fractions["pearlite"] + told.fractions["untransformed"]
        )
        views = opinion_arrays(
            columns,
            m[:, i, marks.M_RATE700],
            m[:, i, marks.M_REBOUND] > REHEATED_C,
            np.minimum(share[:, i], 1.0),
            np.clip(m[:, i, marks.M_FURNACE], 700.0, 1250.0),
            np.maximum(route["soak_s"], 60.0),
        )
        hv = told.hardness_hv[:, i]
        values = np.stack([hv, *(v for v, _ in views.values())])
        counted = np.stack(
            [np.ones(n, bool), *(np.broadcast_to(ok, (n,)) for _, ok in views.values())]
        )
        sd = uncertainty.hardness_sd_hv(
            hv,
            soft[:, i],
            told.fractions["bainite"][:, i],
            told.fractions["martensite"][:, i] + told.fractions["austenite"][:, i],
            uncertainty.opinions_spread_hv(values, counted),
        )
        sd = np.hypot(sd, span[:, i] / (2.0 * uncertainty.Z))
        low[:, i], high[:, i] = hv - uncertainty.Z * sd, hv + uncertainty.Z * sd
        if len(wet):
            low[wet, i], high[wet, i] = uncertainty.interval_arrays(
                hv[wet], sd[wet], deviates, moved[:, wet, i]
            )
    return np.maximum(low, 60.0), np.minimum(high, 900.0)


def _dry_face_hv(columns: Columns, told: Evaluated, threads, options) -> np.ndarray:
    """Hardness of the face without water where that may be as good, HV; NaN elsewhere."""
    asked, found = np.flatnonzero(maybe_idle(columns, told)), np.full(len(columns), np.nan)
    if len(asked):
        dry = {**columns.route, "has_spray": np.zeros(len(columns), bool)}
        found[asked] = _hardness(dataclasses.replace(columns, route=dry), asked, threads, options)[
            :, 0
        ]
    return found


def _hardness(columns: Columns, index: np.ndarray, threads, options) -> np.ndarray:
    return outcome(march_columns(columns.part(index), threads=threads, **options)).hardness_hv
