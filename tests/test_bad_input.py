"""Malformed input of every kind to every public call, file and control: one clear error, and nothing is written."""

import ast
import dataclasses
import html
import inspect
import math
import re
from pathlib import Path

import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.base.tables import data_path
from forgeprops.show.sheet import sheet_html
from forgeprops.study.spray_plate.conduction import Plate

STEEL = fp.grade("4130")
HEAD = fp.head("mid-iron")


#: By kind of parameter: telling values that no reading of it can accept; tests/fuzz tries many more.
TELLING = {
    "number": ["abc", math.nan, 1e30], "text": [5, "no such thing"], "steel": [5, HEAD],
    "head": [5, STEEL], "route": ["fast", STEEL], "shop": [5, HEAD], "estimate": ["4130?", HEAD],
    "step": ["fast", [1]], "flag": ["yes"], "fractions": [5, {"iron": 1.0}],
    "curve": ["abc", [math.nan, 1.0]], "file": [5, "no/such/file.csv", b"PK\x03\x04 not a zip"],
    "free text": [5],
}  # fmt: skip
#: What a parameter is, by its name; others go by their annotation.
KIND_OF = {
    "result": "estimate", "later": "step", "plate": "step", "steel": "steel", "steel_a": "steel",
    "steel_b": "steel", "head": "head", "route": "route", "shop": "shop",
    "fractions": "fractions", "neck_fractions": "fractions", "time_s": "curve",
    "preheat_a_c": "number", "strain": "number", "rate_per_s": "number",
}  # fmt: skip
#: Parameters without a kind here: a `Strength`, and text or nothing.
LEFT_OUT = ("material", "neck_material", "branch")
_TIMES = [0.1 * i for i in range(400)]
_STEEL_IS_ENOUGH = (
    "estimate air_cooled_bar carbon_equivalents critical_temperatures end_quench end_quench_bar forging_temperature_study "
    "ideal_diameter ideal_diameter_upper scatter window judge_heat"
).split()
_NOTHING_IS_NEEDED = (
    "hosel_bend hosel_sensitivity Cool FirstHeat Preheat Press Route Shop Spray Transfer Job Line"
).split()
_DEMO = {f"read_{n}": n for n in "certificates bends channels hardness runs traces log".split()}
_EFFORT = {"steel_a": STEEL, "preheat_a_c": 900.0, "steel_b": STEEL}
_RESULT = fp.estimate(STEEL)
#: Arguments that make a call valid; anything else has its default.
VALID = {
    **{call: {"steel": STEEL} for call in _STEEL_IS_ENOUGH},
    **{call: {} for call in _NOTHING_IS_NEEDED},
    **{call: {"source": str(data_path("demo", f"{name}.csv"))} for call, name in _DEMO.items()},
    **dict.fromkeys(("equal_effort", "equal_effort_preheat", "equal_effort_setting"), _EFFORT),
    **dict.fromkeys(("next_measurement", "soften"), {"result": _RESULT}),
    "continuous_cooling": {"steel": STEEL, "rate_c_per_s": 1.0},
    "convert_hardness": {"value": 285.0, "from_scale": "HV", "to_scale": "HRC"},
    "face_strike": {"thickness_mm": 2.5, "hardness_hv": 300.0}, "face_bow": {"thickness_mm": 2.5, "span_mm": 60.0},
    "grade": {"name": "4130"}, "head": {"name": "wedge"},
    "head_from": {"mass_g": 262.0, "face_mm": 2.6, "loft_deg": 30.0},
    "quenched_bar": {"steel": STEEL, "diameter_mm": 25.0, "h_w_m2k": 2000.0},
    "tempered_hardness": {"steel": STEEL, "temper_c": 540.0},
    "spray_setting": {"flow_l_min": 5.0}, "tensile_strength": {"hv": 285.0},
    "Quench": {"medium": "oil bath"}, "Normalise": {"temperature_c": 890.0},
    "LaterHeat": {"temperature_c": 600.0}, "LocalHeat": {"peak_c": 680.0},
    "Temper": {"temperature_c": 600.0}, "Steel": {"name": "heat 7", "composition": {"C": 0.3}},
    "cooling_curve": {"time_s": _TIMES, "temperature_c": [800.0 - 5.0 * t for t in _TIMES], "plate": Plate(10.0, 1.0), "water_c": 20.0},
    "load_shop": {"source": b"{}"}, "load_job": {"source": b"{}"},
    "read_table": {"source": data_path("demo", "log.csv").read_bytes(), "filename": "a.csv"},
    "write_table": {"table": fp.estimate_many("4130", quick=True), "path": "a.csv"},
    "choose": {"steel": STEEL, "limits": fp.Limits(face_hardness_hv=(380, 460))},
    "compare": {"grades": ["4130"]}, "track": {"log": str(data_path("demo", "log.csv"))},
    "find_cause": {"measured": {"face": 400.0}, "steel": STEEL},
    "fit": {"steel": STEEL, "hardness": fp.read_hardness(data_path("demo", "hardness.csv"))},
    "add_to_log": {"path": "log.csv", "quantity": "face_hv", "predicted": 400.0, "measured": 390.0},
}  # fmt: skip
#: Values that a certain parameter may take after all, as (call, parameter) -> value.
FINE = {("equal_effort_preheat", "head"): 5}


