"""This shop's own multipliers on the published laws: neutral by default, produced by `fit`."""

from __future__ import annotations

from dataclasses import dataclass

from .errors import check_number

__all__ = ["Shop"]


@dataclass(frozen=True)
class Shop:
    """What one shop's measurements made of the published laws.

    Attributes
    ----------
    spray : float
        Multiplies the spray heat-transfer law (a published spray law is good to about a factor 1.5).
    emissivity : float
        Emissivity of the scaled head in air (0.8 ± 0.1 for thin tight scale at 500–1000 °C).
    air : float
        Multiplies the convection of still or moving air.
    die : float
        Multiplies the die contact.
    delay_s : float
        Added to the spray delay: what the valve and the pipe take, s.
    name : str
        Who measured, when.

    Examples
    --------
    >>> Shop().spray
    1.0
    """

    spray: float = 1.0
    emissivity: float = 0.8
    air: float = 1.0
    die: float = 1.0
    delay_s: float = 0.0
    name: str = "neutral"

    def __post_init__(self):
        for field, low, high, unit in (("spray", 0.1, 10.0, ""), ("emissivity", 0.05, 1.0, ""), ("air", 0.1, 10.0, ""),
                                       ("die", 0.0, 10.0, ""), ("delay_s", -5.0, 60.0, "s")):
            object.__setattr__(self, field, check_number(getattr(self, field), f"shop {field}", low, high, unit))
