"""What the result must keep: limits by quantity, how far a case stands from them, which binds."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ..base.errors import InputError, check_choice, check_list, check_number
from ..base.tables import read_rows
from ..strength.hardness_scales import convert_hardness
from .head import ZONES


@dataclass(frozen=True)
class Quantity:
    """A column that limits may be put on, as a person says it."""

    label: str
    unit: str
    step: float  # of slack, so that slacks compare: about one standard deviation of estimate or shop (our choice)

    @property
    def after(self) -> str:
        """The unit as it stands behind a number: " HV", "°"."""
        return self.unit if self.unit in ("", "°") else f" {self.unit}"

    def digits(self, *values: float) -> str:
        """Values to the digits that count, as a range where there are two, without the unit."""
        places = 0 if self.step >= 5.0 else 1 if self.step >= 0.3 else 2
        return " to ".join(f"{v:.{places}f}" for v in values)

    def text(self, *values: float) -> str:
        """Values with their unit: "380 to 520 HV", "2.0°"."""
        return self.digits(*values) + self.after


def _quantities() -> tuple[dict[str, Quantity], dict[str, tuple]]:
    found, vetoes = {}, {}
    for row in read_rows("constants/quantities.csv"):
        name, label, unit, step, *ends = row.values()
        for zone in ZONES if name.startswith("zone_") else ("",):
            of = name.replace("zone", zone)
            found[of] = Quantity(label.replace("zone", zone), unit, float(step))
        if any(ends):
            vetoes[name] = tuple(float(end) if end else None for end in ends)
    return found, dict(reversed(vetoes.items()))


#: Quantities by name, and what no ranking puts first unless a limit of the user says otherwise.
QUANTITIES, VETOES = map(MappingProxyType, _quantities())

#: Scales in which a limit on hardness may be written, by the ending of its name.
_WRITTEN = {"hrc": "HRC", "hrb": "HRB", "hb": "HB"}


@dataclass(frozen=True, init=False)
class Limits:
    """Lower and upper limits by quantity.

    Parameters
    ----------
    **bounds : (low, high)
        By the names of `QUANTITIES`, in their units; None at an end means no limit there.  A limit on hardness
        may be written in another scale: ``face_hardness_hrc=(39, 50)``, ``hosel_hardness_hrb=(None, 95)``, ``_hb``.

    Raises
    ------
    InputError
        Unknown quantity, not a pair, both ends None, low above high, a hardness that the scale does not have.

    References
    ----------
    .. [1] Steps in which slack of different quantities is counted: about one standard deviation
       (common practice).

    Examples
    --------
    >>> wanted = Limits(face_hardness_hv=(380, 460), hosel_allowed_deg=(2.0, None))
    >>> print(wanted)
    face hardness 380 to 460 HV; hosel bend at least 2°
    >>> wanted.meets({"face_hardness_hv": [400.0, 470.0], "hosel_allowed_deg": [2.2, 2.5]}).tolist()
    [True, False]
    >>> print(Limits(face_hardness_hrc=(39, 50)), Limits(face_hardness_hrc=(39, 50)).bounds)
    face hardness 39 to 50 HRC {'face_hardness_hv': (382.0, 513.0)}
    """

    bounds: Mapping[str, tuple[float | None, float | None]]  # hardness in HV
    written: Mapping[
        str, tuple
    ]  # (scale, low, high) of those written in another scale, by their names in `bounds`

    def __init__(self, **bounds):
        checked, written = {}, {}
        for given, pair in bounds.items():
            stem, _, end = str(given).rpartition("_")
            name, scale = f"{stem}_hv", _WRITTEN.get(end, "")
            if not scale or name not in QUANTITIES:
                name, scale = check_choice(given, "quantity to limit", QUANTITIES), ""
            if name in checked:
                raise InputError(f"{QUANTITIES[name].label} is limited twice; give it once.")
            form = "a pair (low, high), None for no limit at an end"
            pair = check_list(pair, f"limit on {name}", form, 2)
            unit, what = scale or QUANTITIES[name].unit, f"limit on {QUANTITIES[name].label}"
            low, high = (e if e is None else check_number(e, what, -1e9, 1e9, unit) for e in pair)
            ends = [e for e in (low, high) if e is not None]
            if not ends:
                give = "give (low, high) with a number or two"
                raise InputError(f"limit on {name} has no end; {give}.")
            if len(ends) == 2 and low >= high:
                ends = f"{low:g} to {high:g} {unit}"
                raise InputError(f"{what} is {ends}; the low end must be below the high one.")
            if scale:
                written[name] = (scale, low, high)
                in_hv = {e: round(convert_hardness(e, scale, "HV"), 1) for e in ends}
                low, high = in_hv.get(low), in_hv.get(high)
            checked[name] = (low, high)
        object.__setattr__(self, "bounds", MappingProxyType(checked))
        object.__setattr__(self, "written", MappingProxyType(written))

    @classmethod
    @functools.cache
    def soft_forged(cls) -> Limits:
        """Limits of a low-carbon forged head: the strike leaves no crack and no dent, the hosel bends by hand.

        Margin at the strike at least 1.0 at the head's face thickness, hosel at least 2.0°, at most 400 N on a
        500 mm bar for 2° (a note from 225 N on).
        """
        return cls(face_margin=(1.0, None), hosel_allowed_deg=(2.0, None), bar_force_n=(None, 400))

    @classmethod
    @functools.cache
    def hard_thin_face(cls) -> Limits:
        """Limits of a head with a quenched thin face: `soft_forged`, and a face of 380 to 520 HV (39 to 50 HRC)."""
        return cls(face_hardness_hv=(380, 520), **cls.soft_forged().bounds)

    @classmethod
    def of_route(cls, route) -> Limits:
        """The default set: `hard_thin_face` where the route quenches, else `soft_forged`."""
        return cls.hard_thin_face() if route.hardens_face else cls.soft_forged()

    def at_least(self, name: str, low: float) -> Limits:
        """The same with a low end of `name` that is no lower than `low`."""
        now, high = self.bounds.get(name, (None, None))
        if now is not None and now >= low:
            return self
        return Limits(**{**self.saved(), name: (low, high)})

    @property
    def purpose(self) -> str:
        """What a default set is for, "hard thin face" or "soft forged head"; "" for limits of one's own."""
        # a required change may raise it
        low, _ = self.bounds.get("hosel_allowed_deg", (None, None))
        sets = {"hard thin face": self.hard_thin_face(), "soft forged head": self.soft_forged()}
        alike = (n for n, s in sets.items() if low and s.at_least("hosel_allowed_deg", low) == self)
        return next(alike, "")

    @property
    def title(self) -> str:
        """The limits with what they are for: "Limits of a hard thin face: face hardness 380 to 520 HV; …"."""
        of = f" of a {self.purpose}" if self.purpose else ""
        return f"Limits{of}: {self}."

    def vetoes(self) -> Limits:
        """Those of `VETOES` that are not limited here."""
        return Limits(**{n: p for n, p in VETOES.items() if n not in self.bounds})

    def saved(self) -> dict[str, list]:
        """What a file keeps: every limit as it was written."""
        found = {}
        for name, pair in self.bounds.items():
            scale, *ends = self.written.get(name, ("", *pair))
            found[name.removesuffix("hv") + scale.lower() if scale else name] = ends
        return found

    @classmethod
    def restored(cls, content: dict, where: str) -> Limits:
        """Limits from what a file kept."""
        return cls(**content)

    def __hash__(self):
        return hash((tuple(self.bounds.items()), tuple(self.written)))

    def __str__(self) -> str:
        said = (self._words(name, *pair) for name, pair in self.bounds.items())
        return "; ".join(said) or "no limits"

    def _words(self, name: str, low: float | None, high: float | None) -> str:
        q = QUANTITIES[name]
        unit = q.after
        if name in self.written:
            scale, *ends = self.written[name]
            kept = zip(ends, (low, high), strict=True)
            low, high = (None if there is None else end for end, there in kept)
            unit = f" {scale}"
        if low is None:
            return f"{q.label} at most {high:g}{unit}"
        span = f"at least {low:g}" if high is None else f"{low:g} to {high:g}"
        return f"{q.label} {span}{unit}"

    def ends(self) -> Iterator[tuple[str, str, float, float]]:
        """Every single end: words, quantity, value, and +1 for a low end or -1 for a high one."""
        for name, (low, high) in self.bounds.items():
            if low is not None:
                yield self._words(name, low, None), name, low, 1.0
            if high is not None:
                yield self._words(name, None, high), name, high, -1.0

    def margins(self, table) -> dict[str, np.ndarray]:
        """Distance inside every end, in its quantity's steps (below 0: outside; nan: no number).

        `table` holds columns by the names of the quantities; one that is limited must be there.
        """
        found = {}
        for words, name, value, sign in self.ends():
            if name not in table:
                raise InputError(f"{name} is limited but not in the table; limit its columns.")
            found[words] = sign * (np.asarray(table[name], float) - value) / QUANTITIES[name].step
        return found

    def slack(self, table) -> np.ndarray:
        """Least of the margins of every row, in steps: 0 on a limit, below 0 outside, -inf: no number."""
        return self._stacked(table)[1].min(axis=0)

    def _stacked(self, table) -> tuple[list[str], np.ndarray]:
        """Ends in words and margins, -inf for no number, shape (ends + 1, n); the last one is no limit at all."""
        margins = self.margins(table)
        free = np.full(len(next(iter(dict(table).values()))), np.inf)
        stacked = np.stack(np.broadcast_arrays(*margins.values(), free))
        return [*margins, ""], np.where(np.isnan(stacked), -np.inf, stacked)

    def meets(self, table) -> np.ndarray:
        """Whether every row meets all limits."""
        return self.slack(table) >= 0.0

    def binding(self, table) -> np.ndarray:
        """The end with the least margin of every row, in words."""
        names, stacked = self._stacked(table)
        return np.array(names, dtype=object)[stacked.argmin(axis=0)]
