"""The engine's formulas that belong to no formula room, written a second time in plain Python."""

import math

import numpy as np
from reference import engine_laws as laws

from forgeprops.base.constants import STEFAN_BOLTZMANN
from forgeprops.engine import physics
from forgeprops.thermal import spray
from forgeprops.transformation import austenite, kinetics
from forgeprops.transformation import decomposition as d
from forgeprops.transformation.temperatures import REFERENCE_GRAIN_UM

WET_POINTS, WET_STEP_C = 161, 8.0


def set_austenite(case, kin, share, undissolved, grain_um, t_c):
    """State of a structure at the start of cooling, shape (ROWS,), its tempering integral of the furnace left out."""
    c, cr, mo_0 = (float(case[name]) for name in ("carbon", "cr", "mo"))
    k = {name: float(kin[name][0]) for name in kin.dtype.names}
    bound = austenite.carbide_carbon(undissolved, c, cr, mo_0)
    carbon = min(laws.austenite_carbon(share, c - bound), 1.1)
    d_cr = laws.alloy_in_austenite(cr, undissolved) - cr
    mo = laws.alloy_in_austenite(mo_0, undissolved)
    d_c = min(carbon, max(0.6, c)) - c
    island = laws.island_diameter_um(grain_um, share)
    grain = float(austenite.astm_from_diameter(island)) * math.log(2.0)
    site = float(austenite.astm_from_diameter(laws.pearlite_site_um(island, bound)))
    site *= math.log(2.0)

    def ln_rate(name, grain, mo_term=lambda mo: mo, share=1.0):
        d = k[f"{name}_c"] * d_c + k[f"{name}_cr"] * d_cr
        d += k[f"{name}_mo"] * (mo_term(mo) - mo_term(mo_0))
        moved = math.log(1.0 + float(share) * (math.exp(d) - 1.0))
        return k[f"grain_{name}"] * grain - float(case[f"ln_{name[0]}"]) - moved

    ae3 = max(float(case["ae3"]) - kinetics.AE3_SLOPE_C * (carbon - c), float(case["ae1"]))
    k_f = math.exp(ln_rate("ferrite", grain, share=case["alloy_f"]))
    if share < 1.0:
        under = float(physics.physics()["return_undercooling"][0])
        growth = laws.ferrite_return_per_s(ae3 - under, share) / under**3
        k_f += growth * math.exp(k["q_ferrite"] / (kinetics.GAS_CAL * (ae3 - under + 273.15)))
    state = np.zeros(d.ROWS)
    state[d.AUSTENITE_0] = state[d.AUSTENITE] = share
    state[d.CARBON_0], state[d.AE3], state[d.T_MIN] = carbon, ae3, t_c
    state[d.K_F] = k_f
    state[d.K_P] = math.exp(ln_rate("pearlite", site, kinetics.mo_term, case["alloy_p"]))
    state[d.K_B] = math.exp(ln_rate("bainite", grain))
    state[d.UNDERCOOLING] = -float(case["ms_grain"]) * (island**-0.5 - REFERENCE_GRAIN_UM**-0.5)
    return state


def dry_loss(case, convection, t_c):
    """Heat lost to the room, W/m²."""
    position = min(max(t_c / 50.0, 0.0), len(convection) - 1.0)
    i = min(int(position), len(convection) - 2)
    air = convection[i] + (position - i) * (convection[i + 1] - convection[i])
    emissivity = case["emissivity"] * case["view_factor"] * STEFAN_BOLTZMANN
    radiated = emissivity * ((t_c + 273.15) ** 4 - (case["air_c"] + 273.15) ** 4)
    return radiated + case["air_factor"] * air * (t_c - case["air_c"])


def wet_table(flux, water_c, scale_um, case, convection):
    """Loss of a sprayed surface, W/m², on `WET_POINTS` metal temperatures above the water's.

    The scale stands in series; where the metal's temperature over that of the wet side folds back, the head stays on the
    hot branch as long as it lasts.
    """
    resistance = scale_um * 1e-6 / spray.SCALE_CONDUCTIVITY_W_MK
    side = WET_STEP_C * np.arange(WET_POINTS)
    clean = np.array([spray.spray_w_m2k(flux, water_c + s, water_c) * s for s in side])
    table, k = np.zeros(WET_POINTS), WET_POINTS - 1
    metal_before, q_before = side[-1] + clean[-1] * resistance, clean[-1]
    for s, q in zip(side[-2::-1], clean[-2::-1], strict=True):
        metal = s + q * resistance
        while k >= 0 and WET_STEP_C * k >= metal:
            x = 0.0
            if metal_before > metal:
                x = min(max((metal_before - WET_STEP_C * k) / (metal_before - metal), 0.0), 1.0)
            table[k] = q_before + x * (q - q_before)
            k -= 1
        if metal < metal_before:
            metal_before, q_before = metal, q
    share, limit = laws.wet_share(flux), laws.evaporation_limit_w_m2(flux, water_c)
    for i, t in enumerate(water_c + side):
        dry = dry_loss(case, convection, t)
        wet = min(case["spray_factor"] * table[i], limit + max(dry, 0.0))
        table[i] = (1.0 - share) * dry + share * wet
    return table


def martensite_law(start, carbon):
    """Ms, °C, and rate of the martensite law, 1/K, from the start tables."""
    nodes = np.linspace(0.0, d.TABLE_CARBON, start.shape[1])
    return np.interp(carbon, nodes, start[0]), np.interp(carbon, nodes, start[1])


def cool_to_the_room(state, start, t_c, air_c):
    """Let structures of shape (ROWS, n) make their martensite down to the air."""
    carbon = d.carbon_of_austenite(state[d.CARBON_0], state[d.AUSTENITE_0], state[d.FERRITE])
    ms, alpha = martensite_law(start, carbon)
    fall = np.where(t_c > air_c, ms - air_c - state[d.UNDERCOOLING], 0.0)
    gone = state[d.AUSTENITE] * (1.0 - np.exp(-alpha * np.maximum(fall, 0.0)))
    before = np.maximum(state[d.MARTENSITE], 0.0)
    whole = before + gone
    state[d.J_MARTENSITE] *= (before / np.maximum(whole, 1e-300)) ** 14
    state[d.MARTENSITE], state[d.AUSTENITE] = whole, state[d.AUSTENITE] - gone
    state[d.CARBON_M] += gone * carbon


def extent_of(x, forward, row):
    """S(X) by row `row` of the table; `x` in 0..1."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return forward[row, forward.shape[1] - 1]
    position = math.sqrt(x) * (forward.shape[1] - 1)
    i = int(position)
    return forward[row, i] + (position - i) * (forward[row, i + 1] - forward[row, i])
