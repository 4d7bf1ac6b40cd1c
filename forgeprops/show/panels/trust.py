"""How far to trust the numbers: predicted against measured, errors of formulas, coverage, bands, goals."""

from __future__ import annotations

import numpy as np

from .. import markup, style
from ..canvas import LiveFigure
from ..controls.fields import choice, html
from ..figures.trust import band_plot, coverage_plot, error_plot, parity_plot, parity_words

_PLACES_MM = np.arange(1.5, 50.01, 0.5)


def _still(live: LiveFigure, sentences, name: str):
    """A picture with its words below, for those who cannot see it."""
    import ipywidgets as w

    live.set_live()
    live.widget.add_class(f"fp-{name}")
    return w.VBox([live.widget, html(f"{name}-words", "".join(map(markup.line, sentences)))])


def parity_panel():
    """Return predicted against measured for Ms and for air-cooled, quenched and tempered bars."""
    from ...study import validation as trust

    parities = [trust.parity(what) for what in ("ms", "bars", "quenched", "tempering")]
    live = LiveFigure(1000, 940, "predicted against measured")
    with style.look():
        for ax, parity in zip(live.figure.subplots(2, 2).ravel(), parities, strict=True):
            parity_plot(ax, parity)
    return _still(live, [f"{parity_words(p)} {p.note}" for p in parities], "parity")


def formula_panel():
    """Return the errors of our Ms, Bs and tempering laws on left-out rows, beside the published formulas."""
    from ...study import validation as trust

    live = LiveFigure(1060, 520, "errors of our formulas beside the published ones")
    said = []
    with style.look():
        left, middle, right = live.figure.subplots(1, 3)
        for ax, quantity, goal in ((left, "ms", 16.0), (middle, "bs", 17.5)):
            table = trust.method_errors(quantity)
            names = [_method(r) for r in table.to_dict("records")]
            ours = [n for n in names if n.startswith("ours")]
            top = table.iloc[: len(table)].assign(name=names)
            error_plot(
                ax,
                top,
                "name",
                "mean_absolute_error_c",
                f"{quantity.capitalize()}, {table['rows'][0]} rows",
                "°C",
                goal,
                ours,
                ("low_90", "high_90"),
            )
            best = top[top["method"] != "own"].iloc[0]
            mine = top[top["method"] == "own"].iloc[-1]
            said.append(
                f"{quantity.capitalize()}: ours {mine['mean_absolute_error_c']:.1f} °C on sources "
                f"left out, the best published form "
                f"{best['mean_absolute_error_c']:.1f} °C ({best['name']})."
            )
        table = trust.tempering_errors()
        steels = table[table["what"].str.contains("(", regex=False)].sort_values(
            "mean_absolute_error_hrc"
        )
        short = (
            steels["what"]
            .str.replace("Grange & Baughman", "G&B")
            .str.replace("Hollomon & Jaffe", "H&J")
        )
        error_plot(
            right,
            steels.assign(name=short),
            "name",
            "mean_absolute_error_hrc",
            f"Tempering, {steels['rows'].sum()} rows",
            "HRC",
            1.6,
        )
    whole = table[table["what"] == "all steels"].iloc[0]
    said.append(
        f"Tempering: {whole['mean_absolute_error_hrc']:.2f} HRC over all rows, each steel "
        "predicted without it (G&B: Grange & Baughman; H&J: Hollomon & Jaffe)."
    )
    said.append(
        "Lines: 90 % interval of the error when whole sources are drawn again. The Bs rows and the "
        "rows of the tempering fit "
        "may not be bundled, so these pictures stand on stored error figures."
    )
    return _still(live, said, "formulas")


def _method(row) -> str:
    if row["method"] != "own":
        return row["method"].replace("_", " ").title()
    return "ours, grain known" if "where given" in row["validation"] else "ours"


def coverage_panel():
    """Return how many of ten measured bars the 80 % interval holds."""
    from ...study import validation as trust

    table = trust.coverage()
    live = LiveFigure(900, 330, "share of measured bars inside the interval")
    with style.look():
        coverage_plot(live.figure.subplots(), table)
    all_bars = table.iloc[0]
    return _still(
        live,
        [
            f"{100 * all_bars['coverage']:.0f} % of {all_bars['rows']} measured bars lie inside the "
            f"interval that was made "
            "without their steel. Lines: what drawing other steels would give, 9 times out of 10."
        ],
        "coverage",
    )


