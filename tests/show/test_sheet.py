"""The setting sheet and the tab of the shop's files: every number in the reader's units, safe against odd names."""

import html
import json
import re

import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.base.cautions import CAUTIONS
from forgeprops.base.tables import data_path
from forgeprops.inputs.settings import table
from forgeprops.show.page import Desk, Page
from forgeprops.show.page.files import KINDS, preview, recognise, templates
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


@pytest.mark.parametrize("settings, stamp", [
    ({"flux": 15}, "ESTIMATE WITHIN LIMITS, TRIAL HEADS ONLY"),
    ({"spray_s": 3}, "NOT WITHIN LIMITS"),
])  # fmt: skip
def test_stamp_follows_the_verdict(settings, stamp):
    made = fp.estimate(fp.grade("4130"), route=fp.Route().with_(**settings))
    assert (made.verdict.level == "out") == (stamp == "NOT WITHIN LIMITS")
    assert f"<b>{stamp}</b>" in sheet_html(made)


def test_tolerance_columns_and_only_the_readers_units(page, result):
    """The range that the sheet prints for the spray rate is what two more estimates give."""
    flux = result.route.spray.flux_kg_m2_s
    tolerance = table()["flux"].tolerance(flux)
    routes = [result.route.with_(flux=flux + sign * tolerance) for sign in (-1, 1)]
    ends = [fp.estimate(result.steel, result.head, r).zones["face"].hardness_hv for r in routes]
    row = re.search(r"Spray rate</td>(.*?)</tr>", page, re.S)[1]
    assert f">{ends[0]:.0f} to {ends[1]:.0f} HV<" in row and ends[0] < ends[1]
    page = html.unescape(sheet_html(result, display_units=fp.Units("°F", "in", "HB")))
    body = page.split("<body>")[1].split("Sources</h2>")[0]
    assert "1706 °F" in body and "± 25 °F" in body and "0.528 in" in body
    assert not re.search(r"°C|\d HV| mm\b|HRC|HRB", body.replace("above 31 HRC", "").replace("Above 50 HRC", ""))  # fmt: skip


def test_odd_names_no_spray_and_later_heats():
    steel = fp.Steel('<script>alert(1)</script> A&B "S45C"', {"C": 0.3, "Mn": 0.7})
    page = sheet_html(fp.estimate(steel), note="<img src=x>", date="}} x")
    style = re.search("<style>(.*?)</style>", page, re.S)[1]
    assert "<script>" not in page and "<img src=x>" not in page and "&lt;script&gt;" in page
    assert "S45C" not in style and "}} x" not in style
    assert re.fullmatch(r"[\w.-]+\.html", sheet_name(fp.estimate(steel)))
    later = fp.Temper(600, hold_s=3600)
    page = sheet_html(fp.estimate("1030", route=fp.Route(later=(later,), spray=None)))
    assert "Spray time" not in page and later.words in page
    assert re.search(r"Spray</td><td[^>]*>none", page)


def test_a_folder_takes_every_sheet_and_a_file_is_kept(result, tmp_path):
    first, second = sheet(result, tmp_path), sheet(result, tmp_path)
    assert first.name == sheet_name(result) and second != first and second.is_file()
    refuses("exists already", sheet, result, first)
    refuses("give .html", sheet, result, tmp_path / "s.docx")


@pytest.mark.parametrize("options, words", [
    ({"paper": "A5"}, "paper 'A5' is unknown"),
    ({"tolerances": {"colour": 1}}, "'colour' is unknown"),
    ({"tolerances": {"flux": -1.0}}, "Tolerance of flux -1"),
])  # fmt: skip
def test_bad_input_is_one_sentence(result, options, words):
    refuses(re.escape(words), sheet_html, result, **options)


DEMO = {
    "certificates.csv": "certificates", "laboratory.xlsx": "certificates", "runs.csv": "runs", "traces.csv": "traces",
    "channels.csv": "channels", "hardness.csv": "hardness", "bends.csv": "bends", "log.csv": "log",
}  # fmt: skip
US = fp.Units("°F", "in", "HRC", "gpm", "lbf")


def act(page_tab, do, buffers=(), **values):
    page_tab._heard(None, {"do": "act", "act": do, "values": values}, list(buffers))
    return page_tab.content["blocks"]


def blocks_of(blocks, kind, name=None):
    return [b for b in blocks if b["kind"] == kind and name in (None, b.get("name"))]


@pytest.fixture
def page_tab():
    return Page(Desk(fp.Job()), "shop")


@pytest.mark.parametrize("name", DEMO)
def test_a_file_is_known_by_its_columns_under_any_name(name):
    content = data_path("demo", name).read_bytes()
    assert recognise("x" + name[-5:], content).kind == DEMO[name]


