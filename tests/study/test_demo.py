"""The invented shop's files: readable, wrong only where the README says so, made by the script."""

import csv
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

import forgeprops as fp
from forgeprops.base.tables import data_path
from forgeprops.study.spray_plate.conduction import Plate

SCRIPT = Path(__file__).parents[1] / "make_demo_data.py"


def demo(name):
    return data_path("demo", name)


def said(problems):
    return " ".join(f"{p.what} {p.assumed}" for p in problems)


def test_every_file_says_that_it_is_invented():
    for path in demo("").iterdir():
        if path.suffix == ".xlsx":
            first = openpyxl.load_workbook(path).worksheets[0]["A1"].value
        else:
            first = " ".join(path.read_text(encoding="utf-8").splitlines()[:4])
        assert "nvented" in first, path


def test_certificates():
    mill = fp.read_certificates(demo("certificates.csv"))
    laboratory = fp.read_certificates(demo("laboratory.xlsx"))
    for certificates in (mill, laboratory):
        assert [c.heat for c in certificates if c.steel] == ["R1", "R2", "R3", "R4"]
    assert mill[0].steel.get("N") == 0.007 and mill[0].rows == (5, 9)
    for expected in ("row of limits", "below 0.02", "2.9 wt% C", "no composition", "2 rows"):
        assert expected in said(mill.problems)
    for expected in ("hidden", "run down a column", "no Mn is given"):
        assert expected in said(laboratory.problems)
    for heat in (0, 1, 2, 3):  # the laboratory reads one per cent high
        exact_ = 1.01 * mill[heat].steel.get("C")
        assert laboratory[heat].steel.get("C") == pytest.approx(exact_, abs=0.004)


def test_measurements():
    runs = fp.read_runs(demo("runs.csv"))
    channels = fp.read_channels(demo("channels.csv"))
    traces = fp.read_traces(demo("traces.csv"), demo("channels.csv"))
    hardness, bends = fp.read_hardness(demo("hardness.csv")), fp.read_bends(demo("bends.csv"))
    assert set(traces.frame["channel"]) == set(channels) and channels["T1"].zone == "face"
    assert set(traces.frame["head_id"]) == {"101", "102", "103"} <= set(runs)
    assert set(hardness.frame["head_id"]) == set(bends.frame["head_id"]) == set(runs)
    for expected in ("'OL' (rows", "nothing measured", "spike", "gap"):
        assert expected in said(traces.problems)
    assert len([p for p in hardness.problems if p.assumed == "row not used"]) == 1
    assert bends.frame["cracked"].any() and not bends.frame["cracked"].all()
    assert traces.channels()["noise_c"].between(2.0, 3.0).all()


def test_the_log_drifts_and_the_plate_gives_back_the_spray_multiplier():
    alarms = fp.track(demo("log.csv")).alarms.query("chart == 'CUSUM'")
    assert alarms["direction"].iloc[0] == "below" and 38 <= alarms["since_reading"].iloc[0] <= 45
    trace = fp.read_traces(demo("plate.csv"), {"P1": ("face", 1.0)})
    factor, spread = fp.cooling_curve(*trace.trace("P1"), Plate(10.0, 1.0), 25.0).multiplier(12.0)
    assert factor == pytest.approx(1.25, rel=0.03) and spread < 0.06


def test_the_script_makes_them_again(tmp_path):
    command = [sys.executable, str(SCRIPT), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    made = {p.name: p for p in tmp_path.iterdir()}
    assert set(made) == {p.name for p in demo("").iterdir()} - {"README.md"}
    # these do not depend on the engine
    for name in ("certificates.csv", "runs.csv", "channels.csv"):
        assert made[name].read_bytes() == demo(name).read_bytes()
    for name in ("traces.csv", "hardness.csv", "log.csv"):
        with made[name].open() as new, demo(name).open() as old:
            assert len(list(csv.reader(new))) == pytest.approx(len(list(csv.reader(old))), abs=2)
