"""Carbon lost through the hot surface: profile, depth, what it does to the hardness of the face.

Carbon diffuses in austenite with Ågren's concentration-dependent diffusivity to a surface that holds no
carbon and, as scale grows, moves into the metal.
"""

import numpy as np

from ..base.arrays import plain
from ..base.constants import CARBON_G_MOL, IRON_G_MOL, ZERO_C_K
from ..strength.hardness_scales import hv_from_hrc
from ..transformation import phase_hardness
from ..transformation.austenite import FERRITE_CARBON, austenite_equilibrium
from ..transformation.phase_hardness import as_quenched_hrc
from ..transformation.temperatures import ae1_c, ae3_c, content

#: Least carbon of the as-quenched hardness table, wt% (ASTM A255).
_LEAST_HARDENING_CARBON = 0.10
#: Share of the first carbon at which the decarburised layer ends.
_DEPTH_SHARE = 0.90


def carbon_diffusivity(temperature_c, carbon):
    """Diffusivity of carbon in austenite, m²/s; 700-1300 °C, carbon of the austenite in wt%.

    D = 4.53e-7 [1 + y(1-y) 8339.9/T] exp[-(1/T - 2.221e-4)(17767 - 26436 y)], y = xC/(1-xC).  Chromium lowers D a
    little; not counted (below 1 % Cr).

    .. [1] J. Ågren, Scripta Metall. 20 (1986) 1507 (read).
    """
    t = np.asarray(temperature_c, float) + ZERO_C_K
    w = np.asarray(carbon, float)
    y = (w / CARBON_G_MOL) / ((100.0 - w) / IRON_G_MOL)
    factor = 4.53e-7 * (1.0 + y * (1.0 - y) * 8339.9 / t)
    return plain(factor * np.exp(-(1.0 / t - 2.221e-4) * (17_767.0 - 26_436.0 * y)))


def carbon_rate_um2_s(carbon, ac1, ac3, temperature_c) -> np.ndarray:
    """Diffusivity of carbon, at 0.6 of the steel's carbon, times the share of austenite, µm²/s; arrays.

    With it the 90 % depth of the full profile comes out within 1 %.  Between Ac1 and Ac3 carbon moves in the austenite there
    is, so that the depth starts from nothing at Ac1.

    >>> round(float(carbon_rate_um2_s(0.2, 730.0, 840.0, 1000.0)), 1)
    23.0

    .. [1] Diffusivity at 0.6 of the steel's carbon: own fit to the numerical carbon profile, within 1 % for 0.1-0.6 wt%
       at 800-1250 °C (our own fit).
    """
    t = np.asarray(temperature_c, float)
    share = austenite_equilibrium(t, ac1, ac3, carbon)
    return share * 1e12 * carbon_diffusivity(np.maximum(t, 400.0), 0.6 * carbon)


def carbon_left(depth_um, diffusion_um2, recession_um=0.0):
    """Share of the carbon left at a depth below the final metal surface, 0 to 1.

    C/C0 = 1 - erfc(x/2 sqrt(Dt)) / erfc(X/2 sqrt(Dt)), x and X from the first surface; X is the metal taken by the
    scale, Dt the time integral of `carbon_rate_um2_s`.

    .. [1] N. Birks & W. Jackson, J. Iron Steel Inst. 208 (1970) 81 (from memory).
    """
    from scipy.special import erfc

    diffusion = np.asarray(diffusion_um2, float)
    width = 2.0 * np.sqrt(np.maximum(diffusion, 1e-6))
    start = np.minimum(recession_um / width, 5.0)
    left = 1.0 - erfc(depth_um / width + start) / erfc(start)
    return plain(np.where(diffusion <= 1e-6, 1.0, left))


