"""Thousands of estimates: any mix of steels, heads, routes and shops, on all cores or your executor.

Written to a folder, each chunk is a Parquet file that carries a checksum of its inputs and appears whole, by
renaming, so that it is itself the record that its chunk is finished: a batch goes on where it ended.
"""

import contextlib
import hashlib
import os
import warnings
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...answer.cases import Case, cases_of, chunks, length_of
from ...base.cautions import SHORT
from ...base.errors import InputError, check_flag, check_whole, shown
from ...engine.native.library import EngineLibraryError
from ...inputs.cases import Cases
from ...io.tables import data_frame
from ...io.writing import locked, output_path, writing
from .study import (
    ALL_WARNINGS,
    INTERVAL_COLUMNS,
    RESULT_COLUMNS,
    Stop,
    answers,
    checked_call,
    joined,
)

#: Cases a chunk of a file holds, and the most a task computes at once; fewest cases worth a task of their own.
CHUNK, _LEAST = 2048, 64
#: Inputs repeated in the table, so that a row tells what it is: settings by their short names.
_INPUTS = ("preheat_c", "soak_s", "flux", "delay_s", "spray_s")
#: Result columns that hold text.
_TEXT = ("hosel_governed_by", "warnings")
#: What each file says of itself, in its metadata.
_ABOUT = {b"forgeprops": b"cases table, version 1", b"cautions": SHORT.encode()}


def table_columns(quick: bool = False) -> list[str]:
    """Columns of the table in order."""
    results = (*RESULT_COLUMNS[:-1], *(() if quick else INTERVAL_COLUMNS), "warnings", "error")
    return ["case", "steel", "head", *_INPUTS, *results]


@dataclass(frozen=True)
class Written:
    """What a batch written to a folder did."""

    path: Path
    rows: int  # cases in the folder
    errors: int  # those of them with an error
    computed: int  # chunks calculated now
    kept: int  # chunks that were there
    finished: bool  # False after a cancel


