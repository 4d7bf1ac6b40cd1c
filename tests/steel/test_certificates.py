"""Certificates as mills and laboratories send them: what is understood, what is reported, what is refused.

All files here are invented.
"""

import datetime
import pickle

import pytest
from checks import refuses, workbook
from hypothesis import given, settings
from hypothesis import strategies as st

from forgeprops.base.errors import InputError
from forgeprops.certificates.layout import column_of, unit_factor
from forgeprops.certificates.reading import read_certificates

HEADER = "Heat No.,Grade,C %,Si %,Mn %,P %,S %,Cr %,Mo %,Ni %,Cu %,N ppm".split(",")
A1 = ["A1", "4130", 0.31, 0.25, 0.52, 0.012, 0.008, 0.95, 0.19, 0.08, 0.12, 70]
A2 = ["A2", "4130", 0.29, 0.22, 0.48, 0.010, 0.006, 0.90, 0.17, 0.05, 0.10, 65]
A3 = ["A3", "4130", 0.30, 0.24, 0.50, 0.011, 0.007, 1.00, 0.18, 0.06, 0.11, 80]
BASE = [HEADER, A1, A2, A3]


def changed(row, **cells):
    """A row with some cells replaced, by element or field name."""
    new = list(row)
    for name, value in cells.items():
        new[[column_of(h).name for h in HEADER].index(name)] = value
    return new


def as_csv(rows, delimiter=";", comma=True, encoding="utf-8") -> bytes:
    def text(value):
        out = "" if value is None else str(value)
        return out.replace(".", ",") if comma and isinstance(value, float) else out

    return "\n".join(delimiter.join(map(text, row)) for row in rows).encode(encoding)


def one(a3=None, **cells) -> bytes:
    """The clean file with some cells of A1, and of A3, replaced."""
    return as_csv([HEADER, changed(A1, **cells), A2, changed(A3, **a3 or {})])


def added(name, *cells) -> list:
    """The clean file with one more column."""
    return [[*HEADER, name], *([*row, cell] for row, cell in zip(BASE[1:], cells, strict=True))]


def first(rows, heat="A1", **options):
    """Contents of a heat in a file of these rows."""
    return contents(read_certificates(as_csv(rows), filename="m.csv", **options), heat)


def contents(certificates, heat="A1"):
    (found,) = [c for c in certificates if c.heat == heat]
    return dict(found.steel.composition) if found.steel else None


PLAIN = dict(zip("C Si Mn P S Cr Mo Ni Cu N".split(), [*A1[2:11], 0.007], strict=True))


@pytest.mark.parametrize("delimiter, comma, encoding", [
    (";", True, "utf-8"), (";", False, "utf-8-sig"), ("\t", True, "latin-1"),
    (",", False, "utf-16"), ("|", True, "utf-8"),
])  # fmt: skip
def test_a_clean_file_gives_its_heats_and_no_problem(delimiter, comma, encoding):
    got = read_certificates(as_csv(BASE, delimiter, comma, encoding), filename="mill.csv")
    assert [c.heat for c in got] == ["A1", "A2", "A3"] and got.problems == ()
    assert contents(got) == pytest.approx(PLAIN)
    assert got.steels[0].limits["Cr"] == (0.80, 1.10) and "mill.csv, row 2" in got.steels[0].source


#: Element, factor to wt%: headers.
SPELLINGS = """
C None: C|C_pct|Carbon|Kohlenstoff|炭素|C (ladle)
C 1: %C|C %|C (wt%)
C 0.01: C ×100|C ×10²
Cr None: クロム
Cr 1: Cr [%]|wt.% Cr
Si 1: Gew.-% Si|けい素(%)
Mn None: MN
Mn 1: Mn in %
Mo 1: w(Mo)/%|Molybdän [%]
Mo 0.01: Mo ×10⁻²
P None: fósforo
P 0.001: P x1000
S None: S¹
Ni 1: níquel %
V 1:   V\u00a0%\u0020
B 1e-4: B ppm
N 1e-4: N [µg/g]
Nb None: Cb|Nb (Cb)
Al None: Al tot.|Al sol.
"""


