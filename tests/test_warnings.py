"""Warning rules: silent on a good heat, loud on a bad one, and the same codes for one case as for many."""

import dataclasses

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.answer.evaluation import EVERYTHING, evaluate
from forgeprops.answer.warnings.listing import FURNACE_CODES, RULES
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.head import ZONES


def evaluated(name, **settings):
    route = fp.Route().with_(**settings)
    return evaluate(Cases.of([fp.grade(name)], [fp.head("mid-iron")], [route]), EVERYTHING)


def furnace(e, **columns):
    """Warnings of the furnace with some results put in the place of the marched ones, in every zone."""
    marched = {name: np.full((1, len(ZONES)), float(v)) for name, v in columns.items()}
    e = dataclasses.replace(e, results=dataclasses.replace(e.results, **marched))
    return {w.code: w for w in e.warnings(0) if w.code in FURNACE_CODES}


@pytest.fixture(scope="module")
def good():
    return evaluated("4130", soak_s=300.0, preheat_c=900.0)


FINE = {"peak_c": 900.0, "share": 1.0, "undissolved": 0.01, "grain_astm": 8.0, "scale_um": 40.0}


def test_silent_on_a_good_heat(good):
    assert furnace(good, **FINE) == {}


@pytest.mark.parametrize(("columns", "code", "words"), [
    ({"peak_c": 1202.0}, "overheating", "working limit of 4130"),
    ({"peak_c": 1290.0}, "burning", "1290 °C"),
    ({"share": 0.6}, "partial-austenite", "Only 60 % of the hosel"),
    ({"undissolved": 0.3}, "carbides-left", "30 %"),
    ({"grain_astm": 3.0}, "coarse-grain", "ASTM 3.0"),
    ({"scale_um": 150.0}, "scale", "150 µm"),
    ({"peak_c": 860.0}, "cold-core", "40 °C below"),
])  # fmt: skip
def test_loud_on_a_bad_one(good, columns, code, words):
    found = furnace(good, **{**FINE, **columns})
    assert words in found[code].text and found[code].rank in ("stop", "change", "note")


def test_carbon_steel_has_no_chromium_carbides():
    assert "carbides-left" not in furnace(evaluated("1030"), undissolved=1.0)


def test_a_zone_is_named_and_heat_and_scale_are_said_once(good):
    hot = {**FINE, "peak_c": 1290.0, "scale_um": 150.0, "share": 0.6}
    marched = {name: np.full((1, len(ZONES)), v) for name, v in hot.items()}
    e = dataclasses.replace(good, results=dataclasses.replace(good.results, **marched))
    texts = [w.text for w in e.warnings(0) if w.code == "partial-austenite"]
    assert ["of the face" in texts[0], "of the hosel" in texts[1]] == [True, True]
    for code in ("burning", "scale"):
        assert [w.code for w in e.warnings(0)].count(code) == 1


def test_every_code_of_one_case_is_a_code_of_many():
    """Rules that need further marches are told where those are; the rest always."""
    steels = [fp.grade(n) for n in ("1020", "4130", "1045", "4340")]
    routes = [fp.Route().with_(preheat_c=t) for t in (700.0, 780.0, 930.0, 1240.0)]
    head = fp.head("mid-iron")
    pairs = [(s, r) for s in steels for r in routes]
    cases = Cases.of([s for s, _ in pairs], [head] * 16, [r for _, r in pairs])
    whole, bare = evaluate(cases, EVERYTHING), evaluate(cases)
    further = {rule.code for rule in RULES if rule.needs in ("nodes_hv", "dry_hv")}
    for i in range(len(cases)):
        codes = {w.code for w in whole.warnings(i, whole.bend_of(head, i))}
        assert codes == set(filter(None, whole.codes[i].split("; ")))
        assert codes - further == set(filter(None, bare.codes[i].split("; ")))
    assert {"decarburised", "cliff", "idle-water"} & {c for w in whole.codes for c in w.split("; ")}


def found(steel, route):
    result = fp.estimate(steel, None, route)
    return result, {w.code: w for w in result.warnings}


def test_metal_too_cold_to_press_is_a_stop():
    """Ten seconds in the furnace leave the metal far below 700 °C, where the flow-stress laws end."""
    result, warned = found("4130", fp.Route().with_(soak_s=10.0))
    assert warned["too-cold-to-press"].rank == "stop" and result.verdict.level == "out"
    assert "do not press" in result.details() and "Effort: flow stress" not in result.details()
    assert "too-cold-to-press" not in found("4130", fp.Route())[1]
    warm = fp.Route(spray=None).with_(preheat_c=690.0)
    own = fp.Limits(forging_low_c=(600.0, None))
    assert fp.estimate("1020", None, warm, limits=own).verdict.level != "out"
    assert fp.estimate("1020", None, warm).verdict.level == "out"


def test_oil_at_the_flash_point_is_a_stop():
    for fluid_c, stops in ((200.0, True), (60.0, False)):
        oil = fp.Quench("oil bath", duration_s=60.0, fluid_c=fluid_c)
        result, warned = found("4130", fp.Route(spray=None, quench=(oil,)))
        assert ("oil-at-flash-point" in warned) == stops
        text = " ".join(result.details().split())
        assert "in the oil bath it cools" in text and "when the quench starts" in text
        assert "still air it cools" not in text and "when the spray starts" not in text


def test_an_analysis_without_manganese_says_what_is_assumed():
    _, warned = found(fp.Steel("own", {"C": 0.3}), fp.Route())
    assert "Mn 0.5 %" in warned["unreported"].text and warned["unreported"].rank == "change"
    assert "unreported" not in found("4130", fp.Route())[1]


def test_the_tempering_law_holds_for_the_manganese_of_4130():
    _, warned = found("4130", fp.Route(later=(fp.Temper(600.0),)))
    assert not [code for code in warned if code.startswith("range:tempering")]
