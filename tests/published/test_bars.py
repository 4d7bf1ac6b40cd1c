"""Normalised and as-quenched bars against measured hardness; the rate that makes full martensite (``-s``: the table); the 80 % interval.

Rows: data/measured/air_cooled_bars.csv, handbook series of single heats (read where the row says so, else from memory), to
which the constants were fitted.  What the model does on steels it has not seen stands in
data/validation/kinetics_validation.csv and data/validation/hardness_left_out.csv and is held to its goal here.
"""

import fit_hardness_spread
import fit_kinetics
import numpy as np
import pytest
from fit_hardness_spread import LeftOut
from fit_kinetics import PLACES, steel_of
from fit_start_temperatures import predict
from scipy import stats

import forgeprops as fp
from forgeprops.answer.interval import FIGURES, Z
from forgeprops.base.tables import read_rows
from forgeprops.strength.hardness_scales import convert_array, hrc_from_hv
from forgeprops.transformation import kinetics

ROWS = read_rows("measured/air_cooled_bars.csv")


@pytest.fixture(scope="module")
def bars():
    """(row, HB computed, shares) of every normalised bar."""
    found = []
    for row in fit_kinetics.visible():
        size, hot_c = float(row["diameter_mm"]), float(row["austenitise_c"])
        bar = fp.air_cooled_bar(steel_of(row), size, hot_c)
        hb = float(convert_array([bar.hardness_hv], "HV", "HB")[0][0])
        found.append((row, hb, bar.fractions))
    return found


def test_normalised_bars(bars):
    for row, hb, share in bars:
        shares = " ".join(f"{name} {x:.2f}" for name, x in share.items())
        print(
            f"{row['steel']:6}{row['diameter_mm']:>5} mm {row['hb']:>4} HB, computed {hb:4.0f}  {shares}  {row['basis']}"
        )
    error = np.array([hb - float(row["hb"]) for row, hb, _ in bars])
    print(f"mean absolute error {np.abs(error).mean():.1f}, bias {error.mean():+.1f} HB")
    assert len(error) >= 76
    assert np.abs(error).mean() < 8.0 and abs(error.mean()) < 3.0
    # the greatest misses are 8630, whose heat is softer than its neighbours 4130 and 8620 allow
    assert np.abs(error).max() < 40.0
    for steel in {row["steel"] for row, *_ in bars}:  # bars of one steel follow their diameter
        own = sorted((float(r["diameter_mm"]), hb) for r, hb, _ in bars if r["steel"] == steel)
        assert all(np.diff([hb for _, hb in own]) < 0.5), steel


def test_errors_on_steels_left_out():
    rows = read_rows("validation/kinetics_validation.csv")
    rows = [r for r in rows if r["what"] == "normalised bars"]
    error = {r["validation"]: float(r["mean_absolute_error"]) for r in rows}
    fitted, left = error["fitted"], error["each steel predicted without it"]
    assert fitted < 8.0 and fitted < left < 12.0
    # the stored error is that of the stored rows, which another test compares with the law of today
    air = [r for r in read_rows("validation/hardness_left_out.csv") if r["cooling"] == "still air"]
    hb = [[float(r[c]) for r in air] for c in ("predicted_hv", "measured_hv")]
    predicted, measured = (convert_array(hv, "HV", "HB")[0] for hv in hb)
    assert np.abs(predicted - measured).mean() == pytest.approx(left, abs=0.15)


#: Film coefficients of the baths, W/(m² K): Grossmann severities 0.30 (still oil) and 1.2 (water), which are
#: typical; the fit leaves them free within 25-30 %.
BATHS = {"oil": 660.0, "water": 2650.0}
READ = [r for bar in fit_kinetics.quenched() for r in bar if r["basis"] == "read"]