@pytest.mark.parametrize("line", SPELLINGS.strip().split("\n"))
def test_header_spellings(line):
    what, _, headers = line.partition(":")
    element, factor = what.split()
    for header in headers.split("|"):
        column = column_of(header)
        assert column.name == element, header
        assert column.factor == (None if factor == "None" else pytest.approx(float(factor)))


def test_headers_that_are_no_element():
    no = "Cr+Mo|C/S|CEV|Ceq|C1|Yield MPa|HB|Remarks|No|Ms|DI mm|Cr eq||%".split("|")
    for header in (*no, "x" * 100, None, 3.0):
        assert column_of(header).name is None, header


def test_scaled_integers_and_units_by_row():
    rows = [line.split() for line in ("Heat C Si Mn P B N", "- % % % x1000 ppm ppm")]
    rows = [rows[0], [None, *rows[1][1:]], ["A1", 0.31, 0.25, 0.52, 12, 20, 70]]
    for data in (as_csv(rows), workbook(rows)):
        got = read_certificates(data, filename="m")
        expected = {"C": 0.31, "Si": 0.25, "Mn": 0.52, "P": 0.012, "B": 0.002, "N": 0.007}
        assert contents(got) == pytest.approx(expected)
    assert unit_factor("Mn") is None
    header = "鋼種 溶解番号 C×100 Si×100 Mn×100 P×1000 S×1000 Cr×100 Mo×100".split()
    rows = [header, ["SCM420", "B7", 20, 25, 75, 14, 9, 105, 20]]
    got = read_certificates(as_csv(rows, ",", encoding="cp932"), filename="mill.csv")
    expected = {"C": 0.20, "Si": 0.25, "Mn": 0.75, "P": 0.014, "S": 0.009, "Cr": 1.05, "Mo": 0.20}
    assert contents(got, "B7") == pytest.approx(expected)


def test_reports_of_a_laboratory():
    rows = [
        ["Sample", "Element", "Result", "Unit"], ["A1", "C", 0.31, "%"], ["A1", "Cr", 0.95, "%"],
        ["A1", "N", 70, "ppm"], ["A2", "C", 0.29, "%"], ["A2", "Cr", 0.90, "%"],
        ["A2", "density", 7.8, "g/cm3"], ["A2", "N", "<5", "ppm"]]  # fmt: skip
    got = read_certificates(as_csv(rows), filename="lab.csv")
    assert contents(got) == {"C": 0.31, "Cr": 0.95, "N": 0.007}
    assert contents(got, "A2")["N"] == pytest.approx(0.00025)
    assert any(p.row == 7 and "no element" in p.what for p in got.problems)
    rows = [
        ["Analysis report 17"], ["Heat no.:", "A1"], ["Grade: 4130"], [], ["Element", "wt%"],
        ["C", 0.31], ["Si", 0.25], ["Mn", 0.52], ["Cr", 0.95], ["Mo", 0.19]]  # fmt: skip
    got = read_certificates(workbook(rows), filename="lab.xlsx")
    assert [c.heat for c in got] == ["A1"] and got[0].grade == "4130"
    assert contents(got) == {"C": 0.31, "Si": 0.25, "Mn": 0.52, "Cr": 0.95, "Mo": 0.19}


def merged(*spans):
    return lambda book: [book.active.merge_cells(span) for span in spans]


def test_stepped_headers_by_merged_cells_and_without():
    rows = [
        ["Heat", "Grade", "Chemical composition", None], [None, None, "C", "Mn"],
        [None, None, "%", "%"], ["A1", "1030", 0.31, 0.72]]  # fmt: skip
    for data in (as_csv(rows), workbook(rows), workbook(rows, merged("A1:A3", "B1:B3", "C1:D1"))):
        got = read_certificates(data, filename="m")
        assert [(c.heat, c.grade) for c in got] == [("A1", "1030")] and contents(got)["Mn"] == 0.72
        assert [p.assumed for p in got.problems if p.row == 1] == ["taken as a title"]


