"""The skin of the face after the furnace: scale, the metal it costs, lost carbon, hardness, by the march's own temperatures.

The scale's thickness x grows by x² = k t; along a temperature curve x² is the time integral of k(T).
"""

from dataclasses import dataclass

import numpy as np

from ..base.constants import GAS_J_MOL_K, IRON_G_MOL, ZERO_C_K
from .decarburisation import carbon_left, carbon_rate_um2_s, decarburised_um, layer_hardness_hv

#: Factor, µm²/s, and Q/R, K, of k = 6.1 exp(-169 452/RT) cm²/s for iron in air; 1 cm² = 1e8 µm².
SCALE_LAW = (6.1e8, 169_452.0 / GAS_J_MOL_K)

#: Thickness against that of iron in air: name -> (central, low, high).  Flue gas with 1-3 % oxygen and heats of a minute or
#: two give 0.5 to 0.8 (common practice; published rates differ 2-3 times); the air law itself is good to ±50 %.  Between
#: water vapour that raises and chromium and silicon that lower the rate nothing finer holds.
ATMOSPHERES = {"air": (1.0, 0.5, 1.5), "gas furnace": (0.65, 0.35, 1.0)}
ATMOSPHERES["induction"] = (0.65, 0.35, 1.0)

#: Volume of wüstite over the iron it came from: 71.844 g/mol at 5.745 g/cm³ over 55.845 at 7.874 (derived;
#: 1.7 is the value usually quoted).
PILLING_BEDWORTH = (71.844 / 5.745) / (IRON_G_MOL / 7.874)

#: Depth a light Vickers indentation feels, µm: a 10 N indent in 200 HV steel is 14 µm deep (derived from the
#: pyramid's angle, depth = diagonal/7) and the metal around it counts too (our choice).
_SKIN_UM = 20.0
#: Depths at which the skin is calculated, µm.
_DEPTHS_UM = np.concatenate([np.arange(0.0, 100.0, 5.0), np.arange(100.0, 301.0, 20.0)])
#: Gauss points of heating up, cold to Ac1 and Ac1 to the end (see `diffusion_um2`).
_HEATING, _HEATING_WEIGHTS = (x[:, None] for x in np.polynomial.legendre.leggauss(8))
#: Gauss points through the outer layer.
_OUTER, _WEIGHTS = np.polynomial.legendre.leggauss(4)


def scale_rate(t_c):
    """Growth constant k of x² = k t in air, µm²/s; numbers or arrays.

    .. [1] Paidassi, iron in air, as summarised by R. Y. Chen & W. Y. D. Yuen, Oxid. Met. 59 (2003) 433;
       no alloy term, x good to ±50 % (from memory).
    .. [2] Thickness in flue gas or short heats 0.65 (0.35-1.0) of that in air (common practice).
    """
    kelvin = np.maximum(np.asarray(t_c, float) + ZERO_C_K, 300.0)
    return SCALE_LAW[0] * np.exp(-SCALE_LAW[1] / kelvin)


def metal_loss_um(scale_um):
    """Metal turned into scale, µm of thickness on each scaled side.

    .. [1] Atomic weights and densities of wüstite and iron (derived).
    """
    return scale_um / PILLING_BEDWORTH


@dataclass(frozen=True)
class Surface:
    """Skin of the face after the second heat, one side."""

    scale_um: float  #: scale on leaving the furnace
    metal_loss_um: float  #: metal that became scale
    decarburised_um: float  #: depth below the metal surface at which 90 % of the carbon is left
    skin_hv: float  #: mean hardness of the outer 20 µm of metal
    sound_hv: float  #: and of the metal below the layer
    blast_scale_um: float  #: scale that the press leaves to a blast, which must take the decarburised depth too for a hard skin
    depth_um: np.ndarray  #: below the metal surface, with the carbon (wt%) and hardness there
    carbon: np.ndarray
    hardness_hv: np.ndarray


def diffusion_um2(carbon, critical, route, peak_c, scale_um) -> np.ndarray:
    """Time integral of carbon's diffusivity at the front of the face in the furnace, µm²; arrays of shape (n,).

    Carbon in wt%; "ac1" and "ac3" in °C; "start_c", "preheat_c" and "soak_s" of the route; temperature and scale of the front
    on leaving the furnace.

    The scale x is a clock: x²/k(peak) is the time at the peak that gives as much of it, and heating up costs the rest of
    the soak.  The metal nears the furnace exponentially, dt = τ dT/(furnace - T), so that heating up costs a rate r the
    time τ ∫ (1 - r(T)/r(peak)) dT/(furnace - T): the cost to the diffusion follows from that to the scale.

    .. [1] Depth against the integral along the calculated temperatures, 200 cases of all library steels: within 4 % above
       Ac3, at most 12 µm more between Ac1 and Ac3, where latent heat delays the metal (derived).
    """

    def rates(t):
        return carbon_rate_um2_s(carbon, critical["ac1"], critical["ac3"], t), scale_rate(t)

    most, most_scale = rates(peak_c)
    start = np.minimum(route["start_c"], peak_c)
    cost = cost_scale = 0.0
    middle = np.clip(critical["ac1"], start, peak_c)
    for low, high in ((start, middle), (middle, peak_c)):
        t = low + 0.5 * (high - low) * (1.0 + _HEATING)
        weight = 0.5 * (high - low) * _HEATING_WEIGHTS / np.maximum(route["preheat_c"] - t, 1e-3)
        here, here_scale = rates(t)
        cost = cost + (weight * (most - here)).sum(axis=0)
        cost_scale = cost_scale + (weight * (1.0 - here_scale / most_scale)).sum(axis=0)
    soak_s = route["soak_s"]
    at_peak_s = (scale_um / ATMOSPHERES["gas furnace"][0]) ** 2 / most_scale
    lost = (soak_s - at_peak_s) * cost / np.maximum(cost_scale, 1e-9)
    return np.maximum(most * soak_s - lost, 0.0)


def struck_skin_hv(composition, diffusion, loss_um, core_hv, water_c) -> np.ndarray:
    """Mean hardness of the outer 20 µm of metal, which the strike meets, HV, from arrays of shape (n,): `diffusion_um2`, metal that
    the scale took (µm), hardness of the sound metal (HV), metal temperature when the spray starts (°C; NaN: no spray)."""
    layers = 0.5 * _SKIN_UM * (1.0 + _OUTER)
    wide = {element: content[:, None] for element, content in composition.items()}
    carbon = wide["C"] * carbon_left(layers, diffusion[:, None], loss_um[:, None])
    return layer_hardness_hv(wide, carbon, core_hv[:, None], water_c[:, None]) @ (0.5 * _WEIGHTS)


def surface_of(steel, scale_um, diffusion, core_hv, water_c, scale_left) -> Surface:
    """Skin of the face by the scale on leaving the furnace (µm), `diffusion_um2`, hardness of the sound metal (HV), metal
    temperature when the spray starts (°C; None without) and the share of the scale that the press leaves."""
    loss = metal_loss_um(scale_um)
    depth = float(decarburised_um(diffusion, loss))
    carbon = steel.get("C") * carbon_left(_DEPTHS_UM, diffusion, loss)
    hv = layer_hardness_hv(steel, carbon, core_hv, water_c)
    outer = np.linspace(0.0, _SKIN_UM, 21)
    skin = float(np.trapezoid(np.interp(outer, _DEPTHS_UM, hv), outer) / _SKIN_UM)
    blast_um = scale_um * scale_left
    return Surface(scale_um, loss, depth, skin, core_hv, blast_um, _DEPTHS_UM, carbon, hv)
