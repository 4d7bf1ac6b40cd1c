"""Which heads were measured, and how each was made: steel, drawing, route, probes and means."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from ...answer.cases import Case, head_from, route_from
from ...base.errors import InputError, check_choice, check_kind, check_number
from ...certificates.reading import Certificates
from ...engine.packing import POINTS
from ...engine.section import lobatto
from ...inputs.grades import steel_of
from ...inputs.head import ZONES, Head, heads
from ...inputs.route import Route
from ...inputs.settings import table
from ...inputs.steel import Steel
from ...io.cells import header_key
from ...io.columns import number_field, read_rows_of, text_field
from ...io.grids import Problem
from ...io.tables import data_frame
from ...thermal.spray_units import spray_setting
from ...units import L_PER_GALLON
from .measurements import HardnessReadings
from .traces import Traces, noise_of

#: Least noise of a trace, K: what a logger's own resolution leaves (our choice).
_LEAST_NOISE_C = 0.5
#: Fewest readings of a trace worth using.
_FEWEST = 8
_MEANS = ["head_id", "zone", "readings", "measured_hv"]
#: Settings that are words; all others are numbers.
_WORDS = ("surroundings", "back_on_die")


class Run(NamedTuple):
    """How one head was made: which heat, which drawing, which route."""

    heat: str
    head: str
    route: Route


class Runs(dict):
    """Runs by head_id, with the problems met while reading."""

    problems: tuple[Problem, ...] = ()


def _headers(name: str) -> dict:
    """What a column may also be called: the setting's own words, with its unit or another: "spray rate, gpm"."""
    what = table()[name]
    label, units = header_key(what.label), {what.unit: 1.0}
    if what.unit == "°C":
        units["°F"] = (1 / 1.8, -32 / 1.8)
    elif name == "flux":
        one = spray_setting(1.0).flux_kg_m2_s
        units |= {"L/min": one, "gpm": one * L_PER_GALLON}
    found = {convert: label + header_key(unit) for unit, convert in units.items()}
    return found | {1.0: f"{label} {found[1.0]}"}


def read_runs(source, route: Route | None = None, sheet: str | None = None, filename=None) -> Runs:
    """Read how heads were made.

    Layout: ``head_id, heat, head`` and any settings by their short names (`Route.SETTINGS`: ``preheat_c``,
    ``flux``, ``spray_s``, ``delay_s`` ...) or in words with the unit ("spray rate, L/min"); one row per head; a
    setting that is not given or empty stays as in `route`, by default the default route.  A row with a setting
    out of bounds is reported and not used.  Source, sheet and filename as in `io.grids.read_grids`.

    Raises
    ------
    InputError
        Not that layout, or no usable row.

    Examples
    --------
    >>> runs = read_runs(b"head_id,heat,head,preheat_c,flux\\n7,A1,mid-iron,910,8")
    >>> runs["7"].route.preheat_c, runs["7"].route.spray.flux_kg_m2_s
    (910.0, 8.0)
    """
    route = check_kind(Route() if route is None else route, Route, "route", form="a Route(...)")
    fields = [text_field("head_id", "piece part serial run")]
    fields.append(text_field("heat", "cast melt Schmelze", needed=False))
    fields.append(text_field("head", "drawing model", needed=False))
    for n in Route.SETTINGS:
        text = n in _WORDS
        fields.append(
            text_field(n, "", False) if text else number_field(n, _headers(n), needed=False)
        )
    rows = read_rows_of(source, fields, "list of runs", sheet, filename)
    runs, values = Runs(), rows.values
    left_out = [p for p in rows.problems if p.assumed == "left out"]
    spoiled = {p.row for p in left_out if not p.what.startswith("nothing")}
    for i, name in enumerate(values["head_id"]):
        given = {n: values[n][i] for n in Route.SETTINGS if values[n][i] is not None}
        try:
            if rows.row[i] in spoiled:
                raise InputError("a setting of this head cannot be read")
            if name in runs:
                raise InputError(f"head {name!r} is given twice")
            if word := given.get("back_on_die"):
                said = check_choice(word.casefold(), "back_on_die", ("yes", "no", "true", "false"))
                given["back_on_die"] = said in ("yes", "true")
            drawing = values["head"][i] and check_choice(values["head"][i], "head", heads())
            made = route.with_(**given) if given else route
            runs[name] = Run(values["heat"][i] or "", drawing or "", made)
        except InputError as error:
            rows.report(i, "", error, "head not used")
    rows.require(runs, "head in the list of runs")
    runs.problems = tuple(rows.problems)
    return runs


class Probe(NamedTuple):
    """One thermocouple trace: on which head, where, and what it read."""

    head_id: str
    channel: str
    zone: str
    depth_mm: float | None
    weights: np.ndarray  # turn a row of the march's trace (after the time) into its temperature
    time_s: np.ndarray
    temperature_c: np.ndarray
    noise_c: float

    @property
    def label(self) -> str:
        return f"{self.channel} of head {self.head_id}" if self.head_id else self.channel


