"""Published laws for water spray on hot steel, as plain scalar arithmetic.

References
----------
.. [1] Conductivity of scale 2.5 W/(m K): wüstite 2-3.2, porous scale down to 1.2 (from memory).
.. [2] Mean drop of a full-cone quench nozzle 1 mm, 0.5-1.5 (common practice).
"""

from __future__ import annotations

import math

from ..base.ranges import Warn, outside

__all__ = [
    "SCALE_CONDUCTIVITY_W_MK",
    "WATER_KG_L",
    "evaporation_limit_w_m2",
    "spray_film_laws_w_m2k",
    "spray_over_scale_w_m2k",
    "spray_single_phase_w_m2k",
    "spray_w_m2k",
    "spray_warnings",
    "sprayed_w_m2",
    "water_factor",
    "wet_share",
]


#: Conductivity of iron scale, W/(m K) (wüstite 2–3.2, porous scale down to 1.2; from memory).
SCALE_CONDUCTIVITY_W_MK = 2.5

#: Up to this resistance (150 µm of scale) the spray and the scale meet at one surface temperature only.
_THIN_SCALE_M2K_W = 6.0e-5

#: Below this superheat, K, the boiling law is not used.
_BOILING_FROM_K = 100.0

# Water at about 40 °C film temperature (steam tables, from memory), for the single-phase law.
_WATER_K_W_MK = 0.63
_WATER_NU_M2_S = 6.6e-7
_WATER_PR = 4.3
_WATER_CP_J_KGK = 4186.0
_WATER_HFG_J_KG = 2.257e6
#: Density of water at 20 °C, kg/L (steam tables: 998.2 kg/m³, from memory).
WATER_KG_L = 0.998
#: Mean drop diameter of a full-cone quench nozzle, m (0.5–1.5 mm, common practice, no source).
_DROP_M = 1.0e-3
#: Impact density over which a surface counts as wetted, kg/(m² s) (our blend).
_WETTING_FLUX = 0.5


def _wendelstorf_w_m2k(flux_kg_m2_s, superheat_k):
    wetting = math.tanh(flux_kg_m2_s / 8.0)
    film = 140.0 * flux_kg_m2_s * (1.0 - flux_kg_m2_s * superheat_k / 72000.0)
    boiling = 3.26 * superheat_k * superheat_k * (1.0 - math.tanh(superheat_k / 128.0))
    return 190.0 + wetting * (film + boiling)


def water_factor(water_c):
    """How warm water weakens a spray, relative to the 20 °C at which the law was measured.

    References
    ----------
    .. [1] Shimada & Mitsutsuka 1966; Ishiguro 1974, as listed among secondary-cooling laws (read).

    Examples
    --------
    >>> round(water_factor(40.0), 2)
    0.82
    """
    return (1.0 - 0.0075 * water_c) / (1.0 - 0.0075 * 20.0)


def spray_single_phase_w_m2k(flux_kg_m2_s):
    """Spray on a surface too cool to boil, W/(m² K): Nu = 2.512 Re^0.76 Pr^0.56 on the drop diameter (1 mm).

    Never more than the water can carry, flux × heat capacity.

    References
    ----------
    .. [1] I. Mudawar & W. S. Valentine, J. Heat Treating 7 (1989) 107 (from memory).
    """
    reynolds = flux_kg_m2_s / (1e3 * WATER_KG_L) * _DROP_M / _WATER_NU_M2_S
    h = 2.512 * reynolds**0.76 * _WATER_PR**0.56 * _WATER_K_W_MK / _DROP_M
    return min(h, flux_kg_m2_s * _WATER_CP_J_KGK)


