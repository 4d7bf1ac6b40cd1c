"""Wild but valid cases, damaged files and nonsense arguments by the thousand, each from a seed that repeats it.

``python tests/fuzz/hostile.py --cases 100000 --lines 400 --files 1500 --calls 4000 --seed 1`` prints what was tried and
what failed (before a release); `test_hostile.py` tries a little of each in every run of the tests.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import inspect
import io
import json
import math
import random
import sys
import time
import warnings
import zipfile
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.base.errors import InputError
from forgeprops.base.tables import data_path
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.head import Block
from forgeprops.inputs.later import COOLING, Normalise
from forgeprops.inputs.route import HEATING, MEDIA, Quench
from forgeprops.inputs.settings import numbers_of, settings, table
from forgeprops.inputs.steel import ELEMENTS

#: No structure of iron is softer, none of up to 1.2 % of carbon harder, HV.
SOFTEST_HV, HARDEST_HV = 50.0, 1000.0
#: A jump of hardness at one place of a line of cases, HV.
JUMP_HV = 1.0


# ---- wild cases --------------------------------------------------------------------------------------------


def number(draw, low, high):
    """Anywhere in the bounds; often near an end, at it, or near zero on a scale of powers of ten."""
    way = draw.random()
    if way < 0.08:
        return draw.choice((low, high))
    if way < 0.16 and high > 0.0:
        return min(max(high * 10.0 ** draw.uniform(-9.0, 0.0), low), high)
    return draw.uniform(low, high)


def step(draw, part_class, part, **others):
    """A part of a route or a shop with each of its numbers drawn or left alone."""
    drawn = {
        f: number(draw, s.low, s.high) for f, s in numbers_of(part).items() if draw.random() < 0.5
    }
    return part_class(**{**drawn, **others})


def steel(draw):
    """A library grade, one of its range, or any composition."""
    way, base = draw.random(), fp.grade(draw.choice(fp.grades()))
    if way < 0.3:
        return base
    composition = dict(base.composition)
    if way < 0.6:
        for e, (low, high) in base.limits.items():
            composition[e] = draw.uniform(
                max(low or 0.0, 0.03 * (e == "C")), high or composition.get(e, 0.1)
            )
    else:
        composition = {"C": number(draw, table()["C"].low, ELEMENTS["C"])}
        for e in draw.sample(sorted(set(ELEMENTS) - {"C"}), draw.randrange(9)):
            composition[e] = number(draw, 0.0, ELEMENTS[e])
    grain = number(draw, 0.0, 14.0)
    return fp.Steel("drawn", composition, grain, fine_grain=draw.random() < 0.5)


def head(draw):
    """A library head, some dimensions of it changed, or its body in one to five other blocks."""
    made = fp.head(draw.choice(fp.heads()))
    for name in draw.sample(sorted(made.SETTINGS), draw.choice((0, 0, 1, 2, 3))):
        setting = table()[name]
        near = number(draw, setting.low, setting.high) if draw.random() < 0.4 else None
        part, field = made.SETTINGS[name]
        value = (
            getattr(getattr(made, part), field) * draw.uniform(0.7, 1.4) if near is None else near
        )
        try:
            changed = made.with_(**{name: value})
        except InputError:
            continue
        if 100.0 <= changed.mass_g() <= 600.0:
            made = changed
    if draw.random() < 0.2:
        n = draw.randrange(1, 6)
        length = sum(b.length_mm for b in made.body) / n
        body = tuple(
            Block(f"b{k}", length, draw.uniform(3, 16), draw.uniform(2, 14)) for k in range(n)
        )
        try:
            made = dataclasses.replace(made, body=body, declared_mass_g=None)
        except InputError:
            pass
    return made


def route(draw, coldest_ac1=650.0):
    later = []
    for _ in range(draw.choice((0, 0, 0, 1, 2))):
        if draw.random() < 0.15:
            later.append(
                Normalise(
                    draw.uniform(850.0, 1000.0), draw.uniform(600.0, 7200.0), draw.choice(COOLING)
                )
            )
        elif draw.random() < 0.7:
            zones = draw.choice(((), ("hosel",), ("hosel", "neck")))
            later.append(
                fp.Temper(number(draw, 20.0, coldest_ac1), number(draw, 0.0, 36_000.0), zones)
            )
        else:
            later.append(
                fp.LocalHeat("hosel", number(draw, 20.0, coldest_ac1), number(draw, 0.0, 36_000.0))
            )
    spray = step(draw, fp.Spray, "spray", back_on_die=draw.random() < 0.3)
    return fp.Route(
        step(
            draw, fp.Preheat, "preheat", kind=draw.choice(HEATING), soak_s=number(draw, 0.0, 7200.0)
        ),
        step(draw, fp.Transfer, "transfer"),
        step(draw, fp.Press, "press"),
        spray if draw.random() < 0.8 else None,
        step(draw, fp.Cool, "cool", surroundings=draw.choice(COOLING)),
        tuple(later),
        step(draw, fp.FirstHeat, "first_heat"),
        tuple(quench(draw) for _ in range(draw.choice((0, 0, 0, 1, 2)))),
    )


def quench(draw):
    medium = draw.choice(sorted(MEDIA))
    zones = draw.choice(((), "hosel", {"face": 1.0, "rim": draw.random()}))
    more = (
        {"table": ((100.0, draw.uniform(50.0, 9000.0)), (800.0, 300.0))}
        if medium == "own bath"
        else {}
    )
    if not medium.endswith("bath"):
        more["depth_mm"] = None
    return step(draw, Quench, "quench", medium=medium, zones=zones, **more)


def shop(draw):
    return step(draw, fp.Shop, "shop") if draw.random() < 0.5 else fp.Shop()


def case(seed):
    """Steel, head, route and shop of one seed."""
    draw = random.Random(seed)
    return steel(draw), head(draw), route(draw), shop(draw)


def same_sentence(one, many_error):
    """`estimate` gives numbers where the batch does, and refuses with the batch's sentence."""
    try:
        result = fp.estimate(*one)
    except InputError as error:
        assert str(error) == many_error, (str(error), many_error)
        return None
    assert not many_error, many_error
    json.dumps(result.to_dict(), allow_nan=False)
    assert "nan" not in result.summary().lower().split()
    return result


