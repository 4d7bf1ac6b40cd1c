"""Fault injection: one wrong number, sign, operator or comparison at a time, and whether the tests notice.

    python tests/mutate.py --count 48 --seed 1                       # about half an hour
    python tests/mutate.py --count 12 --room hosel --seed 2

Works on a copy of the checkout in a temporary folder.  Every fault first meets the tests of its own room that pass
there; one that survives meets those of `MARCHING` as well.  Survivors are printed with line and change.
"""

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
#: Rooms and their tests.
ROOMS = {
    "hardenability": "hardenability test_opinions.py published/test_formulas.py",
    "transformation": "transformation test_specimens.py published/test_formulas.py",
    "strength": "mechanical published/test_formulas.py",
    "hosel": "limits/test_hosel.py limits/test_section.py published/test_formulas.py",
    "face": "limits/test_face.py published/test_formulas.py",
}
MARCHING = "test_estimate.py test_specimens.py test_second_heat.py published"
#: Operators: as written, and what is put in their place.
SWAPS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Lt: ast.Gt, ast.Gt: ast.Lt,
    ast.LtE: ast.Gt, ast.GtE: ast.Lt, ast.USub: ast.UAdd,
}  # fmt: skip
ENDS = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}
#: Nothing of these is a formula: checking of input, messages, ranges as data, what a picture needs.
LEFT_OUT = ("InputError", "field", "dataclass", "ValueError", "RuntimeError")
NO_FORMULA = (ast.Raise, ast.JoinedStr, ast.Subscript, ast.arguments)


def faults(node):
    """(node, attribute, new value) of every change that can be made to a module."""
    called = ast.unparse(node.func).split(".")[-1] if isinstance(node, ast.Call) else ""
    left_out = called in LEFT_OUT or called.startswith(("check_", "_check"))
    if left_out or isinstance(node, NO_FORMULA):
        return
    if called in ENDS:
        yield node.func, "id" if isinstance(node.func, ast.Name) else "attr", ENDS[called]
    value, operator = getattr(node, "value", 0), getattr(node, "op", None)
    if isinstance(node, ast.Constant) and type(value) in (int, float) and value not in (0, 1):
        yield node, "value", value * 1.1 if type(value) is float else value + 1
    if type(operator) in SWAPS:
        yield node, "op", SWAPS[type(operator)]()
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in SWAPS:
        yield node, "ops", [SWAPS[type(node.ops[0])]()]
    for child in ast.iter_child_nodes(node):
        yield from faults(child)


def tested(copy, names, left_out=(), seconds=1800):
    """What the tests print and whether they notice a fault: one fails, or they do not end."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-o"]
    command += ["addopts=--import-mode=importlib --doctest-modules -rfE", *names]
    command += [f"--deselect={i}" for i in left_out] + ["-x"] * bool(left_out)
    bare = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    options = {"cwd": copy, "env": bare, "capture_output": True, "text": True}
    try:
        done = subprocess.run(command, timeout=seconds, check=False, **options)
    except subprocess.TimeoutExpired:
        return "", True  # an endless loop is noticed by anybody
    if done.returncode not in (0, 1, 2, 5):  # tests that cannot be run are no answer
        raise RuntimeError(done.stdout[-2000:] + done.stderr[-2000:])
    return done.stdout, done.returncode in (1, 2)


def tried(copy, room, count, draw, quick):
    """Make `count` faults in a room, one after the other; yield what each was and whether it was noticed."""
    tests = [f"tests/{name}" for name in ROOMS[room].split()] + [f"forgeprops/{room}"]
    lines = tested(copy, tests)[0].splitlines()
    failing = [x.split(" ", 1)[1].split(" - ")[0] for x in lines if x.startswith(("FAILED ", "ERROR "))]  # fmt: skip
    files = sorted(p for p in (copy / "forgeprops" / room).glob("*.py") if p.name != "__init__.py")
    sites = [(p, i) for p in files for i, _ in enumerate(faults(ast.parse(p.read_text("utf-8"))))]
    print(f"{room}: {len(sites)} places, {len(failing)} tests fail without any", flush=True)
    more = [] if quick else [f"tests/{name}" for name in MARCHING.split()]
    for path, i in draw.sample(sites, count):
        good = path.read_text(encoding="utf-8")
        tree = ast.parse(good)
        node, attribute, new = list(faults(tree))[i]
        old = ast.unparse(node)
        setattr(node, attribute, new)
        path.write_text(ast.unparse(tree), encoding="utf-8")
        caught = tested(copy, tests, failing, 600)[1] or (more and tested(copy, more, failing)[1])
        path.write_text(good, encoding="utf-8")
        yield f"{path.relative_to(copy)}:{node.lineno}: {old} -> {ast.unparse(node)}", bool(caught)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=48)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS, action="append")
    parser.add_argument("--quick", action="store_true", help="leave out the tests that march")
    options = parser.parse_args()
    rooms, draw = options.room or list(ROOMS), random.Random(options.seed)
    left_out = shutil.ignore_patterns(".venv", ".git", "__pycache__", "dist", "artefacts")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(shutil.copytree(ROOT, Path(folder) / "copy", ignore=left_out))
        every, begin = [], time.monotonic()
        for room in rooms:
            for what, caught in tried(copy, room, options.count // len(rooms), draw, options.quick):
                took, begin = time.monotonic() - begin, time.monotonic()
                print(f"{'caught  ' if caught else 'SURVIVED'} {took:4.0f} s  {what}", flush=True)
                every.append((what, caught))
    left = [what for what, caught in every if not caught]
    print(f"\n{len(every)} faults, {len(every) - len(left)} caught, {len(left)} survived:")
    print("\n".join(left))


if __name__ == "__main__":
    main()
