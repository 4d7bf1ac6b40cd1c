"""Tables as people send them: CSV or XLSX to a grid of cells that know their row and column in the file.

What a column means is known to those that read it; what they meet they report as `Problem` s.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from dataclasses import dataclass, field
from itertools import chain, islice
from xml.parsers import expat

from ..base.errors import InputError, check_choice, check_kind, shown
from .cells import clean_text, shortened
from .reading import Source, decode_text, read_source

#: Largest sum of an XLSX file's parts once unpacked, bytes, and largest ratio of a part over 1 MB to its packed
#: size; largest number of cells of a text file.  Our own limits: a workbook of ours takes at most 25 times its
#: packed size, and 2 million cells some 0.5 GB.
UNPACKED_LIMIT_BYTES, RATIO_LIMIT = 60 * 2**20, 200
CELL_LIMIT = 2_000_000
#: Most of each element in a workbook's XML; those with a reference count by its cells, because opening the
#: workbook makes an object of each.
_COUNT_LIMITS = {
    "c": (500_000, "cells"),
    "row": (200_000, "rows"),
    "mergeCell": (20_000, "merged cells"),
    "hyperlink": (20_000, "cells with a link"),
    "f": (500_000, "formulas"),
}


@dataclass(frozen=True)
class Problem:
    """Something in a file that a person should know, and what was made of it."""

    file: str  # with the sheet of a workbook
    row: int | None  # as a spreadsheet program or an editor numbers it; None: the file as a whole
    column: str  # header of the column, or its letter; "": the row as a whole
    what: str
    assumed: str

    def __str__(self) -> str:
        place = self.file + (f", row {self.row}" if self.row is not None else "")
        place += f", column {self.column}" if self.column else ""
        return f"{place}: {self.what}; {self.assumed}."


@dataclass(frozen=True)
class Grid:
    """One table of cells."""

    file: str  # with the sheet of a workbook, as messages name it
    rows: list[list]  # cell values: text (cleaned), number, date or None
    row_numbers: list[int]  # of each row in the file
    percent: frozenset[tuple[int, int]] = frozenset()  # cells in percent: 0.0021 is 0.21 %
    spans: frozenset[tuple[int, int]] = frozenset()  # cells that only repeat a merged cell
    transposed: bool = False  # rows and columns were exchanged; `place` undoes it
    problems: list[Problem] = field(default_factory=list)
    csv: bool = False  # from a text file, where a missing delimiter moves the cells behind it

    def place(self, i: int, j: int) -> tuple[int | None, str]:
        """Row number and column letter, in the file, of cell (i, j)."""
        if self.transposed:
            i, j = j, i
        return (self.row_numbers[i] if 0 <= i < len(self.row_numbers) else None), column_letter(j)

    def report(self, what: str, assumed: str, i: int | None = None, column="", j: int = 0) -> None:
        """Add a problem at cell (i, j) of the grid, or of the whole."""
        row = None if i is None else self.place(i, j)[0]
        self.problems.append(Problem(self.file, row, column, what, assumed))

    def transpose(self) -> Grid:
        """The same cells with rows and columns exchanged."""
        width = max(map(len, self.rows), default=0)
        rows = [[row[j] if j < len(row) else None for row in self.rows] for j in range(width)]
        flipped = (frozenset((j, i) for i, j in cells) for cells in (self.percent, self.spans))
        turned = not self.transposed
        return Grid(self.file, rows, self.row_numbers, *flipped, turned, self.problems, self.csv)


#: First bytes of files that people take for tables.
_OTHER_KINDS = {
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a packed file",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"{\\rtf": "a text document",
}


def column_letter(j: int) -> str:
    """Letter of a column counted from 0, as spreadsheet programs show it."""
    letters, j = "", j + 1
    while j > 0:
        j, rest = divmod(j - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def decimal_mark(grid: Grid) -> str | None:
    """The decimal mark of a grid, "," or ".", by the cells that leave no doubt; None if none does."""
    found = set()
    for value in chain.from_iterable(grid.rows):
        if isinstance(value, str) and len(value) < 40:
            match = re.fullmatch(r"[<~≤ ]*[+-]?(\d*)([.,])(\d+) ?%?", value)
            if match and (match[1] in ("", "0") or len(match[3]) != 3):
                found.add(match[2])
        elif isinstance(value, float) and not value.is_integer():
            found.add(".")
    return found.pop() if len(found) == 1 else None


def read_grids(source, filename=None, sheet=None, score=None, most_cells=CELL_LIMIT) -> list[Grid]:
    """Read a CSV or XLSX file as grids, one per visible sheet, or of one named sheet (which may be hidden).

    `score` tells how much a list of rows looks like what the caller wants and picks the delimiter of a CSV
    file; a text file of more than `most_cells` is refused before it is split.  What was met on the way is
    in each grid's `problems`.
    """
    if sheet is not None:
        check_kind(sheet, str, "sheet")
    file = read_source(source, filename)
    data = file.data
    if data.startswith(b"PK"):
        return _xlsx_grids(file, sheet)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        kind = "an old .xls or a password-protected workbook"
        raise InputError(f"{file.name} is {kind}; save it as .xlsx or .csv without a password.")
    for mark, kind in _OTHER_KINDS.items():
        if data.startswith(mark):
            raise InputError(f"{file.name} must be .csv or .xlsx; got {kind}.")
    if sheet is not None:
        given = f"sheet {shown(sheet)} is given"
        raise InputError(f"{file.name} has no sheets, but {given}; leave sheet out for CSV.")
    return [_csv_grid(file, score, most_cells)]


def _csv_grid(file: Source, score, most_cells: int) -> Grid:
    text, encoding = decode_text(file.data)
    if re.match(r"\s*<(?:!doctype|html|\?xml|table)", text[:200], re.IGNORECASE):
        kind = "a web page or XML, not a table"
        raise InputError(f"{file.name} is {kind}; save it as .csv or .xlsx.")
    said: list[tuple[int | None, str, str]] = []
    if encoding in ("cp1252", "latin-1", "cp932"):
        called = "Shift-JIS" if encoding == "cp932" else "Windows-1252 (Latin-1)"
        said.append((None, "the text is not UTF-8", f"read as {called}"))
    if "\ufffd" in text:
        said.append((None, "some characters cannot be decoded", "shown as \ufffd"))
    if "\0" in text:
        row = text[: text.index("\0")].count("\n") + 1
        said.append((row, "the file holds zero bytes, as damaged files do", "left out"))
        text = text.replace("\0", "")
    first = re.match(r"\s*sep=(.)\r?\n", text)
    delimiters = (first[1],) if first else (";", "\t", ",", "|")
    samples = {d: _csv_rows(text, d, 400)[0] for d in delimiters}
    scores = {d: score(rows) if score else 0.0 for d, rows in samples.items()}
    delimiter = max(delimiters, key=lambda d: (scores[d], _evenness(samples[d])))
    if text.count(delimiter) + max(text.count("\n"), text.count("\r")) > most_cells:
        raise InputError(f"{file.name} has more than {most_cells} cells; split it.")
    rows, numbers, odd = _csv_rows(text, delimiter)
    if odd is not None:
        assumed = "quotation marks of this file are taken as plain characters"
        what = "a quotation mark is not closed or stands inside a text"
        said.append((odd or None, what, assumed))
    skip = 1 if first else 0
    problems = [Problem(file.name, row, "", what, assumed) for row, what, assumed in said]
    return Grid(file.name, rows[skip:], numbers[skip:], problems=problems, csv=True)


def _csv_rows(text: str, delimiter: str, most: int | None = None):
    """Rows of cleaned text, their numbers, and None; strict about quotes.

    Where quotes do not close, line by line without quotes, and instead of None the row that is odd.
    """
    rows, numbers, before, odd = [], [], 0, None
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        for row in islice(reader, most):
            rows.append(row)
            numbers.append(before + 1)
            before = reader.line_num
    except csv.Error:
        lines = list(islice(io.StringIO(text, newline=None), most))
        odd = next((n for n, line in enumerate(lines, 1) if line.count('"') % 2), 0)
        rows = [[cell.strip().strip('"') for cell in line.split(delimiter)] for line in lines]
        numbers = list(range(1, len(rows) + 1))
    cleaned = [[clean_text(cell) or None for cell in row] for row in rows]
    kept = [k for k, row in enumerate(cleaned) if any(c is not None for c in row)]
    return [cleaned[k] for k in kept], [numbers[k] for k in kept], odd


def _evenness(rows: list[list]) -> float:
    """How alike the rows' lengths are, times the usual length; 0 for one cell a row."""
    lengths = [len(row) for row in rows[:200]]
    usual = max(set(lengths), key=lengths.count, default=1)
    return 0.0 if usual < 2 else lengths.count(usual) / len(lengths) + 0.001 * min(usual, 100)


