"""The continuous-cooling diagram agrees with single coolings and with the trade's facts."""

import numpy as np
import pytest

import forgeprops as fp
from forgeprops.study.diagram import cooling_diagram


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


def test_regions_lie_between_their_temperatures(diagrams):
    for diagram in diagrams.values():
        for region in diagram.regions.values():
            assert np.all(region.start_c <= diagram.ae3_c + 1e-6)
            assert np.all(region.end_c <= region.start_c) and np.all(region.end_s >= region.start_s)
        assert np.all(diagram.regions["martensite"].start_c <= diagram.ms_c + 5.0)


def test_slower_cooling_is_never_harder(diagrams):
    for diagram in diagrams.values():
        # rates fall; a few HV of kink at a region's edge
        assert np.all(np.diff(diagram.hardness_hv) <= 8.0)
