"""Tables as people send them: CSV or XLSX to a grid of cells that know their row and column in the file.

Nothing here knows what a column means; the rooms that do (certificates, measurements) build on it and report
what they meet as `Problem` s.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field

from ..base.errors import InputError, check_choice, check_kind
from .cells import clean_text, shortened
from .reading import READ_LIMIT_BYTES, Source, decode_text, read_source

__all__ = ["Grid", "Problem", "check_xlsx_size", "column_letter", "decimal_mark", "read_grids"]

#: Largest sum of an XLSX file's parts once unpacked, bytes, and largest number of cells.  Our own limits:
#: against files that unpack to gigabytes.
UNPACKED_LIMIT_BYTES = 60 * 2**20
CELL_LIMIT = 2_000_000


@dataclass(frozen=True)
class Problem:
    """Something in a file that a person should know, and what was made of it.

    Attributes
    ----------
    file : str
        File, with the sheet of a workbook.
    row : int or None
        Row as a spreadsheet program or an editor numbers it; None for the file as a whole.
    column : str
        Header of the column, or its letter; empty for the row as a whole.
    what : str
        What was found.
    assumed : str
        What was done about it.
    """

    file: str
    row: int | None
    column: str
    what: str
    assumed: str

    def __str__(self) -> str:
        place = self.file + (f", row {self.row}" if self.row is not None else "")
        place += f", column {self.column}" if self.column else ""
        return f"{place}: {self.what}; {self.assumed}."


@dataclass(frozen=True)
class Grid:
    """One table of cells.

    Attributes
    ----------
    file : str
        File, with the sheet of a workbook, as messages name it.
    rows : list of list
        Cell values: text (cleaned), number, date or None.
    row_numbers : list of int
        Row number of each row in the file.
    percent : set of (int, int)
        Cells whose number format is a percentage (0.0021 shown as 0.21 %).
    spans : set of (int, int)
        Cells that only repeat a merged cell.
    transposed : bool
        Rows and columns were exchanged; `place` undoes it.
    csv : bool
        From a text file, where a missing delimiter moves the cells behind it.
    """

    file: str
    rows: list[list]
    row_numbers: list[int]
    percent: frozenset[tuple[int, int]] = frozenset()
    spans: frozenset[tuple[int, int]] = frozenset()
    transposed: bool = False
    problems: list[Problem] = field(default_factory=list)
    csv: bool = False

    def place(self, i: int, j: int) -> tuple[int | None, str]:
        """Row number and column letter, in the file, of cell (i, j)."""
        if self.transposed:
            i, j = j, i
        return (self.row_numbers[i] if 0 <= i < len(self.row_numbers) else None), column_letter(j)

    def transpose(self) -> Grid:
        """The same cells with rows and columns exchanged."""
        width = max(map(len, self.rows), default=0)
        rows = [[row[j] if j < len(row) else None for row in self.rows] for j in range(width)]
        return Grid(
            self.file,
            rows,
            self.row_numbers,
            frozenset((j, i) for i, j in self.percent),
            frozenset((j, i) for i, j in self.spans),
            not self.transposed,
            self.problems,
            self.csv,
        )


def column_letter(j: int) -> str:
    """Letter of a column counted from 0, as spreadsheet programs show it."""
    letters = ""
    j += 1
    while j > 0:
        j, rest = divmod(j - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def decimal_mark(grid: Grid) -> str | None:
    """The decimal mark of a grid, "," or ".", by the cells that leave no doubt; None if none does."""
    found = set()
    for row in grid.rows:
        for value in row:
            if isinstance(value, str) and len(value) < 40:
                match = re.fullmatch(r"[<~≤ ]*[+-]?(\d*)([.,])(\d+) ?%?", value)
                if match and (match[1] in ("", "0") or len(match[3]) != 3):
                    found.add(match[2])
            elif isinstance(value, float) and not value.is_integer():
                found.add(".")
    return found.pop() if len(found) == 1 else None


def read_grids(
    source,
    filename: str | None = None,
    sheet: str | None = None,
    score: Callable[[list[list]], float] | None = None,
    limit_bytes: int = READ_LIMIT_BYTES,
) -> list[Grid]:
    """Read a CSV or XLSX file as grids, one per visible sheet.

    Parameters
    ----------
    source, filename, limit_bytes
        As in `files.read_source`.
    sheet : str, optional
        Read this sheet only (it may be hidden).
    score : callable, optional
        Tells how much a list of rows looks like what the caller wants; picks the delimiter of a CSV file.

    Returns
    -------
    list of Grid
        At least one; what was met on the way is in each grid's `problems`.

    Raises
    ------
    InputError
        Neither CSV nor XLSX, damaged, protected, too large, no such sheet.
    """
    if sheet is not None:
        check_kind(sheet, str, "sheet")
    file = read_source(source, filename, limit_bytes)
    data = file.data
    if data.startswith(b"PK"):
        return _xlsx_grids(file, sheet)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise InputError(
            f"{file.name} is an old .xls or a password-protected workbook; "
            "save it as .xlsx or .csv without a password."
        )
    for mark, kind in (
        (b"%PDF", "a PDF"),
        (b"\x1f\x8b", "a packed file"),
        (b"\x89PNG", "a picture"),
        (b"\xff\xd8\xff", "a picture"),
        (b"{\\rtf", "a text document"),
    ):
        if data.startswith(mark):
            raise InputError(f"{file.name} is {kind}; allowed is .csv or .xlsx.")
    if sheet is not None:
        raise InputError(
            f"{file.name} has no sheets, but sheet {sheet!r} was asked for; "
            "leave sheet out for CSV."
        )
    return [_csv_grid(file, score)]


def _csv_grid(file: Source, score) -> Grid:
    text, encoding = decode_text(file.data)
    if re.match(r"\s*<(?:!doctype|html|\?xml|table)", text[:200], re.IGNORECASE):
        raise InputError(
            f"{file.name} is a web page or XML, not a table; save it as .csv or .xlsx."
        )
    problems = []
    if encoding in ("cp1252", "latin-1", "cp932"):
        called = "Shift-JIS" if encoding == "cp932" else "Windows-1252 (Latin-1)"
        problems.append(Problem(file.name, None, "", "the text is not UTF-8", f"read as {called}"))
    if "\ufffd" in text:
        problems.append(
            Problem(file.name, None, "", "some characters cannot be decoded", "shown as \ufffd")
        )
    if "\0" in text:
        row = text[: text.index("\0")].count("\n") + 1
        problems.append(
            Problem(
                file.name, row, "", "the file holds zero bytes, as damaged files do", "left out"
            )
        )
        text = text.replace("\0", "")
    first = re.match(r"\s*sep=(.)\r?\n", text)
    best = None
    for delimiter in (first[1],) if first else (";", "\t", ",", "|"):
        rows, numbers, remarks = _csv_rows(text, delimiter, file.name)
        worth = (score(rows) if score else 0.0, _evenness(rows))
        if best is None or worth > best[0]:
            best = (worth, rows, numbers, remarks)
    _, rows, numbers, remarks = best
    if first:
        rows, numbers = rows[1:], numbers[1:]
    if sum(map(len, rows)) > CELL_LIMIT:
        raise InputError(f"{file.name} has more than {CELL_LIMIT} cells; split it.")
    return Grid(file.name, rows, numbers, problems=problems + remarks, csv=True)


def _csv_rows(text: str, delimiter: str, name: str) -> tuple[list[list], list[int], list[Problem]]:
    """Rows of cleaned text; strict about quotes, and line by line without quotes where they do not close."""
    remarks: list[Problem] = []
    rows, numbers, before = [], [], 0
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        for row in reader:
            rows.append(row)
            numbers.append(before + 1)
            before = reader.line_num
    except csv.Error:
        rows = [line.split(delimiter) for line in re.split(r"\r\n|\n|\r", text)]
        numbers = list(range(1, len(rows) + 1))
        odd = (
            n for n, row in zip(numbers, rows, strict=True) if sum(c.count('"') for c in row) % 2
        )
        bad = next(odd, None)
        remarks.append(
            Problem(
                name,
                bad,
                "",
                "a quotation mark is not closed or stands inside a text",
                "quotation marks of this file are taken as plain characters",
            )
        )
        rows = [[cell.strip().strip('"') for cell in row] for row in rows]
    cleaned = [[clean_text(cell) or None for cell in row] for row in rows]
    kept = [
        (n, row) for n, row in zip(numbers, cleaned, strict=True) if any(c is not None for c in row)
    ]
    return [row for _, row in kept], [n for n, _ in kept], remarks


def _evenness(rows: list[list]) -> float:
    """How alike the rows' lengths are, times the usual length; 0 for one cell a row."""
    lengths = [len(row) for row in rows[:200]]
    usual = max(set(lengths), key=lengths.count, default=1)
    return 0.0 if usual < 2 else lengths.count(usual) / len(lengths) + 0.001 * min(usual, 100)


