"""The table of many cases: arrays of hardness, strength, hosel degrees, face margin and warnings."""

from __future__ import annotations

import os
from collections.abc import Collection
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from ...answer.evaluation import Evaluation, evaluate
from ...hosel.bench import LIMITS
from ...inputs.cases import Cases
from ...inputs.head import ZONES
from .line_cost import Line, line_arrays

__all__ = ["ALL_WARNINGS", "INTERVAL_COLUMNS", "RESULT_COLUMNS", "answers"]

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
#: What every warning of a single estimate needs.
ALL_WARNINGS = ("interval", "dry", "trace")

#: Cases in one piece: what they need stays near 20 MB.
_PIECE = 2048
#: Fewest cases worth a thread of their own.
_LEAST = 32


def answers(
    cases: Cases,
    *,
    want: Collection[str] = (),
    line: Line | None = None,
    threads: int | None = None,
    **options: Any,
) -> dict[str, np.ndarray]:
    """What comes out of many cases, one array a column (see `RESULT_COLUMNS`).

    Parameters
    ----------
    cases : Cases
    want : collection of str
        As in `answer.evaluation.evaluate`: with "interval" also the 80 % interval of hardness; `ALL_WARNINGS`
        for every warning that `forgeprops.estimate` gives.
    line : Line, optional
        Also what the press has to do and what the line makes (see `line_cost.line_arrays`).
    threads : int, optional
        Threads the pieces are computed on; left out: as many as there are cores.
    options
        Passed to the engine.
    """
    n, workers = len(cases), threads or os.cpu_count() or 1
    # pieces small enough that no thread waits long for the last one
    size = min(max(-(-n // (4 * workers)), _LEAST), _PIECE) if workers > 1 else _PIECE
    if "trace" in want:
        size = min(size, 256)  # a trace is some 40 kB

    def piece(begin: int) -> dict[str, np.ndarray]:
        part = cases if size >= n else cases.part(slice(begin, begin + size))
        return _table(evaluate(part, want, threads=1, **options), line)

    begins = range(0, max(n, 1), size)
    if len(begins) == 1 or workers == 1:
        pieces = [piece(begin) for begin in begins]
    else:
        with ThreadPoolExecutor(workers, thread_name_prefix="forgeprops") as pool:
            pieces = list(pool.map(piece, begins))
    return {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}


def _table(e: Evaluation, line: Line | None) -> dict[str, np.ndarray]:
    found = {}
    for i, zone in enumerate(ZONES):
        found[f"{zone}_hardness_hv"] = e.hardness_hv[:, i]
        for name in ("tensile_mpa", "yield_mpa"):
            found[f"{zone}_{name}"] = e.strength[name][:, i]
        if e.nodes_hv is not None:
            for end, values in zip(("low", "high"), e.interval_hv, strict=True):
                found[f"{zone}_hardness_{end}_hv"] = values[:, i]
    found["hosel_allowed_deg"] = e.hosel["allowed_deg"]
    found["hosel_governed_by"] = np.array(LIMITS, dtype=object)[e.hosel["governed_by"]]
    found["face_margin"] = e.face_margin
    found["scale_um"] = e.results.scale_um[:, 0]
    if line is not None:
        found |= {name: e.press[name] for name in ("die_c", "flow_stress_mpa", "press_force_kn")}
        found |= line_arrays(e.cases, line)
    found["warnings"] = e.codes
    return found
