"""Forging heating limits: whole, in order, lower for more carbon."""

from forgeprops.base.tables import read_rows
from forgeprops.forging import cautions as c
from forgeprops.inputs.grades import grade, grades


def test_every_grade_has_limits_in_order():
    for name in grades():
        safe, working = c.heating_limit_arrays(grade(name))
        assert 1100.0 < working <= safe, name


def test_table_has_no_hole_in_carbon():
    rows = read_rows("constants/forging_temperatures.csv")
    assert all(float(r["finish_c"]) < float(r["working_c"]) for r in rows)
    for family in {r["family"] for r in rows}:
        mine = (r for r in rows if r["family"] == family)
        ends = [(float(r["carbon_low"]), float(r["carbon_high"])) for r in mine]
        assert ends[0][0] == 0.0 and ends[-1][1] == 1.2
        assert all(a[1] == b[0] for a, b in zip(ends[:-1], ends[1:], strict=True))


def test_limit_falls_with_carbon():
    safe = [c.heating_limit_arrays(grade(n))[0] for n in ("1015", "1020", "1030", "1045")]
    assert safe == sorted(safe, reverse=True)
