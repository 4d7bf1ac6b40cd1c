"""The compiled engine as a program: every case alone to the last bit, forks, ends and limits."""

import dataclasses
import multiprocessing
import os
import subprocess
import sys

import numpy as np
import pytest
from regression.cases import cases

import forgeprops as fp
from forgeprops.engine import batch, march
from forgeprops.engine.run import march_columns
from forgeprops.inputs.cases import Cases

N = 500
FIELDS = ("zones", "marks", "point_hv", "energy", "steps")


@pytest.fixture(scope="module")
def drawn():
    """500 cases of three heads whose bodies have one to eight blocks, in few kinds of air."""
    steels, heads, routes, shops, _ = map(list, zip(*cases("single", N), strict=True))
    base = [fp.head(h.name.rstrip(" 0123456789")) for h in heads]
    pairs = zip(base, heads, strict=True)
    heads = [dataclasses.replace(b, body=h.body, declared_mass_g=None) for b, h in pairs]
    still = {"air_c": 25.0, "air_speed_m_s": 3.0, "view_factor": None}
    routes = [dataclasses.replace(r, **still) for r in routes]
    return steels, heads, routes, shops


def marched(drawn, rows, **options):
    part = [[column[i] for i in rows] for column in drawn]
    return march_columns(Cases.of(*part), **options)


@pytest.fixture(scope="module")
def whole(drawn):
    return marched(drawn, range(N))


def same(found, rows, whole):
    for field in FIELDS:
        assert np.array_equal(getattr(found, field), getattr(whole, field)[rows]), field


def test_threads_and_chunks_change_no_bit(drawn, whole, monkeypatch):
    same(marched(drawn, range(N), threads=1), np.arange(N), whole)
    run = batch.run
    for threads, chunk in ((7, 3), (2, 100), (1, 1)):

        def run_so(*a, t=threads, c=chunk, **o):
            return run(*a, **{**o, "threads": t, "chunk": c})

        monkeypatch.setattr(batch, "run", run_so)
        same(marched(drawn, range(N)), np.arange(N), whole)


def test_order_neighbours_and_a_batch_change_no_bit(drawn, whole):
    shuffled = np.random.default_rng(0).permutation(N)
    same(marched(drawn, shuffled), shuffled, whole)
    some = np.arange(0, N, 7)
    same(marched(drawn, some), some, whole)
    for i in range(0, N, 20):
        same(marched(drawn, [i]), [i], whole)


def test_over_a_hundred_kinds_of_heads_and_air_change_no_bit():
    """Over 100 kinds their convection is made at once."""
    every = [list(column) for column in list(zip(*cases("single", N), strict=True))[:4]]
    same(marched(every, range(0, N, 7)), np.arange(0, N, 7), marched(every, range(N)))


