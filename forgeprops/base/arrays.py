"""Numbers and arrays alike: one number stays a float; integrals along a temperature curve."""

import numpy as np

#: Weights of Simpson's rule with 16 strips on the unit interval.
_SIMPSON = np.array([1.0, *[4.0, 2.0] * 7, 4.0, 1.0]) / 48.0


def plain(value):
    """A float for one number, the array itself for many."""
    return float(value) if np.ndim(value) == 0 else value


def rounded(value: float | None) -> float | None:
    """A number of four digits, as JSON has them; None stays None."""
    return None if value is None else float(f"{value:.4g}")


def pieces_along(rate, time_s, temperature) -> np.ndarray:
    """Integral of ``rate(temperature)`` over each piece of a curve that is straight between its points.

    >>> pieces_along(lambda t: t**2, [0.0, 3.0], [0.0, 3.0])
    array([9.])
    """
    t, temp = np.asarray(time_s, float), np.asarray(temperature, float)
    inside = temp[:-1, None] + np.diff(temp)[:, None] * np.linspace(0.0, 1.0, _SIMPSON.size)
    return np.diff(t) * (rate(inside) @ _SIMPSON)
