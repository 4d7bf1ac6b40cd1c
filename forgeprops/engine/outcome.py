"""From the structure of every point to hardness: point by point, then the mean of a zone."""

from __future__ import annotations

import functools

import numpy as np

from ..transformation import constituents, tempering
from ..transformation import decomposition as row
from ..transformation.austenite import astm_from_diameter
from ..transformation.decomposition import TABLE_CARBON, carbon_of_austenite
from ..transformation.phase_hardness import BAINITE_FLOOR_HV, FERRITE_PEARLITE_FLOOR_HV, line_hv
from .packing import HARDNESS_FIELDS, TEMPER_FIELDS, rows_of

#: Hardness of retained austenite, HV (from memory: 180-250 for low-alloy steel).
_AUSTENITE_HV = 210.0

#: Carbon up to which the lines of pearlite and bainite are used, wt%: the range of the rate equations.
_LINE_CARBON = 0.6

#: Columns of a zone's outcome; the last two are means of points, the others of structures.
OUT = 17
(
    O_HV, O_FERRITE, O_PEARLITE, O_BAINITE, O_MARTENSITE, O_AUSTENITE, O_UNTRANSFORMED, O_SHARE,
    O_CARBON, O_HV_FIRST, O_HV_QUENCHED, O_HV_COOLED, O_FIRST_BAINITE, O_FIRST_MARTENSITE, O_SOFTENED_HV, O_GRAIN, O_UNDISSOLVED,
) = range(OUT)  # fmt: skip

_SHARES = {
    O_FERRITE: row.FERRITE, O_PEARLITE: row.PEARLITE, O_BAINITE: row.BAINITE, O_MARTENSITE: row.MARTENSITE, O_AUSTENITE: row.AUSTENITE
}  # fmt: skip


def _share(part, whole):
    """`part` over `whole`, 0 where there is none."""
    return part / np.where(whole > 0.0, whole, 1.0)


def _table_hv(fresh_hv, carbon):
    """Hardness of fresh martensite of that carbon, HV."""
    last = fresh_hv.shape[1] - 1
    position = np.minimum(carbon, TABLE_CARBON) / TABLE_CARBON * last
    i = np.minimum(position.astype(np.int64), last - 1)
    case = np.arange(len(i))[:, None]
    low = fresh_hv[case, i]
    return low + (position - i) * (fresh_hv[case, i + 1] - low)


class _Steels:
    """What hardness needs of the steels of some cases: numbers as columns, shape (cases, 1), and fresh martensite."""

    def __init__(self, cases, fresh_hv, austenite_c):
        self.fresh_hv = fresh_hv
        for name in HARDNESS_FIELDS[: -len(TEMPER_FIELDS)]:
            setattr(self, name, cases[name][:, None])
        self.vanadium_hv = np.zeros((len(cases), 1))
        if cases["v_content"].any():
            heat = cases["carbon"], np.maximum(austenite_c, cases["start_c"])
            dissolved = constituents.dissolved_vanadium(cases["v_content"], *heat)
            self.vanadium_hv = (cases["v_hv"] * dissolved)[:, None]
        law = (cases[name][:, None] for name in ("temper_q_k", *TEMPER_FIELDS))
        self.law = tempering.TemperingCoefficients(*law)

    def law_at(self, where):
        """The tempering law's numbers of the structures that `where` picks."""
        law = (np.broadcast_to(x, where.shape)[where] for x in self.law)
        return tempering.TemperingCoefficients(*law)


