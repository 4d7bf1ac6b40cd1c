"""The tab of the shop: its files, what they say of the shop and of its heats, and the use of that shop for the job."""

import numpy as np

from ...answer.verdict import short_verdicts
from ...base.errors import InputError
from ...base.tables import data_path
from ...inputs.settings import numbers_of
from ...inputs.shop import Shop
from ...strength.hardness_scales import convert_hardness
from ...study.shop.traces import read_traces
from ...study.shop.tracking import CUSUM_H, track
from ..units import Units
from .answer import case_of
from .blocks import button, buttons, entry, form, line, table_of, text
from .desk import Desk
from .fields import hardness_number, shown
from .files import KINDS, File, preview, recognise, templates
from .maps import ANSWER, answer_row


def _files(desk: Desk) -> dict[str, File]:
    return desk.kept.setdefault("files", {})


def _of(desk: Desk, kind: str) -> File | None:
    """The file of a kind that was given last and can be read."""
    found = [f for f in _files(desk).values() if f.kind == kind and f.read is not None]
    return found[-1] if found else None


def take_files(desk: Desk, result, values: dict, progress) -> list[dict]:
    """Recognise the files given; traces once more when the places of their thermocouples came after them."""
    files = _files(desk)
    for name, data in zip(values["names"], values["buffers"], strict=True):
        files.pop(name, None)
        files[name] = recognise(str(name), data)
    places = _of(desk, "channels")
    for name, f in list(files.items()):
        if f.kind == "traces" and f.error and places:
            files[name] = recognise(name, f.content, places.content)
    worst = [n for level in ("out", "marginal") for n, f in files.items() if f.level == level]
    desk.kept["shown"] = next(iter(worst), "")
    shop = _of(desk, "shop")
    if shop is not None:
        desk.kept["fitted"] = shop.read
    return content(desk, result, progress)


def take_demo(desk: Desk, result, values: dict, progress) -> list[dict]:
    """The files of the invented shop."""
    names = [f"{n}.csv" for n in ("certificates", "runs", "channels", "traces", "hardness", "log")]
    data = [data_path("demo", name).read_bytes() for name in names]
    return take_files(desk, result, {"names": names, "buffers": data}, progress)


def fit_shop(desk: Desk, result, values: dict, progress) -> list[dict]:
    """Fit the shop's own numbers to everything that was given."""
    from ...study.shop.fitting import fit

    job, kinds = desk.job, ("traces", "hardness", "certificates", "runs")
    used = [f for k in kinds if (f := _of(desk, k))]
    read = {f.kind: f.read for f in used}
    steel, route = job.steel, read.get("runs", job.route)
    if "runs" in read and "certificates" in read:
        steel = read["certificates"]
    desk.kept["fit"] = found = fit(
        read.get("traces"), read.get("hardness"), job.head, steel, route,
        name=str(values.get("name") or "our shop")[:60], data_files=tuple(f.name for f in used),
    )  # fmt: skip
    desk.kept["fitted"] = found.shop
    return content(desk, result, progress)


def check_heats(desk: Desk, result, values: dict, progress) -> list[dict]:
    """Accept, adjust or hold: every heat of the certificates on this job's head, route, limits and shop."""
    from ...study.shop.heat_acceptance import judge_heat

    job, made = desk.job, []
    certificates = _of(desk, "certificates").read
    for i, certificate in enumerate(certificates):
        progress(i / len(certificates))
        case = certificate, job.struck_head, job.route, result.limits, job.shop
        made.append(judge_heat(*case, bench=job.bench))
    rows = [[j.heat, j.verdict, desk.units.text(j.reason)] for j in made]
    levels = [{"accept": "good", "hold": "out"}.get(j.verdict, "marginal") for j in made]
    head = ["heat", "verdict", "reason"]
    return [table_of("heats", head, rows, levels=levels), _again()]


