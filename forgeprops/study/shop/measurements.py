"""Hardness readings and bends of the shop, each in a documented layout; traces are in `traces`.

One row is one reading; units stand in the header; nothing is dropped silently.  The layouts are described in
the readers and, with examples, in data/demo/README.md.
"""

import re

import numpy as np

from ...base.constants import KGF_N, LBF_N
from ...base.errors import InputError, check_number
from ...inputs.head import ZONES
from ...io.cells import header_key, read_number
from ...io.columns import HEAD_FIELD, Read, number_field, read_rows_of, text_field
from ...strength.hardness_scales import convert_hardness


def zone_named(text: str) -> str:
    """The zone a text names: exactly, or as the one zone among its words ("face centre")."""
    found = set(ZONES) & set(re.split(r"[^a-z]+", text.casefold()))
    if len(found) != 1:
        raise InputError(f"{text[:40]!r} is no zone ({', '.join(ZONES)})")
    return found.pop()


#: Where on the head.
ZONE_FIELD = text_field("zone", "location area Bereich zona", parse=zone_named)


class HardnessReadings(Read):
    """Hardness by head and zone; `frame`: ``head_id, zone, position, value, scale, hardness_hv, file_row``."""

    def by_zone(self):
        """Mean, standard deviation, number and standard error of HV for each head and zone (DataFrame)."""
        grouped = self.frame.groupby(["head_id", "zone"], sort=False)["hardness_hv"]
        table = grouped.agg(mean_hv="mean", deviation_hv="std", readings="count").reset_index()
        table["standard_error_hv"] = table["deviation_hv"] / np.sqrt(table["readings"])
        return table

    shown = by_zone


_SCALES = {"hv vickers": "HV", "hrc rockwellc rc": "HRC", "hrb rockwellb rb": "HRB"}
_SCALES |= {"hb hbw hbs brinell bhn": "HB"}
_SCALE_KEYS = {key: scale for keys, scale in _SCALES.items() for key in keys.split()}
_VALUES = "hardness reading Härte Wert dureza HV HRC HRB HB HBW HV10 HV5 HV1 HV30 BHN"
_HARDNESS_FIELDS = (
    HEAD_FIELD,
    ZONE_FIELD,
    text_field("position", "place point Ort where", needed=False),
    text_field("value", _VALUES),
    text_field("scale", "unit method Skala Einheit", needed=False),
)


def _scale_of(text) -> str | None:
    """Hardness scale of a text such as "HV10", "HRC", "HBW 10/3000"; None if it is none of ours."""
    return _SCALE_KEYS.get(re.sub(r"[\d./]+(kgf?|n)?$", "", header_key(text)))


def read_hardness(source, sheet: str | None = None, filename=None) -> HardnessReadings:
    """Read hardness readings.

    Layout: ``head_id, zone, position, value, scale``; one row per reading; `position` is free text or mm;
    scale is HV, HRC, HRB or HB (HV10, HBW 10/3000 ... are understood), in its own column, behind the number
    ("285 HV10") or as the header of the value's column.  Every reading also comes in HV by ASTM E140; one that
    the table cannot convert is reported and left out.  Source, sheet and filename as in `io.grids.read_grids`.

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
    rows = read_rows_of(source, _HARDNESS_FIELDS, "hardness table", sheet, filename)
    read = {}
    for i, written in enumerate(rows.values["value"]):
        try:
            read[i] = _hardness(written, rows.values["scale"][i], rows.headers[i]["value"])
        except InputError as error:
            rows.report(i, "value", error)
    rows.require(read, "hardness reading")
    frame = rows.frame().iloc[list(read)].reset_index(drop=True)
    frame["value"], frame["scale"], frame["hardness_hv"] = zip(*read.values(), strict=True)
    columns = ["head_id", "zone", "position", "value", "scale", "hardness_hv", "file_row"]
    return HardnessReadings(frame[columns], tuple(rows.problems))


def _hardness(written: str, scale: str | None, header: str) -> tuple[float, str, float]:
    """Number, scale and HV of a hardness cell, its scale cell and its header."""
    match = re.fullmatch(r"\s*([-+\d.,]+)\s*([A-Za-z].*)", written)
    number, behind = match.groups() if match else (written, "")
    reading = read_number(number)
    if reading.kind != "number":
        raise InputError(f"{written[:30]!r} is not a hardness")
    if behind and _scale_of(behind) is None:
        raise InputError(f"{behind[:20]!r} in {written[:30]!r} is not HV, HRC, HRB or HB")
    if scale and _scale_of(scale) is None:
        raise InputError(f"scale {scale[:20]!r} is not HV, HRC, HRB or HB")
    named = dict.fromkeys(filter(None, map(_scale_of, (behind, scale, header))))
    if len(named) != 1:
        said = f"two scales are named, {' and '.join(named)}" if named else "no scale is given"
        raise InputError(said)
    (name,) = named
    hv = check_number(convert_hardness(reading.value, name, "HV"), "hardness", 50, 1000, "HV")
    return reading.value, name, float(hv)


_YES = {*"yes y ja j sí si s true 1 cracked crack fail x 有 はい".split()}
_NO = {"not cracked", "no crack", *"no n nein false 0 ok none pass sound 無 いいえ".split()}


def _yes_or_no(text: str) -> bool:
    word = text.strip().casefold()
    if word not in _YES | _NO:
        raise InputError(f"{text[:30]!r} is neither yes nor no")
    return word in _YES


_ANGLES = {1: "deg angle angledeg benddeg bend Winkel Grad angulo"}
_FORCES = {1: "force KraftN Kraft", 1000: "force_kn"}
_FORCES |= {KGF_N: "force_kgf force_kg", LBF_N: "force_lbf force_lb"}
_BEND_FIELDS = (
    HEAD_FIELD,
    number_field("degrees", _ANGLES, -45, 45, "°"),
    number_field("force_n", _FORCES, 0, 50_000, "N", needed=False),
    text_field("cracked", "crack result Riss gerissen fisura", parse=_yes_or_no),
)


def read_bends(source, sheet: str | None = None, filename=None) -> Read:
    """Read results of the bending bench.

    Layout: ``head_id, degrees, force_n, cracked``; one row per bend; `degrees` is the bend that stays after
    springback, its sign the direction; `force_n` the highest force at the bar, N (kN, kgf and lbf if the
    header says so), may be empty; `cracked` yes or no.  `frame` has these and ``file_row``.  Source, sheet and
    filename as in `io.grids.read_grids`.

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
    rows = read_rows_of(source, _BEND_FIELDS, "bend table", sheet, filename)
    rows.require(rows.row, "bend")
    return Read(rows.frame(), tuple(rows.problems))
