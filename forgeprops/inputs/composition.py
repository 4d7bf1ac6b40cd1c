"""Contents as people write them: one cell of a certificate to wt%, and a whole chemistry typed as text."""

import re

from ..base.errors import InputError, shown
from ..io.cells import Reading, clean_text, read_number
from .steel import ELEMENTS

#: Elements whose bad value does not spoil an analysis: no formula here uses them; the value is left out.
BESIDE = frozenset({"As", "Sn", "Pb", "Ca", "Sb", "O", "H"})

NOT_USED = "row not used"

#: Elements that mills give in ppm, often without saying so.
_PPM_USUAL = frozenset({"N", "B", "O", "H", "Ca"})

#: Contents, wt%, from which a steel is another kind (10.5 % Cr: EN 10088-1, from memory; nickel: our own mark).
_NOT_COVERED = {"Cr": (10.5, "a stainless steel"), "Ni": (12.0, "a maraging or austenitic steel")}

_SYMBOLS = {s.casefold(): s for s in (*ELEMENTS, "Fe")}
_UNIT = r"%|ppm|wt\.?\s*%|mass\s*%"
_VALUE = r"(?:[<≤~]|max\.?)?\s*\d*[.,]?\d+(?:e-?\d+)?|n\.?d\.?|traces?|tr\.?|bal(?:ance)?\.?|rest"
_ELEMENT = rf"(?P<element>{'|'.join(sorted(_SYMBOLS, key=len, reverse=True))})"
_AFTER = rf"\s*(?P<after>{_UNIT})?(?=$|[\s,;/|+-])[\s,;/|+]*"
#: "Cr = 0,95 %", "N (ppm) 70", "C0.31"; and "0.31C", "0.95 % Cr".
_FORMS = (
    re.compile(rf"{_ELEMENT}\s*\(?(?P<unit>{_UNIT})?\)?\s*(?P<sign>[=:])?\s*(?P<value>{_VALUE}){_AFTER}", re.I),
    re.compile(rf"(?P<value>{_VALUE})\s*(?P<unit>{_UNIT})?\s*(?P<sign>[=:])?{_ELEMENT}{_AFTER.replace('after', '_')}-?", re.I),
)  # fmt: skip


def _pairs(text: str) -> tuple[list[re.Match], str]:
    """The contents of a text from its beginning on, and what is left where reading ends."""
    best: tuple[list[re.Match], str] = [], text
    for form in _FORMS:
        at, found = 0, []
        while match := form.match(text, at):
            found.append(match)
            at = match.end()
        if len(text) - at < len(best[1]):
            best = found, text[at:]
    return best


def is_composition(text: str) -> bool:
    """Whether a text is a chemistry and not a name: contents with a point, a sign or a unit, or several of them.

    >>> is_composition("C 0.31 Mn 0.5"), is_composition("0,31 C"), is_composition("C45"), is_composition("S 45 C")
    (True, True, False, False)
    """
    found, left = _pairs(clean_text(text))
    signs = ((m["sign"], m["unit"], m.groupdict().get("after")) for m in found)
    written = any(map(any, signs)) or any(re.search(r"[.,]\d|<", m["value"]) for m in found)
    return written or (len(found) > 1 and not left)


def composition_of(text: str) -> tuple[dict[str, float], dict[str, float], tuple[str, ...]]:
    """Contents of a typed chemistry and standard deviations of those it leaves open, wt%, and what was assumed.

    Elements and contents in any order: "C 0.31 Mn 0.5", "C=0,31; N 70 ppm; Mo <0.01", "0.31C-0.95Cr".

    >>> composition_of("C=0,31 Cr 0,95 % B 20ppm Mo <0.01")
    ({'C': 0.31, 'Cr': 0.95, 'B': 0.002, 'Mo': 0.005}, {'Mo': 0.0029}, ('Mo is below 0.01 wt%: 0.005 wt% assumed',))
    """
    where = f"steel {shown(text)}"
    found, left = _pairs(clean_text(text))
    if left:
        raise InputError(
            f"{where}: {shown(left[:30])} cannot be read; give elements with wt% or ppm, such as "
            "'C 0.31 Mn 0.5 B 20 ppm Mo <0.01'."
        )
    contents: dict[str, float] = {}
    unsure: dict[str, float] = {}
    said: list[str] = []
    for match in found:
        element = _SYMBOLS[match["element"].casefold()]
        unit = f"{match['unit'] or ''}{match.groupdict().get('after') or ''}".casefold()
        factor = None if not unit else 1e-4 if "ppm" in unit else 1.0
        if element == "Fe" or match["value"][:3].casefold() in ("bal", "res"):
            continue
        if element in contents:
            raise InputError(f"{where}: {element} is given twice; give one value per element.")
        reading = read_number(match["value"].replace(",", "."))
        if reading.kind == "missing":
            continue
        content, remarks = content_of(element, factor, reading)
        if reading.kind == "below" and content is not None:
            unsure[element] = below_sd(content)
        if content is None:
            raise InputError(f"{where}: {remarks[-1][0]}.")
        contents[element] = content
        said += [f"{what}: {assumed}" for what, assumed in remarks]
    return contents, unsure, tuple(said)


def below_sd(half: float) -> float:
    """Standard deviation of a content read as half of its limit, wt%: evenly likely from 0 to the limit."""
    return float(f"{2.0 * half / 12.0**0.5:.2g}")


def content_of(
    element: str, factor: float | None, reading: Reading, below_limit: str = "half"
) -> tuple[float | None, list[tuple[str, str]]]:
    """Content in wt% of one cell, None if it cannot be used, and what to report about it.

    `factor` leads from the written number to wt%, None where no unit is stated; "<0.01" counts for
    `below_limit`, "half" or "zero".
    """
    allowed = ELEMENTS[element]
    bad = "value left out" if element in BESIDE else NOT_USED
    if reading.kind == "unreadable":
        return None, [(reading.remark, bad)]
    if reading.kind == "trace":
        return 0.0, [(f"a trace of {element}", "0 wt% assumed")]
    said = [(reading.remark, "used")] if reading.remark else []
    if reading.unit:
        written = 1e-4 if reading.unit == "ppm" else 1.0
        if factor is not None and written != factor:
            what = f"the cell says {reading.unit}, the header another unit"
            said.append((what, f"read as {reading.unit}"))
        factor = written
    content = reading.value * (1.0 if factor is None else factor)
    least, kind = _NOT_COVERED.get(element, (100.0, ""))
    if least <= content < 40.0:
        what = f"{content:g} wt% {element} makes it {kind}, which is not covered"
        return None, [*said, (what, bad)]
    if factor is None and content > allowed and element in _PPM_USUAL:
        if reading.value >= 1.0 and reading.value * 1e-4 <= allowed:
            content = reading.value * 1e-4
            what = f"{reading.value:g} without a unit cannot be wt% of {element}"
            said.append((what, f"taken as ppm, {content:.4g} wt%"))
    if content < 0.0:
        return None, [*said, (f"{content:g} wt% {element} is negative", bad)]
    if content > allowed:
        slip = next((k for k in (10, 100, 1000) if content / k <= allowed), None)
        hint = f"; a misplaced point ({content / slip:.4g}) or a scaled number?" if slip else ""
        what = f"{content:g} wt% {element} is more than the {allowed:g} wt% allowed{hint}"
        return None, [*said, (what, bad)]
    if reading.kind == "below":
        half = content / 2.0 if below_limit == "half" else 0.0
        said.append((f"{element} is below {content:.4g} wt%", f"{half:.4g} wt% assumed"))
        content = half
    return float(f"{content:.12g}"), said
