"""What each subcommand calculates and prints."""

import contextlib
import dataclasses
import json
import signal
import sys
import textwrap
import threading

from ..base.cautions import SHORT, beside
from ..base.errors import InputError
from ..io.tables import write_table
from ..units import Units
from .job import axis_of, job_from, list_of, steel_from
from .options import COMMANDS, SCHEMA, listing, parser

#: Columns of a printed comparison: the three temperatures, what is required, what stops.
_COMPARED = ("rank", "grade", "preheat_c", "forging_c", "quench_start_c", "face_hardness_hv", "hosel_hardness_hv",
             "hosel_allowed_deg", "face_margin", "chance_right", "heads_inside", "binding")  # fmt: skip


def run(argv: list[str]) -> int:
    """Run a command line; returns the exit code."""
    command = argv.pop(0) if argv and argv[0] in COMMANDS else "estimate"
    options = parser(command).parse_args(argv)
    if options.list:
        print(listing(options.json))
        return 0
    units = Units.of(options.units)
    job = job_from(options, None if command == "accept" else steel_from(options))
    if command in ("estimate", "sheet"):
        _one(command, job, options, units)
        return 0
    from ..answer.cases import limits_from

    job = job.with_(limits=limits_from(job.limits, job.route, job.bench))
    with _stopping() as stop:
        text, content = _STUDIES[command](job, options, units, stop)
    if options.json:
        head = {"schema": SCHEMA, "command": command, "stopped": stop.is_set()}
        _print_json({**head, "limits": job.limits.saved(), **content, "cautions": beside()})
    else:
        print("\n".join([text, "", *textwrap.wrap(SHORT, 100)]))
    if stop.is_set():
        raise KeyboardInterrupt
    return 0


def _print_json(content: dict) -> None:
    print(json.dumps(content, ensure_ascii=False, indent=1))


@contextlib.contextmanager
def _stopping():
    """A flag that the first Ctrl-C sets, so that what is finished by then is printed; the second one ends at once."""
    stop, before = threading.Event(), signal.getsignal(signal.SIGINT)

    def wanted(*_):
        signal.signal(signal.SIGINT, before)
        stop.set()

    try:
        signal.signal(signal.SIGINT, wanted)
    except ValueError:  # not the main thread: nobody to press a key
        before = None
    try:
        yield stop
    finally:
        if before is not None:
            signal.signal(signal.SIGINT, before)


def _one(command: str, job, options, units: Units) -> None:
    """Print one head in full, or write its sheet."""
    from ..answer.estimate import estimate

    limits = {"flatness_mm": options.flatness_mm, "cutting_limit_hv": options.cutting_hv}
    limits = {name: value for name, value in limits.items() if value is not None}
    result = estimate(job, count_press_strain=options.count_press_strain, **limits)
    if command == "sheet":
        from ..show.sheet import sheet

        print(sheet(result, options.to, display_units=units))
        return
    softening = None
    if options.soften:
        from ..study.hosel_bench import soften

        softening = soften(result)
    if options.json:
        also = {} if softening is None else {"soften": softening.to_dict()}
        _print_json({"schema": SCHEMA, **result.to_dict(units), **also})
        return
    print(result.summary(units))
    if options.details:
        print(f"\n{result.details(units)}")
        from ..study.expectation import against_expectation

        for sentence in against_expectation(result):
            print("\n".join(textwrap.wrap(units.text(sentence), 100)))
    if softening is not None:
        print(f"\nWhat softens the hosel\n{units.text(softening.words())}")


def _progress():
    """Share done, on a terminal only."""
    if not getattr(sys.stderr, "isatty", lambda: False)():
        return None

    def show(done: int, total: int | None) -> None:
        share = f"{100 * done // total} %" if total else f"{done} cases"
        print(f"\r{share} ", end="", file=sys.stderr, flush=True)

    return show


def _records(frame) -> list[dict]:
    return json.loads(frame.to_json(orient="records"))


def _compare(job, options, units: Units, stop):
    from ..study.process.comparison import PREHEATS_C, compare

    preheats = list_of(options.preheats, "--preheats") if options.preheats else PREHEATS_C
    forgings = list_of(options.forgings, "--forgings") if options.forgings else None
    case = options.steels or [job.steel], preheats, job.struck_head, job.route, job.limits
    found = compare(*case, forgings_c=forgings, shop=job.shop, bench=job.bench)
    if options.csv:
        write_table(found.table, options.csv)
    rows = found.table.sort_values("rank")
    shown, words = units.table(rows[[c for c in _COMPARED if c in rows]]), units.text(found.words())
    text = shown.to_string(index=False, float_format=lambda v: f"{v:.4g}")
    return f"{words}\n\n{text}", {"words": words, "rows": _records(rows)}


def _searched(job, stop) -> dict:
    """What a search takes beside the case."""
    case = {"limits": job.limits, "shop": job.shop, "bench": job.bench}
    return case | {"progress": _progress(), "cancel": stop}


def _window(job, options, units: Units, stop):
    from ..study.process.process_window import window

    axes = {a: axis_of(getattr(options, a), 3, f"--{a}") for a in "xy" if getattr(options, a)}
    found = window(job.steel, job.struck_head, job.route, **axes, **_searched(job, stop))
    if options.csv:
        write_table(found.table(), options.csv)
    if options.png:
        from ..show.window_figure import window_png

        window_png(found, options.png)
    words = units.text(found.words())
    return words, {"words": words, "centre": found.centre, "box": found.box,
                   "tolerances_held": found.tolerances_held, "share": found.share, "proposed": found.proposed,
                   "sure": found.sure and dataclasses.asdict(found.sure)}  # fmt: skip


def _choose(job, options, units: Units, stop):
    from ..study.process.search import choose

    turned = {n: (a, b) for n, a, b in (axis_of(t, 2, "--turn") for t in options.turn or ())}
    case = job.steel, job.struck_head, job.route
    found = choose(*case, settings=turned or None, **_searched(job, stop))
    words = units.text(found.words())
    return words, {"words": words, "feasible": found.feasible,
                   "settings": dict(found.settings), "results": dict(found.results),
                   "verdict": found.verdict.to_dict()}  # fmt: skip


def _accept(job, options, units: Units, stop):
    from ..certificates.reading import read_certificates
    from ..study.shop.heat_acceptance import judge_heats

    if not options.certificate:
        raise InputError("accept needs --certificate FILE.")
    read = read_certificates(options.certificate)
    heats = [c for c in read if options.heat in (None, c.heat)]
    case = job.struck_head, job.route, job.limits, job.shop
    found = judge_heats(heats, *case, progress=_progress(), cancel=stop, bench=job.bench)
    problems = [str(p) for p in read.problems]
    return units.text(str(found)), {"heats": _records(found.table()), "problems": problems}


_STUDIES = {"compare": _compare, "window": _window, "choose": _choose, "accept": _accept}
