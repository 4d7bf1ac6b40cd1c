"""Thousands of estimates: any mix of steels, heads, routes and shops, on all cores or your executor."""

import os
import warnings
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import Any

import numpy as np

from ...answer.cases import Case, cases_of, chunks, length_of
from ...base.cautions import SHORT
from ...base.errors import InputError, check_flag, check_number, shown
from ...engine.native.library import EngineLibraryError
from ...inputs.cases import Cases
from ...io.tables import data_frame
from .study import ALL_WARNINGS, INTERVAL_COLUMNS, RESULT_COLUMNS, Stop, answers, checked_call

#: Cases a chunk of a file holds, and the most a task computes at once.
CHUNK = 2048
#: Fewest cases worth a task of their own.
_LEAST = 64

#: Inputs repeated in the table, so that a row tells what it is: settings by their short names.
_INPUTS = ("preheat_c", "soak_s", "flux", "delay_s", "spray_s")
#: Result columns that hold text.
_TEXT = ("hosel_governed_by", "warnings")


def table_columns(quick: bool = False) -> list[str]:
    """Columns of the table in order."""
    results = (*RESULT_COLUMNS[:-1], *(() if quick else INTERVAL_COLUMNS), "warnings", "error")
    return ["case", "steel", "head", *_INPUTS, *results]