@pytest.mark.parametrize("units", [fp.Units(), US], ids=["SI", "US"])
def test_templates_are_read_without_a_loss_and_hold_the_same_numbers(units):
    read = {n: recognise(n, content.encode()) for n, content, _ in templates(units)}
    assert {n.removesuffix(".csv") for n in read} == {n for n, k in KINDS.items() if k.template}
    assert all(f.kind == n.removesuffix(".csv") and f.level == "good" for n, f in read.items())
    route = read["runs.csv"].read["101"].route
    assert route.preheat_c == pytest.approx(930, abs=0.5)
    assert route.spray.flux_kg_m2_s == pytest.approx(12, abs=0.1)
    assert read["hardness.csv"].read.frame["hardness_hv"][0] == pytest.approx(430, abs=3)
    assert read["bends.csv"].read.frame["force_n"][0] == pytest.approx(340, abs=3)


def test_a_problem_stands_in_its_row():
    name = "certificates.csv"
    table = preview(recognise(name, data_path("demo", name).read_bytes()))[-1]
    names, looks = (r[0] for r in table["rows"]), zip(table["levels"], table["rows"], strict=True)
    by_row = dict(zip(names, looks, strict=True))
    level, row = by_row["10"]
    assert level == "out" and "more than the 1.2 wt% allowed" in row[1] and "2,9" in row
    assert by_row["9"][0] == "marginal" and by_row["3"][0] == "none"


def test_fitted_shop_is_used_once_for_everything_and_kept(page_tab):
    act(page_tab, "demo")
    act(page_tab, "fit", name="bay 2")
    assert page_tab.desk.job.shop == fp.Shop()  # not before the reader says so
    before = page_tab._result.zones["face"].hardness_hv
    blocks = act(page_tab, "use", fitted=True)
    assert page_tab.desk.job.shop.name == "bay 2" and page_tab.state["shop"] == "bay 2"
    assert page_tab.desk.job.shop.spray == pytest.approx(1.25, abs=0.02)
    assert page_tab._result.zones["face"].hardness_hv > before + 10.0
    (save,) = [i["save"] for b in blocks_of(blocks, "buttons") for i in b["items"] if "save" in i]
    assert recognise(save[0], save[1].encode()).read == page_tab.desk.job.shop
    page_tab.desk.undo()
    assert page_tab.desk.job.shop == fp.Shop()


def test_steel_of_a_dropped_certificate_and_check_of_every_heat(page_tab):
    mill = b"heat,grade,C,Mn,Cr,Mo\nX1,4130,0.30,0.5,0.95,0.2\nX2,4130,0.33,0.6,1.1,0.25\n"
    (heats,) = blocks_of(act(page_tab, "drop", [mill], names=["mill.csv"]), "table", "heats")
    act(page_tab, "heat", **heats["take"][1]["values"])
    assert page_tab.desk.job.steel.name == "X2" and page_tab.desk.job.steel.get("Cr") == 1.1
    table = act(page_tab, "heats")[0]
    judged = fp.judge_heats(fp.read_certificates(mill), limits=page_tab._result.limits)
    assert [r[:2] for r in table["rows"]] == [[j.heat, j.verdict] for j in judged]


def test_drift_spray_plate_and_log(page_tab):
    blocks = act(page_tab, "drift", face="322 315,5", usual_face="430", hosel="", usual_hosel="")
    assert "Face 319 HV where 430 is expected" in blocks[0]["words"]
    files = [data_path("demo", n).read_bytes() for n in ("plate.csv", "log.csv")]
    blocks = act(page_tab, "drop", files, names=["p.csv", "l.csv"])
    assert "about 24.7 HV below" in json.dumps(blocks) and blocks_of(blocks, "plot", "log")
    plate = act(page_tab, "plate", channel="P1", thick=10, depth=1, water=25, flow=2.88)
    times = float(re.search(r"cools ([\d.]+) times", plate[0]["words"])[1])
    assert times == pytest.approx(1.25, abs=0.04)


def test_nonsense_in_forms_and_drops_is_answered_in_a_sentence(page_tab):
    for values in ({"face": "abc"}, {"face": "430 nan"}, {"face": ""}, {}):
        (block,) = act(page_tab, "drift", **values)
        assert block["look"] == "stop" and len(block["words"]) > 10
    (table,) = blocks_of(act(page_tab, "drop", [b"a,b"], names=["../<b>"]), "table", "files")
    assert table["levels"] == ["out"] and page_tab.desk.job == fp.Job()


@pytest.mark.parametrize("content", [b"", b"\0\1", b"a,b\n1,2\n", b"%PDF-1.4", b"PK\3\4", b"{", b"<html>"])  # fmt: skip
@pytest.mark.parametrize("name", ["x.csv", "x.json", "<script>.csv", "../" * 40])
def test_a_foreign_file_is_answered_in_a_sentence(name, content):
    file = recognise(name, content)
    assert file.level == "out" and len(file.error) > 10 and preview(file)
