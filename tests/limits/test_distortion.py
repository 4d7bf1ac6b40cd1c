"""Distortion: closed forms of bow and drift, volume changes, independent layered beam, warnings."""

from types import SimpleNamespace

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.engine.section import lobatto
from forgeprops.face import distortion as d
from forgeprops.strength.hardness_scales import hv_from_hrc
from forgeprops.transformation.phase_hardness import as_quenched_hrc


def test_bow_of_a_gradient_and_of_layers():
    assert d.bow_mm(0.002 / 3.0, 60.0) == pytest.approx(0.3)
    gradient = d.gradient_per_mm(np.linspace(0.002, 0.0, 2000), 3.0)
    assert d.bow_mm(gradient, 60.0) == pytest.approx(0.3, rel=1e-3)
    radius = 3.0 / 0.002  # exact arc: the rise of a circle of that radius
    rise = radius - np.sqrt(radius**2 - 30.0**2)
    assert d.bow_mm(1 / radius, 60.0) == pytest.approx(rise, rel=1e-3)
    # free beam: choose mean strain and curvature so that force and moment of E(e − wanted) vanish
    wanted, t = np.random.default_rng(1).uniform(0, 0.003, 7), 3.0
    z = (0.5 - (np.arange(70_000) + 0.5) / 70_000) * t  # front is positive
    own = np.repeat(wanted, 10_000)
    system = np.array([[1.0, z.mean()], [z.mean(), (z**2).mean()]])
    _, curvature = np.linalg.solve(system, [own.mean(), (own * z).mean()])
    assert d.gradient_per_mm(wanted, t) == pytest.approx(curvature, rel=1e-6)


def test_volume_changes_and_thermal_part():
    # martensite 4.64 − 0.53 C per cent of volume (ASM Handbook, read as quoted)
    assert 300 * d.transformation_strain({"martensite": 1}, 0.4) == pytest.approx(4.64 - 0.53 * 0.4)
    half = {"martensite": 0.5, "pearlite": 0.5}
    kinds = ({"austenite": 1.0}, {"pearlite": 1.0}, half, {"bainite": 1.0}, {"martensite": 1.0})
    none, pearlite, half, bainite, most = (d.transformation_strain(k, 0.4) for k in kinds)
    assert none == 0.0 and pearlite < bainite < most
    assert half == pytest.approx(0.5 * (pearlite + most))
    # EN 1993-1-2 elongation at 600 °C: 1.2e-5·600 + 0.4e-8·600² − 2.416e-4 = 8.398e-3 over 580 K
    assert d.EXPANSION_PER_K * 580 == pytest.approx(8.398e-3, rel=1e-4)
    assert d.frozen_thermal_strain(100, 1.0) == pytest.approx(1.448e-3, rel=1e-3)
    assert d.frozen_thermal_strain(100, 0.0) == 0.0


def test_face_bow_and_neck_drift():
    layers = [{"martensite": 1.0}, {"martensite": 0.5, "pearlite": 0.5}, {"pearlite": 1.0}]
    free = d.face_bow(3.0, 50.0, layers=layers, carbon_pct=0.3, difference_c=150)
    assert free.bow_mm == pytest.approx(free.transformation_mm + free.thermal_mm)
    assert free.bow_mm > 0 and free.residual_mpa == 0.0 and not free.flat
    assert [w.code for w in free.warnings] == ["distortion:bow"]
    how = {"carbon_pct": 0.3, "difference_c": 150, "restraint": 0.8, "limit_mm": 0.5}
    held = d.face_bow(3.0, 50.0, layers=layers, **how)
    assert held.bow_mm == pytest.approx(0.2 * free.bow_mm) and held.flat and held.residual_mpa > 50
    # stress of the held curvature: E k t/2
    assert held.residual_mpa == pytest.approx(205_000 * 0.8 * free.curvature_per_mm * 1.5, rel=1e-9)
    assert "bulges" in free.words() and "past" in free.words() and "within" in held.words()
    assert d.face_bow(3.0, 50.0, layers=layers[::-1]).bow_mm < 0
    even = d.face_bow(3.0, 50.0, layers=[{"pearlite": 1.0}] * 4)
    assert even.bow_mm == pytest.approx(0.0, abs=1e-12)
    drift = d.face_bow(3.0, 50.0, neck=(14.0, 20.0, 0.001)).neck_drift_deg
    assert drift == pytest.approx(np.degrees(0.001 / 14 * 20))
    shape = d.face_bow(3.0, 50.0, neck=(14, 20, d.frozen_thermal_strain(150)))
    assert 0.05 < shape.neck_drift_deg < 0.15 and "moves the loft" in shape.words()


