"""Our own files: kind, version, formula safety, round trip, refusal of what was cut or changed."""

import json

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forgeprops.base.errors import InputError
from forgeprops.io.saved import (
    plain_cell,
    read_json,
    read_table,
    safe_cell,
    write_json,
    write_table,
)

#: Payloads of the kind published for formula injection (OWASP; CWE-1236).
PAYLOADS = [
    "=1+1",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "=cmd|' /C calc'!A0",
    "\t=1+1",
    "\r=1+1",
    " =1+1",
    "＝1+1",
    "'=1+1",
    '=HYPERLINK("http://example.org","x")',
    "\n=1",
]


@pytest.mark.parametrize("payload", PAYLOADS)
def test_no_csv_cell_begins_like_a_formula(payload):
    safe = safe_cell(payload)
    assert safe[0] == "'" and plain_cell(safe) == payload


@given(st.text(max_size=30))
def test_safe_cells_come_back(text):
    assert plain_cell(safe_cell(text)) == text


def frame() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "heat": ["A1", *PAYLOADS[:6]],
            "=header": ["ü", "b;c", 'd"e', "", "g,h", "<b>", None],
            "hardness_hv": [285.123456789012, 1e-7, 3.0, np.nan, 5.0, 6.0, 7.0],
            "n": range(7),
        }
    )


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".parquet"])
def test_tables_come_back(tmp_path, suffix):
    path, table = tmp_path / f"t{suffix}", frame()
    write_table(path, table, "estimate")
    back = read_table(path, "estimate")
    assert list(back.columns) == list(table.columns) and list(back["n"]) == list(range(7))
    assert [h for h in back["heat"]][:6] == list(table["heat"])[:6]
    np.testing.assert_allclose(back["hardness_hv"].astype(float), table["hardness_hv"], rtol=1e-12)
    with pytest.raises(InputError, match="exists already"):
        write_table(path, table, "estimate")
    with pytest.raises(InputError, match="does not say that it is a fit table"):
        read_table(path, "fit")


def test_written_spreadsheets_hold_no_formula(tmp_path):
    write_table(tmp_path / "t.xlsx", frame(), "estimate")
    cells = [c for ws in openpyxl.load_workbook(tmp_path / "t.xlsx") for row in ws for c in row]
    assert all(c.data_type != "f" for c in cells)
    assert any(c.value == "=1+1" and c.data_type == "s" for c in cells)
    write_table(tmp_path / "t.csv", frame(), "estimate")
    lines = (tmp_path / "t.csv").read_text().splitlines()
    assert not any(line.lstrip('"')[:1] in "=+-@" for line in lines[1:])


def test_cut_off_table_and_unknown_version_are_refused(tmp_path):
    path = tmp_path / "t.csv"
    write_table(path, frame(), "estimate")
    text = path.read_text()
    with pytest.raises(InputError, match="holds 5 rows, but 7 were written"):
        read_table("\n".join(text.splitlines()[:-2]).encode(), "estimate", "t.csv")
    with pytest.raises(InputError, match="written by a newer forgeprops"):
        read_table(text.replace("version 1", "version 9").encode(), "estimate", "t.csv")


@pytest.mark.parametrize(
    "data",
    [
        b"PK\x03\x04junk",
        b"PAR1junkjunk",
        b"\xff\xfe\x00",
        b"heat,C\nA1,0.2\n",
        b"#",
        b"# a, b, rows",
    ],
)
def test_foreign_tables_are_refused(data):
    with pytest.raises(InputError):
        read_table(data, "estimate", "x")


@pytest.mark.parametrize(
    "path, table", [("t.doc", frame()), ("t", frame()), (None, frame()), ("t.csv", [1, 2])]
)
def test_unusable_targets(tmp_path, monkeypatch, path, table):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError):
        write_table(path, table, "estimate")
    assert list(tmp_path.iterdir()) == []


def test_json_comes_back(tmp_path):
    write_json(tmp_path / "s.json", "shop", 1, {"name": "ü", "spray": 1.25})
    assert read_json(tmp_path / "s.json", "shop", (1, 2)) == {
        "version": 1,
        "name": "ü",
        "spray": 1.25,
    }


@pytest.mark.parametrize(
    "text, message",
    [
        ("", "empty"),
        ("{", "not JSON"),
        ("[]", "does not say what it is"),
        ("null", "does not say"),
        ('{"format": "forgeprops route", "version": 1}', "says 'forgeprops route'"),
        ('{"format": "forgeprops shop"}', "version None"),
        ('{"format": "forgeprops shop", "version": true}', "version True"),
        ('{"format": "forgeprops shop", "version": 2}', "newer forgeprops"),
        ('{"format": "forgeprops shop", "version": 0}', "allowed is 1"),
        ('{"format": "forgeprops shop", "version": "1"}', "allowed is 1"),
        ('{"format": "forgeprops shop", "version": 1, "a": 1, "a": 2}', "given twice"),
        ('{"format": "forgeprops shop", "version": 1, "a": NaN}', "contains NaN"),
        ('{"format": "forgeprops shop", "version": 1, "a": -Infinity}', "contains -Infinity"),
        ("[" * 200_000, "not"),
        ('{"format": ' + "9" * 5000 + "}", "not a shop file"),
    ],
)
def test_json_refusals(text, message):
    with pytest.raises(InputError, match=message):
        read_json(text.encode(), "shop", (1,), "s.json")


@given(st.binary(min_size=1, max_size=200))
def test_json_reader_raises_our_error_only(data):
    with pytest.raises(InputError):
        read_json(data, "shop", (1,), "s.json")


def test_unsaveable_content_writes_nothing(tmp_path):
    for content in ({"a": float("nan")}, {"a": {1, 2}}, {"a": np.array([1.0])}):
        with pytest.raises(InputError, match="cannot be saved"):
            write_json(tmp_path / "s.json", "shop", 1, content)
    assert list(tmp_path.iterdir()) == []
    write_json(tmp_path / "s.json", "shop", 1, {"name": "\ud800"})  # half a surrogate pair
    assert json.loads((tmp_path / "s.json").read_text())["version"] == 1
