"""Choosing settings: known optima, honest answers where nothing meets the limits."""

import numpy as np
import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.study.process.search import raise_least


def test_optimiser_finds_a_known_optimum():
    # the least of three planes over the unit square is greatest at (0.3, 0.6), where all are 1
    def f(x):
        a, b = x[:, 0] - 0.3, x[:, 1] - 0.6
        return np.stack([1 + a - b, 1 - a - b, 1 + 2 * b], axis=1)

    at, values = raise_least(f, np.array([0.9, 0.1]), np.ones(3, bool))
    assert at == pytest.approx([0.3, 0.6], abs=0.02)
    assert values.min() == pytest.approx(1.0, abs=0.03)


def test_optimiser_holds_the_others():
    # raise the first while the second stays met: x1 as large as x1 <= 0.5 allows
    def f(x):
        return np.stack([x[:, 0], 0.5 - x[:, 0]], axis=1)

    at, values = raise_least(f, np.array([0.1]), np.array([True, False]))
    assert at == pytest.approx([0.5], abs=0.02) and values[1] >= -1e-3


RANGES = {"preheat_c": (860, 960), "flux": (4, 16)}
SCATTER = {"spread": {"shop_spray": ("lognormal", 0.1)}, "chemistry": "fixed", "seed": 1}


@pytest.fixture(scope="module")
def found():
    wanted = {"face_hardness_hv": (380, 480), "hosel_allowed_deg": (2.4, None)}
    limits = fp.Limits(**wanted, press_effort=(None, 1.1))
    ranges = {"preheat_c": (860, 1000), "flux": (4, 20)}
    return fp.choose("4130", limits=limits, settings=ranges, starts=2, **SCATTER)


def test_chosen_settings_meet_the_limits(found):
    assert found.feasible and found.slack >= 0 and not len(found.relax)
    one = fp.estimate(found.steel, found.head, found.route, found.shop)
    assert 380 <= one.zones["face"].hardness_hv <= 480 and one.hosel.allowed_deg >= 2.4
    expected = one.zones["face"].hardness_hv
    assert found.results["face_hardness_hv"] == pytest.approx(expected, rel=1e-9)
    assert found.route.preheat.temperature_c == found.settings["preheat_c"]
    assert {"press_s", "heads_per_hour", "water_l"} <= set(found.results)
    assert "all limits are met" in found.words() and "heads an hour" in found.words()
    assert found.rounded and found.settings["preheat_c"] % 5 == 0
    job = fp.Job(found.steel, found.head, found.route, found.limits, found.shop)
    verdict = fp.estimate(job).verdict
    assert found.verdict.chance_right == verdict.chance_right
    assert f"with the model's doubt {100 - verdict.with_doubt} %" in found.words()
    assert verdict.with_doubt <= verdict.heads_inside


def test_chosen_settings_are_more_robust_than_the_edge(found):
    """Settings that only just meet the limits lose more heads to the same scatter."""

    def outside(route):
        options = SCATTER | {"limits": found.limits, "n": 512, "indices": False, "seed": 9}
        return fp.scatter("4130", None, route, **options).outside.share

    axes = {"x": ("preheat_c", 860, 1000, 12), "y": ("flux", 4, 20, 12)}
    edge = fp.window("4130", **axes, limits=found.limits)
    just = np.argwhere((edge.slack >= 0) & (edge.slack < 0.6))
    assert len(just)
    at = just[:: max(len(just) // 3, 1)][:3]
    near = [(float(edge.x.values[i]), float(edge.y.values[j])) for j, i in at]
    shares = [outside(fp.Route().with_(preheat_c=hot, flux=flux)) for hot, flux in near]
    chosen = outside(found.route)
    assert chosen <= min([*shares, outside(fp.Route()) + 0.01])
    assert found.scatter.outside.share == pytest.approx(chosen, abs=0.03)


def test_impossible_limits_name_what_to_relax():
    def chosen(least_deg):
        # without a limit on cracking 4140 is vetoed under water
        wanted = {"face_hardness_hv": (420, 520), "crack_index": (None, 3)}
        limits = fp.Limits(**wanted, hosel_allowed_deg=(least_deg, None))
        return fp.choose("4140", limits=limits, settings=RANGES, starts=1)

    none = chosen(3.2)
    assert not none.feasible and none.scatter is None and none.together_steps > 0
    row = none.relax.iloc[0]
    assert row["limit"] == "hosel bend at least 3.2°" and row["enough"]
    assert "Relax hosel bend" in none.words()
    # relaxed by so much, the settings exist: and not when relaxed by clearly less
    assert chosen(float(row["to"]) - 0.02).feasible
    assert not chosen(float(row["to"]) + 0.15).feasible


@pytest.mark.parametrize("arguments, words", [
    ({"limits": 5}, "must be Limits"),
    ({"settings": {}}, "settings must be a mapping .*{}"),
    ({"settings": {"flux": 5}}, "range of flux must be .*5"),
    ({"settings": {"flux": (9, 4)}}, "from low to high"),
    ({"settings": {"fluxx": (1, 2)}}, "did you mean 'flux'"),
    ({"settings": {"flux": (1, 2)}, "route": fp.Route(spray=None)}, "no spray"),
    ({"starts": 0}, "Starts 0"),
])  # fmt: skip
def test_bad_questions_are_refused(arguments, words):
    given = {"limits": fp.Limits(face_margin=(1, None)), **arguments}
    refuses(words, fp.choose, "4130", **given)


def test_cancel_tells_what_was_found():
    done = []
    limits, turned = fp.Limits(face_hardness_hv=(380, 480)), {"flux": (4, 16)}
    watch = {"progress": lambda cases, _: done.append(cases), "cancel": lambda: len(done) >= 3}
    stopped = fp.choose("4130", limits=limits, settings=turned, starts=2, **watch)
    assert stopped.cancelled and stopped.cases == done[-1] and stopped.settings["flux"] >= 4
    refuses("stopped before", fp.choose, "4130", limits=limits, cancel=lambda: True)


def test_a_setting_at_the_end_of_its_range_is_named():
    """With less water than the face wants, the search stands at the most there is."""
    limits, turned = fp.Limits(face_hardness_hv=(300, None)), {"flux": (4.0, 9.0)}
    choice = fp.choose("4130", limits=limits, settings=turned, starts=1, **SCATTER)
    ends = [n for n, v in choice.settings.items() if v > 8.9 or v < 4.1]
    assert ends and list(choice.at_end) == ends
    assert ("beyond it may be better" in choice.words()) == bool(ends)
