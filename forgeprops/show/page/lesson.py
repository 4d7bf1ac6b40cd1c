"""Why face and hosel of one head differ: six guesses on empty charts, the route as a film, and a task."""

import numpy as np
import traitlets as t

from ...answer.estimate import estimate
from ...base.cautions import SHORT
from ...base.errors import InputError, check_choice
from ...base.tables import read_rows
from ...inputs.grades import grade
from ...inputs.job import Job
from ...inputs.limits import Limits
from ...inputs.settings import COOLING_WORDS
from ...specimens import cooling_diagram
from ..units import Units, units
from .answer import sentence
from .blocks import Widget, form, line, rounded, table_of, text
from .fields import MAIN, changes_of, fields_of

#: The steel of the lesson, a low-carbon one and one that hardens in air.
LESSON, SOFT, HARD = "4130", "1030", "4140"
#: What the task asks of a steel: face hardness, HV, and the most pull on the bar, N (invented, within reach).
GOALS = {"1030": ((340.0, 460.0), 225.0), "4130": ((420.0, 500.0), 400.0)}
#: Settings of the task; a try passes from this score on (our choice).
_TASK, _PASS = (*MAIN, "delay_s"), 55
#: The film: pictures a second, length of its parts on the screen (carry and press, spray, re-heating, air), end, s.
_RATE, _PARTS_S, _END_S = 20, (4.0, 16.0, 7.0, 5.0), 1200.0

#: The step that explains a warning, by the start of its code; the first that fits.
_STEPS = {
    1: "idle-water bath oil late-water cold-core range:thermal",
    2: "reheated-face self-tempered tempered untempered temper local-heat normalised slow-cooled range:tempering plating",
    3: "too-cold-to-press below-ac1 far-from partial-austenite cliff coarse-grain range:kinetics range:lee range:recrystallisation range:shida",
    4: "decarb scale burning overheating range:phase range:strength range:decarb range:scale range:roessle",
    5: "carbides-left unreported boron niobium free-cutting quench-crack",
    6: "hosel range:hosel",
}


def step_of(code: str) -> int:
    """Number of the lesson's step that explains a warning."""
    return next((n for n, starts in _STEPS.items() if code.startswith(tuple(starts.split()))), 3)