def decarburised_um(diffusion_um2, recession_um=0.0):
    """Depth below the final surface at which 90 % of the carbon is left, µm, the inverse of `carbon_left`; 0 where next to nothing
    has moved.

    >>> round(decarburised_um(100.0), 1), round(float(carbon_left(decarburised_um(100.0), 100.0)), 3)
    (23.3, 0.9)

    .. [1] N. Birks & W. Jackson, J. Iron Steel Inst. 208 (1970) 81 (from memory).
    """
    from scipy.special import erfc, erfcinv

    width = 2.0 * np.sqrt(np.maximum(np.asarray(diffusion_um2, float), 1e-12))
    start = np.minimum(np.asarray(recession_um, float) / width, 5.0)
    depth = width * (erfcinv((1.0 - _DEPTH_SHARE) * erfc(start)) - start)
    return plain(np.where(np.asarray(diffusion_um2) > 1e-3, depth, 0.0))


def skin_hardness_hv(core_hv, skin_carbon, core_carbon):
    """Hardness of quenched metal that has lost carbon, HV, from that of the sound metal below.

    In proportion to martensite at the two carbon contents, while the skin still hardens; below about 0.1 wt% it may turn to
    ferrite instead and be softer (down to 80-120 HV).
    """
    skin = np.asarray(hv_from_hrc(as_quenched_hrc(skin_carbon)))
    return plain(core_hv * skin / hv_from_hrc(as_quenched_hrc(core_carbon)))


def layer_hardness_hv(steel, carbon, core_hv, hardens_from_c=None):
    """Hardness of decarburised layers of a head, HV, from that of the sound metal below.

    Layers whose Ae3 lies below the metal temperature when the spray starts (`hardens_from_c`, °C; None for no spray) are
    austenite then and harden in proportion to the martensite of their carbon (`skin_hardness_hv`).  Poorer layers are partly
    ferrite by then (lever rule): their hardness goes down in a straight line to that of carbon-free ferrite.  Without water
    the straight line starts at the sound metal.  Ae3 is Andrews', whose root of carbon runs up to that of carbon-free iron,
    which Grange's straight line misses by 40 °C.

    >>> from forgeprops.inputs.steel import Steel
    >>> s = Steel("4140", {"C": 0.40, "Si": 0.25, "Mn": 0.85, "Cr": 0.95, "Mo": 0.20})
    >>> [round(float(h)) for h in layer_hardness_hv(s, [0.40, 0.30, 0.05], 540.0, 850.0)]
    [540, 454, 177]

    .. [1] Lever rule on Ae3 of K. W. Andrews, straight line to ferrite by Ph. Maynier et al. 1978 at 0.022 wt% C
       (derived).
    """
    c = np.clip(np.asarray(carbon, float), FERRITE_CARBON, None)
    whole = np.asarray(steel.get("C"), float)
    start = np.nan if hardens_from_c is None else hardens_from_c
    start = np.where(np.isnan(start), ae1_c(steel), start)[..., None]
    grid = whole[..., None] + (FERRITE_CARBON - whole[..., None]) * np.linspace(0.0, 1.0, 60)
    alloys = ("Ni", "Si", "V", "Mo", "W")
    wide = {e: np.asarray(content(steel, e), float)[..., None] for e in alloys}
    ae3 = ae3_c(wide, grid, "andrews")
    # poorest layer that is still all austenite; below 0.10 wt% martensite has no hardness to stand on
    i = np.clip(np.sum(ae3 < start, axis=-1, keepdims=True) - 1, 0, 58)
    low, rich = (np.take_along_axis(x, i, -1) for x in (ae3, grid))
    high, poor = (np.take_along_axis(x, i + 1, -1) for x in (ae3, grid))
    share = np.clip((start - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    edge = np.clip((rich + share * (poor - rich))[..., 0], _LEAST_HARDENING_CARBON, whole)
    a, b = phase_hardness.ferrite_pearlite_coefficients(steel, FERRITE_CARBON)
    ferrite_hv = phase_hardness.line_hv(a, b, 0.0, phase_hardness.FERRITE_PEARLITE_FLOOR_HV)
    ferrite_hv = np.minimum(ferrite_hv, core_hv)
    at_edge = np.maximum(skin_hardness_hv(core_hv, edge, whole), ferrite_hv)
    slope = (at_edge - ferrite_hv) / np.maximum(edge - FERRITE_CARBON, 1e-6)
    line = ferrite_hv + slope * (c - FERRITE_CARBON)
    return plain(np.where(c >= edge, skin_hardness_hv(core_hv, np.maximum(c, edge), whole), line))
