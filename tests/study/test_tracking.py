"""Control charts against published worked examples and run lengths; drift alarms on invented logs."""

import multiprocessing

import numpy as np
import pandas as pd
import pytest
from checks import refuses
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from forgeprops.base.tables import read_rows
from forgeprops.study.shop import tracking as tr


def printed(table, *columns):
    rows = [r for r in read_rows("validation/control_charts.csv") if r["table"] == table]
    return [np.array([float(r[name]) for r in rows]) for name in columns]


def test_published_charts():
    x, high, n_high, low, n_low = printed("16-8", "x", "upper", "n_upper", "lower", "n_lower")
    got = tr.cusum(x - 99.0, 1.0, 10.0)
    np.testing.assert_allclose(got.high, high, atol=0.05)  # printed to one decimal
    np.testing.assert_allclose(got.low, low, atol=0.05)
    assert len(x) == 20 and not got.alarm.any()
    # the book's n: rows 10 and 14 have a sum of 0.0 only after rounding, so counts are held where the sum is clear
    for found, sums, counts in ((got.n_high, high, n_high), (got.n_low, low, n_low)):
        assert found[sums > 0.05].tolist() == counts[sums > 0.05].tolist()
    x, expected = printed("6.3.2.4", "x", "ewma")
    got = tr.ewma((x - 50.0) / 2.0539, weight=0.3, width=3.0)
    assert len(x) == 20 and (50.0 + 2.0539 * got.value).round(2).tolist() == expected.tolist()
    # of long ago, as the page takes them; it multiplies with 0.4201 for √(0.3/1.7) = 0.42008
    assert 50.0 + 2.0539 * got.upper[19] == pytest.approx(52.5884, abs=2e-4)
    assert 50.0 + 2.0539 * got.lower[19] == pytest.approx(47.4115, abs=2e-4)
    assert not got.alarm.any()


def ewma_run_length(weight, width, shift=0.0):
    """Average number of values until an EWMA with steady limits alarms (S. V. Crowder, Technometrics 29 (1987) 401, from memory)."""
    half = width * np.sqrt(weight / (2.0 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(120)
    y, w = half * nodes, half * weights
    start = np.r_[0.0, y]
    kernel = w / weight * norm.pdf((y - (1.0 - weight) * start[:, None]) / weight - shift)
    kernel = np.column_stack([np.zeros(start.size), kernel])
    return float(np.linalg.solve(np.eye(start.size) - kernel, np.ones(start.size))[0])


# Crowder's widths for a run length of 250, as quoted in the manual of R's spc package (xewma.crit).
@pytest.mark.parametrize("weight, width", [(0.05, 2.32), (0.1, 2.55), (0.15, 2.65), (0.2, 2.72), (0.25, 2.76)])  # fmt: skip
def test_published_and_own_widths_of_the_ewma(weight, width):
    short, long = (ewma_run_length(weight, width + by) for by in (-0.005, 0.005))
    assert short < 250 < long
    own = [ewma_run_length(tr.EWMA_WEIGHT, tr.EWMA_WIDTH, shift) for shift in (0.0, 1.0)]
    assert own[0] == pytest.approx(500.0, abs=5.0) and own[1] == pytest.approx(10.5, abs=0.05)


def test_run_length_by_simulation():
    """The charts themselves, run on random numbers, alarm as often as the integral equation says."""
    rng = np.random.default_rng(11)
    lengths = [np.argmax(tr.cusum(rng.normal(1.0, 1.0, 200)).alarm) + 1 for _ in range(400)]
    assert np.mean(lengths) == pytest.approx(tr.cusum_run_length(1.0), rel=0.08)


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=40))
def test_charts_are_symmetric(values):
    a, b = tr.cusum(values), tr.cusum([-v for v in values])
    np.testing.assert_allclose(a.high, b.low)
    e = tr.ewma(values)
    assert np.all(e.lower <= e.upper)
    assert abs(e.value).max() <= max(abs(v) for v in values) + 1e-12


def invented_log(n=60, drift_from=None, drift=0.0, offset=0.0, seed=0, quantity="face hardness HV"):
    error = offset + np.random.default_rng(seed).normal(0, 10.0, n)
    if drift_from is not None:
        error[drift_from:] += drift
    days = [f"2025-{1 + i // 28:02d}-{1 + i % 28:02d}" for i in range(n)]
    table = {"date": days, "head_id": [str(100 + i) for i in range(n)], "quantity": quantity}
    return pd.DataFrame({**table, "predicted": 440.0, "measured": 440.0 + error})


