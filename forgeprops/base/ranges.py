"""Valid ranges as data: each formula's limits stand here by id; outside them a result carries a warning."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["RANGES", "ValidRange", "Warn", "outside", "register_range"]


@dataclass(frozen=True)
class ValidRange:
    """Interval in which a formula was made or tested.

    Attributes
    ----------
    quantity : str
        What is limited, in words ("carbon for the Ms formula").
    low, high : float
        Ends of the interval, included.
    unit : str
        Unit of `low` and `high`.
    source : str
        Who says so; "from memory" when nobody here has read it.
    """

    quantity: str
    low: float
    high: float
    unit: str
    source: str


@dataclass(frozen=True)
class Warn:
    """A warning a result carries: a short code for tables and a sentence for people."""

    code: str
    text: str

    def __str__(self) -> str:
        return self.text


RANGES: dict[str, ValidRange] = {}


def register_range(
    id: str, quantity: str, low: float, high: float, unit: str, source: str
) -> ValidRange:
    """Put a range into `RANGES` under `id` and return it; registering other values twice is a bug."""
    new = ValidRange(quantity, float(low), float(high), unit, source)
    if RANGES.setdefault(id, new) != new:
        raise RuntimeError(f"range id {id!r} is registered twice with different values")
    return new


def outside(id: str, value: float) -> Warn | None:
    """Return a `Warn` if `value` lies outside the registered range `id`, else None.

    Examples
    --------
    >>> _ = register_range("example", "carbon", 0.1, 0.6, "wt%", "from memory")
    >>> print(outside("example", 0.8))
    Carbon 0.8 wt% is outside the range 0.1 to 0.6 wt% (from memory).
    >>> outside("example", 0.3) is None
    True
    """
    r = RANGES[id]
    if r.low <= value <= r.high:
        return None
    unit = f" {r.unit}" if r.unit else ""
    what = r.quantity[:1].upper() + r.quantity[1:]
    return Warn(
        f"range:{id}",
        f"{what} {value:.4g}{unit} is outside the range {r.low:g} to {r.high:g}{unit} ({r.source}).",
    )
