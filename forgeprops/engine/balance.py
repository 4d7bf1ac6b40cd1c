"""Heat balance of the head: what each surface gives off, what the metal conducts, what that does to temperature.

Every function here works on plain numbers and flat arrays and is compiled into the march.
"""

from __future__ import annotations

from ..thermal.die_contact import (
    DIE_CONDUCTIVITY_W_MK,
    DIE_DENSITY_KG_M3,
    DIE_HEAT_J_KGK,
    RESTING_CONTACT_W_M2K,
    die_contact_w_m2k,
)
from ..thermal.properties import austenite_cp_j_kgk, conductivity, ferrite_cp_j_kgk
from ..thermal.spray import SCALE_CONDUCTIVITY_W_MK, evaporation_limit_w_m2, spray_w_m2k, wet_share
from ..thermal.surroundings import FURNACE_CONVECTION_W_M2K, STEFAN_BOLTZMANN
from .packing import COOL, FURNACE, JET, JET_W_M2K, REST, SPRAY, SPRAY_ON_DIE, STROKE

__all__ = ["WET_POINTS", "balance", "dry_loss", "mean_temperatures", "surface_loss", "wet_table"]

_STEP_C = 50.0  # spacing of CONVECTION_C

#: A sprayed surface is tabulated once a spray on this many metal temperatures, `_WET_STEP_C` apart, above the water's.
WET_POINTS = 161
_WET_STEP_C = 8.0


def _convection(table, zone, t_c):
    position = min(max(t_c / _STEP_C, 0.0), table.shape[1] - 1.001)
    i = int(position)
    return table[zone, i] + (position - i) * (table[zone, i + 1] - table[zone, i])


def _radiation(t_c, to_c, emissivity):
    """Net radiation, W/m², and how it grows with the surface's temperature, W/(m² K)."""
    a, b = t_c + 273.15, to_c + 273.15
    e = emissivity * STEFAN_BOLTZMANN
    return e * (a - b) * (a + b) * (a * a + b * b), 4.0 * e * a * a * a


def dry_loss(t_c, case, convection, zone):
    """Heat lost to the room by air and radiation, W/m², and its slope with temperature, W/(m² K)."""
    air = case.air_factor * _convection(convection, zone, t_c)
    q, h = _radiation(t_c, case.air_c, case.emissivity * case.view_factor)
    return q + air * (t_c - case.air_c), h + air


def wet_table(flux, scale_um, case, convection, zone, table):
    """Tabulate the heat a sprayed surface loses, W/m², on metal temperatures above the water's.

    The scale stands in series and its wet side is cooler than the metal, so that boiling takes hold at a higher metal
    temperature (see `surroundings.spray_over_scale_w_m2k`, which this follows).  Walking down the wet side's
    temperature s gives the metal's s + q(s) R; where that folds back the head stays on the hot branch as long as it
    lasts, then falls to the cold one.
    """
    resistance = scale_um * 1e-6 / SCALE_CONDUCTIVITY_W_MK
    share = wet_share(flux)
    limit = evaporation_limit_w_m2(flux, case.water_c)
    k = WET_POINTS - 1
    top = _WET_STEP_C * k
    s_before = top
    q_before = spray_w_m2k(flux, case.water_c + top, case.water_c) * top
    metal_before = s_before + q_before * resistance
    s = top
    while k >= 0 and s > 0.0:
        s = max(s - _WET_STEP_C, 0.0)
        q = spray_w_m2k(flux, case.water_c + s, case.water_c) * s
        metal = s + q * resistance
        while k >= 0 and _WET_STEP_C * k >= metal:
            x = 0.0
            if metal_before > metal:
                x = min(max((metal_before - _WET_STEP_C * k) / (metal_before - metal), 0.0), 1.0)
            table[zone, k] = q_before + x * (q - q_before)
            k -= 1
        if metal < metal_before:
            metal_before = metal
            q_before = q
    while k >= 0:
        table[zone, k] = 0.0
        k -= 1
    for i in range(WET_POINTS):
        dry, _ = dry_loss(case.water_c + _WET_STEP_C * i, case, convection, zone)
        wet = min(case.spray_factor * table[zone, i], limit + max(dry, 0.0))
        table[zone, i] = (1.0 - share) * dry + share * wet