def test_a_header_merged_over_two_columns_names_the_first():
    rows = [["Heat", "C", None, "Mn"], ["A1", 0.30, "ok", 0.72]]
    got = read_certificates(workbook(rows, merged("B1:C1")), filename="m.xlsx")
    assert contents(got) == {"C": 0.30, "Mn": 0.72}


def test_grain_size_and_notes_are_kept():
    more, cells = ("Grain size", "Yield MPa", "Date"), ("8", 655, datetime.datetime(2025, 2, 1))
    got = read_certificates(workbook([[*HEADER, *more], [*A1, *cells]]), filename="m.xlsx")
    assert got.steels[0].grain_size_astm == 8.0
    assert got[0].notes == {"Yield MPa": "655", "Date": "2025-02-01"}
    assert [(p.column, p.row) for p in got.problems] == [("Yield MPa", 1)]


def transposed(rows):
    return [[row[j] for row in rows] for j in range(len(rows[0]))]


def hidden(book):
    book.create_sheet("old").append(["Heat", "C", "Mn"])
    book["old"].append(["Z9", 0.5, 0.5])
    book["old"].sheet_state = "hidden"


def percent_format(book):
    book.active["C2"] = 0.0031
    book.active["C2"].number_format = "0.00%"


ALL = "A1 A2 A3"
#: What is wrong with it: the file; heats that stay good, text of a problem, its row and its column.
DAMAGED = {
    "title": (as_csv([["Steel works"], ["Page 1"], *BASE]), ALL, "rows 1 to 2 above", 1, ""),
    "footnotes and totals below": (as_csv([*BASE, ["Mean", "", 0.3, 0.24, 0.5], ["* melted in an arc furnace"]]), ALL, "no composition in this row", 6, ""),
    "mean": (as_csv([*BASE, changed(A1, heat="Mean", grade=None)]), ALL, "means, sums", 5, ""),
    "limits": (as_csv([HEADER, changed(A1, heat="max"), *BASE[1:]]), ALL, "row of limits", 2, ""),
    "empty cell": (one(Ni=None), ALL, "no value for Ni of heat A1", 2, ""),
    "alloying element empty": (one(Cr=None), ALL, "no Cr is given for heat A1", 2, "Cr"),
    "carbon missing": (one(C=None), "A2 A3", "carbon is missing", 2, ""),
    "below the limit": (one(P="<0,01"), ALL, "P is below 0.01", 2, "P %"),
    "trace": (one(Cu="trace"), ALL, "a trace of Cu", 2, "Cu %"),
    "rows of a heat": (as_csv([*BASE, changed(A1, C=0.33)]), ALL, "heat A1 has 2 rows", 2, ""),
    "rows that disagree": (as_csv([*BASE, changed(A1, Cr=1.5)]), ALL, "differs widely", 2, "Cr"),
    "letter O for zero": (one(C="O,31"), "A2 A3", "'O,31' is not a number", 2, "C %"),
    "point misplaced by 100": (one(C=31.0), "A2 A3", "more than the 1.2", 2, "C %"),
    "whole row times 100": (as_csv([HEADER, [v * 100 if isinstance(v, float) else v for v in A1], A2, A3]), "A2 A3", "misplaced point", 2, "Mo %"),
    "point misplaced within bounds": (one(Cr=0.095), "A2 A3", "misplaced point", 2, "Cr"),
    "outside the grade": (one(Cr=1.2), ALL, "outside 4130's", 2, "Cr"),
    "unknown grade": (one(grade="XY-17"), ALL, "not in the library", 2, "grade"),
    "negative": (one(Mn=-0.5), "A2 A3", "negative", 2, "Mn %"),
    "decimal commas between commas": (b"Heat,C,Mn\nA1,0,31,0,52\nA2,0.29,0.48\nA3,0.30,0.50", "A2 A3", "5 cells under", 2, ""),
    "a delimiter missing": (b"Heat;C;Mn;Cr\nA1;0,31;0,52\nA2;0,29;0,48;0,9\nA3;0,3;0,5;1,0", "A2 A3", "3 cells under", 2, ""),
    "quotation mark open": (b'Heat;C;Mn\n"A1;0,31;0,52\nA2;0,29;0,48\nA3;0,3;0,5', ALL, "quotation mark", 2, ""),
    "percent signs in cells": (one({"N": "80 %"}, C="0,31 %"), "A1 A2", "the cell says %, the header another unit", 4, "N ppm"),
    "ppm unsaid": (as_csv([[*HEADER[:-1], "N"], A1, A2, A3]), ALL, "taken as ppm", 2, "N"),
    "no-break blanks": (one({"C": "0 30"}, heat="\u00a0A1 ", C="\u00a00,31 "), "A1 A2", "'0 30' is not one number", 4, "C %"),
    "no heat number": (as_csv([*BASE, changed(A1, heat=None)]), ALL, "no heat number", 5, ""),
    "no heat column": (as_csv([[None, *HEADER[1:]], A1, A2, A3]), ALL, "no column is headed heat", 1, "A"),
    "twice, alike": (as_csv(added("Mn (product)", 0.53, 0.48, 0.50)), ALL, "Mn given in more than one", 2, ""),
    "twice, unlike": (as_csv(added("Mn", 0.95, 0.48, 0.50)), "A2 A3", "Mn stands in 2 columns that differ", 2, "Mn"),
    "sums do not reach 100": (as_csv(added("Fe", 95.0, "Bal.", 97.6)), ALL, "not 100", 2, "Fe"),
    "extra column": (as_csv(added("Jominy J5", 41, 40, 39)), ALL, "no chemical element", 1, "Jominy J5"),
    "extra cells without a header": (workbook([HEADER, [*A1, None, "see note"], A2, A3]), "A2 A3", "14 cells under", 2, ""),
    "header repeated on page two": (as_csv([HEADER, A1, HEADER, A2, A3, changed(A1, heat="A4", Mo="?x")]), ALL, "'?x' is not a number", 6, "Mo %"),
    "names down a column": (as_csv(transposed(BASE)), ALL, "run down a column", None, ""),
    "transposed with a bad cell": (as_csv(transposed([HEADER, changed(A1, Cr="?"), changed(A2, Mn="x,5"), A3])), "A1 A3", "'x,5' is not a number", 5, "C"),
    "a date in a cell": (workbook([HEADER, changed(A1, Cr=datetime.datetime(2025, 2, 1)), A2, A3]), "A2 A3", "turned into a date", 2, "Cr %"),
    "formula never computed": (workbook([HEADER, changed(A1, C="=0.3+0.01"), A2, A3]), "A2 A3", "without a stored result", 2, "C"),
    "error value": (workbook([HEADER, changed(A1, C="#REF!"), A2, A3]), "A2 A3", "'#REF!' is not a number", 2, "C %"),
    "percent format on a percent column": (workbook(BASE, percent_format), ALL, None, None, None),
    "merged cells": (workbook([["", "", "Chemical composition (wt%)"], HEADER, A1, changed(A1, C=0.33), A2, A3],
                              merged("C1:K1", "A3:A4", "B3:B4")), ALL, "heat A1 has 2 rows (3, 4)", 3, ""),
    "hidden sheet": (workbook(BASE, hidden), ALL, "sheet 'old' is hidden", None, ""),
    "not UTF-8": (as_csv([["Schmelze", "Güte", *HEADER[2:]], A1, A2, A3], encoding="latin-1"), ALL, "the text is not UTF-8", None, ""),
    "true in a cell": (workbook([HEADER, changed(A1, Mo=True), A2, A3]), "A2 A3", "TRUE is not a number", 2, "Mo %"),
    "lead unreadable": (as_csv(added("Pb", "ok", 0.001, "-")), ALL, "'ok' is not a number", 2, "Pb"),
    "footnote digit": (one(C="0,31²"), ALL, "a footnote mark", 2, "C %"),
    "two numbers in a cell": (one(C="0,31/0,32"), "A2 A3", "not a number", 2, "C %"),
    "limit instead of a value": (one(P="max 0,025"), "A2 A3", "a limit, not a value", 2, "P %"),
}  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGED)
def test_damage_is_reported_in_its_place_and_the_good_rows_stay(damage):
    data, good, what, row, column = DAMAGED[damage]
    got = read_certificates(data, filename="mill")
    usable = {c.heat for c in got if c.steel is not None and c.heat in ("A1", "A2", "A3")}
    assert usable == set(good.split()), got.summary()
    if what is None:
        assert got.problems == ()
    else:
        hits = [p for p in got.problems if what in p.what + p.assumed]
        assert hits, got.summary()
        assert (row, column) in {(p.row, p.column) for p in hits}, [str(p) for p in hits]
        assert all(p.assumed and p.file.startswith("mill") for p in got.problems)
    for heat, expected in (("A2", A2), ("A3", A3)):  # what is good is read right beside it
        if heat in usable:
            found = contents(got, heat)
            assert (found["C"], found["Mn"]) == (expected[2], expected[4])


