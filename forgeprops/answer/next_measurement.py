"""What to measure next: the reading that shrinks the range which decides the verdict most, and to what."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..base.arrays import rounded
from ..base.constants import Z80
from ..base.errors import InputError, check_kind, check_number
from ..base.tables import read_rows
from ..inputs.limits import QUANTITIES
from ..inputs.settings import table
from .doubt import BEND_LENGTH_SHARE, COMMON, Doubt, deviates
from .interval import spray_ln_sd

#: Scatter of a single hardness reading, and what a tester is off by as a whole, HV (HV10 on a ground forging; common
#: practice, no source).
READING_HV, TESTER_HV = 10.0, 5.0
#: A shop's thermocouple in the face settles the water law to this share (our estimate: depth of the bead and logger).
TRACE_LN_SD = 0.10
#: Force at first yield and measured bend length, as shares (our estimate: spring balance; lines scribed 1 mm apart).
FORCE_SHARE, LENGTH_SHARE = 0.05, 0.05
#: Spray rate by a catch can, as a share (our estimate: three runs, a kitchen balance).
CAN_SHARE = 0.02
#: Heads tried for a reading that is taken on several.
HEADS = (3, 5, 10)
#: Lots drawn for the range, and of them those whose readings are tried.
_LOTS, _TRIED = 2048, 64
#: A reading on more heads must shrink the range by this share of it to be worth them (our choice).
_WORTH = 0.05


@dataclass(frozen=True)
class Reading:
    """A reading that a shop can take."""

    what: str
    how: str  # it must be taken; a reading taken otherwise is refused
    heads: int
    unit: str
    noise: float  # standard deviation of its mean about the lot's middle
    shows: str  # a quantity, or one of `COMMON`
    #: Of the latter: its middle, and the standard deviation of its logarithm.
    drawn: tuple[float, ...] = ()

    def expected(self, doubt: Doubt, z: np.ndarray) -> np.ndarray:
        """The reading's mean in lots of these deviates, shape (lots,)."""
        if not self.drawn:
            return doubt.lot(0, z, self.shows)
        centre, scale = self.drawn
        return centre * np.exp(scale * z[:, COMMON.index(self.shows)])


