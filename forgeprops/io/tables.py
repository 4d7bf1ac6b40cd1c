"""Tables that come back as written: CSV, XLSX and Parquet, each with its columns and their kinds in the file."""

import csv
import io
import json
import math
import re
from pathlib import Path

from ..base.cautions import SHORT
from ..base.errors import InputError, check_choice, check_kind, shown
from .grids import check_workbook
from .reading import decode_text, read_source
from .saved import plain_cell, read_json, safe_cell
from .writing import output_path, write_bytes

_VERSION = 1
#: What a workbook writes by its number: characters that XML does not hold or changes, and the "_" of what looks like one.
_ODD = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_WRITTEN = re.compile(r"_x([0-9A-Fa-f]{4})_")
#: Kinds of column by the letter of NumPy's kinds; everything else is text.
_KINDS = {"f": "number", "i": "whole", "u": "whole", "b": "flag"}
#: Longest text of a cell of a workbook, and most rows of a sheet with its header (the format's own limits).
_TEXT_MOST, _ROWS_MOST = 32_767, 1_048_576


def data_frame(data=None, **options):
    """A DataFrame; pandas, which takes a quarter of a second to load, is loaded at the first one."""
    import pandas as pd

    return pd.DataFrame(data, **options)


def write_table(table, path, overwrite: bool = False) -> None:
    """Write a table such as `estimate_many` returns; `read_table` gives the same columns back, text as text.

    Parameters
    ----------
    table : DataFrame; columns of numbers, whole numbers, True and False, or texts
    path : path that ends in .csv, .xlsx or .parquet
    overwrite : bool; replace an existing file

    Raises
    ------
    InputError
        Another ending, a column that mixes kinds, a text that the format cannot hold, or as `io.writing`.

    Examples
    --------
    >>> import tempfile, pandas
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_table(pandas.DataFrame({"heat": ["0042", "NA"], "hv": [427.5, float("nan")]}), folder + "/a.csv")
    ...     read_table(folder + "/a.csv").heat.tolist()
    ['0042', 'NA']
    """
    import pandas as pd

    check_kind(table, pd.DataFrame, "table")
    target = output_path(path)
    ending = check_choice(target.suffix.lower(), "ending of a table", _FORMATS, target.name)
    kinds, columns = {}, {}
    for name, column in table.items():
        if not isinstance(name, str) or name in kinds:
            given = f"a column {shown(name)}"
            raise InputError(f"table has {given}; give each column one text as name.")
        kinds[name] = _KINDS.get(column.dtype.kind, "text")
        columns[name] = column.tolist()
        wrong = [v for v in columns[name] if kinds[name] == "text" and not isinstance(v, str)]
        if wrong:
            held = f"column {name!r} holds {shown(wrong[0])}"
            raise InputError(f"{held}; give texts, or numbers alone.")
    about = {"format": "forgeprops table", "version": _VERSION, "columns": kinds, "cautions": SHORT}
    try:
        data = _FORMATS[ending][0](columns, json.dumps(about, ensure_ascii=False), target.name)
    except OSError as error:  # a workbook is put together in a file of the system's own
        said = error.strerror or error
        raise InputError(f"{target.name} cannot be written: {said}.") from None
    except UnicodeEncodeError as error:  # half of a character
        raise InputError(f"{target.name} cannot hold {shown(error.object[error.start])}.") from None
    write_bytes(target, data, overwrite)


def read_table(source, filename: str | None = None):
    """Read a table that `write_table` wrote.

    Parameters
    ----------
    source : path, bytes or upload
    filename : str, optional; name with its ending when bytes are given

    Returns
    -------
    DataFrame

    Raises
    ------
    InputError
        A file that `write_table` did not write, or that was changed so that a column is not of its kind any more.
    """
    import pandas as pd

    file = read_source(source, filename, 200 * 2**20)
    ending = check_choice(Path(file.name).suffix.lower(), "ending of a table", _FORMATS, file.name)
    about, columns = _FORMATS[ending][1](file)
    kinds = read_json(about, "table", (_VERSION,), file.name).get("columns")
    check_kind(kinds, dict, "columns", file.name)
    if list(kinds) != list(columns):
        raise _not_ours(file)
    made = {}
    for name, kind in kinds.items():
        take = _VALUE[check_choice(kind, "kind of column", _VALUE, file.name)]
        try:
            values = [take(v) for v in columns[name]]
        except (TypeError, ValueError, KeyError, OverflowError):
            wrong = f"{file.name}, column {shown(name)} holds what is no {kind}"
            raise InputError(f"{wrong}; give it as written.") from None
        made[name] = pd.Series(values, dtype=_DTYPES[kind])
    return pd.DataFrame(made)


