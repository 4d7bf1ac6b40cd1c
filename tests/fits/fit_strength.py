"""Refit the lines of ``data/fits/strength_fits.csv`` from ``data/validation/handbook_properties.csv`` and print them."""

import numpy as np

from forgeprops.base.tables import read_rows
from forgeprops.strength.hardness_scales import convert_array


def handbook(branch: str | None = None) -> dict[str, np.ndarray]:
    """Columns of the handbook rows of one branch (None: every row that is in a fit) as float arrays."""
    rows = read_rows("validation/handbook_properties.csv")
    left_out = "left out", "cold drawn"
    rows = [r for r in rows if (r["branch"] == branch if branch else r["branch"] not in left_out)]
    keys = ("yield_mpa", "tensile_mpa", "elongation_pct", "reduction_of_area_pct", "hardness_hb")
    out = {key: np.array([float(r[key] or "nan") for r in rows]) for key in keys}
    out["hardness_hv"] = convert_array(out["hardness_hb"], "HB", "HV")[0]
    return out


def _line(x, y) -> tuple[float, float, float]:
    """Intercept, slope, standard error of the residuals."""
    keep = np.isfinite(x) & np.isfinite(y)
    (slope, intercept), squares, *_ = np.polyfit(x[keep], y[keep], 1, full=True)
    return float(intercept), float(slope), float(np.sqrt(squares[0] / (keep.sum() - 2)))


def fit_strength() -> dict[str, float]:
    """Refit every line that rests on the handbook rows; keys are the ids of ``data/fits/strength_fits.csv``."""
    fp, qt, everything = handbook("ferrite-pearlite"), handbook("quenched and tempered"), handbook()
    lines = {
        "fp_tensile": (fp["hardness_hv"], fp["tensile_mpa"]),
        "fp_yield": (fp["hardness_hv"], fp["yield_mpa"]),
        "qt_yield": (qt["tensile_mpa"], qt["yield_mpa"]),
        "elongation_ln": (everything["tensile_mpa"], np.log(everything["elongation_pct"])),
        "fp_reduction": (fp["hardness_hb"], fp["reduction_of_area_pct"]),
        "qt_reduction": (qt["hardness_hb"], qt["reduction_of_area_pct"]),
    }
    ends, b = ("intercept", "slope", "se"), handbook("bainite")
    out = {f"{n}_{e}": v for n, xy in lines.items() for e, v in zip(ends, _line(*xy), strict=True)}
    out["b_tensile_slope"] = float(np.mean(b["tensile_mpa"] / b["hardness_hv"]))
    out["b_yield_ratio"] = float(np.mean(b["yield_mpa"] / b["tensile_mpa"]))
    out["qt_tensile_se_share"] = float(np.std(qt["tensile_mpa"] / (3.12 * qt["hardness_hv"])))
    return out


if __name__ == "__main__":
    for key, value in fit_strength().items():
        print(f"{key},{value:.6g}")
