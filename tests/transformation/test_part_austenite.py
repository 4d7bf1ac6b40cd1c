"""Austenite as part of the steel: islands, carbides left as pearlite sites, ferrite that grows back."""

import math

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.inputs.cases import Cases
from forgeprops.transformation import austenite as a


def test_islands_and_pearlite_sites():
    for share in (0.1, 0.5, 0.9):
        assert a.island_diameter_um(20.0, share) ** 3 == pytest.approx(share * 20.0**3)
    assert a.island_diameter_um(20.0, 0.0) > 0.0
    assert a.pearlite_site_um(20.0, 0.0) == pytest.approx(20.0)
    assert a.pearlite_site_um(1e6, 0.05) == pytest.approx(2.0, rel=1e-6)
    sites = [a.pearlite_site_um(20.0, c) for c in np.linspace(0.0, 0.06, 40)]
    assert np.all(np.diff(sites) < 0.0)
    # pearlite rate goes with 2^(0.32 G); all carbides of a 1045 with 0.08 % Cr left
    plain = a.pearlite_site_um(20.0, a.carbide_carbon(1.0, 0.46, 0.08, 0.02))
    chromoly = a.pearlite_site_um(20.0, a.carbide_carbon(1.0, 0.40, 0.95, 0.20))
    usual = a.astm_from_diameter(20.0)
    faster = [2.0 ** (0.32 * (a.astm_from_diameter(d) - usual)) for d in (plain, chromoly)]
    assert faster[0] < 2.0 < faster[1]


def test_austenite_forms_by_diffusion_over_the_stated_path_and_ferrite_returns_as_fast():
    # independent: series for a slab of 7 µm, Callister's D at 750 °C
    d = 2.3e-5 * math.exp(-148_000.0 / (8.314462618 * 1023.15))
    expected = (7e-6) ** 2 / (math.pi**2 * d)
    assert a.austenite_formation_time_s(750.0) == pytest.approx(expected, rel=1e-9)
    expected = 1.0 / a.austenite_formation_time_s(760.0)
    assert a.ferrite_return_per_s(760.0, 0.0) == pytest.approx(expected)
    assert a.ferrite_return_per_s(760.0, 1.0) == 0.0
    rates = [a.ferrite_return_per_s(760.0, s) for s in np.linspace(0.0, 1.0, 30)]
    assert np.all(np.diff(rates) < 0.0)


def marched(name, preheat_c, *speeds):
    n, route = len(speeds), fp.Route().with_(preheat_c=preheat_c)
    cases = Cases.of([fp.grade(name)] * n, [fp.head("mid-iron")] * n, [route] * n)
    return evaluate(cases, carbide_speed=np.array(speeds))


@pytest.mark.parametrize("name", ["1020", "4140"])
def test_a_full_heat_does_not_feel_the_carbides(name):
    found = marched(name, 930.0, 1.0, 9.0)
    assert found.results.share.min() > 0.9999
    assert np.abs(np.diff(found.hardness_hv, axis=0)).max() < 1.0


def test_chromoly_between_ac1_and_ac3_is_softer_in_air_than_its_enriched_austenite_would_be():
    # with its carbides dissolved at once the austenite is as hardenable as its analysis says
    hv = marched("4140", 765.0, 1.0, 100.0).hardness_hv
    assert hv[0, 4] < hv[1, 4] - 50.0
