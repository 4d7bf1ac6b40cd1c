"""The command line: ``python -m forgeprops [estimate|compare|window|choose|accept|sheet] --steel 4130 --preheat-c 930``.

Exit codes: 0 done, 1 the output cannot be written, 2 input that cannot be used, 130 stopped by the user.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import json
import os
import re
import sys

from . import __version__
from .base.errors import InputError
from .inputs.settings import table

#: Settings with an option of their own: the route's that a page has a slider for, and those of the bench.
_OWN = tuple(s for s in table().values() if s.group in ("route", "bench") and s.slider)
#: Options by the names they had before the table.
_OTHER_NAMES = {
    "flux": ("--spray",),
    "target_lie_deg": ("--lie",),
    "target_loft_deg": ("--loft",),
    "force_limit_n": ("--bar-n",),
}

#: Subcommand -> what it prints.
COMMANDS = {
    "estimate": "one head in full (the default)",
    "compare": "steels against preheat temperatures, ranked by the limits",
    "window": "two settings over a grid and where the limits are kept",
    "choose": "settings that keep the limits with the most room",
    "accept": "the heats of a certificate file, accepted or held",
    "sheet": "the setting sheet as HTML",
}
#: Version of the names in `--json`.
SCHEMA = 1


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one sentence, without the usage."""

    def error(self, message: str):
        raise InputError(f"{re.sub('^argument [^:]*: ', '', message).rstrip('.')}.")


def _number(s):
    """What turns the text of an option into the number of a setting; its part checks the bounds."""

    def read(text: str) -> float:
        try:
            return float(text.replace(",", "."))
        except ValueError:
            raise argparse.ArgumentTypeError(
                f"{s.label} is {text!r}, which is not a number; allowed is {s.low:g} to {s.high:g} {s.unit}".rstrip()
            ) from None

    return read


def _parser(command: str = "estimate") -> argparse.ArgumentParser:
    parser = _Parser(
        prog="forgeprops",
        allow_abbrev=False,
        epilog="Commands: " + "; ".join(f"{name}: {what}" for name, what in COMMANDS.items()) + ".",
        description="Hardness and strength of a forged golf iron head, and how far its hosel bends. "
        "Every option has a default; the heads and the default route are invented demonstrations.",
    )
    add = parser.add_argument
    add("--job", metavar="FILE", help="a saved job to start from (`Job.save`)")
    add(
        "--save-job",
        metavar="FILE",
        help="save the job with these settings; an existing file is kept",
    )
    add(
        "--steel", "--grade", dest="steel", metavar="STEEL",
        help="grade or chemistry: 4130, 42CrMo4, 1.1191, 'C 0.31 Mn 0.5 Cr 0.95 Mo 0.2' (default 4130)",
    )  # fmt: skip
    add("--certificate", metavar="FILE", help="mill certificate, CSV or XLSX")
    add("--heat", metavar="NAME", help="the heat of the certificate (left out: its only one)")
    add(
        "--limits", metavar="LIMITS",
        help="what is required, NAME=LOW:HIGH with an end left out for none, separated by blanks: "
        "'face_hardness_hrc=39:50 hosel_allowed_deg=2: bar_force_n=:400'",
    )  # fmt: skip
    if command == "compare":
        add("steels", nargs="*", metavar="STEEL", help="grades or chemistries to compare")
        add("--preheats", metavar="LIST", help="preheat temperatures, °C: 850,900,950")
    elif command == "window":
        for axis in ("--x", "--y"):
            add(axis, metavar="NAME:LOW:HIGH:POINTS", help="an axis, for example flux:2:20:30")
        add("--png", metavar="FILE", help="draw the map")
    elif command == "choose":
        add(
            "--turn", action="append", metavar="NAME:LOW:HIGH",
            help="a setting that may be turned; repeatable",
        )  # fmt: skip
    elif command == "sheet":
        add("--to", metavar="FILE", default=".", help="HTML file or folder (default: here)")
    if command in ("compare", "window"):
        add("--csv", metavar="FILE", help="write the table")
    add("--head", help="library head (default mid-iron)")
    for s in _OWN:
        names = ("--" + s.name.replace("_", "-"), *_OTHER_NAMES.get(s.name, ()))
        words = f"{s.label}, {s.unit}" if s.unit else s.label
        more = "; 0: no spray" if s.name == "flux" else ""
        bounds = f" ({s.low:g} to {s.high:g}{more})"
        add(*names, dest=s.name, type=_number(s), metavar="X", help=words + bounds)
    add("--cool", metavar="HOW", help="single, row, bin, fan or sleeve (default single)")
    add(
        "--set", action="append", default=[], metavar="NAME=VALUE",
        help="any setting of the route, dimension of the head, element or shop number; repeatable "
        "(--list shows the names)",
    )  # fmt: skip
    add(
        "--temper", action="append", default=[], metavar="C:TIME",
        help="temper the whole head afterwards, for example 600:1h or 200:90min; repeatable",
    )  # fmt: skip
    add("--shop", metavar="FILE", help="the shop's own numbers, as `Shop.save` wrote them")
    add("--hand", metavar="HAND", help="head for a right or left hand (default right)")
    add(
        "--count-press-strain", action="store_true",
        help="let the press strain left in the austenite speed ferrite and bainite (a bound; default off)",
    )  # fmt: skip
    add("--flatness-mm", type=float, metavar="MM", help="bow the face may have, mm (default 0.15)")
    add("--cutting-hv", type=float, metavar="HV", help="hardest you can machine, HV (default 320)")
    add(
        "--soften",
        action="store_true",
        help="also try what softens the hosel, and what the face pays",
    )
    add("--details", action="store_true", help="also print why, and everything else")
    add("--json", action="store_true", help="print JSON alone")
    add("--list", action="store_true", help="list grades, heads and settings")
    add("--version", action="version", version=f"forgeprops {__version__}")
    return parser


