"""Predicted against measured over time: control limits, drift alarms, and what they mean in words."""

import csv
import datetime
import io
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError, check_choice, check_kind, check_number, shown
from ...base.in_words import InWords
from ...io.cells import is_day
from ...io.columns import HEAD_FIELD, Read, listed, number_field, read_rows_of, text_field
from ...io.grids import Problem
from ...io.saved import safe_cell
from ...io.tables import data_frame
from ...io.writing import update_bytes

#: Columns of a shop's log, in order; `quantity` names what is predicted and measured, with its unit.
LOG_COLUMNS = ("date", "heat", "head_id", "quantity", "predicted", "measured")
#: Readings that settle the centre and the spread: 20 by custom (from memory: 20–25 in quality-control texts),
#: 8 at the least (our own mark).
BASELINE, LEAST_BASELINE = 20, 8
#: Mean range of two normal values in standard deviations, d2 for n = 2: 2/√π = 1.128.
_D2 = 2.0 / np.sqrt(np.pi)
#: Reference value and decision interval of the tabular CUSUM, in standard deviations: k = 1/2 and h = 5 serve
#: against a shift of about one standard deviation; one false alarm in 465 on average.  Source: Montgomery &
#: Runger, Applied Statistics and Probability for Engineers, 3rd ed., ch. 16-10 and Table 16-9, read at
#: pages 635-638.
CUSUM_K, CUSUM_H = 0.5, 5.0
#: Weight of the newest value and half-width of the limits in standard errors: one false alarm in 500.
#: Source: Lucas & Saccucci, Technometrics 32 (1990) 1-12, Table 3 (from memory; recomputed in the tests).
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.962


def cusum(z, k: float = CUSUM_K, h: float = CUSUM_H):
    """Tabular cumulative sums of deviations z, in standard deviations and order of time, above and below 0.

    ``high[i] = max(0, z[i] − k + high[i−1])`` and ``low[i] = max(0, −k − z[i] + low[i−1])``; an alarm where one
    exceeds h, after which both begin again at 0.  A DataFrame with columns ``high``, ``low``, ``n_high``, ``n_low``
    (for how long each is above 0) and ``alarm``.

    .. [1] D. C. Montgomery & G. C. Runger, Applied Statistics and Probability for Engineers, 3rd
       ed., eqs 16-30 to 16-32 (read).
    """
    high = low = 0.0
    n_high = n_low = 0
    rows = []
    for value in np.asarray(z, float):
        high, low = max(0.0, value - k + high), max(0.0, -value - k + low)
        n_high, n_low = (n_high + 1) * (high > 0.0), (n_low + 1) * (low > 0.0)
        alarm = max(high, low) > h
        rows.append((high, low, n_high, n_low, alarm))
        if alarm:
            high = low = 0.0
            n_high = n_low = 0
    return data_frame(rows, columns=["high", "low", "n_high", "n_low", "alarm"])


def ewma(z, weight: float = EWMA_WEIGHT, width: float = EWMA_WIDTH):
    """Exponentially weighted moving average of deviations z, in standard deviations, with its control limits.

    ``value[i] = λ z[i] + (1 − λ) value[i−1]``, begun at 0; an alarm outside ``± L √(λ/(2−λ) (1 − (1−λ)^2i))``, the
    columns ``lower`` and ``upper``; `weight` is λ, `width` L.

    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4, doi 10.18434/M32189; width: J.
       M. Lucas & M. S. Saccucci, Technometrics 32 (1990) 1 (from memory).
    """
    table = data_frame({"value": np.r_[0.0, np.asarray(z, float)]})
    table = table.ewm(alpha=weight, adjust=False).mean()[1:].reset_index(drop=True)
    settled = 1.0 - (1.0 - weight) ** (2.0 * np.arange(1, len(table) + 1))
    half = width * np.sqrt(weight / (2.0 - weight) * settled)
    return table.assign(lower=-half, upper=half, alarm=table["value"].abs() > half)


