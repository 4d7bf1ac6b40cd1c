"""Rows of a certificate's table to heats of steel: contents in wt%, what was assumed, what cannot be used."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..base.errors import InputError
from ..inputs.steel import BESIDE, ELEMENTS, NOT_USED, Steel, below_sd, content_of
from ..io.cells import cell_text, read_number
from ..io.columns import Column, Table
from ..io.grids import Grid, Problem, decimal_mark
from .layout import column_of, row_label, unit_factor

#: Sum of the elements above which a steel is not low-alloy, wt% (our own mark; low-alloy steels have 8 % or
#: less in total by common definition, from memory).
_LOW_ALLOY_SUM = 10.0

#: "1.2E+05": what spreadsheet programs make of a heat number such as 12E4.
_MANGLED = re.compile(r"\d([.,]\d+)?[eE]\+\d+")


@dataclass(frozen=True)
class Certificate:
    """One heat of steel as certified."""

    heat: str  # heat number, or a stand-in such as "row 7"
    grade: str  # as written; empty if none
    steel: Steel | None  # None where the row cannot be used; `problems` says why
    row: int  # of the file (first of several)
    problems: tuple[Problem, ...] = ()
    rows: tuple[int, ...] = ()  # all that went into it
    notes: Mapping[str, str] = field(default_factory=dict)  # other columns by header
    file: str = ""  # with the sheet of a workbook

    def problem(self, column: str, what: str, assumed: str) -> Problem:
        """A problem in this heat's row."""
        return Problem(self.file, self.row, column, what, assumed)


def read_table(table: Table, below_limit: str) -> list[Certificate]:
    """The heats of one table; rows that are no heat become problems of the grid."""
    if {"element", "value"} <= {c.name for c in table.columns.values()}:
        table = _spread_list(table)
    table = _name_the_heat_column(table)
    grid, width = table.grid, len(table.grid.rows[table.header])

    def filled(j: int) -> bool:
        return any(j < len(grid.rows[i]) and grid.rows[i][j] is not None for i in table.rows)

    for j in [j for j, column in table.columns.items() if column.name is None]:
        said = ("a line without values", "taken as a title", table.header, "")
        if filled(j) or not grid.transposed:
            kept = "kept as a note of each certificate"
            said = ("this column is no chemical element", kept, table.header, _head(table, j))
        grid.report(*said, j)
    for j in range(width):
        if j not in table.columns and filled(j):
            what, letter = "this column has cells but no header", grid.place(table.header, j)[1]
            grid.report(what, "not used", table.header, letter, j)
    made, decimal = [], decimal_mark(grid)
    for i in table.rows:
        said = []
        made.append(_read_row(table, i, decimal, below_limit, said))
        grid.problems.extend(said)
    return [certificate for certificate in made if certificate is not None]


def _head(table: Table, j: int) -> str:
    """The header of a column; the letter of a column in the file without one."""
    cells = table.grid.rows[table.header]
    named = j < len(cells) and cells[j] is not None
    return table.head(j) if named else table.grid.place(table.header, j)[1]


def _name_the_heat_column(table: Table) -> Table:
    """Settle which column names the heat: one headed so, else a lot or sample column, else a first label."""
    grid, columns = table.grid, table.columns
    if "heat" in {c.name for c in columns.values()} or "heat" in table.given:
        return table
    places = [j for j, c in columns.items() if c.name in ("lot", "element")]
    if not places:
        first = min((j for j, c in columns.items() if c.name in ELEMENTS), default=0)
        rows = [grid.rows[i] for i in table.rows]
        before = range(min(first, len(grid.rows[table.header])))
        unknown = [j for j in before if columns.get(j, Column(None)).name is None]
        labels = (any(j < len(r) and isinstance(r[j], (str, int)) for r in rows) for j in unknown)
        places = [j for j, label in zip(unknown, labels, strict=True) if label]
    if not places:
        return table
    what, assumed = "no column is headed heat, cast or melt", "this column is taken for the heat"
    grid.report(what, assumed, table.header, _head(table, places[0]), places[0])
    return replace(table, columns={**columns, places[0]: Column("heat")})


