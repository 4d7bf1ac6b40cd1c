"""Austenite share, carbon, formation, carbides, grain, recrystallisation: lever rule, exact stepping, published tables."""

import math

import numpy as np
import pytest
from checks import evaluated
from reference import engine_laws as laws

import forgeprops as fp
from forgeprops.base.tables import read_rows
from forgeprops.transformation import austenite as a
from forgeprops.transformation import recrystallisation as r
from forgeprops.transformation.temperatures import ac1_c, ac3_c


@pytest.mark.parametrize("name", fp.grades())
def test_share_is_continuous_and_rising_for_every_library_grade(name):
    steel = fp.grade(name)
    ac1, ac3 = float(ac1_c(steel)), float(ac3_c(steel))
    t = np.linspace(700.0, 1250.0, 11_001)  # 0.05 °C apart
    share = np.array([a.austenite_equilibrium(x, ac1, ac3, steel.get("C")) for x in t])
    assert share[0] == 0.0 and share[-1] == 1.0
    assert np.all(np.diff(share) >= 0.0)
    assert np.max(np.diff(share)) < 0.01  # the bare lever rule jumps by 0.1 to 0.7


def test_between_the_temperatures_by_the_lever_rule_and_softer_in_air():
    # Callister example 10.4: 0.35 C just above 727 °C has 0.44 austenite with 0.022 and 0.76; 0.439 with 0.77
    lever = (0.35 - a.FERRITE_CARBON) / (a.EUTECTOID_CARBON - a.FERRITE_CARBON)
    assert lever == pytest.approx(0.44, abs=0.005)
    wide = a.austenite_equilibrium(727.0 + 15.0, 727.0, 727.0 + 1e4, 0.35)
    assert wide == pytest.approx(lever, abs=0.002)
    # with its carbides dissolved at once the austenite is as hardenable as its analysis says
    hv = marched("4140", 765.0, 1.0, 100.0).hardness_hv
    assert hv[0, 4] < hv[1, 4] - 50.0


def test_carbon_of_austenite_closes_the_balance_and_follows_the_boundary():
    shares = np.linspace(0.02, 1.0, 50)
    for carbon in (0.1, 0.2, 0.3, 0.45, 0.6):
        c = np.array([laws.austenite_carbon(share, carbon) for share in shares])
        assert ((carbon <= c) & (c <= a.EUTECTOID_CARBON)).all()
        whole = (shares * c + (1 - shares) * a.FERRITE_CARBON)[c < a.EUTECTOID_CARBON]
        assert whole == pytest.approx(carbon, abs=1e-12)
    # at equilibrium above the three-phase interval the austenite sits on its own boundary
    ac1, ac3, carbon = 740.0, 810.0, 0.30
    shares = [a.austenite_equilibrium(t, ac1, ac3, carbon) for t in range(756, 811)]
    c = [laws.austenite_carbon(share, carbon) for share in shares]
    assert np.all(np.diff(c) <= 1e-9) and c[-1] == pytest.approx(carbon)


def test_formation_and_carbides():
    t = np.arange(700.0, 1251.0, 10.0)
    for law in (laws.austenite_formation_time_s, laws.carbide_dissolution_time_s):
        assert np.all(np.diff([law(x) for x in t]) < 0.0)
    # pearlite of low-alloy steel goes in seconds at 780 °C (Speich et al. 1981, from memory)
    assert 1.0 < laws.austenite_formation_time_s(780.0) < 10.0
    # a quarter of an hour at the hardening temperature of chromoly is enough, at 780 °C it is not
    assert math.exp(-900.0 / laws.carbide_dissolution_time_s(860.0)) < 0.01
    assert math.exp(-900.0 / laws.carbide_dissolution_time_s(760.0)) > 0.1
    assert a.carbide_carbon(0.0, 0.3, 0.95, 0.2) == 0.0
    half = 0.5 * (0.95 * 36.033 / 363.972 + 0.2 * 12.011 / 191.9)
    assert a.carbide_carbon(1.0, 0.3, 0.95, 0.2) == pytest.approx(half, rel=1e-4)
    assert a.carbide_carbon(1.0, 0.1, 5.0, 2.0) == 0.05
    assert laws.alloy_in_austenite(0.95, 0.0) == 0.95


