"""The remedy: the nearest of single changes that brings the head inside: a setting, a later heat, the cooling, at last a steel.

No change shortens transfer or delay, adds water to a steel that may crack under it, or brings a warning that says stop.
"""

import contextlib
import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..base.errors import InputError
from ..inputs.grades import grade, grades
from ..inputs.limits import QUANTITIES
from ..inputs.route import LocalHeat, Normalise, Route, Spray, Temper
from ..inputs.settings import COOLING_WORDS, setting, table
from ..inputs.steel import Steel
from ..thermal.spray_units import from_flux
from ..transformation.temperatures import ac1_c
from .cases import check_case
from .doubt import cases_of, doubt_of, evaluate_like, other_shares
from .verdict import chances, level_of
from .warnings.listing import brief, stops_of

KINDS = ("setting", "later heat", "cooling", "steel")
#: Changes tried by setting: steps in its unit, factors, and usual values for one that is far from them; near ones, so that
#: the rest of the process stays (our choice).  A soak and a delay only grow: the shop's shortest is its own.
_TRIED: dict[str, tuple[tuple, tuple, tuple]] = {
    "preheat_c": ((-60, -40, -20, 20, 40, 60), (), (870, 930, 1000)),
    "soak_s": ((), (1.5, 2.0, 3.0), (300, 600, 900)),
    "spray_s": ((), (0.5, 0.75, 1.25, 1.5, 2.0, 2.5, 3.0), (6, 8, 10, 12, 15)),
    "flux": ((), (0.6, 0.8, 1.25, 1.5), (8, 12, 16, 20)),
    "delay_s": ((1.0, 2.0), (), ()),
    "water_c": ((), (), (35, 45)),  # quenches milder
}
_OF_WATER = ("spray_s", "flux", "delay_s")
_TEMPER_STEPS_C = (-250, -200, -150, -100, -50, 50, 100)
_TEMPERS_C, _LOCAL_C = (200, 300, 400, 450, 500, 550, 600, 650), (600, 650, 680)
#: Zones of a temper that leaves the face; least temper, and how far a later heat stays below Ac1, °C (our choice).
_ENDS, _LEAST_TEMPER_C, _BELOW_AC1_C = ("hosel", "neck"), 150.0, 30.0
#: What a change over the whole everyday range of a setting costs, in chance; a later heat or another way to cool
#: costs as a fixed part of it (our choice).
_FAR, _FIXED = 0.3, 0.1
#: Steps in which a setting is set, by its unit: °C and s (our choice); 0.5 L/min of spray.
_STEPS = {"°C": 5.0, "s": 0.5, "kg/(m² s)": 0.5 / from_flux(1.0).total_l_min}
#: Of a time in minutes.
_LONG_S, _LONG_STEP_S = 3600.0, 30.0
_CRACK = "quench-crack"
#: Warnings that another steel must not bring.
_POOR = {"free-cutting", "local-heat:austenite"}
_SHORT = {"spray_s": "spray"}


def step_of(name: str) -> float:
    """Step in which a shop sets a setting of the route, in its unit; 0 for what is not set.

    >>> step_of("preheat_c"), step_of("spray_s"), step_of("soak_s"), step_of("C")
    (5.0, 0.5, 30.0, 0.0)
    """
    what = setting(name)
    if what.group != "route":
        return 0.0
    long = what.unit == "s" and what.slider is not None and what.slider[1] >= _LONG_S
    return _LONG_STEP_S if long else _STEPS.get(what.unit, 0.0)