def cusum_run_length(shift: float) -> float:
    """Average number of values until a two-sided CUSUM alarms, for a lasting shift in standard deviations.

    Solves the integral equation of the one-sided chart, L(z) = 1 + L(0) Φ(k − z − δ) + ∫ L(y) φ(y + k − z −
    δ) dy over 0..h, at Gauss–Legendre nodes, and joins both sides by 1/L = 1/L⁺ + 1/L⁻.

    .. [1] E. S. Page, Biometrika 41 (1954) 100; K. W. Kemp 1961 (from memory).
    """
    from scipy.special import ndtr

    k, h = CUSUM_K, CUSUM_H
    nodes, weights = np.polynomial.legendre.leggauss(80)
    y, w = 0.5 * h * (nodes + 1.0), 0.5 * h * weights
    start = np.r_[0.0, y]

    def one_sided(delta):
        x = y + k - start[:, None] - delta
        density = w * np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi)
        kernel = np.column_stack([ndtr(k - start - delta), density])
        return np.linalg.solve(np.eye(start.size) - kernel, np.ones(start.size))[0]

    return float(1.0 / (1.0 / one_sided(shift) + 1.0 / one_sided(-shift)))


_FIELDS = (
    text_field("date", "day Datum fecha 日付", needed=False),
    text_field("heat", "cast melt Schmelze", needed=False),
    HEAD_FIELD,
    text_field("quantity", "what Größe property"),
    number_field("predicted", {1: "prediction expected soll"}, -1e6, 1e6),
    number_field("measured", {1: "measurement actual ist"}, -1e6, 1e6),
)


def read_log(source, sheet: str | None = None, filename: str | None = None) -> Read:
    """Read a shop's log.

    Layout: ``date, heat, head_id, quantity, predicted, measured``; one row per head and quantity, in
    order of time; `quantity` such as ``face hardness HV``; date YYYY-MM-DD.  `frame` has these and ``file_row``.

    Raises
    ------
    InputError
        Not that layout, or no usable row.

    Examples
    --------
    >>> read_log(b"date,quantity,predicted,measured\\n2025-03-01,face HV,440,452").frame["measured"].tolist()
    [452.0]
    """
    rows = read_rows_of(source, _FIELDS, "log", sheet, filename)
    rows.require(rows.row, "row in the log")
    frame, kept = rows.frame(), "kept as text; the order of the rows counts"
    for i, day in enumerate(frame["date"]):
        if day and not is_day(day):
            rows.report(i, "date", f"{day[:30]!r} is not a day YYYY-MM-DD", kept)
    days = [d for d in frame["date"] if is_day(d)]
    if any(b < a for a, b in zip(days, days[1:], strict=False)):
        what = "the days are not in order", "the order of the rows counts"
        rows.problems.append(Problem(rows.file[0], None, "date", *what))
    return Read(frame, tuple(rows.problems))


def add_to_log(
    path, quantity: str, predicted: float, measured: float, *, heat="", head_id="", date=""
) -> None:
    """Add one row to a log file (made if it does not exist), whole or not at all, beside other writers.

    Parameters
    ----------
    path : path; CSV file with the header of `LOG_COLUMNS`.
    quantity : str; what was predicted and measured, with its unit.
    predicted, measured : float
    heat, head_id : str
    date : str; YYYY-MM-DD; today if empty.

    Raises
    ------
    InputError
        Values that are no numbers, a file that is not a log, a file that cannot be written.
    """
    if not isinstance(quantity, str) or not quantity.strip():
        form = "a text such as 'face hardness HV'"
        raise InputError(f"quantity must be {form}; got {shown(quantity)}.")
    for what, value in (("heat", heat), ("head_id", head_id), ("date", date)):
        check_kind(value, str, what)
    date = date or datetime.date.today().isoformat()
    if not is_day(date):
        raise InputError(f"date must be a day such as 2025-03-01; got {shown(date)}.")
    cells = [safe_cell(" ".join(str(v).split())) for v in (date, heat, head_id, quantity)]
    for name, value in (("predicted", predicted), ("measured", measured)):
        cells.append(repr(check_number(value, name, -1e6, 1e6)))
    buffer, header = io.StringIO(), ",".join(LOG_COLUMNS).encode()
    csv.writer(buffer, lineterminator="\n").writerow(cells)
    row = buffer.getvalue().encode("utf-8", "backslashreplace")

    def with_row(old: bytes | None) -> bytes:
        old = header + b"\n" if old is None else old
        if old.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].strip() != header:
            first = f"its first line must be {header.decode()}"
            raise InputError(f"{path} is not a log to add to; {first}.")
        return old + (b"" if old.endswith(b"\n") else b"\n") + row

    update_bytes(path, with_row)


