"""Files handed over by people: sources, encodings, grids, numbers in cells, and what is refused."""

import datetime
import time

import openpyxl
import pytest
from checks import refuses, repacked, workbook
from hypothesis import given
from hypothesis import strategies as st

from forgeprops.io.cells import read_number
from forgeprops.io.grids import decimal_mark, read_grids
from forgeprops.io.reading import decode_text, read_source


def test_sources_their_names_and_sizes(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"C;Mn")
    upload = {"name": "a.csv", "type": "text/csv", "size": 4, "content": memoryview(b"C;Mn")}
    sources = [
        read_source(path), read_source(str(path)), read_source(b"C;Mn", "a.csv"),
        read_source(upload), read_source((upload,))]  # fmt: skip
    assert len(set(sources)) == 1
    assert read_source(b"x", "a\nb\x1b[31m.csv").name == "a?b?[31m.csv"
    path = tmp_path / "big.csv"
    with path.open("wb") as file:
        file.truncate(30 * 2**20)
    for source in (path, b"x" * (21 * 2**20), memoryview(bytearray(21 * 2**20))):
        refuses("larger than 20 MB", read_source, source)


@pytest.mark.parametrize("source, message", [
    ("no-such.csv", "does not exist"), ("/tmp", "a folder"), ("/dev/zero", "not an ordinary file"),
    (b"", "is empty"), (None, "must be a path, bytes or an upload"), (3, "must be a path"),
    ((), "0 files"), ([b"a", b"b"], "2 files"), ({"name": "x"}, "without name and content"),
    ("a\0b", "cannot be read"), ("x" * 5000, "cannot be read"),
])  # fmt: skip
def test_unusable_sources(source, message):
    refuses(message, read_source, source)


TEXTS = {
    "german": "Schmelze;Güte;C %\nA1;42CrMo4;0,41\n",
    "spanish": "colada;fósforo;níquel\n1;0,012;0,08\n",
    "japanese": "鋼種,溶解番号,炭素,けい素,マンガン\nSCM420,A1,0.21,0.25,0.75\n",
}


@pytest.mark.parametrize("language, encoding", [
    *(("german", e) for e in "utf-8 utf-8-sig utf-16 utf-16-le utf-16-be latin-1".split()),
    ("spanish", "cp1252"), *(("japanese", e) for e in "utf-8 cp932 utf-16".split())])  # fmt: skip
def test_encodings(language, encoding):
    assert decode_text(TEXTS[language].encode(encoding))[0] == TEXTS[language]


FIRST = "0.21|0,21|.21|,21|0.21%|0,21 %| 0.21\u00a0|０．２１|2.1E-1|2,1e-01|+0.21|0.21¹|0.21*|0.21 a)|0.21 ± 0.01"


@pytest.mark.parametrize("cell, value", [
    *((cell, 0.21) for cell in FIRST.split("|")),
    *((cell, 1234.5) for cell in ("1.234,5", "1,234.5")),
    *((cell, 12500.0) for cell in ("12 500", "12'500")),
    *((0.21, 0.21), (7, 7.0), ("−5", -5.0), ("~0.2", 0.2), ("70 ppm", 70.0)),
    ("1.234.567", 1234567.0)])  # fmt: skip
def test_numbers_people_write(cell, value):
    reading = read_number(cell)
    assert reading.kind == "number" and reading.value == pytest.approx(value, rel=1e-12)


NO_NUMBER = "O.21|0.2l|0..21|0,21,82|0.21 0.22|1_000|inf|abc|0x10|>0.5|max 0.025|0.21/0.22|=1+1|#REF!|½|0.2.1|12 5|e5|+|1e999"


@pytest.mark.parametrize("cell", [
    *NO_NUMBER.split("|"),
    *(True, float("inf"), "9" * 400, datetime.datetime(2025, 2, 1), datetime.time(1, 2)),
])  # fmt: skip
def test_what_is_no_number_is_never_guessed(cell):
    assert read_number(cell).kind == "unreadable"


@pytest.mark.parametrize("cell, kind", [
    *((cell, "missing") for cell in (None, "", "-", "n.d.", "N/A", "—")),
    *((cell, "trace") for cell in ("trace", "Spuren")),
    *((cell, "below") for cell in ("<0.01", "< 0,01 %", "≤0.01", "LT 0.01"))])  # fmt: skip
def test_what_stands_instead_of_a_number(cell, kind):
    assert read_number(cell).kind == kind


@pytest.mark.parametrize("decimal, value", [(".", 1200.0), (",", 1.2), (None, 1.2)])
def test_comma_before_three_digits_follows_the_file_and_says_so(decimal, value):
    reading = read_number("1,200", decimal=decimal)
    assert reading.value == value and (reading.remark != "" or decimal == ",")


@given(st.text(max_size=40))
def test_read_number_is_total(text):
    reading = read_number(text)
    assert reading.kind in {"number", "below", "trace", "missing", "unreadable"}
    assert reading.value is None or abs(reading.value) < 1e300


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters(delimiter):
    text = delimiter.join(["heat", "C", "Mn"]) + "\n" + delimiter.join(["A1", "0.21", "0.82"])
    (grid,) = read_grids(text.encode(), "a.csv")
    assert grid.rows == [["heat", "C", "Mn"], ["A1", "0.21", "0.82"]] and grid.row_numbers == [1, 2]


