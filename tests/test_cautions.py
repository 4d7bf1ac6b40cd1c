"""The cautions stand in README, first notebook, setting sheet and under every answer: whole, and short."""

import json
import re
from pathlib import Path

import pytest

import forgeprops as fp
from forgeprops.base.cautions import CAUTIONS, SHORT
from forgeprops.hosel.result import CAUTIONS as BENCH
from forgeprops.show.sheet import sheet_html

ROOT = Path(__file__).parents[1]


def readme():
    return (ROOT / "README.md").read_text(encoding="utf-8")


def first_notebook():
    cells = json.loads((ROOT / "notebooks/00_start_here.ipynb").read_text(encoding="utf-8"))[
        "cells"
    ]
    return "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "markdown")


def setting_sheet():
    import html

    return html.unescape(re.sub("<[^>]*>", " ", sheet_html(fp.estimate(fp.grade("4130")))))


@pytest.mark.parametrize("place", [readme, first_notebook, setting_sheet])
def test_every_caution_once(place):
    text = " ".join(place().split())
    for about, caution in CAUTIONS:
        assert text.count(caution) == 1, f"{about} in {place.__name__}"


def test_they_name_every_danger_and_stay_short():
    whole = " ".join(f"{about} {text}" for about, text in CAUTIONS).lower()
    for danger in (
        "hot work",
        "tooling",
        "steam",
        "blind bore",
        "furnace",
        "press",
        "blasting",
        "bending",
        "local codes",
        "licensed",
        "injure",
    ):
        assert danger in whole
    assert len(whole.split()) < 200 and all(len(text.split()) < 32 for _, text in CAUTIONS)
    assert len(BENCH) == 5


def test_under_every_answer():
    assert " ".join(fp.estimate(fp.grade("1030")).summary().split()).endswith(SHORT)