class BandPanel:
    """The end-quench bar of a grade, simulated and by the standard, in the grade's band."""

    def __init__(self, name: str = "42CrMo4"):
        import ipywidgets as w

        from ...base.tables import read_rows
        from ...study import parity

        self._parity = parity
        self.bands = {}
        for r in read_rows("validation/hardenability_bands.csv"):
            if r["hrc_low"] and r["hrc_high"] and r["grade"] in parity.counted_band_steels():
                self.bands.setdefault(r["grade"], []).append(
                    (float(r["distance_mm"]), float(r["hrc_low"]), float(r["hrc_high"]), r["basis"])
                )
        self.grade = choice("band-grade", "grade", tuple(self.bands), name)
        self.grade.on_change(lambda _: self.show())
        self.live = LiveFigure(760, 420, "end-quench bar in the band of its grade")
        self.live.widget.add_class("fp-band")
        self.words = w.HTML()
        self.words.add_class("fp-band-words")
        self.widget = w.VBox([self.grade.row, self.live.widget, self.words])
        with style.look():
            self.ax = self.live.figure.subplots()
        self.show()

    def show(self) -> None:
        """Draw the chosen grade."""
        name = self.grade.value
        steel, band = self._parity.counted_band_steels()[name], self.bands[name]
        own, standard = self._parity.end_quench_curves(steel, _PLACES_MM)
        at = np.interp([b[0] for b in band], _PLACES_MM, own)
        inside = sum(low <= h <= high for h, (_, low, high, _) in zip(at, band, strict=True))
        read = band[0][3] == "read"
        with style.look():
            self.ax.clear()
            band_plot(self.ax, name, [b[:3] for b in band], _PLACES_MM, own, standard)
        self.live.refresh(static=True)
        self.words.value = markup.note(
            f"{name}: {inside} of {len(band)} points of the simulated bar lie inside the band, which was "
            f"{'read' if read else 'recalled, so it is shown but not counted'}.",
            bad=False,
        )


def band_panel(name: str = "42CrMo4"):
    """Return the panel of end-quench bands."""
    return BandPanel(name).widget


def goals_panel():
    """Return the table of goals: wanted, reached, missed by, how validated, what limits it."""
    from ...study import validation as trust

    head = ("goal", "required", "reached", "", "rows", "left out of the fit", "what limits it")
    rows = []
    for r in trust.trust_table().to_dict("records"):
        missed = "met" if r["missed_by"] == 0 else f"missed by {r['missed_by']:.3g}"
        met = "does not count" if "does not count" in r["left_out"] else missed
        count = f"{r['rows']} rows" + (f", {r['groups']} groups" if r["groups"] != "" else "")
        wanted = f"{r['wanted']} {r['unit']}" if r["wanted"] else ""
        reached = f"{r['reached']} {r['unit']}"
        rows.append(
            (r["goal"], wanted, reached, met if wanted else "", count, r["left_out"], r["limit"])
        )

    def shade(i: int, j: int) -> str | None:
        return style.MISSED if j == 3 and rows[i][3].startswith("missed") else None

    return html("goals", markup.table(head, rows, shade))


def remembered_panel():
    """Return what rests on memory: formulas room by room, folded, and tables with recalled rows."""
    from ...base.sources import counted, sources
    from ...study import validation as trust

    table, rows = trust.remembered(), trust.remembered_rows()
    parts = [
        markup.folded(
            f"{room}, {len(mine)}",
            markup.bullets(f"{r.what}: {r.source}" for r in mine.itertuples()),
        )
        for room, mine in table.groupby("room", sort=False)
    ]
    lines = (f"{r.table}: {r.recalled} of {r.rows} rows" for r in rows.itertuples())
    words = f"tables with recalled rows, {len(rows)}"
    tables = markup.folded(words, markup.bullets(lines), opened=True)
    return html("remembered", f"<p>{counted(sources())}.</p>" + "".join(parts) + tables)