def _not_ours(file) -> InputError:
    return InputError(f"file {file.name} is no table that write_table wrote.")


_DTYPES = {"number": float, "whole": "int64", "flag": bool, "text": str}
_FLAGS = {True: True, False: False, "True": True, "False": False}
#: Value of a cell by the kind of its column.
_VALUE = {
    "number": lambda v: math.nan if v in ("", None) else float(v),
    "whole": int,
    "flag": lambda v: _FLAGS[v],
    "text": lambda v: "" if v is None else str(v),
}


def _csv(columns: dict, about: str, name: str) -> bytes:
    out = io.StringIO(newline="")
    rows = csv.writer(out, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\n")
    rows.writerow([f"# {about}"])
    rows.writerow(map(safe_cell, columns))
    plain = {str: safe_cell, bool: str, float: lambda v: None if math.isnan(v) else v}
    for row in zip(*columns.values(), strict=True):
        rows.writerow(plain.get(type(v), lambda v: v)(v) for v in row)
    return out.getvalue().encode()


def _from_csv(file):
    text = decode_text(file.data)[0]
    try:
        first, header, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    except (ValueError, csv.Error):
        raise _not_ours(file) from None
    if any(len(row) != len(header) for row in rows) or not "".join(first).startswith("# "):
        raise _not_ours(file)
    columns = {plain_cell(n): [plain_cell(row[j]) for row in rows] for j, n in enumerate(header)}
    return first[0][2:].encode(), columns


def _xlsx(columns: dict, about: str, name: str) -> bytes:
    import openpyxl
    from openpyxl.packaging.custom import StringProperty

    rows = len(next(iter(columns.values()), ()))
    if rows >= _ROWS_MOST:
        most = f"a sheet holds {_ROWS_MOST - 1}"
        raise InputError(f"{name} would have {rows} rows; {most}: write .parquet.")
    book = openpyxl.Workbook()
    book.custom_doc_props.append(StringProperty(name="forgeprops", value=about))
    for j, (header, values) in enumerate(columns.items(), 1):
        for i, value in enumerate((header, *values), 1):
            if isinstance(value, str):
                value = _ODD.sub(lambda m: f"_x{ord(m[0]):04X}_", value)
                value.encode()
                if len(value) > _TEXT_MOST:
                    long = f"a text of {len(value)} characters"
                    raise InputError(f"{name} cannot hold {long}; write .csv or .parquet.")
            elif value != value:
                continue
            kind = "s" if isinstance(value, str) else "b" if isinstance(value, bool) else "n"
            cell = book.active.cell(i, j, repr(value) if kind == "n" else value)
            cell.data_type = kind  # no text is a formula, every number has all its digits
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _from_xlsx(file):
    import openpyxl

    check_workbook(file)
    try:
        book = openpyxl.load_workbook(io.BytesIO(file.data))
        about = book.custom_doc_props["forgeprops"].value
        header, *rows = book.active.iter_rows(values_only=True)
    except Exception:  # noqa: BLE001  (a damaged workbook makes openpyxl raise anything)
        raise _not_ours(file) from None
    plain = [
        [_WRITTEN.sub(lambda m: chr(int(m[1], 16)), v) if isinstance(v, str) else v for v in row]
        for row in (header, *rows)
    ]
    return about.encode(), {n: [row[j] for row in plain[1:]] for j, n in enumerate(plain[0])}


def _parquet(columns: dict, about: str, name: str) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    out = io.BytesIO()
    pq.write_table(pa.table(columns).replace_schema_metadata({"forgeprops": about}), out)
    return out.getvalue()


def _from_parquet(file):
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(io.BytesIO(file.data))
        return table.schema.metadata[b"forgeprops"], table.to_pydict()
    except Exception:  # noqa: BLE001  (pyarrow's own errors; metadata that is not ours)
        raise _not_ours(file) from None


#: What writes and what reads, by the ending.
_FORMATS = {
    ".csv": (_csv, _from_csv),
    ".xlsx": (_xlsx, _from_xlsx),
    ".parquet": (_parquet, _from_parquet),
}
