"""The tabs beside the head: what each shows of the job, as blocks that the page draws, and what its buttons do.

A tab is a name, a title and a function ``content(desk, result, progress) -> list of blocks``.  A block is a mapping with
``kind``: "text" (words, look), "facts" (rows of label and value), "table" (head, rows; take: what a row sets), "map"
(xs, ys, levels, tips, take), "form" (fields, button, act), "buttons" (items of label and act), "plot".  An act is a name in
`Tab.acts`, called with the desk and the values of the form, or in `Tab.slow`: that is calculated beside the page.
"""

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from ...base.cautions import BENCH, SHORT
from ...hosel.bend import hosel_bend
from ...inputs.route import LocalHeat, Temper
from ...inputs.settings import table
from ...strength.hardness_scales import convert_hardness
from ...study.expectation import against_expectation
from ...study.hosel_bench import soften
from ..sheet import sheet_html, sheet_name
from . import shop
from .blocks import button, buttons, entry, form, number, table_of, text
from .desk import Desk
from .fields import hardness_number
from .lesson import step_of
from .maps import forging, search, steels, window


@dataclass(frozen=True)
class Tab:
    """A tab: title, content, what its forms and buttons do at once (desk, values), and what they do beside the page:
    a slow one (desk, result, values, progress) returns blocks instead of the content."""

    title: str
    content: Callable
    acts: Mapping[str, Callable] = field(default_factory=dict)
    slow: Mapping[str, Callable] = field(default_factory=dict)


def _bend_facts(u, bend) -> dict:
    rows = [
        ["metal takes, there and back", f"{bend.allowed_deg:.1f}° ({bend.allowed_deg_low:.1f} to {bend.allowed_deg_high:.1f}°)"],
        ["one bend", f"{bend.one_bend_deg:.1f}°"],
        ["by hand on this bar", f"{bend.hand_deg:.1f}°"],
        ["first limit", bend.governed_by],
    ]  # fmt: skip
    if not bend.takes_change:
        rows.append([f"change of {bend.target_deg:.1f}°", "too much: do not bend it so far"])
        return {"kind": "facts", "rows": rows, "name": "bending"}
    sprung = f"{bend.overbend_deg:.1f}° (springs back {bend.springback_deg:.1f}°)"
    pull = f"{u.force_text(bend.bar_force_n)}, {bend.ease}"
    rows += [[f"pull for {bend.target_deg:.1f}°", pull], ["go to, under load", sprung]]
    if bend.bar_length_needed_mm:
        rows.append(["bar needed for the most pull", u.length_text(bend.bar_length_needed_mm)])
    return {"kind": "facts", "rows": rows, "name": "bending"}


def _bending(desk: Desk, result, progress) -> list[dict]:
    job, u = desk.job, desk.units
    now = {"bar_mm": 500.0, "target_lie_deg": 2.0, "target_loft_deg": 0.0} | dict(job.bench)
    fields = [number(desk, n, now[n]) for n in ("bar_mm", "target_lie_deg", "target_loft_deg")]
    hv = float(desk.reading_hv or round(result.zones["hosel"].hardness_hv))
    reading = entry("reading", "hosel hardness, read", hardness_number(u, hv), u.hardness)
    blocks = [_bend_facts(u, result.hosel), form("bench", "Set", *fields)]
    blocks.append(form("reading", "Bend by the reading alone", reading))
    if desk.reading_hv:
        h, hv = job.head, desk.reading_hv
        tube = h.hosel_outside_mm, h.hosel_bore_mm, h.bend_zone_mm
        alone = hosel_bend(*tube, hv, **dict(job.bench))
        say = text(f"By {u.hardness_text(hv)} alone, structure not known:")
        blocks += [say, _bend_facts(u, alone)]
    return [*blocks, *(text(u.text(words), "small") for words in BENCH[:4])]


def _set_bench(desk: Desk, values: dict) -> None:
    one = desk.units.convert(1.0, "mm")
    desk.set(**{n: v / one if table()[n].unit == "mm" else v for n, v in values.items()})


def _set_reading(desk: Desk, values: dict) -> None:
    desk.reading_hv = convert_hardness(values["reading"], desk.units.hardness, "HV")


