"""Bars and imposed curves: the march on the simplest of parts, against another integration and common sense.

What measured bars say stands in tests/published/test_bars.py.
"""

import math

import numpy as np
import pytest
from checks import refuses
from engine.method_of_lines import growth
from reference import engine_laws as laws
from scipy.integrate import quad, solve_ivp

import forgeprops as fp
from forgeprops.base.constants import STEEL_DENSITY_KG_M3
from forgeprops.thermal.properties import austenite_cp_j_kgk, conductivity
from forgeprops.thermal.surroundings import convection_w_m2k, radiation_w_m2k
from forgeprops.transformation import austenite, kinetics, temperatures

CR_MO, PLAIN = fp.grade("4140"), fp.grade("1030")


def by_hand(steel, curve, seconds):
    """Rate equations along `curve(t)` by `solve_ivp`: shares of ferrite, pearlite, bainite, martensite, austenite.

    Written from the published form; s = share^0.6 makes the start smooth.
    """
    k = kinetics.constants()
    ae1, ae3 = float(temperatures.ae1_c(steel)), float(temperatures.ae3_c(steel))
    limit, carbon_0 = kinetics.kinetic_bainite_start_c(steel), steel.get("C")
    ln_f, ln_p, ln_b = kinetics.ln_composition_factors(steel)
    grain = steel.grain_size_astm * math.log(2.0)

    def grows(name, x, ln, under, power, kelvin, tail=0.0):
        ln_rate = k[f"grain_{name}"] * grain - ln
        return growth(x, laws.rate_per_s(ln_rate, under, power, k[f"q_{name}"], kelvin), tail)

    def shares(s):
        return [max(v, 0.0) ** (1 / 0.6) for v in s[:3]]

    def rate(t, s):
        f, p, b = shares(s)
        m, used = s[3], s[4]
        a = max(1.0 - f - p - b - m, 0.0)
        temperature = curve(t)
        kelvin, d = temperature + 273.15, [0.0] * 5
        if a > 1e-9:
            cap = float(laws.ferrite_cap(temperature, ae1, ae3, carbon_0))
            if cap > f:
                slope = grows("ferrite", f / cap, ln_f, ae3 - temperature, 3, kelvin)
                d[0] = 0.6 * cap**0.6 * slope
            parts = ("pearlite", p, ln_p, ae1, 3), ("bainite", b, ln_b, limit, 2, k["bainite_tail"])
            for i, (name, x, ln, top, power, *tail) in enumerate(parts, 1):
                slope = grows(name, x / (x + a), ln, top - temperature, power, kelvin, *tail)
                d[i] = 0.6 * (x + a) ** 0.6 * slope
        left = (carbon_0 - austenite.FERRITE_CARBON * f) / max(1.0 - f, 1e-12)
        carbon = carbon_0 if f >= 1.0 else min(left, 1.2)
        ms = float(temperatures.martensite_start_c(steel, carbon)) + shift
        d[4] = max(ms - temperature - used, 0.0) / 1e-3
        d[3] = float(temperatures.martensite_alpha_per_k(steel, carbon)) * a * d[4]
        return d

    diameter = float(austenite.diameter_um_from_astm(steel.grain_size_astm))
    finer = diameter**-0.5 - temperatures.REFERENCE_GRAIN_UM**-0.5
    shift = temperatures.martensite_grain_coefficient("own") * finer
    how = {"method": "LSODA", "rtol": 1e-6, "atol": 1e-8, "max_step": seconds / 200}
    found = solve_ivp(rate, (0.0, seconds), [0.0] * 5, **how)
    assert found.success
    f, p, b = shares(found.y[:, -1])
    m = found.y[3, -1]
    return {
        "ferrite": f, "pearlite": p, "bainite": b, "martensite": m,
        "austenite": 1.0 - f - p - b - m}  # fmt: skip


@pytest.mark.parametrize("steel, rate", [(PLAIN, 1.0), (PLAIN, 60.0), (CR_MO, 0.3), (CR_MO, 8.0)])
def test_imposed_rate_against_solve_ivp(steel, rate):
    found = fp.continuous_cooling(steel, from_c=870.0, rate_c_per_s=rate)
    expected = by_hand(steel, lambda t: 870.0 - rate * t, (870.0 - 25.0) / rate)
    assert found.fractions == pytest.approx(expected, abs=0.012)


def test_holds_histories_and_more_points_on_the_same_line():
    time, temperature = [0.0, 5.0, 305.0, 330.0], [870.0, 430.0, 430.0, 25.0]
    found = fp.continuous_cooling(CR_MO, time, temperature)
    expected = by_hand(CR_MO, lambda t: np.interp(t, time, temperature), 330.0)
    assert found.fractions == pytest.approx(expected, abs=0.012)
    assert found.fractions["bainite"] > 0.5
    coarse = fp.continuous_cooling(CR_MO, [0.0, 845.0], [870.0, 25.0])
    fine = fp.continuous_cooling(CR_MO, np.linspace(0.0, 845.0, 400), np.linspace(870.0, 25.0, 400))
    by_rate = fp.continuous_cooling(CR_MO, from_c=870.0, rate_c_per_s=1.0)
    assert coarse.hardness_hv == pytest.approx(fine.hardness_hv, abs=0.5)
    assert by_rate.hardness_hv == pytest.approx(fine.hardness_hv, abs=0.5)
    assert sum(fine.history.values()) == pytest.approx(np.ones(400), abs=1e-9)
    assert fine.history["austenite"][0] == 1.0
    assert (np.diff(fine.history["austenite"]) <= 1e-12).all()
    assert {name: row[-1] for name, row in fine.history.items()} == pytest.approx(fine.fractions)


