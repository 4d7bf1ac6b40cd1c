"""Carbon lost through the hot surface: profile, depth, what it does to the hardness of the face.

Carbon diffuses in austenite with Ågren's concentration-dependent diffusivity to a surface that holds no
carbon and, as scale grows, moves into the metal.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ..base.errors import InputError
from ..base.ranges import Warn, outside
from ..transformation.austenite import FERRITE_CARBON, austenite_equilibrium
from ..transformation.phase_hardness import (
    FERRITE_PEARLITE_FLOOR_HV,
    LOG_V_LOW,
    as_quenched_hrc,
    ferrite_pearlite_coefficients,
    hv_from_hrc,
)
from ..transformation.temperatures import ac1_c, ac3_c, ae1_c, ae3_c
from .scale import metal_loss_um, scale_along_um

__all__ = [
    "CarbonProfile",
    "carbon_diffusivity",
    "carbon_left",
    "carbon_profile",
    "decarburisation_warnings",
    "decarburised_depth_estimate_um",
    "decarburised_depth_um",
    "diffusion_along_um2",
    "diffusion_time_s",
    "effective_diffusivity_um2_s",
    "error_function_carbon",
    "layer_hardness_hv",
    "skin_hardness_hv",
]


_ZERO_C = 273.15
_C_G_MOL, _FE_G_MOL = 12.011, 55.845
#: Least carbon of the as-quenched hardness table, wt% (ASTM A255).
_LEAST_HARDENING_CARBON = 0.10
#: Share of the first carbon at which the decarburised layer ends.
_DEPTH_SHARE = 0.90


class CarbonProfile(NamedTuple):
    """Carbon below the surface.

    Attributes
    ----------
    depth_um : ndarray
        Depth below the metal surface as it is at the end, µm.
    carbon : ndarray
        wt%.
    recession_um : float
        Metal the scale has taken, µm.
    """

    depth_um: np.ndarray
    carbon: np.ndarray
    recession_um: float


def carbon_diffusivity(temperature_c, carbon):
    """Diffusivity of carbon in austenite, m²/s.

    Parameters
    ----------
    temperature_c : float or array
        700-1300 °C.
    carbon : float or array
        Carbon of the austenite, wt%.

    References
    ----------
    .. [1] J. Ågren, Scripta Metall. 20 (1986) 1507 (read).

    Examples
    --------
    >>> float(f"{carbon_diffusivity(950.0, 0.2):.3g}")
    1.42e-11
    """
    t = np.asarray(temperature_c, float) + _ZERO_C
    w = np.asarray(carbon, float)
    y = (w / _C_G_MOL) / ((100.0 - w) / _FE_G_MOL)
    d = (
        4.53e-7
        * (1.0 + y * (1.0 - y) * 8339.9 / t)
        * np.exp(-(1.0 / t - 2.221e-4) * (17_767.0 - 26_436.0 * y))
    )
    return float(d) if np.ndim(d) == 0 else d


def error_function_carbon(depth_um, diffusivity_m2_s, time_s, carbon, surface_carbon=0.0):
    """Carbon at a depth for constant diffusivity and no recession: Cs + (C0 - Cs) erf(x/2 sqrt(Dt)), wt%.

    Examples
    --------
    >>> round(float(error_function_carbon(500.0, 1.6e-11, 25_370.0, 0.25, 1.20)), 2)
    0.8
    """
    from scipy.special import erf

    x = np.asarray(depth_um, float) * 1e-6
    return surface_carbon + (carbon - surface_carbon) * erf(
        x / (2.0 * math.sqrt(diffusivity_m2_s * time_s))
    )


def diffusion_time_s(depth_um, diffusivity_m2_s, carbon, surface_carbon, wanted_carbon):
    """Time until `wanted_carbon` is reached at a depth (carburising or decarburising), s.

    Examples
    --------
    >>> round(diffusion_time_s(500.0, 1.6e-11, 0.25, 1.20, 0.80) / 3600, 2)
    7.05
    """
    from scipy.special import erfinv

    z = float(erfinv((wanted_carbon - surface_carbon) / (carbon - surface_carbon)))
    if not 0.0 < z < math.inf:
        raise InputError(
            f"wanted carbon is {wanted_carbon} wt%; "
            f"allowed is between {carbon} and {surface_carbon} wt%."
        )
    return (depth_um * 1e-6 / (2.0 * z)) ** 2 / diffusivity_m2_s


def _sub_curve(time_s, temperature_c, carbon, diffusivity, steps):
    """Times at equal steps of sqrt(∫D dt), so that the profile moves evenly; temperatures; ∫D dt in µm²."""
    t = np.asarray(time_s, float)
    temp = np.asarray(temperature_c, float)
    if t.ndim != 1 or t.shape != temp.shape or t.size < 2 or np.any(np.diff(t) < 0.0):
        raise InputError(
            "the curve is uneven; allowed are times that never fall and as many temperatures, "
            "two or more."
        )
    pieces = [np.linspace(a, b, 40) for a, b in zip(t[:-1], t[1:], strict=True)]
    fine = np.unique(np.concatenate(pieces))
    d = 1e12 * diffusivity(np.interp(fine, t, temp), carbon)
    total = np.concatenate(([0.0], np.cumsum(0.5 * np.diff(fine) * (d[1:] + d[:-1]))))
    wanted = total[-1] * np.linspace(0.0, 1.0, steps + 1) ** 2
    times = np.interp(wanted, total, fine)
    return times, np.interp(times, t, temp), total[-1]


def carbon_profile(
    carbon,
    time_s,
    temperature_c,
    surface_carbon=0.0,
    atmosphere: str | None = "gas furnace",
    diffusivity: Callable = carbon_diffusivity,
    thickness_um=None,
    cells=160,
    steps=160,
):
    """Carbon below the surface after a temperature curve, by implicit finite volumes.

    Parameters
    ----------
    carbon : float
        Carbon of the steel, wt%.
    time_s, temperature_c : array
        Curve of the surface, s and °C.
    surface_carbon : float
        Carbon held at the surface, wt%: 0 under scale.
    atmosphere : str or None
        For the scale that eats metal (see `scale.ATMOSPHERES`); None for no recession.
    diffusivity : callable
        (°C, wt%) -> m²/s.
    thickness_um : float, optional
        Half thickness of the wall; the middle lets no carbon through.  None: thick.
    cells, steps : int
        Fineness; the default is within 0.2 % of the error function in carbon.

    Returns
    -------
    CarbonProfile

    Notes
    -----
    The frame moves with the surface.  Each step solves for the new carbon with the diffusivity at the new
    carbon (three repeats).  Below Ac3 a rim of carbon-free ferrite forms that this model does not know: it
    then gives an upper bound.

    Examples
    --------
    >>> p = carbon_profile(0.3, [0.0, 900.0], [1000.0, 1000.0], atmosphere=None)
    >>> round(float(np.interp(0.27, p.carbon, p.depth_um)), -1)
    340.0
    """
    from scipy.linalg import solve_banded

    richest = max(carbon, surface_carbon)
    times, temps, dt_um2 = _sub_curve(time_s, temperature_c, richest, diffusivity, steps)
    reach = 8.0 * math.sqrt(max(dt_um2, 1e-6))
    if thickness_um is not None:
        reach = min(reach, float(thickness_um))
    edges = reach * (np.expm1(4.0 * np.linspace(0.0, 1.0, cells + 1)) / math.expm1(4.0))
    width = np.diff(edges)
    middle = 0.5 * (edges[1:] + edges[:-1])
    gap = np.concatenate(
        ([middle[0]], np.diff(middle))
    )  # over which each left face's gradient is taken
    gone = np.zeros(times.size)
    if atmosphere is not None:
        gone = metal_loss_um(scale_along_um(times, temps, atmosphere))

    c = np.full(cells, float(carbon))
    for i in range(1, times.size):
        dt = times[i] - times[i - 1]
        if dt <= 0.0:
            continue
        v = (gone[i] - gone[i - 1]) / dt
        new = c
        for _ in range(3):
            left = np.concatenate(([surface_carbon], new[:-1]))
            d = 1e12 * diffusivity(temps[i], 0.5 * (left + new)) / gap  # left faces, µm/s
            d_right = np.concatenate((d[1:], [0.0]))
            # metal drifts towards the surface: half of each face's carbon from either side
            lower = -dt / width * (d - 0.5 * v)
            upper = -dt / width * (d_right + 0.5 * v)
            centre = 1.0 + dt / width * (d + d_right)
            # the scale eats metal of surface carbon; beyond the last cell the metal is like the last cell
            lower[0] += 0.5 * dt / width[0] * v
            centre[0] -= 0.5 * dt / width[0] * v
            centre[-1] += upper[-1]
            rhs = c.copy()
            rhs[0] -= lower[0] * surface_carbon
            bands = np.zeros((3, cells))
            bands[0, 1:], bands[1], bands[2, :-1] = upper[:-1], centre, lower[1:]
            new = solve_banded((1, 1), bands, rhs)
        c = new
    return CarbonProfile(middle, c, float(gone[-1]))


def decarburised_depth_um(steel, time_s, temperature_c, atmosphere="gas furnace"):
    """Depth below the final metal surface at which 90 % of the carbon is left, µm.

    Parameters
    ----------
    steel : Steel
    time_s, temperature_c : array
        Curve of the surface, s and °C.
    atmosphere : str or None
        For the recession by scale; None leaves it out.

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> round(decarburised_depth_um(Steel("1020", {"C": 0.2}), [0, 900], [1000, 1000], None), -1)
    330.0
    """
    carbon = steel.get("C")
    p = carbon_profile(carbon, time_s, temperature_c, 0.0, atmosphere)
    return float(np.interp(_DEPTH_SHARE * carbon, p.carbon, p.depth_um))


def effective_diffusivity_um2_s(t_c, carbon):
    """Diffusivity to add up along a curve for `decarburised_depth_estimate_um`, µm²/s; scalar, for the march.

    Ågren's formula at 0.6 of the steel's carbon: with that one number the 90 % depth of the full profile
    comes out within 1 % for 0.1-0.6 wt% at 800-1250 °C (our own fit to `carbon_profile`).

    Examples
    --------
    >>> round(effective_diffusivity_um2_s(1000.0, 0.2), 1)
    23.0
    """
    t = max(t_c + 273.15, 600.0)
    w = 0.6 * carbon
    y = (w / 12.011) / ((100.0 - w) / 55.845)
    return (
        4.53e5
        * (1.0 + y * (1.0 - y) * 8339.9 / t)
        * math.exp(-(1.0 / t - 2.221e-4) * (17_767.0 - 26_436.0 * y))
    )


def diffusion_along_um2(steel, time_s, temperature_c):
    """Time integral of `effective_diffusivity_um2_s` along a curve, µm².

    Between Ac1 and Ac3 carbon moves in the austenite there is: the diffusivity is taken times its share, so
    that the depth starts from nothing at Ac1.

    Parameters
    ----------
    steel : Steel
    time_s, temperature_c : array
        Curve of the surface from loading to the water, s and °C (trapezoids between its points).

    References
    ----------
    .. [1] Diffusivity at 0.6 of the steel's carbon: own fit to the numerical carbon profile, within
       1 % for 0.1-0.6 wt% at 800-1250 °C (our own fit).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> round(diffusion_along_um2(Steel("1020", {"C": 0.2}), [0, 900], [1000, 1000]) / 900, 1)
    23.0
    """
    t, temp = np.asarray(time_s, float), np.asarray(temperature_c, float)
    carbon, ac1, ac3 = steel.get("C"), float(ac1_c(steel)), float(ac3_c(steel))
    share = np.array([austenite_equilibrium(x, ac1, ac3, carbon) for x in temp])
    rate = share * 1e12 * carbon_diffusivity(np.maximum(temp, 400.0), 0.6 * carbon)
    return float(np.trapezoid(rate, t))


def carbon_left(depth_um, diffusion_um2, recession_um=0.0):
    """Share of the carbon left at a depth below the final metal surface, 0 to 1.

    Parameters
    ----------
    depth_um : float or array
        Below the metal as the scale leaves it, µm.
    diffusion_um2 : float
        See `diffusion_along_um2`.
    recession_um : float
        Metal taken by the scale, µm.

    References
    ----------
    .. [1] N. Birks & W. Jackson, J. Iron Steel Inst. 208 (1970) 81 (from memory).

    Examples
    --------
    >>> carbon_left(0.0, 100.0), round(float(carbon_left(23.26, 100.0)), 3), carbon_left(5.0, 0.0)
    (0.0, 0.9, 1.0)
    """
    from scipy.special import erfc

    depth = np.asarray(depth_um, float)
    if diffusion_um2 <= 1e-6:
        left = np.ones_like(depth)
    else:
        width = 2.0 * math.sqrt(diffusion_um2)
        start = min(recession_um / width, 5.0)
        left = 1.0 - erfc(depth / width + start) / erfc(start)
    return float(left) if np.ndim(left) == 0 else left


def decarburised_depth_estimate_um(diffusion_um2, recession_um=0.0):
    """Depth of the 90 % layer from sums along a curve; what batches use in place of the profile.

    Parameters
    ----------
    diffusion_um2 : float or array
        Time integral of `effective_diffusivity_um2_s`, µm².
    recession_um : float or array
        Metal taken by the scale over the same time, µm.

    Returns
    -------
    float or ndarray
        µm below the final surface.

    References
    ----------
    .. [1] N. Birks & W. Jackson, J. Iron Steel Inst. 208 (1970) 81 (from memory).

    Examples
    --------
    >>> round(decarburised_depth_estimate_um(100.0), 1)
    23.3
    """
    from scipy.special import erfc, erfcinv

    width = 2.0 * np.sqrt(np.maximum(np.asarray(diffusion_um2, float), 1e-12))
    start = np.asarray(recession_um, float) / width
    depth = width * (
        erfcinv((1.0 - _DEPTH_SHARE) * erfc(np.minimum(start, 5.0))) - np.minimum(start, 5.0)
    )
    return float(depth) if np.ndim(depth) == 0 else depth


def skin_hardness_hv(core_hv, skin_carbon, core_carbon):
    """Hardness of quenched metal that has lost carbon, HV, from that of the sound metal below.

    In proportion to the hardness of martensite at the two carbon contents, which holds while the skin still
    hardens; below about 0.1 wt% it may turn to ferrite instead and be softer (down to 80-120 HV).

    Parameters
    ----------
    core_hv : float
        Hardness of the sound metal, HV.
    skin_carbon : float or array
        Carbon at the surface after blasting, wt%: `CarbonProfile` at the depth taken off.
    core_carbon : float
        Carbon of the steel, wt%.

    Examples
    --------
    >>> round(skin_hardness_hv(480.0, 0.30, 0.30)), skin_hardness_hv(480.0, 0.15, 0.30) < 420
    (480, True)
    """
    skin = np.asarray(hv_from_hrc(as_quenched_hrc(skin_carbon)))
    hv = core_hv * skin / hv_from_hrc(as_quenched_hrc(core_carbon))
    return float(hv) if np.ndim(hv) == 0 else hv


def layer_hardness_hv(steel, carbon, core_hv, hardens_from_c=None):
    """Hardness of decarburised layers of a head, HV, from that of the sound metal below.

    Layers whose Ae3 lies below the temperature at which the water starts are austenite then and harden in
    proportion to the martensite of their carbon (`skin_hardness_hv`).  Poorer layers are partly ferrite by
    then (lever rule): their hardness goes down in a straight line to that of carbon-free ferrite.  Without
    water every layer forms ferrite first, so the straight line starts at the sound metal.

    Parameters
    ----------
    steel : Steel
    carbon : float or array
        Carbon of the layers, wt%, at most the steel's.
    core_hv : float
        Hardness of the sound metal, HV.
    hardens_from_c : float or None
        Metal temperature when the water starts, °C; None for no water.

    References
    ----------
    .. [1] Lever rule on Ae3 of K. W. Andrews, straight line to ferrite by Ph. Maynier et al. 1978
       at 0.022 wt% C (derived).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> s = Steel("4140", {"C": 0.40, "Si": 0.25, "Mn": 0.85, "Cr": 0.95, "Mo": 0.20})
    >>> [round(float(h)) for h in layer_hardness_hv(s, [0.40, 0.30, 0.05], 540.0, 850.0)]
    [540, 454, 177]
    """
    c = np.clip(np.asarray(carbon, float), FERRITE_CARBON, None)
    whole = steel.get("C")
    start = float(ae1_c(steel)) if hardens_from_c is None else hardens_from_c
    grid = np.linspace(whole, FERRITE_CARBON, 60)
    ae3 = np.array([float(ae3_c(steel, x, "andrews")) for x in grid])
    # poorest layer that is still all austenite; below 0.10 wt% martensite has no hardness to stand on
    edge = min(max(float(np.interp(start, ae3, grid)), _LEAST_HARDENING_CARBON), whole)
    a, b = ferrite_pearlite_coefficients(steel, FERRITE_CARBON)
    ferrite_hv = min(max(float(a + b * LOG_V_LOW), FERRITE_PEARLITE_FLOOR_HV), core_hv)
    at_edge = max(skin_hardness_hv(core_hv, edge, whole), ferrite_hv)
    line = ferrite_hv + (at_edge - ferrite_hv) * (c - FERRITE_CARBON) / max(
        edge - FERRITE_CARBON, 1e-6
    )
    hv = np.where(c >= edge, skin_hardness_hv(core_hv, np.maximum(c, edge), whole), line)
    return float(hv) if np.ndim(hv) == 0 else hv


def decarburisation_warnings(steel, temperature_c) -> tuple[Warn, ...]:
    """Warn below Ac3, where a ferrite rim forms and the profile is an upper bound, and beyond the diffusivity's range."""
    beyond = outside("decarburisation.temperature", max(temperature_c, 700.0))
    found = () if beyond is None else (beyond,)
    ac3 = float(ac3_c(steel))
    if temperature_c >= ac3:
        return found
    text = (
        f"{temperature_c:.0f} °C is below Ac3 ({ac3:.0f} °C): a carbon-free ferrite rim can form, and "
        "the decarburised depth given is an upper bound."
    )
    return (*found, Warn("decarb-below-ac3", text))
