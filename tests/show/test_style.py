"""Colours of the page hold up under simulated colour-blindness; marks and signs stand beside every colour."""

import itertools
import re
from pathlib import Path

import pytest

import forgeprops.show.page

FOLDER = Path(forgeprops.show.page.__file__).parent
LOOKS = re.findall(r'\["(#\w{6})", "(\w+)"\]', (FOLDER / "chart.js").read_text("utf-8"))
INK = re.findall(r'(\w+): \["(#\w{6})"', (FOLDER / "head.js").read_text("utf-8"))
FAMILIES = {
    "series": [colour for colour, _ in LOOKS],
    "verdicts": [c for name, c in INK if name != "none"],
}


def test_the_colours_are_found_each_with_a_mark_of_its_own():
    assert len({mark for _, mark in LOOKS}) == len(LOOKS) == 4
    assert [name for name, _ in INK] == ["good", "marginal", "out", "none"]


@pytest.mark.parametrize("family", FAMILIES)
def test_colour_blind_readers_tell_them_apart(family, eyes):
    for kind in eyes.KINDS:
        pairs = itertools.combinations(FAMILIES[family], 2)
        assert min(eyes.difference(a, b, kind) for a, b in pairs) > eyes.APART, kind
