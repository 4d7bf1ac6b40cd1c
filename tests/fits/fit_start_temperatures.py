"""Refit our Ms and Bs formulas and validate them by leaving whole sources out.

    python tests/fits/fit_start_temperatures.py                          # Ms only, prints
    python tests/fits/fit_start_temperatures.py --bainite bainite.csv --write

Ms: the bundled ``data/measured/martensite_start.csv``.  Bs: the table of Schuscha et al., Acta Mater.
(2025), doi 10.1016/j.actamat.2025.121131, supplement (columns C, Mn, Si, Ni, Cr, Mo, V, Source_no, Bs_C),
which may not be bundled whole.  ``--write`` rewrites ``data/fits/start_temperature_fits.csv``,
``data/validation/start_temperature_validation.csv`` and, for pictures and recounts, every Ms predicted without its source; without ``--bainite`` their Bs rows are kept as they are.

Form: van Bohemen's formula plus a shrunken correction, linear in the terms below.  The terms beyond the
linear ones were chosen on the error of sources left out; carbon x element products were tried and brought
nothing.
"""

import argparse
import csv
import datetime
from pathlib import Path

import numpy as np
from scipy.optimize import linprog
from source_effects import fit, group_bootstrap, leave_groups_out, write

from forgeprops.base.tables import read_rows
from forgeprops.transformation.temperatures import (
    FORMULAS,
    INTERVAL_CARBON,
    REFERENCE_GRAIN_UM,
    start_term,
)

ELEMENTS = ("C", "Si", "Mn", "Ni", "Cr", "Mo", "V", "Cu")
#: Prior standard deviation of each term of the correction, °C per unit: half of what the published formulas
#: disagree by.  Our own choice.
MS_TERMS = {
    "1": 7.5, "Cexp": 30.0, "Mn": 4.0, "Si": 4.0, "Ni": 2.0, "Cr": 3.0, "Mo": 6.0, "V": 20.0,
    "Cu": 10.0, "Mn2": 2.5, "C2": 75.0, "NiCr": 2.5, "CrMo": 10.0, "grain": 200.0,
}  # fmt: skip
BS_TERMS = {
    "1": 7.0, "Cexp": 21.0, "Mn": 5.25, "Si": 5.25, "Ni": 2.8, "Cr": 4.2, "Mo": 5.25, "V": 14.0,
    "Mo2": 2.8, "C2": 35.0,
}  # fmt: skip
MS_SETTINGS = {"group_sd": 2.0, "noise_sd": 12.0, "huber": 1.0}
BS_SETTINGS = {"group_sd": 2.0, "noise_sd": 14.0, "huber": 1.5}
#: Above this silicon content carbide-free bainite begins and Bs is another matter, wt%.
BS_SILICON_LIMIT = 0.6


def load(rows, target, source):
    comp = {s: np.array([float(r.get(s) or 0.0) for r in rows]) for s in ELEMENTS}
    comp["grain_um"] = np.array([float(r.get("grain_um") or "nan") for r in rows])
    names, group = np.unique([r[source] or "not stated" for r in rows], return_inverse=True)
    return comp, np.array([float(r[target]) for r in rows]), names, group


def matrix(terms, comp, quantity, with_grain=True):
    known = with_grain & ~np.isnan(comp["grain_um"])
    grain = np.where(known, comp["grain_um"], REFERENCE_GRAIN_UM)
    columns = [start_term(quantity, t, comp, None, grain) for t in terms]
    return np.column_stack([np.broadcast_to(c, grain.shape) for c in columns])


def ends(carbon, error, group):
    """Lines through the tenth and ninetieth percentile of `error` over carbon up to `INTERVAL_CARBON`, a source with n rows
    counting as the root of n; shape (2, 2)."""
    n = len(error)
    columns = np.column_stack([np.ones(n), np.minimum(carbon, INTERVAL_CARBON)])
    weight = np.bincount(group)[group] ** -0.5
    equal = np.hstack([columns, np.eye(n), -np.eye(n)])
    bounds = [(None, None)] * 2 + [(0, None)] * (2 * n)
    return np.array([
        linprog(np.r_[0, 0, q * weight, (1 - q) * weight], A_eq=equal, b_eq=error, bounds=bounds).x[:2] for q in (0.1, 0.9)
    ])  # fmt: skip