def find_drift(desk: Desk, result, values: dict, progress) -> list[dict]:
    """What may have drifted when heads of this job come out other than usual."""
    from ...study.shop.find_cause import find_cause

    u, job = desk.units, desk.job

    def numbers(name: str) -> list[float]:
        words = str(values.get(name, "")).replace(";", " ").split()
        try:
            read = [float(w.replace(",", ".")) for w in words]
        except ValueError:
            what = f"{name.replace('_', ' ')} must be numbers in {u.hardness}"
            raise InputError(f"{what}; got {values[name]!r}.") from None
        return [convert_hardness(v, u.hardness, "HV") for v in read]

    measured = {z: r for z in ("face", "hosel") if (r := numbers(z))}
    usual = {z: r[0] for z in measured if (r := numbers(f"usual_{z}"))}
    case = job.steel, job.struck_head, job.route, job.shop
    found = find_cause(measured, *case, usual=usual or None)
    desk.kept["drift"] = {n: str(v)[:200] for n, v in values.items()}
    lines = [text(u.text(line)) for line in found.words().splitlines()]
    rows = [[r.label, f"{100 * r.probability:.0f} %"] for r in found.table.itertuples()]
    return [*lines, table_of("causes", ["what may have drifted", "chance"], rows), _again()]


def measure_spray(desk: Desk, result, values: dict, progress) -> list[dict]:
    """The spray's own heat transfer from a plate's thermocouple, and what multiplier it gives."""
    from ...study.spray_plate.conduction import Plate
    from ...study.spray_plate.heat_transfer import cooling_curve
    from ...thermal.spray import spray_w_m2k
    from ...thermal.spray_units import spray_setting

    u, one = desk.units, desk.units.convert(1.0, "mm")
    thick, depth = values["thick"] / one, values["depth"] / one
    flux = spray_setting(values["flow"] / u.convert(1.0, "L/min")).flux_kg_m2_s
    file = next(f for f in _files(desk).values() if f.kind == "traces" and f.error)
    channel = str(values["channel"]).strip()
    trace = read_traces(file.content, {channel: ("face", depth)}, filename=file.name)
    water_c = float(u.to_c(values["water"]))
    curve = cooling_curve(*trace.trace(channel), Plate(thick, depth), water_c)
    factor, spread = curve.multiplier(flux)
    at = u.from_c(curve.surface_c[curve.seen])
    h = curve.h_w_m2k[curve.seen] / 1e3
    law = [spray_w_m2k(flux, float(t), curve.water_c) / 1e3 for t in curve.surface_c[curve.seen]]
    top = float(np.ceil(1.1 * max(h.max(), max(law))))
    desk.kept["fitted"] = Shop(spray=round(factor, 3), name="test plate", data_files=(file.name,))
    words = f"Above {u.temperature_text(500)} the spray cools {factor:.2f} times as strongly as the published law (its shape differs by {100 * spread:.0f} %)."
    plot = {"kind": "plot", "title": "Heat transfer of this spray", "words": words, "name": "spray",
            "x": {"label": f"surface, {u.temperature}", "low": 0, "high": float(at.max())}, "y": {"label": "kW/(m² K)", "low": 0, "high": top},
            "series": [line("this spray", at, h), line("published law", at, law, look=1, dash="5 4", tag="start")]}  # fmt: skip
    return [plot, *(text(w.text, "change") for w in curve.warnings), *_use(desk), _again()]


def _again() -> dict:
    return buttons(button("Back to the files", "again"))


def use_shop(desk: Desk, values: dict) -> None:
    """The fitted shop, or the published laws, for the whole job: every tab and page."""
    desk.set(shop=desk.kept["fitted"] if values.get("fitted") else Shop())


def show_file(desk: Desk, values: dict) -> None:
    desk.kept["shown"] = values["name"]


def clear(desk: Desk, values: dict) -> None:
    desk.kept.clear()


def take_heat(desk: Desk, values: dict) -> None:
    """The steel of one certificate for the job."""
    desk.set(steel=_of(desk, "certificates").read[int(values["at"])].steel)


def content(desk: Desk, result, progress) -> list[dict]:
    """The tab: drop zone, files with their problems, heats, fit, log, causes."""
    files = _files(desk)
    what = "certificates, furnace log, hardness, traces, bends, log, a shop file or a job"
    drop = {"kind": "drop", "act": "drop", "words": f"Drop {what} here."}
    drop["accept"] = ".csv,.txt,.tsv,.xlsx,.json"
    drop["templates"] = templates(desk.units)
    if not files:
        demo = buttons(button("Try the invented shop's files", "demo"))
        return [drop, *_use(desk), demo, *_causes(desk)]
    shown, rows = desk.kept.get("shown"), []
    for f in files.values():
        problems = "not read" if f.error else len(f.problems)
        rows.append([f.name, KINDS[f.kind].title if f.kind else "not known", problems])
    take = [{"act": "show", "values": {"name": name}} for name in files]
    more = {"here": list(files).index(shown) if shown in files else -1, "take": take}
    more["levels"] = [f.level for f in files.values()]
    table = table_of("files", ["file", "what it is", "problems"], rows, **more)
    first = [drop, table, *preview(files.get(shown)), *_fit(desk)]
    remove = buttons(button("Remove all files", "clear"))
    return [*first, *_heats(desk, result), *_log(desk), *_plate(desk), *_causes(desk), remove]


