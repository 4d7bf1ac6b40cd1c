"""Jobs, shops and limits: changed by short names, saved and loaded whole, every damage refused in one sentence."""

import dataclasses
import functools
import json
import pathlib
import pickle

import pytest
from checks import refuses
from hypothesis import given
from hypothesis import strategies as st

import forgeprops as fp
from forgeprops.__main__ import main

LATER = (fp.Temper(500.0, 1800.0, ("face",)), fp.LocalHeat())
JOB = fp.Job(
    fp.Steel("heat 7", {"C": 0.31, "Cr": 0.95, "Mo": 0.2}, limits={"C": (0.28, None)}),
    fp.head("wedge").with_(face_thickness_mm=2.9),
    fp.Route(later=LATER).with_(preheat_c=905, back_on_die=True),
    fp.Limits(face_hardness_hv=(380, None), hosel_allowed_deg=(2.0, 6.0)),
    fp.Shop(spray=1.2, fitted=("spray",), standard_errors=(0.1,), name="bay 2"),
    {"target_lie_deg": 1.5, "bar_mm": 600, "hand": "left"},
    {"club_speed_m_s": 40.0},
)


FITTED = fp.Shop(
    spray=1.18, delay_s=0.35, name="invented bay 2", fitted=("spray", "delay_s"), standard_errors=(0.06, 0.08),
    correlations=((1.0, -0.4), (-0.4, 1.0)), measured_on="2025-03-01", data_files=("traces.csv",), n_readings=1234,
)  # fmt: skip


@pytest.mark.parametrize("part", [JOB, fp.Job(), fp.Job(route=fp.Route(spray=None)), FITTED])
def test_a_saved_job_or_shop_comes_back_equal_and_is_kept(tmp_path, part):
    path, load = tmp_path / "a.json", fp.load_shop if part is FITTED else fp.load_job
    part.save(path)
    assert load(path) == load(path.read_bytes(), "a.json") == part
    assert pickle.loads(pickle.dumps(part)) == part
    refuses("exists.*kept", type(part)().save, path)
    assert load(path) == part
    type(part)().save(path, overwrite=True)
    assert load(path) == type(part)()


def test_changes_reach_their_part_and_nothing_else():
    changes = {"preheat_c": 930, "face_thickness_mm": 2.5, "C": 0.4, "shop_air": 1.1, "bar_mm": 500}
    job = JOB.with_(**changes, steel="1045")
    assert job.steel.name == "1045" and job.steel.get("C") == 0.4
    assert job.route == JOB.route.with_(preheat_c=930) and job.limits == JOB.limits
    assert (job.head.face_thickness_mm, job.shop.air, job.bench["bar_mm"]) == (2.5, 1.1, 500.0)
    assert JOB.with_(spray=None).route.spray is None and JOB.with_() == JOB
    assert [job.value(n) for n in ("preheat_c", "C", "shop_air")] == [930.0, 0.4, 1.1]


def test_an_estimate_of_a_job_is_the_estimate_of_its_parts_and_its_strike():
    head = JOB.head.with_(club_speed_m_s=40.0)
    more = {"bench": dict(JOB.bench), "limits": JOB.limits}
    parts = fp.estimate(JOB.steel, head, JOB.route, JOB.shop, **more)
    assert fp.estimate(JOB).to_dict() == parts.to_dict()
    assert fp.estimate(JOB).head.club_speed_m_s == 40.0
    assert JOB.head.club_speed_m_s != 40.0  # the job's own head stays
    assert fp.Job().struck_head == fp.Job().head


def test_the_surface_of_a_strike_is_part_of_the_job(tmp_path):
    strike = {"front_finish": "as forged", "residual_mpa": 200.0}
    job = fp.Job(strike={**strike, "loft_deg": 25.0})
    job.save(tmp_path / "a.job.json")
    struck = fp.estimate(fp.load_job(tmp_path / "a.job.json")).face
    alone = fp.estimate(job.steel, job.head.with_(loft_deg=25.0), strike=strike).face
    assert struck.margin == alone.margin and struck.strikes < fp.estimate(fp.Job()).face.strikes
    refuses("finish", fp.estimate, fp.Job(strike={"front_finish": "shiny"}))


