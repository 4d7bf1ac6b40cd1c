"""The estimate panel without a kernel: controls become inputs, inputs an answer, an error a sentence."""

import datetime
import io
import json

import numpy as np
import pytest
from PIL import Image

import forgeprops
from forgeprops.base.errors import InputError
from forgeprops.inputs.route import Route
from forgeprops.inputs.settings import table
from forgeprops.show.controls.fields import Slider
from forgeprops.show.panels import EstimatePanel
from forgeprops.show.units import Units


@pytest.fixture
def calls():
    return []


@pytest.fixture
def panel(calls):
    """The real panel on the real model, which also writes down what it was asked."""

    def model(job):
        calls.append(job)
        if job.route.spray is not None and job.route.spray.flux_kg_m2_s > 29.0:
            raise InputError(
                "spray rate is 29.5 kg/(m² s); allowed is less (invented for this test)."
            )
        return forgeprops.estimate(job)

    return EstimatePanel(model=model, display_units=Units())


def picture(panel):
    return np.asarray(Image.open(io.BytesIO(panel.live.widget.value))).astype(int)


def upload(panel, name, content):
    """What the Load button does in the browser."""
    panel.keep.load.set_trait(
        "value",
        (
            {
                "name": name,
                "type": "application/json",
                "size": len(content),
                "content": content,
                "last_modified": datetime.datetime.now(datetime.UTC),
            },
        ),
    )


def test_ranges_of_every_setting_lie_inside_what_is_accepted():
    route = Route()
    for s in table().values():
        for low, high, *step in filter(None, (s.slider, s.search)):
            assert s.low <= low < high <= s.high and all(one > 0 for one in step), s
            if s.group == "route":
                assert low <= route.setting(s.name) <= high, s
                assert route.with_(**{s.name: high}).setting(s.name) == high
    assert not {s.name for s in table().values() if s.slider and "_" in s.label}


def test_moving_a_slider_reaches_the_model_and_the_picture(panel, calls):
    before, soft = picture(panel), panel.result.zones["face"].hardness_hv
    panel.sliders["flux"].widget.value = 2.0
    assert calls[-1].route.spray.flux_kg_m2_s == 2.0
    assert not np.array_equal(before, picture(panel))
    face = panel.result.zones["face"]
    assert face.hardness_hv < soft  # less water, softer face
    assert f"{face.hardness_hv:.0f} HV" in panel.headline.value


def test_grade_and_cooling_reach_the_model(panel, calls):
    other = next(g for g in forgeprops.grades() if g != panel.controls["grade"].value)
    panel.controls["grade"].value = other
    panel.controls["surroundings"].value = "bin"
    assert (
        calls[-1].steel.name == forgeprops.grade(other).name
        and calls[-1].route.cool.surroundings == "bin"
    )


def test_no_water_means_no_spray_and_its_sliders_rest(panel, calls):
    panel.controls["water"].value = False
    assert calls[-1].route.spray is None
    assert panel.sliders["flux"].widget.disabled and not panel.sliders["preheat_c"].widget.disabled


def test_error_is_a_sentence_beside_the_control_and_goes_away(panel):
    answer = panel.result
    panel.sliders["flux"].widget.value = 29.5
    assert (
        "spray rate is 29.5" in panel.sliders["flux"].note.value
        and "alert" in panel.sliders["flux"].note.value
    )
    assert panel.sliders["delay_s"].note.value == "" and panel.result is answer
    panel.sliders["flux"].widget.value = 12.0
    assert panel.sliders["flux"].note.value == "" and panel.result is not answer


def test_programming_errors_are_not_hidden():
    def broken(job):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        EstimatePanel(model=broken, display_units=Units())


def test_quick_picture_equals_full_redraw(panel):
    panel.sliders["flux"].widget.value = 17.0
    quick = picture(panel)
    panel.live.refresh(static=True)
    assert np.abs(quick - picture(panel)).max() == 0


def test_every_control_has_a_name_for_tests_and_a_label(panel):
    for control in panel.controls.values():
        assert any(c.startswith("fp-") for c in control.widget._dom_classes)
        assert control.widget.description


def test_save_and_load(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel.sliders["preheat_c"].widget.value = 905.0
    panel.controls["surroundings"].value = "row"
    panel.keep.save.click()
    saved = panel.inputs
    assert "saved as" in panel.keep.said.value
    panel.keep.save.click()
    assert "exists already" in panel.keep.said.value  # never overwritten silently
    panel.put({**vars(saved), "preheat_c": 930.0})
    assert panel.inputs != saved
    upload(panel, "my_estimate.json", (tmp_path / "my_estimate.json").read_bytes())
    assert panel.inputs == saved and "loaded" in panel.keep.said.value


def test_start_again(panel):
    first = panel.inputs
    panel.sliders["flux"].widget.value = 3.0
    panel.controls["water"].value = False
    panel.keep.reset.click()
    assert panel.inputs == first and panel.result.route.spray is not None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"grade": "9999"}, "grade '9999' is unknown"),
        ({"preheat_c": 5000.0}, "preheat temperature is 5000"),
        ({"water": "yes"}, "water is 'yes'"),
        ({"surroundings": "oil"}, "surroundings 'oil' is unknown"),
        ({"colour": "red"}, "setting 'colour' is unknown"),
        ({"flux": None}, "not a number"),
    ],
)
def test_bad_settings_file_changes_nothing_and_says_so(panel, change, words):
    before = panel.inputs
    content = {"format": "forgeprops estimate inputs", "version": 1, **vars(before), **change}
    upload(panel, "x.json", json.dumps(content).encode())
    assert words in panel.keep.said.value.replace("&#x27;", "'")
    assert panel.inputs == before


def test_fahrenheit_slider_keeps_the_package_in_celsius():
    slider = Slider("preheat_c", 930.0, Units("°F"))
    assert slider.widget.value == pytest.approx(1706.0) and slider.value == pytest.approx(930.0)
    assert "°F" in slider.widget.description
    moved = []
    slider.on_change(moved.append)
    slider.set_units(Units("°C"))
    assert slider.widget.value == pytest.approx(930.0) and not moved
    slider.widget.value = 950.0
    assert moved == [slider] and slider.value == 950.0


def test_panel_speaks_the_readers_units():
    panel = EstimatePanel(display_units=Units("°F", "in", "HB"))
    assert "HB" in panel.headline.value
    told = panel.caption.value.split("<summary")[1]
    assert "°F" in told and "°C" not in told
    assert "°F" in panel.sliders["preheat_c"].widget.description


def test_every_grade_gives_an_answer_and_never_a_blank(panel):
    for grade in forgeprops.grades():
        panel.controls["grade"].value = grade
        assert panel.result.steel.name == forgeprops.grade(grade).name
        assert (
            panel.controls["grade"].note.value == ""
            and "nan" not in panel.headline.value + panel.caption.value
        )
