"""Warnings of the baths: whose law it is, its range, and red-hot metal in the surface of oil."""

from collections.abc import Iterator

import numpy as np

from ...thermal.media import BATHS
from .rule import Rule


def _any(e, test) -> np.ndarray:
    """Cases with a quench for which `test` holds, shape (n,)."""
    kinds = np.array([any(map(test, quench)) for quench in e.cases.quenches], bool)
    return kinds[e.cases.quench_of] & e.cases.route["has_quench"]


def _of(e, i, test):
    return next(q for q in e.cases.quenches[e.cases.quench_of[i]] if test(q))


def _known(quench) -> bool:
    return quench.medium in BATHS


def _out(quench) -> bool:
    low, high = BATHS[quench.medium].range_c if _known(quench) else (-np.inf, np.inf)
    return not low <= quench.fluid_c <= high


def _out_text(e, i):
    quench = _of(e, i, _out)
    low, high = BATHS[quench.medium].range_c
    return f"The law of the {quench.medium} is meant for {low:g}–{high:g} °C; it is at {quench.fluid_c:g} °C."


def _law_text(e, i):
    quench = _of(e, i, _known)
    return (
        f"The law of the {quench.medium} is for an ordinary one, good to a factor of about 1.5 ({BATHS[quench.medium].basis}); a "
        "cooling curve of your own bath makes a table for an own bath."
    )


def _oil(quench) -> bool:
    return quench.medium == "oil bath"


def _open_oil(quench) -> bool:
    return _oil(quench) and (quench.depth_mm is not None or len(quench.zones) < 5)


def _covered_oil(e) -> np.ndarray:
    return _any(e, _oil) & ~_any(e, _open_oil)


_OIL = (
    "Oil bath: under quickly and wholly, oil 50 °C or more below its flash point, no water in it, lid and "
    "extinguisher at hand (common practice)."
)
#: °C from which usual quench oils may be at their flash point (150-200 °C, hot oils more; from memory).
_FLASH_C = 150.0


def _hot_oil(quench) -> bool:
    return _oil(quench) and quench.fluid_c >= _FLASH_C


def _hot_oil_text(e, i):
    return (
        f"Oil at {_of(e, i, _hot_oil).fluid_c:.0f} °C can catch fire: usual quench oils flash at 150–200 °C (from memory): stay "
        "50 °C or more below the flash point of your oil."
    )


_OPEN_OIL = (
    "Red-hot metal that stands out of the oil sets its surface on fire: dip the head wholly, or take "
    "water or polymer."
)


def baths() -> Iterator[Rule]:
    yield Rule("bath-law", "note", lambda e: _any(e, _known), _law_text)
    yield Rule("bath-range", "note", lambda e: _any(e, _out), _out_text)
    yield Rule("oil-at-flash-point", "stop", lambda e: _any(e, _hot_oil), _hot_oil_text)
    yield Rule("oil-fire", "note", _covered_oil, lambda e, i: _OIL)
    yield Rule("oil-fire:open", "change", lambda e: _any(e, _open_oil), lambda e, i: _OPEN_OIL)
