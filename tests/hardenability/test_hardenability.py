"""Ideal diameter, end-quench curve, carbon equivalents: shape, limits, arrays, warnings.  What is printed is in tests/published."""

import types
import warnings

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.hardenability import end_quench as eq
from forgeprops.hardenability import ideal_diameter as di

STEELS = [fp.grade(n) for n in fp.grades()]
TOP = {
    "C": 0.9, "Mn": 1.95, "Si": 2.0, "Ni": 3.5, "Cr": 2.5, "Mo": 0.55, "Cu": 0.55, "V": 0.2,
    "Zr": 0.25, "B": 0.003,
}  # fmt: skip


def _contents(**wt):
    """A batch: contents as arrays."""
    return types.SimpleNamespace(get=lambda e: wt.get(e, 0.0))


def _bare(**wt):
    return fp.Steel("heat", {e: 0.0 for e in ("Si", "Mn", "Ni", "Cr", "Mo", "Cu")} | wt)


def _codes(found):
    return [w.code for w in found]


def _equivalents(steel):
    return np.transpose(list(fp.carbon_equivalents(steel).values()))


@pytest.mark.parametrize("law", [di.ideal_diameter, di.ideal_diameter_upper, eq.end_quench_hrc, _equivalents])  # fmt: skip
def test_arrays_equal_scalars(law):
    batch = types.SimpleNamespace(get=lambda e: np.array([s.get(e) for s in STEELS]))
    assert law(batch) == pytest.approx(np.array([law(s) for s in STEELS]), rel=1e-12)
    if law is eq.end_quench_hrc:
        where, at = np.linspace(0.5, 55.0, len(STEELS)), eq.hardness_at_distance_hrc
        assert at(batch, where) == pytest.approx(list(map(at, STEELS, where)))


def test_ideal_diameter_is_a_product_grain_size_an_option_and_residuals_count():
    for steel in STEELS:
        inches = np.prod(list(di.ideal_diameter_factors(steel).values()))
        assert di.ideal_diameter(steel, "in") == pytest.approx(inches, rel=1e-12)
        assert di.ideal_diameter(steel) == pytest.approx(25.4 * inches, rel=1e-12)
    refuses("unit 'inch' is unknown; did you mean 'in'", di.ideal_diameter, STEELS[0], "inch")
    wt = {"C": 0.3, "Cr": 1.0, "Mo": 0.2}
    coarse, normal = (fp.Steel("heat", wt, grain_size_astm=g) for g in (5, 7))
    assert di.ideal_diameter(coarse) == di.ideal_diameter(normal)
    ratio = di.ideal_diameter(coarse, grain_size=True) / di.ideal_diameter(normal)
    assert ratio == pytest.approx(0.923**-2)
    # absent residuals are filled by their default, zeros are zeros
    bare = _bare(C=0.465, Mn=0.75, Si=0.25)
    assert di.ideal_diameter(bare) == pytest.approx(23.9, abs=0.1)
    assert 1.25 < di.ideal_diameter(fp.grade("1045")) / di.ideal_diameter(bare) < 1.45


@pytest.mark.parametrize("element", di.ELEMENTS_IN_FACTORS)
def test_every_element_raises_hardenability(element):
    content = np.linspace(min(0.02, TOP[element] / 10), TOP[element], 200)
    found = di.ideal_diameter(_contents(**({"C": 0.3} | {element: content})))
    # the branches of C and Ni do not quite meet: allow the step the standard has there
    assert np.all(np.diff(found) > -0.002 * found[1:]) and found[-1] > found[0]


def test_branches_nearly_meet():
    joins = ("C", 0.39), ("C", 0.55), ("C", 0.65), ("C", 0.75), ("Mn", 1.20), ("Ni", 1.5)
    for element, at in joins:
        ends = (_contents(**{element: at + step}) for step in (-1e-9, 1e-9))
        below, above = (di.ideal_diameter_factors(end)[element] for end in ends)
        assert above == pytest.approx(below, rel=0.011), (element, at)


@pytest.mark.parametrize("carbon, ratio", [(0.205, 1.38), (0.25, 1.25), (0.305, 1.13), (0.355, 1.06), (0.45, 1.0)])  # fmt: skip
def test_size_of_the_disagreement_with_the_classic_base_diameter(carbon, ratio):
    steel = fp.Steel("heat", {"C": carbon})
    found = di.ideal_diameter_upper(steel) / di.ideal_diameter(steel)
    assert found == pytest.approx(ratio, abs=0.015)


