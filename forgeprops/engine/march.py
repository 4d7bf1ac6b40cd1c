"""The march: one head through its route, heat and structure together, in adaptive steps.

`march` is compiled by `batch`.  It carries the temperature of every point, the austenite that forms in the furnace
and what it turns into, and hands back the state of every point with a few marks a zone.
"""

from __future__ import annotations

import math

from ..forging.scale import ATMOSPHERES, scale_rate
from ..thermal.properties import LATENT_HEAT_J_KG
from ..transformation.austenite import (
    alloy_in_austenite,
    astm_from_diameter,
    austenite_carbon,
    austenite_equilibrium,
    austenite_formation_time_s,
    carbide_carbon,
    carbide_dissolution_time_s,
    ferrite_return_per_s,
    grain_growth_rate,
    island_diameter_um,
    pearlite_site_um,
)
from ..transformation.decomposition import (
    AUSTENITE,
    BAINITE,
    J_OLD,
    K_B,
    K_F,
    MARTENSITE,
    UNDERCOOLING,
    begin_cooling,
    decompose,
    martensite_ahead,
)
from ..transformation.kinetics import AE3_SLOPE_C, GAS_CAL
from ..transformation.temperatures import REFERENCE_GRAIN_UM
from .balance import balance, mean_temperatures, wet_table
from .packing import COOL, FURNACE, SPRAY, SPRAY_ON_DIE, STROKE
from .step import GAMMA, factorise, solve

__all__ = ["HEAT_ROWS", "MARKS", "STEP_LIMIT", "heat_up", "march", "set_austenite"]

#: Rows of the furnace state of a point.
HEAT_ROWS = 3
H_AUSTENITE, H_CARBIDE, H_GRAIN = range(HEAT_ROWS)  # share; undissolved share; d^m in µm^m

#: Marks of a zone.
MARKS = 10
(
    M_FURNACE,
    M_DIE,
    M_WATER_ON,
    M_WATER_OFF,
    M_T800,
    M_T500,
    M_RATE700,
    M_REBOUND,
    M_SCALE,
    M_LOW,
) = range(MARKS)

_HEAT_FP, _HEAT_B, _HEAT_M = (
    LATENT_HEAT_J_KG[phase] for phase in ("pearlite", "bainite", "martensite")
)

#: A gas furnace against the air law, on the square of thickness.
_SCALE = ATMOSPHERES["gas furnace"][0] ** 2

#: A case that has taken so many steps is given up (it takes some 400).
STEP_LIMIT = 20_000
#: Step control in units of the tolerance: change of temperature a step while austenite is left, and how much looser the
#: furnace may be than the cooling.
STRIDE, FURNACE_LOOSE = 30.0, 5.0

_KINETIC_CARBON = 0.6  # the rate equations are not used above this carbon (their stated range)
_LN_2 = math.log(2.0)
#: Undercooling below the Ae3 of the enriched austenite at which old ferrite returns as fast as carbon diffuses, °C (our
#: choice: nearer to Ae3 the equation is slower than that, far below it pearlite has taken over).
_RETURN_UNDERCOOLING_C = 50.0


def heat_up(case, heat, state, i, t_c, dt_s):
    """Furnace metallurgy of one point over one step; return the austenite formed, a share of the steel."""
    kelvin = t_c + 273.15
    formed = 0.0
    before = heat[H_AUSTENITE, i]
    if t_c > case.ac1:
        aim = austenite_equilibrium(t_c, case.ac1, case.ac3, case.carbon)
        if aim > before:
            after = aim + (before - aim) * math.exp(-dt_s / austenite_formation_time_s(t_c))
            heat[H_AUSTENITE, i] = after
            formed = after - before
            before = after
    if before > 0.0:
        heat[H_CARBIDE, i] *= math.exp(
            -dt_s * math.exp(case.ln_carbide_speed) / carbide_dissolution_time_s(t_c)
        )
        heat[H_GRAIN, i] += dt_s * grain_growth_rate(
            t_c,
            case.grain_ln_k,
            case.grain_q,
            case.grain_ln_k_low,
            case.grain_q_low,
            case.pin_low,
            case.pin_high,
        )
    state[J_OLD, i] += math.exp(-case.temper_q_k / kelvin) * dt_s
    return formed