def _heats(desk: Desk, result) -> list[dict]:
    """Every usable heat of the certificates on this job; a click takes its steel."""
    file, job = _of(desk, "certificates"), desk.job
    if file is None:
        return []
    usable = [(i, c) for i, c in enumerate(file.read) if c.steel is not None]
    cases = [case_of(job.with_(steel=c.steel)) for _, c in usable]
    found = short_verdicts(cases, result, result.limits) if cases else []
    rows = [answer_row(desk.units, c.heat, f) for (_, c), f in zip(usable, found, strict=True)]
    more = {"levels": [f.level for f in found]}
    more["take"] = [{"act": "heat", "values": {"at": i}} for i, _ in usable]
    more["here"] = next((k for k, (_, c) in enumerate(usable) if c.steel == job.steel), -1)
    check = buttons(button("Check every heat: accept, adjust, hold", "heats"))
    say = text("The heats on this head, route and limits. Click one to take its steel.")
    return [say, table_of("heats", ["heat", *ANSWER], rows, **more), check]


def _fit(desk: Desk) -> list[dict]:
    u, found = desk.units, desk.kept.get("fit")
    if not (_of(desk, "hardness") or _of(desk, "traces")):
        return _use(desk)
    name = entry("name", "name of the shop", "our shop", text=True)
    first = form("fit", "Fit the shop to these files", name)
    if found is None:
        return [first, *_use(desk)]
    head, rows = ["number", "published", "this shop", "95 %", "how well known"], []
    for r in found.table.itertuples():
        ends = f"{r.low:.2f} to {r.high:.2f}"
        rows.append([r.label, f"{r.before:.2f}", f"{r.value:.2f}", ends, r.verdict])
    blocks = [first, table_of("shop", head, rows), *_use(desk)]
    h = found.hardness
    if len(h):
        ends = h[["before_hv", "fitted_hv", "measured_hv"]].to_numpy()

        def read(values):
            return [hardness_number(u, float(v)) or 0.0 for v in values]

        low, high = read([ends.min() - 15, ends.max() + 15])
        series = [line("", [low, high], [low, high], colour="#8A93A0", tag="none")]
        tips = [f"head {r.head_id}, {r.zone}" for r in h.itertuples()]
        measured = read(h["measured_hv"])
        both = ("before_hv", "published laws"), ("fitted_hv", "this shop")
        for k, (x, name) in enumerate(both):
            dots = {"x": read(h[x]), "y": measured, "look": k, "hollow": not k, "tips": tips}
            series.append({"name": name, **dots})
        axis = {"low": low, "high": high}
        blocks.append({"kind": "plot", "title": "Hardness", "name": "fit", "series": series,
                       "x": {"label": f"predicted, {u.hardness}", **axis}, "y": {"label": f"measured, {u.hardness}", **axis}})  # fmt: skip
    return [*blocks, *_traces(u, found.traces)]