def test_values_after_the_assumptions():
    assert first([HEADER, changed(A1, P="<0,01")])["P"] == 0.005
    assert first([HEADER, changed(A1, P="<0,01")], below_limit="zero")["P"] == 0.0
    assert first([HEADER, A1, changed(A1, C=0.33)])["C"] == pytest.approx(0.32)
    assert first([HEADER, changed(A1, Cr="-")])["Cr"] == 0.95  # middle of 4130's 0.80-1.10
    assert first([[*HEADER[:-1], "N"], A1])["N"] == pytest.approx(0.007)
    assert first(added("Mn (product)", 0.53, 0.48, 0.50))["Mn"] == pytest.approx(0.525)
    assert first([HEADER, changed(A1, C="0,31²")])["C"] == 0.31
    percent = read_certificates(workbook(BASE, percent_format), filename="m.xlsx")
    assert contents(percent)["C"] == pytest.approx(0.31)
    # soluble aluminium counts only alone
    assert first([["Heat", "C", "Mn", "Al", "Al sol."], ["A1", 0.2, 0.5, 0.03, 0.02]])["Al"] == 0.03
    assert first([["Heat", "C", "Mn", "Al sol."], ["A1", 0.2, 0.5, 0.02]])["Al"] == 0.02


def test_two_sheets_are_both_read_and_one_can_be_named():
    def add(book):
        book.create_sheet("second").append(HEADER)
        book["second"].append(changed(A1, heat="B1"))
        book.create_sheet("notes").append(["melted in an arc furnace"])

    data = workbook(BASE, add, "first")
    got = read_certificates(data, filename="m.xlsx")
    assert [c.heat for c in got] == ["A1", "A2", "A3", "B1"]
    assert any(p.file == "m.xlsx [notes]" and "sheet not read" in p.assumed for p in got.problems)
    assert [c.heat for c in read_certificates(data, sheet="second", filename="m.xlsx")] == ["B1"]


