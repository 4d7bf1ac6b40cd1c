"""The fit gives back known shops, says what it does not know, and is not led astray by a bad thermocouple.

Synthetic shops: the engine with known multipliers, noise added.  What is held against the outside: the
coverage of the intervals, the autocorrelation time of a known process, and interpolation of polynomials.
"""

import numpy as np
import pandas as pd
import pytest
from checks import evaluated, refuses
from scipy.signal import lfilter

import forgeprops as fp
from forgeprops.base.tables import data_path
from forgeprops.engine.packing import POINTS
from forgeprops.engine.section import lobatto
from forgeprops.inputs.head import ZONES
from forgeprops.study.shop.fitting import fit, priors
from forgeprops.study.shop.measured_heads import probe_weights
from forgeprops.study.shop.measurements import HardnessReadings
from forgeprops.study.shop.residuals import correlation_readings
from forgeprops.study.shop.traces import Traces

HEAD = fp.head("mid-iron")
PLACES = (("T1", "face", 1.3), ("T2", "body", None), ("T3", "hosel", None))
ROUTE = fp.Route()


def shop_of(seed):
    """A shop drawn from what is known of shops beforehand."""
    rng = np.random.default_rng(1000 + seed)
    known = priors()
    numbers = {n: float(known[n].value(rng.normal())) for n in ("spray", "emissivity", "die")}
    numbers["emissivity"] = min(numbers["emissivity"], 0.97)
    return fp.Shop(**numbers, delay_s=float(abs(known["delay_s"].value(rng.normal()))))


def measured(truth, seed, route=ROUTE, late_s=0.0, to_s=45.0, head_id="", noise_c=5.0):
    """Traces (10 Hz) and three hardness readings a zone of one head of 4130 on the shop `truth`."""
    rng = np.random.default_rng(seed)
    told = evaluated("4130", [route], ("points",), shops=[truth])
    trace, t = told.results.traces[0], np.arange(-2.0, to_s, 0.1)
    frames, rows = [], []
    for channel, zone, depth in PLACES:
        at_probe = trace.weighted(probe_weights(HEAD, zone, depth))
        true = np.interp(t + route.soak_s, trace.time_s, at_probe)
        seen = true + rng.normal(0.0, noise_c, t.size)
        where = {"head_id": head_id, "channel": channel, "zone": zone, "depth_mm": depth or np.nan}
        frames.append(pd.DataFrame({**where, "time_s": t + late_s, "temperature_c": seen}))
    for zone, hv in zip(ZONES, told.hardness_hv[0], strict=True):
        read = hv + rng.normal(0.0, 10.0, 3)
        rows += [(head_id, zone, str(k), 0.0, "HV", read[k], 1) for k in range(3)]
    names = "head_id zone position value scale hardness_hv file_row".split()
    hardness = HardnessReadings(pd.DataFrame(rows, columns=names))
    return Traces(pd.concat(frames, ignore_index=True)), hardness


@pytest.mark.slow
def test_twenty_known_shops_are_given_back():
    """Noise 5 °C and 10 HV: the truth lies in the 95 % interval in 17 or more of 20, for every number."""
    inside, scores = {}, {}
    for seed in range(20):
        truth = shop_of(seed)
        found = fit(*measured(truth, seed, late_s=0.15), HEAD, "4130", ROUTE, head_scatter=0.0)
        for number in found.table.index:
            low, high = found.table.loc[number, ["low", "high"]]
            inside.setdefault(number, []).append(low <= getattr(truth, number) <= high)
            assert found.table.verdict[number] == "settled by the data", number
            off = getattr(found.shop, number) - getattr(truth, number)
            scores.setdefault(number, []).append(off / found.shop.standard_error(number))
    assert set(inside) == {"spray", "emissivity", "die", "delay_s"}
    for number, hits in inside.items():
        assert sum(hits) >= 17, f"{number}: {sum(hits)} of 20"
        assert np.std(scores[number]) > 0.4, f"{number}: the standard errors are far too wide"


