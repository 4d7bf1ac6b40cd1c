"""Plate conduction against textbook answers; flux and h(T) recovered from noisy readings of a known truth.

The truths are made by another solver (method of lines, LSODA, another grid) so that the inverse never meets
its own discretisation.
"""

import functools

import numpy as np
import pytest
from checks import refuses
from scipy.integrate import solve_ivp
from scipy.special import erfc, erfcx

from forgeprops.study.spray_plate.conduction import PLATES, Plate
from forgeprops.study.spray_plate.heat_transfer import cooling_curve, surface_flux
from forgeprops.thermal.spray import spray_w_m2k

WATER = 20.0
K, HEAT = 20.0, 4.0e6
CONSTANT = (lambda t: np.full_like(t, K), lambda t: np.full_like(t, HEAT))
NOTHING = np.empty(0)


def march(plate, duration, step, flux, start=900.0):
    state = plate.start(start)
    for _ in range(round(duration / step)):
        state = plate.step(state, step, lambda surface: (*flux(surface), NOTHING))
    return state


def test_constant_flux_into_a_thick_plate():
    """Carslaw & Jaeger, Conduction of Heat in Solids, art. 2.9: half-space with constant surface flux."""
    plate, q, t, x, a = Plate(30.0, 1.0, CONSTANT), 1.0e6, 1.0, 1e-3, K / HEAT
    got = march(plate, t, 0.02, lambda s: (q, 0.0))
    reach = 2 * np.sqrt(a * t)
    fall = q / K * (reach / np.sqrt(np.pi) * np.exp(-((x / reach) ** 2)) - x * erfc(x / reach))
    assert got.surface_c == pytest.approx(900 - 2 * q / K * np.sqrt(a * t / np.pi), abs=0.3)
    assert plate.at_junction(got)[0] == pytest.approx(900 - fall, abs=0.3)


@pytest.mark.parametrize("step", [0.1, 0.02])
def test_convection_from_a_thick_plate(step):
    """Carslaw & Jaeger, art. 2.7: half-space into a medium, surface = T∞ + ΔT·erfcx(h√(at)/k)."""
    h, t = 5000.0, 1.0
    got = march(Plate(30.0, 1.0, CONSTANT), t, step, lambda s: (h * (s - WATER), h))
    expected = WATER + 880 * erfcx(h * np.sqrt(K / HEAT * t) / K)
    assert got.surface_c == pytest.approx(expected, abs=0.4)


def test_conduction_keeps_the_heat_balance_and_its_derivative():
    plate = Plate(1.0, 0.5, CONSTANT, back=(50.0, 25.0))
    got = march(plate, 20.0, 0.05, lambda s: (50.0 * (s - 25.0), 50.0))
    lumped = 25 + 875 * np.exp(-100.0 * 20.0 / (HEAT * 1e-3))
    assert got.temperature_c.mean() == pytest.approx(lumped, rel=2e-3)
    plate = Plate(10.0, 1.0, CONSTANT)
    cooled = 900 - march(plate, 2.0, 0.02, lambda s: (5e5, 0.0)).temperature_c
    assert HEAT * (plate._made[3] @ cooled) == pytest.approx(5e5 * 2.0, rel=1e-9)
    plate = Plate(6.0, 1.0)

    def end(theta):
        state, h = plate.start(900.0, 1), np.exp(theta)

        def flux(s):
            return h * (s - WATER), h, np.array([h * (s - WATER)])

        for _ in range(40):
            state = plate.step(state, 0.05, flux)
        return plate.at_junction(state)

    middle, by = end(7.5)
    numeric = (end(7.5 + 1e-4)[0] - end(7.5 - 1e-4)[0]) / 2e-4
    assert by[0] == pytest.approx(numeric, rel=0.02)  # conductivity's own change is left out


def lines(flux_of, thickness, depth, duration, step, start=900.0, material="stainless", cells=240):
    """Method of lines on an unlike grid; `flux_of(t, surface)` in W/m²."""
    k_of, heat_of = PLATES[material]
    edge = np.linspace(0, 1, cells + 1) ** 1.6 * thickness * 1e-3
    size, centre = np.diff(edge), 0.5 * (edge[1:] + edge[:-1])

    def rate(t, u):
        k = k_of(u)
        through = 2 / (size[:-1] / k[:-1] + size[1:] / k[1:]) * (u[:-1] - u[1:])
        surface = u[0]
        for _ in range(40):
            q = flux_of(t, surface)
            new = u[0] - q * 0.5 * size[0] / k[0]
            if abs(new - surface) < 1e-7:
                break
            surface = 0.5 * (surface + new)
        gain = np.zeros_like(u)
        gain[0] -= q
        gain[:-1] -= through
        gain[1:] += through
        return gain / (heat_of(u) * size)

    t = np.arange(0, duration + step / 2, step)
    fine = {"method": "LSODA", "rtol": 1e-7, "atol": 1e-5, "lband": 1, "uband": 1, "max_step": 0.02}
    found = solve_ivp(rate, (0, duration), np.full(cells, start), t_eval=t, **fine)
    return t, np.array([np.interp(depth * 1e-3, centre, u) for u in found.y.T]), found.y[0]


