"""Batch results streamed to a file in chunks that are each whole or not there, to go on when interrupted.

While a run lasts, a folder beside the file (``NAME.parts``) holds a manifest and one file a finished chunk.
The name of a chunk's file carries its number and a fingerprint of its inputs, so that the file itself is the
record that the chunk is finished; it appears by renaming, whole.  At the end the chunks become one file and
the folder goes.
"""

from __future__ import annotations

import contextlib
import csv
import functools
import hashlib
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...answer.cases import chunks
from ...base.errors import InputError
from ...base.tables import data_path
from ...inputs.steel import ELEMENTS
from ...io.saved import read_json, table_note, write_json, write_table
from ...io.writing import locked, writing
from .many import Prepared, Stop, computed, table_columns

__all__ = ["Written", "stream"]

_KIND, _VERSION = "cases", 1


@dataclass(frozen=True)
class Written:
    """What a streamed batch did.

    Attributes
    ----------
    path : Path
        The finished file or folder; of an unfinished run the folder of its chunks.
    rows, errors : int
        Cases written and those of them with an error.
    computed, kept : int
        Chunks computed now, and chunks kept from an earlier run.
    finished : bool
        False after a cancel.
    """

    path: Path
    rows: int
    errors: int
    computed: int
    kept: int
    finished: bool


def stream(
    to, cases, total, size, executor, progress, cancel, resume: bool, intervals: bool
) -> Written:
    """Compute cases into `to`; see `many.estimate_many`."""
    if not isinstance(to, (str, os.PathLike)) or not os.fspath(to):
        raise InputError(
            f"to is {to!r}; allowed is a path that ends in .csv or .parquet, or a folder."
        )
    path = Path(to).expanduser().resolve()
    ending = path.suffix.lower()
    if ending not in ("", ".csv", ".parquet"):
        raise InputError(
            f"{path.name!r} ends in {ending!r}; allowed is .csv, .parquet, or no ending for a folder."
        )
    if path.exists():
        raise InputError(
            f"{path.name} exists already and is kept; give another name ({path.parent})."
        )
    if not path.parent.is_dir():
        raise InputError(f"folder {str(path.parent)!r} does not exist; make it first.")
    if ending != ".csv":
        _need_parquet()
    stop = Stop(cancel)
    folder = path.with_name(f"{path.name}.parts")
    folder.mkdir(exist_ok=True)
    with locked(
        folder / path.name, timeout_s=1.0
    ):  # a batch that runs is not waited for, nor thrown away
        if not resume:
            _empty(folder)
        _manifest(folder, size, intervals)
        finished = _finished(folder)
        kept = new = rows = 0

        def known(chunk: Prepared) -> bool:
            return _name(chunk, intervals, ending) in finished

        parts: list[Path] = []
        for chunk, table in computed(
            chunks(cases, size), executor, progress, stop, total, intervals, known
        ):
            name = _name(chunk, intervals, ending)
            if table is None:
                kept += 1
            else:
                _refuse_other_inputs(finished, chunk)
                _write_part(folder / name, table, intervals)
                new += 1
            parts.append(folder / name)
            rows += chunk.count
        if stop.wanted:
            return Written(folder, rows, _errors(parts), new, kept, False)
        if not parts:
            raise InputError("there is no case at all; allowed are one or more.")
        errors = _merge(parts, path, ending, rows)
    shutil.rmtree(folder, ignore_errors=True)
    return Written(path, rows, errors, new, kept, True)


def _empty(folder: Path) -> None:
    """Throw away what an interrupted run left; our own lock stays."""
    for old in folder.iterdir():
        if old.name == "manifest.json" or old.name.startswith("part-"):
            old.unlink()


def _need_parquet() -> None:
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError:
        raise InputError(
            "Parquet needs pyarrow; install forgeprops[parquet], or stream to a .csv."
        ) from None


# ---- what is finished --------------------------------------------------------------------------------------


def _manifest(folder: Path, size: int, intervals: bool) -> None:
    """Write the manifest of a new run, or check that an interrupted one is the same."""
    from ... import __version__

    now = {
        "program": f"{__version__} {_program_state()}",
        "chunk": size,
        "columns": table_columns(intervals),
    }
    file = folder / "manifest.json"
    if not file.exists():
        if any(folder.glob("part-*")):
            raise InputError(
                f"{folder.name} holds chunks but no manifest; resume=False throws them away."
            )
        write_json(file, _KIND, _VERSION, now)
        return
    before = read_json(file, _KIND, (_VERSION,))
    for name, words in (
        ("program", "version of forgeprops"),
        ("chunk", "chunk size"),
        ("columns", "set of columns"),
    ):
        if before.get(name) != now[name]:
            said = "" if name == "columns" else f" ({before.get(name)}, now {now[name]})"
            raise InputError(
                f"{folder.name} was begun with another {words}{said}; go on with that one, or begin anew "
                "with resume=False."
            )


@functools.cache
def _program_state() -> str:
    """Checksum of the package and its data: half a batch of one state must not meet half of another."""
    digest = hashlib.sha256()
    package = Path(__file__).resolve().parents[2]
    for file in [*sorted(package.rglob("*.py")), *sorted(data_path().rglob("*.csv"))]:
        if "show" not in file.relative_to(file.anchor).parts:
            digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def _finished(folder: Path) -> dict[str, int]:
    """Names of the chunks that are finished and whole, with their numbers."""
    return {
        file.name: int(file.name.split("-")[1]) for file in folder.glob("part-*") if _is_whole(file)
    }


