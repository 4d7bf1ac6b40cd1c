"""Limits: hardness as the user writes it, the two default sets, saved and loaded as written."""

import pickle

import pytest

import forgeprops as fp

HARD = {
    "face_margin": (1.0, None), "hosel_allowed_deg": (2.0, None), "bar_force_n": (None, 400.0),
    "face_hardness_hv": (380.0, 520.0)}  # fmt: skip


@pytest.mark.parametrize(
    ("written", "name", "hv", "words"),
    [
        # ASTM E140: 40 HRC is 392 HV, 50 HRC 513 HV; 90 HRB is 185 HV; 200 HB is 200 / 0.95 HV (ISO 18265, table A.1)
        ({"face_hardness_hrc": (40, 50)}, "face_hardness_hv", (392, 513), "face hardness 40 to 50 HRC"),
        ({"hosel_hardness_hrb": (None, 90)}, "hosel_hardness_hv", (None, 185), "hosel hardness at most 90 HRB"),
        ({"body_hardness_hb": (200, None)}, "body_hardness_hv", (210.6, None), "body hardness at least 200 HB"),
    ],
)  # fmt: skip
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
    assert dict(fp.Limits.hard_thin_face().bounds) == HARD
    soft = dict(fp.Limits.soft_forged().bounds)
    assert soft == {name: pair for name, pair in HARD.items() if name != "face_hardness_hv"}
    assert fp.Limits.of_route(fp.Route()) == fp.Limits.hard_thin_face()
    assert fp.Limits.of_route(fp.Route(spray=None)) == fp.Limits.soft_forged()


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"face_hardness_hrc": (75, None)}, ["75", "HRC"]),
        ({"face_hardness_hrc": (50, 40)}, ["50 to 40 HRC"]),
        ({"face_hardness_hrc": (40, 50), "face_hardness_hv": (380, 500)}, ["face hardness", "twice"]),
        ({"face_tensile_hrc": (40, 50)}, ["face_tensile_hrc"]),
    ],
)  # fmt: skip
def test_a_bad_limit_says_what_is_wrong(bad, said):
    with pytest.raises(fp.InputError) as error:
        fp.Limits(**bad)
    assert all(word in str(error.value) for word in said)


@pytest.mark.parametrize(("route", "veto"), [
    ({}, "warning quench-crack"),
    ({"preheat_c": 700}, "warning too-cold-to-press")])  # fmt: skip
def test_what_cracks_or_is_too_cold_to_press_is_not_put_first(route, veto):
    """A limit of the user's own on the same quantity takes the place of the veto."""
    limits = {"hosel_allowed_deg": (0.5, None)}
    steels, route = ["1045", "4130"], fp.Route().with_(**route)
    preheats = [route.preheat.temperature_c]
    table = fp.compare(steels, preheats, None, route, fp.Limits(**limits)).table
    assert veto in list(table["binding"]) and not table["meets"][0]
    allowed = fp.Limits(**limits, crack_index=(None, 3), forging_low_c=(600, None), face_margin=(0.1, None))  # fmt: skip
    assert fp.compare(steels, preheats, None, route, allowed).table["meets"].all()
    one = fp.estimate(fp.Job("1045", route=route, limits=allowed))
    assert {s.name for s in one.verdict.limits} == set(allowed.bounds)