def test_cells_of_texts_and_workbooks():
    (grid,) = read_grids(b'\n\nheat;"C\n%"\n\nA1;0,21\n', "a.csv")
    assert grid.rows == [["heat", "C %"], ["A1", "0,21"]] and grid.row_numbers == [3, 6]
    (grid,) = read_grids(b'heat;C\n"A1;0,21\nA2;0,22\n', "a.csv")
    assert [row[1] for row in grid.rows] == ["C", "0,21", "0,22"]
    assert any("quotation mark" in p.what and p.row == 2 for p in grid.problems)
    (grid,) = read_grids(b"sep=;\r\nheat;C\r\nA1;0,21\r\n", "a.csv")
    assert grid.rows[0] == ["heat", "C"] and grid.row_numbers[0] == 2 and decimal_mark(grid) == ","
    data, start = b"heat;C;Mn\n" + b"H1;0,2;0,5\n" * 1_000_000, time.monotonic()
    refuses("more than 2000000 cells", read_grids, data, "a.csv")
    assert time.monotonic() - start < 5.0  # splitting it took 43 s

    def change(book):
        book.active["B2"].number_format = "0.00%"
        book.active.merge_cells("A2:A3")

    (grid,) = read_grids(workbook([["heat", "C"], ["A1", 0.0021], [None, 0.22]], change), "a.xlsx")
    assert grid.rows[2][0] == "A1" and (2, 0) in grid.spans and (1, 1) in grid.percent
    assert grid.place(1, 1) == (2, "B") and grid.transpose().place(1, 1) == (2, "B")

    def change(book):
        book.active.row_dimensions[2].hidden = True

    (grid,) = read_grids(workbook([["heat", "C"], ["A1", "=0.2+0.01"]], change), "a.xlsx")
    assert {(p.row, p.column) for p in grid.problems if "formula" in p.what} == {(2, "B")}
    assert any("hidden row" in p.what for p in grid.problems)


def test_hidden_sheet_is_reported_and_readable_by_name():
    def change(book):
        book.create_sheet("secret").append(["x"])
        book["secret"].sheet_state = "hidden"

    data = workbook([["heat", "C"]], change)
    (grid,) = read_grids(data, "a.xlsx")
    assert any("'secret' is hidden" in p.what for p in grid.problems)
    assert read_grids(data, "a.xlsx", sheet="secret")[0].rows == [["x"]]
    refuses("did you mean 'secret'", read_grids, data, "a.xlsx", sheet="secrets")


GOOD = workbook([["heat", "C"], ["A1", 0.2]])


def sheet_with(xml: bytes, encoding="utf-8") -> bytes:
    end, part = b"</sheetData>", "xl/worksheets/sheet1.xml"
    return repacked(GOOD, part, lambda old: old.replace(end, end + xml).decode().encode(encoding))


DOCTYPE = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>'


def merges(*spans):
    cells = b"".join(b'<mergeCell ref="%s"/>' % s for s in spans)
    return b"<mergeCells>" + cells + b"</mergeCells>"


@pytest.mark.parametrize("data, message", [
    (sheet_with(merges(b"H1:XFD1048576")), "merged cells"), (sheet_with(merges(b"A&#49;:A30000")), "merged cells"),
    (sheet_with(merges(b"H:Z")), "merged cells"), (sheet_with(merges(*[b"A1:B600"] * 20), "utf-16"), "merged cells"),
    (sheet_with(b'<hyperlinks><hyperlink ref="A1:ZZ99999" location="A1"/></hyperlinks>'), "cells with a link"),
    (sheet_with(b"".join(b'<row r="%d"/>' % i for i in range(200_001))), "200000 rows"),
    (sheet_with(b"".join(b'<c r="A%d"/>' % i for i in range(500_001))), "500000 cells"),
    (sheet_with(b" " * 20 * 2**20), "200 times its size"), (sheet_with(b" " * 80 * 2**20), "unpacks to more than 60 MB"),
    (repacked(GOOD, "xl/workbook.xml", lambda xml: DOCTYPE + xml), "document type"),
    (repacked(GOOD, "xl/styles.xml", lambda xml: xml[:-9]), "damaged"),
])  # fmt: skip
def test_a_workbook_that_would_take_the_machine_is_never_opened(monkeypatch, data, message):
    monkeypatch.setattr(openpyxl, "load_workbook", lambda *_, **__: pytest.fail("opened"))
    refuses(message, read_grids, data, "a.xlsx")


@pytest.mark.parametrize("data, message", [
    (repacked(GOOD, "[Content_Types].xml", lambda _: None), "not an .xlsx workbook"), (workbook([["a", 1]])[:-200], "damaged"),
    (b"PK\x03\x04" + b"\0" * 50, "damaged"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old .xls"),
    (b"%PDF-1.7", "a PDF"), (b"<html><table>", "web page"), (b"\x89PNG\r\n", "a picture"),
    (b"\x1f\x8b\x08", "a packed file"),
])  # fmt: skip
def test_refused_files(data, message):
    refuses(message, read_grids, data, "upload")