CHANGES = [
    ({"spray_s": 9999}, "spray time"), ({"sprays": 9}, "did you mean"), ({"bar_mm": 1}, "bar"),
    ({"steel": 4130}, "steel"),
    ({"limits": {"face_hardness_hv": (1, 2)}}, "Limits"),
    ({"bench": {"bar_mm": [1]}}, "bar"),
    ({"strike": {"speed_m_s": 40.0}}, "club_speed_m_s"),
    ({"strike": {"club_speed_m_s": 999.0}}, "club speed"),
]  # fmt: skip
BOUNDS = [
    ({"face_hardness_hrc": (75, None)}, "75.*HRC"), ({"face_hardness_hrc": (50, 40)}, "50 to 40 HRC"),
    ({"face_hardness_hrc": (40, 50), "face_hardness_hv": (380, 500)}, "face hardness.*twice"),
    ({"face_tensile_hrc": (40, 50)}, "face_tensile_hrc"),
    ({"face_hardness": (1, 2)}, "did you mean 'face_hardness_hv'"), ({"face_hardness_hv": 400}, "must be a pair"),
    ({"face_hardness_hv": (None, None)}, "has no end"), ({"face_hardness_hv": (460, 380)}, "must be below"),
    ({"face_hardness_hv": ("a", None)}, "must be a number"), ({"face_hardness_hv": (1, 2, 3)}, "must be a pair"),
]  # fmt: skip


@pytest.mark.parametrize("call, given, words", [
    *((JOB.with_, *row) for row in CHANGES), *((fp.Limits, *row) for row in BOUNDS)])  # fmt: skip
def test_changes_and_limits_that_cannot_be(call, given, words):
    refuses(f"(?i){words}", call, **given)


JOB_DAMAGE = [
    (("route", "spray", "duration_s"), 9999, "spray time"),
    (("route", "spray", "duration_s"), "9", "must be a number"),
    (("route", "preheat"), 900.0, "did you mean 'preheat_c'"),
    (("route", "later"), 3, "must be a list"), (("head", "body"), 1, "must be a list"),
    (("head",), {"name": "bare"}, "no face_length_mm"),
    (("steel", "composition"), 3, "names and values"),
    (("steel", "composition", "Xx"), 0.1, "Xx"), (("limits", "face_hardness_hv"), 3, "pair"),
    (("shop", "spray"), 99, "shop spray"),
    (("bench",), 3, "names and values"), (("colour",), "red", "colour"),
]  # fmt: skip


def test_the_default_shop_is_neutral_and_a_file_is_short_and_plain(tmp_path):
    assert fp.Shop() == fp.Shop(1.0, 0.8, 1.0, 1.0, 0.0, "neutral")
    assert fp.Shop().fitted == () and fp.Shop().standard_error("spray") == 0.0
    assert hash(fp.Shop()) == hash(fp.Shop())
    FITTED.save(tmp_path / "a.json")
    text = (tmp_path / "a.json").read_text()
    assert len(text.splitlines()) < 60 and '"spray": 1.18' in text


names = st.text(min_size=1, max_size=30).filter(lambda s: s.strip() and s.isprintable())
four = dict.fromkeys(("spray", "emissivity", "air", "die"), st.floats(0.1, 1.0))


@given(st.builds(fp.Shop, **four, delay_s=st.floats(-5, 60), name=names, n_readings=st.integers(0, 10**6)))  # fmt: skip
def test_any_shop_comes_back(tmp_path_factory, shop):
    path = tmp_path_factory.mktemp("shop") / "s.json"
    shop.save(path)
    back = fp.load_shop(path)
    assert back.spray == shop.spray and back.delay_s == shop.delay_s
    # half a surrogate pair cannot be saved as it is
    assert back == shop or "\\ud" in path.read_text()


