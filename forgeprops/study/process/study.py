"""One case with what is required of it, and the one way its variants are calculated: results, costs, slack."""

from __future__ import annotations

import dataclasses
import functools
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...answer.cases import head_from, limits_from, route_from, shop_from
from ...answer.evaluation import Evaluation, evaluate
from ...answer.warnings.listing import stops_of
from ...base.errors import InputError, check_choice, check_list, check_number, check_whole, shown
from ...hosel.bench import LIMITS, Bench, bench_options
from ...inputs.cases import Cases
from ...inputs.grades import steel_of
from ...inputs.head import ZONES, Head
from ...inputs.job import changed, value_of, varied
from ...inputs.limits import Limits
from ...inputs.route import BURNING_C, Route
from ...inputs.settings import setting
from ...inputs.shop import Shop
from ...inputs.steel import Steel
from .line_cost import Line, line_arrays

_PER_ZONE = ("hardness_hv", "tensile_mpa", "yield_mpa")
#: Result columns without intervals, in the order of the table.
RESULT_COLUMNS = (
    *(f"{zone}_{name}" for zone in ZONES for name in _PER_ZONE),
    "hosel_allowed_deg",
    "hosel_governed_by",
    "face_margin",
    "scale_um",
    "warnings",
)
INTERVAL_COLUMNS = tuple(f"{zone}_hardness_{end}_hv" for zone in ZONES for end in ("low", "high"))
#: What every warning of a single estimate needs.
ALL_WARNINGS = ("interval", "dry")

#: Press effort 1: this grade from this preheat temperature, °C, on the same head and route (our choice: a plain
#: carbon steel at a usual temperature).
REFERENCE = ("1030", 900.0)

#: Cases in one piece: what they need stays near 20 MB; fewest cases worth a thread of their own; cases between
#: two looks at `cancel`.
_PIECE, _LEAST, _BETWEEN = 2048, 32, 8192


class Stopped(InputError):
    """Raised where a calculation is cancelled before it is finished."""


class Stop:
    """The user's wish to stop, polled between batches and remembered.

    Parameters
    ----------
    cancel : callable, threading.Event or None
    """

    def __init__(self, cancel):
        known = callable(cancel) or hasattr(cancel, "is_set")
        if cancel is not None and (not known or isinstance(cancel, type)):
            raise InputError(
                f"cancel must be a function or a threading.Event; got {shown(cancel)}."
            )
        self._cancel, self.wanted = cancel, False

    def __call__(self) -> bool:
        if not self.wanted and self._cancel is not None:
            ask = self._cancel.is_set if hasattr(self._cancel, "is_set") else self._cancel
            self.wanted = bool(ask())
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


def check_range(name: str, pair) -> tuple[float, float]:
    """Low and high of a setting, both within its bounds."""
    what = setting(name)
    ends = check_list(pair, f"range of {name}", "(low, high)", 2)
    low, high = (what.check(end, "range") for end in ends)
    if not low < high:
        raise InputError(
            f"range of {what.label} must be from low to high; got {low:g} to {high:g}."
        )
    return low, high


