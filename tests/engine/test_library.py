"""The loader: the library of this machine loads, and each way it can be wrong gives one sentence."""

import ctypes
import os
import shutil
import subprocess
import sys

import pytest

from forgeprops.engine.native import library

LIBRARIES = sorted(library.FOLDER.glob(f"_engine_{library.machine()}*{library.SUFFIX}"))


def refused(folder):
    """The sentence of a folder whose engine cannot be used."""
    with pytest.raises(library.EngineLibraryError) as caught:
        library.load_from(folder)
    sentence = str(caught.value)
    assert sentence.endswith(".") and "\n" not in sentence
    return sentence


@pytest.fixture
def copy(tmp_path):
    """A copy of the engine's folder, sources and libraries."""
    assert LIBRARIES, "build the engine: pip install -e ."
    ignored = shutil.ignore_patterns("__pycache__", "_engine_build_*")
    return shutil.copytree(library.FOLDER, tmp_path / "native", ignore=ignored)


def test_engine_is_of_these_sources_loads_alone_and_names_a_low_processor():
    engine = library.load()
    assert isinstance(engine, ctypes.CDLL) and library.load() is engine
    assert engine.forgeprops_source_hash().decode() == library.source_hash()
    with pytest.raises(library.EngineLibraryError, match="runs instruction level 1; the compiled"):
        library._choose([2, 3, 4], 1)
    code = "import library; print(library.load()._name)"
    how = {"cwd": library.FOLDER, "capture_output": True, "text": True, "check": True}
    assert str(library.FOLDER) in subprocess.run([sys.executable, "-c", code], **how).stdout


def test_missing_library_names_the_platform_and_the_remedy(copy):
    for path in copy.glob("_engine_*"):
        path.unlink()
    sentence = refused(copy)
    assert "is missing" in sentence and library.machine() in sentence
    assert "pip install -e ." in sentence
    (copy / "engine.c").unlink()
    assert "pip install --force-reinstall" in refused(copy)


@pytest.mark.parametrize("content", [b"", b"no library at all", b"\x7fELF" + bytes(60)])
def test_foreign_file_is_no_library(copy, content):
    for path in copy.glob("_engine_*"):
        path.write_bytes(content)
    assert "is not a library of forgeprops for this platform" in refused(copy)


@pytest.mark.parametrize("name", ["engine.c", "targets.py", "new.h"])
def test_library_older_than_a_source_is_stale(copy, name):
    library.load_from(copy)
    with open(copy / name, "a") as file:
        file.write("\n")
    assert "is older than its C sources" in refused(copy)


def test_line_ends_of_a_checkout_do_not_matter(copy):
    path = copy / "engine.c"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert library.source_hash(copy) == library.source_hash()


@pytest.mark.skipif(library.machine() != "x86_64", reason="one instruction level on this processor")
def test_processor_chooses_the_level_and_a_lower_one_can_be_named(copy, monkeypatch):
    monkeypatch.delenv("FORGEPROPS_LEVEL", raising=False)
    highest = library.load_from(copy).forgeprops_cpu_level()
    assert library.load_from(copy)._name.endswith(f"_v{highest}{library.SUFFIX}")
    for level in range(3, highest + 1):
        monkeypatch.setenv("FORGEPROPS_LEVEL", str(level))
        assert library.load_from(copy)._name.endswith(f"_v{level}{library.SUFFIX}")
    monkeypatch.setenv("FORGEPROPS_LEVEL", "fast")
    assert "FORGEPROPS_LEVEL is 'fast'; allowed on this processor: 3" in refused(copy)


@pytest.mark.skipif(
    not os.path.exists("/proc/cpuinfo"), reason="the kernel's list is the reference"
)
@pytest.mark.skipif(library.machine() != "x86_64", reason="one instruction level on this processor")
def test_level_agrees_with_the_flags_of_the_kernel():
    with open("/proc/cpuinfo") as file:
        flags = next(set(line.split()) for line in file if line.startswith("flags"))
    needed = {
        2: {"ssse3", "sse4_1", "sse4_2", "popcnt", "cx16"},
        3: {"avx", "avx2", "bmi1", "bmi2", "f16c", "fma", "abm", "movbe"},
        4: {"avx512f", "avx512bw", "avx512cd", "avx512dq", "avx512vl"},
    }
    level = 1
    while level < 4 and needed[level + 1] <= flags:
        level += 1
    assert library.load().forgeprops_cpu_level() == level
