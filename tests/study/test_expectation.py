"""What goes against the usual expectation is said with the numbers of this case, and nothing else is."""

import re

import forgeprops as fp
from forgeprops.study.expectation import against_expectation


def test_a_longer_delay_that_hardens_says_so_with_the_numbers_of_estimates():
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


def test_a_setting_beyond_the_values_tried_is_silent():
    for far in ({"preheat_c": 1200.0}, {"delay_s": 31.0}):
        result = fp.estimate(fp.grade("4130"), None, fp.Route().with_(**far))
        name = "delay" if "delay_s" in far else "furnace"
        assert not [s for s in against_expectation(result) if name in s]
