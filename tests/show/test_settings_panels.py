"""Window, scatter and search without a kernel: real studies, smaller than those on the page."""

import functools
import json
import threading

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.base.errors import InputError
from forgeprops.show.figures.scatter import quantities_shown
from forgeprops.show.figures.window import _names
from forgeprops.show.panels.scatter import ChoosePanel, ScatterPanel
from forgeprops.show.panels.settings import AXES, TURNED, SettingsCase, WindowPanel
from forgeprops.show.units import Units

WISH = {
    "face_hardness_hv": (380.0, 450.0),
    "hosel_allowed_deg": (2.0, None),
    "scale_um": (None, 130.0),
}


@functools.cache
def mapped(job, x, y, points):
    axes = ((name, *AXES[name], 9) for name in (x, y))
    return fp.window(job.steel, job.head, job.route, *axes, job.limits)


def drawn(job, what, chemistry, n, base, progress, cancel):
    spread = {"shop_spray": 0.0, "shop_emissivity": 0.0} if what == "heads" else None
    return fp.scatter(job.steel, job.head, job.route, spread, job.limits, n=64, chemistry=chemistry,
                      indices=16 if base else False, quantities=quantities_shown(job.limits), progress=progress,
                      cancel=cancel)  # fmt: skip


def searched(job, progress, cancel):
    return fp.choose(job.steel, job.head, job.route, job.limits, {"flux": (4.0, 18.0)}, starts=1,
                     progress=progress, cancel=cancel)  # fmt: skip


@pytest.fixture
def case():
    return SettingsCase(Units(), limits=WISH)


def test_route_of_the_case_has_the_sliders_settings(case):
    case.move({"flux": 9.0, "delay_s": 3.0, "preheat_c": 905.0})
    route = case.job.route
    assert [route.setting(n) for n in ("flux", "delay_s", "preheat_c")] == [9.0, 3.0, 905.0]
    assert set(TURNED) <= set(AXES)


