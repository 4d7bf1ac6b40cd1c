"""One case with what is required of it, and the one way its variants are calculated: results, costs of the line, slack."""

import dataclasses
import functools
import itertools
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...answer.cases import head_from, limits_from, route_from, shop_from
from ...answer.estimate import estimate
from ...answer.evaluation import Evaluation, evaluate
from ...answer.remedy import step_of
from ...answer.verdict import ShortVerdict, short_verdicts
from ...answer.warnings.listing import stops_of
from ...base.errors import (
    InputError,
    bounded,
    check_bounded,
    check_choice,
    check_kind,
    check_list,
    check_whole,
    shown,
)
from ...hosel.bench import LIMITS, Bench, bench_options
from ...inputs.cases import Cases
from ...inputs.grades import steel_of
from ...inputs.head import ZONES, Head
from ...inputs.job import Job
from ...inputs.limits import Limits
from ...inputs.route import Route
from ...inputs.settings import setting
from ...inputs.shop import Shop
from ...inputs.steel import Steel
from ...thermal.spray_units import FOOTPRINT_MM, from_flux

#: Result columns without intervals, in the order of the table.
RESULT_COLUMNS = (
    *(f"{zone}_{name}" for zone in ZONES for name in ("hardness_hv", "tensile_mpa", "yield_mpa")),
    *("hosel_allowed_deg", "hosel_governed_by", "face_margin", "scale_um", "warnings"),
)
INTERVAL_COLUMNS = tuple(f"{zone}_hardness_{end}_hv" for zone in ZONES for end in ("low", "high"))
_OF_A_LINE = ("flow_stress_mpa", "press_force_kn", "forging_low_c", "crack_index", "bar_force_n")
#: What every warning of a single estimate needs.
ALL_WARNINGS = ("interval", "dry")
#: Press effort 1: this grade from this preheat temperature, °C, on the same head and route (our choice: a plain
#: carbon steel at a usual temperature).
_REFERENCE, _REFERENCE_C = "1030", 900.0
#: Cases in one piece: what they need stays near 20 MB; fewest cases worth a thread of their own; cases between
#: two looks at `cancel`.
_PIECE, _LEAST, _BETWEEN = 2048, 32, 8192
#: Cases whose chances are drawn at most, those with the most slack first; lots and heads drawn for each.
MOST, LOTS, HEADS = 48, 256, 32


@dataclass(frozen=True)
class Line:
    """The line around the press; the defaults are a demonstration line of our own."""

    #: Laying a head in the die and taking it out, s (5 s with tongs: common practice, no source).
    handling_s: float = bounded(5.0, "handling", 0.0, 600.0, "s")
    furnace_heads: float = bounded(90.0, "heads in the furnace", 1.0, 1e5)  # at the same time
    #: Where a head is sprayed and cooled off the die.
    spray_stations: float = bounded(1.0, "spray stations", 1.0, 1000.0)
    #: Wetted length and width of one spray, mm; water beside the head is spent too.
    footprint_mm: tuple[float, float] = FOOTPRINT_MM
    overlap: float = 1.0  # share of the water that lands inside the footprint

    def __post_init__(self):
        check_bounded(self)
        from_flux(1.0, footprint_mm=self.footprint_mm, overlap=self.overlap)  # checks its own


