"""The grade library: every row sound, names forgiving, bad names answered in one sentence."""

import pickle

import pytest

from forgeprops.base.errors import InputError
from forgeprops.base.tables import read_rows
from forgeprops.inputs.grades import FAMILIES, family, grade, grades
from forgeprops.inputs.steel import DEFAULT_RESIDUALS, ELEMENTS

ROWS = {r["grade"]: r for r in read_rows("library/grades.csv")}


def test_enough_grades_of_every_family():
    assert len(grades()) >= 26
    assert {family(n) for n in grades()} == set(FAMILIES)
    assert {"1020", "1030", "4130", "4140", "4340", "8620", "S20C", "SCM420", "42CrMo4"} <= set(
        grades()
    )


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
            assert content == min(high / 2.0, DEFAULT_RESIDUALS[element])
    assert {"C", "Mn", "Si", "P", "S"} <= set(steel.limits)
    assert 0.1 < steel.get("C") < 0.6


@pytest.mark.parametrize("name", grades())
def test_family_follows_from_the_composition(name):
    has = {e for e in ("Ni", "Cr", "Mo") if grade(name).limits.get(e, (None, None))[0] is not None}
    kind = {
        frozenset(): "carbon",
        frozenset({"Cr"}): "Cr",
        frozenset({"Cr", "Mo"}): "Cr-Mo",
        frozenset({"Ni", "Cr", "Mo"}): "Ni-Cr-Mo",
    }[frozenset(has)]
    assert family(name) == kind


def test_printed_ranges():
    # SAE J404 in a public reproduction; ISO 683-2 technical card; A576 table 1
    assert grade("4130").limits["Cr"] == (0.80, 1.10) and grade("4130").limits["P"] == (None, 0.035)
    assert grade("42CrMo4").limits["C"] == (0.38, 0.45) and grade("42CrMo4").limits["Cu"] == (
        None,
        0.40,
    )
    assert grade("1030").limits["C"] == (0.28, 0.34) and grade("1030").limits["Mn"] == (0.60, 0.90)
    assert grade("4340").limits["Ni"] == (1.65, 2.00)


@pytest.mark.parametrize(
    ("alias", "name"),
    [
        ("1.7225", "42CrMo4"),
        ("42crmo4", "42CrMo4"),
        ("AISI 4130", "4130"),
        ("SAE-4140", "4140"),
        (" 4340 ", "4340"),
        ("G41300", "4130"),
        ("UNS G10200", "1020"),
        ("scm 420", "SCM420"),
        ("JIS S45C", "S45C"),
        (8620, "8620"),
    ],
)
def test_aliases(alias, name):
    assert grade(alias).name == name
    assert family(alias) == family(name)


def test_aliases_are_unambiguous():
    spellings = [
        s for r in ROWS.values() for s in (r["grade"], *filter(None, r["aliases"].split(";")))
    ]
    assert len(spellings) == len({s.casefold() for s in spellings})


@pytest.mark.parametrize(
    ("bad", "near"),
    [
        ("4131", "4130"),
        ("42CrMo5", "42CrMo4"),
        ("SCM421", "SCM420"),
        ("1.72255", "42CrMo4"),
        ("4130X", "4130"),
    ],
)
def test_unknown_grade_suggests_the_nearest(bad, near):
    with pytest.raises(InputError) as caught:
        grade(bad)
    text = str(caught.value)
    assert f"grade {bad!r} is unknown; did you mean {near!r}?" in text
    assert "Allowed: 1015," in text and "\n" not in text


@pytest.mark.parametrize("bad", ["", "   ", None, 4130.0, True, ["4130"]])
def test_not_a_name(bad):
    with pytest.raises(InputError, match="must be a name such as '4130'"):
        grade(bad)


def test_nothing_near():
    with pytest.raises(InputError, match="nothing in the library comes near"):
        grade("§§§§")


def test_grade_survives_pickling():
    steel = pickle.loads(pickle.dumps(grade("SCM435")))
    assert steel == grade("SCM435") and steel.limits == grade("SCM435").limits
