"""The way of a steel, a head and a route through the rooms in one estimate, from a profile of its calls.

A place is a file with a function that is given the object as an argument.  The walk is the order in which such
functions are entered; it climbs where a file is entered for the first time that stands above the one before it
in the order of imports.  Columns, texts and changed copies that are made of the object are other objects.
"""

import sys
from pathlib import Path

import pytest
from test_import_rule import HOUSE, room_of

import forgeprops as fp

PACKAGE = Path(fp.__file__).parent


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
    print(f"\n{what}: {len(set(files))} places, {climbs(files)} climbs")
    assert 5 < len(set(files)) <= 20
    assert what != "route" or climbs(files) <= 3