def interval(carbon, error, group):
    """Whether each row lies in the interval made without its source, and how wide that is."""
    held, width = np.empty(len(error), bool), np.empty(len(error))
    for i in np.unique(group):
        mine = group == i
        columns = np.vstack([np.ones(mine.sum()), np.minimum(carbon[mine], INTERVAL_CARBON)])
        low, high = ends(carbon[~mine], error[~mine], group[~mine]) @ columns
        held[mine], width[mine] = (low <= error[mine]) & (error[mine] <= high), high - low
    return held, width


def left_out(quantity, comp, measured, group, terms, settings, train=None):
    """Every row predicted by a fit without its source, the grain unknown, and known where it is given, °C."""
    base, columns = FORMULAS[quantity]["van_bohemen"](comp), matrix(terms, comp, quantity)
    how = {"prior_sd": list(terms.values()), "train": train, **settings}
    seen = matrix(terms, comp, quantity, with_grain=False), columns
    return [
        base + leave_groups_out(columns, measured - base, group, predict_columns=c, **how)
        for c in seen
    ]


def evaluate(quantity, comp, measured, names, group, terms, settings, train=None):
    """Fit on all, validate without each source; return coefficient rows and validation rows."""
    train = np.ones(len(measured), bool) if train is None else train
    published, today = FORMULAS[quantity], datetime.date.today().isoformat()
    plain, known = left_out(quantity, comp, measured, group, terms, settings, train)
    prior, columns = list(terms.values()), matrix(terms, comp, quantity)
    off = measured - published["van_bohemen"](comp)
    b, se = fit(columns[train], off[train], group[train], prior, **settings)
    error, fits = (measured - plain)[train], []

    def constant(term, value, digits, se=""):
        fits.append({
            "quantity": quantity, "rows": int(train.sum()), "sources": len(np.unique(group[train])), "fitted": today,
            "basis": "derived", "term": term, "value": f"{value:.{digits}g}", "standard_error": se,
        })  # fmt: skip

    for term, value, s in zip(terms, b, se, strict=True):
        constant(term, value, 4, f"{s:.2g}")
    lines = ends(comp["C"][train], error, group[train])
    for name, line in zip(("residual_q10", "residual_q90"), lines, strict=True):
        for term, value in zip((name, f"{name}_C"), line, strict=True):
            constant(term, value, 3)
    constant("residual_sd", error.std(), 3)
    held, width = np.full((2, len(measured)), np.nan)
    held[train], width[train] = interval(comp["C"][train], error, group[train])

    def row(method, predicted, mask, scope, validation):
        e = (predicted - measured)[mask]
        low, high = group_bootstrap(e, group[mask])
        shown = predicted is plain and train[mask].any()
        return {
            "quantity": quantity, "method": method, "scope": scope, "validation": validation, "rows": int(mask.sum()),
            "sources": len(np.unique(group[mask])), "mean_absolute_error_c": f"{np.abs(e).mean():.2f}",
            "low_90": f"{low:.1f}", "high_90": f"{high:.1f}", "bias_c": f"{e.mean():.1f}",
            "coverage": f"{np.nanmean(held[mask]):.3f}" if shown else "",
            "width_c": f"{np.nanmean(width[mask]):.0f}" if shown else "", "date": today,
        }  # fmt: skip

    out, left = [], "each source predicted without it"
    scopes = [("all rows" if train.all() else f"Si < {BS_SILICON_LIMIT}", train)]
    if not train.all():
        scopes.append((f"Si >= {BS_SILICON_LIMIT}", ~train))
    of_source = [(f"source {n}", (group == i) & train) for i, n in enumerate(names)]
    scopes += [(name, mask) for name, mask in of_source if mask.sum() >= 15]
    if quantity == "ms":
        low, high = comp["C"] < 0.22, comp["C"] >= 0.45
        scopes += [("C < 0.22", low), ("C 0.22-0.45", ~low & ~high), ("C >= 0.45", high)]
    for scope, mask in scopes:
        out.append(row("own", plain, mask, scope, left + ", grain size unknown"))
        if np.isfinite(comp["grain_um"]).any():
            out.append(row("own", known, mask, scope, left + ", grain size used where given"))
        for name, f in published.items() if not scope.startswith("C ") else ():
            out.append(row(name, f(comp), mask, scope, "published formula, not refitted"))
    return fits, out


