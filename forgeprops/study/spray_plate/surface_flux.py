"""Heat flux at a cooled surface over time, from a thermocouple at a known depth below it."""

from typing import NamedTuple

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
    said, rises = "", np.diff(t) > 0.0
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
        form = "a Plate(thickness_mm, depth_mm, ...)"
        raise InputError(f"plate must be {form}; got {type(plate).__name__}.")
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


class SurfaceFlux(NamedTuple):
    """Heat flux out of the surface over time."""

    time_s: np.ndarray
    flux_w_m2: np.ndarray  # each holds up to its time
    surface_c: np.ndarray
    future_steps: int  # over how many steps ahead a flux was measured
    standard_error_w_m2: float  # of each flux, from the noise alone


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
    middle = np.array([0.5 * (y.min() + y.max())])
    conductivity, heat = (float(of(middle)[0]) for of in plate._made[:2])
    lost = heat * plate.thickness_mm * 1e-3 * (y.max() - y.min())
    mean_flux = max(lost / (t[-1] - t[0]), 1e3)

    def ahead(state, steps, flux: float):
        """The thermocouple over some steps with a held flux, and its derivatives by it."""
        found = []
        for span in steps:
            state = plate.step(state, span, lambda surface_c: (flux, 0.0, np.ones(1)))
            found.append(plate.at_junction(state))
        at, by = zip(*found, strict=True)
        return np.array(at), np.array(by)[:, 0], state

    if future_steps is None:
        reach = 0.5 * (plate.depth_mm * 1e-3) ** 2 / (conductivity / heat)
        future_steps = max(2, int(np.ceil(reach / step)))
        while future_steps < t.size // 4:
            response = ahead(plate.start(float(middle[0]), 1), [step] * future_steps, 0.0)[1]
            if noise / np.sqrt(response @ response) < 0.05 * mean_flux:
                break
            future_steps += max(1, future_steps // 4)
    n = int(check_number(future_steps, "future steps", 1, t.size // 2))
    state, flux, surface, q, steps = plate.start(start, 1), [], [], 0.0, np.diff(t)
    for i in range(t.size - n):
        at, response, _ = ahead(state, steps[i : i + n], q)
        q += float(response @ (y[i + 1 : i + 1 + n] - at)) / float(response @ response)
        *_, state = ahead(state, steps[i : i + 1], q)
        flux.append(q)
        surface.append(state.surface_c)
        by = np.zeros_like(state.sensitivity)
        state = state._replace(sensitivity=by, surface_sensitivity=np.zeros(1))
    error = noise / float(np.sqrt(response @ response))
    return SurfaceFlux(t[1 : len(flux) + 1], np.array(flux), np.array(surface), n, error)
