"""The compiled engine as a program: threads, chunks, forks, the compile cache, the table of the wet surface."""

import multiprocessing
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import forgeprops
from forgeprops.engine import balance, batch, packing
from forgeprops.engine.run import march_heads
from forgeprops.inputs.grades import grade
from forgeprops.inputs.head import head
from forgeprops.inputs.route import Route
from forgeprops.inputs.shop import Shop
from forgeprops.thermal.spray import SCALE_CONDUCTIVITY_W_MK, spray_w_m2k

PACKAGE = Path(forgeprops.__file__).resolve().parent
N = 150


@pytest.fixture(scope="module")
def cases(mixed):
    return mixed(N, seed=3)


def same(a, b):
    for field in ("zones", "marks", "point_hv", "energy", "steps"):
        assert np.array_equal(getattr(a, field), getattr(b, field)), field


def test_threads_chunks_and_order_change_nothing(cases, monkeypatch):
    """Not one bit: every case is marched alone."""
    whole = march_heads(*cases, [Shop()] * N)
    same(whole, march_heads(*cases, [Shop()] * N, threads=1))
    run = batch.run
    monkeypatch.setattr(batch, "run", lambda *a, **o: run(*a, **{**o, "threads": 7, "chunk": 3}))
    same(whole, march_heads(*cases, [Shop()] * N))
    monkeypatch.undo()
    backwards = march_heads(*(column[::-1] for column in cases), [Shop()] * N)
    assert np.array_equal(backwards.zones[::-1], whole.zones)
    steels, heads_, routes = cases
    alone = march_heads([steels[77]], [heads_[77]], [routes[77]], [Shop()])
    assert np.array_equal(alone.zones[0], whole.zones[77])


def _march_one(i):
    found = march_heads(
        [grade("4130")], [head("mid-iron")], [Route().with_(preheat_c=850.0 + i)], [Shop()]
    )
    return found.zones[0]


@pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="no fork on this system"
)
@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_forked_workers_find_the_same():
    """A worker forked after the engine was compiled and threads have run neither hangs nor differs."""
    here = [_march_one(i) for i in range(4)]
    many = [grade("4130")] * 200
    march_heads(many, [head("mid-iron")] * 200, [Route()] * 200, [Shop()] * 200)  # threads have run
    with multiprocessing.get_context("fork").Pool(2) as pool:
        there = pool.map_async(_march_one, range(4)).get(timeout=120)
    assert all(np.array_equal(a, b) for a, b in zip(here, there, strict=True))


# ---- the compile cache: copies of the package, each in a process of its own ---------------------------------

SCRIPT = """
import warnings
with warnings.catch_warnings(record=True) as found:
    warnings.simplefilter("always")
    import forgeprops as fp
    curve = fp.continuous_cooling(fp.grade("4130"), rate_c_per_s=5.0)
print(repr(curve.hardness_hv), [str(w.message) for w in found if "compile cache" in str(w.message)])
"""


def copied(folder):
    shutil.copytree(PACKAGE, folder / "forgeprops", ignore=shutil.ignore_patterns("__pycache__"))
    data = PACKAGE / "_data" if (PACKAGE / "_data").is_dir() else PACKAGE.parent / "data"
    shutil.copytree(data, folder / "data")
    return folder


def run(folder, script=SCRIPT, **environment):
    env = {k: v for k, v in os.environ.items() if k not in ("NUMBA_CACHE_DIR", "PYTHONPATH")}
    done = subprocess.run([sys.executable, "-c", script], cwd=folder, env={**env, "PYTHONPATH": str(folder), **environment},
                          capture_output=True, text=True, timeout=300)  # fmt: skip
    assert done.returncode == 0, done.stderr
    value, _, said = done.stdout.strip().partition(" ")
    return float(value), said


@pytest.mark.slow
def test_an_edited_formula_is_compiled_anew(tmp_path):
    """The compile cache notices only the kernel's own file; the checksum in the kernel notices the formulas."""
    folder = copied(tmp_path)
    before, _ = run(folder)
    assert run(folder)[0] == before  # from the cache
    # bainite twice as fast
    formula = folder / "forgeprops" / "transformation" / "decomposition.py"
    text = formula.read_text(encoding="utf-8")
    edited = text.replace("* under * under\n        x = inverse_extent(extent_of(bainite",
                          "* under * under * 2.0\n        x = inverse_extent(extent_of(bainite")  # fmt: skip
    assert edited != text
    formula.write_text(edited, encoding="utf-8")
    assert abs(run(folder)[0] - before) > 0.1
    formula.write_text(text, encoding="utf-8")
    assert run(folder)[0] == before


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="POSIX permissions")
def test_read_only_package_without_a_home_still_works(tmp_path):
    """Nowhere to keep compiled code: it is compiled anew, and said."""
    folder = copied(tmp_path)
    locked = [p for p in (folder / "forgeprops").rglob("*") if p.is_dir()] + [folder / "forgeprops"]
    nowhere = tmp_path / "file"
    nowhere.write_text("not a folder")
    # for the super-user permissions do not count: a file where the cache folder would be does
    for path in locked:
        (path / "__pycache__").write_text("not a folder")
        path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        value, said = run(
            folder, HOME=str(nowhere), XDG_CACHE_HOME=str(nowhere), PYTHONDONTWRITEBYTECODE="1"
        )
    finally:
        for path in locked:
            path.chmod(stat.S_IRWXU)
    assert "NUMBA_CACHE_DIR" in said
    assert value == forgeprops.continuous_cooling(grade("4130"), rate_c_per_s=5.0).hardness_hv


# ---- the wet surface -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("scale_um", [0.0, 15.0, 60.0])
@pytest.mark.parametrize("flux", [4.0, 12.0, 25.0])
def test_wet_table(flux, scale_um):
    """Between its points the table of the sprayed surface keeps to the law with the scale in series.

    The exact surface: the hottest s with s + q(s) R = metal, found on a fine walk down from the metal.
    """
    case = np.zeros(1, packing.CASE)[0]
    case["water_c"], case["air_c"], case["spray_factor"] = 25.0, 25.0, 1.0
    case["emissivity"], case["view_factor"], case["air_factor"] = 0.8, 1.0, 1.0

    class Record:
        def __getattr__(self, name):
            return float(case[name])

    table = np.zeros((1, balance.WET_POINTS))
    balance.wet_table(flux, scale_um, Record(), np.zeros((1, len(packing.CONVECTION_C))), 0, table)
    grid = balance._WET_STEP_C * np.arange(balance.WET_POINTS)
    resistance = scale_um * 1e-6 / SCALE_CONDUCTIVITY_W_MK
    worst = 0.0
    for metal in np.arange(30.0, 1000.0, 7.3):
        s = np.linspace(metal, 0.0, 20_001)
        q = np.array([spray_w_m2k(flux, 25.0 + x, 25.0) * x for x in s[::40]])
        off = s[::40] + q * resistance - metal
        first = int(np.argmax(off <= 0.0)) if off[0] > 0 else 0
        exact = (
            q[first]
            if first == 0
            else np.interp(0.0, [off[first], off[first - 1]], [q[first], q[first - 1]])
        )
        worst = max(worst, abs(np.interp(metal, grid, table[0]) - exact) / q.max())
    assert worst < 0.03
