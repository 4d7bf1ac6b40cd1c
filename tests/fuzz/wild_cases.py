"""Wild but valid cases, alone and in batches, and lines through them along which nothing jumps."""

import contextlib
import dataclasses
import json
import random

import numpy as np

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.inputs.cases import Cases
from forgeprops.inputs.head import Block
from forgeprops.inputs.route import COOLING, HEATING, MEDIA, Normalise, Quench
from forgeprops.inputs.settings import numbers_of, settings, table
from forgeprops.inputs.steel import ELEMENTS

#: No structure of iron is softer, none of up to 1.2 % of carbon harder, HV.
SOFTEST_HV, HARDEST_HV = 50.0, 1000.0
#: A jump of hardness at one place of a line of cases, HV.
JUMP_HV = 1.0


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
    numbers = ((f, s) for f, s in numbers_of(part).items() if s.is_number)
    drawn = {f: number(draw, s.low, s.high) for f, s in numbers if draw.random() < 0.5}
    return part_class(**{**drawn, **others})


def heat(draw):
    """A library grade with every content anywhere in the grade's range."""
    base = fp.grade(draw.choice(fp.grades()))
    composition = dict(base.composition)
    for e, (low, high) in base.limits.items():
        low = max(low or 0.0, 0.03 * (e == "C"))
        composition[e] = draw.uniform(low, high or composition.get(e, 0.1))
    return fp.Steel(base.name, composition)


def steel(draw):
    """A library grade, one of its range, or any composition."""
    way = draw.random()
    if way < 0.3:
        return fp.grade(draw.choice(fp.grades()))
    if way < 0.6:
        composition = heat(draw).composition
    else:
        composition = {"C": number(draw, table()["C"].low, ELEMENTS["C"])}
        for e in draw.sample(sorted(set(ELEMENTS) - {"C"}), draw.randrange(9)):
            composition[e] = number(draw, 0.0, ELEMENTS[e])
    return fp.Steel("drawn", composition, number(draw, 0.0, 14.0), fine_grain=draw.random() < 0.5)


def head(draw):
    """A library head, some dimensions of it changed, or its body in one to five other blocks."""
    made = fp.head(draw.choice(fp.heads()))
    for name in draw.sample(sorted(made.SETTINGS), draw.choice((0, 0, 1, 2, 3))):
        setting = table()[name]
        if draw.random() < 0.4:
            value = number(draw, setting.low, setting.high)
        else:
            value = getattr(made, name) * draw.uniform(0.7, 1.4)
        with contextlib.suppress(fp.InputError):
            changed = made.with_(**{name: value})
            if 100.0 <= changed.mass_g() <= 600.0:
                made = changed
    if draw.random() < 0.2:
        n = draw.randrange(1, 6)
        sizes = [(draw.uniform(3, 16), draw.uniform(2, 14)) for _ in range(n)]
        length = sum(b.length_mm for b in made.body) / n
        body = tuple(Block(f"b{k}", length, *size) for k, size in enumerate(sizes))
        with contextlib.suppress(fp.InputError):
            made = dataclasses.replace(made, body=body, declared_mass_g=None)
    return made


def later_heat(draw, coldest_ac1):
    way = draw.random()
    if way < 0.15:
        to_c, hold_s = draw.uniform(850.0, 1000.0), draw.uniform(600.0, 7200.0)
        return Normalise(to_c, hold_s, draw.choice(COOLING))
    zones = draw.choice(((), ("hosel",), ("hosel", "neck")))
    to_c, hold_s = number(draw, 20.0, coldest_ac1), number(draw, 0.0, 36_000.0)
    return fp.Temper(to_c, hold_s, zones) if way < 0.75 else fp.LocalHeat("hosel", to_c, hold_s)


def route(draw, coldest_ac1=650.0):
    made = {"furnace": draw.choice(HEATING), "soak_s": number(draw, 0.0, 7200.0)}
    spray, few = step(draw, fp.Spray, "spray", back_on_die=draw.random() < 0.3), (0, 0, 0, 1, 2)
    made |= {"spray": spray if draw.random() < 0.8 else None, "surroundings": draw.choice(COOLING)}
    made["later"] = tuple(later_heat(draw, coldest_ac1) for _ in range(draw.choice(few)))
    made["quench"] = tuple(quench(draw) for _ in range(draw.choice(few)))
    return step(draw, fp.Route, "route", **made)


def quench(draw):
    medium, more = draw.choice(sorted(MEDIA)), {}
    zones = draw.choice(((), "hosel", {"face": 1.0, "rim": draw.random()}))
    if medium == "own bath":
        more["table"] = (100.0, draw.uniform(50.0, 9000.0)), (800.0, 300.0)
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
    except fp.InputError as error:
        assert str(error) == many_error, (str(error), many_error)
        return None
    assert not many_error, many_error
    json.dumps(result.to_dict(), allow_nan=False)
    assert "nan" not in f"{result.summary()} {result.details()}".lower().split()
    assert result.distortion.words
    return result


