"""What the second heat costs: held against the full carbon profile, exact heating, hand-worked areas."""

import numpy as np
import pytest
from checks import evaluated
from reference.carbon_profile import carbon_profile, scale_along_um

import forgeprops as fp
from forgeprops.engine.results import Trace
from forgeprops.forging.decarburisation import layer_hardness_hv
from forgeprops.forging.effort import equal_effort, flow_stress_mpa
from forgeprops.forging.press import projected_areas_mm2
from forgeprops.forging.skin import metal_loss_um
from forgeprops.transformation.recrystallisation import press_strain


@pytest.fixture(scope="module")
def hot():
    return fp.estimate(fp.grade("4130"), route=fp.Route().with_(preheat_c=1050.0))


def test_scale_depth_and_carbon_follow_the_laws_along_the_marched_curve(hot):
    face = hot.zones["face"]
    end = int(np.searchsorted(face.time_s, hot.events["water on"], "right"))
    t, temp = face.time_s[:end], face.front_c[:end]
    carbon = hot.steel.get("C")
    # above Ac3 only: below it the profile does not know the share of austenite
    keep = temp > 800.0
    profile = carbon_profile(carbon, t[keep], temp[keep])
    depth = float(np.interp(0.9 * carbon, profile.carbon, profile.depth_um))
    assert hot.surface.decarburised_um == pytest.approx(depth, rel=0.04)
    inside = (hot.surface.depth_um > 20.0) & (hot.surface.depth_um < depth)
    numeric = np.interp(hot.surface.depth_um[inside], profile.depth_um, profile.carbon)
    assert np.max(np.abs(hot.surface.carbon[inside] - numeric)) < 0.05 * carbon
    inside = face.time_s <= hot.events["out of furnace"]
    alone = scale_along_um(face.time_s[inside], face.temperature_c[inside], "gas furnace")[-1]
    assert hot.surface.scale_um == pytest.approx(float(alone), rel=0.01)
    assert hot.surface.metal_loss_um == pytest.approx(metal_loss_um(hot.surface.scale_um))
    assert hot.surface.blast_scale_um == pytest.approx(hot.route.scale_left * hot.surface.scale_um)


def test_layers_and_no_carbon_lost_below_ac1():
    steel = fp.grade("4140")
    for start in (None, 760.0, 880.0):
        hv = layer_hardness_hv(steel, np.linspace(0.0, steel.get("C"), 60), 540.0, start)
        assert hv[-1] == pytest.approx(540.0) and 80.0 <= hv[0] < 160.0
        assert np.all(np.diff(hv) >= -1e-9)
    # the colder the water finds it, the richer must a layer be to be austenite still
    assert layer_hardness_hv(steel, 0.2, 540.0, 700.0) < layer_hardness_hv(steel, 0.2, 540.0, 860.0)
    cold = fp.estimate(fp.grade("4130"), route=fp.Route().with_(preheat_c=720.0))
    assert cold.surface.decarburised_um == 0.0 and "no carbon is lost" in cold.details()
    assert cold.surface.skin_hv == pytest.approx(cold.surface.sound_hv)
    assert "below-ac1" in {w.code for w in cold.warnings}


def test_time_to_heat_through_and_a_short_soak():
    # gap to the furnace falls as exp(-t/tau): exactly tau ln(gap/10)
    t = np.linspace(0.0, 900.0, 46)
    zones = 900.0 - np.outer(np.exp(-t / 100.0), [875.0, 875.0])
    trace = Trace(t, zones, zones, zones)
    assert trace.heat_through_s(900.0, 900.0) == pytest.approx(100.0 * np.log(87.5), rel=1e-6)
    assert trace.heat_through_s(900.0, 300.0) is None
    steel = fp.grade("1030")
    short = fp.estimate(steel, route=fp.Route().with_(soak_s=200.0))
    long = fp.estimate(steel, route=fp.Route().with_(soak_s=1200.0))
    assert short.heat_through_s == pytest.approx(long.heat_through_s, rel=0.02)
    assert short.heat_through_s > 200.0
    assert "Not heated through" in short.details() and "Heated through" in long.details()
    assert "cold-core" in {w.code for w in short.warnings}