@dataclass(frozen=True)
class Study:
    """One case, what is required of it, and how its variants are calculated.

    Parameters
    ----------
    steel, head, route, shop
        As the functions of `answer.cases` take them; the mid-iron, the default route and the neutral shop when
        left out.
    limits : Limits, optional
        Requirements on results and costs; the default set of the route when left out.
    line : Line, optional
        The line around the press; the demonstration line when left out.
    reference : (grade, preheat temperature in °C)
        What press effort 1 means.
    threads : int, optional
        As many as there are cores when left out.
    progress : callable, optional
        Called as ``progress(done, total)`` between batches; `total` is None where it is not known.
    cancel : callable or threading.Event, optional
        Polled between batches.
    bench : mapping, optional
        Bending bench and required change by the names of `hosel.bench.Bench`.
    """

    steel: Steel
    head: Head | None = None
    route: Route | None = None
    limits: Limits | None = None
    shop: Shop | None = None
    line: Line | None = None
    reference: tuple[str, float] = REFERENCE
    threads: int | None = None
    progress: Callable[[int, int | None], Any] | None = None
    cancel: Stop | None = None
    bench: Mapping[str, Any] | None = None

    def __post_init__(self):
        line = Line() if self.line is None else self.line
        if not isinstance(line, Line):
            raise InputError(f"line must be Line(handling_s=5, ...); got {shown(line)}.")
        made = {"steel": steel_of(self.steel), "head": head_from(self.head), "line": line}
        made |= {"route": route_from(self.route), "shop": shop_from(self.shop)}
        made |= {"limits": limits_from(self.limits, made["route"], self.bench)}
        made |= {"cancel": Stop(self.cancel), "bench": bench_options(self.bench)}
        made["reference"] = _checked_reference(self.reference)
        made["progress"] = checked_call(self.progress, "progress")
        if self.threads is not None:
            made["threads"] = check_whole(self.threads, "number of threads", 1, 1024)
        for name, value in made.items():
            object.__setattr__(self, name, value)

    @classmethod
    def of(cls, steel, head, route, limits, options: Mapping[str, Any]) -> Study:
        """A study with the further arguments of a call, each name checked."""
        for name in options:
            check_choice(name, "option", [*cls.__dataclass_fields__][4:])
        return cls(steel, head, route, limits, **options)

    @property
    def case(self) -> tuple[Steel, Head, Route, Shop]:
        return self.steel, self.head, self.route, self.shop

    def value(self, name: str) -> float:
        """What a setting of the case is now (see `inputs.job.Job.value`)."""
        return value_of(name, *self.case)

    def has(self, name: str) -> bool:
        """Whether the case has this setting: a route without spray has no spray rate."""
        try:
            self.value(name)
        except InputError:
            return False
        return True

    def ranges(
        self, given: Mapping[str, tuple[float, float]] | None, default: Mapping
    ) -> dict[str, tuple[float, float]]:
        """Ranges of the settings given, or of those of `default` that the case has."""
        found = {}
        for name, pair in (default if given is None else given).items():
            pair = check_range(name, pair)
            if given is not None:
                self.value(name)  # says why the case does not have it
            elif not self.has(name):
                continue
            found[setting(name).name] = pair
        return found

    def changed(self, values: Mapping[str, float]) -> tuple[Steel, Head, Route, Shop]:
        """The case with some numbers changed, checked as any other."""
        return changed(*self.case, values)

    def varied(self, values: Mapping[str, np.ndarray]) -> Cases:
        """As many cases as the arrays are long (see `inputs.job.varied`)."""
        return varied(*self.case, values)

    @functools.cached_property
    def reference_mpa(self) -> float:
        """Flow stress that press effort 1 means, see `reference_stress_mpa`."""
        return reference_stress_mpa(self.head, self.route, self.shop, self.reference)

    def assess(self, cases: Cases, reference_mpa=None, **options) -> dict[str, np.ndarray]:
        """Results and costs of any cases, with "press_effort", "slack", "meets", "binding" and "veto".

        `reference_mpa`, a number or one a case, belongs to the cases' own heads and routes where they are not
        those of the study; the options go to `answers`.
        """
        fixed = {"line": self.line, "threads": self.threads, "bench": Bench(**self.bench)}
        table = answers(cases, **fixed, **options)
        stress = self.reference_mpa if reference_mpa is None else reference_mpa
        table["press_effort"] = table["flow_stress_mpa"] / stress
        table["slack"], table["binding"] = self.limits.slack(table), self.limits.binding(table)
        table["veto"] = np.full(len(table["slack"]), "", dtype=object)
        self._veto(table)
        table["meets"] = (table["slack"] >= 0.0) & (table["veto"] == "")
        return table

    def _veto(self, table: dict[str, np.ndarray]) -> None:
        """What a veto of the limits or a warning that says stop forbids has negative slack."""
        kinds = {
            codes: stops_of(codes.split("; "), self.limits) for codes in set(table["warnings"])
        }
        stops = ["".join(kinds[codes][:1]) for codes in table["warnings"]]
        warned, worst = np.array(stops) != "", self.vetoes.slack(table)
        words = np.where(worst < 0.0, self.vetoes.binding(table), "")
        words = np.where(warned, [f"warning {code}" for code in stops], words)
        forbidden, worst = words != "", np.where(warned, np.minimum(worst, -1.0), worst)
        table["veto"] = words.astype(object)
        table["slack"] = np.where(forbidden, np.minimum(table["slack"], worst), table["slack"])
        table["binding"] = np.where(forbidden, words, table["binding"])

    @functools.cached_property
    def vetoes(self) -> Limits:
        """Limits that nothing put first may miss, see `Limits.vetoes`."""
        return self.limits.vetoes()

    def tables(
        self, values: Mapping[str, np.ndarray], done: int = 0, total: int | None = None
    ) -> Iterator[dict[str, np.ndarray]]:
        """Tables of the case with these values, batch by batch; a cancel ends them early.

        `done` and `total` are the cases calculated before and those of the whole study, for `progress`.
        """
        n = len(next(iter(values.values())))
        for begin in range(0, n, _BETWEEN):
            if self.cancel():
                return
            end = min(begin + _BETWEEN, n)
            yield self.assess(self.varied({name: v[begin:end] for name, v in values.items()}))
            if self.progress is not None:
                self.progress(done + end, total)

    def table(
        self, values: Mapping[str, np.ndarray], done: int = 0, total: int | None = None
    ) -> dict[str, np.ndarray]:
        """The batches of `tables` as one table."""
        n, pieces = len(next(iter(values.values()))), list(self.tables(values, done, total))
        if sum(len(p["slack"]) for p in pieces) < n:
            raise Stopped("the calculation was stopped before it was finished.")
        return {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}


