"""The tab of the shop's files: kinds by their columns, problems in their rows, the fit, and its use for the job."""

import json
import re

import pytest

import forgeprops as fp
from forgeprops.base.tables import data_path
from forgeprops.show.page import Desk, Page
from forgeprops.show.page.files import KINDS, preview, recognise, templates

DEMO = {
    "certificates.csv": "certificates", "laboratory.xlsx": "certificates", "runs.csv": "runs", "traces.csv": "traces",
    "channels.csv": "channels", "hardness.csv": "hardness", "bends.csv": "bends", "log.csv": "log",
}  # fmt: skip
US = fp.Units("°F", "in", "HRC", "gpm", "lbf")


def act(page, do, buffers=(), **values):
    page._heard(None, {"do": "act", "act": do, "values": values}, list(buffers))
    return page.content["blocks"]


def blocks_of(blocks, kind, name=None):
    return [b for b in blocks if b["kind"] == kind and name in (None, b.get("name"))]


@pytest.fixture
def page():
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
    assert route.preheat.temperature_c == pytest.approx(930, abs=0.5)
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


def test_fitted_shop_is_used_once_for_everything_and_kept(page):
    act(page, "demo")
    act(page, "fit", name="bay 2")
    assert page.desk.job.shop == fp.Shop()  # not before the reader says so
    before = page._result.zones["face"].hardness_hv
    blocks = act(page, "use", fitted=True)
    assert page.desk.job.shop.name == "bay 2" and page.state["shop"] == "bay 2"
    assert page.desk.job.shop.spray == pytest.approx(1.25, abs=0.02)
    assert page._result.zones["face"].hardness_hv > before + 10.0
    (save,) = [i["save"] for b in blocks_of(blocks, "buttons") for i in b["items"] if "save" in i]
    assert recognise(save[0], save[1].encode()).read == page.desk.job.shop
    page.desk.undo()
    assert page.desk.job.shop == fp.Shop()


def test_steel_of_a_dropped_certificate_and_check_of_every_heat(page):
    mill = b"heat,grade,C,Mn,Cr,Mo\nX1,4130,0.30,0.5,0.95,0.2\nX2,4130,0.33,0.6,1.1,0.25\n"
    (heats,) = blocks_of(act(page, "drop", [mill], names=["mill.csv"]), "table", "heats")
    act(page, "heat", **heats["take"][1]["values"])
    assert page.desk.job.steel.name == "X2" and page.desk.job.steel.get("Cr") == 1.1
    table = act(page, "heats")[0]
    judged = fp.judge_heats(fp.read_certificates(mill), limits=page._result.limits)
    assert [r[:2] for r in table["rows"]] == [[j.heat, j.verdict] for j in judged]


def test_drift_spray_plate_and_log(page):
    blocks = act(page, "drift", face="322 315,5", usual_face="430", hosel="", usual_hosel="")
    assert "Face 319 HV where 430 is expected" in blocks[0]["words"]
    files = [data_path("demo", n).read_bytes() for n in ("plate.csv", "log.csv")]
    blocks = act(page, "drop", files, names=["p.csv", "l.csv"])
    assert "about 24.7 HV below" in json.dumps(blocks) and blocks_of(blocks, "plot", "log")
    plate = act(page, "plate", channel="P1", thick=10, depth=1, water=25, flow=2.88)
    times = float(re.search(r"cools ([\d.]+) times", plate[0]["words"])[1])
    assert times == pytest.approx(1.25, abs=0.04)


@pytest.mark.parametrize("content", [b"", b"\0\1", b"a,b\n1,2\n", b"%PDF-1.4", b"PK\3\4", b"{", b"<html>"])  # fmt: skip
@pytest.mark.parametrize("name", ["x.csv", "x.json", "<script>.csv", "../" * 40])
def test_a_foreign_file_is_answered_in_a_sentence(name, content):
    file = recognise(name, content)
    assert file.level == "out" and len(file.error) > 10 and preview(file)


def test_nonsense_in_forms_and_drops_is_answered_in_a_sentence(page):
    for values in ({"face": "abc"}, {"face": "430 nan"}, {"face": ""}, {}):
        (block,) = act(page, "drift", **values)
        assert block["look"] == "stop" and len(block["words"]) > 10
    (table,) = blocks_of(act(page, "drop", [b"a,b"], names=["../<b>"]), "table", "files")
    assert table["levels"] == ["out"] and page.desk.job == fp.Job()
