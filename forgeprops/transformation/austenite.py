"""Austenite on heating: how much, how rich in carbon, how fast, how coarse.

The engine (``native/furnace.c``, ``native/austenite.c``) calculates with the numbers of this module:

- Carbon of the austenite while it is a share of the steel: the rest is ferrite of 0.022 wt%; never above the eutectoid
  (what is missing is still carbide), never below the steel's carbon [1].
- Formation dX/dt = (Xeq - X)/tau, tau = l²/(pi² D), good to a factor 3: carbon has to cross the ferrite grains, l = 7 µm
  (it depends on the first heat) [2, 3].
- Dissolution of Cr-Mo carbides dz/dt = -z/tau, tau = 4 l²/(pi² D): chromium has to leave the carbide, half lamella
  l = 0.05 µm.  Coarse (spheroidised) carbides are slower with the square of their size: run z = 0 and z = 1 for the
  interval [4].  Cr and Mo in solution: content (1 - 0.5 z).
- Austenite islands of d share^(1/3) stand for grains d in the rates while they fill only a share of the steel: as many as
  there will be grains, their boundaries, with ferrite too, start pearlite and bainite [5].
- Pearlite starts at boundaries and undissolved carbides: sites add up by number in the volume, d^-3 + (c/0.05)² 2^-3 for
  c wt% of bound carbon.  Carbides that shrink also get fewer, so theirs goes with the square (the residual chromium of plain
  steel then counts for little).  It raises the pearlite rate of a Cr-Mo steel two- to threefold while half of the carbides
  are left: enriched austenite of an intercritical heat no longer hardens in air as its analysis alone would have it [6, 7].
- Ferrite left by the furnace grows back without a nucleus, (1 - share)^(4/3)/tau: the less is left, the fewer its grains;
  their area goes with what is left, their distance with its root [8, 9].
- Grain growth of y = d^m, in which every published law here is a plain time integral, so that a hold split into any steps
  ends at the same grain: dy/dt is the lesser of exp(ln_k - (Q/R)/T) of the law's two branches
  (`grain_growth_coefficients`) times what pinning particles let through: nothing below pin_low, all above pin_high, between
  them the tenth power of a smooth step, so that the grain, a fifth to tenth root, rises smoothly too.

References
----------
.. [1] Carbon of austenite by mass balance; eutectoid 0.77 wt% (ASM), ferrite 0.022 wt% (W. D. Callister, ch. 10) (derived).
.. [2] Formation: first term of the diffusion series of a slab; rate form: J.-B. Leblond & J. Devaux, Acta Metall. 32
   (1984) 137; D of carbon: W. D. Callister (derived).
.. [3] Formation: half distance of 7 µm (our choice).
.. [4] D of chromium: A. W. Bowen & G. M. Leak, Metall. Trans. 1 (1970) 1695; half lamella of 0.05 µm our choice
   (from memory).
.. [5] As many islands of austenite as grains (derived).
.. [6] Carbides left in austenite grow on as pearlite without a nucleus: A. S. Pandit & H. K. D. H. Bhadeshia, Proc. R. Soc. A
   (2012) doi 10.1098/rspa.2012.0115 (abstract); J. D. Verhoeven & E. D. Gibson, Metall. Mater. Trans. A 29 (1998) 1181, from
   memory (from memory).
.. [7] Pearlite sites: spacing of 2 µm at 0.05 wt% bound carbon and the square (our choice).
.. [8] Ferrite grows on old ferrite without nucleation: M. D. Geib, D. K. Matlock & G. Krauss, Metall. Trans. A 11 (1980)
   1683, on niobium dual-phase sheet (from memory).
.. [9] Rate of that ferrite: the reverse of formation; an upper bound for Cr-Mo steel (derived).
"""

import math

import numpy as np

from ..base.arrays import plain
from ..base.constants import CARBON_G_MOL, GAS_J_MOL_K, ZERO_C_K

