"""How fast it is: run ``python tests/benchmarks/bench.py``; ``--quick`` for a tenth of the cases.

Every figure stands beside the obvious alternative, the same physics by `scipy.integrate.solve_ivp`, measured in the
same run.  Time is told twice: by the clock, and by the processor time the process took, which does not care who else
uses the machine.  Rates by processor time are for all cores of the machine working undisturbed.
"""

import argparse
import importlib.util
import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

import forgeprops as fp
from forgeprops.answer.evaluation import Evaluation
from forgeprops.engine import batch, packing
from forgeprops.engine import run as heads
from forgeprops.engine.native.library import load as load_engine
from forgeprops.engine.results import Results
from forgeprops.engine.run import march_columns
from forgeprops.inputs.cases import Cases

TESTS = Path(__file__).resolve().parents[1]


def script(path):
    """A file of the tests as a module."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = sys.modules[path.stem] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


against = script(TESTS / "benchmarks" / "against.py")
different = against.different
CORES = os.cpu_count() or 1
RESULTS = {}


def tell(name, value, unit="", target=""):
    RESULTS[name] = value
    print(f"{name:58} {value:>12,.4g} {unit:10} {target}", flush=True)


class Clock:
    """Time by the clock and of this process's processors."""

    def __enter__(self):
        self._begin = time.perf_counter(), time.process_time()
        return self

    def __exit__(self, *_):
        wall, cpu = self._begin
        self.wall, self.cpu = time.perf_counter() - wall, time.process_time() - cpu


def best(work, times=7):
    """Least wall and processor time of a few runs, s."""
    taken = []
    for _ in range(times):
        with Clock() as clock:
            work()
        taken.append((clock.wall, clock.cpu))
    return min(w for w, _ in taken), min(c for _, c in taken)


def fresh():
    """A new process: import, and the first estimate with a warm compile cache."""
    code = (
        "import time; a = time.perf_counter(); import forgeprops as fp; b = time.perf_counter(); "
        "fp.estimate(fp.grade('4130')); c = time.perf_counter(); print(b - a, c - a)"
    )
    command, runs = [sys.executable, "-c", code], []
    for _ in range(4):
        told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        runs.append([float(x) for x in told.split()])
    tell("import of the package", min(r[0] for r in runs[1:]), "s", "<= 0.5")
    tell("fresh process to first estimate", min(r[1] for r in runs[1:]), "s", "<= 2")


def single():
    """One warm estimate, and the engine's share of it."""
    steel, head = fp.grade("4130"), fp.head("mid-iron")
    routes = iter(fp.Route().with_(preheat_c=900.0 + 0.01 * i) for i in range(10**6))
    one = Cases.of([steel], [head], [next(routes)], [fp.Shop()])
    march_columns(one)
    _, cpu = best(lambda: march_columns(one, threads=1), 20)
    tell("one march, engine and packing", 1e3 * cpu, "ms", "<= 1")
    fp.estimate(steel, head, next(routes))
    wall, cpu = best(lambda: fp.estimate(steel, head, next(routes)), 20)
    tell("one estimate, told in full (processor)", 1e3 * cpu, "ms", "<= 5")
    tell("one estimate, told in full (clock)", 1e3 * wall, "ms")


def rates(n):
    """Different cases a second, everything named: hardness, strength, hosel degrees, face margin."""
    cases = different(n)
    fp.estimate_many(*different(64, 2), quick=True)
    with Clock() as clock:
        table = fp.estimate_many(*cases, quick=True)
    assert len(table) == n
    assert (table["error"] == "").all() and np.isfinite(table["face_margin"]).all()
    tell(f"batch of {n} different cases (clock)", n / clock.wall, "cases/s", ">= 6000")
    tell(
        f"batch of {n} different cases (processor, {CORES} cores)", CORES * n / clock.cpu, "cases/s"
    )
    tell("processor time a case, all in", 1e6 * clock.cpu / n, "µs")
    return clock.cpu / n


def parts(n=1024):
    """Where the processor time of a batch goes."""
    steels, parts_, routes = different(n)
    shops = [fp.Shop()] * n
    columns = Cases.of(steels, parts_, routes, shops)
    with Clock() as clock:
        marched = march_columns(columns)
    results, march = Results.of(marched), clock.cpu

    def stage(name):
        """One stage on its own: what it rests on is there already."""
        e = Evaluation(columns, results)
        _ = e.strength, e.hosel, e.strikes
        e.__dict__.pop(name, None)
        return lambda: (getattr(e, name), e.__dict__.pop(name))

    class Stop(Exception):
        pass

    def stop(*_args, **_options):
        raise Stop

    def pack():
        run, batch.run = heads.batch.run, stop
        try:
            march_columns(columns)
        except Stop:
            pass
        finally:
            heads.batch.run = run

    rest = 0.0
    stages = {
        "reading the objects": lambda: Cases.of(steels, parts_, routes, shops), "packing for the engine": pack,
        "strength": stage("strength"), "hosel on the bench": stage("hosel"), "face at the strike": stage("strikes"),
        "warnings": stage("codes"),
    }  # fmt: skip
    for name, work in stages.items():
        _, cpu = best(work)
        rest += cpu
        tell(f"  {name}", 1e6 * cpu / n, "µs a case")
    tell("  all that is not the march", 1e6 * rest / n, "µs a case", "<= 40")
    tell("  the march", 1e6 * march / n - RESULTS["  packing for the engine"], "µs a case")
    tell("  steps of a march, mean", float(marched.steps.mean()), "")


