"""Files of our own: JSON and tables that say what they are and in which version, checked on return."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..base.errors import InputError
from .grids import check_xlsx_size
from .reading import decode_text, one_line, read_source
from .writing import write_bytes, writing

__all__ = [
    "plain_cell",
    "read_json",
    "read_table",
    "safe_cell",
    "table_note",
    "write_json",
    "write_table",
]

#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {"safe_cell": ("formula_starts",)}

#: First characters that make a spreadsheet program take a cell for a formula (OWASP ASVS 5.0 requirement
#: 1.2.10, read at asvs.emil.hemdal.se/1.2.10, and CWE-1236), with the full-width forms of the first four.
FORMULA_STARTS = "=+-@\t\r\n\0＝＋－＠"


def write_json(path, kind: str, version: int, content: Mapping, overwrite: bool = False) -> None:
    """Write a small readable JSON file that names its kind and version (see `writing` for the rest).

    Raises
    ------
    InputError
        As `writing`; also for content that JSON has no word for.
    """
    try:
        text = json.dumps(
            {"format": f"forgeprops {kind}", "version": version, **content},
            indent=2,
            ensure_ascii=False,
            allow_nan=False,
        )
    except (TypeError, ValueError) as error:
        raise InputError(f"the {kind} cannot be saved: {error}.") from None
    write_bytes(path, (text + "\n").encode("utf-8", errors="backslashreplace"), overwrite)


def read_json(
    source,
    kind: str,
    versions: Sequence[int],
    filename: str | None = None,
    limit_bytes: int = 2**20,
) -> dict:
    """Read a file that `write_json` wrote: checked for kind and version, each name once, no NaN or infinity.

    Returns
    -------
    dict
        The content without ``format``; ``version`` tells which of `versions` it is.

    Raises
    ------
    InputError
        Not JSON, another kind of file, an unknown version, a name given twice.
    """
    file = read_source(source, filename, limit_bytes)

    def once(pairs):
        names = [name for name, _ in pairs]
        for name in names:
            if names.count(name) > 1:
                raise InputError(f"{file.name}: {name!r} is given twice; allowed is once.")
        return dict(pairs)

    def no_constant(word):
        raise InputError(f"{file.name} contains {word}; allowed are finite numbers.")

    try:
        content = json.loads(
            decode_text(file.data)[0], object_pairs_hook=once, parse_constant=no_constant
        )
    except InputError:
        raise
    except json.JSONDecodeError as error:
        raise InputError(
            f"{file.name}, line {error.lineno} is not JSON: {error.msg}; "
            f"allowed is a {kind} file saved by forgeprops."
        ) from None
    except (RecursionError, ValueError) as error:  # ValueError: thousands of digits
        raise InputError(f"{file.name} is not a {kind} file: {str(error)[:80]}.") from None
    found = content.pop("format", None) if isinstance(content, dict) else None
    if found != f"forgeprops {kind}":
        said = f"says {found!r}" if isinstance(found, str) else "does not say what it is"
        raise InputError(f'{file.name} {said}; allowed is "format": "forgeprops {kind}".')
    _check_version(content.get("version"), versions, kind, file.name)
    return content


def _check_version(version, versions: Sequence[int], kind: str, name: str) -> None:
    if isinstance(version, bool) or not isinstance(version, int) or version not in versions:
        newer = (
            isinstance(version, int) and not isinstance(version, bool) and version > max(versions)
        )
        hint = "; it was written by a newer forgeprops" if newer else ""
        known = ", ".join(str(v) for v in versions)
        raise InputError(
            f"{name} has {kind} version {str(version)[:40]}{hint}; allowed is {known}."
        )


def safe_cell(value):
    """A cell for CSV that no spreadsheet program takes for a formula; anything but text passes unchanged.

    Text that begins with one of `FORMULA_STARTS` (after blanks), or with an apostrophe, gets an apostrophe in
    front; `plain_cell` takes it off again.

    Examples
    --------
    >>> safe_cell("=HYPERLINK(1)"), safe_cell("heat 7"), safe_cell(-1.5)
    ("'=HYPERLINK(1)", 'heat 7', -1.5)
    """
    if isinstance(value, str) and value:
        bare = value.lstrip(" \u00a0\u3000")
        if value[0] in FORMULA_STARTS or value[0] == "'" or (bare and bare[0] in FORMULA_STARTS):
            return "'" + value
    return value


def plain_cell(value):
    """Undo `safe_cell`.

    Examples
    --------
    >>> plain_cell("'=HYPERLINK(1)"), plain_cell("heat 7")
    ('=HYPERLINK(1)', 'heat 7')
    """
    return value[1:] if isinstance(value, str) and value[:1] == "'" else value


_TABLE_VERSION = 1


def table_note(kind: str, rows: int) -> str:
    """What a saved table says of itself: kind, version, how many rows.

    Examples
    --------
    >>> table_note("cases", 3)
    'forgeprops cases table, version 1, 3 rows'
    """
    return f"forgeprops {kind} table, version {_TABLE_VERSION}, {rows} rows"


def write_table(path, frame, kind: str, overwrite: bool = False) -> None:
    """Write a DataFrame as CSV, XLSX or Parquet (by the file's ending), versioned and safe to open.

    A CSV begins with one note line (``# forgeprops KIND table, version 1, N rows``); an XLSX carries the same
    on a sheet "about", a Parquet file in its metadata.  The index is not written.

    Raises
    ------
    InputError
        Another ending; a missing Parquet library; all that `writing` raises.
    """
    import pandas as pd

    suffix = Path(path).suffix.lower() if isinstance(path, (str, os.PathLike)) else ""
    if not isinstance(frame, pd.DataFrame):
        raise InputError(f"table to save is {type(frame).__name__}; allowed is a DataFrame.")
    about = table_note(kind, len(frame))
    if suffix == ".csv":
        safe = frame.rename(columns=safe_cell)
        for place in range(frame.shape[1]):
            if not pd.api.types.is_numeric_dtype(frame.dtypes.iloc[place]):
                safe.isetitem(place, [safe_cell(v) for v in frame.iloc[:, place]])
        text = safe.to_csv(index=False, lineterminator="\n")
        write_bytes(
            path, f"# {about}\n{text}".encode("utf-8", errors="backslashreplace"), overwrite
        )
    elif suffix == ".xlsx":
        with writing(path, overwrite) as temporary:
            _write_xlsx(temporary, frame, about)
    elif suffix == ".parquet":
        try:
            import pyarrow
            import pyarrow.parquet
        except ImportError:
            raise InputError(
                "Parquet needs pyarrow; install forgeprops[parquet], or save as .csv or .xlsx."
            ) from None
        table = pyarrow.Table.from_pandas(frame, preserve_index=False)
        notes = {**(table.schema.metadata or {}), b"forgeprops": about.encode()}
        table = table.replace_schema_metadata(notes)
        with writing(path, overwrite) as temporary:
            pyarrow.parquet.write_table(table, temporary)
    else:
        raise InputError(
            f"{one_line(path)!r} ends in {suffix or 'nothing'!r}; "
            "allowed is .csv, .xlsx or .parquet."
        )


def _write_xlsx(path: Path, frame, about: str) -> None:
    import openpyxl
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = openpyxl.Workbook(write_only=True)
    sheet, notes = book.create_sheet("table"), book.create_sheet("about")

    def cell(where, value):
        if value is None or value != value:
            return None
        if hasattr(value, "item"):
            value = value.item()
        if isinstance(value, (bool, int, float)):
            return value
        made = WriteOnlyCell(where, ILLEGAL_CHARACTERS_RE.sub("", str(value))[:32_767])
        made.data_type = "s"  # a text, whatever it begins with: never a formula
        made.quotePrefix = str(value)[:1] in FORMULA_STARTS
        return made

    sheet.append([cell(sheet, str(c)) for c in frame.columns])
    for row in frame.itertuples(index=False, name=None):
        sheet.append([cell(sheet, v) for v in row])
    notes.append([cell(notes, about)])
    book.save(path)


def read_table(source, kind: str, filename: str | None = None, limit_bytes: int = 200 * 2**20):
    """Read a table that `write_table` wrote, as a DataFrame; refuses other kinds, versions and cut-off files.

    Raises
    ------
    InputError
        Another kind or version, fewer or more rows than were written, damaged.
    """
    import io

    import pandas as pd

    file = read_source(source, filename, limit_bytes)
    try:
        if file.data.startswith(b"PK"):
            check_xlsx_size(file, limit_bytes)
            sheets = pd.read_excel(
                io.BytesIO(file.data), sheet_name=["table", "about"], header=None, dtype=object
            )
            about = str(sheets["about"].iat[0, 0])
            frame = sheets["table"].iloc[1:].reset_index(drop=True).infer_objects()
            frame.columns = list(sheets["table"].iloc[0])
        elif file.data.startswith(b"PAR1"):
            import pyarrow.parquet

            table = pyarrow.parquet.read_table(io.BytesIO(file.data))
            about = (table.schema.metadata or {}).get(b"forgeprops", b"").decode()
            frame = table.to_pandas()
        else:
            head, _, text = file.data.decode("utf-8").partition("\n")
            about = head.removeprefix("# ").strip()
            frame = pd.read_csv(io.StringIO(text)).rename(columns=plain_cell)
            for place in range(frame.shape[1]):
                if not pd.api.types.is_numeric_dtype(frame.dtypes.iloc[place]):
                    frame.isetitem(place, [plain_cell(v) for v in frame.iloc[:, place]])
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001  (three foreign parsers, each with its own errors)
        raise InputError(
            f"{file.name} is not a {kind} table saved by forgeprops: {str(error)[:100]}."
        ) from None
    words = about.replace(",", "").split()
    if (
        words[:1] != ["forgeprops"]
        or words[-1:] != ["rows"]
        or f"forgeprops {kind} table, " not in about
    ):
        raise InputError(
            f"{file.name} does not say that it is a {kind} table; "
            "allowed is one saved by forgeprops."
        )
    version, rows = words[-3], words[-2]
    _check_version(
        int(version) if version.isdecimal() else version,
        (_TABLE_VERSION,),
        f"{kind} table",
        file.name,
    )
    if not rows.isdecimal() or int(rows) != len(frame):
        raise InputError(
            f"{file.name} holds {len(frame)} rows, but {rows} were written; "
            "the file is cut off or changed."
        )
    return frame