def _given(text: str):
    """Name and value of one ``--set``."""
    name, sign, value = text.partition("=")
    if not sign:
        raise InputError(f"--set {text!r} must be NAME=VALUE, for example spray_s=8.")
    words = {"true": True, "false": False, "none": None}
    if value.strip().lower() in words:
        return name.strip(), words[value.strip().lower()]
    try:
        return name.strip(), float(value)
    except ValueError:
        return name.strip(), value.strip()


#: Seconds in the units of ``--temper``.
_SECONDS = {"h": 3600.0, "min": 60.0, "s": 1.0}


def _temper(text: str):
    """The heat of one ``--temper``."""
    from .inputs.later import Temper

    celsius, _, time = text.partition(":")
    unit = next((u for u in _SECONDS if time.endswith(u)), "")
    try:
        numbers = float(celsius), float(time.removesuffix(unit)) * _SECONDS[unit]
    except (KeyError, ValueError):
        raise InputError(
            f"--temper {text!r} must be °C:time in h, min or s, for example 600:1h."
        ) from None
    return Temper(*numbers)


def _steel(options):
    """The steel of the options, or None."""
    if not options.certificate:
        if options.heat:
            raise InputError("--heat needs --certificate FILE.")
        return options.steel
    from .certificates.reading import read_certificates

    found = read_certificates(options.certificate)
    named = [c for c in found if options.heat in (None, c.heat)]
    if len(named) != 1:
        heats = ", ".join(c.heat for c in found[:20])
        raise InputError(
            f"--heat {options.heat!r} must name one heat of {options.certificate}; it has {heats}."
        )
    return named[0]


def _limits(text: str):
    """The limits of ``--limits``: "face_hardness_hrc=39:50 hosel_allowed_deg=2:"."""
    from .inputs.limits import Limits

    bounds = {}
    for part in text.replace(";", " ").split():
        name, sign, ends = part.partition("=")
        low, colon, high = ends.partition(":")
        try:
            pair = tuple(float(end) if end else None for end in (low, high))
        except ValueError:
            pair = None
        if not (sign and colon and pair):
            raise InputError(
                f"--limits {part!r} must be NAME=LOW:HIGH, for example face_hardness_hv=380:460."
            )
        bounds[name] = pair
    return Limits(**bounds)


