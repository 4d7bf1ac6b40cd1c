"""Cautions stand in every output that carries a number, from one list."""

import html
import json
import re
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from test_notebooks import NOTEBOOKS, cells

import forgeprops as fp
from forgeprops.__main__ import main
from forgeprops.base.cautions import BENCH, CAUTIONS, SHORT, beside
from forgeprops.base.tables import data_path
from forgeprops.show.page import Page
from forgeprops.show.page.lesson import Lesson
from forgeprops.show.page.trust import Trust
from forgeprops.show.sheet import sheet_html

ROOT = Path(__file__).parents[1]


def flat(text):
    return " ".join(text.split())


@pytest.fixture(scope="module")
def result():
    return fp.estimate(fp.grade("4130"))


@pytest.fixture(scope="module")
def sheet(result):
    return flat(html.unescape(re.sub("<[^>]*>", " ", sheet_html(result))))


def test_every_caution_once_and_every_danger_named(sheet):
    for text in (flat((ROOT / "README.md").read_text("utf-8")), sheet):
        for danger, caution in CAUTIONS:
            assert text.count(caution) == 1, danger
    assert Page().static["cautions"] == CAUTIONS and Page().static["caution"] == SHORT
    text = " ".join(beside()).lower()
    assert [danger for danger in DANGERS.split("; ") if danger not in text] == []
    assert all(len(text.split()) < 45 for text in beside())


def test_text_json_sheet_and_notebooks_carry_them(result, sheet, capsys):
    assert SHORT in flat(result.summary())
    assert main([]) == 0
    assert SHORT in flat(capsys.readouterr().out)
    assert main(["--json"]) == 0
    assert json.loads(capsys.readouterr().out)["cautions"] == beside()
    assert all(text in sheet for text in BENCH) and all(text in beside() for text in BENCH)
    prose = {p.stem: flat("\n".join(cells(p, "markdown"))) for p in NOTEBOOKS}
    assert prose and [name for name, text in prose.items() if SHORT not in text] == []


#: Every subcommand that prints a bend number, in a form that is quick.
STUDIES = {
    "compare": ["1030", "--preheats", "900", "--csv", "a.csv"],
    "window": ["--x", "preheat_c:900:950:3", "--y", "flux:8:12:3", "--csv", "a.csv"],
    "choose": ["--turn", "flux:8:16"],
    "accept": ["--certificate", str(data_path("demo", "certificates.csv")), "--heat", "R1"],
}


@pytest.mark.parametrize("command", STUDIES)
def test_every_subcommand_carries_them(command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    given = [command, *STUDIES[command], "--limits", "hosel_allowed_deg=1:"]
    assert main(given) == 0
    assert flat(capsys.readouterr().out).endswith(SHORT)
    if "--csv" in given:
        assert SHORT in (tmp_path / "a.csv").read_text("utf-8")
        given = [word for word in given if word not in ("--csv", "a.csv")]
    assert main([*given, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["cautions"] == beside()


def test_every_page_and_table_carry_the_short_one(tmp_path):
    pages = [flat(str(made().static)) for made in (Page, Lesson, Trust)]
    assert all(SHORT in page for page in pages)
    assert not re.search(r"\d\.0 (rows|steels|of)", pages[-1])  # counts are whole
    assert fp.estimate_many([fp.grade("1030")]).attrs["cautions"] == SHORT
    fp.estimate_many([fp.grade("1030")], to=tmp_path / "cases")
    part = next((tmp_path / "cases").glob("part-*.parquet"))
    assert pq.read_schema(part).metadata[b"cautions"].decode() == SHORT
    limits = fp.Limits(hosel_allowed_deg=(1, None))
    drawn = fp.scatter("1030", n=16, indices=False)
    for table in (fp.compare(["1030"], [900], limits=limits), drawn, fp.judge_heats(["4130"], limits=limits)):  # fmt: skip
        assert SHORT in table._repr_html_()


#: What the cautions must name, beside the dangers of a usual forge shop.
DANGERS = (
    "plated, cast, welded, repaired, shafted or bonded; no torch on plated, leaded; pacemaker; hydrogen; "
    "purge before lighting; carbon monoxide; explodes; lock out; trapped under a head; no silica; "
    "screw bender or a longer bar; flashes it into fire; fumes; above 50 hrc; hours later; black-hot; bursts; "
    "snap; clamp; steam; local codes; makers' instructions; licensed practice; injure; trial bend; eye protection"
)