def _traces(u: Units, traces) -> list[dict]:
    """Measured, before and after, of the first head's thermocouples."""
    if not len(traces):
        return []
    head = traces[traces["head_id"] == traces["head_id"].iloc[0]]
    series = []
    for k, (channel, f) in enumerate(head.groupby("channel", sort=False)):
        f = f.iloc[:: max(len(f) // 120, 1)]
        for column, more in (("measured_c", {"width": 5, "opacity": 0.4, "colour": "#B9C1CC", "tag": "none"}),
                             ("before_c", {"dash": "3 4", "tag": "none"}), ("fitted_c", {"at": 0.3})):  # fmt: skip
            name, y = f"{channel} {f['zone'].iloc[0]}", u.from_c(f[column].to_numpy())
            series.append(line(name, f["time_s"], y, look=k % 4, **more))
    high = float(max(max(s["y"]) for s in series))
    return [{"kind": "plot", "title": f"Traces of head {head['head_id'].iloc[0]}", "name": "traces", "series": series,
             "words": "Wide: measured. Dashed: published laws. Line: this shop.",
             "x": {"label": "s after the furnace", "low": 0, "high": float(head["time_s"].max())},
             "y": {"label": u.temperature, "low": 0, "high": high}}]  # fmt: skip


def _use(desk: Desk) -> list[dict]:
    """The shop of the job, and the button that takes another."""
    now, fitted = desk.job.shop, desk.kept.get("fitted")
    neutral = now == Shop()
    items = []
    if fitted is not None and fitted != now:
        label = f"Use this shop ({fitted.name}) for everything"
        items.append(button(label, "use", values={"fitted": True}))
    if not neutral:
        items.append(button("Back to the published laws", "use"))
    if fitted is not None or not neutral:
        file = ["our.shop.json", (fitted or now).as_bytes().decode(), "application/json"]
        items.append(button("Save the shop ⤓", save=file))
    numbers = ", ".join(numbers_of("shop")[n].label for n in now.fitted) or "set by hand"
    say = "published laws, not fitted to a shop" if neutral else f"shop {now.name} ({numbers})"
    return [text(f"This job uses: {say}."), *([buttons(*items)] if items else [])]


def _log(desk: Desk) -> list[dict]:
    """Control chart of the log, quantity by quantity."""
    file = _of(desk, "log")
    if file is None:
        return []
    found = track(file.read)
    blocks = [text(words, "change" if len(found.alarms) else "") for words in found.sentences]
    for name, f in found.table.groupby("quantity", sort=False):
        x = list(range(1, len(f) + 1))
        high = 1.1 * max(CUSUM_H, float(f["cusum_high"].max()), float(f["cusum_low"].max()))
        red = {"colour": "#B8321A", "dash": "6 4"}
        series = [line("alarm", [1, len(f)], [CUSUM_H] * 2, **red)]
        series.append(line("", [1, len(f)], [-CUSUM_H] * 2, **red))
        series.append(line("harder or more", x, f["cusum_high"]))
        series.append(line("softer or less", x, -f["cusum_low"], look=1, dash="6 3"))
        blocks.append({"kind": "plot", "title": f"{name}: what does not average out", "name": "log", "series": series,
                       "x": {"label": "head in the order of the log", "low": 0, "high": len(f)}, "y": {"label": "standard deviations", "low": -high, "high": high}})  # fmt: skip
    return blocks


def _plate(desk: Desk) -> list[dict]:
    """Form for a trace without a place: a test plate under the spray."""
    u, job = desk.units, desk.job
    if not any(f.kind == "traces" and f.error for f in _files(desk).values()):
        return []
    mm = lambda v: round(u.convert(v, "mm"), 3)  # noqa: E731
    flow = round(shown(u, "flux", job.route.setting("flux") or 12.0), 2)
    fields = [
        entry("channel", "channel", "P1", text=True), entry("thick", "plate", mm(10.0), u.length),
        entry("depth", "thermocouple at", mm(1.0), u.length), entry("flow", "spray rate", flow, u.flow),
        entry("water", "water", round(float(u.from_c(25.0)), 1), u.temperature),
    ]  # fmt: skip
    say = text("Is it a test plate under the spray?")
    return [say, form("plate", "Measure the spray", *fields)]


def _causes(desk: Desk) -> list[dict]:
    """Form: readings that are off."""
    kept, u = desk.kept.get("drift", {}), desk.units.hardness
    names = {"face": "face reads", "usual_face": "usually", "hosel": "hosel reads", "usual_hosel": "usually"}  # fmt: skip
    fields = [entry(n, words, kept.get(n, ""), u, text=True) for n, words in names.items()]
    say = text("Do heads come out other than usual? Give the readings, with blanks between.")
    return [say, form("drift", "Find the cause", *fields)]


#: What the tab's forms and buttons do at once, and beside the page.
ACTS = {"use": use_shop, "show": show_file, "clear": clear, "heat": take_heat}
SLOW = {"drop": take_files, "demo": take_demo, "fit": fit_shop, "heats": check_heats}
SLOW |= {"drift": find_drift, "plate": measure_spray}
