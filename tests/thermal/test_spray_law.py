"""Spray law: its table (derived from the formula as remembered), its limits, and the spread of the published
laws.
"""

import numpy as np
import pytest
from reference.spray_laws import spray_film_laws_w_m2k

from forgeprops.thermal import spray as s

SUPERHEAT_K = (100, 150, 200, 250, 300, 400, 500, 600, 700, 800, 900, 1000)
TABLE = {
    3: (4389, 4943, 4273, 3219, 2258, 1058, 574, 408, 356, 341, 336, 335),
    5: (6842, 7698, 6660, 5028, 3540, 1682, 930, 672, 591, 565, 556, 552),
    10: (10945, 12250, 10656, 8153, 5871, 3017, 1854, 1447, 1310, 1259, 1233, 1214),
    20: (14023, 15511, 13629, 10689, 8006, 4629, 3219, 2689, 2471, 2354, 2266, 2186),
    30: (15496, 16955, 15000, 11975, 9210, 5694, 4170, 3535, 3218, 3002, 2816, 2638),
}


@pytest.mark.parametrize("flux", TABLE)
def test_table_of_the_law(flux):
    found = [s.spray_w_m2k(float(flux), 20.0 + dt, 20.0) for dt in SUPERHEAT_K]
    assert found == pytest.approx(TABLE[flux], abs=0.6)


def test_peak_and_minimum_of_the_law():
    """h peaks near 142 K; flux peaks near 206–216 K (2.1, 2.7 MW/m²), its minimum lies near 630, 590, 545 K."""
    dt = np.arange(100.0, 1000.0, 1.0)
    for flux, peak, least in ((3.0, None, 630), (10.0, 2.1e6, 590), (20.0, 2.7e6, 545)):
        h = np.array([s.spray_w_m2k(flux, 20.0 + x, 20.0) for x in dt])
        assert abs(dt[h.argmax()] - 142) <= 4
        q = h * dt
        if peak:
            assert q.max() == pytest.approx(peak, rel=0.03)
            assert 204 <= dt[q.argmax()] <= 218
        inner = slice(200, 700)
        assert abs(dt[inner][q[inner].argmin()] - least) <= 12


def test_published_laws_agree_in_film_boiling():
    """At 900 °C and 3–20 kg/(m² s) the law stands within 45 % of the middle of six: trust a factor 1.5."""
    for flux in (3.0, 5.0, 10.0, 20.0):
        laws = spray_film_laws_w_m2k(flux, 900.0)
        middle = np.median(list(laws.values()))
        assert laws["Wendelstorf 2008"] == pytest.approx(middle, rel=0.45)


@pytest.mark.parametrize(("flux", "nozaki", "ishiguro", "sasaki", "mueller"), [
    (3, 0.61, 0.81, 0.58, 0.56), (5, 0.81, 1.02, 0.79, 0.80), (10, 1.18, 1.40, 1.25, 1.41),
    (20, 1.73, 1.91, 2.02, 2.62),
])  # fmt: skip
def test_other_laws_at_900(flux, nozaki, ishiguro, sasaki, mueller):
    """kW/(m² K) at 900 °C, 20 °C water: a comparison table derived from the laws as printed."""
    laws = spray_film_laws_w_m2k(float(flux), 900.0)
    assert laws["Nozaki 1978"] / 1e3 == pytest.approx(nozaki, abs=0.01)
    assert laws["Ishiguro 1974"] / 1e3 == pytest.approx(ishiguro, abs=0.01)
    assert laws["Sasaki 1979"] / 1e3 == pytest.approx(sasaki, abs=0.01)
    assert laws["Müller 1973"] / 1e3 == pytest.approx(mueller, abs=0.01)


@pytest.mark.parametrize(("water", "factor"), [(20, 1.0), (30, 0.91), (40, 0.82), (60, 0.65)])
def test_water_factor(water, factor):
    assert s.water_factor(water) == pytest.approx(factor, abs=0.005)


def test_law_is_continuous_and_positive_down_to_the_water():
    for flux in (0.5, 3.0, 10.0, 30.0):
        t = np.arange(15.0, 1100.0, 0.25)
        h = np.array([s.spray_w_m2k(flux, x, 25.0) for x in t])
        assert (h > 0).all()
        assert np.abs(np.diff(h)).max() < 0.015 * h.max()
        below = h[(t > 25) & (t < 110)]
        assert below.max() <= s.spray_single_phase_w_m2k(flux) + 1
        assert below.min() >= 0.8 * s.spray_w_m2k(flux, 125.0, 25.0)


def test_evaporation_limit():
    # 5 (4186·80 + 2.257e6) W/m²
    assert s.evaporation_limit_w_m2(5.0, 20.0) == pytest.approx(13.0e6, rel=0.005)
    for flux in (3.0, 10.0, 30.0):
        for t in np.arange(100.0, 1100.0, 20.0):
            assert s.spray_w_m2k(flux, t, 20.0) * (t - 20) < s.evaporation_limit_w_m2(flux, 20.0)


def test_warnings_outside_the_law():
    assert s.spray_warnings(10.0, 20.0, 800.0) == ()
    assert s.spray_warnings(0.0) == ()
    codes = {w.code for w in s.spray_warnings(1.0, 80.0, 1150.0)}
    assert codes == {f"range:thermal.spray_{name}" for name in ("flux", "water", "surface")}
    assert "3 to 30 kg/(m² s)" in str(s.spray_warnings(40.0)[0])