def test_one_known_shop_and_its_clock():
    truth = fp.Shop(spray=1.3, emissivity=0.72, die=0.7, delay_s=0.6)
    named = {"name": "bay 2", "measured_on": "2025-03-01"}
    found = fit(*measured(truth, 3, late_s=0.3), HEAD, "4130", ROUTE, **named)
    for number, within in {"spray": 0.02, "emissivity": 0.02, "die": 0.1, "delay_s": 0.1}.items():
        assert getattr(found.shop, number) == pytest.approx(getattr(truth, number), abs=within)
    late, error = found.clocks[""]
    assert late == pytest.approx(0.3, abs=4 * error) and error < 0.05
    assert found.shop.name == "bay 2" and found.shop.n_readings == 3 * 470 + 15
    before = found.traces["measured_c"] - found.traces["before_c"]
    for miss, low, high in ((found.traces["residual_c"], 4.5, 5.5), (before, 6.0, np.inf)):
        assert ((miss**2).groupby(found.traces["channel"]).mean() ** 0.5).between(low, high).all()
    assert abs(found.traces["standardised"].std() - 1.0) < 0.1
    assert "Loggers run late" in found.words() and "<li>" in found._repr_html_()


def test_hardness_alone_settles_the_spray_and_says_what_it_does_not():
    found = fit(None, measured(fp.Shop(spray=1.3), 4)[1], HEAD, "4130", ROUTE)
    low, high = found.table.loc["spray", ["low", "high"]]
    assert low < 1.3 < high and found.table.data_share["spray"] > 0.3
    for number in ("die", "delay_s"):
        assert found.table.verdict[number] == "hardly more than was known before"
        least = 0.8 * priors()[number].slope(getattr(found.shop, number))
        assert found.shop.standard_error(number) > least
    words = found.words()
    assert "hardly more than was known before" in words and "What would settle it" in words
    assert len(found.traces) == 0 and len(found.hardness) == 5


def test_what_cannot_be_told_apart_is_said():
    traces, _ = measured(fp.Shop(), 5, to_s=20.0)
    found = fit(traces, None, HEAD, "4130", ROUTE, numbers=("emissivity", "air"))
    assert found.correlations[0, 1] < -0.8
    assert "only known together" in found.words() and "one up, the other down" in found.words()
    traces, _ = measured(fp.Shop(), 7, route=ROUTE.with_(preheat_c=910.0))
    found = fit(traces, None, HEAD, "4130", ROUTE, numbers=("spray",))
    said = [w.text for w in found.warnings if w.code == "fit:furnace"]
    assert said and "below what the preheat temperature of 930 °C gives" in said[0]


def test_a_loose_thermocouple_is_named_and_counts_for_little():
    truth = fp.Shop(spray=1.2, emissivity=0.75, die=0.9, delay_s=0.4)
    traces, hardness = measured(truth, 6)
    frame = traces.frame.copy()
    body = frame["channel"] == "T2"
    frame.loc[body, "temperature_c"] -= 60.0 + 40.0 * np.sin(frame.loc[body, "time_s"] / 6.0)
    found = fit(Traces(frame), hardness, HEAD, "4130", ROUTE)
    assert any(w.code == "fit:trace-missed" and w.text.startswith("T2") for w in found.warnings)
    for number in ("spray", "emissivity", "delay_s"):
        low, high = found.table.loc[number, ["low", "high"]]
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        assert abs(getattr(truth, number) - middle) < 2.0 * half, number


def test_an_earlier_fit_many_heads_and_a_saved_shop():
    truth = fp.Shop(spray=1.2)
    first = fit(None, measured(truth, 8)[1], HEAD, "4130", ROUTE, numbers="spray")
    second = fit(None, measured(truth, 9)[1], HEAD, "4130", ROUTE, numbers="spray", shop=first.shop)
    assert second.table.before["spray"] == first.shop.spray
    assert "earlier fit" in priors(second.before)["spray"].why
    # two like measurements: the variance about halves
    ratio = second.shop.standard_error("spray") / first.shop.standard_error("spray")
    assert 0.55 < ratio < 0.9
    traces, hardness = measured(fp.Shop(spray=1.1), 10, head_id="a")
    lost = hardness.frame.assign(head_id="x")
    both = HardnessReadings(pd.concat([hardness.frame, lost], ignore_index=True))
    steels, routes = {"a": "4130", "b": "1020"}, {"a": ROUTE, "b": {"flux": 8}}
    found = fit(traces, both, HEAD, steels, routes, numbers="spray")
    assert set(found.hardness["head_id"]) == {"a"}
    assert any("'x'" in p.assumed for p in found.problems) and "Not used" in found.words()