class Lesson(Widget):
    """One step a screen: guess by dragging, then the calculated answer; film; task with a trail of `tries` and scores."""

    scripts = ("plot.js", "lesson.js")
    task = t.Dict().tag(sync=True)  # its form and the tries as blocks, and whether one passed

    def __init__(self, display_units: Units | None = None):
        self.units, self.tries = display_units or units(), []
        u = self.units
        made = {g: estimate(Job(steel=grade(g))) for g in (LESSON, SOFT, HARD)}
        steps = [
            _cooling(made[LESSON], u), _water_stops(made[LESSON], u), _structure(made[LESSON], u),
            _of_hardness("hardness", [made[LESSON].zones[z] for z in ("face", "hosel")], ["face", "hosel"], u),
            _of_hardness("alloy", [made[g].zones["hosel"] for g in (SOFT, HARD)], [f"hosel of {g}" for g in (SOFT, HARD)], u),
            _bending(made[SOFT], made[HARD], u),
        ]  # fmt: skip
        static = {"steps": steps, "film": _film(made[LESSON], u), "caution": SHORT}
        super().__init__(static=static, task=self._task({}, "No try yet."))
        self.on_msg(self._heard)

    def _heard(self, _, message: dict, buffers) -> None:
        values = dict(message.get("values") or {})
        try:
            words = self._try(values) if message.get("act") == "try" else ""
        except InputError as error:
            values, words = {}, str(error)
        self.task = self._task(values, words or "Change one setting and try again.")

    def _try(self, given: dict) -> str:
        """Try these settings; score = chance that they are right × heads inside."""
        steel = check_choice(given.get("steel"), "steel", GOALS, "task")
        hv, newton = GOALS[steel]
        job = Job(limits=Limits(face_hardness_hv=hv, bar_force_n=(None, newton)))
        result = estimate(job.with_(**changes_of(job, self.units, given)))
        verdict, face, pull = result.verdict, result.zones["face"], result.hosel.bar_force_n
        score = round(verdict.chance_right * verdict.heads_inside)
        self.tries.append({
            "steel": steel, "x": float(self.units.convert(pull, "N")), "y": face.hardness_hv, "low": face.hardness_low_hv, "high": face.hardness_high_hv,
            "score": score, "set": given, "pull": self.units.force_text(pull),
        })  # fmt: skip
        if score >= _PASS:
            return f"Passed: {score} of 100."
        return f"Score: {score} of 100. {sentence(verdict)}"

    def _task(self, values: dict, words: str) -> dict:
        """The form with these values, and the trail of all tries."""
        u, series = self.units, []
        for i, (steel, ((low, high), newton)) in enumerate(GOALS.items()):
            edge, look = float(u.convert(newton, "N")), (3, 1)[i]
            series.append({"name": f"goal {steel}", "x": [0, edge], "y": [high] * 2, "area": [low] * 2, "look": look, "tag": "start"})  # fmt: skip
            mine = [x for x in self.tries if x["steel"] == steel]
            at = {n: [x[n] for x in mine] for n in ("x", "y", "low", "high")}
            series += [{"name": steel, **at, "line": True, "dash": "3 3", "width": 1, "look": look, "tag": "none"}] if mine[1:] else []  # fmt: skip
            series += [{"name": f"tries of {steel}", **at, "look": look, "tips": [str(x["score"]) for x in mine]}] if mine else []  # fmt: skip
        best = max((x["score"] for x in self.tries), default=0)
        rows = [
            [f"{i + 1}: {x['steel']}", u.hardness_text(x["y"]), x["pull"], f"{x['score']}{' ★' if x['score'] == best else ''}"]
            for i, x in enumerate(self.tries)
        ]  # fmt: skip
        levels = ["good" if x["score"] >= _PASS else "marginal" for x in self.tries]
        high = 1.3 * float(u.convert(max(n for _, n in GOALS.values()), "N"))
        plot = {
            "kind": "plot", "name": "tries", "series": series, "w": 560, "h": 280,
            "x": {"label": f"pull on the bar, {u.force}", "low": 0, "high": round(high)}, "y": _hardness_axis(u, 100.0, 650.0),
        }  # fmt: skip
        head, take = ["try", "face", "pull", "score"], [x["set"] for x in self.tries[::-1]]
        table = table_of("tries", head, rows[::-1], levels=levels[::-1], take=take)
        say = text(words, "answer")
        fields = [
            {"name": "steel", "label": "steel", "options": {g: g for g in GOALS}, "value": SOFT},
            *({"name": n, **fields_of(Job(), u)[n]} for n in _TASK),
            {"name": "cooling", "label": "cooling", "options": COOLING_WORDS, "value": "single"},
        ]
        goals = "; ".join(f"{g}: face {u.hardness_text(a, b)}, pull at most {u.force_text(n)}" for g, ((a, b), n) in GOALS.items())  # fmt: skip
        ask = f"Goals for a bend of 2°. {goals}. Score: chance that the setting is right × heads inside; from {_PASS} you pass."
        fields = [{"unit": "", **f, "value": values.get(f["name"], f["value"])} for f in fields]
        ask = [text(ask, "answer"), form("try", "Try these settings", *fields)]
        tries = [say, plot, table] if rows else [say, plot]
        return {"ask": ask, "tries": tries, "passed": best >= _PASS}


def _after(result, zone: str):
    """Seconds after the furnace and mean temperature of a zone."""
    z = result.zones[zone]
    return z.time_s - result.events["out of furnace"], z.temperature_c


def _at(result, zone: str, time_s: float) -> float:
    return float(np.interp(time_s, *_after(result, zone)))


def _curve(result, zone: str, u: Units, times_s, **more) -> dict:
    y = u.from_c(np.interp(times_s, *_after(result, zone)))
    look = {"look": 0 if zone == "face" else 1, "width": 3, "line": True}
    return {"name": zone, "x": rounded(times_s, 2), "y": rounded(y), **look, **more}


def _off_s(result) -> float:
    return result.events["water off"] - result.events["out of furnace"]


