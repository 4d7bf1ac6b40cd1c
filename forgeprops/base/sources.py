"""Where every number comes from: read from the docstrings, where each formula stands.

A long docstring has its sources under References, a short one at its end; an entry ends with its basis, one of `BASES`:

    .. [1] K. W. Andrews, J. Iron Steel Inst. 203 (1965) 721-727 (from memory).
"""

import ast
import functools
import inspect
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from .tables import read_rows

#: What a source may rest on, and what that means.
BASES = {
    "read": "somebody here has seen it in the place named",
    "from memory": "recalled, not read",
    "derived": "follows from other sources by algebra, or from geometry",
    "our own fit": "fitted here to the data named",
    "common practice": "usual in shops, no single source",
    "our choice": "a decision of this package, stated as such",
    "invented": "made up for demonstration",
}
_ENTRIES = re.compile(r"^\.\. \[1\].*?(?=^\w[^\n]*\n---|\Z)", re.DOTALL | re.MULTILINE)
_ENTRY = re.compile(rf"(.+?) \(({'|'.join(BASES)})\)\.?", re.DOTALL)


@dataclass(frozen=True)
class Source:
    """One entry of a References section."""

    where: str  # module and function within the package, or row of a table
    what: str  # the formula gives: the first line of its docstring
    reference: str  # author, year, journal, standard or reason
    basis: str  # one of `BASES`

    @property
    def room(self) -> str:
        """Room of the package it stands in."""
        return self.where.partition(".")[0]

    def __str__(self) -> str:
        return f"{self.what.rstrip('.')}: {self.reference} ({self.basis})"


def references(doc: str | None, where: str) -> tuple[Source, ...]:
    """Sources named in one docstring.

    >>> doc = "Ae3, °C.\\n\\n.. [1] K. W. Andrews 1965 (from memory).\\n"
    >>> print(*references(doc, "room.formula"))
    Ae3, °C: K. W. Andrews 1965 (from memory)
    """
    doc = inspect.cleandoc(doc or "")
    entries = _ENTRIES.search(doc)
    if not entries:
        return ()
    what = " ".join(doc.partition("\n\n")[0].split())
    found = []
    for text in re.split(r"\.\. \[\d+\]", entries[0])[1:]:
        entry = _ENTRY.fullmatch(" ".join(text.split()))
        if not entry:
            raise ValueError(f"{where}: {' '.join(text.split())!r} does not end with its basis")
        found.append(Source(where, what, entry[1], entry[2]))
    return tuple(found)


def of_formula_table() -> list[Source]:
    """Sources of the critical temperatures, whose formulas are rows of a table."""
    where, found = "transformation.temperatures", []
    for r in read_rows("constants/critical_temperatures.csv"):
        name, sources = f"{where}.{r['quantity']}_{r['formula']}", (r["source"], r["source2"])
        bases = (r["basis"], r["basis2"])
        found += [Source(name, r["what"], *s) for s in zip(sources, bases, strict=True) if s[0]]
    return found


def counted(found) -> str:
    """How many sources rest on what, in words: "3 sources: 2 read, 1 derived"."""
    counts = Counter(source.basis for source in found)
    words = ", ".join(f"{counts[basis]} {basis}" for basis in BASES if counts[basis])
    return f"{counts.total()} sources: {words}"


@functools.cache
def sources() -> tuple[Source, ...]:
    """Every source named in the package, room by room."""
    package, found = Path(__file__).parents[1], of_formula_table()
    for path in sorted(package.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if ".. [1]" not in text or path == Path(__file__):
            continue
        parts = path.relative_to(package).with_suffix("").parts
        module = ".".join(p for p in parts if p != "__init__")
        tree = ast.parse(text)
        found += references(ast.get_docstring(tree), module)
        for node in ast.walk(tree):
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                found += references(ast.get_docstring(node), f"{module}.{node.name}")
    return tuple(found)