def made_up_h(surface):
    """An invented boiling curve unlike the published law: a sharper peak, a minimum at 620 °C."""
    peak, film = np.exp(-(((surface - 190) / 90) ** 2)), np.exp(-(((surface - 880) / 200) ** 2))
    return 1300 + 9000 * peak + 250 * film


CASES = {
    "20 kg/(m² s), 10 mm": (lambda s: spray_w_m2k(20.0, s, WATER), 10.0, 1.0, 12.0),
    "10 kg/(m² s), 6 mm": (lambda s: spray_w_m2k(10.0, s, WATER), 6.0, 1.0, 16.0),
    "5 kg/(m² s), face of 3.2 mm": (lambda s: spray_w_m2k(5.0, s, WATER), 3.2, 1.6, 22.0),
    "20 kg/(m² s), 2 mm deep": (lambda s: spray_w_m2k(20.0, s, WATER), 10.0, 2.0, 12.0),
    "invented curve": (made_up_h, 4.0, 0.8, 18.0),
}


@functools.cache
def truth(case):
    h, thickness, depth, duration = CASES[case]
    return lines(lambda t, s: h(s) * (s - WATER), thickness, depth, duration, 0.02)


def recovered(case, noise, seed, each=1, top_c=880.0, **options):
    """Curve from noisy readings of a case, its h over the true one from nucleate to film boiling, and stated errors."""
    h, thickness, depth, _ = CASES[case]
    t, clean, _ = truth(case)
    noisy = clean + np.random.default_rng(seed).normal(0, noise, t.size)
    got = cooling_curve(t[::each], noisy[::each], Plate(thickness, depth), WATER, **options)
    boiling = got.seen & (got.surface_c >= WATER + 100) & (got.surface_c <= top_c)
    ratio = got.h_w_m2k[boiling] / [h(s) for s in got.surface_c[boiling]]
    return got, ratio, got.standard_error[boiling]


@pytest.mark.parametrize("case, noise, seed", [(case, (2.0, 5.0)[i % 2], 1 + i % 2) for i, case in enumerate(CASES)])  # fmt: skip
def test_h_of_t_within_ten_percent_over_the_boiling_range(case, noise, seed):
    got, ratio, _ = recovered(case, noise, seed, start_c=900.0)
    assert ratio.size >= 20  # from film boiling to the nucleate peak
    assert np.abs(ratio - 1).max() < 0.10 and np.abs(ratio - 1).mean() < 0.03
    assert got.noise_c == pytest.approx(noise, rel=0.15)
    assert got.misfit_c == pytest.approx(noise, rel=0.15)
    assert not any(w.code == "inverse:misfit" for w in got.warnings)
    t, _, surface = truth(case)
    true = np.interp(got.time_s, t, surface)[1:]
    np.testing.assert_allclose(got.at_surface_c[1:], true, atol=25.0)


def test_an_unknown_starting_temperature_is_fitted_along():
    """The trace begins with the water; the mean of its first readings alone would be degrees too low."""
    got, ratio, _ = recovered("invented curve", 2.0, 3, top_c=850.0)
    assert got.fitted_c[0] == pytest.approx(900.0, abs=2.0)
    assert np.abs(ratio - 1).max() < 0.10


def test_stated_errors_are_honest():
    inside = []
    for seed in range(3):
        _, ratio, error = recovered("10 kg/(m² s), 6 mm", 3.0, 100 + seed, 2, start_c=900.0)
        inside.extend(np.abs(np.log(ratio) / error) < 1.96)
    assert 0.85 <= np.mean(inside) <= 1.0


def test_shop_multiplier_is_recovered():
    def flux(_, s):
        return 1.3 * spray_w_m2k(10.0, s, WATER) * (s - WATER)

    t, clean, _ = lines(flux, 6.0, 1.0, 8.0, 0.02)
    noisy = clean + np.random.default_rng(5).normal(0, 5.0, t.size)
    factor, spread = cooling_curve(t, noisy, Plate(6.0, 1.0), WATER, start_c=900.0).multiplier(10.0)
    assert factor == pytest.approx(1.3, rel=0.03) and spread < 0.08
    curve = cooling_curve(t, noisy, Plate(6.0, 1.0), WATER)
    refuses("no surface above", curve.multiplier, 10.0, from_c=1200.0)


