"""Heat conduction through a flat plate cooled on one side, marched in time, with its sensitivities.

Finite volumes, fine at the cooled surface and coarser behind; each time step is the two-stage L-stable
diagonally implicit Runge–Kutta step.  Conductivity and heat capacity follow the temperature of the step
before.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...base.constants import STEEL_DENSITY_KG_M3, ZERO_C_K
from ...base.errors import InputError, check_choice, check_list, check_number, shown
from ...thermal.properties import austenite_cp_j_kgk, conductivity, ferrite_cp_j_kgk

#: γ of the two-stage L-stable step (Alexander, SIAM J. Numer. Anal. 14 (1977) 1006, from memory).
_GAMMA = 1.0 - np.sqrt(0.5)


#: Conductivity, W/(m K), and heat capacity of the cold volume, J/(m³ K), by plate material.  "stainless" is
#: type 316, fits to K. C. Mills, Recommended Values of Thermophysical Properties for Selected Commercial
#: Alloys (2002), read in the documentation of a public solid-property library (25–1300 °C, conductivity ± 10
#: %, heat ± 5 %): the plate to use, since it never transforms.  "austenite" and "ferrite" are steel before
#: and after it transforms (forgeprops.thermal.properties); neither holds while it does.
PLATES: dict[str, tuple[Callable, Callable]] = {
    "stainless": (
        lambda t: 6.308 + 0.02716 * (t + ZERO_C_K) - 7.301e-6 * (t + ZERO_C_K) * (t + ZERO_C_K),
        lambda t: 7957.0 * (428.46 + 0.1816 * (t + ZERO_C_K)),
    ),
    "austenite": (
        np.vectorize(lambda t: conductivity(t, 0.0, 1.0), otypes=[float]),
        lambda t: STEEL_DENSITY_KG_M3 * austenite_cp_j_kgk(t),
    ),
    "ferrite": (
        np.vectorize(lambda t: conductivity(t, 0.0), otypes=[float]),
        np.vectorize(lambda t: STEEL_DENSITY_KG_M3 * ferrite_cp_j_kgk(t), otypes=[float]),
    ),
}


class State(NamedTuple):
    """Temperatures of the plate's cells, °C, their derivatives by the parameters, and the surface."""

    temperature_c: np.ndarray
    sensitivity: np.ndarray
    surface_c: float
    surface_sensitivity: np.ndarray