def _parts(text: str, count: int, option: str) -> tuple:
    """Name and numbers of "flux:2:20:30"."""
    name, *numbers = text.split(":")
    try:
        found = tuple(float(n) for n in numbers)
    except ValueError:
        found = ()
    if len(found) != count:
        raise InputError(
            f"{option} {text!r} must be NAME:{'LOW:HIGH:POINTS' if count == 3 else 'LOW:HIGH'}."
        )
    return (name, *found)


def _list(text: str) -> list[float]:
    try:
        return [float(t) for t in text.split(",")]
    except ValueError:
        raise InputError(
            f"--preheats {text!r} must be °C with commas, for example 850,900,950."
        ) from None


def _progress():
    """Share done, on a terminal only."""
    if not getattr(sys.stderr, "isatty", lambda: False)():
        return None

    def show(done: int, total: int | None) -> None:
        share = f"{100 * done // total} %" if total else f"{done} cases"
        print(f"\r{share} ", end="", file=sys.stderr, flush=True)

    return show


def _written(table, path: str) -> None:
    """A table to a file that does not exist yet."""
    from .io.writing import write_bytes

    write_bytes(path, table.to_csv(index=False).encode())


def _study(command: str, job, options) -> tuple[str, dict]:
    """What a subcommand other than `estimate` prints, as text and as JSON."""
    case = {"limits": job.limits, "shop": job.shop}
    if command == "compare":
        from .study.process.comparison import PREHEATS_C, compare

        preheats = PREHEATS_C
        if options.preheats:
            preheats = _list(options.preheats)
        found = compare(options.steels or [job.steel], preheats, job.head, job.route, **case)
        if options.csv:
            _written(found.table, options.csv)
        rows = found.table.sort_values("rank")
        shown = [c for c in _COMPARED if c in rows]
        text = rows[shown].to_string(index=False, float_format=lambda v: f"{v:.4g}")
        return f"{found.words()}\n\n{text}", {"words": found.words(), "rows": _records(rows)}
    if command == "window":
        from .study.process.process_window import window

        axes = {a: _parts(getattr(options, a), 3, f"--{a}") for a in "xy" if getattr(options, a)}
        found = window(job.steel, job.head, job.route, **axes, progress=_progress(), **case)
        if options.csv:
            _written(found.table(), options.csv)
        if options.png:
            from .show.figures.window import window_png

            window_png(found, options.png)
        return found.words(), {"words": found.words(), "centre": found.centre, "box": found.box,
                               "tolerances_held": found.tolerances_held, "share": found.share}  # fmt: skip
    if command == "choose":
        from .study.process.search import choose

        turned = {n: (a, b) for n, a, b in (_parts(t, 2, "--turn") for t in options.turn or ())}
        found = choose(
            job.steel, job.head, job.route, settings=turned or None, progress=_progress(), **case
        )
        return found.words(), {"words": found.words(), "feasible": found.feasible,
                               "settings": dict(found.settings), "results": dict(found.results)}  # fmt: skip
    from .certificates.reading import read_certificates
    from .study.shop.heat_acceptance import judge_heats

    if not options.certificate:
        raise InputError("accept needs --certificate FILE.")
    read = read_certificates(options.certificate)
    heats = [c for c in read if options.heat in (None, c.heat)]
    found = judge_heats(heats, job.head, job.route, progress=_progress(), **case)
    return str(found), {
        "heats": _records(found.table()),
        "problems": [str(p) for p in read.problems],
    }


#: Columns of a printed comparison: the three temperatures, what is required, what stops.
_COMPARED = ("rank", "grade", "preheat_c", "die_c", "quench_start_c", "face_hardness_hv", "hosel_hardness_hv",
             "hosel_allowed_deg", "face_margin", "meets", "binding")  # fmt: skip


def _records(frame) -> list[dict]:
    return json.loads(frame.to_json(orient="records"))


