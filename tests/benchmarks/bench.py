"""How fast it is: run ``python tests/benchmarks/bench.py``; ``--quick`` for a tenth of the cases.

Time is told twice: by the clock, and by the processor time the process took, which does not care who else uses the
machine.  ``--against COMMIT`` runs the sections of this tree and of another commit in turns, each in a process of its own.
"""

import argparse
import contextlib
import inspect
import io
import itertools
import json
import os
import platform
import subprocess
import sys
import tarfile
import tempfile
import time
from pathlib import Path

import numpy as np

import forgeprops as fp

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))
from first_library import ordinary  # noqa: E402

CORES = os.cpu_count() or 1
LIMITS = fp.Limits(face_hardness_hv=(380, 480), hosel_allowed_deg=(2.4, None))
RESULTS = {}


def tell(name, value, unit="", target=""):
    RESULTS[name] = value
    print(f"{name:58} {value:>12,.4g} {unit:10} {target}", flush=True)


# Each section returns the work to time and the number of cases in it, for a share of the full number.


def march(share):
    try:
        from forgeprops.engine.run import march_columns
        from forgeprops.inputs.cases import Cases

        columns_of = Cases.of
    except ImportError:  # as the modules were called at commit 9cd166c
        from forgeprops.thermal.march.columns import columns_of
        from forgeprops.thermal.march.heads import march_columns
    n = max(int(1024 * share), 8)
    columns = columns_of(*ordinary(n, 1), [fp.Shop()] * n)
    return lambda: march_columns(columns, threads=1), n


def batch(share):
    n = max(int(8192 * share), 8)
    cases = ordinary(n, 1)
    quick = {"quick": True} if "quick" in inspect.signature(fp.estimate_many).parameters else {}
    return lambda: fp.estimate_many(*cases, **quick), n


def window(share):
    points = max(int(60 * share**0.5), 3)
    x, y = ("preheat_c", 850, 1000, points), ("flux", 4, 18, points)
    return lambda: fp.window("4130", x=x, y=y, limits=LIMITS), points**2


def scatter(share):
    n = max(int(100_000 * share), 64)
    return lambda: fp.scatter("4130", limits=LIMITS, n=n, indices=False), n


def estimate(share):
    steel, head, step = fp.grade("4130"), fp.head("mid-iron"), itertools.count()
    n = max(int(50 * share), 1)

    def work():
        for _ in range(n):
            fp.estimate(steel, head, fp.Route().with_(preheat_c=900.0 + 0.01 * next(step)))

    return work, n


SECTIONS = {f.__name__: f for f in (march, batch, window, scatter, estimate)}
#: What a section is to reach, by processor time a case unless said otherwise.
TARGETS = {
    "march": "<= 1000", "batch": "<= 167 by the clock", "window": "<= 222 (60 x 60 in 0.8 s)",
    "scatter": "<= 200 (100 000 in 20 s)", "estimate": "<= 5000",
}  # fmt: skip


def taken(work, times=1):
    """Least time by the clock and of this process's processors of a few runs, s."""
    each = []
    for _ in range(times):
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        each.append((time.perf_counter() - wall, time.process_time() - cpu))
    return np.min(each, axis=0)


def sections(share):
    """Every section of this tree; processor time of a case of the batch, s."""
    for name, section in SECTIONS.items():
        section(0.001)[0]()  # what is loaded, compiled or cached once
        work, n = section(share)
        wall, cpu = taken(work, 3) / n
        tell(f"{name}, {n} cases (clock, a case)", 1e6 * wall, "µs")
        tell(f"{name}, {n} cases (processor, a case)", 1e6 * cpu, "µs", TARGETS[name])


def fresh():
    """A new process: import, and the first estimate."""
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


def parts(n=1024):
    """Where the processor time of a batch goes."""
    from engine.method_of_lines import fed

    from forgeprops.answer.evaluation import Evaluation
    from forgeprops.engine.results import Results
    from forgeprops.engine.run import march_columns
    from forgeprops.inputs.cases import Cases

    given = (*ordinary(n, 1), [fp.Shop()] * n)
    columns = Cases.of(*given)
    marched = march_columns(columns)
    results, (_, whole) = Results.of(marched), taken(lambda: march_columns(columns))

    def stage(name):
        """One stage on its own: what it rests on is there already."""
        e = Evaluation(columns, results)
        _ = e.strength, e.hosel, e.strikes
        e.__dict__.pop(name, None)
        return lambda: (getattr(e, name), e.__dict__.pop(name))

    stages = {
        "reading the objects": lambda: Cases.of(*given), "reading and packing for the engine": lambda: fed(*given),
        "strength": stage("strength"), "hosel on the bench": stage("hosel"), "face at the strike": stage("strikes"),
        "warnings": stage("codes"),
    }  # fmt: skip
    for name, work in stages.items():
        tell(f"  {name}", 1e6 * taken(work, 7)[1] / n, "µs a case")
    tell("  packing and march", 1e6 * whole / n, "µs a case")
    tell("  steps of a march, mean", float(marched.steps.mean()))