def predict():
    """Rows of the table of Ms, and `left_out` of them."""
    rows = read_rows("measured/martensite_start.csv")
    comp, ms, _, group = load(rows, "ms_c", "source")
    return rows, *left_out("ms", comp, ms, group, MS_TERMS, MS_SETTINGS)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    p.add_argument("--bainite", type=Path)
    p.add_argument("--write", action="store_true")
    a = p.parse_args()
    comp, ms, names, group = load(read_rows("measured/martensite_start.csv"), "ms_c", "source")
    fits, checks = evaluate("ms", comp, ms, names, group, MS_TERMS, MS_SETTINGS)
    if a.bainite:
        with a.bainite.open(encoding="utf-8") as file:
            data = load(list(csv.DictReader(file)), "Bs_C", "Source_no")
        calm = data[0]["Si"] < BS_SILICON_LIMIT
        more = evaluate("bs", *data, BS_TERMS, BS_SETTINGS, calm)
        fits, checks = fits + more[0], checks + more[1]
    for r in checks:
        numbers = r["mean_absolute_error_c"], r["low_90"], r["high_90"], r["bias_c"], r["rows"]
        print(r["quantity"], f"{r['scope']:22s} {r['method']:16s}", *numbers, r["validation"])
    if a.write:
        sources = {
            "ms": "data/measured/martensite_start.csv",
            "bs": "Schuscha et al., Acta Mater. (2025), doi 10.1016/j.actamat.2025.121131, supplement, rows with Si < 0.6",
        }
        fits = [{**r, "source": sources[r["quantity"]]} for r in fits]

        def kept(name):
            rows = () if a.bainite else read_rows(name)
            return [r for r in rows if r["quantity"] == "bs"]

        name = "fits/start_temperature_fits.csv"
        notes = """
        Corrections to van Bohemen's Ms and Bs, °C per unit of the term; made by tests/fits/fit_start_temperatures.py.
        Terms: 1; Cexp = 1 - exp(-k C) with van Bohemen's k; element = wt%; X2 = wt% squared; XY = product; grain = 1/sqrt(d) - 1/sqrt(25 um).
        residual_q10, residual_q90, residual_sd: measured minus predicted, every source predicted without it, grain size unknown, °C; _C: a wt% of carbon, up to 0.7."""
        header = "quantity term value standard_error rows sources fitted source basis".split()
        write(name, [*fits, *kept(name)], notes, header)
        name = "validation/start_temperature_validation.csv"
        notes = """
        Errors of Ms and Bs formulas on open measurements; made by tests/fits/fit_start_temperatures.py.
        low_90, high_90: 90 % interval of the mean absolute error when whole sources are drawn again; coverage, width_c: 80 % interval, made without the source."""
        write(name, [*checks, *kept(name)], notes)
        notes = f"""
        Rows of data/measured/martensite_start.csv, °C, each source predicted by a fit without it, grain size unknown and
        used where given; made by tests/fits/fit_start_temperatures.py, {datetime.date.today()}."""
        header = "index source measured_c predicted_c predicted_grain_known_c".split()
        left = [
            (r["index"], r["source"], *(f"{t:.1f}" for t in (float(r["ms_c"]), unknown, known)))
            for r, unknown, known in zip(*predict(), strict=True)
        ]
        write("validation/start_temperature_validation_rows.csv", left, notes, header)


if __name__ == "__main__":
    main()