SHOP_DAMAGE = [
    (dict(version=2), "newer forgeprops"), (dict(version=None), "version None"),
    (dict(format="x"), "says 'x'"), (dict(extra=1), "unknown"),
    (dict(sprya=1.0), "did you mean 'spray'"), (dict(name=""), "printable"),
    (dict(name=7), "printable"), (dict(measured_on="1 March"), "must be a day"),
    (dict(n_readings=-1), "Number of readings -1"), (dict(n_readings="many"), "must be a number"),
    (dict(fitted=["sprya"]), "did you mean 'spray'"),
    (dict(fitted=["spray", "spray"]), "twice"), (dict(fitted="spray"), "must be a list"),
    (dict(standard_errors=[0.1]), "1 standard errors for 2"),
    (dict(standard_errors=[0.1, -0.1]), "standard error"),
    (dict(correlations=[[1.0]]), "2 by 2"),
    (dict(correlations=[[1, 0.5], [0.4, 1]]), "impossible"),
    (dict(correlations=[[1, 2], [2, 1]]), "Correlation 2"),
    (dict(correlations=3), "must be a list"), (dict(data_files=[None]), "give texts"),
    (dict(data_files={}), "must be a list"),
]  # fmt: skip
SHOP_DAMAGE = [(tuple(change), *change.values(), words) for change, words in SHOP_DAMAGE]


@pytest.mark.parametrize("part, place, value, words", [
    *((JOB, *damage) for damage in JOB_DAMAGE), *((FITTED, *damage) for damage in SHOP_DAMAGE)])  # fmt: skip
def test_damaged_files_are_refused(tmp_path, part, place, value, words):
    part.save(tmp_path / "a.json")
    content = json.loads((tmp_path / "a.json").read_text())
    *outer, last = place
    functools.reduce(dict.__getitem__, outer, content)[last] = value
    load = fp.load_shop if part is FITTED else fp.load_job
    refuses(f"(?i){words}", load, json.dumps(content).encode(), "a.json")


def test_estimates_of_every_kind_take_the_file(tmp_path, capsys):
    file = tmp_path / "bay.shop.json"
    FITTED.save(file)
    own = fp.estimate(fp.grade("4130"), shop=FITTED)
    for path in (file, str(file)):
        found = fp.estimate("4130", shop=path).zones["face"].hardness_hv
        assert found == own.zones["face"].hardness_hv
        many = fp.estimate_many("4130", shops=path)
        assert many["face_hardness_hv"][0] == pytest.approx(own.zones["face"].hardness_hv, rel=1e-9)
    refuses("does not exist", fp.estimate, fp.grade("4130"), shop=tmp_path / "no.shop.json")
    assert main(["--shop", str(file), "--json"]) == 0
    face = json.loads(capsys.readouterr().out)["zones"]["face"]["hardness_hv"]
    assert face == pytest.approx(own.zones["face"].hardness_hv, abs=0.1)


@pytest.mark.parametrize("written, name, hv, words", [
    # ASTM E140: 40 HRC is 392 HV, 50 HRC 513 HV; 90 HRB is 185 HV; 200 HB is 200 / 0.95 HV (ISO 18265, table A.1)
    ({"face_hardness_hrc": (40, 50)}, "face_hardness_hv", (392, 513), "face hardness 40 to 50 HRC"),
    ({"hosel_hardness_hrb": (None, 90)}, "hosel_hardness_hv", (None, 185), "hosel hardness at most 90 HRB"),
    ({"body_hardness_hb": (200, None)}, "body_hardness_hv", (210.6, None), "body hardness at least 200 HB"),
])  # fmt: skip
def test_hardness_is_limited_in_the_scale_it_is_written_in(written, name, hv, words):
    limits = fp.Limits(**written)
    assert limits.bounds[name] == pytest.approx(hv) if None not in hv else limits.bounds[name] == hv
    assert str(limits) == words
    (end, *_), *_ = limits.ends()
    assert end in words or words.startswith("face")
    for again in (fp.Limits(**limits.saved()), pickle.loads(pickle.dumps(limits))):
        assert again == limits and str(again) == words and hash(again) == hash(limits)


