"""Die contact, torch and baths: exact solutions, part and die solved together, published curves and severities."""

import functools
import math

import numpy as np
import pytest
from checks import refuses
from scipy.integrate import quad, solve_bvp, solve_ivp
from scipy.special import erfcx

import forgeprops as fp
from forgeprops.base.constants import STEEL_DENSITY_KG_M3
from forgeprops.thermal import die_contact as dc
from forgeprops.thermal import local_heat
from forgeprops.thermal.die_contact import die_contact_w_m2k
from forgeprops.thermal.local_heat import heated_band_mm, hosel_heat
from forgeprops.thermal.media import BATHS, MEDIUM_C, bath_w_m2, bath_w_m2k
from forgeprops.thermal.properties import austenite_cp_j_kgk, conductivity, conductivity_w_mk
from forgeprops.thermal.surroundings import radiation_w_m2k

DIE = (dc.DIE_CONDUCTIVITY_W_MK, dc.DIE_DENSITY_KG_M3, dc.DIE_HEAT_J_KGK)


@pytest.mark.parametrize("seconds", [0.0, 1e-3, 0.05, 0.3, 3.0, 8.0, 30.0, 600.0])
@pytest.mark.parametrize("contact", [400.0, 7500.0, 20000.0])
def test_against_scipy_erfcx(contact, seconds):
    x = contact * math.sqrt(seconds / np.prod(DIE))
    assert die_contact_w_m2k(contact, seconds, *DIE) == pytest.approx(contact * erfcx(x), rel=2e-3)


def test_perfect_contact_draws_the_textbook_heat_and_contact_falls_without_a_step():
    """h → ∞: q = e ΔT/√(π t), heat in time t = 2 e ΔT √(t/π)."""
    e, h = math.sqrt(np.prod(DIE)), die_contact_w_m2k(1e7, 0.1, *DIE)
    assert h == pytest.approx(e / math.sqrt(math.pi * 0.1), rel=2e-3)
    drawn = quad(lambda t: die_contact_w_m2k(1e6, t, *DIE), 0, 0.3, limit=200)[0]
    assert drawn == pytest.approx(2 * e * math.sqrt(0.3 / math.pi), rel=0.03)
    # Holman 4-2: k 45, α 1.4e-5, surface held: flux k ΔT/√(π α t) (inputs read)
    flux = 45 / math.sqrt(math.pi * 1.4e-5 * 30)
    assert die_contact_w_m2k(1e8, 30.0, 45.0, 1.0, 45 / 1.4e-5) == pytest.approx(flux, rel=1e-3)
    h = [die_contact_w_m2k(7500.0, t, *DIE) for t in np.geomspace(1e-4, 100, 4000)]
    assert (np.diff(h) < 0).all() and np.abs(np.diff(h)).max() < 15


def face_loss_k(face_mm, start_c, die_c, contact, seconds, together, dies=2, n=24):
    """Mean temperature a face loses; `together` solves the die as well, else `die_contact_w_m2k` stands for it."""
    dx = face_mm * 1e-3 / dies / n
    edges = np.concatenate([[0.0], np.cumsum(2e-5 * 1.07 ** np.arange(80))])
    cells, centres = np.diff(edges), (edges[1:] + edges[:-1]) / 2

    def rate(t, y):
        face, die = y[:n], y[n:]
        k = np.array([conductivity_w_mk(x) for x in face])
        cp = np.array([austenite_cp_j_kgk(x) for x in face])
        q = np.zeros(n + 1)
        q[1:-1] = 2 / (1 / k[1:] + 1 / k[:-1]) * np.diff(face) / dx
        warming = np.zeros(len(die))
        if together:
            q[-1] = -(face[-1] - die[0]) / (1 / contact + dx / 2 / k[-1] + cells[0] / 2 / DIE[0])
            into = np.concatenate([[-q[-1]], -DIE[0] * np.diff(die) / np.diff(centres), [0.0]])
            warming = -np.diff(into) / cells / (DIE[1] * DIE[2])
        else:
            q[-1] = -(face[-1] - die_c) / (1 / die_contact_w_m2k(contact, t, *DIE) + dx / 2 / k[-1])
        return np.concatenate([np.diff(q) / dx / (STEEL_DENSITY_KG_M3 * cp), warming])

    start = np.concatenate([np.full(n, float(start_c)), np.full(80, float(die_c))])
    found = solve_ivp(rate, (0, seconds), start, method="BDF", rtol=1e-6, atol=1e-4)
    return start_c - found.y[:n, -1].mean()


@pytest.mark.parametrize("die_c, contact, seconds, within", [
    (250, 7500, 0.01, 0.002), (250, 7500, 0.05, 0.004), (20, 8000, 0.3, 0.015),
    (250, 12000, 1.0, 0.07),
])  # fmt: skip
def test_error_against_part_and_die_solved_together(die_c, contact, seconds, within):
    given = 3.0, 880.0, die_c, contact, seconds
    both, ours = (face_loss_k(*given, together) for together in (True, False))
    assert 0 <= ours / both - 1 < within