#: Eutectoid carbon, wt% (ASM; 0.76 in Callister), and most carbon ferrite holds, at 727 °C (Callister ch. 10).
EUTECTOID_CARBON, FERRITE_CARBON = 0.77, 0.022
#: Width of the ferrite + austenite + carbide interval above Ac1, °C, in which the pearlite goes.  Binary Fe-C
#: has none; in low-alloy steel it is 5 to 20 °C wide (from memory); 15 °C is our choice.
THREE_PHASE_C = 15.0
#: Half distance carbon has to travel between pearlite and the middle of a ferrite grain, m.  Our choice for
#: an air-cooled forging of ASTM 5 (64 µm austenite, ferrite network and patches of 10-20 µm).
_CARBON_PATH_M = 7.0e-6
#: Carbon in austenite, D0 m²/s and Q J/mol (Callister's data, read).
_D_CARBON, _Q_CARBON = 2.3e-5, 148_000.0
#: Chromium in gamma iron, D0 m²/s and Q J/mol (Bowen & Leak, Metall. Trans. 1 (1970) 1695; from memory).
_D_CHROMIUM, _Q_CHROMIUM = 1.08e-3, 291_800.0
#: Half thickness of a carbide lamella in pearlite of an air-cooled forging, m (0.1 µm lamellae; our choice).
_LAMELLA_M = 5.0e-8
#: Share of Cr and Mo that sits in carbides before heating (0.3-0.6 after slow cooling; our choice).
ALLOY_IN_CARBIDE = 0.5
#: wt% C bound by one wt% Cr as M7C3 and by one wt% Mo as M2C, by atomic weights.
C_PER_CR, C_PER_MO = 3 * CARBON_G_MOL / (7 * 51.996), CARBON_G_MOL / (2 * 95.95)
#: Distance between carbides that start pearlite, µm, and the bound carbon at which it holds, wt%: a Cr-Mo
#: steel with nearly all its carbides left, broken up into particles 1-3 µm apart (from memory; our choice).
CARBIDE_SPACING_UM, CARBIDE_SPACING_CARBON = 2.0, 0.05
#: Time constants tau at infinite temperature, s, and Q/R, K, of formation and of dissolution.
FORMATION = (_CARBON_PATH_M**2 / (math.pi**2 * _D_CARBON), _Q_CARBON / GAS_J_MOL_K)
DISSOLUTION = (4.0 * _LAMELLA_M**2 / (math.pi**2 * _D_CHROMIUM), _Q_CHROMIUM / GAS_J_MOL_K)


def austenite_equilibrium(t_c, ac1_c, ac3_c, carbon):
    """Share of austenite that a long hold would give, 0 to 1; continuous and rising with temperature.

    Between Ac1 and Ac3 the lever rule, with the ferrite-austenite boundary drawn through the steel's own Ac1 (eutectoid
    carbon) and Ac3 (the steel's carbon) as a straight line in the square root of carbon.  The pearlite's share, which the
    lever rule alone releases in one jump at Ac1 (37 % of 4130), comes in smoothly over a three-phase interval 15 °C wide
    (at most half of Ac1-Ac3).

    .. [1] Lever rule: W. D. Callister, Materials Science and Engineering, ch. 10; square-root shape of the
       boundary: K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727 (derived).
    .. [2] Three-phase interval of 15 °C (5-20 °C in low-alloy steel, from memory) (our choice).
    """
    span = np.maximum(ac3_c - ac1_c, 1.0)
    u = np.minimum(np.maximum((t_c - ac1_c) / span, 0.0), 1.0)
    s = np.minimum(u * span / np.minimum(THREE_PHASE_C, 0.5 * span), 1.0)
    least = np.maximum(carbon, FERRITE_CARBON)
    root_e = math.sqrt(EUTECTOID_CARBON)
    root = root_e + (np.sqrt(least) - root_e) * u
    lever = (least - FERRITE_CARBON + 1e-9) / (root * root - FERRITE_CARBON + 1e-9)
    lever = np.where(u < 1.0, np.minimum(lever, 1.0), 1.0)  # all of it above Ac3, to the last digit
    return s * s * (3.0 - 2.0 * s) * lever


def carbide_carbon(undissolved, carbon, chromium, molybdenum):
    """Carbon still bound in Cr-Mo carbides, wt% of the steel, for an undissolved share 0 to 1.

    Half of the Cr and Mo sit in carbides before heating, as M7C3 and M2C; at most half of the carbon.

    .. [1] Atomic weights; half of Cr and Mo in carbides (0.3-0.6 after slow cooling) (our choice).
    """
    bound = ALLOY_IN_CARBIDE * (C_PER_CR * chromium + C_PER_MO * molybdenum)
    return undissolved * np.minimum(bound, 0.5 * carbon)


#: Temperature to which niobium carbide pins the grain, °C.
NIOBIUM_PINS_C = 1100.0