def set_austenite(case, kin, state, i, share, undissolved, grain_um, t_c):
    """Give point `i` its austenite at the start of cooling: share, carbon, alloy and grain set its rates.

    Where the furnace made only part of the steel austenite, islands stand for grains, carbides that are left start
    pearlite, and the ferrite that is left grows back without a nucleus.
    """
    bound = carbide_carbon(undissolved, case.carbon, case.cr, case.mo)
    carbon = min(austenite_carbon(share, case.carbon - bound), 1.1)
    d_cr = alloy_in_austenite(case.cr, undissolved) - case.cr
    mo = alloy_in_austenite(case.mo, undissolved)
    d_c = min(carbon, max(_KINETIC_CARBON, case.carbon)) - case.carbon
    island = island_diameter_um(grain_um, share)
    grain = astm_from_diameter(island) * _LN_2
    site = astm_from_diameter(pearlite_site_um(island, bound)) * _LN_2
    ln_f = kin[3] * grain - case.ln_f - kin[6] * d_c - kin[9] * d_cr - kin[12] * (mo - case.mo)
    ln_p = (
        kin[4] * site
        - case.ln_p
        - kin[7] * d_c
        - kin[10] * d_cr
        - kin[13] * (math.sqrt(mo) - math.sqrt(case.mo))
    )
    ln_b = kin[5] * grain - case.ln_b - kin[8] * d_c - kin[11] * d_cr - kin[14] * (mo - case.mo)
    ae3 = max(case.ae3 - AE3_SLOPE_C * (carbon - case.carbon), case.ae1)
    if share < 1.0:
        # the equation's rate at a given undercooling made equal to the growth of old ferrite there
        at = ae3 - _RETURN_UNDERCOOLING_C
        growth = ferrite_return_per_s(at, share) / _RETURN_UNDERCOOLING_C**3
        ln_f = math.log(math.exp(ln_f) + growth * math.exp(kin[0] / (GAS_CAL * (at + 273.15))))
    begin_cooling(state, i, share, carbon, ae3, t_c, ln_f, ln_p, ln_b)
    # a finer grain lowers Ms, as if so much undercooling had already been used up without martensite
    state[UNDERCOOLING, i] = -case.ms_grain * (
        1.0 / math.sqrt(island) - 1.0 / math.sqrt(REFERENCE_GRAIN_UM)
    )


def _martensite_capacity(
    state, start, t_c, h, rate, plain, zones, marker, weight, heat_capacity, extra
):
    """Put martensite's heat into the heat capacity of the points that form some in this step; whether any does.

    It is three times the metal's own heat per kelvin: as an explicit source it would be unstable.  Only the part of
    the step below the temperature where it forms counts.
    """
    n = len(marker)
    any_point = False
    for z in range(zones.shape[0]):
        for j in range(n):
            i = z * n + j
            change = h * rate[i]
            if change < 0.0 and t_c[i] + change < 600.0 and state[AUSTENITE, i] > 1e-4:
                onset, per_k = martensite_ahead(state, i, start)
                if t_c[i] + change < onset:
                    above = min(onset - t_c[i], 0.0)
                    below = (
                        (change - above)
                        * plain[i]
                        / (plain[i] + per_k * _HEAT_M * zones[z].mass_kg * weight[j])
                    )
                    extra[i] = plain[i] * (change / (above + below) - 1.0)
                    heat_capacity[i] = plain[i] + extra[i]
                    any_point = True
    return any_point