def surface_loss(kind, front, zone, t_c, time_s, case, convection, wet, share, contact):
    """Heat a surface gives off, W/m², and its slope with temperature for the implicit step, W/(m² K).

    Parameters
    ----------
    kind : int
        Kind of step (see `packing`).
    front : bool
        Front (spray side, upper die) or back.
    zone : int
        Index of the zone.
    t_c : float
        Surface temperature, °C.
    time_s : float
        Time since the step began, s.
    """
    if kind == FURNACE:
        q, h = _radiation(t_c, case.furnace_c, case.furnace_emissivity)
        return q + FURNACE_CONVECTION_W_M2K * (t_c - case.furnace_c), h + FURNACE_CONVECTION_W_M2K
    if kind == STROKE:
        h = case.die_factor * die_contact_w_m2k(
            contact, time_s, DIE_CONDUCTIVITY_W_MK, DIE_DENSITY_KG_M3, DIE_HEAT_J_KGK
        )
        return h * (t_c - case.die_c), h
    if not front and (kind == REST or kind == SPRAY_ON_DIE):
        h = case.die_factor * die_contact_w_m2k(
            RESTING_CONTACT_W_M2K, time_s, DIE_CONDUCTIVITY_W_MK, DIE_DENSITY_KG_M3, DIE_HEAT_J_KGK
        )
        return h * (t_c - case.die_c), h
    if front and kind == JET:
        return JET_W_M2K * (t_c - case.water_c), JET_W_M2K
    if front and share > 0.0 and case.flux > 0.0 and (kind == SPRAY or kind == SPRAY_ON_DIE):
        position = min(max((t_c - case.water_c) / _WET_STEP_C, 0.0), WET_POINTS - 1.001)
        i = int(position)
        slope = wet[zone, i + 1] - wet[zone, i]
        q = wet[zone, i] + (position - i) * slope
        # where boiling takes hold the loss grows as the surface cools: that part stays explicit
        return q, max(slope / _WET_STEP_C, 0.0)
    q, h = dry_loss(t_c, case, convection, zone)
    if zone == 4 and kind == COOL and case.sleeve_w_m2k > 0.0:
        return case.sleeve_w_m2k * (t_c - case.air_c), case.sleeve_w_m2k
    return q, h


def mean_temperatures(t_c, marker, weight, mean):
    """Mean temperature of every zone into `mean`."""
    n = len(marker)
    for z in range(mean.shape[0]):
        total = 0.0
        for j in range(n):
            total += weight[j] * t_c[z * n + j]
        mean[z] = total


def balance(
    t_c,
    kind,
    time_s,
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
    renew,
):
    """Power into every point, W, into `power`; with `renew` also conductivities, bridges and slopes of the losses.

    `marker` is a tuple as long as a zone has points: its length is known when the march is compiled, so that the
    small loops over points unroll.

    Returns
    -------
    float
        Power the whole head takes from its surroundings, W (negative while it cools).
    """
    n = len(marker)
    n_zones = zones.shape[0]
    taken = 0.0
    for z in range(n_zones):
        zone = zones[z]
        first = z * n
        mass = zone.mass_kg
        total = 0.0
        share_a = 0.0
        for j in range(n):
            i = first + j
            a = austenite[i]
            t = t_c[i]
            total += weight[j] * t
            share_a += weight[j] * a
            heat_capacity[i] = (
                mass * weight[j] * (a * austenite_cp_j_kgk(t) + (1.0 - a) * ferrite_cp_j_kgk(t))
            )
        mean[z] = total
        if renew:
            # the bridges go by the zone's mean
            zone_k[z] = conductivity(total, case.alloyed, share_a)
            conduction[z] = 0.0
            for j in range(n):
                loss_h[first + j] = 0.0
        # martensite under the skin conducts twice as well as the austenite beneath it
        for j in range(n):
            power[first + j] = 0.0
        for q in range(n):
            flow = 0.0
            for k in range(n):
                flow += slope[q, k] * t_c[first + k]
            own = zone.conduction_m * conductivity(
                t_c[first + q], case.alloyed, austenite[first + q]
            )
            if renew:
                conduction[z] = max(
                    conduction[z], own
                )  # the implicit step is stable with the best conducting point's
            flow *= weight[q] * own
            for j in range(n):
                power[first + j] -= slope[q, j] * flow
        # surfaces: front at the first point, back at the last
        last = first + n - 1
        q, h = surface_loss(
            kind, True, z, t_c[first], time_s, case, convection, wet, share[z], contact
        )
        power[first] -= q * zone.front_m2
        taken -= q * zone.front_m2
        q_back, h_back = surface_loss(
            kind, False, z, t_c[last], time_s, case, convection, wet, share[z], contact
        )
        power[last] -= q_back * zone.back_m2
        taken -= q_back * zone.back_m2
        if renew:
            loss_h[first] += h * zone.front_m2
            loss_h[last] += h_back * zone.back_m2
        if zone.side_m2 > 0.0:
            for j in range(n):
                i = first + j
                q, h = surface_loss(
                    kind, False, z, t_c[i], time_s, case, convection, wet, share[z], contact
                )
                area = zone.side_m2 * weight[j]
                power[i] -= q * area
                taken -= q * area
                if renew:
                    loss_h[i] += h * area
    # bridges between neighbouring zones carry heat from mean to mean
    for z in range(n_zones - 1):
        g = zones[z].link_m
        if g > 0.0:
            if renew:
                bridge[z] = g * 0.5 * (zone_k[z] + zone_k[z + 1])
            flow = bridge[z] * (mean[z] - mean[z + 1])
            for j in range(n):
                power[z * n + j] -= flow * weight[j]
                power[z * n + n + j] += flow * weight[j]
    return taken