@dataclass(frozen=True)
class Remedy:
    """One change, and the steel and route with it; one that brings the head inside says what comes of it too."""

    kind: str  # one of `KINDS`
    words: str  # what to do
    far: float  # as a share of the everyday range of a setting
    steel: Steel
    route: Route
    adds_water: bool = False
    level: str = ""  # "good" or "marginal"
    chance_right: float = 0.0
    heads_inside: int = 0
    gives: str = ""  # what it changes for the better
    costs: str = ""  # what it takes

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and texts, ready for JSON."""
        names = ("kind", "words", "level", "chance_right", "heads_inside", "gives", "costs")
        return {n: getattr(self, n) for n in names} | {"chance_right": round(self.chance_right, 3)}


def _settings(steel: Steel, route: Route, wet: bool) -> Iterator[Remedy]:
    """Single settings at other values of their sliders, each once."""
    for name, (steps, factors, usual) in _TRIED.items():
        what, step, now = table()[name], step_of(name), route.setting(name)
        if now is None or (name in _OF_WATER and not wet):
            continue
        (low, high, _), seen = what.slider, {now}
        for value in (*(now + d for d in steps), *(now * f for f in factors), *usual):
            more, value = value > now, round(round(value / step) * step, 3)
            if value in seen or not low <= value <= high or abs(value - now) < 0.5 * step:
                continue
            if name == "soak_s" and not more:
                continue
            seen.add(value)
            words = f"{_SHORT.get(name, what.label)} {value:g} {what.unit}"
            if name == "flux":  # the command line takes kg/(m² s)
                flow = f"{from_flux(value).flow_l_min:.1f} L/min"
                words = f"{what.label} {flow} ({value:.4g} {what.unit})"
            changed, far = route.with_(**{name: value}), abs(value - now) / (high - low)
            adds = more and name in ("spray_s", "flux")
            yield Remedy("setting", words, far, steel, changed, adds)


def trials(steel: Steel, route: Route) -> list[Remedy]:
    """Near single changes of a case, in the order they are preferred."""
    grow, spray, far = dataclasses.replace, route.spray, _FIXED / _FAR
    wet = spray is not None and spray.flux_kg_m2_s * spray.duration_s > 0.0
    found = list(_settings(steel, route, wet))
    baths = ("water bath", "polymer bath")
    if any(q.medium in baths for q in route.quench):
        oil = {"medium": "oil bath", "fluid_c": None}
        oiled = tuple(grow(q, **oil) if q.medium in baths else q for q in route.quench)
        words = "quench in oil, clear of its flash point"
        found.append(Remedy("cooling", words, far, steel, grow(route, quench=oiled)))
    for later, words in _later_heats(float(ac1_c(steel)) - _BELOW_AC1_C, route.later):
        found.append(Remedy("later heat", words, far, steel, grow(route, later=later)))
    for name, words in COOLING_WORDS.items():
        if name != route.surroundings:
            cooled = grow(route, surroundings=name, view_factor=None)
            found.append(Remedy("cooling", f"cool {words}", far, steel, cooled))
    usual = Spray().duration_s
    for other in (g for g in map(grade, grades()) if g.name != steel.name):
        words = f"steel {other.name}"
        found.append(Remedy("steel", f"{words} (next lot)", far, other, route))
        if wet and abs(spray.duration_s - usual) > 0.5:
            words = f"{words}, spray {usual:g} s (next lot)"
            found.append(Remedy("steel", words, 2.0 * far, other, route.with_(spray_s=usual)))
    return found


def _later_heats(highest_c: float, later: tuple) -> Iterator[tuple[tuple, str]]:
    """A later heat where there is none; another temperature, fewer zones, or none, where there is one; and words."""
    for i, heat in enumerate(later):
        before, after = later[:i], later[i + 1 :]
        yield (*before, *after), "leave out the later heat"
        for other, words in _other_heats(heat) if not isinstance(heat, Normalise) else ():
            if other.temperature_c <= highest_c:
                yield (*before, other, *after), words
    if not later:
        heats = [(Temper(float(t)), f"temper at {t} °C, 1 h") for t in _TEMPERS_C]
        ends, local = "temper hosel and neck at {} °C, 1 h", "heat the hosel to {} °C, 10 min"
        heats += [(Temper(float(t), zones=_ENDS), ends.format(t)) for t in _LOCAL_C]
        heats += [(LocalHeat("hosel", float(t)), local.format(t)) for t in _LOCAL_C]
        yield from (((heat,), words) for heat, words in heats if heat.temperature_c <= highest_c)


def _other_heats(heat: Temper | LocalHeat) -> list[tuple]:
    """The same heat at other temperatures, and of the hosel and neck alone, in words."""
    grow = dataclasses.replace
    if isinstance(heat, LocalHeat):
        others = (t for t in _LOCAL_C if t != heat.peak_c)
        return [(grow(heat, peak_c=float(t)), f"heat the hosel to {t} °C only") for t in others]
    others = [heat.temperature_c + step for step in _TEMPER_STEPS_C]
    others = [t for t in others if t >= _LEAST_TEMPER_C]
    found = [(grow(heat, temperature_c=t), f"temper at {t:g} °C") for t in others]
    return found + [(grow(heat, zones=_ENDS), "temper hosel and neck alone")] * (not heat.zones)


def best_remedy(result, verdict) -> Remedy | None:
    """The best near change: what fails at its middle value is out, the rest is tried with its own doubt.

    The doubt of a kind is calculated only where no kind before it holds a good change.
    """
    tried = []
    for t in trials(result.steel, result.route):
        with contextlib.suppress(InputError):  # a later heat may lie above the Ac1 of another steel
            check_case(t.steel, result.head, t.route)
            tried.append(t)
    names, like = verdict.doubt.names, result.evaluation
    cases = [(t.steel, result.head, t.route, result.shop) for t in tried]
    e = evaluate_like(cases_of(cases), like)
    middle, before = {n: e.quantity(n) for n in names}, {w.code for w in result.warnings}
    ends = [(n, v, s) for _, n, v, s in verdict.against.ends() if n in names]
    met = np.all([s * (middle[n] - v) >= 0.0 for n, v, s in ends], axis=0)
    left = []
    for i in np.flatnonzero(np.broadcast_to(met, len(tried))):
        here = set(e.codes[i].split("; "))
        wet = tried[i].adds_water and (_CRACK in here or _CRACK in before)
        if not (stops_of(here, verdict.against) or here & (_POOR - before) or wet):
            left.append(i)
    share, found = other_shares(result, names), {}
    # a good one of a kind before any of the next; another steel where nothing else helps
    for kind in KINDS:
        rows = [i for i in left if tried[i].kind == kind]
        if not rows or (found and (kind == "steel" or min(found) < (1, 0))):
            continue
        doubt, _ = doubt_of([cases[i] for i in rows], names, share, like)
        for k, i in enumerate(rows):
            c = chances(doubt, k, verdict.against)
            level = level_of(True, c.least, False)
            if level != "out" and (level == "good" or verdict.level == "out"):
                key = int(level != "good"), KINDS.index(kind)
                row = c.least - _FAR * tried[i].far, i, c, level, doubt.middle[:, k]
                found.setdefault(key, []).append(row)
    if not found:
        return None
    _, i, c, level, new = max(found[min(found)], key=lambda row: row[0])
    trial, old = tried[i], verdict.doubt.middle[:, 0]
    better = [f"no warning that {brief(w.code)}" for w in verdict.stops]
    for name, a, b in zip(names, old, new, strict=True):
        q = QUANTITIES[name]
        if name in verdict.against.bounds and abs(b - a) > 0.25 * q.step:
            better.append(f"{q.label} {q.digits(a)} → {q.text(b)}")
    surer = f"{100 * verdict.chance_right:.0f} → {100 * c.right:.0f} % sure"
    gives, costs = ", ".join(better) or surer, _costs(result, trial, e, i)
    found = {"level": level, "chance_right": c.right, "heads_inside": round(100 * c.heads_inside)}
    return dataclasses.replace(trial, **found, gives=gives, costs=costs)


def _costs(result, trial: Remedy, e, i: int) -> str:
    """What a change takes, in a few words."""
    if trial.kind == "steel":
        return "other steel, other certificates, a trial lot"
    if trial.kind == "later heat":
        more = len(trial.route.later) > len(result.route.later)
        return "a further heat for each head" if more else "nothing"
    if trial.kind == "cooling":
        oil = trial.route.quench != result.route.quench
        return "an oil bath with its fire precautions" if oil else "another place to cool"
    parts = []
    scale = float(e.results.scale_um[i, 0]) - result.scale_um
    if abs(scale) >= 1.0:
        parts.append(f"scale {scale:+.0f} µm")
    old, new = result.route.spray, trial.route.spray
    if old is not None and new is not None:
        seconds = new.duration_s + new.delay_s - old.duration_s - old.delay_s
        before = old.flux_kg_m2_s * old.duration_s
        water = new.flux_kg_m2_s * new.duration_s / before - 1.0 if before > 0.0 else 0.0
        parts += [f"{seconds:+.1f} s a head"] if seconds else []
        parts += [f"{100 * water:+.0f} % water"] if abs(water) > 0.005 else []
    return ", ".join(parts) or "nothing"
