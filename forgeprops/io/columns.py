"""Measured tables in a documented layout: one reading a row, one quantity a column, units in the header.

Each reader says which fields it wants; here the header is found, cells become numbers and texts, units are
converted, and whatever cannot be used is reported once for each stretch of rows.
"""

from __future__ import annotations

import datetime
import html
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from ..base.errors import InputError
from .cells import header_key, read_number
from .grids import Grid, Problem, column_letter, decimal_mark, read_grids
from .saved import plain_cell

__all__ = [
    "HEAD_FIELD",
    "ZONE_FIELD",
    "Field",
    "Part",
    "Rows",
    "first_problem",
    "number_field",
    "page",
    "read_rows_of",
    "stretches",
    "text_field",
]


@dataclass(frozen=True)
class Field:
    """One wanted column.

    Attributes
    ----------
    name : str
        Name in the result, with its unit.
    headers : mapping of str to (factor, offset)
        Accepted headers (as `files.header_key` makes them) and what turns the written number into the unit.
    kind : {"number", "text", "time"}
        "time" also takes clock times (12:03:04.5), counted from the first.
    low, high : float
        Allowed numbers, in the field's unit.
    unit : str
        For messages.
    needed : bool
        A table without it is refused, a row without it is not used.
    """

    name: str
    headers: Mapping[str, tuple[float, float]]
    kind: str = "number"
    low: float = float("-inf")
    high: float = float("inf")
    unit: str = ""
    needed: bool = True


@dataclass
class Rows:
    """What was read: a list per field name, the file's rows beside it, and the problems met."""

    values: dict[str, list] = field(default_factory=dict)
    headers: list[dict[str, str]] = field(default_factory=list)
    row: list[int] = field(default_factory=list)
    file: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True)
class Part:
    """A table within a grid: its header row, the column of each field, and the conversion of each."""

    grid: Grid
    head: int
    at: Mapping[str, int]
    convert: Mapping[str, tuple[float, float]]


def text_field(name: str, *headers: str, needed: bool = True) -> Field:
    """A field of text under any of these headers."""
    return Field(name, {header_key(h): (1.0, 0.0) for h in (name, *headers)}, "text", needed=needed)


def number_field(
    name: str, headers: Mapping[str, float], low: float, high: float, unit: str, needed: bool = True
) -> Field:
    """A field of numbers; `headers` gives the factor to the field's unit."""
    return Field(
        name,
        {header_key(k): (float(v), 0.0) for k, v in headers.items()},
        "number",
        low,
        high,
        unit,
        needed,
    )


#: Which head a reading belongs to, and where on it.
HEAD_FIELD = text_field(
    "head_id", "head", "head no", "part", "piece", "sample", "run", "Stück", "serial", needed=False
)
ZONE_FIELD = text_field("zone", "location", "area", "Bereich", "zona")


def first_problem(rows: Rows) -> str:
    """The first problem of a table, or that it has no rows."""
    return str(rows.problems[0]) if rows.problems else "the table has no rows."


def page(title: str, frame, problems: Sequence[Problem], shown: int = 30) -> str:
    """A small page for notebooks: a table and what was met; every text of the user's is escaped."""

    def row(cells, tag="td"):
        texts = (f"{c:.4g}" if isinstance(c, float) else str(c) for c in cells)
        return "<tr>" + "".join(f"<{tag}>{html.escape(t)}</{tag}>" for t in texts) + "</tr>"

    body = row(frame.columns, "th") + "".join(
        row(r) for r in frame.head(shown).itertuples(index=False, name=None)
    )
    met = row(("row", "column", "what", "assumed"), "th")
    met += "".join(row((p.row or "", p.column, p.what, p.assumed)) for p in problems[:shown])
    more = f"<p>and {len(problems) - shown} more</p>" if len(problems) > shown else ""
    return f"<p>{html.escape(title)}</p><table>{body}</table>" + (
        f"<p>What was met and assumed:</p><table>{met}</table>{more}" if problems else ""
    )