def check_workbook(file: Source) -> bool:
    """Refuse a workbook that would take the machine when opened; True if it holds formulas.

    All is read from the XML of its parts, before anything makes an object of a cell.
    """
    count = dict.fromkeys(_COUNT_LIMITS, 0)

    def refuse(what: str):
        raise InputError(f"{file.name} {what}; split it, or save the sheet alone as .csv.")

    def doctype(*_):
        raise InputError(f"{file.name} declares a document type, which no .xlsx needs: not read.")

    def element(tag: str, attributes: dict[str, str]) -> None:
        kind = tag.rpartition(":")[2]
        if kind in count:
            limit, what = _COUNT_LIMITS[kind]
            count[kind] += _area(attributes["ref"]) if "ref" in attributes else 1
            if count[kind] > limit:
                refuse(f"has more than {limit} {what}")

    try:
        with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
            parts = archive.infolist()
            size = sum(p.file_size for p in parts)
            if len(parts) > 2000 or size > UNPACKED_LIMIT_BYTES:
                refuse(f"unpacks to more than {UNPACKED_LIMIT_BYTES / 2**20:.3g} MB or 2000 parts")
            if any(p.file_size > max(2**20, RATIO_LIMIT * p.compress_size) for p in parts):
                refuse(f"unpacks to more than {RATIO_LIMIT} times its size")
            names = {p.filename.lower() for p in parts}
            if "[content_types].xml" not in names or not any(n.startswith("xl/") for n in names):
                kind = "a packed file but not an .xlsx workbook"
                raise InputError(f"{file.name} is {kind}; give .csv or .xlsx.")
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels")):
                    parser = expat.ParserCreate()
                    parser.StartDoctypeDeclHandler, parser.StartElementHandler = doctype, element
                    parser.Parse(archive.read(part), True)
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001  (zip and its decompressors raise a dozen kinds)
        what = f"a damaged or protected workbook: {shortened(error)}"
        raise InputError(f"{file.name} is {what}; give a whole one without a password.") from None
    return count["f"] > 0


