"""The map of grades: every field is the estimate of that grade at that temperature."""

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.show.panels import GradeMapPanel
from forgeprops.show.panels.grade_map import PREHEATS_C
from forgeprops.show.units import Units


@pytest.fixture(scope="module")
def panel():
    made = GradeMapPanel(("1020", "4130"), display_units=Units())
    made.work.join()
    return made


def test_field_is_the_estimate(panel):
    place = PREHEATS_C.index(900.0)
    result = fp.estimate(fp.grade("4130"), fp.head("mid-iron"), fp.Route().with_(preheat_c=900.0))
    assert panel.maps["face_hardness_hv"].values[1, place] == pytest.approx(
        result.zones["face"].hardness_hv
    )
    assert panel.maps["hosel_allowed_deg"].values[1, place] == pytest.approx(
        result.hosel.allowed_deg
    )
    assert (
        panel.maps["hosel_hardness_hv"]._words[1][place].get_text()
        == f"{result.zones['hosel'].hardness_hv:.0f}"
    )


def test_chromoly_is_harder_than_low_carbon_everywhere(panel):
    low, chromoly = panel.maps["face_hardness_hv"].values
    assert np.all(chromoly > low)


def test_words_beside_the_map_are_its_numbers(panel):
    first, last = panel.maps["face_hardness_hv"].values[1, [0, -1]]
    assert (
        f"4130: face hardness {first:.0f} to {last:.0f} HV, hosel hardness" in panel.caption.value
    )
    assert panel.caption.value.count("<li>") == 2


def test_new_settings_fill_it_anew(panel):
    before = panel.maps["face_hardness_hv"].values.copy()
    panel.flux.widget.value = 2.0
    panel.go.click()
    panel.work.join()
    after = panel.maps["face_hardness_hv"].values
    assert np.all(np.isfinite(after)) and np.all(after[1] < before[1])


def test_inputs_are_kept_and_bad_ones_change_nothing(panel):
    kept = panel._kept()
    for bad, words in (
        ({"head": "mid-iron"}, "is missing"),
        (kept | {"flux": 900.0}, "water on the face"),
        (kept | {"colour": 1}, "colour"),
    ):
        with pytest.raises(fp.InputError, match=words):
            panel.set_inputs(bad)
        assert panel._kept() == kept
    panel.set_inputs(kept | {"head": "wedge", "spray_s": 6.0})
    panel.work.join()
    assert panel.head.value == "wedge" and panel.spray_s.value == 6.0
    panel.keep.reset.click()
    panel.work.join()
    assert panel._kept()["head"] == "mid-iron"
