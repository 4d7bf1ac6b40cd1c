"""What a steel is made of: checked composition in wt%, residuals filled by a stated default; contents as people write them."""

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from ..base.errors import InputError, check_choice, check_flag, check_kind, check_name, check_number
from ..io.cells import Reading, clean_text, read_number
from .settings import table

#: Highest content accepted, wt%: wide enough for every hypoeutectoid low-alloy steel, narrow enough to catch a
#: misplaced decimal point.  Our own limits.
ELEMENTS: dict[str, float] = {s.name: s.high for s in table().values() if s.group == "steel"}

#: Fills an element that the composition does not name (an absent element is unknown, 0.0 is zero), wt%.
#: Common practice for scrap-based bar steel, no source; they lie inside the maxima that EN 10083 and
#: JIS G 4051 allow unalloyed steel.
_RESIDUALS = {"Si": 0.25, "Mn": 0.50, "Ni": 0.08, "Cr": 0.08, "Mo": 0.02, "Cu": 0.12}
_RESIDUALS |= {"P": 0.015, "S": 0.020, "N": 0.007, "Al": 0.025}
DEFAULT_RESIDUALS: Mapping[str, float] = MappingProxyType(_RESIDUALS)

#: Standard deviation of a content that the analysis does not name and that `DEFAULT_RESIDUALS` fills, wt%; of the elements
#: that the rates depend on (our choice; molybdenum of scrap-based bar 0.01-0.04, of ore-based 0.00-0.01: from memory).
UNREPORTED_SD = {"Si": 0.06, "Mn": 0.25, "Ni": 0.04, "Cr": 0.04, "Mo": 0.012, "Ti": 0.0}
#: The same of titanium that protects boron, as a share of what is assumed: one heat in five may lack it (our choice).
_TITANIUM_SD = 0.4


def _boron_practice(given: Mapping[str, float]) -> dict[str, float]:
    """What a boron heat whose certificate names no titanium or nitrogen is taken to have, wt%.

    Boron grades are made protected: titanium of five times the nitrogen above 0.002.  Residual boron, below some
    0.0005 wt%, is not; between them the assumption fades in.
    """
    b = given.get("B", 0.0)
    made = 1.0 - math.exp(-((b / 0.0005) ** 4))
    if made < 0.01:
        return {}
    found = {} if "N" in given else {"N": DEFAULT_RESIDUALS["N"] - 0.002 * made}
    if "Ti" not in given:
        n = given.get("N", found.get("N", 0.0))
        found["Ti"] = 5.0 * max(n - 0.002, 0.0) * made
    return found


@dataclass(frozen=True)
class Steel:
    """A steel by its composition; an unknown element, a content out of bounds or no carbon is an InputError.

    Parameters
    ----------
    name : str; what the shop calls it
    composition : mapping of str to float; wt% by element symbol, carbon among them
        An element that is absent is *unknown* and read through `get` as a stated default residual; 0.0 is zero.
    grain_size_astm : float; ASTM E112 number of the austenite for formulas that need one, 0 to 14
        The furnace model replaces it by what time and temperature make of it.
    limits : mapping of str to (low, high), optional; the grade's range, wt%, None for no limit named
    fine_grain : bool
        Fine-grain practice (aluminium-killed): grain boundaries are pinned up to the coarsening temperature.
    source : str; standard or certificate the numbers come from
    unsure : mapping of str to float, optional
        Standard deviations of contents that the certificate leaves open ("<0.05"), wt%.

    Examples
    --------
    >>> heat = Steel("heat 7", {"C": 0.21, "Mn": 0.82, "Si": 0.25, "Cr": 1.02, "Mo": 0.19})
    >>> heat.get("Cr"), heat.get("Ni"), heat.assumed
    (1.02, 0.08, ('Al', 'Cu', 'N', 'Ni', 'P', 'S'))
    """

    name: str
    composition: Mapping[str, float]
    grain_size_astm: float = 7.0
    limits: Mapping[str, tuple[float | None, float | None]] | None = None
    fine_grain: bool = True
    source: str = ""
    unsure: Mapping[str, float] = field(default_factory=dict, compare=False)
    _values: Mapping[str, float] = field(init=False, repr=False, compare=False)

    def __post_init__(self):
        where = f"steel {check_name(self.name, 'steel name')[:60]!r}"
        if not isinstance(self.composition, Mapping):
            form, got = "a mapping such as {'C': 0.20, 'Mn': 0.45}", type(self.composition).__name__
            raise InputError(f"composition must be {form}; got {got} ({where}).")
        given = {}
        for symbol, content in self.composition.items():
            symbol = check_choice(symbol, "element", ELEMENTS, where)
            if symbol in given:
                raise InputError(f"{symbol} is given twice; give one value per element ({where}).")
            what = f"{symbol} content"
            given[symbol] = check_number(content, what, 0.0, ELEMENTS[symbol], "wt%", where)
        if "C" not in given:
            raise InputError(f"carbon is missing; a composition needs at least C ({where}).")
        table()["C"].check(given["C"], where)
        check_flag(self.fine_grain, "fine_grain", where)
        check_kind(self.source, str, "source", where)
        check_number(self.grain_size_astm, "grain size", 0.0, 14.0, "ASTM number", where)
        object.__setattr__(self, "composition", MappingProxyType(given))
        if self.limits is not None:
            limits = dict(check_kind(self.limits, Mapping, "limits", where))
            object.__setattr__(self, "limits", MappingProxyType(limits))
        unsure = {}
        for e, sd in check_kind(self.unsure, Mapping, "unsure", where).items():
            e = check_choice(e, "element", ELEMENTS, where)
            unsure[e] = check_number(sd, "unsure", 0.0, 5.0, "wt%")
        object.__setattr__(self, "unsure", MappingProxyType(unsure))
        values = {**DEFAULT_RESIDUALS, **_boron_practice(given), **given}
        object.__setattr__(self, "_values", MappingProxyType(values))

    @functools.cached_property
    def content_sd(self) -> Mapping[str, float]:
        """Standard deviation of the contents that are not known, wt%: `UNREPORTED_SD`, and what is `unsure`."""
        blank = {e: sd for e, sd in UNREPORTED_SD.items() if e not in self.composition}
        if "Ti" in blank:
            blank["Ti"] = _TITANIUM_SD * self.get("Ti")
        unsure = {e: sd for e, sd in self.unsure.items() if e in UNREPORTED_SD}
        return MappingProxyType(blank | unsure)

    def get(self, element: str) -> float:
        """Content of `element`, wt%: as given, else the stated default residual, else 0."""
        return self._values.get(element, 0.0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """Elements whose content is a default residual, not a given value."""
        filled = {*DEFAULT_RESIDUALS, *_boron_practice(self.composition)}
        return tuple(sorted(filled - set(self.composition)))

    def __hash__(self):
        return hash((self.name, tuple(sorted(self.composition.items())), self.grain_size_astm))


# ---- contents as people write them: one cell of a certificate, a whole chemistry typed as text --------------------

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
    where = f"steel {text[:60]!r}"
    found, left = _pairs(clean_text(text))
    if left:
        give = "give elements with wt% or ppm, such as 'C 0.31 Mn 0.5 B 20 ppm Mo <0.01'"
        raise InputError(f"{where}: {left[:30]!r} cannot be read; {give}.")
    contents, unsure, said = dict[str, float](), dict[str, float](), list[str]()
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
