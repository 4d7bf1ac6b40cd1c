"""End-quench curve from chemistry: hardness against distance from the quenched end of the standard bar."""

import functools

import numpy as np

from ..base.arrays import plain
from ..base.constants import MM_PER_INCH
from ..base.ranges import Warn, contents_outside, outside
from ..base.tables import read_rows
from ..inputs.grades import check_steel
from .ideal_diameter import ideal_diameter, ideal_diameter_warnings

#: Lowest HRC that the conversion tables know (ASTM E140 table 1).
_LOWEST_HRC = 20.0

#: Ideal diameter below which the 3 mm dividing factor is held, mm: its polynomial turns there (derived; the factor must
#: rise as hardenability falls).
_TURN_AT_3_MM = 17.5


@functools.cache
def _coefficients() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Distances, mm; dividing-factor polynomials by distance; their upper ends, mm; initial hardness."""
    rows = read_rows("constants/end_quench_factors.csv")
    factors = [r for r in rows if r["quantity"] == "dividing factor"]
    distance = np.array([float(r["distance_mm"]) for r in factors])
    poly = np.array([[float(r[f"c{i}"]) for i in range(6)] for r in factors])
    upper = np.array([float(r["to"]) for r in factors])
    (hardness,) = [r for r in rows if r["quantity"].startswith("initial hardness")]
    return distance, poly, upper, np.array([float(hardness[f"c{i}"]) for i in range(6)])


def end_quench_distances_mm() -> np.ndarray:
    """Distances from the quenched end at which the standard gives the curve, mm: 1.5, 3, 5 … 50."""
    return np.concatenate(([1.5], _coefficients()[0]))


def as_quenched_hardness_hrc(carbon):
    """Hardness of full martensite (1.5 mm from the quenched end) by its carbon, HRC; 0.10-0.70 wt%.

    .. [1] ASTM A255-10, initial hardness, as restated in a metallurgy handbook
       (data/constants/end_quench_factors.csv) (read).
    .. [2] On carbon alone: R. A. Grange, C. R. Hribal & L. F. Porter, Metall. Trans. A 8 (1977) 1775 (read).
    """
    return plain(np.polynomial.polynomial.polyval(np.asarray(carbon, float), _coefficients()[3]))


def dividing_factors(ideal_diameter_mm) -> np.ndarray:
    """Initial hardness divided by hardness, at each distance of the metric set from 3 mm on (last axis).

    A polynomial of the ideal diameter (25.4-177.8 mm) a distance; never below 1, never falling with distance.  Above the end of
    a row the factor is 1; above 177.8 mm the rows that reach it are held; below 25.4 mm the polynomials are continued.

    .. [1] ASTM A255-10, metric dividing factors, as restated in a metallurgy handbook
       (data/constants/end_quench_factors.csv) (read).
    """
    distance, poly, upper, _ = _coefficients()
    top = upper.max()
    di = np.minimum(np.asarray(ideal_diameter_mm, dtype=float), top)[..., None]
    held = np.where(distance == 3.0, np.maximum(di, _TURN_AT_3_MM), di)
    value = np.zeros_like(held)
    for power in range(poly.shape[1] - 1, -1, -1):
        value = value * held + poly[:, power]
    value = np.where(di > upper, 1.0, np.maximum(value, 1.0))
    return np.maximum.accumulate(value, axis=-1)


def end_quench_hrc(steel) -> np.ndarray:
    """Hardness at `end_quench_distances_mm`, HRC; for arrays of contents the last axis is the distance."""
    initial = np.asarray(as_quenched_hardness_hrc(steel.get("C")), dtype=float)
    factors = dividing_factors(ideal_diameter(steel))
    initial = np.broadcast_to(initial[..., None], factors.shape[:-1] + (1,))
    return np.concatenate((initial, initial / factors), axis=-1)


def hardness_at_distance_hrc(steel, distance_mm):
    """Hardness at any distance, straight lines between the standard's distances, HRC.

    Nearer than 1.5 mm the first value stands, beyond 50 mm the last; arrays of contents pair with distances.
    """
    grid, curve = end_quench_distances_mm(), end_quench_hrc(steel)
    distance = np.clip(np.asarray(distance_mm, dtype=float), grid[0], grid[-1])
    right = np.clip(np.searchsorted(grid, distance), 1, grid.size - 1)
    share = (distance - grid[right - 1]) / (grid[right] - grid[right - 1])
    if curve.ndim == 1:
        below, above = curve[right - 1], curve[right]
    else:
        right = np.broadcast_to(right, curve.shape[:-1])[..., None]
        below = np.take_along_axis(curve, right - 1, axis=-1)[..., 0]
        above = np.take_along_axis(curve, right, axis=-1)[..., 0]
    return plain(below + share * (above - below))


@functools.cache
def _bar() -> tuple[np.ndarray, np.ndarray]:
    """ln of the cooling rate at 700 °C, °C/s, along the standard bar, and of the distance from its quenched end, mm."""
    rows = read_rows("validation/end_quench_cooling.csv")
    names = ("rate_at_700_c_per_s", "distance_mm")
    return tuple(np.log([float(r[name]) for r in rows]) for name in names)


def end_quench_equivalent_mm(rate_at_700_c_per_s):
    """Distance from the quenched end of the standard bar that cools alike, mm.

    By the cooling rate at 700 °C, 272 °C/s at 1.6 mm to 1.9 at 51 mm; straight lines in the logarithms, the ends held.

    .. [1] W. D. Callister, Materials Science and Engineering, figs 14.9 and 14.10; the distances
       (data/validation/end_quench_cooling.csv) (from memory).
    """
    log_rate, log_mm = _bar()
    faster = -np.log(np.maximum(rate_at_700_c_per_s, 1e-12))
    return plain(np.exp(np.interp(faster, -log_rate, log_mm)))


def slowest_cooling_c_per_s() -> float:
    """Cooling rate at 700 °C, 51 mm from the quenched end."""
    return float(np.exp(_bar()[0][-1]))


def end_quench_warnings(steel) -> tuple[Warn, ...]:
    """Warnings of one steel's end-quench curve: outside the standard's ranges, or below 20 HRC."""
    found = contents_outside("end_quench", steel)
    di = ideal_diameter(steel)
    if di < MM_PER_INCH:
        text = (
            f"ideal diameter {di:.1f} mm is below 25.4 mm, where the standard's dividing factors begin; the "
            "curve is continued, only its steep fall is meaningful."
        )
        found.append(Warn("range:end_quench.ideal_diameter", text))
    else:
        found.append(outside("end_quench.ideal_diameter", di))
    lowest = float(end_quench_hrc(steel)[-1])
    if lowest < _LOWEST_HRC:
        text = f"hardness falls to {lowest:.0f} HRC; below 20 HRC the scale has no conversion."
        found.append(Warn("end_quench:below_20_hrc", text))
    boron = [w for w in ideal_diameter_warnings(steel) if w.code == "ideal_diameter:boron"]
    return tuple(w for w in found if w is not None) + tuple(boron)


def end_quench(steel):
    """Hardness against distance from the quenched end of the standard end-quench bar, from chemistry.

    Initial hardness from carbon, divided at each distance by a factor that depends on the ideal diameter.

    Parameters
    ----------
    steel : Steel
        Valid 0.10-0.70 C, 0.50-1.65 Mn, 0.15-0.60 Si, Cr ≤ 1.35, Ni ≤ 1.50, Cu ≤ 0.35, Mo ≤ 0.55, V ≤ 0.20
        wt% and an ideal diameter of 25.4-177.8 mm.

    Returns
    -------
    pandas.DataFrame
        Columns ``distance_mm`` and ``hrc``.  ``attrs["warnings"]`` holds the warnings (tuple of Warn),
        ``attrs["ideal_diameter_mm"]`` the ideal diameter, ``attrs["source"]`` the source.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> curve = end_quench(grade("4140"))
    >>> tuple(round(float(x), 1) for x in (curve.distance_mm[0], curve.hrc[0], curve.hrc[14]))
    (1.5, 56.6, 38.4)
    """
    steel = check_steel(steel)
    import pandas as pd  # late: a quarter of a second

    frame = pd.DataFrame({"distance_mm": end_quench_distances_mm(), "hrc": end_quench_hrc(steel)})
    frame.attrs["warnings"] = end_quench_warnings(steel)
    frame.attrs["ideal_diameter_mm"] = ideal_diameter(steel)
    frame.attrs["source"] = "ASTM A255-10, read as restated in a public metallurgy handbook text"
    return frame
