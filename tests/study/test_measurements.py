"""Traces, hardness, bends and runs: layouts, units, damages, and no error but our own.  All data here are invented."""

import numpy as np
import pandas as pd
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.study.shop.traces import noise_of, read_channels, read_traces

MAP = {"T1": ("face", 1.5), "T2": ("hosel", 3.0)}


def cooling(n=200, step=0.05, rate=0.2, noise=0.0, seed=0):
    t = np.arange(n) * step
    return t, 25 + 875 * np.exp(-rate * t) + np.random.default_rng(seed).normal(0, noise, n)


def tidy(t, temperature, delimiter=",", decimal=".") -> bytes:
    frame = pd.DataFrame({"time_s": t, "channel": "T1", "temperature_c": temperature})
    how = {"sep": delimiter, "decimal": decimal, "float_format": "%.3f"}
    return frame.to_csv(index=False, **how).encode()


@pytest.mark.parametrize("delimiter, decimal", [(",", "."), (";", ","), ("\t", ","), (";", ".")])
def test_a_clean_trace_comes_back_whole(delimiter, decimal):
    t, temperature = cooling()
    got = read_traces(tidy(t, temperature, delimiter, decimal), MAP)
    back_t, back = got.trace("T1")
    np.testing.assert_allclose(back_t, t, atol=6e-4)
    np.testing.assert_allclose(back, temperature, atol=6e-4)
    assert got.problems == () and set(got.frame["zone"]) == {"face"}
    assert set(got.frame["depth_mm"]) == {1.5}


def test_logger_table_with_a_column_per_channel():
    rows = [
        "Logger 4711,,", "Time [s],T1 [°C],T2 [°F],head_id", "0,900,1652,7", "0.1,890,,7",
        "0.2,880,1616,7"]  # fmt: skip
    got = read_traces("\n".join(rows).encode(), MAP)
    assert got.trace("T1")[1].tolist() == [900, 890, 880]
    np.testing.assert_allclose(got.trace("T2")[1], [900, 880])
    said = {(p.column, p.row) for p in got.problems if "nothing measured" in p.what}
    assert ("T2 [°F]", 4) in said
    assert any(p.row == 1 and p.assumed == "taken as a title" for p in got.problems)
    assert set(got.frame["head_id"]) == {"7"}


@pytest.mark.parametrize("header, times", [
    ("time_ms", ["0", "500", "1000"]),
    ("time_min", ["0", "0.00833333333333", "0.0166666666667"]),
    ("time", ["12:00:00", "12:00:00.5", "12:00:01"]),
    ("Time", ["23:59:59.5", "00:00:00", "00:00:00.5"]),
    ("timestamp", ["2025-03-01 08:00:00", "2025-03-01 08:00:00.5", "2025-03-01 08:00:01"]),
])  # fmt: skip
def test_units_and_clocks_of_time(header, times):
    rows = [f"{t};T1;{900 - i}" for i, t in enumerate(times)]
    text = "\n".join([f"{header};channel;temperature_c", *rows])
    found = read_traces(text.encode(), MAP).trace("T1")[0]
    np.testing.assert_allclose(found, [0, 0.5, 1.0], atol=1e-9)


@pytest.mark.parametrize("header, value", [("temperature_f", 1652), ("temperature_k", 1173.15), ("Temp. [°C]", 900)])  # fmt: skip
def test_units_of_temperature(header, value):
    text = f"time_s,channel,{header}\n0,T1,{value}\n1,T1,{value}"
    np.testing.assert_allclose(read_traces(text.encode(), MAP).trace("T1")[1], 900.0)


