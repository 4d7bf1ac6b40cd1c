"""Distortion: closed forms of bow and drift, volume changes, independent layered beam, warnings."""

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.errors import InputError
from forgeprops.limits.distortion import (
    EXPANSION_PER_K,
    bow_mm,
    bow_of_head,
    cutting_warnings,
    drift_deg,
    face_bow,
    frozen_thermal_strain,
    gradient_per_mm,
    transformation_strain,
)


def test_two_parts_in_a_thousand_through_3_mm_bow_60_mm_by_0_3_mm():
    assert bow_mm(0.002 / 3.0, 60.0) == pytest.approx(0.3)
    assert bow_mm(gradient_per_mm(np.linspace(0.002, 0.0, 2000), 3.0), 60.0) == pytest.approx(0.3, rel=1e-3)
    # exact arc: the rise of a circle of that radius
    radius = 3.0 / 0.002
    assert bow_mm(1 / radius, 60.0) == pytest.approx(radius - np.sqrt(radius**2 - 30.0**2), rel=1e-3)


def test_bimetal_strip_of_timoshenko():
    # two equal layers of equal modulus: k = 3/2 · mismatch/t (Timoshenko 1925, from memory)
    for mismatch, t in ((0.001, 3.0), (0.0017, 2.4)):
        assert gradient_per_mm([mismatch, 0.0], t) == pytest.approx(1.5 * mismatch / t)


def test_layers_against_an_independent_beam():
    # free beam: choose mean strain and curvature so that force and moment of E(e − wanted) vanish
    rng = np.random.default_rng(1)
    wanted, t = rng.uniform(0, 0.003, 7), 3.0
    z = (0.5 - (np.arange(70_000) + 0.5) / 70_000) * t  # front is positive
    own = np.repeat(wanted, 10_000)
    system = np.array([[1.0, z.mean()], [z.mean(), (z**2).mean()]])
    _, curvature = np.linalg.solve(system, [own.mean(), (own * z).mean()])
    assert gradient_per_mm(wanted, t) == pytest.approx(curvature, rel=1e-6)


def test_volume_changes():
    # martensite 4.64 − 0.53 C per cent of volume (ASM Handbook, read as quoted)
    assert 300 * transformation_strain({"martensite": 1}, 0.4) == pytest.approx(4.64 - 0.53 * 0.4)
    order = [transformation_strain({name: 1.0}, 0.4) for name in ("pearlite", "bainite", "martensite")]
    assert order[0] < order[1] < order[2]
    half = transformation_strain({"martensite": 0.5, "pearlite": 0.5}, 0.4)
    assert half == pytest.approx(0.5 * (order[0] + order[2]))
    assert transformation_strain({"austenite": 1.0}, 0.4) == 0.0


def test_thermal_part():
    # EN 1993-1-2 elongation at 600 °C: 1.2e-5·600 + 0.4e-8·600² − 2.416e-4 = 8.398e-3 over 580 K
    assert EXPANSION_PER_K * 580 == pytest.approx(8.398e-3, rel=1e-4)
    assert frozen_thermal_strain(100, 1.0) == pytest.approx(1.448e-3, rel=1e-3)
    assert frozen_thermal_strain(100, 0.0) == 0.0


def test_face_bow_adds_its_parts_and_obeys_restraint():
    layers = [{"martensite": 1.0}, {"martensite": 0.5, "pearlite": 0.5}, {"pearlite": 1.0}]
    free = face_bow(3.0, 50.0, layers=layers, carbon_pct=0.3, difference_c=150)
    assert free.bow_mm == pytest.approx(free.transformation_mm + free.thermal_mm)
    assert free.bow_mm > 0 and free.residual_mpa == 0.0 and not free.flat
    assert [w.code for w in free.warnings] == ["distortion:bow"]
    held = face_bow(3.0, 50.0, layers=layers, carbon_pct=0.3, difference_c=150, restraint=0.8, limit_mm=0.5)
    assert held.bow_mm == pytest.approx(0.2 * free.bow_mm) and held.flat and held.residual_mpa > 50
    # stress of the held curvature: E k t/2
    assert held.residual_mpa == pytest.approx(205_000 * 0.8 * free.curvature_per_mm * 1.5, rel=1e-9)
    assert "bulges" in free.words() and "past" in free.words() and "within" in held.words()
    assert face_bow(3.0, 50.0, layers=layers[::-1]).bow_mm < 0
    assert face_bow(3.0, 50.0, layers=[{"pearlite": 1.0}] * 4).bow_mm == pytest.approx(0.0, abs=1e-12)


def test_neck_drift():
    assert drift_deg(0.001, 14.0, 20.0) == pytest.approx(np.degrees(0.001 / 14 * 20))
    shape = face_bow(3.0, 50.0, neck_mm=14, neck_wet_mm=20, neck_mismatch=frozen_thermal_strain(150))
    assert 0.05 < shape.lie_drift_deg < 0.15 and "neck drifts" in shape.words()


def test_cut_edges():
    hv = {"face": 380, "rim": 330, "hosel": 190}
    assert [w.code for w in cutting_warnings(hv, ["rim", "hosel"])] == ["distortion:hard-to-cut"]
    assert cutting_warnings(hv, ["rim"], limit_hv=400) == ()
    with pytest.raises(InputError, match="did you mean 'rim'"):
        cutting_warnings(hv, ["rimm"])
    with pytest.raises(InputError, match="face thickness is -1 mm"):
        face_bow(-1, 60)
    with pytest.raises(InputError, match="at least one share"):
        transformation_strain({}, 0.3)


def test_a_computed_face_bows_the_right_way():
    steel, head = fp.grade("4130"), fp.head("mid-iron")
    face = fp.estimate(steel, head, fp.Route()).zones["face"]
    shape = bow_of_head(head, face, steel.get("C"))
    assert 0.0 < shape.bow_mm < 0.5  # the sprayed front bulges, by no more than tenths
    assert shape.thermal_mm > 0.0
    assert bow_of_head(head, face, steel.get("C"), difference_c=0.0).bow_mm == pytest.approx(
        shape.transformation_mm
    )