def test_drifts_are_found_soon_and_logs_in_control_rarely_alarm():
    logs = (invented_log(120, 60, -20.0, seed=seed) for seed in range(20))
    alarms = (tr.track(log, sigma=10.0, centre="zero").alarms for log in logs)
    first = pd.DataFrame([a.query("chart == 'CUSUM' and reading > 60").iloc[0] for a in alarms])
    assert (first["direction"] == "below").all()
    # 4.0 at two standard deviations
    assert first["reading"].mean() - 60 == pytest.approx(tr.cusum_run_length(2.0), abs=1.2)
    assert abs(first["since_reading"].median() - 61) <= 2
    assert first["shift"].mean() == pytest.approx(-20.0, abs=6.0)
    logs = (invented_log(100, seed=s) for s in range(40))
    charts = [tr.track(log, sigma=10.0, centre="zero").alarms["chart"] for log in logs]
    alarms = sum((chart == "CUSUM").sum() for chart in charts)
    # 8.6 expected in 4000 readings
    assert alarms == pytest.approx(40 * 100 / tr.cusum_run_length(0.0), abs=7)
    log = {"quantity": "face HV", "predicted": 440.0, "measured": [433.0, 446, 441, 438] * 10}
    quiet = tr.track(pd.DataFrame(log))
    assert "no drift over 40 readings" in quiet.words() and len(quiet.alarms) == 0


def test_a_standing_offset_several_quantities_and_too_few_readings():
    got = tr.track(invented_log(60, offset=25.0, seed=4))
    assert len(got.alarms) == 0 and "fit the shop" in got.words()
    assert got.limits.loc[0, "centre"] == pytest.approx(25.0, abs=6)
    assert len(tr.track(invented_log(60, offset=25.0, seed=4), centre="zero").alarms) > 0
    drifting = invented_log(30, 20, 40.0, quantity="hosel hardness HV")
    got = tr.track(pd.concat([invented_log(30), drifting, invented_log(5, quantity="bend °")]))
    assert set(got.limits["quantity"]) == {"face hardness HV", "hosel hardness HV"}
    assert set(got.alarms["quantity"]) == {"hosel hardness HV"}
    assert "bend °: 5 readings are too few" in got.words() and len(got.table) == 60
    assert "hosel" in got._repr_html_()


def test_log_file_round_trip_and_damages(tmp_path):
    path = tmp_path / "log.csv"
    for i in range(12):
        said = {"head_id": str(i), "heat": "=A1", "date": f"2025-03-{i + 1:02d}"}
        tr.add_to_log(path, "face hardness HV", 440, 438 + i % 5, **said)
    log = tr.read_log(path)
    assert len(log.frame) == 12 and log.problems == ()
    assert log.frame["heat"].tolist() == ["=A1"] * 12
    assert "\n2025-03-01,'=A1," in path.read_text()  # no formula for a spreadsheet program
    assert tr.track(path).limits.loc[0, "readings"] == 12
    text = (
        "date;quantity;predicted;measured\n1 March;HV;440;450\n2025-03-02;HV;x;450\n"
        "2025-03-01;HV;440;-\n2025-02-01;HV;440,5;450,5\n2025-01-01;HV;440;441"
    )
    log = tr.read_log(text.encode())
    assert log.frame["measured"].tolist() == [450, 450.5, 441]
    said = " ".join(str(p) for p in log.problems)
    assert "not a day" in said and "not in order" in said and "row 3" in said and "row 4" in said


def _append(path, k):
    for i in range(10):
        tr.add_to_log(path, "HV", k, i, date="2025-03-01")


def test_no_row_is_lost_between_writers(tmp_path):
    path = tmp_path / "log.csv"
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_append, args=(str(path), k)) for k in range(3)]
    for w in writers:
        w.start()
    for w in writers:
        w.join(60)
    assert [w.exitcode for w in writers] == [0, 0, 0]
    frame = tr.read_log(path).frame
    assert frame.groupby("predicted")["measured"].apply(list).tolist() == [list(range(10))] * 3


@pytest.mark.parametrize("log, options, message", [
    (b"a,b\n1,2", {}, "no log"),
    (pd.DataFrame({"quantity": ["HV"]}), {}, "no column predicted"),
    (invented_log(), {"sigma": -1}, "sigma"),
    (invented_log(), {"centre": "middle"}, "centre"),
    (invented_log(), {"baseline": 3}, "baseline"),
    (invented_log().assign(measured=np.nan), {}, "no finite"),
    (b"quantity,predicted,measured\nHV,a,b", {}, "no usable"),
])  # fmt: skip
def test_bad_logs(log, options, message):
    refuses(f"(?i){message}", tr.track, log, **options)
