"""From the structure of every point to hardness: point by point, then the mean of a zone."""

from __future__ import annotations

from ..transformation.austenite import astm_from_diameter
from ..transformation.decomposition import (
    AUSTENITE,
    AUSTENITE_0,
    BAINITE,
    CARBON_0,
    CARBON_M,
    FERRITE,
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
from ..transformation.tempering import (
    TemperingCoefficients,
    spheroidised_hv,
    tempered_bainite_hv,
    tempered_martensite_hv,
)

__all__ = ["OUT", "collect", "point_hardness"]

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


def _table_hv(start, carbon):
    last = start.shape[1] - 1
    position = min(carbon, TABLE_CARBON) / TABLE_CARBON * last
    i = min(int(position), last - 1)
    return start[2, i] + (position - i) * (start[2, i + 1] - start[2, i])


def _law(case):
    return TemperingCoefficients(
        case.temper_q_k,
        case.half_log_j,
        case.temper_width,
        case.temper_soft_hv,
        case.temper_slope_hv,
        case.temper_overaged_hv,
        case.temper_floor_hv,
        case.temper_floor_carbon_hv,
        case.temper_bainite_share,
    )


def _constituents(case, start, state, i):
    """Ferrite with pearlite, its hardness, that of bainite and martensite at point `i` as formed, HV, and the carbon
    that ferrite left to bainite."""
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
    return fp, hv_fp, hv_b, hv_m, rest


def point_hardness(case, start, state, i, later_j, old_hv):
    """Hardness of point `i` after everything, and the same without self-tempering of its martensite, HV.

    Parameters
    ----------
    later_j : float
        What all constituents have taken since they were cold, s.
    old_hv : float
        Hardness of what the furnace did not make austenite, HV.
    """
    fp, hv_fp, hv_b, hv_m, carbon = _constituents(case, start, state, i)
    law, martensite, bainite = _law(case), state[MARTENSITE, i], state[BAINITE, i]
    if fp > 0.0 and later_j > 0.0:
        others = (bainite + martensite + state[AUSTENITE, i]) * carbon
        of_fp = max((state[AUSTENITE_0, i] * state[CARBON_0, i] - others) / fp, 0.0)
        hv_fp = spheroidised_hv(hv_fp, later_j, of_fp, law)
    if bainite > 0.0 and later_j > 0.0:
        hv_b = tempered_bainite_hv(hv_b, _table_hv(start, carbon), later_j, carbon, law)
    rest = fp * hv_fp + state[AUSTENITE, i] * _AUSTENITE_HV + bainite * hv_b
    rest += max(1.0 - state[AUSTENITE_0, i], 0.0) * old_hv
    if martensite <= 0.0:
        return rest, rest
    j = state[J_MARTENSITE, i] + later_j
    tempered = tempered_martensite_hv(hv_m, j, state[CARBON_M, i] / martensite, law)
    return rest + martensite * tempered, rest + martensite * hv_m


def _old_hardness(case, start, first, i, j, share):
    """Hardness of what the furnace did not make austenite, HV.

    Below Ac1 it is the first-heat structure, tempered.  Above, the pearlite (or its like) goes first: what stays is
    more and more the soft ferrite.
    """
    hv = point_hardness(case, start, first, i, j, 0.0)[0]
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
    """Outcome of every zone into `out`, of every point into `point_hv`; `first` is the state after the first heat."""
    for z in range(out.shape[0]):
        for c in range(OUT):
            out[z, c] = 0.0
        for j in range(len(marker)):
            i = z * len(marker) + j
            w = weight[j]
            share = state[AUSTENITE_0, i]
            old = 0.0
            if share < 1.0:
                j_old = state[J_OLD, i] + case.later_j[z]
                old = _old_hardness(case, start, first, i, j_old, share)
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
