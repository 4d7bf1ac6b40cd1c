"""The continuous-cooling diagram of a steel, drawn by the same march that cools the head."""

import functools
from typing import NamedTuple

import numpy as np

from ..base.errors import check_number
from ..inputs.grades import steel_of
from ..inputs.steel import Steel
from ..specimens import continuous_cooling
from ..transformation.temperatures import critical_temperatures

#: Constant cooling rates the diagram is made from, °C/s, fast to slow; our choice: water on a thin face to
#: a bin.
RATES_C_PER_S = tuple(float(r) for r in np.geomspace(1000.0, 0.03, 49))
#: A constituent is drawn from 1 % of the steel on (the usual reading of diagrams, common practice) to 99 % of
#: what it comes to.
_SEEN, _DONE = 0.01, 0.99


class Region(NamedTuple):
    """Where one constituent forms: along each rate at which it forms at all, from a start to an end."""

    rate_c_per_s: np.ndarray
    start_s: np.ndarray  # since the steel fell below Ae3
    start_c: np.ndarray
    end_s: np.ndarray
    end_c: np.ndarray
    share: np.ndarray


class CoolingDiagram(NamedTuple):
    """Continuous-cooling diagram."""

    steel: Steel
    ae3_c: float
    ms_c: float
    regions: dict[str, Region]  # of "ferrite", "pearlite", "bainite", "martensite", those that form
    rates_c_per_s: np.ndarray
    hardness_hv: np.ndarray  # at every rate


@functools.lru_cache(maxsize=64)
def cooling_diagram(steel: Steel, grain_size_astm: float | None = None) -> CoolingDiagram:
    """Cool the steel at 49 constant rates from above Ae3 and note where each constituent forms.

    Calculated by `forgeprops.specimens.continuous_cooling`, with the steel's own austenite grain or an ASTM
    number of 0 to 14.  A real head does not cool at a constant rate: laid over the diagram, its curve shows
    which region it meets first, not the shares.

    >>> from forgeprops import grade
    >>> low, alloyed = (cooling_diagram(grade(g)).regions["pearlite"].start_s.min() for g in ("1040", "4140"))
    >>> bool(low < alloyed)                                 # chromium and molybdenum hold pearlite back
    True
    """
    if grain_size_astm is not None:
        check_number(grain_size_astm, "grain size", 0.0, 14.0, "ASTM number")
    steel = steel_of(steel)
    critical = critical_temperatures(steel)
    from_c = critical.ae3_c + 30.0
    found: dict[str, list[tuple[float, ...]]] = {}
    hardness, own = [], {"from_c": from_c, "grain_size_astm": grain_size_astm}
    for rate in RATES_C_PER_S:
        cooled = continuous_cooling(steel, rate_c_per_s=rate, **own)
        hardness.append(cooled.hardness_hv)
        since_s = cooled.time_s - (from_c - critical.ae3_c) / rate
        for phase in ("ferrite", "pearlite", "bainite", "martensite"):
            share = np.maximum.accumulate(cooled.history[phase])
            last = float(share[-1])
            if last > _SEEN:
                levels = (_SEEN, max(_DONE * last, _SEEN))
                ends = [np.interp(levels, share, y) for y in (since_s, cooled.temperature_c)]
                found.setdefault(phase, []).append((rate, *np.transpose(ends).ravel(), last))
    regions = {phase: Region(*np.array(rows).T) for phase, rows in found.items()}
    curve = np.array(RATES_C_PER_S), np.array(hardness)
    return CoolingDiagram(steel, critical.ae3_c, critical.ms_c, regions, *curve)