_NONE = {"Ni": 0.0, "Cr": 0.0, "Mo": 0.0}
PLAIN_4140 = fp.Steel("4140", {**_NONE, "C": 0.40, "Mn": 0.85, "Cr": 0.95, "Mo": 0.20}, fine_grain=False)  # fmt: skip
PLAIN_1045 = fp.Steel("1045", {**_NONE, "C": 0.45, "Mn": 0.75}, fine_grain=False)


def _grow(steel, t_c, seconds, start_um, pieces=1):
    m, *k = a.grain_growth_coefficients(steel)
    d = start_um
    for piece in np.diff(np.linspace(0.0, seconds, pieces + 1)):
        d = (d**m + laws.grain_growth_rate(t_c, *k) * piece) ** (1.0 / m)
    return d


@pytest.mark.parametrize("steel, expected", [(PLAIN_4140, (22, 46, 88, 153, 196)), (PLAIN_1045, (27, 56, 105, 180, 229))])  # fmt: skip
def test_lee_lee_at_600_s(steel, expected):
    # regression: the printed form d = 76671 t^0.211 exp(-Q/RT) worked out by hand
    for t_c, d in zip((900, 1000, 1100, 1200, 1250), expected, strict=True):
        assert _grow(steel, t_c, 600.0, 1.0) == pytest.approx(d, abs=0.6)


@pytest.mark.parametrize("fine", [False, True])
def test_grain_rises_with_time_and_temperature_without_a_jump(fine):
    steel = fp.Steel("4140", {"C": 0.40, "Cr": 0.95, "Mo": 0.20}, fine_grain=fine)
    d = np.array([_grow(steel, x, 900.0, 20.0) for x in np.arange(700.0, 1250.5, 0.5)])
    assert np.all(np.diff(d) >= 0.0) and np.max(np.diff(d) / d[:-1]) < 0.05
    assert _grow(steel, 1150.0, 1800.0, 20.0) > _grow(steel, 1150.0, 900.0, 20.0)
    whole, *split = (_grow(steel, 1050.0, 600.0, 20.0, pieces) for pieces in (1, 2, 7, 100))
    assert split == pytest.approx([whole] * 3, rel=1e-10)  # splitting a hold changes nothing


def test_pinning_and_three_laws_of_grain_growth():
    steel = fp.Steel("4130", {"C": 0.30, "Cr": 0.95, "Mo": 0.20, "Al": 0.025, "N": 0.007})
    assert _grow(steel, 950.0, 3600.0, 20.0) == pytest.approx(20.0)
    assert 1000.0 <= a.coarsening_temperature_c(0.025, 0.007) <= 1100.0  # known of AlN steels
    free = fp.Steel("4130", dict(steel.composition), fine_grain=False)
    pinned, grown = (_grow(s, 1150.0, 900.0, 20.0) for s in (steel, free))
    assert pinned == pytest.approx(grown)
    assert a.coarsening_temperature_c(0.04, 0.010) > a.coarsening_temperature_c(0.02, 0.005)
    assert a.coarsening_temperature_c(0.0, 0.0) == 800.0
    # what stays between them at 1100 °C, 600 s, 20 µm at the start: a factor 1.8
    d = [_grow(PLAIN_1045, 1100.0, 600.0, 20.0)]
    for m, k, heat in ((10, 3.87e32, 400e3), (7, 1.45e27, 400e3)):
        d.append((20.0**m + k * math.exp(-heat / 8.314462618 / 1373.15) * 600.0) ** (1 / m))
    assert max(d) / min(d) < 1.8


@pytest.mark.parametrize("row", read_rows("validation/grain_size_astm.csv"), ids=lambda r: f"G{r['grain_size_astm']}")  # fmt: skip
def test_astm_e112_table_4(row):
    g, d = float(row["grain_size_astm"]), float(row["diameter_um"])
    digit = 0.51 * 10 ** -len(row["diameter_um"].partition(".")[2])
    assert a.diameter_um_from_astm(g) == pytest.approx(d, abs=max(digit, 0.004 * d))
    assert a.astm_from_diameter(a.diameter_um_from_astm(g)) == pytest.approx(g)
    grains = (1000.0 / a.diameter_um_from_astm(g)) ** 2
    assert grains == pytest.approx(float(row["grains_per_mm2"]), rel=0.002)


