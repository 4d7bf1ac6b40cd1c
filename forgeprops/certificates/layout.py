"""Where a certificate keeps what: headers, units, the row or column of element names, rows that are no heat.

It knows the names in data/library/certificate_names.csv and the chemical symbols; it reads no composition.
"""

import functools
import re
from dataclasses import replace

from ..base.tables import read_rows
from ..inputs.steel import ELEMENTS
from ..io.cells import header_key
from ..io.columns import Column, Table
from ..io.grids import Grid

#: Words around an element's name that change nothing: "C content, mass %", "Cr (ladle)", "w(C)", "total Al".
_NOISE = frozenset(
    """content contents gehalt contenido percent pct prozent mass masse masa peso weight gew wt m w in en de by
    ladle heat cast product check analysis analyse fraction total tot t ges av avg average mean result aim
    actual ist chem ma 質量 成分""".split()
)

#: Soluble aluminium is a part of the aluminium, not all of it.
_SOLUBLE = frozenset("sol soluble acid löslich 可溶".split())

_PPM = re.compile(r"ppm|[µμ]g\s*/\s*g|mg\s*/\s*kg|g\s*/\s*t\b", re.IGNORECASE)
_PERCENT = re.compile(r"%|\b(?:wt|mass|gew|masse?|masa|pct|percent|prozent)\b", re.IGNORECASE)
#: ×100: 21 means 0.21; 10⁻², 10-3, 10².
_TIMES = re.compile(r"(?:(?<![a-z])x|[*×]|mal)\s*(10{1,5})(?!\d)", re.I)
_TENTHS = re.compile(r"(?:[x*×]\s*)?10\s*\^?\s*[-−–⁻+⁺]?\s*([1-5¹²³⁴⁵])(?!\d)", re.I)
_FRACTION = re.compile(r"1\s*/\s*(10{2,4})(?!\d)")
_DIGITS = str.maketrans("¹²³⁴⁵", "12345")


@functools.cache
def _names() -> dict[str, dict[str, str]]:
    """Field kind → {header key: field}; kinds: element, field, label."""
    known: dict[str, dict[str, str]] = {"field": {}, "label": {}}
    known["element"] = {s.casefold(): s for s in (*ELEMENTS, "Fe")}
    for row in read_rows("library/certificate_names.csv"):
        field, name = row["field"], header_key(row["name"])
        kind = "label" if field.endswith("_row") else "field"
        if field in ELEMENTS or field == "Fe":
            kind = "element"
        known[kind].setdefault(name, field)
    return known


def unit_factor(text: str) -> float | None:
    """Factor from a written number to wt%, by the unit in `text`; None if it states none.

    >>> unit_factor("B (ppm)"), unit_factor("P ×1000"), unit_factor("C x10-2"), unit_factor("Mn")
    (0.0001, 0.001, 0.01, None)
    """
    if _PPM.search(text):
        return 1e-4
    if match := _TENTHS.search(text):
        return 10.0 ** -int(match[1].translate(_DIGITS))
    for pattern in (_TIMES, _FRACTION):
        if match := pattern.search(text):
            return 1.0 / float(match[1])
    return 1.0 if _PERCENT.search(text) else None


def _without_units(text: str) -> str:
    for pattern in (_PPM, _TENTHS, _TIMES, _FRACTION, _PERCENT):
        text = pattern.sub(" ", text)
    return text


@functools.lru_cache(maxsize=4096)
def column_of(header) -> Column:
    """What a column with this header holds.

    >>> column_of("Cr [%]"), column_of("N (ppm)").name, column_of("Schmelze-Nr.").name
    (Column(name='Cr', factor=1.0, offset=0.0, soluble=False), 'N', 'heat')
    >>> column_of("Yield, MPa").name is None
    True
    """
    if not isinstance(header, str) or len(header) > 60:
        return Column(None)
    known, key = _names(), header_key(header)
    bare = header_key(re.sub(r"[(\[].*", "", header))
    for spelling in (key, re.sub(r"(no|nr|number|num|id)$", "", key), bare):
        if spelling in known["field"] and spelling not in known["element"]:
            return Column(known["field"][spelling])
    if key in known["element"] and not re.search(r"\d", key):
        return Column(known["element"][key], unit_factor(header))
    bare = re.sub(r"^\s*w\s*\(([^)]*)\)", r"\1 ", _without_units(header))  # w(C): mass fraction
    words = [w for w in re.split(r"[^\w]+|_", bare.casefold()) if w]
    if re.search(r"[+/&]\s*\w", bare) and len({known["element"].get(w) for w in words}) > 1:
        return Column(None)  # a sum or ratio of elements: Cr+Mo, C/S
    found, soluble = set(), False
    for word in words:
        if word == "als":
            found.add("Al")
            soluble = True
        elif word in known["element"]:
            found.add(known["element"][word])
        elif word not in _NOISE and word not in _SOLUBLE:
            return Column(None)
    if found == {"Al", "S"}:
        found, soluble = {"Al"}, True  # "Al-s"
    soluble = soluble or bool(set(words) & _SOLUBLE)
    if len(found) != 1:
        return Column(None)
    return Column(found.pop(), unit_factor(header), soluble=soluble)


def _elements(cells) -> set[str]:
    return {c.name for c in map(column_of, cells) if c.name in ELEMENTS}


