"""Mill and laboratory certificates, CSV or XLSX, to steels: every assumption and bad row is reported."""

from __future__ import annotations

import html
import math
from dataclasses import replace

from ..base.errors import InputError, check_choice
from ..inputs.grades import grade as library_grade
from ..inputs.steel import DEFAULT_RESIDUALS, ELEMENTS, Steel
from ..io.grids import Problem, read_grids
from .layout import find_blocks, header_score
from .rows import Certificate, read_block, title_rows

__all__ = ["Certificate", "Certificates", "read_certificates"]


#: Most cells of a text file of certificates: 10 000 heats of 20 elements, read in some 5 s.  Our own limit.
CELL_LIMIT = 200_000

#: A content this many times beyond the grade's range, and inside it after moving the point, is taken for a
#: slip (our own mark: real heats miss a range by percents).
_SLIP_FACTOR = 4.0


class Certificates(tuple):
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
        import pandas as pd

        named = [
            e
            for e in ELEMENTS
            if any(c.steel is not None and e in c.steel.composition for c in self)
        ]
        rows = []
        for c in self:
            contents = dict(c.steel.composition) if c.steel else {}
            rows.append(
                {
                    "heat": c.heat,
                    "grade": c.grade,
                    "row": c.row,
                    **{e: contents.get(e, math.nan) for e in named},
                    "used": c.steel is not None,
                    "problems": "; ".join(f"{p.what}: {p.assumed}" for p in c.problems),
                }
            )
        return pd.DataFrame(rows, columns=["heat", "grade", "row", *named, "used", "problems"])

    def problem_table(self):
        """All problems as a DataFrame: file, row, column, what, assumed."""
        import pandas as pd

        columns = ["file", "row", "column", "what", "assumed"]
        return pd.DataFrame(
            [{c: getattr(p, c) for c in columns} for p in self.problems], columns=columns
        )

    def summary(self) -> str:
        """In words: how many heats, how many usable, and each problem on its own line."""
        bad = len(self) - len(self.steels)
        lines = [
            f"{len(self)} heat{'s' * (len(self) != 1)}: {len(self.steels)} can be used"
            + (f", {bad} cannot." if bad else ".")
        ]
        return "\n".join(lines + [f"- {p}" for p in self.problems])

    def __repr__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        def text(value) -> str:
            if isinstance(value, bool):
                return "yes" if value else "no"
            if isinstance(value, float):
                return "" if math.isnan(value) else f"{value:.4g}"
            return html.escape(str(value))

        def row(cells, tag="td"):
            return "<tr>" + "".join(f"<{tag}>{text(c)}</{tag}>" for c in cells) + "</tr>"

        shown = 50
        table = self.table().drop(columns="problems").head(shown)
        body = [row(table.columns, "th")]
        body += [row(values) for values in table.itertuples(index=False, name=None)]
        problems = [row(("row", "column", "what", "assumed"), "th")]
        problems += [row((p.row or "", p.column, p.what, p.assumed)) for p in self.problems[:shown]]
        more = f"<p>and {len(self.problems) - shown} more</p>" if len(self.problems) > shown else ""
        first = html.escape(self.summary().splitlines()[0])
        return f"<p>{first}</p><table>{''.join(body)}</table>" + (
            f"<p>What was met and assumed:</p><table>{''.join(problems)}</table>{more}"
            if self.problems
            else ""
        )


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
    source : path, bytes or upload
        The file, its bytes, or a file chooser's upload.
    sheet : str, optional
        Read this sheet of a workbook only; by default all visible sheets.
    filename : str, optional
        Name used in messages when bytes are given.
    below_limit : {"half", "zero"}
        What "<0.01" counts for: half the limit, or nothing.

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
    certificates: list[Certificate] = []
    problems: list[Problem] = []
    headed, named = False, []
    for grid in grids:
        problems += grid.problems
        turned, blocks = find_blocks(grid)
        if not blocks:
            problems.append(
                Problem(
                    grid.file,
                    None,
                    "",
                    "no row or column names carbon and another element",
                    "sheet not read",
                )
            )
            continue
        headed = True
        if turned.transposed:
            problems.append(
                Problem(
                    grid.file, None, "", "element names run down a column", "read column by column"
                )
            )
        title_rows(turned, blocks[0], problems)
        for block in blocks:
            named += [
                c.name for c in block.columns.values() if c.name in ELEMENTS and c.name not in named
            ]
            certificates += read_block(turned, block, below_limit, problems)
    if not headed:
        raise InputError(
            f"{grids[0].file.split(' [')[0]} names no elements; a row (or column) with C and "
            "one more of Si, Mn, Cr ... is needed as a header."
        )
    merged = _merge_heats(certificates, problems)
    if not merged:
        problems.append(
            Problem(grids[0].file, None, "", "no heat stands under the header", "nothing to use")
        )
    graded = any(c.grade for c in merged)
    checked = [_compare_with_grade(c, named, graded, problems) for c in merged]
    return Certificates(checked, problems)


