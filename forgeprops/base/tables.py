"""The only reader of the project's own data/ folder, the same from a wheel and from a checkout."""

import csv
import functools
from pathlib import Path

from .errors import InputError


@functools.cache
def _root() -> Path:
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_data", package.parent / "data"):
        if (folder / "library" / "grades.csv").is_file():
            return folder
    raise RuntimeError(f"the data folder is missing beside {package}; reinstall forgeprops")


def data_path(*parts: str) -> Path:
    """Return the path of a file in the data folder (it need not exist)."""
    return _root().joinpath(*parts)


@functools.cache
def read_rows(name: str) -> tuple[dict[str, str], ...]:
    """Read one CSV table of the data folder as a tuple of dicts of text; lines that start with # are notes."""
    path = data_path(*name.split("/"))
    if not path.is_file():
        raise InputError(f"table {name!r} is missing; give the CSV files in {_root()}.")
    with path.open(encoding="utf-8", newline="") as file:
        lines = [(i, line) for i, line in enumerate(file, 1) if line.strip()]
    numbered = [(i, line) for i, line in lines if not line.startswith("#")]
    reader = csv.reader(line for _, line in numbered)
    header = next(reader)
    rows = []
    for (line_number, _), cells in zip(numbered[1:], reader, strict=True):
        if len(cells) != len(header):
            where = f"{path.name}, line {line_number}"
            raise InputError(f"{where} has {len(cells)} cells; the header has {len(header)}.")
        rows.append(dict(zip(header, (c.strip() for c in cells), strict=True)))
    return tuple(rows)


@functools.cache
def texts(name: str) -> dict[str, str]:
    """Texts of a table of the library by their names."""
    return {row["name"]: row["text"] for row in read_rows(f"library/{name}.csv")}
