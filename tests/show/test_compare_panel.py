"""The panel of grades without a kernel, on real estimates of two grades at a few temperatures."""

import functools
import io
import json

import numpy as np
import pytest
from PIL import Image

import forgeprops as fp
from forgeprops.base.errors import InputError
from forgeprops.show.panels.compare import ComparePanel
from forgeprops.show.units import Units

PREHEATS_C = [880.0, 940.0]
WISH = {"face_hardness_hv": (380.0, 470.0), "hosel_allowed_deg": (1.0, None)}


@functools.cache
def marched(grade, head, flux, spray_s):
    return fp.compare([grade], PREHEATS_C, head, fp.Route().with_(flux=flux, spray_s=spray_s)).table


@pytest.fixture
def panel():
    made = ComparePanel(marched, Units(), grades=("1030", "4130"), limits=WISH)
    made.work.join()
    return made


def picture(panel):
    return np.asarray(Image.open(io.BytesIO(panel.live.widget.value))).astype(int)


def test_numbers_and_ranking_are_those_of_compare(panel):
    whole = fp.compare(["1030", "4130"], PREHEATS_C, limits=fp.Limits(**WISH)).table
    mine = panel.result.table
    for name in (
        "face_hardness_hv",
        "hosel_allowed_deg",
        "press_effort",
        "scale_um",
        "face_margin",
        "slack",
    ):
        assert mine[name].to_numpy(float) == pytest.approx(whole[name].to_numpy(float), rel=1e-9)
    assert mine["rank"].tolist() == whole["rank"].tolist()
    assert mine["binding"].tolist() == whole["binding"].tolist()


def test_limits_rank_at_once_without_marching(panel):
    best = panel.result.best
    assert (
        best["grade"] == "4130"
        and "4130 from" in panel.headline.value
        and "At no temperature: 1030" in panel.headline.value
    )
    before = picture(panel)
    panel.box.fields["face_hardness_hv"][0].value = "250"
    panel.box.fields["face_hardness_hv"][1].value = "370"
    assert panel.result.best["grade"] == "1030"
    assert not np.array_equal(before, picture(panel))
    panel.box.fields["face_hardness_hv"][0].value = "700"
    panel.box.fields["face_hardness_hv"][1].value = "800"
    assert "Nothing here meets all your limits" in panel.headline.value


def test_a_bad_limit_is_a_sentence_beside_it_and_the_ranking_stays(panel):
    ranks = panel.result.table["rank"].tolist()
    low, high = panel.box.fields["hosel_allowed_deg"]
    low.value = "two"
    said = panel.box.notes["hosel_allowed_deg"].value
    assert "two" in said and "allowed is a number" in said and 'role="alert"' in said
    assert panel.result.table["rank"].tolist() == ranks
    low.value, high.value = "3", "2"
    assert "low end must be below" in panel.box.notes["hosel_allowed_deg"].value
    high.value = ""
    assert panel.box.notes["hosel_allowed_deg"].value == ""
    assert panel.result.limits.bounds["hosel_allowed_deg"] == (3.0, None)


def test_without_limits_nothing_is_ranked(panel):
    for fields in panel.box.fields.values():
        for field in fields:
            field.value = ""
    assert "nothing is ranked" in panel.headline.value


def test_more_water_makes_a_harder_face(panel):
    before = panel.result.table["face_hardness_hv"].to_numpy()
    panel.sliders["flux"].widget.value = 18.0
    panel.work.join()
    assert np.all(panel.result.table["face_hardness_hv"].to_numpy() > before)


def test_no_grade_or_too_many_is_a_sentence(panel):
    panel.controls["grades"].value = ()
    assert "0 grades are chosen" in panel.controls["grades"].note.value
    panel.controls["grades"].value = fp.grades()[:11]
    assert "11 grades are chosen; allowed are 1 to 10." in panel.controls["grades"].note.value
    panel.controls["grades"].value = ("4130",)
    panel.work.join()
    assert "chosen" not in panel.controls["grades"].note.value and set(
        panel.result.table["grade"]
    ) == {"4130"}


def test_save_and_load(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel.keep.save.click()
    saved = json.loads((tmp_path / "my_compare.json").read_text())
    assert saved["grades"] == ["1030", "4130"] and saved["limits"]["face_hardness_hv"] == [
        380.0,
        470.0,
    ]
    values = {name: saved[name] for name in ("grades", "head", "flux", "spray_s", "limits")}
    panel.put(values | {"grades": ["4130"], "limits": {"face_hardness_hv": [300, None]}})
    panel.work.join()
    assert panel.inputs.grades == ("4130",) and panel.box.limits.bounds == {
        "face_hardness_hv": (300.0, None)
    }
    for change, words in (
        ({"grades": ["9999"]}, "9999"),
        ({"limits": {"colour": [1, 2]}}, "colour"),
        ({"limits": {"face_hardness_hv": 380}}, "pair"),
        ({"flux": 99.0}, "99"),
        ({"grades": []}, "0 grades"),
    ):
        with pytest.raises(InputError, match=words):
            panel.put(values | change)
    assert panel.inputs.grades == ("4130",)


def test_words_tell_the_picture_and_fahrenheit_is_spoken():
    hot = ComparePanel(marched, Units("°F", "in", "HRC"), grades=("4130",), limits=WISH)
    hot.work.join()
    assert "1616 °F" in hot.caption.value and "°C" not in hot.caption.value
    assert "°F" in hot.headline.value and "HRC" in hot.headline.value
    assert "HRC" in hot.box.notes["face_hardness_hv"].value
