"""Wild but valid cases, damaged files and nonsense arguments by the thousand, each from a seed that repeats it.

``python tests/fuzz/hostile.py --cases 100000 --lines 400 --files 1500 --calls 4000 --seed 1`` prints what was tried and
what failed (before a release); `test_properties.py` tries a little of each in every run of the tests.
"""

import argparse
import contextlib
import functools
import inspect
import io
import json
import math
import random
import re
import reprlib
import sys
import time
import warnings
import zipfile
from collections import Counter
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from checks import flaw, repacked, workbook
from fuzz.wild_cases import try_cases, try_lines

import forgeprops as fp
from forgeprops.__main__ import main as command_line
from forgeprops.base.tables import data_path
from forgeprops.command_line.options import parser
from forgeprops.io.saved import plain

READERS = {
    "certificates": fp.read_certificates, "hardness": fp.read_hardness, "traces": fp.read_traces,
    "bends": fp.read_bends, "channels": fp.read_channels, "runs": fp.read_runs, "log": fp.read_log,
}  # fmt: skip
_CELLS = ("", "nan", "-", "1e999", "=1+1", "x" * 999, "ß", "\ud7ff", "1.2.3", "0", "-0", "<0.01", "99999999999999999999", "2025-02-30", "\0", '"', "12:61", "°C")  # fmt: skip


def whole_files():
    """Name and bytes of one whole file of each kind that is read."""
    for name in READERS:
        lines = data_path("demo", f"{name}.csv").read_text(encoding="utf-8").splitlines()[:400]
        yield f"{name}.csv", "\n".join(lines).encode()
        rows = (text.split(",") for text in lines[:40])
        rows = [[float(c) if c.replace(".", "", 1).isdigit() else c for c in row] for row in rows]
        yield f"{name}.xlsx", workbook(rows)
    route = fp.Route(later=(fp.Temper(500.0),))
    job = fp.Job(route=route, strike={"loft_deg": 28.0}).with_(bar_mm=600.0)
    for kind, content in (("job", plain(job)), ("shop", plain(fp.Shop()))):
        saved = {"format": f"forgeprops {kind}", "version": 1, **content}
        yield f"{kind}.json", json.dumps(saved).encode()


def _bytes(draw, data):
    data = bytearray(data)
    for _ in range(draw.choice((1, 3, 30, 300))):
        at = draw.randrange(len(data))
        way = draw.random()
        if way < 0.6:
            data[at] = draw.randrange(256)
        elif way < 0.8:
            del data[at : at + draw.randrange(1, 40)]
        else:
            data[at:at] = data[at : at + draw.randrange(1, 40)]
        if not data:
            return b"x"
    return bytes(data[: draw.randrange(1, len(data) + 1)] if draw.random() < 0.25 else data)


def _cells(draw, data):
    rows = [text.split(",") for text in data.decode().split("\n")]
    for _ in range(draw.choice((1, 5, 50))):
        row = draw.choice(rows)
        row[draw.randrange(len(row))] = draw.choice(_CELLS)
    if draw.random() < 0.3:
        draw.shuffle(rows)
    text = draw.choice(("\n", "\r\n", "\r")).join(draw.choice(",;\t").join(r) for r in rows)
    encoding = draw.choice(("utf-8", "utf-16", "latin-1", "cp932", "utf-8-sig"))
    return text.encode(encoding, errors="replace")


def _parts(draw, data):
    """A workbook with the XML of one part damaged or dropped."""

    def change(part):
        if draw.random() < 0.1:
            return None
        return _bytes(draw, part) if draw.random() < 0.6 else _swapped(draw, part)

    return repacked(data, draw.choice(zipfile.ZipFile(io.BytesIO(data)).namelist()), change)


def _swapped(draw, part):
    """XML that stays well-formed with other numbers, references and types in it."""
    values = ["1", "-1", "99999999999", "A1:XFD1048576", "A1:A9", "nan", *"sebdx", ""]

    def new(found):
        return f'"{draw.choice(values)}"'.encode() if draw.random() < 0.1 else found[0]

    return re.sub(rb'"[^"]*"', new, part)


def _json(draw, data):
    """A job or shop file with one value exchanged for another kind of thing, or one name dropped or added."""
    content = json.loads(data)
    where, place = content, []
    while isinstance(where, (dict, list)) and where and (not place or draw.random() < 0.75):
        name = draw.choice(list(where) if isinstance(where, dict) else range(len(where)))
        place.append((where, name))
        where = where[name]
    holder, name = place[-1]
    way = draw.random()
    if way < 0.15:
        del holder[name]
    elif way < 0.25 and isinstance(holder, dict):
        holder["extra"] = 1
    else:
        holder[name] = draw.choice(PLAIN)
    return json.dumps(content, allow_nan=True).encode()


