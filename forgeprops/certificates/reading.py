"""Mill and laboratory certificates, CSV or XLSX, to steels: every assumption and bad row is reported."""

import math
from collections.abc import Sequence
from dataclasses import replace

from ..base.errors import InputError, OtherLayout, check_choice
from ..base.in_words import InWords
from ..inputs.grades import grade as library_grade
from ..inputs.steel import DEFAULT_RESIDUALS, ELEMENTS, Steel
from ..io.grids import Problem, read_grids
from ..io.tables import data_frame
from .layout import find_tables, header_score
from .rows import Certificate, read_table

#: Most cells of a text file of certificates: 10 000 heats of 20 elements, read in some 5 s.  Our own limit.
CELL_LIMIT = 200_000

#: A content this many times beyond the grade's range, and inside it after moving the point, is taken for a
#: slip (our own mark: real heats miss a range by percents).
_SLIP_FACTOR = 4.0


class Certificates(InWords, tuple):
    """Certificates in the file's order: a tuple of `Certificate` that also knows the file's problems."""

    problems: tuple[Problem, ...]

    def __new__(cls, certificates=(), problems=()):
        made = super().__new__(cls, certificates)
        made.problems = tuple(problems)
        return made

    def __reduce__(self):
        return (Certificates, (tuple(self), self.problems))

    @property
    def steels(self) -> tuple[Steel, ...]:
        """The steels of all certificates that can be used."""
        return tuple(c.steel for c in self if c.steel is not None)

    def table(self):
        """One row per certificate: heat, grade, file row, elements in wt%, used, problems (DataFrame)."""
        rows = []
        for c in self:
            said = "; ".join(f"{p.what}: {p.assumed}" for p in c.problems)
            row = {"heat": c.heat, "grade": c.grade, "row": c.row, "problems": said}
            contents = c.steel.composition if c.steel else {}
            rows.append({**row, **contents, "used": c.steel is not None})
        named = [e for e in ELEMENTS if any(e in row for row in rows)]
        return data_frame(rows, columns=["heat", "grade", "row", *named, "used", "problems"])

    def summary(self) -> str:
        """In words: how many heats, how many usable, and each problem on its own line."""
        bad = len(self) - len(self.steels)
        first = f"{len(self)} heat{'s' * (len(self) != 1)}: {len(self.steels)} can be used"
        first += f", {bad} cannot." if bad else "."
        return "\n".join([first, *(f"- {p}" for p in self.problems)])

    words = summary

    def shown(self):
        return self.table().drop(columns="problems")


def read_certificates(
    source, sheet: str | None = None, filename: str | None = None, below_limit: str = "half"
) -> Certificates:
    """Read mill or laboratory certificates from CSV or XLSX.

    One row (or one column) per analysis, with a header that names elements.  Understood: element symbols and
    English, German, Spanish and Japanese names with the unit before or behind; a row of units; wt%, ppm and
    scaled integers (×100); decimal points and commas; "<0.01", "trace", "n.d.", "-"; titles above and notes
    below; rows of limits and means among the heats; several tables or sheets; element / value lists.  Rows of
    one heat are averaged.  Nothing is dropped silently: what is not used is in `.problems`.

    Parameters
    ----------
    source : path, bytes or upload of a file chooser
    sheet : str, optional; this sheet of a workbook only, by default all visible ones
    filename : str, optional; name used in messages when bytes are given
    below_limit : {"half", "zero"}; what "<0.01" counts for

    Returns
    -------
    Certificates
        A tuple of `Certificate`; `.steels`, `.problems`, `.table()`, `.summary()`.

    Raises
    ------
    InputError
        The file cannot be read, or names no elements in any row or column.

    References
    ----------
    .. [1] Names on certificates in four languages (data/library/certificate_names.csv) (from
       memory).
    .. [2] A content "<x" counts as x/2 (common practice).
    .. [3] A content four times beyond its grade's range that a moved point would bring into it is
       not used (our choice).

    Examples
    --------
    >>> mill = read_certificates("Schmelze;C %;Mn %;N ppm\\nA1;0,21;0,82;70\\n".encode(), filename="mill.csv")
    >>> mill[0].heat, mill.steels[0].composition["N"]
    ('A1', 0.007)
    """
    check_choice(below_limit, "below_limit", ("half", "zero"))
    grids = read_grids(source, filename, sheet, header_score, CELL_LIMIT)
    certificates, named, headed = [], {}, False
    for grid in grids:
        tables = find_tables(grid)
        if not tables:
            grid.report("no row or column names carbon and another element", "sheet not read")
            continue
        headed = True
        if tables[0].grid.transposed:
            grid.report("element names run down a column", "read column by column")
        elif tables[0].header > 0:
            first, last = grid.row_numbers[0], grid.row_numbers[tables[0].header] - 1
            rows = f"rows {first} to {last}" if last > first else f"row {first}"
            taken = ", ".join(f"{k} {v}" for k, v in tables[0].given.items())
            read = f" ({taken} read from it)" if taken else ""
            grid.report(f"{rows} above the header", f"taken as a title{read}", 0)
        for table in tables:
            named |= {c.name: None for c in table.columns.values() if c.name in ELEMENTS}
            certificates += read_table(table, below_limit)
    if not headed:
        file = grids[0].file.split(" [")[0]
        need = "a row (or column) with C and one more of Si, Mn, Cr"
        raise OtherLayout(f"{file} names no elements; {need} ... is needed as a header.")
    problems = [p for grid in grids for p in grid.problems]
    heats: dict[tuple[str, str], list[Certificate]] = {}
    for n, c in enumerate(certificates):
        unnamed = any(p.what == "no heat number" for p in c.problems)
        heats.setdefault((c.heat.casefold(), str(n) if unnamed else ""), []).append(c)
    merged = [_merged(rows, problems) for rows in heats.values()]
    if not merged:
        what = "no heat stands under the header"
        problems.append(Problem(grids[0].file, None, "", what, "nothing to use"))
    graded = any(c.grade for c in merged)
    checked = [_compare_with_grade(c, named, graded, problems) for c in merged]
    return Certificates(checked, problems)


