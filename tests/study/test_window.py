"""The process window: maps against single estimates, the region against known regions."""

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.answer.remedy import step_of
from forgeprops.inputs.settings import setting as lookup
from forgeprops.inputs.settings import settings
from forgeprops.study.process.process_window import Axis, _largest_box
from forgeprops.study.process.study import Study, answers


def axis(name, low, high, n, tolerance):
    return Axis(lookup(name), np.linspace(low, high, n), tolerance)


@pytest.fixture(scope="module")
def found():
    wanted = fp.Limits(
        face_hardness_hv=(380, 470), hosel_allowed_deg=(2.5, None), press_effort=(None, 1.1)
    )
    return fp.window(
        "4130", "mid-iron", None, ("preheat_c", 840, 1000, 9), ("flux", 4, 20, 9), wanted
    )


def test_maps_region_and_box_of_single_estimates(found):
    assert found.maps["face_hardness_hv"].shape == (9, 9) == found.slack.shape
    for j, i in ((0, 0), (3, 5), (8, 2)):
        route = fp.Route().with_(preheat_c=float(found.x.values[i]), flux=float(found.y.values[j]))
        one = fp.estimate(fp.grade("4130"), "mid-iron", route)
        expected = one.zones["face"].hardness_hv
        assert found.maps["face_hardness_hv"][j, i] == pytest.approx(expected, rel=1e-9)
        expected = one.hosel.allowed_deg
        assert found.maps["hosel_allowed_deg"][j, i] == pytest.approx(expected, rel=1e-9)
    m = found.maps
    hv = m["face_hardness_hv"]
    meets = (hv >= 380) & (hv <= 470) & (m["hosel_allowed_deg"] >= 2.5) & (m["press_effort"] <= 1.1)
    assert np.array_equal(meets, found.meets) and 0.0 < found.share < 1.0
    # with the least water the face is too soft
    assert "face hardness at least 380 HV" in set(found.binding[0])
    assert {"press_s", "heads_per_hour", "water_l", "press_effort"} <= set(m)
    assert found.centre["heads_per_hour"] > 0
    (x_low, x_high), (y_low, y_high) = found.box["preheat_c"], found.box["flux"]
    x, y = found.x.values, found.y.values
    rows, columns = (y >= y_low) & (y <= y_high), (x >= x_low) & (x <= x_high)
    inside = found.meets[np.ix_(rows, columns)]
    assert inside.size and inside.all()
    half = (x_high - x_low) / 2 / found.x.tolerance, (y_high - y_low) / 2 / found.y.tolerance
    assert found.centre["slack"] >= 0 and found.tolerances_held == pytest.approx(min(half))
    assert "largest box" in found.words()
    assert len(found.table()) == 81


def test_box_of_a_known_rectangle_and_triangle():
    # inside 900..960 by 8..12, tolerances 10 °C and 1 kg/(m² s): half-width 2 about (930, 10), 3 along x
    ax, ay = axis("preheat_c", 880, 980, 101, 10.0), axis("flux", 6, 14, 81, 1.0)
    x, y = np.meshgrid(ax.values, ay.values)
    slack = np.minimum(np.minimum(x - 900, 960 - x) / 10, np.minimum(y - 8, 12 - y))
    centre, box, held, at_edge = _largest_box(slack, ax, ay)
    assert (centre["preheat_c"], centre["flux"]) == pytest.approx((930.0, 10.0))
    assert held == pytest.approx(2.0)
    assert box["preheat_c"] == pytest.approx((900.0, 960.0))
    assert box["flux"] == pytest.approx((8.0, 12.0))
    assert not at_edge
    # x + y <= 10 in tolerances from the corner of the map: the largest square has side 5
    ax, ay = axis("preheat_c", 800, 900, 101, 10.0), axis("flux", 0, 10, 101, 1.0)
    u, v = np.meshgrid((ax.values - 800) / 10, ay.values)
    centre, _, held, at_edge = _largest_box(10.0 - u - v, ax, ay)
    assert held == pytest.approx(2.5, abs=0.06) and at_edge
    assert centre["flux"] == pytest.approx(2.5, abs=0.11)