def test_spikes_dropouts_and_noise():
    t, temperature = cooling(60)
    lines = tidy(t, temperature).decode().splitlines()
    for i, cell in {10: "OL", 11: "OL", 12: "OL", 30: "OL", 20: "9999", 21: ""}.items():
        lines[i] = ",".join([*lines[i].split(",")[:2], cell])
    got = read_traces("\n".join(lines).encode(), MAP)
    assert len(got.frame) == 54
    said = {(p.row, p.what.split(" (")[0]) for p in got.problems}
    assert {(r, "not a number that can be used 'OL'") for r in (11, 31)} <= said
    assert (21, "outside -60 to 1372 °C 9999") in said and (22, "nothing measured") in said
    assert any("(rows 11 to 13)" in p.what for p in got.problems)
    t, temperature = cooling(400, 0.02, rate=1.5)  # 1300 K/s at the start
    clean = read_traces(tidy(t, temperature), MAP)
    assert len(clean.frame) == 400 and clean.problems == ()
    temperature[100] += 200
    temperature[250] += 150
    got = read_traces(tidy(t, temperature), MAP)
    assert len(got.frame) == 398
    assert {p.row for p in got.problems if "spike" in p.what} == {102, 252}
    for noise in (0.5, 5.0):
        t, temperature = cooling(2000, 0.01, noise=noise, seed=3)
        assert noise_of(temperature) == pytest.approx(noise, rel=0.1)
    table = read_traces(tidy(*cooling(noise=2.0)), MAP).channels()
    assert table.loc[0, "noise_c"] == pytest.approx(2.0, rel=0.3)
    assert table.loc[0, "readings"] == 200


def test_time_order_doubles_gaps_and_stuck_readings():
    t, temperature = cooling(100)
    t2 = t.copy()
    t2[[40, 41]] = t2[[41, 40]]
    got = read_traces(tidy(t2, temperature[[*range(40), 41, 40, *range(42, 100)]]), MAP)
    assert any("time runs backwards 1" in p.what and p.row == 43 for p in got.problems)
    np.testing.assert_allclose(got.trace("T1")[1], temperature, atol=6e-4)
    t3 = t.copy()
    t3[51] = t3[50]
    got = read_traces(tidy(t3, temperature), MAP)
    assert len(got.frame) == 99 and any("given before" in p.what for p in got.problems)
    got = read_traces(tidy(np.r_[t[:50], t[50:] + 3], temperature), MAP)
    assert any("1 gap(s), the first of 3.05 s" in p.what for p in got.problems)
    stuck = np.r_[temperature[:20], np.full(60, temperature[20]), temperature[80:] - 30]
    assert any("stuck at" in p.what for p in read_traces(tidy(t, stuck), MAP).problems)


def test_places_of_channels_and_names_of_heads():
    text = tidy(*cooling(5))
    file = b"channel,zone,depth_mm\nT1,face,1.5\nT2,hosel,"
    assert read_channels(file) == {"T1": ("face", 1.5), "T2": ("hosel", None)}
    assert set(read_traces(text, file).frame["zone"]) == {"face"}
    named = read_traces(text.replace(b"T1", b"hosel"))
    assert set(named.frame["zone"]) == {"hosel"} and "no channel map" in named.problems[0].what
    refuses("channel 'T1' has no place", read_traces, text)
    refuses("channel 'T1' has no place.*known are T9", read_traces, text, {"T9": ("face", 1)})
    text = b"head_id,time_s,channel,temperature_c\n7,0,T1,900\n7,1,T1,890\n8,0,T1,910\n8,1,T1,905"
    got = read_traces(text, MAP)
    assert got.trace("T1", "8")[1].tolist() == [910, 905]
    for wrong, message in (((), "say which head_id: 7, 8"), (("9",), "head_id '9' is unknown")):
        refuses(f"(?i){message}", got.trace, "T1", *wrong)
    refuses("channel 'T9'", got.trace, "T9")


