"""Malformed input of every kind to every public call, file and control: one clear error, and nothing is written."""

import dataclasses
import hashlib
import inspect
import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import forgeprops as fp
from forgeprops.errors import InputError
from forgeprops.tables import data_path

STEEL = fp.grade("4130")
HEAD = fp.head("mid-iron")


class Nothing:
    """An object of no use."""

    def __repr__(self):
        return "<nothing>"


DEEP = [[[[1.0]]]]
#: By kind of parameter: values that no reading of it can accept.
BAD = {
    "number": ["abc", "", "12 °C", "１２x", math.nan, math.inf, -math.inf, -1e12, 1e30, 10**400, [], {}, DEEP,
               Nothing(), b"1", complex(1, 2), (1, 2)],
    "text": [5, math.nan, [], {}, b"x", Nothing(), "", "no such thing", "4130\x00", "ಠ_ಠ", "'; --", "x" * 5000],
    "steel": ["4130?", 5, None, math.nan, [], {}, {"C": 0.3}, Nothing(), HEAD, b"4130", DEEP],
    "head": ["no such head", "", 5, math.nan, [], {}, Nothing(), STEEL, b"wedge", DEEP],
    "route": ["fast", 5, math.nan, [], {}, Nothing(), STEEL, {"preheat_c": 900}, DEEP],
    "shop": ["ours", 5, math.nan, [], {}, Nothing(), HEAD, {"spray": 1}, DEEP],
    "flag": ["yes", 2, math.nan, [], Nothing()],
    "fractions": ["ferrite", 5, [], DEEP, Nothing(), {"iron": 1.0}, {"ferrite": math.nan}, {"ferrite": -1.0},
                  {"ferrite": "half"}, {5: 1.0}, {"ferrite": 7.0}],
    "curve": ["abc", 5, [], [1.0], {}, Nothing(), [math.nan, 1.0], [1.0, "x"], DEEP, [900.0, math.inf], b"12"],
    "file": [5, math.nan, {}, [], Nothing(), "", "no/such/file.csv", "nul\x00byte", b"", b"\xff\xfe\x00", b"PK\x03\x04 not a zip",
             b"a;b\n1;2\n", b'{"format": "something"}', ["a.csv", "b.csv"], {"name": "x"}, os.sep, "ಠ_ಠ.xlsx",
             b"%PDF-1.4", b"\x00" * 300, ("=1+1," * 40 + "\n").encode()],
}