@dataclass(frozen=True, eq=False)
class NextMeasurement:
    """The reading to take next."""

    reading: Reading
    quantity: str  # what decides the verdict most
    label: str
    unit: str
    low: float  # its 80 % range now, that of the limit
    high: float
    range_now: float  # width over the drawn lots (a hosel's bend length among them)
    range_then: float  # its mean after the reading
    #: Other readings, their heads and the width they leave, best first.
    others: tuple[tuple[str, int, float], ...]
    doubt: Doubt = field(repr=False)

    @property
    def words(self) -> str:
        """The reading in one sentence."""
        if self.range_then > (1.0 - _WORTH) * self.range_now:
            return f"no reading of a shop narrows {self.label}; try trial heads."
        heads = f" on {self.reading.heads} heads" if self.reading.heads > 1 else ""
        d = 0 if self.range_now >= 20.0 else 1 if self.range_now >= 2.0 else 2
        low, high = (0.5 * (self.low + self.high + s * self.range_then) for s in (-1.0, 1.0))
        span = f"{max(low, 0.0):.{d}f} to {high:.{d}f}{QUANTITIES[self.quantity].after}"
        return f"{self.reading.what}{heads} narrows {self.label} to a range such as {span}."

    def after(self, values, *, taken_as_said: bool) -> tuple[float, float]:
        """The 80 % range of the deciding quantity after readings in the reading's unit, one a head.

        `taken_as_said` confirms that they were taken as `reading.how` says.
        """
        if taken_as_said is not True:
            raise InputError(f"A reading taken otherwise is refused: {self.reading.how}")
        values, allowed = np.atleast_1d(np.asarray(values, float)), (-1e6, 1e6, self.reading.unit)
        mean = np.mean([check_number(float(v), self.reading.what, *allowed) for v in values])
        low, high = _ranges(self.doubt, self.quantity, self.reading, mean[None])
        return float(low[0]), float(high[0])

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and texts, ready for JSON."""
        plain = {name: v for name, v in vars(self).items() if name not in ("doubt", "reading")}
        numbers = {k: rounded(v) for k, v in plain.items() if isinstance(v, float)}
        others = [{"what": w, "heads": n, "width": rounded(v)} for w, n, v in self.others]
        one = {"what": self.reading.what, "heads": self.reading.heads, "how": self.reading.how}
        return {**plain, **numbers, **one, "others": others, "words": self.words}


def readings(result, doubt: Doubt) -> list[Reading]:
    """Readings that this head and route allow, with their noise.

    .. [1] Noise of testers, thermocouples, spring balances and scribed lines (our choice).
    .. [2] Skin removed before a hardness test; correction on a curved surface: ISO 6507-1, ISO 6508-1 (from memory).
    """
    rows, found = {row["what"]: row for row in read_rows("library/readings.csv")}, []
    scatter = np.sqrt((doubt.scatter[:, :, 0] ** 2).sum(axis=0))

    def add(what: str, heads: int, noise: float, *drawn: float) -> None:
        how, unit, shows = (rows[what][n] for n in ("how", "unit", "shows"))
        found.append(Reading(what, how, heads, unit, noise, shows, drawn))

    for zone in ("face", "hosel"):
        sd = float(scatter[doubt.names.index(f"{zone}_hardness_hv")])
        for n in HEADS:
            noise = float(np.sqrt((sd**2 + READING_HV**2) / n + TESTER_HV**2))
            add(f"{zone} hardness", n, noise)
    if result.sprayed:
        ln_sd, flux = spray_ln_sd(result.shop.spray_ln_sd), result.route.sprays[0].flux_kg_m2_s
        if ln_sd > 0.0:
            add("thermocouple in the face", 1, TRACE_LN_SD, 1.0, float(ln_sd))
        rate_sd = table()["flux"].spread.value
        add("catch can under the spray", 1, flux * CAN_SHARE, float(flux), rate_sd)
    length = float(result.head.bend_zone_mm)
    bent = length * LENGTH_SHARE, length, BEND_LENGTH_SHARE / Z80
    add("length of hosel that bends", 1, *bent)
    pull = float(doubt.middle[doubt.names.index("bar_force_n"), 0])
    for n in (1, 3):
        add("pull for the required change", n, pull * FORCE_SHARE / n**0.5)
    return found


def _ranges(doubt: Doubt, quantity: str, reading: Reading, means: np.ndarray):
    """80 % ranges of a quantity after each of some mean readings: the drawn lots weighed by how well they fit."""
    z, _ = deviates(_LOTS, 2)
    q = doubt.lot(0, z, quantity)
    off = (means[:, None] - reading.expected(doubt, z)[None, :]) / reading.noise
    least = np.abs(off).min(axis=1, keepdims=True)
    weight = np.exp(-0.5 * (off - least) * (off + least))
    order = np.argsort(q)
    share = np.cumsum(weight[:, order], axis=1)
    share /= share[:, -1:]
    low, high = (q[order][np.minimum((share < p).sum(axis=1), _LOTS - 1)] for p in (0.1, 0.9))
    return low, high


def next_measurement(result) -> NextMeasurement | None:
    """Which reading, on how many heads, shrinks the range that decides the verdict most, and to what.

    None where no limit is set.

    Parameters
    ----------
    result : Estimate

    Notes
    -----
    The lots of the verdict's own draw are weighed by how well each fits a reading (Bayes' rule); the promised width
    is the mean over readings of 64 of these lots.  What a reading teaches counts for this lot and route; of it
    `forgeprops.fit` keeps for later lots what belongs to the shop's own numbers.

    Examples
    --------
    >>> import forgeprops as fp
    >>> found = fp.next_measurement(fp.estimate(fp.grade("4130")))
    >>> found.range_then < found.range_now
    True
    """
    from .estimate import Estimate

    verdict = check_kind(result, Estimate, "result").verdict
    worst, doubt = verdict.weakest, verdict.doubt
    if worst is None:
        return None
    z, _ = deviates(_LOTS, 2)
    low, high = np.quantile(doubt.lot(0, z, worst.name), [0.1, 0.9])
    if high - low <= 0.0:
        return None
    best: dict[str, tuple[float, Reading]] = {}
    random = np.random.default_rng(1)
    for reading in readings(result, doubt):
        means = reading.expected(doubt, z[:_TRIED])
        means = means + reading.noise * random.standard_normal(_TRIED)
        ends = _ranges(doubt, worst.name, reading, means)
        width = float((ends[1] - ends[0]).mean())
        if reading.what not in best or width < best[reading.what][0] - _WORTH * (high - low):
            best[reading.what] = width, reading
    ranked = sorted(best.values(), key=lambda row: row[0])
    width, reading = ranked[0]
    what, now = QUANTITIES[worst.name], (worst.low, worst.high, float(high - low))
    others = tuple((r.what, r.heads, w) for w, r in ranked[1:])
    return NextMeasurement(reading, worst.name, what.label, what.unit, *now, width, others, doubt)
