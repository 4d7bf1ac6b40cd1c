"""Notebooks are committed stripped and hold prose and one line per panel, no physics.

That every cell runs is tested by nbval, which the pytest settings switch on for notebooks/.
"""

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def cells(path, kind):
    found = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return ["".join(c["source"]) for c in found if c["cell_type"] == kind]


def test_there_are_notebooks():
    assert NOTEBOOKS


def test_notebooks_are_stripped():
    extra = "metadata.language_info metadata.widgets"
    command = [sys.executable, "-m", "nbstripout", "--verify", "--extra-keys", extra]
    done = subprocess.run([*command, *map(str, NOTEBOOKS)], capture_output=True, text=True)
    advice = f"run nbstripout --extra-keys '{extra}' notebooks/*.ipynb"
    assert done.returncode == 0, f"{advice}\n{done.stdout}{done.stderr}"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_code_is_imports_and_short_lines_only(path):
    for source in cells(path, "code"):
        tree = ast.parse(source)
        assert len(source.splitlines()) <= 6
        kinds = (ast.FunctionDef, ast.ClassDef, ast.For, ast.While, ast.Try)
        assert not any(isinstance(n, kinds) for n in ast.walk(tree))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_links_lead_somewhere(path):
    for source in cells(path, "markdown"):
        for part in source.split("](")[1:]:
            target = part.split(")")[0].split("#")[0]
            if target and not target.startswith("http"):
                lost = f"{path.name} links to {target}, which does not exist"
                assert (FOLDER / target).exists(), lost


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_kernel_is_named_so_that_the_reader_is_not_asked(path):
    about = json.loads(path.read_text(encoding="utf-8"))["metadata"]
    assert about["kernelspec"]["name"] == "python3"


@pytest.mark.parametrize("path", NOTEBOOKS[:7], ids=lambda p: p.stem)
def test_the_answer_comes_first_and_the_prose_is_short(path):
    first = json.loads(path.read_text(encoding="utf-8"))["cells"][0]
    assert "page(" in "".join(first["source"])  # what is seen first is a head and its answer
    words = " ".join(cells(path, "markdown"))
    assert len(re.findall(r"[\w’']+", re.sub(r"\]\(.*?\)", "]", words))) <= 250