def try_cases(begin, n, count, single=200):
    """`n` cases of the seeds from `begin` on in one batch; every `single`-th also alone."""
    drawn = [case(seed) for seed in range(begin, begin + n)]
    found = fp.estimate_many(*map(list, zip(*drawn, strict=True)), quick=True)
    good = found.error == ""
    kept = found[good]
    count.update({"cases": n, "cases refused": int((~good).sum())})
    told = kept.iloc[:, 3:-2].drop(columns=["flux", "delay_s", "spray_s"]).select_dtypes("float")
    assert list(told.columns[~np.isfinite(told).all()]) == []
    for zone in ("face", "rim", "body", "neck", "hosel"):
        assert kept[f"{zone}_hardness_hv"].between(SOFTEST_HV, HARDEST_HV, "neither").all(), zone
        assert (kept[f"{zone}_yield_mpa"] <= kept[f"{zone}_tensile_mpa"]).all(), zone
    assert (kept[["hosel_allowed_deg", "scale_um"]] >= 0.0).all(axis=None)
    for k in range(0, n, single):
        result = same_sentence(drawn[k], found.error[k])
        count["cases alone"] += 1
        if result:
            assert result.zones["face"].hardness_hv == found.face_hardness_hv[k], k
            told = {w.code for w in result.warnings} | {"cliff", "idle-water"}
            assert set(filter(None, found.warnings[k].split("; "))) <= told, (k, told)
    looked_into = [d for d, ok in zip(drawn, good, strict=True) if ok][: max(n // 8, 8)]
    count["marches looked into"] += len(looked_into)
    if looked_into:
        results = evaluate(Cases.of(*map(list, zip(*looked_into, strict=True)))).results
        shares = results.fractions.values()
        assert np.abs(sum(shares) - 1.0).max() < 1e-6 and min(f.min() for f in shares) > -1e-9
        # tempering never hardens
        assert (results.as_quenched_hv >= results.hardness_hv - 1e-6).all()
        for (_, h, r, _), energy in zip(looked_into, results.energy, strict=True):
            gap = energy_gap(h, r, *energy)
            most = count["largest energy gap, 1/1000"]
            count["largest energy gap, 1/1000"] = max(most, round(1e3 * gap, 1))
            assert gap < 0.01, energy


def energy_gap(head, route, taken, stored, transformed):
    """What is missing in the balance of a march, over the heat that a heating takes.

    What a coil gives is not in the balance; the heats of transformation close over heating and cooling only.
    """
    if route.furnace == "induction" or route.start_c > 200.0:
        return 0.0
    mass_kg = sum(z.mass_g for z in head.zones("forged").values()) / 1e3
    swing = mass_kg * 650.0 * max(abs(route.preheat_c - route.start_c), 100.0)
    return abs(taken + transformed - stored) / swing


def line(seed):
    """A job, the name of one of its numbers, and the ends between which that is moved."""
    names = [s for s in settings() if s not in ("H", "O", "Sb", "Ca")]
    draw = random.Random(f"line {seed}")
    job = fp.Job(fp.grade(draw.choice(fp.grades())), fp.head(draw.choice(fp.heads())))
    for name in draw.sample(names, 3):
        s = table()[name]
        span = s.search or (s.slider and s.slider[:2]) or (s.low, s.high)
        with contextlib.suppress(fp.InputError):
            job = job.with_(**{name: draw.uniform(*span)})
    name = draw.choice(names)
    s = table()[name]
    high = min(s.high, 2.0) if s.unit == "wt%" else s.high
    return job, name, s.slider[:2] if s.slider else (s.low, high)


def along(job, name, values, count):
    """Hardness of face and hosel along a line, NaN where a case is refused."""
    found = np.full((len(values), 2), np.nan)
    jobs = {}
    for i, v in enumerate(values):
        with contextlib.suppress(fp.InputError):
            jobs[i] = job.with_(**{name: float(v)})
    if jobs:
        parts = [[getattr(j, n) for j in jobs.values()] for n in ("steel", "head", "route", "shop")]
        told = fp.estimate_many(*parts, quick=True)
        found[list(jobs)] = told[["face_hardness_hv", "hosel_hardness_hv"]].to_numpy(float)
    count["line cases"] += len(jobs)
    return found


def try_lines(begin, n, count, points=97, fine=1e-6):
    """Along `n` lines through accepted cases, the steepest place is narrowed down; a jump stays, a slope goes."""
    for seed in range(begin, begin + n):
        job, name, (low, high) = line(seed)
        count["lines"] += 1
        a, b = low, high
        while True:
            at = np.linspace(a, b, points if b - a > 0.5 * (high - low) else 9)
            hv = along(job, name, at, count)
            step_hv = np.nan_to_num(np.abs(np.diff(hv, axis=0))).max(axis=1)
            k = int(step_hv.argmax())
            if step_hv[k] < JUMP_HV:
                break
            a, b = at[k], at[k + 1]
            if b - a < fine * (high - low):
                count["jumps"] += 1
                yield f"line {seed}: {name} at {a!r}: {step_hv[k]:.2f} HV, steel {job.steel.name}"
                break