def test_cut_edges_make_one_warning():
    hv = {"face": 380, "rim": 330, "hosel": 190}
    assert [w.code for w in d.cutting_warnings(hv, ["rim", "hosel"])] == ["distortion:hard-to-cut"]
    assert d.cutting_warnings(hv, ["rim"], limit_hv=400) == ()
    refuses("did you mean 'rim'", d.cutting_warnings, hv, ["rimm"])
    refuses("Face thickness -1 mm", d.face_bow, -1, 60)
    refuses("at least one share", d.transformation_strain, {}, 0.3)
    hv = {"face": 380, "rim": 330, "body": 321, "hosel": 190}
    (warning,) = d.cutting_warnings(hv, ["face", "rim", "body"])
    words = "are machined later; their hardest layers have 380, 330 and 321 HV"
    assert warning.text.startswith(f"The face, rim and body {words}")


def test_strains_of_real_layers_are_those_of_their_structure():
    carbon = 0.3
    zone = SimpleNamespace(
        layers_hv=np.full(5, 300.0), fractions={"martensite": 0.5}, as_quenched_hv=350.0, hardness_hv=350.0,
        temperature_c=np.full(9, 20.0), front_c=np.full(9, 20.0), back_c=np.full(9, 20.0),
    )  # fmt: skip
    x = lobatto(5)[0]
    zone.layer_fractions = {"martensite": 1.0 - x, "pearlite": x}  # a straight gradient
    head = fp.head("mid-iron")
    shape = d.bow_of_head(head, zone, carbon)
    mismatch = 1.68 * carbon / 300.0  # of full martensite and pearlite
    t, span = head.forged_thickness_mm, head.face_length_mm
    assert shape.bow_mm == pytest.approx(mismatch / t * span**2 / 8.0, rel=2e-3)
    assert shape.thermal_mm == 0.0
    zone.hardness_hv = 165.0  # tempered until its martensite is as soft as pearlite: no room left
    zone.as_quenched_hv = 165.0 + 0.5 * (float(hv_from_hrc(as_quenched_hrc(carbon))) - 165.0)
    assert d.bow_of_head(head, zone, carbon).bow_mm == pytest.approx(0.0, abs=1e-9)


def test_thermal_part_counts_only_while_the_back_is_soft_and_the_front_stiff():
    zone = SimpleNamespace(
        layers_hv=np.full(5, 200.0), fractions={"martensite": 0.0}, as_quenched_hv=200.0, hardness_hv=200.0,
        temperature_c=np.array([900.0, 800.0, 680.0, 600.0, 20.0]),
        front_c=np.array([900.0, 720.0, 590.0, 540.0, 20.0]),
        back_c=np.array([900.0, 880.0, 700.0, 590.0, 20.0]),
        layer_fractions={"pearlite": np.ones(5), "martensite": np.zeros(5)},
    )  # fmt: skip
    head = fp.head("mid-iron")
    shape = d.bow_of_head(head, zone, 0.3)
    # neither 160 °C (both soft) nor 50 °C (both stiff)
    curve = d.frozen_thermal_strain(110.0) / head.forged_thickness_mm
    assert shape.bow_mm == pytest.approx(curve * head.face_length_mm**2 / 8.0)


def test_a_computed_face_bows_the_right_way_and_limits_of_the_user_reach_it():
    steel, head = fp.grade("4130"), fp.head("mid-iron")
    result = fp.estimate(steel, head, fp.Route())
    face = result.zones["face"]
    shape = d.bow_of_head(head, face, steel.get("C"))
    assert 0.0 < shape.bow_mm < 0.5  # the sprayed front bulges, by no more than tenths
    assert shape.thermal_mm > 0.0
    even = d.bow_of_head(head, face, steel.get("C"), difference_c=0.0)
    assert even.bow_mm == pytest.approx(shape.transformation_mm)
    assert result.distortion.bow_mm == shape.bow_mm and result.distortion.flat
    assert "The face bulges about" in result.details()
    for name in ("martensite", "bainite", "ferrite"):  # the weighted mean of the layers is the zone
        mean = lobatto(face.layers_hv.size)[1] @ face.layer_fractions[name]
        assert mean == pytest.approx(face.fractions[name], abs=1e-9)
    result = fp.estimate("4130", flatness_mm=0.01, cutting_limit_hv=900)
    assert [w.code for w in result.distortion.warnings] == ["distortion:bow"]
    result = fp.estimate(fp.Job("4130").with_(neck_share=1.0))
    assert [w.code for w in result.distortion.warnings] == ["distortion:hard-to-cut"]
    assert result.distortion.neck_drift_deg > 0.0  # water on the front of the neck turns the hosel
