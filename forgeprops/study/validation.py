"""How far to trust the numbers: errors, coverage of the interval, goals beside what was reached (DataFrames).

Every figure is calculated from the tables in data/ when it is read.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..answer.interval import Z, hardness_sd_hv, opinions_spread_hv
from ..base.errors import check_choice
from ..base.sources import sources
from ..base.tables import data_path, read_rows
from ..hardenability.end_quench import hardness_at_distance_hrc
from ..inputs.steel import Steel
from ..io.tables import data_frame
from ..specimens import continuous_cooling, end_quench_bar
from ..strength.hardness_scales import convert_array, convert_hardness, hrc_from_hv
from ..transformation.temperatures import start_interval_c
from ..transformation.tempering import tempered_hrc, tempering_interval_hrc

LEFT_OUT, _SOURCE_OUT = "each steel predicted without it", "each source predicted without it"
_COLUMNS = ("measured", "predicted", "low", "high", "group", "kind", "read")
_ELEMENTS = ("C", "Si", "Mn", "Ni", "Cr", "Mo")
_PAIR = ("predicted_hv", "measured_hv")
#: Start temperatures of which error figures are stored (the licence of the rows forbids to bundle them).
STORED = ("ms", "bs")


# ---- predicted beside measured, row by row


@dataclass(frozen=True)
class Parity:
    """Predicted beside measured."""

    quantity: str
    unit: str
    #: ``measured``, ``predicted``, ``low``, ``high`` (80 % interval of the prediction), ``group``, ``kind`` (for the
    #: mark) and ``read`` (False: from memory).
    table: object
    validation: str  # how the predictions were kept from the rows
    groups: str  # what a group is
    note: str = ""  # what a reader must know

    def errors(self) -> dict[str, float]:
        """Mean absolute error, bias, share within the interval, rows and groups."""
        t = self.table
        error = t["predicted"] - t["measured"]
        held = (t["measured"] >= t["low"]) & (t["measured"] <= t["high"])
        errors = {"mean_absolute_error": float(error.abs().mean()), "bias": float(error.mean())}
        counts = {"rows": len(t), "groups": t["group"].nunique()}
        return {**counts, **errors, "within_80": float(held.mean())}


def stored(name: str, *texts: str):
    """A table of data/ with all columns but `texts` as numbers, nan where empty (DataFrame)."""
    import pandas as pd

    table = data_frame(read_rows(name))
    return table.apply(lambda column: column if column.name in texts else pd.to_numeric(column))


def parity(what: str) -> Parity:
    """Predicted beside measured for one of `PARITIES`.

    "ms": martensite start; "bars", "quenched": hardness of air-cooled and quenched bars; "tempering": of
    tempered bars of data sheets; "end-quench": against the middle of the bands (its interval is the band).

    >>> parity("ms").errors()["mean_absolute_error"] < 17.1   # the best published form of 2012
    True
    """
    quantity, unit, rows, *words = _MADE[check_choice(what, "parity", PARITIES)]()
    return Parity(quantity, unit, data_frame(rows, columns=_COLUMNS), *words)


def _ms() -> tuple:
    rows, measured = [], read_rows("measured/martensite_start.csv")
    predicted = read_rows("validation/start_temperature_validation_rows.csv")
    for r, steel in zip(predicted, measured, strict=True):
        p, (low, high) = float(r["predicted_c"]), start_interval_c("ms", float(steel["C"]))
        rows.append((float(r["measured_c"]), p, p + low, p + high, r["source"], "measured", True))
    note = (
        "Grain size taken as unknown; used where the papers give it, the error is smaller.  The interval was made "
        "of these very misses, so that its 80 % is no test; made without each source it holds the same share within 2 %."
    )
    return "martensite start Ms", "°C", rows, _SOURCE_OUT, "sources", note


#: Kind and `read` of a row by its basis.
_BASES = {"read": ("read", True), "from memory": ("recalled", False)}
_PARTS = {"ferrite_pearlite": "ferrite and pearlite"}
_PARTS |= {name: name for name in ("bainite", "martensite")}


def bars():
    """Measured bars with each steel predicted without it, and the prediction's standard deviation ``sd_hv`` (DataFrame)."""
    t = stored("validation/hardness_left_out.csv", "steel", "cooling", "place", "basis").fillna(0.0)
    views = t[["predicted_hv", "critical_rates_hv", "end_quench_hv"]].to_numpy().T
    parts = (t[name].to_numpy() for name in _PARTS)
    apart = opinions_spread_hv(views, views > 0.0)
    sd = hardness_sd_hv(t["predicted_hv"].to_numpy(), *parts, apart)
    return t.assign(sd_hv=np.hypot(sd, t["rate_sd_hv"]))


