"""Carbon equivalents: limits between the formulas, arrays, warnings."""

import types
import warnings

import numpy as np
import pytest

from forgeprops.hardenability.carbon_equivalent import carbon_equivalents
from forgeprops.inputs.grades import grade, grades
from forgeprops.inputs.steel import Steel


def _steel(**wt):
    return Steel("heat", {e: 0.0 for e in ("Si", "Mn", "Ni", "Cr", "Mo", "Cu")} | wt)


def test_pure_carbon_gives_carbon():
    for value in carbon_equivalents(_steel(C=0.2)).values():
        assert value == pytest.approx(0.2)


def test_cen_turns_from_half_to_full_alloy_effect_with_carbon():
    # A = 0.5 far below 0.12 % C, 1.0 far above: Mn counts /12, then /6
    low, high = (carbon_equivalents(_steel(C=c, Mn=1.2))["CEN"] - c for c in (0.025, 0.6))
    assert low == pytest.approx(0.10, abs=0.004)
    assert high == pytest.approx(0.20, abs=1e-6)


def test_arrays_equal_scalars():
    steels = [grade(n) for n in grades()]
    batch = types.SimpleNamespace(get=lambda e: np.array([s.get(e) for s in steels]))
    for name, values in carbon_equivalents(batch).items():
        assert values == pytest.approx([carbon_equivalents(s)[name] for s in steels])


def test_outside_the_range_is_said():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        carbon_equivalents(_steel(C=0.17, Mn=0.6))
    with pytest.warns(UserWarning) as said:
        carbon_equivalents(grade("4140"))
    words = " ".join(str(w.message) for w in said)
    assert all(f"C for {name} 0.405 wt% is outside" in words for name in ("CE_IIW", "Pcm", "CET"))
