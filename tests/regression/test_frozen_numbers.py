"""Our own numbers stay where they are (``draw.py --write`` replaces them), and a batch gives what single estimates give."""

import pytest
from regression import draw
from regression.cases import GRADES, SURROUNDINGS, cases

SAME = ((".*", 1e-8, 0.0),)  # one unit of the ninth digit, the last one kept


@pytest.fixture(scope="module")
def estimates():
    return draw.estimates()


def test_numbers_stay(estimates):
    assert draw.moved(draw.read("estimates"), estimates) == []
    assert draw.moved(draw.read("batch"), draw.batch()) == []
    other = estimates.assign(face_hardness_hv=estimates["face_hardness_hv"] * (1 + 3e-6))
    assert len(draw.moved(draw.read("estimates"), other)) == 1  # what moves is seen


def compared(estimates, chosen):
    """What differs between single estimates and a batch of the chosen cases; and both tables."""
    every = enumerate(cases("single", draw.SINGLES))
    some = [(i, c) for i, c in every if not c.options and chosen(i, c)]
    rows = draw.batch_of(some, quick=False)
    singles = estimates.set_index("case", drop=False).loc[rows["case"]].reset_index(drop=True)
    singles, rows = (table[singles["refused"] == 0.0] for table in (singles, rows))
    both = singles.columns.intersection(rows.columns).difference(["warnings"])
    assert len(both) > 30 and len(rows) > 0
    return draw.moved(singles[both], rows[both], SAME), singles, rows


@pytest.mark.parametrize("blocks", [1, 2, 3, 4, 8, None])
def test_batch_agrees_with_single_estimates(estimates, blocks):
    """Cases of one number of blocks, and all in one batch."""
    among = (blocks,) if blocks else range(9)
    lines, singles, rows = compared(estimates, lambda i, c: len(c.head.body) in among)
    assert lines == []
    of_rows, of_singles = ([set(w.split("; ")) for w in t["warnings"]] for t in (rows, singles))
    assert of_rows == of_singles


def test_cases_reach_every_corner(estimates):
    ok, share = estimates[estimates["refused"] == 0.0], estimates["face_austenite_share"]
    assert set(GRADES) <= set(ok["steel"]) and len(GRADES) == 32
    assert {c.route.surroundings for c in cases("single", draw.SINGLES)} == set(SURROUNDINGS)
    corners = share == 0.0, (share > 0.0) & (share < 1.0), ok["preheat_c"] > 1000.0
    assert all(corner.sum() >= 10 for corner in (*corners, ok["face_without_spray_hv"].isna()))
    assert 0 < len(estimates) - len(ok) <= 10
