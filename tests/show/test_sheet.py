"""The setting sheet: every number of the result in the reader's units, safe against odd names, kept as a file."""

import dataclasses
import html
import re

import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.base.cautions import CAUTIONS
from forgeprops.inputs.settings import table
from forgeprops.show.sheet import sheet, sheet_html, sheet_name


@pytest.fixture(scope="module")
def result():
    return fp.estimate(fp.grade("4130"))


@pytest.fixture(scope="module")
def page(result):
    return html.unescape(sheet_html(result, date="2026-01-31", display_units=fp.Units()))


def test_zones_limits_settings_cautions_and_job_are_there(page, result):
    for zone in result.zones.values():
        assert f"{zone.hardness_hv:.0f} HV" in page
        assert f"{zone.hardness_low_hv:.0f} to {zone.hardness_high_hv:.0f} HV" in page
    assert all(state.words in page for state in result.verdict.limits)
    assert "930 °C" in page and "± 14 °C" in page and "2.9 L/min (12.0 kg/(m² s))" in page
    assert all(str(w) in page for w in result.warnings)
    assert all(text in page for _, text in CAUTIONS)
    assert "2026-01-31" in page and fp.__version__ in page and fp.Job().id in page
    assert "C 0.305" in page and "invented" in page and result.verdict.sentence in page


@pytest.mark.parametrize(("settings", "stamp"), [
    ({"flux": 15}, "ESTIMATE WITHIN LIMITS, TRIAL HEADS ONLY"),
    ({"spray_s": 3}, "NOT WITHIN LIMITS"),
])  # fmt: skip
def test_stamp_follows_the_verdict(settings, stamp):
    made = fp.estimate(fp.grade("4130"), route=fp.Route().with_(**settings))
    assert (made.verdict.level == "out") == (stamp == "NOT WITHIN LIMITS")
    assert f"<b>{stamp}</b>" in sheet_html(made)


def test_tolerance_columns_are_estimates_of_the_same_head(page, result):
    """The range that the sheet prints for the spray rate is what two more estimates give."""
    flux = result.route.spray.flux_kg_m2_s
    tolerance = table()["flux"].tolerance(flux)
    routes = [result.route.with_(flux=flux + sign * tolerance) for sign in (-1, 1)]
    ends = [fp.estimate(result.steel, result.head, r).zones["face"].hardness_hv for r in routes]
    row = re.search(r"Spray rate</td>(.*?)</tr>", page, re.S)[1]
    assert f">{ends[0]:.0f} to {ends[1]:.0f} HV<" in row and ends[0] < ends[1]


def test_only_the_readers_units_stand_on_it(result):
    page = html.unescape(sheet_html(result, display_units=fp.Units("°F", "in", "HB")))
    body = page.split("<body>")[1].split("Sources</h2>")[0]
    assert "1706 °F" in body and "± 25 °F" in body and "0.528 in" in body
    assert not re.search(r"°C|\d HV| mm\b|HRC|HRB", body.replace("above 31 HRC", "").replace("Above 50 HRC", ""))  # fmt: skip


def test_no_name_is_markup_or_style():
    steel = fp.Steel('<script>alert(1)</script> A&B "S45C"', {"C": 0.3, "Mn": 0.7})
    page = sheet_html(fp.estimate(steel), note="<img src=x>", date="}} x")
    style = re.search("<style>(.*?)</style>", page, re.S)[1]
    assert "<script>" not in page and "<img src=x>" not in page and "&lt;script&gt;" in page
    assert "S45C" not in style and "}} x" not in style
    assert re.fullmatch(r"[\w.-]+\.html", sheet_name(fp.estimate(steel)))


def test_no_spray_and_later_heats_are_rows():
    later = (fp.Temper(600, hold_s=3600),)
    route = dataclasses.replace(fp.Route(later=later), spray=None)
    page = sheet_html(fp.estimate(fp.grade("1030"), route=route))
    assert "Spray time" not in page and later[0].words in page
    assert re.search(r"Spray</td><td[^>]*>none", page)


def test_a_folder_takes_every_sheet_and_a_file_is_kept(result, tmp_path):
    first, second = sheet(result, tmp_path), sheet(result, tmp_path)
    assert first.name == sheet_name(result) and second != first and second.is_file()
    refuses("exists already", sheet, result, first)
    refuses("give .html", sheet, result, tmp_path / "s.docx")


@pytest.mark.parametrize(("options", "words"), [
    ({"paper": "A5"}, "paper 'A5' is unknown"),
    ({"tolerances": {"colour": 1}}, "'colour' is unknown"),
    ({"tolerances": {"flux": -1.0}}, "Tolerance of flux -1"),
])  # fmt: skip
def test_bad_input_is_one_sentence(result, options, words):
    refuses(re.escape(words), sheet_html, result, **options)
