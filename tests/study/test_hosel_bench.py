"""The bench beside other grades: arrays equal single estimates, remedies on any bench, what matters most."""

import dataclasses

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.base.errors import InputError
from forgeprops.hosel.bench import LIMITS
from forgeprops.study.hosel_bench import allowance_curve, grade_hosels, hosel_sensitivity, soften

GRADES = ("1020", "4130", "4140")


@pytest.fixture(scope="module")
def results():
    return {name: fp.estimate(fp.grade(name), fp.head("mid-iron")) for name in GRADES}


def test_grades_at_once_are_their_single_estimates(results):
    hosels = grade_hosels(fp.head("mid-iron"), grades=GRADES)
    drawn = fp.head("mid-iron").hosel.bend_zone_mm
    answer = hosels.allowed(drawn)
    for i, name in enumerate(GRADES):
        single = results[name].hosel
        assert hosels.hardness_hv[i] == pytest.approx(results[name].zones["hosel"].hardness_hv)
        assert answer["allowed_deg"][i] == pytest.approx(single.allowed_deg, rel=1e-6)
        assert LIMITS[answer["governed_by"][i]] == single.governed_by


def test_another_bench_reaches_every_grade(results):
    head = fp.head("wedge")
    hosels = grade_hosels(head, grades=("4140",))
    long = dataclasses.replace(head, hosel=dataclasses.replace(head.hosel, bend_zone_mm=20.0))
    bench = {"bar_mm": 800.0, "force_limit_n": 500.0}
    single = fp.estimate(fp.grade("4140"), long, bench=bench).hosel
    assert hosels.allowed(20.0, **bench)["allowed_deg"][0] == pytest.approx(
        single.allowed_deg, rel=1e-6
    )


def test_curves_are_the_formulas_of_their_structure():
    for hard, fractions in (
        (False, {"ferrite": 0.5, "pearlite": 0.5}),
        (True, {"bainite": 0.5, "martensite": 0.5}),
    ):
        answer = allowance_curve(240.0, 13.4, 9.4, 15.0, hard=hard)
        single = fp.hosel_bend(13.4, 9.4, 15.0, 240.0, fractions=fractions)
        assert answer["allowed_deg"][0] == pytest.approx(single.allowed_deg, rel=1e-9)
        assert LIMITS[answer["governed_by"][0]] == single.governed_by
    curve = allowance_curve(np.linspace(200, 470, 40), 13.4, 9.4, 15.0, hard=True)["allowed_deg"]
    assert np.all(np.diff(curve) <= 1e-9)  # harder never bends further


def test_soften_keeps_steel_and_head_and_judges_on_the_given_bench(results):
    hard = results["4140"]
    standard = soften(hard, preheat_steps_c=(), anneals=((30.0, 30.0),), tempers_c=())
    assert standard.allowed_deg == hard.hosel.allowed_deg
    long = soften(
        hard, bench={"bar_mm": 900.0}, preheat_steps_c=(), anneals=((30.0, 30.0),), tempers_c=()
    )
    assert long.hosel_hv == standard.hosel_hv and long.allowed_deg > standard.allowed_deg
    (anneal,) = (r for r in standard.remedies if r.kind == "local heat")
    fresh = fp.estimate(fp.grade("4140"), fp.head("mid-iron"), anneal.route)
    assert anneal.allowed_deg == pytest.approx(fresh.hosel.allowed_deg)
    told = standard.to_dict()
    assert [r["what"] for r in told["remedies"]] == [r.what for r in standard.remedies]
    with pytest.raises(InputError, match="result must be .* got str"):
        soften("4140")


def test_what_the_answer_hangs_on_changes_with_hardness(results):
    soft, hard = hosel_sensitivity(results["1020"]), hosel_sensitivity(results["4140"])
    assert list(soft["span_deg"]) == sorted(soft["span_deg"], reverse=True)
    # the wall ends the soft hosel, so nothing but its length counts; the hard one hangs on its notches
    assert soft["what"][0].startswith("bend zone") and hard["what"][0].startswith("notch")
    row = soft.set_index("what").loc["bend zone, 10 to 20 mm"]
    ends = results["1020"].hosel.for_length
    assert (row["low_deg"], row["high_deg"]) == pytest.approx((ends[10.0], ends[20.0]), rel=0.02)


def test_only_an_estimate_and_a_bench_are_taken(results):
    for call in (soften, hosel_sensitivity):
        with pytest.raises(InputError, match="result must be .* got NoneType"):
            call(None)
    with pytest.raises(InputError, match="did you mean 'bar_mm'"):
        hosel_sensitivity(results["1020"], {"bar": 600.0})
    longer = hosel_sensitivity(results["4140"], {"bar_mm": 900.0})
    assert (longer["high_deg"] > hosel_sensitivity(results["4140"])["high_deg"]).all()
