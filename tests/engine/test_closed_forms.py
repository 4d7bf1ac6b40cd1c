"""The compiled march against closed forms and worked textbook examples, to 1 %.

*Analytic* throughout.  Above 810 °C the march's ferrite has one heat capacity and one conductivity, so that a slab of
nothing but ferrite, kept between 810 and 1310 °C, obeys the constant-property equations of the textbooks exactly: an
example is run with the book's own time constants and Biot number, its temperatures mapped on that range.  (The
balance is linear in temperature where the film coefficient is constant; radiation is mapped by a common factor on
absolute temperature.)  Where heat capacity varies, lumped cooling is still an exact quadrature.

Sources of the examples: Holman, *Heat Transfer*, ex. 4-1 and 4-2, and Cengel, *Heat and Mass Transfer*, ex. 4-1 and 4-3,
inputs read in FOSSEE textbook companions on GitHub; Incropera & DeWitt problem 5.6 (inputs read),
ex. 5.4-5.5 and eq. 5.18 (from memory); answers recomputed.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from forgeprops.base.constants import STEFAN_BOLTZMANN
from forgeprops.engine import batch, packing
from forgeprops.inputs.grades import grade
from forgeprops.thermal.properties import austenite_cp_j_kgk, conductivity, ferrite_cp_j_kgk
from forgeprops.transformation import austenite

LOW_C, HIGH_C = 810.0, 1310.0
CP, K = ferrite_cp_j_kgk(900.0), conductivity(900.0, 0.0)


def run(zones, seconds, h=0.0, start_c=HIGH_C, room_c=LOW_C, emissivity=0.0, kinds=(packing.COOL,), austenitic=False,
        tolerance_c=batch.TOLERANCE_C):  # fmt: skip
    """March bare slabs; `zones` is a list of dicts of `ZONE` fields.  Trace: time, means, fronts, points."""
    case = np.zeros(1, packing.CASE)
    start = packing.pack_steels([grade("1030")], case)
    case["alloyed"] = 0.0
    case["start_c"], case["start_austenite"] = start_c, 1.0 if austenitic else 0.0
    case["start_grain_um"] = case["first_grain_um"] = austenite.diameter_um_from_astm(7.0)
    case["first_finish_c"] = 900.0
    case["air_c"] = room_c
    case["view_factor"], case["emissivity"], case["air_factor"] = 1.0, emissivity, 1.0
    slabs = np.zeros((1, len(zones)), packing.ZONE)
    for z, fields in enumerate(zones):
        for name, value in fields.items():
            slabs[name][0, z] = value
    steps = np.zeros((1, len(kinds)), packing.STEP)
    steps["fluid_c"] = room_c
    steps["kind"][0], steps["duration_s"][0] = kinds, seconds
    convection = np.full((1, len(zones), len(packing.CONVECTION_C)), float(h))
    zero = np.zeros(1, np.int64)
    section, kin = packing.section((5,) * len(zones)), packing.kinetic_array()
    packed = batch.Packed(case, slabs, zero, steps, convection, zero, start, zero, kin, section)
    options = {"trace": True, "keep_points": True, "stop_c": -300.0}
    return batch.run(packed, tolerance_c=tolerance_c, **options)


def time_to(marched, temperature_c, column=1):
    trace = marched.trace[0]
    return np.interp(-temperature_c, -trace[:, column], trace[:, 0])


def share_left(t_c, start_c=HIGH_C, room_c=LOW_C):
    return (t_c - room_c) / (start_c - room_c)


def lump(capacity_j_m2k):
    """1 m² of a lump with that heat capacity under it, conducting without resistance."""
    return {"mass_kg": capacity_j_m2k / CP, "front_m2": 0.5, "back_m2": 0.5, "conduction_m": 1e4}


@pytest.mark.parametrize("capacity, h, left, seconds", [
    (7800 * 460 * 0.025 / 3, 10.0, 50 / 350, 5818.0),  # Holman 4-1: sphere, 450 to 150 °C in 100 °C
    (8500 * 320 * 0.001 / 6, 210.0, 0.01, 9.94),  # Cengel 4-1: bead, 99 % of the change
    (7800 * 600 * 0.012 / 6, 20.0, 75 / 825, 1122.0),  # Incropera 5.6: ball, 1150 to 400 K in 325 K
], ids=["holman_4_1", "cengel_4_1", "incropera_5_6"])  # fmt: skip
def test_lumped_worked_examples(capacity, h, left, seconds):
    # the book's own formula
    assert capacity / h * math.log(1 / left) == pytest.approx(seconds, rel=2e-3)
    marched = run([lump(capacity)], 1.3 * seconds, h=h)
    assert time_to(marched, LOW_C + left * (HIGH_C - LOW_C)) == pytest.approx(seconds, rel=0.01)


@pytest.mark.parametrize("start, seconds", [(900, 197.92), (800, 173.79)], ids=["r1", "r2"])
def test_radiation_alone(start, seconds):
    """Incropera eq. 5.18: 13.5 mm round, emissivity 0.8, to 500 °C in 25 °C; absolute temperatures times 1.4."""
    factor = 1.4
    begin, room = factor * (start + 273.15) - 273.15, factor * 298.15 - 273.15
    how = {"emissivity": 0.8, "start_c": begin, "room_c": room}
    marched = run([lump(7850 * 650 * 3.375e-3)], 2 * seconds, **how)
    found = time_to(marched, factor * 773.15 - 273.15) * factor**3
    assert found == pytest.approx(seconds, rel=5e-3)


@pytest.mark.parametrize("austenitic", [True, False])
def test_lumped_cooling_with_varying_heat_capacity(austenitic):
    """Time = integral of m c(T) dT / q(T): exact for one temperature, convection and radiation together."""
    cp = austenite_cp_j_kgk if austenitic else ferrite_cp_j_kgk
    begin, end = (1250.0, 870.0) if austenitic else (650.0, 120.0)
    h, emissivity, mass = 40.0, 0.6, 12.0

    def loss(t):
        return h * (t - 25.0) + emissivity * STEFAN_BOLTZMANN * ((t + 273.15) ** 4 - 298.15**4)

    exact = quad(lambda t: mass * cp(t) / loss(t), end, begin)[0]
    zone = {"mass_kg": mass, "front_m2": 0.5, "back_m2": 0.5, "conduction_m": 1e4}
    options = dict(h=h, emissivity=emissivity, start_c=begin, room_c=25.0, austenitic=austenitic)
    assert time_to(run([zone], 1.01 * exact, **options), end) == pytest.approx(exact, rel=5e-3)
    # and what it gave to the room is what it held
    marched = run([zone], exact, tolerance_c=0.1, **options)
    held = mass * quad(cp, marched.trace[0][-1, 1], begin)[0]
    assert -marched.energy[0, 0] == pytest.approx(held, rel=1e-3)
    assert -marched.energy[0, 1] == pytest.approx(held, rel=1e-3)


def test_two_nodes_even_out():
    """T1 - T2 falls as exp(-G t (1/C1 + 1/C2)) to a common (C1 T1 + C2 T2)/(C1 + C2)."""
    m1, m2, link = 0.05, 0.20, 0.01
    cold = {"mass_kg": m1, "front_m2": 1e-3, "conduction_m": 1e3, "link_m": link}
    zones = [cold, {"mass_kg": m2, "conduction_m": 1e3}]
    seconds = 60.0
    # a jet cools the first alone for a moment; then both are left to themselves
    trace = run(zones, (1.5, seconds), kinds=(packing.JET, packing.COOL), h=0.0).trace[0]
    begin = int(np.argmin(np.abs(trace[:, 0] - 1.5)))
    one, two = trace[begin, 1], trace[begin, 2]
    assert one < two - 50.0
    rate = link * K * (1 / (m1 * CP) + 1 / (m2 * CP))
    common = (m1 * one + m2 * two) / (m1 + m2)
    for row in trace[begin::10]:
        gap = math.exp(-rate * (row[0] - trace[begin, 0]))
        assert row[2] - row[1] == pytest.approx((two - one) * gap, abs=0.01 * (two - one))
        assert (m1 * row[1] + m2 * row[2]) / (m1 + m2) == pytest.approx(common, abs=0.02)


def wall(capacity_j_m2k, conductance_w_m2k, wet=("front",)):
    """1 m² of plane wall: heat capacity and conductance from face to face, cooled on the faces named."""
    zone = {"mass_kg": capacity_j_m2k / CP, "conduction_m": conductance_w_m2k / K}
    return {**zone, **{f"{face}_m2": 1.0 for face in wet}}


def series(biot, fourier, terms=8):
    """Shares left at the middle, at the surface, and of the heat, in a plane wall (Incropera eq. 5.42; one term: 5.43)."""
    ends = [(n * math.pi + 1e-9, (n + 0.5) * math.pi - 1e-9) for n in range(terms)]
    roots = [brentq(lambda z: z * math.tan(z) - biot, *between) for between in ends]
    c = [4 * math.sin(z) / (2 * z + math.sin(2 * z)) * math.exp(-z * z * fourier) for z in roots]
    pairs = list(zip(c, roots, strict=True))
    held = sum(a * math.sin(z) / z for a, z in pairs)
    return sum(c), sum(a * math.cos(z) for a, z in pairs), held


def test_incropera_5_4_pipe_wall():
    """40 mm steel wall, insulated inside, -20 °C, oil of 60 °C with 500 W/(m² K), 8 min (book: 42.9 °C, 45.2 °C)."""
    length, k, rho, c, h, seconds = 0.04, 63.9, 7832.0, 434.0, 500.0, 480.0
    marched = run([wall(rho * c * length, k / length)], seconds, h=h)
    points = marched.trace[0][-1, 3:]
    outside, inside = (60.0 - 80.0 * share_left(points[i]) for i in (0, -1))
    middle, surface, held = series(h * length / k, k / (rho * c) * seconds / length**2)
    # 0.5 % of 80 K
    assert (inside, outside) == pytest.approx((60 - 80 * middle, 60 - 80 * surface), abs=0.4)
    assert (inside, outside) == pytest.approx((42.9, 45.2), abs=0.8)  # the book, by chart
    # flux into the wall at 8 min, W/m², and heat taken up by then, J/m of pipe of 1 m diameter
    assert h * (60.0 - outside) == pytest.approx(7320, rel=0.01)
    scale = 80.0 / (HIGH_C - LOW_C)
    assert -marched.energy[0, 0] * scale * math.pi == pytest.approx(2.73e7, rel=0.01)
    expected = -marched.energy[0, 0] * scale / (rho * c * length * 80.0)
    assert 1 - held == pytest.approx(expected, rel=0.01)


def test_brass_plate_and_flux_from_a_surface_held():
    """40 mm brass plate, 20 °C, in 500 °C for 7 min: 279.6 °C at the surface (one-term; chart answer 282 °C)."""
    thickness, k, rho, c, h = 0.04, 110.0, 8530.0, 380.0, 120.0
    marched = run([wall(rho * c * thickness, k / thickness, ("front", "back"))], 420.0, h=h)
    surface_c = 500.0 - 480.0 * share_left(marched.trace[0][-1, 2])
    assert surface_c == pytest.approx(279.6, abs=2.4)  # 0.5 % of 480 K
    # Steel of k 45, alpha 1.4e-5 held at the surface: heat through it in 30 s = 2 k dT sqrt(t / (pi alpha)).
    k, alpha, seconds, length = 45.0, 1.4e-5, 30.0, 0.075
    capacity = k / alpha
    marched = run([wall(length * capacity, k / length)], seconds, h=1e7, tolerance_c=0.1)
    exact = 2 * k * (HIGH_C - LOW_C) * math.sqrt(seconds / (math.pi * alpha))
    assert -marched.energy[0, 0] == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("biot", [0.1, 0.3, 1.0, 2.0, 5.0])
def test_plane_wall_from_dull_to_sharp(biot):
    """Middle, surface and heat left at Fo = 0.1 ... 2 by the exact series, both faces cooled, to 0.8 % of the range."""
    half, k, capacity = 0.01, 30.0, 5e6
    h = biot * k / half
    for fourier in (0.1, 0.3, 0.8, 2.0):
        seconds = fourier * half**2 * capacity / k
        plate = wall(2 * half * capacity, k / (2 * half), ("front", "back"))
        row = run([plate], seconds, h=h, tolerance_c=0.1).trace[0][-1]
        found = share_left(row[3 + 2]), share_left(row[2]), share_left(row[1])
        assert found == pytest.approx(series(biot, fourier), abs=8e-3)


@pytest.mark.parametrize("biot, fourier", [(2.0, 0.02), (2.0, 0.05), (10.0, 0.05), (40.0, 0.08)])
def test_surface_of_a_half_space(biot, fourier):
    """Early on a wall is a half space: (T - Ti)/(Too - Ti) = 1 - exp(A²) erfc(A), A = Bi sqrt(Fo).

    What the points of a zone resolve: the thinnest skin here, sqrt(Fo) = 0.14 of the thickness, is where the
    spray's first tenth of a second on a 3 mm face lies.
    """
    length, k, capacity = 0.01, 30.0, 5e6
    slab, seconds = wall(length * capacity, k / length), fourier * length**2 * capacity / k
    marched = run([slab], seconds, h=biot * k / length, tolerance_c=0.1)
    a = biot * math.sqrt(fourier)
    expected = math.exp(a * a) * math.erfc(a)
    assert share_left(marched.trace[0][-1, 2]) == pytest.approx(expected, abs=0.01)


def test_end_quench_side_is_a_fin():
    """A bar whose side loses heat everywhere (`side_m2`) and whose ends do not cools as a lump."""
    zone = {"mass_kg": 1.0, "side_m2": 0.05, "conduction_m": 1e-3}
    marched = run([zone], 200.0, h=50.0)
    exact = math.exp(-50.0 * 0.05 / CP * 200.0)
    assert share_left(marched.trace[0][-1, 1]) == pytest.approx(exact, rel=5e-3)
    assert np.ptp(marched.trace[0][-1, 3:]) < 1e-6
