"""Whatever is put in: our own error with what was given, or a row with its error; never a traceback of ours."""

import pytest

import forgeprops as fp
from forgeprops.base.errors import InputError

ODD = [
    5, -1.0, "", "x", b"x", None, True, [], [None], {}, {"a": 1}, float("nan"), float("inf"),
    object(), (1, 2, 3), ...,
]  # fmt: skip

LIMITS = fp.Limits(face_margin=(0.1, None))
WINDOW = {"x": ("flux", 2, 3, 2), "y": ("preheat_c", 900, 910, 2)}
SCATTER = {"n": 16, "indices": False}
#: Parameters that take more than a number, a name or a case: those are tried in tests/test_bad_input.py.
CALLS = {
    "compare preheats": lambda x: fp.compare(["1030"], x),
    "compare line": lambda x: fp.compare(["1030"], [900], line=x),
    "compare reference": lambda x: fp.compare(["1030"], [900], reference=x),
    "window low": lambda x: fp.window("1030", **{**WINDOW, "x": ("flux", x, 3, 2)}),
    "window tolerances": lambda x: fp.window("1030", **WINDOW, tolerances=x),
    "scatter spread": lambda x: fp.scatter("1030", **SCATTER, spread=x),
    "scatter spread of flux": lambda x: fp.scatter("1030", **SCATTER, spread={"flux": x}),
    "scatter quantities": lambda x: fp.scatter("1030", n=16, indices=16, quantities=x),
    "scatter progress": lambda x: fp.scatter("1030", **SCATTER, progress=x),
    "scatter cancel": lambda x: fp.scatter("1030", **SCATTER, cancel=x),
    "choose settings": lambda x: fp.choose("1030", limits=LIMITS, settings=x, cancel=Once()),
    "choose range": lambda x: fp.choose("1030", limits=LIMITS, settings={"flux": x}, starts=1),
    "many executor": lambda x: fp.estimate_many("1030", executor=x),
    "many to": lambda x: fp.estimate_many("1030", to=x) if x is not None else None,
    "many chunk": lambda x: fp.estimate_many("1030", chunk=x),
    "line": lambda x: fp.Line(handling_s=x),
    "line footprint": lambda x: fp.Line(footprint_mm=x),
    "limits": lambda x: fp.Limits(face_margin=x),
}


class Once:
    """Stops a search after its first look: only whether the question is understood is of interest."""

    def __init__(self):
        self.asked = 0

    def __call__(self):
        self.asked += 1
        return self.asked > 1


@pytest.mark.parametrize("call", CALLS)
def test_only_our_own_error(call, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused = 0
    for odd in ODD:
        try:
            CALLS[call](odd)
        except InputError as error:
            refused += 1
            assert len(str(error)) > 15 and "\n" not in str(error), (odd, str(error))
    assert refused, "everything was taken"
    left = [p.name for p in tmp_path.rglob("*")]
    assert call == "many to" or not left


@pytest.mark.parametrize("what", ["steel", "head", "route", "shop"])
def test_odd_items_are_rows_with_errors(what):
    columns = {"steel": "1030", "head": None, "route": None, "shop": None}
    columns[what] = [*ODD, object]
    table = fp.estimate_many(*columns.values())
    assert len(table) == len(ODD) + 1
    bad = table["error"] != ""
    assert bad.sum() >= 10 and table.loc[~bad, "face_hardness_hv"].notna().all()
    assert table.loc[bad, "face_hardness_hv"].isna().all()
