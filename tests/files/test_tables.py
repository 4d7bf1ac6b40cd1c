"""Tables come back as written, from every kind of file."""

import json

import numpy as np
import pandas as pd
import pytest
from checks import refuses
from hypothesis import given, settings
from hypothesis import strategies as st

import forgeprops as fp
from forgeprops.base.cautions import SHORT

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
    import openpyxl

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
