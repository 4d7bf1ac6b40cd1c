"""Predict every measured Ms without its source and store it, for pictures and recounts.

    python tests/fits/predict_start_left_out.py      # rewrites data/validation/start_temperature_validation_rows.csv

The fit is that of ``fit_start_temperatures.py``; the grain size is used where the paper gives it in one
column, and taken as unknown in the other.  Bs is missing because its rows may not be bundled.
"""

import datetime
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from fit_start_temperatures import MS_SETTINGS, MS_TERMS, load, matrix
from source_effects import leave_groups_out, write

from forgeprops.base.tables import read_rows
from forgeprops.transformation.temperature_formulas import FORMULAS


def predict():
    """(rows of the table, predicted with the grain unknown, predicted with the grain known), °C."""
    rows = read_rows("measured/martensite_start.csv")
    comp, ms, _, group = load(rows, "ms_c", "source")
    base = FORMULAS["ms"]["van_bohemen"](comp)
    columns = matrix(MS_TERMS, comp, "ms")
    fitted = (columns, ms - base, group, list(MS_TERMS.values()))
    seen = matrix(MS_TERMS, comp, "ms", with_grain=False), columns
    return rows, *(base + leave_groups_out(*fitted, predict_columns=c, **MS_SETTINGS) for c in seen)


def main() -> None:
    notes = f"""
    Rows of data/measured/martensite_start.csv, °C, each source predicted by a fit without it, grain size unknown and
    used where given; made by tests/fits/predict_start_left_out.py, {datetime.date.today()}."""
    header = "index source measured_c predicted_c predicted_grain_known_c".split()
    rows = []
    for r, unknown, known in zip(*predict(), strict=True):
        numbers = (f"{t:.1f}" for t in (float(r["ms_c"]), unknown, known))
        rows.append(dict(zip(header, (r["index"], r["source"], *numbers), strict=True)))
    write("validation/start_temperature_validation_rows.csv", rows, notes)


if __name__ == "__main__":
    main()
