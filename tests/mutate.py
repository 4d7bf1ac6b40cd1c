"""Fault injection: one wrong number, sign, operator or comparison at a time, and whether the tests notice.

    python tests/mutate.py --count 48 --seed 1                       # about half an hour
    python tests/mutate.py --count 12 --room hosel --seed 2

Works on a copy of the checkout in a temporary folder.  Every fault first meets the tests of its own room without the
compiled engine (quick); one that survives meets the tests that march as well.  Survivors are printed with line and change.
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
ROOMS = ("hardenability", "transformation", "strength", "hosel", "face")
SWAPS = {
    ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.Lt: ">", ast.Gt: "<",
    ast.LtE: ">", ast.GtE: "<",
}  # fmt: skip
SIGNS = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.Lt: "<", ast.Gt: ">",
    ast.LtE: "<=", ast.GtE: ">=",
}  # fmt: skip
#: Nothing of these is a formula: checking of input, messages, ranges as data, what a picture needs.
LEFT_OUT = {"InputError", "field", "dataclass", "ValueError", "RuntimeError"}
#: Tests of a room that live elsewhere.
ELSEWHERE = {
    "hardenability": ["tests/test_opinions.py", "tests/published/test_hardenability_published.py"],
    "transformation": [
        "tests/published/test_transformation_published.py",
        "tests/test_specimens.py",
    ],
    "strength": ["tests/published/test_mechanics_published.py"],
    "hosel": ["tests/published/test_mechanics_published.py"],
    "face": ["tests/published/test_mechanics_published.py"],
}
MARCHING = (
    "tests/test_estimate.py",
    "tests/test_specimens.py",
    "tests/test_second_heat.py",
    "tests/published",
)


def faults(path):
    """(line, column, end column, new text) of every change that can be made to a file, line by line."""
    text = path.read_text(encoding="utf-8")
    lines, found = text.splitlines(), []

    def between(left, right, old):
        if left.end_lineno != right.lineno:
            return None
        at = lines[left.end_lineno - 1].find(old, left.end_col_offset, right.col_offset)
        return None if at < 0 else (left.end_lineno, at, at + len(old))

    def visit(node):
        if isinstance(node, (ast.Raise, ast.JoinedStr, ast.Subscript, ast.arguments)):
            return
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func).split(".")[-1]
            if name in LEFT_OUT or name.startswith(("check_", "_check")):
                return
            if (
                name in ("min", "max", "minimum", "maximum")
                and node.func.lineno == node.func.end_lineno
            ):
                new = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}[name]
                found.append(
                    (
                        node.func.lineno,
                        node.func.end_col_offset - len(name),
                        node.func.end_col_offset,
                        new,
                    )
                )
        if (
            isinstance(node, ast.Constant)
            and type(node.value) in (int, float)
            and node.value not in (0, 1)
        ):
            new = repr(node.value * 1.1) if type(node.value) is float else str(node.value + 1)
            found.append((node.lineno, node.col_offset, node.end_col_offset, f"{new}"))
        if isinstance(node, ast.BinOp) and type(node.op) in SWAPS:
            place = between(node.left, node.right, SIGNS[type(node.op)])
            if place:
                found.append((*place, SWAPS[type(node.op)]))
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in SWAPS:
            place = between(node.left, node.comparators[0], SIGNS[type(node.ops[0])])
            if place:
                found.append((*place, SWAPS[type(node.ops[0])]))
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            found.append((node.lineno, node.col_offset, node.col_offset + 1, "+"))
        for child in ast.iter_child_nodes(node):
            visit(child)

    visit(ast.parse(text))
    return [f for f in found if lines[f[0] - 1].isascii()]  # columns count bytes


def run(copy, tests, left_out=(), seconds=600):
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [
        sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-o",
        "addopts=--import-mode=importlib --doctest-modules -rfE", *tests,
        *(f"--deselect={i}" for i in left_out)]  # fmt: skip
    if left_out:
        command.append("-x")
    try:
        return subprocess.run(
            command,
            cwd=copy,
            env=environment,
            capture_output=True,
            text=True,
            timeout=seconds,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return None  # an endless loop is noticed by anybody


def named(report):
    lines = report.stdout.splitlines() if report else []
    return [
        line.split(" ", 1)[1].split(" - ")[0]
        for line in lines
        if line.startswith(("FAILED ", "ERROR "))
    ]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=48)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS, action="append")
    parser.add_argument("--quick", action="store_true", help="leave out the tests that march")
    options = parser.parse_args()
    rooms = options.room or ROOMS
    draw = random.Random(options.seed)
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(
            ROOT,
            copy,
            ignore=shutil.ignore_patterns(".venv", ".git", "__pycache__", "dist", "artefacts"),
        )
        caught, left = 0, []
        for room in rooms:
            tests = [f"tests/{room}", f"forgeprops/{room}", *ELSEWHERE[room]]
            slow = ["tests/limits/test_hosel.py::test_single_equals_batch"]
            marching = [
                *named(run(copy, [*tests, *(f"--deselect={n}" for n in slow)], seconds=1800)),
                *slow,
            ]
            files = [
                p
                for p in sorted((copy / "forgeprops" / room).glob("*.py"))
                if p.name != "__init__.py"
            ]
            sites = [(path, fault) for path in files for fault in faults(path)]
            print(
                f"{room}: {len(sites)} places, {len(marching)} tests left for the second round",
                flush=True,
            )
            for path, (line, start, end, new) in draw.sample(sites, options.count // len(rooms)):
                good = path.read_text(encoding="utf-8")
                lines = good.splitlines(keepends=True)
                old = lines[line - 1]
                lines[line - 1] = old[:start] + new + old[end:]
                path.write_text("".join(lines), encoding="utf-8")
                own = copy / "tests" / room / f"test_{path.stem}.py"
                first = (
                    [str(own.relative_to(copy)), str(path.relative_to(copy))]
                    if own.exists()
                    else []
                )
                began = time.monotonic()
                noticed = bool(first) and named_or_ended(run(copy, first, marching))
                noticed = noticed or named_or_ended(run(copy, tests, marching))
                if not noticed and not options.quick:
                    noticed = named_or_ended(run(copy, [*tests, *MARCHING], seconds=1800))
                path.write_text(good, encoding="utf-8")
                caught += bool(noticed)
                changed = f"{old[:start]}[{old[start:end]} -> {new}]{old[end:]}".strip()
                what = f"{path.relative_to(copy)}:{line}: {changed}"
                print(
                    f"{'caught  ' if noticed else 'SURVIVED'} {time.monotonic() - began:4.0f} s  {what}",
                    flush=True,
                )
                if not noticed:
                    left.append(what)
        print(f"\n{caught + len(left)} faults, {caught} caught, {len(left)} survived:")
        print("\n".join(left))


def named_or_ended(report):
    """True if a test failed or the run did not end."""
    return report is None or report.returncode not in (0, 5)


if __name__ == "__main__":
    main()
