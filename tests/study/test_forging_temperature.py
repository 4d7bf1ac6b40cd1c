"""Furnace settings 700–1250 °C: continuity, monotony, agreement with single estimates, equal effort."""

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.forging import effort
from forgeprops.inputs.cases import Cases
from forgeprops.study.process import equal_effort as ee

SETTINGS_C = np.arange(700.0, 1250.1, 5.0)
#: Face, body, hosel.
ZONES = [0, 2, 4]


def marched(pairs, **options):
    head = fp.head("mid-iron")
    routes = [fp.Route().with_(preheat_c=float(t)) for _, t in pairs]
    cases = Cases.of([s for s, _ in pairs], [head] * len(pairs), routes)
    return evaluate(cases, **options)


@pytest.fixture(scope="module")
def sweep():
    """Every library grade at every setting: hardness, share, grain, scale, metal in the die."""
    names = fp.grades()
    found = marched([(fp.grade(n), t) for n in names for t in SETTINGS_C])
    shape = (len(names), len(SETTINGS_C), 5)
    r = found.results
    names = {"hv": r.hardness_hv, "share": r.share, "grain": r.grain_astm, "scale": r.scale_um}
    return {name: column.reshape(shape) for name, column in (names | {"die": r.die_c}).items()}


@pytest.mark.slow
def test_hardness_has_no_jump_for_any_grade(sweep, record_property):
    # steep it is where pearlite turns to austenite and a quench follows: 25 HV a degree, 350 HV in all;
    # a jump would keep its size in steps ten times smaller (marched finely, so that no time step shows)
    steps = np.abs(np.diff(sweep["hv"][:, :, ZONES], axis=1))
    record_property("largest_step_hv_in_5_c", float(steps.max()))
    assert steps.max() < 140.0
    steepest = steps.argmax(axis=1)
    pairs = [
        (fp.grade(n), t)
        for i, n in enumerate(fp.grades())
        for z in range(3)
        for t in np.linspace(SETTINGS_C[steepest[i, z]], SETTINGS_C[steepest[i, z] + 1], 11)
    ]
    fine = marched(pairs, tolerance_c=0.1).hardness_hv[:, ZONES].reshape(len(fp.grades()), 3, 11, 3)
    for z in range(3):
        small = np.abs(np.diff(fine[:, z, :, z], axis=1)).max(axis=1)
        record_property(f"largest_step_hv_in_half_a_degree_{z}", float(small.max()))
        assert small.max() < 20.0
        # 3 HV: the march's own tolerance
        assert np.all(small < 0.5 * steps[:, :, z].max(axis=1) + 3.0)


def test_sweep_has_no_austenite_below_ac1_all_above_ac3_and_only_rises(sweep):
    for i, name in enumerate(fp.grades()):
        t = fp.critical_temperatures(fp.grade(name))
        assert sweep["share"][i, SETTINGS_C < t.ac1_c].max(initial=0.0) == 0.0
        assert sweep["share"][i, SETTINGS_C > t.ac3_c + 25.0].min() > 0.99
    assert np.all(np.diff(sweep["share"], axis=1) >= -1e-9)
    assert np.all(np.diff(sweep["grain"], axis=1) <= 1e-9)  # ASTM number falls as grain grows
    assert np.all(np.diff(sweep["scale"], axis=1) > 0.0)
    rises = (np.diff(sweep["die"], axis=1) > 0.0).all(axis=(1, 2))
    # 1215 enters the press 0.7 °C cooler from 880 °C, all austenite, than from 875 °C, where ferrite is left to grow and warm it
    assert [n for n, rise in zip(fp.grades(), rises, strict=True) if not rise] == ["1215"]