def test_islands_and_pearlite_sites():
    for share in (0.1, 0.5, 0.9):
        assert laws.island_diameter_um(20.0, share) ** 3 == pytest.approx(share * 20.0**3)
    assert laws.island_diameter_um(20.0, 0.0) > 0.0
    assert laws.pearlite_site_um(20.0, 0.0) == pytest.approx(20.0)
    assert laws.pearlite_site_um(1e6, 0.05) == pytest.approx(2.0, rel=1e-6)
    sites = [laws.pearlite_site_um(20.0, c) for c in np.linspace(0.0, 0.06, 40)]
    assert np.all(np.diff(sites) < 0.0)
    # pearlite rate goes with 2^(0.32 G); all carbides of a 1045 with 0.08 % Cr left
    plain = laws.pearlite_site_um(20.0, a.carbide_carbon(1.0, 0.46, 0.08, 0.02))
    chromoly = laws.pearlite_site_um(20.0, a.carbide_carbon(1.0, 0.40, 0.95, 0.20))
    usual = a.astm_from_diameter(20.0)
    faster = [2.0 ** (0.32 * (a.astm_from_diameter(d) - usual)) for d in (plain, chromoly)]
    assert faster[0] < 2.0 < faster[1]


def test_austenite_forms_by_diffusion_over_the_stated_path_and_ferrite_returns_as_fast():
    # independent: series for a slab of 7 µm, Callister's D at 750 °C
    d = 2.3e-5 * math.exp(-148_000.0 / (8.314462618 * 1023.15))
    expected = (7e-6) ** 2 / (math.pi**2 * d)
    assert laws.austenite_formation_time_s(750.0) == pytest.approx(expected, rel=1e-9)
    rates = [laws.ferrite_return_per_s(760.0, s) for s in np.linspace(0.0, 1.0, 30)]
    assert rates[0] == pytest.approx(1.0 / laws.austenite_formation_time_s(760.0))
    assert np.all(np.diff(rates) < 0.0) and rates[-1] == 0.0


def marched(name, preheat_c, *speeds):
    routes = [fp.Route().with_(preheat_c=preheat_c)] * len(speeds)
    return evaluated(name, routes, carbide_speed=np.array(speeds))


@pytest.mark.parametrize("name", ["1020", "4140"])
def test_a_full_heat_does_not_feel_the_carbides(name):
    found = marched(name, 930.0, 1.0, 9.0)
    assert found.results.share.min() > 0.9999
    assert np.abs(np.diff(found.hardness_hv, axis=0)).max() < 1.0


def test_recrystallisation_half_time_additive_and_monotone():
    exact, sellars = (
        a * 0.15**p * 20.0**2 * math.exp(heat / 8.314462618 / 1123.15)
        for a, p, heat in ((2.3e-15, -2.5, 230e3), (2.5e-19, -4.0, 300e3))
    )
    assert 2.5 < max(exact / sellars, sellars / exact) < 4.0
    assert r.recrystallised_share([0, exact], [850, 850], 0.15, 20.0) == pytest.approx(0.5)
    assert r.recrystallised_share([0, 10], [900, 900], 0.0, 20.0) < 1e-9
    assert r.strain_speed_factor(0.0) == 1.0
    assert np.all(np.diff([r.strain_speed_factor(e) for e in np.linspace(0, 0.5, 11)]) > 0.0)
    one = r.recrystallised_share([0, 4], [900, 860], 0.2, 30.0)
    fine = np.linspace(0, 4, 101), np.linspace(900, 860, 101)
    assert one == pytest.approx(r.recrystallised_share(*fine, 0.2, 30.0), rel=2e-3)

    def held(t_c, strain=0.2):
        return r.recrystallised_share([0, 2], [t_c, t_c], strain, 30.0)

    shares = [held(t) for t in range(800, 1200, 25)]
    assert np.all(np.diff(shares) >= 0.0) and shares[0] < 0.1 and shares[-1] > 0.9
    assert np.all(np.diff([held(900, e) for e in (0.05, 0.1, 0.2, 0.4)]) > 0.0)
