"""The job that the options of a command describe."""

import contextlib
import dataclasses

from ..base.errors import InputError, shown
from ..inputs.settings import table
from .options import SETTINGS, value_of

#: Seconds in the units of a time.
_SECONDS = {"h": 3600.0, "min": 60.0, "s": 1.0}
#: Example of the value of every later heat's option.
_LATER = {"--temper": "600:1h", "--torch": "680:10min", "--normalise": "890:30min"}


def steel_from(options):
    """The steel of the options, or None."""
    if not options.certificate:
        if options.heat:
            raise InputError("--heat needs --certificate FILE.")
        return options.steel
    from ..certificates.reading import read_certificates

    found = read_certificates(options.certificate)
    named = [c for c in found if options.heat in (None, c.heat)]
    if len(named) != 1:
        heats = ", ".join(c.heat for c in found[:20])
        wanted = f"one heat of {options.certificate}"
        raise InputError(f"--heat {shown(options.heat)} must name {wanted}; it has {heats}.")
    return named[0]


def limits_from(text: str):
    """The limits of ``--limits``: "face_hardness_hrc=39:50 hosel_allowed_deg=2:"."""
    from ..inputs.limits import Limits

    bounds = {}
    for part in text.replace(";", " ").split():
        name, sign, ends = part.partition("=")
        low, colon, high = ends.partition(":")
        try:
            pair = tuple(float(end) if end else None for end in (low, high))
        except ValueError:
            pair = None
        if not (sign and colon and pair):
            example = "NAME=LOW:HIGH, for example face_hardness_hv=380:460"
            raise InputError(f"--limits {shown(part)} must be {example}.")
        bounds[name] = pair
    return Limits(**bounds)


def axis_of(text: str, count: int, option: str) -> tuple:
    """Name and numbers of "flux:2:20:30"."""
    name, *numbers = text.split(":")
    form = f"NAME:{'LOW:HIGH:POINTS' if count == 3 else 'LOW:HIGH'}"
    return (name, *_numbers(numbers, count, f"{option} {shown(text)} must be {form}."))


def list_of(text: str, option: str) -> tuple[float, ...]:
    """Numbers with commas between."""
    wrong = f"{option} {shown(text)} must be °C with commas, for example 850,900,950."
    return _numbers(text.split(","), text.count(",") + 1, wrong)


def _numbers(texts, count: int, wrong: str) -> tuple[float, ...]:
    with contextlib.suppress(ValueError):
        if len(found := tuple(map(float, texts))) == count:
            return found
    raise InputError(wrong)


def _named(text: str):
    """Name and value of one ``--set``."""
    name, sign, value = text.partition("=")
    if not sign:
        raise InputError(f"--set {shown(text)} must be NAME=VALUE, for example spray_s=8.")
    return name.strip(), value_of(value)


def _later(option: str, text: str):
    """The later heat of one option, "600:1h:hosel"."""
    from ..inputs.route import LocalHeat, Normalise, Temper

    celsius, time, rest = [*text.split(":", 2), "", ""][:3]
    unit = next((u for u in _SECONDS if time.endswith(u)), "")
    form = f"°C:time in h, min or s, for example {_LATER[option]}"
    numbers = (celsius, time.removesuffix(unit)) if unit else ()
    celsius, seconds = _numbers(numbers, 2, f"{option} {shown(text)} must be {form}.")
    seconds *= _SECONDS[unit]
    if option == "--temper":
        return Temper(celsius, seconds, tuple(filter(None, rest.split("+"))))
    if option == "--torch":
        return LocalHeat("hosel", celsius, seconds, rest or "cloth")
    return Normalise(celsius, seconds, rest or "single")


def _quench(text: str):
    """The quench of one ``--quench``: "water spray:5:2:face+rim"."""
    from ..inputs.route import Quench

    medium, *rest = text.split(":")
    wrong = f"--quench {shown(text)} must be MEDIUM:SECONDS, then :DELAY and :ZONES if wanted, for example 'oil bath:60'."
    seconds = _numbers(rest[:2], max(min(len(rest), 2), 1), wrong)
    times = dict(zip(("duration_s", "delay_s"), seconds, strict=False))
    zones = tuple(rest[2].split("+")) if len(rest) > 2 else ()
    return Quench(medium.strip(), zones, **times)


def _head(options, like):
    """The head scaled to the numbers of the options, or None where there are none."""
    numbers_of = {"blade_mm": (2, "2 numbers in mm, for example 76x45"), "mass_g": (1, "a number")}
    numbers_of["hosel_mm"] = 3, "3 numbers in mm, for example 13.4x9.4x60"
    numbers_of["face_mm"], given = (1, "a number"), {}
    for name, (count, form) in numbers_of.items():
        if text := getattr(options, name):
            wrong = f"--{name.replace('_', '-')} {shown(text)} must be {form}."
            numbers = _numbers(text.replace("×", "x").split("x"), count, wrong)
            given[name] = numbers if count > 1 else numbers[0]
    if not given:
        return None
    from ..inputs.templates import head_from

    return head_from(**given, like=like)


def job_from(options, steel):
    """The job that the options describe, of this steel."""
    from ..inputs.job import Job, load_job
    from ..inputs.route import Route
    from ..inputs.shop import load_shop

    job = load_job(options.job) if options.job else Job()
    route = Route.load(options.route) if options.route else job.route
    later = (*route.later, *(_later(option, text) for option, text in options.later))
    quench = (*route.quench, *map(_quench, options.quench))
    route = dataclasses.replace(route, later=later, quench=quench)
    changes = {s.name: getattr(options, s.name) for s in SETTINGS}
    changes |= {"steel": steel, "head": options.head}
    changes["limits"] = limits_from(options.limits) if options.limits else None
    changes["shop"] = load_shop(options.shop) if options.shop else None
    changes = {name: value for name, value in changes.items() if value is not None}
    changes |= dict(map(_named, options.set))
    if changes.get("flux") == 0.0:
        of_spray = {n: v for n, v in changes.items() if n in table() and table()[n].part == "spray"}
        Route().with_(**of_spray)  # what is not used must be possible all the same
        changes = {n: v for n, v in changes.items() if n not in of_spray} | {"spray": None}
    if options.hand:
        changes["bench"] = {**job.bench, "hand": options.hand}
    if "target_loft_deg" in changes:  # a loft alone is no change of lie
        changes.setdefault("target_lie_deg", job.bench.get("target_lie_deg", 0.0))
    own = _head(options, changes.get("head", job.head))
    if own is not None:
        changes["head"] = own
    job = job.with_(route=route, **changes)
    if options.save_job:
        job.save(options.save_job)
    if options.save_route:
        job.route.save(options.save_route)
    return job