def _spread_list(table: Table) -> Table:
    """An element / value list as a table with one row per heat."""
    grid, at = table.grid, {c.name: j for j, c in reversed(table.columns.items())}
    by = "heat" if "heat" in at else "lot" if "lot" in at else None

    def cell(i: int, name):
        row = grid.rows[i]
        return row[at[name]] if name in at and at[name] < len(row) else None

    heats: dict[str, dict[str, tuple[int, Column, object]]] = {}
    key, run = "", 0
    for i in table.rows:
        column = column_of(cell(i, "element"))
        if by and cell(i, by) is not None:
            key = cell_text(cell(i, by))
        elif not by:
            run += column.name in heats.get(f"\0{run}", {})  # an element again begins the next heat
            key = f"\0{run}"
        if column.name not in ELEMENTS and column.name != "Fe":
            what = f"{str(cell(i, 'element'))[:40]!r} is no element"
            grid.report(what, NOT_USED, i, table.head(at["element"]))
            continue
        heat = heats.setdefault(key, {})
        if column.name in heat:
            what = f"{column.name} of heat {key!r} is given again"
            grid.report(what, "the first value is used", i, column.name)
            continue
        units = cell(i, "unit"), cell(i, "element"), cell(table.header, "value")
        factor = next(filter(None, map(unit_factor, map(str, units))), None)
        heat[column.name] = i, replace(column, factor=factor), cell(i, "value")
    elements = sorted({e for heat in heats.values() for e in heat}, key=[*ELEMENTS, "Fe"].index)
    rows, numbers = [["heat", "grade", *elements]], [grid.row_numbers[table.header]]
    for key, heat in heats.items():
        i = min(place for place, _, _ in heat.values())
        row = [None if key.startswith("\0") else key or None, cell(i, "grade")]
        for e in elements:
            _, column, value = heat.get(e, (i, Column(e), None))
            reading = read_number(value)
            if reading.value is not None and column.factor not in (None, 1.0) and not reading.unit:
                below = "<" if reading.kind == "below" else ""
                value = below + repr(reading.value * column.factor)
            row.append(value)
        rows.append(row)
        numbers.append(grid.row_numbers[i])
    columns = {j: Column(name) for j, name in enumerate(rows[0])}
    upright = Grid(grid.file, rows, numbers, problems=grid.problems)
    return Table(upright, 0, columns, range(1, len(rows)), table.given)


def _read_row(table: Table, i: int, decimal, below_limit: str, said: list) -> Certificate | None:
    """One row to a certificate; None if it is no heat; what was met is added to `said`."""
    grid, row = table.grid, table.grid.rows[i]
    (line, _), turned = grid.place(i, 0), grid.transposed
    whole = grid.place(i, 0)[1] if turned else ""

    def report(what: str, assumed: str = NOT_USED, j: int | None = None) -> None:
        at, column = (line, whole) if j is None else grid.place(i, j)
        if j is not None and not turned:
            column = _head(table, j)
        said.append(Problem(grid.file, at, column, what, assumed))

    cell = {j: value for j, value in enumerate(row) if value is not None}
    elements = {j: c for j, c in table.columns.items() if c.name in ELEMENTS or c.name == "Fe"}
    labels = [v for j, v in cell.items() if j not in elements]
    width = len(grid.rows[table.header])
    cells = f"{len(row)} cells under a header of {width}"
    if label := row_label(labels):
        kind = "limits" if label == "limits_row" else "means, sums or counts"
        words = " ".join(map(cell_text, labels))[:40]
        return report(f"a row of {kind} ({words!r})", "not a heat, not used")
    if not any(j in cell for j in elements):
        words = " ".join(map(cell_text, cell.values()))[:60]
        return report(f"no composition in this row ({words!r})", "taken as a note, not a heat")
    if max(cell) >= width and not turned:
        return report(f"{cells}; decimal commas may have split numbers")
    if len(row) < width and grid.csv:
        return report(f"{cells}; a cell is missing and the others may have moved")

    there = {j: c.name for j, c in table.columns.items() if j in cell}
    named = {name: cell_text(cell[j]) for j, name in reversed(there.items()) if name}
    by_column = any(c.name == "heat" for c in table.columns.values())
    heat = named.get("heat") or ("" if by_column else table.given.get("heat", ""))
    if not heat:
        heat = f"column {whole}" if turned else f"row {line}"
        report("no heat number", f"called {heat!r}")
    elif _MANGLED.fullmatch(heat):
        what = "looks like a heat number that a spreadsheet program took for a number"
        report(f"heat {heat!r} {what}", "kept as it stands")
    beside = [j for j, name in there.items() if name in (None, "date", "lot")]
    notes = {table.head(j): cell_text(cell[j]) for j in beside}
    unsure: dict[str, float] = {}
    how = i, decimal, below_limit, unsure
    composition = _composition(cell, elements, table, how, report, notes)
    steel = None
    if composition is not None:
        _report_sums(composition, cell, elements, report)
        source = f"{grid.file}, column {whole}" if turned else f"{grid.file}, row {line}"
        try:
            steel = Steel(heat, composition, source=source, unsure=unsure, **_grain(named, report))
        except InputError as error:
            report(str(error).rstrip("."))
    grade = named.get("grade") or table.given.get("grade", "")
    return Certificate(heat, grade, steel, line, tuple(said), (line,), notes, grid.file)