@pytest.mark.parametrize("given, message", [
    ((read_channels, b"channel,zone,depth_mm\nT1,nose,1"), "'nose' is no zone"),
    ((read_channels, b"channel,zone\nT1,face\nT1,hosel"), "twice"),
    ((read_channels, b"channel,zone,depth_mm\nT1,face,deep"), "not a number"),
    ((read_channels, b"channel,zone,depth_mm\nT1,face,-2"), "outside 0 to 60"),
    ((read_channels, b"a,b\n1,2"), "no channel map"), ((read_channels, b"channel,zone\n,face"), "nothing given"),
    ((read_traces, b"time_s,channel\n0,T1", MAP), "missing temperature_c"),
    ((read_traces, b"hello", MAP), "no thermocouple trace"), ((read_traces, b"", MAP), "empty"),
    ((read_traces, b"time_s,channel,temperature_c\n0,T1,OL", MAP), "no usable reading"),
    ((read_traces, b"time_s,channel,temperature_c", MAP), "no rows"),
    ((fp.read_runs, b"a,b\n1,2"), "no list of runs"), ((fp.read_runs, b"head_id,flux\n7,90"), "no usable head"),
    ((fp.read_runs, b"head_id\n7", "slow"), "must be a Route"),
])  # fmt: skip
def test_unusable_files(given, message):
    refuses(f"(?i){message}", *given)


def test_hardness_in_every_scale_and_by_zone():
    text = (
        "head_id,zone,position,value,scale\n7,face,centre,45,HRC\n7,face,toe,285 HV10,\n"
        "7,Hosel,10,92,HRB\n7,body,,228,HBW 10/3000\n8,rim,x,300,HV 0.5\n"
    )
    got = fp.read_hardness(text.encode())
    expected = [
        fp.convert_hardness(45, "HRC", "HV"), 285, fp.convert_hardness(92, "HRB", "HV"),
        fp.convert_hardness(228, "HB", "HV"), 300]  # fmt: skip
    assert got.frame["hardness_hv"].tolist() == expected and got.problems == ()
    assert got.frame["zone"].tolist() == ["face", "face", "hosel", "body", "rim"]
    headed = fp.read_hardness(b"head;zone;HRC\n7;face centre;45,5\n")
    hv = fp.convert_hardness(45.5, "HRC", "HV")
    assert headed.frame["hardness_hv"].tolist() == [pytest.approx(hv)]
    text = b"head_id,zone,value,scale\n7,face,440,HV\n7,face,450,HV\n7,face,460,HV\n7,hosel,210,HV"
    table = fp.read_hardness(text).by_zone().set_index("zone")
    face = table.loc["face", ["mean_hv", "deviation_hv", "standard_error_hv"]].tolist()
    assert face == pytest.approx([450, 10, 10 / 3**0.5]) and table.loc["hosel", "readings"] == 1


#: Reader, columns and a good row of each kind of file, and with it bad rows, what is said of them and of which column.
ROWS = {(fp.read_hardness, "head_id,zone,position,value,scale", "7,face,c,450,HV"): [
    ("7,face,c,15,HRC", "15 HRC cannot be converted to HV", "value"),
    ("7,face,c,450,HRA", "'HRA' is not HV", "value"),
    ("7,nose,c,450,HV", "'nose' is no zone", "zone"),
    ("7,face,c,hard,HV", "'hard' is not a hardness", "value"),
    ("7,face,c,450,", "no scale is given", "value"),
    ("7,face,c,45 HRC,HV", "two scales are named", "value"),
    ("7,face,c,4500,HV", "4500", "value"), ("7,face,c,,HV", "nothing given", "value"),
    ("7,,c,450,HV", "nothing given", "zone"), ("7,face,c,-450,HV", "-450", "value"),
    ("7,face,c,<450,HV", "not a hardness", "value"),
    ("7,face,c,4,5,0,HV", "more cells than", ""), ("7,face,c,450 N/mm²,HV", "not HV", "value"),
], (fp.read_bends, "head_id,degrees,force_n,cracked", "7,2,400,no"): [
    ("7,50,400,no", "outside -45 to 45 ° 50", "degrees"), ("7,2,400,maybe", "neither yes nor no", "cracked"),
    ("7,,400,no", "nothing measured", "degrees"), ("7,2,400,", "nothing given", "cracked"),
    ("7,two,400,no", "not a number", "degrees"),
]}  # fmt: skip