def spray_w_m2k(flux_kg_m2_s, surface_c, water_c):
    """Water spray on hot steel, W/(m² K), total (do not add radiation), referred to surface minus water.

    Parameters
    ----------
    flux_kg_m2_s : float
        Impact density; the law was made for 3–30 kg/(m² s).
    surface_c : float
        Temperature of the wetted surface (of the scale, if there is any), °C; 200–1100.
    water_c : float
        Water temperature, °C; the law's own was about 20.

    Notes
    -----
    h = 190 + tanh(V/8) {140 V [1 − V ΔT/72000] + 3.26 ΔT² [1 − tanh(ΔT/128)]}.  Below a superheat of 100 K
    the law falls too low; there the lesser of its own value at 100 K and the single-phase law is taken,
    blended in between 50 and 100 K.  Warm water weakens the part that is not 190 (see `water_factor`).  Good
    to a factor of about 1.5: a shop should fit its own multiplier.

    References
    ----------
    .. [1] J. Wendelstorf, K.-H. Spitzer & R. Wendelstorf, Int. J. Heat Mass Transfer 51 (2008) 4902
       (from memory).

    Examples
    --------
    >>> [round(spray_w_m2k(10.0, 20.0 + dt, 20.0)) for dt in (150, 300, 600, 900)]
    [12250, 5871, 1447, 1233]
    """
    superheat = max(surface_c - water_c, 0.0)
    h = _wendelstorf_w_m2k(flux_kg_m2_s, max(superheat, 0.5 * _BOILING_FROM_K))
    if superheat < _BOILING_FROM_K:
        low = min(
            _wendelstorf_w_m2k(flux_kg_m2_s, _BOILING_FROM_K),
            spray_single_phase_w_m2k(flux_kg_m2_s),
        )
        x = max(2.0 * superheat / _BOILING_FROM_K - 1.0, 0.0)
        share = x * x * (3.0 - 2.0 * x)
        h = share * h + (1.0 - share) * low
    return min(190.0, h) + max(h - 190.0, 0.0) * water_factor(water_c)


def spray_over_scale_w_m2k(flux_kg_m2_s, metal_c, water_c, scale_m2k_w):
    """Spray on scaled steel, W/(m² K), referred to metal minus water.

    The scale (resistance thickness/conductivity, m² K/W) stands in series, and because its surface is cooler
    than the metal, boiling takes hold at a higher metal temperature: a thin scale can quicken the quench.
    Both follow from solving for the temperature of the scale's surface.

    Examples
    --------
    >>> [round(spray_over_scale_w_m2k(10.0, 900.0, 20.0, scale)) for scale in (0.0, 2e-5)]
    [1237, 1212]
    """
    if scale_m2k_w <= 0.0 or metal_c <= water_c:
        return spray_w_m2k(flux_kg_m2_s, metal_c, water_c)
    surface = metal_c
    if scale_m2k_w <= _THIN_SCALE_M2K_W:
        # One scale surface only: two Steffensen steps on surface = metal − R q(surface) settle it within 0.5
        # %.
        for _ in range(2):
            first = _under_scale_c(flux_kg_m2_s, metal_c, water_c, scale_m2k_w, surface)
            second = _under_scale_c(flux_kg_m2_s, metal_c, water_c, scale_m2k_w, first)
            bend = second - 2.0 * first + surface
            if abs(bend) > 1e-9:
                second = second - (second - first) ** 2 / bend
            surface = min(max(second, water_c), metal_c)
    else:
        # Thick scale has two stable surfaces in transition boiling; the hotter one holds until it vanishes.
        # Walk down from the metal to the first bracket, then halve it.
        step = (metal_c - water_c) / 32.0
        low = metal_c - step
        while (
            low > water_c and _under_scale_c(flux_kg_m2_s, metal_c, water_c, scale_m2k_w, low) < low
        ):
            low -= step
        high = low + step
        for _ in range(16):
            surface = 0.5 * (low + high)
            if _under_scale_c(flux_kg_m2_s, metal_c, water_c, scale_m2k_w, surface) < surface:
                high = surface
            else:
                low = surface
    return (metal_c - surface) / scale_m2k_w / (metal_c - water_c)


def _under_scale_c(flux_kg_m2_s, metal_c, water_c, scale_m2k_w, surface_c):
    """Surface temperature the scale would supply if the spray saw `surface_c`."""
    superheat = max(surface_c - water_c, 0.0)
    return metal_c - scale_m2k_w * spray_w_m2k(flux_kg_m2_s, surface_c, water_c) * superheat


