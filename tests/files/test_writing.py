"""Saves are whole or not at all, also under kills and concurrent writers."""

import multiprocessing
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from checks import refuses

from forgeprops.base.errors import InputError
from forgeprops.io.saved import read_json, write_json
from forgeprops.io.writing import locked, write_bytes, writing

posix = pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")


def leftovers(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if p.name.startswith("."))


def test_existing_file_is_kept_unless_asked(tmp_path):
    path = tmp_path / "a.bin"
    write_bytes(path, b"old")
    refuses("exists already and is kept", write_bytes, path, b"new")
    assert path.read_bytes() == b"old"
    write_bytes(path, b"new", overwrite=True)
    assert path.read_bytes() == b"new"
    assert leftovers(tmp_path) == []


@pytest.mark.parametrize("path", ["", "no/such/folder/x.json", ".", 7, None, "a\0b", "x" * 300])
def test_unusable_targets_raise_our_error(tmp_path, monkeypatch, path):
    monkeypatch.chdir(tmp_path)
    refuses("", write_bytes, path, b"x")
    assert list(tmp_path.iterdir()) == []


def test_failure_while_writing_leaves_old_file_and_no_litter(tmp_path):
    path = tmp_path / "a.txt"
    write_bytes(path, b"old")
    with pytest.raises(RuntimeError), writing(path, overwrite=True) as temporary:
        temporary.write_bytes(b"half")
        raise RuntimeError("model stopped")
    assert path.read_bytes() == b"old" and leftovers(tmp_path) == []
    with pytest.raises(InputError, match="cannot be written"), writing(path, overwrite=True):
        pass  # nothing written: there is nothing to rename
    assert path.read_bytes() == b"old" and leftovers(tmp_path) == []


def test_mode_of_an_overwritten_file_and_links_are_kept(tmp_path):
    path, link = tmp_path / "real.txt", tmp_path / "link.txt"
    write_bytes(path, b"old")
    path.chmod(0o640)
    link.symlink_to(path)
    write_bytes(link, b"new", overwrite=True)
    assert link.is_symlink() and path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_full_disk_is_a_clear_error(tmp_path, monkeypatch):
    path = tmp_path / "a.txt"
    write_bytes(path, b"old")

    def full(self, data):
        with open("/dev/full", "wb", buffering=0) as file:
            file.write(data)

    monkeypatch.setattr(Path, "write_bytes", full)
    refuses("[Nn]o space", write_bytes, path, b"new", overwrite=True)
    assert path.read_bytes() == b"old" and leftovers(tmp_path) == []


# A writer that kills itself at a chosen system call: as close to a power cut as a test comes.
SUICIDE = """
import os, signal, sys
from pathlib import Path
from forgeprops.io.saved import write_json
point, path = sys.argv[1:]
def die(*a, **k): os.kill(os.getpid(), signal.SIGKILL)
real_write = Path.write_bytes
if point == "half-written":
    def half(self, data):
        real_write(self, data[: len(data) // 2]); die()
    Path.write_bytes = half
elif point == "before flush": os.fsync = die
elif point == "before rename": os.replace = die
elif point == "after rename":
    real = os.replace
    def replace(a, b): real(a, b); die()
    os.replace = replace
write_json(path, "shop", 1, {"n": 2, "filler": "x" * 100_000}, overwrite=True)
"""


@posix
@pytest.mark.parametrize("point, expected", [("half-written", 1), ("before flush", 1), ("before rename", 1), ("after rename", 2)])  # fmt: skip
def test_kill_at_each_step_leaves_old_or_new_whole(tmp_path, point, expected):
    path = tmp_path / "shop.json"
    write_json(path, "shop", 1, {"n": 1, "filler": "x" * 100_000})
    command = [sys.executable, "-c", SUICIDE, point, str(path)]
    done = subprocess.run(command, capture_output=True, timeout=60)
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    assert read_json(path, "shop", (1,))["n"] == expected
    # the dead writer's lock and litter do not hinder
    write_json(path, "shop", 1, {"n": 3}, overwrite=True)
    assert read_json(path, "shop", (1,))["n"] == 3
    assert leftovers(tmp_path) == []


def _save_often(path, letter):
    for _ in range(30):
        write_json(path, "shop", 1, {"who": letter, "filler": letter * 50_000}, overwrite=True)


def _save_once(path, letter, results):
    try:
        write_bytes(path, letter.encode() * 100_000)
        results.put(letter)
    except InputError:
        results.put("")


def test_concurrent_writers_never_mix(tmp_path):
    path = tmp_path / "shop.json"
    write_json(path, "shop", 1, {"who": "z", "filler": "z" * 50_000})
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_save_often, args=(str(path), letter)) for letter in "abc"]
    for writer in writers:
        writer.start()
    seen = set()
    while any(w.is_alive() for w in writers):
        content = read_json(path, "shop", (1,))
        assert content["filler"] == content["who"] * 50_000
        seen.add(content["who"])
    assert [w.exitcode for w in writers] == [0, 0, 0]
    assert len(seen) >= 2 and leftovers(tmp_path) == []


def test_of_many_first_writers_one_wins(tmp_path):
    path = tmp_path / "new.bin"
    context = multiprocessing.get_context("spawn")
    results = context.Queue()
    given = [(str(path), letter, results) for letter in "abcd"]
    writers = [context.Process(target=_save_once, args=args) for args in given]
    for writer in writers:
        writer.start()
    got = [results.get(timeout=60) for _ in writers]
    for writer in writers:
        writer.join(60)
    winners = [letter for letter in got if letter]
    assert len(winners) == 1 and path.read_bytes() == winners[0].encode() * 100_000


def test_lock_held_by_another_is_a_clear_error(tmp_path):
    path = tmp_path / "a.txt"
    busy = pytest.raises(InputError, match="being written by another program")
    with locked(path), busy, locked(path, timeout_s=0.05):
        pass
    with locked(path, timeout_s=0.05):
        pass
    assert leftovers(tmp_path) == []


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_folder_without_permission(tmp_path):
    tmp_path.chmod(0o500)
    try:
        refuses("[Pp]ermission", write_bytes, tmp_path / "a.txt", b"x")
    finally:
        tmp_path.chmod(0o700)
