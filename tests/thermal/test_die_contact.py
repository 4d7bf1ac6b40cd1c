"""Die contact against the exact semi-infinite solution and against part and die solved together."""

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.special import erfcx

import forgeprops as fp
from forgeprops.base.constants import STEEL_DENSITY_KG_M3
from forgeprops.thermal.die_contact import (
    DIE_CONDUCTIVITY_W_MK,
    DIE_DENSITY_KG_M3,
    DIE_HEAT_J_KGK,
    RESTING_CONTACT_W_M2K,
    die_contact_w_m2k,
)
from forgeprops.thermal.properties import austenite_cp_j_kgk, conductivity_w_mk

DIE = (DIE_CONDUCTIVITY_W_MK, DIE_DENSITY_KG_M3, DIE_HEAT_J_KGK)


@pytest.mark.parametrize("seconds", [0.0, 1e-3, 0.05, 0.3, 3.0, 8.0, 30.0, 600.0])
@pytest.mark.parametrize("contact", [400.0, 7500.0, 20000.0])
def test_against_scipy_erfcx(contact, seconds):
    x = contact * math.sqrt(seconds / np.prod(DIE))
    assert die_contact_w_m2k(contact, seconds, *DIE) == pytest.approx(contact * erfcx(x), rel=2e-3)


def test_perfect_contact_draws_the_textbook_heat_and_contact_falls_without_a_step():
    """h → ∞: q = e ΔT/√(π t), heat in time t = 2 e ΔT √(t/π)."""
    e = math.sqrt(np.prod(DIE))
    expected = e / math.sqrt(math.pi * 0.1)
    assert die_contact_w_m2k(1e7, 0.1, *DIE) == pytest.approx(expected, rel=2e-3)
    drawn = quad(lambda t: die_contact_w_m2k(1e6, t, *DIE), 0, 0.3, limit=200)[0]
    assert drawn == pytest.approx(2 * e * math.sqrt(0.3 / math.pi), rel=0.03)
    h = [die_contact_w_m2k(7500.0, t, *DIE) for t in np.geomspace(1e-4, 100, 4000)]
    assert (np.diff(h) < 0).all()
    assert np.abs(np.diff(h)).max() < 15


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
    end = solve_ivp(rate, (0, seconds), start, method="BDF", rtol=1e-6, atol=1e-4).y[:, -1]
    return start_c - end[:n].mean()


@pytest.mark.parametrize(("die_c", "contact", "seconds", "within"), [
    (250, 7500, 0.01, 0.002), (250, 7500, 0.05, 0.004), (20, 8000, 0.3, 0.015),
    (250, 12000, 1.0, 0.07),
])  # fmt: skip
def test_error_against_part_and_die_solved_together(die_c, contact, seconds, within):
    both = face_loss_k(3.0, 880.0, die_c, contact, seconds, together=True)
    ours = face_loss_k(3.0, 880.0, die_c, contact, seconds, together=False)
    assert 0 <= ours / both - 1 < within


def test_the_defaults_are_defended_by_these_numbers():
    """What the docstring says: default stroke 27 K, rest 9 K, slow press on cold dies 180 K."""
    press = fp.Press()
    stroke = face_loss_k(3.0, 880.0, press.die_c, press.contact_w_m2k, press.dwell_s, together=True)
    how = {"together": True, "dies": 1}
    rest = face_loss_k(3.0, 880.0, press.die_c, RESTING_CONTACT_W_M2K, press.rest_s, **how)
    slow = face_loss_k(3.0, 880.0, 20.0, 8000.0, 0.3, together=True)
    assert stroke == pytest.approx(27, abs=1)
    assert rest == pytest.approx(8.6, abs=0.5)
    assert slow == pytest.approx(181, abs=3)
    # above Ar3 of the demo steels, or below Ar1
    assert 880 - stroke - rest > 830 > 720 > 880 - slow


def test_what_a_wait_costs_after_a_slow_press_on_cold_dies():
    """What the docstring says of the shares of ferrite."""

    def ferrite(name, delay_s):
        press = {"dwell_s": 0.3, "contact": 8000.0, "die_c": 20.0}
        route = fp.Route().with_(preheat_c=930.0, delay_s=delay_s, **press)
        return fp.estimate(fp.grade(name), "mid-iron", route).zones["face"].fractions["ferrite"]

    assert ferrite("1030", 0.5) == pytest.approx(0.01, abs=0.01)
    assert ferrite("1030", 5.0) == pytest.approx(0.06, abs=0.02)
    assert ferrite("4130", 5.0) < 0.01


@pytest.mark.parametrize("ms, perfect, with_h", [(10, 35, 5), (20, 49, 11), (50, 78, 27), (100, 110, 55), (300, 190, 165)])  # fmt: skip
def test_chill_of_a_3_5_mm_section_one_side(ms, perfect, with_h):
    """Printed upper bounds: perfect contact, and linear estimate with 10 kW/(m² K); T 1150/200 °C."""
    t = ms * 1e-3
    e1, e2 = math.sqrt(27.3 * 7600 * 650), math.sqrt(30 * 7750 * 500)
    capacity = 3.5e-3 * 7600 * 650
    drawn = 2 * e1 * e2 / (e1 + e2) * 950 * math.sqrt(t / math.pi) / capacity
    assert drawn == pytest.approx(perfect, abs=1)
    linear = 10e3 * 950 * t / capacity
    assert linear == pytest.approx(with_h, abs=1.0)
    # the transient die holds the loss below both
    drawn = quad(lambda s: die_contact_w_m2k(10e3, s, *DIE), 0, t)[0] * 950 / capacity
    assert drawn < linear