def wet_share(flux_kg_m2_s):
    """Share of a surface that a thin spray wets, 0 to 1: 1 − exp(−V/0.5) (our blend).

    It lets the spray vanish into still air without a jump as the flux goes to zero; above 3 kg/(m² s), where
    the law was measured, it is 1 within 0.3 %.

    References
    ----------
    .. [1] Blend between still air and spray (our choice).
    """
    return 1.0 - math.exp(-flux_kg_m2_s / _WETTING_FLUX)


def evaporation_limit_w_m2(flux_kg_m2_s, water_c):
    """Most heat a spray can carry: all of it heated to 100 °C and turned to steam, W/m².

    References
    ----------
    .. [1] Steam tables: 4.186 kJ/(kg K), 2257 kJ/kg (from memory).

    Examples
    --------
    >>> round(evaporation_limit_w_m2(5.0, 20.0) / 1e6, 1)
    13.0
    """
    return flux_kg_m2_s * (_WATER_CP_J_KGK * (100.0 - water_c) + _WATER_HFG_J_KG)


def sprayed_w_m2(flux_kg_m2_s, metal_c, water_c, scale_m2k_w, multiplier, dry_w_m2):
    """Heat lost by a sprayed surface, W/m²: wet and dry shares side by side, never above full evaporation.

    Parameters
    ----------
    flux_kg_m2_s, metal_c, water_c, scale_m2k_w : float
        As in `spray_over_scale_w_m2k`.
    multiplier : float
        The shop's own factor on the spray.
    dry_w_m2 : float
        What the same surface loses without water (still air and radiation).
    """
    share = wet_share(flux_kg_m2_s)
    if share == 0.0:
        return dry_w_m2
    h = spray_over_scale_w_m2k(flux_kg_m2_s, metal_c, water_c, scale_m2k_w)
    limit = evaporation_limit_w_m2(flux_kg_m2_s, water_c)
    # The law's constant 190 is what a hot surface loses anyway, so the water's limit stands on top of the dry
    # loss.
    return (1.0 - share) * dry_w_m2 + share * min(
        multiplier * h * (metal_c - water_c), limit + dry_w_m2
    )


def spray_film_laws_w_m2k(
    flux_kg_m2_s: float, surface_c: float, water_c: float = 20.0
) -> dict[str, float]:
    """What the published laws say of film boiling at one setting, W/(m² K), to show their spread.

    Parameters
    ----------
    flux_kg_m2_s : float
        Impact density, 3–20 kg/(m² s).
    surface_c : float
        Surface temperature, °C (film boiling, above about 650).
    water_c : float
        Water temperature, °C.

    Returns
    -------
    dict of str to float
        Law to coefficient.

    Examples
    --------
    >>> for law, h in spray_film_laws_w_m2k(10.0, 900.0).items():
    ...     print(f"{law:<17}{h:5.0f}")
    Wendelstorf 2008  1237
    Nozaki 1978       1184
    Ishiguro 1974     1395
    Bolle 1946        1522
    Sasaki 1979       1251
    Müller 1973       1408
    """
    v, weak = flux_kg_m2_s, 1 - 0.0075 * water_c
    return {
        "Wendelstorf 2008": spray_w_m2k(v, surface_c, water_c),
        "Nozaki 1978": 1570 / 4 * v**0.55 * weak,
        "Ishiguro 1974": 581 * v**0.451 * weak,
        "Bolle 1946": 423 * v**0.556,
        "Sasaki 1979": 1e3 * (708 * v**0.75 * surface_c**-1.2 + 0.116),
        "Müller 1973": 10 * 20 + (107 + 0.688 * 20) * v,
    }


def spray_warnings(
    flux_kg_m2_s: float, water_c: float = 20.0, surface_c: float | None = None
) -> tuple[Warn, ...]:
    """Warnings when a spray is outside what the law was measured for (no spray, no warning)."""
    if flux_kg_m2_s <= 0:
        return ()
    found = [outside("thermal.spray_flux", flux_kg_m2_s), outside("thermal.spray_water", water_c)]
    if surface_c is not None:
        found.append(outside("thermal.spray_surface", surface_c))
    return tuple(warn for warn in found if warn)