def probe_weights(head: Head, zone: str, depth_mm: float | None = None) -> np.ndarray:
    """Weights of a trace's columns (mean and front of the zones, then all points) at a place of a zone.

    The depth counts from the front surface of the forged zone, mm (round zones count as the slab they are
    marched as); None: the zone's mean.
    """
    i, n = ZONES.index(zone), len(ZONES)
    weights = np.zeros(2 * n + sum(POINTS))
    if depth_mm is None or np.isnan(depth_mm):
        weights[i] = 1.0
        return weights
    thick = float(head.zones("forged")[zone].path_mm)
    where = f"{zone} of head {head.name!r}"
    depth = check_number(depth_mm, "depth of the thermocouple", 0.0, round(thick, 2), "mm", where)
    x, place = lobatto(POINTS[i])[0], min(depth / thick, 1.0)
    first = 2 * n + sum(POINTS[:i])
    for j in range(POINTS[i]):  # Lagrange's polynomial through the zone's points
        others = np.delete(x, j)
        weights[first + j] = np.prod((place - others) / (x[j] - others))
    return weights


def observe(traces, hardness, head, steel, route, noise_c: float | None) -> tuple:
    """Heads by head_id, probes, means of hardness (``head_id, zone, readings, measured_hv``) and what was not used.

    Traces and hardness as the readers give them, or None.  Head: a head, library name or dimensions; steel:
    a steel, grade or composition, or `Certificates`; route: a route or settings, or `Runs`, which also name
    heat and drawing; or mappings of head_id (steels also by heat) to them.  Noise of the thermocouples in K;
    estimated from each trace if None.
    """
    for given, kind, what in ((traces, Traces, "traces"), (hardness, HardnessReadings, "hardness")):
        check_kind(given, kind | None, what, form=f"what read_{what} returns, or None")
    names = [n for m in (traces, hardness) if m is not None for n in m.frame["head_id"].unique()]
    heads, problems = {}, []
    for name in dict.fromkeys(names):
        try:
            heads[name] = _measured(name, head, steel, route)
        except InputError as error:
            said = str(error).rstrip("."), f"what was measured on head {name!r} is not used"
            problems.append(Problem("measurements", None, "head_id", *said))
    probes = [] if traces is None else _probes(traces, heads, noise_c, problems)
    means = data_frame(columns=_MEANS)
    if hardness is not None:
        means = hardness.by_zone().rename(columns={"mean_hv": "measured_hv"})[_MEANS]
        means = means[means["head_id"].isin(heads)].reset_index(drop=True)
    if not probes and means.empty:
        met, need = f" {problems[0]}" if problems else "", "traces or hardness readings"
        raise InputError(f"there is nothing to fit to; needed are {need} of a known head.{met}")
    return heads, probes, means, tuple(problems)


def _probes(traces: Traces, heads: Mapping[str, Case], noise_c, problems) -> list[Probe]:
    probes = []
    for (head_id, channel), f in traces.frame.groupby(["head_id", "channel"], sort=False):
        if head_id not in heads:
            continue
        zone, depth = f["zone"].iloc[0], float(f["depth_mm"].iloc[0])
        t, seen = f["time_s"].to_numpy(float), f["temperature_c"].to_numpy(float)
        inside = t > -heads[head_id].route.soak_s
        t, seen, before = t[inside], seen[inside], int((~inside).sum())
        noise = max(noise_of(seen) if noise_c is None else noise_c, _LEAST_NOISE_C)
        weights = probe_weights(heads[head_id].head, zone, depth)
        depth = None if np.isnan(depth) else depth
        probe = Probe(head_id, channel, zone, depth, weights, t, seen, noise)
        few = t.size < _FEWEST
        for met, what, assumed in (
            (before, f"{before} reading(s) from before the head was loaded", "not used"),
            (few, f"{t.size} reading(s) in the route's time", "the trace is not used"),
        ):
            if met:
                problems.append(Problem("traces", None, probe.label, what, assumed))
        if not few:
            probes.append(probe)
    return probes


def _measured(name: str, head, steel, route) -> Case:
    """Steel, head and route of a head_id, from singles, files or mappings."""
    heat = drawing = ""
    if not isinstance(route, Runs):
        made = route_from(_pick(route, (Route, Mapping), name, "route", name))
    elif name in route:
        heat, drawing, made = route[name].heat, route[name].head, route[name].route
    else:
        raise InputError(f"head {name!r} is not in the list of runs; it has {', '.join(route)}.")
    shape = head_from(drawing or _pick(head, (Head, Mapping), name, "head", name))
    if isinstance(steel, Certificates):
        steel = {c.heat: c.steel for c in steel}
    named = isinstance(steel, Mapping) and "composition" not in steel
    by = heat if named and heat in steel else name
    kinds = (Steel, Mapping, str, type(None)) if named else ()
    metal = _pick(steel, kinds, by, "steel", heat or name)
    if metal is None:
        of, need = f" of heat {heat}" if heat else "", "give its steel or a certificate"
        raise InputError(f"no usable steel for head {name!r}{of}; {need}.")
    return Case(steel_of(metal), shape, made)


def _pick(given, kinds, name: str, what: str, called: str):
    """The one of `name` where `given` maps names to things of these kinds; else `given`, one thing by itself."""
    many = isinstance(given, Mapping) and given
    if not many or not all(isinstance(v, kinds) for v in given.values()):
        return given
    if name not in given:
        known = ", ".join(map(str, given))
        raise InputError(f"no {what} is given for {called!r}; there is one for {known}.")
    return given[name]