def estimate_many(
    steels, heads=None, routes=None, shops=None, executor=None, progress=None, cancel=None, to=None,
    chunk: int = CHUNK, *, quick: bool = False,
):  # fmt: skip
    """Estimate many cases; one row each, in the order given.

    Parameters
    ----------
    steels : Steel, grade name, composition, or an iterable of them, also a generator: cases are made
        when they are needed.
    heads, routes, shops : the same of these; a single one serves all cases.  Heads may be library names
        or dimensions to change (``{"head": "wedge", "face_thickness_mm": 3}``), routes settings by their
        short names (``{"preheat_c": 900, "flux": 8}``).  Left out: mid-iron, default route, neutral shop.
    executor : concurrent.futures.Executor, optional; where the chunks are computed: processes, a cluster.
        Left out: threads on all cores of this machine.
    progress : called as ``progress(done, total)`` after every chunk; `total` is None for generators.
    cancel : callable or threading.Event, polled between chunks; finished rows are returned
        (``table.attrs["cancelled"]`` says so).
    to : folder to write to instead of returning a table: one Parquet file a chunk, read back by
        ``pandas.read_parquet(to)``.  Memory stays bounded.  Called again with the same inputs it
        calculates only the chunks that are not there.
    chunk : cases a chunk.  The results do not depend on it.
    quick : leave out what needs further marches, which are up to seven more a case: the 80 % interval of
        every hardness and the warnings "idle-water" and "cliff".  Otherwise a row has every warning that
        `estimate` gives.

    Returns
    -------
    DataFrame, or Written if `to` is given
        Columns: `case`, `steel`, `head` and the main settings; for every zone ``face_hardness_hv`` (unless `quick`
        also ``_low_``, ``_high_``), ``face_tensile_mpa``, ``face_yield_mpa``; ``hosel_allowed_deg``,
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
    size = check_whole(chunk, "chunk", 1, 1_000_000)
    progress = checked_call(progress, "progress")
    if executor is not None and not hasattr(executor, "submit"):
        raise InputError(f"executor must be a concurrent.futures.Executor; got {shown(executor)}.")
    total = length_of(steels, heads, routes, shops)
    cases = cases_of(steels, heads, routes, shops)
    how = (executor, progress, stop := Stop(cancel), total, quick)
    if to is not None:
        return _to_folder(to, chunks(cases, size), stop, how)
    if total is not None:
        size = max(min(size, -(-total // (4 * (os.cpu_count() or 1)))), _LEAST)
    pieces = [table for *_, table in _computed(chunks(cases, size), *how)]
    found = joined(pieces) if pieces else dict.fromkeys(table_columns(quick), ())
    table = data_frame({name: found[name] for name in table_columns(quick)})
    table.attrs |= {"cautions": SHORT, "cancelled": stop.wanted}
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
            blank = _blank(1, table_columns(quick)[3 + len(_INPUTS) : -1])
            return blank, [str(error) if isinstance(error, InputError) else said]
    halves = slice(0, n // 2), slice(n // 2, n)
    (a, said_a), (b, said_b) = (compute(columns.part(half), quick) for half in halves)
    return joined([a, b]), said_a + said_b


def _blank(n: int, names: Sequence[str]) -> dict[str, np.ndarray]:
    """Columns of `n` cases without results."""
    return {name: np.full(n, "", object) if name in _TEXT else np.full(n, np.nan) for name in names}


def _table_of(cases: Sequence[Case], begin: int, quick: bool) -> dict[str, np.ndarray]:
    """The task of one chunk: its columns of the table; cases with an error keep their row.  Everything in it pickles."""
    n, good = len(cases), np.array([not c.error for c in cases])
    error = np.array([c.error for c in cases], object)
    table: dict[str, np.ndarray] = {"case": np.arange(begin, begin + n)}
    for part in ("steel", "head"):
        made = [getattr(c, part) for c in cases]
        table[part] = np.array(["" if thing is None else thing.name for thing in made], object)
    table |= {**_blank(n, table_columns(quick)[3:-1]), "error": error}
    if good.any():
        parts = ("steel", "head", "route", "shop")
        columns = Cases.of(*([getattr(c, part) for c in cases if not c.error] for part in parts))
        found, failed = compute(columns, quick)
        lost = ~np.isfinite(found["face_hardness_hv"])
        none = np.where(lost, "the march came to no number for this case", "")
        error[good] = [said or words for said, words in zip(failed, none.tolist(), strict=True)]
        for name, values in {**found, **{i: columns.route[i] for i in _INPUTS}}.items():
            table[name][good] = values
    return table


# ---- chunks on an executor ---------------------------------------------------------------------------------


def _computed(parts, executor, progress, stop, total, quick, finished=None) -> Iterator[tuple]:
    """Begin, cases and table of every chunk in order; a few chunks are in work at the same time.

    The table is None for a chunk of which `finished` says so.
    """
    own, ahead = None, os.cpu_count() or 1
    if executor is None:
        own = executor = ThreadPoolExecutor(ahead, thread_name_prefix="forgeprops")
    else:
        ahead = max(int(getattr(executor, "_max_workers", 0) or 0), ahead, 8)
    waiting: deque[tuple[int, Sequence[Case], Future | None]] = deque()
    done = begin = 0
    try:
        while True:
            while len(waiting) < 2 * ahead and not stop() and (cases := next(parts, None)):
                kept = finished is not None and finished(begin, cases)
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
        return executor.submit(_table_of, *task)
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
        return _table_of(cases, begin, quick)


# ---- a folder of Parquet files -----------------------------------------------------------------------------


def _to_folder(to, parts: Iterator[Sequence[Case]], stop: Stop, how) -> Written:
    """Calculate chunks of cases into the folder `to`; `how` are the arguments of `_computed`."""
    try:
        import pyarrow.dataset as ds
    except ImportError:
        raise InputError("to needs pyarrow; install forgeprops[parquet].") from None
    folder, quick = output_path(to, folder=True), how[-1]
    if folder.suffix.lower() in (".csv", ".parquet", ".xlsx"):
        raise InputError(f"to ends in {folder.suffix!r}; give a folder, without an ending.")
    # a chunk, or what a killed writer of one leaves
    lock, begins = f".{folder.name}.lock", ("part-", ".part-")
    there = [p.name for p in folder.iterdir()] if folder.exists() else []
    if strange := [n for n in there if n != lock and not n.startswith(begins)]:
        part = f"{shown(strange[0])}, which is no part of a batch"
        raise InputError(f"{folder.name} holds {part}; give another folder.")
    found = {p.name for p in folder.glob("part-*.parquet")}
    written: list[str] = []

    def name_of(begin: int) -> str:
        return f"part-{begin:09d}.parquet"

    def finished(begin: int, cases: Sequence[Case]) -> bool:
        name = name_of(begin)
        if name in found and _checksum_in(folder / name) != _checksum(begin, cases, quick):
            raise InputError(
                f"{folder.name}/{name} is damaged or was calculated from other inputs, in chunks of "
                "another size or by another version; give another folder, or remove the file."
            )
        return name in found

    folder.mkdir(exist_ok=True)
    try:
        with locked(folder / folder.name, timeout_s=1.0):  # a batch that runs is not waited for
            for left in folder.glob(".part-*"):  # by a writer that was killed
                left.unlink()
            for begin, cases, table in _computed(parts, *how, finished):
                written.append(name_of(begin))
                if table is not None:
                    _write(folder / written[-1], table, _checksum(begin, cases, quick))
    finally:
        with contextlib.suppress(OSError):  # stays unless it is empty
            folder.rmdir()
    if not written and not stop.wanted:
        raise InputError("there is no case at all; give one or more.")
    if not stop.wanted and (over := found - set(written)):
        raise InputError(
            f"{folder.name} holds {len(over)} file(s) beyond these cases, from {min(over)} on; give "
            "another folder, or remove them."
        )
    kept = len(found & set(written))
    rows = errors = 0
    if written:
        data = ds.dataset([str(folder / name) for name in written], format="parquet")
        rows, errors = data.count_rows(), data.count_rows(filter=ds.field("error") != "")
    return Written(folder, rows, errors, len(written) - kept, kept, not stop.wanted)


def _checksum(begin: int, cases: Sequence[Case], quick: bool) -> bytes:
    """Checksum of all that decides a chunk's results; every part of a case shows its values in its repr."""
    from ... import __version__

    text = repr((__version__, quick, begin, list(cases)))
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest().encode()


def _checksum_in(file: Path) -> bytes | None:
    import pyarrow.parquet as pq

    try:
        return (pq.read_schema(file).metadata or {}).get(b"inputs")
    except Exception:  # noqa: BLE001  (pyarrow's own errors: not a Parquet file)
        return None


def _write(file: Path, table: dict[str, np.ndarray], checksum: bytes) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {n: pa.string() if values.dtype == object else None for n, values in table.items()}
    columns = {name: pa.array(values, kinds[name]) for name, values in table.items()}
    made = pa.table(columns).replace_schema_metadata({**_ABOUT, b"inputs": checksum})
    with writing(file) as temporary:
        pq.write_table(made, temporary)