def _bars(quenched: bool) -> tuple:
    t = bars()
    t = t[(t["cooling"] != "still air") == quenched].reset_index(drop=True)
    p, half, read = t["predicted_hv"], Z * t["sd_hv"], t["basis"] == "read"
    kind = "mostly " + t[[*_PARTS]].idxmax(axis=1).map(_PARTS)
    rows = {"measured": t["measured_hv"], "predicted": p, "low": p - half, "high": p + half}
    rows |= {"group": t["steel"], "kind": kind, "read": read}
    note = f"{read.sum()} of the {len(t)} measured numbers were read, the others recalled from the same tables."
    name = f"hardness, {'quenched' if quenched else 'air-cooled'} bars"
    return name, "HV", rows, LEFT_OUT, "steels", note


def _tempering() -> tuple:
    rows = []
    for r in read_rows("measured/tempered_data_sheets.csv"):
        steel = {e: float(r[e]) for e in _ELEMENTS}
        soft = r["hb"] and hrc_from_hv(convert_hardness(float(r["hb"]), "HB", "HV"))
        act = float(r["temper_c"]), float(r["hours"])
        p, (low, high) = tempered_hrc(steel, *act), tempering_interval_hrc(*act)
        rows.append(
            (float(r["hrc"] or soft), p, p + low, p + high, r["grade"], *_BASES[r["basis"]])
        )
    kept = "data sheets; two of the law's constants, above 500 °C, were fitted to them too"
    note = (
        "One hour is assumed where the sheet does not say how long.  Without a grade's own sheet the error is 0.97 "
        "HRC.  The 694 rows of the main fit may not be bundled."
    )
    return "hardness, tempered", "HRC", rows, kept, "grades", note


#: Grain of end-quench bars, ASTM number (fine-grain practice just above Ac3: 7 to 8, from memory).
_BAND_GRAIN = 7.5


def counted_band_steels() -> dict[str, Steel]:
    """Steels in the middle of the range of each end-quench band; without boron."""
    found = {}
    for r in read_rows("validation/hardenability_band_chemistry.csv"):
        if "B" in r["grade"]:
            continue
        given = [e for e in _ELEMENTS if r[f"{e}_low"]]
        wt = {e: 0.5 * (float(r[f"{e}_low"]) + float(r[f"{e}_high"])) for e in given}
        found[r["grade"]] = Steel(r["grade"], wt, grain_size_astm=_BAND_GRAIN)
    return found


def end_quench_curves(steel: Steel, distance_mm) -> tuple[np.ndarray, np.ndarray]:
    """HRC at distances from the quenched end: by the simulated bar, and by ASTM A255 from composition."""
    bar = end_quench_bar(steel)
    own = np.interp(distance_mm, bar["distance_mm"], [hrc_from_hv(float(v)) for v in bar["hv"]])
    return own, np.array([float(hardness_at_distance_hrc(steel, d)) for d in distance_mm])