@pytest.mark.parametrize("row", READ, ids=lambda r: f"{r['steel']}-{r['diameter_mm']}-{r['cooling'].replace(' ', '-')}")  # fmt: skip
def test_as_quenched_bars_read(row):
    bath, place = row["cooling"].split(" quench, ")
    size, hot_c = float(row["diameter_mm"]), float(row["austenitise_c"])
    depth, hv = fp.quenched_bar(steel_of(row), size, BATHS[bath], hot_c)
    hrc = float(np.interp(PLACES[place] * depth[-1], depth, hrc_from_hv(hv)))
    print(f"{row['steel']} {size} mm {row['cooling']}: {row['hrc']} computed {hrc:.1f} HRC")
    # goal 3 HRC; the centre of the 4140 bar (50 beside 55 at half radius) misses it: see the next test
    goal = 3.5 if (row["steel"], place) == ("4140", "centre") else 3.0
    assert abs(hrc - float(row["hrc"])) < goal


def test_no_bath_gives_the_fall_read_in_the_4140_bar():
    """55 HRC at half radius and 50 at the centre were read; conduction in 25 mm gives no such fall in any bath."""
    row = next(r for r in ROWS if r["cooling"] == "oil quench, centre" and r["basis"] == "read")
    for h in (200.0, 400.0, 660.0, 1300.0):
        depth, hv = fp.quenched_bar(steel_of(row), 25.0, h, float(row["austenitise_c"]))
        half, centre = np.interp([0.5 * depth[-1], depth[-1]], depth, hrc_from_hv(hv))
        assert abs(half - centre) < 0.5


def full_martensite_rate(steel, level=0.95):
    """Constant rate at which `level` of the austenite is left to martensite, °C/s."""
    rates = np.geomspace(1.0, 1000.0, 61)
    shares = [fp.continuous_cooling(steel, rate_c_per_s=r).fractions for r in rates]
    share = [f["martensite"] + f["austenite"] for f in shares]
    return float(np.exp(np.interp(level, np.maximum.accumulate(share), np.log(rates))))


def heat(name, c, mn, cr, mo, grain, **more):
    contents = {"C": c, "Mn": mn, "Si": 0.25, "Cr": cr, "Mo": mo, **more}
    return fp.Steel(name, contents, grain_size_astm=grain)


@pytest.mark.parametrize("steel, low, high", [
    # orders of magnitude, from memory: C45 above 100 °C/s, 42CrMo4 20 to 30 °C/s; goal: within a factor 2
    (heat("C45", 0.45, 0.65, 0.1, 0.02, 8.0, Ni=0.1), 100.0, 400.0),
    (heat("42CrMo4", 0.415, 0.75, 1.05, 0.22, 8.0), 10.0, 60.0),
    # fully martensitic above 10 °C/s (read; coarse austenite of hot strip, so finer grain needs more)
    (heat("30CrMo", 0.30, 0.55, 0.95, 0.20, 5.0), 5.0, 40.0),
])  # fmt: skip
def test_rate_for_full_martensite(steel, low, high):
    rate = full_martensite_rate(steel)
    print(f"{steel.name}: 95 % martensite at {rate:.0f} °C/s")
    assert low < rate < high


@pytest.mark.parametrize("name, rate, parts, low, high", [
    # SCM435: ferrite and pearlite at 0.1 °C/s; ferrite, bainite and martensite, no pearlite, at 2 °C/s (Chen et al., Metals 14
    # (2024) 140, abstract read).  30CrMo: ferrite and pearlite below 0.1 °C/s (abstract read).
    ("SCM435", 0.1, ("ferrite", "pearlite"), 0.6, 1.0), ("SCM435", 2.0, ("pearlite",), 0.0, 0.05),
    ("SCM435", 2.0, ("martensite",), 0.03, 0.8), ("30CrMo", 0.1, ("ferrite", "pearlite"), 0.9, 1.0),
])  # fmt: skip
def test_structures_read(name, rate, parts, low, high):
    row = next(r for r in ROWS if r["steel"] == name)
    share = fp.continuous_cooling(steel_of(row), rate_c_per_s=rate).fractions
    assert low <= sum(share[p] for p in parts) <= high + 1e-9, share


@pytest.mark.xfail(strict=True, reason="228 HV, 2 HV too hard")
def test_normalised_chromoly_tube_is_in_its_printed_range():
    # normalised 4130 tube and bar 90-96 HRB (SAE 41xx properties, read): 185-216 HB; thin wall, so at the
    # hard end
    row = next(r for r in ROWS if r["value_kind"] == "HRB range")
    bar = fp.air_cooled_bar(steel_of(row), 20.0, 870.0)
    low, high = (fp.convert_hardness(float(row[end]), "HRB", "HV") for end in ("low", "high"))
    assert low - 10.0 < bar.hardness_hv < high + 10.0