def stretches(rows: Sequence[int]) -> list[tuple[int, int]]:
    """Runs of neighbouring row numbers as (first, last).

    Examples
    --------
    >>> stretches([4, 5, 6, 9])
    [(4, 6), (9, 9)]
    """
    runs: list[tuple[int, int]] = []
    for row in sorted(rows):
        if runs and row <= runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], row)
        else:
            runs.append((row, row))
    return runs


def read_rows_of(
    source,
    fields: Sequence[Field],
    what: str,
    sheet: str | None = None,
    filename: str | None = None,
    spread: Callable[[Grid, int], list[Part]] | None = None,
) -> Rows:
    """Read a table whose header names the fields.

    Parameters
    ----------
    source, sheet, filename
        As in `files.read_grids`.
    fields : sequence of Field
        What is wanted.
    what : str
        What the file is, for messages ("thermocouple trace").
    spread : callable, optional
        Takes a grid and its likeliest header row apart if they are in another known layout; else no parts.

    Raises
    ------
    InputError
        The file cannot be read, or no row is a header with all needed fields.
    """

    def named(cells) -> dict[str, int]:
        keys = [header_key(c) for c in cells]
        return {f.name: keys.index(k) for f in reversed(fields) for k in f.headers if k in keys}

    def score(rows) -> float:
        return max((len(named(row)) for row in rows[:100]), default=0)

    result = Rows({f.name: [] for f in fields})
    grids = read_grids(source, filename, sheet, score)
    missing: set[str] = set()
    found = False
    for grid in grids:
        result.problems += grid.problems
        counts = [len(named(row)) for row in grid.rows[:100]]
        head = counts.index(max(counts)) if counts else 0
        at = named(grid.rows[head]) if counts else {}
        lacking = [f.name for f in fields if f.needed and f.name not in at]
        parts = spread(grid, head) if lacking and counts and spread else []
        if lacking and not parts:
            missing |= set(lacking)
            if len(grids) > 1:
                result.problems.append(
                    Problem(
                        grid.file,
                        None,
                        "",
                        f"no header with {', '.join(lacking)}",
                        "sheet not read",
                    )
                )
            continue
        found = True
        if head > 0:
            result.problems.append(
                Problem(
                    grid.file,
                    grid.row_numbers[0],
                    "",
                    f"{head} row(s) above the header",
                    "taken as a title",
                )
            )
        header = grid.rows[head]
        for part in parts or [
            Part(
                grid,
                head,
                at,
                {n: f.headers[header_key(header[at[n]])] for f in fields if (n := f.name) in at},
            )
        ]:
            _read_part(part, fields, result)
    if not found:
        wanted = ", ".join(f.name for f in fields if f.needed)
        raise InputError(
            f"{grids[0].file.split(' [')[0]} is no {what}: no row is a header with {wanted} "
            f"(missing {', '.join(sorted(missing))})."
        )
    return result


