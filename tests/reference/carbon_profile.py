"""Carbon below a hot surface by implicit finite volumes."""

import math
from typing import NamedTuple

import numpy as np
from scipy.linalg import solve_banded

from forgeprops.base.arrays import pieces_along
from forgeprops.forging.decarburisation import carbon_diffusivity
from forgeprops.forging.skin import ATMOSPHERES, metal_loss_um, scale_rate


def scale_along_um(time_s, temperature_c, atmosphere="gas furnace"):
    """Scale at each time of a curve of the surface (s, °C; straight between its points), µm."""
    pieces = pieces_along(scale_rate, time_s, np.asarray(temperature_c, float))
    return ATMOSPHERES[atmosphere][0] * np.sqrt(np.concatenate(([0.0], np.cumsum(pieces))))


class CarbonProfile(NamedTuple):
    """Carbon, wt%, over the depth below the surface as it is at the end, µm, and the metal the scale has taken, µm."""

    depth_um: np.ndarray
    carbon: np.ndarray
    recession_um: float


def _sub_curve(time_s, temperature_c, carbon, diffusivity, steps):
    """Times at equal steps of sqrt(∫D dt), so that the profile moves evenly; temperatures; ∫D dt in µm²."""
    t, temp = np.asarray(time_s, float), np.asarray(temperature_c, float)
    pieces = [np.linspace(a, b, 40) for a, b in zip(t[:-1], t[1:], strict=True)]
    fine = np.unique(np.concatenate(pieces))
    d = 1e12 * diffusivity(np.interp(fine, t, temp), carbon)
    total = np.concatenate(([0.0], np.cumsum(0.5 * np.diff(fine) * (d[1:] + d[:-1]))))
    times = np.interp(total[-1] * np.linspace(0.0, 1.0, steps + 1) ** 2, total, fine)
    return times, np.interp(times, t, temp), total[-1]


def carbon_profile(carbon, time_s, temperature_c, surface_carbon=0.0, atmosphere="gas furnace",
                   diffusivity=carbon_diffusivity, cells=160):  # fmt: skip
    """Carbon below the surface after a temperature curve (s, °C), the carbon of the surface held (0 under scale).

    `atmosphere` is that of the scale that eats metal (None: no recession), `diffusivity` (°C, wt%) -> m²/s; `cells`, and
    as many steps: the default is within 0.2 % of the error function in carbon.  The frame moves with the surface.  Each
    step solves for the new carbon with the diffusivity at the new carbon (three repeats).  Below Ac3 a rim of carbon-free
    ferrite forms that this model does not know: it then gives an upper bound.
    """
    richest = max(carbon, surface_carbon)
    times, temps, dt_um2 = _sub_curve(time_s, temperature_c, richest, diffusivity, cells)
    reach = 8.0 * math.sqrt(max(dt_um2, 1e-6))
    edges = reach * (np.expm1(4.0 * np.linspace(0.0, 1.0, cells + 1)) / math.expm1(4.0))
    width, middle = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
    gap = np.concatenate(([middle[0]], np.diff(middle)))  # of each left face's gradient
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


def decarburised_depth_um(carbon, time_s, temperature_c, atmosphere="gas furnace"):
    """Depth below the final metal surface at which 90 % of the carbon is left, µm."""
    p = carbon_profile(carbon, time_s, temperature_c, 0.0, atmosphere)
    return float(np.interp(0.90 * carbon, p.carbon, p.depth_um))