def _composition(cell, elements, table, how, report, notes) -> dict[str, float] | None:
    """Contents of a row, wt%; None if one that counts cannot be used.  Fills the last of `how` with what is left open."""
    (i, decimal, below_limit, unsure), usable = how, True
    found: dict[str, list[tuple[float, int]]] = {}
    whole = (cell.get(j) for j, c in elements.items() if c.name == "Al" and not c.soluble)
    total_al = any(read_number(written).kind != "missing" for written in whole)
    for j, column in elements.items():
        reading = read_number(cell.get(j), (i, j) in table.grid.percent, decimal)
        if column.soluble and total_al:
            notes[table.head(j)] = cell_text(cell.get(j, ""))
        elif column.name != "Fe" and reading.kind != "missing":
            content, remarks = content_of(column.name, column.factor, reading, below_limit)
            for what, assumed in remarks:
                report(what, assumed, j)
            if content is None:
                usable = usable and column.name in BESIDE
            else:
                found.setdefault(column.name, []).append((content, j))
                if reading.kind == "below":
                    unsure[column.name] = below_sd(content)
    composition, twice = {}, []
    for element, values in found.items():
        contents = [v for v, _ in values]
        composition[element] = math.fsum(contents) / len(contents)
        if max(contents) - min(contents) > max(0.02, 0.1 * max(contents)):
            written = ", ".join(f"{v:g}" for v in contents)
            what = f"{element} stands in {len(contents)} columns that differ ({written} wt%)"
            report(what, NOT_USED, values[1][1])
            usable = False
        elif len(contents) > 1:
            twice.append(element)
    if twice:
        report(f"{', '.join(twice)} given in more than one column", "their mean is used")
    if usable and "C" not in composition:
        report("carbon is missing")
        usable = False
    return composition if usable else None


def _grain(named: dict[str, str], report) -> dict[str, float]:
    written = named.get("grain_size_astm", "")
    reading = read_number(written.replace("ASTM", "").strip())
    if reading.kind == "number" and 0.0 <= reading.value <= 14.0:
        return {"grain_size_astm": reading.value}
    if reading.kind != "missing":
        report(f"grain size {written[:30]!r} is no ASTM number from 0 to 14", "7 assumed")
    return {}


def _report_sums(composition, cell, elements, report) -> None:
    """Report contents that add up to more than a low-alloy steel has, or with iron to something else than 100 %."""
    total, used = math.fsum(composition.values()), "used all the same"
    if total > _LOW_ALLOY_SUM:
        report(f"the elements add up to {total:.3g} wt%, more than a low-alloy steel has", used)
    for j, column in elements.items():
        iron = read_number(cell.get(j)) if column.name == "Fe" else None
        if iron and iron.kind == "number" and abs(iron.value + total - 100.0) > 0.5:
            whole = iron.value + total
            report(f"iron and the other elements add up to {whole:.4g} wt%, not 100", used, j)
