"""Valid ranges: one mechanism; every range is asked somewhere, and warns with value, range and source."""

import re
import warnings

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.base import ranges
from forgeprops.strength.tensile import strength

RANGES = ranges.RANGES


@pytest.mark.parametrize("id", sorted(RANGES)[::9])
def test_a_range_warns_outside_and_is_silent_inside(id):
    r = RANGES[id]
    assert r.low < r.high and r.quantity and r.source
    span = r.high - r.low
    for value in (r.low, r.high, 0.5 * (r.low + r.high)):
        assert ranges.outside(id, value) is None
    for value in (r.low - 0.1 * span, r.high + 0.1 * span):
        warning = ranges.outside(id, value)
        assert warning.code == f"range:{id}"
        for part in (f"{value:.4g}", f"{r.low:g}", f"{r.high:g}", r.source, r.quantity[1:]):
            assert part in warning.text
    assert ranges.outside(id, float("nan")) is not None  # never silent


def work():
    """The public calls, on ordinary and on extreme input, so that every formula asks after its range."""
    from forgeprops.hardenability.end_quench import end_quench_warnings
    from forgeprops.hardenability.ideal_diameter import ideal_diameter_warnings
    from forgeprops.thermal.spray import spray_warnings

    rich = {"C": 0.9, "Si": 2.0, "Mn": 3.0, "Cr": 3.5, "Mo": 1.5, "Ni": 5.0, "V": 0.4, "Cu": 0.9}
    odd = fp.Steel("odd", rich, grain_size_astm=2.0)
    low = fp.Steel("low", {"C": 0.025, "Mn": 0.1})
    route = fp.Route().with_(flux=45.0, water_c=80.0, preheat_c=1250.0, strain=0.9, view_factor=0.3)
    for steel in (odd, low, fp.grade("4130")):
        for r in (route, fp.Route().with_(preheat_c=650.0), fp.Route()):
            yield fp.estimate(steel, route=r).warnings
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # these two say theirs at once
            fp.carbon_equivalents(steel), fp.tempered_hardness(steel, 50.0, 1e-4)
        yield end_quench_warnings(steel)
        yield ideal_diameter_warnings(steel, grain_size=True)
        yield fp.continuous_cooling(steel, rate_c_per_s=1.0).warnings
        yield fp.critical_temperatures(steel).warnings
    yield spray_warnings(45.0, 80.0, 1150.0)
    for hv in (90.0, 450.0, 700.0):
        for structure in ({"ferrite": 1.0}, {"bainite": 1.0}, {"martensite": 1.0}, None):
            yield strength(hv, structure).warnings
        yield fp.hosel_bend(hardness_hv=hv, length_mm=40.0).warnings
        yield fp.hosel_bend(hardness_hv=hv, fractions={"martensite": 1.0}, rebends=30.0).warnings
        yield fp.face_strike(1.2, hv).warnings


@pytest.fixture(scope="module")
def asked():
    """Ids that the calls looked up, and the warnings that came out."""
    found = set()

    class Watched(dict):
        def __getitem__(self, id):
            found.add(id)
            return super().__getitem__(id)

    patch = pytest.MonkeyPatch()
    patch.setattr(ranges, "RANGES", Watched(ranges.RANGES))
    try:
        given = [w for group in work() for w in group]
    finally:
        patch.undo()
    return found, given


#: Ranges that no warning of a call comes from, and why; the formula holds its value there.
HELD = {}


def test_every_range_is_asked(asked):
    found, _ = asked
    idle = sorted(set(RANGES) - found - set(HELD))
    assert not idle, f"{idle}: listed, but nothing asks after them"


def test_warnings_are_codes_and_sentences(asked, capsys):
    _, given = asked
    for warning in given:
        if isinstance(warning, ranges.Warn):
            assert re.fullmatch(r"[a-z]+[a-zA-Z0-9_.:\-]*", warning.code), warning.code
            assert warning.text.endswith((".", "!")) and len(warning.text) < 400
    hit = {w.code for w in given if isinstance(w, ranges.Warn) and w.code.startswith("range:")}
    with capsys.disabled():
        print(f"\n{len(RANGES)} ranges, {len(hit)} of them left by the extreme cases")
    assert len(hit) > 25


def test_beyond_the_possible_is_an_error_not_a_warning():
    refuses("", fp.Route().with_, preheat_c=2000.0)
    face = fp.estimate("4130", route=fp.Route().with_(flux=59.0)).zones["face"]
    assert np.isfinite(face.hardness_hv)
