"""Low-cycle fatigue: published result rows, worked lives, inverse pairs, damage sum."""

import numpy as np
import pytest

from forgeprops.hosel import fatigue as f
from forgeprops.strength.hardness_scales import convert_hardness

AMPLITUDES = np.array([0.005, 0.010, 0.014, 0.020, 0.030])


@pytest.mark.parametrize(("hb", "lives"), [
    (150, [5935, 1174, 577, 281, 127]), (200, [5824, 1000, 474, 225, 100]),
    (300, [6045, 706, 306, 136, 57]), (400, [7599, 481, 183, 75, 30]),
])  # fmt: skip
def test_roessle_fatemi_lives_worked_independently(hb, lives):
    cycles = f.cycles_to_crack(f.roessle_fatemi(convert_hardness(hb, "HB", "HV")), AMPLITUDES)
    assert cycles == pytest.approx(lives, rel=0.01, abs=0.6)


@pytest.mark.parametrize("tensile, lives", [(500, [3786, 817, 415, 208, 98]), (1000, [6825, 822, 364, 166, 72])])  # fmt: skip
def test_uniform_law_lives_worked_independently(tensile, lives):
    cycles = f.cycles_to_crack(f.uniform_material_law(tensile), AMPLITUDES)
    assert cycles == pytest.approx(lives, rel=0.01, abs=0.6)


def test_two_methods_agree_within_a_factor_three_for_low_cycles():
    for hv in (150, 200, 250, 300, 350):
        a = f.cycles_to_crack(f.roessle_fatemi(hv), 0.015)
        assert 1 / 3 < a / f.cycles_to_crack(f.uniform_material_law(3.12 * hv), 0.015) < 3


def test_allowed_amplitude_lies_between_the_methods_and_falls_with_cycles():
    n = np.array([1, 5, 20, 100])
    amp = f.allowed_amplitude(200, 624, n, 20.0)
    assert (np.diff(amp) < 0).all()
    laws = f.roessle_fatemi(200), f.uniform_material_law(624)
    both = np.array([f.strain_amplitude(x, 20.0 * n) for x in laws])
    assert (amp >= both.min(axis=0)).all() and (amp <= both.max(axis=0)).all()
    assert (both.max(axis=0) < 1.3 * both.min(axis=0)).all()  # the methods agree to a quarter


def test_damage_of_bends():
    assert f.miner_damage(200, 624, []) == 0.0
    one = f.miner_damage(200, 624, [0.03])
    laws = f.roessle_fatemi(200), f.uniform_material_law(624)
    life = np.sqrt(np.prod([f.cycles_to_crack(law, 0.015) for law in laws]))
    assert one == pytest.approx(0.5 * 3.3 / life)
    assert f.miner_damage(200, 624, [0.03, 0.03]) == pytest.approx(2 * one)


def test_plain_bend_of_known_steels():
    # Datsko & Yang: a steel of 50 % reduction folds to R/t = 1/3; below 20 % within 16 % of their 50/r − 1
    assert 1 / (1 + 2 / 3) == pytest.approx(float(f.bending_strain(0.5)), abs=1e-3)
    for r in (0.05, 0.10, 0.20):
        theirs = 1.0 / (1.0 + 2.0 * (0.5 / r - 1.0))
        assert 0.84 * theirs < float(f.bending_strain(r)) <= theirs
    strain = f.crack_strain(np.linspace(0.05, 0.75, 30), 0.1)
    assert (np.diff(strain) >= 0).all() and strain.max() <= 0.05
