"""Carbon below a hot surface by the method of lines."""

from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

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


def carbon_profile(carbon, time_s, temperature_c, atmosphere="gas furnace", cells=160):
    """Carbon below the surface after a temperature curve (s, °C), none at the surface itself.

    `atmosphere` is that of the scale that eats metal (None: no recession).  The frame moves with the surface, in steps of
    the root of time, in which all begins gently.  Below Ac3 a rim of carbon-free ferrite forms that this model does not
    know: it then gives an upper bound.
    """
    root = np.sqrt(time_s[-1] - time_s[0]) * np.linspace(0.0, 1.0, 2001)
    times = time_s[0] + root**2
    temps, gone = np.interp(times, time_s, temperature_c), np.zeros(root.size)
    if atmosphere is not None:
        gone = metal_loss_um(scale_along_um(times, temps, atmosphere))
    drift = np.gradient(gone, root)
    reach = 8.0 * np.sqrt(1e12 * np.trapezoid(carbon_diffusivity(temps, carbon), times))
    edges = reach * np.expm1(4.0 * np.linspace(0.0, 1.0, cells + 1)) / np.expm1(4.0)
    middle = 0.5 * (edges[1:] + edges[:-1])
    gap = np.diff(middle, prepend=0.0)

    def rate(x, c):
        at, left = np.interp(x, root, temps), np.append(0.0, c[:-1])
        d = 2.0 * x * 1e12 * carbon_diffusivity(at, 0.5 * (left + c)) / gap
        faces = np.concatenate(([0.0], 0.5 * (c[1:] + c[:-1]), c[-1:]))
        out = np.append(d * (c - left), 0.0) + np.interp(x, root, drift) * faces
        return np.diff(out) / np.diff(edges)

    how = {"method": "LSODA", "rtol": 1e-5, "atol": 1e-7, "lband": 1, "uband": 1}
    found = solve_ivp(rate, (0.0, root[-1]), np.full(cells, float(carbon)), **how)
    return CarbonProfile(middle, found.y[:, -1], float(gone[-1]))


def decarburised_depth_um(carbon, time_s, temperature_c, atmosphere="gas furnace"):
    """Depth below the final metal surface at which 90 % of the carbon is left, µm."""
    p = carbon_profile(carbon, time_s, temperature_c, atmosphere)
    return float(np.interp(0.90 * carbon, p.carbon, p.depth_um))
