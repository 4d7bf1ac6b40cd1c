"""The grade library, forgiving names and compositions; what cannot be is answered in one sentence."""

import math

import pytest
from checks import refuses

from forgeprops.base.tables import read_rows
from forgeprops.inputs.grades import grade, grades, steel_of
from forgeprops.inputs.steel import DEFAULT_RESIDUALS, ELEMENTS, Steel

ROWS = {r["grade"]: r for r in read_rows("library/grades.csv")}


@pytest.mark.parametrize("name", grades())
def test_row_is_sound(name):
    steel, row = grade(name), ROWS[name]
    assert row["basis"] in ("read", "from memory", "derived") and row["source"] and row["standard"]
    assert steel.source.startswith(row["standard"])
    for element, (low, high) in steel.limits.items():
        assert element in ELEMENTS and high is not None
        assert 0.0 <= (low or 0.0) < high <= ELEMENTS[element]
        content = steel.get(element)
        assert (low or 0.0) <= content <= high
        if low is not None:
            assert content == pytest.approx((low + high) / 2.0)
        else:
            assert content == min(high / 2.0, DEFAULT_RESIDUALS.get(element, high))
    assert {"C", "Mn", "Si", "P", "S"} <= set(steel.limits)
    assert 0.04 < steel.get("C") < 0.6


@pytest.mark.parametrize("name", grades())
def test_family_follows_from_the_composition(name):
    has = {e for e in ("Ni", "Cr", "Mo") if grade(name).limits.get(e, (None, None))[0] is not None}
    kinds = {"": "carbon", "Cr": "Cr", "Cr Mo": "Cr-Mo", "Cr Mo Ni": "Ni-Cr-Mo"}
    assert ROWS[name]["family"] == kinds[" ".join(sorted(has))]


def test_printed_ranges_and_unambiguous_aliases():
    # SAE J404 in a public reproduction; ISO 683-2 technical card; A576 table 1
    assert grade("4130").limits["Cr"] == (0.80, 1.10) and grade("4130").limits["P"] == (None, 0.035)
    assert grade("42CrMo4").limits["C"] == (0.38, 0.45)
    assert grade("42CrMo4").limits["Cu"] == (None, 0.40)
    assert grade("1030").limits["C"] == (0.28, 0.34) and grade("1030").limits["Mn"] == (0.60, 0.90)
    assert grade("4340").limits["Ni"] == (1.65, 2.00)
    names = ((r["grade"], *filter(None, r["aliases"].split(";"))) for r in ROWS.values())
    spellings = [s for several in names for s in several]
    assert len(spellings) == len({s.casefold() for s in spellings})


@pytest.mark.parametrize("alias, name", [
    ("1.7225", "42CrMo4"), ("42crmo4", "42CrMo4"), ("AISI 4130", "4130"), ("SAE-4140", "4140"),
    (" 4340 ", "4340"), ("G41300", "4130"), ("UNS G10200", "1020"), ("scm 420", "SCM420"),
    ("JIS S45C", "S45C"), (8620, "8620"), ("1.1191", "C45E"), ("SUM24L", "12L14"),
])  # fmt: skip
def test_aliases(alias, name):
    assert grade(alias).name == name


@pytest.mark.parametrize("bad, hint", [
    ("4130X", "; did you mean '4130'? "), ("42CrMo", "; did you mean '42CrMo4'? "), ("4131", ". "),  # another number is another steel
    ("1.72255", ". "), ("§§§§", ". "),
])  # fmt: skip
def test_unknown_grade_says_how_to_type_it(bad, hint):
    text = refuses("", grade, bad)
    assert f"grade {bad!r} is unknown{hint}Type its chemistry, such as 'C 0.31" in text
    assert "library grades (fp.grades()" in text


@pytest.mark.parametrize("name, what", [
    ("17-4", "a precipitation-hardening stainless steel"),
    ("431", "a martensitic stainless steel"), ("SUS304", "an austenitic stainless steel"),
    ("1.4301", "an austenitic stainless steel"), ("maraging", "a maraging steel"),
    ("H13", "a tool steel"),
    ("1212", "a resulphurised or leaded free-cutting steel"),
])  # fmt: skip
def test_what_is_not_covered_is_refused_by_name_with_the_reason(name, what):
    text = refuses(f"{name} is {what}, which is not covered: ", steel_of, name)
    assert "did you mean" not in text and text.count(".") <= 2


@pytest.mark.parametrize("text, contents", [
    ("C 0.31 Mn 0.5", {"C": 0.31, "Mn": 0.5}),
    ("C=0,31; Mn=0,5 %, N 70 ppm", {"C": 0.31, "Mn": 0.5, "N": 0.007}),
    ("c .31 P (ppm) 120 Mo <0.01 Fe bal.", {"C": 0.31, "P": 0.012, "Mo": 0.005}),
    ("0.30C-0.95Cr", {"C": 0.3, "Cr": 0.95}),
    ("1020 with B 20 ppm", {**grade("1020").composition, "B": 0.002}),
])  # fmt: skip
def test_typed_chemistry(text, contents):
    assert dict(steel_of(text).composition) == contents
    assert steel_of(text).name == text


@pytest.mark.parametrize("text, says", [
    ("C 0.3 Xx 2", "'Xx 2' cannot be read"), ("C 0.3 C 0.2", "C is given twice"),
    ("C 0.05 Cr 16.5 Ni 4", "makes it a stainless steel"),
    ("C 31 Mn 0.5", "31 wt% C is more than"), ("Mn 0.5 Cr 1.0", "carbon is missing"),
])  # fmt: skip
def test_chemistry_that_cannot_be_read(text, says):
    refuses(says, steel_of, text)


GOOD = {"C": 0.21, "Mn": 0.82, "Si": 0.25, "Cr": 1.02, "Mo": 0.19}


@pytest.mark.parametrize("change, says", [
    ({"Cr": -0.1}, r"Cr content -0.1 wt% is out of range .0–5 wt%"),
    ({"Cr": 102.0}, r"Cr content 102 wt% is out of range .0–5 wt%"),
    ({"C": 2.1}, r"C content 2.1 wt%"),
    ({"C": 0.0}, r"C content 0 wt% is out of range .0.025–"),
    ({"Mo": math.nan}, r"Mo content nan"), ({"Mo": math.inf}, r"Mo content inf"),
    ({"Mo": "0.2"}, r"Mo content must be a number .*'0.2'"),
    ({"Mo": None}, r"Mo content must be a number .*None"),
    ({"Mo": True}, r"Mo content must be a number .*True"),
    ({"Xx": 0.1}, r"element 'Xx' is unknown"), ({"cr": 1.0}, r"Cr is given twice"),
    ({3: 1.0}, r"element 3 is unknown"),
])  # fmt: skip
def test_bad_content(change, says):
    assert "steel 'heat 7'" in refuses(says, Steel, "heat 7", GOOD | change)


def test_absent_is_unknown_zero_is_zero_and_carbon_must_be_there():
    assert Steel("heat 7", GOOD).get("Cu") == DEFAULT_RESIDUALS["Cu"]
    assert Steel("heat 7", GOOD | {"Cu": 0.0}).get("Cu") == 0.0
    assert "Cu" in Steel("heat 7", GOOD).assumed and Steel("heat 7", GOOD).get("V") == 0.0
    with pytest.raises(TypeError):
        Steel("heat 7", GOOD).composition["C"] = 0.5
    refuses(r"carbon is missing; .* \(steel 'heat 7'\)", Steel, "heat 7", {"Mn": 0.8})
