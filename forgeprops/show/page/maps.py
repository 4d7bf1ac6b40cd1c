"""Maps of levels by the verdict's own draw: strips under the sliders, steels, window, and the search for the surest setting."""

import numpy as np

from ...answer.estimate import estimate
from ...answer.verdict import short_verdicts
from ...base.errors import InputError
from ...inputs.grades import grade, grades
from ...inputs.route import Spray
from ...inputs.settings import table
from ...study.process.preheat import forging_temperature_study
from ...study.process.scattering import even_numbers
from .answer import case_of, value_words
from .blocks import Stopped, button, buttons, table_of, text
from .desk import Desk
from .fields import number_of, shown

#: Points along the travel of a slider; columns and rows of the window.
STRIP, COLUMNS, ROWS = 21, 21, 13
#: Columns of a table of answers.
ANSWER = ("face", "hosel", "pull", "sure", "crack")
#: Cases of a round of the search, and rounds.
BATCH, ROUNDS = 48, 8


def strips(desk: Desk, result, names) -> dict[str, list[str]]:
    """Level along the whole travel of each slider, by the verdict's own draw (256 lots, 32 heads)."""
    values = {n: np.linspace(*table()[n].slider[:2], STRIP) for n in names}
    jobs = [_with(desk.job, {n: float(v)}) for n in names for v in values[n]]
    found = _short(jobs, result)
    return {n: [s.level for s in found[i * STRIP : (i + 1) * STRIP]] for i, n in enumerate(names)}


def _short(jobs, result):
    return short_verdicts([case_of(j) for j in jobs], result, result.limits)


def _with(job, changes):
    if job.route.spray is None and {"flux", "spray_s"} & set(changes):
        job = job.with_(spray=Spray() if "flux" in changes else Spray(flux_kg_m2_s=0.0))
    return job.with_(**changes)


def answer_row(u, name: str, f) -> list[str]:
    """Row of a table of `ANSWER`: what one short verdict says."""
    crack = "✕ may crack" if f.stop == "quench-crack" else f.stop or "no"
    v = f.values
    return [name, u.hardness_text(v["face_hardness_hv"]), f"{v['hosel_allowed_deg']:.1f}°", u.force_text(v["bar_force_n"]), f"{100 * f.chance_right:.0f} %", crack]  # fmt: skip


def steels(desk: Desk, result, progress) -> list[dict]:
    """Every grade on the job's head, route and limits, the surest first."""
    u, job = desk.units, desk.job
    listed = [grade(n) for n in grades()]
    if job.steel.name not in grades():
        listed.insert(0, job.steel)
    cases, left = [], []
    for s in listed:
        try:
            j = job.with_(steel=s)
            estimate(j)
            cases.append(j)
        except InputError:
            left.append(s.name)
    found = []
    for i in range(0, len(cases), 8):
        progress(i / len(cases))
        found += _short(cases[i : i + 8], result)

    def rank(pair):
        f = pair[1]
        return ("good", "marginal", "out").index(f.level), bool(f.stop), -f.chance_right

    ranked = sorted(zip(cases, found, strict=True), key=rank)
    rows = [answer_row(u, j.steel.name, f) for j, f in ranked]
    levels = [f.level for _, f in ranked]
    take = [{"steel": j.steel.name} if j.steel.name in grades() else None for j, _ in ranked]
    here = next((i for i, (j, _) in enumerate(ranked) if j.steel == job.steel), -1)
    say = text("The same head, route and limits. Click a row to take its steel.")
    table = table_of("steels", ["steel", *ANSWER], rows, levels=levels, take=take, here=here)
    not_here = f"Not calculated on this route: {', '.join(left)}."
    return [say, table, text(not_here)] if left else [say, table]


