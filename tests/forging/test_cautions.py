"""Forging heating limits: whole, in order, lower for more carbon."""

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