def _spray(result, u: Units) -> dict:
    on, off = result.events["water on"] - result.events["out of furnace"], _off_s(result)
    top = float(u.from_c(1000.0))
    return {"name": "spray", "x": rounded([on, off]), "y": [top, top], "area": [float(u.from_c(0.0))] * 2, "look": 1, "tag": "none", "opacity": 0.1}  # fmt: skip


def _temperature(u: Units) -> dict:
    return {"label": u.temperature, "low": float(u.from_c(0.0)), "high": float(u.from_c(1000.0))}


def _hardness_axis(u: Units, low: float = 0.0, high: float = 600.0) -> dict:
    """An even axis in Vickers, which alone covers soft and hard, marked in the reader's scale."""
    axis = {"label": f"hardness, {u.hardness}", "low": low, "high": high}
    marks = [[hv, u.hardness_text(hv)] for hv in range(100, 601, 100)]
    return axis if u.hardness == "HV" else axis | {"label": "hardness", "ticks": marks}


def _bars(names, values, shown=None, **more) -> dict:
    """Bars over names; those not in `shown` come with the answer."""
    places = [i for i in range(len(names)) if shown is None or i in shown]
    kept = {n: rounded(v[i] for i in places) for n, v in ({"y": values} | more).items()}
    return {"name": "", "x": places, "bar": True, "look": 1, **kept}


def _step(step: str, chart, guess, value, near, series, words) -> dict:
    """A step: chart and its guess first, the answer's value and series for the end; its prose is a row of the library."""
    row = next(r for r in read_rows("library/lesson.csv") if r["step"] == step)
    title, ask, say, why = (row[n].format(**words) for n in ("title", "ask", "say", "why"))
    answer = {"value": round(float(value), 3), "near": rounded(near, 3), "say": say, "why": why}
    first = {"title": title, "ask": ask, "chart": {"w": 560, "h": 400, **chart}, "guess": guess}
    return {**first, "answer": {**answer, "series": series}}


def _of_temperature(step, u: Units, until_s, at_s, start_c, value_c, series, answer, words) -> dict:
    """A step whose guess is a temperature at a time."""
    times = {"label": "seconds after the furnace", "low": 0, "high": round(until_s)}
    chart = {"x": times, "y": _temperature(u), "series": series}
    guess = {"axis": "y", "x": at_s, "start": float(u.from_c(start_c)), "unit": u.temperature}
    guess |= {"digits": 0, "step": 10}
    near = [float(u.from_c(value_c + d)) for d in (-60, 60)]
    return _step(step, chart, guess, u.from_c(value_c), near, answer, words)


def _cooling(result, u: Units) -> dict:
    off_s, of = _off_s(result), u.temperature_text
    times, hosel_c = np.linspace(0.0, off_s, 120), _at(result, "hosel", off_s)
    face_s, hosel_s = (result.zones[z].t85_s for z in ("face", "hosel"))
    words = {"out": of(result.route.preheat_c), "hosel": of(hosel_c), "high": of(800), "low": of(500)}  # fmt: skip
    words |= {"face": of(_at(result, "face", off_s)), "hosel_s": hosel_s, "face_s": face_s}
    series = [_spray(result, u), _curve(result, "face", u, times)]
    words, answer = words | {"ratio": hosel_s / face_s}, [_curve(result, "hosel", u, times)]
    return _of_temperature("cooling", u, off_s + 2, off_s, 500.0, hosel_c, series, answer, words)


def _water_stops(result, u: Units) -> dict:
    off_s, face, of = _off_s(result), result.zones["face"], u.temperature_text
    now, then = np.linspace(0.0, off_s, 90), np.linspace(off_s, off_s + 60.0, 90)
    value, start = _at(result, "face", off_s + 30.0), _at(result, "face", off_s)
    words = {"spray_s": result.route.spray.duration_s, "face": of(start), "value": of(value)}
    words |= {"body": of(_at(result, "body", off_s)), "unit": u.temperature}
    words["rise"] = u.convert(face.rebound_c, "°C", step=True)
    series = [_spray(result, u), _curve(result, "face", u, now, tag="none")]
    look = {"colour": "#6F7986", "dash": "3 4", "tag": "start"}
    body = _curve(result, "body", u, np.concatenate([now, then]), **look)
    ends, answer = (off_s + 60, off_s + 30), [_curve(result, "face", u, then), body]
    return _of_temperature("water stops", u, *ends, start, value, series, answer, words)