@pytest.mark.parametrize("data", [b"just a letter to the customer", b"a;b\n1;2", b"Heat;Si;Mn\nA1;0,2;0,5", b"\n\n ;;\n"])  # fmt: skip
def test_files_without_elements_are_refused(data):
    refuses("names no elements", read_certificates, data, filename="mill.csv")


def test_bad_options_a_header_alone_and_views():
    refuses("below_limit", read_certificates, as_csv(BASE), below_limit="full")
    refuses("leave sheet out", read_certificates, as_csv(BASE), sheet="x")
    got = read_certificates(as_csv([HEADER]), filename="m.csv")
    assert len(got) == 0 and got.steels == ()
    assert list(got.table().columns) == ["heat", "grade", "row", "used", "problems"]
    assert "0 heats" in got.summary() and "nothing to use" in got._repr_html_()
    nasty = "<script>alert(1)</script>"
    rows = [[*HEADER, f"<b>{nasty}"], [*changed(A1, heat=nasty), "x"]]
    got = read_certificates(as_csv(rows), filename=f"{nasty}.csv")
    page = got._repr_html_()
    assert "<script" not in page and "&lt;script&gt;" in page
    assert len(got.table()) == 1
    again = pickle.loads(pickle.dumps(got))
    assert again.problems == got.problems and contents(again, nasty) == contents(got, nasty)


