"""Heat flux at a cooled surface over time, from a thermocouple at a known depth below it."""

from dataclasses import dataclass, replace

import numpy as np

from ...base.errors import InputError, check_number
from ..shop.traces import noise_of
from .conduction import Plate

#: Readings whose mean is the first guess of an unknown starting temperature.
FIRST_READINGS = 3


def checked(time_s, temperature_c, plate, start_c: float | None, noise_c: float | None):
    """Times, temperatures, starting temperature and noise of a trace, each checked or estimated."""
    try:
        t, y = (np.asarray(v, dtype=float).ravel() for v in (time_s, temperature_c))
    except Exception:  # noqa: BLE001  (whatever a foreign object says)
        raise InputError("the trace is not made of numbers; give two lists of numbers.") from None
    said, rises = None, np.diff(t) > 0.0
    if t.size != y.size or t.size < 20:
        said = f"has {t.size} times and {y.size} temperatures; give 20 or more of each"
    elif not (np.isfinite(t).all() and np.isfinite(y).all()):
        said = "holds a number that is not finite; take such readings out first"
    elif not rises.all():
        said = f"does not rise in time at reading {int(np.argmin(rises)) + 2}; sort it and average "
        said += "double times first"
    elif y.min() < -60.0 or y.max() > 1400.0:
        said = f"reaches {y.min():.0f} to {y.max():.0f} °C, out of range (-60 to 1400 °C)"
    if said:
        raise InputError(f"the trace {said}.")
    if not isinstance(plate, Plate):
        got = type(plate).__name__
        raise InputError(f"plate must be a Plate(thickness_mm, depth_mm, ...); got {got}.")
    start = float(y[:FIRST_READINGS].mean())
    if start_c is not None:
        start = check_number(start_c, "starting temperature", -60.0, 1400.0, "°C")
    noise = noise_of(y) if noise_c is None else check_number(noise_c, "noise", 0.0, 100.0, "K")
    return t, y, start, max(noise, 0.05)


def averaged(t: np.ndarray, y: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Means of blocks, so that at most `most` points are left; the first reading stays first."""
    block = -(-(t.size - 1) // most)
    if block <= 1:
        return t, y, 1
    n = (t.size - 1) // block * block
    means = (np.r_[v[0], v[1 : n + 1].reshape(-1, block).mean(axis=1)] for v in (t, y))
    return (*means, block)


@dataclass(frozen=True)
class SurfaceFlux:
    """Heat flux out of the surface over time.

    Attributes
    ----------
    time_s, flux_w_m2, surface_c : Each flux holds up to its time.
    future_steps : Over how many steps ahead it was measured.
    standard_error_w_m2 : Of each flux, from the noise alone.
    """

    time_s: np.ndarray
    flux_w_m2: np.ndarray
    surface_c: np.ndarray
    future_steps: int
    standard_error_w_m2: float


def surface_flux(
    time_s, temperature_c, plate, *, start_c=None, noise_c=None, future_steps: int | None = None
) -> SurfaceFlux:
    """Heat flux at the cooled surface from a thermocouple inside, step after step.

    Function specification with a flux that is held constant over `future_steps`: at each step the one flux is
    taken that fits the next readings best, then one step is marched with it.

    Parameters
    ----------
    time_s, temperature_c : array-like; the trace, in order of time, 20 readings or more.
    plate : Plate and depth of the thermocouple.
    start_c : Even temperature of the plate at the first reading; by default the mean of the first
        three readings.
    noise_c : Standard deviation of a reading; by default estimated (`traces.noise_of`).
    future_steps : By default as many as bring the error by noise below 5 % of the mean flux, and at
        least half the time heat takes to reach the thermocouple.

    References
    ----------
    .. [1] J. V. Beck, B. Blackwell & C. R. St. Clair, Inverse Heat Conduction (1985) (from memory).
    """
    t, y, start, noise = checked(time_s, temperature_c, plate, start_c, noise_c)
    step = float(np.median(np.diff(t)))
    k_of, heat_of, *_ = plate._made
    middle = np.array([0.5 * (y.min() + y.max())])
    diffusivity = float(k_of(middle)[0]) / float(heat_of(middle)[0])
    lost = float(heat_of(middle)[0]) * plate.thickness_mm * 1e-3 * (y.max() - y.min())
    mean_flux = max(lost / (t[-1] - t[0]), 1e3)
    if future_steps is None:
        reach = 0.5 * (plate.depth_mm * 1e-3) ** 2 / diffusivity
        future_steps = max(2, int(np.ceil(reach / step)))
        while future_steps < t.size // 4:
            response = _unit_response(plate, float(middle[0]), step, future_steps)
            if noise / np.sqrt(response @ response) < 0.05 * mean_flux:
                break
            future_steps += max(1, future_steps // 4)
    future_steps = int(check_number(future_steps, "future steps", 1, t.size // 2))
    state, flux, surface, q = plate.start(start, 1), [], [], 0.0
    for i in range(1, t.size - future_steps + 1):
        ahead, miss, response = state, [], []
        for j in range(future_steps):
            ahead = plate.step(ahead, t[i + j] - t[i + j - 1], _held(q))
            at_junction, by = plate.at_junction(ahead)
            miss.append(y[i + j] - at_junction)
            response.append(by[0])
        response = np.array(response)
        q += float(response @ np.array(miss)) / float(response @ response)
        state = plate.step(state, t[i] - t[i - 1], _held(q))
        flux.append(q)
        surface.append(state.surface_c)
        by = np.zeros_like(state.sensitivity)
        state = replace(state, sensitivity=by, surface_sensitivity=np.zeros(1), flux_w_m2=0.0)
    error = noise / float(np.sqrt(response @ response))
    return SurfaceFlux(t[1 : len(flux) + 1], np.array(flux), np.array(surface), future_steps, error)


def _held(flux: float):
    """A surface flux that is held, for `Plate.step`: itself, no slope, and its own derivative."""
    return lambda share, surface_c: (flux, 0.0, np.ones(1))


def _unit_response(plate: Plate, at_c: float, step: float, n: int) -> np.ndarray:
    state, response = plate.start(at_c, 1), []
    for _ in range(n):
        state = plate.step(state, step, _held(0.0))
        response.append(plate.at_junction(state)[1][0])
    return np.array(response)
