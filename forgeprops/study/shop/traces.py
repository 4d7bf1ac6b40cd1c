"""Thermocouple traces of the shop: read with care, placed on the head, cleaned of what no head did."""

import re
from collections.abc import Mapping

import numpy as np

from ...base.constants import MM_PER_INCH
from ...base.errors import InputError, check_choice, check_list, check_number, shown
from ...inputs.head import ZONES
from ...io.cells import header_key
from ...io.columns import (
    HEAD_FIELD,
    Column,
    Read,
    Rows,
    Table,
    number_field,
    read_rows_of,
    stretches,
    text_field,
)
from ...io.grids import Grid, Problem
from ...io.tables import data_frame
from .measurements import ZONE_FIELD

#: Temperatures a thermocouple on a forging can show, °C.  Type K ends at 1372 °C (ITS-90 reference tables,
#: from memory); loggers write values beyond it for an open circuit.
_TEMPERATURE_C = (-60.0, 1372.0)
#: A lone reading this far from both neighbours, which agree, is a spike, K (our own mark: a head under spray
#: changes by some 30 K in 0.1 s, and goes on in the same direction).
_SPIKE_K = 60.0
_FAHRENHEIT = (1 / 1.8, -32 / 1.8)
#: Headers of a column by the factor (and offset) to its unit.
_TIMES = {
    1: "time ts t seconds sec elapseds elapsedtimes zeits zeit tiempos timestamp clock 時間s",
    1e-3: "timems zeitms",
    60: "timemin zeitmin",
}
_TEMPERATURES = {
    1: "tempc temperature temp temperaturdegc temperatur temperaturgradc temperaturedegc degc 温度c",
    _FAHRENHEIT: "temperaturef tempf degf",
    (1.0, -273.15): "temperaturek tempk",
}
_DEPTHS = {1: "depth Tiefemm", MM_PER_INCH: "depth_in"}
_TIME = number_field("time_s", _TIMES, -1e7, 1e7, "s", kind="time")
_TEMPERATURE = number_field("temperature_c", _TEMPERATURES, *_TEMPERATURE_C, "°C")
_CHANNEL = text_field("channel", "thermocouple sensor Kanal ch")
_DEPTH = number_field("depth_mm", _DEPTHS, 0, 60, "mm", needed=False)
_CHANNEL_MAP = (_CHANNEL, ZONE_FIELD, _DEPTH)