@dataclass(frozen=True)
class Plate:
    """A plate and its thermocouple.

    Parameters
    ----------
    thickness_mm : 0.5 to 200.
    depth_mm : Depth of the thermocouple's junction below the cooled surface, at most the thickness.
    material : "stainless", "austenite" or "ferrite" (see `PLATES`), or a pair of functions of °C giving
        conductivity, W/(m K), and heat capacity, J/(m³ K), for arrays.
    back : heat transfer at the back and temperature behind it, W/(m² K) and °C; None: nothing leaves there.

    References
    ----------
    .. [1] Type 316: K. C. Mills, Recommended Values of Thermophysical Properties for Selected
       Commercial Alloys (2002) (read).
    .. [2] Two-stage L-stable step: R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006 (from memory).
    """

    thickness_mm: float
    depth_mm: float
    material: object = "stainless"
    back: object = None

    def __post_init__(self):
        thickness = check_number(self.thickness_mm, "plate thickness", 0.5, 200.0, "mm")
        depth = check_number(self.depth_mm, "depth of the thermocouple", 0.0, thickness, "mm")
        properties = self.material
        if isinstance(properties, str):
            properties = PLATES[check_choice(properties, "plate material", PLATES)]
        pair = isinstance(properties, tuple) and len(properties) == 2
        if not pair or not all(map(callable, properties)):
            known = f"{', '.join(PLATES)} or a pair of functions"
            raise InputError(f"plate material must be {known}; got {shown(self.material)}.")
        back = (0.0, 25.0) if self.back is None else self.back
        h, behind = check_list(back, "back", "None or (h, °C)", 2)
        h = check_number(h, "heat transfer at the back", 0.0, 1e5, "W/(m² K)")
        behind = check_number(behind, "temperature behind the plate", -50.0, 1400.0, "°C")
        sizes = [min(0.05, max(depth, 0.2) / 8.0, thickness / 20.0)]
        while sum(sizes) < thickness:
            sizes.append(min(sizes[-1] * 1.12, thickness / 10.0))
        size = np.array(sizes) * thickness / sum(sizes) * 1e-3
        centre = np.cumsum(size) - 0.5 * size
        object.__setattr__(self, "_made", (*properties, (h, behind), size, centre))

    def start(self, temperature_c: float, n_parameters: int = 0, by=None) -> State:
        """An even plate; `by` is the derivative of its temperature by each parameter (zero by default)."""
        n, by = self._made[3].size, np.zeros(n_parameters) if by is None else np.asarray(by, float)
        even = float(temperature_c)
        return State(np.full(n, even), np.tile(by, (n, 1)), even, by)

    def step(self, state: State, duration_s: float, surface_flux: Callable) -> State:
        """One step in time.

        `surface_flux` takes the surface temperature and returns the flux out of the surface, W/m², its slope
        with the surface temperature, and its derivatives by the parameters.
        """
        from scipy.linalg import solve_banded

        k_of, heat_of, (h, behind), size, _ = self._made
        u0, s0, surface, _ = state
        k, heat = np.asarray(k_of(u0), dtype=float), np.asarray(heat_of(u0), dtype=float)
        link = 2.0 / (size[:-1] / k[:-1] + size[1:] / k[1:])
        store, stage = heat * size, _GAMMA * duration_s
        bands = np.zeros((3, size.size))
        bands[1] = store
        bands[1, :-1] += stage * link
        bands[1, 1:] += stage * link
        bands[0, 1:] = bands[2, :-1] = -stage * link
        # without flux, for one unit of it, derivatives
        right = np.zeros((size.size, s0.shape[1] + 2))
        right[0, 1] = stage
        base, base_s, lost = u0, s0, h * (u0[-1] - behind)
        for ahead in ((1.0 - _GAMMA) / _GAMMA, 0.0):
            right[:, 0] = store * base
            right[-1, 0] -= stage * lost
            right[:, 2:] = store[:, None] * base_s
            solved = solve_banded((1, 1), bands, right, check_finite=False)
            free, unit = solved[:, 0], solved[:, 1]
            total = unit[0] + 0.5 * size[0] / k[0]  # surface = free − total·q
            surface, q, slope, by = _surface(surface_flux, free[0], total, state.surface_c)
            surface_s = (solved[0, 2:] - total * by) / (1.0 + total * slope)
            u1, s1 = free - q * unit, solved[:, 2:] - np.outer(unit, by + slope * surface_s)
            # the second stage starts from (1 − γ) of the way
            base, base_s = u0 + ahead * (u1 - u0), s0 + ahead * (s1 - s0)
        return State(u1, s1, surface, surface_s)

    def at_junction(self, state: State) -> tuple[float, np.ndarray]:
        """Temperature at the thermocouple, °C, and its derivatives by the parameters."""
        *_, size, centre = self._made
        depth = self.depth_mm * 1e-3
        u, s = state.temperature_c, state.sensitivity
        if depth < centre[0]:  # between the surface and the first centre
            share, by = depth / centre[0], state.surface_sensitivity
            return (1 - share) * state.surface_c + share * u[0], (1 - share) * by + share * s[0]
        j = min(int(np.searchsorted(centre, depth)), size.size - 1)
        share = min((depth - centre[j - 1]) / (centre[j] - centre[j - 1]), 1.0)
        return (1 - share) * u[j - 1] + share * u[j], (1 - share) * s[j - 1] + share * s[j]


def _surface(flux_of: Callable, free: float, total: float, before: float):
    """Surface temperature where surface = free − total·flux, by safeguarded Newton steps, and the flux there."""
    surface, low, high = before, -1e5, 1e5
    for _ in range(60):
        q, slope, by = flux_of(surface)
        miss = surface - free + total * q
        if abs(miss) < 1e-9 * (1.0 + abs(surface)):
            break
        low, high = (surface, high) if miss < 0.0 else (low, surface)
        new = surface - miss / max(1.0 + total * slope, 1e-3)
        surface = new if low < new < high else 0.5 * (low + high)
    return surface, q, slope, by
