"""A batch written to a folder of Parquet files, one a chunk; the files that are there are not calculated again.

A file carries a checksum of its inputs and appears whole, by renaming, so that it is itself the record that
its chunk is finished.
"""

import contextlib
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...answer.cases import Case
from ...base.cautions import SHORT
from ...base.errors import InputError, shown
from ...io.writing import locked, output_path, writing
from .many import computed
from .study import Stop

#: What each file says of itself, in its metadata.
_ABOUT = {b"forgeprops": b"cases table, version 1", b"cautions": SHORT.encode()}


@dataclass(frozen=True)
class Written:
    """What a streamed batch did.

    Attributes
    ----------
    path : The folder.
    rows, errors : Cases in the folder, and those of them with an error.
    computed, kept : Chunks calculated now, and chunks that were there.
    finished : False after a cancel.
    """

    path: Path
    rows: int
    errors: int
    computed: int
    kept: int
    finished: bool


def stream(
    to, parts: Iterator[Sequence[Case]], total, executor, progress, cancel, quick: bool
) -> Written:
    """Calculate chunks of cases into the folder `to`; see `many.estimate_many`."""
    try:
        import pyarrow.dataset as ds
    except ImportError:
        raise InputError("to needs pyarrow; install forgeprops[parquet].") from None
    stop, folder = Stop(cancel), output_path(to, folder=True)
    if folder.suffix.lower() in (".csv", ".parquet", ".xlsx"):
        raise InputError(f"to ends in {folder.suffix!r}; give a folder, without an ending.")
    if folder.exists() and (strange := [p.name for p in folder.iterdir() if not _is_part(p)]):
        raise InputError(
            f"{folder.name} holds {shown(strange[0])}, which is no part of a batch; give another folder."
        )
    found = {p.name for p in folder.glob("part-*.parquet")}
    written: list[str] = []

    def finished(begin: int, cases: Sequence[Case]) -> bool:
        name = _name(begin)
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
            made = computed(parts, executor, progress, stop, total, quick, finished)
            for begin, cases, table in made:
                written.append(_name(begin))
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


def _name(begin: int) -> str:
    return f"part-{begin:09d}.parquet"


def _is_part(path: Path) -> bool:
    """A chunk, or what a killed writer of one leaves."""
    return path.name.lstrip(".").startswith("part-") or path.name == f".{path.parent.name}.lock"


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

    kinds = {
        name: pa.string() if values.dtype == object else None for name, values in table.items()
    }
    columns = {name: pa.array(values, kinds[name]) for name, values in table.items()}
    made = pa.table(columns).replace_schema_metadata({**_ABOUT, b"inputs": checksum})
    with writing(file) as temporary:
        pq.write_table(made, temporary)