def _checked_reference(reference) -> tuple[str, float]:
    form = "(grade, preheat temperature in °C)"
    name, preheat_c = check_list(reference, "reference", form, 2)
    label = "preheat temperature of the reference"
    return steel_of(name).name, check_number(preheat_c, label, 600.0, BURNING_C, "°C")


@functools.lru_cache(maxsize=256)
def reference_stress_mpa(
    head: Head, route: Route, shop: Shop, reference: tuple[str, float] = REFERENCE
) -> float:
    """Mean flow stress in the die of the reference grade from its preheat, on this head and route, MPa."""
    name, preheat_c = reference
    cases = Cases.of([steel_of(name)], [head], [route.with_(preheat_c=preheat_c)], [shop])
    return float(evaluate(cases).press["flow_stress_mpa"][0])


# ---- the table of many cases -------------------------------------------------------------------------------


def answers(
    cases: Cases, *, want=(), line=None, threads=None, bench=None, **options
) -> dict[str, np.ndarray]:
    """Results of many cases, one array a column (see `RESULT_COLUMNS`), on as many threads as there are cores.

    `want` as in `answer.evaluation.evaluate`: with "interval" also the 80 % interval of hardness;
    `ALL_WARNINGS` for every warning that `forgeprops.estimate` gives.  With a `line` also what the press has
    to do and what the line makes (see `line_cost.line_arrays`).  `bench` is the hosel's, the default one when
    left out.  The options go to the engine.
    """
    n, workers = len(cases), threads or os.cpu_count() or 1
    # pieces small enough that no thread waits long for the last one
    size = min(max(-(-n // (4 * workers)), _LEAST), _PIECE) if workers > 1 else _PIECE

    def piece(begin: int) -> dict[str, np.ndarray]:
        part = cases if size >= n else cases.part(slice(begin, begin + size))
        found = evaluate(part, want, threads=1, **options)
        return _columns(dataclasses.replace(found, bench=bench or Bench()), line)

    begins = range(0, max(n, 1), size)
    if len(begins) == 1 or workers == 1:
        pieces = [piece(begin) for begin in begins]
    else:
        with ThreadPoolExecutor(workers, thread_name_prefix="forgeprops") as pool:
            pieces = list(pool.map(piece, begins))
    return {name: np.concatenate([p[name] for p in pieces]) for name in pieces[0]}


def _columns(e: Evaluation, line: Line | None) -> dict[str, np.ndarray]:
    found = {}
    for i, zone in enumerate(ZONES):
        found[f"{zone}_hardness_hv"] = e.hardness_hv[:, i]
        for name in ("tensile_mpa", "yield_mpa"):
            found[f"{zone}_{name}"] = e.strength[name][:, i]
        if e.nodes_hv is not None:
            for end, values in zip(("low", "high"), e.interval_hv, strict=True):
                found[f"{zone}_hardness_{end}_hv"] = values[:, i]
    found["hosel_allowed_deg"] = e.hosel["allowed_deg"]
    found["hosel_governed_by"] = np.array(LIMITS, dtype=object)[e.hosel["governed_by"]]
    found["face_margin"] = e.face_margin
    found["scale_um"] = e.results.scale_um[:, 0]
    if line is not None:
        found |= {name: e.press[name] for name in ("flow_stress_mpa", "press_force_kn")}
        found["forging_c"] = e.press["die_c"]
        found["quench_start_c"] = np.where(e.cases.sprayed, e.results.water_on_c[:, 0], np.nan)
        quantities = ("forging_low_c", "crack_index", "bar_force_n")
        found |= {name: e.quantity(name) for name in quantities}
        found |= line_arrays(e.cases, line)
    found["warnings"] = e.codes
    return found