def _read_part(part: Part, fields: Sequence[Field], result: Rows) -> None:
    grid, head, at, convert = part.grid, part.head, part.at, part.convert
    header, decimal = grid.rows[head], decimal_mark(grid)
    for j, cell in enumerate(header):
        if cell is not None and j not in at.values():
            result.problems.append(
                Problem(
                    grid.file,
                    grid.row_numbers[head],
                    str(cell)[:60],
                    "this column is not part of the layout",
                    "not used",
                )
            )
    headers = {name: str(header[j]) for name, j in at.items()}
    faults: dict[tuple[str, str, str], list[tuple[int, str]]] = {}
    clock = _Clock()

    def fault(row: int, j: int | None, kind: str, shown: str, assumed: str) -> None:
        column = "" if j is None else str(header[j])[:60] if j < len(header) else column_letter(j)
        faults.setdefault((column, kind, assumed), []).append((row, shown))

    for i in range(head + 1, len(grid.rows)):
        cells, number = grid.rows[i], grid.row_numbers[i]
        if not any(c is not None for c in cells):
            continue
        if (
            grid.csv
            and len(cells) != len(header)
            and any(c is not None for c in cells[len(header) :])
        ):
            fault(number, None, f"more cells than the header's {len(header)}", "", "row not used")
            continue
        record, usable = {}, True
        for f in fields:
            j = at.get(f.name)
            cell = cells[j] if j is not None and j < len(cells) else None
            value, trouble, shown = _cell(
                f,
                cell,
                convert.get(f.name, (1.0, 0.0)),
                decimal,
                j is not None and (i, j) in grid.percent,
                clock,
            )
            if trouble and (f.needed or cell is not None):
                spoils = f.needed and value is None
                fault(
                    number,
                    j,
                    trouble,
                    shown,
                    "row not used" if spoils else "left out" if value is None else "used",
                )
            usable = usable and not (f.needed and value is None)
            record[f.name] = value
        if usable:
            for name, value in record.items():
                result.values[name].append(value)
            result.headers.append(headers)
            result.row.append(number)
            result.file.append(grid.file)
    for (column, kind, assumed), places in faults.items():
        shown = dict(places)
        for first, last in stretches(list(shown)):
            rows = f" (rows {first} to {last})" if last > first else ""
            example = f" {shown[first]}" if shown[first] else ""
            result.problems.append(
                Problem(grid.file, first, column, f"{kind}{example}{rows}", assumed)
            )


class _Clock:
    """Clock times to seconds from the first one; past midnight it goes on."""

    def __init__(self):
        self.first = self.last = None

    def seconds(self, cell) -> float | None:
        if isinstance(cell, datetime.datetime):
            now = (cell - datetime.datetime(1970, 1, 1)).total_seconds()
        elif isinstance(cell, datetime.time):
            now = cell.hour * 3600 + cell.minute * 60 + cell.second + cell.microsecond * 1e-6
        else:
            parts = str(cell).replace(",", ".").split(" ")[-1].split(":")
            if len(parts) not in (2, 3) or not all(
                p.replace(".", "", 1).isdecimal() for p in parts
            ):
                return None
            now = 0.0
            for part in parts if len(parts) == 3 else ("0", *parts):
                now = now * 60.0 + float(part)
        if self.last is not None and now < self.last - 43_200.0:
            now += 86_400.0
        self.first = now if self.first is None else self.first
        self.last = now
        return now - self.first


def _cell(
    f: Field, cell, convert: tuple[float, float], decimal, percent, clock
) -> tuple[object, str, str]:
    """Value of a cell (None if there is none to use), the kind of trouble, and what stood there."""
    if f.kind == "text":
        if cell is None:
            return None, "nothing given", ""
        if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
            cell = int(cell)
        if isinstance(cell, datetime.datetime) and cell.time() == datetime.time():
            cell = cell.date()
        return plain_cell(str(cell)), "", ""
    if (
        f.kind == "time"
        and not isinstance(cell, (int, float))
        and (":" in str(cell) or isinstance(cell, datetime.datetime))
    ):
        seconds = clock.seconds(cell)
        return (
            (seconds, "", "") if seconds is not None else (None, "not a time", repr(str(cell)[:30]))
        )
    reading = read_number(cell, percent, decimal)
    if reading.kind == "missing":
        return None, "nothing measured", "" if cell is None else repr(str(cell)[:30])
    if reading.kind != "number":
        return None, "not a number that can be used", repr(str(cell)[:30])
    value = reading.value / (100.0 if percent else 1.0) * convert[0] + convert[1]
    if not f.low <= value <= f.high:
        allowed = f"outside {f.low:g} to {f.high:g} {f.unit}".rstrip()
        return None, allowed, f"{value:g}"
    return value, reading.remark and "read with an assumption", reading.remark