def _area(ref: str) -> float:
    """Number of cells of a reference such as "B2:D9"; infinite if it is none that can be read."""
    from openpyxl.utils.cell import range_boundaries

    try:
        left, top, right, bottom = range_boundaries(ref)
        return (abs(right - left) + 1) * (abs(bottom - top) + 1)
    except (TypeError, ValueError):
        return float("inf")


def _xlsx_grids(file: Source, sheet: str | None) -> list[Grid]:
    has_formulas = check_workbook(file)
    try:
        import openpyxl

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(file.data), data_only=True)
            formulas = openpyxl.load_workbook(io.BytesIO(file.data)) if has_formulas else None
        sheets = {ws.title: ws for ws in book.worksheets}
        chosen = [ws for ws in sheets.values() if ws.sheet_state == "visible"]
        if sheet is not None:
            chosen = [sheets[check_choice(sheet, "sheet", sheets, file.name)]]
        several = len(sheets) > 1
        grids = [_sheet_grid(file, ws, formulas and formulas[ws.title], several) for ws in chosen]
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001  (a damaged workbook makes openpyxl raise anything)
        what = f"a damaged workbook: {shortened(error)}"
        raise InputError(f"{file.name} is {what}; save it again as .xlsx or .csv.") from None
    if not grids:
        give = "give a sheet with a header and rows"
        raise InputError(f"{file.name} has no visible sheet with cells; {give}.")
    for ws in sheets.values() if sheet is None else ():
        if ws.sheet_state != "visible":
            what = f"sheet {ws.title!r} is hidden", "not read; name it (sheet=...) to read it"
            grids[0].problems.append(Problem(file.name, None, "", *what))
    return grids


def _sheet_grid(file: Source, ws, formulas, named: bool) -> Grid:
    where = f"{file.name} [{ws.title}]" if named else file.name
    problems: list[Problem] = []

    def report(r: int, c: int | None, what: str, assumed: str) -> None:
        column = "" if c is None else column_letter(c - 1)
        problems.append(Problem(where, r, column, what, assumed))

    # ws._cells holds the cells that exist; iterating over the used range instead walks 17 thousand million
    # cells of a sheet with one stray format in the last corner.
    values, percent, spans = {}, set(), set()
    for (r, c), cell in ws._cells.items():
        value = cell.value
        formula = formulas._cells.get((r, c)) if formulas and value is None else None
        if formula is not None and str(formula.value).startswith("="):
            again = "taken as empty; open and save the file in the spreadsheet program"
            report(r, c, "a formula without a stored result", again)
        value = (clean_text(value) or None) if isinstance(value, str) else value
        if value is not None:
            values[r, c] = value
            if "%" in (cell.number_format or "") and isinstance(value, (int, float)):
                percent.add((r, c))
    for merged in ws.merged_cells.ranges:
        first, rows = (merged.min_row, merged.min_col), range(merged.min_row, merged.max_row + 1)
        cols = range(merged.min_col, merged.max_col + 1)
        inside = {(r, c) for r in rows for c in cols} - {first}
        if first in values:
            values |= dict.fromkeys(inside, values[first])
            spans |= inside
            percent |= inside if first in percent else set()
    numbers = sorted({r for r, _ in values})
    hidden = [r for r in numbers if r in ws.row_dimensions and ws.row_dimensions[r].hidden]
    if hidden:
        report(hidden[0], None, f"{len(hidden)} hidden row(s)", "read like the others")
    index = {r: i for i, r in enumerate(numbers)}
    rows: list[list] = [[] for _ in numbers]
    for (r, c), value in sorted(values.items(), key=lambda item: item[0]):
        row = rows[index[r]]
        if c > 2000:
            report(r, c, "a cell beyond column 2000", "not read")
            continue
        row.extend([None] * (c - 1 - len(row)))
        row.append(value)
    places = (frozenset((index[r], c - 1) for r, c in cells) for cells in (percent, spans))
    return Grid(where, rows, numbers, *places, problems=problems)