def test_the_shop_is_saved_and_taken_by_an_estimate(tmp_path):
    hardness = measured(fp.Shop(spray=1.3), 11)[1]
    found = fit(None, hardness, HEAD, "4130", ROUTE, numbers=("spray", "delay_s"))
    found.shop.save(tmp_path / "bay.shop.json")
    again = fp.load_shop(tmp_path / "bay.shop.json")
    assert again == found.shop and np.shape(again.correlations) == (2, 2)
    refuses("exists", found.shop.save, tmp_path / "bay.shop.json")
    neutral, own = (fp.estimate("4130", HEAD, shop=s).zones["face"] for s in (None, again))
    assert own.hardness_hv > neutral.hardness_hv


def test_the_demo_shop_is_the_one_the_generator_put_in():
    names = "traces channels hardness certificates runs".split()
    file = {n: data_path("demo", f"{n}.csv") for n in names}
    traces = fp.read_traces(file["traces"], file["channels"])
    steels, runs = fp.read_certificates(file["certificates"]), fp.read_runs(file["runs"])
    found = fp.fit(traces, fp.read_hardness(file["hardness"]), "mid-iron", steels, runs)
    truths = {"spray": 1.25, "emissivity": 0.84, "die": 0.85, "delay_s": 0.4}
    for (number, truth), off in zip(truths.items(), (0.03, 0.03, 0.12, 0.1), strict=True):
        assert getattr(found.shop, number) == pytest.approx(truth, abs=off)
        low, high = found.table.loc[number, ["low", "high"]]
        assert low < truth < high, number


@pytest.mark.parametrize("change, says", [
    ({"steel": None}, "no steel is given"),
    ({"traces": None, "hardness": None}, "nothing to fit to"),
    ({"numbers": ("spry",)}, "did you mean 'spray'"),
    ({"numbers": ()}, "no number to fit"), ({"clock_sd_s": -1.0}, "clock"),
    ({"noise_c": float("nan")}, "thermocouples"),
    ({"hardness_noise_hv": 0.0}, "hardness readings"),
    ({"hardness_model_sd_hv": "10"}, "hardness model"),
    ({"traces": "traces.csv"}, "read_traces"), ({"shop": 3}, "Shop"),
])  # fmt: skip
def test_bad_input_is_refused_in_one_sentence(change, says):
    one = pd.DataFrame({"head_id": [""], "zone": ["face"], "hardness_hv": [430.0]})
    given = {"hardness": HardnessReadings(one), "steel": "4130", "numbers": ("spray",)}
    refuses(says, fit, **{**given, **change})


def test_probe_at_a_depth():
    """The weights are the zone's interpolating polynomial: exact for its own power, the front at 0, the mean unplaced."""
    thick = HEAD.zones("forged")["face"].path_mm
    n = POINTS[0]
    points = lobatto(n)[0]
    for share in (0.0, 0.3, 1.0):
        weights = probe_weights(HEAD, "face", share * thick)
        found = weights[10 : 10 + n] @ points ** (n - 1), weights.sum()
        assert found == pytest.approx((share ** (n - 1), 1.0), abs=1e-12)
    trace = evaluated("4130", [ROUTE], ("points",)).results.traces[0]
    front, mean = (trace.weighted(probe_weights(HEAD, *at)) for at in (("face", 0.0), ("hosel",)))
    assert front == pytest.approx(trace.front_c[:, 0])
    assert mean == pytest.approx(trace.zones_c[:, 4])
    refuses("(?i)depth of the thermocouple", probe_weights, HEAD, "face", thick + 1.0)


@pytest.mark.parametrize("phi", [0.0, 0.6, 0.9])
def test_autocorrelation_time_of_a_known_process(phi):
    """An AR(1) process hangs together over (1 + phi)/(1 - phi) readings (textbook)."""
    rng = np.random.default_rng(int(10 * phi))
    traces = lfilter([1.0], [1.0, -phi], rng.normal(size=(20, 4000)))
    found = np.mean([correlation_readings(miss) for miss in traces])
    assert found == pytest.approx((1 + phi) / (1 - phi), rel=0.15)


def test_a_few_heads_do_not_settle_a_number_beyond_their_scatter():
    """6 % of spray, 0.015 of emissivity from head to head: one head leaves that much, four heads half."""
    for heads in (1, 4):
        seen = [measured(fp.Shop(), 20 + i, head_id=str(i)) for i in range(heads)]
        shop = fit(Traces(pd.concat([t.frame for t, _ in seen])), None, HEAD, "4130", ROUTE).shop
        for number, scatter in (("spray", 0.062), ("emissivity", 0.015)):
            error = shop.standard_error(number) / (shop.spray if number == "spray" else 1.0)
            assert 0.9 < error * heads**0.5 / scatter < 1.2, (number, heads)
