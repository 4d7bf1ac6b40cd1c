"""The setting sheet: every number of the result, safe against odd names."""

import html
import re

import pytest

import forgeprops as fp
from forgeprops.base.cautions import CAUTIONS
from forgeprops.inputs.settings import table
from forgeprops.show.controls.save_bar import SheetBar
from forgeprops.show.sheet import sheet, sheet_html
from forgeprops.show.units import Units


@pytest.fixture(scope="module")
def result():
    return fp.estimate(fp.grade("4130"))


@pytest.fixture(scope="module")
def page(result):
    return html.unescape(sheet_html(result, date="2026-01-31", display_units=Units()))


def test_every_zone_with_its_range(page, result):
    for zone in result.zones.values():
        assert f"{zone.hardness_hv:.0f} HV" in page
        assert f"{zone.hardness_low_hv:.0f}–{zone.hardness_high_hv:.0f}" in page


def test_settings_tolerances_warnings_cautions_date_version(page, result):
    assert "930 °C" in page and "± 14 °C" in page and "12.0 kg/(m² s)" in page
    assert all(str(w) in page for w in result.warnings)
    assert all(text in page for _, text in CAUTIONS)
    assert "2026-01-31" in page and fp.__version__ in page
    assert result.hosel.words() in page
    assert "C 0.305" in page and "invented" in page


def test_tolerance_columns_are_marches_of_the_same_head(page, result):
    """The change that the sheet prints for the water is what two more estimates give."""
    flux = result.route.spray.flux_kg_m2_s
    tolerance = table()["flux"].tolerance(flux)
    ends = [
        fp.estimate(result.steel, result.head, result.route.with_(flux=flux + sign * tolerance))
        .zones["face"]
        .hardness_hv
        - result.zones["face"].hardness_hv
        for sign in (-1, 1)
    ]
    row = re.search(r"<td>Spray rate</td>(.*?)</tr>", page, re.S)[1]
    low, high = (
        int(n.replace("−", "-")) for n in re.search(r"([−+]\d+) to ([−+]\d+) HV", row).groups()
    )
    assert (low, high) == tuple(round(e) for e in ends)
    assert low < 0 < high


def test_reads_in_the_readers_units(result):
    page = html.unescape(sheet_html(result, display_units=Units("°F", "in", "HB")))
    assert "1706 °F" in page and "± 25 °F" in page and "Brinell" in page and "0.528 in" in page


def test_odd_names_cannot_break_the_page():
    steel = fp.Steel("<script>alert(1)</script>", {"C": 0.3, "Mn": 0.7})
    page = sheet_html(fp.estimate(steel), note="<img src=x>")
    assert "<script>" not in page and "<img src=x>" not in page and "&lt;script&gt;" in page


def test_no_name_is_text_of_the_style():
    steel = fp.Steel('A&B "S45C"', {"C": 0.45, "Mn": 0.7})
    page = sheet_html(fp.estimate(steel), date="}} x")
    style = re.search("<style>(.*?)</style>", page, re.S)[1]
    assert "S45C" not in style and "}} x" not in style
    assert 'A&B "S45C"' in html.unescape(page)


def test_no_spray_is_an_ordinary_sheet():
    import dataclasses

    page = sheet_html(
        fp.estimate(fp.grade("1030"), route=dataclasses.replace(fp.Route(), spray=None))
    )
    assert "<td>Spray</td>" in page and "Spray time" not in page


def test_file_is_kept_unless_told_and_endings_are_checked(result, tmp_path):
    made = sheet(result, tmp_path / "s.html")
    assert made.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    with pytest.raises(fp.InputError, match="exists already"):
        sheet(result, made)
    sheet(result, made, overwrite=True)
    with pytest.raises(fp.InputError, match="allowed is .html"):
        sheet(result, tmp_path / "s.docx")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"paper": "A5"}, "paper 'A5' is unknown"),
        ({"tolerances": {"colour": 1}}, "'colour' is unknown"),
        ({"tolerances": {"flux": -1.0}}, "tolerance of flux is -1"),
    ],
)
def test_bad_input_is_one_sentence(result, options, words):
    with pytest.raises(fp.InputError, match=re.escape(words)):
        sheet_html(result, **options)


def test_button_writes_beside_the_notebook(result, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bar = SheetBar(lambda: result)
    bar.make.click()
    assert (tmp_path / "setting_sheet.html").is_file() and "written" in bar.said.value
    bar.make.click()
    assert "exists already" in bar.said.value


def test_paper_is_chosen_on_the_page(result, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bar = SheetBar(lambda: result)
    assert bar.paper.options == ("A4", "Letter")
    bar.paper.value = "Letter"
    bar.make.click()
    assert "size: letter" in (tmp_path / "setting_sheet.html").read_text(encoding="utf-8")
