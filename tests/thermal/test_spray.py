"""Spray readings: the same water as nozzle flow, catch can and impact density."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forgeprops.base.errors import InputError
from forgeprops.thermal.spray_units import FOOTPRINT_MM, from_flux, spray_setting


def test_one_litre_on_40_by_80():
    """1 L/min on a 40 × 80 mm face is 5.2 L/(m² s): 1/60/0.0032."""
    flux = spray_setting(1.0, footprint_mm=(40, 80)).flux_kg_m2_s
    assert flux == pytest.approx(1 / 60 / 3.2e-3, rel=0.003)


def test_two_nozzles_half_on_target_equal_one():
    one = spray_setting(1.5, 1, (80, 50))
    two = spray_setting(1.5, 2, (80, 50), overlap=0.5)
    assert two.flux_kg_m2_s == pytest.approx(one.flux_kg_m2_s)
    assert two.total_l_min == pytest.approx(2 * one.total_l_min)


def test_catch_can_by_hand():
    r = from_flux(99.8e-3 * 0.998 / (1e-3 * 10), can_area_mm2=1000.0, seconds=10.0)
    assert r.can_ml == pytest.approx(99.8)  # weighs 99.6 g at 0.998 kg/L


def test_round_footprint_is_its_area():
    r = spray_setting(2.0, footprint_mm=70)
    assert r.footprint_mm[0] * r.footprint_mm[1] == pytest.approx(math.pi / 4 * 70**2)


@settings(deadline=None, max_examples=60)
@given(st.floats(0.01, 2), st.integers(1, 8), st.floats(20, 200), st.floats(20, 200), st.floats(0.1, 1.0))  # fmt: skip
def test_all_three_forms_return_to_the_same_flux(flow, nozzles, a, b, overlap):
    r = spray_setting(flow, nozzles, (a, b), overlap)
    back = from_flux(r.flux_kg_m2_s, nozzles, (a, b), overlap)
    assert back.flow_l_min == pytest.approx(flow)


def test_text_shows_all_three():
    text = str(from_flux(10.0, nozzles=2, overlap=0.8))
    shown = "10 kg/(m² s)|2 nozzles × 1.5 L/min|80 × 50 mm|80% of it on target|mL in 10 s"
    for part in shown.split("|"):
        assert part in text


def test_water_used():
    assert spray_setting(3.0, 2).litres(6.0) == pytest.approx(0.6)


def test_warning_travels_with_the_reading():
    assert from_flux(10.0).warnings == ()
    assert from_flux(1.0).warnings[0].code == "range:thermal.spray_flux"
    assert FOOTPRINT_MM == (80.0, 50.0)


@pytest.mark.parametrize(("call", "words"), [
    (lambda: spray_setting(-1.0), "Nozzle flow -1 L/min"),
    (lambda: spray_setting("much"), "nozzle flow must be a number (0–500 L/min); got 'much'"),
    (lambda: spray_setting(1.0, 0), "Number of nozzles 0"),
    (lambda: spray_setting(1.0, 1.5), "number of nozzles must be a whole number; got 1.5"),
    (lambda: spray_setting(1.0, 1, (40,)), "must be (length, width) in mm"),
    (lambda: spray_setting(1.0, 1, (40, 0)), "Footprint width 0 mm"),
    (lambda: spray_setting(1.0, 1, (40, 50), overlap=1.2), "Overlap 1.2"),
    (lambda: from_flux(math.inf), "Spray rate inf"),
])  # fmt: skip
def test_bad_readings_are_one_sentence(call, words):
    with pytest.raises(InputError) as caught:
        call()
    assert words in str(caught.value) and "\n" not in str(caught.value)
