"""The tabs beside the head: what each shows of the job, as blocks that the page draws, and what its buttons do.

A tab is a name, a title and a function ``content(desk, result, progress) -> list of blocks``.  A block is a mapping with
``kind``: "text" (words, look), "facts" (rows of label and value), "table" (head, rows; take: what a row sets), "map"
(xs, ys, levels, tips, take), "form" (fields, button, act), "buttons" (items of label and act), "plot".  An act is a name in
`Tab.acts`, called with the desk and the values of the form.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from ...answer.estimate import estimate
from ...answer.verdict import short_verdicts
from ...base.cautions import BENCH, SHORT
from ...base.errors import InputError
from ...hosel.bend import hosel_bend
from ...inputs.grades import grade, grades
from ...inputs.later import LocalHeat, Temper
from ...inputs.limits import QUANTITIES
from ...inputs.settings import table
from .answer import _force, value_words
from .desk import Desk
from .fields import hardness_number, shown
from .lesson import step_of


@dataclass(frozen=True)
class Tab:
    """A tab: title, content, what its forms and buttons do; a slow one is calculated beside the page."""

    title: str
    content: Callable
    acts: Mapping[str, Callable] = field(default_factory=dict)


#: Points along the travel of a slider; columns and rows of the window.
STRIP, COLUMNS, ROWS = 21, 21, 13


def strips(desk: Desk, result, names) -> dict[str, list[str]]:
    """Level along the whole travel of each slider, by the verdict's own draw (256 lots, 32 heads)."""
    values = {n: np.linspace(*table()[n].slider[:2], STRIP) for n in names}
    jobs = [_with(desk.job, {n: float(v)}) for n in names for v in values[n]]
    found = short_verdicts([_case(j) for j in jobs], result, result.limits)
    return {n: [s.level for s in found[i * STRIP : (i + 1) * STRIP]] for i, n in enumerate(names)}


def _with(job, changes):
    from ...inputs.route import Spray

    if job.route.spray is None and {"flux", "spray_s"} & set(changes):
        job = job.with_(spray=Spray() if "flux" in changes else Spray(flux_kg_m2_s=0.0))
    return job.with_(**changes)


def _case(job):
    return job.steel, job.struck_head, job.route, job.shop


def _text(words: str, look: str = "") -> dict:
    return {"kind": "text", "words": words, "look": look}


# ---- steels, window ------------------------------------------------------------------------------------------------


def _steels(desk: Desk, result, progress) -> list[dict]:
    u, job = desk.units, desk.job
    steels = [grade(n) for n in grades()]
    if job.steel.name not in grades():
        steels.insert(0, job.steel)
    cases, left = [], []
    for s in steels:
        try:
            j = job.with_(steel=s)
            estimate(j)
            cases.append(j)
        except InputError:
            left.append(s.name)
    found = short_verdicts([_case(j) for j in cases], result, result.limits)
    order = ("good", "marginal", "out")
    ranked = sorted(
        zip(cases, found, strict=True),
        key=lambda p: (order.index(p[1].level), bool(p[1].stop), -p[1].chance_right),
    )
    rows = [
        [j.steel.name, u.hardness_text(f.values["face_hardness_hv"]), f"{f.values['hosel_allowed_deg']:.1f}°",
         _force(u, f.values["bar_force_n"]), f"{100 * f.chance_right:.0f} %", "✕ may crack" if f.stop == "quench-crack" else f.stop or "no"]
        for j, f in ranked
    ]  # fmt: skip
    blocks = [
        _text("The same head, route and limits. Click a row to take its steel."),
        {
            "kind": "table", "head": ["steel", "face", "hosel", "pull", "sure", "crack"], "rows": rows, "levels": [f.level for _, f in ranked],
            "take": [{"steel": j.steel.name} if j.steel.name in grades() else None for j, _ in ranked],
            "here": next((i for i, (j, _) in enumerate(ranked) if j.steel == job.steel), -1), "name": "steels",
        },
    ]  # fmt: skip
    return blocks + ([_text(f"Not calculated on this route: {', '.join(left)}.")] if left else [])


