"""Published laws for water spray on hot steel, as plain scalar arithmetic.

A thin spray of V kg/(m² s) wets the share 1 − exp(−V/0.5) of a surface, so that the spray vanishes into still air without a
jump (above 3 kg/(m² s), where the law was measured, 1 within 0.3 %), and carries at most the heat that brings all of it to
100 °C and turns it to steam (``engine/native/surfaces.c``).

References
----------
.. [1] Conductivity of scale 2.5 W/(m K): wüstite 2-3.2, porous scale down to 1.2 (from memory).
.. [2] Mean drop of a full-cone quench nozzle 1 mm, 0.5-1.5 (common practice).
.. [3] Wetted share: blend between still air and spray (our choice).
.. [4] Most heat a spray can carry, steam tables: 4.186 kJ/(kg K), 2257 kJ/kg (from memory).
"""

import math

#: Conductivity of iron scale, W/(m K).
SCALE_CONDUCTIVITY_W_MK = 2.5

#: Coefficients of `spray_w_m2k`: base, film, its fall, boiling, its width (K) and the impact density that wets.
WENDELSTORF = (190.0, 140.0, 72000.0, 3.26, 128.0, 8.0)

#: Warm water weakens a spray by so much a kelvin, relative to water of this temperature, °C (`water_factor`).
WATER_FACTOR = (0.0075, 20.0)

#: Below this superheat, K, the boiling law is not used.
BOILING_FROM_K = 100.0

# Water at about 40 °C film temperature (steam tables, from memory), for the single-phase law.
_WATER_K_W_MK, _WATER_NU_M2_S, _WATER_PR = 0.63, 6.6e-7, 4.3
WATER_CP_J_KGK, WATER_HFG_J_KG = 4186.0, 2.257e6
#: Density of water at 20 °C, kg/L (steam tables: 998.2 kg/m³, from memory).
WATER_KG_L = 0.998
#: Mean drop diameter of a full-cone quench nozzle, m.
_DROP_M = 1.0e-3
#: Factor and power of the impact density in `spray_single_phase_w_m2k`.
_RE = _DROP_M / (1e3 * WATER_KG_L * _WATER_NU_M2_S)  # by kg/(m² s)
SINGLE_PHASE = (2.512 * _RE**0.76 * _WATER_PR**0.56 * _WATER_K_W_MK / _DROP_M, 0.76)
#: Impact density over which a surface counts as wetted, kg/(m² s) (our blend).
WETTING_FLUX = 0.5


def _wendelstorf_w_m2k(flux_kg_m2_s, superheat_k):
    base, film, fall, boiling, boiling_k, wetting_flux = WENDELSTORF
    wetting = math.tanh(flux_kg_m2_s / wetting_flux)
    film *= flux_kg_m2_s * (1.0 - flux_kg_m2_s * superheat_k / fall)
    boiling *= superheat_k * superheat_k * (1.0 - math.tanh(superheat_k / boiling_k))
    return base + wetting * (film + boiling)


def water_factor(water_c):
    """How warm water weakens a spray, relative to the 20 °C at which the law was measured.

    .. [1] Shimada & Mitsutsuka 1966; Ishiguro 1974, as listed among secondary-cooling laws (read).
    """
    weakening, reference_c = WATER_FACTOR
    return (1.0 - weakening * water_c) / (1.0 - weakening * reference_c)


def spray_single_phase_w_m2k(flux_kg_m2_s):
    """Spray on a surface too cool to boil, W/(m² K): Nu = 2.512 Re^0.76 Pr^0.56 on the drop diameter (1 mm).

    Never more than the water can carry, flux × heat capacity.

    .. [1] I. Mudawar & W. S. Valentine, J. Heat Treating 7 (1989) 107 (from memory).
    """
    factor, power = SINGLE_PHASE
    return min(factor * flux_kg_m2_s**power, flux_kg_m2_s * WATER_CP_J_KGK)


def spray_w_m2k(flux_kg_m2_s, surface_c, water_c):
    """Water spray on hot steel, W/(m² K), total (do not add radiation), referred to surface minus water.

    Impact density V 3-30 kg/(m² s), wetted surface (of the scale, if there is any) 200-1100 °C, water about 20 °C.

    h = 190 + tanh(V/8) {140 V [1 − V ΔT/72000] + 3.26 ΔT² [1 − tanh(ΔT/128)]}.  Below a superheat of 100 K, where the law falls
    too low, the lesser of its own value at 100 K and the single-phase law, blended in between 50 and 100 K.  Warm water weakens
    the part that is not 190 (see `water_factor`).  Six published laws agree within a factor of about 2 in film boiling; nothing
    confirms the fall through boiling: a shop should fit its own multiplier.

    .. [1] J. Wendelstorf, K.-H. Spitzer & R. Wendelstorf, Int. J. Heat Mass Transfer 51 (2008) 4902 (from memory).
    """
    superheat = max(surface_c - water_c, 0.0)
    h = _wendelstorf_w_m2k(flux_kg_m2_s, max(superheat, 0.5 * BOILING_FROM_K))
    if superheat < BOILING_FROM_K:
        low = _wendelstorf_w_m2k(flux_kg_m2_s, BOILING_FROM_K)
        low = min(low, spray_single_phase_w_m2k(flux_kg_m2_s))
        x = max(2.0 * superheat / BOILING_FROM_K - 1.0, 0.0)
        share = x * x * (3.0 - 2.0 * x)
        h = share * h + (1.0 - share) * low
    base = WENDELSTORF[0]
    return min(base, h) + max(h - base, 0.0) * water_factor(water_c)