def grain_growth_coefficients(steel):
    """Coefficients of grain growth for a steel: (exponent m, ln_k, q_over_r, ln_k_low, q_over_r_low, pin_low_c, pin_high_c).

    C, Ni, Cr, Mo enter; Al, N and `fine_grain` set the pinning; contents may be arrays.

    d^m = d0^m + k t; the grain is the mean diameter N_A^(-1/2), good to a factor 1.5 (measured grain of 4140 and 8620).  Lee &
    Lee print d = 76671 t^0.211 exp(-Q/RT), Q = 89098 + 3581 C + 1211 Ni + 1443 Cr + 4031 Mo, which is m = 1/0.211 and
    k = (76671 exp(-Q/RT))^m: the starting grain is added to that.  Two laws for C-Mn steel lie within a factor 1.8 of it
    (1100 °C, 600 s from 20 µm).  The engine has room for a second, lower branch: here the same.

    .. [1] S.-J. Lee & Y.-K. Lee, Mater. Des. 29 (2008) 1840 (from memory).
    .. [2] C-Mn steel: C. M. Sellars & J. A. Whiteman, Met. Sci. 13 (1979) 187, d^10 with the lesser k of 3.87e32
       exp(-400 000/RT) and 5.02e53 exp(-914 000/RT); P. D. Hodgson & R. K. Gibbs, ISIJ Int. 32 (1992) 1329, d^7 with 1.45e27
       exp(-400 000/RT) (from memory).
    """
    m = 1.0 / 0.211
    c, ni, cr, mo = (steel.get(e) for e in ("C", "Ni", "Cr", "Mo"))
    q = 89098 + 3581 * c + 1211 * ni + 1443 * cr + 4031 * mo
    branch = (m * math.log(76671.0), m * q / GAS_J_MOL_K)
    coarsening = coarsening_temperature_c(steel.get("Al"), steel.get("N"))
    loose = np.where(np.asarray(steel.fine_grain), coarsening, -ZERO_C_K)
    niobium = steel.get("Nb")
    pin = loose + niobium_pins(niobium) * np.maximum(NIOBIUM_PINS_C - loose, 0.0)
    pin_low, pin_high = (plain(pin + gap) for gap in (-50.0, 50.0))
    return (m, *branch, *branch, pin_low, pin_high)


def niobium_pins(niobium):
    """Share of the pinning that niobium carbide gives, 0 to 1; smooth at zero, 0.63 at 0.01 wt%.

    Below some 1050 °C hardly any of it dissolves in steel of 0.2 % C and more (0.0015 wt% at 900 °C): it pins the grain and adds
    no strength of its own.

    .. [1] log10([Nb][C + 12/14 N]) = 2.26 - 6770/T: K. J. Irvine, F. B. Pickering & T. Gladman, JISI 205 (1967)
       161 (from memory).
    .. [2] Pinning to 1100 °C, the share by content (our choice).
    """
    return 1.0 - np.exp(-((np.asarray(0.0 if niobium is None else niobium) / 0.01) ** 2))


def coarsening_temperature_c(aluminium, nitrogen):
    """Temperature at which grains of aluminium-killed steel break loose, °C, at least 800; soluble aluminium and nitrogen in wt%.

    AlN is all dissolved at T of log10(Al N) = 1.03 - 6770/T; the grain breaks loose about 100 °C lower, where the particles
    have thinned and coarsened (it gives the 1000-1100 °C known of AlN steels, from memory).

    .. [1] W. C. Leslie, R. L. Rickett, C. L. Dotson & C. S. Walton, Trans. ASM 46 (1954) 1470; the 100 °C are our
       choice (from memory).
    """
    product = np.maximum(aluminium * nitrogen, 1e-12)
    return plain(np.maximum(6770.0 / (1.03 - np.log10(product)) - ZERO_C_K - 100.0, 800.0))


def starting_grain_um(first_grain_um):
    """Austenite grain just formed on re-heating a structure whose earlier austenite grain is given, µm.

    20 µm (ASTM 8.3; 7-8 is common after hardening) from 64 µm (ASTM 5), with the cube root of the earlier grain, because new
    grains start on old boundaries, whose area per volume goes with 1/d.

    >>> round(starting_grain_um(63.5), 1)
    20.0

    .. [1] 20 µm from a first grain of 64 µm, with its cube root (our choice).
    """
    return 20.0 * (first_grain_um / 63.5) ** (1.0 / 3.0)


#: Grains per mm² at ASTM number 0: 2^(G-1) grains per square inch at 100x, 1 in² = 645.16 mm² (ASTM E112;
#: derived).
GRAINS_PER_MM2 = 0.5 * 100**2 / 645.16


def diameter_um_from_astm(grain_size_astm):
    """Mean grain diameter N_A^(-1/2), µm, of an ASTM E112 grain-size number."""
    return 1000.0 / math.sqrt(GRAINS_PER_MM2) * 2.0 ** (-0.5 * grain_size_astm)


def astm_from_diameter(d_um):
    """ASTM E112 grain-size number of a mean grain diameter in µm.

    .. [1] ASTM E112, table 4 (from memory).
    """
    return 2.0 * np.log2(1000.0 / (math.sqrt(GRAINS_PER_MM2) * d_um))
