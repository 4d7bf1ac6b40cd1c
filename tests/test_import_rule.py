"""Data flows down the house and never back up; computation knows no plots and no widgets; import is quick."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import forgeprops

PACKAGE = Path(forgeprops.__file__).parent
#: The house from top to bottom: a room imports only rooms that stand before it.
#: The scales of hardness are pure tables, so they stand above their own room.
HOUSE = """base io strength.hardness_scales inputs certificates hardenability transformation forging thermal units engine
answer.interval specimens answer.second_opinions strength hosel face answer study show command_line""".split()
#: For people's eyes; allowed in show/ alone.
FOR_EYES = {"matplotlib", "ipywidgets", "IPython", "jinja2", "voila", "jupyterlab", "traitlets"}
#: Costly to import (0.2-0.6 s each), so loaded by the function that needs them.
HEAVY = FOR_EYES | {"pandas", "scipy.stats", "scipy.optimize", "openpyxl", "pyarrow", "dask"}
FILES = sorted(PACKAGE.rglob("*.py"))
#: What makes the names of the package itself.
OPEN_TO_ALL = ("__init__", "__main__")


def room_of(parts):
    """Room of a module given as the parts of its name within the package."""
    two = ".".join(parts[:2])
    return two if two in HOUSE else parts[0]


def imports(path):
    """Whole name of every import of a file, late ones too."""
    here = path.relative_to(PACKAGE.parent).parts[:-1]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = here[: len(here) - node.level + 1] if node.level else ()
            base = ".".join(filter(None, (*above, node.module)))
            yield from (f"{base}.{alias.name}" for alias in node.names)


def test_rooms_import_only_rooms_above():
    count = 0
    for path in FILES:
        own = path.relative_to(PACKAGE).with_suffix("").parts
        if own[0] in OPEN_TO_ALL:
            continue
        place = HOUSE.index(room_of(own))
        for name in imports(path):
            if name.startswith("forgeprops.") and name != "forgeprops.__version__":
                room = room_of(name.split(".")[1:])
                assert room in HOUSE, f"{name}: {room} has no place in the house"
                below = f"{'/'.join(own)} imports {name}, which stands below it"
                assert HOUSE.index(room) <= place, below
                count += 1
    assert count > 500


def test_computation_knows_no_pictures_and_every_room_has_its_place():
    for path in FILES:
        if path.relative_to(PACKAGE).parts[0] != "show":
            assert not {name.split(".")[0] for name in imports(path)} & FOR_EYES, path
    rooms = {room_of(p.relative_to(PACKAGE).with_suffix("").parts) for p in FILES}
    assert rooms - set(OPEN_TO_ALL) == set(HOUSE)


def run(code):
    options = {"capture_output": True, "text": True, "timeout": 120, "check": True}
    done = subprocess.run([sys.executable, "-c", code], **options)
    return json.loads(done.stdout.splitlines()[-1])


def test_import_is_quick_and_loads_nothing_heavy(capsys):
    timed = "t = time.process_time(); import forgeprops; print(json.dumps([time.process_time() - t, sorted(sys.modules)]))"
    code = f"import json, sys, time; import numpy; {timed}"
    seconds, loaded = min(run(code) for _ in range(3))
    with capsys.disabled():
        print(f"\nimport forgeprops after numpy: {seconds:.2f} s")
    assert not HEAVY & set(loaded)
    assert seconds < 0.5


def test_an_estimate_needs_no_pictures():
    """The main job runs where matplotlib and ipywidgets cannot be imported at all."""
    block = ", ".join(f'"{name}": None' for name in sorted(FOR_EYES))
    code = (
        f"import json, sys; sys.modules.update({{{block}}}); import forgeprops as fp; "
        "r = fp.estimate(fp.grade('4130')); r.summary(); r.to_dict(); r._repr_html_(); "
        "print(json.dumps(r.zones['face'].hardness_hv))"
    )
    assert 150 < run(code) < 800
