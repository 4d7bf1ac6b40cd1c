"""From the structure of every point to hardness: point by point, then the mean of a zone."""

from __future__ import annotations

import numpy as np

from ..transformation.austenite import astm_from_diameter
from ..transformation.decomposition import (
    AUSTENITE,
    AUSTENITE_0,
    BAINITE,
    CARBON_0,
    CARBON_M,
    FERRITE,
    J_BAINITE,
    J_MARTENSITE,
    J_OLD,
    LOG_V_B,
    LOG_V_FP,
    MARTENSITE,
    PEARLITE,
    TABLE_CARBON,
    carbon_of_austenite,
)
from ..transformation.phase_hardness import (
    BAINITE_FLOOR_HV,
    FERRITE_PEARLITE_FLOOR_HV,
    line_hv,
)
from ..transformation.tempering import softened_hv

__all__ = ["OUT", "collect"]

#: Hardness of retained austenite, HV (from memory: 180-250 for low-alloy steel).
_AUSTENITE_HV = 210.0

#: Carbon up to which the lines of pearlite and bainite are used, wt%: the range of the rate equations.
_LINE_CARBON = 0.6

#: Columns of a zone's outcome.
OUT = 13
(
    O_HV,
    O_FERRITE,
    O_PEARLITE,
    O_BAINITE,
    O_MARTENSITE,
    O_AUSTENITE,
    O_UNTRANSFORMED,
    O_SHARE,
    O_CARBON,
    O_GRAIN,
    O_HV_FIRST,
    O_HV_QUENCHED,
    O_UNDISSOLVED,
) = range(OUT)


def _share(part, whole):
    """`part` over `whole`, 0 where there is none."""
    return part / np.where(whole > 0.0, whole, 1.0)


def _table_hv(fresh_hv, carbon):
    """Hardness of fresh martensite of that carbon, HV."""
    last = fresh_hv.shape[1] - 1
    position = np.minimum(carbon, TABLE_CARBON) / TABLE_CARBON * last
    i = np.minimum(position.astype(np.int64), last - 1)
    low = np.take_along_axis(fresh_hv, i, axis=1)
    return low + (position - i) * (np.take_along_axis(fresh_hv, i + 1, axis=1) - low)


class _Structure:
    """Constituents of every structure, arrays (cases, structures), and their hardness as formed, HV."""

    def __init__(self, steel, fresh_hv, state):
        self.steel, self.fresh_hv, self.state = steel, fresh_hv, state
        ferrite, pearlite, self.bainite, self.martensite = (
            state[:, row] for row in (FERRITE, PEARLITE, BAINITE, MARTENSITE)
        )
        self.fp, self.austenite = ferrite + pearlite, state[:, AUSTENITE]
        # carbon that ferrite left to pearlite and bainite, as far as the lines reach
        carbon_0 = state[:, CARBON_0]
        rest = carbon_of_austenite(carbon_0, state[:, AUSTENITE_0], ferrite)
        rest = np.maximum(np.minimum(rest, _LINE_CARBON), carbon_0)
        log_v = _share(state[:, LOG_V_FP], self.fp)
        of_ferrite = line_hv(steel["f_a"], steel["f_b"], log_v, FERRITE_PEARLITE_FLOOR_HV)
        # pearlite's floor is bainite's: neither is softer than coarse ferrite with carbide
        of_pearlite = line_hv(
            steel["p_a0"] + steel["p_ac"] * rest, steel["p_b"], log_v, BAINITE_FLOOR_HV
        )
        self.fp_hv = _share(ferrite * of_ferrite + pearlite * of_pearlite, self.fp)
        bainite_hv = line_hv(
            steel["b_a0"] + steel["b_ac"] * rest,
            steel["b_b0"] + steel["b_bc"] * rest,
            _share(state[:, LOG_V_B], self.bainite),
            BAINITE_FLOOR_HV,
        )
        self.martensite_hv = _table_hv(fresh_hv, _share(state[:, CARBON_M], self.martensite))
        # bainite of this carbon is not harder than its martensite
        self.bainite_hv = np.where(
            self.martensite > 0.0, np.minimum(bainite_hv, self.martensite_hv), bainite_hv
        )

    def hardness(self, later_j, old_hv):
        """Hardness after everything, and the same without self-tempering of the martensite, HV."""
        s = self.state
        old = np.maximum(1.0 - s[:, AUSTENITE_0], 0.0)
        quenched = np.maximum(_table_hv(self.fresh_hv, s[:, CARBON_0]), self.bainite_hv)
        tempered = np.minimum(
            self.bainite_hv, _tempered(self.steel, quenched, s[:, J_BAINITE] + later_j)
        )
        bainite_hv = np.where(later_j > 0.0, tempered, self.bainite_hv)
        rest = self.fp * self.fp_hv + self.austenite * _AUSTENITE_HV + old * old_hv
        rest = rest + self.bainite * bainite_hv
        softened = _tempered(self.steel, self.martensite_hv, s[:, J_MARTENSITE] + later_j)
        return rest + self.martensite * softened, rest + self.martensite * self.martensite_hv


