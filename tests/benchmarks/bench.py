"""How fast it is: run ``python tests/benchmarks/bench.py``; ``--quick`` for a tenth of the cases.

Every figure stands beside the obvious alternative, the same physics by `scipy.integrate.solve_ivp`, measured in the
same run.  Time is told twice: by the clock, and by the processor time the process took, which does not care who else
uses the machine.  Rates by processor time are for all cores of the machine working undisturbed.
"""

import argparse
import contextlib
import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path
from unittest import mock

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from benchmarks import against
from engine import method_of_lines as reference
from first_library import ordinary

import forgeprops as fp
from forgeprops.answer.evaluation import Evaluation
from forgeprops.engine import batch, packing
from forgeprops.engine.native.library import load as load_engine
from forgeprops.engine.results import Results
from forgeprops.engine.run import march_columns
from forgeprops.inputs.cases import Cases

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
    cases = ordinary(n, 1)
    fp.estimate_many(*ordinary(64, 2), quick=True)
    with Clock() as clock:
        table = fp.estimate_many(*cases, quick=True)
    assert len(table) == n
    assert (table["error"] == "").all() and np.isfinite(table["face_margin"]).all()
    tell(f"batch of {n} different cases (clock)", n / clock.wall, "cases/s", ">= 6000")
    what = f"batch of {n} different cases (processor, {CORES} cores)"
    tell(what, CORES * n / clock.cpu, "cases/s")
    tell("processor time a case, all in", 1e6 * clock.cpu / n, "µs")
    return clock.cpu / n


def parts(n=1024):
    """Where the processor time of a batch goes."""
    steels, parts_, routes = ordinary(n, 1)
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

    def pack():
        with mock.patch.object(batch, "run", side_effect=InterruptedError):
            with contextlib.suppress(InterruptedError):
                march_columns(columns)

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
    cases = ordinary(count, 8)
    engine = march_columns(Cases.of(*cases, [fp.Shop()] * count)).zones[:, :, 0]
    taken = reference.fed(*cases)
    with Clock() as clock:
        exact = np.array([_solve(taken, c, 1e-6) for c in range(count)])
    tell("solve_ivp at rtol 1e-6, processor time a case", clock.cpu / count, "s")
    error = np.abs(engine - exact).max(axis=1)
    tell("engine against solve_ivp at rtol 1e-6, median case", float(np.median(error)), "HV")
    for rtol in (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 1e-5):
        with Clock() as clock:
            loose = np.array([_solve(taken, c, rtol) for c in range(count)])
        worst = float(np.median(np.abs(loose - exact).max(axis=1)))
        if worst <= max(float(np.median(error)), 0.5):
            break
    tell(f"solve_ivp (BDF, rtol {rtol:g}), median error", worst, "HV")
    tell("solve_ivp, processor time a case", 1e3 * clock.cpu / count, "ms")
    what = "engine and everything named, against solve_ivp's march"
    tell(what, clock.cpu / count / ours_s, "times", ">= 500")


def _solve(taken, c, rtol):
    case = reference.Case(taken, c, packing.POINTS)
    case.run(rtol)
    return case.hardness()[:, 0]


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
    ours = rates(2_000 if options.quick else 20_000) if {"rates", "obvious"} & wanted else None
    sections = {
        "fresh": fresh, "single": single, "parts": parts, "studies": lambda: studies(options.quick),
        "obvious": lambda: obvious(ours, 2 if options.quick else 6),
    }  # fmt: skip
    for name in wanted & set(sections):
        sections[name]()
    if options.json:
        text = json.dumps(RESULTS, indent=1, ensure_ascii=False)
        Path(options.json).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
