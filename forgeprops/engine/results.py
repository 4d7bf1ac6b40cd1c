"""Results of the engine by name; its memory layout is known here and nowhere above."""

from __future__ import annotations

import dataclasses
import functools
import math
from dataclasses import dataclass

import numpy as np

from ..inputs.head import ZONES
from ..transformation import decomposition as state
from . import march as mark
from . import outcome as out
from .batch import Marched
from .packing import POINTS

#: Heated through: the slowest zone is this near the furnace, °C (usual uniformity, common practice).
HEATED_WITHIN_C = 10.0
#: Constituents of a structure; "untransformed" is what the furnace did not make austenite.
CONSTITUENTS = ("ferrite", "pearlite", "bainite", "martensite", "austenite", "untransformed")
_SHARE_AT = range(out.O_FERRITE, out.O_UNTRANSFORMED + 1)
_STATE_AT = (state.FERRITE, state.PEARLITE, state.BAINITE, state.MARTENSITE, state.AUSTENITE)


def _span(zone: int) -> slice:
    """Points of a zone among the points of the head."""
    return slice(sum(POINTS[:zone]), sum(POINTS[: zone + 1]))


@dataclass(frozen=True)
class Trace:
    """Temperatures of one case from loading into the furnace on, °C."""

    time_s: np.ndarray  # (m,)
    zones_c: np.ndarray  # (m, 5); mean of each zone
    front_c: np.ndarray  # (m, 5); front surface of each zone
    points_c: np.ndarray  # (m, points), front to back, zone after zone; no columns where not kept

    def back_c(self, zone: int) -> np.ndarray | None:
        """Temperature of the back surface of a zone; None where the points were not kept."""
        return self.points_c[:, _span(zone).stop - 1] if self.points_c.shape[1] else None

    def heat_through_s(self, set_c: float, soak_s: float) -> float | None:
        """Time from loading until the slowest zone is within 10 °C of the furnace, s; None if not in its soak.

        .. [1] Slowest zone within 10 °C of the furnace: usual uniformity (common practice).
        """
        slowest = np.min(self.zones_c, axis=1)
        reached = (self.time_s <= soak_s * (1.0 + 1e-9)) & (slowest >= set_c - HEATED_WITHIN_C)
        if not reached.any():
            return None
        k = int(np.argmax(reached))
        if k == 0:
            return float(self.time_s[0])
        # the gap to the furnace closes exponentially: straight in its logarithm
        gap = set_c - slowest[k - 1 : k + 1]
        if gap[1] <= 0.0 or gap[0] <= gap[1]:
            return float(self.time_s[k])
        part = math.log(gap[0] / HEATED_WITHIN_C) / math.log(gap[0] / gap[1])
        return float(self.time_s[k - 1] + part * (self.time_s[k] - self.time_s[k - 1]))

    def weighted(self, weights: np.ndarray) -> np.ndarray:
        """Sum of all temperatures times weights: those of the zones, the fronts, the points."""
        return np.hstack([self.zones_c, self.front_c, self.points_c]) @ weights