def test_the_defaults_are_defended_by_these_numbers():
    """What the docstring says: default stroke 27 K, rest 9 K, slow press on cold dies 180 K."""
    press = fp.Route()
    resting = press.die_c, dc.RESTING_CONTACT_W_M2K, press.rest_s, True, 1
    stroke = face_loss_k(3.0, 880.0, press.die_c, press.contact, press.dwell_s, True)
    rest, slow = (face_loss_k(3.0, 880.0, *at) for at in (resting, (20.0, 8000.0, 0.3, True)))
    assert stroke == pytest.approx(27, abs=1) and rest == pytest.approx(8.6, abs=0.5)
    assert slow == pytest.approx(181, abs=3)
    # above Ar3 of the demo steels, or below Ar1
    assert 880 - stroke - rest > 830 > 720 > 880 - slow


def test_what_a_wait_costs_after_a_slow_press_on_cold_dies():
    """What the docstring says of the shares of ferrite."""

    def ferrite(name, delay_s):
        press = {"dwell_s": 0.3, "contact": 8000.0, "die_c": 20.0}
        job = fp.Job(name).with_(preheat_c=930.0, delay_s=delay_s, **press)
        return fp.estimate(job).zones["face"].fractions["ferrite"]

    assert ferrite("1030", 0.5) == pytest.approx(0.01, abs=0.01)
    assert ferrite("1030", 5.0) == pytest.approx(0.06, abs=0.02)
    assert ferrite("4130", 5.0) < 0.01


SHAPE = (53.5, 14.0, 18.0, 16.6, 15.0)


def heated(peak_c=690.0, hold_s=600.0, cooled="cloth", shape=SHAPE):
    return hosel_heat((shape,), peak_c, hold_s, cooled, 31000.0)


def test_hottest_place_cloth_and_many_hosels():
    heat = heated()
    assert heat.peak_c.max() == pytest.approx(690.0, abs=1e-6)
    low, high = heated_band_mm(*(SHAPE[i] for i in (0, 2, 4)))
    assert low <= heat.place_mm[0, heat.peak_c.argmax()] <= high
    j = [heated(t, s).zone_j[0] for t, s in ((640, 60), (690, 60), (690, 600), (690, 1800))]
    assert np.all(np.diff(j, axis=0)[:, 3:] > 0.0)
    for at, seconds in ((2, 600.0), (3, 1800.0)):  # nowhere more than the hottest place
        assert j[at][4] < seconds * np.exp(-31000.0 / 963.15)
    wet, dry = heated(), heated(cooled="air")
    assert wet.neck_end_c[0] < 150.0 < 300.0 < dry.neck_end_c[0]
    assert wet.body_c[0] < 80.0 < 200.0 < dry.body_c[0] < 500.0
    assert 400.0 < wet.ferrule_end_c[0] < 690.0  # a ferrule would burn: it goes on afterwards
    other = (50.0, 13.6, 17.0, 16.6, 20.0)
    both = hosel_heat((SHAPE, other), 690.0, 600.0, "cloth", 31000.0)
    for i, shape in enumerate((SHAPE, other)):
        assert both.zone_j[i] == pytest.approx(heated(shape=shape).zone_j[0], rel=1e-9)


def test_ferrule_end_after_hours_obeys_the_steady_fin():
    """Between the free end and the band nothing is heated: d/ds (k dT/ds) = 4/d (h + radiation) (T - air)."""
    heat = heated(hold_s=30_000.0, cooled="air")
    outer = heat.place_mm[0] < heated_band_mm(*(SHAPE[i] for i in (0, 2, 4)))[0] - 2.0
    place, peak = 1e-3 * heat.place_mm[0, outer], heat.peak_c[0, outer]

    def slope(s, y):
        t = y[0]
        k = np.vectorize(conductivity)(t, 1.0)
        loss = (10.0 + radiation_w_m2k(t, 25.0, 0.8)) * (t - 25.0)
        return np.stack([y[1] / k, 4.0 / 0.014 * loss])

    mesh = np.linspace(0.0, place[-1], 50)
    ends = lambda a, b: np.array([a[1], b[0] - peak[-1]])  # noqa: E731
    found = solve_bvp(slope, ends, mesh, np.ones((2, 50)) * peak[-1])
    assert found.success
    assert np.abs(found.sol(place)[0] - peak).max() < 4.0


def test_steps_are_fine_enough(monkeypatch):
    coarse = [heated(cooled=c).zone_j[0, 4] for c in ("air", "cloth")]
    hosel_heat.cache_clear()
    finer = {"RISE_STEPS": 80, "HOLD_STEPS": 240, "COOLING_STEP_S": 2.5, "HOSEL_CELLS": 78}
    for name, value in {**finer, "NECK_CELLS": 27}.items():
        monkeypatch.setattr(local_heat, f"_{name}", value)
    fine = [heated(cooled=c).zone_j[0, 4] for c in ("air", "cloth")]
    hosel_heat.cache_clear()
    assert np.log10(coarse) == pytest.approx(np.log10(fine), abs=0.05)  # 1 HV


