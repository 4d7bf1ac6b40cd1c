"""Rate equations: the extent function, the ferrite limit, the constants."""

import csv
import math

import numpy as np
import pytest
from scipy.integrate import quad

from forgeprops.base.tables import data_path
from forgeprops.transformation import kinetics as ki

STEEL_4140 = {"C": 0.40, "Mn": 0.85, "Si": 0.25, "Ni": 0.0, "Cr": 0.95, "Mo": 0.20}


@pytest.mark.parametrize(("x", "s"), [(0.01, 0.104), (0.5, 1.026), (0.99, 1.947), (1.0, 2.052)])
def test_extent_li_1998(x, s):
    # computed apart from this package, to the digits given
    forward, _, _ = ki.extent_tables()
    assert ki.extent_of(x, forward, 0) == pytest.approx(s, abs=0.001)


@pytest.mark.parametrize("tail", [0.0, 1.5, 4.0])
@pytest.mark.parametrize("x", [1e-4, 0.03, 0.4, 0.83, 0.999])
def test_bainite_extent_by_quadrature(x, tail):
    forward, _, _ = ki.extent_tables(tail)

    def extent(u):
        return math.exp(tail * u * u) / (u ** (0.4 * (1 - u)) * (1 - u) ** (0.4 * u))

    exact, _ = quad(extent, 0.0, x)
    # straight lines between the points: in the last cells before 1 the integrand turns up steeply
    assert ki.extent_of(x, forward, 1) == pytest.approx(exact, rel=2e-3 if x < 0.99 else 0.02)


@pytest.mark.parametrize("row", [0, 1])
def test_inverse_of_extent_is_exact(row):
    forward, inverse, top = ki.extent_tables()
    for x in np.concatenate((np.geomspace(1e-12, 0.1, 60), np.linspace(0.1, 1.0, 60))):
        back = ki.inverse_extent(ki.extent_of(x, forward, row), forward, inverse, top, row)
        assert back == pytest.approx(x, rel=1e-9)
    assert ki.inverse_extent(10.0 * top[row], forward, inverse, top, row) == 1.0


def test_ferrite_cap_is_the_lever_rule_above_ae1():
    # Callister: 0.20 C at the eutectoid (0.76 C): (0.76 - 0.20) / (0.76 - 0.022)
    carbon, ae1 = 0.20, 727.0
    ae3 = ae1 + ki.AE3_SLOPE_C * (0.76 - carbon)
    expected = (0.76 - 0.20) / (0.76 - 0.022)
    assert ki.ferrite_cap(ae1, ae1, ae3, carbon) == pytest.approx(expected, abs=1e-9)
    half = 0.5 * (0.76 + carbon)
    at = ae3 - ki.AE3_SLOPE_C * (half - carbon)
    expected = (half - 0.20) / (half - 0.022)
    assert ki.ferrite_cap(at, ae1, ae3, carbon) == pytest.approx(expected, abs=1e-9)
    assert ki.ferrite_cap(ae3, ae1, ae3, carbon) == 0.0


def test_ferrite_cap_falls_with_undercooling_to_what_was_seen_in_1045():
    # centre of a water-quenched 50 mm 1045 bar: about 20 % ferrite, 42 % by the lever rule (Esfahani, Babaei
    # & Sarrami-Foroushani 2020, doi 10.1016/j.matcom.2020.07.016; read)
    carbon, ae1 = 0.45, 720.0
    ae3 = ae1 + ki.AE3_SLOPE_C * (0.76 - carbon)
    caps = [ki.ferrite_cap(t, ae1, ae3, carbon) for t in np.arange(ae1, 600.0, -5.0)]
    assert caps[0] == pytest.approx(0.42, abs=0.005)
    assert all(np.diff(caps) <= 0.0)
    reached = [t for t in np.arange(ae1, 560.0, -1.0) if ki.ferrite_cap(t, ae1, ae3, carbon) < 0.20]
    assert 610.0 < reached[0] < 690.0  # where a quenched carbon steel makes its ferrite


