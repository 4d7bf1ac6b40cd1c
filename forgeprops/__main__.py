"""Print one estimate in a terminal: ``python -m forgeprops --grade 4130 --preheat-c 930``."""

from __future__ import annotations

import argparse
import json
import os
import sys

from . import __version__
from .base.errors import InputError, check_number

__all__ = ["main"]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="forgeprops",
        description="How hard and strong a forged iron head comes out, and how far its hosel bends. "
        "Every option has a default; the heads and the default route are invented demonstrations.",
    )
    parser.add_argument(
        "--grade", default="4130", help="library grade, e.g. 1020, 1030, 4130, 4140 (default 4130)"
    )
    parser.add_argument("--head", default="mid-iron", help="library head (default mid-iron)")
    parser.add_argument(
        "--preheat-c", type=float, metavar="C", help="furnace set point, °C (default 930)"
    )
    parser.add_argument(
        "--soak-s", type=float, metavar="S", help="time in the furnace, s (default 900)"
    )
    parser.add_argument(
        "--transfer-s", type=float, metavar="S", help="furnace to die, s (default 4)"
    )
    parser.add_argument("--dwell-s", type=float, metavar="S", help="press dwell, s (default 0.05)")
    parser.add_argument(
        "--die-c", type=float, metavar="C", help="die temperature, °C (default 250)"
    )
    parser.add_argument(
        "--spray",
        type=float,
        metavar="FLUX",
        help="impact density on the face, kg/(m² s) (default 12; 0 for no spray)",
    )
    parser.add_argument(
        "--spray-s", type=float, metavar="S", help="how long the water runs, s (default 10)"
    )
    parser.add_argument(
        "--delay-s", type=float, metavar="S", help="end of squeeze to water, s (default 2)"
    )
    parser.add_argument(
        "--water-c", type=float, metavar="C", help="water temperature, °C (default 25)"
    )
    parser.add_argument(
        "--cool", metavar="HOW", help="single, row, bin, fan or sleeve (default single)"
    )
    parser.add_argument(
        "--shop",
        metavar="FILE",
        help="the shop's own numbers, as `Shop.save` wrote them (default neutral)",
    )
    parser.add_argument(
        "--count-press-strain",
        action="store_true",
        help="let the press strain left in the austenite speed ferrite and bainite (a bound; default off)",
    )
    parser.add_argument(
        "--lie",
        type=float,
        metavar="DEG",
        help="wanted change of lie, °, + is more upright (default 2; 0 if only --loft is given)",
    )
    parser.add_argument(
        "--loft",
        type=float,
        metavar="DEG",
        help="wanted change of loft, °, + is weaker (default 0)",
    )
    parser.add_argument(
        "--bar-mm", type=float, metavar="MM", help="bending bar, hand to hosel, mm (default 500)"
    )
    parser.add_argument(
        "--bar-n", type=float, metavar="N", help="most pull by hand, N (default 400)"
    )
    parser.add_argument(
        "--hand", metavar="HAND", help="head for a right or left hand (default right)"
    )
    parser.add_argument(
        "--flatness-mm", type=float, metavar="MM", help="bow the face may have, mm (default 0.15)"
    )
    parser.add_argument(
        "--cutting-hv", type=float, metavar="HV", help="hardest you can machine, HV (default 320)"
    )
    parser.add_argument(
        "--soften",
        action="store_true",
        help="also try what softens the hosel, and what the face pays",
    )
    parser.add_argument("--json", action="store_true", help="print JSON alone")
    parser.add_argument("--list", action="store_true", help="list grades and heads")
    parser.add_argument("--version", action="version", version=f"forgeprops {__version__}")
    return parser


def _route(options):
    from .inputs.route import Route

    route = Route()
    settings = {
        name: value
        for name, value in {
            "preheat_c": options.preheat_c,
            "soak_s": options.soak_s,
            "transfer_s": options.transfer_s,
            "dwell_s": options.dwell_s,
            "die_c": options.die_c,
            "surroundings": options.cool,
            "flux": options.spray,
            "spray_s": options.spray_s,
            "delay_s": options.delay_s,
            "water_c": options.water_c,
        }.items()
        if value is not None
    }
    if settings.get("flux") == 0:
        import dataclasses

        route = dataclasses.replace(route, spray=None)
        for name in ("flux", "spray_s", "delay_s", "water_c"):
            settings.pop(name, None)
    return route.with_(**settings)


def _bench(options) -> dict:
    """Bench and wanted change, by the names of `hosel_bend`; what is left out keeps its default."""
    lie = 0.0 if options.lie is None and options.loft is not None else options.lie
    given = {
        "target_lie_deg": lie,
        "target_loft_deg": options.loft,
        "bar_mm": options.bar_mm,
        "force_limit_n": options.bar_n,
        "hand": options.hand,
    }
    return {name: value for name, value in given.items() if value is not None}


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    options = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        from .inputs.grades import grade, grades
        from .inputs.head import heads

        if options.list:
            print("grades:", ", ".join(grades()))
            print("heads (invented):", ", ".join(heads()))
            return 0
        if options.spray is not None:
            check_number(options.spray, "spray flux", 0.0, 60.0, "kg/(m² s)", "--spray")
        from .answer.evaluation import estimate

        limits = {"flatness_mm": options.flatness_mm, "cutting_limit_hv": options.cutting_hv}
        limits = {name: value for name, value in limits.items() if value is not None}
        bench = _bench(options)
        result = estimate(
            grade(options.grade),
            options.head,
            _route(options),
            options.shop,
            count_press_strain=options.count_press_strain,
            bench=bench,
            **limits,
        )
        softening = None
        if options.soften:
            from .study.hosel_bench import soften

            softening = soften(result, bench=bench)
    except InputError as error:
        print(f"forgeprops: {error}", file=sys.stderr)
        return 2
    if options.json:
        told = result.to_dict()
        if softening is not None:
            told["soften"] = softening.to_dict()
        print(json.dumps(told, ensure_ascii=False, indent=1))
    else:
        print(result.summary())
        if bench:
            print("\nBefore you pull", *(f"- {words}" for words in result.hosel.cautions), sep="\n")
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
