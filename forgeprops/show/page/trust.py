"""How far to trust the numbers, as tabs: ranges, predicted against measured, formulas, end-quench bar, goals, memory."""

import numpy as np

from ...base.cautions import SHORT
from ...base.sources import counted, sources
from ...base.tables import read_rows
from ...study import validation
from .blocks import Widget, line, rounded, table_of, text

#: Which look a kind of row has, in every picture; rows that were read are filled, recalled ones hollow.
_KINDS = {"mostly ferrite and pearlite": 0, "mostly bainite": 1, "mostly martensite": 2}


class Trust(Widget):
    """Tabs of pictures and tables; everything is calculated from the tables of `data/` when it is made."""

    scripts = ("tabbed.js",)

    def __init__(self):
        whole = validation.coverage().iloc[0]
        tabs = {
            "Does the range hold?": _coverage, "Predicted and measured": _parities, "Formulas": _formulas,
            "End-quench bar": _band, "Goals and misses": _goals, "From memory": _remembered,
        }  # fmt: skip
        held = f"{100 * whole['coverage']:.0f} % of {whole['rows']} measured bars"
        title = f"The 80 % range held {held}"
        sub = f"{whole['steels']} steels, each predicted without it"
        made = [{"title": title, "blocks": blocks()} for title, blocks in tabs.items()]
        super().__init__(static={"title": title, "sub": sub, "caution": SHORT, "tabs": made})


def _coverage() -> list[dict]:
    t = validation.coverage()
    places = list(range(len(t)))[::-1]
    names = [f"{r.scope}, {r.rows} rows" for r in t.itertuples()][::-1]
    dots = {
        "name": "share inside", "x": rounded(100 * t["coverage"]), "y": places, "along": "x", "look": 1,
        "low": rounded(100 * t["low_90"]), "high": rounded(100 * t["high_90"]),
        "tips": [f"{100 * r.coverage:.0f} % of {r.rows} rows, {r.steels} steels" for r in t.itertuples()],
    }  # fmt: skip
    ends = [-0.5, len(t) - 0.5]
    band = {"name": "goal 72 to 88 %", "x": [72, 88], "y": ends[1:] * 2, "area": ends[:1] * 2, "look": 3, "tag": "none"}  # fmt: skip
    return [
        {
            "kind": "plot", "name": "coverage", "x": {"label": "measured hardness inside its 80 % range, %", "low": 50, "high": 100},
            "y": {"names": names, "label": ""}, "left": 240,
            "w": 1000, "h": 300, "series": [band, line("80 %", [80, 80], ends, dash="4 4", width=1.2, tag="none"), dots],
            "words": "Good is a dot inside the shaded band (72 to 88 %). Line: 9 of 10 draws of other steels.",
        },
        text("A range that is too narrow misleads; one that is too wide says nothing. Model and range were both made without the steel that is tested."),
        text("The range is made of misses on steels left out, by constituent; of the doubt about the share of martensite; of how far the other two opinions stand apart; and, on a head, of a spray law that is good to a factor of 1.5 (our assumption). Near a cliff the answer gives the chance of each outcome instead."),
        text("Bending has no open data at all: the range of the hosel's degrees rests on assumptions. Most bars are single melts from one set of tables. Heads are not bars: measure your first heads and enter them; a shop's own measurements make every range narrower.", "note"),
    ]  # fmt: skip