def _later(desk: Desk, result, progress) -> list[dict]:
    job, u = desk.job, desk.units
    t = lambda c: round(float(u.from_c(c)))  # noqa: E731
    blocks = [
        buttons(button(f"Remove: {u.text(heat.words)}", "remove", values={"at": i}))
        for i, heat in enumerate(job.route.later)
    ]
    temper = entry("at", "temper at", t(550), u.temperature), entry("for", "for", 1, "h")
    local = entry("at", "heat the hosel to", t(650), u.temperature), entry("for", "for", 10, "min")
    hv = u.hardness_text
    rows = [[z, hv(r.as_quenched_hv), hv(r.hardness_hv)] for z, r in result.zones.items()]
    blocks = blocks or [text("No later heat.")]
    blocks += [form("temper", "Add", *temper), form("local", "Add", *local)]
    blocks.append(table_of("later", ["zone", "as cooled", "in the end"], rows))
    softer = [r for r in soften(result).remedies if r.helps][:4]
    rows = [[u.text(r.what), f"{r.allowed_deg:.1f}°", u.force_text(r.bar_force_n), hv(r.face_hv)] for r in softer]  # fmt: skip
    head = ["what softens the hosel", "bend", "pull", "face"]
    return blocks + ([table_of("softer", head, rows)] if rows else [])


def _add_temper(desk: Desk, values: dict) -> None:
    _add(desk, Temper(float(desk.units.to_c(values["at"])), hold_s=3600.0 * values["for"]))


def _add_local(desk: Desk, values: dict) -> None:
    at_c = float(desk.units.to_c(values["at"]))
    _add(desk, LocalHeat("hosel", peak_c=at_c, hold_s=60.0 * values["for"]))


def _add(desk: Desk, heat) -> None:
    route = desk.job.route
    desk.set(route=dataclasses.replace(route, later=(*route.later, heat)))


def _remove(desk: Desk, values: dict) -> None:
    later = list(desk.job.route.later)
    del later[int(values["at"])]
    desk.set(route=dataclasses.replace(desk.job.route, later=tuple(later)))


_RANKS = {"stop": "Stop", "change": "Warning", "note": "Note"}


def _how_sure(desk: Desk, result, progress) -> list[dict]:
    u, v = desk.units, result.verdict

    def said(s, *values):
        if s.name.endswith("_hardness_hv"):
            return u.hardness_text(*values)
        if s.name == "bar_force_n":
            return " to ".join(u.force_text(x) for x in values)
        return u.text(s.text(*values))

    def warned(*ranks):
        found = (w for w in result.warnings if w.rank in ranks and w.code[:6] != "range:")
        shown = sorted(found, key=lambda w: ranks.index(w.rank))
        return [text(f"{_RANKS[w.rank]}. {u.text(w.text)}", w.rank) | {"step": step_of(w.code)} for w in shown]  # fmt: skip

    rows = [[u.text(s.words), said(s, s.value), said(s, s.low, s.high)] for s in v.limits]
    rows = [[*row, f"{100 * s.chance:.0f} %"] for row, s in zip(rows, v.limits, strict=True)]
    levels = ["out" if not s.met else "good" if s.chance >= 0.8 else "marginal" for s in v.limits]
    blocks = [
        *warned("stop"),
        text(f"{v.sure}. The first is the model's doubt, common to a lot; the heads are the shop's scatter."),
        table_of("limits", ["limit", "value", "8 of 10 lots", "kept"], rows, levels=levels),
    ]  # fmt: skip
    if v.measure_next is not None:
        words, how = u.text(v.measure_next.words), u.text(v.measure_next.reading.how)
        blocks.append(text(f"Measure next: {words} {how[0].upper()}{how[1:]}"))
    turned = (text(f"Note. {u.text(s)}", "note") for s in against_expectation(result))
    return [*blocks, *warned("change", "note")[:6], *turned, text(u.text(SHORT), "small")]


def _sheet(desk: Desk, result, progress) -> list[dict]:
    page = sheet_html(result, note=desk.kept.get("note", ""), display_units=desk.units)
    note = entry("note", "order, customer", desk.kept.get("note", ""), text=True)
    page = {"kind": "page", "html": page, "name": sheet_name(result)}
    return [form("note", "Put on the sheet", note), page]


def _set_note(desk: Desk, values: dict) -> None:
    desk.kept["note"] = str(values["note"])[:200]


_LATER = {"temper": _add_temper, "local": _add_local, "remove": _remove}
TABS: dict[str, Tab] = {
    "why": Tab("Why", lambda desk, result, progress: []),
    "steels": Tab("Steels", steels),
    "window": Tab("Window", window, slow={"search": search}),
    "forging": Tab("Forging", forging),
    "bending": Tab("Bending", _bending, {"bench": _set_bench, "reading": _set_reading}),
    "later": Tab("Later heats", _later, _LATER),
    "shop": Tab("Shop", shop.content, shop.ACTS, shop.SLOW),
    "sheet": Tab("Sheet", _sheet, {"note": _set_note}),
    "sure": Tab("How sure", _how_sure),
}