def test_slow_thermocouple_is_allowed_for():
    t, clean, _ = (a[::2] for a in truth("10 kg/(m² s), 6 mm"))
    slow, tau = np.empty_like(clean), 0.5
    slow[0] = clean[0]
    for i in range(1, t.size):
        keep = np.exp(-(t[i] - t[i - 1]) / tau)
        slow[i] = keep * slow[i - 1] + (1 - keep) * 0.5 * (clean[i] + clean[i - 1])
    slow += np.random.default_rng(3).normal(0, 1.0, t.size)
    given, use = (t, slow, Plate(6.0, 1.0), WATER), slice(5, 30)
    true = np.array([spray_w_m2k(10.0, s, WATER) for s in np.linspace(20, 900, 36)])[use]
    curves = (cooling_curve(*given, start_c=900.0, response_s=lag) for lag in (tau, 0.0))
    with_lag, without = (np.abs(curve.h_w_m2k[use] / true - 1) for curve in curves)
    assert with_lag.max() < 0.10
    # left out, the lag bends the boiling peak (the first knots), which the right response time keeps
    assert without[:4].mean() > 2 * with_lag[:4].mean()


def test_a_spray_that_stops_is_noticed():
    def flux(t, s):
        return 0.0 if 4 < t < 7 else spray_w_m2k(10.0, s, WATER) * (s - WATER)

    t, clean, _ = lines(flux, 6.0, 1.0, 10.0, 0.05)
    noise = np.random.default_rng(1).normal(0, 1.0, t.size)
    got = cooling_curve(t, clean + noise, Plate(6.0, 1.0), WATER)
    assert any(w.code == "inverse:misfit" for w in got.warnings)
    assert "spray not steady" in got._repr_html_()


def test_triangular_flux_is_followed():
    """The classical test of the method, a flux in a triangle over time (Beck et al. 1985, from memory)."""

    def flux(t, s):
        return 2e6 * max(0.0, 1 - abs(t - 2.0) / 1.5)

    t, clean, surface = lines(flux, 10.0, 1.0, 4.5, 0.02)
    true = np.array([flux(x, 0) for x in t])
    for noise, allowed in ((0.0, 0.05), (1.0, 0.10)):
        noisy = clean + np.random.default_rng(7).normal(0, noise, t.size)
        until, flux_w_m2, found = surface_flux(t, noisy, Plate(10.0, 1.0), 900.0, max(noise, 0.05))
        assert np.sqrt(np.mean((flux_w_m2 - np.interp(until, t, true)) ** 2)) < allowed * 2e6
        assert np.trapezoid(flux_w_m2, until) == pytest.approx(1.5 * 2e6, rel=0.02)
    assert found.min() == pytest.approx(surface.min(), abs=15.0)


GOOD_T = np.linspace(0, 5, 60)
GOOD_Y = 25 + 875 * np.exp(-GOOD_T / 3)


@pytest.mark.parametrize("t, y, options, message", [
    (GOOD_T[:10], GOOD_Y[:10], {}, "20 or more"), (GOOD_T, GOOD_Y[:-1], {}, "60 times and 59"),
    (GOOD_T, np.where(GOOD_T > 2, np.nan, GOOD_Y), {}, "not finite"),
    (GOOD_T[::-1], GOOD_Y, {}, "does not rise"), ("abc", GOOD_Y, {}, "not made of numbers"),
    (GOOD_T, GOOD_Y * 3, {}, "reaches"),
    (GOOD_T, np.full(60, 900.0), {}, "cool by 30 K"),
    (GOOD_T, GOOD_Y, {"water_c": 120}, "water temperature"),
    (GOOD_T, GOOD_Y, {"response_s": -1}, "response time"),
    (GOOD_T, GOOD_Y, {"noise_c": -1}, "noise"),
    (GOOD_T, GOOD_Y, {"start_c": 5000}, "starting temperature"),
    (GOOD_T, GOOD_Y, {"plate": "thick"}, "must be a Plate"),
])  # fmt: skip
def test_unusable_traces(t, y, options, message):
    given = {"plate": Plate(6.0, 1.0), "water_c": WATER, **options}
    refuses(f"(?i){message}", cooling_curve, t, y, **given)
