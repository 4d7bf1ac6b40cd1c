"""What to measure next: promised against simulated, what the fit of a shop gives, and how a reading must be taken."""

import dataclasses
import math

import pytest
from checks import refuses
from simulate_readings import SHOPS, simulated

import forgeprops as fp
from forgeprops.answer.next_measurement import TRACE_LN_SD


@pytest.mark.parametrize("shop", SHOPS)
def test_the_range_shrinks_as_promised(shop):
    """Readings drawn through the engine of a known shop; 30 draws a shop by simulate_readings.py."""
    found, width, held = simulated(shop, 8)
    assert width == pytest.approx(found.range_then, rel=0.20)
    assert found.range_then <= found.range_now and held >= 0.4


def test_a_fitted_shop_has_the_range_that_the_thermocouple_promises():
    result = fp.estimate(fp.grade("4130"))
    promised = {what: width for what, _, width in result.verdict.measure_next.others}
    prior = 0.2465
    posterior = (prior**-2 + TRACE_LN_SD**-2) ** -0.5
    # where the fit may come out: even quantiles of what is known before
    widths = []
    for z in (-1.28, -0.52, 0.0, 0.52, 1.28):
        spray = math.exp(z * math.sqrt(prior**2 - posterior**2))
        shop = fp.Shop(spray=spray, fitted=("spray",), standard_errors=(posterior * spray,))
        face = fp.estimate(fp.grade("4130"), shop=shop).zones["face"]
        widths.append(face.hardness_high_hv - face.hardness_low_hv)
    before = result.zones["face"].hardness_high_hv - result.zones["face"].hardness_low_hv
    mean = sum(widths) / len(widths)
    assert mean < 0.8 * before
    assert mean == pytest.approx(promised["thermocouple in the face"], rel=0.20)


def test_the_bend_length_moves_the_degrees_more_than_any_hardness():
    limits = fp.Limits(hosel_allowed_deg=(4.0, None))
    found = fp.next_measurement(fp.estimate(fp.grade("4130"), limits=limits))
    assert found.reading.key == "bend length" and "scribed" in found.reading.how
    assert found.range_then < 0.7 * found.range_now


def test_a_reading_says_how_it_is_taken_or_is_refused():
    found = fp.next_measurement(fp.estimate(fp.grade("8620")))
    assert "0.2 mm of skin" in found.reading.how and "support the face" in found.reading.how
    refuses("refused", found.after, [430.0, 425.0, 433.0], taken_as_said=False)
    refuses("", found.after, [float("nan")], taken_as_said=True)
    low, high = found.after([430.0, 425.0, 433.0], taken_as_said=True)
    assert low < 429.0 < high and high - low < found.range_now
    assert dataclasses.replace(found, range_then=found.range_now).words.startswith("no reading")


def test_no_water_no_reading_of_it():
    found = fp.next_measurement(fp.estimate(fp.grade("4130"), "mid-iron", fp.Route(spray=None)))
    assert "thermocouple" not in " ".join(what for what, *_ in found.others)