def test_study_is_the_single_estimates():
    steel, temperatures = fp.grade("4135"), [730.0, 770.0, 950.0, 1100.0]
    study = fp.forging_temperature_study(steel, "long-iron", temperatures=temperatures)
    for k, t in enumerate(temperatures):
        one = fp.estimate(steel, "long-iron", fp.Route().with_(preheat_c=t))
        zones, surface, effort_ = one.zones, one.surface, one.effort
        expected = {
            "face_austenite": zones["face"].austenite_share, "die_c": zones["face"].die_c, "water_c": zones["face"].water_c,
            "allowed_deg": one.hosel.allowed_deg, "allowed_low_deg": one.hosel.allowed_deg_low, "allowed_high_deg": one.hosel.allowed_deg_high,
            "scale_um": surface.scale_um, "decarburised_um": surface.decarburised_um, "skin_hv": surface.skin_hv,
            "flow_stress_mpa": effort_.mean_mpa, "press_force_kn": effort_.press_force.kn, "heat_through_s": one.heat_through_s,
            "hosel_grain_astm": zones["hosel"].grain_astm,
        }  # fmt: skip
        for zone in ("face", "hosel"):
            for end in ("", "_low", "_high"):
                expected[f"{zone}{end}_hv"] = getattr(zones[zone], f"hardness{end}_hv")
        for field, value in expected.items():
            assert getattr(study, field)[k] == pytest.approx(value, rel=1e-6, abs=1e-6), (t, field)
        told = {w.text for w in one.warnings}
        assert all(w.text in told for w in study.warnings[k])
    assert study.table().shape[0] == 4
    assert study.at(950.0)["face_hv"] == pytest.approx(study.face_hv[2])


@pytest.mark.parametrize("given, words", [([900.0, 800.0], "do not rise"), ([], "do not rise"), ([900.0, 1500.0], "1500")])  # fmt: skip
def test_study_refuses_bad_settings(given, words):
    refuses(f"(?i){words}", fp.forging_temperature_study, fp.grade("1030"), temperatures=given)


@pytest.mark.parametrize("name", ["4130", "4140"])
def test_chromoly_needs_a_hotter_furnace_for_equal_effort(name):
    a, b = fp.grade("1030"), fp.grade(name)
    answer = ee.equal_effort_setting(a, 900.0, b)
    assert 905.0 < answer.preheat_c < 960.0 and answer.low_c <= answer.preheat_c <= answer.high_c
    # equal means equal flow stress of the metal in the die, as marched at both settings
    at_b = ee.metal_in_die_c(b, answer.preheat_c)
    assert at_b == pytest.approx(answer.die_b_c, abs=0.01)
    stress = [effort.flow_stress_mpa(s, t, 0.15, 3.0) for s, t in ((a, answer.die_a_c), (b, at_b))]
    assert stress[0] == pytest.approx(stress[1], rel=1e-3)
    assert stress[0] == pytest.approx(answer.stress_mpa, rel=1e-6)
    one = fp.estimate(b, route=fp.Route().with_(preheat_c=answer.preheat_c)).effort.mean_mpa
    assert one == pytest.approx(answer.stress_mpa, rel=0.02)  # zone by zone instead of at the mean


def test_metal_in_die_is_what_the_march_says_and_a_known_drop_keeps_the_call():
    steel = fp.grade("4130")
    zones = fp.estimate(steel, route=fp.Route().with_(preheat_c=900.0)).zones
    die = [z.die_c for z in zones.values()]
    assert min(die) < ee.metal_in_die_c(steel, 900.0) < max(die)
    # a longer way to the die is a colder head
    slow = fp.Route().with_(transfer_s=12.0)
    assert ee.metal_in_die_c(steel, 900.0, route=slow) < ee.metal_in_die_c(steel, 900.0) - 20.0
    routes = {"route": slow}, {}
    late, soon = (ee.equal_effort_setting(fp.grade("1030"), 900.0, steel, **r, in_die=True) for r in routes)  # fmt: skip
    assert late.preheat_c > soon.preheat_c
    a, b = fp.grade("1030"), fp.grade("4130")
    alone = effort.equal_effort(a, 900.0, b, 40.0).preheat_c
    assert ee.equal_effort_preheat(a, 900.0, b, 40.0) == alone
    assert ee.equal_effort_preheat(a, 900.0, b, die_drop_c=lambda t: 0.05 * t) > 900.0
    refuses("(?i)preheat of the first steel", ee.equal_effort_preheat, a, 200.0, b)
