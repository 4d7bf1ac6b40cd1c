"""A job: changed by short names, saved and loaded whole, and every damage refused in one sentence."""

import json
import pickle

import pytest
from checks import refuses

import forgeprops as fp

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


@pytest.mark.parametrize("job", [JOB, fp.Job(), fp.Job(route=fp.Route(spray=None))])
def test_a_saved_job_comes_back_equal(tmp_path, job):
    path = tmp_path / "a.job.json"
    job.save(path)
    assert fp.load_job(path) == fp.load_job(path.read_bytes(), "a.job.json") == job
    assert pickle.loads(pickle.dumps(job)) == job
    refuses("exists", job.save, path)


def test_changes_reach_their_part_and_nothing_else():
    changes = {"preheat_c": 930, "face_thickness_mm": 2.5, "C": 0.4, "shop_air": 1.1, "bar_mm": 500}
    job = JOB.with_(**changes, steel="1045")
    assert job.steel.name == "1045" and job.steel.get("C") == 0.4
    assert job.route == JOB.route.with_(preheat_c=930) and job.limits == JOB.limits
    assert (job.head.face.thickness_mm, job.shop.air, job.bench["bar_mm"]) == (2.5, 1.1, 500.0)
    assert JOB.with_(spray=None).route.spray is None and JOB.with_() == JOB
    assert [job.value(n) for n in ("preheat_c", "C", "shop_air")] == [930.0, 0.4, 1.1]


def test_an_estimate_of_a_job_is_the_estimate_of_its_parts():
    head = JOB.head.with_(club_speed_m_s=40.0)
    more = {"bench": dict(JOB.bench), "limits": JOB.limits}
    parts = fp.estimate(JOB.steel, head, JOB.route, JOB.shop, **more)
    assert fp.estimate(JOB).to_dict() == parts.to_dict()


def test_the_strike_reaches_the_head_that_is_estimated():
    assert fp.estimate(JOB).head.face.club_speed_m_s == 40.0
    assert JOB.head.face.club_speed_m_s != 40.0  # the job's own head stays


def test_a_faster_strike_leaves_less_margin():
    """A strike that is stored but not used would call a face safe that is not."""
    jobs = (fp.Job(strike={"club_speed_m_s": v}) for v in (30.0, 50.0))
    slow, fast = (fp.estimate(job).face.margin for job in jobs)
    assert fast < 0.9 * slow
    assert fp.Job().struck_head == fp.Job().head


def test_the_surface_of_a_strike_is_part_of_the_job(tmp_path):
    job = fp.Job(strike={"front_finish": "as forged", "residual_mpa": 200.0, "loft_deg": 25.0})
    job.save(tmp_path / "a.job.json")
    struck = fp.estimate(fp.load_job(tmp_path / "a.job.json")).face
    strike = {"front_finish": "as forged", "residual_mpa": 200.0}
    alone = fp.estimate(job.steel, job.head.with_(loft_deg=25.0), strike=strike).face
    assert struck.margin == alone.margin and struck.strikes < fp.estimate(fp.Job()).face.strikes
    refuses("finish", fp.estimate, fp.Job(strike={"front_finish": "shiny"}))


@pytest.mark.parametrize(("changes", "words"), [
    ({"spray_s": 9999}, "spray time"), ({"sprays": 9}, "did you mean"), ({"bar_mm": 1}, "bar"),
    ({"steel": 4130}, "steel"),
    ({"limits": {"face_hardness_hv": (1, 2)}}, "Limits"),
    ({"bench": {"bar_mm": [1]}}, "bar"),
    ({"strike": {"speed_m_s": 40.0}}, "club_speed_m_s"),
    ({"strike": {"club_speed_m_s": 999.0}}, "club speed"),
])  # fmt: skip
def test_changes_that_cannot_be(changes, words):
    refuses(f"(?i){words}", JOB.with_, **changes)


@pytest.mark.parametrize(("place", "value", "words"), [
    (("route", "spray", "duration_s"), 9999, "spray time"),
    (("route", "spray", "duration_s"), "9", "must be a number"),
    (("route", "preheats"), {}, "did you mean 'preheat'"),
    (("route", "later"), 3, "must be a list"), (("head", "face"), [1], "must be a table"),
    (("head", "face"), {"length_mm": 60.0}, "no height_mm"),
    (("steel", "composition"), 3, "names and values"),
    (("steel", "composition", "Xx"), 0.1, "Xx"), (("limits", "face_hardness_hv"), 3, "pair"),
    (("shop", "values", "spray"), 99, "shop spray"),
    (("bench",), 3, "names and values"), (("colour",), "red", "colour"),
])  # fmt: skip
def test_damaged_files_are_refused(tmp_path, place, value, words):
    JOB.save(tmp_path / "a.json")
    content = json.loads((tmp_path / "a.json").read_text())
    at = content
    for name in place[:-1]:
        at = at[name]
    at[place[-1]] = value
    refuses(f"(?i){words}", fp.load_job, json.dumps(content).encode(), "a.json")


def test_every_part_of_a_route_comes_back(tmp_path):
    oil = fp.Quench("oil bath", depth_mm=30.0, agitation=0.5)
    own = fp.Quench("own bath", table=((100.0, 1000.0), (900.0, 2000.0)))
    quench = (oil, fp.Quench("water spray", zones={"hosel": 0.5}), own)
    torch, hosel = fp.LocalHeat("hosel", cooled="air"), fp.Temper(200.0, zones=("hosel",))
    later = (fp.Normalise(), torch, hosel)
    route = fp.Route(fp.Preheat(950.0, 90.0, kind="induction"), quench=quench, later=later)
    job = fp.Job("4130", route=route)
    job.save(tmp_path / "job.json")
    assert fp.load_job(tmp_path / "job.json") == job
