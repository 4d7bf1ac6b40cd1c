"""Tables whose header names their columns: cells to numbers and texts in the required units.

Each reader says which fields it wants; whatever cannot be used is reported once for each stretch of rows.
"""

import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..base.errors import InputError, OtherLayout
from ..base.in_words import InWords
from .cells import cell_text, header_key, read_number
from .grids import Grid, Problem, column_letter, decimal_mark, read_grids
from .saved import plain_cell


@dataclass(frozen=True)
class Column:
    """What a column holds; factor and offset turn the written number into the field's unit."""

    name: str | None  # field or chemical element; None if not understood
    factor: float | None = None  # None: no unit is stated
    offset: float = 0.0
    soluble: bool = False  # only the soluble part of the element


@dataclass(frozen=True)
class Table:
    """One table within a grid: header row, its columns, the rows below, and what is given above or for all."""

    grid: Grid
    header: int
    columns: dict[int, Column]
    rows: Sequence[int]
    given: Mapping[str, str] = field(default_factory=dict)

    def head(self, j: int) -> str:
        """The header of a column as messages show it; its letter if it has none."""
        cells = self.grid.rows[self.header]
        return str(cells[j])[:60] if j < len(cells) and cells[j] is not None else column_letter(j)


@dataclass(frozen=True)
class Field:
    """One column that a reader understands."""

    name: str  # in the result, with its unit
    headers: Mapping[str, Column]  # accepted headers, as `cells.header_key` makes them
    kind: str = "number"  # "text", or "time": also clock times (12:03:04.5), counted from the first
    low: float = float("-inf")
    high: float = float("inf")
    unit: str = ""
    needed: bool = True  # a table without it is refused, a row without it is not used
    parse: Callable[[str], object] = str  # what a text means; raises InputError if it means nothing


@dataclass
class Rows:
    """What was read: a list per field name, header, row and file of each row, and the problems met."""

    fields: Sequence[Field]
    values: dict[str, list]
    headers: list[dict[str, str]] = field(default_factory=list)
    row: list[int] = field(default_factory=list)
    file: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def report(self, i: int, column: str, what, assumed: str = "row not used") -> None:
        """Add a problem of row `i` of those read."""
        what = str(what).rstrip(".")
        self.problems.append(Problem(self.file[i], self.row[i], column, what, assumed))

    def require(self, found, what: str) -> None:
        """Refuse a table of which nothing was usable, with its first problem."""
        if not found:
            why = self.problems[0] if self.problems else "the table has no rows."
            raise InputError(f"no usable {what}; {why}")

    def frame(self):
        """All fields and ``file_row`` as a DataFrame; what is not given is "" or NaN."""
        import pandas as pd

        blank = {f.name: "" if f.kind == "text" else float("nan") for f in self.fields}
        columns = {n: [blank[n] if v is None else v for v in vs] for n, vs in self.values.items()}
        return pd.DataFrame({**columns, "file_row": self.row})


@dataclass(frozen=True, repr=False)
class Read(InWords):
    """What was read from a file, and the problems met."""

    frame: object
    problems: tuple[Problem, ...] = ()

    def words(self) -> str:
        return "\n".join([f"{len(self.frame)} rows.", *listed(self.problems)])

    def shown(self):
        return self.frame.head(30)


def listed(problems: Sequence[Problem], most: int = 30) -> list[str]:
    """The first problems in words, and how many more there are."""
    more = len(problems) - most
    return [*map(str, problems[:most]), *([f"And {more} more."] if more > 0 else [])]


def text_field(name: str, headers: str = "", needed: bool = True, parse=str) -> Field:
    """A field of text under its name or any of these headers (between blanks)."""
    keys = {header_key(h): Column(name) for h in (name, *headers.split())}
    return Field(name, keys, "text", needed=needed, parse=parse)


def number_field(
    name: str, headers: Mapping, low=-math.inf, high=math.inf, unit="", needed=True, kind="number"
) -> Field:
    """A field of numbers; `headers` gives headers (between blanks) by their factor or (factor, offset)."""
    keys = {header_key(name): Column(name, 1.0)}
    for convert, names in headers.items():
        convert = convert if isinstance(convert, tuple) else (float(convert),)
        keys |= {header_key(h): Column(name, *convert) for h in names.split()}
    return Field(name, keys, kind, low, high, unit, needed)


#: Which head a reading belongs to.
HEAD_FIELD = text_field("head_id", "head headno part piece sample run Stück serial", needed=False)


def stretches(rows: Sequence[int]) -> list[tuple[int, int]]:
    """Runs of neighbouring row numbers as (first, last).

    >>> stretches([4, 5, 6, 9])
    [(4, 6), (9, 9)]
    """
    rows = np.unique(rows)
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    return [(int(run[0]), int(run[-1])) for run in runs if run.size]