@pytest.mark.parametrize("preheat_c", [760.0, 930.0])
def test_a_way_that_cases_share_changes_no_bit(preheat_c):
    """Cases of one furnace are heated once, those equal up to the water cooled to it once, as if each were alone."""
    n = 24
    routes = [fp.Route().with_(preheat_c=preheat_c + i // 6, spray_s=4.0 + i % 6) for i in range(n)]
    steels, parts = [fp.grade("4130")] * n, [fp.head("mid-iron")] * n
    kept = {"trace": True, "keep_points": True}
    together = march_columns(Cases.of(steels, parts, routes), **kept)
    untraced = march_columns(Cases.of(steels, parts, routes))
    for i in range(0, n, 5):
        alone = one(routes[i], **kept)
        same(alone, [i], together)
        assert np.array_equal(alone.trace[0], together.trace[i])
        same(one(routes[i]), [i], untraced)


def test_a_trace_changes_nothing_but_how_long_is_marched(drawn, whole):
    some = np.arange(200)
    traced = marched(drawn, some, trace=True, keep_points=True)
    assert np.array_equal(traced.zones, whole.zones[some])
    kept = [np.delete(m.marks[some], march.M_LOW, axis=2) for m in (traced, whole)]
    assert np.array_equal(*kept)
    for c in some[:40]:
        trace = traced.trace[c]
        assert trace.shape[1] == 11 + traced.point_hv.shape[1]
        assert (np.diff(trace[:, 0]) > 0.0).all() and np.isfinite(trace).all()
        assert trace[0, 1] == pytest.approx(drawn[2][c].start_c)
        assert trace[-1, 1:].max() < march.STOP_C + 40.0


@pytest.mark.parametrize("level", [3, 4])
def test_every_instruction_level_gives_the_same_bits(level):
    code = """
from forgeprops.engine.native.library import EngineLibraryError
from forgeprops.engine.run import march_columns
from forgeprops.inputs.cases import Cases
import forgeprops as fp
steels = [fp.grade(n) for n in fp.grades()[:16]]
try:
    found = march_columns(Cases.of(steels, [fp.head("mid-iron")] * 16, [fp.Route()] * 16))
    print(found.zones.tobytes().hex(), found.energy.tobytes().hex())
except EngineLibraryError as error:
    print("none", error)
"""
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "FORGEPROPS_LEVEL": str(level)},
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    if done.stdout.startswith("none"):
        pytest.skip(f"not run on this processor: {done.stdout.strip()}")
    names = fp.grades()[:16]
    same_for_all = [fp.head("mid-iron")] * 16, [fp.Route()] * 16, [fp.Shop()] * 16
    ours = march_columns(Cases.of([fp.grade(n) for n in names], *same_for_all))
    assert done.stdout.split() == [ours.zones.tobytes().hex(), ours.energy.tobytes().hex()]


def one(route, name="4130", **options):
    return march_columns(Cases.of([fp.grade(name)], [fp.head("mid-iron")], [route]), **options)


def _march_one(i):
    return one(fp.Route().with_(preheat_c=850.0 + i)).zones[0]


@pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="no fork on this system"
)
@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_forked_workers_find_the_same():
    """A worker forked after the engine was loaded and threads have run neither hangs nor differs."""
    here = [_march_one(i) for i in range(4)]
    many = [fp.grade("4130")] * 1200
    march_columns(Cases.of(many, [fp.head("mid-iron")] * 1200, [fp.Route()] * 1200))
    with multiprocessing.get_context("fork").Pool(2) as pool:
        there = pool.map_async(_march_one, range(4)).get(timeout=120)
    assert all(np.array_equal(a, b) for a, b in zip(here, there, strict=True))


@pytest.mark.parametrize("name", [
    "4130", "1045", "1040"
])  # fmt: skip
def test_a_dwell_of_nothing_is_the_limit_of_a_short_one(name):
    """The stroke's strain and scale do not depend on its length being zero."""
    none = one(fp.Route().with_(dwell_s=0.0), name).zones[0, :, 0]
    assert one(fp.Route().with_(dwell_s=2e-9), name).zones[0, :, 0] == pytest.approx(none, abs=1e-3)
    assert one(fp.Route().with_(dwell_s=1e-4), name).zones[0, :, 0] == pytest.approx(none, abs=0.2)


@pytest.mark.parametrize("start_c, furnace_c, soak_s", [(982.0, 20.0, 23_210.0), (1339.0, 24.8, 2220.0)])  # fmt: skip
def test_a_head_hotter_than_its_furnace_ends(start_c, furnace_c, soak_s):
    route = fp.Route().with_(preheat_c=furnace_c, soak_s=soak_s, start_c=start_c, dwell_s=0.0)
    found = one(route)
    assert found.steps[0] < 1000 and np.isfinite(found.zones).all()


def test_a_march_of_too_many_steps_is_not_silent():
    with pytest.raises(RuntimeError, match="did not end in"):
        one(fp.Route(), tolerance_c=1e-5)
