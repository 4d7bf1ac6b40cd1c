"""What one estimate rests on: the sources of the formulas that its steel, head and route called for."""

import functools
import importlib
import inspect
import types

from .. import engine
from ..base import constants
from ..base.sources import Source, of_formula_table, references
from ..base.tables import read_rows
from ..inputs.head import head, heads
from ..thermal.media import BATHS
from ..thermal.surroundings import NEIGHBOURS, row_view_factor

_PACKAGE = __name__.partition(".")[0]
#: Formulas that the compiled engine repeats, so that no call of Python shows them.
_ENGINE = ("thermal.properties", "thermal.spray", "thermal.die_contact", "forging.skin")
_ENGINE += tuple(f"transformation.{name}" for name in ("austenite", "kinetics", "decomposition"))


def _idle(result) -> frozenset[str]:
    """Beginnings of the names of formulas that this route did not call for."""
    route = result.route
    around = route.surroundings
    moving = any(q.medium == "forced air" for q in route.quench)
    hardened = max(zone.austenite_share for zone in result.zones.values()) > 0.0
    conditions = {
        "thermal.spray.": result.sprayed,
        "answer.interval.spray_nodes": result.sprayed,
        "thermal.surroundings.forced": around == "fan" or moving,
        "thermal.surroundings.sleeve": around == "sleeve",
        "thermal.surroundings.cover": bool(NEIGHBOURS[around].covered),
        "thermal.media.": any(q.medium in BATHS for q in route.quench),
        "transformation.recrystallisation.": route.strain > 0.0,
        "hardenability.critical_rates.": hardened,
        "inputs.grades.": _library_row(result.steel) is not None,
    }
    return frozenset(["io.", *(start for start, used in conditions.items() if not used)])


def _library_row(steel):
    if steel.limits is None:
        return None
    return next((r for r in read_rows("library/grades.csv") if r["grade"] == steel.name), None)


def _functions(value):
    """Functions and classes of this package behind a global value: itself, or those in a table."""
    if isinstance(value, dict):
        value = tuple(value.values())
    if isinstance(value, tuple):
        return [f for item in value for f in _functions(item)]
    value = getattr(value, "__func__", value)  # of a class method
    value = inspect.unwrap(value) if callable(value) else value
    if isinstance(value, (property, functools.cached_property)):
        value = getattr(value, "fget", None) or value.func
    own = getattr(value, "__module__", "") or ""
    known = isinstance(value, (types.FunctionType, type)) and own.startswith(f"{_PACKAGE}.")
    return [value] if known else []


def _named(code, scope) -> list:
    """Functions that a piece of code names, also as attributes of a module."""
    values = [scope[name] for name in code.co_names if name in scope]
    for module in [v for v in values if isinstance(v, types.ModuleType)]:
        values += [vars(module)[name] for name in code.co_names if name in vars(module)]
    found = [f for value in values for f in _functions(value)]
    for inner in code.co_consts:
        if isinstance(inner, types.CodeType):
            found += _named(inner, scope)
    return found


@functools.lru_cache(maxsize=64)
def _reached(idle: frozenset[str]) -> tuple[Source, ...]:
    """Sources of the formulas that an estimate calls, directly or through others, without the idle ones."""
    found: list[Source] = []
    for module in (constants, engine):
        found += references(module.__doc__, module.__name__.partition(".")[2])
    roots = [vars(importlib.import_module(f"{_PACKAGE}.answer.estimate"))["estimate"]]
    roots.append(vars(importlib.import_module(f"{_PACKAGE}.face.margin"))["strike_of_faces"])
    for name in _ENGINE:
        module = importlib.import_module(f"{_PACKAGE}.{name}")
        if not f"{name}.".startswith(tuple(idle)):
            found += references(module.__doc__, name)
        roots += [v for name, v in vars(module).items() if name[0] != "_" and _functions(v)]
    todo, seen = [f for root in reversed(roots) for f in _functions(root)], set()
    while todo:
        item = todo.pop()
        where = f"{item.__module__}.{item.__name__}".partition(".")[2]
        if item in seen or where.startswith(tuple(idle)):
            continue
        seen.add(item)
        found += references(item.__doc__, where)
        if isinstance(item, type):
            todo += [f for member in vars(item).values() for f in _functions(member)]
        else:
            todo += reversed(_named(item.__code__, item.__globals__))
    return tuple(dict.fromkeys(found))


def sources_of(result) -> tuple[Source, ...]:
    """Sources that an estimate used: of its formulas, then of rows of tables."""
    rows, kind, name = of_formula_table(), result.route.surroundings, result.head.name
    if kind == "row":
        rows += references(row_view_factor.__doc__, "thermal.surroundings.row_view_factor")
    if grade := _library_row(result.steel):
        which, what = f"library.grades.{grade['grade']}", f"Composition range of {grade['grade']}"
        rows.append(Source(which, what, grade["standard"], grade["basis"]))
    if name in heads() and result.head == head(name):
        drawing = "own demonstration drawing", "invented"
        rows.append(Source(f"library.heads.{name}", f"Head {name}", *drawing))
    why, what = NEIGHBOURS[kind], "Surroundings of the cooling head"
    rows.append(Source(f"thermal.surroundings.{kind}", what, why.source, why.basis))
    for bath in sorted({q.medium for q in result.route.quench} & set(BATHS)):
        law, what = BATHS[bath], f"Heat transfer to a {bath}"
        rows.append(Source(f"thermal.media.{bath}", what, law.source, law.basis))
    return (*_reached(_idle(result)), *rows)