def try_cases(begin, n, count, single=200):
    """`n` cases of the seeds from `begin` on in one batch; every `single`-th also alone."""
    drawn = [case(seed) for seed in range(begin, begin + n)]
    found = fp.estimate_many(*map(list, zip(*drawn, strict=True)), quick=True)
    count["cases"] += n
    good = found.error == ""
    count["cases refused"] += int((~good).sum())
    for name in found.columns[3:-2]:
        values = found.loc[good, name]
        if values.dtype.kind == "f" and name not in ("flux", "delay_s", "spray_s"):
            assert np.isfinite(values.astype(float)).all(), name
    for zone in ("face", "rim", "body", "neck", "hosel"):
        hv = found.loc[good, f"{zone}_hardness_hv"]
        assert hv.empty or (hv.min() > SOFTEST_HV and hv.max() < HARDEST_HV), (
            zone,
            hv.min(),
            hv.max(),
        )
        assert (
            found.loc[good, f"{zone}_yield_mpa"] <= found.loc[good, f"{zone}_tensile_mpa"]
        ).all(), zone
    assert (found.loc[good, "hosel_allowed_deg"] >= 0.0).all()
    assert (found.loc[good, "scale_um"] >= 0.0).all()
    for k in range(0, n, single):
        result = same_sentence(drawn[k], found.error[k])
        count["cases alone"] += 1
        if result:
            assert result.zones["face"].hardness_hv == found.face_hardness_hv[k], k
            told = {w.code for w in result.warnings}
            assert set(filter(None, found.warnings[k].split("; "))) <= told | {
                "cliff",
                "idle-water",
            }, (told, found.warnings[k])
    kept = [d for d, ok in zip(drawn, good, strict=True) if ok][: max(n // 8, 8)]
    if kept:
        count["marches looked into"] += len(kept)
        told = evaluate(Cases.of(*map(list, zip(*kept, strict=True))))
        shares = told.results.fractions
        assert np.abs(sum(shares.values()) - 1.0).max() < 1e-6
        assert min(f.min() for f in shares.values()) > -1e-9
        assert (
            told.results.as_quenched_hv >= told.hardness_hv - 1e-6
        ).all()  # tempering never hardens
        for (_, h, r, _), (taken, stored, transformed) in zip(
            kept, told.results.energy, strict=True
        ):
            # what a coil gives is not in the balance; the heats of transformation close over heating and cooling only
            if r.preheat.kind == "induction" or r.preheat.start_c > 200.0:
                continue
            mass_kg = sum(z.mass_g for z in h.zones("forged").values()) / 1e3
            swing = mass_kg * 650.0 * max(abs(r.preheat.temperature_c - r.preheat.start_c), 100.0)
            gap = abs(taken + transformed - stored) / swing
            count["largest energy gap, 1/1000"] = max(
                count["largest energy gap, 1/1000"], round(1e3 * gap, 1)
            )
            assert gap < 0.01, (taken, stored, transformed, swing)


# ---- lines -------------------------------------------------------------------------------------------------


def try_lines(begin, n, count, points=97, fine=1e-6):
    """Along `n` lines through accepted cases, the steepest place is narrowed down; a jump stays, a slope goes."""
    names = [s for s in settings() if s not in ("H", "O", "Sb", "Ca")]
    for seed in range(begin, begin + n):
        draw = random.Random(f"line {seed}")
        base = fp.grade(draw.choice(fp.grades()))
        one = fp.head(draw.choice(fp.heads()))
        way = fp.Route()
        own = fp.Shop()
        job = fp.Job(base, one, way, shop=own)
        for name in draw.sample(names, 3):
            s = table()[name]
            span = s.search or (s.slider and s.slider[:2]) or (s.low, s.high)
            try:
                job = job.with_(**{name: draw.uniform(*span)})
            except InputError:
                continue
        name = draw.choice(names)
        s = table()[name]
        low, high = (
            s.slider[:2] if s.slider else (s.low, min(s.high, 2.0) if s.unit == "wt%" else s.high)
        )
        count["lines"] += 1

        def hardness(values, job=job, name=name):
            jobs = []
            for v in values:
                try:
                    jobs.append(job.with_(**{name: float(v)}))
                except InputError:
                    jobs.append(None)
            kept = [j for j in jobs if j]
            found = np.full((len(values), 2), np.nan)
            if kept:
                told = fp.estimate_many(
                    [j.steel for j in kept],
                    [j.head for j in kept],
                    [j.route for j in kept],
                    [j.shop for j in kept],
                    quick=True,
                )
                found[[j is not None for j in jobs]] = told[
                    ["face_hardness_hv", "hosel_hardness_hv"]
                ].to_numpy(float)
            count["line cases"] += len(kept)
            return found

        a, b = low, high
        while True:
            at = np.linspace(a, b, points if b - a > 0.5 * (high - low) else 9)
            step_hv = np.nan_to_num(np.abs(np.diff(hardness(at), axis=0))).max(axis=1)
            k = int(step_hv.argmax())
            if step_hv[k] < JUMP_HV:
                break
            a, b = at[k], at[k + 1]
            if b - a < fine * (high - low):
                count["jumps"] += 1
                yield f"line {seed}: {name} at {a!r}: {step_hv[k]:.2f} HV, steel {job.steel.name}"
                break


# ---- damaged files -----------------------------------------------------------------------------------------

READERS = {
    "certificates": fp.read_certificates, "hardness": fp.read_hardness, "traces": fp.read_traces,
    "bends": fp.read_bends, "channels": fp.read_channels, "runs": fp.read_runs, "log": fp.read_log,
}  # fmt: skip
_CELLS = ("", "nan", "-", "1e999", "=1+1", "x" * 999, "ß", "\ud7ff", "1.2.3", "0", "-0", "<0.01", "99999999999999999999", "2025-02-30", "\0", '"', "12:61", "°C")  # fmt: skip


def whole_files():
    """Name and bytes of one whole file of each kind that is read."""
    import openpyxl

    for name in READERS:
        lines = data_path("demo", f"{name}.csv").read_text(encoding="utf-8").splitlines()[:400]
        yield f"{name}.csv", "\n".join(lines).encode()
        book = openpyxl.Workbook()
        for line in lines[:40]:
            book.active.append(
                [float(c) if c.replace(".", "", 1).isdigit() else c for c in line.split(",")]
            )
        out = io.BytesIO()
        book.save(out)
        yield f"{name}.xlsx", out.getvalue()
    from forgeprops.io.saved import plain

    job = fp.Job().with_(bar_mm=600.0)
    job = dataclasses.replace(
        job,
        strike={"loft_deg": 28.0},
        route=dataclasses.replace(job.route, later=(fp.Temper(500.0),)),
    )
    yield "job.json", json.dumps({"format": "forgeprops job", "version": 1, **plain(job)}).encode()
    yield (
        "shop.json",
        json.dumps({"format": "forgeprops shop", "version": 1, **fp.Shop().saved()}).encode(),
    )


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
    rows = [line.split(",") for line in data.decode().split("\n")]
    for _ in range(draw.choice((1, 5, 50))):
        row = draw.choice(rows)
        row[draw.randrange(len(row))] = draw.choice(_CELLS)
    if draw.random() < 0.3:
        draw.shuffle(rows)
    text = draw.choice(("\n", "\r\n", "\r")).join(draw.choice(",;\t").join(r) for r in rows)
    return text.encode(
        draw.choice(("utf-8", "utf-16", "latin-1", "cp932", "utf-8-sig")), errors="replace"
    )


def _parts(draw, data):
    """A workbook with the XML of one part damaged, dropped or doubled."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        names = old.namelist()
        hit = draw.choice(names)
        for name in names:
            part = old.read(name)
            if name == hit:
                if draw.random() < 0.1:
                    continue
                part = _bytes(draw, part) if draw.random() < 0.6 else _swapped(draw, part)
            new.writestr(name, part)
    return out.getvalue()


def _swapped(draw, part):
    """XML that stays well-formed with other numbers, references and types in it."""
    import re

    values = [
        "1", "-1", "99999999999", "A1:XFD1048576", "A1:A9", "nan", "s", "e", "b", "d", "x", ""]  # fmt: skip
    return re.sub(
        rb'"[^"]*"',
        lambda m: f'"{draw.choice(values)}"'.encode() if draw.random() < 0.1 else m[0],
        part,
    )


def _json(draw, data):
    """A job or shop file with one value exchanged for another kind of thing, or one name dropped or added."""
    content = json.loads(data)
    where, place = content, []
    while isinstance(where, (dict, list)) and where and (not place or draw.random() < 0.75):
        place.append(
            (where, draw.choice(list(where) if isinstance(where, dict) else range(len(where))))
        )
        where = where[place[-1][1]]
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


def try_files(begin, n, count):
    """`n` damaged files, each to the reader of its kind; yields what a reader raises beyond `InputError`."""
    files = list(whole_files())
    for seed in range(begin, begin + n):
        draw = random.Random(f"file {seed}")
        name, data = files[seed % len(files)]
        kind, _, ending = name.partition(".")
        damage = {
            "csv": (_bytes, _cells),
            "xlsx": (_bytes, _parts, _parts),
            "json": (_bytes, _json, _json),
        }[ending]
        data = draw.choice(damage)(draw, data)
        reader = {**READERS, "job": fp.load_job, "shop": fp.load_shop}[kind]
        count[f"files {ending}"] += 1
        start = time.perf_counter()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                read = reader(data, filename=name)
                if kind not in ("job", "shop"):
                    html = getattr(read, "_repr_html_", lambda: "")()
                    assert "<script" not in html
        except InputError as error:
            count["files refused"] += 1
            if why := not_a_sentence(error):
                yield f"file {seed} ({name}): {why}"
        except Exception as error:  # noqa: BLE001  (that is what is looked for)
            yield f"file {seed} ({name}): {type(error).__name__}: {error}"
        took = time.perf_counter() - start
        if took > 10.0:
            yield f"file {seed} ({name}): {took:.0f} s"


def not_a_sentence(error):
    text = str(error)
    if (
        not (10 < len(text) < 1500)
        or not text.endswith((".", "!"))
        or text.endswith("..")
        or "Traceback" in text
        or " object at 0x" in text
        or "\n" in text
    ):
        return f"not a sentence: {text[:300]!r}"
    return ""


# ---- nonsense arguments ------------------------------------------------------------------------------------


class Hostile:
    """Fails whatever is done with it."""

    def _fail(self, *_, **__):
        raise RuntimeError("hostile object")

    __repr__ = __str__ = __len__ = __iter__ = __float__ = __int__ = __bool__ = __eq__ = __hash__ = (
        _fail
    )
    __getitem__ = __contains__ = __fspath__ = __index__ = __array__ = __lt__ = _fail


def nonsense(draw):
    """One value that no parameter wants, or that only some do."""
    from fractions import Fraction

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


def try_calls(begin, n, count):
    """`n` calls with one or two arguments of a valid call exchanged for nonsense; yields foreign exceptions."""
    from test_bad_input import VALID

    calls = {
        **VALID,
        "estimate_many": {"steels": ["4130"], "quick": True},
        "judge_heats": {"certificates": ["4130"]},
    }
    calls |= {
        "window": {
            **calls["window"],
            "x": ("preheat_c", 850.0, 950.0, 3),
            "y": ("flux", 5.0, 9.0, 3),
        },
        "scatter": {**calls["scatter"], "n": 64},
    }
    calls |= {
        "Units": {},
        "Limits": {"face_hardness_hv": (380, 460)},
        "Warn": {"code": "scale", "text": "Scale."},
    }
    calls |= {
        name: {"result": calls["next_measurement"]["result"]}
        for name in ("soften", "hosel_sensitivity")
    }
    names = sorted(set(calls) - {"add_to_log", "write_table"})
    for seed in range(begin, begin + n):
        draw = random.Random(f"call {seed}")
        name = draw.choice(names)
        parameters = [
            p
            for p in inspect.signature(getattr(fp, name)).parameters.values()
            if p.name not in ("executor",)
        ]
        given = dict(calls[name])
        changed = []
        for p in draw.sample(parameters, min(len(parameters), draw.choice((1, 1, 2)))):
            key = p.name
            if p.kind is p.VAR_KEYWORD:
                key = draw.choice(
                    (
                        "tolerance_c",
                        "points",
                        "threads",
                        "constants",
                        "bar_mm",
                        "face_hardness_hv",
                        "shop",
                        "limits",
                        "nonsense",
                    )
                )
            if key == "to" and name == "estimate_many":
                continue
            given[key] = nonsense(draw)
            changed.append(key)
        count["calls"] += 1
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                getattr(fp, name)(**given)
        except InputError as error:
            count["calls refused"] += 1
            if why := not_a_sentence(error):
                yield f"call {seed}: {name}({', '.join(changed)}): {why}"
        except Exception as error:  # noqa: BLE001  (that is what is looked for)
            values = ", ".join(f"{k}={_shown(given[k])}" for k in changed)
            yield f"call {seed}: {name}({values}): {type(error).__name__}: {error!s:.200}"


def _shown(value):
    try:
        return f"{value!r:.60}"
    except Exception:  # noqa: BLE001
        return f"<{type(value).__name__}>"


def try_commands(begin, n, count):
    """`n` command lines with some options exchanged for nonsense; yields what is not numbers or one sentence."""
    from forgeprops.__main__ import main as command_line
    from forgeprops.command_line.options import parser

    texts = ["", " ", "abc", "nan", "inf", "-1", "1e999", "0", "8", "½", "=1", "x=1", "C=9", "spray_s=long", "a:b:c", "600:1h", "1:2:3", "flux:2:20:3",
             "4130", "C 0.3", "C 0,3 Mn 99", "\x1b[31m", "a\0b", "/dev/zero", "/no/such", ".", "x" * 5000, "--", "ಠ", "oil bath:60", "true", "none"]  # fmt: skip
    writes = {"--save-job", "--save-route", "--csv", "--png", "--to"}
    for seed in range(begin, begin + n):
        draw = random.Random(f"command {seed}")
        command = draw.choice(("estimate", "estimate", "compare", "accept"))
        line = [command]
        for action in draw.sample(parser(command)._actions, draw.choice((1, 2, 3))):
            if not action.option_strings or writes & set(action.option_strings):
                line += [draw.choice(texts)]
            else:
                line += [
                    action.option_strings[-1],
                    *([] if action.nargs == 0 else [draw.choice(texts)]),
                ]
        count["commands"] += 1
        out, err = io.StringIO(), io.StringIO()
        try:
            with (
                contextlib.redirect_stdout(out),
                contextlib.redirect_stderr(err),
                warnings.catch_warnings(),
            ):
                warnings.simplefilter("ignore")
                code = command_line(line)
        except BaseException as error:  # noqa: BLE001  (that is what is looked for)
            yield f"command {seed}: {line}: {type(error).__name__}: {error!s:.200}"
            continue
        count["commands refused"] += code == 2
        wrong = (
            not_a_sentence(err.getvalue().removesuffix("\n"))
            if code == 2
            else ""
            if code == 0 and not err.getvalue()
            else f"code {code}: {err.getvalue():.200}"
        )
        if wrong or (code == 2 and out.getvalue()):
            yield f"command {seed}: {line}: {wrong or 'printed before it refused'}"


# ---- the long run ------------------------------------------------------------------------------------------


def main():
    options = argparse.ArgumentParser(description=__doc__)
    for name, n in (
        ("cases", 100_000),
        ("lines", 300),
        ("files", 1500),
        ("calls", 4000),
        ("commands", 2000),
        ("seed", 1),
    ):
        options.add_argument(f"--{name}", type=int, default=n)
    given = options.parse_args()
    count, failed, start = Counter(), [], time.monotonic()
    begin = given.seed * 10**7
    for at in range(begin, begin + given.cases, 1000):
        try:
            try_cases(at, min(1000, begin + given.cases - at), count)
        except Exception as error:  # noqa: BLE001  (counted; the seeds tell which)
            failed.append(f"cases {at}: {type(error).__name__}: {error!s:.500}")
    for target, n in (
        (try_lines, given.lines),
        (try_files, given.files),
        (try_calls, given.calls),
        (try_commands, given.commands),
    ):
        for said in target(begin, n, count):
            failed.append(said)
            print(said, flush=True)
    print(f"{dict(count)} in {time.monotonic() - start:.0f} s; {len(failed)} failed")
    print("\n".join(failed))
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
