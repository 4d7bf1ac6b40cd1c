"""The printable setting sheet: one page to sign and fill in, and its notes, cautions and sources on the next."""

import datetime
import re
from pathlib import Path

from ..answer import words
from ..base.cautions import BENCH, CAUTIONS, SHORT
from ..base.errors import InputError, check_choice, check_number
from ..base.sources import counted
from ..inputs.job import Job
from ..inputs.settings import COOLING_WORDS, HEATING_WORDS, table
from ..io.writing import write_bytes
from .units import Units, units

#: Paper sizes by the names of the page-size rule of style sheets.
PAPERS = {"A4": "A4", "Letter": "letter"}
#: What stands in large letters, by the level of the verdict.
STAMPS = dict.fromkeys(("good", "marginal"), "ESTIMATE WITHIN LIMITS, TRIAL HEADS ONLY")
STAMPS["out"] = "NOT WITHIN LIMITS"
#: Settings that the sheet names, with twice a shop's spread of each as the tolerance (`Setting.tolerance`).
_NAMED = ("preheat_c", "soak_s", "transfer_s", "die_c", "delay_s", "spray_s", "flux", "water_c")
#: Warnings on the first page; all others follow on the second.
_MOST_WARNINGS = 3
#: Formulas that the sheet names out of all that an estimate rests on: those that decide its numbers.
_MAIN_FORMULAS = tuple(
    """transformation.temperatures.martensite_start_c transformation.kinetics.ln_composition_factors
    transformation.tempering.tempering_coefficients thermal.spray.spray_w_m2k
    thermal.surroundings.natural_convection_cylinder strength.tensile.strength_arrays
    hosel.bending_moment.Section face.fatigue.fatigue_limit_mpa""".split()
)


def sheet_html(result, paper: str = "A4", *, tolerances=None, date: str | None = None, note: str = "",
               display_units: Units | None = None) -> str:  # fmt: skip
    """Return the setting sheet as one HTML page that needs no other file.

    Parameters
    ----------
    result : Estimate
    paper : {"A4", "Letter"}
    tolerances : mapping of settings' short names to numbers; twice a shop's spread unless given
    date : str; today unless given
    note : str; a line of your own under the title (order number, customer)
    display_units : Units; what was chosen once unless given
    """
    import jinja2

    from .. import __version__

    paper = PAPERS[check_choice(paper, "paper", PAPERS)]
    shown = display_units or units()
    for name, tolerance in (tolerances or {}).items():
        check_choice(name, "setting with a tolerance", _NAMED)
        check_number(tolerance, f"tolerance of {name}", 0.0, 1000.0)
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["units"] = shown.text
    written = Path(__file__).with_name("sheet.html.j2").read_text(encoding="utf-8")
    template = environment.from_string(written)
    verdict, hosel = result.verdict, result.hosel
    warnings = [(w.rank, w.text) for w in words.warnings(result)]
    return template.render(
        paper=paper, version=__version__, date=date or datetime.date.today().isoformat(), note=note,
        job_id=_job(result).id, steel=result.steel, head=result.head, verdict=verdict, stamp=STAMPS[verdict.level],
        settings=_settings(result, tolerances or {}, shown), around=_around(result.route),
        zones=[_zone(z, shown) for z in result.zones.values()],
        second=shown.hardness == "HV", limits=verdict.limits, hosel=hosel,
        face=result.face, warnings=warnings[:_MOST_WARNINGS], notes=warnings[_MOST_WARNINGS:],
        composition=", ".join(f"{element} {content:.3g}" for element, content in result.steel.composition.items()),
        assumed=", ".join(f"{e} {result.steel.get(e):.3g}" for e in result.steel.assumed),
        head_words=_head(result.head, shown), short=SHORT, cautions=CAUTIONS, bench=BENCH,
        sources=source_texts(result.sources),
    )  # fmt: skip


def sheet_name(result, date: str | None = None) -> str:
    """Return the file name of a sheet: date, steel, head, job."""
    parts = (date or datetime.date.today().isoformat(), result.steel.name, result.head.name)
    safe = (re.sub(r"[^\w.-]+", "-", part)[:40] for part in parts)
    return "_".join([*safe, _job(result).id]) + ".html"


