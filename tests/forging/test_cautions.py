"""Furnace warnings: each appears when it should, names a number, and stays silent otherwise."""

import pytest

from forgeprops.base.tables import read_rows
from forgeprops.forging import cautions as c
from forgeprops.inputs.grades import grade, grades


@pytest.mark.parametrize("name", grades())
def test_every_grade_has_limits_in_order(name):
    limits = c.heating_limits(grade(name))
    assert limits.finish_c < limits.working_c <= limits.safe_c and limits.source


def test_table_has_no_hole_in_carbon():
    rows = read_rows("constants/forging_temperatures.csv")
    for family in {r["family"] for r in rows}:
        ends = [
            (float(r["carbon_low"]), float(r["carbon_high"])) for r in rows if r["family"] == family
        ]
        assert ends[0][0] == 0.0 and ends[-1][1] == 1.2
        assert all(a[1] == b[0] for a, b in zip(ends[:-1], ends[1:], strict=True))


def test_limit_falls_with_carbon():
    safe = [c.heating_limits(grade(n)).safe_c for n in ("1015", "1020", "1030", "1045")]
    assert safe == sorted(safe, reverse=True)


def test_burning_and_overheating():
    steel = grade("4130")
    assert c.heating_warning(steel, 1000.0) is None
    assert c.heating_warning(steel, 1202.0).code == "overheating"
    warn = c.heating_warning(steel, 1240.0)
    assert warn.code == "burning" and "1240" in warn.text and "1204" in warn.text


def test_silent_on_a_good_heat_and_loud_on_a_bad_one():
    steel = grade("4140")
    assert (
        c.furnace_warnings(
            steel,
            930.0,
            share=1.0,
            undissolved=0.01,
            grain_um=25.0,
            scale_um=40.0,
            decarburised_um=60.0,
        )
        == ()
    )
    codes = {
        w.code
        for w in c.furnace_warnings(
            steel,
            1240.0,
            share=0.8,
            undissolved=0.4,
            grain_um=150.0,
            scale_um=400.0,
            decarburised_um=500.0,
        )
    }
    assert codes == {
        "burning",
        "partial-austenite",
        "carbides-left",
        "coarse-grain",
        "scale",
        "decarburised",
        "range:lee_lee_grain",
    }


def test_carbon_steel_has_no_chromium_carbides():
    assert c.furnace_warnings(grade("1030"), 900.0, undissolved=1.0) == ()


def test_decarburised_text_tells_both_hardnesses():
    assert "skin 210 HV, below it 480 HV" in c.decarburised_warning(300.0, 210.0, 480.0).text
