"""Sizes of the house: parameters of a function, lines of a file, files of a folder."""

import ast
from pathlib import Path

import forgeprops

PACKAGE = Path(forgeprops.__file__).parent
MOST_PARAMETERS, MOST_LINES, MOST_FILES = 10, 450, 14


def over():
    """Every file, folder and function above its limit; ``*args`` and ``**options`` are not counted."""
    for path in PACKAGE.rglob("*.py"):
        name, text = path.relative_to(PACKAGE).as_posix(), path.read_text(encoding="utf-8")
        if len(text.splitlines()) > MOST_LINES:
            yield name
        if len(list(path.parent.glob("*.py"))) > MOST_FILES:
            yield path.parent.relative_to(PACKAGE).as_posix()
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                given = node.args.posonlyargs + node.args.args + node.args.kwonlyargs
                if len([a for a in given if a.arg not in ("self", "cls")]) > MOST_PARAMETERS:
                    yield f"{name}:{node.name}"


def test_nothing_outgrows_the_limits():
    assert not set(over())