def line_arrays(cases: Cases, line: Line) -> dict[str, np.ndarray]:
    """Time on the press, heads an hour, what holds up the line, and water per head.

    "press_s" is handling, rest and dwell, and with the back on the die the wait and the water too;
    "heads_per_hour" that of the slowest of press, spray stations and furnace, which "held_up_by"
    names; "water_l" the litres that leave the nozzles for one head.

    .. [1] Handling 5 s, 90 heads in the furnace, one spray station: a demonstration line
       (invented).
    """
    route = cases.route
    wet, on_die = route["has_spray"], route["back_on_die"] > 0.0
    watering = cases.delay_s + np.where(wet, route["spray_s"], 0.0)
    press = line.handling_s + route["rest_s"] + route["dwell_s"] + np.where(on_die, watering, 0.0)
    spray = np.where(on_die, 0.0, watering) / line.spray_stations
    slowest = np.stack(np.broadcast_arrays(press, spray, route["soak_s"] / line.furnace_heads))
    litres = from_flux(1.0, footprint_mm=line.footprint_mm, overlap=line.overlap).litres(1.0)
    return {
        "press_s": press,
        "heads_per_hour": 3600.0 / slowest.max(axis=0),
        "held_up_by": np.array(("press", "spray", "furnace"), object)[slowest.argmax(axis=0)],
        "water_l": np.where(wet, litres * route["flux"] * route["spray_s"], 0.0),
    }


class Stopped(InputError):
    """Raised where a calculation is cancelled before it is finished."""


class Stop:
    """The user's wish to stop (a callable, a threading.Event or None), polled between batches and remembered."""

    def __init__(self, cancel):
        ask = getattr(cancel, "is_set", cancel)
        if cancel is not None and (not callable(ask) or isinstance(cancel, type)):
            raise InputError(
                f"cancel must be a function or a threading.Event; got {shown(cancel)}."
            )
        self._ask, self.wanted = ask, False

    def __call__(self) -> bool:
        self.wanted = self.wanted or (self._ask is not None and bool(self._ask()))
        return self.wanted


def settings_words(values: Mapping[str, float]) -> str:
    """Settings in words: "preheat temperature 930 °C, spray rate 8 kg/(m² s)"."""
    named = ((setting(name), value) for name, value in values.items())
    return ", ".join(f"{what.label} {value:.4g} {what.unit}".rstrip() for what, value in named)


def checked_call(function, name: str):
    """A function to be called, or None."""
    if function is not None and (not callable(function) or isinstance(function, type)):
        raise InputError(f"{name} must be a function; got {shown(function)}.")
    return function