def sheet(result, path, paper: str = "A4", *, overwrite: bool = False, **options) -> Path:
    """Write the setting sheet to an HTML file, and return its path; a browser prints it or saves it as PDF.

    `path` ends in .html, or is a folder, in which the file takes the name of `sheet_name` and a number where that
    exists; `options` as for `sheet_html`.
    """
    target = Path(path)
    if target.is_dir():
        first = target / sheet_name(result, options.get("date"))
        names = (first, *(first.with_stem(f"{first.stem}-{n}") for n in range(2, 10_000)))
        target = next(path for path in names if overwrite or not path.exists())
    if target.suffix.lower() not in (".html", ".htm"):
        ends = f"sheet {target.name!r} ends in {target.suffix or 'nothing'!r}"
        raise InputError(f"{ends}; give .html (a browser prints it or saves it as PDF).")
    content = sheet_html(result, paper, **options).encode("utf-8")
    write_bytes(target, content, overwrite=overwrite)
    return target


def _job(result) -> Job:
    parts = result.steel, result.head, result.route, result.limits, result.shop, result.bench
    return Job(*parts)


def _settings(result, tolerances, shown: Units) -> list[tuple[str, ...]]:
    """Rows of the settings table, with what the tolerance does to face and hosel (two marches each)."""
    from ..answer.evaluation import evaluate
    from ..inputs.cases import Cases

    route = result.route
    values = {n: value for n in _NAMED if (value := route.setting(n)) is not None}
    spans = {n: tolerances.get(n, table()[n].tolerance(value)) for n, value in values.items()}
    cases = []
    for name, value in values.items():
        for end in (value - spans[name], value + spans[name]):
            try:
                cases.append(route.with_(**{name: end}))
            except InputError:  # the tolerance leaves what a route accepts: that side stays
                cases.append(route)
    n = len(cases)
    found = evaluate(Cases.of([result.steel] * n, [result.head] * n, cases, [result.shop] * n))
    zones = list(result.zones)
    face, hosel = (found.hardness_hv[:, zones.index(z)].reshape(-1, 2) for z in ("face", "hosel"))
    rows = []
    for i, (name, value) in enumerate(values.items()):
        what = table()[name]
        text = shown.value_text(what, value)
        step = shown.step_text(what, spans[name])
        if name == "flux":
            text += f" ({value:.1f} kg/(m² s))"
        ends = (shown.hardness_text(*sorted(face[i])), shown.hardness_text(*sorted(hosel[i])))
        rows.append((what.label.capitalize(), text, f"± {step}", *ends))
    return rows


def _around(route) -> list[tuple[str, str]]:
    """What else the route does, without a tolerance."""
    found = [("Heated in", HEATING_WORDS[route.furnace])] * (route.furnace != "gas")
    found += [("Spray", "none")] * (route.spray is None)
    found += [("Quench", q.words) for q in route.quench]
    found.append(("Then it cools", COOLING_WORDS[route.surroundings]))
    return found + [("Later heat", heat.words) for heat in route.later]


def _zone(zone, shown: Units) -> dict[str, str]:
    tensile = zone.strength.tensile_mpa, *zone.interval("tensile_mpa")
    value, low, high = (shown.convert(round(v), "MPa") for v in tensile)
    return {
        "name": zone.name,
        "hardness": shown.hardness_text(zone.hardness_hv),
        "range": shown.hardness_text(zone.hardness_low_hv, zone.hardness_high_hv),
        "second": words.second_scale(zone.hardness_hv),
        "tensile": f"{value:.0f} ({low:.0f} to {high:.0f}) {shown.strength}",
        "structure": words.structure(zone.fractions, 1),
    }


def _head(head, shown: Units) -> str:
    forged, finished = head.zones("forged"), head.zones("finished")
    return (
        f"finished {sum(z.mass_g for z in finished.values()):.0f} g, as forged "
        f"{sum(z.mass_g for z in forged.values()):.0f} g; face {shown.length_text(head.face_thickness_mm)} finished; "
        f"hosel {shown.length_text(head.hosel_outside_mm)} outside, {shown.length_text(head.hosel_bore_mm)} bore, bend zone "
        f"{shown.length_text(head.bend_zone_mm)}."
    )


def source_texts(sources) -> list[str]:
    """The main sources in words, and what all of them rest on."""
    whole = f"In all {counted(sources)}; result.sources lists them."
    first = {source.where: source for source in reversed(sources)}
    main = [str(first[where]) for where in _MAIN_FORMULAS if where in first]
    return [*main, *([whole] if sources else [])]