BAD["free text"] = [v for v in BAD["text"] if not isinstance(v, str)]
#: What a parameter is, by its name; others go by their annotation.
KIND_OF = {
    "steel": "steel", "steel_a": "steel", "steel_b": "steel", "head": "head", "route": "route", "shop": "shop",
    "fractions": "fractions", "neck_fractions": "fractions", "time_s": "curve", "temperature_c_curve": "curve",
    "preheat_a_c": "number", "strain": "number", "rate_per_s": "number",
}
#: Parameters without a kind here, and why.
LEFT_OUT = {
    "constants": "for fitting only, by id", "options": "passed on", "executor": "an object with submit",
    "progress": "any callable", "cancel": "any object that says so", "to": "a path, tested with files",
    "note": "any text", "material": "a Strength", "neck_material": "a Strength", "branch": "text or nothing",
}
#: Arguments that make a call valid; anything else has its default.
VALID = {
    "estimate": {"steel": STEEL}, "air_cooled_bar": {"steel": STEEL}, "carbon_equivalents": {"steel": STEEL},
    "continuous_cooling": {"steel": STEEL, "rate_c_per_s": 1.0}, "critical_temperatures": {"steel": STEEL},
    "convert_hardness": {"value": 285.0, "from_scale": "HV", "to_scale": "HRC"}, "end_quench": {"steel": STEEL},
    "end_quench_bar": {"steel": STEEL}, "equal_effort": {"steel_a": STEEL, "preheat_a_c": 900.0, "steel_b": STEEL},
    "equal_effort_preheat": {"steel_a": STEEL, "preheat_a_c": 900.0, "steel_b": STEEL},
    "equal_effort_setting": {"steel_a": STEEL, "preheat_a_c": 900.0, "steel_b": STEEL},
    "face_strike": {"thickness_mm": 2.5, "hardness_hv": 300.0}, "forging_temperature_study": {"steel": STEEL},
    "grade": {"name": "4130"}, "head": {"name": "wedge"}, "hosel_bend": {}, "ideal_diameter": {"steel": STEEL},
    "ideal_diameter_upper": {"steel": STEEL}, "quenched_bar": {"steel": STEEL, "diameter_mm": 25.0, "h_w_m2k": 2000.0},
    "spray_setting": {"flow_l_min": 5.0}, "strength": {"hardness_hv": 285.0},
    "tempered_hardness": {"steel": STEEL, "temper_c": 540.0}, "tensile_strength": {"hv": 285.0},
    "Cool": {}, "FirstHeat": {}, "LaterHeat": {"temperature_c": 600.0}, "Preheat": {}, "Press": {}, "Route": {},
    "Shop": {}, "Spray": {}, "Transfer": {}, "Steel": {"name": "heat 7", "composition": {"C": 0.3}},
    **{call: {"source": str(data_path("demo", f"{name}.csv"))} for call, name in (
        ("read_certificates", "certificates"), ("read_bends", "bends"), ("read_channels", "channels"),
        ("read_hardness", "hardness"), ("read_runs", "runs"), ("read_traces", "traces"))},
    "load_shop": {"source": b"{}"}, "read_log": {"source": str(data_path("demo", "log.csv"))},
    "choose": {"steel": STEEL}, "compare": {"grades": ["4130"]}, "scatter": {"steel": STEEL}, "window": {"steel": STEEL},
    "judge_heat": {"steel": STEEL}, "find_cause": {"measured": {"face": 400.0}, "steel": STEEL},
    "fit": {"steel": STEEL, "hardness": [("face", 400.0)]}, "face_bow": {"thickness_mm": 2.5, "span_mm": 60.0},
    "track": {"log": str(data_path("demo", "log.csv"))}, "Line": {}, "hosel_sensitivity": {}, "soften": {},
    "add_to_log": {"path": "log.csv", "quantity": "face_hv", "predicted": 400.0, "measured": 390.0},
}
#: Values of BAD that a certain parameter may take after all, as (call, parameter) -> test of the value.
FINE = {
    ("hosel_bend", "bored_mm"): lambda v: v == math.inf or v == 1e30 or v == 10**400,
    ("equal_effort_preheat", "head"): lambda v: isinstance(v, (int, float)) and v == 5,
    **{(call, "steel"): lambda v: v == {"C": 0.3} for call in (
        "carbon_equivalents", "critical_temperatures", "end_quench", "ideal_diameter", "ideal_diameter_upper",
        "tempered_hardness")},
    ("equal_effort", "steel_a"): lambda v: v == {"C": 0.3}, ("equal_effort", "steel_b"): lambda v: v == {"C": 0.3},
}


def is_none_allowed(parameter):
    return parameter.default is None or "None" in str(parameter.annotation)


def kind_of(call, parameter):
    name, annotation = parameter.name, str(parameter.annotation)
    if call == "continuous_cooling" and name == "temperature_c":
        return "curve"
    if name == "source" and call.startswith(("read_", "load_")):
        return "file"
    if name in ("filename", "sheet", "source", "measured_on") or name == "name" and call in ("Steel", "Shop"):
        return "free text"
    if name in KIND_OF:
        return KIND_OF[name]
    if name in LEFT_OUT or "Mapping" in annotation or "tuple" in annotation or "Callable" in annotation:
        return None
    if "Sequence" in annotation:
        return None
    for word, kind in (("float", "number"), ("int", "number"), ("bool", "flag"), ("str", "text")):
        if word in annotation:
            return kind
    return None


def cases():
    for call, valid in VALID.items():
        for name, parameter in inspect.signature(getattr(fp, call)).parameters.items():
            kind = kind_of(call, parameter)
            if kind is None:
                continue
            for i, value in enumerate(BAD[kind]):
                if value is None and is_none_allowed(parameter):
                    continue
                if FINE.get((call, name), lambda _: False)(value):
                    continue
                yield pytest.param(call, valid, name, value, id=f"{call}-{name}-{kind}{i}")


CASES = list(cases())


def one_clear_sentence(error):
    """What was given and what is allowed, in a line or two, without Python's own words."""
    text = str(error)
    assert 10 < len(text) < 700 and text.rstrip().endswith((".", "!")), text
    assert "Traceback" not in text and " object at 0x" not in text, text
    assert re.search(r"allowed|give |needed|must|needs|did you mean|does not exist|cannot be read|no row is|leave", text,
                     re.IGNORECASE), text


@pytest.mark.parametrize(("call", "valid", "name", "value"), CASES)
def test_public_calls_refuse(call, valid, name, value, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        getattr(fp, call)(**{**valid, name: value})
    one_clear_sentence(caught.value)
    assert not list(tmp_path.iterdir())