@dataclass(frozen=True)
class Study:
    """One case, what is required of it, and how its variants are calculated."""

    # as the functions of `answer.cases` take them; the mid-iron, the default route, the default
    # limits of the route and the neutral shop when left out
    steel: Steel
    head: Head | None = None
    route: Route | None = None
    limits: Limits | None = None
    shop: Shop | None = None
    line: Line | None = None  # around the press; the demonstration line when left out
    threads: int | None = None  # as many as there are cores when left out
    #: Called as ``progress(done, total)`` between batches; `total` is None where it is not known.
    progress: Callable[[int, int | None], Any] | None = None
    cancel: Stop | None = None  # callable or threading.Event, polled between batches
    bench: Mapping[str, Any] | None = None  # by the names of `hosel.bench.Bench`

    def __post_init__(self):
        line = Line() if self.line is None else self.line
        check_kind(line, Line, "line", form="Line(handling_s=5, ...)")
        made = {"steel": steel_of(self.steel), "head": head_from(self.head), "line": line}
        made |= {"route": route_from(self.route), "shop": shop_from(self.shop)}
        made |= {"limits": limits_from(self.limits, made["route"], self.bench)}
        made |= {"cancel": Stop(self.cancel), "bench": bench_options(self.bench)}
        made["progress"] = checked_call(self.progress, "progress")
        if self.threads is not None:
            made["threads"] = check_whole(self.threads, "number of threads", 1, 1024)
        for name, value in made.items():
            object.__setattr__(self, name, value)

    @classmethod
    def of(cls, steel, head, route, limits, options: Mapping[str, Any]) -> "Study":
        """A study with the further arguments of a call, each name checked."""
        for name in options:
            check_choice(name, "option", [*cls.__dataclass_fields__][4:])
        return cls(steel, head, route, limits, **options)

    @property
    def case(self) -> tuple[Steel, Head, Route, Shop]:
        return self.steel, self.head, self.route, self.shop

    @functools.cached_property
    def job(self) -> Job:
        return Job(self.steel, self.head, self.route, shop=self.shop)

    def has(self, name: str) -> bool:
        """Whether the case has this setting: a route without spray has no spray rate."""
        try:
            self.job.value(name)
        except InputError:
            return False
        return True

    def ranges(self, given: Mapping | None, default: Mapping) -> dict[str, tuple[float, float]]:
        """Ranges of the settings given, or of those of `default` that the case has."""
        found, wanted = {}, default if given is None else given
        form = "a mapping such as {'preheat_c': (850, 1000)}"
        check_kind(wanted, Mapping, "settings", form=form)
        for name, pair in wanted.items():
            what = setting(name)
            ends = check_list(pair, f"range of {name}", "(low, high)", 2)
            low, high = (what.check(end, "range") for end in ends)
            if not low < high:
                span = f"from low to high; got {low:g} to {high:g}"
                raise InputError(f"range of {what.label} must be {span}.")
            if given is not None or self.has(name):
                self.job.value(name)  # says why the case does not have it
                found[what.name] = low, high
        return found

    def changed(self, values: Mapping[str, float]) -> tuple[Steel, Head, Route, Shop]:
        """The case with some numbers changed, checked as any other."""
        job = self.job.with_(**values)
        return job.steel, job.head, job.route, job.shop

    def assess(self, cases: Cases, reference_mpa=None, **options) -> dict[str, np.ndarray]:
        """Results and costs of any cases, with "press_effort", "slack", "meets", "binding" and "veto".

        What a veto of the limits or a warning that says stop forbids has negative slack.  `reference_mpa`, a
        number or one a case, belongs to the cases' own heads and routes where they are not those of the study;
        the options go to `answers`.
        """
        fixed = {"line": self.line, "threads": self.threads, "bench": Bench(**self.bench)}
        table, limits = answers(cases, **fixed, **options), self.limits
        if reference_mpa is None:
            reference_mpa = reference_stress_mpa(*self.case[1:])
        table["press_effort"] = table["flow_stress_mpa"] / reference_mpa
        slack, binding, vetoes = limits.slack(table), limits.binding(table), limits.vetoes()
        stop = {codes: stops_of(codes.split("; "), limits)[:1] for codes in set(table["warnings"])}
        stops = np.array(["".join(stop[codes]) for codes in table["warnings"]])
        worst = vetoes.slack(table)
        veto = np.where(worst < 0.0, vetoes.binding(table), "")
        veto = np.where(stops != "", [f"warning {code}" for code in stops], veto).astype(object)
        worst = np.where(stops != "", np.minimum(worst, -1.0), worst)
        table["veto"] = veto
        table["slack"] = np.where(veto != "", np.minimum(slack, worst), slack)
        table["binding"] = np.where(veto != "", veto, binding)
        table["meets"] = (table["slack"] >= 0.0) & (veto == "")
        return table

    def tables(self, values: Mapping, done: int = 0, total: int | None = None) -> Iterator[dict]:
        """Tables of the case with these values, batch by batch; a cancel ends them early.

        `done` and `total` are the cases calculated before and those of the whole study, for `progress`.
        """
        n = len(next(iter(values.values())))
        for begin in range(0, n, _BETWEEN):
            if self.cancel():
                return
            end = min(begin + _BETWEEN, n)
            yield self.assess(self.job.varied({name: v[begin:end] for name, v in values.items()}))
            if self.progress is not None:
                self.progress(done + end, total)

    def table(self, values: Mapping[str, np.ndarray], done: int = 0) -> dict[str, np.ndarray]:
        """The batches of `tables` as one table."""
        n, pieces = len(next(iter(values.values()))), list(self.tables(values, done))
        if sum(len(p["slack"]) for p in pieces) < n:
            raise Stopped("the calculation was stopped before it was finished.")
        return joined(pieces)

    def sureness(self, cases: Sequence[tuple]) -> list[ShortVerdict]:
        """Verdict in short of cases (steel, head, route, shop) by `LOTS` lots of `HEADS` heads each.

        The doubt of the formulas for hosel and strike is that of the first case.
        """
        if not cases:
            return []
        first = estimate(*cases[0], limits=self.limits, bench=self.bench)
        return short_verdicts(cases, first, self.limits, LOTS, HEADS)