FACTOR = 1.5


@functools.cache
def cooled(medium, agitation=0.0, steel=False, h_w_m2k=None, cells=15):
    """Time, s, and temperature of the centre, °C, of the 12.5 mm probe from 850 °C, or of a 25 mm steel bar."""
    radius, begin, dt = (0.0125, 850.0, 0.03) if steel else (0.00625, 850.0, 0.01)
    bath = BATHS[medium].usual_c
    dr = radius / cells
    face, middle = np.arange(1, cells + 1) * dr, (np.arange(cells) + 0.5) * dr
    t, surface, out = np.full(cells, begin), begin, [begin]
    while t[0] > 150.0:
        k = np.full(cells, 28.0) if steel else 13.4 + 0.0165 * t  # nickel 600 (from memory)
        stored = np.full(cells, 7700.0 * 650.0) if steel else 8400.0 * (440.0 + 0.2 * t)
        for _ in range(4):
            h = bath_w_m2k(medium, surface, bath, agitation) if h_w_m2k is None else h_w_m2k
            inner = 2.0 * k[-1] / dr
            surface = float((inner * t[-1] + h * bath) / (inner + h))
        inside = 0.5 * (k[1:] + k[:-1]) * (t[:-1] - t[1:]) / dr
        out_of = np.append(inside, h * (surface - bath)) * face
        t = t - dt * np.diff(out_of, prepend=0.0) / (stored * middle * dr)
        out.append(t[0])
    return np.arange(len(out)) * dt, np.array(out)


def passed(curve, celsius):
    time_s, t = curve
    return float(np.interp(-celsius, -t, time_s))


@pytest.mark.parametrize("medium, what, low, high", [
    # reference oil of ISO 9950 and of the ASTM D6200 probe
    ("oil bath", "fastest", 47.0, 53.0), ("oil bath", 600.0, 12.0, 14.0),
    ("oil bath", 400.0, 19.0, 21.0), ("oil bath", 200.0, 50.0, 55.0),
    # still water of 20-25 °C, polyalkylene glycol of 10-20 %
    ("water bath", "fastest", 190.0, 260.0), ("polymer bath", "fastest", 100.0, 190.0),
])  # fmt: skip
def test_the_probe_cools_as_published(medium, what, low, high):
    curve = cooled(medium)
    found = -np.gradient(curve[1], curve[0]).min() if what == "fastest" else passed(curve, what)
    assert low / FACTOR < found < high * FACTOR


@pytest.mark.parametrize("medium, agitation, low, high", [
    ("oil bath", 0.0, 0.25, 0.30), ("oil bath", 1.0, 0.40, 0.50), ("water bath", 0.0, 0.90, 1.00),
    ("water bath", 1.0, 1.40, 1.50),
])  # fmt: skip
def test_severity_of_a_25_mm_bar(medium, agitation, low, high):
    """Severity of the constant coefficient that cools the centre from 800 to 500 °C in the same time (2205 W/(m² K) each)."""

    def seconds(curve):
        return passed(curve, 500.0) - passed(curve, 800.0)

    aim = seconds(cooled(medium, agitation, True))
    severities = np.geomspace(0.2, 3.0, 7)
    times = [seconds(cooled(medium, 0.0, True, 2205.0 * s)) for s in severities]
    found = float(np.exp(np.interp(-aim, -np.array(times), np.log(severities))))
    assert low / FACTOR < found < high * FACTOR


def test_baths_are_in_order_and_an_own_table_is_followed():
    baths = ("oil bath", "polymer bath", "water bath")
    oil, polymer, water = (passed(cooled(m), 400.0) for m in baths)
    assert polymer < oil and water < oil
    for t in (300.0, 600.0):
        assert bath_w_m2k("water bath", t, 60.0) < bath_w_m2k("water bath", t, 20.0)
        assert bath_w_m2k("oil bath", t, 50.0, 1.0) > bath_w_m2k("oil bath", t, 50.0)
    table = ((100.0, 500.0), (500.0, 2500.0), (900.0, 500.0))
    loss = bath_w_m2("own bath", 30.0, table=table)
    at = np.interp([300.0, 700.0, 900.0], MEDIUM_C, loss) / (np.array([300.0, 700.0, 900.0]) - 30.0)
    assert at == pytest.approx([1500.0, 1500.0, 500.0], rel=0.02)
    falling, wide = ((500.0, 1.0), (100.0, 2.0)), ((1.0, 2.0, 3.0), (4.0, 5.0, 6.0))
    for wrong in ((), ((100.0, 500.0),), falling, wide):
        refuses("table", fp.Quench, "own bath", table=wrong)
    refuses("burns or fumes", fp.Quench, "oil spray")
