"""The numbers and tables that the compiled engine takes from the formula rooms; it has none of its own."""

from __future__ import annotations

import functools

import numpy as np

from ..base.constants import STEFAN_BOLTZMANN
from ..forging.skin import ATMOSPHERES, SCALE_LAW
from ..thermal import die_contact, properties, spray
from ..transformation import austenite, decomposition, kinetics, temperatures
from .packing import JET_W_M2K

#: Nodes of `contact_table`.
_CONTACT_POINTS = 4097
#: Carbon above which the rate equations are not used, wt% (their stated range).
_KINETIC_CARBON = 0.6
#: Undercooling below the Ae3 of the enriched austenite at which old ferrite returns as fast as carbon diffuses, °C
#: (our choice: nearer to Ae3 the equation is slower than that, far below it pearlite has taken over).
_RETURN_UNDERCOOLING_C = 50.0
_SPRAY = "spray_base spray_film spray_film_fall spray_boiling spray_boiling_k spray_wetting".split()


def _numbers() -> dict[str, float]:
    """Every number by the name it has in ``native/input.h``, in that order."""
    latent = properties.LATENT_HEAT_J_KG
    die_j_m3k = die_contact.DIE_DENSITY_KG_M3 * die_contact.DIE_HEAT_J_KGK
    return {
        **{f"cp_a{i}": value for i, value in enumerate(properties.AUSTENITE_CP)},
        **{f"cp_f{i}": value for i, value in enumerate(properties.FERRITE_CP)},
        "cp_f_hold_c": properties.FERRITE_CP_HOLD_C,
        "k_0": properties.CONDUCTIVITY_0,
        "k_slope": properties.CONDUCTIVITY_SLOPE,
        "k_least": properties.CONDUCTIVITY_LEAST,
        "k_alloyed_most": properties.ALLOYED_CONDUCTIVITY_MOST,
        "k_austenite_slope": properties.AUSTENITE_CONDUCTIVITY[0],
        "k_austenite_from_c": properties.AUSTENITE_CONDUCTIVITY[1],
        "heat_fp": latent["pearlite"],
        "heat_b": latent["bainite"],
        "heat_m": latent["martensite"],
        "stefan_boltzmann": STEFAN_BOLTZMANN,
        "jet_w_m2k": JET_W_M2K,
        "resting_contact": die_contact.RESTING_CONTACT_W_M2K,
        "die_effusivity_2": die_contact.DIE_CONDUCTIVITY_W_MK * die_j_m3k,
        "scale_k": ATMOSPHERES["gas furnace"][0] ** 2 * SCALE_LAW[0],
        "scale_q_k": SCALE_LAW[1],
        "eutectoid_carbon": austenite.EUTECTOID_CARBON,
        "ferrite_carbon": austenite.FERRITE_CARBON,
        "three_phase_c": austenite.THREE_PHASE_C,
        "formation_s": austenite.FORMATION[0],
        "formation_q_k": austenite.FORMATION[1],
        "dissolution_s": austenite.DISSOLUTION[0],
        "dissolution_q_k": austenite.DISSOLUTION[1],
        "alloy_in_carbide": austenite.ALLOY_IN_CARBIDE,
        "c_per_cr": austenite.C_PER_CR,
        "c_per_mo": austenite.C_PER_MO,
        "carbide_spacing_um": austenite.CARBIDE_SPACING_UM,
        "carbide_spacing_carbon": austenite.CARBIDE_SPACING_CARBON,
        "grains_per_mm2": austenite.GRAINS_PER_MM2,
        "reference_grain_um": temperatures.REFERENCE_GRAIN_UM,
        "ae3_slope": kinetics.AE3_SLOPE_C,
        "acm_slope": kinetics.ACM_SLOPE_C,
        "gas_cal": kinetics.GAS_CAL,
        "mo_half": kinetics.MO_HALF,
        "mo_scale": kinetics.MO_SCALE,
        "kinetic_carbon": _KINETIC_CARBON,
        "return_undercooling": _RETURN_UNDERCOOLING_C,
        "table_carbon": decomposition.TABLE_CARBON,
        "least_rate": decomposition.LEAST_RATE_C_PER_H,
        "rate_of_c": decomposition.RATE_AT_C,
        "rate_window_c": decomposition.RATE_WINDOW_C,
        "reheated_c": decomposition.FULL_REHEAT_C,
        "highest_ms_c": decomposition.HIGHEST_MS_C,
        **dict(zip(_SPRAY, spray.WENDELSTORF, strict=True)),
        "boiling_from_k": spray.BOILING_FROM_K,
        "water_weakening": spray.WATER_FACTOR[0],
        "water_reference_c": spray.WATER_FACTOR[1],
        "single_phase_factor": spray.SINGLE_PHASE[0],
        "single_phase_power": spray.SINGLE_PHASE[1],
        "water_cp": spray.WATER_CP_J_KGK,
        "water_hfg": spray.WATER_HFG_J_KG,
        "wetting_flux": spray.WETTING_FLUX,
        "scale_conductivity": spray.SCALE_CONDUCTIVITY_W_MK,
    }


PHYSICS = np.dtype([(name, np.float64) for name in _numbers()])


@functools.cache
def physics() -> np.ndarray:
    """The numbers as one `PHYSICS` record, shape (1,)."""
    return np.array([tuple(_numbers().values())], PHYSICS)


@functools.cache
def contact_table() -> np.ndarray:
    """Conductance of a die over that of its surface on even steps of x/(1 + x), x = h √t / √(kρc); interpolation is off by < 1e-7."""
    y = np.linspace(0.0, 1.0, _CONTACT_POINTS)
    x = y[:-1] / (1.0 - y[:-1])
    return np.array([*(die_contact.die_contact_w_m2k(1.0, v * v, 1.0, 1.0, 1.0) for v in x), 0.0])


@functools.lru_cache(maxsize=32)
def extent_pairs(bainite_tail: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """S(X) and its inverse, each value beside the next one, shape (2, cells, 2), and S(1) (`kinetics.extent_tables`)."""
    forward, inverse, top = kinetics.extent_tables(bainite_tail)
    pairs = (np.stack([t[:, :-1], t[:, 1:]], axis=2).astype(np.float32) for t in (forward, inverse))
    return *pairs, top