def test_case_saves_and_loads(case, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    case.move({"flux": 7.5})
    case.keep.save.click()
    saved = json.loads((tmp_path / "my_settings.json").read_text())
    values = {k: v for k, v in saved.items() if k in case.controls}
    case.move({"flux": 12.0})
    case.put(values)
    assert case.inputs.flux == 7.5 and case.inputs.limits["scale_um"] == [None, 130.0]
    for change, words in (({"grade": "9999"}, "9999"), ({"flux": -1.0}, "-1"), ({"limits": [1]}, "mapping"),
                          ({"colour": 1}, "colour")):  # fmt: skip
        with pytest.raises(InputError, match=words):
            case.put(values | change)
    with pytest.raises(InputError, match="flux is missing"):
        case.put({k: v for k, v in values.items() if k != "flux"})
    assert case.inputs.flux == 7.5


@pytest.fixture
def window(case):
    made = WindowPanel(case, model=mapped)
    made.work.join()
    return made


def test_the_middle_of_the_window_meets_the_limits_when_estimated_alone(window):
    found = window.result
    assert "The middle of the window is" in window.headline.value
    window.buttons["take"].click()
    asked = window.case.job
    assert asked.value("flux") == pytest.approx(
        found.centre["flux"], abs=0.3
    )  # the slider's own step
    result = fp.estimate(fp.grade("4130"), fp.head("mid-iron"), asked.route)
    assert 380.0 <= result.zones["face"].hardness_hv <= 450.0 and result.hosel.allowed_deg >= 2.0


def test_names_stand_in_the_area_they_name(window):
    found = window.result
    names = _names(found)
    assert {"face too soft", "face too hard"} <= set(names)
    y = {words: found.y.values[j] for words, (_, j, _) in names.items()}
    assert y["face too soft"] < found.centre["flux"] < y["face too hard"]


def test_a_change_is_said_until_the_picture_is_new(window):
    assert window.stale.value == ""
    window.case.move({"spray_s": 6.0})
    assert "earlier settings" in window.stale.value
    window.go.click()
    window.work.join()
    assert window.stale.value == ""


def test_same_axis_twice_is_a_sentence_beside_it(window):
    window.y.value = "preheat_c"
    assert "Both axes are" in window.y.note.value
    window.y.value = "spray_s"
    window.work.join()
    assert window.y.note.value == "" and window.result.y.setting.name == "spray_s"


def test_nothing_meets_and_no_limits_are_said(window):
    window.case.box.value = {"face_hardness_hv": (700.0, 720.0)}
    window.go.click()
    window.work.join()
    assert (
        "Nothing on this map meets all your limits" in window.headline.value
        and window.buttons["take"].disabled
    )
    window.case.box.value = {}
    window.go.click()
    window.work.join()
    assert "No limits are set" in window.headline.value


def test_window_speaks_fahrenheit_and_inches():
    hot = WindowPanel(SettingsCase(Units("°F", "in", "HRC"), limits=WISH), mapped,
                      y="face_thickness_mm")  # fmt: skip
    hot.work.join()
    labels = [hot.live.figure.axes[0].get_xlabel(), hot.live.figure.axes[0].get_ylabel()]
    assert "°F" in labels[0] and labels[1].endswith(", in") and "°C" not in hot.headline.value
    assert hot.live.figure.axes[0].get_xlim()[0] == pytest.approx(850.0 * 1.8 + 32.0)


@pytest.fixture
def scatter(case):
    made = ScatterPanel(case, model=drawn)
    made.work.join()
    return made


def test_bars_are_the_heads_inside_and_outside(scatter):
    found = scatter.result
    values = found.samples["face_hardness_hv"]
    out = np.mean((values < 380.0) | (values > 450.0))
    assert found.by_quantity["face_hardness_hv"].share == pytest.approx(out)
    assert (
        "heads miss a limit" in scatter.headline.value
        and "What moves the face hardness most" in scatter.headline.value
    )
    hatched = [p for p in scatter.live.figure.axes[0].patches if p.get_hatch()]
    assert hatched and all(
        p.get_x() + p.get_width() <= 380.0 + 1e-9 or p.get_x() >= 450.0 - 1e-9 for p in hatched
    )


def test_known_laws_leave_less_spread(scatter):
    wide = scatter.result.distributions["face_hardness_hv"].sd
    scatter.what.value = "heads"
    scatter.work.join()
    assert scatter.result.distributions["face_hardness_hv"].sd < wide
    assert "how well the water cools" not in scatter.headline.value


def test_stop_keeps_what_was_drawn(case):
    begun, go = threading.Event(), threading.Event()

    def slow(*asked):
        found = drawn(*asked)
        begun.set()
        go.wait(10)
        return found

    panel = ScatterPanel(case, model=slow)
    begun.wait(60)
    panel.work.stop_button.click()
    go.set()
    panel.work.join()
    assert "stopped after 1 of 2" in panel.work.said.value and not panel.result.indices


def test_search_tells_settings_or_what_to_relax(case):
    panel = ChoosePanel(case, model=searched)
    assert "Press Search" in panel.headline.value and panel.buttons["take"].disabled
    panel.go.click()
    panel.work.join()
    assert "These meet all your limits" in panel.headline.value
    panel.buttons["take"].click()
    assert case.inputs.flux == pytest.approx(panel.result.settings["flux"], abs=0.3)
    case.box.value = {"face_hardness_hv": (380.0, 450.0), "hosel_allowed_deg": (6.0, None)}
    panel.go.click()
    panel.work.join()
    assert (
        "Relax this one" in panel.headline.value and "hosel bend at least 6" in panel.headline.value
    )


def test_search_without_limits_is_a_sentence(case):
    case.box.value = {}
    panel = ChoosePanel(case, model=searched)
    panel.go.click()
    panel.work.join(raising=False)
    assert "nothing is required" in panel.work.said.value


@pytest.mark.filterwarnings("error")
def test_limit_that_most_inputs_do_not_touch_has_indices_without_complaint(case):
    case.box.value = {"scale_um": (None, 130.0)}  # water and analysis leave the scale alone
    panel = ScatterPanel(case, model=drawn)
    panel.work.join()
    table = panel.result.ranking("slack")
    assert table["input"][0] == "preheat_c"
    idle = table[table["input"] == "flux"].iloc[0]
    assert idle["total"] == idle["total_low"] == idle["total_high"] == 0.0