def _furnace_structure(case, heat, state, t_c, change, h, zones, marker, weight, latent):
    """Austenite, carbides and grain over one step of the furnace; heat taken, W, into `latent`."""
    n = len(marker)
    for z in range(zones.shape[0]):
        for j in range(n):
            i = z * n + j
            latent[i] = 0.0
            if t_c[i] > 300.0:
                formed = heat_up(case, heat, state, i, t_c[i] + 0.5 * change[i], h)
                latent[i] = -formed * _HEAT_FP * zones[z].mass_kg * weight[j] / h


def _cooling_structure(
    case,
    arrhenius,
    start,
    state,
    t_c,
    change,
    h,
    zones,
    marker,
    weight,
    heat_capacity,
    plain,
    extra,
    latent,
    latent_2,
    late,
    forward,
    inverse,
    top,
):
    """Decomposition over one step of cooling; heat of ferrite, pearlite and bainite, W, into `latent_2`.

    `late` takes what martensite gave beyond the heat capacity set aside for it, J.
    """
    n = len(marker)
    for z in range(zones.shape[0]):
        if zones[z].one_structure > 0.0:
            _lumped_structure(
                case,
                arrhenius,
                start,
                state,
                t_c,
                change,
                h,
                zones[z].mass_kg,
                z,
                marker,
                weight,
                heat_capacity,
                plain,
                extra,
                latent,
                latent_2,
                late,
                forward,
                inverse,
                top,
            )
            continue
        for j in range(n):
            i = z * n + j
            imposed = -3600.0 * (change[i] / h * heat_capacity[i] - latent[i]) / plain[i]
            fp, bainite, martensite = decompose(
                state,
                i,
                t_c[i] + 0.5 * change[i],
                t_c[i] + change[i],
                h,
                imposed,
                case.ae1,
                case.bainite_limit,
                arrhenius,
                start,
                forward,
                inverse,
                top,
            )
            mass = zones[z].mass_kg * weight[j]
            latent_2[i] = (fp * _HEAT_FP + bainite * _HEAT_B) * mass / h
            late[i] = martensite * _HEAT_M * mass + extra[i] * change[i]


def _spread(state, first, n):
    """Give every point of an even zone the structure of its first."""
    for i in range(first + 1, first + n):
        for r in range(state.shape[0]):
            state[r, i] = state[r, first]


def _lumped_structure(
    case,
    arrhenius,
    start,
    state,
    t_c,
    change,
    h,
    mass_kg,
    z,
    marker,
    weight,
    heat_capacity,
    plain,
    extra,
    latent,
    latent_2,
    late,
    forward,
    inverse,
    top,
):
    """The same for a zone so even in temperature (neck, hosel) that its mean stands for all its points."""
    n = len(marker)
    first = z * n
    t_mid = 0.0
    t_end = 0.0
    imposed = 0.0
    set_aside = 0.0
    for j in range(n):
        i = first + j
        t_mid += weight[j] * (t_c[i] + 0.5 * change[i])
        t_end += weight[j] * (t_c[i] + change[i])
        imposed -= 3600.0 * weight[j] * (change[i] / h * heat_capacity[i] - latent[i]) / plain[i]
        set_aside += extra[i] * change[i]
    fp, bainite, martensite = decompose(
        state,
        first,
        t_mid,
        t_end,
        h,
        imposed,
        case.ae1,
        case.bainite_limit,
        arrhenius,
        start,
        forward,
        inverse,
        top,
    )
    _spread(state, first, n)
    for j in range(n):
        i = first + j
        latent_2[i] = (fp * _HEAT_FP + bainite * _HEAT_B) * mass_kg * weight[j] / h
        late[i] = (martensite * _HEAT_M * mass_kg + set_aside) * weight[j]