def _merged(rows: Sequence[Certificate], problems: list[Problem]) -> Certificate:
    """Average the usable rows of one heat."""
    if len(rows) == 1:
        return rows[0]
    first, steels = rows[0], [c.steel for c in rows if c.steel is not None]
    numbers = ", ".join(str(c.row) for c in rows)
    used = "none can be used"
    if steels:
        several = f"the {len(steels)} usable ones are averaged"
        used = several if len(steels) > 1 else "the one usable row is used"
    said = [first.problem("", f"heat {first.heat} has {len(rows)} rows ({numbers})", used)]
    composition: dict[str, float] = {}
    for element in dict.fromkeys(e for s in steels for e in s.composition):
        values = [s.composition[element] for s in steels if element in s.composition]
        composition[element] = float(f"{math.fsum(values) / len(values):.12g}")
        low, high = min(values), max(values)
        if high - low > max(0.03, 0.2 * high):
            differs = f"differs widely between rows ({low:g} to {high:g} wt%)"
            what = f"{element} of heat {first.heat} {differs}"
            said.append(first.problem(element, what, "averaged all the same"))
    grades = list(dict.fromkeys(c.grade for c in rows if c.grade)) or [""]
    if len(grades) > 1:
        what = f"heat {first.heat} is given as {', '.join(grades)}"
        said.append(first.problem("", what, f"{grades[0]} is used"))
    problems += said
    steel = replace(steels[0], composition=composition) if steels else None
    met, whole = [p for c in rows for p in c.problems], tuple(r for c in rows for r in c.rows)
    return replace(first, grade=grades[0], steel=steel, problems=(*met, *said), rows=whole)


def _compare_with_grade(c: Certificate, named, graded: bool, problems) -> Certificate:
    """Fill what is not given and compare the heat with its grade; ten times off is a slip, not a steel."""
    said: list[Problem] = []

    def report(column, what, assumed):
        said.append(c.problem(column, what, assumed))

    limits, name = {}, ""
    if c.grade:
        try:
            standard = library_grade(c.grade)
            limits, name = dict(standard.limits or {}), standard.name
        except InputError:
            what = f"grade {c.grade[:40]!r} of heat {c.heat} is not in the library"
            report("grade", what, "not compared with a range")
    elif graded and c.steel is not None:
        what = f"no grade is given for heat {c.heat}, as for others"
        report("grade", what, "not compared with a range")
    steel = c.steel
    if steel is not None:
        composition = dict(steel.composition)
        slipped = False
        for element, (low, high) in limits.items():
            if element in composition:
                content, of = (composition[element], low or 0.0, high), f"of heat {c.heat}"
                slipped |= _outside_grade(element, *content, of, name, report)
            elif low and high:
                composition[element] = middle = round((low + high) / 2.0, 6)
                assumed = f"the middle of {name}'s range, {middle:g} wt%, assumed"
                report(element, f"no {element} is given for heat {c.heat}", assumed)
        silent = [e for e in named if e not in composition]
        if silent:
            fill = ", ".join(f"{e} {DEFAULT_RESIDUALS.get(e, 0.0):g}" for e in silent)
            what = f"no value for {', '.join(silent)} of heat {c.heat}"
            report("", what, f"unknown; the default residual fills it (wt%: {fill})")
        steel = None if slipped else replace(steel, composition=composition, limits=limits or None)
    problems += said
    return replace(c, steel=steel, problems=c.problems + tuple(said))


def _outside_grade(element, value: float, low: float, high, of: str, name: str, report) -> bool:
    """Report a content outside the grade's range; True if it looks like a misplaced point."""
    top = math.inf if high is None else high
    if low <= value <= top:
        return False
    ends = f"{low:g} wt% or more" if high is None else f"{low:g} to {high:g} wt%"
    what = f"{element} {value:g} wt% {of} is outside {name}'s {ends}"
    away = low / value if 0.0 < value < low else value / top if top > 0.0 else 0.0
    shifted = (value * k for k in (10.0, 0.1, 100.0, 0.01))
    moved = next((v for v in shifted if 0.9 * low <= v <= 1.1 * top), None)
    if away >= _SLIP_FACTOR and moved:
        report(element, f"{what}; it looks like a misplaced point ({moved:.4g}?)", "heat not used")
        return True
    report(element, what, "used as certified")
    return False
