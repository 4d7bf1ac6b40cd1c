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
    x, y = x[keep], y[keep]
    slope, intercept = np.polyfit(x, y, 1)
    residual = y - intercept - slope * x
    return float(intercept), float(slope), float(np.sqrt(residual @ residual / (len(x) - 2)))


def fit_strength() -> dict[str, float]:
    """Refit every line that rests on the handbook rows; keys are the ids of ``data/fits/strength_fits.csv``."""
    out: dict[str, float] = {}

    def put(name, line):
        out[f"{name}_intercept"], out[f"{name}_slope"], out[f"{name}_se"] = line

    fp, qt, everything = handbook("ferrite-pearlite"), handbook("quenched and tempered"), handbook()
    put("fp_tensile", _line(fp["hardness_hv"], fp["tensile_mpa"]))
    put("fp_yield", _line(fp["hardness_hv"], fp["yield_mpa"]))
    put("qt_yield", _line(qt["tensile_mpa"], qt["yield_mpa"]))
    put("elongation_ln", _line(everything["tensile_mpa"], np.log(everything["elongation_pct"])))
    put("fp_reduction", _line(fp["hardness_hb"], fp["reduction_of_area_pct"]))
    put("qt_reduction", _line(qt["hardness_hb"], qt["reduction_of_area_pct"]))
    bainite = handbook("bainite")
    out["b_tensile_slope"] = float(np.mean(bainite["tensile_mpa"] / bainite["hardness_hv"]))
    out["b_yield_ratio"] = float(np.mean(bainite["yield_mpa"] / bainite["tensile_mpa"]))
    out["qt_tensile_se_share"] = float(
        np.std(qt["tensile_mpa"] / (3.12 * qt["hardness_hv"]) - 1.0, ddof=0)
    )
    return out


if __name__ == "__main__":
    for key, value in fit_strength().items():
        print(f"{key},{value:.6g}")
