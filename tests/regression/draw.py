"""Show which of the frozen numbers moved: column, how many rows, median, 99th percentile and largest change, worst cases."""

import argparse
import re
import sys
from operator import attrgetter
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from regression.cases import cases

import forgeprops as fp

FOLDER = Path(__file__).resolve().parent
SINGLES, ROWS, WITH_INTERVALS = 200, 2000, 300
#: Attributes of a zone and of the whole result; the column bears the same name.
ZONE_FIELDS = """hardness_hv hardness_low_hv hardness_high_hv as_quenched_hv strength.yield_mpa strength.tensile_mpa
    austenite_share grain_astm undissolved peak_c die_c water_c rebound_c t85_s rate_700_c_per_s flow_stress.mpa
    recrystallised_share""".split()
FIELDS = """hosel.allowed_deg hosel.allowed_deg_low hosel.allowed_deg_high hosel.governed_by hosel.bar_force_n
    hosel.springback_deg hosel.one_bend_deg hosel.bar_length_needed_mm face.margin face.margin_low face.margin_high face.location face.least_thickness_mm
    face.least_thickness_safe_mm scale_um surface.decarburised_um surface.skin_hv effort.press_force.kn effort.mean_mpa
    heat_through_s ideal_diameter_mm distortion.bow_mm distortion.neck_drift_deg""".split()
WARNINGS = ("warnings", "face.warnings", "distortion.warnings")
TEXT = ("steel", "head", "hosel_governed_by", "face_location", *(w.replace(".", "_") for w in WARNINGS))  # fmt: skip
#: What may differ, relative and absolute, by the first pattern that fits the column: the march and its formulas are
#: deterministic; the absolute part is for numbers near zero and far below what anybody reads.
TOLERANCES = (
    (r"case|refused|preheat_c|soak_s|flux|delay_s|spray_s", 0.0, 0.0),  # inputs
    (r".*_c|.*_um|.*_hv", 1e-6, 1e-4),
    (r".*", 1e-6, 1e-6),
)


def estimate_row(i: int, case) -> dict:
    """One single estimate as a row; a refused case has its inputs only."""
    row = {
        "case": i, "steel": case.steel.name, "head": case.head.name,
        "preheat_c": case.route.preheat_c}  # fmt: skip
    try:
        found = fp.estimate(case.steel, case.head, case.route, case.shop, **case.options)
    except fp.InputError:
        return row | {"refused": True}
    row["refused"] = False
    for name, zone in found.zones.items():
        names = {f: f.removeprefix("strength.").replace(".", "_") for f in ZONE_FIELDS}
        row |= {f"{name}_{short}": attrgetter(f)(zone) for f, short in names.items()}
        row |= {f"{name}_{phase}_fraction": share for phase, share in zone.fractions.items()}
        row[f"{name}_strain_effect_hv"] = found.strain_effect_hv[name]
        row[f"{name}_without_spray_hv"] = (found.without_spray or {}).get(name)
    row |= {f.replace(".", "_"): attrgetter(f)(found) for f in FIELDS}
    codes = {f: sorted(w.code for w in attrgetter(f)(found)) for f in WARNINGS}
    return row | {f.replace(".", "_"): "; ".join(of) for f, of in codes.items()}


def estimates() -> pd.DataFrame:
    """The single estimates, one row a case."""
    rows = [estimate_row(i, case) for i, case in enumerate(cases("single", SINGLES))]
    return _tidy(pd.DataFrame(rows))


def batch_of(numbered, quick: bool) -> pd.DataFrame:
    """Rows of a batch of (number, case); its reason for a refusal is reworded freely and not kept."""
    names = ("steel", "head", "route", "shop")
    parts = ([getattr(case, part) for _, case in numbered] for part in names)
    table = fp.estimate_many(*parts, quick=quick)
    codes = ["; ".join(sorted(joined.split("; "))) for joined in table["warnings"]]
    numbers, refused = [i for i, _ in numbered], table["error"] != ""
    table = table.assign(case=numbers, warnings=codes, refused=refused)
    return _tidy(table.drop(columns="error"))


def batch() -> pd.DataFrame:
    """All rows of the batch, the first with intervals; one call for heads of one number of blocks, so that none is padded."""
    parts = []
    for quick in (False, True):
        every = enumerate(cases("batch", ROWS))
        rows = [(i, c) for i, c in every if (i >= WITH_INTERVALS) == quick]
        counts = sorted({len(c.head.body) for _, c in rows})
        groups = ([(i, c) for i, c in rows if len(c.head.body) == blocks] for blocks in counts)
        parts += [batch_of(group, quick) for group in groups]
    return pd.concat(parts).sort_values("case", ignore_index=True)


def _tidy(table: pd.DataFrame) -> pd.DataFrame:
    """Text as text and the rest as numbers of 9 significant digits, as the files hold them."""
    numbers = {
        name: pd.to_numeric(table[name]).astype(float) for name in table.columns.difference(TEXT)
    }
    rounded = {name: [float(f"{v:.9g}") for v in column] for name, column in numbers.items()}
    return table.assign(
        **rounded, **{name: table[name].fillna("") for name in table.columns.intersection(TEXT)}
    )


def read(name: str) -> pd.DataFrame:
    """A frozen table."""
    return _tidy(
        pd.read_csv(FOLDER / f"{name}.csv.gz", dtype=str, keep_default_na=False).replace("", None)
    )


def moved(frozen: pd.DataFrame, now: pd.DataFrame, tolerances=TOLERANCES) -> list[str]:
    """One line for every column that moved beyond its tolerance; empty if none did."""
    if list(frozen["case"]) != list(now["case"]):
        return [f"case: {len(frozen)} rows are frozen; the {len(now)} rows now are others"]
    names = frozen.columns.symmetric_difference(now.columns)
    lines = [f"{name}: frozen or present only" for name in names]
    for name in frozen.columns.intersection(now.columns, sort=False):
        a, b, spread = frozen[name].to_numpy(), now[name].to_numpy(), ""
        if name in TEXT:
            rows = np.flatnonzero(a != b)
        else:
            found = ((r, d) for pattern, r, d in tolerances if re.fullmatch(pattern, name))
            relative, absolute = next(found)
            same = (a == b) | (np.isnan(a) & np.isnan(b))
            change = np.where(
                same, 0.0, np.nan_to_num(np.abs(b - a), nan=np.inf)
            )  # inf: a number came or went
            rows = np.flatnonzero(change > absolute + relative * np.nan_to_num(np.abs(a)))
            rows = rows[np.argsort(-change[rows], kind="stable")]
            if len(rows):
                middle, high, most = np.quantile(change[rows], [0.5, 0.99, 1.0], method="higher")
                spread = f" median {middle:.3g}, 99 % {high:.3g}, largest {most:.3g};"
        if len(rows):
            moves = (f"case {frozen['case'].iloc[i]:.0f}: {a[i]} -> {b[i]}" for i in rows[:3])
            worst = "; ".join(moves)
            lines.append(f"{name}: {len(rows)} rows;{spread} {worst}")
    return lines


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="replace the tables instead")
    write, packing = parser.parse_args().write, {"method": "gzip", "mtime": 0}
    for name, now in (("estimates", estimates()), ("batch", batch())):
        if write:
            how = {"index": False, "float_format": "%.9g", "lineterminator": "\n"}
            now.to_csv(FOLDER / f"{name}.csv.gz", compression=packing, **how)
        else:
            changes = moved(read(name), now) or ["nothing moved"]
            print(f"{name}: {len(now)} rows", *changes, sep="\n  ")