def read_rows_of(
    source, fields: Sequence[Field], what: str, sheet=None, filename=None, spread=None
) -> Rows:
    """Read a table whose header names the fields; source, sheet and filename as in `grids.read_grids`.

    `what` is what the file is, for messages ("thermocouple trace"); `spread` takes a grid and its likeliest
    header row apart if they are in another known layout.
    """
    known = {key: column for f in reversed(fields) for key, column in f.headers.items()}

    def named(cells) -> dict[int, Column]:
        columns = [(j, known.get(header_key(cell))) for j, cell in enumerate(cells)]
        first = {c.name: (j, c) for j, c in reversed(columns) if c}
        return dict(sorted(first.values(), key=lambda pair: pair[0]))

    def score(rows) -> float:
        return max((len(named(row)) for row in rows[:100]), default=0)

    result = Rows(fields, {f.name: [] for f in fields})
    grids = read_grids(source, filename, sheet, score)
    needed, missing, found = [f.name for f in fields if f.needed], set(), False
    for grid in grids:
        heads = [named(row) for row in grid.rows[:100]] or [{}]
        head = max(range(len(heads)), key=lambda i: len(heads[i]))
        lacking = [n for n in needed if n not in {c.name for c in heads[head].values()}]
        below = range(head + 1, len(grid.rows))
        tables = [] if lacking else [Table(grid, head, heads[head], below)]
        if lacking and spread and grid.rows:
            tables = spread(grid, head)
        if not tables:
            missing |= set(lacking)
            if len(grids) > 1:
                grid.report(f"no header with {', '.join(lacking)}", "sheet not read")
        else:
            found = True
            if head > 0:
                grid.report(f"{head} row(s) above the header", "taken as a title", 0)
            unknown = "this column is not part of the layout", "not used", head
            for j, cell in enumerate(grid.rows[head]):
                if cell is not None and not any(j in t.columns for t in tables):
                    grid.report(*unknown, str(cell)[:60])
        result.problems += grid.problems
        for table in tables:
            _read_table(table, result)
    if not found:
        file, lost = grids[0].file.split(" [")[0], ", ".join(sorted(missing))
        header = f"no row is a header with {', '.join(needed)} (missing {lost})"
        raise OtherLayout(f"{file} is no {what}: {header}.")
    return result


def _read_table(table: Table, result: Rows) -> None:
    grid, decimal, clock = table.grid, decimal_mark(table.grid), []
    width = len(grid.rows[table.header])
    at = {c.name: (j, c) for j, c in table.columns.items()}
    headers = {name: table.head(j) for name, (j, _) in at.items()}
    faults: dict[tuple[str, str, str], dict[int, str]] = {}

    def fault(row: int, column: str, kind: str, shown: str, assumed: str) -> None:
        faults.setdefault((column, kind, assumed), {})[row] = shown

    for i in table.rows:
        cells, number = grid.rows[i], grid.row_numbers[i]
        if grid.csv and any(c is not None for c in cells[width:]):
            fault(number, "", f"more cells than the header's {width}", "", "row not used")
            continue
        record, usable = dict(table.given), True
        for f in result.fields:
            if f.name in table.given:
                continue
            j, column = at.get(f.name, (len(cells), None))
            cell = cells[j] if j < len(cells) else None
            value, trouble, shown = _cell(f, cell, column, decimal, clock)
            lost = value is None and f.needed
            if trouble and (f.needed or cell is not None):
                assumed = "row not used" if lost else "left out" if value is None else "used"
                fault(number, headers.get(f.name, ""), trouble, shown, assumed)
            usable = usable and not lost
            record[f.name] = value
        if usable:
            for name, values in result.values.items():
                values.append(record[name])
            result.headers.append(headers)
            result.row.append(number)
            result.file.append(grid.file)
    for (column, kind, assumed), shown in faults.items():
        for first, last in stretches(list(shown)):
            what = f"{kind} {shown[first]}".rstrip() + f" (rows {first} to {last})" * (last > first)
            result.problems.append(Problem(grid.file, first, column, what, assumed))


def _clock_s(cell, seen: list[float]) -> float | None:
    """A clock time in seconds from the first one of `seen`, which it joins; past midnight it goes on."""
    if isinstance(cell, datetime.datetime):
        now = (cell - datetime.datetime(1970, 1, 1)).total_seconds()
    else:
        parts = str(cell).replace(",", ".").split(" ")[-1].split(":")
        if len(parts) not in (2, 3) or not all(p.replace(".", "", 1).isdecimal() for p in parts):
            return None
        now = 0.0
        for part in parts:
            now = now * 60.0 + float(part)
    if seen and now < seen[-1] - 43_200.0:
        now += 86_400.0
    seen.append(now)
    return now - seen[0]


def _cell(f: Field, cell, column: Column | None, decimal, clock) -> tuple[object, str, str]:
    """Value of a cell (None if there is none to use), the kind of trouble, and what stood there."""
    if f.kind == "text":
        if cell is None:
            return None, "nothing given", ""
        try:
            return f.parse(plain_cell(cell_text(cell))), "", ""
        except InputError as error:
            return None, str(error).rstrip("."), ""
    if f.kind == "time" and not isinstance(cell, (int, float)) and ":" in str(cell):
        seconds = _clock_s(cell, clock)
        return (None, "not a time", repr(str(cell)[:30])) if seconds is None else (seconds, "", "")
    reading = read_number(cell, decimal=decimal)
    if reading.kind == "missing":
        return None, "nothing measured", "" if cell is None else repr(str(cell)[:30])
    if reading.kind != "number":
        return None, "not a number that can be used", repr(str(cell)[:30])
    value = reading.value * column.factor + column.offset
    if not f.low <= value <= f.high:
        return None, f"outside {f.low:g} to {f.high:g} {f.unit}".rstrip(), f"{value:g}"
    return value, reading.remark and "read with an assumption", reading.remark
