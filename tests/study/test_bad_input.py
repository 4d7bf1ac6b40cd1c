"""Whatever is put in: our own error with what was given, or a row with its error; never a traceback of ours."""

import pytest

import forgeprops as fp
from forgeprops.base.errors import InputError

ODD = [
    5, -1.0, "", "x", b"x", None, True, [], [None], {}, {"a": 1}, float("nan"), float("inf"),
    object(), (1, 2, 3), ...,
]  # fmt: skip

LIMITS = fp.Limits(face_margin=(0.1, None))
CALLS = {
    "compare grades": lambda x: fp.compare(x, [900]),
    "compare preheats": lambda x: fp.compare(["1030"], x),
    "compare head": lambda x: fp.compare(["1030"], [900], x),
    "compare route": lambda x: fp.compare(["1030"], [900], None, x),
    "compare limits": lambda x: fp.compare(["1030"], [900], None, None, x),
    "compare line": lambda x: fp.compare(["1030"], [900], line=x),
    "compare reference": lambda x: fp.compare(["1030"], [900], reference=x),
    "compare shop": lambda x: fp.compare(["1030"], [900], shop=x),
    "window steel": lambda x: fp.window(x, x=("flux", 2, 3, 2), y=("preheat_c", 900, 910, 2)),
    "window x": lambda x: fp.window("1030", x=x, y=("flux", 2, 3, 2)),
    "window low": lambda x: fp.window("1030", x=("flux", x, 3, 2), y=("preheat_c", 900, 910, 2)),
    "window points": lambda x: fp.window("1030", x=("flux", 2, 3, x), y=("preheat_c", 900, 910, 2)),
    "window tolerances": lambda x: fp.window(
        "1030", x=("flux", 2, 3, 2), y=("preheat_c", 900, 910, 2), tolerances=x
    ),
    "window threads": lambda x: fp.window(
        "1030", x=("flux", 2, 3, 2), y=("preheat_c", 900, 910, 2), threads=x
    ),
    "scatter spread": lambda x: fp.scatter("1030", spread=x, n=16, indices=False),
    "scatter spread of flux": lambda x: fp.scatter("1030", spread={"flux": x}, n=16, indices=False),
    "scatter n": lambda x: fp.scatter("1030", n=x, indices=False),
    "scatter indices": lambda x: fp.scatter("1030", n=16, indices=x),
    "scatter chemistry": lambda x: fp.scatter("1030", n=16, indices=False, chemistry=x),
    "scatter quantities": lambda x: fp.scatter("1030", n=16, indices=16, quantities=x),
    "scatter seed": lambda x: fp.scatter("1030", n=16, indices=False, seed=x),
    "scatter progress": lambda x: fp.scatter("1030", n=16, indices=False, progress=x),
    "scatter cancel": lambda x: fp.scatter("1030", n=16, indices=False, cancel=x),
    "choose limits": lambda x: fp.choose("1030", limits=x, settings={"flux": (5, 6)}, starts=1),
    "choose settings": lambda x: fp.choose(
        "1030", limits=LIMITS, settings=x, starts=1, cancel=Once()
    ),
    "choose range": lambda x: fp.choose("1030", limits=LIMITS, settings={"flux": x}, starts=1),
    "choose starts": lambda x: fp.choose(
        "1030", limits=LIMITS, settings={"flux": (5, 6)}, starts=x, cancel=Once()
    ),
    "many steels": fp.estimate_many,
    "many heads": lambda x: fp.estimate_many("1030", x),
    "many routes": lambda x: fp.estimate_many("1030", None, x),
    "many shops": lambda x: fp.estimate_many("1030", None, None, x),
    "many executor": lambda x: fp.estimate_many("1030", executor=x),
    "many progress": lambda x: fp.estimate_many("1030", progress=x),
    "many cancel": lambda x: fp.estimate_many("1030", cancel=x),
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
