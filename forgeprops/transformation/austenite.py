"""Austenite on heating: how much, how rich in carbon, how fast, how coarse; plain numbers in and out.

Grain growth is carried as y = d^m, in which every published law here is a plain time integral, so a hold split into any
steps ends at the same grain.
"""

import math

import numpy as np

from ..base.arrays import plain
from ..base.constants import CARBON_G_MOL, GAS_J_MOL_K, ZERO_C_K
from ..base.errors import check_choice

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
#: Time constants, s, and Q/R, K, of `austenite_formation_time_s` and `carbide_dissolution_time_s`.
FORMATION = (_CARBON_PATH_M**2 / (math.pi**2 * _D_CARBON), _Q_CARBON / GAS_J_MOL_K)
DISSOLUTION = (4.0 * _LAMELLA_M**2 / (math.pi**2 * _D_CHROMIUM), _Q_CHROMIUM / GAS_J_MOL_K)


def austenite_equilibrium(t_c, ac1_c, ac3_c, carbon):
    """Share of austenite that a long hold would give, 0 to 1; continuous and rising with temperature.

    Between Ac1 and Ac3 the lever rule, with the ferrite-austenite boundary drawn through the steel's own Ac1 (eutectoid
    carbon) and Ac3 (the steel's carbon) as a straight line in the square root of carbon.  The pearlite's share, which the
    lever rule alone releases in one jump at Ac1 (37 % of 4130), comes in smoothly over a three-phase interval 15 °C wide
    (at most half of Ac1-Ac3).

    >>> austenite_equilibrium(np.array([745.0, 752.5, 760.0, 780.0, 805.0]), 745.0, 805.0, 0.30).round(3).tolist()
    [0.0, 0.205, 0.456, 0.621, 1.0]

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


def austenite_carbon(share, carbon):
    """Carbon of the austenite, wt%, when it is `share` of the steel: the rest is ferrite with 0.022 wt%.

    Never above the eutectoid (what is missing is still carbide) and never below the steel's carbon.

    >>> [round(austenite_carbon(share, 0.30), 3) for share in (1.0, 0.6, 0.1)]
    [0.3, 0.485, 0.77]

    .. [1] Mass balance; eutectoid 0.77 wt% (ASM), ferrite 0.022 wt% (W. D. Callister, ch. 10) (derived).
    """
    if carbon >= EUTECTOID_CARBON:
        return carbon
    if share * (EUTECTOID_CARBON - FERRITE_CARBON) <= carbon - FERRITE_CARBON:
        return EUTECTOID_CARBON
    return max(carbon, (carbon - (1.0 - share) * FERRITE_CARBON) / share)


def austenite_formation_time_s(t_c):
    """Time constant tau of dX/dt = (Xeq - X)/tau by which austenite forms, s; good to a factor 3.

    Carbon has to cross the ferrite grains: tau = l²/(pi² D), l = 7 µm (it depends on the first heat), D of carbon in
    austenite.  Cr and Mo act through the carbides, see `carbide_dissolution_time_s`.

    >>> round(austenite_formation_time_s(750.0), 1), round(austenite_formation_time_s(850.0), 2)
    (7.8, 1.65)

    .. [1] First term of the diffusion series of a slab; rate form: J.-B. Leblond & J. Devaux, Acta Metall. 32 (1984)
       137; D of carbon: W. D. Callister (derived).
    .. [2] Half distance of 7 µm (our choice).
    """
    time_s, q_k = FORMATION
    return time_s * math.exp(q_k / max(t_c + ZERO_C_K, 500.0))


def carbide_dissolution_time_s(t_c):
    """Time constant tau of dz/dt = -z/tau by which Cr-Mo carbides dissolve in austenite, s.

    Chromium has to leave the carbide: tau = 4 l²/(pi² D), half lamella l = 0.05 µm, D of Cr in gamma iron.  Coarse
    (spheroidised) carbides are slower with the square of their size: run z = 0 and z = 1 for the interval.

    >>> round(carbide_dissolution_time_s(850.0)), round(carbide_dissolution_time_s(930.0), 1)
    (35, 4.4)

    .. [1] D of chromium: A. W. Bowen & G. M. Leak, Metall. Trans. 1 (1970) 1695; half lamella of 0.05 µm our choice
       (from memory).
    """
    time_s, q_k = DISSOLUTION
    return time_s * math.exp(q_k / max(t_c + ZERO_C_K, 500.0))


def carbide_carbon(undissolved, carbon, chromium, molybdenum):
    """Carbon still bound in Cr-Mo carbides, wt% of the steel, for an undissolved share 0 to 1.

    Half of the Cr and Mo sit in carbides before heating, as M7C3 and M2C; at most half of the carbon.

    >>> round(carbide_carbon(1.0, 0.30, 0.95, 0.20), 3), carbide_carbon(0.0, 0.30, 0.95, 0.20)
    (0.053, 0.0)

    .. [1] Atomic weights; half of Cr and Mo in carbides (0.3-0.6 after slow cooling) (our choice).
    """
    bound = ALLOY_IN_CARBIDE * (C_PER_CR * chromium + C_PER_MO * molybdenum)
    return undissolved * min(bound, 0.5 * carbon)


def alloy_in_austenite(content, undissolved):
    """Cr or Mo in solution, wt%, while a share `undissolved` (0 to 1) of the carbides is left.

    >>> alloy_in_austenite(0.95, 0.0), alloy_in_austenite(0.95, 1.0)
    (0.95, 0.475)
    """
    return content * (1.0 - ALLOY_IN_CARBIDE * undissolved)


def island_diameter_um(grain_um, share):
    """Size of the austenite islands, µm, while they fill only `share` of the steel; it stands for the grain in the rates.

    As many islands as there will be grains, so their volume is the share of a grain's; their boundaries, with ferrite too,
    start pearlite and bainite.

    >>> island_diameter_um(20.0, 1.0), round(island_diameter_um(20.0, 0.5), 1)
    (20.0, 15.9)

    .. [1] As many islands as grains (derived).
    """
    return grain_um * max(share, 1e-3) ** (1.0 / 3.0)


def pearlite_site_um(island_um, bound_carbon):
    """Mean distance between places where pearlite can start, µm: grain boundaries and undissolved carbides.

    Sites add up by number in the volume; carbides that shrink also get fewer, so theirs goes with the square of what they
    bind (the residual chromium of plain steel then counts for little).  In place of the grain it raises the pearlite rate of
    a Cr-Mo steel two- to threefold while half of the carbides are left, and the enriched austenite of an intercritical heat
    no longer hardens in air as its analysis alone would have it.

    >>> pearlite_site_um(20.0, 0.0), round(pearlite_site_um(16.0, 0.03), 1)
    (20.0, 2.8)

    .. [1] A. S. Pandit & H. K. D. H. Bhadeshia, Proc. R. Soc. A (2012) doi 10.1098/rspa.2012.0115 (abstract); J. D.
       Verhoeven & E. D. Gibson, Metall. Mater. Trans. A 29 (1998) 1181, from memory: carbides left in austenite grow on
       without a nucleus (from memory).
    .. [2] Spacing of 2 µm at 0.05 wt% bound carbon and the square (our choice).
    """
    left = (bound_carbon / CARBIDE_SPACING_CARBON) ** 2
    return (island_um**-3.0 + left * CARBIDE_SPACING_UM**-3.0) ** (-1.0 / 3.0)


def ferrite_return_per_s(t_c, share):
    """Rate, 1/s, at which ferrite left by the furnace grows back into the austenite: it needs no nucleus.

    The reverse of `austenite_formation_time_s`.  The less ferrite is left, the fewer its grains: their area goes with what is
    left, their distance with its root.

    >>> ferrite_return_per_s(750.0, 1.0), round(1.0 / ferrite_return_per_s(750.0, 0.5), 1)
    (0.0, 19.6)

    .. [1] M. D. Geib, D. K. Matlock & G. Krauss, Metall. Trans. A 11 (1980) 1683, on niobium dual-phase sheet: ferrite
       grows on old ferrite without nucleation (from memory).
    .. [2] Rate: the reverse of formation; an upper bound for Cr-Mo steel (derived).
    """
    return max(1.0 - share, 0.0) ** (4.0 / 3.0) / austenite_formation_time_s(t_c)


def grain_growth_rate(t_c, ln_k, q_over_r, ln_k_low, q_over_r_low, pin_low_c, pin_high_c):
    """Rate of y = d^m, µm^m/s, for the coefficients of `grain_growth_coefficients`.

    The lesser of the law's two branches (one-branch laws give the same twice) times what the pinning particles let through:
    nothing below `pin_low_c`, all above `pin_high_c`, between them the tenth power of a smooth step, so that the grain, a
    fifth to tenth root, rises smoothly too.
    """
    t_k = max(t_c + ZERO_C_K, 300.0)
    free = math.exp(min(ln_k - q_over_r / t_k, ln_k_low - q_over_r_low / t_k))
    if t_c >= pin_high_c:
        return free
    if t_c <= pin_low_c:
        return 0.0
    u = (t_c - pin_low_c) / (pin_high_c - pin_low_c)
    s2 = (u * u * (3.0 - 2.0 * u)) ** 2
    return free * s2 * s2 * s2 * s2 * s2


#: Grain-growth laws; the first, for low-alloy steel, is the default, the others are for C-Mn steel.
GRAIN_LAWS = ("lee_lee", "sellars_whiteman", "hodgson_gibbs")

#: Temperature to which niobium carbide pins the grain, °C.
NIOBIUM_PINS_C = 1100.0


def grain_growth_coefficients(steel, law="lee_lee"):
    """Coefficients of one law for a steel: (exponent m, ln_k, q_over_r, ln_k_low, q_over_r_low, pin_low_c, pin_high_c).

    C, Ni, Cr, Mo enter "lee_lee"; Al, N and `fine_grain` set the pinning; contents may be arrays.

    d^m = d0^m + k t; the grain is the mean diameter N_A^(-1/2), good to a factor 1.5 (measured grain of 4140 and 8620).  Lee &
    Lee print d = 76671 t^0.211 exp(-Q/RT), Q = 89098 + 3581 C + 1211 Ni + 1443 Cr + 4031 Mo, which is m = 1/0.211 and
    k = (76671 exp(-Q/RT))^m: the starting grain is added to that.  Sellars & Whiteman give two branches that do not meet at
    1100 °C; the lesser is taken, which joins them at 999 °C.

    >>> from forgeprops.inputs.steel import Steel
    >>> s = Steel("4140", {"C": .4, "Ni": 0, "Cr": .95, "Mo": .2}, fine_grain=False)
    >>> m, *k = grain_growth_coefficients(s)
    >>> round((1.0**m + grain_growth_rate(1000.0, *k) * 600.0) ** (1.0 / m))
    46

    .. [1] "lee_lee": S.-J. Lee & Y.-K. Lee, Mater. Des. 29 (2008) 1840 (from memory).
    .. [2] "sellars_whiteman": C. M. Sellars & J. A. Whiteman, Met. Sci. 13 (1979) 187 (from memory).
    .. [3] "hodgson_gibbs": P. D. Hodgson & R. K. Gibbs, ISIJ Int. 32 (1992) 1329 (from memory).
    """
    check_choice(law, "grain-growth law", GRAIN_LAWS)
    if law == "lee_lee":
        m = 1.0 / 0.211
        c, ni, cr, mo = (steel.get(e) for e in ("C", "Ni", "Cr", "Mo"))
        q = 89098 + 3581 * c + 1211 * ni + 1443 * cr + 4031 * mo
        high = low = (m * math.log(76671.0), m * q / GAS_J_MOL_K)
    elif law == "sellars_whiteman":
        m, high = 10.0, (math.log(3.87e32), 400_000 / GAS_J_MOL_K)
        low = (math.log(5.02e53), 914_000 / GAS_J_MOL_K)
    else:
        m, high = 7.0, (math.log(1.45e27), 400_000 / GAS_J_MOL_K)
        low = high
    coarsening = coarsening_temperature_c(steel.get("Al"), steel.get("N"))
    loose = np.where(np.asarray(steel.fine_grain), coarsening, -ZERO_C_K)
    niobium = steel.get("Nb")
    pin = loose + niobium_pins(niobium) * np.maximum(NIOBIUM_PINS_C - loose, 0.0)
    pin_low, pin_high = (plain(pin + gap) for gap in (-50.0, 50.0))
    return (m, *high, *low, pin_low, pin_high)


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

    >>> round(coarsening_temperature_c(0.025, 0.007))
    1041

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
    """Mean grain diameter N_A^(-1/2), µm, of an ASTM E112 grain-size number.

    >>> round(diameter_um_from_astm(7.0), 1)
    31.8
    """
    return 1000.0 / math.sqrt(GRAINS_PER_MM2) * 2.0 ** (-0.5 * grain_size_astm)


def astm_from_diameter(d_um):
    """ASTM E112 grain-size number of a mean grain diameter in µm.

    >>> round(float(astm_from_diameter(31.8)), 1)
    7.0

    .. [1] ASTM E112, table 4 (from memory).
    """
    return 2.0 * np.log2(1000.0 / (math.sqrt(GRAINS_PER_MM2) * d_um))
