"""From the structure of every point to hardness: point by point, then the mean of a zone."""

from __future__ import annotations

import math

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
from ..transformation.phase_hardness import line_hv
from ..transformation.tempering import softened_hv

__all__ = ["OUT", "collect", "first_heat_structure", "point_hardness"]

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

#: Columns of the first-heat structure of a zone.
FIRST = 7
(FIRST_FP, FIRST_B, FIRST_M, FIRST_HV_FP, FIRST_HV_B, FIRST_HV_M, FIRST_J) = range(FIRST)


def _table_hv(start, carbon):
    last = start.shape[1] - 1
    position = min(carbon, TABLE_CARBON) / TABLE_CARBON * last
    i = min(int(position), last - 1)
    return start[2, i] + (position - i) * (start[2, i + 1] - start[2, i])


def _tempered(case, hv, j):
    if j <= 0.0:
        return hv
    return softened_hv(
        hv,
        math.log10(j),
        case.half_log_j,
        case.temper_width,
        case.temper_soft_hv,
        case.temper_slope_hv,
    )


def _constituents(case, start, state, i):
    """Hardness of ferrite-pearlite, bainite and martensite at point `i`, as formed, HV."""
    # carbon that ferrite left to pearlite and bainite, as far as the lines reach
    rest = max(
        min(
            carbon_of_austenite(state[CARBON_0, i], state[AUSTENITE_0, i], state[FERRITE, i]),
            _LINE_CARBON,
        ),
        state[CARBON_0, i],
    )
    fp = state[FERRITE, i] + state[PEARLITE, i]
    hv_fp = 0.0
    if fp > 0.0:
        log_v = state[LOG_V_FP, i] / fp
        hv_fp = (
            state[FERRITE, i] * line_hv(case.f_a, case.f_b, log_v, 80.0)
            + state[PEARLITE, i] * line_hv(case.p_a0 + case.p_ac * rest, case.p_b, log_v, 120.0)
        ) / fp
    hv_b = 0.0
    if state[BAINITE, i] > 0.0:
        hv_b = line_hv(
            case.b_a0 + case.b_ac * rest,
            case.b_b0 + case.b_bc * rest,
            state[LOG_V_B, i] / state[BAINITE, i],
            120.0,
        )
    hv_m = 0.0
    if state[MARTENSITE, i] > 0.0:
        hv_m = _table_hv(start, state[CARBON_M, i] / state[MARTENSITE, i])
        # bainite of this carbon is not harder than its martensite
        hv_b = min(hv_b, hv_m)
    return fp, hv_fp, hv_b, hv_m


def point_hardness(case, start, state, i, later_j, old_hv):
    """Hardness of point `i` after everything, and the same without self-tempering of its martensite, HV."""
    fp, hv_fp, hv_b, hv_m = _constituents(case, start, state, i)
    untransformed = 1.0 - state[AUSTENITE_0, i]
    rest = fp * hv_fp + state[AUSTENITE, i] * _AUSTENITE_HV + max(untransformed, 0.0) * old_hv
    if state[BAINITE, i] > 0.0:
        if later_j > 0.0:
            quenched = max(_table_hv(start, state[CARBON_0, i]), hv_b)
            hv_b = min(hv_b, _tempered(case, quenched, state[J_BAINITE, i] + later_j))
        rest += state[BAINITE, i] * hv_b
    return (
        rest + state[MARTENSITE, i] * _tempered(case, hv_m, state[J_MARTENSITE, i] + later_j),
        rest + state[MARTENSITE, i] * hv_m,
    )


def first_heat_structure(case, start, state, marker, weight, z, first):
    """Mean structure of zone `z` after the first heat, into row `z` of `first`."""
    for c in range(FIRST):
        first[z, c] = 0.0
    for j in range(len(marker)):
        i = z * len(marker) + j
        fp, hv_fp, hv_b, hv_m = _constituents(case, start, state, i)
        w = weight[j]
        first[z, FIRST_FP] += w * fp
        first[z, FIRST_B] += w * state[BAINITE, i]
        first[z, FIRST_M] += w * (state[MARTENSITE, i] + state[AUSTENITE, i])
        first[z, FIRST_HV_FP] += w * fp * hv_fp
        first[z, FIRST_HV_B] += w * state[BAINITE, i] * hv_b
        first[z, FIRST_HV_M] += w * (
            state[MARTENSITE, i] * hv_m + state[AUSTENITE, i] * _AUSTENITE_HV
        )
        first[z, FIRST_J] += w * state[J_MARTENSITE, i]


def _old_hardness(case, first, z, j, share):
    """Hardness of what the furnace did not make austenite, HV.

    Below Ac1 it is the first-heat structure, tempered.  Above, the pearlite (or its like) goes first: what stays is
    more and more the soft ferrite.
    """
    hv = first[z, FIRST_HV_FP]
    for part, hardness in ((FIRST_B, FIRST_HV_B), (FIRST_M, FIRST_HV_M)):
        if first[z, part] > 0.0:
            own = first[z, hardness] / first[z, part]
            hv += first[z, part] * min(own, _tempered(case, own, first[z, FIRST_J] + j))
    left = 1.0 - share
    if share <= 0.0 or left <= 0.0:
        return hv
    ferrite = min(case.first_ferrite_cap, left)
    rest = max(
        (hv - case.first_ferrite_cap * case.ferrite_hv) / max(1.0 - case.first_ferrite_cap, 1e-6),
        case.ferrite_hv,
    )
    return (ferrite * case.ferrite_hv + (left - ferrite) * rest) / left


def collect(case, start, state, heat, marker, weight, first, point_hv, out):
    """Outcome of every zone into `out`, of every point into `point_hv`."""
    for z in range(out.shape[0]):
        for c in range(OUT):
            out[z, c] = 0.0
        for j in range(len(marker)):
            i = z * len(marker) + j
            w = weight[j]
            share = state[AUSTENITE_0, i]
            old = 0.0
            if share < 1.0:
                old = _old_hardness(case, first, z, state[J_OLD, i] + case.later_j[z], share)
            hv, quenched = point_hardness(case, start, state, i, case.later_j[z], old)
            point_hv[i] = hv
            out[z, O_HV] += w * hv
            out[z, O_HV_QUENCHED] += w * quenched
            out[z, O_HV_FIRST] += w * old
            out[z, O_FERRITE] += w * state[FERRITE, i]
            out[z, O_PEARLITE] += w * state[PEARLITE, i]
            out[z, O_BAINITE] += w * state[BAINITE, i]
            out[z, O_MARTENSITE] += w * state[MARTENSITE, i]
            out[z, O_AUSTENITE] += w * state[AUSTENITE, i]
            out[z, O_UNTRANSFORMED] += w * (1.0 - share)
            out[z, O_SHARE] += w * share
            out[z, O_CARBON] += w * state[CARBON_0, i]
            out[z, O_GRAIN] += w * astm_from_diameter(heat[2, i] ** (1.0 / case.grain_m))
            out[z, O_UNDISSOLVED] += w * heat[1, i]
