"""How steel and air take up and carry heat.

Mass does not change when steel expands: a march over a cold drawing uses the cold density in its heat capacities;
`density_kg_m3` is for sections measured hot.

References
----------
.. [1] Latent heat of 6.0, 6.2 and 6.4e8 J/m³: values in common use, ±10 %; with 6e8 the enthalpy from 20 to
   900 °C closes with EN 1993-1-2 within 0.5 % (from memory).
"""

import functools
from typing import NamedTuple

import numpy as np

from ..base.constants import IRON_G_MOL, STEEL_DENSITY_KG_M3, ZERO_C_K
from ..base.tables import read_rows

#: Coefficients of austenite's heat capacity, J/(kg K) with T in K: a + b T + c T² + d/T² (`austenite_cp_j_kgk`).
AUSTENITE_CP = tuple(x / (1e-3 * IRON_G_MOL) for x in (24.6643, 0.00751504, 3.53562e-7, -154718.0))

#: Coefficients of ferrite's heat capacity, J/(kg K) with t in °C: a + b t + c t² + d t³ (`ferrite_cp_j_kgk`).
FERRITE_CP = (425.0, 0.773, -1.69e-3, 2.22e-6)

#: Ferrite's heat capacity is held above this, °C: beyond it the measured value is the transformation itself, which the
#: march releases separately as latent heat.
FERRITE_CP_HOLD_C = 700.0

#: Conductivity of carbon steel falls from its value at 0 °C, W/(m K), by so much a kelvin to the least
#: (`conductivity_w_mk`); chromoly has at most `ALLOYED_CONDUCTIVITY_MOST`; austenite falls below the least by so
#: much a kelvin from a temperature, °C, on (`conductivity`).
CONDUCTIVITY_0, CONDUCTIVITY_SLOPE, CONDUCTIVITY_LEAST = 54.0, 3.33e-2, 27.3
ALLOYED_CONDUCTIVITY_MOST = 43.0
AUSTENITE_CONDUCTIVITY = (0.0093, 850.0)

#: Heat released when austenite transforms, J per m³ of hot metal; bainite and martensite form lower and release a
#: little more.
LATENT_HEAT_J_M3 = {"ferrite": 6.0e8, "pearlite": 6.0e8, "bainite": 6.2e8, "martensite": 6.4e8}

#: Density of hot metal to which the volumetric heats refer, kg/m³ (EN elongation at 700 °C gives 7616).
_HOT_DENSITY_KG_M3 = 7616.0

#: The same per kg, for marches that count mass, J/kg.
LATENT_HEAT_J_KG = {phase: heat / _HOT_DENSITY_KG_M3 for phase, heat in LATENT_HEAT_J_M3.items()}


def austenite_cp_j_kgk(t_c):
    """Heat capacity of austenite (pure iron), J/(kg K), without any transformation; 25-1538 °C.

    cp = −T d²G/dT².

    .. [1] A. T. Dinsdale, CALPHAD 15 (1991) 317, fcc iron (read).
    """
    t = t_c + ZERO_C_K
    a, b, c, d = AUSTENITE_CP
    return a + b * t + c * t * t + d / (t * t)


def ferrite_cp_j_kgk(t_c):
    """Heat capacity of ferrite, pearlite, bainite, martensite, J/(kg K), without the transformation's spike.

    The cubic of EN 1993-1-2 (its first branch), carried to 700 °C and held there.  The standard's own spike at 735 °C is the
    transformation smeared over temperature on *heating*: beside explicit latent heat it would count that heat twice.

    .. [1] EN 1993-1-2:2005, clause 3.4.1.2, first branch, carried on from 600 to 700 °C (read).
    """
    t = min(t_c, FERRITE_CP_HOLD_C)
    a, b, c, d = FERRITE_CP
    return a + t * (b + t * (c + t * d))


def conductivity_w_mk(t_c):
    """Thermal conductivity of carbon steel, W/(m K).

    .. [1] EN 1993-1-2:2005, clause 3.4.1.3 (read).
    """
    return max(CONDUCTIVITY_0 - CONDUCTIVITY_SLOPE * t_c, CONDUCTIVITY_LEAST)