@functools.lru_cache(maxsize=256)
def reference_stress_mpa(head: Head, route: Route, shop: Shop) -> float:
    """Mean flow stress in the die of the reference grade from its preheat, on this head and route, MPa."""
    route = route.with_(preheat_c=_REFERENCE_C)
    cases = Cases.of([steel_of(_REFERENCE)], [head], [route], [shop])
    return float(evaluate(cases).press["flow_stress_mpa"][0])


def neighbours(values: Mapping[str, float], ranges: Mapping) -> dict[str, np.ndarray]:
    """The settable values about each setting and all their combinations, one array a setting; within the ranges."""
    ends = []
    for name, value in values.items():
        step, near = step_of(name), (value,)
        if step:
            near = step * np.floor(value / step + 1e-9), step * np.ceil(value / step - 1e-9)
        low, high = ranges[name]  # an end of a range is settable too
        ends.append(list(dict.fromkeys(min(max(v, low), high) for v in near)))
    return dict(zip(values, np.array(list(itertools.product(*ends))).T, strict=True))


# ---- the table of many cases -------------------------------------------------------------------------------


def joined(pieces: Sequence[Mapping[str, np.ndarray]]) -> dict[str, np.ndarray]:
    """Tables of the same columns, one below the other."""
    return {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}


def answers(cases: Cases, *, want=(), line=None, threads=None, bench=None, **options) -> dict:
    """Results of many cases, one array a column (see `RESULT_COLUMNS`), on as many threads as there are cores.

    `want` as in `answer.evaluation.evaluate`: with "interval" also the 80 % interval of hardness;
    `ALL_WARNINGS` for every warning that `forgeprops.estimate` gives.  With a `line` also what the press has
    to do and what the line makes (see `line_arrays`).  `bench` is the hosel's; the options are the engine's.
    """
    n, workers = len(cases), threads or os.cpu_count() or 1
    # large pieces, which cost less, then pieces so small that no thread waits long for the last one
    size = min(max(-(-n // (4 * workers)), _LEAST), _PIECE) if workers > 1 else _PIECE
    large = range(0, n // 2, min(2 * size, _PIECE) if size > _LEAST else size)
    begins = [*large, *range(len(large) * large.step, max(n, 1), size)]

    def piece(begin: int, end: int) -> dict[str, np.ndarray]:
        part = cases if end - begin >= n else cases.part(slice(begin, end))
        found = evaluate(part, want, threads=1, **options)
        return _columns(dataclasses.replace(found, bench=bench or Bench()), line)

    ends = [*begins[1:], n]
    if len(begins) == 1 or workers == 1:
        return joined(list(map(piece, begins, ends)))
    with ThreadPoolExecutor(workers, thread_name_prefix="forgeprops") as pool:
        return joined(list(pool.map(piece, begins, ends)))


def _columns(e: Evaluation, line: Line | None) -> dict[str, np.ndarray]:
    found = {n: e.quantity(n) for n in RESULT_COLUMNS[:-1] if n != "hosel_governed_by"}
    found["hosel_governed_by"] = np.array(LIMITS, dtype=object)[e.hosel["governed_by"]]
    if e.nodes_hv is not None:
        ends = np.stack(e.interval_hv, axis=2).reshape(len(e), -1).T
        found |= zip(INTERVAL_COLUMNS, ends, strict=True)
    if line is not None:
        found["forging_c"] = e.press["die_c"]
        found["quench_start_c"] = np.where(e.cases.sprayed, e.results.water_on_c[:, 0], np.nan)
        found |= {name: e.quantity(name) for name in _OF_A_LINE} | line_arrays(e.cases, line)
    return found | {"warnings": e.codes}
