"""The house: sizes, names with their units, and the way of a steel, a head and a route through the rooms in one estimate."""

import ast
import importlib
import inspect
import re
import sys
from pathlib import Path

import pytest
from test_import_rule import HOUSE, room_of

import forgeprops as fp
from forgeprops.inputs.settings import table

PACKAGE = Path(fp.__file__).parent
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


ROOT = Path(__file__).parents[1]
FOLDERS = ("forgeprops", "tests", "data", "notebooks", ".ci")
FILES = [p for folder in FOLDERS for p in (ROOT / folder).rglob("*") if p.is_file()]
FILES = [p for p in FILES if not {"__pycache__", ".ipynb_checkpoints"} & set(p.parts)]
FILES += [ROOT / n for n in "README.md DEVELOPERS.md pyproject.toml LICENSE .gitignore".split()]

#: How a number's unit ends its name.
UNITS = tuple(
    """_c _s _mm _mm2 _mm3 _mm4 _um _um2 _hv _hrc _hb _mpa _n _nm _nmm _kn _deg _k _g _kg _j _m_s
_kg_m2_s _w_m2k _w_mk _w_m2 _c_per_s _per_s _per_mm _per_k _l_min _ml _astm _pct _kg_m3
_j_kgk _m2_s _um2_s _hz _rad _h _m2 _w _kw _min _hours""".split()
)
#: Words of a quantity that needs a unit; a field or parameter that holds one must end in a unit.
QUANTITIES = re.compile(
    r"(^|_)(temperature|hardness|thickness|diameter|length|width|height|duration|strength|force|"
    r"depth|speed|mass|pressure|allowance|bore|outside)(_|$)"
)
#: Names with such a word that are no plain quantity.
NO_QUANTITY = ("width", "speed")
#: Run by the build or as scripts, with what an installed package lacks.
NOT_IMPORTED = ("__main__", "build_hook", "cross_build")


def public_modules():
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        if parts[-1] not in NOT_IMPORTED and "show" not in parts:
            yield ".".join(p for p in parts if p != "__init__")


def public_numbers(module):
    """(where, name) of every float field and parameter of a module's public things."""
    for name, thing in vars(module).items():
        if name[0] == "_" or getattr(thing, "__module__", None) != module.__name__:
            continue
        try:
            parameters = inspect.signature(thing).parameters.values()
        except (TypeError, ValueError):
            continue
        for parameter in parameters:
            kind = str(parameter.annotation).split("|")[0].strip()
            if kind in ("float", "'float'", "<class 'float'>"):
                yield name, parameter.name


def test_quantities_carry_their_unit():
    modules = {name: importlib.import_module(name) for name in public_modules()}
    numbers = [(name, *n) for name, module in modules.items() for n in public_numbers(module)]
    assert len(numbers) > 300
    for name, owner, parameter in numbers:
        if QUANTITIES.search(parameter) and parameter not in NO_QUANTITY:
            ends = ("_low", "_high", "_factor", "_share", "_fraction", "_effect", "_spread")
            whole = parameter.endswith(UNITS + ends)
            assert whole, f"{name}.{owner}: {parameter} has no unit"


def test_public_names_are_words_and_files_are_named_plainly():
    for name in fp.__all__:
        if name == "__version__":
            continue
        assert re.fullmatch(r"[A-Z][A-Za-z]+|[a-z][a-z_]+", name), name
        assert getattr(fp, name).__doc__, f"{name} says nothing of itself"
    for path in FILES:
        for part in path.relative_to(ROOT).parts:
            assert re.fullmatch(r"[A-Za-z0-9_.\-]+", part), path


def test_labels_of_settings_say_quantity_and_unit():
    for name, setting in table().items():
        assert setting.label and not setting.label.endswith(".") and "_" not in setting.label, name
        if setting.slider:
            low, high, step = setting.slider
            assert setting.low <= low < high <= setting.high and step > 0, name


def walk(thing, call):
    """Files, in the order of entry, whose functions are given `thing` while `call` runs."""
    entered = []

    def look(frame, event, _):
        if event == "call" and (name := frame.f_code.co_filename).startswith(str(PACKAGE)):
            code = frame.f_code
            count = code.co_argcount + code.co_kwonlyargcount
            given = [frame.f_locals.get(v) for v in code.co_varnames[:count]]
            if code.co_name != "<module>" and any(v is thing for v in given):
                entered.append(Path(name).relative_to(PACKAGE))

    before = sys.getprofile()
    sys.setprofile(look)
    try:
        call()
    finally:
        sys.setprofile(before)
    return [path for i, path in enumerate(entered) if i == 0 or path != entered[i - 1]]


def climbs(files):
    """How often the walk goes on in a file not seen before that stands above the one it comes from."""
    floor = [HOUSE.index(room_of(path.with_suffix("").parts)) for path in files]
    return sum(floor[i] > floor[i - 1] and files[i] not in files[:i] for i in range(1, len(files)))


@pytest.mark.parametrize("what", ["steel", "head", "route"])
def test_the_way_is_short(what, record_property):
    parts = {"steel": fp.grade("4130"), "head": fp.head("mid-iron"), "route": fp.Route()}

    def job():
        result = fp.estimate(**parts)
        result.summary(), result.to_dict(), result.verdict

    files = walk(parts[what], job)
    record_property("places", len(set(files)))
    record_property("climbs", climbs(files))
    assert 5 < len(set(files)) <= 20
    assert what != "route" or climbs(files) <= 3