def obvious(count):
    """The same physics by `scipy.integrate.solve_ivp`, as loose as gives the engine's error or less."""
    from engine import method_of_lines as reference

    from forgeprops.engine import packing
    from forgeprops.engine.run import march_columns
    from forgeprops.inputs.cases import Cases

    cases, found = ordinary(count, 8), {}
    engine = march_columns(Cases.of(*cases)).zones[:, :, 0]
    args = reference.fed(*cases)

    def solve(rtol):
        for c in range(count):
            case = reference.Case(args, c, packing.POINTS)
            case.run(rtol)
            found[rtol, c] = case.hardness()[:, 0]

    def off(rtol, other):
        each = [np.abs(found[rtol, c] - other[c]).max() for c in range(count)]
        return float(np.median(each))

    tell(
        "solve_ivp at rtol 1e-6, processor time a case", taken(lambda: solve(1e-6))[1] / count, "s"
    )
    exact, error = [found[1e-6, c] for c in range(count)], off(1e-6, engine)
    tell("engine against it, median case", error, "HV")
    for rtol in (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 1e-5):
        _, cpu = taken(lambda rtol=rtol: solve(rtol))
        if off(rtol, exact) <= max(error, 0.5):
            break
    tell(f"solve_ivp (BDF, rtol {rtol:g}), median error", off(rtol, exact), "HV")
    tell("solve_ivp, processor time a case", 1e3 * cpu / count, "ms")
    work, n = batch(0.1)
    what = "engine and everything named, against solve_ivp's march"
    tell(what, cpu / count / (taken(work, 3)[1] / n), "times", ">= 500")


def serve():
    """Answer each line (section, share) with its wall and processor time a case."""
    ready = {}
    print(json.dumps(fp.__file__), flush=True)
    for line in sys.stdin:
        name, share = line.split()
        if name not in ready:
            SECTIONS[name](0.001)[0]()
            ready[name] = SECTIONS[name](float(share))
        work, n = ready[name]
        print(json.dumps([t / n for t in taken(work)]), flush=True)


class Tree:
    """A process that runs the sections with the package of one folder."""

    def __init__(self, folder):
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        bare = {**os.environ, "PYTHONPATH": str(folder)}
        command = [sys.executable, __file__, "--serve"]
        self._process = subprocess.Popen(command, cwd=folder, env=bare, **pipes)
        loaded = json.loads(self._process.stdout.readline())
        assert Path(loaded).is_relative_to(folder), f"{loaded} is not in {folder}"

    def times(self, name, share):
        self._process.stdin.write(f"{name} {share}\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self):
        self._process.stdin.close()
        self._process.wait()


def against(commit, share, rounds=3):
    """Least times of both trees in `rounds` turns, and their ratios, for each section."""
    command = ["git", "-C", str(ROOT), "archive", commit, "forgeprops", "data"]
    archive = subprocess.run(command, capture_output=True, check=True)
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as ends:
        folder = Path(folder).resolve()
        with tarfile.open(fileobj=io.BytesIO(archive.stdout)) as tar:
            tar.extractall(folder, filter="data")
        trees = [ends.enter_context(contextlib.closing(Tree(place))) for place in (folder, ROOT)]
        for name in SECTIONS:
            turns = [[tree.times(name, share) for tree in trees] for _ in range(rounds)]
            (old_wall, old_cpu), (new_wall, new_cpu) = np.min(turns, axis=0)
            tell(f"{name}, {commit} (clock, a case)", 1e6 * old_wall, "µs")
            tell(f"{name}, this tree (clock, a case)", 1e6 * new_wall, "µs")
            tell(f"{name}, ratio by the clock", old_wall / new_wall, "times")
            tell(f"{name}, ratio by processor time", old_cpu / new_cpu, "times")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the cases")
    parser.add_argument("--only", nargs="*", help="fresh sections parts obvious")
    parser.add_argument("--against", metavar="COMMIT", help="only: both engines in turns, ratios")
    parser.add_argument("--json", help="also write the figures to this file")
    options = parser.parse_args()
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"forgeprops {fp.__version__}, Python {platform.python_version()}, {CORES} cores{load}")
    share = 0.1 if options.quick else 1.0
    work = {"fresh": fresh, "sections": lambda: sections(share), "parts": parts}
    work["obvious"] = lambda: obvious(2 if options.quick else 6)
    if options.against:
        from forgeprops.engine.native.library import load as load_engine

        print(f"engine {Path(load_engine()._name).name}\n")
        work = {"against": lambda: against(options.against, share)}
    for name in options.only or work:
        work[name]()
    if options.json:
        text = json.dumps(RESULTS, indent=1, ensure_ascii=False)
        Path(options.json).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    serve() if "--serve" in sys.argv else main()
