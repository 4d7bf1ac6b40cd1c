"""Finds, checks and loads the compiled engine.

The file imports nothing of the package: the build reads it before the package can be imported.
"""

from __future__ import annotations

import ctypes
import functools
import hashlib
import os
import platform
import re
import sys
import sysconfig
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
SUFFIX = {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")


class EngineLibraryError(RuntimeError):
    """The compiled engine cannot be used; the message is one sentence with the remedy."""


def machine() -> str:
    """Return the processor family of this Python: ``x86_64``, ``arm64`` or its own name."""
    name = sysconfig.get_platform().rpartition("-")[2].lower()
    if name == "universal2":
        name = platform.machine().lower()
    return {"amd64": "x86_64", "aarch64": "arm64"}.get(name, name)


def source_hash(folder: Path = FOLDER) -> str:
    """Return the hash of all that decides the machine code: C sources, headers and `targets` with the flags."""
    digest = hashlib.sha256()
    for path in sorted([*folder.glob("*.c"), *folder.glob("*.h"), folder / "targets.py"]):
        digest.update(
            path.name.encode() + b"\0" + path.read_bytes().replace(b"\r\n", b"\n") + b"\0"
        )
    return digest.hexdigest()[:32]


def _remedy(folder: Path) -> str:
    if (folder / "engine.c").exists():
        return 'build it with "pip install -e ." in the folder that holds pyproject.toml'
    return 'install it with "pip install --force-reinstall --no-deps forgeprops"'


def _open(path: Path) -> ctypes.CDLL:
    try:
        library = ctypes.CDLL(str(path))
        for name in ("forgeprops_source_hash", "forgeprops_compiled_by"):
            getattr(library, name).restype = ctypes.c_char_p
        library.forgeprops_cpu_level.restype = ctypes.c_int
    except (OSError, AttributeError) as error:
        raise EngineLibraryError(
            f"The compiled engine {path} is not a library of forgeprops for this platform; {_remedy(path.parent)}."
        ) from error
    return library


def _level(path: Path) -> int:
    """Instruction level in a library's name; 1 where the platform has one level only."""
    found = re.search(r"_v(\d)$", path.stem)
    return int(found[1]) if found else 1


def _choose(levels: list[int], highest: int) -> int:
    """Return the highest level that the processor runs, or the one that FORGEPROPS_LEVEL names."""
    usable = [level for level in levels if level <= highest]
    wanted = os.environ.get("FORGEPROPS_LEVEL", "")
    if wanted:
        if wanted not in map(str, usable):
            raise EngineLibraryError(
                f"FORGEPROPS_LEVEL is {wanted!r}; allowed on this processor: "
                f"{', '.join(map(str, usable)) or 'none'}."
            )
        return int(wanted)
    if not usable:
        raise EngineLibraryError(
            f"This processor runs instruction level {highest}; the compiled engine needs "
            f"level {min(levels)} (AVX2 and FMA) or higher."
        )
    return max(usable)


def load_from(folder: Path) -> ctypes.CDLL:
    """Return the engine of a folder, at the highest instruction level that this processor runs.

    An EngineLibraryError says that it is missing, foreign, older than the C sources beside it, or needs a newer processor.
    """
    paths = {_level(p): p for p in folder.glob(f"_engine_{machine()}*{SUFFIX}")}
    if not paths:
        raise EngineLibraryError(
            f"The compiled engine for {sys.platform} on {machine()} is missing in {folder}; {_remedy(folder)}."
        )
    lowest = _open(paths[min(paths)])
    path = paths[_choose(sorted(paths), lowest.forgeprops_cpu_level())]
    library = _open(path)
    if (folder / "engine.c").exists() and library.forgeprops_source_hash().decode() != source_hash(
        folder
    ):
        raise EngineLibraryError(
            f"The compiled engine {path} is older than its C sources; {_remedy(folder)}."
        )
    return library


@functools.cache
def load() -> ctypes.CDLL:
    """Return the compiled engine, loaded once.

    The environment variable FORGEPROPS_LEVEL (3 or 4 on x86-64) chooses a lower instruction level than the
    processor's own, for tests and benchmarks. All levels give the same digits.
    """
    return load_from(FOLDER)
