"""Drifts that were put in are found again; the chances are honest; what cannot be separated is said."""

import numpy as np
import pandas as pd
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.head import ZONES
from forgeprops.inputs.job import changed
from forgeprops.study.process.study import Study
from forgeprops.study.shop.find_cause import _FAR, _FINE, NOTHING, _ranked, causes, find_cause
from forgeprops.study.shop.measurements import HardnessReadings

STEEL, HEAD, ROUTE, SHOP = fp.grade("4130"), fp.head("mid-iron"), fp.Route(), fp.Shop()
STUDY = Study(STEEL, HEAD, ROUTE, shop=SHOP)


def hardness(**moved):
    """Hardness by zone with some numbers of the case moved."""
    steel, head, route, shop = changed(STEEL, HEAD, ROUTE, SHOP, moved)
    hv = evaluate(Cases.of([steel], [head], [route], [shop])).hardness_hv[0]
    return dict(zip(ZONES, hv, strict=True))


USUAL = hardness()


def readings(zones=("face", "hosel"), n=5, seed=0, **moved):
    rng, there = np.random.default_rng(seed), hardness(**moved)
    return {zone: list(there[zone] + rng.normal(0.0, 10.0, n)) for zone in zones}


def test_a_shut_nozzle_is_found():
    found = find_cause(readings(flux=8.0), STEEL, HEAD, ROUTE, usual=USUAL)
    assert found.likeliest == "flux" and found.table["probability"].iloc[0] > 0.5
    row = found.table.iloc[0]
    assert row["to_value"] == pytest.approx(8.0, abs=1.0)
    assert row["drift_low"] < -3.0 and row["misfit_sd"] < 1.5
    assert found.off_sd > 3.0 and "catch the spray in a can" in found.report()
    assert found.table["probability"].sum() == pytest.approx(1.0)
    assert "<table" in found._repr_html_()


def test_nothing_off_is_said_so():
    found = find_cause(USUAL, STEEL, HEAD, ROUTE, usual=USUAL)
    assert found.likeliest == NOTHING and found.table["probability"].iloc[0] > 0.5
    assert found.off_sd < 1e-6 and "nothing has drifted" in found.report()
    assert "cannot be separated" not in found.report()


def test_what_cannot_be_told_apart_gets_a_check():
    """The face alone has one number: most causes explain it, and the temperature at the water parts them."""
    found = find_cause(readings(("face",), flux=9.0), STEEL, HEAD, ROUTE, usual=USUAL)
    assert len(found.confusable) and (found.confusable["apart_sd"] < 2.0).all()
    pair = found.confusable[found.confusable["cause"] == "flux"].iloc[0]
    assert "What parts them:" in pair["check"] or "check directly" in pair["check"]
    assert "cannot be separated by these readings" in found.report()
    assert (np.diag(found.apart.to_numpy()) < 1e-9).all()
    more = find_cause(readings(flux=9.0, n=50), STEEL, HEAD, ROUTE, usual=USUAL, heads_measured=50)
    assert more.apart.loc["flux", "C"] > found.apart.loc["flux", "C"]


def test_without_the_usual_hardness_the_models_own_error_counts():
    sure = find_cause(readings(flux=8.0), STEEL, HEAD, ROUTE, usual=USUAL)
    unsure = find_cause(readings(flux=8.0), STEEL, HEAD, ROUTE)
    assert (unsure.readings["sd_hv"] > sure.readings["sd_hv"]).all()
    nothing = [c.table.set_index("cause").loc[NOTHING, "probability"] for c in (sure, unsure)]
    assert nothing[0] < nothing[1]


def test_readings_as_the_reader_gives_them():
    values = [(zone, v) for zone, vs in readings(n=2).items() for v in vs]
    rows = [(h, zone, v) for h in ("1", "2") for zone, v in values]
    frame = pd.DataFrame(rows, columns=["head_id", "zone", "hardness_hv"])
    given = HardnessReadings(frame), STEEL, HEAD, ROUTE
    found = find_cause(*given, usual=USUAL, names=("flux", "C"))
    assert list(found.readings["readings"]) == [4, 4]
    assert set(found.table["cause"]) == {"flux", "C", NOTHING}


def test_evidence_of_a_straight_response_in_closed_form():
    """y = s z + noise with z ~ N(0, 1) has evidence N(y; 0, s² + R): the textbook marginal likelihood."""
    from scipy.stats import norm

    fine = np.linspace(-_FAR, _FAR, _FINE)
    drifts = causes(STUDY, ("flux", "C"))
    slopes, noise, off = (4.0, 9.0), 6.0, 7.0
    curves = np.array([s * fine for s in slopes])[:, :, None]
    seen = np.array([off]), np.array([[noise**-2]]), ["face"], np.array([400.0])
    table, _ = _ranked(drifts, curves, fine, *seen)
    p = table.set_index("cause")["probability"]
    expected = [norm.pdf(off, scale=np.hypot(s, noise)) for s in slopes]
    assert p["flux"] / p["C"] == pytest.approx(expected[0] / expected[1], rel=0.01)
    exact_ = norm.pdf(off, scale=noise) / (0.5 * expected[1])
    assert p[NOTHING] / p["C"] == pytest.approx(exact_, rel=0.01)
    mode = off * slopes[1] / (slopes[1] ** 2 + noise**2)
    row = table.set_index("cause").loc["C"]
    assert row["drift"] == pytest.approx(mode * drifts[1].sd, abs=0.03 * drifts[1].sd)


@pytest.mark.slow
def test_the_chances_are_honest():
    """Drifts drawn as stated beforehand: causes are right as often as their chances say."""
    rng = np.random.default_rng(5)
    drifts = causes(STUDY, ("flux", "preheat_c", "C", "spray_s"))
    every = causes(STUDY)
    hits = chance = of_truth = expected = 0.0
    for seed in range(24):
        moved = {d.name: d.now + d.everyday_sd * rng.normal() for d in every}  # an everyday head
        truth = NOTHING
        if rng.random() < 0.5:
            d = drifts[rng.integers(len(drifts))]
            truth = d.name
            moved[d.name] += d.sd * float(np.clip(rng.normal(), -2.9, 2.9))
        seen = readings(("face", "body", "hosel"), n=5, seed=seed, **moved)
        found = find_cause(seen, STEEL, HEAD, ROUTE, usual=USUAL, names=[d.name for d in drifts])
        table = found.table.set_index("cause")["probability"]
        hits += found.likeliest == truth
        chance += table.iloc[0]
        of_truth += table[truth]
        expected += (table**2).sum()
    # 2.5 standard deviations of 24 draws
    assert abs(hits - chance) < 6.0
    assert abs(of_truth - expected) < 3.7
    assert expected > 24 * 0.25  # better than guessing between drift and none


@pytest.mark.parametrize("change, says", [
    ({"measured": {}}, "must be a mapping"), ({"measured": {"sole": 400}}, "zone"),
    ({"measured": {"face": 4000}}, "face hardness"),
    ({"measured": {"face": []}}, "no reading of the face"),
    ({"usual": {"hosel": 230}}, "usual has no face"),
    ({"names": ("flu",)}, "did you mean 'flux'"),
    ({"route": fp.Route(spray=None), "names": ("flux",)}, "flux"),
    ({"heads_measured": -1}, "number of heads"),
])  # fmt: skip
def test_bad_input_is_refused_in_one_sentence(change, says):
    refuses(f"(?i){says}", find_cause, **{"measured": {"face": 400}, "steel": "4130", **change})
