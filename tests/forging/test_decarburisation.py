"""Carbon profile against exact solutions; effect on the skin."""

import numpy as np
import pytest
from checks import refuses
from reference import carbon_profile as profile
from scipy.special import erfc

from forgeprops.forging import decarburisation as d
from forgeprops.forging.scale import metal_loss_um
from forgeprops.inputs.grades import grade
from forgeprops.inputs.steel import Steel


def _constant(temperature_c, carbon):
    return np.full(np.broadcast(np.asarray(temperature_c), np.asarray(carbon)).shape, 2e-11)


@pytest.mark.parametrize("carbon, surface", [(0.30, 0.0), (0.25, 1.20)])
def test_profile_against_the_error_function(carbon, surface):
    p = profile.carbon_profile(carbon, [0, 900], [1000, 1000], surface, None, _constant)
    exact = profile.error_function_carbon(p.depth_um, 2e-11, 900.0, carbon, surface)
    assert np.max(np.abs(p.carbon - exact)) < 0.005 * abs(carbon - surface)


def test_profile_converges():
    errors = []
    for n in (80, 160, 320):
        fine = {"cells": n, "steps": n}
        p = profile.carbon_profile(0.3, [0, 900], [1000, 1000], 0.0, None, _constant, **fine)
        exact = profile.error_function_carbon(p.depth_um, 2e-11, 900.0, 0.3)
        errors.append(np.max(np.abs(p.carbon - exact)))
    assert errors[0] > 1.5 * errors[1] > 2.0 * errors[2]


def test_profile_with_a_receding_surface_against_the_exact_solution():
    p = profile.carbon_profile(0.3, [0, 900], [1000, 1000], 0.0, "air", _constant)
    width = 2.0 * np.sqrt(2e-11 * 900.0) * 1e6
    exact = 0.3 * (1.0 - erfc((p.depth_um + p.recession_um) / width) / erfc(p.recession_um / width))
    assert np.max(np.abs(p.carbon - exact)) < 0.005 * 0.3


def test_two_holds_equal_one_curve_of_equal_diffusion():
    # with D by temperature alone, only the time integral of D counts
    def by_temperature(t, w):
        d = 1e-11 * np.exp((np.asarray(t) - 1000.0) / 80.0)
        return np.broadcast_to(d, np.broadcast(t, w).shape)

    ramp = profile.carbon_profile(0.3, [0, 600, 1200], [900, 1050, 950], 0.0, None, by_temperature)
    fine = np.linspace(0, 1200, 20_001)
    curve = np.interp(fine, [0, 600, 1200], [900, 1050, 950])
    total = np.trapezoid(by_temperature(curve, 0.3), fine)
    exact = profile.error_function_carbon(ramp.depth_um, total, 1.0, 0.3)
    assert np.max(np.abs(ramp.carbon - exact)) < 0.005 * 0.3


def test_richer_metal_diffuses_faster_so_depth_lies_between_the_two_ends():
    p = profile.carbon_profile(0.4, [0, 900], [1000, 1000], 0.0, None)
    depth = np.interp(0.36, p.carbon, p.depth_um)
    ends = [1.163 * 2e6 * np.sqrt(d.carbon_diffusivity(1000.0, c) * 900.0) for c in (0.0, 0.4)]
    assert ends[0] < depth < ends[1]


@pytest.mark.parametrize("carbon", [0.1, 0.2, 0.45, 0.6])
@pytest.mark.parametrize("atmosphere", [None, "gas furnace", "air"])
def test_estimate_follows_the_profile(carbon, atmosphere):
    t = np.linspace(0, 900, 61)
    temp = np.interp(np.linspace(0, 900, 61), [0, 400, 900], [700, 1050, 1050])
    p = profile.carbon_profile(carbon, t, temp, 0.0, atmosphere)
    depth = np.interp(0.9 * carbon, p.carbon, p.depth_um)
    total = 1e12 * np.trapezoid(d.carbon_diffusivity(temp, 0.6 * carbon), t)
    assert d.decarburised_depth_estimate_um(total, p.recession_um) == pytest.approx(depth, rel=0.03)


def test_hotter_and_longer_is_deeper_and_scale_takes_its_part():
    steel = grade("1030")
    temperatures = range(800, 1251, 50)
    depth = [profile.decarburised_depth_um(steel, [0, 900], [t, t], None) for t in temperatures]
    assert np.all(np.diff(depth) > 0.0)
    short, long = (profile.decarburised_depth_um(steel, [0, s], [1000, 1000], None) for s in (900, 1800))  # fmt: skip
    assert long == pytest.approx(2**0.5 * short, rel=0.01)
    scaled = profile.decarburised_depth_um(steel, [0, 900], [1150, 1150], "air")
    bare = profile.decarburised_depth_um(steel, [0, 900], [1150, 1150], None)
    eaten = metal_loss_um(profile.scale_along_um([0, 900], [1150, 1150], "air")[-1])
    assert scaled < bare < scaled + eaten


def test_wall_gives_less_than_a_thick_plate():
    thick = profile.carbon_profile(0.3, [0, 7200], [1100, 1100], 0.0, None)
    wall = profile.carbon_profile(0.3, [0, 7200], [1100, 1100], 0.0, None, thickness_um=500.0)
    assert wall.carbon[-1] < np.interp(500.0, thick.depth_um, thick.carbon)


def test_skin_hardness():
    hv = d.skin_hardness_hv(600.0, np.linspace(0.0, 0.4, 41), 0.4)
    assert np.all(np.diff(hv) > 0.0) and hv[-1] == pytest.approx(600.0)
    # blasting off the whole layer gives the core's hardness back within its last tenth of carbon
    p = profile.carbon_profile(0.4, [0, 900], [950, 950])
    depth = profile.decarburised_depth_um(Steel("1040", {"C": 0.4}), [0, 900], [950, 950])
    assert d.skin_hardness_hv(600.0, np.interp(depth, p.depth_um, p.carbon), 0.4) > 0.93 * 600.0


def test_bad_curves():
    refuses("curve", profile.carbon_profile, 0.3, [0, 10, 5], [900, 900, 900])
    refuses("wanted carbon", profile.diffusion_time_s, 500.0, 1.6e-11, 0.25, 1.2, 0.1)
