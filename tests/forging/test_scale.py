"""Scale: the iron law's table, parabolic sums, metal loss by atomic weights."""

import numpy as np
import pytest
from reference.carbon_profile import scale_along_um

from forgeprops.forging import scale


def held(t_c, seconds, atmosphere="gas furnace"):
    """Scale after a hold, µm."""
    return scale_along_um([0.0, seconds], [t_c, t_c], atmosphere)[-1]


@pytest.mark.parametrize("t_c, x60, x300, x900", [
    (850, 22, 49, 85), (1000, 64, 143, 247), (1100, 114, 256, 443), (1200, 189, 424, 734),
    (1250, 238, 532, 921),
])  # fmt: skip
def test_iron_in_air_regression(t_c, x60, x300, x900):
    # worked out by hand from k = 6.1 exp(-169452/RT) cm²/s
    for seconds, x in ((60, x60), (300, x300), (900, x900)):
        assert held(t_c, seconds, "air") == pytest.approx(x, abs=0.9)
        assert np.sqrt(scale.scale_rate(t_c) * seconds) == pytest.approx(held(t_c, seconds, "air"))


def test_curve_adds_up():
    t, temp = np.array([0.0, 300.0, 900.0]), np.array([20.0, 950.0, 950.0])
    coarse = scale_along_um(t, temp)
    fine = scale_along_um(np.linspace(0, 900, 3001), np.interp(np.linspace(0, 900, 3001), t, temp))
    assert held(950.0, 600.0) < fine[-1] and np.all(np.diff(fine) >= 0.0)
    assert coarse[-1] == pytest.approx(fine[-1], rel=0.02)


def test_hotter_scales_more():
    assert np.all(np.diff([held(t, 600.0) for t in np.linspace(700.0, 1250.0, 200)]) > 0.0)


def test_metal_loss_by_weight():
    # 1 g of oxygen takes 3.49 g of iron (FeO): the same metal as by volume
    x = 100e-4  # cm of wüstite, 5.745 g/cm³
    oxygen = x * 5.745 * 15.999 / 71.844
    assert scale.metal_loss_um(100.0) == pytest.approx(oxygen * 3.49 / 7.874 * 1e4, rel=2e-3)


def test_loss_of_a_heat_lies_in_what_is_reported():
    # fuel-fired heats: 0.7-1.5 % well run, up to 3 % (read); a 100 mm billet at 1200 °C for 1 h,
    # area per volume 4/100 mm; flue gas
    loss = scale.metal_loss_um(held(1200.0, 3600.0)) / 1000.0 * 4.0 / 100.0
    assert 0.007 < loss < 0.06