@pytest.mark.parametrize("file, bad", [(file, bad) for file in ROWS for bad in ROWS[file]])
def test_bad_rows_of_readings_are_reported_and_the_good_one_stays(file, bad):
    (read, header, good), (row, what, column) = file, bad
    alone = read(f"{header}\n{good}".encode())
    got = read(f"{header}\n{good}\n{row}".encode(), filename="h.csv")
    (problem,) = got.problems
    assert what in problem.what and problem.assumed == "row not used"
    assert (problem.file, problem.row, problem.column) == ("h.csv", 3, column)
    pd.testing.assert_frame_equal(got.frame, alone.frame)


def test_bends_and_units_of_force():
    got = fp.read_bends(b"head_id,degrees,force_n,cracked\n7,2.0,410,no\n8,-1.5,,nein\n9,4,395,YES")
    assert got.frame["cracked"].tolist() == [False, False, True]
    assert got.frame["degrees"].tolist() == [2, -1.5, 4] and np.isnan(got.frame["force_n"][1])
    for header, value in (("force_kgf", 40), ("Force [kN]", 0.392266), ("force_lbf", 88.184905)):
        one = fp.read_bends(f"head_id;degrees;{header};cracked\n7;2;{value};n".encode())
        assert one.frame["force_n"][0] == pytest.approx(392.266, rel=1e-6)


def test_pages_escape_user_text():
    nasty = "<script>alert(1)</script>"
    place = {nasty: ("face", 1)}
    hardness = fp.read_hardness(f"head_id,zone,value,scale,{nasty}\n{nasty},face,450,HV,x".encode())
    bends = fp.read_bends(f"head_id,degrees,force_n,cracked\n{nasty},2,{nasty},no".encode())
    text = f"time_s,channel,temperature_c\n0,{nasty},900\n1,{nasty},x".encode()
    pages = [found._repr_html_() for found in (hardness, bends, read_traces(text, place))]
    assert all("<script" not in p and "&lt;script" in p for p in pages)


def test_settings_by_name_and_what_is_silent_stays():
    text = (
        "head_id;heat;head;preheat_c;flux;surroundings;back_on_die\n7;A1;mid-iron;910;8,5;row;yes\n"
        "8;;;;;;\n9;A2;wedge;;0,5;;no"
    )
    runs = fp.read_runs(text.encode(), fp.Route().with_(preheat_c=880))
    settings = {"preheat_c": 910, "flux": 8.5, "surroundings": "row", "back_on_die": True}
    assert runs["7"].route == fp.Route().with_(**settings)
    assert runs["8"].route == fp.Route().with_(preheat_c=880)
    assert runs["8"].heat == "" and runs.problems == ()
    assert runs["9"].route.spray.flux_kg_m2_s == 0.5 and runs["9"].head == "wedge"


@pytest.mark.parametrize("row, what", [
    ("7,A1,mid-iron,5000,8", "Preheat temperature 5000"),
    ("7,A1,mid-iron,hot,8", "cannot be read"),
    ("7,A1,mid-irno,900,8", "did you mean 'mid-iron'"),
    ("1,A1,mid-iron,900,8", "given twice"), (",A1,mid-iron,900,8", "nothing given"),
    ("7,A1,mid-iron,900,8,9", "more cells"),
])  # fmt: skip
def test_bad_rows_are_reported_and_the_good_one_stays(row, what):
    runs = fp.read_runs(f"head_id,heat,head,preheat_c,flux\n1,A1,mid-iron,900,8\n{row}".encode())
    assert list(runs) == ["1"] and any(what in p.what and p.row == 3 for p in runs.problems)
