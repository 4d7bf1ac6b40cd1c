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

_TEXT_SETTINGS, _YES_NO_SETTINGS = ("surroundings",), ("back_on_die",)


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
    ``flux``, ``spray_s``, ``delay_s`` ...) or in words with the unit ("spray rate, L/min"); one row per head; a setting that is not given or empty stays as
    in `route`.

    Parameters
    ----------
    source, sheet, filename
        As in `io.grids.read_grids`.
    route : Route, optional
        What holds where the file is silent; the default route if not given.

    Returns
    -------
    Runs
        A dict of head_id → `Run`; a row with a setting out of bounds is reported and not used.

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
    texts = _TEXT_SETTINGS + _YES_NO_SETTINGS
    settings = [
        text_field(n, needed=False) if n in texts else number_field(n, _headers(n), needed=False)
        for n in Route.SETTINGS
    ]
    head_id, drawing = "piece part serial run", "drawing model"
    fields = [
        text_field("head_id", head_id),
        text_field("heat", "cast melt Schmelze", needed=False),
    ]
    fields += [text_field("head", drawing, needed=False), *settings]
    rows = read_rows_of(source, fields, "list of runs", sheet, filename)
    runs = Runs()
    left_out = [p for p in rows.problems if p.assumed == "left out"]
    spoiled = {p.row for p in left_out if not p.what.startswith("nothing")}
    for i, name in enumerate(rows.values["head_id"]):
        given = {n: rows.values[n][i] for n in Route.SETTINGS if rows.values[n][i] is not None}
        try:
            if rows.row[i] in spoiled:
                raise InputError("a setting of this head cannot be read")
            if name in runs:
                raise InputError(f"head {name!r} is given twice")
            for word in set(_YES_NO_SETTINGS) & set(given):
                said = check_choice(given[word].casefold(), word, ("yes", "no", "true", "false"))
                given[word] = said in ("yes", "true")
            drawing = rows.values["head"][i] or ""
            drawing = drawing and check_choice(drawing, "head", heads())
            made = route.with_(**given) if given else route
        except InputError as error:
            rows.report(i, "", error, "head not used")
            continue
        runs[name] = Run(name, rows.values["heat"][i] or "", drawing, made)
    if not runs:
        raise InputError(f"no usable head in the list of runs; {first_problem(rows)}")
    runs.problems = tuple(rows.problems)
    return runs