def estimate_many(
    steels,
    heads=None,
    routes=None,
    shops=None,
    executor: Executor | None = None,
    progress: Callable[[int, int | None], Any] | None = None,
    cancel=None,
    to=None,
    chunk: int = CHUNK,
    *,
    quick: bool = False,
):
    """Estimate many cases; one row each, in the order given.

    Parameters
    ----------
    steels : Steel, grade name, composition, or an iterable of them
        Iterables may be generators: cases are made when they are needed.
    heads, routes, shops : the same for heads, routes and shops
        A single one serves all cases.  Heads may be library names or dimensions to change
        (``{"head": "wedge", "face_thickness_mm": 3}``), routes may be settings by their short names
        (``{"preheat_c": 900, "flux": 8}``).  Left out: the mid-iron, the default route, the neutral shop.
    executor : concurrent.futures.Executor, optional
        Where the chunks are computed: processes, a cluster.  Left out: threads on all cores of this machine.
    progress : callable, optional
        Called as ``progress(done, total)`` after every chunk; `total` is None for generators.
    cancel : callable or threading.Event, optional
        Polled between chunks; finished rows are returned (``table.attrs["cancelled"]`` says so).
    to : path, optional
        Folder to write to instead of returning a table: one Parquet file a chunk, read back by
        ``pandas.read_parquet(to)``.  Memory stays bounded.  Called again with the same inputs it calculates
        only the chunks that are not there.
    chunk : int
        Cases a chunk.  The results do not depend on it.
    quick : bool
        Leave out what needs further marches, which are up to seven more a case: the 80 % interval of every hardness
        and the warnings "idle-water" and "cliff".  Otherwise a row has every warning that `estimate` gives.

    Returns
    -------
    DataFrame, or Written if `to` is given
        Columns: `case`, `steel`, `head` and the main settings; for every zone ``face_hardness_hv`` (unless `quick` also
        ``_low_``, ``_high_``), ``face_tensile_mpa``, ``face_yield_mpa``; ``hosel_allowed_deg``,
        ``hosel_governed_by``, ``face_margin``, ``scale_um``, ``warnings`` (codes, joined by "; "), ``error``.
        A case that cannot be computed has its reason in `error` and no numbers.

    Raises
    ------
    InputError
        Sequences of different lengths, a folder with other files or with chunks of other inputs.

    Examples
    --------
    >>> table = estimate_many(["1020", "4130", "no such grade"], routes={"preheat_c": 920})
    >>> table["hosel_allowed_deg"].round(1).tolist()[2], table["error"].str[:26].tolist()[2]
    (nan, "grade 'no such grade' is u")
    """
    check_flag(quick, "quick")
    size = int(check_number(chunk, "chunk", 1, 1_000_000, "cases"))
    progress = checked_call(progress, "progress")
    if executor is not None and not hasattr(executor, "submit"):
        raise InputError(f"executor must be a concurrent.futures.Executor; got {shown(executor)}.")
    total = length_of(steels, heads, routes, shops)
    cases = cases_of(steels, heads, routes, shops)
    if to is not None:
        from .streaming import stream

        return stream(to, chunks(cases, size), total, executor, progress, cancel, quick)
    stop = Stop(cancel)
    workers = os.cpu_count() or 1
    if total is not None:
        size = max(min(size, -(-total // (4 * workers))), _LEAST)
    made = computed(chunks(cases, size), executor, progress, stop, total, quick)
    table = _frame([table for *_, table in made], quick)
    table.attrs["cancelled"] = stop.wanted
    return table


def _frame(pieces: list[dict[str, np.ndarray]], quick: bool):
    names = table_columns(quick)
    if not pieces:
        return data_frame({name: [] for name in names})
    table = data_frame({name: np.concatenate([p[name] for p in pieces]) for name in names})
    table.attrs["cautions"] = SHORT
    return table


# ---- one chunk ---------------------------------------------------------------------------------------------


def compute(columns: Cases, quick: bool) -> tuple[dict[str, np.ndarray], list[str]]:
    """Results of cases, and for each case what went wrong ("" for nothing).

    What fails is halved until the case that fails is alone: it costs its own row and no other.
    """
    n = len(columns)
    try:
        return answers(columns, want=() if quick else ALL_WARNINGS, threads=1), [""] * n
    except EngineLibraryError:  # the installation, not a case
        raise
    except Exception as error:  # noqa: BLE001  (whatever it is, it is one row's error and not the executor's)
        if n == 1:
            said = f"the calculation failed ({type(error).__name__}: {error}); please report this case."
            return _blank(1, quick), [str(error) if isinstance(error, InputError) else said]
    halves = slice(0, n // 2), slice(n // 2, n)
    (a, said_a), (b, said_b) = (compute(columns.part(half), quick) for half in halves)
    both = {name: np.concatenate([a[name], b[name]]) for name in a.keys() & b.keys()}
    return both, said_a + said_b


def _blank(n: int, quick: bool) -> dict[str, np.ndarray]:
    """Result columns of `n` cases without results."""
    names = table_columns(quick)[3:-1]
    return {name: np.full(n, "", object) if name in _TEXT else np.full(n, np.nan) for name in names}


def table_of(cases: Sequence[Case], begin: int, quick: bool) -> dict[str, np.ndarray]:
    """The task of one chunk: its columns of the table; cases with an error keep their row.  Everything in it pickles."""
    n, good = len(cases), np.array([not c.error for c in cases])
    error = np.array([c.error for c in cases], object)
    table: dict[str, np.ndarray] = {"case": np.arange(begin, begin + n)}
    for part in ("steel", "head"):
        made = [getattr(c, part) for c in cases]
        table[part] = np.array(["" if thing is None else thing.name for thing in made], object)
    table |= {**_blank(n, quick), "error": error}
    if good.any():
        parts = ("steel", "head", "route", "shop")
        columns = Cases.of(*([getattr(c, part) for c in cases if not c.error] for part in parts))
        found, failed = compute(columns, quick)
        lost = ~np.isfinite(found["face_hardness_hv"])
        error[good] = [said or ("the march came to no number for this case" if none else "")
                       for said, none in zip(failed, lost, strict=True)]  # fmt: skip
        for name, values in {**found, **{i: columns.route[i] for i in _INPUTS}}.items():
            table[name][good] = values
    return table


# ---- chunks on an executor ---------------------------------------------------------------------------------


def computed(
    parts, executor, progress, stop, total, quick, finished=lambda begin, cases: False
) -> Iterator[tuple[int, Sequence[Case], dict[str, np.ndarray] | None]]:
    """Begin, cases and table of every chunk in order; a few chunks are in work at the same time.

    The table is None for a chunk of which `finished` says so.
    """
    own = None
    if executor is None:
        own = executor = ThreadPoolExecutor(os.cpu_count() or 1, thread_name_prefix="forgeprops")
        ahead = 2 * (os.cpu_count() or 1)
    else:
        ahead = 2 * max(int(getattr(executor, "_max_workers", 0) or 0), os.cpu_count() or 1, 8)
    waiting: deque[tuple[int, Sequence[Case], Future | None]] = deque()
    done = begin = 0
    parts = iter(parts)
    try:
        while True:
            while parts is not None and len(waiting) < ahead and not stop():
                cases = next(parts, None)
                if cases is None:
                    parts = None
                    break
                kept = finished(begin, cases)
                future = None if kept else _submit(executor, cases, begin, quick)
                waiting.append((begin, cases, future))
                begin += len(cases)
            if not waiting or stop():
                break
            first, cases, future = waiting.popleft()
            done += len(cases)
            yield first, cases, None if future is None else _outcome(future, cases, first, quick)
            if progress is not None:
                progress(done, total)
    finally:
        for *_, future in waiting:
            if future is not None:
                future.cancel()
        if own is not None:
            own.shutdown(wait=True, cancel_futures=True)


def _submit(executor: Executor, *task) -> Future:
    try:
        return executor.submit(table_of, *task)
    except RuntimeError as error:  # a pool that broke or was shut down: go on in this process
        future: Future = Future()
        future.set_exception(error)
        return future


def _outcome(future: Future, cases: Sequence[Case], begin: int, quick: bool) -> dict:
    try:
        return future.result()
    except Exception as error:  # noqa: BLE001  (a worker may die of anything; no chunk is lost by it)
        warnings.warn(
            f"the executor did not return cases {begin} to {begin + len(cases) - 1} "
            f"({type(error).__name__}: {error}); they are calculated here",
            stacklevel=3,
        )
        return table_of(cases, begin, quick)
