"""Where every number comes from: the rows of data/sources, one file a room, merged by reading.

A formula room names the rows behind each of its functions in a dict ``SOURCES``; `Estimate.sources` lists the
rows an estimate used; `source` tells one of them.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

from .errors import InputError, check_choice
from .tables import data_path, read_rows

__all__ = ["BASES", "KINDS", "SourceRow", "source", "sources"]

#: What a row may rest on, and what that means.
BASES = {
    "read": "somebody here has seen it in the place named under where_read",
    "from memory": "recalled, not read",
    "derived": "follows from other rows by algebra, or from geometry",
    "our own fit": "fitted here to the data named",
    "common practice": "usual in shops, no single source",
    "our choice": "a decision of this package, stated as such",
    "invented": "made up for demonstration",
}
KINDS = (
    "formula",
    "method",
    "fit",
    "table",
    "data",
    "constant",
    "number",
    "choice",
    "rule",
    "check",
)


@dataclass(frozen=True)
class SourceRow:
    """One row of data/sources.

    Attributes
    ----------
    id, kind, what : str
        Short name used in the code, one of `KINDS`, and what it is in words.
    source, where_read : str
        Who made it, and where it was read; the latter is empty when nobody here has read it.
    basis : str
        One of `BASES`.
    valid_range, checked_by : str
        In words; "not stated" and "none" where that is the truth.
    room : str
        File it stands in.
    """

    id: str
    kind: str
    what: str
    source: str
    where_read: str
    basis: str
    valid_range: str
    checked_by: str
    room: str

    def __str__(self) -> str:
        read = f"; read: {self.where_read}" if self.where_read else ""
        return f"{self.what}: {self.source}{read} ({self.basis})"


@functools.cache
def _by_id() -> dict[str, SourceRow]:
    rows: dict[str, SourceRow] = {}
    for path in sorted(data_path("sources").glob("*.csv")):
        for row in read_rows(f"sources/{path.name}"):
            if row["id"] in rows:
                raise InputError(
                    f"source id {row['id']!r} stands twice "
                    f"({rows[row['id']].room}.csv and {path.name}); allowed is once."
                )
            rows[row["id"]] = SourceRow(room=path.stem, **row)
    return rows


def sources() -> tuple[SourceRow, ...]:
    """Every row of data/sources, room by room.

    Examples
    --------
    >>> sum(row.basis == "read" for row in sources()) > 50
    True
    """
    return tuple(_by_id().values())


def source(id: str) -> SourceRow:
    """Return one row by its id.

    Raises
    ------
    InputError
        Unknown id; the nearest is suggested.

    Examples
    --------
    >>> print(source("brinell_share"))
    HB = 0.95 HV: ISO 18265:2013 Table A.1; read: data/constants/hardness_conversion.csv (read)
    """
    return _by_id()[check_choice(id, "source id", _by_id(), "data/sources")]