def _tempered(steel, hv, j):
    log_j = np.log10(np.maximum(j, 1e-300))
    softened = softened_hv(
        hv,
        log_j,
        steel["half_log_j"],
        steel["temper_width"],
        steel["temper_soft_hv"],
        steel["temper_slope_hv"],
    )
    return np.where(j > 0.0, softened, hv)


def _zone_means(values, weight):
    """Mean over the points of a zone, shape (cases, 1); point by point, so that it is the same in any batch."""
    total = weight[0] * values[:, :1]
    for j in range(1, len(weight)):
        total = total + weight[j] * values[:, j : j + 1]
    return total


def _old_hardness(steel, first, mean, j_old, share):
    """Hardness of what the furnace did not make austenite, HV.

    Below Ac1 it is the mean first-heat structure of the zone, tempered.  Above, the pearlite (or its like) goes first:
    what stays is more and more the soft ferrite.
    """

    hv = mean(first.fp * first.fp_hv)
    tempering = mean(first.state[:, J_MARTENSITE]) + j_old
    hard = first.martensite + first.austenite
    of_hard = first.martensite * first.martensite_hv + first.austenite * _AUSTENITE_HV
    for part, weighed in ((first.bainite, first.bainite * first.bainite_hv), (hard, of_hard)):
        part = mean(part)
        own = _share(mean(weighed), part)
        hv = hv + part * np.minimum(own, _tempered(steel, own, tempering))
    left, soft, cap = 1.0 - share, steel["ferrite_hv"], steel["first_ferrite_cap"]
    ferrite = np.minimum(cap, left)
    rest = np.maximum((hv - cap * soft) / np.maximum(1.0 - cap, 1e-6), soft)
    mixed = (ferrite * soft + (left - ferrite) * rest) / np.where(left > 0.0, left, 1.0)
    return np.where((share <= 0.0) | (left <= 0.0), hv, mixed)


def collect(cases, fresh_hv, state, first_state, first_of, heat, layout):
    """Outcome of every zone and hardness of every point.

    Parameters
    ----------
    cases : array of CASE, shape (n,)
    fresh_hv : array, shape (n, carbon)
        Hardness of fresh martensite on the carbons of `packing.start_tables`.
    state, first_state : array, shape (n, ROWS, structures)
        As it cooled, and as the forging cooled from the first heat where `first_of`.
    heat : array, shape (n, HEAT_ROWS, points)
        Furnace state.
    layout : packing.Layout

    Returns
    -------
    array, shape (n, zones, OUT); array, shape (n, points)
    """
    steel = {
        name: cases[name][:, None]
        for name in (
            *("f_a", "f_b", "p_a0", "p_ac", "p_b", "b_a0", "b_ac", "b_b0", "b_bc", "ferrite_hv"),
            *("first_ferrite_cap", "half_log_j", "temper_width", "temper_soft_hv"),
            "temper_slope_hv",
        )
    }
    made = _Structure(steel, fresh_hv, state)
    share = state[:, AUSTENITE_0]
    later_j = cases["later_j"][:, layout.zone_of_structure]
    old = np.zeros_like(share)
    some = np.flatnonzero(first_of)
    if len(some):
        part = {name: column[some] for name, column in steel.items()}
        first = _Structure(part, fresh_hv[some], first_state[some])

        def means(values):
            zones = [_zone_means(values[:, s], w) for s, w in layout.structures]
            return np.concatenate(zones, axis=1)[:, layout.zone_of_structure]

        j_old = state[some][:, J_OLD] + later_j[some]
        mine = _old_hardness(part, first, means, j_old, share[some])
        old[some] = np.where(share[some] < 1.0, mine, 0.0)
    hv, quenched = made.hardness(later_j, old)
    columns = {
        O_HV: hv,
        O_FERRITE: state[:, FERRITE],
        O_PEARLITE: state[:, PEARLITE],
        O_BAINITE: state[:, BAINITE],
        O_MARTENSITE: state[:, MARTENSITE],
        O_AUSTENITE: state[:, AUSTENITE],
        O_UNTRANSFORMED: 1.0 - share,
        O_SHARE: share,
        O_CARBON: state[:, CARBON_0],
        O_HV_FIRST: old,
        O_HV_QUENCHED: quenched,
    }
    grain = astm_from_diameter(heat[:, 2] ** (1.0 / cases["grain_m"][:, None]))
    out = np.empty((len(cases), len(layout.points), OUT))
    for z, (structures, weight) in enumerate(layout.structures):
        for column, values in columns.items():
            out[:, z, column] = _zone_means(values[:, structures], weight)[:, 0]
        points, weight = layout.points[z]
        out[:, z, O_GRAIN] = _zone_means(grain[:, points], weight)[:, 0]
        out[:, z, O_UNDISSOLVED] = _zone_means(heat[:, 1, points], weight)[:, 0]
    return out, hv[:, layout.structure_of_point]
