"""Saves are whole or not at all, also under kills and concurrent writers; our own files and tables come back as written."""

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from checks import refuses
from hypothesis import given, settings
from hypothesis import strategies as st

import forgeprops as fp
from forgeprops.base.cautions import SHORT
from forgeprops.io.saved import json_bytes, plain_cell, read_json, safe_cell
from forgeprops.io.writing import locked, write_bytes, writing


def write_json(path, *content, overwrite=False):
    write_bytes(path, json_bytes(*content), overwrite)


def leftovers(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if p.name.startswith("."))


def test_existing_files_modes_and_links_are_kept(tmp_path):
    path = tmp_path / "a.bin"
    write_bytes(path, b"old")
    refuses("exists already and is kept", write_bytes, path, b"new")
    assert path.read_bytes() == b"old"
    write_bytes(path, b"new", overwrite=True)
    assert path.read_bytes() == b"new"
    assert leftovers(tmp_path) == []
    path, link = tmp_path / "real.txt", tmp_path / "link.txt"
    write_bytes(path, b"old")
    path.chmod(0o640)
    link.symlink_to(path)
    write_bytes(link, b"new", overwrite=True)
    assert link.is_symlink() and path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640


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
    with pytest.raises(fp.InputError, match="cannot be written"), writing(path, overwrite=True):
        pass  # nothing written: there is nothing to rename
    assert path.read_bytes() == b"old" and leftovers(tmp_path) == []


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
from forgeprops.io.saved import json_bytes
from forgeprops.io.writing import write_bytes
point, path = sys.argv[1:]
die = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
write, replace = Path.write_bytes, os.replace
if point == "half-written": Path.write_bytes = lambda self, data: die(write(self, data[: len(data) // 2]))
elif point == "before flush": os.fsync = die
elif point == "before rename": os.replace = die
elif point == "after rename": os.replace = lambda *ends: die(replace(*ends))
write_bytes(path, json_bytes("shop", 1, {"n": 2, "filler": "x" * 100_000}), True)
"""


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")
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


def _save_once(path, letter):
    try:
        write_bytes(path, letter.encode() * 100_000)
        return letter
    except fp.InputError:
        return ""


@pytest.fixture
def processes():
    """Processes of their own to write in."""
    with ProcessPoolExecutor(4, multiprocessing.get_context("spawn")) as pool:
        yield pool


def test_concurrent_writers_never_mix(tmp_path, processes):
    path = tmp_path / "shop.json"
    write_json(path, "shop", 1, {"who": "z", "filler": "z" * 50_000})
    writers = [processes.submit(_save_often, str(path), letter) for letter in "abc"]
    seen = set()
    while not all(w.done() for w in writers):
        content = read_json(path, "shop", (1,))
        assert content["filler"] == content["who"] * 50_000
        seen.add(content["who"])
    assert [w.result() for w in writers] == [None] * 3
    assert len(seen) >= 2 and leftovers(tmp_path) == []


def test_of_many_first_writers_one_wins(tmp_path, processes):
    path = tmp_path / "new.bin"
    (winner,) = filter(None, processes.map(_save_once, [str(path)] * 4, "abcd", timeout=60))
    assert path.read_bytes() == winner.encode() * 100_000


def test_lock_held_by_another_is_a_clear_error(tmp_path):
    path = tmp_path / "a.txt"
    busy = pytest.raises(fp.InputError, match="being written by another program")
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


#: Payloads of the kind published for formula injection (OWASP; CWE-1236).
PAYLOADS = [
    "=1+1", "+1+1", "-2+3", "@SUM(A1)", "=cmd|' /C calc'!A0", "\t=1+1", "\r=1+1", " =1+1", "＝1+1",
    "'=1+1", '=HYPERLINK("http://example.org","x")', "\n=1",
]  # fmt: skip


def test_no_csv_cell_begins_like_a_formula():
    for payload in PAYLOADS:
        safe = safe_cell(payload)
        assert safe[0] == "'" and plain_cell(safe) == payload


@given(st.text(max_size=30))
def test_safe_cells_come_back(text):
    assert plain_cell(safe_cell(text)) == text


def test_json_comes_back_refuses_what_it_cannot_hold_and_takes_no_minutes(tmp_path):
    for content in ({"a": float("nan")}, {"a": {1, 2}}, {"a": np.array([1.0])}):
        refuses("cannot be saved", write_json, tmp_path / "s.json", "shop", 1, content)
    assert list(tmp_path.iterdir()) == []
    write_json(tmp_path / "s.json", "shop", 1, {"name": "\ud800"})  # half a surrogate pair
    assert json.loads((tmp_path / "s.json").read_text())["version"] == 1
    write_json(tmp_path / "t.json", "shop", 1, {"name": "ü", "spray": 1.25})
    back = read_json(tmp_path / "t.json", "shop", (1, 2))
    assert back == {"version": 1, "name": "ü", "spray": 1.25}
    # A name given twice was looked for in a list: five minutes for the 1 MB that are allowed.
    text, start = ", ".join(f'"{i}": 0' for i in range(90_000)), time.monotonic()
    data = f'{{{text}, "7": 1}}'.encode()
    refuses("'7' is given twice", read_json, data, "shop", (1,), "s.json", 2**21)
    assert time.monotonic() - start < 5.0


@pytest.mark.parametrize("text, message", [
    ("", "empty"), ("{", "not JSON"), ("[]", "does not say what it is"), ("null", "does not say"),
    ('{"format": "forgeprops route", "version": 1}', "says 'forgeprops route'"),
    ('{"format": "forgeprops shop"}', "version None"),
    ('{"format": "forgeprops shop", "version": true}', "version True"),
    ('{"format": "forgeprops shop", "version": 2}', "newer forgeprops"),
    ('{"format": "forgeprops shop", "version": 0}', "version must be 1"),
    ('{"format": "forgeprops shop", "version": "1"}', "version must be 1"),
    ('{"format": "forgeprops shop", "version": 1, "a": 1, "a": 2}', "given twice"),
    ('{"format": "forgeprops shop", "version": 1, "a": NaN}', "contains NaN"),
    ('{"format": "forgeprops shop", "version": 1, "a": -Infinity}', "contains -Infinity"),
    ("[" * 200_000, "nested more than 20 deep"),
    ('{"format": "forgeprops shop", "a": "' + "[" * 100 + '\\"["}', "version None"),
    ('{"format": ' + "9" * 5000 + "}", "not a shop file"),
])  # fmt: skip
def test_json_refusals(text, message):
    refuses(message, read_json, text.encode(), "shop", (1,), "s.json")


ENDINGS = (".csv", ".xlsx", ".parquet")
#: Texts that readers of tables take for something else.
NASTY = ["NA", "nan", "None", "null", "0042", "1020", "True", "1e5", "=1+1", "'x", "-", " a ", "a\rb", "a\nb", "a\r\nb", "x,y;z\t", '"', "#N/A", "_x000D_", "", "ü°", "2025-02-01"]  # fmt: skip


@pytest.mark.parametrize("ending", ENDINGS)
def test_tables_come_back_as_written(ending, tmp_path):
    n = len(NASTY)
    values = np.r_[np.nan, 1e-300, 1 / 3, np.arange(3.0, n)]
    whole, flags = np.arange(n) - 2**53, np.arange(n) % 2 == 0
    table = pd.DataFrame({"heat": NASTY, "=hv": values, "n": whole, "ok": flags})
    fp.write_table(table, tmp_path / f"t{ending}")
    back = fp.read_table(tmp_path / f"t{ending}")
    assert back.heat.tolist() == NASTY
    assert back.dtypes.astype(str).tolist()[1:] == ["float64", "int64", "bool"]
    numbers = (t.drop(columns="heat") for t in (back, table))
    pd.testing.assert_frame_equal(*numbers, check_exact=True)
    refuses("exists already", fp.write_table, table, tmp_path / f"t{ending}")


any_text = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)


@settings(max_examples=30, deadline=None)
@given(st.lists(any_text, min_size=1, max_size=6))
def test_any_text_comes_back(tmp_path_factory, texts):
    folder = tmp_path_factory.mktemp("t")
    for ending in ENDINGS:
        try:
            fp.write_table(pd.DataFrame({"a": texts}), folder / f"t{ending}")
        except fp.InputError as error:  # a sheet holds no half or unprintable character
            assert ending == ".xlsx", error
        else:
            assert fp.read_table(folder / f"t{ending}").a.tolist() == texts


def test_estimates_come_back(tmp_path):
    table = fp.estimate_many(["4130", "1020", "no such"], quick=True)
    for ending in ENDINGS:
        fp.write_table(table, tmp_path / f"t{ending}")
        back = fp.read_table(tmp_path / f"t{ending}")
        assert back.error.tolist() == table.error.tolist()
        assert np.array_equal(back.face_hardness_hv, table.face_hardness_hv, equal_nan=True)


@pytest.mark.parametrize("table, path, message", [
    (pd.DataFrame({"a": [1, "x"]}), "t.csv", "column 'a' holds 1"),
    (pd.DataFrame({5: [1]}), "t.csv", "column 5"),
    (pd.DataFrame({"a": ["\ud800"]}, dtype=object), "t.parquet", "cannot hold"),
    (pd.DataFrame({"a": ["x" * 40_000]}), "t.xlsx", "40000 characters"),
    (pd.DataFrame({"a": [1]}), "t.txt", "Allowed: .csv, .xlsx, .parquet"),
    ([1], "t.csv", "table must be a DataFrame")])  # fmt: skip
def test_what_no_file_can_hold_is_refused(table, path, message, tmp_path):
    refuses(message, fp.write_table, table, tmp_path / path)
    assert not list(tmp_path.iterdir())


def test_no_room_for_a_workbook_is_one_sentence(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(openpyxl.Workbook, "save", full)
    table, path = pd.DataFrame({"a": [1]}), tmp_path / "t.xlsx"
    refuses("t.xlsx cannot be written: No space left", fp.write_table, table, path)


def test_a_changed_table_is_refused(tmp_path):
    fp.write_table(pd.DataFrame({"n": [1, 2], "hv": [1.0, 2.0]}), tmp_path / "t.csv")
    good = (tmp_path / "t.csv").read_text()
    about = json.loads(good.splitlines()[0].strip('"').replace('""', '"')[2:])
    columns = {"n": "whole", "hv": "number"}
    kind = {"format": "forgeprops table", "version": 1}
    assert about == {**kind, "columns": columns, "cautions": SHORT}
    changes = ("1,1.0", "x,1.0"), ("1,1.0", "1"), ('""version"": 1', '""version"": 9')
    for old, new in (*changes, ('"n","hv"', '"m","hv"'), ("# ", "")):
        assert old in good
        refuses("", fp.read_table, good.replace(old, new, 1).encode(), "t.csv")