def test_nearest_is_told_any_number_is_an_axis_within_its_bounds():
    axes = {"x": ("preheat_c", 860, 940, 3), "y": ("delay_s", 1, 5, 3)}
    none = fp.window("4140", **axes, limits=fp.Limits(hosel_allowed_deg=(3, None)))
    assert none.centre is None and none.box is None
    assert none.tolerances_held == 0.0 and none.share == 0.0
    assert "Nothing on this map" in none.words() and "hosel bend at least 3°" in none.words()
    w = fp.window("4130", x=("face_thickness_mm", 2.2, 3.2, 3), y=("C", 0.28, 0.34, 3))
    assert (np.diff(w.maps["face_margin"], axis=1) > 0).all()  # thicker is stronger
    assert (np.diff(w.maps["hosel_hardness_hv"], axis=0) > 0).all()  # more carbon is harder
    s = fp.window("4130", x=("shop_spray", 0.7, 1.4, 3), y=("delay_s", 0.5, 4, 2))
    assert (np.diff(s.maps["face_hardness_hv"], axis=1) > 0).all()
    study = Study("4130", "wedge")
    wrong = {"flux": (5.0, 99.0), "hosel_bore_mm": (9.0, 13.0), "C": (0.3, np.nan)}
    for (name, ends), words in zip(wrong.items(), ("Spray rate 99", "hosel wall", "C content"), strict=True):  # fmt: skip
        refuses(words, study.job.varied, {name: np.array(ends)})


@pytest.mark.parametrize("x, words", [
    (("preheat", 850, 950, 5), "did you mean 'preheat_c'"),
    (("preheat_c", 950, 850, 5), "from 950 to 850"),
    (("preheat_c", 850, 9999, 5), "out of range .20–1340"),
    (("preheat_c", 850, 950, 1), "Points of an axis 1"),
    (("preheat_c", 850, 950, 4.5), "whole number"), (("preheat_c", 850), "axis must be"),
    ("preheat_c", "axis must be"), (("flux", 2, 8, 5), "both axes are flux"),
    (("surroundings", 0, 1, 2), "setting to vary 'surroundings'"),
])  # fmt: skip
def test_bad_axes_are_refused(x, words):
    refuses(words, fp.window, "4130", x=x, y=("flux", 2, 20, 5))


def test_varied_cases_are_the_changed_case():
    from forgeprops.inputs.cases import Cases

    study = Study("4130", "wedge")
    values = {
        "preheat_c": 905.0, "C": 0.29, "face_thickness_mm": 2.7, "shop_delay_s": 0.2,
        "hosel_outside_mm": 13.1}  # fmt: skip
    one = study.changed(values)
    again = Study(*one[:3], shop=one[3])
    assert [again.job.value(name) for name in values] == pytest.approx(list(values.values()))
    a = answers(study.job.varied({name: np.array([v]) for name, v in values.items()}))
    b = answers(Cases.of(*([part] for part in one)))
    for name in a:
        value = pytest.approx(b[name][0], rel=1e-9) if a[name].dtype.kind == "f" else b[name][0]
        assert a[name][0] == value
    assert len(settings()) > 60


def test_progress_and_a_cancel(monkeypatch):
    axes, done = (("preheat_c", 900, 950, 3), ("flux", 8, 12, 3)), []
    fp.window("4130", None, None, *axes, progress=lambda *counts: done.append(counts))
    assert done == [(9, 9)]
    refuses("stopped before two rows", fp.window, "4130", None, None, *axes, cancel=lambda: True)
    from forgeprops.study.process import study

    monkeypatch.setattr(study, "_BETWEEN", 7)
    axes, done = (("preheat_c", 900, 950, 3), ("flux", 8, 12, 5)), []
    options = {"progress": lambda *counts: done.append(counts), "cancel": lambda: bool(done)}
    part = fp.window("4130", None, None, *axes, fp.Limits(hosel_allowed_deg=(1, None)), **options)
    assert part.cancelled and part.slack.shape == (2, 3) and part.y.values.tolist() == [8, 9]
    assert part.words().startswith("Stopped at spray rate 9 kg/(m² s).")


def test_forging_temperature_is_an_axis_whatever_moves_it(found):
    """The metal reaches it at every transfer time; what is proposed to set is a preheat temperature."""
    limits = fp.Limits(hosel_allowed_deg=(1, None))
    axes = {"x": ("forging_c", 850, 900, 3), "y": ("transfer_s", 2, 10, 3)}
    map_ = fp.window("4130", **axes, limits=limits)
    assert map_.maps["forging_c"] == pytest.approx(np.tile([850, 875, 900], (3, 1)), abs=1.5)
    assert set(map_.proposed) == {"preheat_c", "transfer_s"}
    # what is proposed can be set, keeps the limits and is as sure as its own verdict says
    for one in (map_, found):
        steps = {"preheat_c": 5, "transfer_s": 0.5, "flux": step_of("flux")}
        for name, value in one.proposed.items():
            assert value / steps[name] == pytest.approx(round(value / steps[name]), abs=1e-6)
        verdict = fp.estimate(fp.Job("4130", limits=one.limits).with_(**one.proposed)).verdict
        assert all(s.met for s in verdict.limits)
        assert one.sure.chance_right == pytest.approx(verdict.chance_right, abs=0.06)
        assert one.sure.heads_inside == pytest.approx(verdict.heads_inside, abs=6)
