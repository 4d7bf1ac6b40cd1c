"""How each measured head was made: its heat of steel, its drawing and the settings of its route."""

from dataclasses import dataclass

from ...base.errors import InputError, check_choice, shown
from ...inputs.head import heads
from ...inputs.route import Route
from ...inputs.settings import table
from ...io.cells import header_key
from ...io.columns import first_problem, number_field, read_rows_of, text_field
from ...io.grids import Problem
from ...thermal.spray_units import spray_setting
from ...units import L_PER_GALLON

#: Settings that are words; all others are numbers.
_WORDS = ("surroundings", "back_on_die")


@dataclass(frozen=True)
class Run:
    """One head: which heat, which drawing, which route."""

    head_id: str
    heat: str
    head: str
    route: Route


class Runs(dict):
    """Runs by head_id, with the problems met while reading."""

    problems: tuple[Problem, ...] = ()


def _headers(name: str) -> dict:
    """What a column may also be called: the setting's own words, with its unit or another: "spray rate, gpm"."""
    what = table()[name]
    label, units = header_key(what.label), {what.unit: 1.0}
    if what.unit == "°C":
        units["°F"] = (1 / 1.8, -32 / 1.8)
    elif name == "flux":
        one = spray_setting(1.0).flux_kg_m2_s
        units |= {"L/min": one, "gpm": one * L_PER_GALLON}
    found = {convert: label + header_key(unit) for unit, convert in units.items()}
    return found | {1.0: f"{label} {found[1.0]}"}


def read_runs(source, route: Route | None = None, sheet: str | None = None, filename=None) -> Runs:
    """Read how heads were made.

    Layout: ``head_id, heat, head`` and any settings by their short names (`Route.SETTINGS`: ``preheat_c``,
    ``flux``, ``spray_s``, ``delay_s`` ...) or in words with the unit ("spray rate, L/min"); one row per head; a
    setting that is not given or empty stays as in `route`, by default the default route.  A row with a setting
    out of bounds is reported and not used.  Source, sheet and filename as in `io.grids.read_grids`.

    Raises
    ------
    InputError
        Not that layout, or no usable row.

    Examples
    --------
    >>> runs = read_runs(b"head_id,heat,head,preheat_c,flux\\n7,A1,mid-iron,910,8")
    >>> runs["7"].route.preheat.temperature_c, runs["7"].route.spray.flux_kg_m2_s
    (910.0, 8.0)
    """
    route = Route() if route is None else route
    if not isinstance(route, Route):
        raise InputError(f"route must be a Route(...); got {shown(route)}.")
    fields = [text_field("head_id", "piece part serial run")]
    fields.append(text_field("heat", "cast melt Schmelze", needed=False))
    fields.append(text_field("head", "drawing model", needed=False))
    for n in Route.SETTINGS:
        text = n in _WORDS
        fields.append(
            text_field(n, "", False) if text else number_field(n, _headers(n), needed=False)
        )
    rows = read_rows_of(source, fields, "list of runs", sheet, filename)
    runs, values = Runs(), rows.values
    left_out = [p for p in rows.problems if p.assumed == "left out"]
    spoiled = {p.row for p in left_out if not p.what.startswith("nothing")}
    for i, name in enumerate(values["head_id"]):
        given = {n: values[n][i] for n in Route.SETTINGS if values[n][i] is not None}
        try:
            if rows.row[i] in spoiled:
                raise InputError("a setting of this head cannot be read")
            if name in runs:
                raise InputError(f"head {name!r} is given twice")
            if word := given.get("back_on_die"):
                said = check_choice(word.casefold(), "back_on_die", ("yes", "no", "true", "false"))
                given["back_on_die"] = said in ("yes", "true")
            drawing = values["head"][i] and check_choice(values["head"][i], "head", heads())
            made = route.with_(**given) if given else route
            runs[name] = Run(name, values["heat"][i] or "", drawing or "", made)
        except InputError as error:
            rows.report(i, "", error, "head not used")
    if not runs:
        raise InputError(f"no usable head in the list of runs; {first_problem(rows)}")
    runs.problems = tuple(rows.problems)
    return runs
