"""Laws of furnace, cooling and spray that the engine alone calculates, in plain Python.

Their equations and sources stand at the heads of `transformation.austenite`, `transformation.kinetics`, `thermal.spray`.
"""

import functools
import math

import numpy as np

from forgeprops.base.constants import STEFAN_BOLTZMANN, ZERO_C_K
from forgeprops.engine import packing, physics
from forgeprops.thermal import spray
from forgeprops.thermal.spray import WATER_CP_J_KGK, WATER_HFG_J_KG, WETTING_FLUX
from forgeprops.transformation import austenite as a
from forgeprops.transformation import decomposition as d
from forgeprops.transformation.kinetics import ACM_SLOPE_C, AE3_SLOPE_C, GAS_CAL, mo_term
from forgeprops.transformation.temperatures import REFERENCE_GRAIN_UM

WET_POINTS, WET_STEP_C = 161, 8.0


def austenite_carbon(share, carbon):
    if carbon >= a.EUTECTOID_CARBON:
        return carbon
    if share * (a.EUTECTOID_CARBON - a.FERRITE_CARBON) <= carbon - a.FERRITE_CARBON:
        return a.EUTECTOID_CARBON
    return max(carbon, (carbon - (1.0 - share) * a.FERRITE_CARBON) / share)


def _diffusion_time_s(law, t_c):
    time_s, q_k = law
    return time_s * math.exp(q_k / max(t_c + ZERO_C_K, 500.0))


austenite_formation_time_s = functools.partial(_diffusion_time_s, a.FORMATION)
carbide_dissolution_time_s = functools.partial(_diffusion_time_s, a.DISSOLUTION)


def alloy_in_austenite(content, undissolved):
    return content * (1.0 - a.ALLOY_IN_CARBIDE * undissolved)


def island_diameter_um(grain_um, share):
    return grain_um * max(share, 1e-3) ** (1.0 / 3.0)


def pearlite_site_um(island_um, bound_carbon):
    left = (bound_carbon / a.CARBIDE_SPACING_CARBON) ** 2
    return (island_um**-3.0 + left * a.CARBIDE_SPACING_UM**-3.0) ** (-1.0 / 3.0)


def ferrite_return_per_s(t_c, share):
    return max(1.0 - share, 0.0) ** (4.0 / 3.0) / austenite_formation_time_s(t_c)


def grain_growth_rate(t_c, ln_k, q_over_r, ln_k_low, q_over_r_low, pin_low_c, pin_high_c):
    """Rate of y = d^m, µm^m/s."""
    t_k = max(t_c + ZERO_C_K, 300.0)
    free = math.exp(min(ln_k - q_over_r / t_k, ln_k_low - q_over_r_low / t_k))
    u = min(max((t_c - pin_low_c) / (pin_high_c - pin_low_c), 0.0), 1.0)
    return free * (u * u * (3.0 - 2.0 * u)) ** 10


def rate_per_s(ln_rate, undercooling_c, power, q_cal, kelvin):
    """K(T) of the rate equations, zero above the limit."""
    if undercooling_c <= 0.0:
        return 0.0
    return math.exp(ln_rate - q_cal / (GAS_CAL * kelvin)) * undercooling_c**power


def ferrite_cap(t_c, ae1_c, ae3_c, carbon):
    richer = (ae3_c - np.maximum(t_c, ae1_c)) / AE3_SLOPE_C
    richer = np.maximum(richer - np.maximum(ae1_c - t_c, 0.0) / ACM_SLOPE_C, 0.0)
    return np.where(t_c < ae3_c, richer / (carbon + richer - a.FERRITE_CARBON), 0.0)


def wet_share(flux_kg_m2_s):
    return 1.0 - math.exp(-flux_kg_m2_s / WETTING_FLUX)


def evaporation_limit_w_m2(flux_kg_m2_s, water_c):
    return flux_kg_m2_s * (WATER_CP_J_KGK * (100.0 - water_c) + WATER_HFG_J_KG)


