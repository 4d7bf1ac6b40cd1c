"""The printable setting sheet: one result with its settings, tolerances, ranges, warnings and sources."""

from __future__ import annotations

import base64
import datetime
from io import BytesIO
from pathlib import Path

from ..answer import words
from ..base.cautions import BENCH, CAUTIONS
from ..base.constants import Z80
from ..base.errors import InputError, check_choice, check_number
from ..base.sources import counted
from ..inputs.route import COOLING_WORDS
from ..inputs.settings import table
from ..io.writing import write_bytes
from . import style
from .units import Units, units

__all__ = ["PAPERS", "sheet", "sheet_html"]

#: Paper sizes by the names of the page-size rule of style sheets.
PAPERS = {"A4": "A4", "Letter": "letter"}

#: Settings that the sheet names, with twice a shop's spread of each as the tolerance (`Setting.tolerance`).
_NAMED = ("preheat_c", "soak_s", "transfer_s", "die_c", "delay_s", "spray_s", "flux", "water_c")


def sheet_html(result, paper: str = "A4", *, tolerances=None, date: str | None = None, note: str = "",
               display_units: Units | None = None) -> str:  # fmt: skip
    """Return the setting sheet as one HTML page that needs no other file.

    Parameters
    ----------
    result : Estimate
    paper : {"A4", "Letter"}
    tolerances : dict of str to float, optional
        Short name of a setting → tolerance; twice a shop's spread unless given.
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
    tolerances = _checked(tolerances or {})
    picture, told = _picture(result, shown)
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    template = environment.from_string(
        Path(__file__).with_name("sheet.html.j2").read_text(encoding="utf-8")
    )
    second = shown if shown.hardness == "HB" else Units(hardness="HRC")
    return template.render(
        paper=paper, version=__version__, date=date or datetime.date.today().isoformat(), note=note,
        steel=result.steel, head=result.head, verdict=result.verdict.sentence, headline=words.headline(result),
        settings=_settings(result, tolerances, shown),
        zones=[_zone(z, second) for z in result.zones.values()],
        second_scale="Brinell" if second.hardness == "HB" else "Rockwell", hosel_words=result.hosel.words(),
        face_words=result.face.words() if result.face is not None else "",
        picture=picture, picture_words=told,
        warnings=[str(w) for w in words.warnings(result)], composition=_composition(result.steel),
        assumed=", ".join(f"{e} {result.steel.get(e):.3g}" for e in result.steel.assumed),
        head_words=_head(result.head, shown), cautions=CAUTIONS, bench=BENCH, sources=source_texts(result.sources),
    )  # fmt: skip


def sheet(result, path, paper: str = "A4", *, overwrite: bool = False, **options) -> Path:
    """Write the setting sheet to an HTML file; a browser prints it on two pages or saves it as PDF.

    Parameters
    ----------
    result : Estimate
    path : path
        Ends in .html.
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
        Another ending, an existing file without `overwrite`; or as `sheet_html`.
    """
    target = Path(path)
    if target.suffix.lower() not in (".html", ".htm"):
        raise InputError(
            f"sheet {target.name!r} ends in {target.suffix or 'nothing'!r}; allowed is .html (a browser "
            "prints it or saves it as PDF)."
        )
    content = sheet_html(result, paper, **options).encode("utf-8")
    write_bytes(target, content, overwrite=overwrite)
    return target


def _checked(tolerances) -> dict[str, float]:
    for name in tolerances:
        check_choice(name, "setting with a tolerance", _NAMED)
    return {n: check_number(t, f"tolerance of {n}", 0.0, 1000.0) for n, t in tolerances.items()}


def _settings(result, tolerances, shown: Units) -> list[dict[str, str]]:
    """Rows of the settings table, with what the tolerance does to face and hosel (two marches each)."""
    from ..answer.evaluation import evaluate
    from ..inputs.cases import Cases

    route, rows, cases, names = result.route, [], [], []
    for name in _NAMED:
        value = route.setting(name)
        if value is None:
            continue
        tolerance, both = tolerances.get(name, table()[name].tolerance(value)), []
        for sign in (-1.0, 1.0):
            try:
                both.append(route.with_(**{name: value + sign * tolerance}))
            except (
                InputError
            ):  # the tolerance leaves what a route accepts: that side stays at the setting
                both.append(route)
        names.append(name)
        cases += both
    n = len(cases)
    told = evaluate(Cases.of([result.steel] * n, [result.head] * n, cases, [result.shop] * n))
    zones = tuple(result.zones)
    moved = {
        zone: told.hardness_hv[:, zones.index(zone)].reshape(-1, 2) - result.zones[zone].hardness_hv
        for zone in ("face", "hosel")
    }
    for i, name in enumerate(names):
        what, value = table()[name], route.setting(name)
        tolerance = tolerances.get(name, what.tolerance(value))
        rows.append(
            {
                "label": what.label.capitalize(),
                "value": shown.value_text(what, value),
                "tolerance": f"± {shown.step_text(what, tolerance)}",
                "face": _span(moved["face"][i]),
                "hosel": _span(moved["hosel"][i]),
            }
        )
    for heat in route.later:
        value = f"{shown.temperature_text(heat.temperature_c)}, {heat.hold_s / 60:.0f} min"
        rows.append(
            {
                "label": f"Later heat ({heat.where})",
                "value": value,
                "tolerance": "",
                "face": "",
                "hosel": "",
            }
        )
    cooling = COOLING_WORDS[route.cool.surroundings]
    rows.append(
        {"label": "Then it cools", "value": cooling, "tolerance": "", "face": "", "hosel": ""}
    )
    if route.spray is None:
        rows.append({"label": "Spray", "value": "none", "tolerance": "", "face": "", "hosel": ""})
    return rows


def _span(two) -> str:
    low, high = sorted(round(float(v)) for v in two)
    return "nothing" if low == high == 0 else f"{low:+d} to {high:+d} HV".replace("-", "−")


def _zone(zone, second: Units) -> dict[str, str]:
    return {
        "name": zone.name,
        "hv": f"{zone.hardness_hv:.0f} HV",
        "range": f"{zone.hardness_low_hv:.0f}–{zone.hardness_high_hv:.0f}",
        "second": second.hardness_text(zone.hardness_hv),
        "tensile": f"{zone.strength.tensile_mpa:.0f} ± {Z80 * zone.strength.tensile_se_mpa:.0f} MPa",
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
    "face.fatigue.fatigue_limit_mpa",
)


def source_texts(sources) -> list[str]:
    """The main sources in words, and what all of them rest on."""
    whole = f"In all {counted(sources)}; result.sources lists them."
    first = {source.where: source for source in reversed(sources)}
    main = [str(first[where]) for where in _MAIN_FORMULAS if where in first]
    return [*main, *([whole] if sources else [])]
