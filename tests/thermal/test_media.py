"""Baths against cooling curves and severities of quench known outside: a nickel probe of the standard test and a bar of 25 mm.

The probe is conducted here, apart from the engine.  All published figures are from memory; the tables of the standards could not
be read.  A law for "an oil" or "a polymer" cannot be nearer to one oil than a factor of 1.5, which was set before the results.
"""

import functools

import numpy as np
import pytest
from checks import refuses

from forgeprops.inputs.route import Quench
from forgeprops.thermal.media import BATHS, MEDIUM_C, bath_w_m2, bath_w_m2k

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


@pytest.mark.parametrize(("medium", "what", "low", "high"), [
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


@pytest.mark.parametrize(("medium", "agitation", "low", "high"), [
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


def test_baths_are_in_order():
    baths = ("oil bath", "polymer bath", "water bath")
    oil, polymer, water = (passed(cooled(m), 400.0) for m in baths)
    assert polymer < oil and water < oil
    for t in (300.0, 600.0):
        assert bath_w_m2k("water bath", t, 60.0) < bath_w_m2k("water bath", t, 20.0)
        assert bath_w_m2k("oil bath", t, 50.0, 1.0) > bath_w_m2k("oil bath", t, 50.0)


def test_an_own_table_is_followed_and_checked():
    table = ((100.0, 500.0), (500.0, 2500.0), (900.0, 500.0))
    loss = bath_w_m2("own bath", 30.0, table=table)
    at = np.interp([300.0, 700.0, 900.0], MEDIUM_C, loss) / (np.array([300.0, 700.0, 900.0]) - 30.0)
    assert at == pytest.approx([1500.0, 1500.0, 500.0], rel=0.02)
    falling, wide = ((500.0, 1.0), (100.0, 2.0)), ((1.0, 2.0, 3.0), (4.0, 5.0, 6.0))
    for wrong in ((), ((100.0, 500.0),), falling, wide):
        refuses("table", Quench, "own bath", table=wrong)
    refuses("burns or fumes", Quench, "oil spray")