def set_austenite(case, kin, share, undissolved, grain_um, t_c):
    """State of a structure at the start of cooling, shape (ROWS,), its tempering integral of the furnace left out."""
    c, cr, mo_0 = (float(case[name]) for name in ("carbon", "cr", "mo"))
    k = {name: float(kin[name][0]) for name in kin.dtype.names}
    bound = a.carbide_carbon(undissolved, c, cr, mo_0)
    carbon = min(austenite_carbon(share, c - bound), 1.1)
    d_cr = alloy_in_austenite(cr, undissolved) - cr
    mo = alloy_in_austenite(mo_0, undissolved)
    d_c = min(carbon, max(0.6, c)) - c
    island = island_diameter_um(grain_um, share)
    grain = float(a.astm_from_diameter(island)) * math.log(2.0)
    site = float(a.astm_from_diameter(pearlite_site_um(island, bound)))
    site *= math.log(2.0)

    def ln_rate(name, grain, term=lambda mo: mo, share=1.0):
        d = k[f"{name}_c"] * d_c + k[f"{name}_cr"] * d_cr
        d += k[f"{name}_mo"] * (term(mo) - term(mo_0))
        moved = math.log(1.0 + float(share) * (math.exp(d) - 1.0))
        return k[f"grain_{name}"] * grain - float(case[f"ln_{name[0]}"]) - moved

    ae3 = max(float(case["ae3"]) - AE3_SLOPE_C * (carbon - c), float(case["ae1"]))
    k_f = math.exp(ln_rate("ferrite", grain, share=case["alloy_f"]))
    if share < 1.0:
        under = float(physics.physics()["return_undercooling"][0])
        growth = ferrite_return_per_s(ae3 - under, share) / under**3
        k_f += growth * math.exp(k["q_ferrite"] / (GAS_CAL * (ae3 - under + 273.15)))
    state = np.zeros(d.ROWS)
    state[d.AUSTENITE_0] = state[d.AUSTENITE] = share
    state[d.CARBON_0], state[d.AE3], state[d.T_MIN] = carbon, ae3, t_c
    state[d.K_F] = k_f
    state[d.K_P] = math.exp(ln_rate("pearlite", site, mo_term, case["alloy_p"]))
    state[d.K_B] = math.exp(ln_rate("bainite", grain))
    state[d.UNDERCOOLING] = -float(case["ms_grain"]) * (island**-0.5 - REFERENCE_GRAIN_UM**-0.5)
    return state


def dry_loss(case, convection, t_c):
    """Heat lost to the room, W/m²."""
    air = case["air_factor"] * np.interp(t_c, packing.CONVECTION_C, convection)
    radiated = STEFAN_BOLTZMANN * ((t_c + 273.15) ** 4 - (case["air_c"] + 273.15) ** 4)
    return case["emissivity"] * case["view_factor"] * radiated + air * (t_c - case["air_c"])


def wet_table(flux, water_c, scale_um, case, convection):
    """Loss of a sprayed surface, W/m², on `WET_POINTS` metal temperatures above the water's.

    The scale stands in series; where the metal's temperature over that of the wet side folds back, the head stays on the
    hot branch as long as it lasts.
    """
    side = WET_STEP_C * np.arange(WET_POINTS)
    clean = np.array([spray.spray_w_m2k(flux, water_c + s, water_c) * s for s in side])
    metal = side + clean * scale_um * 1e-6 / spray.SCALE_CONDUCTIVITY_W_MK
    hot = metal <= np.minimum.accumulate(metal[::-1])[::-1]
    table = np.interp(side, metal[hot], clean[hot])
    dry, limit = dry_loss(case, convection, water_c + side), evaporation_limit_w_m2(flux, water_c)
    wet = np.minimum(case["spray_factor"] * table, limit + np.maximum(dry, 0.0))
    return dry + wet_share(flux) * (wet - dry)


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
    """S(X) by row `row` of the table, even in the root of `x`."""
    places = np.linspace(0.0, 1.0, forward.shape[1])
    return np.interp(math.sqrt(min(max(x, 0.0), 1.0)), places, forward[row])
