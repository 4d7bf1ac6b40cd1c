"""What the user asks of the result: limits by quantity, how far a case stands from them, which binds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..base.errors import InputError, check_choice, check_number
from .head import ZONES

__all__ = ["QUANTITIES", "Limits", "Quantity"]


@dataclass(frozen=True)
class Quantity:
    """A column that limits may be put on.

    Attributes
    ----------
    label, unit : str
        As a person says it.
    step : float
        What counts as one step of slack, in its unit: about one standard deviation of the estimate or of a
        shop's own spread (our choice), so that slacks of different quantities compare.
    """

    label: str
    unit: str
    step: float


QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        **{f"{z}_hardness_hv": Quantity(f"{z} hardness", "HV", 20.0) for z in ZONES},
        **{f"{z}_tensile_mpa": Quantity(f"{z} tensile strength", "MPa", 60.0) for z in ZONES},
        **{f"{z}_yield_mpa": Quantity(f"{z} yield strength", "MPa", 60.0) for z in ZONES},
        "hosel_allowed_deg": Quantity("hosel bend", "°", 0.4),
        "face_margin": Quantity("face margin at the strike", "", 0.1),
        "scale_um": Quantity("scale on the face", "µm", 15.0),
        "press_effort": Quantity("press effort", "", 0.05),
        "press_force_kn": Quantity("press force", "kN", 250.0),
        "press_s": Quantity("time on the press", "s", 1.0),
        "heads_per_hour": Quantity("heads an hour", "/h", 10.0),
        "water_l": Quantity("water per head", "L", 0.1),
    }
)


@dataclass(frozen=True, init=False)
class Limits:
    """Lower and upper limits by quantity.

    Parameters
    ----------
    **bounds : (low, high)
        By the names of `QUANTITIES`, in their units; None at an end means no limit there.

    Raises
    ------
    InputError
        Unknown quantity, not a pair, both ends None, low above high.

    References
    ----------
    .. [1] Steps in which slack of different quantities is counted: about one standard deviation
       (common practice).

    Examples
    --------
    >>> wanted = Limits(face_hardness_hv=(380, 460), hosel_allowed_deg=(2.0, None))
    >>> print(wanted)
    face hardness 380 to 460 HV; hosel bend at least 2 °
    >>> wanted.meets({"face_hardness_hv": [400.0, 470.0], "hosel_allowed_deg": [2.2, 2.5]}).tolist()
    [True, False]
    >>> wanted.binding({"face_hardness_hv": [400.0, 470.0], "hosel_allowed_deg": [2.2, 2.5]}).tolist()
    ['hosel bend at least 2 °', 'face hardness at most 460 HV']
    """

    bounds: Mapping[str, tuple[float | None, float | None]]

    def __init__(self, **bounds):
        checked = {}
        for name, pair in bounds.items():
            name = check_choice(name, "quantity to limit", QUANTITIES)
            if (
                isinstance(pair, (str, bytes, Mapping))
                or not hasattr(pair, "__len__")
                or len(pair) != 2
            ):
                raise InputError(
                    f"limit on {name} is {pair!r}; allowed is a pair (low, high), None for no limit at "
                    "an end."
                )
            q = QUANTITIES[name]
            low, high = (
                None if end is None else check_number(end, f"limit on {q.label}", -1e9, 1e9, q.unit)
                for end in pair
            )
            if low is None and high is None:
                raise InputError(
                    f"limit on {name} has no end; allowed is a pair (low, high) with one number or two."
                )
            if low is not None and high is not None and low >= high:
                raise InputError(
                    f"limit on {q.label} is {low:g} to {high:g} {q.unit}; the low end must be below the "
                    "high one."
                )
            checked[name] = (low, high)
        object.__setattr__(self, "bounds", MappingProxyType(checked))

    def saved(self) -> dict:
        """What a file keeps."""
        return {name: list(pair) for name, pair in self.bounds.items()}

    @classmethod
    def restored(cls, content: dict, where: str) -> Limits:
        """Limits from what a file kept."""
        return cls(**content)

    def __reduce__(self):  # mapping proxies do not pickle
        return _restored, (dict(self.bounds),)

    def __hash__(self):
        return hash(tuple(self.bounds.items()))

    def __str__(self) -> str:
        return (
            "; ".join(self._words(name, low, high) for name, (low, high) in self.bounds.items())
            or "no limits"
        )

    @staticmethod
    def _words(name: str, low: float | None, high: float | None) -> str:
        q = QUANTITIES[name]
        unit = f" {q.unit}" if q.unit else ""
        if low is None:
            return f"{q.label} at most {high:g}{unit}"
        return (
            f"{q.label} at least {low:g}{unit}"
            if high is None
            else f"{q.label} {low:g} to {high:g}{unit}"
        )

    def ends(self) -> Iterator[tuple[str, str, float, float]]:
        """Every single end: words, quantity, value, and +1 for a low end or -1 for a high one."""
        for name, (low, high) in self.bounds.items():
            if low is not None:
                yield self._words(name, low, None), name, low, 1.0
            if high is not None:
                yield self._words(name, None, high), name, high, -1.0

    def margins(self, table) -> dict[str, np.ndarray]:
        """Distance inside every end, in its quantity's steps (below 0: outside; nan: no number).

        Parameters
        ----------
        table : mapping of str to array, or DataFrame
            Columns by the names of the quantities.

        Raises
        ------
        InputError
            A limited quantity that the table has not.
        """
        found = {}
        for words, name, value, sign in self.ends():
            if name not in table:
                raise InputError(
                    f"{name} is limited but not in the table; allowed are limits on its columns."
                )
            found[words] = sign * (np.asarray(table[name], float) - value) / QUANTITIES[name].step
        return found

    def slack(self, table) -> np.ndarray:
        """Least of the margins of every row, in steps: 0 on a limit, below 0 outside, -inf: no number."""
        margins = list(self.margins(table).values())
        if not margins:
            return np.full(len(next(iter(dict(table).values()))), np.inf)
        least = np.min(np.stack(np.broadcast_arrays(*margins)), axis=0)
        return np.where(np.isnan(least), -np.inf, least)

    def meets(self, table) -> np.ndarray:
        """Whether every row meets all limits."""
        return self.slack(table) >= 0.0

    def binding(self, table) -> np.ndarray:
        """The end with the least margin of every row, in words."""
        margins = self.margins(table)
        names = np.array([*margins, ""], dtype=object)
        if not margins:
            return np.full(len(next(iter(dict(table).values()))), "", dtype=object)
        stacked = np.stack(np.broadcast_arrays(*margins.values()))
        return names[np.argmin(np.where(np.isnan(stacked), -np.inf, stacked), axis=0)]


def _restored(bounds: dict) -> Limits:
    return Limits(**bounds)