def test_effort_and_projected_area(hot):
    head = fp.head("mid-iron")
    area = projected_areas_mm2(head.drawing("forged"))
    assert area["face"] + area["rim"] == pytest.approx(head.rim_length_mm * head.rim_height_mm)
    length = head.hosel_length_mm + head.hosel_length_allowance_mm
    assert area["hosel"] == pytest.approx(head.forged_outside_mm * length)
    z = hot.zones["hosel"]
    assert z.flow_stress.mpa == pytest.approx(flow_stress_mpa(hot.steel, z.die_c, 0.15, 3.0))
    assert z.flow_stress.low_mpa < z.flow_stress.mpa < z.flow_stress.high_mpa
    expected = 8.0 * hot.effort.mean_mpa * hot.effort.projected_mm2 / 1000.0
    assert hot.effort.press_force.kn == pytest.approx(expected)
    plain, relative = fp.estimate(fp.grade("1030"), route=hot.route), hot.effort.relative
    assert plain.effort.relative == pytest.approx(1.0) and relative > 1.0
    assert hot.effort.mean_mpa / plain.effort.mean_mpa == pytest.approx(relative, rel=0.01)


def test_equal_effort_with_1030_is_told_with_its_band(hot):
    equal = hot.equal_effort
    assert equal.low_c < equal.hotter_c < equal.high_c and equal.hotter_c > 5.0
    area = hot.evaluation.press["area_mm2"][0]
    mean = sum(a * z.die_c for a, z in zip(area, hot.zones.values(), strict=True)) / area.sum()
    assert hot.effort.die_c == pytest.approx(mean)
    # at that metal temperature the two press alike
    other = equal_effort(fp.grade("1030"), mean, hot.steel, strain=0.15, rate_per_s=3.0)
    assert mean + equal.hotter_c == pytest.approx(other.preheat_c, abs=0.01)
    assert f"{equal.hotter_c:.0f} °C hotter in the die" in " ".join(hot.details().split())
    assert hot.to_dict()["effort"]["hotter_like_1030_c"] == pytest.approx(equal.hotter_c, rel=0.01)
    cold = fp.estimate(hot.steel, route=fp.Route().with_(preheat_c=690.0))
    assert cold.equal_effort is None and "To press like" not in cold.details()
    # what the law of flow stress does not reach is said
    assert "range:shida.temperature" in {w.code for w in cold.warnings}
    assert "range:shida.temperature" not in {w.code for w in hot.warnings}
    same = fp.estimate(fp.grade("1030"))
    assert same.equal_effort.hotter_c == pytest.approx(0.0, abs=0.01)
    assert "To press like" not in same.details()


def test_summary_tells_what_a_blast_must_remove(hot):
    text = " ".join(hot.details().split())
    blast = hot.surface
    removed = f"{blast.blast_scale_um:.0f} µm of scale and {blast.decarburised_um:.0f} µm of metal"
    assert f"{removed} must come off by grinding or milling" in text


def test_press_strain():
    t = np.linspace(0.0, 1000.0, 2001)
    temperatures, squeeze = (800.0, 900.0, 1000.0), ((924.0, 926.0), 0.15, 22.0)
    shares = [press_strain(t, np.full_like(t, c), *squeeze) for c in temperatures]
    assert shares[0].recrystallised < shares[1].recrystallised < shares[2].recrystallised
    for s in shares:
        assert s.strain == pytest.approx(0.15 * (1.0 - s.recrystallised)) and s.speed >= 1.0
    still = press_strain(t, np.full_like(t, 900.0), (924.0, 926.0), 0.0, 22.0)
    assert still.strain == 0.0 and still.speed == 1.0
    steel, route = fp.grade("4130"), fp.Route(spray=None)
    without = fp.estimate(steel, route=route)
    counted = fp.estimate(steel, route=route, count_press_strain=True)
    assert not without.press_strain_counted and counted.press_strain_counted
    for zone in without.zones:
        change = counted.zones[zone].hardness_hv - without.zones[zone].hardness_hv
        assert without.strain_effect_hv[zone] == pytest.approx(change, abs=1e-6)
        assert counted.strain_effect_hv[zone] == pytest.approx(change, abs=1e-6)
    soft = without.zones["hosel"].fractions, counted.zones["hosel"].fractions
    assert soft[1]["ferrite"] >= soft[0]["ferrite"]


def test_part_austenite_interval_spans_carbides_that_dissolve_slowly_and_fast():
    steel, route = fp.grade("4140"), fp.Route().with_(preheat_c=765.0)
    result = fp.estimate(steel, route=route)
    ends = evaluated(steel, [route] * 2, carbide_speed=np.array([1 / 9, 9.0]))
    hosel = result.zones["hosel"]
    assert ends.results.undissolved[0, 4] > hosel.undissolved > ends.results.undissolved[1, 4]
    assert hosel.hardness_high_hv - hosel.hardness_low_hv >= abs(np.diff(ends.hardness_hv[:, 4])[0])