def _end_quench() -> tuple:
    rows, bands = [], read_rows("validation/hardenability_bands.csv")
    bands = [r for r in bands if r["hrc_low"] and r["hrc_high"]]
    for name, steel in counted_band_steels().items():
        band = [r for r in bands if r["grade"] == name]
        own, _ = end_quench_curves(steel, [float(r["distance_mm"]) for r in band])
        for r, p in zip(band, own.tolist(), strict=True):
            low, high = float(r["hrc_low"]), float(r["hrc_high"])
            middle = 0.5 * (low + high)
            # inside when the middle lies in the band drawn around the prediction
            ends = p - (high - middle), p + (middle - low)
            rows.append((middle, p, *ends, name, *_BASES[r["basis"]]))
    kept = "composition in the middle of its range; nothing of a band is fitted"
    note = "The bar is the middle of the band."
    return "end-quench hardness", "HRC", rows, kept, "grades", note


_MADE: dict[str, Callable[[], tuple]] = {
    "ms": _ms,
    "bars": lambda: _bars(False),
    "quenched": lambda: _bars(True),
    "tempering": _tempering,
    "end-quench": _end_quench,
}
#: What `parity` can show.
PARITIES = tuple(_MADE)


# ---- stored figures


def _table(name: str):
    """A table of data/validation with all columns but its words as numbers (DataFrame)."""
    words = "scope what quantity method validation date unit made".split()
    return stored(f"validation/{name}.csv", *words)


def coverage():
    """Share of measured bars inside the 80 % interval, by structure and cooling."""
    return _table("hardness_validation")


def method_errors(quantity: str):
    """Stored errors of our formula and of the published ones, ``quantity`` "ms" or "bs", best first."""
    check_choice(quantity, "quantity", STORED)
    table = _table("start_temperature_validation")
    mine = (table["quantity"] == quantity) & table["scope"].isin(("all rows", "Si < 0.6"))
    return table[mine].sort_values("mean_absolute_error_c", ignore_index=True)


def tempering_errors():
    """Stored errors of the tempering law, steel by steel, each predicted without it."""
    return _table("tempering_validation")


def remembered():
    """Sources from memory, room by room."""
    rows = [(s.room, s.what, s.reference) for s in sources() if s.basis == "from memory"]
    return data_frame(rows, columns=["room", "what", "source"])


def remembered_rows():
    """Number of rows from memory in each table of data/: ``table``, ``recalled``, ``rows``."""
    found = []
    for path in sorted(data_path().rglob("*.csv")):
        name = path.relative_to(data_path()).as_posix()
        rows = read_rows(name) if not name.startswith("demo/") else ()
        if recalled := sum(r.get("basis") == "from memory" for r in rows):
            found.append((name, recalled, len(rows)))
    return data_frame(found, columns=["table", "recalled", "rows"])


def trust_table():
    """Every goal of data/validation/goals.csv as a number beside what was reached, and how that was validated.

    A DataFrame with ``goal``, ``wanted``, ``reached``, ``missed_by`` (0 where it is met), ``unit``,
    ``rows``, ``groups``, ``left_out`` (what was kept from the fit) and ``limit`` (what limits it).
    """
    rows = []
    for goal in read_rows("validation/goals.csv"):
        found = _MEASURES[goal["measure"]](goal["of"])
        reached, digits = found.pop("reached"), int(goal["digits"])
        words = f"{reached:.{digits}f}"
        if "low" in found:
            words += f" ({found['low']:.{digits}f}–{found['high']:.{digits}f})"
        least, most = float(goal["least"] or -np.inf), float(goal["most"] or np.inf)
        row = {"goal": goal["goal"].format(of=goal["of"]), "wanted": goal["wanted"]}
        row |= {"reached": words, "missed_by": max(reached - most, least - reached, 0.0)}
        row |= {"unit": goal["unit"], "rows": int(found["rows"]), "groups": found["groups"]}
        limit = goal["limit"].format(of=goal["of"], **found)
        rows.append({**row, "left_out": goal["left_out"], "limit": limit})
    return data_frame(rows)


# ---- what reaches a goal: the figure reached, rows, groups, and figures for the words on its limits


def _one(name: str, **where):
    """The row of a stored table with these values."""
    t = _table(name)
    return t[(t[list(where)] == list(where.values())).all(axis=1)].iloc[0]


