"""Panels of the shop's own data: files by path and by upload, faults told on the page."""

import datetime

import pytest

import forgeprops as fp
from forgeprops.base.tables import data_path
from forgeprops.show.controls.fields import FileChoice
from forgeprops.show.panels.shop_data import (
    CausePanel,
    FitPanel,
    JudgePanel,
    SprayCurvePanel,
    TrackingPanel,
)
from forgeprops.show.units import Units

PNG = b"\x89PNG"


def upload(choice, name, content):
    """What the page's file chooser does."""
    upload_to(choice.upload, name, content)


def upload_to(button, name, content):
    button.value = (
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
    assert "R5: hold" in panel.headline.value and "<table" in panel.table.value
    assert "note(s) on certificates.csv" in panel.file.said.value
    upload(panel.file, "mine.csv", b"heat,grade,C,Mn,Cr,Mo\nX1,4130,0.30,0.5,0.95,0.2\n")
    assert panel.file.file_name == "mine.csv"
    panel.face_high.value = ""
    run(panel)
    assert [j.heat for j in panel.result] == ["X1"]
    assert panel.result[0].limits.bounds["face_hardness_hv"] == (380.0, None)


def test_faults_are_told_not_raised():
    panel = JudgePanel(Units())
    panel.face_low.value = "much"
    panel.go.click()
    assert "face hardness from must be a number" in panel.work.said.value
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
    assert (
        len(panel.result.traces) == 0
        and "hardly more than was known before" in panel.headline.value
    )


def test_log_is_charted():
    panel = run(TrackingPanel(Units()))
    assert "since head 24" in panel.headline.value or "since head 23" in panel.headline.value
    assert len(panel.result.alarms)


def test_cause_is_ranked():
    panel = run(CausePanel(Units()))
    assert (
        panel.result.table["cause"].iloc[0] == "flux" and "catch the spray" in panel.headline.value
    )
    panel.usual["face"].value, panel.usual["hosel"].value = "430", "236"
    run(panel)
    assert panel.result.table["probability"].iloc[0] > 0.5


def test_spray_curve_gives_the_multiplier():
    panel = run(SprayCurvePanel(Units()))
    assert panel.result.multiplier(12.0)[0] == pytest.approx(1.25, rel=0.03)
    assert "Shop(spray=1.2" in panel.headline.value
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


def test_wanted_chance_decides_the_verdict_and_is_named():
    panel = JudgePanel(Units())
    upload(panel.file, "mine.csv", b"heat,grade,C,Mn,Si,Cr,Mo\nX1,4130,0.30,0.5,0.25,0.95,0.2\n")
    panel.face_low.value, panel.face_high.value, panel.hosel_low.value = "360", "", "1.5"
    run(panel)
    even = panel.result[0]
    assert even.verdict == "accept" and 0.5 < min(even.chances.values()) < 0.95
    panel.sliders["chance_percent"].value = 95.0
    run(panel)
    sure = panel.result[0]
    assert (
        sure.verdict != "accept"
        and "95 % is required" in sure.reason
        and "95 % is required" in panel.headline.value
    )
    assert (
        sure.reason
        == fp.judge_heat(
            fp.read_certificates(panel.file.source)[0],
            "mid-iron",
            fp.Route(),
            sure.limits,
            chance=0.95,
        ).reason
    )


@pytest.mark.parametrize("kind", [JudgePanel, FitPanel, CausePanel, SprayCurvePanel])
def test_inputs_are_saved_and_loaded(kind, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = kind(Units("°F"))
    first = vars(panel.inputs)
    changed = {
        name: value
        if name in ("grade", "head", "chance_percent") or isinstance(value, float)
        else f"{name} of mine"
        for name, value in first.items()
    }
    changed |= {
        name: value for name, value in (("flux", 7.5), ("chance_percent", 80.0)) if name in first
    }
    if kind is SprayCurvePanel:
        changed["flux"] = "7,5"  # as typed
    panel.put(changed)
    assert vars(panel.inputs) == pytest.approx(changed)
    panel.keep.save.click()
    assert "saved as" in panel.keep.said.value and ";" not in panel.keep.said.value.split(">")[1]
    panel.keep.reset.click()
    assert vars(panel.inputs) == pytest.approx(first)
    upload_to(
        panel.keep.load, f"my_{panel.kind}.json", (tmp_path / f"my_{panel.kind}.json").read_bytes()
    )
    assert "loaded" in panel.keep.said.value and vars(panel.inputs) == pytest.approx(changed)
    for bad, words in (
        ({next(iter(changed)): [1]}, "must be|[Aa]llowed"),
        ({"colour": 1}, "colour"),
    ):
        with pytest.raises(fp.InputError, match=words):
            panel.put(changed | bad)
    assert vars(panel.inputs) == pytest.approx(changed)


def test_a_chosen_file_is_not_kept_and_said_so(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = JudgePanel(Units())
    upload(panel.file, "mine.csv", b"heat,grade,C,Mn\nX1,1030,0.30,0.7\n")
    panel.keep.save.click()
    assert "not mine.csv, which was chosen and has no path" in panel.keep.said.value
    kept = vars(panel.inputs)
    assert kept["certificates"] is None
    panel.put(kept | {"face_from_hv": 350})
    assert (
        panel.file.file_name == "mine.csv" and panel.file.chosen and panel.face_low.value == "350"
    )
    panel.keep.reset.click()
    assert panel.file.source == str(data_path("demo", "certificates.csv"))
