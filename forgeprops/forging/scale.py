"""Oxide scale: thickness and the metal it costs.

Scale thickness x grows by x² = k t; along a temperature curve x² is the time integral of k(T).
"""

import numpy as np

from ..base.constants import GAS_J_MOL_K, IRON_G_MOL, ZERO_C_K

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