def _author(method: str) -> str:
    return method.replace("_", " ").title()


def _start_error(of: str) -> dict[str, Any]:
    """Error of our Ms or Bs with the grain size unknown, and the best published form."""
    quantity, scope = of.split(" ", 1)
    t, error = _table("start_temperature_validation"), "mean_absolute_error_c"
    mine = (t["quantity"] == quantity) & (t["method"] == "own") & t["scope"].str.startswith(scope)
    own = t[mine & ~t["validation"].str.contains("where given")].iloc[0]
    errors = method_errors(quantity)
    published = errors[errors["method"] != "own"].iloc[0]
    found = {"reached": own[error], "low": own["low_90"], "high": own["high_90"]}
    found |= {"best": published[error], "author": _author(published["method"])}
    return {**found, "rows": own["rows"], "groups": int(own["sources"])}


def _sources_ahead(quantity: str) -> dict[str, Any]:
    """Ms source by source: on how many ours is better than the best of the published forms on each."""
    t = _table("start_temperature_validation")
    t = t[(t["quantity"] == quantity) & t["scope"].str.startswith("source")]
    given = t["validation"].str.contains("where given")
    known = t[given].set_index("scope")["mean_absolute_error_c"]
    error = t[~given].pivot(index="scope", columns="method", values="mean_absolute_error_c")
    best = error.drop(columns="own").min(axis=1)
    behind = (error["own"] - best)[lambda d: d > 0.0].sort_values(kind="stable")
    rival = next(m for m in method_errors(quantity)["method"] if m != "own")
    found = {"reached": len(error) - len(behind), "groups": len(error), "author": _author(rival)}
    found["rows"] = t["rows"][~given & (t["method"] == "own")].sum()
    found["ahead"] = (error["own"] < error[rival]).sum()
    found["with_grain"] = (np.minimum(error["own"], known[error.index]) <= best).sum()
    found["behind"] = ", ".join(f"{name[7:]} {d:.1f}" for name, d in behind.items())
    return found


def _bar_error(cooling: str) -> dict[str, Any]:
    """Error of the bars of one cooling, HB; the worse of two runs, which refit to different ends."""
    t = bars()
    t = t[t["cooling"] == cooling]
    predicted, measured = (convert_array(t[c].to_numpy(), "HV", "HB")[0] for c in _PAIR)
    error = np.abs(np.asarray(predicted, float) - np.asarray(measured, float))
    by_steel = t.assign(error=error).groupby("steel", sort=False)["error"].mean()
    worst = ", ".join(by_steel.sort_values(ascending=False, kind="stable").index[:3])
    own, other = float(error.mean()), _kinetics("normalised bars", LEFT_OUT)["reached"]
    found = {"stored": own, "other": other, "worst": worst, "rows": len(t)}
    return {**found, "reached": max(own, other), "groups": len(by_steel)}


def _kinetics(what: str, validation: str) -> dict[str, Any]:
    """Stored error of the kinetics on some bars, HB; the grades are named behind "of"."""
    row = _one("kinetics_validation", what=what, validation=validation)
    groups = "" if validation == "fitted" else len(what.rpartition(" of ")[2].split())
    found = {"reached": row["mean_absolute_error"], "bias": row["bias"]}
    return {**found, "rows": row["rows"], "groups": groups}


def _quenched_error(of: str) -> dict[str, Any]:
    """Greatest error of the read bars of one steel in one bath, HRC."""
    (steel, cooling), t = of.split(" ", 1), bars()
    t = t[(t["steel"] == steel) & (t["cooling"] == cooling) & (t["basis"] == "read")]
    predicted, measured = (hrc_from_hv(t[c].to_numpy()) for c in _PAIR)
    return {"reached": np.abs(predicted - measured).max(), "rows": len(t), "groups": 1}


