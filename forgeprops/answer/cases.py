"""Cases as users give them: sequences paired, singles for all, names made into objects, errors kept."""

import dataclasses
import itertools
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..base.errors import InputError, check_choice, check_kind, shown
from ..engine.outcome import O_HV
from ..engine.run import march_columns
from ..hosel.bench import Bench, bench_options
from ..inputs.cases import Cases
from ..inputs.grades import steel_of
from ..inputs.head import Head
from ..inputs.head import head as library_head
from ..inputs.later import Normalise, Temper
from ..inputs.limits import Limits
from ..inputs.route import Route
from ..inputs.shop import Shop, shop_or_file
from ..inputs.steel import Steel
from ..transformation.temperatures import ac1_c, ac3_c


@dataclass(frozen=True)
class Case:
    """One case, or what is wrong with it.

    Attributes
    ----------
    steel, head, route, shop
        None for what could not be made.
    """

    steel: Steel | None
    head: Head | None
    route: Route | None
    shop: Shop | None
    error: str = ""


def check_case(steel: Steel, head: Head, route: Route) -> None:
    """Refuse a temper above the steel's Ac1, and a normalise below its Ac3."""
    if not route.later:
        return
    ac1 = float(ac1_c(steel))
    for heat in route.later:
        said = f"{heat.words[0].upper()}{heat.words[1:]}"
        if isinstance(heat, Normalise):
            ac3 = float(ac3_c(steel))
            if heat.temperature_c < ac3:
                end = f"this steel's Ac3 ({ac3:.0f} °C)"
                raise InputError(f"{said} is below {end}: part of the old structure stays.")
        elif isinstance(heat, Temper) and heat.temperature_c > ac1:
            air = (Normalise(heat.temperature_c, 900.0),)
            again = Cases.of([steel], [head], [dataclasses.replace(route, later=air).marched()])
            hosel_hv = float(march_columns(again).zones[0, -1, O_HV])
            raise InputError(
                f"{said} is above this steel's Ac1 ({ac1:.0f} °C): the metal becomes austenite and "
                f"hardens again in air, the hosel to about {hosel_hv:.0f} HV; use Normalise."
            )


def checked_case(steel, head=None, route=None, shop=None) -> tuple[Steel, Head, Route, Shop]:
    """One case, made and checked as a row of `forgeprops.estimate_many` is."""
    case = steel_of(steel), head_from(head), route_from(route), shop_from(shop)
    check_case(*case[:3])
    return case


def _named(given: Mapping, kind) -> dict[str, Any]:
    """Arguments of a dataclass by name; names it has not are refused with the nearest."""
    allowed, what = [f.name for f in dataclasses.fields(kind) if f.init], kind.__name__.lower()
    return {check_choice(name, "field", allowed, what): value for name, value in given.items()}


def _by_name(given: Mapping) -> dict[str, Any]:
    return {check_kind(name, str, "name of a setting"): value for name, value in given.items()}


def head_from(given) -> Head:
    """A head from a head, a library name, None (the mid-iron), or dimensions changed on one of the library.

    Examples
    --------
    >>> head_from({"head": "wedge", "face_thickness_mm": 3.0}).face.thickness_mm
    3.0
    """
    if isinstance(given, Head):
        return given
    if given is None or isinstance(given, str):
        return library_head("mid-iron" if given is None else given)
    if isinstance(given, Mapping):
        changed = _by_name(given)
        return library_head(changed.pop("head", "mid-iron")).with_(**changed)
    raise InputError(f"head must be a Head, a library name or dimensions; got {shown(given)}.")


def route_from(given) -> Route:
    """A route from a route, None (the default), or settings by their short names; ``spray=None`` for none.

    >>> route_from({"preheat_c": 900, "spray": None}).spray is None
    True
    """
    if isinstance(given, Route):
        return given
    if given is None:
        return Route()
    if isinstance(given, Mapping):
        changed = _by_name(given)
        base = Route(spray=None) if changed.pop("spray", 0) is None else Route()
        return base.with_(**changed)
    raise InputError(f"route must be a Route or settings by their short names; got {shown(given)}.")