def _settle(
    case,
    arrhenius,
    start,
    state,
    t_c,
    change,
    h,
    zones,
    marker,
    weight,
    heat_capacity,
    plain,
    latent,
    late,
    debt,
    forward,
    inverse,
    top,
):
    """Where putting the heat right cools a point that makes martensite, let it form in the same step.

    `debt` holds the correction as a temperature by the metal's own heat, K.  Left to the next step, the martensite of that
    fall would release a heat that no shorter step makes smaller.
    """
    n = len(marker)
    for z in range(zones.shape[0]):
        first = z * n
        mass = zones[z].mass_kg
        lumped = zones[z].one_structure > 0.0
        for j in range(1 if lumped else n):
            i = first + j
            owed = debt[i] * plain[i]
            own = plain[i]
            t_end = t_c[i] + change[i]
            part = mass * weight[j]
            if lumped:
                owed = 0.0
                own = 0.0
                t_end = 0.0
                part = mass
                for k in range(n):
                    owed += debt[first + k] * plain[first + k]
                    own += plain[first + k]
                    t_end += weight[k] * (t_c[first + k] + change[first + k])
            if owed >= 0.0 or t_end > 620.0 or state[AUSTENITE, i] <= 1e-4:
                continue
            onset, per_k = martensite_ahead(state, i, start)
            fall = owed / own
            if t_end + fall >= onset:
                continue
            above = min(onset - t_end, 0.0)
            below = (fall - above) * own / (own + per_k * _HEAT_M * part)
            imposed = -3600.0 * (change[i] / h * heat_capacity[i] - latent[i]) / plain[i]
            _, _, martensite = decompose(
                state,
                i,
                t_end,
                t_end + above + below,
                0.0,
                imposed,
                case.ae1,
                case.bainite_limit,
                arrhenius,
                start,
                forward,
                inverse,
                top,
            )
            heat = martensite * _HEAT_M * part
            if not lumped:
                late[i] += heat
                debt[i] += heat / plain[i]
                continue
            _spread(state, first, n)
            for k in range(n):
                late[first + k] += heat * weight[k]
                debt[first + k] += heat * weight[k] / plain[first + k]


def _copy(rows, source, target):
    for r in range(rows):
        for i in range(source.shape[1]):
            target[r, i] = source[r, i]


def _mark(marks, z, old, new, time, h):
    """Note what a cooling zone passes: 800, 700 and 500 °C, its low and what it re-heats after it."""
    if old >= 800.0 > new and marks[z, M_T800] < 0.0:
        marks[z, M_T800] = time + h * (old - 800.0) / (old - new)
    if old >= 500.0 > new and marks[z, M_T500] < 0.0:
        marks[z, M_T500] = time + h * (old - 500.0) / (old - new)
    if old >= 700.0 > new and marks[z, M_RATE700] == 0.0:
        marks[z, M_RATE700] = (old - new) / h
    marks[z, M_LOW] = min(marks[z, M_LOW], new)
    marks[z, M_REBOUND] = max(marks[z, M_REBOUND], new - marks[z, M_LOW])


def _note(trace, row, time, mean, t_c, n):
    trace[row, 0] = time
    for z in range(mean.shape[0]):
        trace[row, 1 + z] = mean[z]
        trace[row, 1 + mean.shape[0] + z] = t_c[z * n]
    first = 1 + 2 * mean.shape[0]
    for i in range(trace.shape[1] - first):
        trace[row, first + i] = t_c[i]