@pytest.fixture(scope="module")
def seen():
    return LeftOut()


@pytest.fixture(scope="module")
def held(seen):
    """In its interval or not, constants and interval both fitted without the bar's steel."""
    return seen.held()


def test_coverage_on_steels_left_out(seen, held):
    assert len(held) >= 90 and len(set(seen.steel)) >= 15
    assert 0.77 <= held.mean() <= 0.83
    # every steel counting the same: not carried by the steels with most bars
    assert 0.72 <= np.average(held, weights=seen.weight) <= 0.90
    # half as wide it would hold far too few: the interval is not bought by width
    half = 0.5 * Z * np.sqrt(seen.variance(seen.fit(np.ones(len(held), bool))))
    assert np.mean(np.abs(seen.error) <= half) < 0.68


@pytest.mark.parametrize("scope", [
    "air-cooled bars", "quenched bars", "mostly ferrite and pearlite", "mostly bainite", "mostly martensite", "read rows",
])  # fmt: skip
def test_coverage_by_class(seen, held, scope):
    """Every region inside the binomial 90 % band round 80 % for its number of rows; the bars of a steel miss together."""
    rows = seen.scopes()[scope]
    low, high = stats.binom.ppf((0.05, 0.95), rows.sum(), 0.80)
    assert low <= held[rows].sum() <= high, (held[rows].sum(), low, high)


def test_stored_figures_are_those_of_the_stored_rows(seen, held):
    figures = {r["id"]: r for r in read_rows("fits/hardness_spread.csv")}
    assert tuple(figures) == FIGURES
    everything = np.ones(len(held), bool)
    expected = list(seen.fit(everything))
    assert [float(figures[n]["value"]) for n in FIGURES] == pytest.approx(expected, rel=0.01)
    assert [int(figures[n]["steels"]) for n in FIGURES] == seen.steels(everything)
    rows = read_rows("validation/hardness_validation.csv")
    found = {scope: held[mine].mean() for scope, mine in seen.scopes().items()}
    assert {r["scope"]: float(r["coverage"]) for r in rows} == pytest.approx(found, abs=0.011)


def test_stored_predictions_are_near_those_of_today():
    """With all steels in the fit a bar comes out between left-out prediction and measurement, or near:
    a table left behind by a later calibration shows here."""
    problem, k, gaps = fit_kinetics.Problem(), kinetics.constants(), []
    stored = read_rows("validation/hardness_left_out.csv")
    for steel in ("1020", "1040", "4130", "4340", "8620"):
        for now in fit_hardness_spread.predict(problem, k, steel):
            same = ("steel", "diameter_mm", "cooling", "place", "measured_hv")
            (r,) = (r for r in stored if all(r[c] == now[c] for c in same))
            if r["cooling"] == "still air":
                low, high = sorted((float(r["predicted_hv"]), float(r["measured_hv"])))
                hv = float(now["predicted_hv"])
                gaps.append(max(low - hv, hv - high, 0.0))
    assert len(gaps) >= 18 and np.mean(gaps) < 4.0


def test_stored_ms_predictions_repeat_and_agree_with_the_stored_errors():
    rows, *both = predict()
    stored = read_rows("validation/start_temperature_validation_rows.csv")
    checks = read_rows("validation/start_temperature_validation.csv")
    measured, own = np.array([float(r["ms_c"]) for r in rows]), ("ms", "own", "all rows")
    names = ("predicted_c", "unknown"), ("predicted_grain_known_c", "used where given")
    for predicted, (column, grain) in zip(both, names, strict=True):
        assert [float(r[column]) for r in stored] == pytest.approx(predicted, abs=0.06)
        (error,) = (r["mean_absolute_error_c"] for r in checks if (r["quantity"], r["method"], r["scope"]) == own and r["validation"].endswith(f"grain size {grain}"))  # fmt: skip
        assert np.abs(predicted - measured).mean() == pytest.approx(float(error), abs=0.02)
