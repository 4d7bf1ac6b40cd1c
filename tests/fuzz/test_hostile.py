"""A little of each hostile target in every run of the tests; FORGEPROPS_EXAMPLES=10 tries ten times as many new seeds."""

import importlib.util
import os
from collections import Counter
from pathlib import Path

import pytest

_SPEC = importlib.util.spec_from_file_location("hostile", Path(__file__).parent / "hostile.py")
hostile = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(hostile)
MORE = int(os.environ.get("FORGEPROPS_EXAMPLES", "1"))
#: Seeds of these tests; the long run takes others.
BEGIN = 0 if MORE == 1 else 10**6


def test_wild_cases():
    """Finite, bounded and closed numbers; alone and in the batch the same digits or the same sentence."""
    count = Counter()
    for k in range(MORE):
        hostile.try_cases(BEGIN + 160 * k, 160, count, single=20)
    assert count["cases refused"] < 0.1 * count["cases"]


@pytest.mark.parametrize(
    "target, n", [("lines", 6), ("files", 320), ("calls", 800), ("commands", 150)]
)
def test_nothing_foreign_comes_back(target, n):
    """No jump along a line, no exception but our own sentence from damaged files and nonsense arguments."""
    assert not list(getattr(hostile, f"try_{target}")(BEGIN, n * MORE, Counter()))


def test_a_case_that_fails_costs_its_own_row(monkeypatch):
    """The rows beside it are as without it, and nothing is said of an executor."""
    import warnings

    import forgeprops as fp
    from forgeprops.study.process import many

    later = [fp.Route(later=(fp.LocalHeat(peak_c=c),)) for c in (400.0, 450.0, 500.0, 550.0)]
    whole, real = fp.estimate_many("4130", None, later, quick=True), many.answers

    def fails(cases, **options):
        if any(
            heats and heats[0].peak_c == 450.0 for heats in (cases.later[k] for k in cases.later_of)
        ):
            raise ZeroDivisionError("ours")
        return real(cases, **options)

    monkeypatch.setattr(many, "answers", fails)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = fp.estimate_many("4130", None, later, quick=True)
    assert "please report this case" in found.error[1] and "ZeroDivisionError" in found.error[1]
    assert found.drop(index=1).equals(whole.drop(index=1))