def march(
    case,
    zones,
    steps,
    convection,
    start,
    kin,
    arrhenius,
    marker,
    weight,
    stiff,
    slope,
    forward,
    inverse,
    top,
    tolerance_c,
    stop_c,
    t_c,
    heat,
    state,
    marks,
    scale_um,
    energy,
    trace,
    work,
):
    """Take one head through its steps.

    Parameters
    ----------
    case, zones, steps, convection, start, kin, arrhenius
        See `packing`.
    marker : tuple
        As long as a zone has points; point j of zone z is number z n + j.
    weight, stiff, slope : array
        See `section`.
    t_c : array
        Temperature of every point, °C; start on entry, end on return.
    heat, state, marks, scale_um, energy
        Filled here: furnace state, decomposition state, marks a zone, scale a zone (µm), energy sums (J).
    trace : array, shape (rows, 1 + 2 zones) or (rows, 1 + 2 zones + points)
        Time, mean and front temperature of every zone at accepted steps, and of every point if there is room for
        them; zero rows for none.
    work : tuple of arrays
        Scratch, made once a thread.

    Returns
    -------
    tuple of int
        Steps taken, trace rows used.
    """
    (
        heat_capacity,
        heat_capacity_2,
        loss_h,
        power,
        power_2,
        k1,
        k2,
        t_2,
        austenite,
        latent,
        latent_2,
        change,
        extra,
        plain,
        debt,
        late,
        shape,
        mean,
        zone_k,
        conduction,
        bridge,
        pull,
        means,
        chain,
        factor,
        state_2,
        heat_2,
        wet,
    ) = work
    n_zones = zones.shape[0]
    n_each = len(marker)
    n = t_c.shape[0]
    time = 0.0
    taken_steps = 0
    rows = 0
    step_s = 0.05
    settled = False
    cooling = False
    for i in range(n):
        latent[i] = 0.0
        late[i] = 0.0
        austenite[i] = heat[H_AUSTENITE, i]
    for z in range(n_zones):
        for m in range(MARKS):
            marks[z, m] = -1.0
        marks[z, M_RATE700] = 0.0
        marks[z, M_REBOUND] = 0.0
        marks[z, M_LOW] = 1e9
    energy[0] = 0.0
    energy[1] = 0.0
    energy[2] = 0.0
    keep_trace = trace.shape[0] > 0
    for s in range(steps.shape[0]):
        kind = steps[s].kind
        duration = steps[s].duration_s
        contact = steps[s].contact
        share = steps[s].share
        if kind != FURNACE and not cooling:
            cooling = True
            mean_temperatures(t_c, marker, weight, mean)
            for z in range(n_zones):
                marks[z, M_FURNACE] = mean[z]
                marks[z, M_SCALE] = scale_um[z]
            for i in range(n):
                grain = heat[H_GRAIN, i] ** (1.0 / case.grain_m)
                set_austenite(
                    case, kin, state, i, heat[H_AUSTENITE, i], heat[H_CARBIDE, i], grain, t_c[i]
                )
                latent[i] = 0.0
        if duration <= 0.0:
            continue
        if kind == STROKE:
            mean_temperatures(t_c, marker, weight, mean)
            for z in range(n_zones):
                marks[z, M_DIE] = mean[z]
                scale_um[z] *= case.scale_left
                # strain that stays in the austenite speeds what starts at its boundaries and bands
                for i in range(z * n_each, z * n_each + n_each):
                    t_c[i] += case.work_k
                    state[K_F, i] *= math.exp(case.ln_strain_f[z])
                    state[K_B, i] *= math.exp(case.ln_strain_b[z])
        if kind == SPRAY or kind == SPRAY_ON_DIE:
            mean_temperatures(t_c, marker, weight, mean)
            for z in range(n_zones):
                marks[z, M_WATER_ON] = mean[z]
                if share[z] > 0.0 and case.flux > 0.0:
                    wet_table(case.flux * share[z], scale_um[z], case, convection, z, wet)
        elapsed = 0.0
        step_s = min(step_s, 0.05 if kind != FURNACE and kind != COOL else 0.2)
        while elapsed < duration * (1.0 - 1e-12):
            remaining = duration - elapsed
            h = min(step_s, remaining)
            if h > 0.5 * remaining and h < remaining:
                h = 0.5 * remaining  # two even steps to the end instead of one and a sliver
            # ---- stage 1 -----------------------------------------------------------------------------------
            taken = balance(
                t_c,
                kind,
                elapsed,
                case,
                zones,
                convection,
                wet,
                share,
                contact,
                marker,
                weight,
                slope,
                austenite,
                heat_capacity,
                zone_k,
                conduction,
                bridge,
                loss_h,
                mean,
                power,
                True,
            )
            if keep_trace and rows == 0:
                _note(trace, 0, time, mean, t_c, n_each)
                rows = 1
            for i in range(n):
                plain[i] = heat_capacity[i]
            while True:
                gamma_h = GAMMA * h
                for i in range(n):
                    extra[i] = 0.0
                    heat_capacity[i] = plain[i]
                    power_2[i] = power[i] + latent[i]
                factorise(
                    conduction,
                    stiff,
                    loss_h,
                    bridge,
                    heat_capacity,
                    gamma_h,
                    marker,
                    weight,
                    factor,
                    shape,
                    pull,
                    chain,
                )
                solve(
                    factor, bridge, gamma_h, marker, weight, shape, pull, chain, means, power_2, k1
                )
                if (
                    cooling
                    and not settled
                    and _martensite_capacity(
                        state, start, t_c, h, k1, plain, zones, marker, weight, heat_capacity, extra
                    )
                ):
                    factorise(
                        conduction,
                        stiff,
                        loss_h,
                        bridge,
                        heat_capacity,
                        gamma_h,
                        marker,
                        weight,
                        factor,
                        shape,
                        pull,
                        chain,
                    )
                    solve(
                        factor,
                        bridge,
                        gamma_h,
                        marker,
                        weight,
                        shape,
                        pull,
                        chain,
                        means,
                        power_2,
                        k1,
                    )
                for i in range(n):
                    t_2[i] = t_c[i] + h * k1[i]
                # ---- stage 2 -----------------------------------------------------------------------------------
                taken_2 = balance(
                    t_2,
                    kind,
                    elapsed + h,
                    case,
                    zones,
                    convection,
                    wet,
                    share,
                    contact,
                    marker,
                    weight,
                    slope,
                    austenite,
                    heat_capacity_2,
                    zone_k,
                    conduction,
                    bridge,
                    loss_h,
                    mean,
                    power_2,
                    False,
                )
                for i in range(n):
                    heat_capacity_2[i] += extra[i]
                    power_2[i] = (
                        heat_capacity[i] / heat_capacity_2[i] * (power_2[i] + latent[i])
                        - 2.0 * heat_capacity[i] * k1[i]
                    )
                solve(
                    factor, bridge, gamma_h, marker, weight, shape, pull, chain, means, power_2, k2
                )
                worst = 0.0
                largest = 0.0
                for i in range(n):
                    change[i] = h * (1.5 * k1[i] + 0.5 * k2[i])
                    error = abs(0.5 * h * (k1[i] + k2[i]))
                    if not cooling:
                        loose = FURNACE_LOOSE
                        stride = 80.0
                        if t_c[i] + change[i] > case.ac1 - 15.0 and t_c[i] < case.ac3 + 15.0:
                            stride = 20.0
                    elif settled:
                        loose = 4.0
                        stride = 100.0
                    else:
                        loose = 4.0 if t_c[i] < 150.0 else 1.0
                        stride = 100.0 if state[AUSTENITE, i] < 1e-3 else STRIDE
                    worst = max(worst, error / loose)
                    largest = max(largest, abs(change[i]) / stride)
                worst /= tolerance_c
                largest /= tolerance_c
                if (worst > 1.0 or largest > 1.3) and h > 1e-6:
                    h = h * max(
                        0.2, min(0.8, 0.85 / math.sqrt(max(worst, 1e-9)), 0.9 / max(largest, 1e-9))
                    )
                    continue
                # ---- structure over the step, along the temperature just found -----------------------------------
                if not cooling:
                    _copy(HEAT_ROWS, heat, heat_2)
                    for i in range(n):
                        state_2[J_OLD, i] = state[J_OLD, i]
                    _furnace_structure(
                        case, heat, state, t_c, change, h, zones, marker, weight, latent_2
                    )
                elif not settled:
                    _copy(state.shape[0], state, state_2)
                    _cooling_structure(
                        case,
                        arrhenius,
                        start,
                        state,
                        t_c,
                        change,
                        h,
                        zones,
                        marker,
                        weight,
                        heat_capacity,
                        plain,
                        extra,
                        latent,
                        latent_2,
                        late,
                        forward,
                        inverse,
                        top,
                    )
                else:
                    for i in range(n):
                        latent_2[i] = 0.0
                        late[i] = 0.0
                # heat that came otherwise than the step had assumed is put right at once
                for i in range(n):
                    debt[i] = ((latent_2[i] - latent[i]) * h + late[i]) / plain[i]
                if cooling and not settled:
                    _settle(
                        case,
                        arrhenius,
                        start,
                        state,
                        t_c,
                        change,
                        h,
                        zones,
                        marker,
                        weight,
                        heat_capacity,
                        plain,
                        latent,
                        late,
                        debt,
                        forward,
                        inverse,
                        top,
                    )
                off = 0.0
                for i in range(n):
                    off = max(off, abs(debt[i]))
                off /= (1.0 if cooling else FURNACE_LOOSE) * tolerance_c
                worst = max(worst, off)
                if off <= 1.0 or h < 1e-6:
                    break
                if not cooling:
                    _copy(HEAT_ROWS, heat_2, heat)
                    for i in range(n):
                        state[J_OLD, i] = state_2[J_OLD, i]
                else:
                    _copy(state.shape[0], state_2, state)
                h = h * max(0.2, min(0.8, 0.85 / math.sqrt(off)))
            # ---- accept ------------------------------------------------------------------------------------------
            energy[0] += 0.5 * h * (taken + taken_2)
            for i in range(n):
                # the method's own quadrature of the boundary heat
                energy[0] -= 0.5 * GAMMA * h * h * loss_h[i] * (k1[i] + k2[i])
                gain = change[i] + debt[i]
                energy[1] += (0.5 * (heat_capacity[i] + heat_capacity_2[i]) - extra[i]) * gain
                energy[2] += h * latent_2[i] + late[i] - extra[i] * change[i]
                t_c[i] += gain
                latent[i] = latent_2[i]
                austenite[i] = state[AUSTENITE, i] if cooling else heat[H_AUSTENITE, i]
            for z in range(n_zones):
                old = 0.0
                new = 0.0
                for j in range(n_each):
                    i = z * n_each + j
                    new += weight[j] * t_c[i]
                    old += weight[j] * (t_c[i] - change[i] - debt[i])
                mean[z] = new
                if cooling:
                    _mark(marks, z, old, new, time, h)
                else:
                    scale_um[z] = math.sqrt(
                        scale_um[z] ** 2 + h * _SCALE * scale_rate(0.5 * (old + new))
                    )
            time += h
            elapsed += h
            taken_steps += 1
            if keep_trace and rows < trace.shape[0]:
                _note(trace, rows, time, mean, t_c, n_each)
                rows += 1
            step_s = h * min(3.0, 0.85 / math.sqrt(max(worst, 0.08)), 1.1 / max(largest, 0.3))
            if kind == COOL:
                hottest = -1e9
                done = True
                for i in range(n):
                    hottest = max(hottest, t_c[i])
                    if state[AUSTENITE, i] > 1e-5:
                        done = False
                    elif state[MARTENSITE, i] + state[BAINITE, i] > 1e-6 and t_c[i] > 150.0:
                        done = False
                if done:
                    settled = True
                if hottest < stop_c or (settled and not keep_trace):
                    break
            if taken_steps >= STEP_LIMIT:
                return taken_steps, rows  # `batch` marches it again
        if kind == SPRAY or kind == SPRAY_ON_DIE:
            for z in range(n_zones):
                marks[z, M_WATER_OFF] = mean[z]
    # what cools on to the room finishes its martensite there
    for i in range(n):
        if t_c[i] > case.air_c and state[AUSTENITE, i] > 0.0:
            decompose(
                state,
                i,
                t_c[i],
                case.air_c,
                0.0,
                36.0,
                case.ae1,
                case.bainite_limit,
                arrhenius,
                start,
                forward,
                inverse,
                top,
            )
    return taken_steps, rows
