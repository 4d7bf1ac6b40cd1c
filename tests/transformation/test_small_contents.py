"""Small and unknown contents: no element decides the face at zero, and what is not known widens its range."""

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.inputs.cases import spread
from forgeprops.inputs.steel import ELEMENTS

HEAD, ROUTE = fp.head("mid-iron"), fp.Route()
B25 = {"C": 0.25, "Si": 0.25, "Mn": 1.0, "N": 0.006, "Ti": 0.03, "Al": 0.03}


def faces(steel, **contents):
    cases = spread(steel, HEAD, ROUTE, fp.Shop(), contents)
    return evaluate(cases).hardness_hv[:, 0]


@pytest.mark.parametrize("name", ["1035", "1040", "1045", "1050"])
def test_residual_molybdenum_does_not_decide_the_face(name):
    assert abs(np.diff(faces(fp.grade(name), Mo=np.array([0.0, 0.02])))[0]) < 12.0


@pytest.mark.parametrize("name", ["1020", "1040", "4130"])
def test_a_thousandth_of_any_element_moves_the_face_by_less_than_1_hv(name):
    for element in set(ELEMENTS) - {"C", "B"}:
        moved = abs(np.diff(faces(fp.grade(name), **{element: np.array([0.0, 0.001])}))[0])
        assert moved < 1.0, (element, moved)


def test_boron_comes_smoothly_and_hardens_a_lean_face():
    hv = faces(fp.Steel("25B", B25), B=np.arange(0.0, 0.00301, 0.0001))
    steps = np.diff(hv)
    assert steps.min() > -0.5 and steps.max() < 15.0 and abs(steps[0]) < 3.0
    assert hv[10] > hv[0] + 20.0  # 0.001 %, protected


def test_boron_needs_titanium():
    plain, protected = fp.Steel("25", B25), fp.Steel("25B", B25 | {"B": 0.002})
    bare = fp.Steel("25B", B25 | {"B": 0.002, "Ti": 0.0, "N": 0.008})
    hv = [fp.estimate(s, HEAD, ROUTE).zones["face"].hardness_hv for s in (plain, protected, bare)]
    di = [float(fp.ideal_diameter(s)) for s in (plain, protected, bare)]
    assert hv[1] > hv[0] + 20.0 and di[1] > 1.5 * di[0]
    assert abs(hv[2] - hv[0]) < 3.0 and di[2] < 1.02 * di[0]
    assumed = fp.estimate(fp.Steel("25B", {"C": 0.25, "Mn": 1.0, "B": 0.002}), HEAD, ROUTE)
    assert "boron-protected" in {w.code for w in assumed.warnings}
    assert "boron-bound" in {w.code for w in fp.estimate(bare, HEAD, ROUTE).warnings}


def test_spellings_of_a_certificate_agree_within_the_range_and_say_what_was_assumed():
    text = "C 0.40 Si 0.25 Mn 0.75 Cr 0.05 Ni 0.05"
    heats = [fp.estimate(f"{text}{mo}") for mo in (" Mo 0.00", " Mo <0.01", " Mo 0.01", " Mo n.d.")]
    faces = [r.zones["face"] for r in heats]
    low, high = max(f.hardness_low_hv for f in faces), min(f.hardness_high_hv for f in faces)
    assert all(low < f.hardness_hv < high for f in faces)
    assert "Mo is below 0.01 wt%: 0.005 wt% assumed" in heats[1].steel.source
    assert [r.steel.content_sd.get("Mo", 0.0) > 0.0 for r in heats] == [False, True, False, True]


def test_what_the_analysis_leaves_open_widens_the_range():
    bare, full = ({"C": 0.4}, {"C": 0.4, "Si": 0.25, "Mn": 0.5, "Ni": 0.08, "Cr": 0.08, "Mo": 0.02})
    bare, full = (fp.estimate(fp.Steel("s", s), HEAD, ROUTE) for s in (bare, full))
    faces = (r.zones["face"] for r in (bare, full))
    wide, narrow = (f.hardness_high_hv - f.hardness_low_hv for f in faces)
    assert bare.zones["face"].hardness_hv == pytest.approx(full.zones["face"].hardness_hv)
    assert wide > 1.1 * narrow
    assert [any(w.code == "unreported" for w in r.warnings) for r in (bare, full)] == [True, False]


def test_lean_steel_under_water_may_rather_be_harder():
    result = fp.estimate(fp.grade("1020"), HEAD, ROUTE)
    face, hosel = result.zones["face"], result.zones["hosel"]
    up, down = face.hardness_high_hv - face.hardness_hv, face.hardness_hv - face.hardness_low_hv
    assert up > 1.5 * down
    assert hosel.hardness_high_hv - hosel.hardness_low_hv < 25.0  # bars of 1020 in air are near
    said = [w.text for w in result.warnings if w.code == "far-from-bars"]
    assert "more likely harder" in said[0]
