"""Every part of a route a shop may have: saved, estimated alone and in a batch, with the sense the trade knows."""

import pytest
from checks import evaluated, refuses

import forgeprops as fp

TABLE = ((100.0, 500.0), (300.0, 3000.0), (600.0, 2000.0), (900.0, 400.0))


def dry(*quench):
    return fp.Route(spray=None, quench=quench)


ROUTES = {
    "usual": fp.Route(),
    "air": fp.Route(spray=None),
    "oil": dry(fp.Quench("oil bath", agitation=0.5, duration_s=30.0)),
    "oil to 30 mm": dry(fp.Quench("oil bath", depth_mm=30.0, duration_s=30.0)),
    "polymer": dry(fp.Quench("polymer bath", duration_s=15.0)),
    "water": dry(fp.Quench("water bath", duration_s=15.0)),
    "own": dry(fp.Quench("own bath", table=TABLE, fluid_c=30.0, duration_s=20.0)),
    "air on the face": dry(fp.Quench("forced air", zones="face", air_speed_m_s=40.0, duration_s=60.0)),
    "two sprays": fp.Route(spray=fp.Spray(duration_s=3.0), quench=fp.Quench("water spray", duration_s=5.0)),
    "second spray alone": dry(fp.Quench("water spray")),
    "3 s": fp.Route(spray=fp.Spray(duration_s=3.0)),
    "jet on the hosel": fp.Route(quench=(fp.Quench("water spray", zones={"hosel": 1.0}, delay_s=0.5),)),
    "induction": fp.Route(preheat_c=950.0, soak_s=90.0, furnace="induction"),
    "protective": fp.Route(furnace="protective"),
    "box": fp.Route(spray=None, surroundings="box"),
    "normalise": fp.Route(later=(fp.Normalise(),)),
    "torch": fp.Route(later=(fp.LocalHeat(peak_c=850.0),)),
}  # fmt: skip


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    found = {}
    for name, route in ROUTES.items():
        path = tmp_path_factory.mktemp("jobs") / "a.job.json"
        fp.Job("1040", route=route).save(path)
        found[name] = fp.estimate(fp.load_job(path))
        assert found[name].route == route
    return found


def test_a_batch_gives_the_digits_of_each(results):
    many = fp.estimate_many("1040", "mid-iron", list(ROUTES.values()))
    for i, one in enumerate(results.values()):
        for zone, of in one.zones.items():
            for end in ("", "_low", "_high"):
                column = f"{zone}_hardness{end}_hv"
                if column in many:
                    assert many[column][i] == getattr(of, f"hardness{end}_hv"), column
        assert many["hosel_allowed_deg"][i] == one.hosel.allowed_deg
        assert set(many["warnings"][i].split("; ")) - {""} <= {w.code for w in one.warnings}


def test_parts_act_as_the_trade_knows_them(results):
    hv = {n: {z: r.zones[z].hardness_hv for z in ("face", "hosel")} for n, r in results.items()}
    assert hv["air"]["face"] < hv["oil"]["face"] < hv["water"]["face"]
    assert hv["oil to 30 mm"]["hosel"] < hv["oil"]["hosel"] - 5.0
    assert hv["air"]["face"] < hv["air on the face"]["face"] < hv["usual"]["face"]
    assert hv["air on the face"]["hosel"] == pytest.approx(hv["air"]["hosel"], abs=3.0)
    assert hv["3 s"]["face"] <= hv["two sprays"]["face"]
    assert hv["jet on the hosel"]["hosel"] > hv["usual"]["hosel"] + 20.0
    assert hv["box"]["hosel"] < hv["air"]["hosel"]
    assert hv["normalise"]["face"] == pytest.approx(hv["air"]["face"], abs=15.0)
    scale = {n: r.scale_um for n, r in results.items()}
    assert scale["protective"] == 0.0 < scale["induction"] < 0.3 * scale["usual"]


@pytest.mark.parametrize("name", ["second spray alone", "oil", "air on the face", "own", "torch"])
def test_texts_and_limits_follow_the_quench(results, name):
    result = results[name]
    assert result.verdict.measure_next is not None and result.to_dict()
    assert all(q.words in " ".join(result.summary().split()) for q in result.route.quench)
    hard = fp.Limits.of_route(result.route) == fp.Limits.hard_thin_face()
    assert hard == (name != "air on the face")


def test_what_must_be_said_of_a_bath_is_said(results):
    codes = {n: {w.code for w in r.warnings} for n, r in results.items()}
    cracks = {n for n, found in codes.items() if "quench-crack" in found}
    assert {"water", "usual"} <= cracks
    assert not cracks & {"oil", "air", "air on the face", "polymer"}
    assert "oil-fire" in codes["oil"] and "oil-fire:open" in codes["oil to 30 mm"]
    assert {n for n, found in codes.items() if "bath-law" in found} == {"oil", "oil to 30 mm", "polymer", "water"}  # fmt: skip
    hot = fp.estimate("1040", route=dry(fp.Quench("water bath", fluid_c=80.0)))
    assert "bath-range" in {w.code for w in hot.warnings}
    # the law of a bath is as unsure as that of a spray
    face = results["oil"].zones["face"]
    assert face.hardness_high_hv - face.hardness_low_hv > 40.0


def test_the_shape_of_the_forging_sets_the_press_force_alone():
    routes = [fp.Route().with_(press_shape=s) for s in ("simple", "complex")]
    simple, usual = (fp.estimate("1040", route=route) for route in routes)
    assert simple.effort.press_force.kn == pytest.approx(0.75 * usual.effort.press_force.kn)
    assert simple.zones["face"].hardness_hv == usual.zones["face"].hardness_hv
    routes = [r.route for r in (simple, usual)]
    many = evaluated("1040", routes).press["press_force_kn"]
    assert list(many) == [r.effort.press_force.kn for r in (simple, usual)]
    refuses("shape", fp.Route, press_shape="round")


def test_a_zone_takes_its_share_of_a_quench():
    """Half the spray cools a face less; a zone that is not named stays as it is without a quench."""
    quenches = (fp.Quench("water spray", zones={"face": s}, flux_kg_m2_s=16.0) for s in (0.5, 1.0))
    routes = [fp.Route(spray=None, quench=q) for q in ((), *quenches)]
    dry, half, whole = (fp.estimate(fp.grade("4130"), route=r).zones for r in routes)
    hv = [z["face"].hardness_hv for z in (dry, half, whole)]
    assert hv[0] + 10.0 < hv[1] < hv[2] - 10.0
    assert abs(whole["hosel"].hardness_hv - dry["hosel"].hardness_hv) < 5.0