def _parity_plot(p: validation.Parity, size: int = 400) -> dict:
    t, e = p.table, p.errors()
    both = t[["measured", "predicted"]].to_numpy()
    room = 0.06 * np.ptp(both)
    ends = np.array([both.min() - room, both.max() + room])
    below, above = (t["predicted"] - t["low"]).to_numpy(), (t["high"] - t["predicted"]).to_numpy()
    same = np.ptp(below) < 0.2  # one range for all rows: a band instead of bars
    series = []
    if same:
        low, high = rounded(ends - above[0]), rounded(ends + below[0])
        series.append({"name": "80 %", "x": rounded(ends), "y": high, "area": low, "colour": "#8A93A0", "tag": "none"})  # fmt: skip
    series.append(line("equal", ends, ends, width=1.2, tag="none"))
    for (kind, read), mine in t.groupby(["kind", "read"], sort=False):
        dots = {
            "name": kind + ("" if read or kind == "recalled" else ", recalled"), "x": rounded(mine["measured"]), "y": rounded(mine["predicted"]),
            "look": _KINDS.get(kind, 0), "hollow": not read, "tips": list(mine["group"]),
        }  # fmt: skip
        bars = {"low": rounded(mine["low"]), "high": rounded(mine["high"])}
        series.append(dots if same else dots | bars)
    axis = {"low": float(ends[0]), "high": float(ends[1])}
    return {
        "kind": "plot", "name": p.quantity, "title": p.quantity[0].upper() + p.quantity[1:], "w": size + 40, "h": size - 60,
        "x": axis | {"label": f"measured, {p.unit}"}, "y": axis | {"label": f"predicted, {p.unit}"}, "series": series,
        "words": f"Mean error {e['mean_absolute_error']:.1f} {p.unit}, on average {e['bias']:+.1f}; {100 * e['within_80']:.0f} % inside the 80 % range; "
                 f"{e['rows']} rows, {e['groups']} {p.groups}; {p.validation}. {p.note}",
    }  # fmt: skip


def _parities() -> list[dict]:
    plots = [_parity_plot(validation.parity(w)) for w in ("bars", "quenched", "ms", "tempering")]
    return [
        text("On the line prediction and measurement are equal. Grey band or bar: the 80 % range. Filled: read in the place named in the table; hollow: from memory."),
        {"kind": "row", "blocks": plots[:2]},
        {"kind": "row", "blocks": plots[2:]},
    ]  # fmt: skip


def _errors(name, title, names, t, value, unit, goal, ours=(), ends=None, words="") -> dict:
    rows = list(range(len(names)))[::-1]
    series = [line(f"goal {goal:g}", [goal, goal], [-0.5, len(names) - 0.5], dash="4 4", colour="#B8321A", width=1.4, tag="none")]  # fmt: skip
    for mine, look in ((False, 1), (True, 0)):
        here = [i for i, n in enumerate(names) if (n in ours) == mine]
        dots = {"name": "ours" if mine else "published", "x": rounded(t[value].iloc[here]), "y": [rows[i] for i in here], "look": look, "hollow": not mine and bool(ours)}  # fmt: skip
        if ends:
            dots |= {"along": "x", "low": rounded(t[ends[0]].iloc[here]), "high": rounded(t[ends[1]].iloc[here])}  # fmt: skip
        if not ours:
            dots["name"] = "each steel predicted without it"
        series += [dots] if here else []
    high = 1.05 * float(t[ends[1] if ends else value].max())
    return {
        "kind": "plot", "name": name, "title": title, "w": 420, "h": 330, "left": 150, "series": series, "words": words,
        "x": {"label": f"mean error, {unit} (dashed: goal {goal:g})", "low": 0, "high": high}, "y": {"names": names[::-1], "label": ""},
    }  # fmt: skip


def _method(row) -> str:
    if row["method"] != "own":
        return row["method"].replace("_", " ").title()
    return "ours, grain known" if "where given" in row["validation"] else "ours"


def _formulas() -> list[dict]:
    plots = []
    for quantity, goal in (("ms", 16.0), ("bs", 17.5)):
        t = validation.method_errors(quantity)
        names = [_method(r) for r in t.to_dict("records")]
        mine, best = (t[(t["method"] == "own") == own].iloc[-1 if own else 0] for own in (True, False))  # fmt: skip
        error = "mean_absolute_error_c"
        words = f"Ours {mine[error]:.1f} °C on sources left out, the best published form {best[error]:.1f} °C ({_method(best)})."
        plots.append(_errors(quantity, f"{quantity.capitalize()}, {t['rows'][0]} rows", names, t, error, "°C", goal,
                             [n for n in names if n.startswith("ours")], ("low_90", "high_90"), words))  # fmt: skip
    t = validation.tempering_errors()
    steels = t[t["what"].str.contains("(", regex=False)].sort_values("mean_absolute_error_hrc")
    names = steels["what"].str.replace("Grange & Baughman", "G&B")
    names = list(names.str.replace("Hollomon & Jaffe", "H&J"))
    whole = t[t["what"] == "all steels"].iloc[0]["mean_absolute_error_hrc"]
    plots.append(_errors("tempering", f"Tempering, {steels['rows'].sum()} rows", names, steels, "mean_absolute_error_hrc", "HRC", 1.6,
                         words=f"{whole:.2f} HRC over all rows, each steel predicted without it (G&B: Grange & Baughman; H&J: Hollomon & Jaffe)."))  # fmt: skip
    return [
        text("Errors of our laws on what was left out, beside the published formulas as printed. Bars: 90 % range when whole sources are drawn again. The rows of Bs and of the tempering fit may not be bundled, so these pictures stand on stored error figures; scripts in tests/fits make them again."),
        {"kind": "row", "blocks": plots},
    ]  # fmt: skip