def _merge_heats(certificates: list[Certificate], problems: list[Problem]) -> list[Certificate]:
    """Average the usable rows of each heat."""
    heats: dict[tuple[str, str], list[Certificate]] = {}
    for n, c in enumerate(certificates):
        unnamed = any(p.what == "no heat number" for p in c.problems)
        heats.setdefault((c.heat.casefold(), str(n) if unnamed else ""), []).append(c)
    merged = []
    for group in heats.values():
        first, good = group[0], [c for c in group if c.steel is not None]
        if len(group) == 1:
            merged.append(first)
            continue
        rows = ", ".join(str(c.row) for c in group)
        said = [
            Problem(
                first.file,
                first.row,
                "",
                f"heat {first.heat} has {len(group)} rows ({rows})",
                f"the {len(good)} usable ones are averaged"
                if len(good) > 1
                else "the one usable row is used"
                if good
                else "none can be used",
            )
        ]
        composition: dict[str, float] = {}
        for element in dict.fromkeys(e for c in good for e in c.steel.composition):
            values = [c.steel.composition[element] for c in good if element in c.steel.composition]
            composition[element] = float(f"{math.fsum(values) / len(values):.12g}")
            if max(values) - min(values) > max(0.03, 0.2 * max(values)):
                said.append(
                    Problem(
                        first.file,
                        first.row,
                        element,
                        f"{element} of heat {first.heat} differs widely "
                        f"between rows ({min(values):g} to {max(values):g} wt%)",
                        "averaged all the same",
                    )
                )
        grades = list(dict.fromkeys(c.grade for c in group if c.grade))
        if len(grades) > 1:
            said.append(
                Problem(
                    first.file,
                    first.row,
                    "",
                    f"heat {first.heat} is given as {', '.join(grades)}",
                    f"{grades[0]} is used",
                )
            )
        problems += said
        steel = replace(good[0].steel, composition=composition) if good else None
        merged.append(
            Certificate(
                first.heat,
                grades[0] if grades else "",
                steel,
                first.row,
                tuple(p for c in group for p in c.problems) + tuple(said),
                tuple(r for c in group for r in c.rows),
                first.notes,
                first.file,
            )
        )
    return merged


def _compare_with_grade(
    c: Certificate, named: list[str], graded: bool, problems: list[Problem]
) -> Certificate:
    """Fill what is not given and hold the heat against its grade; ten times off is a slip, not a steel."""
    said: list[Problem] = []

    def say(column, what, assumed):
        said.append(Problem(c.file, c.row, column, what, assumed))

    limits, name = {}, ""
    if c.grade:
        try:
            standard = library_grade(c.grade)
            limits, name = dict(standard.limits or {}), standard.name
        except InputError:
            say(
                "grade",
                f"grade {c.grade[:40]!r} of heat {c.heat} is not in the library",
                "not compared with a range",
            )
    elif graded and c.steel is not None:
        say(
            "grade",
            f"no grade is given for heat {c.heat}, as for others",
            "not compared with a range",
        )
    steel = c.steel
    if steel is not None:
        composition = dict(steel.composition)
        slipped = False
        for element, (low, high) in limits.items():
            if element in composition:
                slipped |= _outside_grade(
                    element, composition[element], low or 0.0, high, c.heat, name, say
                )
            elif low and high:
                composition[element] = round((low + high) / 2.0, 6)
                say(
                    element,
                    f"no {element} is given for heat {c.heat}",
                    f"the middle of {name}'s range, {composition[element]:g} wt%, assumed",
                )
        silent = [e for e in named if e not in composition]
        if silent:
            fill = ", ".join(f"{e} {DEFAULT_RESIDUALS.get(e, 0.0):g}" for e in silent)
            say(
                "",
                f"no value for {', '.join(silent)} of heat {c.heat}",
                f"unknown; the default residual fills it (wt%: {fill})",
            )
        steel = None if slipped else replace(steel, composition=composition, limits=limits or None)
    problems += said
    return replace(c, steel=steel, problems=c.problems + tuple(said))


def _outside_grade(
    element: str, value: float, low: float, high: float | None, heat: str, name: str, say
) -> bool:
    """Report a content outside the grade's range; True if it looks like a misplaced point."""
    top = math.inf if high is None else high
    if low <= value <= top:
        return False
    ends = f"{low:g} wt% or more" if high is None else f"{low:g} to {high:g} wt%"
    what = f"{element} {value:g} wt% of heat {heat} is outside {name}'s {ends}"
    away = low / value if 0.0 < value < low else value / top if top > 0.0 else 0.0
    moved = next(
        (value * k for k in (10.0, 0.1, 100.0, 0.01) if 0.9 * low <= value * k <= 1.1 * top), None
    )
    if away >= _SLIP_FACTOR and moved:
        say(element, f"{what}; it looks like a misplaced point ({moved:.4g}?)", "heat not used")
        return True
    say(element, what, "used as certified")
    return False
