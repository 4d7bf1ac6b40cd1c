"""Heat transfer coefficient against surface temperature, from a thermocouple at a known depth in a plate.

One curve is taken for the whole trace, which holds while spray and water stay the same and is far less
sensitive to noise than the flux over time (`surface_flux`), which follows any cooling.
"""

import functools
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError, check_curve, check_kind, check_number
from ...base.in_words import InWords
from ...base.ranges import Warn
from ...io.tables import data_frame
from ...thermal.spray import spray_w_m2k
from ..shop.traces import noise_of
from .conduction import Plate

#: Longest step of the march, s, and most points of a trace that are used (longer traces are averaged in
#: blocks).
_LONGEST_STEP_S, _MOST_POINTS = 0.05, 1500
#: Distance of the knots, K, about, and standard deviation of the second difference of ln h from knot to knot that the
#: curve is expected to have: what published spray laws reach at their bends (our own choice).
_KNOT_K, _ROUGHNESS = 25.0, 0.15
#: Standard deviation of ln h about the first estimate, a factor of 4.5: holds knots that no reading reaches.
_LEVEL = 1.5
#: Readings whose mean is the first guess of an unknown starting temperature.
_FIRST_READINGS = 3


def _checked(time_s, temperature_c, plate, start_c: float | None, noise_c: float | None):
    """Times, temperatures, starting temperature and noise of a trace, each checked or estimated."""
    t, y = check_curve(time_s, temperature_c, "the trace", 20)
    if y.min() < -60.0 or y.max() > 1400.0:
        span = f"{y.min():.0f} to {y.max():.0f} °C"
        raise InputError(f"the trace reaches {span}, out of range (-60 to 1400 °C).")
    check_kind(plate, Plate, "plate", form="a Plate(thickness_mm, depth_mm, ...)")
    start = float(y[:_FIRST_READINGS].mean())
    if start_c is not None:
        start = check_number(start_c, "starting temperature", -60.0, 1400.0, "°C")
    noise = noise_of(y) if noise_c is None else check_number(noise_c, "noise", 0.0, 100.0, "K")
    return t, y, start, max(noise, 0.05)