_PHASES = ("ferrite", "pearlite", "bainite", "martensite")


def _map(result, u: Units) -> list[dict]:
    """Regions of the diagram for the hosel's own grain, to half a number."""
    grain = round(2 * min(max(result.zones["hosel"].grain_astm, 0.0), 14.0)) / 2
    found = cooling_diagram(result.steel, grain).regions
    areas = []
    for phase in (p for p in _PHASES if p in found):
        r = found[phase]
        x, y = np.concatenate([r.start_s, r.end_s[::-1]]), np.concatenate([r.start_c, r.end_c[::-1]])  # fmt: skip
        areas.append({"name": phase, "x": rounded(np.minimum(x, 3000.0), 2), "y": rounded(u.from_c(y)), "region": True})  # fmt: skip
    return areas


def _path(result, zone: str, u: Units, **more) -> dict:
    """Path of a zone over time since it fell below Ae3."""
    time_s, temperature_c = _after(result, zone)
    cross_s = time_s[np.argmax((temperature_c < result.critical.ae3_c) & (time_s > 0.0))]
    until = 2500.0
    if zone == "face":  # what has formed stays: its re-heating is not drawn
        until = _off_s(result) - cross_s
    times = np.geomspace(0.1, until, 160)
    return _curve(result, zone, u, times + cross_s, **more) | {"x": rounded(times, 2)}


def _structure(result, u: Units) -> dict:
    hosel, face = (result.zones[z] for z in ("hosel", "face"))
    path = _path(result, "hosel", u)
    value = path["x"][int(np.argmax(np.array(path["y"]) < u.from_c(550.0)))]
    soft = hosel.fractions["ferrite"] + hosel.fractions["pearlite"]
    shares = soft, hosel.fractions["bainite"], face.fractions["martensite"]
    words = {n: 100 * v for n, v in zip(("soft", "bainite", "martensite"), shares, strict=True)}
    words |= {"steel": result.steel.name, "low": u.temperature_text(550), "value": value}
    times = {"label": "seconds since the zone fell below Ae3", "low": 0.1, "high": 3000, "log": True}  # fmt: skip
    series = [*_map(result, u), _path(result, "face", u, tag="start")]
    guess = {"axis": "x", "y": float(u.from_c(550.0)), "start": 1.0, "unit": "s", "digits": 0, "factor": 1.15}  # fmt: skip
    chart = {"x": times, "y": _temperature(u), "series": series}
    return _step("structure", chart, guess, value, [value / 1.6, value * 1.6], [path], words)


def _of_hardness(step: str, zones, names, u: Units) -> dict:
    """A step of two bars of hardness, of which the second is guessed."""
    first, second = values = [z.hardness_hv for z in zones]
    ends = {n: [getattr(z, f"hardness_{n}_hv") for z in zones] for n in ("low", "high")}
    series, at = [_bars(names, values, [0])], [u.hardness_text(hv) for hv in range(0, 601, 10)]
    chart = {"x": {"label": "", "names": names}, "y": _hardness_axis(u), "series": series}
    guess = {"axis": "y", "x": 1, "start": first, "unit": "HV", "digits": 0, "step": 10, "bar": True}  # fmt: skip
    words = {"first": u.hardness_text(first), "second": u.hardness_text(second), "soft": SOFT}
    words |= {"hard": HARD, "ratio": first / second}
    near, answer = [second - 40, second + 40], [_bars(names, values, **ends)]
    return _step(step, chart, {**guess, "words": at}, second, near, answer, words)