def _band() -> list[dict]:
    blocks, places = [], np.arange(1.5, 50.01, 0.5)
    for name, steel in validation.counted_band_steels().items():
        band = [
            r for r in read_rows("validation/hardenability_bands.csv")
            if r["grade"] == name and r["hrc_low"] and r["hrc_high"]
        ]  # fmt: skip
        if not band:
            continue
        x, low, high = (np.array([float(r[c]) for r in band]) for c in ("distance_mm", "hrc_low", "hrc_high"))  # fmt: skip
        own, standard = validation.end_quench_curves(steel, places)
        at = np.interp(x, places, own)
        inside = int(((at >= low) & (at <= high)).sum())
        series = [
            {"name": "band of the grade", "x": rounded(x), "y": rounded(high), "area": rounded(low), "colour": "#6F7986", "at": 0.75},
            line("ASTM A255", places, standard, look=1, dash="7 4"),
            line("our rate equations", places, own, tag="start"),
        ]  # fmt: skip
        blocks.append({
            "kind": "plot", "name": f"end-quench {name}", "title": f"End-quench bar of {name}", "w": 820, "h": 400, "series": series,
            "x": {"label": "distance from the quenched end, mm", "low": 0, "high": 52}, "y": {"label": "hardness, HRC", "low": 15, "high": 66},
            "words": f"{inside} of {len(band)} points of the calculated bar lie inside the band, which was {band[0]['basis']}.",
        })  # fmt: skip
    return [
        text("The rate equations of the head on a bar that is sprayed at one end, beside the curve that ASTM A255 makes of the composition. No band is fitted; only the bands shown could be read. Deep in a chromium-molybdenum bar our curve comes out a few HRC softer than the standard; in plain carbon steel it hardens about half a millimetre deeper."),
        *blocks,
    ]  # fmt: skip


def _goals() -> list[dict]:
    rows, levels = [], []
    for r in validation.trust_table().to_dict("records"):
        counts = "does not count" not in r["left_out"]
        met = "met" if r["missed_by"] == 0 else f"missed by {r['missed_by']:.3g}"
        kind = "none" if not r["wanted"] or not counts else "good" if r["missed_by"] == 0 else "out"
        words = met if kind != "none" else "does not count" if not counts else "no goal"
        levels.append(kind)
        wanted = f"{r['wanted']} {r['unit']}: {words}" if r["wanted"] else words
        groups = f" in {r['groups']}" if r["groups"] != "" else ""
        of = f"{r['rows']}{groups}; {r['left_out']}"
        rows.append([r["goal"], wanted, f"{r['reached']} {r['unit']}", of, r["limit"]])
    head = ["goal", "required", "reached", "rows; left out of the fit", "what limits it"]
    say = "What this package set itself and what it reached. A number reached on fitted rows does not count."
    return [text(say), table_of("goals", head, rows, levels=levels, wraps=True)]


def _remembered() -> list[dict]:
    table, rows = validation.remembered(), validation.remembered_rows()
    return [
        text(f"{counted(sources())}. These formulas and numbers were recalled and may be wrong in a digit; the source of every other formula stands with its basis in the References of its docstring."),
        table_of("remembered", ["room", "what", "source"], table.values.tolist(), wraps=True),
        table_of("remembered rows", ["table", "recalled", "of rows"], rows.astype(str).values.tolist(), wraps=True),
    ]  # fmt: skip
