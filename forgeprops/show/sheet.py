"""The printable setting sheet: one result with its settings, tolerances, ranges, warnings and sources."""

from __future__ import annotations

import base64
import datetime
from collections import Counter
from io import BytesIO
from pathlib import Path

from ..answer import words
from ..base.cautions import CAUTIONS
from ..base.errors import InputError, check_choice, check_number
from ..base.sources import BASES
from ..io.writing import write_bytes
from . import style
from .units import Units, units

__all__ = ["PAPERS", "TOLERANCES", "sheet", "sheet_html", "sheet_pdf"]

#: Paper sizes by the names of the page-size rule of style sheets.
PAPERS = {"A4": "A4", "Letter": "letter"}

#: Tolerance of each setting that the sheet names, by its short name (`Route.SETTINGS`), in the setting's
#: unit;
#: what a watchful shop holds (common practice, no source).  Replace them by what yours holds.
TOLERANCES = {
    "preheat_c": 10.0,
    "soak_s": 60.0,
    "transfer_s": 1.0,
    "die_c": 25.0,
    "delay_s": 0.3,
    "spray_s": 0.3,
    "flux": 1.0,
    "water_c": 5.0,
}

_LABELS = {
    "preheat_c": ("Furnace", "°C", 0),
    "soak_s": ("Time in the furnace", "s", 0),
    "transfer_s": ("Furnace to die", "s", 1),
    "die_c": ("Die", "°C", 0),
    "delay_s": ("Squeeze to water", "s", 1),
    "spray_s": ("Water runs", "s", 1),
    "flux": ("Water on the face", "kg/(m² s)", 1),
    "water_c": ("Water temperature", "°C", 0),
}
_COOLING = {
    "single": "alone in still air",
    "row": "in a row on a conveyor",
    "bin": "in a bin of hot heads",
    "fan": "in front of a fan",
    "sleeve": "still air, sleeve on the hosel",
}


def sheet_html(result, paper: str = "A4", *, tolerances=None, date: str | None = None, note: str = "",
               display_units: Units | None = None) -> str:  # fmt: skip
    """Return the setting sheet as one HTML page that needs no other file.

    Parameters
    ----------
    result : Estimate
    paper : {"A4", "Letter"}
    tolerances : dict of str to float, optional
        Short name of a setting → tolerance; `TOLERANCES` unless given.
    date : str, optional
        Date shown; today unless given.
    note : str
        A line of your own under the title (order number, customer).
    display_units : Units, optional
        The reader's units; what was chosen once unless given.

    Raises
    ------
    InputError
        Another paper, a setting that a route does not have, a tolerance that is no number or negative.
    """
    import jinja2

    from .. import __version__

    paper = PAPERS[check_choice(paper, "paper", PAPERS)]
    shown = display_units or units()
    tolerances = TOLERANCES if tolerances is None else _checked(tolerances)
    picture, told = _picture(result, shown)
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    template = environment.from_string(
        Path(__file__).with_name("sheet.html.j2").read_text(encoding="utf-8")
    )
    second = shown if shown.hardness == "HB" else Units(hardness="HRC")
    return template.render(
        paper=paper, version=__version__, date=date or datetime.date.today().isoformat(), note=note,
        steel=result.steel, head=result.head, headline=words.headline(result),
        settings=_settings(result, tolerances, shown),
        zones=[_zone(z, second) for z in result.zones.values()],
        second_scale="Brinell" if second.hardness == "HB" else "Rockwell", hosel_words=result.hosel.words(),
        face_words=result.face.words() if result.face is not None else "",
        picture=picture, picture_words=told,
        warnings=[str(w) for w in result.warnings], composition=_composition(result.steel),
        assumed=", ".join(f"{e} {result.steel.get(e):.3g}" for e in result.steel.assumed),
        head_words=_head(result.head, shown), cautions=CAUTIONS, sources=source_texts(result.sources),
    )  # fmt: skip


def sheet_pdf(result, paper: str = "A4", **options) -> bytes:
    """Return the setting sheet as PDF; takes what `sheet_html` takes.

    Raises
    ------
    InputError
        The PDF library is not installed; or as `sheet_html`.
    """
    try:
        import weasyprint
    except (ImportError, OSError):  # OSError: its text-drawing library is missing
        raise InputError(
            "a PDF needs weasyprint and pango; install forgeprops[pdf], or save the sheet as .html and "
            "print that."
        ) from None
    page = sheet_html(result, paper, **options)
    no_network = weasyprint.urls.URLFetcher(allowed_protocols={"data"})  # nor files of this machine
    return weasyprint.HTML(string=page, url_fetcher=no_network).write_pdf()


def sheet(result, path, paper: str = "A4", *, overwrite: bool = False, **options) -> Path:
    """Write the setting sheet to a file: HTML or PDF, by the ending of its name.

    Parameters
    ----------
    result : Estimate
    path : path
        Ends in .html or .pdf.
    paper : {"A4", "Letter"}
    overwrite : bool
        Replace an existing file.
    options
        As for `sheet_html`.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        Another ending, an existing file without `overwrite`; or as `sheet_html` and `sheet_pdf`.
    """
    target = Path(path)
    if target.suffix.lower() == ".pdf":
        content = sheet_pdf(result, paper, **options)
    elif target.suffix.lower() in (".html", ".htm"):
        content = sheet_html(result, paper, **options).encode("utf-8")
    else:
        raise InputError(
            f"sheet {target.name!r} ends in {target.suffix or 'nothing'!r}; allowed is .html or .pdf."
        )
    write_bytes(target, content, overwrite=overwrite)
    return target


def _checked(tolerances) -> dict[str, float]:
    for name in tolerances:
        check_choice(name, "setting with a tolerance", _LABELS)
    return {n: check_number(t, f"tolerance of {n}", 0.0, 1000.0) for n, t in tolerances.items()}


