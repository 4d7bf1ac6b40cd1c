"""Laws of furnace, cooling and spray that the engine alone calculates, in plain Python.

Their equations and sources stand at the heads of `transformation.austenite`, `transformation.kinetics`, `thermal.spray`.
"""

import math

from forgeprops.base.constants import ZERO_C_K
from forgeprops.thermal.spray import WATER_CP_J_KGK, WATER_HFG_J_KG, WETTING_FLUX
from forgeprops.transformation import austenite as a
from forgeprops.transformation.kinetics import ACM_SLOPE_C, AE3_SLOPE_C, GAS_CAL


def austenite_carbon(share, carbon):
    if carbon >= a.EUTECTOID_CARBON:
        return carbon
    if share * (a.EUTECTOID_CARBON - a.FERRITE_CARBON) <= carbon - a.FERRITE_CARBON:
        return a.EUTECTOID_CARBON
    return max(carbon, (carbon - (1.0 - share) * a.FERRITE_CARBON) / share)


def _diffusion_time_s(law, t_c):
    time_s, q_k = law
    return time_s * math.exp(q_k / max(t_c + ZERO_C_K, 500.0))


def austenite_formation_time_s(t_c):
    return _diffusion_time_s(a.FORMATION, t_c)


def carbide_dissolution_time_s(t_c):
    return _diffusion_time_s(a.DISSOLUTION, t_c)


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
    s2 = (u * u * (3.0 - 2.0 * u)) ** 2
    return free * s2 * s2 * s2 * s2 * s2


def rate_per_s(ln_rate, undercooling_c, power, q_cal, kelvin):
    """K(T) of the rate equations, zero above the limit."""
    if undercooling_c <= 0.0:
        return 0.0
    return math.exp(ln_rate - q_cal / (GAS_CAL * kelvin)) * undercooling_c**power


def ferrite_cap(t_c, ae1_c, ae3_c, carbon):
    if t_c >= ae3_c:
        return 0.0
    richer = (ae3_c - max(t_c, ae1_c)) / AE3_SLOPE_C - max(ae1_c - t_c, 0.0) / ACM_SLOPE_C
    return richer / (carbon + richer - a.FERRITE_CARBON) if richer > 0.0 else 0.0


def wet_share(flux_kg_m2_s):
    return 1.0 - math.exp(-flux_kg_m2_s / WETTING_FLUX)


def evaporation_limit_w_m2(flux_kg_m2_s, water_c):
    return flux_kg_m2_s * (WATER_CP_J_KGK * (100.0 - water_c) + WATER_HFG_J_KG)