def _job(options, steel):
    """The job that the options describe."""
    from .inputs.job import Job, load_job
    from .inputs.shop import load_shop

    job = load_job(options.job) if options.job else Job()
    changes = {"steel": steel, "head": options.head, "surroundings": options.cool}
    if options.limits:
        changes["limits"] = _limits(options.limits)
    changes |= {s.name: getattr(options, s.name) for s in _OWN}
    changes = {name: value for name, value in changes.items() if value is not None}
    changes |= dict(map(_given, options.set))
    if options.shop:
        changes["shop"] = load_shop(options.shop)
    if changes.get("flux") == 0.0:
        of_spray = {name for name, s in table().items() if s.part == "spray"}
        changes = {n: v for n, v in changes.items() if n not in of_spray} | {"spray": None}
    if options.hand:
        changes["bench"] = {**job.bench, "hand": options.hand}
    if "target_loft_deg" in changes:  # a loft alone is no change of lie
        changes.setdefault("target_lie_deg", job.bench.get("target_lie_deg", 0.0))
    job = job.with_(**changes)
    later = (*job.route.later, *map(_temper, options.temper))
    return job.with_(route=dataclasses.replace(job.route, later=later))


def _listed() -> str:
    from .inputs.grades import grades
    from .inputs.head import heads

    rows = [
        f"  {s.name:22} {s.label}{', ' + s.unit if s.unit else ''}"
        + (f", {s.low:g} to {s.high:g}" if s.is_number else "")
        for s in table().values()
        if s.group in ("route", "head", "steel", "shop", "bench")
    ]
    first = f"grades: {', '.join(grades())}\nheads (invented): {', '.join(heads())}\nsettings:"
    return "\n".join([first, *rows])


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit code (see the head of this file)."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        code = _run(list(sys.argv[1:] if argv is None else argv))
        if sys.stdout is None:
            raise OSError("standard output is closed")
        sys.stdout.flush()
        return code
    except InputError as error:
        return _said(str(error), 2)
    except KeyboardInterrupt:
        return _said("stopped; files written before are kept.", 130)
    except BrokenPipeError:  # the reader (head, less) has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        with contextlib.suppress(OSError, AttributeError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _said(f"the output cannot be written: {error.strerror or error}.", 1)


def _said(words: str, code: int) -> int:
    if sys.stderr is not None:
        print(f"forgeprops: {words}", file=sys.stderr)
    return code


def _run(argv: list[str]) -> int:
    command = argv.pop(0) if argv and argv[0] in COMMANDS else "estimate"
    options = _parser(command).parse_args(argv)
    if options.list:
        print(json.dumps(_names(), ensure_ascii=False, indent=1) if options.json else _listed())
        return 0
    job = _job(options, None if command == "accept" else _steel(options))
    if options.save_job:
        job.save(options.save_job)
    if command not in ("estimate", "sheet"):
        text, content = _study(command, job, options)
        if options.json:
            text = json.dumps(
                {"schema": SCHEMA, "command": command, **content}, ensure_ascii=False, indent=1
            )
        print(text)
        return 0
    from .answer.estimate import estimate

    limits = {"flatness_mm": options.flatness_mm, "cutting_limit_hv": options.cutting_hv}
    result = estimate(
        job,
        count_press_strain=options.count_press_strain,
        **{name: value for name, value in limits.items() if value is not None},
    )
    if command == "sheet":
        from .show.sheet import sheet

        print(sheet(result, options.to))
        return 0
    softening = None
    if options.soften:
        from .study.hosel_bench import soften

        softening = soften(result, bench=dict(job.bench))
    if options.json:
        content = {"schema": SCHEMA, **result.to_dict()}
        if softening is not None:
            content["soften"] = softening.to_dict()
        print(json.dumps(content, ensure_ascii=False, indent=1))
    else:
        print(result.summary())
        if options.details:
            print(f"\n{result.details()}")
        if softening is not None:
            print(f"\nWhat softens the hosel\n{softening.words()}")
    return 0


def _names() -> dict:
    """Grades, heads and settings for `--list --json`."""
    from .inputs.grades import grades
    from .inputs.head import heads

    numbers = {s.name: {"label": s.label, "unit": s.unit, "low": s.low, "high": s.high}
               for s in table().values() if s.is_number}  # fmt: skip
    return {"schema": SCHEMA, "grades": grades(), "heads": heads(), "settings": numbers}


if __name__ == "__main__":
    sys.exit(main())