def _settings(result, tolerances, shown: Units) -> list[dict[str, str]]:
    """Rows of the settings table, with what the tolerance does to face and hosel (two marches each)."""
    from ..answer.evaluation import evaluate

    route, rows, cases, names = result.route, [], [], []
    for name, tolerance in tolerances.items():
        value = route.setting(name)
        if value is None:
            continue
        both = []
        for sign in (-1.0, 1.0):
            try:
                both.append(route.with_(**{name: value + sign * tolerance}))
            except (
                InputError
            ):  # the tolerance leaves what a route accepts: that side stays at the setting
                both.append(route)
        names.append(name)
        cases += both
    told = evaluate(
        [result.steel] * len(cases), [result.head] * len(cases), cases, [result.shop] * len(cases)
    )
    zones = tuple(result.zones)
    moved = {
        zone: told.hardness_hv[:, zones.index(zone)].reshape(-1, 2) - result.zones[zone].hardness_hv
        for zone in ("face", "hosel")
    }
    for i, name in enumerate(names):
        label, unit, digits = _LABELS[name]
        rows.append(
            {
                "label": label,
                "value": _in_units(route.setting(name), unit, digits, shown),
                "tolerance": "± " + _step_in_units(tolerances[name], unit, digits, shown),
                "face": _span(moved["face"][i]),
                "hosel": _span(moved["hosel"][i]),
            }
        )
    for heat in route.later:
        where = ", ".join(heat.zones) or "whole head"
        value = f"{shown.temperature_text(heat.temperature_c)}, {heat.hold_s / 60:.0f} min"
        rows.append(
            {
                "label": f"Later heat ({where})",
                "value": value,
                "tolerance": "",
                "face": "",
                "hosel": "",
            }
        )
    cooling = _COOLING[route.cool.surroundings]
    rows.append(
        {"label": "Then it cools", "value": cooling, "tolerance": "", "face": "", "hosel": ""}
    )
    if route.spray is None:
        rows.append({"label": "Water", "value": "none", "tolerance": "", "face": "", "hosel": ""})
    return rows


def _in_units(value, unit, digits, shown: Units) -> str:
    return shown.temperature_text(value) if unit == "°C" else f"{value:.{digits}f} {unit}"


def _step_in_units(step, unit, digits, shown: Units) -> str:
    if unit == "°C":
        return f"{shown.step_from_c(step):.0f} {shown.temperature}"
    return f"{step:.{digits}f} {unit}"


def _span(two) -> str:
    low, high = sorted(round(float(v)) for v in two)
    return "nothing" if low == high == 0 else f"{low:+d} to {high:+d} HV".replace("-", "−")


def _zone(zone, second: Units) -> dict[str, str]:
    return {
        "name": zone.name,
        "hv": f"{zone.hardness_hv:.0f} HV",
        "range": f"{zone.hardness_low_hv:.0f}–{zone.hardness_high_hv:.0f}",
        "second": second.hardness_text(zone.hardness_hv),
        "tensile": f"{zone.strength.tensile_mpa:.0f} ± {1.2816 * zone.strength.tensile_se_mpa:.0f} MPa",
        "structure": words.structure(zone.fractions),
    }


def _composition(steel) -> str:
    return ", ".join(f"{element} {content:.3g}" for element, content in steel.composition.items())


def _head(head, shown: Units) -> str:
    forged, finished = head.zones("forged"), head.zones("finished")
    thin, hosel = head.face.thickness_mm, head.hosel
    return (
        f"finished {sum(z.mass_g for z in finished.values()):.0f} g, as forged "
        f"{sum(z.mass_g for z in forged.values()):.0f} g; face {shown.length_text(thin)} finished; hosel "
        f"{shown.length_text(hosel.outside_mm)} outside, {shown.length_text(hosel.bore_mm)} bore, bend zone "
        f"{shown.length_text(hosel.bend_zone_mm)}."
    )


def _picture(result, shown: Units) -> tuple[str, str]:
    """Cooling curves and hardness bars as base64 PNG, and what they show in words."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from .figures import CoolingCurves, HardnessBars

    with style.look():
        figure = Figure(figsize=(9.4, 3.1), dpi=170, layout="constrained")
        FigureCanvasAgg(figure)
        left, right = figure.subplots(1, 2, width_ratios=(1.25, 1.0))
        curves, bars = CoolingCurves(left, units=shown), HardnessBars(right, units=shown)
    curves.update(result)
    bars.update(result)
    out = BytesIO()
    figure.savefig(out, format="png")
    return base64.b64encode(out.getvalue()).decode(
        "ascii"
    ), f"{curves.describe(result)} {bars.describe(result)}"


#: Formulas that the sheet names out of all that an estimate rests on: those that decide its numbers.
_MAIN_FORMULAS = (
    "transformation.temperatures.martensite_start_c",
    "transformation.kinetics.ln_composition_factors",
    "transformation.tempering.tempering_coefficients",
    "thermal.spray.spray_w_m2k",
    "thermal.surroundings.natural_convection_cylinder",
    "strength.tensile.strength_arrays",
    "hosel.bending_moment.Section",
    "face.margin.fatigue_strength_mpa",
)


def source_texts(sources) -> list[str]:
    """The main sources in words, and what all of them rest on."""
    counts = Counter(source.basis for source in sources)
    count = ", ".join(f"{counts[basis]} {basis}" for basis in BASES if counts[basis])
    whole = f"In all {len(sources)} sources: {count}; result.sources lists them."
    first = {source.where: source for source in reversed(sources)}
    main = [str(first[where]) for where in _MAIN_FORMULAS if where in first]
    return [*main, *([whole] if sources else [])]