WORDS = """<0,01|trace|n.d.|-|0,21%|70 ppm|max|Mean|C|Mn|Heat|ppm|%|x100|=1+1|0,21;0,22|"|O.2|1e5|²|#REF!|Bal.|A1"""
numbers = st.floats(-5, 200) | st.integers(-5, 5000)
cell_texts = st.none() | numbers | st.text(max_size=12) | st.sampled_from(WORDS.split("|"))
grids = st.lists(st.lists(cell_texts, max_size=8), min_size=1, max_size=8)


@settings(max_examples=300)
@given(grids, st.sampled_from([";", ",", "\t"]))
def test_any_table_under_a_header_is_accounted_for(rows, delimiter):
    """Each row with something in it is part of a certificate or of a problem; no error but our own."""
    data = as_csv([["Heat", "C", "Mn", "Cr"], *rows], delimiter, False)
    try:
        got = read_certificates(data, filename="f.csv")
    except InputError:
        return
    for steel in got.steels:
        assert all(v >= 0.0 for v in steel.composition.values()) and "C" in steel.composition
    assert {c.heat for c in got if c.steel is None} <= {c.heat for c in got if c.problems}


odd_cells = st.floats(0.01, 1.0).map(lambda v: round(v, 3)) | st.sampled_from(["", "x", "<0.1", "-", "31", "trace", "1,5"])  # fmt: skip


@settings(max_examples=200)
@given(st.lists(st.tuples(*[odd_cells] * 3), max_size=6))
def test_every_row_is_found_again(rows):
    table = [["Heat", "C", "Mn", "Cr"], *([f"H{i}", *row] for i, row in enumerate(rows))]
    got = read_certificates(as_csv(table, comma=False), filename="f.csv")
    seen = {r for c in got for r in c.rows} | {p.row for p in got.problems}
    assert {i + 2 for i in range(len(rows))} <= seen
    assert all(c.steel is not None or c.problems for c in got)


elements = st.sampled_from(["C", "Si", "Mn", "Cr", "Mo", "Ni", "N"])


@settings(max_examples=100)
@given(st.dictionaries(elements, st.floats(0.026, 0.099), min_size=2))
def test_what_is_written_is_what_is_read(composition):
    composition = {"C": 0.2, **composition}
    head, row = ["Heat", *composition], ["A1", *(f"{v:.5f}" for v in composition.values())]
    for table in ([head, row], transposed([head, row])):
        got = contents(read_certificates(as_csv(table, comma=False), filename="f.csv"))
        assert got == pytest.approx({e: round(v, 5) for e, v in composition.items()})


def test_what_is_missing_or_mangled_is_said():
    two = b"heat;grade;C;Mn\nA1;;0,30;0,50\nA2;4130;0,30;0,50\n"
    two, none = (read_certificates(x, filename="m") for x in (two, b"heat;C;Mn\nA1;0,30;0,50\n"))
    words = "no grade is given for heat A1, as for others; not compared with a range"
    assert words in two.summary() and "no grade" not in none.summary()
    assert two[0].steel.limits is None
    text = b"heat;C;Mn\n1.2E+05;0,30;0,50\x000\nA2;0,30;0,50\n"
    mangled = read_certificates(text, filename="m.csv")
    assert mangled[0].heat == "1.2E+05" and mangled[0].steel.composition["Mn"] == 0.5
    assert "heat '1.2E+05' looks like a heat number" in mangled.summary()
    assert "row 2" in mangled.summary() and "the file holds zero bytes" in mangled.summary()