def _constituents(steel, state):
    """Hardness of ferrite with pearlite, bainite and martensite as formed, HV, and the carbon that ferrite left."""
    kinds = (row.FERRITE, row.PEARLITE, row.BAINITE, row.MARTENSITE)
    ferrite, pearlite, bainite, martensite = (state[:, kind] for kind in kinds)
    # carbon that ferrite left to pearlite and bainite, as far as the lines reach
    carbon_0 = state[:, row.CARBON_0]
    rest = carbon_of_austenite(carbon_0, state[:, row.AUSTENITE_0], ferrite)
    rest = np.maximum(np.minimum(rest, _LINE_CARBON), carbon_0)
    fp = ferrite + pearlite
    log_v = _share(state[:, row.LOG_V_FP], fp)
    of_ferrite = line_hv(steel.f_a, steel.f_b, log_v, FERRITE_PEARLITE_FLOOR_HV)
    of_pearlite = line_hv(steel.p_a0 + steel.p_ac * rest, steel.p_b, log_v, BAINITE_FLOOR_HV)
    fp_hv = _share(ferrite * of_ferrite + pearlite * of_pearlite, fp)
    if steel.vanadium_hv.any():
        fp_hv = fp_hv + steel.vanadium_hv * constituents.vanadium_share(log_v)
    line = steel.b_a0 + steel.b_ac * rest, steel.b_b0 + steel.b_bc * rest
    bainite_hv = line_hv(*line, _share(state[:, row.LOG_V_B], bainite), BAINITE_FLOOR_HV)
    martensite_hv = _table_hv(steel.fresh_hv, _share(state[:, row.CARBON_M], martensite))
    # bainite of this carbon is not harder than its martensite
    bainite_hv = np.where(martensite > 0.0, np.minimum(bainite_hv, martensite_hv), bainite_hv)
    return fp_hv, bainite_hv, martensite_hv, rest


def structure_hardness(steel, state, later_j, old_hv):
    """Hardness of every structure after everything, and the same without self-tempering of its martensite, HV.

    `later_j`, s, is what all constituents have taken since they were cold; `old_hv` is the hardness of what the furnace
    did not make austenite; both of shape (n, structures), as the last axis of `state`.
    """
    fp_hv, bainite_hv, martensite_hv, carbon = _constituents(steel, state)
    bainite, martensite = state[:, row.BAINITE], state[:, row.MARTENSITE]
    fp, austenite = state[:, row.FERRITE] + state[:, row.PEARLITE], state[:, row.AUSTENITE]
    whole = state[:, row.AUSTENITE_0]
    where = (fp > 0.0) & (later_j > 0.0)
    if where.any():
        others = (bainite + martensite + austenite) * carbon
        of_fp = np.maximum(_share(whole * state[:, row.CARBON_0] - others, fp), 0.0)
        taken = (a[where] for a in (fp_hv, later_j, of_fp))
        fp_hv[where] = tempering.spheroidised_hv(*taken, steel.law_at(where))
    where = (bainite > 0.0) & (later_j > 0.0)
    if where.any():
        quenched = _table_hv(steel.fresh_hv, carbon)
        taken = (a[where] for a in (bainite_hv, quenched, later_j, carbon))
        bainite_hv[where] = tempering.tempered_bainite_hv(*taken, steel.law_at(where))
    rest = fp * fp_hv + austenite * _AUSTENITE_HV + bainite * bainite_hv
    rest = rest + np.maximum(1.0 - whole, 0.0) * old_hv
    taken, carbon = state[:, row.J_MARTENSITE] + later_j, _share(state[:, row.CARBON_M], martensite)
    tempered = tempering.tempered_martensite_hv(martensite_hv, taken, carbon, steel.law)
    return rest + martensite * tempered, rest + martensite * martensite_hv


def _old_hardness(steel, first_state, j, share):
    """Hardness of what the furnace did not make austenite, HV.

    Below Ac1 it is the first-heat structure, tempered.  Above, the pearlite (or its like) goes first: what stays is
    more and more the soft ferrite.
    """
    hv = structure_hardness(steel, first_state, j, 0.0)[0]
    left, soft, cap = 1.0 - share, steel.ferrite_hv, steel.first_ferrite_cap
    ferrite = np.minimum(cap, left)
    rest = np.maximum((hv - cap * soft) / np.maximum(1.0 - cap, 1e-6), soft)
    mixed = (ferrite * soft + (left - ferrite) * rest) / np.where(left > 0.0, left, 1.0)
    return np.where((share <= 0.0) | (left <= 0.0), hv, mixed)


