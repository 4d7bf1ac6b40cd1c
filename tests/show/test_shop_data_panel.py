"""Panels of the shop's own data: files by path and by upload, faults told on the page."""

import datetime

import pytest

import forgeprops as fp
from forgeprops.show.panels.file_work import FileChoice
from forgeprops.show.panels.shop_data import CausePanel, FitPanel, JudgePanel, SprayCurvePanel, TrackingPanel
from forgeprops.show.units import Units
from forgeprops.tables import data_path

PNG = b"\x89PNG"


def upload(choice, name, content):
    """What the page's file chooser does."""
    choice.upload.value = (
        {
            "name": name,
            "type": "",
            "size": len(content),
            "content": memoryview(content),
            "last_modified": datetime.datetime.now(datetime.UTC),
        },
    )


def run(panel):
    panel.go.click()
    panel.work.join()
    assert bytes(panel.live.widget.value[:4]) == PNG
    return panel


def test_heats_are_judged_from_path_and_upload():
    panel = run(JudgePanel(Units()))
    assert [j.heat for j in panel.result] == ["R1", "R2", "R3", "R4", "R5"]
    assert "R5: hold" in panel.words.value and "<table" in panel.table.value
    assert "note(s) on certificates.csv" in panel.file.said.value
    upload(panel.file, "mine.csv", b"heat,grade,C,Mn,Cr,Mo\nX1,4130,0.30,0.5,0.95,0.2\n")
    assert panel.file.name == "mine.csv"
    panel.face_high.value = ""
    run(panel)
    assert [j.heat for j in panel.result] == ["X1"]
    assert panel.result[0].limits.bounds["face_hardness_hv"] == (380.0, None)


def test_faults_are_told_not_raised():
    panel = JudgePanel(Units())
    panel.face_low.value = "much"
    panel.go.click()
    assert "face hardness is &#x27;much&#x27;" in panel.work.said.value
    panel.face_low.value, panel.file.path.value = "380", "/no/such/file.csv"
    panel.go.click()
    assert "does not exist" in panel.work.said.value
    cause = CausePanel(Units())
    cause.measured["face"].value = "hard"
    cause.go.click()
    with pytest.raises(fp.InputError, match="allowed are numbers in HV"):
        cause.work.join()
    assert "allowed are numbers in HV" in cause.work.said.value


def test_the_shop_is_fitted_and_saved_once(tmp_path):
    panel = FitPanel(Units())
    panel.save.click()
    assert "nothing to save yet" in panel.said.value
    run(panel)
    assert panel.result.shop.spray == pytest.approx(1.25, abs=0.03)
    assert "traces.csv" in panel.result.shop.data_files
    before = bytes(panel.live.widget.value)
    panel.head.value = "103"
    assert bytes(panel.live.widget.value) != before
    panel.file.value = str(tmp_path / "bay.shop.json")
    panel.save.click()
    assert "saved as" in panel.said.value and fp.load_shop(panel.file.value) == panel.result.shop
    panel.save.click()
    assert "exists" in panel.said.value


def test_fit_without_traces_uses_hardness_alone():
    panel = FitPanel(Units("°F"))
    panel.files["traces"].path.value = panel.files["channels"].path.value = ""
    run(panel)
    assert len(panel.result.traces) == 0 and "hardly more than was known before" in panel.words.value


def test_log_is_charted():
    panel = run(TrackingPanel(Units()))
    assert "since head 24" in panel.words.value or "since head 23" in panel.words.value
    assert len(panel.result.alarms)


def test_cause_is_ranked():
    panel = run(CausePanel(Units()))
    assert panel.result.table["cause"].iloc[0] == "flux" and "catch the spray" in panel.words.value
    panel.usual["face"].value, panel.usual["hosel"].value = "430", "236"
    run(panel)
    assert panel.result.table["probability"].iloc[0] > 0.5


def test_spray_curve_gives_the_multiplier():
    panel = run(SprayCurvePanel(Units()))
    assert panel.result.multiplier(12.0)[0] == pytest.approx(1.25, rel=0.03)
    assert "Shop(spray=1.2" in panel.words.value
    panel.depth.value = ""
    panel.go.click()
    with pytest.raises(fp.InputError, match="is empty"):
        panel.work.join()


def test_file_choice_forgets_the_upload_when_a_path_is_typed():
    choice = FileChoice("log", "log.csv")
    assert choice.source == str(data_path("demo", "log.csv"))
    upload(choice, "other.csv", b"a,b\n1,2\n")
    assert choice.source[0]["name"] == "other.csv"
    choice.path.value = "here.csv"
    assert choice.source == "here.csv"
    choice.path.value = " "
    assert choice.source is None
