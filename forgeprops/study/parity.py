"""Predicted beside measured: martensite start, bars, tempered bars and end-quench hardness, row by row.

Predictions that leave a steel or a source out come from stored tables, which name the script that makes them.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..answer.interval import Z, hardness_sd_hv, opinions_spread_hv
from ..base.errors import check_choice
from ..base.tables import read_rows
from ..hardenability.end_quench import hardness_at_distance_hrc
from ..inputs.steel import Steel
from ..io.tables import data_frame
from ..specimens import end_quench_bar
from ..strength.hardness_scales import convert_hardness, hrc_from_hv
from ..transformation.temperatures import start_interval_c
from ..transformation.tempering import tempered_hrc, tempering_interval_hrc

LEFT_OUT, _SOURCE_OUT = "each steel predicted without it", "each source predicted without it"
_COLUMNS = ("measured", "predicted", "low", "high", "group", "kind", "read")
_ELEMENTS = ("C", "Si", "Mn", "Ni", "Cr", "Mo")


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
    table = data_frame(read_rows(name))
    numbers = [c for c in table if c not in texts]
    table[numbers] = table[numbers].replace("", "nan").astype(float)
    return table


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


def _basis(r: dict[str, str]) -> tuple[str, bool]:
    """Kind and `read` of a row by its basis."""
    read = r["basis"] == "read"
    return "read" if read else "recalled", read


def _tempering() -> tuple:
    rows = []
    for r in read_rows("measured/tempered_data_sheets.csv"):
        steel = {e: float(r[e]) for e in _ELEMENTS}
        soft = r["hb"] and hrc_from_hv(convert_hardness(float(r["hb"]), "HB", "HV"))
        act = float(r["temper_c"]), float(r["hours"])
        p, (low, high) = tempered_hrc(steel, *act), tempering_interval_hrc(*act)
        rows.append((float(r["hrc"] or soft), p, p + low, p + high, r["grade"], *_basis(r)))
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
        if not (band := [r for r in bands if r["grade"] == name]):
            continue
        own, _ = end_quench_curves(steel, [float(r["distance_mm"]) for r in band])
        for r, p in zip(band, own.tolist(), strict=True):
            low, high = float(r["hrc_low"]), float(r["hrc_high"])
            middle = 0.5 * (low + high)
            # inside when the middle lies in the band drawn around the prediction
            rows.append((middle, p, p - (high - middle), p + (middle - low), name, *_basis(r)))
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
