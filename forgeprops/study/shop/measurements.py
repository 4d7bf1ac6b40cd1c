"""Hardness readings and bends of the shop, each in a documented layout; traces are in `traces`.

One row is one reading; units stand in the header; nothing is dropped silently.  The layouts are described in
the readers and, with examples, in data/demo/README.md.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ...base.errors import InputError, check_number
from ...inputs.head import ZONES
from ...io.cells import header_key, read_number
from ...io.columns import (
    HEAD_FIELD,
    ZONE_FIELD,
    first_problem,
    number_field,
    page,
    read_rows_of,
    text_field,
)
from ...io.grids import Problem
from ...strength.hardness_scales import convert_hardness

__all__ = ["Bends", "HardnessReadings", "read_bends", "read_hardness"]


@dataclass(frozen=True)
class HardnessReadings:
    """Hardness by head and zone.

    Attributes
    ----------
    frame : DataFrame
        ``head_id, zone, position, value, scale, hardness_hv, file_row``.
    problems : tuple of Problem
    """

    frame: object
    problems: tuple[Problem, ...] = ()

    def by_zone(self):
        """Mean, standard deviation, number and standard error of HV for each head and zone (DataFrame)."""
        grouped = self.frame.groupby(["head_id", "zone"], sort=False)["hardness_hv"]
        table = grouped.agg(mean_hv="mean", deviation_hv="std", readings="count").reset_index()
        table["standard_error_hv"] = table["deviation_hv"] / np.sqrt(table["readings"])
        return table

    def _repr_html_(self) -> str:
        return page(f"{len(self.frame)} readings", self.by_zone(), self.problems)


_SCALE_KEYS = {
    "hv": "HV",
    "vickers": "HV",
    "hrc": "HRC",
    "rockwellc": "HRC",
    "rc": "HRC",
    "hrb": "HRB",
    "rockwellb": "HRB",
    "rb": "HRB",
    "hb": "HB",
    "hbw": "HB",
    "hbs": "HB",
    "brinell": "HB",
    "bhn": "HB",
}


def _scale_of(text) -> str | None:
    """Hardness scale of a text such as "HV10", "HRC", "HBW 10/3000"; None if it is none of ours."""
    key = re.sub(r"[\d./]+(kgf?|n)?$", "", header_key(text))
    return _SCALE_KEYS.get(key)


def read_hardness(
    source, sheet: str | None = None, filename: str | None = None
) -> HardnessReadings:
    """Read hardness readings.

    Layout: ``head_id, zone, position, value, scale``; one row per reading; `position` is free text or mm;
    scale is HV, HRC, HRB or HB (HV10, HBW 10/3000 ... are understood), in its own column, behind the number
    ("285 HV10") or as the header of the value's column.

    Returns
    -------
    HardnessReadings
        Every reading also in HV by ASTM E140; a reading that the table cannot convert is reported and left
        out.

    Raises
    ------
    InputError
        Not that layout, or no usable reading.

    Examples
    --------
    >>> bench = read_hardness(b"head_id,zone,value,scale\\n7,face,45,HRC\\n7,hosel,210,HV10")
    >>> bench.frame["hardness_hv"].tolist()
    [446.0, 210.0]
    """
    import pandas as pd

    fields = (
        HEAD_FIELD,
        ZONE_FIELD,
        text_field("position", "place", "point", "Ort", "where", needed=False),
        text_field(
            "value",
            "hardness",
            "reading",
            "Härte",
            "Wert",
            "dureza",
            "HV",
            "HRC",
            "HRB",
            "HB",
            "HBW",
            "HV10",
            "HV5",
            "HV1",
            "HV30",
            "BHN",
        ),
        text_field("scale", "unit", "method", "Skala", "Einheit", needed=False),
    )
    rows = read_rows_of(source, fields, "hardness table", sheet, filename)
    record: dict[str, list] = {
        k: [] for k in ("head_id", "zone", "position", "value", "scale", "hardness_hv", "file_row")
    }
    for i, written in enumerate(rows.values["value"]):
        at = (rows.file[i], rows.row[i])
        value, scale, trouble = _hardness_value(
            written, rows.values["scale"][i], rows.headers[i]["value"]
        )
        zone = _zone_name(rows.values["zone"][i])
        if zone is None:
            rows.problems.append(
                Problem(
                    *at,
                    "zone",
                    f"{rows.values['zone'][i]!r} is no zone ({', '.join(ZONES)})",
                    "row not used",
                )
            )
            continue
        if trouble is None:
            try:
                hv = convert_hardness(value, scale, "HV")
                check_number(hv, "hardness", 50.0, 1000.0, "HV")
            except InputError as error:
                trouble = str(error).rstrip(".")
        if trouble:
            rows.problems.append(Problem(*at, "value", trouble, "row not used"))
            continue
        for name, cell in zip(
            record,
            (
                rows.values["head_id"][i] or "",
                zone,
                rows.values["position"][i] or "",
                value,
                scale,
                float(hv),
                rows.row[i],
            ),
            strict=True,
        ):
            record[name].append(cell)
    if not record["zone"]:
        raise InputError(f"no usable hardness reading; {first_problem(rows)}")
    return HardnessReadings(pd.DataFrame(record), tuple(rows.problems))


def _zone_name(text: str) -> str | None:
    """The zone a text names: exactly, or as the one zone among its words ("face centre")."""
    found = {z for z in ZONES if z in re.split(r"[^a-z]+", text.casefold())}
    return found.pop() if len(found) == 1 else None


def _hardness_value(written: str, scale, header: str) -> tuple[float, str, str | None]:
    """Number, scale and trouble (None if there is none) of a hardness cell, its scale cell and its header."""
    match = re.fullmatch(r"\s*([-+\d.,]+)\s*([A-Za-z].*)", written)
    number, behind = (match[1], match[2]) if match else (written, "")
    scales = [_scale_of(text) for text in (behind, scale, header) if text]
    named = [s for s in scales if s is not None]
    reading = read_number(number)
    if reading.kind != "number":
        return 0.0, "", f"{written[:30]!r} is not a hardness"
    if behind and _scale_of(behind) is None:
        return 0.0, "", f"{behind[:20]!r} in {written[:30]!r} is not HV, HRC, HRB or HB"
    if not named:
        said = f"scale {scale[:20]!r} is not HV, HRC, HRB or HB" if scale else "no scale is given"
        return 0.0, "", said
    if len(set(named)) > 1:
        return 0.0, "", f"two scales are named, {' and '.join(dict.fromkeys(named))}"
    if scale and _scale_of(scale) is None:
        return 0.0, "", f"scale {scale[:20]!r} is not HV, HRC, HRB or HB"
    return reading.value, named[0], None


# ------------------------------------------------------------------------------------------ bends

#: Newtons in a kilogram-force and a pound-force (exact by definition: standard gravity, international pound).
_KGF_N, _LBF_N = 9.80665, 4.4482216152605

_YES = {
    "yes",
    "y",
    "ja",
    "j",
    "sí",
    "si",
    "s",
    "true",
    "1",
    "cracked",
    "crack",
    "fail",
    "x",
    "有",
    "はい",
}
_NO = {
    "no",
    "n",
    "nein",
    "false",
    "0",
    "ok",
    "none",
    "pass",
    "not cracked",
    "no crack",
    "sound",
    "無",
    "いいえ",
}


@dataclass(frozen=True)
class Bends:
    """What the bending bench found.

    Attributes
    ----------
    frame : DataFrame
        ``head_id, degrees, force_n, cracked, file_row``.
    problems : tuple of Problem
    """

    frame: object
    problems: tuple[Problem, ...] = ()

    def _repr_html_(self) -> str:
        cracked = int(self.frame["cracked"].sum())
        return page(f"{len(self.frame)} bends, {cracked} cracked", self.frame, self.problems)


def read_bends(source, sheet: str | None = None, filename: str | None = None) -> Bends:
    """Read results of the bending bench.

    Layout: ``head_id, degrees, force_n, cracked``; one row per bend; `degrees` is the bend that stays after
    springback, its sign the direction; `force_n` the highest force at the bar, N (kN, kgf and lbf if the
    header says so), may be empty; `cracked` yes or no.

    Raises
    ------
    InputError
        Not that layout, or no usable row.

    References
    ----------
    .. [1] Newtons in kgf and lbf, exact by definition (from memory).

    Examples
    --------
    >>> bench = read_bends(b"head_id,degrees,force_n,cracked\\n7,2.0,410,no\\n8,4.5,395,yes")
    >>> bench.frame["cracked"].tolist()
    [False, True]
    """
    import pandas as pd

    fields = (
        HEAD_FIELD,
        number_field(
            "degrees",
            {
                "degrees": 1,
                "deg": 1,
                "angle": 1,
                "angle deg": 1,
                "bend deg": 1,
                "bend": 1,
                "Winkel": 1,
                "Grad": 1,
                "angulo": 1,
            },
            -45.0,
            45.0,
            "°",
        ),
        number_field(
            "force_n",
            {
                "force_n": 1,
                "force": 1,
                "Kraft N": 1,
                "Kraft": 1,
                "force_kn": 1000,
                "force_kgf": _KGF_N,
                "force_kg": _KGF_N,
                "force_lbf": _LBF_N,
                "force_lb": _LBF_N,
            },
            0.0,
            50_000.0,
            "N",
            needed=False,
        ),
        text_field("cracked", "crack", "result", "Riss", "gerissen", "fisura"),
    )
    rows = read_rows_of(source, fields, "bend table", sheet, filename)
    record: dict[str, list] = {
        k: [] for k in ("head_id", "degrees", "force_n", "cracked", "file_row")
    }
    for i, word in enumerate(rows.values["cracked"]):
        said = word.strip().casefold()
        if said not in _YES | _NO:
            rows.problems.append(
                Problem(
                    rows.file[i],
                    rows.row[i],
                    rows.headers[i]["cracked"],
                    f"{word[:30]!r} is neither yes nor no",
                    "row not used",
                )
            )
            continue
        force = rows.values["force_n"][i]
        for name, cell in zip(
            record,
            (
                rows.values["head_id"][i] or "",
                rows.values["degrees"][i],
                np.nan if force is None else force,
                said in _YES,
                rows.row[i],
            ),
            strict=True,
        ):
            record[name].append(cell)
    if not record["degrees"]:
        raise InputError(f"no usable bend; {first_problem(rows)}")
    return Bends(pd.DataFrame(record), tuple(rows.problems))
