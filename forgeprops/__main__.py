"""Print one estimate in a terminal: ``python -m forgeprops --grade 4130 --preheat-c 930``."""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import sys

from . import __version__
from .base.errors import InputError
from .inputs.settings import table

__all__ = ["main"]


#: Settings with an option of their own: the route's that a page has a slider for, and those of the bench.
_OWN = tuple(s for s in table().values() if s.group in ("route", "bench") and s.slider)
#: Options by the names they had before the table.
_OTHER_NAMES = {
    "flux": ("--spray",),
    "target_lie_deg": ("--lie",),
    "target_loft_deg": ("--loft",),
    "force_limit_n": ("--bar-n",),
}


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="forgeprops",
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
    add("--grade", help="library grade, for example 1020, 1030, 4130, 4140 (default 4130)")
    add("--head", help="library head (default mid-iron)")
    for s in _OWN:
        names = ("--" + s.name.replace("_", "-"), *_OTHER_NAMES.get(s.name, ()))
        words = f"{s.label}, {s.unit}" if s.unit else s.label
        more = "; 0: no spray" if s.name == "flux" else ""
        bounds = f" ({s.low:g} to {s.high:g}{more})"
        add(*names, dest=s.name, type=float, metavar="X", help=words + bounds)
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
    from .inputs.route import Temper

    celsius, _, time = text.partition(":")
    unit = next((u for u in _SECONDS if time.endswith(u)), "")
    try:
        numbers = float(celsius), float(time.removesuffix(unit)) * _SECONDS[unit]
    except (KeyError, ValueError):
        raise InputError(
            f"--temper {text!r} must be °C:time in h, min or s, for example 600:1h."
        ) from None
    return Temper(*numbers)


def _job(options):
    """The job that the options describe."""
    from .inputs.job import Job, load_job
    from .inputs.shop import load_shop

    job = load_job(options.job) if options.job else Job()
    changes = {"steel": options.grade, "head": options.head, "surroundings": options.cool}
    changes |= {s.name: getattr(options, s.name) for s in _OWN}
    changes = {name: value for name, value in changes.items() if value is not None}
    changes |= dict(map(_given, options.set))
    if options.shop:
        changes["shop"] = load_shop(options.shop)
    if changes.get("flux") == 0.0:
        changes["spray"] = None
        changes = {
            name: value
            for name, value in changes.items()
            if name not in table() or table()[name].part != "spray"
        }
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
    return "\n".join(
        [
            f"grades: {', '.join(grades())}",
            f"heads (invented): {', '.join(heads())}",
            "settings:",
            *rows,
        ]
    )


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit code: 0 done, 2 input that cannot be used."""
    options = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        if options.list:
            print(_listed())
            return 0
        from .answer.evaluation import estimate

        limits = {"flatness_mm": options.flatness_mm, "cutting_limit_hv": options.cutting_hv}
        job = _job(options)
        if options.save_job:
            job.save(options.save_job)
        result = estimate(
            job,
            count_press_strain=options.count_press_strain,
            **{name: value for name, value in limits.items() if value is not None},
        )
        softening = None
        if options.soften:
            from .study.hosel_bench import soften

            softening = soften(result, bench=dict(job.bench))
    except InputError as error:
        print(f"forgeprops: {error}", file=sys.stderr)
        return 2
    if options.json:
        content = result.to_dict()
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


if __name__ == "__main__":
    try:
        code = main()
        sys.stdout.flush()
    except BrokenPipeError:  # the reader (head, less) has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    sys.exit(code)
