"""The same cases again with what is unsure moved: water law, carbides, rates of transformation; and without spray."""

import numpy as np

from ..engine.results import Results
from ..engine.run import march_columns
from ..inputs.cases import Cases
from ..inputs.head import ZONES
from . import interval


def hardness(cases: Cases, rows: np.ndarray, speed, options) -> np.ndarray:
    if not len(rows):
        return np.zeros((0, len(ZONES)))
    speed = None if speed is None else speed[rows]
    return Results.of(march_columns(cases.rows(rows), strain_speed=speed, **options)).hardness_hv


def varied(cases: Cases, rows: np.ndarray, changes) -> Cases:
    """The cases with their variants below them: the laws of water and baths at a deviate, or (None) no spray and no quench."""
    if not changes:
        return cases
    stacked, n = cases.rows(rows), len(cases)
    spray, route = stacked.shop["spray"], stacked.route
    for rest, change in zip(np.split(np.arange(n, len(rows)), len(changes)), changes, strict=True):
        if change is None:
            route["has_spray"][rest] = route["has_quench"][rest] = False
        else:
            sd = interval.spray_ln_sd(stacked.shop["spray_ln_sd"][rest])
            spray[rest] = np.clip(spray[rest] * np.exp(sd * change), 0.1, 10.0)
            route["bath_factor"][rest] *= np.exp(interval.LN_SPRAY_SD * change)
    return stacked


def rate_ends_hv(e, speed) -> np.ndarray:
    """See `Evaluation.rate_ends_hv`: the cases with all rates faster and slower."""
    _, sd, lean = e.rate_sd
    reach = interval.Z * np.stack([-sd, np.hypot(sd, lean)])
    most = np.abs(reach).max(axis=2)
    rows, signed = np.tile(np.arange(len(e)), 2), most * np.array([[-1.0], [1.0]])
    hv = hardness(e.cases, rows, speed, {**e.options, "ln_delay": signed.ravel()})
    share = np.abs(reach) / np.maximum(most, 1e-9)[:, :, None]
    moved = (hv.reshape(reach.shape) - e.hardness_hv) * share
    return np.stack([np.minimum(moved.min(axis=0), 0.0), np.maximum(moved.max(axis=0), 0.0)])


def carbide_span_hv(cases: Cases, results: Results, speed, options) -> np.ndarray:
    """Hardness between slow and fast carbides where that could change the answer; 0 elsewhere."""
    unsure = np.flatnonzero(interval.carbides_unsure(cases, results))
    span = np.zeros_like(results.hardness_hv)
    if len(unsure):
        factor = np.repeat(interval.CARBIDE_SPEEDS, len(unsure))
        rows = np.concatenate([unsure, unsure])
        hv = hardness(cases, rows, speed, {**options, "carbide_speed": factor})
        span[unsure] = np.abs(hv[: len(unsure)] - hv[len(unsure) :])
    return span
