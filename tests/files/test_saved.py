"""Our own files: kind, version, formula safety, round trip, refusal of what was changed."""

import json
import time

import numpy as np
import pytest
from checks import refuses
from hypothesis import given
from hypothesis import strategies as st

from forgeprops.io.saved import plain_cell, read_json, safe_cell, write_json

#: Payloads of the kind published for formula injection (OWASP; CWE-1236).
PAYLOADS = [
    "=1+1", "+1+1", "-2+3", "@SUM(A1)", "=cmd|' /C calc'!A0", "\t=1+1", "\r=1+1", " =1+1", "＝1+1",
    "'=1+1", '=HYPERLINK("http://example.org","x")', "\n=1",
]  # fmt: skip


@pytest.mark.parametrize("payload", PAYLOADS)
def test_no_csv_cell_begins_like_a_formula(payload):
    safe = safe_cell(payload)
    assert safe[0] == "'" and plain_cell(safe) == payload


@given(st.text(max_size=30))
def test_safe_cells_come_back(text):
    assert plain_cell(safe_cell(text)) == text


def test_json_comes_back(tmp_path):
    write_json(tmp_path / "s.json", "shop", 1, {"name": "ü", "spray": 1.25})
    back = read_json(tmp_path / "s.json", "shop", (1, 2))
    assert back == {"version": 1, "name": "ü", "spray": 1.25}


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


def test_ninety_thousand_names_take_no_minutes():
    """A name given twice was looked for in a list: five minutes for the 1 MB that are allowed."""
    text, start = ", ".join(f'"{i}": 0' for i in range(90_000)), time.monotonic()
    data = f'{{{text}, "7": 1}}'.encode()
    refuses("'7' is given twice", read_json, data, "shop", (1,), "s.json", 2**21)
    assert time.monotonic() - start < 5.0


def test_unsaveable_content_writes_nothing(tmp_path):
    for content in ({"a": float("nan")}, {"a": {1, 2}}, {"a": np.array([1.0])}):
        refuses("cannot be saved", write_json, tmp_path / "s.json", "shop", 1, content)
    assert list(tmp_path.iterdir()) == []
    write_json(tmp_path / "s.json", "shop", 1, {"name": "\ud800"})  # half a surrogate pair
    assert json.loads((tmp_path / "s.json").read_text())["version"] == 1
