"""Physical constants and conversions, each once; a formula that was published with its own rounding keeps that.

References
----------
.. [1] Gas constant, Stefan-Boltzmann constant: CODATA 2018; atomic weights: IUPAC (from memory).
.. [2] Density of steel at 20 °C, 7850 kg/m³: EN 1993-1-2:2005, clause 3.2.2(1) (read).
.. [3] Young's modulus 205 GPa (200-212 for carbon and low-alloy steel), Poisson's ratio 0.3:
   handbooks (from memory).
"""

#: Gas constant, J/(mol K).
GAS_J_MOL_K = 8.314462618
#: Stefan-Boltzmann constant, W/(m² K⁴).
STEFAN_BOLTZMANN = 5.670374e-8
#: Standard acceleration of gravity, m/s².
GRAVITY_M_S2 = 9.80665
#: 0 °C in kelvin.
ZERO_C_K = 273.15
#: Molar masses, g/mol.
CARBON_G_MOL, IRON_G_MOL = 12.011, 55.845

#: Exact conversions.
MM_PER_INCH, SECONDS_PER_HOUR = 25.4, 3600.0
KGF_N, LBF_N = 9.80665, 4.4482216152605

#: Normal deviate of the ends of an 80 % interval.
Z80 = 1.2816

#: Density of steel at 20 °C, kg/m³: a drawing is cold, so masses and heat capacities count with it.
STEEL_DENSITY_KG_M3 = 7850.0
#: Young's modulus, MPa, and Poisson's ratio of steel at room temperature.
YOUNGS_MPA, POISSON = 205_000.0, 0.3
