"""Makes data/demo: the certificates and measurements of an invented shop, with noise, dropouts and slips.

The shop is ours, and so is all it measured: the engine is run with multipliers that differ from the
published laws (`TRUTH`), and noise is added.  Nothing in it was measured on real steel.  Run ``python
tests/make_demo_data.py [folder]``; without a folder the files in data/demo are replaced.
"""

import functools
import io
import sys
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

import forgeprops as fp
from forgeprops.answer.evaluation import evaluate
from forgeprops.engine.results import Trace
from forgeprops.inputs.cases import Cases
from forgeprops.io.writing import write_bytes
from forgeprops.strength.hardness_scales import try_convert
from forgeprops.study.shop.measured_heads import probe_weights
from forgeprops.study.spray_plate.conduction import Plate
from forgeprops.thermal.spray import spray_w_m2k

#: What the invented shop is like; the published laws have 1, 0.8, 1, 1 and 0 here.
TRUTH = fp.Shop(1.25, 0.84, 1.0, 0.85, 0.4, name="invented shop, the truth")
SAYS = (
    "Invented data of an invented shop, made by tests/make_demo_data.py: no real steel was measured"
)
SEED = 20250301

#: Composition of the invented heats, wt%, within their grades; R5 is a slip of the pen in the file (C 2.9).
_ELEMENTS = "C Si Mn P S Cr Mo Ni Cu N".split()
_HEATS = """R1 4130 0.31 0.25 0.52 0.012 0.008 0.95 0.19 0.08 0.12 0.0070
R2 4130 0.29 0.22 0.46 0.010 0.006 0.88 0.17 0.05 0.10 0.0065
R3 SCM420 0.20 0.25 0.75 0.014 0.009 1.05 0.20 0.06 0.09 0.0080
R4 1030 0.30 0.23 0.75 0.015 0.018 0.09 0.02 0.09 0.15 0.0060"""
HEATS = {
    heat: (grade, dict(zip(_ELEMENTS, map(float, contents), strict=True)))
    for heat, grade, *contents in map(str.split, _HEATS.splitlines())
}

#: Measured heads: heat, preheat °C, flux kg/(m² s), spray s, delay s, thermocouples on it.
RUNS = {
    "101": ("R1", 930, 12.0, 10.0, 2.0, True), "102": ("R1", 930, 7.0, 8.0, 2.0, True),
    "103": ("R2", 905, 12.0, 6.0, 3.0, True), "104": ("R3", 930, 10.0, 10.0, 2.0, False),
    "105": ("R4", 900, 14.0, 10.0, 1.5, False), "106": ("R2", 945, 9.0, 12.0, 2.5, False),
}  # fmt: skip
HEAD = "mid-iron"
CHANNELS = {"T1": "face", "T2": "rim", "T3": "body", "T4": "hosel"}
#: Depth of the thermocouples where it is known, mm: the face's sits at half its finished thickness.
DEPTHS = {"T1": f"{fp.head(HEAD).face_thickness_mm / 2:.2f}"}


def text(header, rows, sep=",") -> bytes:
    table = pd.DataFrame(rows, columns=header.split())
    says = f'"{SAYS}"' if sep in SAYS else SAYS
    return f"{says}\n".encode() + table.to_csv(sep=sep, index=False, lineterminator="\n").encode()


def steel(heat: str) -> fp.Steel:
    grade, composition = HEATS[heat]
    return fp.Steel(heat, composition, limits=fp.grade(grade).limits)


def route(run: str) -> fp.Route:
    _, preheat, flux, spray_s, delay, _ = RUNS[run]
    return fp.Route().with_(preheat_c=preheat, flux=flux, spray_s=spray_s, delay_s=delay)


def certificates() -> bytes:
    """A mill's CSV with German headers, decimal commas, ppm, a unit row, a limits row and the usual slips."""
    rows = [
        ["", "", *["%"] * 9, "ppm", "", ""],
        "max 4130 0,33 0,35 0,60 0,030 0,040 1,10 0,25".split() + [""] * 5,
    ]
    for n, (heat, (grade, composition)) in enumerate(HEATS.items()):
        cells = [f"{composition[e]:.3f}".replace(".", ",") for e in _ELEMENTS[:-1]]
        ppm = str(round(composition["N"] * 1e4))
        rows.append([heat, grade, *cells, ppm, f"{3 + n}.2.2025", f"B{17 + n}"])
    second = [*rows[2]]
    second[2], second[5] = "0,310", "<0,020"
    broken, note = ["R5", "4130", "2,9", *rows[3][3:]], ["* im Lichtbogenofen erschmolzen"]
    header = f"Schmelze Güte {' '.join(_ELEMENTS)} Datum Bund"
    return text(header, [*rows, second, broken, note + [""] * 13], ";")