#: Things that JSON can hold where another belongs.
PLAIN = [None, True, -1, 0, 1e300, 10**40, math.nan, math.inf, "", "x", "4130", "\ud800", "a\nb", "x" * 5000, [], [1], [[1]], {}, {"C": 0.3}, {"x": {}}]  # fmt: skip


#: How a file of each kind is damaged.
DAMAGE = {"csv": (_bytes, _cells), "xlsx": (_bytes, _parts, _parts), "json": (_bytes, _json, _json)}


def try_files(begin, n, count):
    """`n` damaged files, each to the reader of its kind; yields what a reader raises beyond `InputError`."""
    files, readers = list(whole_files()), {**READERS, "job": fp.load_job, "shop": fp.load_shop}
    for seed in range(begin, begin + n):
        draw = random.Random(f"file {seed}")
        name, data = files[seed % len(files)]
        kind, _, ending = name.partition(".")
        data = draw.choice(DAMAGE[ending])(draw, data)
        count[f"files {ending}"] += 1

        def read(kind=kind, data=data, name=name):
            with warnings.catch_warnings(action="error"):
                found = readers[kind](data, filename=name)
                if kind in READERS:
                    assert "<script" not in getattr(found, "_repr_html_", lambda: "")()

        start = time.perf_counter()
        why = foreign(read, count, "files refused")
        took = time.perf_counter() - start
        if why or took > 10.0:
            yield f"file {seed} ({name}), {took:.0f} s: {why}"


quiet = functools.partial(warnings.catch_warnings, action="ignore")


def foreign(call, count, refused):
    """What `call` raises that is no clear sentence of our own; "" if nothing."""
    try:
        call()
    except fp.InputError as error:
        count[refused] += 1
        return flaw(str(error))
    except Exception as error:  # noqa: BLE001  (that is what is looked for)
        return f"{type(error).__name__}: {error!s:.200}"
    return ""


class Hostile:
    """Fails whatever is done with it."""

    def _fail(self, *_, **__):
        raise RuntimeError("hostile object")

    __repr__ = __str__ = __len__ = __iter__ = __float__ = __int__ = __bool__ = __eq__ = _fail
    __hash__ = __getitem__ = __contains__ = __fspath__ = __index__ = __array__ = __lt__ = _fail


def nonsense(draw):
    """One value that no parameter wants, or that only some do."""
    values = [
        *PLAIN, b"", b"x", bytearray(b"4130"), (), (1, 2), (1, 2, 3, 4, 5), set(), {1}, frozenset({"x"}), range(3), object(), type, print,
        Hostile, lambda *_: None, Path("x"), Path("/proc/x"), Fraction(10**9), Fraction(10**400), 10**400, -0.0, 5e-324, complex(1, 2),
        np.nan, np.float32(1e30), np.array([]), np.array([[1.0, np.nan]]), np.array("x"), np.array([object()]), np.datetime64("NaT"), iter([1]),
        (x for x in (1, "x")), {"head": "wedge", "x": 1}, {"preheat_c": "hot"}, {"spray": None}, {5: 5}, {"flux": (1, 2)}, {"flux": (2, 1)},
        {"flux": (math.nan, 1)}, {"flux": None}, {"C": {}}, [None], ["x", None], [math.nan, 1.0], [1.0, 1.0], ["4130", 5], [[]], [{}],
        ("preheat_c", 1, 2), ("preheat_c", 900.0, 800.0, 5), ("x", 1.0, 2.0, 5), ("preheat_c", 850.0, 900.0, 10**9), ("preheat_c", 850.0, 900.0, 1.5),
        fp.Route(), fp.Shop(), fp.head("mid-iron"), fp.grade("4130"), fp.Limits(), fp.Units(), fp.Job(), fp.Spray(), fp, int, ..., NotImplemented,
        "=1+1", "nan", "inf", "1e999", "½", "../../etc/passwd", "/dev/zero", "/proc/self/mem", "a\0b", "\x1b[31m", " ",
    ]  # fmt: skip
    return Hostile() if draw.random() < 0.04 else draw.choice(values)


#: Options that calls pass on.
PASSED_ON = "tolerance_c points threads constants bar_mm face_hardness_hv shop limits nonsense"


