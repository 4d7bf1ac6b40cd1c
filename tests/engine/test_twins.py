"""Formulas in C against the same in Python on a grid, to 1e-12; tables within their interpolation."""

import numpy as np
import pytest
from engine import formulas
from reference import engine_laws as laws

from forgeprops.engine import physics
from forgeprops.inputs.grades import grade
from forgeprops.thermal import die_contact, properties, spray
from forgeprops.transformation import austenite, decomposition, kinetics, tempering

T = np.linspace(-50.0, 1300.0, 1351)


@pytest.fixture(scope="module")
def engine():
    return formulas.of_steel(grade("4140"), convection=12.0)


def same(found, expected, rel=1e-12, least=1e-12):
    """Equal to `rel` of the value, or of `least` where the value is small."""
    expected = np.asarray(expected, float)
    assert np.isfinite(found).all()
    off = np.abs(found - expected) / np.maximum(np.abs(expected), least)
    assert off.max() <= rel, f"{off.max():.1e} at {np.unravel_index(off.argmax(), off.shape)}"


def each(function, *arrays):
    return np.vectorize(function, otypes=[float])(*arrays)


def test_exponential_and_logarithm(engine):
    x = np.linspace(-690.0, 690.0, 20_001)
    same(engine("exp", x), np.exp(x))
    y = np.exp(np.linspace(-600.0, 600.0, 20_001))
    same(engine("log", y), np.log(y))
    near = 1.0 + np.linspace(-0.01, 0.01, 2001)
    same(engine("log", near), np.log(near), least=1e-6)


def test_heat_capacity_conductivity_and_sensible_heat(engine):
    a = np.linspace(0.0, 1.0, 11)[:, None]
    t = np.broadcast_to(T, (11, len(T)))
    cold = each(properties.ferrite_cp_j_kgk, T)
    mixed = a * each(properties.austenite_cp_j_kgk, T) + (1 - a) * cold
    same(engine("capacity", t, a), mixed)
    for alloyed in (0.0, 0.4, 1.0):
        same(engine("conductivity", t, alloyed, a), each(properties.conductivity, t, alloyed, a))
    nodes, weights = np.polynomial.legendre.leggauss(24)
    for low, high in ((20.0, 690.0), (705.0, 1200.0), (900.0, 720.0)):
        t = low + 0.5 * (high - low) * (nodes + 1.0)
        for a in (0.0, 0.3, 1.0):
            quadrature = 0.5 * (high - low) * weights @ engine("capacity", t, np.full(24, a))
            same(engine("sensible", [low], [high], [a]), [quadrature])


@pytest.mark.parametrize("law", [0, 1])
def test_extent_of_reaction_and_its_inverse(engine, law):
    forward, _, top = kinetics.extent_tables()
    x = np.concatenate([np.geomspace(1e-9, 0.5, 4000), 1.0 - np.geomspace(1e-9, 0.5, 4000)])
    s = engine("extent", x, law)
    same(s, each(lambda v: laws.extent_of(v, forward, law), x))
    same(engine("inverse", s, law), x)  # a round trip loses nothing
    assert engine("inverse", [top[law], 2.0 * top[law]], law).tolist() == [1.0, 1.0]
    assert engine("extent", [0.0], law)[0] == engine("inverse", [0.0], law)[0] == 0.0


@pytest.mark.parametrize("carbon", [0.1, 0.4, 0.75])
def test_lever_rule_and_carbon_of_the_rest(engine, carbon):
    ae1, ae3 = 727.0, 727.0 + 179.0 * (0.8 - carbon)
    t = np.linspace(400.0, 900.0, 4001)
    law = each(lambda v: laws.ferrite_cap(v, ae1, ae3, carbon), t)
    same(engine("cap", t, ae1, ae3, carbon), law, least=1e-2)
    f = np.linspace(0.0, 0.8, 801)
    left = decomposition.carbon_of_austenite(carbon, 0.8, f)
    same(engine("carbon_left", np.full(801, carbon), 0.8, f), left)