def _window(desk: Desk, result, progress) -> list[dict]:
    u, job = desk.units, desk.job
    xs = (
        np.round(
            np.linspace(
                table()["preheat_c"].search[0] - 50, table()["preheat_c"].search[1], COLUMNS
            )
            / 5
        )
        * 5
    )
    ys = np.linspace(2.0, table()["spray_s"].slider[1], ROWS)
    levels, tips, take = [], [], []
    for n, y in enumerate(ys[::-1]):
        jobs = [_with(job, {"preheat_c": float(x), "spray_s": float(y)}) for x in xs]
        for x, f in zip(
            xs, short_verdicts([_case(j) for j in jobs], result, result.limits), strict=True
        ):
            levels.append(f.level)
            at = f"{value_words(u, 'preheat_c', x)}, {value_words(u, 'spray_s', y)}"
            tips.append(
                f"{at}: face {u.hardness_text(f.values['face_hardness_hv'])}, hosel {f.values['hosel_allowed_deg']:.1f}°, {100 * f.chance_right:.0f} % sure"
            )
            take.append({"preheat_c": shown(u, "preheat_c", x), "spray_s": float(y)})
        progress((n + 1) / ROWS)
    good = sum(level == "good" for level in levels)
    marginal = sum(level == "marginal" for level in levels)
    say = (
        f"{good} of {len(levels)} fields are good, {marginal} are not sure."
        if good
        else f"No field is good; {marginal} of {len(levels)} are not sure."
    )
    now = job.route.preheat.temperature_c, job.route.setting("spray_s")
    here = int(np.argmin(np.abs(xs - now[0]))), int(np.argmin(np.abs(ys[::-1] - (now[1] or 0))))
    return [
        _text(f"{say} Click a field to take its preheat temperature and spray time."),
        {
            "kind": "map", "xs": [f"{shown(u, 'preheat_c', x):.0f}" for x in xs], "ys": [f"{y:g}" for y in ys[::-1]], "levels": levels, "tips": tips,
            "take": take, "here": here, "x": f"preheat temperature, {u.temperature}", "y": "spray time, s", "name": "window",
        },
        {"kind": "buttons", "items": [{"label": "Search for the surest setting", "act": "search"}]},
    ]  # fmt: skip


def _search(desk: Desk, result, progress, stop) -> list[dict]:
    """The surest setting by `choose`: rounded to what can be set, shown with a button that takes it."""
    from ...study.process.search import choose

    job, u = desk.job, desk.units
    found = choose(*_case(job)[:3], result.limits, shop=job.shop, cancel=stop, progress=progress)
    take, words = {}, []
    for name, value in found.settings.items():
        low, high, step = table()[name].slider
        value = min(max(round(value / step) * step, low), high)
        take[name] = round(shown(u, name, value), 3)
        words.append(f"{table()[name].label} {value_words(u, name, value)}")
    return [
        _text(f"Surest setting found: {', '.join(words)}."),
        {
            "kind": "buttons",
            "items": [
                {"label": "Take this setting", "take": take},
                {"label": "Back to the map", "act": "again"},
            ],
        },
    ]


# ---- bending, later heats, how sure --------------------------------------------------------------------------------


def _number(desk: Desk, name: str, value, label: str = "") -> dict:
    """A number field of a form, by a setting's row of the table."""
    what, u = table()[name], desk.units
    return {
        "name": name,
        "label": label or what.label,
        "unit": u.unit(what.unit),
        "value": round(float(u.shown(what, value)), 3),
    }


def _bend_facts(u, bend) -> dict:
    rows = [
        [
            "metal takes, there and back",
            f"{bend.allowed_deg:.1f}° ({bend.allowed_deg_low:.1f} to {bend.allowed_deg_high:.1f}°)",
        ],
        ["one bend", f"{bend.one_bend_deg:.1f}°"],
        ["by hand on this bar", f"{bend.hand_deg:.1f}°"],
        [f"pull for {bend.target_deg:.1f}°", f"{_force(u, bend.bar_force_n)}, {bend.ease}"],
        [
            "go to, under load",
            f"{bend.overbend_deg:.1f}° (springs back {bend.springback_deg:.1f}°)",
        ],
        ["first limit", bend.governed_by],
    ]
    if bend.bar_length_needed_mm:
        rows.append(["bar needed for the most pull", u.length_text(bend.bar_length_needed_mm)])
    return {"kind": "facts", "rows": rows, "name": "bending"}