def valid_calls():
    """Public calls that write nothing, with arguments that are valid and quick."""
    from test_bad_input import VALID

    axes = {"x": ("preheat_c", 850.0, 950.0, 3), "y": ("flux", 5.0, 9.0, 3)}
    more = {
        "estimate_many": {"steels": ["4130"], "quick": True}, "judge_heats": {"certificates": ["4130"]},
        "window": {**VALID["window"], **axes}, "scatter": {**VALID["scatter"], "n": 64}, "Units": {},
        "Limits": {"face_hardness_hv": (380, 460)}, "Warn": {"code": "scale", "text": "Scale."},
        "hosel_sensitivity": VALID["soften"],
    }  # fmt: skip
    return {k: v for k, v in {**VALID, **more}.items() if k not in ("add_to_log", "write_table")}


def try_calls(begin, n, count):
    """`n` calls with one or two arguments of a valid call exchanged for nonsense; yields foreign exceptions."""
    calls = valid_calls()
    for seed in range(begin, begin + n):
        draw = random.Random(f"call {seed}")
        name = draw.choice(sorted(calls))
        parameters = inspect.signature(getattr(fp, name)).parameters
        parameters = [p for p in parameters.values() if p.name != "executor"]
        given, changed = dict(calls[name]), []
        for p in draw.sample(parameters, min(len(parameters), draw.choice((1, 1, 2)))):
            key = draw.choice(PASSED_ON.split()) if p.kind is p.VAR_KEYWORD else p.name
            if (key, name) != ("to", "estimate_many"):
                given[key] = nonsense(draw)
                changed.append(key)
        count["calls"] += 1
        with quiet():
            why = foreign(lambda c=name, g=given: getattr(fp, c)(**g), count, "calls refused")
        if why:
            values = ", ".join(f"{k}={reprlib.repr(given[k])}" for k in changed)
            yield f"call {seed}: {name}({values}): {why}"


TEXTS = ["", " ", "abc", "nan", "inf", "-1", "1e999", "0", "8", "½", "=1", "x=1", "C=9", "spray_s=long", "a:b:c", "600:1h", "1:2:3", "flux:2:20:3",
         "4130", "C 0.3", "C 0,3 Mn 99", "\x1b[31m", "a\0b", "/dev/zero", "/no/such", ".", "x" * 5000, "--", "ಠ", "oil bath:60", "true", "none"]  # fmt: skip
WRITES = {"--save-job", "--save-route", "--csv", "--png", "--to"}


def try_commands(begin, n, count):
    """`n` command lines with some options exchanged for nonsense; yields what is not numbers or one sentence."""
    for seed in range(begin, begin + n):
        draw = random.Random(f"command {seed}")
        given = [draw.choice(("estimate", "estimate", "compare", "accept"))]
        for action in draw.sample(parser(given[0])._actions, draw.choice((1, 2, 3))):
            if action.option_strings and not WRITES & set(action.option_strings):
                given.append(action.option_strings[-1])
                if action.nargs == 0:
                    continue
            given.append(draw.choice(TEXTS))
        count["commands"] += 1
        out, err = io.StringIO(), io.StringIO()
        try:
            with quiet(), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = command_line(given)
        except BaseException as error:  # noqa: BLE001  (that is what is looked for)
            yield f"command {seed}: {given}: {type(error).__name__}: {error!s:.200}"
            continue
        count["commands refused"] += code == 2
        said, wrong = err.getvalue(), ""
        if code == 2:
            late = "printed before it refused" * bool(out.getvalue())
            wrong = flaw(said.removesuffix("\n")) or late
        elif code or said:
            wrong = f"code {code}: {said:.200}"
        if wrong:
            yield f"command {seed}: {given}: {wrong}"


def main():
    options = argparse.ArgumentParser(description=__doc__)
    sizes = {"cases": 100_000, "lines": 300, "files": 1500, "calls": 4000, "commands": 2000}
    for name, n in {**sizes, "seed": 1}.items():
        options.add_argument(f"--{name}", type=int, default=n)
    given = options.parse_args()
    count, failed, start = Counter(), [], time.monotonic()
    begin = given.seed * 10**7
    for at in range(begin, begin + given.cases, 1000):
        try:
            try_cases(at, min(1000, begin + given.cases - at), count)
        except Exception as error:  # noqa: BLE001  (counted; the seeds tell which)
            failed.append(f"cases {at}: {type(error).__name__}: {error!s:.500}")
    for target in (try_lines, try_files, try_calls, try_commands):
        for said in target(begin, getattr(given, target.__name__.removeprefix("try_")), count):
            failed.append(said)
            print(said, flush=True)
    print(f"{dict(count)} in {time.monotonic() - start:.0f} s; {len(failed)} failed")
    print("\n".join(failed))
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