class Traces(Read):
    """Temperatures over time.

    `frame`: ``head_id, channel, zone, depth_mm, time_s, temperature_c``, in order of time within each channel.
    """

    def trace(self, channel: str, head_id: str | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Times, s, and temperatures, °C, of one channel (of one head, if the file holds several)."""
        check_choice(channel, "channel", dict.fromkeys(self.frame["channel"]), "traces")
        frame = self.frame[self.frame["channel"] == channel]
        heads = list(dict.fromkeys(frame["head_id"]))
        if head_id is None and len(heads) > 1:
            which = f"say which head_id: {', '.join(heads[:8])}"
            raise InputError(f"channel {channel} is of {len(heads)} heads; {which}.")
        if head_id is not None:
            frame = frame[frame["head_id"] == check_choice(head_id, "head_id", heads, "traces")]
        return frame["time_s"].to_numpy(), frame["temperature_c"].to_numpy()

    def channels(self):
        """One row per trace: readings, first and last time, extreme temperatures, noise (DataFrame)."""
        rows = []
        for (head, channel), f in self.frame.groupby(["head_id", "channel"], sort=False):
            seen = f["temperature_c"].to_numpy()
            place = {"head_id": head, "channel": channel, **f[["zone", "depth_mm"]].iloc[0]}
            times = {"from_s": f["time_s"].iloc[0], "to_s": f["time_s"].iloc[-1]}
            ends = {"highest_c": seen.max(), "lowest_c": seen.min(), "noise_c": noise_of(seen)}
            rows.append({**place, "readings": len(f), **times, **ends})
        return data_frame(rows)

    shown = channels


def noise_of(temperature_c) -> float:
    """Standard deviation of a trace's noise, K, from its second differences (robust: their median size).

    A smooth curve has next to no second difference; noise of standard deviation s gives one of s√6; 0.6745 is
    the median size of a normal deviate.

    .. [1] Noise from second differences (from memory).
    """
    second = np.diff(np.asarray(temperature_c, dtype=float), n=2)
    return float(np.median(np.abs(second)) / 0.6745 / np.sqrt(6.0)) if second.size else 0.0


def read_channels(source, sheet: str | None = None, filename=None) -> dict[str, tuple]:
    """Read a channel map: zone and depth (None: not known) of each thermocouple by its channel.

    Layout: ``channel, zone, depth_mm``; one row per channel; depth of the junction below the front (sprayed)
    surface, may be empty.

    Raises
    ------
    InputError
        Not that layout, an unknown zone, a channel given twice.
    """
    rows = read_rows_of(source, _CHANNEL_MAP, "channel map", sheet, filename)
    for problem in rows.problems:
        if problem.assumed in ("row not used", "left out") and problem.what != "nothing measured":
            raise InputError(str(problem))
    channels: dict[str, tuple] = {}
    for i, (name, *place) in enumerate(zip(*rows.values.values(), strict=True)):
        if name in channels:
            where = f"{rows.file[i]}, row {rows.row[i]}"
            raise InputError(f"channel {name!r} is given twice; give it once ({where}).")
        channels[name] = tuple(place)
    return channels


def read_traces(source, channels=None, sheet: str | None = None, filename=None) -> Traces:
    """Read thermocouple traces.

    Layout: ``time_s, channel, temperature_c`` and, if the file holds several heads, ``head_id``; one row per
    reading.  Also understood: a logger's wide table with one column of time and one per channel; time in ms,
    min or as a clock; °F and K if the header says so.

    Readings out of a thermocouple's range, lone spikes and double times are taken out; gaps, stuck channels
    and times out of order are reported.

    Parameters
    ----------
    source, sheet, filename : as in `io.grids.read_grids`; CSV or XLSX.
    channels : mapping, path, bytes or upload, optional; the channel map, ``{"T1": ("face", 1.5)}`` or
        its file.  Without it a channel that is named like a zone belongs to that zone.

    Raises
    ------
    InputError
        Not that layout; no usable reading; a channel that the map does not place.

    References
    ----------
    .. [1] Readings beyond -60 to 1372 °C are dropouts: end of type K, ITS-90 reference tables (from
       memory).

    Examples
    --------
    >>> text = b"time_s,channel,temperature_c\\n0,T1,900\\n0.1,T1,OL\\n0.2,T1,880"
    >>> log = read_traces(text, {"T1": ("face", 1.5)})
    >>> len(log.frame), str(log.problems[0])
    (2, "uploaded file, row 3, column temperature_c: not a number that can be used 'OL'; row not used.")
    """
    import pandas as pd

    fields = (_TIME, _CHANNEL, _TEMPERATURE, HEAD_FIELD)
    rows = read_rows_of(source, fields, "thermocouple trace", sheet, filename, _logger_tables)
    rows.require(rows.row, "reading in the trace")
    frame = rows.frame().assign(file=rows.file)
    places = _placed(list(frame["channel"].unique()), channels, rows)
    frame["zone"], depths = zip(*(places[name] for name in frame["channel"]), strict=True)
    frame["depth_mm"] = np.array(depths, float)
    traces = frame.groupby(["head_id", "channel"], sort=False)
    frame = pd.concat([_clean_trace(f, rows.problems) for _, f in traces], ignore_index=True)
    columns = ["head_id", "channel", "zone", "depth_mm", "time_s", "temperature_c"]
    return Traces(frame[columns], tuple(rows.problems))


def _logger_tables(grid: Grid, head: int) -> list[Table]:
    """One table per channel of a logger's table: a column of time and a column for each thermocouple."""
    keys = {j: header_key(c) for j, c in enumerate(grid.rows[head]) if c is not None}
    known = _TIME.headers | HEAD_FIELD.headers
    shared = {j: known[key] for j, key in keys.items() if key in known}
    times = [c for c in shared.values() if c.name == "time_s"]
    if len(times) != 1 or any(key in _CHANNEL.headers for key in keys.values()):
        return []
    tables, below = [], range(head + 1, len(grid.rows))
    for j, key in keys.items():
        if j not in shared:
            written = str(grid.rows[head][j])
            unit = _FAHRENHEIT if key[-1:] == "f" and "°" in written else (1.0,)
            column = _TEMPERATURE.headers.get(key, Column("temperature_c", *unit))
            name = re.split(r"\[|\(| °", written)[0].strip() or written
            tables.append(Table(grid, head, {**shared, j: column}, below, {"channel": name}))
    return tables


def _placed(names: list[str], channels, rows: Rows) -> dict[str, tuple]:
    """Zone and depth of each channel, from the map, or from a name that is a zone's."""
    known: dict[str, tuple] = {}
    if isinstance(channels, Mapping) and not {"name", "content"} <= set(channels):
        for name, given in channels.items():
            given = (given,) if isinstance(given, str) else given
            given = check_list(given, f"channel {shown(name)}", "(zone, depth_mm)")
            zone, depth = (*given, None, None)[:2]
            check_choice(zone, "zone", ZONES, f"channel {name}")
            if depth is not None:
                check_number(depth, "depth", 0.0, 60.0, "mm", f"channel {name}")
            known[str(name)] = zone, depth
    elif channels is not None:
        known = read_channels(channels)
    for name in names if channels is None else ():
        if (zone := name.casefold()) in ZONES:
            known[name] = zone, None
            what, assumed = "no channel map was given", f"taken to sit in the {zone}, depth unknown"
            rows.problems.append(Problem(rows.file[0], None, name, what, assumed))
    lost = [n for n in names if n not in known]
    if lost:
        raise InputError(
            f"channel {lost[0]!r} has no place; give a channel map that names it (channel, zone, depth_mm); "
            f"known are {', '.join(known) or 'none'}."
        )
    return known


def _clean_trace(f, problems: list[Problem]):
    """One channel in order of time, without spikes and double times; gaps and stuck readings are reported."""
    file, name, head_id = f[["file", "channel", "head_id"]].iloc[0]

    def report(row, what, assumed):
        label = f"{name} of {head_id}" if head_id else name
        problems.append(Problem(file, int(row), label, what, assumed))

    back = np.diff(f["time_s"].to_numpy()) < 0.0
    if back.any():
        row = f["file_row"].iloc[int(np.argmax(back)) + 1]
        report(row, f"time runs backwards {int(back.sum())} time(s)", "sorted by time")
        f = f.sort_values("time_s", kind="stable")
    double = f["time_s"].duplicated()
    if double.any():
        what = f"{int(double.sum())} reading(s) at a time that was given before"
        report(f.loc[double, "file_row"].iloc[0], what, "averaged")
        means = f.groupby("time_s")["temperature_c"].transform("mean")
        f = f.assign(temperature_c=means)[~double]
    spikes = _spikes(f["temperature_c"].to_numpy())
    if spikes.any():
        some = ", ".join(f"{v:.0f}" for v in f.loc[spikes, "temperature_c"].head(3))
        for first, last in stretches(list(f.loc[spikes, "file_row"])):
            rows = f" (rows {first} to {last})" if last > first else ""
            report(first, f"lone spike(s) ({some} °C){rows}", "row not used")
        f = f[~spikes]
    t, temperature, rows = (f[n].to_numpy() for n in ("time_s", "temperature_c", "file_row"))
    steps = np.diff(t)
    if steps.size >= 4:
        wide = np.flatnonzero(steps > max(5.0 * np.median(steps), 0.5))
        if wide.size:
            k = wide[0]
            what = f"{wide.size} gap(s), the first of {steps[k]:.3g} s at {t[k]:.4g} s"
            report(rows[k + 1], what, "nothing is put in its place")
        # stuck: 20 and more equal hot readings over 2 s and more that end in a jump of more than 20 K
        change = np.diff(temperature)
        ends = np.flatnonzero(change)
        for i, j in zip(np.r_[0, ends[:-1] + 1], ends, strict=False):
            long = j - i >= 19 and t[j] - t[i] >= 2.0
            if long and temperature[i] > 100.0 and abs(change[j]) > 20.0:
                what = f"stuck at {temperature[i]:g} °C for {t[j] - t[i]:.3g} s, then a jump"
                report(rows[i], what, "used as it is")
    return f


def _spikes(temperature: np.ndarray) -> np.ndarray:
    found = np.zeros(temperature.size, dtype=bool)
    if temperature.size >= 3:
        left, right = np.diff(temperature)[:-1], -np.diff(temperature)[1:]
        size = np.minimum(np.abs(left), np.abs(right))
        apart = np.abs(temperature[2:] - temperature[:-2])
        found[1:-1] = (left * right > 0.0) & (size > _SPIKE_K) & (apart < 0.5 * size)
    return found
