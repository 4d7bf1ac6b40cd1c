"""The forging-temperature panel without a kernel, on a coarse real study and a double of equal effort."""

import io
import json

import numpy as np
import pytest
from PIL import Image

import forgeprops
from forgeprops.base.errors import InputError
from forgeprops.inputs.settings import table
from forgeprops.show.panels import forging_temperature as room
from forgeprops.show.units import Units
from forgeprops.study.process.furnace import forging_temperature_study

COARSE_C = [650.0, 740.0, 770.0, 800.0, 840.0, 950.0, 1100.0]


@pytest.fixture(scope="module")
def studies():
    """Studies by grade and head, marched once."""
    return {}


@pytest.fixture
def panel(studies):
    def model(grade, head):
        if grade == "1050":
            raise InputError("grade is '1050'; allowed is another (invented for this test).")
        if (grade, head) not in studies:
            steel = forgeprops.grade(grade)
            studies[grade, head] = forging_temperature_study(steel, head, temperatures=COARSE_C)
        return studies[grade, head]

    def equal(other, grade, head):  # TEST DOUBLE: 25 °C hotter, band of -20 and +40
        return np.array([[t + 25.0, t + 5.0, t + 65.0] for t in room._EQUAL_C])

    return room.ForgingTemperaturePanel(model=model, equal=equal, display_units=Units())


def picture(panel):
    return np.asarray(Image.open(io.BytesIO(panel.live.widget.value))).astype(int)


def test_slider_moves_the_marks_and_the_words(panel):
    before = picture(panel)
    panel.sliders["preheat_c"].widget.value = 1000.0
    assert not np.array_equal(before, picture(panel))
    assert panel.curves._cursor["grain"].get_xdata()[0] == 1000.0
    now = panel.study.at(1000.0)
    dot = panel.curves._dots["face_hv"]
    assert dot.get_xdata()[0] == 1000.0 and dot.get_ydata()[0] == pytest.approx(now["face_hv"])
    assert (
        "Furnace 1000 °C" in panel.headline.value
        and f"{now['die_c']:.0f} °C in the die" in panel.headline.value
    )


def test_quick_picture_equals_full_redraw(panel):
    panel.sliders["preheat_c"].widget.value = 905.0
    quick = picture(panel)
    panel.live.refresh(static=True)
    assert np.abs(quick - picture(panel)).max() == 0


def test_grade_and_head_are_marched_anew(panel):
    panel.controls["grade"].value = "4140"
    assert panel.study.steel.name == forgeprops.grade("4140").name
    panel.controls["head"].value = "wedge"
    assert panel.study.head.name == "wedge" == panel.other_study.head.name
    assert panel.controls["grade"].note.value == ""


@pytest.mark.parametrize(
    ("preheat_c", "words"), [(700.0, "no austenite"), (770.0, "only "), (950.0, "Hot enough")]
)
def test_too_cold_is_said_in_words(panel, preheat_c, words):
    panel.sliders["preheat_c"].widget.value = preheat_c
    assert words in panel.words(preheat_c)
    if preheat_c == 770.0:
        assert (
            "Warnings:" in panel.caption.value
            and "is austenite when cooling starts" in panel.caption.value
        )


def test_equal_effort_and_its_cost_stand_in_the_answer(panel):
    text = panel.words(900.0)
    assert "To press as easily as 1030 from 900 °C it needs 925 °C (905 °C to 965 °C)" in text
    cost = panel.study.at(925.0)["metal_loss_um"] - panel.study.at(900.0)["metal_loss_um"]
    assert f"which moves metal lost by {cost:+.0f} µm" in text
    panel.controls["other"].value = panel.controls["grade"].value
    assert "To press" not in panel.words(900.0)
    panel.controls["other"].value = "1030"
    assert "To press" not in panel.words(680.0)  # no equal effort is solved below 700 °C


def test_open_square_stands_where_the_other_steel_has_the_same_flow_stress(panel):
    like = panel.curves.like_other_c(950.0)
    stress = [
        np.interp(t, s.preheat_c, s.flow_stress_mpa)
        for t, s in ((950.0, panel.study), (like, panel.other_study))
    ]
    assert stress[0] == pytest.approx(stress[1], rel=1e-6) and like < 950.0
    assert (
        panel.curves.like_other_c(650.0) is None
    )  # no plain steel of the plot is as hard to press


def test_input_error_is_a_sentence_and_the_answer_stays(panel):
    study = panel.study
    panel.controls["grade"].value = "1050"
    assert "invented for this test" in panel.controls["grade"].note.value and panel.study is study


def test_save_and_load(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel.sliders["preheat_c"].widget.value = 880.0
    panel.keep.save.click()
    saved = json.loads((tmp_path / "my_forging_temperature.json").read_text())
    assert saved["preheat_c"] == 880.0 and saved["grade"] == "4130"
    panel.sliders["preheat_c"].widget.value = 950.0
    panel.put({k: saved[k] for k in ("grade", "other", "head", "preheat_c")})
    assert panel.inputs.preheat_c == 880.0
    with pytest.raises(InputError, match="grade '9999' is unknown"):
        panel.put({**vars(panel.inputs), "grade": "9999"})
    with pytest.raises(InputError, match="setting 'colour' is unknown"):
        panel.put({**vars(panel.inputs), "colour": "red"})


def test_settings_are_close_where_austenite_forms_and_cover_the_slider():
    steel = forgeprops.grade("4140")
    settings, s = room.settings_c(steel), table()["preheat_c"].slider
    t = forgeprops.critical_temperatures(steel)
    assert settings[0] == s[0] and settings[-1] == s[1] and np.all(np.diff(settings) > 0.0)
    inside = settings[(settings > t.ac1_c) & (settings < t.ac3_c)]
    assert np.diff(inside).max() <= 6.0 + 1e-9


def test_panel_speaks_fahrenheit(studies, panel):
    hot = room.ForgingTemperaturePanel(
        model=panel._model, equal=panel._equal, display_units=Units("°F", "in", "HB")
    )
    assert "°F" in hot.headline.value and "°C" not in hot.headline.value
    assert hot.curves._cursor["bend"].get_xdata()[0] == pytest.approx(930.0 * 1.8 + 32.0)
