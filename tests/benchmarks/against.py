"""This tree against another commit, the same cases in the same run: ``python tests/benchmarks/bench.py --against COMMIT``.

Each tree has a process of its own. They take turns, so that a change of the machine's load meets both.
"""

import inspect
import io
import itertools
import json
import os
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

LIMITS = fp.Limits(face_hardness_hv=(380, 480), hosel_allowed_deg=(2.4, None))


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


def serve():
    """Answer each line (section, share) with its wall and processor time a case."""
    ready = {}
    print(json.dumps(fp.__file__), flush=True)
    for line in sys.stdin:
        section, share = line.split()
        if section not in ready:
            SECTIONS[section](0.001)[0]()  # what is loaded, compiled or cached once
            ready[section] = SECTIONS[section](float(share))
        work, n = ready[section]
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        taken = time.perf_counter() - wall, time.process_time() - cpu
        print(json.dumps([t / n for t in taken]), flush=True)


class Tree:
    """A process that runs the sections with the package of one folder."""

    def __init__(self, folder):
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        bare = {**os.environ, "PYTHONPATH": str(folder)}
        command = [sys.executable, __file__, "--serve"]
        self._process = subprocess.Popen(command, cwd=folder, env=bare, **pipes)
        loaded = json.loads(self._process.stdout.readline())
        assert Path(loaded).is_relative_to(folder), f"{loaded} is not in {folder}"

    def times(self, section, share):
        self._process.stdin.write(f"{section} {share}\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self):
        self._process.stdin.close()
        self._process.wait()


def compare(commit, tell, share=1.0, rounds=3):
    """Tell (name, value, unit), for each section, the least times of both trees in `rounds` turns, and their ratios."""
    command = ["git", "-C", str(ROOT), "archive", commit, "forgeprops", "data"]
    archive = subprocess.run(command, capture_output=True, check=True)
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder).resolve()
        with tarfile.open(fileobj=io.BytesIO(archive.stdout)) as tar:
            tar.extractall(folder, filter="data")
        trees = []
        try:
            for place in (folder, ROOT):
                trees.append(Tree(place))
            for section in SECTIONS:
                turns = [[tree.times(section, share) for tree in trees] for _ in range(rounds)]
                (old_wall, old_cpu), (new_wall, new_cpu) = np.min(turns, axis=0)
                tell(f"{section}, {commit} (clock, a case)", 1e6 * old_wall, "µs")
                tell(f"{section}, this tree (clock, a case)", 1e6 * new_wall, "µs")
                tell(f"{section}, ratio by the clock", old_wall / new_wall, "times")
                tell(f"{section}, ratio by processor time", old_cpu / new_cpu, "times")
        finally:
            for tree in trees:
                tree.close()


if __name__ == "__main__" and "--serve" in sys.argv:
    serve()