def window(desk: Desk, result, progress) -> list[dict]:
    """Preheat temperature by spray time as a map of levels."""
    u, job = desk.units, desk.job
    low, high = table()["preheat_c"].search[:2]
    xs = np.round(np.linspace(low - 50, high, COLUMNS) / 5) * 5
    ys = np.linspace(2.0, table()["spray_s"].slider[1], ROWS)
    levels, tips, take = [], [], []
    for n, y in enumerate(ys[::-1]):
        jobs = [_with(job, {"preheat_c": float(x), "spray_s": float(y)}) for x in xs]
        for x, f in zip(xs, _short(jobs, result), strict=True):
            levels.append(f.level)
            at = f"{value_words(u, 'preheat_c', x)}, {value_words(u, 'spray_s', y)}"
            face, deg = u.hardness_text(f.values["face_hardness_hv"]), f.values["hosel_allowed_deg"]
            tips.append(f"{at}: face {face}, hosel {deg:.1f}°, {100 * f.chance_right:.0f} % sure")
            take.append({"preheat_c": shown(u, "preheat_c", x), "spray_s": float(y)})
        progress((n + 1) / ROWS)
    good, marginal = levels.count("good"), levels.count("marginal")
    first = f"{good} of {len(levels)} fields are good" if good else "No field is good"
    say = f"{first}, {marginal} are not sure."
    now = job.route.preheat_c, job.route.setting("spray_s")
    here = int(np.argmin(np.abs(xs - now[0]))), int(np.argmin(np.abs(ys[::-1] - (now[1] or 0))))
    return [
        text(f"{say} Click a field to take its preheat temperature and spray time."),
        {
            "kind": "map", "xs": [f"{shown(u, 'preheat_c', x):.0f}" for x in xs], "ys": [f"{y:g}" for y in ys[::-1]], "levels": levels, "tips": tips,
            "take": take, "here": here, "x": f"preheat temperature, {u.temperature}", "y": "spray time, s", "name": "window",
        },
        buttons(button("Search for the surest setting", "search")),
    ]  # fmt: skip


def forging(desk: Desk, result, progress) -> list[dict]:
    """What the preheat temperature moves: press, losses, grain, hardness and bend, one row a temperature."""
    u, job = desk.units, desk.job
    low, high, _ = table()["preheat_c"].slider
    at = np.arange(low + 50.0, high + 1.0, 50.0)
    study = forging_temperature_study(job.steel, job.struck_head, job.route, at, job.shop)
    found = _short([_with(job, {"preheat_c": float(c)}) for c in at], result)
    rows = [
        [u.temperature_text(r.preheat_c), u.temperature_text(r.die_c), f"{r.effort:.2f}", u.text(f"{r.metal_loss_um:.0f} µm"),
         u.hardness_text(r.face_hv), u.hardness_text(r.hosel_hv), f"{r.allowed_deg:.1f}°", f"{100 * f.chance_right:.0f} %"]
        for r, f in zip(study.itertuples(), found, strict=True)
    ]  # fmt: skip
    head = ["preheat", "in die", "press", "lost", "face", "hosel", "bend", "sure"]
    here = int(np.argmin(np.abs(at - job.route.preheat_c)))
    take = [{"preheat_c": shown(u, "preheat_c", float(c))} for c in at]
    say = "Press effort against 1030, metal lost to scale. Click a row to take its temperature."
    levels = [f.level for f in found]
    return [text(say), table_of("forging", head, rows, levels=levels, take=take, here=here)]


def search(desk: Desk, result, values, progress) -> list[dict]:
    """The surest setting by the verdict's own chance: even points, then nearer and nearer to the best so far."""
    job, u = desk.job, desk.units
    names = ["preheat_c", "flux", "delay_s", "spray_s"] if job.route.spray else ["preheat_c"]
    low, high, step = np.array([table()[n].slider for n in names]).T
    best, at = _short([job], result)[0], [number_of(job, n) for n in names]
    points, rounds = even_numbers(BATCH * ROUNDS, len(names), 1), range(ROUNDS)
    try:
        for k in rounds:
            x = points[k * BATCH : (k + 1) * BATCH]
            if k >= ROUNDS // 2:  # half of the rounds look about the best, in a box that shrinks
                x = (np.array(at) - low) / (high - low) + (x - 0.5) * 0.6 ** (k + 2 - ROUNDS // 2)
            x = low + np.clip(x, 0.0, 1.0) * (high - low)
            x = np.unique(np.round(x / step) * step, axis=0)
            jobs = [_with(job, dict(zip(names, map(float, row), strict=True))) for row in x]
            for f, row in zip(_short(jobs, result), x, strict=True):
                if (not f.stop, f.chance_right) > (not best.stop, best.chance_right):
                    best, at = f, [float(v) for v in row]
            progress((k + 1) / ROUNDS, f"best so far {100 * best.chance_right:.0f} % sure")
    except Stopped:
        pass
    best_at = dict(zip(names, at, strict=True))
    words = ", ".join(f"{table()[n].label} {value_words(u, n, v)}" for n, v in best_at.items())
    take = {n: round(shown(u, n, v), 3) for n, v in best_at.items()}
    say = f"Surest setting found: {words}. {100 * best.chance_right:.0f} % sure"
    take_it = buttons(button("Take this setting", take=take), button("Back to the map", "again"))
    return [text(f"{say} ({100 * result.verdict.chance_right:.0f} % now)."), take_it]