def laboratory() -> bytes:
    """The laboratory's workbook: title, element names down the rows, a hidden sheet, a percentage format."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "analysis"
    sheet.append([SAYS])
    sheet.append(["Heat", *HEATS])
    sheet.append(["Grade", *(grade for grade, _ in HEATS.values())])
    for element in ("C", "Si", "Mn", "P", "S", "Cr", "Mo", "Ni", "Cu"):
        sheet.append([f"{element} [%]", *(round(c[element] * 1.01, 3) for _, c in HEATS.values())])
    sheet.append(["N [ppm]", *(round(c["N"] * 1e4) for _, c in HEATS.values())])
    sheet["B4"] = HEATS["R1"][1]["C"] / 100
    sheet["B4"].number_format = "0.00%"
    sheet["E6"] = "n.d."
    book.create_sheet("draft").append(["not for use"])
    book["draft"].sheet_state = "hidden"
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def runs() -> bytes:
    rows = [[run, heat, HEAD, *settings] for run, (heat, *settings, _) in RUNS.items()]
    return text("head_id heat head preheat_c flux spray_s delay_s", rows)


def marched(run: str) -> Trace:
    cases = Cases.of([steel(RUNS[run][0])], [fp.head(HEAD)], [route(run)], [TRUTH])
    return evaluate(cases, ("points",)).results.traces[0]


def traces(rng) -> bytes:
    """10 Hz from 2 s before the furnace opens to 45 s after, 2.5 K of noise, an open circuit, a spike."""
    rows = []
    for run in (r for r, (*_, wired) in RUNS.items() if wired):
        trace, door = marched(run), route(run).soak_s
        times = np.arange(-2.0, 45.0, 0.1)
        for channel, zone in CHANNELS.items():
            depth_mm = float(DEPTHS[channel]) if channel in DEPTHS else None
            at_probe = trace.weighted(probe_weights(fp.head(HEAD), zone, depth_mm))
            true = np.interp(door + times, trace.time_s, at_probe)
            seen = true + rng.normal(0.0, 2.5, times.size)
            cells = [f"{v:.1f}" for v in seen]
            if (run, channel) == ("102", "T1"):  # open circuit for 0.8 s, and one spike
                cells[200:208] = ["OL"] * 8
                cells[330] = f"{seen[330] + 180:.1f}"
            if (run, channel) == ("103", "T3"):  # lost readings
                cells[100:103] = [""] * 3
            rows += [[run, f"{t:.1f}", channel, c] for t, c in zip(times, cells, strict=True)]
    return text("head_id time_s channel temperature_c", rows)


def channels() -> bytes:
    return text("channel zone depth_mm", [[c, z, DEPTHS.get(c, "")] for c, z in CHANNELS.items()])


def hardness(results, rng) -> bytes:
    """Three readings a zone, 8 HV of scatter, on the scale the tester is set to for that zone."""
    rows = []
    for run, result in results.items():
        for zone, part in result.zones.items():
            for position in ("toe", "centre", "heel"):
                hv = part.hardness_hv + rng.normal(0.0, 8.0)
                hrc = try_convert(hv, "HV", "HRC") if zone == "face" else None
                shown = (f"{hv:.0f}", "HV10") if hrc is None else (f"{hrc:.1f}", "HRC")
                rows.append([run, zone, position, *shown])
    rows[3][3] = "4l2"  # a slip at the keyboard
    return text("head_id zone position value scale", rows)


def bends(results, rng) -> bytes:
    """Each head is bent ever further until it cracks, near three times the allowed bend (invented)."""
    rows = []
    for run, result in results.items():
        cracks_at = 3.0 * result.hosel.allowed_deg * rng.lognormal(0.0, 0.15)
        for degrees in (1.0, 2.0, 4.0, 8.0):
            force = result.hosel.bar_force_n * rng.normal(1.0, 0.05)
            cracked = degrees > cracks_at
            rows.append([run, degrees, f"{force:.0f}", "yes" if cracked else "no"])
            if cracked:
                break
    return text("head_id degrees force_n cracked", rows)


def log(rng) -> bytes:
    """Sixty heads, predicted by the neutral shop; from the 41st on a nozzle is half shut and nobody knows."""

    @functools.cache
    def face_hv(heat, flux, shop=None):
        route = fp.Route().with_(flux=flux)
        return fp.estimate(steel(heat), HEAD, route, shop=shop).zones["face"].hardness_hv

    rows = []
    for n in range(60):
        heat, flux = ("R1", "R2")[n % 2], 12.0 if n < 40 else 9.5
        said, true = face_hv(heat, 12.0), face_hv(heat, flux, TRUTH)
        day, seen = f"2025-{3 + n // 20:02d}-{1 + n % 20:02d}", true + rng.normal(0.0, 9.0)
        rows.append([day, heat, str(201 + n), "face hardness HV", f"{said:.0f}", f"{seen:.0f}"])
    return text("date heat head_id quantity predicted measured", rows)


def plate(rng) -> bytes:
    """A stainless plate, 10 mm, thermocouple 1 mm deep, under 12 kg/(m² s) of 25 °C water, 50 Hz."""
    made, water = Plate(10.0, 1.0), 25.0
    state, rows = made.start(900.0), []

    def flux(surface):
        def q(at):
            return TRUTH.spray * spray_w_m2k(12.0, at, water) * (at - water)

        return q(surface), (q(surface + 0.5) - q(surface - 0.5)), np.empty(0)

    for n in range(1001):
        reading = made.at_junction(state)[0] + rng.normal(0.0, 2.0)
        rows.append([f"{0.02 * n:.2f}", "P1", f"{reading:.1f}"])
        state = made.step(made.step(state, 0.01, flux), 0.01, flux)
    return text("time_s channel temperature_c", rows)


def main(folder: Path) -> None:
    rng = np.random.default_rng(SEED)
    heads = ((run, heat) for run, (heat, *_) in RUNS.items())
    results = {r: fp.estimate(steel(heat), HEAD, route(r), shop=TRUTH) for r, heat in heads}
    files = {
        "certificates.csv": certificates(), "laboratory.xlsx": laboratory(), "runs.csv": runs(), "traces.csv": traces(rng),
        "channels.csv": channels(), "hardness.csv": hardness(results, rng), "bends.csv": bends(results, rng),
        "log.csv": log(rng), "plate.csv": plate(rng),
    }  # fmt: skip
    for name, content in files.items():
        write_bytes(folder / name, content, overwrite=True)


if __name__ == "__main__":
    here = Path(__file__).resolve().parents[1] / "data" / "demo"
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else here)
