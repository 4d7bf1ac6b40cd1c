"""Cases as users give them: sequences paired, singles for all, names made into objects, errors kept."""

import dataclasses
import itertools
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from ..base.errors import InputError, check_choice, check_kind
from ..engine.run import march_columns
from ..hosel.bench import Bench, bench_options
from ..inputs.cases import Cases
from ..inputs.grades import steel_of
from ..inputs.head import Head
from ..inputs.head import head as library_head
from ..inputs.limits import Limits
from ..inputs.route import Normalise, Route, Temper
from ..inputs.shop import Shop, load_shop
from ..inputs.steel import Steel
from ..transformation.temperatures import ac1_c, ac3_c


class Case(NamedTuple):
    """One case, None for what could not be made, and what is wrong with it."""

    steel: Steel | None = None
    head: Head | None = None
    route: Route | None = None
    shop: Shop | None = None
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
            hosel_hv = float(march_columns(again).hardness_hv[0, -1])
            end = f"this steel's Ac1 ({ac1:.0f} °C): the metal becomes austenite and hardens again"
            hard = f"in air, the hosel to about {hosel_hv:.0f} HV"
            raise InputError(f"{said} is above {end} {hard}; use Normalise.")


def checked_case(steel, head=None, route=None, shop=None) -> tuple[Steel, Head, Route, Shop]:
    """One case, made and checked as a row of `forgeprops.estimate_many` is."""
    case = steel_of(steel), head_from(head), route_from(route), shop_from(shop)
    check_case(*case[:3])
    return case


def _settings(given, what: str, form: str) -> dict[str, Any]:
    """Settings given by their names; anything else is refused."""
    check_kind(given, Mapping, what, form=form)
    return {check_kind(name, str, "name of a setting"): value for name, value in given.items()}


def head_from(given) -> Head:
    """A head from a head, a library name, None (the mid-iron), or dimensions changed on one of the library.

    >>> head_from({"head": "wedge", "face_thickness_mm": 3.0}).face_thickness_mm
    3.0
    """
    if isinstance(given, Head):
        return given
    if given is None or isinstance(given, str):
        return library_head("mid-iron" if given is None else given)
    changed = _settings(given, "head", "a Head, a library name or dimensions")
    return library_head(changed.pop("head", "mid-iron")).with_(**changed)


def route_from(given) -> Route:
    """A route from a route, None (the default), or settings by their short names; ``spray=None`` for none.

    >>> route_from({"preheat_c": 900, "spray": None}).spray is None
    True
    """
    if isinstance(given, Route):
        return given
    form = "a Route or settings by their short names"
    changed = _settings({} if given is None else given, "route", form)
    base = Route(spray=None) if changed.pop("spray", 0) is None else Route()
    return base.with_(**changed)


def limits_from(given, route: Route, bench: Mapping | None = None) -> Limits:
    """The limits of a job: those given, else (None, or no limits at all) the default set of its route.

    The hosel takes the change that the bench names too, by the names of `hosel.bench.Bench`.

    >>> print(limits_from(None, Route(spray=None), {"target_lie_deg": 8.0}))
    face margin at the strike at least 1; hosel bend at least 8°; pull on the bar at most 400 N
    """
    check_kind(given, Limits | None, "limits", form="Limits(face_hardness_hv=(380, 460), ...)")
    limits = given if given and given.bounds else Limits.of_route(route)
    bench = bench_options(bench)
    if "target_lie_deg" in bench or "target_loft_deg" in bench:
        limits = limits.at_least("hosel_allowed_deg", Bench(**bench).target_deg)
    return limits


def shop_from(given) -> Shop:
    """A shop from a shop, None (neutral), the path of its file, or its numbers."""
    if given is None:
        return _NEUTRAL
    if isinstance(given, (str, os.PathLike)):
        return load_shop(given)
    if isinstance(given, Shop):
        return given
    numbers = _settings(given, "shop", "a Shop, the path of its file, or its numbers")
    names = [f.name for f in dataclasses.fields(Shop)]
    return Shop(**{check_choice(n, "field", names, "shop"): v for n, v in numbers.items()})


_NEUTRAL = Shop()
#: Parts of a case, and what makes them.
_MAKERS = {"steel": steel_of, "head": head_from, "route": route_from, "shop": shop_from}
_SINGLE = (Steel, Head, Route, Shop, str, bytes, os.PathLike, Mapping, type(None))


def _is_single(given) -> bool:
    iterable = isinstance(given, Iterable) and getattr(given, "shape", None) != ()
    return isinstance(given, _SINGLE) or not iterable


def length_of(*columns) -> int | None:
    """Number of cases if it is known beforehand; 1 if all are singles."""
    many = {w: c for w, c in zip(_MAKERS, columns, strict=True) if not _is_single(c)}
    lengths = {what: len(given) for what, given in many.items() if hasattr(given, "__len__")}
    if len(set(lengths.values())) > 1:
        counts = ", ".join(f"{n} {what}s" for what, n in lengths.items())
        raise InputError(f"the sequences differ in length: {counts}; give one length, or singles.")
    return next(iter(lengths.values()), None if many else 1)


def cases_of(steels, heads, routes, shops) -> Iterator[Case]:
    """Every case in order, made when it is read."""
    singles, streams, broken, end = {}, {}, "", object()
    for what, given in zip(_MAKERS, (steels, heads, routes, shops), strict=True):
        if _is_single(given):
            singles[what], error = _made(what, given)
            broken = broken or error
        else:
            streams[what] = iter(given)
    rows = itertools.zip_longest(*streams.values(), fillvalue=end) if streams else [()]
    for count, row in enumerate(rows):
        over = [what for what, item in zip(streams, row, strict=True) if item is end]
        if over:
            going = next(what for what in streams if what not in over)
            ends = f"{over[0]}s end after {count} cases"
            raise InputError(f"{ends} but {going}s go on; give one length.")
        yield Case(error=broken) if broken else _case(singles, zip(streams, row, strict=True))


def _made(what: str, given) -> tuple[Any, str]:
    """A part and "", or None and what is wrong with it."""
    try:
        return _MAKERS[what](given), ""
    except InputError as error:
        return None, str(error)
    except Exception as error:  # noqa: BLE001  (a row may hold any object; it costs that row)
        return None, f"{type(error).__name__}: {str(error) or type(error).__name__}"


def _case(singles: dict[str, Any], row: Iterable[tuple[str, Any]]) -> Case:
    """A case of the parts that all cases share and those of its row, still to be made."""
    parts, wrong = {**singles}, ""
    for what, given in row:
        parts[what], error = _made(what, given)
        wrong = wrong or error
    if not wrong:
        try:
            check_case(parts["steel"], parts["head"], parts["route"])
        except InputError as error:
            wrong = str(error)
    return Case(**parts, error=wrong)


def chunks(cases: Iterable[Case], size: int) -> Iterator[Sequence[Case]]:
    """Lists of up to `size` cases."""
    cases = iter(cases)
    while held := list(itertools.islice(cases, size)):
        yield held
