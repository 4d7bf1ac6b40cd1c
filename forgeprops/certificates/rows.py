"""Rows of a certificate's table to heats of steel: contents in wt%, what was assumed, what cannot be used."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from ..base.errors import InputError
from ..inputs.steel import ELEMENTS, Steel
from ..io.cells import Reading, read_number
from ..io.grids import Grid, Problem, decimal_mark
from .layout import Block, Column, column_of, row_label, unit_factor

__all__ = ["Certificate", "read_block", "title_rows"]

#: Elements whose bad value does not spoil the row: no formula here uses them; the value is left out.
_BESIDE = frozenset({"As", "Sn", "Pb", "Ca", "Sb", "O", "H"})

#: Elements that mills give in ppm, often without saying so.
_PPM_USUAL = frozenset({"N", "B", "O", "H", "Ca"})

#: Sum of the elements above which a steel is not low-alloy, wt% (our own mark; low-alloy steels have 8 % or
#: less in total by common definition, from memory).
_LOW_ALLOY_SUM = 10.0

_NOT_USED = "row not used"

#: "1.2E+05": what spreadsheet programs make of a heat number such as 12E4.
_MANGLED = re.compile(r"\d([.,]\d+)?[eE]\+\d+")


@dataclass(frozen=True)
class Certificate:
    """One heat of steel as certified.

    Attributes
    ----------
    heat : str
        Heat number, or a stand-in such as "row 7".
    grade : str
        Grade as written; empty if none.
    steel : Steel or None
        None where the row cannot be used; `problems` says why.
    row : int
        Row of the file (first of several).
    problems : tuple of Problem
        What concerns this heat.
    rows : tuple of int
        All rows of the file that went into it.
    notes : mapping
        Cells of columns that are no element: header → text.
    file : str
        File, with the sheet of a workbook.
    """

    heat: str
    grade: str
    steel: Steel | None
    row: int
    problems: tuple[Problem, ...] = ()
    rows: tuple[int, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)
    file: str = ""


def title_rows(grid: Grid, block: Block, problems: list[Problem]) -> None:
    if block.header > 0 and not grid.transposed:
        first, last = grid.row_numbers[0], grid.row_numbers[block.header] - 1
        rows = f"rows {first} to {last}" if last > first else f"row {first}"
        taken = ", ".join(f"{k} {v}" for k, v in block.given.items())
        problems.append(
            Problem(
                grid.file,
                first,
                "",
                f"{rows} above the header",
                f"taken as a title ({taken} read from it)" if taken else "taken as a title",
            )
        )


def read_block(
    grid: Grid, block: Block, below_limit: str, problems: list[Problem]
) -> list[Certificate]:
    columns = {j: c.name for j, c in block.columns.items()}
    if {"element", "value"} <= set(columns.values()):
        grid, block = _spread_list(grid, block, problems)
    block = _name_the_heat_column(grid, block, problems)
    for j, column in block.columns.items():
        if column.name is None:
            row, letter = grid.place(block.header, j)
            filled = any(j < len(grid.rows[i]) and grid.rows[i][j] is not None for i in block.rows)
            problems.append(
                Problem(
                    grid.file,
                    row,
                    _head(grid, block, j) or letter,
                    "this column is no chemical element",
                    "kept as a note of each certificate",
                )
                if filled or not grid.transposed
                else Problem(grid.file, row, "", "a line without values", "taken as a title")
            )
    width = len(grid.rows[block.header])
    bare = sorted(
        {
            j
            for i in block.rows
            for j, c in enumerate(grid.rows[i])
            if c is not None and j < width and j not in block.columns
        }
    )
    for j in bare:
        row, letter = grid.place(block.header, j)
        problems.append(
            Problem(grid.file, row, letter, "this column has cells but no header", "not used")
        )
    decimal = decimal_mark(grid)
    made = []
    for i in block.rows:
        certificate = _read_row(grid, block, i, decimal, below_limit)
        if isinstance(certificate, Problem):
            problems.append(certificate)
        else:
            problems += certificate.problems
            made.append(certificate)
    return made


def _head(grid: Grid, block: Block, j: int) -> str:
    cells = grid.rows[block.header]
    return str(cells[j])[:60] if j < len(cells) and cells[j] is not None else ""


def _text(value) -> str:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    if isinstance(value, datetime.datetime):
        value = value.date() if value.time() == datetime.time() else value
    return str(value).strip()


def _name_the_heat_column(grid: Grid, block: Block, problems: list[Problem]) -> Block:
    """Settle which column tells the heat: one headed so, else a lot or sample column, else a first label."""
    names = {c.name for c in block.columns.values()}
    if "heat" in names or "heat" in block.given:
        return block
    by_lot = next((j for j, c in block.columns.items() if c.name in ("lot", "element")), None)
    if by_lot is None:
        unknown = [
            j
            for j in range(len(grid.rows[block.header]))
            if j not in block.columns or block.columns[j].name is None
        ]
        by_lot = next(
            (
                j
                for j in unknown
                if any(
                    j < len(grid.rows[i]) and isinstance(grid.rows[i][j], (str, int))
                    for i in block.rows
                )
                and j < min((k for k, c in block.columns.items() if c.name in ELEMENTS), default=0)
            ),
            None,
        )
    if by_lot is None:
        return block
    row, letter = grid.place(block.header, by_lot)
    problems.append(
        Problem(
            grid.file,
            row,
            _head(grid, block, by_lot) or letter,
            "no column is headed heat, cast or melt",
            "this column is taken for the heat",
        )
    )
    return replace(block, columns={**block.columns, by_lot: Column("heat")})


def _spread_list(grid: Grid, block: Block, problems: list[Problem]) -> tuple[Grid, Block]:
    """An element / value list as a table with one row per heat; each value keeps its own row for messages."""
    at = {c.name: j for j, c in block.columns.items() if c.name is not None}
    key_columns = [at[n] for n in ("heat", "lot") if n in at][:1]

    def cell(i, name):
        row = grid.rows[i]
        return row[at[name]] if name in at and at[name] < len(row) else None

    groups: dict[str, dict[str, tuple[int, Column, object]]] = {}
    last, run = "", 0
    for i in block.rows:
        column = column_of(cell(i, "element"))
        key = (
            _text(grid.rows[i][key_columns[0]])
            if key_columns
            and len(grid.rows[i]) > key_columns[0]
            and grid.rows[i][key_columns[0]] is not None
            else (last if key_columns else f"\0{run}")
        )
        if column.name not in ELEMENTS and column.name != "Fe":
            row, _ = grid.place(i, 0)
            problems.append(
                Problem(
                    grid.file,
                    row,
                    _head(grid, block, at["element"]),
                    f"{str(cell(i, 'element'))[:40]!r} is no element",
                    _NOT_USED,
                )
            )
            continue
        if column.name in groups.get(key, {}):
            run += not key_columns
            key = key if key_columns else f"\0{run}"
        if column.name in groups.get(key, {}):
            row, _ = grid.place(i, 0)
            problems.append(
                Problem(
                    grid.file,
                    row,
                    column.name,
                    f"{column.name} of heat {key!r} is given again",
                    "the first value is used",
                )
            )
            continue
        last = key
        factor = (
            unit_factor(str(cell(i, "unit") or ""))
            or column.factor
            or block.columns[at["value"]].factor
        )
        groups.setdefault(key, {})[column.name] = (
            i,
            replace(column, factor=factor),
            cell(i, "value"),
        )
    elements = sorted({e for group in groups.values() for e in group}, key=[*ELEMENTS, "Fe"].index)
    header = ["heat", "grade", *elements]
    rows, numbers, columns = (
        [header],
        [grid.row_numbers[block.header]],
        {0: Column("heat"), 1: Column("grade")},
    )
    for key, group in groups.items():
        i = min(g[0] for g in group.values())
        rows.append([None if key.startswith("\0") else key or None, cell(i, "grade")])
        for e in elements:
            _, column, value = group.get(e, (i, Column(e), None))
            reading = read_number(value)
            if reading.value is not None and column.factor not in (None, 1.0) and not reading.unit:
                value = ("<" if reading.kind == "below" else "") + repr(
                    reading.value * column.factor
                )
            rows[-1].append(value)
        numbers.append(grid.row_numbers[i])
    columns |= {j + 2: Column(e) for j, e in enumerate(elements)}
    return (
        Grid(grid.file, rows, numbers, problems=grid.problems),
        Block(0, columns, tuple(range(1, len(rows))), block.given),
    )


def _read_row(
    grid: Grid, block: Block, i: int, decimal: str | None, below_limit: str
) -> Certificate | Problem:
    """One row to a certificate, or to the problem that it is none."""
    row = grid.rows[i]
    number, letter = grid.place(i, 0)
    line = number if not grid.transposed else grid.place(0, 0)[0]
    whole = "" if not grid.transposed else grid.place(i, 0)[1]

    def trouble(what, assumed=_NOT_USED, j=None):
        if j is None:
            return Problem(grid.file, line, whole, what, assumed)
        at, column = grid.place(i, j)
        return Problem(
            grid.file,
            at,
            column if grid.transposed else _head(grid, block, j) or column,
            what,
            assumed,
        )

    cell = {j: row[j] for j in range(len(row)) if row[j] is not None}
    elements = {j: c for j, c in block.columns.items() if c.name in ELEMENTS or c.name == "Fe"}
    labels = [v for j, v in cell.items() if j not in elements]
    label = row_label(labels)
    if label:
        kind = "limits" if label == "limits_row" else "means, sums or counts"
        return trouble(
            f"a row of {kind} ({' '.join(_text(v) for v in labels)[:40]!r})", "not a heat, not used"
        )
    if not any(j in cell for j in elements):
        said = " ".join(_text(v) for v in cell.values())[:60]
        return trouble(f"no composition in this row ({said!r})", "taken as a note, not a heat")
    width = len(grid.rows[block.header])
    if len(row) > width and any(c is not None for c in row[width:]) and not grid.transposed:
        return trouble(
            f"{len(row)} cells under a header of {width}; decimal commas may have split numbers"
        )
    if len(row) < width and grid.csv:
        return trouble(
            f"{len(row)} cells under a header of {width}; a cell is missing and the others may "
            "have moved"
        )

    named = {
        c.name: _text(cell[j]) for j, c in reversed(block.columns.items()) if c.name and j in cell
    }
    problems: list[Problem] = []
    by_column = any(c.name == "heat" for c in block.columns.values())
    heat = named.get("heat") or ("" if by_column else block.given.get("heat", ""))
    if not heat:
        heat = f"row {line}" if not grid.transposed else f"column {whole}"
        problems.append(trouble("no heat number", f"called {heat!r}"))
    elif _MANGLED.fullmatch(heat):
        problems.append(
            trouble(
                f"heat {heat!r} looks like a heat number that a spreadsheet program took for a number",
                "kept as it stands",
            )
        )
    grade = named.get("grade") or block.given.get("grade", "")
    notes = {
        _head(grid, block, j): _text(cell[j])
        for j, c in block.columns.items()
        if j in cell and (c.name is None or c.name in ("date", "lot"))
    }

    found: dict[str, list[tuple[float, int]]] = {}
    usable = True
    has_total = any(
        c.name == "Al" and not c.soluble and read_number(cell.get(j)).kind != "missing"
        for j, c in elements.items()
    )
    for j, column in elements.items():
        reading = read_number(cell.get(j), (i, j) in grid.percent, decimal)
        if column.name == "Fe":
            continue
        if column.soluble and has_total:
            notes[_head(grid, block, j)] = _text(cell.get(j, ""))
            continue
        if reading.kind == "missing":
            continue
        content, said = _content(column, reading, below_limit)
        problems += [trouble(what, assumed, j) for what, assumed in said]
        if content is None:
            usable = usable and column.name in _BESIDE
        else:
            found.setdefault(column.name, []).append((content, j))
    composition, twice = {}, []
    for element, values in found.items():
        contents = [v for v, _ in values]
        composition[element] = math.fsum(contents) / len(contents)
        if len(contents) > 1:
            spread = max(contents) - min(contents)
            if spread > max(0.02, 0.1 * max(contents)):
                problems.append(
                    trouble(
                        f"{element} stands in {len(contents)} columns that differ "
                        f"({', '.join(f'{v:g}' for v in contents)} wt%)",
                        _NOT_USED,
                        values[1][1],
                    )
                )
                usable = False
            else:
                twice.append(element)
    if twice:
        problems.append(
            trouble(f"{', '.join(twice)} given in more than one column", "their mean is used")
        )
    if usable and "C" not in composition:
        problems.append(trouble("carbon is missing"))
        usable = False
    problems += _plausible(composition, cell, elements, trouble)
    steel = None
    if usable:
        try:
            steel = Steel(
                heat,
                composition,
                source=f"{grid.file}, row {line}"
                if not grid.transposed
                else f"{grid.file}, column {whole}",
                **_grain(named, trouble, problems),
            )
        except InputError as error:
            problems.append(trouble(str(error).rstrip(".")))
    return Certificate(heat, grade, steel, line, tuple(problems), (line,), notes, grid.file)


def _content(
    column: Column, reading: Reading, below_limit: str
) -> tuple[float | None, list[tuple[str, str]]]:
    """Content in wt% of one cell, None if it cannot be used, and what to say about it."""
    element, allowed = column.name, ELEMENTS[column.name]
    bad = "value left out" if element in _BESIDE else _NOT_USED
    if reading.kind == "unreadable":
        return None, [(reading.remark, bad)]
    if reading.kind == "trace":
        return 0.0, [(f"a trace of {element}", "0 wt% assumed")]
    said = [(reading.remark, "used")] if reading.remark else []
    factor = column.factor
    if reading.unit:
        written = 1e-4 if reading.unit == "ppm" else 1.0
        if factor is not None and written != factor:
            said.append(
                (
                    f"the cell says {reading.unit}, the header another unit",
                    f"read as {reading.unit}",
                )
            )
        factor = written
    content = reading.value * (1.0 if factor is None else factor)
    if (
        factor is None
        and content > allowed
        and element in _PPM_USUAL
        and reading.value >= 1.0
        and reading.value * 1e-4 <= allowed
    ):
        content = reading.value * 1e-4
        said.append(
            (
                f"{reading.value:g} without a unit cannot be wt% of {element}",
                f"taken as ppm, {content:.4g} wt%",
            )
        )
    if content < 0.0:
        return None, [*said, (f"{content:g} wt% {element} is negative", bad)]
    if content > allowed:
        slip = next((k for k in (10, 100, 1000) if content / k <= allowed), None)
        hint = f"; a misplaced point ({content / slip:.4g}) or a scaled number?" if slip else ""
        return None, [
            *said,
            (f"{content:g} wt% {element} is more than the {allowed:g} wt% allowed{hint}", bad),
        ]
    if reading.kind == "below":
        half = content / 2.0 if below_limit == "half" else 0.0
        said.append((f"{element} is below {content:.4g} wt%", f"{half:.4g} wt% assumed"))
        content = half
    return float(f"{content:.12g}"), said


def _grain(named: dict[str, str], trouble, problems: list[Problem]) -> dict[str, float]:
    if "grain_size_astm" not in named:
        return {}
    reading = read_number(named["grain_size_astm"].replace("ASTM", "").strip())
    if reading.kind == "number" and 0.0 <= reading.value <= 14.0:
        return {"grain_size_astm": reading.value}
    if reading.kind != "missing":
        written = named["grain_size_astm"][:30]
        problems.append(
            trouble(f"grain size {written!r} is no ASTM number from 0 to 14", "7 assumed")
        )
    return {}


def _plausible(composition, cell, elements, trouble) -> Iterator[Problem]:
    total = math.fsum(composition.values())
    if total > _LOW_ALLOY_SUM:
        yield trouble(
            f"the elements add up to {total:.3g} wt%, more than a low-alloy steel has",
            "used all the same",
        )
    for j, column in elements.items():
        iron = read_number(cell.get(j)) if column.name == "Fe" else None
        if iron and iron.kind == "number" and abs(iron.value + total - 100.0) > 0.5:
            yield trouble(
                f"iron and the other elements add up to {iron.value + total:.4g} wt%, not 100",
                "used all the same",
                j,
            )