def studies(quick):
    limits = fp.Limits(face_hardness_hv=(380, 480), hosel_allowed_deg=(2.4, None))
    points = 20 if quick else 60
    fp.window("4130", x=("preheat_c", 850, 1000, 3), y=("flux", 4, 18, 3), limits=limits)
    axes = {"x": ("preheat_c", 850, 1000, points), "y": ("flux", 4, 18, points)}
    wall, cpu = best(lambda: fp.window("4130", **axes, limits=limits), 3)
    tell(f"window {points} x {points} (clock)", wall, "s", "<= 0.8 for 60 x 60")
    tell(f"window {points} x {points} (processor / {CORES})", cpu / CORES, "s")
    n = 10_000 if quick else 100_000
    with Clock() as clock:
        fp.scatter("4130", limits=limits, n=n, indices=False)
    tell(f"scatter of {n} (clock)", clock.wall, "s", "<= 20 for 100 000")
    tell(f"scatter of {n} (processor / {CORES})", clock.cpu / CORES, "s")


def obvious(ours_s, count):
    """The same physics by `scipy.integrate.solve_ivp`, as loose as gives the engine's error or less."""
    reference = script(TESTS / "engine" / "method_of_lines.py")
    columns = Cases.of(*different(count, 8), [fp.Shop()] * count)
    taken = []
    run = heads.batch.run

    def record(packed, **options):
        taken[:] = tuple(vars(packed).values())[:-1]
        return run(packed, **options)

    heads.batch.run = record
    try:
        engine = march_columns(columns).zones[:, :, 0]
    finally:
        heads.batch.run = run
    points = packing.POINTS
    with Clock() as clock:
        exact = np.array([_solve(reference, taken, c, points, 1e-6)[0] for c in range(count)])
    tell("solve_ivp at rtol 1e-6, processor time a case", clock.cpu / count, "s")
    error = np.abs(engine - exact).max(axis=1)
    tell("engine against solve_ivp at rtol 1e-6, median case", float(np.median(error)), "HV")
    for rtol in (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 1e-5):
        with Clock() as clock:
            loose = np.array([_solve(reference, taken, c, points, rtol)[0] for c in range(count)])
        worst = float(np.median(np.abs(loose - exact).max(axis=1)))
        if worst <= max(float(np.median(error)), 0.5):
            break
    tell(f"solve_ivp (BDF, rtol {rtol:g}), median error", worst, "HV")
    tell("solve_ivp, processor time a case", 1e3 * clock.cpu / count, "ms")
    what = "engine and everything named, against solve_ivp's march"
    tell(what, clock.cpu / count / ours_s, "times", ">= 500")


def _solve(reference, taken, c, points, rtol):
    case = reference.Case(taken, c, points)
    case.run(rtol)
    return case.hardness()[:, 0], case.calls


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the cases")
    parser.add_argument("--only", nargs="*", help="fresh single rates parts studies obvious")
    parser.add_argument("--against", metavar="COMMIT", help="only: both engines in turns, ratios")
    parser.add_argument("--json", help="also write the figures to this file")
    options = parser.parse_args()
    wanted = set(options.only or ("fresh", "single", "rates", "parts", "studies", "obvious"))
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"forgeprops {fp.__version__}, Python {platform.python_version()}, {CORES} cores{load}\n")
    if options.against:
        wanted = set()
        print(f"engine {Path(load_engine()._name).name}\n")
        against.compare(options.against, tell, 0.1 if options.quick else 1.0)
    ours = None
    if "fresh" in wanted:
        fresh()
    if "single" in wanted:
        single()
    if "rates" in wanted or "obvious" in wanted:
        ours = rates(2_000 if options.quick else 20_000)
    if "parts" in wanted:
        parts()
    if "studies" in wanted:
        studies(options.quick)
    if "obvious" in wanted:
        obvious(ours, 2 if options.quick else 6)
    if options.json:
        Path(options.json).write_text(
            json.dumps(RESULTS, indent=1, ensure_ascii=False), encoding="utf-8"
        )


if __name__ == "__main__":
    main()