def check_xlsx_size(file: Source, limit_bytes: int = UNPACKED_LIMIT_BYTES) -> None:
    """Refuse a workbook that would unpack to more than `limit_bytes`, or whose XML declares entities."""
    try:
        with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
            parts = archive.infolist()
            if len(parts) > 2000 or sum(p.file_size for p in parts) > limit_bytes:
                raise InputError(
                    f"{file.name} unpacks to more than {limit_bytes / 2**20:.3g} MB; split it, "
                    "or save the sheet alone as .csv."
                )
            names = {p.filename for p in parts}
            if "[Content_Types].xml" not in names or not any(
                n.lower().startswith("xl/") for n in names
            ):
                raise InputError(
                    f"{file.name} is a packed file but not an .xlsx workbook; "
                    "allowed is .csv or .xlsx."
                )
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    content = archive.read(part)
                    codes = ("ascii", "utf-16-le", "utf-16-be")
                    if any("<!DOCTYPE".encode(code) in content for code in codes):
                        raise InputError(
                            f"{file.name} declares a document type, which no .xlsx needs; "
                            "it is not read."
                        )
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001  (zip and its decompressors raise a dozen kinds)
        raise InputError(
            f"{file.name} is a damaged or protected workbook: {shortened(error)}; "
            "allowed is a whole one without a password."
        ) from None