def test_warnings_of_ideal_diameter_and_end_quench():
    assert di.ideal_diameter_warnings(fp.grade("4130")) == ()
    odd = fp.Steel("odd", {"C": 1.0, "Mo": 1.0, "B": 0.002, "Ti": 0.0, "N": 0.008})
    expected = ["range:ideal_diameter.C", "range:ideal_diameter.Mo", "ideal_diameter:boron"]
    assert _codes(di.ideal_diameter_warnings(odd)) == expected
    coarse = di.ideal_diameter_warnings(fp.Steel("c", {"C": 0.3}, grain_size_astm=1.0), grain_size=True)  # fmt: skip
    assert _codes(coarse) == ["range:ideal_diameter.grain_size"]
    codes = _codes(eq.end_quench(fp.grade("1020")).attrs["warnings"])
    assert "range:end_quench.ideal_diameter" in codes and "end_quench:below_20_hrc" in codes
    assert eq.end_quench(fp.grade("4140")).attrs["warnings"] == ()
    codes = _codes(eq.end_quench_warnings(fp.grade("4340")))
    assert codes == ["range:end_quench.Ni", "range:end_quench.ideal_diameter"]
    low_manganese = fp.Steel("low manganese", {"C": 0.4, "Mn": 0.3, "Cr": 1.0, "Mo": 0.2})
    said = "Mn for the end-quench curve 0.3 wt% is outside the range 0.5 to 1.65 wt% "
    said += "(ASTM A255-10, end-quench curve from chemistry)."
    assert eq.end_quench_warnings(low_manganese)[0].text == said


def test_frame_and_hardness_at_any_distance():
    curve = eq.end_quench(fp.grade("4130"))
    assert list(curve.columns) == ["distance_mm", "hrc"]
    assert curve.distance_mm.tolist() == [1.5, 3, 5, 7, 9, 11, 13, 15, 20, 25, 30, 35, 40, 45, 50]
    assert curve.hrc.notna().all()
    assert curve.attrs["ideal_diameter_mm"] == pytest.approx(68.8, abs=0.1)
    hrc, at = eq.end_quench_hrc(fp.grade("4140")), eq.hardness_at_distance_hrc
    assert at(fp.grade("4140"), eq.end_quench_distances_mm()) == pytest.approx(hrc)
    assert [at(fp.grade("4140"), mm) for mm in (0.1, 99.0)] == [hrc[0], hrc[-1]]


@pytest.mark.parametrize("steel", STEELS, ids=lambda s: s.name)
def test_never_rises_and_starts_at_the_initial_hardness(steel):
    hrc = eq.end_quench_hrc(steel)
    assert hrc[0] == eq.as_quenched_hardness_hrc(steel.get("C"))
    assert np.all(np.diff(hrc) <= 0.0)


def test_factors_fall_with_ideal_diameter_and_safeguards_hardly_touch_them():
    factors = eq.dividing_factors(np.linspace(8.0, 250.0, 2000))
    assert factors.min() == 1.0
    # where a row is cut off at its upper end the step to 1 must be small
    assert np.diff(factors, axis=0).max() < 0.03 and np.all(np.diff(factors, axis=1) >= 0.0)
    distance, poly, upper, _ = eq._coefficients()
    law = np.polynomial.polynomial.polyval
    for d in np.linspace(25.4, 177.8, 400):
        raw = [law(d, c) if d <= u else 1.0 for c, u in zip(poly, upper, strict=True)]
        assert eq.dividing_factors(d) == pytest.approx(np.maximum(raw, 1.0), abs=0.03)


def test_carbon_equivalents_of_one_element_and_outside_their_range():
    assert _equivalents(_bare(C=0.2)) == pytest.approx(0.2)
    # CEN, A = 0.5 far below 0.12 % C, 1.0 far above: Mn counts /12, then /6
    low, high = (fp.carbon_equivalents(_bare(C=c, Mn=1.2))["CEN"] - c for c in (0.025, 0.6))
    assert low == pytest.approx(0.10, abs=0.004)
    assert high == pytest.approx(0.20, abs=1e-6)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        fp.carbon_equivalents(_bare(C=0.17, Mn=0.6))
        assert not said
        fp.carbon_equivalents(fp.grade("4140"))
    words = " ".join(str(w.message) for w in said)
    assert all(f"C for {name} 0.405 wt% is outside" in words for name in ("CE_IIW", "Pcm", "CET"))
