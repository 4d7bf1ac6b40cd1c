"""Ideal diameter: limits, arrays, warnings.  The standard's worked example is in tests/published."""

import types

import numpy as np
import pytest
from checks import refuses

from forgeprops.hardenability.ideal_diameter import (
    ELEMENTS_IN_FACTORS,
    ideal_diameter,
    ideal_diameter_factors,
    ideal_diameter_upper,
    ideal_diameter_warnings,
)
from forgeprops.inputs.grades import grade, grades
from forgeprops.inputs.steel import Steel

TOP = {
    "C": 0.9, "Mn": 1.95, "Si": 2.0, "Ni": 3.5, "Cr": 2.5, "Mo": 0.55, "Cu": 0.55, "V": 0.2,
    "Zr": 0.25, "B": 0.003,
}  # fmt: skip


def _contents(**wt):
    """A batch: contents as arrays."""
    return types.SimpleNamespace(get=lambda e: wt.get(e, 0.0))


def test_product_of_factors_and_units():
    for name in grades():
        steel = grade(name)
        inches = np.prod(list(ideal_diameter_factors(steel).values()))
        assert ideal_diameter(steel, "in") == pytest.approx(inches, rel=1e-12)
        assert ideal_diameter(steel) == pytest.approx(25.4 * inches, rel=1e-12)


@pytest.mark.parametrize("element", ELEMENTS_IN_FACTORS)
def test_every_element_raises_hardenability(element):
    content = np.linspace(min(0.02, TOP[element] / 10), TOP[element], 200)
    di = ideal_diameter(_contents(**({"C": 0.3} | {element: content})))
    # the branches of C and Ni do not quite meet: allow the step the standard has there
    assert np.all(np.diff(di) > -0.002 * di[1:])
    assert di[-1] > di[0]


def test_branches_nearly_meet():
    joins = ("C", 0.39), ("C", 0.55), ("C", 0.65), ("C", 0.75), ("Mn", 1.20), ("Ni", 1.5)
    for element, at in joins:
        ends = (_contents(**{element: at + step}) for step in (-1e-9, 1e-9))
        below, above = (ideal_diameter_factors(end)[element] for end in ends)
        assert above == pytest.approx(below, rel=0.011), (element, at)


def test_arrays_equal_scalars():
    steels = [grade(n) for n in grades()]
    batch = _contents(**{e: np.array([s.get(e) for s in steels]) for e in ELEMENTS_IN_FACTORS})
    assert ideal_diameter(batch) == pytest.approx([ideal_diameter(s) for s in steels], rel=1e-12)
    expected = [ideal_diameter_upper(s) for s in steels]
    assert ideal_diameter_upper(batch) == pytest.approx(expected, rel=1e-12)


def test_grain_size_is_an_option_and_off_by_default():
    wt = {"C": 0.3, "Cr": 1.0, "Mo": 0.2}
    coarse, normal = (Steel("heat", wt, grain_size_astm=g) for g in (5, 7))
    assert ideal_diameter(coarse) == ideal_diameter(normal)
    ratio = ideal_diameter(coarse, grain_size=True) / ideal_diameter(normal)
    assert ratio == pytest.approx(0.923**-2)


@pytest.mark.parametrize("carbon, ratio", [(0.205, 1.38), (0.25, 1.25), (0.305, 1.13), (0.355, 1.06), (0.45, 1.0)])  # fmt: skip
def test_size_of_the_disagreement_with_the_classic_base_diameter(carbon, ratio):
    steel = Steel("heat", {"C": carbon})
    assert ideal_diameter_upper(steel) / ideal_diameter(steel) == pytest.approx(ratio, abs=0.015)


def test_residuals_matter():
    # absent residuals are filled by their default, zeros are zeros
    none = dict.fromkeys(("Ni", "Cr", "Mo", "Cu"), 0.0)
    bare = Steel("bare", {"C": 0.465, "Mn": 0.75, "Si": 0.25, **none})
    assert ideal_diameter(bare) == pytest.approx(23.9, abs=0.1)
    assert 1.25 < ideal_diameter(grade("1045")) / ideal_diameter(bare) < 1.45


def test_warnings():
    assert ideal_diameter_warnings(grade("4130")) == ()
    odd = Steel("odd", {"C": 1.0, "Mo": 1.0, "B": 0.002, "Ti": 0.0, "N": 0.008})
    codes = [w.code for w in ideal_diameter_warnings(odd)]
    assert codes == ["range:ideal_diameter.C", "range:ideal_diameter.Mo", "ideal_diameter:boron"]
    coarse = Steel("coarse", {"C": 0.3}, grain_size_astm=1.0)
    (warning,) = ideal_diameter_warnings(coarse, grain_size=True)
    assert warning.code == "range:ideal_diameter.grain_size"


def test_unknown_unit():
    refuses("unit 'inch' is unknown; did you mean 'in'", ideal_diameter, grade("4130"), "inch")
