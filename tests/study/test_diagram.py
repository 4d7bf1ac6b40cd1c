"""The continuous-cooling diagram agrees with single coolings and with the trade's facts."""

import re

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.study.diagram import cooling_diagram
from forgeprops.study.expectation import against_expectation


@pytest.fixture(scope="module")
def diagrams():
    return {name: cooling_diagram(fp.grade(name)) for name in ("1030", "4130", "4140")}


def test_start_point_is_where_one_per_cent_has_formed(diagrams):
    """Regression against the source of it: stop the cooling at the start point and read the share."""
    diagram = diagrams["4130"]
    bainite = diagram.regions["bainite"]
    i = len(bainite.rate_c_per_s) // 2
    from_c = diagram.ae3_c + 30.0
    rate = float(bainite.rate_c_per_s[i])
    how = {"from_c": from_c, "rate_c_per_s": rate, "to_c": float(bainite.start_c[i])}
    stop = fp.continuous_cooling(fp.grade("4130"), **how)
    assert stop.history["bainite"][-1] == pytest.approx(0.01, abs=0.002)
    expected = (diagram.ae3_c - bainite.start_c[i]) / rate
    assert bainite.start_s[i] == pytest.approx(expected, rel=1e-6)


def test_regions_lie_between_their_temperatures_and_slower_cooling_is_never_harder(diagrams):
    for diagram in diagrams.values():
        for region in diagram.regions.values():
            assert np.all(region.start_c <= diagram.ae3_c + 1e-6)
            assert np.all(region.end_c <= region.start_c) and np.all(region.end_s >= region.start_s)
        assert np.all(diagram.regions["martensite"].start_c <= diagram.ms_c + 5.0)
    for diagram in diagrams.values():
        # rates fall; a few HV of kink at a region's edge
        assert np.all(np.diff(diagram.hardness_hv) <= 8.0)


def test_what_goes_against_expectation_is_said_with_the_numbers_of_estimates_and_nothing_else():
    result = fp.estimate(fp.grade("4130"))
    (sentence,) = (s for s in against_expectation(result) if "delay" in s)
    (hv, at), (more_hv, then) = re.findall(r"(\d+) HV at ([\d.]+) s", sentence)[:2]
    assert "harder" in sentence and int(more_hv) >= int(hv) + 20
    for found, delay_s in ((hv, at), (more_hv, then)):
        route = fp.Route().with_(delay_s=float(delay_s))
        face = fp.estimate(fp.grade("4130"), None, route).zones["face"].hardness_hv
        assert abs(face - int(found)) <= 1.0
    assert against_expectation(fp.estimate(fp.grade("1020"))) == []
    assert against_expectation(fp.estimate(fp.grade("4130"), None, fp.Route(spray=None))) == []
    for far in ({"preheat_c": 1200.0}, {"delay_s": 31.0}):
        result = fp.estimate(fp.grade("4130"), None, fp.Route().with_(**far))
        name = "delay" if "delay_s" in far else "furnace"
        assert not [s for s in against_expectation(result) if name in s]
