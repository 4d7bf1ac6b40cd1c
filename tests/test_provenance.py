"""Every formula, table and constant has its source, every source is used, an estimate names its own."""

import ast
import importlib
import json
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

import forgeprops as fp
from forgeprops.base.errors import InputError
from forgeprops.base.sources import BASES, KINDS, source, sources
from forgeprops.base.tables import data_path, read_rows

PACKAGE = Path(fp.__file__).parent
TESTS = Path(__file__).parent
#: Rooms of formulas: every public function of theirs must name its sources.
FORMULA_ROOMS = (
    "hardenability",
    "transformation",
    "forging",
    "thermal",
    "strength",
    "hosel",
    "face",
)
FORMULA_FILES = (
    "answer/second_opinions.py",
    "answer/interval.py",
    "inputs/head.py",
    "specimens.py",
    "answer/press_and_skin.py",
)


def formula_files():
    for room in FORMULA_ROOMS:
        # the march's files are one method; its package names the rows
        yield from (p for p in sorted((PACKAGE / room).glob("*.py")) if p.name != "__init__.py")
    yield from (PACKAGE / name for name in FORMULA_FILES)


def module_of(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return importlib.import_module(".".join(p for p in parts if p != "__init__"))


def public_functions(path):
    return [
        n.name
        for n in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")
    ]


def stated():
    """(file, name) -> ids, of every ``SOURCES`` in the package."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        if "\nSOURCES = {" in path.read_text(encoding="utf-8"):
            for name, ids in module_of(path).SOURCES.items():
                found[str(path.relative_to(PACKAGE)), name] = ids
    return found


@pytest.mark.parametrize("path", list(formula_files()), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_public_formula_names_its_sources(path):
    named = module_of(path).SOURCES
    assert not set(public_functions(path)) - set(named), "functions without a row in SOURCES"
    for name, ids in named.items():
        assert isinstance(ids, tuple) and hasattr(module_of(path), name), name
        for id in ids:
            source(id)  # raises on an id that does not exist


def test_no_row_is_orphaned():
    """Every row is named by code, or is a table or check that a file in data/ or tests/ carries."""
    used = {id for ids in stated().values() for id in ids}
    for row in sources():
        if row.id in used:
            continue
        assert row.kind in ("table", "data", "check"), f"{row.room}: {row.id} is used nowhere"
        texts = f"{row.what} {row.source} {row.checked_by}"
        places = re.findall(r"\b(?:data|tests)/[\w./]+", texts)
        assert places and all((data_path().parent / p.rstrip(".")).exists() for p in places), row.id


def test_every_row_is_whole():
    for row in sources():
        where = f"{row.room}: {row.id}"
        assert re.fullmatch(r"[a-z0-9_]+", row.id), where
        assert row.kind in KINDS and row.basis in BASES, f"{where} {row.kind} {row.basis}"
        assert row.what and row.source and row.valid_range and row.checked_by, where
        if row.basis == "read":
            assert row.where_read, f"{where} was read, but it does not say where"
        for test in re.findall(r"tests/[\w/]+(?:\.py)?", f"{row.checked_by} {row.source}"):
            assert (TESTS.parent / test).exists(), f"{where}: {test} does not exist"
        for table in re.findall(r"data/[\w/]+\.csv", f"{row.what} {row.source} {row.checked_by}"):
            assert data_path(*table.split("/")[1:]).is_file(), f"{where}: {table} does not exist"


def tables():
    for path in sorted(data_path().rglob("*.csv")):
        name = path.relative_to(data_path()).as_posix()
        if not name.startswith(("sources/", "demo/")):
            yield name


def test_every_data_file_has_its_row():
    texts = " ".join(
        f"{r.what} {r.source} {r.where_read} {r.valid_range} {r.checked_by}" for r in sources()
    )
    missing = [name for name in tables() if f"data/{name}" not in texts]
    assert not missing and "data/demo" in texts


@pytest.mark.parametrize("name", list(tables()))
def test_tables_carry_source_and_basis(name):
    """Row by row, in the words of `BASES`; results of our own validations carry neither."""
    rows = read_rows(name)
    if "validation" in name or name.startswith("measured/martensite_start"):
        return
    assert "basis" in rows[0], name
    for row in rows:
        assert row["basis"] in BASES, f"{name}: {row['basis']}"


def test_unknown_id_is_refused():
    with pytest.raises(InputError, match="did you mean 'rate_equations'"):
        source("rate_equation")


def test_count_by_basis(capsys):
    """What the numbers rest on; shown with -s.  The bounds only keep the count from sliding unnoticed."""
    rows = sources()
    formulas = Counter(r.basis for r in rows if r.kind in ("formula", "method", "fit"))
    others = Counter(r.basis for r in rows if r.kind not in ("formula", "method", "fit"))
    functions = sum(bool(ids) for ids in stated().values())
    with capsys.disabled():
        print(
            f"\nformulas {sum(formulas.values())}: {dict(formulas)}\ntables and constants "
            f"{sum(others.values())}: {dict(others)}\n{functions} functions and constants name their sources; "
            f"{sum(r.checked_by == 'none' for r in rows)} rows are checked by nothing"
        )
    assert formulas["read"] >= 40 and formulas["from memory"] <= 80


# ------------------------------------------------------------------------------- what an estimate used

#: Runs the march uncompiled with every call noted; a process of its own, so that no cached answer hides a call.
_TRACE = """
import json, os, sys, threading
os.environ["NUMBA_DISABLE_JIT"] = "1"
import numpy as np
from pathlib import Path
from forgeprops.engine import packing
for name in dir(packing):   # uncompiled, records answer to attributes only as np.record
    kind = getattr(packing, name)
    if isinstance(kind, np.dtype) and kind.names:
        setattr(packing, name, np.dtype((np.record, kind)))
import forgeprops as fp
root, seen = str(Path(fp.__file__).parent) + os.sep, set()
def note(frame, event, _):
    code = frame.f_code
    if event == "call" and code.co_filename.startswith(root):
        seen.add((code.co_filename[len(root):].replace(os.sep, "/"), code.co_name))
threading.setprofile(note); sys.setprofile(note)
import dataclasses
route = fp.Route().with_(soak_s=120.0)
{change}
result = fp.estimate({steel}, "wedge", route, tolerance_c=5.0)
sys.setprofile(None)
print(json.dumps([sorted(seen), list(result.sources)]))
"""
_CASES = {
    "sprayed chromoly": ('fp.grade("4130")', "route = route.with_(spray_s=3.0)"),
    "dry carbon steel under a fan": (
        'fp.Steel("own", {"C": 0.2, "Mn": 0.8})',
        'route = dataclasses.replace(route.with_(surroundings="fan"), spray=None)',
    ),
    "bin below Ac1, tempered": (
        'fp.grade("SCM435")',
        'route = dataclasses.replace(route.with_(surroundings="bin", preheat_c=650.0), '
        "spray=None, later=fp.LaterHeat(550.0))",
    ),
}
#: Rows that stand for choices inside the compiled march or for the shape of data, which no single call shows.
_UNTRACED = {
    "latent_heat",
    "emissivity",
    "heads",
    "default_residuals",
    "air_cooled_bars",
    "row_view_factor",
    "neighbours_bin",
    "furnace_convection",
    "sleeve",
    "carbide_speeds",
    "scale_conductivity",
}
#: Called, but only in packing what is then not used, or for what the estimate does not tell.
_IDLE = {"forced_cylinder", "forced_plate"}


@pytest.mark.slow
@pytest.mark.parametrize("case", _CASES)
def test_an_estimate_names_what_it_used(case, tmp_path):
    """Every formula that ran is among `sources`, and every source named belongs to a formula that ran."""
    steel, change = _CASES[case]
    script = tmp_path / "traced.py"
    script.write_text(
        _TRACE.replace("{change}", change).replace("{steel}", steel), encoding="utf-8"
    )
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    seen, named = json.loads(done.stdout.splitlines()[-1])
    named = set(named)
    assert len(seen) > 300 and all(source(id) for id in named)
    table = {
        (file, name): set(stated().get((file, name), ())) - _IDLE for file, name in map(tuple, seen)
    }
    ran = set().union(*table.values())
    unnamed = {call: ids for call, ids in table.items() if ids and not ids & named}
    assert not unnamed, f"{unnamed}: these ran, but none of their rows is among the sources"
    march = {
        id for ids in importlib.import_module("forgeprops.engine").SOURCES.values() for id in ids
    }
    idle = sorted(named - ran - march - _UNTRACED - _IDLE)
    assert not idle, f"{idle}: named, but nothing of them ran"


def test_sources_follow_the_route():
    def of(**settings):
        return set(fp.estimate(fp.grade("1030"), "mid-iron", fp.Route().with_(**settings)).sources)

    wet = of()
    assert {"spray", "grades_sae_carbon", "heads"} <= wet and "forced_cylinder" not in wet
    assert "forced_cylinder" in of(surroundings="fan") and "row_view_factor" in of(
        surroundings="row"
    )
    assert not {"spray", "water_law_spread"} & of(flux=0.0)
    assert "plastic_work" not in of(strain=0.0)
    assert "grades_jis" in fp.estimate(fp.grade("SCM435")).sources
    assert (
        "heads"
        not in fp.estimate(fp.grade("4130"), fp.head("wedge").with_(hosel_outside_mm=13.0)).sources
    )