def _xlsx_grids(file: Source, sheet: str | None) -> list[Grid]:
    check_xlsx_size(file)
    try:
        import openpyxl

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(file.data), data_only=True)
            formulas = (
                openpyxl.load_workbook(io.BytesIO(file.data)) if _has_formulas(file) else None
            )
        sheets = {ws.title: ws for ws in book.worksheets}
        if sheet is not None:
            wanted = [sheets[check_choice(sheet, "sheet", sheets, file.name)]]
        else:
            wanted = [ws for ws in sheets.values() if ws.sheet_state == "visible"]
        grids = [
            _sheet_grid(file, ws, formulas[ws.title] if formulas else None, len(sheets) > 1)
            for ws in wanted
        ]
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001  (a damaged workbook makes openpyxl raise anything)
        raise InputError(
            f"{file.name} is a damaged workbook: {shortened(error)}; "
            "save it again as .xlsx or .csv."
        ) from None
    if not grids:
        raise InputError(
            f"{file.name} has no visible sheet with cells; "
            "allowed is a sheet with a header and rows."
        )
    if sheet is None:
        for ws in sheets.values():
            if ws.sheet_state != "visible":
                grids[0].problems.append(
                    Problem(
                        file.name,
                        None,
                        "",
                        f"sheet {ws.title!r} is hidden",
                        "not read; name it (sheet=...) to read it",
                    )
                )
    return grids


def _has_formulas(file: Source) -> bool:
    with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
        return any(
            re.search(rb"<(?:\w+:)?f[ >/]", archive.read(p))
            for p in archive.infolist()
            if p.filename.lower().startswith("xl/worksheets/")
        )


def _sheet_grid(file: Source, ws, formulas, named: bool) -> Grid:
    where = f"{file.name} [{ws.title}]" if named else file.name
    problems: list[Problem] = []
    # ws._cells holds the cells that exist; iterating over the used range instead walks 17 thousand million
    # cells of a sheet with one stray format in the last corner.
    cells = {
        place: cell
        for place, cell in ws._cells.items()
        if cell.value is not None or formulas is not None
    }
    if len(cells) > CELL_LIMIT:
        raise InputError(f"{where} has more than {CELL_LIMIT} cells; split it.")
    values, percent = {}, set()
    for (r, c), cell in cells.items():
        value = cell.value
        if value is None and str(_value(formulas, r, c)).startswith("="):
            problems.append(
                Problem(
                    where,
                    r,
                    column_letter(c - 1),
                    "a formula without a stored result",
                    "taken as empty; open and save the file in the spreadsheet program",
                )
            )
        value = (clean_text(value) or None) if isinstance(value, str) else value
        if value is not None:
            values[r, c] = value
            if "%" in (cell.number_format or "") and isinstance(value, (int, float)):
                percent.add((r, c))
    spans = set()
    for merged in ws.merged_cells.ranges:
        top = values.get((merged.min_row, merged.min_col))
        if top is None or merged.size["rows"] * merged.size["columns"] > 10_000:
            continue
        for r in range(merged.min_row, merged.max_row + 1):
            for c in range(merged.min_col, merged.max_col + 1):
                if (r, c) != (merged.min_row, merged.min_col):
                    values[r, c] = top
                    spans.add((r, c))
                    if (merged.min_row, merged.min_col) in percent:
                        percent.add((r, c))
    hidden = sorted(
        r for r in {r for r, _ in values} if r in ws.row_dimensions and ws.row_dimensions[r].hidden
    )
    if hidden:
        problems.append(
            Problem(where, hidden[0], "", f"{len(hidden)} hidden row(s)", "read like the others")
        )
    numbers = sorted({r for r, _ in values})
    index = {r: i for i, r in enumerate(numbers)}
    rows: list[list] = [[] for _ in numbers]
    for (r, c), value in sorted(values.items()):
        row = rows[index[r]]
        if c > 2000:
            problems.append(
                Problem(where, r, column_letter(c - 1), "a cell beyond column 2000", "not read")
            )
            continue
        row.extend([None] * (c - 1 - len(row)))
        row.append(value)
    return Grid(
        where,
        rows,
        numbers,
        frozenset((index[r], c - 1) for r, c in percent),
        frozenset((index[r], c - 1) for r, c in spans),
        problems=problems,
    )


def _value(formulas, r: int, c: int):
    cell = formulas._cells.get((r, c)) if formulas is not None else None
    return None if cell is None else cell.value
