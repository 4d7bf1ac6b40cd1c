"""Turning one case: any number of its steel, head, route or shop by name, one value a case."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..base.errors import InputError, check_choice, check_number
from .case_columns import Columns, spread
from .drawing import DIMENSION_LIMITS, Face, Hosel, Neck, Rim
from .head import Head
from .route import BOUNDS as ROUTE_BOUNDS
from .route import Route
from .shop import BOUNDS as SHOP_BOUNDS
from .shop import Shop
from .steel import ELEMENTS, Steel

__all__ = ["Setting", "changed", "setting", "settings", "value_of", "varied"]

_KINDS = {"face": Face, "rim": Rim, "neck": Neck, "hosel": Hosel}


@dataclass(frozen=True)
class Setting:
    """A number of a case.

    Attributes
    ----------
    name : str
        Short name of a setting of the route (`Route.SETTINGS`) or a dimension (`Head.SETTINGS`); an element
        symbol; a number of the shop with ``shop_`` before it.
    group : {"route", "head", "steel", "shop"}
    label, unit : str
    low, high : float
        What it may be.
    """

    name: str
    group: str
    label: str
    low: float
    high: float
    unit: str


def settings() -> tuple[str, ...]:
    """Names of all numbers that can be turned."""
    route = (
        name
        for name, (part, attribute) in Route.SETTINGS.items()
        if attribute in ROUTE_BOUNDS[part]
    )
    return (*route, *Head.SETTINGS, *ELEMENTS, *(f"shop_{name}" for name in SHOP_BOUNDS))


def setting(name: str) -> Setting:
    """Look up a number of a case.

    Raises
    ------
    InputError
        Unknown name.

    Examples
    --------
    >>> setting("flux").label, setting("Cr").unit, setting("face_thickness_mm").group
    ('spray flux', 'wt%', 'head')
    """
    name = check_choice(name, "setting to turn", settings())
    if name in Head.SETTINGS:
        part, field = Head.SETTINGS[name]
        low, high = DIMENSION_LIMITS[_KINDS[part]][field]
        return Setting(
            name, "head", name.removesuffix("_mm").replace("_", " "), float(low), float(high), "mm"
        )
    if name in ELEMENTS:
        return Setting(
            name, "steel", f"{name} content", 0.01 if name == "C" else 0.0, ELEMENTS[name], "wt%"
        )
    if name.startswith("shop_"):
        low, high, unit = SHOP_BOUNDS[name.removeprefix("shop_")]
        return Setting(name, "shop", f"shop {name.removeprefix('shop_')}", low, high, unit)
    label, low, high, unit = Route.bounds(name)
    return Setting(name, "route", label, low, high, unit)


def value_of(name: str, steel: Steel, head: Head, route: Route, shop: Shop) -> float:
    """What a number of a case is now.

    Raises
    ------
    InputError
        A spray setting on a route without spray.
    """
    what = setting(name)
    if what.group == "route":
        value = route.setting(name)
        if value is None:
            raise InputError(
                f"{name} cannot be turned; this route has no spray, or takes the value of its surroundings."
            )
        return float(value)
    if what.group == "head":
        part, field = Head.SETTINGS[name]
        return float(getattr(getattr(head, part), field))
    return float(
        steel.get(name) if what.group == "steel" else getattr(shop, name.removeprefix("shop_"))
    )


def changed(
    steel: Steel, head: Head, route: Route, shop: Shop, values: Mapping[str, float]
) -> tuple[Steel, Head, Route, Shop]:
    """The case with some numbers changed, checked as any other.

    Raises
    ------
    InputError
        A number out of bounds, or a head that cannot be built.
    """
    groups: dict[str, dict[str, float]] = {}
    for name, value in values.items():
        groups.setdefault(setting(name).group, {})[name] = float(value)
    if "steel" in groups:
        steel = dataclasses.replace(steel, composition={**steel.composition, **groups["steel"]})
    if "head" in groups:
        head = head.with_(**groups["head"])
    if "route" in groups:
        route = route.with_(**groups["route"])
    if "shop" in groups:
        shop = dataclasses.replace(
            shop, **{n.removeprefix("shop_"): v for n, v in groups["shop"].items()}
        )
    return steel, head, route, shop


def varied(
    steel: Steel, head: Head, route: Route, shop: Shop, values: Mapping[str, np.ndarray]
) -> Columns:
    """As many cases as the arrays are long, checked at the ends of every array.

    Parameters
    ----------
    values : mapping of str to array, shape (n,)

    Raises
    ------
    InputError
        Numbers out of bounds or not finite, or a head that cannot be built at an end.
    """
    groups: dict[str, dict[str, np.ndarray]] = {"route": {}, "head": {}, "steel": {}, "shop": {}}
    n = 1
    for name, array in values.items():
        what, array = setting(name), np.asarray(array, float)
        n = len(array)
        for end in (array.min(), array.max()):
            check_number(float(end), what.label, what.low, what.high, what.unit, "study")
            if what.group in ("head", "route"):
                changed(steel, head, route, shop, {name: float(end)})
        groups[what.group][name.removeprefix("shop_") if what.group == "shop" else name] = array
    return spread(
        steel,
        head,
        route,
        shop,
        n,
        composition=groups["steel"],
        dimensions=groups["head"],
        settings=groups["route"],
        shops=groups["shop"],
    )