def _bending(desk: Desk, result, progress) -> list[dict]:
    job, u = desk.job, desk.units
    now = {
        "bar_mm": 500.0,
        "target_lie_deg": 2.0,
        "target_loft_deg": 0.0,
        "force_limit_n": 400.0,
        **job.bench,
    }
    form = [_number(desk, n, now[n]) for n in ("bar_mm", "target_lie_deg", "target_loft_deg")]
    hv = float(desk.reading_hv or round(result.zones["hosel"].hardness_hv))
    reading = [
        {
            "name": "reading",
            "label": "hosel hardness, read",
            "unit": u.hardness,
            "value": hardness_number(u, hv),
        }
    ]
    blocks = [
        _bend_facts(u, result.hosel),
        {"kind": "form", "fields": form, "act": "bench", "button": "Set"},
    ]
    blocks.append(
        {"kind": "form", "fields": reading, "act": "reading", "button": "Bend by the reading alone"}
    )
    if desk.reading_hv:
        h = job.head.hosel
        alone = hosel_bend(
            h.outside_mm, h.bore_mm, h.bend_zone_mm, desk.reading_hv, **dict(job.bench)
        )
        blocks += [
            _text(f"By {u.hardness_text(desk.reading_hv)} alone, structure not known:"),
            _bend_facts(u, alone),
        ]
    return [*blocks, *(_text(u.text(words), "small") for words in BENCH[:4])]


def _set_bench(desk: Desk, values: dict) -> None:
    mm = (
        desk.units.to_mm
        if hasattr(desk.units, "to_mm")
        else (lambda v: v / desk.units.from_mm(1.0))
    )
    desk.set(**{n: mm(v) if table()[n].unit == "mm" else v for n, v in values.items()})


def _set_reading(desk: Desk, values: dict) -> None:
    from ...strength.hardness_scales import convert_hardness

    value, scale = values["reading"], desk.units.hardness
    desk.reading_hv = value if scale == "HV" else convert_hardness(value, scale, "HV")


def _later(desk: Desk, result, progress) -> list[dict]:
    from ...study.hosel_bench import soften

    job, u = desk.job, desk.units
    t = lambda c: round(float(u.from_c(c)))  # noqa: E731
    blocks = []
    for i, heat in enumerate(job.route.later):
        kind = (
            "Temper"
            if isinstance(heat, Temper)
            else "Local heat of the hosel"
            if isinstance(heat, LocalHeat)
            else "Heat"
        )
        words = f"{kind} at {u.temperature_text(heat.temperature_c)}"
        blocks.append(
            {
                "kind": "buttons",
                "items": [{"label": f"Remove: {words}", "act": "remove", "values": {"at": i}}],
            }
        )
    if not blocks:
        blocks.append(_text("No later heat."))
    temper = [
        {"name": "at", "label": "temper at", "unit": u.temperature, "value": t(550)},
        {"name": "for", "label": "for", "unit": "h", "value": 1},
    ]
    local = [
        {"name": "at", "label": "heat the hosel to", "unit": u.temperature, "value": t(650)},
        {"name": "for", "label": "for", "unit": "min", "value": 10},
    ]
    blocks += [
        {"kind": "form", "fields": temper, "act": "temper", "button": "Add"},
        {"kind": "form", "fields": local, "act": "local", "button": "Add"},
    ]
    rows = [
        [z, u.hardness_text(r.as_quenched_hv), u.hardness_text(r.hardness_hv)]
        for z, r in result.zones.items()
    ]
    blocks.append(
        {
            "kind": "table",
            "head": ["zone", "as cooled", "in the end"],
            "rows": rows,
            "name": "later",
        }
    )
    softer = [r for r in soften(result).remedies if r.helps][:4]
    if softer:
        rows = [
            [
                u.text(r.what),
                f"{r.allowed_deg:.1f}°",
                _force(u, r.bar_force_n),
                u.hardness_text(r.face_hv),
            ]
            for r in softer
        ]
        blocks.append(
            {
                "kind": "table",
                "head": ["what softens the hosel", "bend", "pull", "face"],
                "rows": rows,
                "name": "softer",
            }
        )
    return blocks