def test_published_factors_li_1998():
    # by hand from Li et al. 1998 (coefficients from memory), which has no floors; the term of Mo is its square root at 0.22
    no_floor = {"ferrite_f0": -math.inf, "pearlite_f0": -math.inf}
    assert ki.mo_term(0.22) == pytest.approx(math.sqrt(0.22))
    f, p, b = ki.ln_composition_factors(STEEL_4140, k=ki.constants("published") | no_floor)
    expected = 1.00 + 6.31 * 0.40 + 1.78 * 0.85 + 0.31 * 0.25 + 2.70 * 0.95 + 4.06 * 0.20
    assert f == pytest.approx(expected)
    expected = (
        -4.25 + 4.12 * 0.40 + 4.36 * 0.85 + 0.44 * 0.25 + 3.33 * 0.95 + 5.19 * ki.mo_term(0.20)
    )
    assert p == pytest.approx(expected)
    assert b == pytest.approx(-10.23 + 10.18 * 0.40 + 0.85 * 0.85 + 0.90 * 0.95 + 0.36 * 0.20)
    assert ki.kinetic_bainite_start_c(STEEL_4140) == pytest.approx(544.0, abs=1.0)


def noses(k, grain=8.0):
    """Shortest time to 1 % of 4140, s, and its temperature, °C, for ferrite, pearlite, bainite."""
    from forgeprops.transformation.temperatures import ae1_c, ae3_c

    forward, _, _ = ki.extent_tables(k["bainite_tail"])
    found = []
    tops = (
        float(ae3_c(STEEL_4140)),
        float(ae1_c(STEEL_4140)),
        ki.kinetic_bainite_start_c(STEEL_4140),
    )
    names = ("ferrite", "pearlite", "bainite")
    for row, (name, top, power) in enumerate(zip(names, tops, (3, 3, 2), strict=True)):
        ln_f = ki.ln_composition_factors(STEEL_4140, k=k)[row]
        t = np.arange(350.0, float(top) - 1.0)
        ln_k, q = k[f"grain_{name}"] * grain * math.log(2.0) - ln_f, k[f"q_{name}"]
        rate = [ki.rate_per_s(ln_k, top - u, power, q, u + 273.15) for u in t]
        s = ki.extent_of(0.01, forward, 1 if name == "bainite" else 0) / np.array(rate)
        found.append((float(s.min()), float(t[s.argmin()])))
    return found


def test_noses_of_4140():
    # computed apart from this package with Q = 27.5 kcal/mol, G = 8, Ae3 of Grange, Ae1 of Andrews
    published = (68.0, 611.0), (41.0, 580.0), (5.2, 465.0)
    for (seconds, at), (s, t) in zip(noses(ki.constants("published")), published, strict=True):
        assert seconds == pytest.approx(s, rel=0.10)
        assert at == pytest.approx(t, abs=4.0)
    # isothermal diagrams of 42CrMo4 and 4140 have ferrite after 10-60 s near 650 °C, bainite after 3-10 s
    # near 450-480 °C, and pearlite after ferrite (from memory)
    (ferrite, at_f), (pearlite, _), (bainite, at_b) = noses(ki.constants())
    assert 6.0 < ferrite < 60.0 < pearlite
    assert 1.5 < bainite < 10.0
    assert 590.0 < at_f < 660.0 and 430.0 < at_b < 490.0


def test_constants_file_says_what_was_fitted():
    with data_path("fits", "kinetics.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    for row in rows:
        freed = bool(row["standard_error"])
        assert freed or float(row["value"]) == float(row["published"]), row["id"]
        assert row["source"] and row["basis"] and row["unit"], row["id"]
        if freed:
            assert float(row["standard_error"]) > 0.0
    # no more freed constants than steels allow: about one for three to four bars
    assert sum(bool(r["standard_error"]) for r in rows) <= 25
