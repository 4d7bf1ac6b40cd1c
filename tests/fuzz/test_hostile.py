"""A little of each hostile target in every run of the tests; FORGEPROPS_EXAMPLES=10 tries ten times as many new seeds."""

import os
from collections import Counter

import pytest
from fuzz import hostile

MORE = int(os.environ.get("FORGEPROPS_EXAMPLES", "1"))
#: Seeds of these tests; the long run takes others.
BEGIN = 0 if MORE == 1 else 10**6


def test_wild_cases():
    """Finite, bounded and closed numbers; alone and in the batch the same digits or the same sentence."""
    count = Counter()
    for k in range(MORE):
        hostile.try_cases(BEGIN + 160 * k, 160, count, single=5)
    assert count["cases refused"] < 0.1 * count["cases"]


@pytest.mark.parametrize("target, n", [("lines", 6), ("files", 320), ("calls", 800), ("commands", 150)])  # fmt: skip
def test_nothing_foreign_comes_back(target, n):
    """No jump along a line, no exception but our own sentence from damaged files and nonsense arguments."""
    assert not list(getattr(hostile, f"try_{target}")(BEGIN, n * MORE, Counter()))