def dry_loss(t, d):
    h = convection_w_m2k("round", t, 25.0, d) + radiation_w_m2k(t, 25.0, 0.8)
    return h * (t - 25.0)


def test_air_cooled_bars():
    """From 1000 to 860 °C: time = integral of m c dT / q, the skin q R / 4k below the mean (quasi-steady round)."""
    d = 13.5
    bar = fp.air_cooled_bar(CR_MO, d, 1000.0)

    def seconds_per_kelvin(mean, rounds=4):
        skin = mean
        for _ in range(rounds):
            skin = mean - dry_loss(skin, d) * d / 2e3 / (4.0 * conductivity(mean, 1.0, 1.0))
        return STEEL_DENSITY_KG_M3 * d / 4e3 * austenite_cp_j_kgk(mean) / dry_loss(skin, d)

    exact = quad(seconds_per_kelvin, 860.0, 980.0)[0]  # from 980: by then the skin has settled
    at = np.interp([-860.0, -980.0], -bar.temperature_c, bar.time_s)
    assert at[0] - at[1] == pytest.approx(exact, rel=0.01)
    # A 1045 bar recalesces: somewhere below 750 °C it stands still or warms; the heat is what slows it.
    bar = fp.air_cooled_bar(fp.grade("1045"), d, 870.0)
    rate = -np.diff(bar.temperature_c) / np.diff(bar.time_s)
    middle = 0.5 * (bar.temperature_c[1:] + bar.temperature_c[:-1])
    arrest = rate[(middle > 550.0) & (middle < 750.0)].min()
    assert arrest < 0.2 * rate[(middle > 780.0) & (middle < 850.0)].mean()
    # austenite all the way down would have been there sooner
    without = quad(seconds_per_kelvin, 500.0, 750.0, args=(0,))[0]
    span = np.interp([-500.0, -750.0], -bar.temperature_c, bar.time_s)
    assert span[0] - span[1] > 1.3 * without
    assert {w.code for w in fp.air_cooled_bar(PLAIN, 13.5, 760.0).warnings} >= {"partial-austenite"}


def test_quenched_bars_fall_from_skin_and_end():
    depth, hv = fp.quenched_bar(fp.grade("4130"), 50.0, 3000.0)
    assert depth[0] == 0.0 and depth[-1] == pytest.approx(25.0)
    assert hv[0] > hv[-1] + 30.0 and (np.diff(hv) < 15.0).all()
    # a thin bar in a fierce quench is all martensite, a thick one in oil is not
    thin, thick = fp.quenched_bar(fp.grade("4340"), 10.0, 1e4), fp.quenched_bar(PLAIN, 50.0, 800.0)
    assert thin[1][-1] > thick[1][-1] + 200.0
    bars = {name: fp.end_quench_bar(fp.grade(name)) for name in ("1045", "4140", "4340")}
    for bar in bars.values():
        assert bar["distance_mm"].iloc[0] == 0.0
        assert bar["distance_mm"].iloc[-1] == pytest.approx(100.0)
        assert (np.diff(bar["hv"].to_numpy()) < 12.0).all() and bar["hrc"].iloc[0] > 50.0
    tail = [np.interp(25.0, bar["distance_mm"], bar["hv"]) for bar in bars.values()]
    assert tail[0] + 50.0 < tail[1] < tail[2]


@pytest.mark.parametrize("call, words", [
    (lambda: fp.air_cooled_bar(PLAIN, 0.5), "0.5|2|300|mm"),
    (lambda: fp.air_cooled_bar(PLAIN, 13.5, 600.0), "600|750"),
    (lambda: fp.continuous_cooling(PLAIN), "rate_c_per_s"),
    (lambda: fp.continuous_cooling(PLAIN, rate_c_per_s=0.0), "0"),
    (lambda: fp.continuous_cooling(PLAIN, [0.0, 2.0, 1.0], [900.0, 500.0, 300.0]), "rise|2"),
    (lambda: fp.continuous_cooling(PLAIN, [0.0, 1.0], [900.0]), "one length"),
    (lambda: fp.quenched_bar(PLAIN, 25.0, 2000.0, points=8), "8|odd"),
    (lambda: fp.end_quench_bar(PLAIN, points=400), "400"),
])  # fmt: skip
def test_bad_input_is_one_clear_sentence(call, words):
    said = refuses("", call)
    assert all(word in said for word in words.split("|"))
