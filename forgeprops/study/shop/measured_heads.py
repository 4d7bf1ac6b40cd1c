"""Matches measurements to the heads they were taken on: which steel, drawing, route, probe and mean."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ...answer.cases import head_from, route_from
from ...base.errors import InputError, check_number
from ...certificates.reading import Certificates
from ...engine.packing import POINTS
from ...engine.section import lobatto
from ...inputs.grades import steel_of
from ...inputs.head import ZONES, Head
from ...inputs.route import Route
from ...inputs.steel import Steel
from ...io.grids import Problem
from ...io.tables import data_frame
from .measurements import HardnessReadings
from .runs import Runs
from .traces import Traces, noise_of

#: Least noise of a trace, K: what a logger's own resolution leaves (our choice).
_LEAST_NOISE_C = 0.5
#: Fewest readings of a trace worth using.
_FEWEST = 8
_MEANS = ["head_id", "zone", "readings", "measured_hv"]


@dataclass(frozen=True)
class MeasuredHead:
    """A head that something was measured on."""

    head_id: str
    steel: Steel
    head: Head
    route: Route


@dataclass(frozen=True)
class Probe:
    """One thermocouple trace: on which head, where, and what it read."""

    of: int  # number in `Observed.heads`
    channel: str
    zone: str
    depth_mm: float | None
    #: Turn a row of the march's trace (after the time) into the probe's temperature.
    weights: np.ndarray
    time_s: np.ndarray
    temperature_c: np.ndarray
    noise_c: float


@dataclass(frozen=True)
class Observed:
    """What was measured, and on what."""

    heads: tuple[MeasuredHead, ...]
    probes: tuple[Probe, ...]
    hardness: object  # DataFrame of means: ``head_id, zone, readings, measured_hv``
    problems: tuple[Problem, ...]


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


def observe(traces, hardness, head, steel, route, noise_c: float | None = None) -> Observed:
    """Measurements with the heads they belong to.

    Traces and hardness as the readers give them, or None.  Head: a head, library name or dimensions; steel:
    a steel, grade or composition, or `Certificates`; route: a route or settings, or `Runs`, which also name
    heat and drawing; or mappings of head_id (steels also by heat) to them.  Noise of the thermocouples in K;
    estimated from each trace if not given.
    """
    for given, kind, what in ((traces, Traces, "traces"), (hardness, HardnessReadings, "hardness")):
        if given is not None and not isinstance(given, kind):
            form = f"what read_{what} returns, or None"
            raise InputError(f"{what} must be {form}; got {type(given).__name__}.")
    if noise_c is not None:
        noise_c = check_number(noise_c, "noise of the thermocouples", 0.0, 100.0, "K")
    names = [n for m in (traces, hardness) if m is not None for n in m.frame["head_id"].unique()]
    find, number, problems = _finder(head, steel, route), {}, []
    heads: list[MeasuredHead] = []
    for name in dict.fromkeys(names):
        try:
            heads.append(find(name))
            number[name] = len(heads) - 1
        except InputError as error:
            said = str(error).rstrip("."), f"what was measured on head {name!r} is not used"
            problems.append(Problem("measurements", None, "head_id", *said))
    probes = [] if traces is None else _probes(traces, heads, number, noise_c, problems)
    means = data_frame(columns=_MEANS)
    if hardness is not None:
        means = hardness.by_zone().rename(columns={"mean_hv": "measured_hv"})[_MEANS]
        means = means[means["head_id"].isin(number)].reset_index(drop=True)
    if not probes and means.empty:
        met, need = f" {problems[0]}" if problems else "", "traces or hardness readings"
        raise InputError(f"there is nothing to fit to; needed are {need} of a known head.{met}")
    return Observed(tuple(heads), tuple(probes), means, tuple(problems))


def _probes(traces: Traces, heads, number, noise_c, problems) -> list[Probe]:
    probes = []
    for (head_id, channel), f in traces.frame.groupby(["head_id", "channel"], sort=False):
        if head_id not in number:
            continue
        of, zone, depth = number[head_id], f["zone"].iloc[0], float(f["depth_mm"].iloc[0])
        t, seen = f["time_s"].to_numpy(float), f["temperature_c"].to_numpy(float)
        inside = t > -heads[of].route.preheat.soak_s
        t, seen, before = t[inside], seen[inside], int((~inside).sum())
        label = f"{channel} of head {head_id}" if head_id else channel
        few = t.size < _FEWEST
        for met, what, assumed in (
            (before, f"{before} reading(s) from before the head was loaded", "not used"),
            (few, f"{t.size} reading(s) in the route's time", "the trace is not used"),
        ):
            if met:
                problems.append(Problem("traces", None, label, what, assumed))
        if not few:
            noise = max(noise_of(seen) if noise_c is None else noise_c, _LEAST_NOISE_C)
            weights = probe_weights(heads[of].head, zone, depth)
            depth = None if np.isnan(depth) else depth
            probes.append(Probe(of, channel, zone, depth, weights, t, seen, noise))
    return probes


def _finder(head, steel, route) -> Callable[[str], MeasuredHead]:
    """What finds steel, head and route of a head_id, from singles, files or mappings."""

    def by_name(given, kinds) -> Mapping | None:
        """The mapping of names to things of these kinds, or None if it is one thing by itself."""
        many = isinstance(given, Mapping) and given
        return given if many and all(isinstance(v, kinds) for v in given.values()) else None

    def pick(table, single, name, what, called):
        if table is None:
            return single
        if name not in table:
            known = ", ".join(map(str, table)) or "none"
            raise InputError(f"no {what} is given for {called!r}; there is one for {known}.")
        return table[name]

    runs = route if isinstance(route, Runs) else None
    routes, drawings = by_name(route, (Route, Mapping)), by_name(head, (Head, Mapping))
    if isinstance(steel, Certificates):
        steels = {c.heat: c.steel for c in steel}
    else:
        one = isinstance(steel, Mapping) and "composition" in steel
        steels = None if one else by_name(steel, (Steel, Mapping, str))

    def find(name: str) -> MeasuredHead:
        heat = drawing = ""
        if runs is None:
            made = route_from(pick(routes, route, name, "route", name))
        elif name in runs:
            heat, drawing, made = runs[name].heat, runs[name].head, runs[name].route
        else:
            raise InputError(f"head {name!r} is not in the list of runs; it has {', '.join(runs)}.")
        shape = head_from(drawing or pick(drawings, head, name, "head", name))
        metal = pick(steels, steel, heat if heat in (steels or ()) else name, "steel", heat or name)
        if metal is None:
            of = f" of heat {heat}" if heat else ""
            need = "give its steel or a certificate"
            raise InputError(f"no usable steel for head {name!r}{of}; {need}.")
        return MeasuredHead(name, steel_of(metal), shape, made)

    return find
