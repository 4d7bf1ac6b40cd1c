"""Static recrystallisation between squeeze and water: size, additivity, the two laws' disagreement."""

import numpy as np
import pytest

from forgeprops.transformation import recrystallisation as r


def test_half_time_nothing_without_strain_and_factor_one():
    ln_a, q, n = r.recrystallisation_coefficients(0.2, 30.0)
    half = np.exp(ln_a + q / (900.0 + 273.15))
    assert r.recrystallised_share_along([0, half], [900, 900], 0.2, 30.0) == pytest.approx(0.5)
    assert n == 1.0
    assert r.recrystallised_share_along([0, 10], [900, 900], 0.0, 20.0) < 1e-9
    assert r.strain_speed_factor(0.0) == 1.0
    assert np.all(np.diff([r.strain_speed_factor(e) for e in np.linspace(0, 0.5, 11)]) > 0.0)
    assert r.retained_strain(0.2, 0.25) == pytest.approx(0.15)


@pytest.mark.parametrize("law", r.RECRYSTALLISATION_LAWS)
def test_additive_and_monotone(law):
    one = r.recrystallised_share_along([0, 4], [900, 860], 0.2, 30.0, law=law)
    fine = np.linspace(0, 4, 101), np.linspace(900, 860, 101)
    many = r.recrystallised_share_along(*fine, 0.2, 30.0, law=law)
    assert one == pytest.approx(many, rel=2e-3)

    def held(t_c, strain=0.2):
        return r.recrystallised_share_along([0, 2], [t_c, t_c], strain, 30.0, law=law)

    shares = [held(t) for t in range(800, 1200, 25)]
    assert np.all(np.diff(shares) >= 0.0) and shares[0] < 0.1 and shares[-1] > 0.9
    assert np.all(np.diff([held(900, e) for e in (0.05, 0.1, 0.2, 0.4)]) > 0.0)


def test_laws_differ_by_a_factor_three_at_the_second_heat():
    half = []
    for law in r.RECRYSTALLISATION_LAWS:
        ln_a, q, _ = r.recrystallisation_coefficients(0.15, 20.0, law=law)
        half.append(np.exp(ln_a + q / (850.0 + 273.15)))
    assert 2.5 < max(half) / min(half) < 4.0