@pytest.mark.parametrize("spray", [fp.Spray(), None])
def test_every_study_keeps_the_limits_of_an_estimate_and_names_them(spray):
    """1040 is good without a spray, where no limit is on the face, and may crack under it."""
    route, axes = fp.Route(spray=spray), {"x": ("preheat_c", 900, 950, 2), "y": ("transfer_s", 3, 4, 2)}  # fmt: skip
    asked = {"bench": {"target_lie_deg": 2.5}}
    one = fp.estimate("1040", None, route, **asked)
    found = [
        fp.window("1040", None, route, **axes, **asked),
        fp.compare(["1040"], [930], None, route, **asked),
        fp.judge_heat("1040", None, route, turned={}, **asked),
        fp.choose("1040", None, route, settings={"preheat_c": (900, 950)}, starts=1, **asked),
    ]
    purpose = "hard thin face" if spray else "soft forged head"
    for study in found:
        assert study.limits == one.limits and f"Limits of a {purpose}: " in study.words()
    assert "hosel bend at least 2.5°" in str(one.limits)
    inside = one.verdict.level == "good"
    assert inside == (spray is None)
    window, comparison, heat, choice = found
    assert (window.share == 1.0) == inside and comparison.table["meets"].all() == inside
    assert (heat.verdict == "accept") == inside and choice.feasible == inside
    assert ("warning quench-crack" in list(comparison.table["binding"])) == (spray is not None)


def test_the_default_sets_are_those_of_the_design():
    soft = {
        "face_margin": (1.0, None),
        "hosel_allowed_deg": (2.0, None),
        "bar_force_n": (None, 400.0),
    }
    assert dict(fp.Limits.soft_forged().bounds) == soft
    hard = {**soft, "face_hardness_hv": (380.0, 520.0)}
    assert dict(fp.Limits.hard_thin_face().bounds) == hard
    assert fp.Limits.of_route(fp.Route()) == fp.Limits.hard_thin_face()
    assert fp.Limits.of_route(fp.Route(spray=None)) == fp.Limits.soft_forged()


@pytest.mark.parametrize("route, veto", [
    ({}, "warning quench-crack"),
    ({"preheat_c": 700}, "warning too-cold-to-press")])  # fmt: skip
def test_what_cracks_or_is_too_cold_to_press_is_not_put_first(route, veto):
    """A limit of the user's own on the same quantity takes the place of the veto."""
    limits = {"hosel_allowed_deg": (0.5, None)}
    steels, route = ["1045", "4130"], fp.Route().with_(**route)
    preheats = [route.preheat_c]
    table = fp.compare(steels, preheats, None, route, fp.Limits(**limits)).table
    assert veto in list(table["binding"]) and not table["meets"][0]
    allowed = fp.Limits(**limits, crack_index=(None, 3), forging_low_c=(600, None), face_margin=(0.1, None))  # fmt: skip
    assert fp.compare(steels, preheats, None, route, allowed).table["meets"].all()
    one = fp.estimate(fp.Job("1045", route=route, limits=allowed))
    assert {s.name for s in one.verdict.limits} == set(allowed.bounds)


def test_parts_by_their_own_names_in_programs_and_files():
    """A file saved before a setting had one name; the parts of a route and of a head are given and taken."""
    job = fp.load_job(pathlib.Path(__file__).parent / "job_by_parts.json")
    route = fp.Route(
        preheat=fp.Preheat(temperature_c=905.0, soak_s=1000.0, kind="electric"),
        transfer=fp.Transfer(5.0),
        press=fp.Press(dwell_s=0.04, contact_w_m2k=6000.0, shape="simple"),
        spray=fp.Spray(flux_kg_m2_s=10.0),
        cool=fp.Cool(surroundings="fan"),
        later=(fp.LaterHeat(300.0), fp.LocalHeat(peak_c=650.0)),
        first_heat=fp.FirstHeat(finish_c=910.0),
        quench=fp.Quench("oil bath", duration_s=20.0),
    )
    assert job.route == route and route.preheat_c == 905.0 and route.press_shape == "simple"
    assert job.head == fp.head("wedge").with_(rim_thickness_mm=5.0)
    assert job.shop == fp.Shop(spray=1.1, name="bay 2", fitted=("spray",), standard_errors=(0.05,))
    hotter = dataclasses.replace(route.preheat, temperature_c=950.0)
    assert dataclasses.replace(route, preheat=hotter) == route.with_(preheat_c=950.0)
    assert job.head.rim.thickness_mm == 5.0 and job.head.hosel.bend_zone_mm == 15.0
    thicker = dataclasses.replace(job.head.rim, thickness_mm=5.5)
    assert dataclasses.replace(job.head, rim=thicker) == job.head.with_(rim_thickness_mm=5.5)
    refuses(r"cool must be a Cool\(...\); got 'fan'", fp.Route, cool="fan")
    refuses("Preheat temperature 9999 °C is out of range", fp.Preheat, 9999.0)