def _zone_means(columns, zones, means):
    """Put into `means`, (n, zones, columns), those of columns of shape (n, points) over each of `zones`, its points and their weights;
    summed point by point, so that they are the same in any batch."""
    weighted = np.empty((columns[0].shape[1], len(columns), len(columns[0])))
    for c, column in enumerate(columns):
        weighted[:, c] = column.T
    weighted *= np.concatenate([weight for _, weight in zones])[:, None, None]
    for z, (points, _) in enumerate(zones):
        means[:, z] = functools.reduce(np.add, weighted[points]).T


def collect(cases, fresh_hv, state, first_state, first_of, heat, layout, only_hardness=False):
    """Outcome of every zone, nan beside `only_hardness`, and hardness of every point.

    `state` and `first_state`, shape (n, ROWS, structures), are as it cooled and, where `first_of`, as the forging cooled from
    the first heat; `fresh_hv` is on the carbons of `packing.start_tables`; `heat`, (n, HEAT_ROWS, points), the furnace state.
    """
    share, every = state[:, row.AUSTENITE_0], slice(None)
    later_j = cases["later_j"][:, layout.zone_of_structure]

    def old_hardness(rows, j):
        """Of what the furnace left in some cases; 0 where that is nothing."""
        old, some = np.zeros(j.shape), np.flatnonzero(first_of[rows])
        if len(some):
            at = np.arange(len(cases))[rows][some]
            steels = _Steels(rows_of(cases, at), fresh_hv[at], cases["first_finish_c"][at])
            mine = _old_hardness(steels, first_state[at], j[some], share[at])
            old[some] = np.where(share[at] < 1.0, mine, 0.0)
        return old

    def hardness(rows, later_j):
        """Of some cases: of what the furnace left, after everything, and without self-tempering."""
        old = old_hardness(rows, state[rows, row.J_OLD] + later_j)
        steels = _Steels(rows_of(cases, rows), fresh_hv[rows], cases["furnace_c"][rows])
        return old, *structure_hardness(steels, state[rows], later_j, old)

    old, cooled, quenched = hardness(every, np.zeros(share.shape))
    hv, left_hv = cooled, old
    if later_j.any():
        hv, left_hv, rows = cooled.copy(), old.copy(), np.flatnonzero((later_j > 0.0).any(axis=1))
        heated = later_j[rows] > 0.0
        later_old, later_hv, _ = hardness(rows, later_j[rows])
        left_hv[rows] = np.where(heated, later_old, old[rows])
        hv[rows] = np.where(heated, later_hv, cooled[rows])
    out = np.empty((len(cases), len(layout.points), OUT))
    of_points = hv[:, layout.structure_of_point]
    if only_hardness:
        out[:] = np.nan
        _zone_means([hv], layout.structures, out[:, :, O_HV : O_HV + 1])
        return out, of_points
    left = np.maximum(1.0 - share, 0.0)
    forged = old_hardness(every, np.zeros(share.shape))
    columns = {
        O_HV: hv,
        **{column: state[:, share_of] for column, share_of in _SHARES.items()},
        O_UNTRANSFORMED: 1.0 - share,
        O_SHARE: share,
        O_CARBON: state[:, row.CARBON_0],
        O_HV_FIRST: left_hv,
        O_HV_QUENCHED: quenched,
        O_HV_COOLED: cooled,
        O_FIRST_BAINITE: left * first_state[:, row.BAINITE],
        O_FIRST_MARTENSITE: left * first_state[:, row.MARTENSITE],
        O_SOFTENED_HV: left * np.maximum(forged - old, 0.0),
    }
    grain = astm_from_diameter(heat[:, 2] ** (1.0 / cases["grain_m"][:, None]))
    _zone_means([columns[c] for c in range(O_GRAIN)], layout.structures, out[:, :, :O_GRAIN])
    _zone_means([grain, heat[:, 1]], layout.points, out[:, :, O_GRAIN:])
    return out, of_points