def conductivity(t_c, alloyed, austenite=0.0):
    """Thermal conductivity of a mixture of austenite with its products, W/(m K).

    Of the products between carbon steel (`alloyed` = 0) and chromoly (1); the share `austenite` conducts below 850 °C ever
    worse, 0.0093 W/(m K) a kelvin, where ferrite conducts better.  With the conductivity of ferrite in its place an end-quench
    bar cools up to twice as fast as printed.

    .. [1] Chromoly: 42.6 W/(m K) for 42CrMo4 at 20 °C (material data sheet of 1.7225); ASM table for 4130, from memory
       (from memory).
    .. [2] Austenite: slope of 0.0093 W/(m K²); M. Wildau, dissertation, RWTH Aachen 1986, has 15 at 0 °C to 25 at
       900 °C (from memory).
    """
    plain = conductivity_w_mk(t_c)
    products = plain + alloyed * (min(plain, ALLOYED_CONDUCTIVITY_MOST) - plain)
    slope, from_c = AUSTENITE_CONDUCTIVITY
    return products + austenite * (CONDUCTIVITY_LEAST - slope * max(from_c - t_c, 0.0) - products)


def alloyed_share(steel):
    """How far a steel's conductivity is chromoly's, 0 to 1: (Cr + Ni + Mo)/1.1 wt%, which is what 4130 has.

    .. [1] (Cr + Ni + Mo)/1.1 wt% (our choice).
    """
    return np.minimum(1.0, (steel.get("Cr") + steel.get("Ni") + steel.get("Mo")) / 1.1)


def thermal_strain(t_c):
    """Elongation from 20 °C, ΔL/L.

    .. [1] EN 1993-1-2:2005, clause 3.4.1.1 (read).
    """
    if t_c < 750.0:
        return 1.2e-5 * t_c + 0.4e-8 * t_c * t_c - 2.416e-4
    if t_c <= 860.0:
        return 1.1e-2
    return 2.0e-5 * t_c - 6.2e-3


def density_kg_m3(t_c):
    """Density of hot steel, kg/m³: the cold density over the cube of the elongation.

    .. [1] EN 1993-1-2:2005, clauses 3.2.2 and 3.4.1.1; the standard itself keeps 7850 kg/m³ (derived).
    """
    return STEEL_DENSITY_KG_M3 / (1.0 + thermal_strain(t_c)) ** 3


# ---- air


class Air(NamedTuple):
    """Properties of air at one or many temperatures (floats or arrays, SI units)."""

    conductivity_w_mk: np.ndarray | float
    viscosity_m2_s: np.ndarray | float
    diffusivity_m2_s: np.ndarray | float
    prandtl: np.ndarray | float
    density_kg_m3: np.ndarray | float


@functools.cache
def _air_table():
    """ln of temperature (K), conductivity, viscosity, diffusivity, density, and the Prandtl number itself."""
    rows = read_rows("constants/air.csv")
    names = "temperature_k", "conductivity_mw_mk", "viscosity_upa_s", "cp_j_kgk", "density_kg_m3"
    columns = (np.array([float(r[n]) for r in rows]) for n in (*names, "prandtl"))
    t_k, k, viscosity, cp, density, prandtl = columns
    k = k * 1e-3
    columns = t_k, k, viscosity * 1e-6 / density, k / (density * cp), density
    return tuple(map(np.log, columns)), t_k, prandtl


def air(t_c) -> Air:
    """Properties of dry air at 1 atm, interpolated in the table ``data/constants/air.csv`` (250–1500 K, held beyond).

    .. [1] E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000) 331; E. W. Lemmon & R. T. Jacobsen,
       Int. J. Thermophys. 25 (2004) 21, evaluated with CoolProp 8.0 (data/constants/air.csv) (derived).
    """
    (log_t, *logs), at_k, prandtl = _air_table()
    t_k = np.asarray(t_c, dtype=float) + ZERO_C_K
    # powers of temperature bend density and viscosity; between rows 100 K apart their logarithms are straight
    *transport, density = (np.exp(np.interp(np.log(t_k), log_t, column)) for column in logs)
    return Air(*transport, np.interp(t_k, at_k, prandtl), density)