@dataclass(frozen=True, repr=False)
class Tracking(InWords):
    """Control charts of a log."""

    #: The log with ``error`` (measured − predicted), ``z`` (error from the centre in standard deviations),
    #: ``cusum_high, cusum_low, ewma, ewma_lower, ewma_upper`` (in standard deviations) and ``alarm``.
    table: object
    #: One row per alarm: quantity, chart, direction, head and date of the alarm and of the likely beginning, and
    #: the estimated shift in the quantity's unit.
    alarms: object
    #: Per quantity: readings, how many settled the limits, centre, standard deviation, and the error limits
    #: centre ± 3 standard deviations.
    limits: object
    problems: tuple[Problem, ...]
    sentences: tuple[str, ...]  # what to tell people

    def words(self) -> str:
        return "\n".join([*self.sentences, *listed(self.problems)])

    def shown(self):
        return self.alarms if len(self.alarms) else self.limits


def track(
    log, *, sigma: float | None = None, centre="baseline", baseline: int = BASELINE
) -> Tracking:
    """Chart the errors of a log and raise an alarm when they drift.

    The first `baseline` readings of each quantity settle the centre (their mean error) and the standard
    deviation (mean moving range / 1.128).  A tabular CUSUM (k = 1/2, h = 5) raises the alarm; an EWMA (λ =
    0.2) is the second opinion.  After an alarm the CUSUM begins again at zero.  Limits settled by few
    readings alarm falsely more often than the design says.

    Parameters
    ----------
    log : Read, path, bytes, upload or DataFrame; the shop's log (see `read_log`); a DataFrame needs
        quantity, predicted and measured.
    sigma : float, optional; known standard deviation of an error, in the quantity's unit, instead of
        the baseline's.
    centre : {"baseline", "zero"} or float; error that counts as no drift: the baseline's mean, zero,
        or a number.
    baseline : int; readings that settle the limits, 8 or more.

    Raises
    ------
    InputError
        An unusable log or a bad option.

    References
    ----------
    .. [1] Standard deviation from the mean moving range / 1.128: D. C. Montgomery & G. C. Runger,
       ch. 16 (from memory).

    Examples
    --------
    >>> import pandas as pd
    >>> log = pd.DataFrame({"quantity": "face HV", "predicted": 440.0, "measured": [438.0, 443, 441, 437] * 6
    ...                     + [425.0, 424, 426, 423]})
    >>> track(log).alarms["direction"].tolist()[:1]
    ['below']
    """
    import pandas as pd

    frame, problems = _frame(log)
    check_number(baseline, "baseline", LEAST_BASELINE, 100_000, "readings")
    if isinstance(centre, str):
        centre = check_choice(centre, "centre", ("baseline", "zero"))
    else:
        centre = check_number(centre, "centre", -1e6, 1e6)
    if sigma is not None:
        check_number(sigma, "sigma", 1e-9, 1e6)
    tables, alarms, limits, sentences = [], [], [], []
    for name, part in frame.groupby("quantity", sort=False):
        error = (part["measured"] - part["predicted"]).to_numpy(float)
        first = error[: int(baseline)]
        if error.size < LEAST_BASELINE and (sigma is None or centre == "baseline"):
            few = f"{error.size} readings are too few to set limits; {LEAST_BASELINE} are needed"
            sentences.append(f"{name}: {few}.")
            continue
        mean = float(first.mean())
        middle = {"baseline": mean, "zero": 0.0}.get(centre, centre)
        spread = sigma or float(np.abs(np.diff(first)).mean() / _D2)
        if spread <= 0.0:
            alike = f"the first {len(first)} errors are all alike, so that they show no spread"
            sentences.append(f"{name}: {alike}; give sigma.")
            continue
        z = (error - middle) / spread
        sums, average = cusum(z), ewma(z)
        charts = {"cusum_high": sums.high, "cusum_low": sums.low, "ewma": average.value}
        charts |= {"ewma_lower": average.lower, "ewma_upper": average.upper, "alarm": sums.alarm}
        part = part.reset_index(drop=True).assign(error=error, z=z, **charts)
        tables.append(part)
        ends = middle - 3 * spread, middle + 3 * spread
        limits.append((name, error.size, len(first), middle, spread, *ends))
        found = _alarms(part, sums, average, spread)
        alarms += found
        unit = f" {name.split()[-1]}" if len(name.split()) > 1 else ""
        said = f"{name}: {_drift_words(found, error.size, spread, unit)}"
        if abs(mean) > 3.0 * spread / np.sqrt(len(first)):  # away from the start
            side = "above" if mean > 0 else "below"
            said += f" From the start measured lies {abs(mean):.3g}{unit} {side} the prediction: fit the shop."
        sentences.append(said)
    table = pd.concat(tables, ignore_index=True) if tables else frame.iloc[:0]
    columns = ("quantity", "readings", "baseline", "centre", "sigma", "lower", "upper")
    limits = pd.DataFrame(limits, columns=columns)
    return Tracking(table, pd.DataFrame(alarms, columns=_ALARM), limits, problems, tuple(sentences))


