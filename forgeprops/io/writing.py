"""Writing a file whole or not at all: a temporary file beside the target, flushed to disk, then renamed.

A kill or a power cut leaves the old file or the new one, never a half.  An existing file is kept unless the
caller says `overwrite=True`.  Writers of one file wait for each other.
"""

import contextlib
import errno
import os
import secrets
import stat
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from ..base.errors import InputError, check_flag, shown
from .reading import one_line, read_source

#: How long a writer waits for another writer of the same file, s.
LOCK_TIMEOUT_S = 10.0


def output_path(path, folder: bool = False) -> Path:
    """Resolved path of a file (or folder) to write."""
    if not isinstance(path, (str, os.PathLike)) or not os.fspath(path):
        raise InputError(f"file to write must be a path; got {shown(path)}.")
    try:
        target = Path(path).expanduser().resolve()
        exists, is_folder, parent = target.exists(), target.is_dir(), target.parent.is_dir()
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"{one_line(path)!r} cannot be written: {reason}.") from None
    if target.name and not (target.name.strip() and target.name.isprintable()):
        named = shown(target.name)
        raise InputError(f"file to write is named {named}; give a name of visible characters.")
    if exists and is_folder != folder:
        is_a, allowed = ("folder", "file") if is_folder else ("file", "folder")
        raise InputError(f"{one_line(path)!r} is a {is_a}; give the path of a {allowed} to write.")
    if not parent:
        raise InputError(f"folder {one_line(target.parent)!r} does not exist; make it first.")
    return target


try:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in (errno.EWOULDBLOCK, errno.EACCES, errno.EINTR):
                return False
            if error.errno not in (errno.ENOLCK, errno.ENOTSUP, errno.EINVAL):
                raise
        return True  # a file system without locks: the rename alone keeps the file whole
except ImportError:  # Windows
    import msvcrt

    def _try_lock(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True


@contextlib.contextmanager
def locked(path, timeout_s: float = LOCK_TIMEOUT_S) -> Iterator[Path]:
    """Hold the writers' lock of a file; yields its resolved path.

    The lock is advisory (it binds writers that ask for it) and belongs to the open handle, so the system
    frees it when its holder is killed; its file ``.NAME.lock`` is removed again.
    """
    target = output_path(path)
    lock, give_up = target.with_name(f".{target.name}.lock"), time.monotonic() + timeout_s
    handle = None
    try:
        while handle is None:
            handle = os.open(lock, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o666)
            # Another holder may have removed the file between our open and our lock: then we hold a lock on
            # nothing and must begin again.
            if not (_try_lock(handle) and _is_of(handle, lock)):
                os.close(handle)
                handle = None
                if time.monotonic() > give_up:
                    busy = f"{target.name} is being written by another program"
                    raise InputError(f"{busy}; try again (waited {timeout_s:g} s).")
                time.sleep(0.005)
    except PermissionError as error:
        if handle is not None:
            os.close(handle)
        where = f"{error.strerror} ({target.parent})"
        raise InputError(f"{target.name} cannot be written: {where}.") from None
    except OSError as error:
        raise InputError(f"{target.name} cannot be written: {error.strerror}.") from None
    try:
        yield target
    finally:
        if os.name == "nt":  # an open file cannot be removed there
            os.close(handle)
        with contextlib.suppress(OSError):
            lock.unlink()
        if os.name != "nt":
            os.close(handle)


def _is_of(handle: int, path: Path) -> bool:
    with contextlib.suppress(FileNotFoundError):
        return os.path.samestat(os.fstat(handle), os.stat(path))
    return False


@contextlib.contextmanager
def writing(path, overwrite: bool = False) -> Iterator[Path]:
    """Write a file whole or not at all: yields a temporary path; on a clean exit it becomes `path`.

    Without `overwrite` an existing file is an error and stays as it is.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with writing(folder + "/note.txt") as temporary:
    ...         _ = temporary.write_text("whole")
    ...     print(Path(folder, "note.txt").read_text())
    whole
    """
    check_flag(overwrite, "overwrite")
    with locked(path) as target:
        if target.exists() and not overwrite:
            give = f"give another name, or overwrite=True to replace it ({target.parent})"
            raise InputError(f"{target.name} exists already and is kept; {give}.")
        with _replacing(target) as temporary:
            yield temporary


@contextlib.contextmanager
def _replacing(target: Path) -> Iterator[Path]:
    """The part of `writing` that is done under the lock."""
    # We hold the lock, so any temporary file of this target belongs to a writer that was killed.
    prefix = f".{target.name}."
    for stale in target.parent.iterdir():
        if stale.name.startswith(prefix) and stale.name.endswith(".part"):
            with contextlib.suppress(OSError):
                stale.unlink()
    temporary = target.with_name(f"{prefix}{secrets.token_hex(4)}.part")
    try:
        yield temporary
        with open(temporary, "r+b") as file:
            os.fsync(file.fileno())
        if target.exists():
            os.chmod(temporary, stat.S_IMODE(target.stat().st_mode))
        os.replace(temporary, target)
        if os.name != "nt":  # put the rename itself on the disk; POSIX only
            with contextlib.suppress(OSError):
                handle = os.open(target.parent, os.O_RDONLY)
                try:
                    os.fsync(handle)
                finally:
                    os.close(handle)
    except OSError as error:
        raise InputError(f"{target.name} cannot be written: {error.strerror or error}.") from None
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink()


def write_bytes(path, data: bytes, overwrite: bool = False) -> None:
    """Write bytes whole or not at all (see `writing`)."""
    with writing(path, overwrite) as temporary:
        temporary.write_bytes(data)


def update_bytes(path, change: Callable[[bytes | None], bytes]) -> None:
    """Read a file, change it and write it back while holding its lock, so that no writer's change is lost.

    `change` takes the file's bytes (None if there is no file) and returns the new ones; what it raises
    leaves the file as it was.
    """
    with locked(path) as target:
        old = read_source(target).data if target.exists() and target.stat().st_size else None
        data = change(old)
        with _replacing(target) as temporary:
            temporary.write_bytes(data)