#: Steels whose rate for 95 % martensite is known as an order of magnitude (from memory), wt%.
_CRITICAL = {
    "C45": {"C": 0.45, "Si": 0.25, "Mn": 0.65, "Cr": 0.10, "Mo": 0.02},
    "42CrMo4": {"C": 0.415, "Si": 0.25, "Mn": 0.75, "Cr": 1.05, "Mo": 0.22},
}


def _critical_rate(name: str) -> dict[str, Any]:
    """Constant cooling rate from 860 °C that gives 95 % of martensite (with retained austenite), °C/s."""
    steel, low, high = Steel(name, _CRITICAL[name], grain_size_astm=8.0), 1.0, 1000.0
    for _ in range(12):
        rate = float(np.sqrt(low * high))
        f = continuous_cooling(steel, rate_c_per_s=rate).fractions
        low, high = (low, rate) if f["martensite"] + f["austenite"] >= 0.95 else (rate, high)
    return {"reached": float(np.sqrt(low * high)), "rows": 1, "groups": 1}


def _inside_bands(_: str) -> dict[str, Any]:
    """Share of the points of end-quench bands whose middle the prediction meets within the band, %."""
    found = parity("end-quench").errors()
    return {"reached": 100.0 * found["within_80"], "rows": found["rows"], "groups": found["groups"]}


def _tempering_error(grade: str) -> dict[str, Any]:
    """Error of the tempering law on all steels, and its bias on each laboratory's steel of one grade, HRC."""
    own, t = (
        _one("tempering_validation", what="all steels", validation=LEFT_OUT),
        tempering_errors(),
    )
    t = t[t["validation"] == LEFT_OUT]
    biases = t["bias_hrc"][t["what"].str.startswith(f"{grade} (")]
    found = {"reached": own["mean_absolute_error_hrc"], "rows": own["rows"]}
    found["biases"] = " and ".join(f"{b:+.1f}" for b in biases)
    return {**found, "groups": t["what"].str.contains("(", regex=False).sum()}


def _data_sheets(_: str) -> dict[str, Any]:
    """Error on the tempered data sheets that were read, HRC."""
    own, t = (
        _one("tempering_validation", what="data sheets", validation=LEFT_OUT),
        tempering_errors(),
    )
    sheets = t[t["validation"] == LEFT_OUT]["what"].str.endswith(" data sheets").sum()
    return {"reached": own["mean_absolute_error_hrc"], "rows": own["rows"], "groups": sheets}


def _interval_holds(scope: str) -> dict[str, Any]:
    """Share of the rows of a scope inside the 80 % interval, %."""
    row = _one("hardness_validation", scope=scope)
    found = {"reached": 100.0 * row["coverage"], "width": row["width_hv"], "rows": row["rows"]}
    found |= {"low": 100.0 * row["low_90"], "high": 100.0 * row["high_90"]}
    return {**found, "groups": int(row["steels"])}


def _start_holds(of: str) -> dict[str, Any]:
    """Share of the measured Ms or Bs of a scope inside the 80 % interval made without their source, %."""
    quantity, _, scope = of.partition(" ")
    made = f"{_SOURCE_OUT}, grain size unknown"
    own = {"quantity": quantity, "method": "own", "scope": scope, "validation": made}
    row = _one("start_temperature_validation", **own)
    found = {"reached": 100.0 * row["coverage"], "width": row["width_c"], "rows": row["rows"]}
    return {**found, "groups": int(row["sources"])}


#: What reaches a goal, by its name in data/validation/goals.csv.
_MEASURES: dict[str, Callable[[str], dict[str, Any]]] = {
    "start_error": _start_error,
    "sources_ahead": _sources_ahead,
    "bar_error": _bar_error,
    "fitted_bars": lambda of: _kinetics(of, "fitted"),
    "bars_left_out": lambda of: _kinetics(of, LEFT_OUT),
    "quenched_error": _quenched_error,
    "critical_rate": _critical_rate,
    "inside_bands": _inside_bands,
    "tempering_error": _tempering_error,
    "data_sheets": _data_sheets,
    "interval_holds": _interval_holds,
    "start_holds": _start_holds,
}
