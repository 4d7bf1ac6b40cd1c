"""Heat flux at a cooled surface over time, from a thermocouple at a known depth below it."""

from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError, check_number
from ..shop.traces import noise_of
from .conduction import Plate

#: Readings whose mean is the first guess of an unknown starting temperature.
FIRST_READINGS = 3


def checked_trace(time_s, temperature_c, what: str = "trace") -> tuple[np.ndarray, np.ndarray]:
    try:
        t, y = (
            np.asarray(time_s, dtype=float).ravel(),
            np.asarray(temperature_c, dtype=float).ravel(),
        )
    except Exception:  # noqa: BLE001  (whatever a foreign object says)
        raise InputError(f"the {what} is not made of numbers; give two lists of numbers.") from None
    if t.size != y.size or t.size < 20:
        raise InputError(
            f"the {what} has {t.size} times and {y.size} temperatures; give 20 or more of each."
        )
    if not (np.isfinite(t).all() and np.isfinite(y).all()):
        raise InputError(
            f"the {what} holds a number that is not finite; take such readings out first."
        )
    if (np.diff(t) <= 0.0).any():
        raise InputError(
            f"time of the {what} does not rise at reading "
            f"{int(np.argmax(np.diff(t) <= 0)) + 2}; sort it and average double times first."
        )
    if y.min() < -60.0 or y.max() > 1400.0:
        raise InputError(
            f"the {what} reaches {y.min():.0f} to {y.max():.0f} °C, out of range (-60 to 1400 °C)."
        )
    return t, y


def averaged(t: np.ndarray, y: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Means of blocks, so that at most `most` points are left; the first reading stays first."""
    block = -(-(t.size - 1) // most)
    if block <= 1:
        return t, y, 1
    n = (t.size - 1) // block * block
    return (
        np.r_[t[0], t[1 : n + 1].reshape(-1, block).mean(axis=1)],
        np.r_[y[0], y[1 : n + 1].reshape(-1, block).mean(axis=1)],
        block,
    )


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
    time_s,
    temperature_c,
    plate: Plate,
    *,
    start_c: float | None = None,
    noise_c: float | None = None,
    future_steps: int | None = None,
) -> SurfaceFlux:
    """Heat flux at the cooled surface from a thermocouple inside, step after step.

    Function specification with a flux that is held constant over `future_steps`: at each step the one flux is
    taken that fits the next readings best, then one step is marched with it.

    Parameters
    ----------
    time_s, temperature_c : array-like
        The trace, in order of time, 20 readings or more.
    plate : Plate
        Plate and depth of the thermocouple.
    start_c : float, optional
        Even temperature of the plate at the first reading; by default the mean of the first three
        readings.
    noise_c : float, optional
        Standard deviation of a reading; by default estimated (`traces.noise_of`).
    future_steps : int, optional
        By default as many as bring the error by noise below 5 % of the mean flux, and at least half the time
        heat takes to reach the thermocouple.

    References
    ----------
    .. [1] J. V. Beck, B. Blackwell & C. R. St. Clair, Inverse Heat Conduction (1985) (from memory).
    """
    t, y = checked_trace(time_s, temperature_c)
    check_plate(plate)
    start = start_of(t, y, start_c)
    noise = max(
        noise_of(y) if noise_c is None else check_number(noise_c, "noise", 0.0, 100.0, "K"), 0.05
    )
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
    one = np.ones(1)
    for i in range(1, t.size - future_steps + 1):
        ahead, miss, response = state, [], []
        for j in range(future_steps):
            held = q
            ahead = plate.step(
                ahead, t[i + j] - t[i + j - 1], lambda share, at, held=held: (held, 0.0, one)
            )
            at_junction, by = plate.at_junction(ahead)
            miss.append(y[i + j] - at_junction)
            response.append(by[0])
        response = np.array(response)
        q += float(response @ np.array(miss)) / float(response @ response)
        held = q
        state = plate.step(state, t[i] - t[i - 1], lambda share, at, held=held: (held, 0.0, one))
        flux.append(q)
        surface.append(state.surface_c)
        state = type(state)(
            state.temperature_c, np.zeros_like(state.sensitivity), state.surface_c, np.zeros(1)
        )
    error = noise / float(np.sqrt(response @ response))
    return SurfaceFlux(t[1 : len(flux) + 1], np.array(flux), np.array(surface), future_steps, error)


def _unit_response(plate: Plate, at_c: float, step: float, n: int) -> np.ndarray:
    state, response, one = plate.start(at_c, 1), [], np.ones(1)
    for _ in range(n):
        state = plate.step(state, step, lambda share, at: (0.0, 0.0, one))
        response.append(plate.at_junction(state)[1][0])
    return np.array(response)


def check_plate(plate) -> None:
    if not isinstance(plate, Plate):
        raise InputError(
            f"plate must be a Plate(thickness_mm, depth_mm, ...); got {type(plate).__name__}."
        )


def start_of(t: np.ndarray, y: np.ndarray, start_c: float | None) -> float:
    if start_c is not None:
        return check_number(start_c, "starting temperature", -60.0, 1400.0, "°C")
    return float(y[:FIRST_READINGS].mean())