def limits_from(given, route: Route, bench: Mapping | None = None) -> Limits:
    """The limits of a job: those given, else (None, or no limits at all) the default set of its route.

    The hosel takes the change that the bench names too, by the names of `hosel.bench.Bench`.

    >>> print(limits_from(None, Route(spray=None), {"target_lie_deg": 8.0}))
    face margin at the strike at least 1; hosel bend at least 8°; pull on the bar at most 400 N
    """
    if not isinstance(given, Limits | None):
        form = "Limits(face_hardness_hv=(380, 460), ...)"
        raise InputError(f"limits must be {form}; got {shown(given)}.")
    limits = given if given and given.bounds else Limits.of_route(route)
    bench = bench_options(bench)
    if "target_lie_deg" in bench or "target_loft_deg" in bench:
        limits = limits.at_least("hosel_allowed_deg", Bench(**bench).target_deg)
    return limits


def shop_from(given) -> Shop:
    """A shop from a shop, None (neutral), the path of its file, or its numbers."""
    given = shop_or_file(given)
    if isinstance(given, Shop):
        return given
    if isinstance(given, Mapping):
        return Shop(**_named(given, Shop))
    raise InputError(
        f"shop must be a Shop, the path of its file, or its numbers; got {shown(given)}."
    )


_MAKERS = {"steel": steel_of, "head": head_from, "route": route_from, "shop": shop_from}
_SINGLE = (Steel, Head, Route, Shop, str, bytes, os.PathLike, Mapping)


def _is_single(given) -> bool:
    iterable = isinstance(given, Iterable) and getattr(given, "shape", None) != ()
    return given is None or isinstance(given, _SINGLE) or not iterable


def length_of(*columns) -> int | None:
    """Number of cases if it is known beforehand; 1 if all are singles."""
    lengths = {}
    unknown = False
    for what, given in zip(_MAKERS, columns, strict=True):
        if _is_single(given):
            continue
        if hasattr(given, "__len__"):
            lengths[what] = len(given)
        else:
            unknown = True
    if len(set(lengths.values())) > 1:
        counts = ", ".join(f"{n} {what}s" for what, n in lengths.items())
        raise InputError(f"the sequences differ in length: {counts}; give one length, or singles.")
    if lengths:
        return next(iter(lengths.values()))
    return None if unknown else 1


def cases_of(steels, heads, routes, shops) -> Iterator[Case]:
    """Every case in order, made when it is read."""
    singles: dict[str, Any] = {}
    errors: dict[str, str] = {}
    streams = {}
    for what, given in zip(_MAKERS, (steels, heads, routes, shops), strict=True):
        if _is_single(given):
            singles[what], errors[what] = _made(what, given)
        else:
            streams[what] = iter(given)
    broken = next(filter(None, errors.values()), "")
    end = object()
    count = 0
    while True:
        row = {what: next(stream, end) for what, stream in streams.items()}
        over = [what for what, item in row.items() if item is end]
        if over:
            if len(over) < len(row):
                going, end = next(what for what in row if what not in over), f"{over[0]}s end after"
                raise InputError(f"{end} {count} cases but {going}s go on; give one length.")
            return
        count += 1
        if broken:
            yield Case(None, None, None, None, broken)
        else:
            yield _case({**singles, **row})
        if not streams:
            return


def _made(what: str, given) -> tuple[Any, str]:
    try:
        return _MAKERS[what](given), ""
    except Exception as error:  # noqa: BLE001  (a row may hold any object; it costs that row)
        return None, _text(error)


def _text(error: Exception) -> str:
    words = str(error) or type(error).__name__
    return words if isinstance(error, InputError) else f"{type(error).__name__}: {words}"


_KINDS = {"steel": Steel, "head": Head, "route": Route, "shop": Shop}


def _case(row: dict[str, Any]) -> Case:
    made = {}
    wrong = ""
    for what, given in row.items():
        if type(given) is _KINDS[what]:
            made[what] = given
            continue
        made[what], error = _made(what, given)
        wrong = wrong or error
    if not wrong:
        try:
            check_case(made["steel"], made["head"], made["route"])
        except InputError as error:
            wrong = _text(error)
    return Case(made["steel"], made["head"], made["route"], made["shop"], wrong)


def chunks(cases: Iterable[Case], size: int) -> Iterator[Sequence[Case]]:
    """Lists of up to `size` cases."""
    cases = iter(cases)
    while held := list(itertools.islice(cases, size)):
        yield held
