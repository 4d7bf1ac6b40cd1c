"""Many cases as columns of numbers, so that thousands of them need no Python object each.

`Cases.of` makes them from lists of steels, heads, routes and shops; a study that turns a few settings of
one case makes them with `spread`, from that case and arrays of the settings.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

import numpy as np

from ..base.errors import InputError
from .drawing import DIMENSIONS, Block, Drawing
from .head import Head
from .route import MEDIA, QUENCH, Quench, Route, Spray, Temper
from .settings import CHOICES, setting
from .shop import NUMBERS, Shop
from .steel import DEFAULT_RESIDUALS, ELEMENTS, UNREPORTED_SD, Steel

#: Settings of a route in its columns, with their fields: its own, and those of the spray.
_OWN, _OF_SPRAY = (
    {name: field for name, (part, field) in Route.SETTINGS.items() if part == of}
    for of in ("route", "spray")
)
_get_quench = attrgetter(*(s.field for s in QUENCH.values()))
#: Columns of a shop; "spray_ln_sd" nan where its spray was not fitted.
_SHOP = {name: name for name in (*NUMBERS, "spray_ln_sd")}
_BLOCK = [f.name for f in dataclasses.fields(Block) if f.name != "name"]
_get_block = attrgetter(*_BLOCK)
#: Stands in for a block that a head has not: no length, so no metal and no surface.
_NO_BLOCK = (0.0, 1.0, 1.0, 0.0)
#: What the columns say where there is no water.
_NO_SPRAY = Spray(flux_kg_m2_s=0.0, delay_s=0.0, duration_s=0.0)


@dataclass(frozen=True, eq=False)
class SteelColumns:
    """Compositions; `get` gives the contents of an element as one column, wt%, shape (m, 1)."""

    contents: Mapping[str, np.ndarray]  # element -> (m,)
    fine_grain: np.ndarray  # (m,)
    names: np.ndarray  # (m,)
    content_sd: Mapping[str, np.ndarray]  # element -> (m,), of what the analysis leaves open

    def __len__(self) -> int:
        return len(self.fine_grain)

    def get(self, element: str) -> np.ndarray:
        """Contents of `element`, wt%, shape (m, 1): as given, else the stated default residual, else 0."""
        values = self.contents.get(element)
        if values is None:
            return np.full((len(self), 1), DEFAULT_RESIDUALS.get(element, 0.0))
        return values[:, None]

    def rows(self, index) -> SteelColumns:
        """Some of the steels."""
        contents, sd = (_cut(columns, index) for columns in (self.contents, self.content_sd))
        return SteelColumns(contents, self.fine_grain[index], self.names[index], sd)


def _cut(columns: Mapping[str, np.ndarray], index) -> dict[str, np.ndarray]:
    return {name: column[index] for name, column in columns.items()}


@dataclass(frozen=True)
class Cases:
    """Many cases; arrays of shape (n,)."""

    steels: SteelColumns  # distinct ones; `steel_of` says which one a case has
    heads: Drawing  # the same
    steel_of: np.ndarray
    head_of: np.ndarray
    #: By the short names of `Route.SETTINGS`, choices as numbers into `CHOICES`, settings of the first quench nan without
    #: one, "view_factor" nan for "as the surroundings have it"; "has_spray", "has_quench", "normalised",
    #: "quenched_before" and "heated_before" that, and "bath_factor" on the laws of baths.
    route: Mapping[str, np.ndarray]
    shop: Mapping[str, np.ndarray]  # by `shop.NUMBERS`; "spray_ln_sd" of its fit, nan without one
    later: tuple[tuple[Temper, ...], ...]  # distinct lists of later heats
    later_of: np.ndarray
    quenches: tuple[tuple[Quench, ...], ...]  # and of quenches
    quench_of: np.ndarray

    def __len__(self) -> int:
        return len(self.later_of)

    @classmethod
    def of(cls, steels: Sequence, heads: Sequence, routes: Sequence, shops=None) -> Cases:
        """Columns of cases given as objects; the sequences have one length."""
        shops = [Shop()] * len(steels) if shops is None else shops
        n_steels, n_heads, n_routes, n_shops = map(len, (steels, heads, routes, shops))
        if not n_steels == n_heads == n_routes == n_shops:
            counts = f"{n_steels} steels, {n_heads} heads, {n_routes} routes and {n_shops} shops"
            raise InputError(f"{counts}; give one number of each.")
        steels, steel_of = _distinct(steels)
        heads, head_of = _distinct(heads)
        given, route_of = _distinct(routes)
        marched = [r.marched() for r in given]
        route = route_columns(marched)
        pairs = list(zip(marched, given, strict=True))
        route["normalised"] = np.array([r is not g for r, g in pairs])
        route["quenched_before"] = np.array([r is not g and g.hardens_face for r, g in pairs])
        before = [r is not g and len(g.later) > len(r.later) + 1 for r, g in pairs]
        route["heated_before"] = np.array(before)
        route = route if len(given) == len(routes) else _cut(route, route_of)
        later, later_of = _distinct([r.later for r in marched], tuple)
        quenches, quench_of = _distinct([r.quench for r in marched], tuple)
        lists = tuple(later), later_of[route_of], tuple(quenches), quench_of[route_of]
        steels = _steels(*steels) if len(steels) == 1 else steel_columns(steels)
        heads = _heads(*heads) if len(heads) == 1 else head_columns(heads)
        return cls(steels, heads, steel_of, head_of, route, _columns(shops, _SHOP), *lists)

    def rows(self, index) -> Cases:
        """Cases by a slice or their numbers, any of them several times; steels and heads are shared, columns are copies."""
        of = ("steel_of", "head_of", "later_of", "quench_of")
        changed = {name: getattr(self, name)[index] for name in of}
        changed |= {name: _cut(getattr(self, name), index) for name in ("route", "shop")}
        return dataclasses.replace(self, **changed)

    def part(self, index) -> Cases:
        """The same, without the steels and heads of others where every case has its own."""
        part = self.rows(index)
        for whole, of in (("steels", "steel_of"), ("heads", "head_of")):
            if len(getattr(self, whole)) == len(self):
                used, place = np.unique(getattr(part, of), return_inverse=True)
                changed = {whole: getattr(self, whole).rows(used), of: place}
                part = dataclasses.replace(part, **changed)
        return part

    def content(self, element: str) -> np.ndarray:
        """Content of `element` of every case, wt%, shape (n,)."""
        values = self.steels.contents.get(element)
        own = DEFAULT_RESIDUALS.get(element, 0.0)
        return np.full(len(self), own) if values is None else values[self.steel_of]

    #: The name under which formulas ask for it; shape (n,) here, where `SteelColumns` gives (m, 1).
    get = content

    @functools.cached_property
    def composition(self) -> dict[str, np.ndarray]:
        """Contents of every case by element, wt%, shape (n,): what formulas ask by ``get(element)``."""
        return {e: self.content(e) for e in ELEMENTS}

    @functools.cached_property
    def content_sd(self) -> dict[str, np.ndarray]:
        """Standard deviation of contents that the analyses leave open, wt%, shape (n,)."""
        return _cut(self.steels.content_sd, self.steel_of)

    @functools.cached_property
    def sprayed(self) -> np.ndarray:
        """Whether water reaches the head, shape (n,)."""
        first = self.route["has_spray"] & (self.route["flux"] > 0.0) & (self.route["spray_s"] > 0.0)
        return first | self.quenched_in("water spray")

    def with_quench(self, test) -> np.ndarray:
        """Whether a quench for which `test` holds follows the press or the spray, shape (n,)."""
        if not any(self.quenches):
            return np.zeros(len(self), bool)
        kinds = np.array([any(map(test, quench)) for quench in self.quenches], bool)
        return kinds[self.quench_of] & self.route["has_quench"]

    def quenched_in(self, *media: str) -> np.ndarray:
        """The same of a quench in one of these media."""
        return self.with_quench(lambda quench: quench.medium in media)

    @functools.cached_property
    def quenched(self) -> np.ndarray:
        """Whether a liquid reaches the head, whose law is unsure, shape (n,)."""
        return self.sprayed | self.quenched_in(*(m for m in MEDIA if m.endswith("bath")))

    @functools.cached_property
    def delay_s(self) -> np.ndarray:
        """Time from the end of the press to the spray with what the shop adds, s; 0 without spray."""
        wait = np.maximum(self.route["delay_s"] + self.shop["delay_s"], 0.0)
        return np.where(self.route["has_spray"], wait, 0.0)

    @functools.cached_property
    def times_s(self) -> dict[str, np.ndarray]:
        """When each step of the route begins, s from loading; the spray NaN where there is none."""
        route = self.route
        out = route["soak_s"]
        die = out + route["transfer_s"]
        press = die + route["rest_s"] / 2
        pressed = press + route["dwell_s"]
        on = np.where(route["has_spray"], pressed + self.delay_s, np.nan)
        press = {"in die": die, "stroke": press, "end of stroke": pressed}
        water = {"water on": on, "water off": on + route["spray_s"]}
        return {"out of furnace": out, **press, **water}

    def dimension(self, name: str) -> np.ndarray:
        """A finished dimension of every case, mm, by its short name, shape (n,)."""
        values = np.asarray(getattr(self.heads, name), float)
        return np.broadcast_to(values, (len(self.heads),))[self.head_of]


def _distinct(items: Sequence, key: Callable = id) -> tuple[list, np.ndarray]:
    """Distinct objects by identity, or by `key`, in order of first use, and which one every item is."""
    if len(items) == 1:
        return [*items], np.zeros(1, np.int64)
    keys = [*map(key, items)]
    distinct = dict(zip(keys, items, strict=True))
    index = dict(zip(distinct, range(len(distinct)), strict=True))
    return [*distinct.values()], np.fromiter(map(index.__getitem__, keys), np.int64, len(keys))


def _columns(things: Sequence, fields: Mapping[str, str]) -> dict[str, np.ndarray]:
    """Columns, by name, of the fields of one part of many objects, most of which share it; nan for None."""
    distinct, of = _distinct(things)
    of_each = map(attrgetter(*fields.values()), distinct)
    values = dict(zip(fields, zip(*of_each, strict=True), strict=True))
    for name in CHOICES.keys() & fields.keys():
        values[name] = [CHOICES[name].index(choice) for choice in values[name]]
    return dict(zip(fields, np.array([*values.values()], float)[:, of], strict=True))


def steel_columns(steels: Sequence[Steel]) -> SteelColumns:
    """Columns of a list of steels."""
    values = [s._values for s in steels]
    named = sorted(set().union(*values))
    contents = {e: np.array([v.get(e, 0.0) for v in values]) for e in named}
    sd = {e: np.array([s.content_sd.get(e, 0.0) for s in steels]) for e in UNREPORTED_SD}
    fine, names = np.array([s.fine_grain for s in steels]), [s.name for s in steels]
    return SteelColumns(contents, fine, np.array(names, object), sd)


def head_columns(heads: Sequence[Head]) -> Drawing:
    """Columns of a list of heads, finished."""
    bodies, of = _distinct([h.body for h in heads], lambda body: (*map(id, body),))
    most = max(map(len, bodies))
    padded = np.array([[*map(_get_block, b), *[_NO_BLOCK] * (most - len(b))] for b in bodies])
    body = tuple(Block("", *padded[of, i].T.copy()) for i in range(most))
    return Drawing(body=body, **_columns(heads, {name: name for name in DIMENSIONS}))


@functools.lru_cache(maxsize=256)
def _steels(steel: Steel) -> SteelColumns:
    return steel_columns([steel])


@functools.lru_cache(maxsize=256)
def _heads(head: Head) -> Drawing:
    return head_columns([head])


def route_columns(routes: Sequence[Route]) -> dict[str, np.ndarray]:
    """Columns of a list of routes, without their later heats."""
    columns = _columns(routes, _OWN)
    columns |= _columns([r.spray or _NO_SPRAY for r in routes], _OF_SPRAY)
    first = [_get_quench(r.quench[0]) if r.quench else (np.nan,) * len(QUENCH) for r in routes]
    columns |= dict(zip(QUENCH, np.array(first, float).T.copy(), strict=True))
    columns["has_spray"] = np.array([r.spray is not None for r in routes])
    columns["has_quench"] = np.array([bool(r.quench) for r in routes])
    columns["bath_factor"] = np.ones(len(routes))
    return columns


def spread(steel, head, route, shop, values: Mapping[str, np.ndarray]) -> Cases:
    """Cases that differ from one case in some numbers, by short name, arrays of shape (n,).

    Nothing is checked against bounds here: who draws the numbers does that.
    """
    values = {name: np.asarray(v, float) for name, v in values.items()}
    n = max(map(len, values.values()), default=1)
    found = Cases.of([steel], [head], [route], [shop]).rows(np.zeros(n, np.int64))
    groups: dict[str, Any] = {"route": found.route, "shop": found.shop, "steel": {}, "head": {}}
    for name, v in values.items():
        what = setting(name)
        groups[what.group][what.field if what.group == "shop" else name] = v
    contents, dimensions, changed = groups["steel"], groups["head"], {}
    if contents:
        each = found.steels.rows(np.zeros(n, np.int64))
        sd = {e: v * (e not in contents) for e, v in each.content_sd.items()}
        steels = dataclasses.replace(each, contents={**each.contents, **contents}, content_sd=sd)
        changed |= {"steels": steels, "steel_of": np.arange(n)}
    if dimensions:
        own = {name: getattr(head, name) for name in DIMENSIONS}
        heads = Drawing(body=head.body, **{**own, **dimensions})
        changed |= {"heads": heads, "head_of": np.arange(n)}
    return dataclasses.replace(found, **changed)