def _bending(soft, hard, u: Units) -> dict:
    pull = [float(u.convert(r.hosel.bar_force_n, "N")) for r in (soft, hard)]
    names, force, a, b = [SOFT, HARD], u.force_text, soft.hosel, hard.hosel
    bar = u.length_text(500.0).replace(".0 mm", " mm")
    words = {"bend": a.target_deg, "bar": bar, "soft": SOFT, "hard": HARD}
    words |= {"first": force(a.bar_force_n), "second": force(b.bar_force_n), "ease": b.ease}
    words |= {"soft_deg": a.allowed_deg, "hard_deg": b.allowed_deg}
    look = {"dash": "5 4", "width": 1.4, "look": 2, "tag": "start"}
    heavy = line(f"heavy, {force(400.0)}", [-0.5, 1.5], [float(u.convert(400.0, "N"))] * 2, **look)
    axis = {"label": f"pull on the bar, {u.force}", "low": 0, "high": round(3.2 * pull[0], -1)}
    series = [heavy, _bars(names, pull, [0])]
    chart = {"x": {"label": "", "names": names}, "y": axis, "series": series}
    guess = {"axis": "y", "x": 1, "start": pull[0], "unit": u.force, "digits": 0, "bar": True}
    guess["step"], near = round(pull[0] / 20), [0.8 * pull[1], 1.2 * pull[1]]
    return _step("bending", chart, guess, pull[1], near, [_bars(names, pull)], words)


def _film(result, u: Units) -> dict:
    """Temperatures of the five zones, and what happens when."""
    out_s = result.events["out of furnace"]
    when = {n: at - out_s for n, at in result.events.items()}
    says = [(0.0, "Out of the furnace, carried to the press"), (when["in die"], "In the die: the press squeezes"),
            (when["end of stroke"], "Pressed; waiting for the spray"), (when["water on"], "Spray on the face"), (when["water off"], "The spray stops: the body heats the face again"), (when["water off"] + 60, "All zones cool in air")]  # fmt: skip
    critical = result.critical
    for zone in ("face", "hosel"):
        time_s, temperature_c = _after(result, zone)
        for name, limit_c, kind in (("Ms", critical.ms_c, "martensite"), ("Bs", critical.bs_c, "bainite")):  # fmt: skip
            below = (temperature_c < limit_c) & (time_s > 0)
            if below.any() and result.zones[zone].fractions[kind] > 0.3:
                says.append((float(time_s[np.argmax(below)]), f"The {zone} falls below {name}: {kind} forms in it"))  # fmt: skip
    marks = [{"name": n, "x": [1.0, _END_S], "y": [float(u.from_c(v))] * 2, "line": True, "colour": "#5B6573", "width": 1, "dash": "1 4", "at": 1} for n, v in (("Ae3", critical.ae3_c), ("Bs", critical.bs_c), ("Ms", critical.ms_c))]  # fmt: skip
    ends = [0.0, when["water on"], when["water off"], when["water off"] + 60, _END_S]
    space = (np.linspace, np.linspace, np.linspace, np.geomspace)
    parts = [f(ends[i], ends[i + 1], round(_RATE * s), endpoint=i == 3) for i, (f, s) in enumerate(zip(space, _PARTS_S, strict=True))]  # fmt: skip
    times = np.concatenate(parts)
    speeds, first = [], 0
    for i, (part, s) in enumerate(zip(parts, _PARTS_S, strict=True)):
        speed = (ends[i + 1] - ends[i]) / s
        speeds.append([first, f"Slow motion, {speed:.1f} of real speed" if speed < 0.9 else f"{speed:.0f} times real speed"])  # fmt: skip
        first += len(part)
    return {
        "title": f"The whole route as a film, {result.steel.name}: slow motion in the spray",
        "rate": _RATE, "times": rounded(times, 2), "celsius": {z: rounded(np.interp(times, *_after(result, z)), 0) for z in result.zones},
        "says": [[int(np.searchsorted(times, at)), words] for at, words in sorted(says)], "speeds": speeds,
        "unit": u.temperature, "offset": float(u.from_c(0.0)), "scale": float(u.from_c(1.0) - u.from_c(0.0)),
        "chart": {"w": 520, "h": 370, "right": 44, "x": {"label": "seconds after the furnace", "low": 1, "high": _END_S, "log": True}, "y": _temperature(u), "series": [_spray(result, u), *marks]},
    }  # fmt: skip