def _is_header(cells) -> bool:
    texts = [c for c in cells if isinstance(c, str)]
    found = _elements(texts)
    fields = {column_of(c).name for c in texts}
    carbon = "C" in found and (len(found) >= 2 or bool({"heat", "lot", "grade"} & fields))
    return carbon or {"element", "value"} <= fields


def header_score(rows: list[list]) -> float:
    """How many elements the best row or column of cells names; tells delimiters and directions apart."""
    best, rows = 0.0, rows[:200]
    for row in rows:
        fields = {column_of(c).name for c in row}
        listed = {"element", "value"} <= fields
        best = max(best, len(_elements(row)) + ("heat" in fields) + 2 * listed)
    width = max(map(len, rows), default=0)
    for j in range(min(width, 8)):
        down = _elements(row[j] for row in rows if j < len(row))
        best = max(best, len(down) + 0.5 * (width > 1))
    return best


def row_label(cells) -> str | None:
    """ "limits_row" or "summary_row" if a text in the row says that the row is no heat; else None."""
    labels = (_names()["label"].get(header_key(c)) for c in cells if isinstance(c, str))
    return next(filter(None, labels), None)


def _above(grid: Grid, end: int, start: int) -> dict[str, str]:
    """Heat and grade written above a table, as "Heat no.: 4711" in one cell or in two neighbours."""
    given: dict[str, str] = {}
    for row in grid.rows[start:end]:
        row = [c for c in row if c is not None]
        if sum(column_of(c).name is not None for c in row) > 1:
            continue  # a stepped header, not a statement
        for j, cell in enumerate(row):
            head, mark, tail = str(cell).partition(":")
            name = column_of(head).name
            if isinstance(cell, str) and name in ("heat", "grade", "lot"):
                value = tail.strip() or (str(row[j + 1]).strip() if j + 1 < len(row) else "")
                if value and (mark or len(row) > 1):
                    given.setdefault(name, value)
    lot = given.pop("lot", None)
    return {"heat": lot, **given} if lot and "heat" not in given else given


def _oriented(grid: Grid) -> Grid:
    """The grid with element names along a row, exchanged if they run down a column."""

    def along(g: Grid) -> float:
        return max((len(_elements(row)) for row in g.rows[:200]), default=0)

    headed = [row for row in grid.rows[:200] if _is_header(row)]
    listed = any({"element", "value"} <= {column_of(c).name for c in row} for row in headed)
    if listed or len(grid.rows) > 2000:
        return grid
    turned = grid.transpose()
    if headed:
        return turned if along(turned) > max(along(grid), 2) else grid
    return turned if len(turned.rows) >= 2 and any(map(_is_header, turned.rows[:200])) else grid


def find_tables(grid: Grid) -> list[Table]:
    """The tables of a grid, in its reading direction, each with a header that names elements."""
    grid = _oriented(grid)
    heads = [i for i, row in enumerate(grid.rows) if _is_header(row)]
    if grid.transposed:
        heads = heads[:1]  # one column of names; values beside it never repeat it
    tables = []
    for above, head, end in zip([-1, *heads], heads, [*heads[1:], len(grid.rows)], strict=False):
        columns = _columns(grid, head, above)
        columns, rows = _take_unit_row(grid, columns, range(head + 1, end), head, above)
        if grid.transposed:
            first = min((j for j, c in columns.items() if c.name in ELEMENTS), default=0)
            given = _above(grid.transpose(), first, 0)
        else:
            given = _above(grid, head, above + 1)
        tables.append(Table(grid, head, columns, rows, given))
    return tables


def _columns(grid: Grid, head: int, floor: int) -> dict[int, Column]:
    """What each column holds, by the header row, or by a field up to two rows above (stepped headers)."""
    cells, columns = grid.rows[head], {}
    above = [grid.rows[i] for i in range(head - 1, max(floor, head - 3), -1)]
    below = grid.rows[head + 1 : head + 20]
    for j in range(max([len(cells), *map(len, above)])):
        cell = cells[j] if j < len(cells) else None
        if cell is not None and not ((head, j) in grid.spans and j and cells[j - 1] == cell):
            columns[j] = column_of(cell)  # (a cell merged with the one to the left only repeats it)
        elif cell is None and any(j < len(row) and row[j] is not None for row in below):
            fields = [column_of(row[j]) for row in above if j < len(row)]
            named = [c for c in fields if c.name is not None and c.name not in ELEMENTS]
            columns |= {j: named[0]} if named else {}
    return columns


def _take_unit_row(grid: Grid, columns, rows: range, head: int, floor: int):
    """Use a row of units right below (or right above) the header, if there is one."""

    def is_unit(cell) -> bool:
        bare = isinstance(cell, str) and not re.search(r"\d", _without_units(cell))
        return bare and bool(unit_factor(cell))

    for candidate in [*rows[:1], *([head - 1] if head - 1 > floor else [])]:
        cells = grid.rows[candidate]
        named = [j for j, c in columns.items() if c.name in ELEMENTS and j < len(cells)]
        units = {j: cells[j] for j in named if cells[j] is not None}
        if units and all(map(is_unit, units.values())):
            for j, unit in units.items():
                columns[j] = replace(columns[j], factor=unit_factor(unit))
            return columns, rows[1:] if candidate in rows else rows
    return columns, rows
