"""The shop's files: what kind one is by its columns, templates of all kinds, and a preview with problems in their rows."""

from collections.abc import Callable
from dataclasses import dataclass

from ...base.errors import InputError, OtherLayout
from ...certificates.reading import read_certificates
from ...inputs.shop import load_shop
from ...io.cells import cell_text
from ...io.grids import column_letter, read_grids
from ...study.shop.measured_heads import read_runs
from ...study.shop.measurements import read_bends, read_hardness
from ...study.shop.traces import read_channels, read_traces
from ...study.shop.tracking import read_log
from ..units import Units
from .blocks import table_of, text
from .fields import hardness_number, shown


@dataclass(frozen=True)
class Kind:
    """A kind of file: what it is called, its reader, and a template in the reader's units: header and one row."""

    title: str
    read: Callable
    template: Callable[[Units], str] | None = None


def _hv(u: Units, hv: float) -> str:
    return f"{hardness_number(u, hv):g}"


#: Kinds in the order in which a file is tried; a list of heads has the least of its own, so it is last.
KINDS = {
    "hardness": Kind("hardness readings", read_hardness, lambda u: f"head_id,zone,position,value,scale\n101,face,middle,{_hv(u, 430)},{u.hardness}\n"),
    "bends": Kind("bends of the bench", read_bends, lambda u: f"head_id,degrees,force {u.force},cracked\n101,2.0,{u.convert(340, 'N'):.0f},no\n"),
    "log": Kind("log of checked heads", read_log, lambda u: f"date,heat,head_id,quantity,predicted,measured\n2026-03-01,R1,201,face hardness {u.hardness},{_hv(u, 431)},{_hv(u, 440)}\n"),
    "traces": Kind("thermocouple traces", read_traces, lambda u: f"head_id,time_s,channel,temperature {u.temperature}\n101,0.0,face,{u.from_c(930):.0f}\n"),
    "channels": Kind("places of thermocouples", read_channels, lambda u: "channel,zone,depth_mm\nT1,face,1.3\n"),
    "certificates": Kind("steel certificates", read_certificates, lambda u: "heat,grade,C %,Si %,Mn %,P %,S %,Cr %,Mo %,Ni %,Cu %,N ppm\nR1,4130,0.30,0.25,0.50,0.012,0.008,0.95,0.20,0.10,0.12,70\n"),
    "runs": Kind("furnace log of the heads", read_runs, lambda u: f"head_id,heat,head,preheat temperature {u.temperature},spray rate {u.flow},spray time s,delay s\n101,R1,mid-iron,{u.from_c(930):.0f},{shown(u, 'flux', 12):.2f},10,2\n"),
    "shop": Kind("shop file", load_shop),
}  # fmt: skip
#: Rows of a file that the preview shows beside those with a problem, and at most.
FIRST, MOST = 3, 14


@dataclass(frozen=True)
class File:
    """A file that was given: its kind and what was read, or why not."""

    name: str
    content: bytes
    kind: str = ""
    read: object = None
    error: str = ""

    @property
    def problems(self):
        return getattr(self.read, "problems", ())

    @property
    def level(self) -> str:
        left = any(_unused(p) and p.what != "nothing measured" for p in self.problems)
        return "out" if self.error else "marginal" if left else "good"


def _unused(problem) -> bool:
    return any(word in problem.assumed for word in ("not used", "left out")) and bool(problem.row)


def recognise(name: str, content: bytes, channels: bytes | None = None) -> File:
    """What kind of file it is, by its columns, and what the kind's reader makes of it."""
    last = name.lower().endswith(".json")
    for kind, k in KINDS.items():
        if (kind == "shop") != last:
            continue
        try:
            places = {"channels": channels} if kind == "traces" else {}
            return File(name, content, kind, k.read(content, filename=name, **places))
        except OtherLayout:
            continue
        except InputError as error:
            return File(name, content, kind, None, str(error))
    known = ", ".join(k.title for k in KINDS.values())
    return File(name, content, "", None, f"{name} has no header of a known file ({known}).")


def templates(units: Units) -> list[list[str]]:
    """File name, text and type of a template of every kind."""
    made = [(name, k.template(units)) for name, k in KINDS.items() if k.template]
    return [[f"{name}.csv", content, "text/csv"] for name, content in made]


def preview(file: File | None) -> list[dict]:
    """First rows of a file in its own words, and every row with a problem, marked."""
    if file is None:
        return []
    whole = [text(file.error, "stop")] if file.error else []
    if file.kind == "shop":
        return whole
    try:
        grid = read_grids(file.content, file.name)[0]
    except InputError:
        return whole
    faults: dict[int, list] = {}
    for p in file.problems:
        faults.setdefault(p.row or 0, []).append(p)
    rows, levels, width = [], [], min(max(map(len, grid.rows), default=0), 14)
    for i, (n, cells) in enumerate(zip(grid.row_numbers, grid.rows, strict=True)):
        met = faults.get(n, [])
        if (i < FIRST or met) and len(rows) < MOST:
            said = "; ".join(f"{p.column}{': ' * bool(p.column)}{p.what}, {p.assumed}" for p in met)
            levels.append("out" if any(map(_unused, met)) else "marginal" if met else "none")
            shown_ = ["" if c is None else cell_text(c)[:24] for c in [*cells, *[None] * width]]
            rows.append([str(n), said, *shown_[:width]])
    whole += [text(f"{p.what}: {p.assumed}.", "note") for p in faults.get(0, ())]
    if not rows:
        return whole
    head = ["row", "what was met, and what was made of it", *map(column_letter, range(width))]
    return [*whole, table_of("preview", head, rows, levels=levels)]
