"""Cooling table of the end-quench bar against conduction: do the printed rates belong to their distances?"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from forgeprops.base.tables import read_rows

ROWS = read_rows("validation/end_quench_cooling.csv")
DISTANCE_MM, RATE, T85, RATE_F = (
    np.array([float(r[name]) for r in ROWS])
    for name in ("distance_mm", "rate_at_700_c_per_s", "t85_s", "rate_at_700_f_per_s")
)


@pytest.fixture(scope="module")
def conduction():
    """Rate at 700 °C (mean over 690-710) and t8/5 along the bar: 1-D conduction in austenite, no latent heat.

    Bar 25.4 mm round, 101.6 mm long, from 870 °C; quenched end 15 kW/(m² K) to water at 20 °C; shank radiates
    (0.8) and convects (8 W/(m² K)).  Conductivity of austenite 20.1 + 0.0093 T, density 7650, 620 J/(kg K):
    rounded textbook values, from memory, independent of the package's own properties.
    """
    cells = 120
    edge = 0.1016 * np.expm1(3.0 * np.linspace(0.0, 1.0, cells + 1)) / np.expm1(3.0)
    centre, width = (edge[1:] + edge[:-1]) / 2.0, np.diff(edge)

    def loss(t):
        return 0.8 * 5.670e-8 * ((t + 273.15) ** 4 - 293.15**4) + 8.0 * (t - 20.0)

    def slope(_, t):
        k = 20.1 + 0.0093 * t
        flux = np.zeros(cells + 1)
        flux[0] = -(t[0] - 20.0) / (width[0] / 2.0 / k[0] + 1.0 / 15_000.0)
        flux[1:-1] = -(k[1:] + k[:-1]) / 2.0 * np.diff(t) / np.diff(centre)
        flux[-1] = loss(t[-1])
        return (-np.diff(flux) / width - loss(t) * 4.0 / 0.0254) / (7650.0 * 620.0)

    time = np.concatenate(([0.0], np.geomspace(0.01, 600.0, 3000)))
    how = {"method": "BDF", "rtol": 1e-5, "atol": 1e-2, "t_eval": time}
    march = solve_ivp(slope, (0.0, 600.0), np.full(cells, 870.0), **how)
    curve = np.array([np.interp(DISTANCE_MM / 1e3, centre, column) for column in march.y.T])

    def when(position, temperature):
        return np.interp(-temperature, -curve[:, position], time)

    rate = np.array([20.0 / (when(i, 690.0) - when(i, 710.0)) for i in range(len(ROWS))])
    t85 = np.array([when(i, 500.0) - when(i, 800.0) for i in range(len(ROWS))])
    return rate, t85


def test_printed_rates_belong_to_their_distances(conduction):
    ratio = conduction[0] / RATE
    assert np.abs(np.log(ratio)).max() < np.log(1.40)
    # moved by one place to either side the table would not fit
    for shift in (1, -1):
        moved = np.log(np.roll(conduction[0], shift)[1:-1] / RATE[1:-1])
        assert np.abs(moved).mean() > 2.0 * np.abs(np.log(ratio)).mean()


def test_derived_times_units_and_order(conduction):
    assert conduction[1] == pytest.approx(T85, rel=0.03)
    assert RATE_F / 1.8 == pytest.approx(RATE, rel=1e-3)
    assert (
        np.all(np.diff(RATE) < 0) and np.all(np.diff(T85) > 0) and np.all(np.diff(DISTANCE_MM) > 0)
    )
