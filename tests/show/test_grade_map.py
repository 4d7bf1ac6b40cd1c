"""The table of grades: every field is the estimate of that grade at that temperature."""

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
    place, mine = PREHEATS_C.index(900.0), panel.rows["4130"]
    result = fp.estimate(fp.Job("4130").with_(preheat_c=900.0))
    hosel = result.zones["hosel"].hardness_hv
    assert mine["face_hardness_hv"][place] == pytest.approx(result.zones["face"].hardness_hv)
    assert mine["hosel_allowed_deg"][place] == pytest.approx(result.hosel.allowed_deg)
    assert mine["hosel_hardness_hv"][place] == pytest.approx(hosel)
    assert f">{hosel:.0f}</td>" in panel.table.value and panel.table.value.count("<tr>") == 3


def test_new_settings_fill_it_again_and_are_kept(panel):
    before, first = panel.rows, vars(panel.inputs)
    assert np.all(before["4130"]["face_hardness_hv"] > before["1020"]["face_hardness_hv"])
    panel.sliders["flux"].widget.value = 2.0
    panel.work.join()
    after = panel.rows["4130"]["face_hardness_hv"]
    assert np.all(np.isfinite(after)) and np.all(after < before["4130"]["face_hardness_hv"])
    panel.keep.reset.click()
    panel.work.join()
    assert vars(panel.inputs) == first
