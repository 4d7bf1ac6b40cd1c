"""What a steel is made of: checked composition in wt%, residuals filled by a stated default."""

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from ..base.errors import InputError, check_choice, check_flag, check_kind, check_name, check_number
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
    """A steel by its composition.

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

    Raises
    ------
    InputError
        Unknown element, negative or too high a content, no carbon, sum above 100 %.

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
