"""The reader's units: converted for display, chosen once, kept between notebooks."""

import pytest
from checks import refuses

from forgeprops.show import units as u


def test_defaults_without_a_file():
    assert u.units() == u.Units("°C", "mm", "HV")


def test_choice_is_kept_for_the_next_kernel(monkeypatch):
    u.choose_units(temperature="°F", length="in", hardness="HRC")
    monkeypatch.setattr(u, "_chosen", [])  # what a fresh kernel knows
    assert u.units() == u.Units("°F", "in", "HRC")


def test_damaged_file_falls_back_to_defaults():
    u.units_file().parent.mkdir()
    kelvin = '{"format": "forgeprops units", "version": 1, "temperature": "K"}'
    u.units_file().write_text(kelvin, encoding="utf-8")
    assert u.units() == u.Units()


def test_temperature_there_and_back():
    f = u.Units("°F")
    assert f.from_c(0.0) == 32.0
    assert f.from_c(100.0) == 212.0
    assert f.to_c(f.from_c(931.0)) == pytest.approx(931.0)
    assert f.step_from_c(10.0) == 18.0


def test_unknown_unit_is_one_sentence():
    refuses("'K'", u.choose_units, temperature="K")