def _is_whole(file: Path) -> bool:
    try:
        if file.suffix == ".csv":
            with file.open(encoding="utf-8", newline="") as lines:
                about = next(lines).split()
                return int(about[-2]) == sum(1 for _ in csv.reader(lines)) - 1
        import pyarrow.parquet

        return pyarrow.parquet.ParquetFile(file).metadata.num_rows > 0
    except (OSError, ValueError, IndexError, StopIteration, csv.Error):
        return False
    except Exception:  # noqa: BLE001  (pyarrow's own errors: not a Parquet file)
        return False


def _name(chunk: Prepared, intervals: bool, ending: str) -> str:
    return f"part-{chunk.begin:09d}-{_fingerprint(chunk)}{ending or '.parquet'}"


def _fingerprint(chunk: Prepared) -> str:
    """Checksum of everything that decides a chunk's results, whatever objects it came in."""
    digest = hashlib.sha256()
    digest.update(
        repr((chunk.begin, chunk.count, chunk.names, list(chunk.errors))).encode(
            "utf-8", "backslashreplace"
        )
    )
    columns = chunk.columns
    if columns is not None:
        for element in ELEMENTS:
            digest.update(columns.content(element).tobytes())
        fine = columns.steels.fine_grain
        digest.update(
            np.asarray(fine if columns.steel_of is None else fine[columns.steel_of]).tobytes()
        )
        heads = columns.heads
        for part in (heads.face, heads.rim, *heads.body, heads.neck, heads.hosel):
            for value in vars(part).values():
                if not isinstance(value, str):
                    column = np.broadcast_to(np.asarray(value, float), (len(heads),))
                    digest.update(
                        (column if columns.head_of is None else column[columns.head_of]).tobytes()
                    )
        for group in (columns.route, columns.shop):
            for name in sorted(group):
                digest.update(np.ascontiguousarray(group[name]).tobytes())
        digest.update(
            repr([columns.later[k] for k in columns.later_of.tolist()]).encode()
            if any(columns.later)
            else b""
        )
    return digest.hexdigest()[:16]


def _refuse_other_inputs(finished: dict[str, int], chunk: Prepared) -> None:
    """A finished chunk of the same number but other inputs belongs to another batch."""
    if chunk.begin in finished.values():
        raise InputError(
            f"cases {chunk.begin} to {chunk.begin + chunk.count - 1} are finished with other inputs; give "
            "the inputs of the interrupted run, another file, or resume=False to begin anew."
        )


# ---- writing -----------------------------------------------------------------------------------------------


def _write_part(file: Path, table: dict[str, np.ndarray], intervals: bool) -> None:
    import pandas as pd

    write_table(
        file,
        pd.DataFrame({name: table[name] for name in table_columns(intervals)}),
        _KIND,
        overwrite=True,
    )  # what stands there under this name is not whole


def _errors(parts: list[Path]) -> int:
    return sum(_errors_in(file) for file in parts)


def _errors_in(file: Path) -> int:
    if file.suffix == ".csv":
        import pandas as pd

        errors = pd.read_csv(file, skiprows=1, usecols=["error"], keep_default_na=False, dtype=str)[
            "error"
        ]
        return int((errors != "").sum())
    import pyarrow.parquet

    return sum(
        1 for e in pyarrow.parquet.read_table(file, columns=["error"])["error"].to_pylist() if e
    )


def _merge(parts: list[Path], path: Path, ending: str, rows: int) -> int:
    """Make one file, or a folder, of the finished chunks; return the number of cases with an error."""
    errors = _errors(parts)
    about = table_note(_KIND, rows)
    if ending == "":
        whole = path.with_name(f".{path.name}.part")
        shutil.rmtree(whole, ignore_errors=True)
        whole.mkdir()
        for part in parts:
            with contextlib.suppress(OSError):
                os.link(part, whole / part.name)
            if not (whole / part.name).exists():
                shutil.copy2(part, whole / part.name)
        os.replace(whole, path)
        return errors
    with writing(path) as temporary:
        if ending == ".csv":
            with temporary.open("wb") as out:
                out.write(f"# {about}\n".encode())
                for header, body in _csv_parts(parts):
                    if out.tell() == len(about) + 3:
                        out.write(header)
                    shutil.copyfileobj(body, out, 2**20)
        else:
            _merge_parquet(parts, temporary, about)
    return errors


def _csv_parts(parts: list[Path]) -> Iterator:
    for part in parts:
        with part.open("rb") as body:
            body.readline()
            yield body.readline(), body


def _merge_parquet(parts: list[Path], temporary: Path, about: str) -> None:
    import pyarrow.parquet as pq

    schema = pq.read_schema(parts[0])
    schema = schema.with_metadata({**(schema.metadata or {}), b"forgeprops": about.encode()})
    with pq.ParquetWriter(temporary, schema) as out:
        for part in parts:
            out.write_table(pq.read_table(part).cast(schema))