def _add(kind):
    def act(desk: Desk, values: dict) -> None:
        at_c = float(desk.units.to_c(values["at"]))
        heat = (
            Temper(at_c, hold_s=3600.0 * values["for"])
            if kind == "temper"
            else LocalHeat("hosel", peak_c=at_c, hold_s=60.0 * values["for"])
        )
        route = dataclasses.replace(desk.job.route, later=(*desk.job.route.later, heat))
        desk.set(route=route)

    return act


def _remove(desk: Desk, values: dict) -> None:
    later = list(desk.job.route.later)
    del later[int(values["at"])]
    desk.set(route=dataclasses.replace(desk.job.route, later=tuple(later)))


def _how_sure(desk: Desk, result, progress) -> list[dict]:
    u, v = desk.units, result.verdict

    def text(s, *values):
        if s.name.endswith("_hardness_hv"):
            return _to(*map(u.hardness_text, values))
        return (
            " to ".join(_force(u, x) for x in values)
            if s.name == "bar_force_n"
            else s.text(*values)
        )

    rows = [
        [_limit_words(u, s), text(s, s.value), text(s, s.low, s.high), f"{100 * s.chance:.0f} %"]
        for s in v.limits
    ]
    levels = ["out" if not s.met else "good" if s.chance >= 0.8 else "marginal" for s in v.limits]
    blocks = [
        _text(
            f"{100 * v.chance_right:.0f} % that this setting is right (the model's doubt, common to a lot). If it is, {v.heads_inside} of 100 heads come out inside (the shop's scatter)."
        ),
        {
            "kind": "table",
            "head": ["limit", "value", "8 of 10 lots", "kept"],
            "rows": rows,
            "levels": levels,
            "name": "limits",
        },
    ]
    if v.measure_next is not None:
        words = u.text(v.measure_next.words)
        blocks.append(_text(f"Measure next: {words} {u.text(v.measure_next.reading.how)}"))
    ranks = {"stop": "Stop", "change": "Warning", "note": "Note"}
    shown_ = sorted(
        (w for w in result.warnings if not w.code.startswith("range:")),
        key=lambda w: list(ranks).index(w.rank),
    )
    blocks += [
        _text(f"{ranks[w.rank]}. {u.text(w.text)}", w.rank) | {"step": step_of(w.code)}
        for w in shown_[:6]
    ]
    return [*blocks, _text(u.text(SHORT), "small")]


def _to(*texts: str) -> str:
    """ "367 to 469 HV" of "367 HV" and "469 HV"."""
    *first, last = texts
    same = [t.removesuffix(" " + last.rpartition(" ")[2]) for t in first]
    return " to ".join([*same, last])


def _limit_words(u, s) -> str:
    q = QUANTITIES[s.name]
    end = "at least" if "at least" in s.words else "at most"
    number = float(s.words.split(end)[1].split()[0])
    if s.name.endswith("_hardness_hv"):
        return f"{q.label} {end} {u.hardness_text(number) if 'HR' not in s.words and 'HB' not in s.words else s.words.split(end)[1].strip()}"
    return (
        f"{q.label} {end} {_force(u, number)}"
        if s.name == "bar_force_n"
        else s.words.replace(" °", "°")
    )


TABS: dict[str, Tab] = {
    "why": Tab("Why", lambda desk, result, progress: []),
    "steels": Tab("Steels", _steels),
    "window": Tab("Window", _window),
    "bending": Tab("Bending", _bending, {"bench": _set_bench, "reading": _set_reading}),
    "later": Tab(
        "Later heats", _later, {"temper": _add("temper"), "local": _add("local"), "remove": _remove}
    ),
    "sure": Tab("How sure", _how_sure),
}
#: What is calculated beside the page and can be stopped, by act.
SLOW = {"search": _search}
