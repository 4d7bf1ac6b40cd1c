"""A torch or coil on the hosel: temperature along hosel and neck while the head stays behind, and what it tempers.

Hosel and neck are one bar, even across (its Biot number is 0.01), from the free end to the body of the head, which is a
lump.  Heat goes evenly into a band; its hottest place follows the set temperature, up in a minute and then held.
"""

import functools
from typing import NamedTuple

import numpy as np

from ..base.constants import ZERO_C_K
from .properties import conductivity, density_kg_m3, ferrite_cp_j_kgk
from .surroundings import radiation_w_m2k

#: A practised hand takes a minute to temperature (common practice, no source).
RISE_S = 60.0
#: Still air on a round of 13 mm at some hundred degrees, W/(m² K), and the emissivity of oxidised steel (from memory).
_STILL_AIR_W_M2K, _EMISSIVITY = 10.0, 0.8
#: The head behind: mass and surface of a demonstration head without hosel; a wet cloth takes 1-5 kW/(m² K) and stays near
#: 60 °C (from memory).
_BODY_KG, _BODY_M2, _CLOTH_W_M2K, _CLOTH_C = 0.2, 0.012, 2000.0, 60.0
#: What the band covers beside the bend zone, mm (our choice: only metal above about 620 °C softens).
_BESIDE_MM = 10.0
#: Cells of hosel and neck, time steps of a rise and of a hold.
_HOSEL_CELLS, _NECK_CELLS, _RISE_STEPS, _HOLD_STEPS = 26, 9, 20, 60
#: Cooling in air afterwards is followed to here, °C, in steps of so many s.
_COLD_C, _COOLING_STEP_S = 350.0, 10.0
_TABLE_C = np.arange(0.0, 801.0, 20.0)


class HoselHeat(NamedTuple):
    """Temperatures of a local heat; first axis is the head."""

    place_mm: np.ndarray  #: (n, cells); distance of the cells from the free (ferrule) end
    peak_c: np.ndarray  #: (n, cells); highest temperature there
    body_c: np.ndarray  #: (n,); highest temperature of the head behind the neck
    #: (n, 5); tempering integral of face, rim, body, neck and hosel, s: the mean of its logarithm over the neck and over
    #: the bend zone of the hosel.
    zone_j: np.ndarray
    #: (n, 5); highest temperature of the zones, its mean over the neck; of the hosel at its hottest place.
    zone_c: np.ndarray

    @property
    def ferrule_end_c(self) -> np.ndarray:
        return self.peak_c[:, 0]

    @property
    def neck_end_c(self) -> np.ndarray:
        """At the body, where the heel of the face begins."""
        return self.peak_c[:, -1]


def heated_band_mm(hosel_mm, neck_mm, bend_zone_mm):
    """Ends of the heated band, mm from the free end: the bend zone and 10 mm beside it, at most half of the neck.

    >>> [float(end) for end in heated_band_mm(52.0, 18.0, 15.0)]
    [27.0, 61.0]
    """
    return hosel_mm - bend_zone_mm - _BESIDE_MM, hosel_mm + np.minimum(_BESIDE_MM, 0.5 * neck_mm)


@functools.cache
def _metal() -> tuple[np.ndarray, np.ndarray]:
    """Conductivity, W/(m K), and heat per volume, J/(m³ K), on `_TABLE_C`."""
    k = [float(conductivity(t, 1.0)) for t in _TABLE_C]
    rho_cp = [float(density_kg_m3(t) * ferrite_cp_j_kgk(t)) for t in _TABLE_C]
    return np.array(k), np.array(rho_cp)


def hosel_heats(shape_mm: np.ndarray, peak_c, hold_s, cooled, activation_k) -> HoselHeat:
    """`hosel_heat` of many heads, shape (n, 5); equal ones are calculated once."""
    distinct, of = np.unique(shape_mm, axis=0, return_inverse=True)
    found = hosel_heat(tuple(map(tuple, distinct.tolist())), peak_c, hold_s, cooled, activation_k)
    return HoselHeat(*(column[of.ravel()] for column in found))