_ALARM = ("quantity", "chart", "direction", "head_id", "date", "since_head_id", "since_date")
_ALARM += ("reading", "since_reading", "shift")


def _frame(log):
    import pandas as pd

    if not isinstance(log, pd.DataFrame):
        log = log if isinstance(log, Read) else read_log(log)
        return log.frame, log.problems
    frame, numbers = log.copy(), ["predicted", "measured"]
    for name in ("quantity", *numbers):
        if name not in frame:
            need = "quantity, predicted and measured"
            raise InputError(f"the log has no column {name}; needed are {need}.")
    for name in ("date", "heat", "head_id"):
        if name not in frame:
            frame[name] = ""
    frame[numbers] = frame[numbers].apply(pd.to_numeric, errors="coerce")
    bad = ~np.isfinite(frame[numbers].to_numpy(float)).all(axis=1)
    if bad.any():
        row = int(np.argmax(bad))
        raise InputError(f"row {row} of the log has no finite predicted and measured number.")
    return frame, ()


def _alarms(part, sums, average, spread: float) -> list[tuple]:
    """One row of `_ALARM` per alarm; the shift is the new level by the CUSUM's own estimate, k + C/N."""
    seen = []  # chart, alarm, likely beginning and shift, standard deviations
    for i in np.flatnonzero(sums.alarm):
        side, sign = ("high", 1) if sums.high[i] >= sums.low[i] else ("low", -1)
        n = int(sums[f"n_{side}"][i])
        seen.append(("CUSUM", i, i - n + 1, sign * (CUSUM_K + sums[side][i] / n)))
    outside = average.alarm.to_numpy()
    for i in np.flatnonzero(outside & ~np.r_[False, outside[:-1]]):  # the first of each stretch
        other = np.flatnonzero(np.sign(part["z"][: i + 1]) != np.sign(average.value[i]))
        seen.append(("EWMA", i, other[-1] + 1 if other.size else 0, average.value[i]))
    rows = []
    for chart, i, first, shift in sorted(seen, key=lambda a: (a[1], a[0])):
        at, since = part.iloc[i], part.iloc[first]
        where = (
            at["head_id"],
            at["date"],
            since["head_id"],
            since["date"],
            int(i) + 1,
            int(first) + 1,
        )
        direction = "above" if shift > 0 else "below"
        rows.append((at["quantity"], chart, direction, *where, float(shift * spread)))
    return rows


def _drift_words(alarms, readings: int, spread: float, unit: str) -> str:
    """What the charts say of one quantity."""
    alarms = [dict(zip(_ALARM, a, strict=True)) for a in alarms]
    sure = [a for a in alarms if a["chart"] == "CUSUM"]
    if sure:
        a, more = sure[0], f" {len(sure) - 1} more alarm(s) followed." if len(sure) > 1 else ""
        when = f" ({a['since_date']})" if a["since_date"] else ""
        head = a["since_head_id"]
        since = f"head {head}" if head else f"reading {a['since_reading']}"
        return (
            f"measured runs about {abs(a['shift']):.3g}{unit} {a['direction']} its usual distance from the "
            f"prediction since {since}{when}; the alarm came "
            f"{a['reading'] - a['since_reading'] + 1} readings after it began.{more}"
        )
    if alarms:
        left = f"the EWMA left its limits at reading {alarms[0]['reading']}"
        return f"no drift by the CUSUM, but {left}; watch the next heads."
    lasting, false = cusum_run_length(1.0), cusum_run_length(0.0)
    return (
        f"no drift over {readings} readings; a lasting shift of {spread:.3g}{unit} would be found "
        f"after about {lasting:.0f}, a false alarm comes once in about {false:.0f}."
    )
