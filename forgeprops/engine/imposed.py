"""Structure along a temperature curve that is given, not computed."""

from __future__ import annotations

from ..transformation.decomposition import decompose
from .march import set_austenite

__all__ = ["follow"]


def follow(
    case,
    start,
    kin,
    arrhenius,
    time_s,
    temperature_c,
    grain_um,
    forward,
    inverse,
    top,
    state,
    history,
):
    """Decompose one point along the curve, in steps of at most 1 °C and 1/50 of an interval at level temperature.

    Parameters
    ----------
    time_s, temperature_c : array
        The curve, rising times.
    state : array, shape (ROWS, 1)
    history : array, shape (points of the curve, 5)
        Shares of ferrite, pearlite, bainite, martensite, austenite at the curve's points; filled here.
    """
    set_austenite(case, kin, state, 0, 1.0, 0.0, grain_um, temperature_c[0])
    history[0, 4] = 1.0
    for j in range(1, time_s.shape[0]):
        dt = time_s[j] - time_s[j - 1]
        t0 = temperature_c[j - 1]
        rise = temperature_c[j] - t0
        n = int(max(abs(rise), 50.0 if abs(rise) < 1.0 else 1.0)) + 1
        for i in range(n):
            decompose(
                state,
                0,
                t0 + rise * (i + 0.5) / n,
                t0 + rise * (i + 1.0) / n,
                dt / n,
                -3600.0 * rise / dt,
                case.ae1,
                case.bainite_limit,
                arrhenius,
                start,
                forward,
                inverse,
                top,
            )
        for r in range(4):
            history[j, r] = state[2 + r, 0]
        history[j, 4] = state[1, 0]