@dataclass(frozen=True)
class Results:
    """What came out of many cases; arrays of shape (n, 5), the case and the zone (`head.ZONES`), unless another is given."""

    hardness_hv: np.ndarray  # after everything
    as_cooled_hv: np.ndarray  # before the later heats
    as_quenched_hv: np.ndarray  # before self-tempering too
    fractions: dict[str, np.ndarray]  # shares by the names of `CONSTITUENTS`
    first_bainite: np.ndarray  # share of the whole in what the furnace did not make austenite
    first_martensite: np.ndarray
    softened_hv: np.ndarray  # hardness that the furnace took from it
    share: np.ndarray  # austenite made in the furnace
    carbon: np.ndarray  # of this austenite, wt%
    grain_astm: np.ndarray
    undissolved: np.ndarray  # share of Cr-Mo carbides left
    peak_c: np.ndarray  # mean metal temperature leaving the furnace
    die_c: np.ndarray  # in the die
    water_on_c: np.ndarray  # when the spray starts; NaN without spray
    water_off_c: np.ndarray  # when it stops
    low_c: np.ndarray  # lowest mean temperature
    rebound_c: np.ndarray  # the largest re-heating after a low, °C
    time_800_500_s: np.ndarray  # NaN where the zone did not cool through it
    rate_700_c_per_s: np.ndarray  # the same
    scale_um: np.ndarray  # scale on leaving the furnace
    point_hv: np.ndarray  # (n, points)
    energy: np.ndarray  # (n, 3), see `batch.Marched`
    later_j: np.ndarray  # tempering integral of the later heats, s
    steps: np.ndarray  # (n,)
    _traces: list | None = None
    _state: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.steps)

    @classmethod
    def of(cls, marched: Marched, rows: slice = slice(None)) -> Results:
        """Name what the engine handed back; some of its rows where `rows` says so."""
        z, m = marched.zones[rows], marched.marks[rows]

        def known(column: int, missing: float) -> np.ndarray:
            values = m[:, :, column].copy()
            values[values == missing] = np.nan
            return values

        return cls(
            hardness_hv=z[:, :, out.O_HV], as_cooled_hv=z[:, :, out.O_HV_COOLED], as_quenched_hv=z[:, :, out.O_HV_QUENCHED],
            fractions={n: z[:, :, c] for n, c in zip(CONSTITUENTS, _SHARE_AT, strict=True)},
            first_bainite=z[:, :, out.O_FIRST_BAINITE], first_martensite=z[:, :, out.O_FIRST_MARTENSITE],
            softened_hv=z[:, :, out.O_SOFTENED_HV], share=z[:, :, out.O_SHARE], carbon=z[:, :, out.O_CARBON],
            grain_astm=z[:, :, out.O_GRAIN], undissolved=z[:, :, out.O_UNDISSOLVED],
            peak_c=m[:, :, mark.M_FURNACE], die_c=m[:, :, mark.M_DIE],
            water_on_c=known(mark.M_WATER_ON, -1.0), water_off_c=known(mark.M_WATER_OFF, -1.0),
            low_c=m[:, :, mark.M_LOW], rebound_c=m[:, :, mark.M_REBOUND],
            time_800_500_s=known(mark.M_T500, -1.0) - known(mark.M_T800, -1.0),
            rate_700_c_per_s=known(mark.M_RATE700, 0.0), scale_um=m[:, :, mark.M_SCALE],
            **{name: getattr(marched, name)[rows] for name in ("point_hv", "energy", "later_j", "steps")},
            _traces=None if marched.trace is None else marched.trace[rows],
            _state=None if marched.state is None else marched.state[rows],
        )  # fmt: skip

    def rows(self, index: np.ndarray) -> Results:
        """Some of the cases by their numbers, without traces and states."""
        kept = {name: getattr(self, name)[index] for name in _COLUMNS}
        return Results(fractions={n: v[index] for n, v in self.fractions.items()}, **kept)

    def moved(self, by_hv: np.ndarray) -> Results:
        """The same with the hardness of every zone, and of its points, moved by `by_hv`, shape (n, 5)."""
        by_point = np.repeat(by_hv, POINTS, axis=1)
        return dataclasses.replace(
            self, hardness_hv=self.hardness_hv + by_hv, point_hv=self.point_hv + by_point
        )

    @functools.cached_property
    def traces(self) -> list[Trace] | None:
        """Temperatures of every case; None where they were not traced."""
        n = len(ZONES)
        return self._traces and [
            Trace(t[:, 0], t[:, 1 : 1 + n], t[:, 1 + n : 1 + 2 * n], t[:, 1 + 2 * n :])
            for t in self._traces
        ]

    def layers_hv(self, zone: int) -> np.ndarray:
        """Hardness of the points through a zone, front to back, HV, shape (n, points of the zone)."""
        return self.point_hv[:, _span(zone)]

    def layer_fractions(self, case: int, zone: int) -> dict[str, np.ndarray] | None:
        """Structure of the points through a zone of one case; None where the points were not kept."""
        if self._state is None:
            return None
        rows = self._state[case, :, _span(zone)]
        shares = {n: rows[r].copy() for n, r in zip(CONSTITUENTS[:-1], _STATE_AT, strict=True)}
        return {**shares, "untransformed": 1.0 - rows[state.AUSTENITE_0]}


#: Arrays of `Results` with a row a case.
_COLUMNS = tuple(
    f.name for f in dataclasses.fields(Results) if f.name[0] != "_" and f.name != "fractions"
)