def _averaged(t: np.ndarray, y: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Means of blocks, so that at most `most` points are left; the first reading stays first."""
    block = -(-(t.size - 1) // most)
    if block <= 1:
        return t, y, 1
    n = (t.size - 1) // block * block
    means = (np.r_[v[0], v[1 : n + 1].reshape(-1, block).mean(axis=1)] for v in (t, y))
    return (*means, block)


def surface_flux(t, y, plate: Plate, start: float, noise: float):
    """Heat flux at the cooled surface, step after step: times up to which each holds, W/m², and surface, °C.

    Function specification: at each step the one flux is taken that, held over some steps ahead, fits the next
    readings best, then one step is marched with it.  As many steps as bring the error by noise below 5 % of the
    mean flux, and at least half the time heat takes to reach the thermocouple.

    .. [1] J. V. Beck, B. Blackwell & C. R. St. Clair, Inverse Heat Conduction (1985) (from memory).
    """
    step, middle = float(np.median(np.diff(t))), 0.5 * (y.min() + y.max())
    conductivity, heat = (float(of(np.array([middle]))[0]) for of in plate._made[:2])
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

    reach = 0.5 * (plate.depth_mm * 1e-3) ** 2 / (conductivity / heat)
    n = max(2, int(np.ceil(reach / step)))
    while n < t.size // 4:
        response = ahead(plate.start(middle, 1), [step] * n, 0.0)[1]
        if noise / np.sqrt(response @ response) < 0.05 * mean_flux:
            break
        n += max(1, n // 4)
    state, flux, surface, q, steps = plate.start(start, 1), [], [], 0.0, np.diff(t)
    for i in range(t.size - n):
        at, response, _ = ahead(state, steps[i : i + n], q)
        q += float(response @ (y[i + 1 : i + 1 + n] - at)) / float(response @ response)
        *_, state = ahead(state, steps[i : i + 1], q)
        flux.append(q)
        surface.append(state.surface_c)
        by = np.zeros_like(state.sensitivity)
        state = state._replace(sensitivity=by, surface_sensitivity=np.zeros(1))
    return t[1 : len(flux) + 1], np.array(flux), np.array(surface)


@dataclass(frozen=True, repr=False)
class CoolingCurve(InWords):
    """Heat transfer coefficient against surface temperature."""

    surface_c: np.ndarray  # the curve's knots; between them ln h is straight
    h_w_m2k: np.ndarray
    #: Of ln h, from the noise alone: 0.05 means 5 %.  Conductivity, heat capacity and depth add theirs.
    standard_error: np.ndarray
    #: Knots well inside the surface temperatures of the trace (a knot's distance from the lowest, half of one from
    #: the highest): nearer to the ends only one side of a knot is measured.
    seen: np.ndarray
    water_c: float  # temperature that h refers to
    time_s: np.ndarray
    measured_c: np.ndarray
    fitted_c: np.ndarray  # the model's thermocouple
    at_surface_c: np.ndarray  # and its surface
    noise_c: float  # of the trace
    misfit_c: float  # standard deviation of measured minus fitted
    warnings: tuple[Warn, ...] = ()

    def table(self):
        """The seen part: surface_c, h_w_m2k, low and high (95 %), flux_w_m2 (DataFrame)."""
        at = self.seen
        surface_c, h, factor = self.surface_c[at], self.h_w_m2k[at], self.standard_error[at]
        factor, flux = np.exp(1.96 * factor), h * (surface_c - self.water_c)
        columns = {"surface_c": surface_c, "h_w_m2k": h, "low": h / factor, "high": h * factor}
        return data_frame({**columns, "flux_w_m2": flux})

    def bath_table(self) -> tuple[tuple[float, float], ...]:
        """The seen part as the table of an own bath: ``Quench("own bath", table=curve.bath_table(), fluid_c=curve.water_c)``."""
        at = self.seen
        return tuple(zip(self.surface_c[at].tolist(), self.h_w_m2k[at].tolist(), strict=True))

    def multiplier(self, flux_kg_m2_s: float, from_c: float = 500.0) -> tuple[float, float]:
        """How many times the published spray law the curve is above `from_c`, and the spread of that factor.

        The first is the mean of ln(h/law) over the seen knots, as a factor: what `Shop.spray` would be.  The
        second is the factor's standard deviation from knot to knot (0.2 means the law's shape fits within 20
        %).
        """
        flux = check_number(flux_kg_m2_s, "spray flux", 0.1, 60.0, "kg/(m² s)")
        at = self.seen & (self.surface_c >= from_c)
        if not at.any():
            raise InputError(
                f"the trace shows no surface above {from_c:g} °C; give a lower from_c."
            )
        law = np.array([spray_w_m2k(flux, float(s), self.water_c) for s in self.surface_c[at]])
        ratio = np.log(self.h_w_m2k[at] / law)
        return float(np.exp(ratio.mean())), float(ratio.std())

    def words(self) -> str:
        seen, misfit = int(self.seen.sum()), f"misfit {self.misfit_c:.2g} K"
        words = f"h of {seen} surface temperatures, {misfit} at a noise of {self.noise_c:.2g} K"
        return "\n".join([f"{words}; .table() has them.", *map(str, self.warnings)])

    shown = table


def cooling_curve(
    time_s, temperature_c, plate: Plate, water_c: float, *, start_c: float | None = None,
    noise_c: float | None = None, response_s: float = 0.0,
) -> CoolingCurve:  # fmt: skip
    """h against surface temperature from one thermocouple trace.

    ln h at knots of surface temperature is fitted by least squares with a penalty on its second differences
    (a Tikhonov regularisation of second order, weighted by noise and by how rough such curves are), starting
    from the step-by-step flux; the noise is lowered in stages so that the fit finds its way through the
    boiling peak.

    Parameters
    ----------
    time_s, temperature_c : array-like; the trace from the moment the water starts, in order of time,
        20 readings or more.
    plate : Plate; with the depth of the thermocouple.  Use a material that does not transform in the
        range ("stainless").
    water_c : float; water temperature, 0 to 100 °C.
    start_c : float, optional; even temperature of the plate at the first reading, °C; by default
        fitted along, from the first three readings.
    noise_c : float, optional; standard deviation of a reading; by default estimated (`traces.noise_of`).
    response_s : float; first-order response time of the thermocouple, s.

    Raises
    ------
    InputError
        A trace that is not one, that does not cool by 30 K, or a bad option.

    References
    ----------
    .. [1] A. N. Tikhonov & V. Y. Arsenin 1977; D. W. Marquardt, J. SIAM 11 (1963) 431 (from
       memory).
    .. [2] Expected second difference of ln h of 0.15 for knots 25 K apart (our choice).
    """
    t, y, start, noise = _checked(time_s, temperature_c, plate, start_c, noise_c)
    water = check_number(water_c, "water temperature", 0.0, 100.0, "°C")
    lag = check_number(response_s, "response time", 0.0, 60.0, "s")
    if start - y.min() < 30.0 or start <= water + 30.0:
        raise InputError(
            f"the trace runs from {start:.0f} to {y.min():.0f} °C beside water of {water:g} °C; "
            "it must cool by 30 K or more."
        )
    t, y, block = _averaged(t, y, _MOST_POINTS)
    sigma = noise / np.sqrt(block)
    n = max(4, int(round((start - water) / _KNOT_K)) + 1)
    knots = np.linspace(water, start, n)
    theta = first = _first_curve(t, y, plate, water, start, noise, knots)
    model = functools.partial(_reading, plate, t, knots, water, lag)
    # the start is one more unknown, held by what is known of it
    slack = 1e-3 if start_c is not None else np.hypot(noise / np.sqrt(_FIRST_READINGS), 2.0)
    theta = first = np.r_[first, start]
    # precisions known beforehand: of the curve's bends about zero, of level and start about the first
    bend = np.zeros((n - 2, n + 1))
    bend[:, :n] = np.diff(np.eye(n), n=2, axis=0) / _ROUGHNESS
    level = 1.0 / np.r_[np.full(n, _LEVEL), slack]
    for stage in [s for s in (30.0, 10.0, 3.0) if s > 1.5 * sigma] + [max(sigma, 0.3)]:
        theta, run = _fit(model, y, theta, first, max(stage, sigma), (bend, level))
    fitted, by, surface = run
    misfit = float((y - fitted).std())
    whole = by.T @ by / max(sigma, misfit) ** 2 + bend.T @ bend + np.diag(level**2)
    errors = np.sqrt(np.diag(np.linalg.inv(whole)))[:n]
    apart = knots[1] - knots[0]
    seen = (knots >= surface.min() + apart) & (knots <= surface.max() - 0.5 * apart)
    warnings = []
    if misfit > 2.0 * max(sigma, 0.3):
        text = (
            f"The fit misses the trace by {misfit:.2g} K where the noise is {sigma:.2g} K: spray not "
            "steady, plate transforming, or depth wrong."
        )
        warnings.append(Warn("inverse:misfit", text))
    if errors[seen].max(initial=0.0) > 0.3:
        text = "Part of the curve is badly settled (standard error above 30 %)."
        warnings.append(Warn("inverse:loose", text))
    curve, trace = (knots, np.exp(theta[:n]), errors, seen, water), (t, y, fitted, surface)
    return CoolingCurve(*curve, *trace, noise, misfit, tuple(warnings))


def _first_curve(t, y, plate, water, start, noise, knots) -> np.ndarray:
    """ln h at the knots from the step-by-step flux of a thinned trace: medians about each knot."""
    t, y, block = _averaged(t, y, 250)
    _, flux, surface = surface_flux(t, y, plate, start, noise / np.sqrt(block))
    above = surface - water
    good = (above > 20.0) & (flux > 0.0)
    if not good.any():
        return np.full(knots.size, np.log(1000.0))
    h = np.clip(flux[good] / above[good], 30.0, 60_000.0)
    at, half = surface[good], 0.6 * (knots[1] - knots[0])
    near = {k: np.abs(at - k) < half for k in knots}
    found = [(k, np.log(np.median(h[close]))) for k, close in near.items() if close.any()]
    if not found:
        return np.full(knots.size, np.log(np.median(h)))
    return np.interp(knots, *np.array(found).T)


def _reading(plate: Plate, t, knots, water: float, lag: float, theta):
    """The thermocouple's reading for ln h at the knots and the start, its derivatives by both, and the surface."""
    n, distance = knots.size, knots[1] - knots[0]

    def flux(surface):
        x = min(max((surface - knots[0]) / distance, 0.0), n - 1.0)
        j = min(int(x), n - 2)
        w = x - j
        h = np.exp((1.0 - w) * theta[j] + w * theta[j + 1])
        by = np.zeros(n + 1)
        by[j], by[j + 1] = (1.0 - w) * h * (surface - water), w * h * (surface - water)
        slope = h * (theta[j + 1] - theta[j]) / distance if 0.0 < x < n - 1.0 else 0.0
        return h * (surface - water), h + slope * (surface - water), by

    start, at_start = float(theta[n]), np.r_[np.zeros(n), 1.0]
    state = plate.start(start, n + 1, at_start)
    before = now = np.r_[start, at_start]
    rows, surfaces = [now], [state.surface_c]
    for span in np.diff(t):
        parts = max(1, int(np.ceil(span / _LONGEST_STEP_S - 1e-9)))
        for _ in range(parts):
            state = plate.step(state, span / parts, flux)
        true, by = plate.at_junction(state)
        true = np.r_[true, by]
        keep = np.exp(-span / lag) if lag > 0.0 else 0.0
        # a slow junction follows the mean of the step's ends
        now = keep * now + (1.0 - keep) * 0.5 * (before + true) if keep else true
        before = true
        rows.append(now)
        surfaces.append(state.surface_c)
    every = np.array(rows)
    return every[:, 0], every[:, 1:], np.array(surfaces)


def _fit(model, y, theta, first, sigma: float, weights):
    """Least squares for ln h at the knots and the start, with what is known of both beforehand as further readings."""
    from scipy.optimize import least_squares

    bend, level = weights
    seen = functools.lru_cache(maxsize=4)(lambda at: model(np.frombuffer(at)))

    def misses(at):
        fitted = seen(at.tobytes())[0]
        return np.concatenate([(fitted - y) / sigma, bend @ at, level * (at - first)])

    def slopes(at):
        return np.vstack([seen(at.tobytes())[1] / sigma, bend, np.diag(level)])

    found = least_squares(misses, theta, slopes, method="lm", ftol=1e-4, xtol=1e-4, max_nfev=25)
    return found.x, seen(found.x.tobytes())