@functools.lru_cache(maxsize=64)
def hosel_heat(shape_mm, peak_c, hold_s, cooled, activation_k, air_c=25.0) -> HoselHeat:
    """Temperatures along hosel and neck, and what they temper (θ of `forgeprops.transformation.tempering`).

    Of every head length and diameter of the hosel (solid: it is drilled later), length of the neck and its diameter at the body,
    and the length before the neck that the bench bends, mm; temperature of the hottest place, °C, and time there, s; what the
    head lies in meanwhile, "air" or "cloth".

    ``ρ c A ∂T/∂t = ∂/∂s (k A ∂T/∂s) + q - P (h (T - air) + radiation)`` with q even over the band and just enough to hold its
    hottest place at the set temperature; the body is a lump of 200 g.  Implicit steps in finite volumes.  10 °C wrong is a
    factor of 1.4 in time, 4-5 HV.

    .. [1] Fin with radiation: F. P. Incropera & D. P. DeWitt, Fundamentals of Heat and Mass Transfer, extended surfaces;
       conductances of air and cloth by order of magnitude (from memory).
    """
    hosel, outside, neck, base, bend = np.atleast_2d(np.asarray(shape_mm, float)).T[:, :, None]
    i, j = np.arange(_HOSEL_CELLS) + 0.5, np.arange(_NECK_CELLS) + 0.5
    place = np.hstack([hosel * i / _HOSEL_CELLS, hosel + neck * j / _NECK_CELLS])
    cell = np.hstack([hosel / _HOSEL_CELLS + 0.0 * i, neck / _NECK_CELLS + 0.0 * j])
    width = outside + (base - outside) * np.clip((place - hosel) / neck, 0.0, 1.0)
    low, high = heated_band_mm(hosel, neck, bend)
    band = (place >= low) & (place <= high)
    bar = _Bar(1e-3 * cell, 1e-3 * width, cooled, air_c)
    begin = np.full((len(place), place.shape[1] + 1), air_c)

    t_c, j_s, peak = begin, np.zeros_like(begin), begin

    def follow(t_c, j_s, peak, dt, aim=None):
        new = bar.step(t_c, band, dt, aim)
        rate = [np.exp(-activation_k / (t + ZERO_C_K)) for t in (t_c, new)]
        return new, j_s + 0.5 * dt * (rate[0] + rate[1]), np.maximum(peak, new)

    rise = peak_c - air_c
    for n in range(_RISE_STEPS):
        aim = air_c + rise * (n + 1) / _RISE_STEPS
        t_c, j_s, peak = follow(t_c, j_s, peak, RISE_S / _RISE_STEPS, aim)
    # short steps first: a long one would overshoot what is not yet steady
    times = hold_s * (np.arange(_HOLD_STEPS + 1) / _HOLD_STEPS) ** 2
    for dt in np.diff(times) if hold_s > 0.0 else ():
        t_c, j_s, peak = follow(t_c, j_s, peak, dt, peak_c)
    while t_c[:, :-1].max() > _COLD_C:
        t_c, j_s, peak = follow(t_c, j_s, peak, _COOLING_STEP_S)

    def mean_j(mask):
        return np.exp((np.log(j_s[:, :-1]) * mask).sum(axis=1) / mask.sum(axis=1))

    of_body = j_s[:, -1]
    zone_j = [of_body, of_body, of_body, mean_j(place > hosel)]
    zone_j.append(mean_j((place >= hosel - bend) & (place < hosel)))
    of_neck = np.where(place > hosel, peak[:, :-1], 0.0).sum(axis=1) / (place > hosel).sum(axis=1)
    zone_c = [peak[:, -1]] * 3 + [of_neck, peak[:, :-1].max(axis=1)]
    zone_j, zone_c = np.stack(zone_j, axis=1), np.stack(zone_c, axis=1)
    return HoselHeat(place, peak[:, :-1], peak[:, -1], zone_j, zone_c)


class _Bar:
    """Cells of hosel and neck with the body as the last one; lengths in m."""

    def __init__(self, cell, width, cooled, air_c):
        self.cell, self.air_c = cell, air_c
        self.area = 0.25 * np.pi * width**2
        self.surface = np.pi * width * cell
        self.wet = cooled == "cloth"
        self.body_to_c = _CLOTH_C if self.wet else air_c

    def step(self, t_c, band, dt, aim):
        """Temperatures after `dt`, °C, with just the heat into the band that brings its hottest cell to `aim`."""
        bar, body = t_c[:, :-1], t_c[:, -1:]
        k, rho_cp = (np.interp(bar, _TABLE_C, column) for column in _metal())
        half = 0.5 * self.cell / (k * self.area)  # K/W from the middle of a cell to its end
        link = 1.0 / (half + np.append(half[:, 1:], 0.0 * half[:, :1], axis=1))
        loss = self.surface * (_STILL_AIR_W_M2K + radiation_w_m2k(bar, self.air_c, _EMISSIVITY))
        if self.wet:
            taken = np.where(body > _CLOTH_C, _BODY_M2 * _CLOTH_W_M2K, 0.0)
        else:
            radiation = radiation_w_m2k(body, self.air_c, _EMISSIVITY)
            taken = _BODY_M2 * (_STILL_AIR_W_M2K + radiation)
        of_body = _BODY_KG * ferrite_cp_j_kgk(300.0) + 0.0 * body
        store = np.append(rho_cp * self.area * self.cell, of_body, axis=1)
        loss = np.append(loss, taken, axis=1)
        outside = np.append(self.air_c + 0.0 * bar, self.body_to_c + 0.0 * body, axis=1)
        n = store.shape[1]
        matrix = np.zeros((len(t_c), n, n))
        here = np.arange(n)
        matrix[:, here, here] = store / dt + loss
        matrix[:, here[:-1], here[:-1]] += link
        matrix[:, here[1:], here[1:]] += link
        matrix[:, here[:-1], here[1:]] -= link
        matrix[:, here[1:], here[:-1]] -= link
        share = np.append(np.where(band, self.cell, 0.0), 0.0 * body, axis=1)
        share = share / share.sum(axis=1, keepdims=True)
        both = np.stack([store / dt * t_c + loss * outside, share], axis=2)
        plain, per_watt = np.moveaxis(np.linalg.solve(matrix, both), 2, 0)
        if aim is None:
            return plain
        needed = (aim - plain[:, :-1]) / per_watt[:, :-1]
        q = np.maximum(np.where(band, needed, np.inf).min(axis=1), 0.0)
        return plain + q[:, None] * per_watt