def kind_of(call, parameter):
    name, annotation = parameter.name, str(parameter.annotation)
    if call in ("continuous_cooling", "cooling_curve") and name == "temperature_c":
        return "curve"
    if call == "Route" and name == "spray":
        return "step"
    if name == "source" and call.startswith(("read_", "load_")):
        return "file"
    named = name == "name" and call in ("Steel", "Shop", "fit", "head_from")
    if named or name in "filename sheet source measured_on heat head_id quantity".split():
        return "free text"
    if name in KIND_OF:
        return KIND_OF[name]
    collections = ("Mapping", "tuple", "Callable", "Sequence")
    if name in LEFT_OUT or any(word in annotation for word in collections):
        return None
    for word, kind in (("float", "number"), ("int", "number"), ("bool", "flag"), ("str", "text")):
        if word in annotation:
            return kind
    return None


def malformed(call):
    """(parameter, value) of what a call must refuse."""
    for name, parameter in inspect.signature(getattr(fp, call)).parameters.items():
        for value in TELLING.get(kind_of(call, parameter), ()):
            if FINE.get((call, name)) != value:
                yield name, value


def words_of(name, value):
    """Any of these in a message shows which input it is about."""
    plain = re.sub(r"_(c|s|mm|um|hv|mpa|n|deg|g|kg|m2|m|w|m2k|kn|per|l|min|low|high)\\b", "", name)
    inside = [str(key) for key in value] if isinstance(value, (dict, list, tuple)) else []
    number = f"{value:g}" if isinstance(value, (int, float)) and abs(value) < 1e300 else ""
    label = {"source": "upload", "seconds": "time"}.get(name, "")
    given = [
        label, "file" * (name == "source"), "nul?byte" * (name == "source"), repr(value)[:12],
        str(value)[:12], number, type(value).__name__, *inside]  # fmt: skip
    return [plain.replace("_", " "), name, *plain.split("_"), *given]


@pytest.mark.parametrize("call", VALID)
def test_public_calls_refuse(call, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, value in malformed(call):
        text = refuses("", getattr(fp, call), **{**VALID[call], name: value})
        plain = text.lower().replace("-", "")
        words = [w.lower().replace("-", "") for w in words_of(name, value) if w]
        assert len(text) < 700 and any(word in plain for word in words), text
        assert not list(tmp_path.iterdir()), (name, value)


def test_every_public_call_is_tried_and_own_tables_stay_as_they_are():
    results = {"Estimate", "InputError", "Warn", "__version__"}  # made by the package, not by users
    names = set(fp.__all__) - results
    public = {n for n in names if inspect.signature(getattr(fp, n)).parameters}
    # tests/head, tests/study
    elsewhere = {"Head", "Limits", "estimate_many", "judge_heats", "Units"}
    assert public <= set(VALID) | elsewhere, public - set(VALID) - elsewhere
    assert all(list(malformed(call)) for call in VALID if call != "Line")
    # Nothing that is read is a number where there is none: the project's own tables hold no NaN as text.
    for path in data_path().rglob("*.csv"):
        assert not re.search(r"(?m)(^|,)(nan|NaN|inf)(,|$)", path.read_text(encoding="utf-8")), path


@pytest.mark.parametrize("name", ["", " ", "a\n}", "a\rb", "\x1b[31m", "\ud800", "a\u2028b", "x" * 121, 7])  # fmt: skip
@pytest.mark.parametrize("part", ["steel", "head", "shop"])
def test_names_are_printable_and_bounded(part, name):
    make = {"steel": fp.Steel, "head": dataclasses.replace, "shop": fp.Shop}[part]
    given = {"steel": [name, {"C": 0.3}], "head": [HEAD], "shop": []}[part]
    refuses("name must be.*printable", make, *given, **({} if part == "steel" else {"name": name}))


PACKAGE = Path(fp.__file__).parent
_FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "input"}
_FORBIDDEN_METHODS = set("os.system os.popen pd.read_pickle pandas.eval np.load pd.eval".split())
_FORBIDDEN_MODULES = set("pickle cPickle marshal shelve dill joblib yaml subprocess ctypes".split())
#: The engine alone loads and calls a library, and its build hook alone runs a compiler.
_ALLOWED = {
    "engine/native/library.py": {"ctypes"}, "engine/batch.py": {"ctypes"},
    "engine/native/build_hook.py": {"subprocess"}, "engine/native/cross_build.py": {"subprocess"}}  # fmt: skip


def test_nothing_is_unpickled_or_evaluated():
    for path in sorted(PACKAGE.rglob("*.py")):
        where = path.relative_to(PACKAGE).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Call):
                name = node.func.id if isinstance(node.func, ast.Name) else ""
                text = ast.unparse(node.func)
                allowed = name not in _FORBIDDEN_CALLS and text not in _FORBIDDEN_METHODS
                assert allowed, f"{where}, line {node.lineno}: {text}(...)"
                # the query of a KDTree looks up points; that of a DataFrame evaluates a text
                looks_up = text.startswith("KDTree(") or not text.endswith((".query", ".to_pickle"))
                assert looks_up, f"{where}, line {node.lineno}: {text}"
            elif isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and not node.level:
                names = [node.module or ""]
            forbidden = _FORBIDDEN_MODULES - _ALLOWED.get(where, set())
            assert not {n.split(".")[0] for n in names} & forbidden, f"{where}: {names}"


_NASTY = '<script>alert(1)</script> & "q" <img src=x onerror=alert(2)>'


def test_html_escapes_what_users_write():
    result = fp.estimate(fp.Steel(_NASTY, {"C": 0.3, "Mn": 0.6}, source=_NASTY))
    for page in (result._repr_html_(), sheet_html(result, date=_NASTY)):
        assert "<script>alert" not in page and "<img src=x" not in page
        assert html.escape(_NASTY[:25]) in page