def test_laws_of_martensite_spray_and_die(engine):
    carbon = np.linspace(0.0, 1.2, 97)[:, None]
    start, end = 320.0, np.linspace(320.0, -50.0, 75)
    ms, alpha = laws.martensite_law(engine.start, carbon)
    fall = np.maximum(ms - end, 0.0) - np.maximum(ms - start, 0.0)
    same(engine("martensite", carbon, start, end), 1.0 - np.exp(-alpha * fall), least=1e-3)
    superheat = np.linspace(0.0, 1200.0, 1201)
    for flux in (0.2, 1.0, 3.0, 10.0, 30.0):
        for water in (10.0, 25.0, 60.0):
            law = each(lambda s, v=flux, w=water: spray.spray_w_m2k(v, w + s, w), superheat)
            same(engine("spray", np.full(1201, flux), water, superheat), law)
    # Interpolated: within 1e-6 of the surface's conductance.
    d = die_contact
    die = d.DIE_CONDUCTIVITY_W_MK, d.DIE_DENSITY_KG_M3, d.DIE_HEAT_J_KGK
    for contact in (200.0, 400.0, 7500.0, 30_000.0):
        t = np.concatenate([[0.0], np.geomspace(1e-6, 30.0, 2000)])
        law = each(lambda s, h=contact: die_contact.die_contact_w_m2k(h, s, *die), t)
        assert np.abs(engine("die", np.full(2001, contact), t) - law).max() < 1e-6 * contact


def test_furnace(engine):
    c = engine.case
    for carbon in (0.05, 0.3, 0.6, 0.9):
        law = each(lambda t, k=carbon: austenite.austenite_equilibrium(t, c["ac1"], c["ac3"], k), T)
        same(engine("equilibrium", T, c["ac1"], c["ac3"], carbon), law)
    for fine in (True, False):
        steel = grade("4140") if fine else grade("1045")
        k = austenite.grain_growth_coefficients(steel)[1:]
        hot = T[T > 100.0]
        same(engine("grain", hot, *k), each(lambda t, k=k: laws.grain_growth_rate(t, *k), hot))
    share = np.linspace(0.01, 1.0, 100)
    for carbon in (0.1, 0.4, 0.8):
        law = each(lambda s, k=carbon: laws.austenite_carbon(s, k), share)
        same(engine("austenite_carbon", share, carbon), law)
    t = np.linspace(500.0, 850.0, 100)
    law = each(laws.ferrite_return_per_s, t, share)
    same(engine("ferrite_return", t, share), law, least=1e-9)


@pytest.mark.parametrize("undissolved", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("share", [0.05, 0.4, 0.97, 1.0])
@pytest.mark.parametrize("name", ["1020", "1045", "4140", "4340"])
def test_austenite_at_the_start_of_cooling(name, share, undissolved):
    engine = formulas.of_steel(grade(name))
    found = engine.austenite(share, undissolved, 22.0, 780.0)
    same(found, laws.set_austenite(engine.case, engine.kin, share, undissolved, 22.0, 780.0))


@pytest.mark.parametrize("scale_um", [0.0, 15.0, 60.0])
@pytest.mark.parametrize("flux", [0.3, 4.0, 12.0, 25.0])
def test_table_of_a_sprayed_surface(engine, flux, scale_um):
    superheat, table = engine.wet_table(flux, scale_um)
    assert superheat.tolist() == (laws.WET_STEP_C * np.arange(laws.WET_POINTS)).tolist()
    same(table, laws.wet_table(flux, 25.0, scale_um, engine.case, np.full(29, 12.0)), least=1e-3)


def test_tempering(engine):
    theta, t, dt = 31_000.0, np.linspace(300.0, 1000.0, 71), 3.0
    exact = dt * each(tempering.tempering_rate, t, theta)
    same(engine("tempering", np.full(71, theta), t, 0.0, dt), exact, least=1e-300)
    # along a straight rise, where a march still tempers: against quadrature
    t = np.linspace(350.0, 1000.0, 71)
    nodes, weights = np.polynomial.legendre.leggauss(40)
    for half in (5.0, 15.0):
        path = t[:, None] + half * nodes
        exact = 0.5 * dt * each(tempering.tempering_rate, path, theta) @ weights
        same(engine("tempering", np.full(71, theta), t, half, dt), exact, rel=0.02, least=1e-300)
    # a constituent that grows evenly, softening by J^(1/14): mean of (m / m_end)^14 over the step
    before = np.linspace(0.0, 0.5, 51)
    m = before[:, None] + (0.5 - before[:, None]) * 0.5 * (nodes + 1.0)
    exact = 0.5 * ((m / 0.5) ** 14) @ weights
    same(engine("tempered_part", before, np.full(51, 0.5)), exact, rel=1e-4)


def test_numbers_of_the_formula_rooms_are_finite():
    record = physics.physics()[0]
    assert all(np.isfinite(record[name]) for name in record.dtype.names)
