"""Hardness of constituents: hand-worked values, measured bars."""

import math

import numpy as np
import pytest

from forgeprops.base.tables import read_rows
from forgeprops.strength.hardness_scales import convert_hardness, hrc_from_hv, hv_from_hrc
from forgeprops.transformation import phase_hardness as ph

STEEL = {"C": 0.40, "Si": 0.25, "Mn": 0.85, "Ni": 0.1, "Cr": 0.95, "Mo": 0.20, "V": 0.0}


def test_end_quench_hardness_fits_quenched_bars_no_worse_than_maynier():
    """Surface of bars that harden through (13 mm): 1040 in water, 4130 in water, 4140 in oil."""
    own, maynier = [], []
    for r in read_rows("measured/air_cooled_bars.csv"):
        if "quench, surface" in r["cooling"] and r["diameter_mm"] == "13":
            comp = {s: float(r[s] or 0.0) for s in ("C", "Si", "Mn", "Ni", "Cr")}
            rate = math.log10(3600.0 * (200.0 if "water" in r["cooling"] else 60.0))
            own.append(ph.as_quenched_hrc(comp["C"]) - float(r["hrc"]))
            line = ph.martensite_coefficients(comp, method="maynier")
            maynier.append(hrc_from_hv(ph.line_hv(*line, rate, 200.0)) - float(r["hrc"]))
    assert len(own) == 3
    assert np.abs(own).mean() < 2.0
    assert np.abs(own).mean() <= np.abs(maynier).mean()


def test_ferrite_pearlite_of_normalised_carbon_bars():
    """1020 and 1040, 25 and 50 mm in still air, about 1.5 and 0.7 °C/s at 700 °C; HB = 0.95 HV here."""
    rate = {"25": 1.5, "50": 0.7}
    rows = [r for r in read_rows("measured/air_cooled_bars.csv") if r["steel"] in ("1020", "1040")]
    rows = [r for r in rows if r["diameter_mm"] in rate and r["hb"]]
    assert len(rows) == 4
    for r in rows:
        comp = {e: float(r[e]) for e in ("C", "Si", "Mn")}
        log_v = math.log10(3600.0 * rate[r["diameter_mm"]])
        hv = ph.line_hv(*ph.ferrite_pearlite_coefficients(comp), log_v, 80.0)
        assert 0.95 * hv == pytest.approx(float(r["hb"]), abs=14.0)


def test_bainite_of_a_normalised_4140_bar():
    """25 mm in still air, about 1 °C/s: 302 HB = 319 HV measured (read)."""
    comp = {"C": 0.40, "Si": 0.25, "Mn": 0.85, "Cr": 0.95, "Mo": 0.20}
    hv = ph.line_hv(*ph.bainite_coefficients(comp), math.log10(3600.0), 120.0)
    assert hv == pytest.approx(convert_hardness(302.0, "HB", "HV"), abs=12.0)


def test_enriched_austenite_gives_harder_martensite_and_stays_finite():
    a, b = ph.martensite_coefficients(STEEL, carbon=np.linspace(0.05, 1.2, 60))
    assert np.all(np.diff(a) >= 0) and np.all(b == 0) and a[-1] < 1000.0


def test_hardness_curve_meets_the_printed_table_and_inverts():
    for hrc in (20.0, 35.0, 55.0, 60.0):
        assert hv_from_hrc(hrc) == pytest.approx(convert_hardness(hrc, "HRC", "HV"))
    grid = np.linspace(0.0, 68.0, 137)
    assert np.allclose(hrc_from_hv(hv_from_hrc(grid)), grid)
