"""What the press has to do: plan area, strain and rate, flow stress in the die, force."""

import functools
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from ..base.errors import check_choice, check_number
from ..inputs.cases import Cases
from ..inputs.drawing import Drawing
from ..inputs.grades import grade
from ..inputs.head import ZONES, forged
from ..inputs.route import SHAPES
from .effort import FlowStress, equal_effort, flow_stress, flow_stress_mpa

#: Reference grade for relative press effort.
REFERENCE_GRADE = "1030"
#: Least strain, so that a flow stress exists even without a press strain.
LEAST_STRAIN = 0.01
#: Strain rates of the flow-stress laws, 1/s.
RATE_RANGE_PER_S = (0.1, 100.0)
#: Shape factor Kf of impression-die forging: (central, low, high); Groover's table 18.1 has 6 simple with flash, 8
#: complex, 10 very complex, 6-8 flashless; Schey gives 5-8 and 8-12.
FORCE_FACTORS = {"simple": (6.0, 5.0, 8.0), "complex": (8.0, 6.0, 10.0)}
FORCE_FACTORS |= {"very complex": (10.0, 8.0, 12.0), "coining": (6.0, 5.0, 8.0)}


class PressForce(NamedTuple):
    """Press force, kN: central value and band of the shape factor."""

    kn: float
    low_kn: float
    high_kn: float


def press_force_kn(projected_area_mm2, flow_stress_mpa, shape="complex"):
    """Press force F = Kf Y A of an impression die with flash; `shape` as in `FORCE_FACTORS`.

    A is the plan area of the head with its flash, Y the flow stress at the metal temperature in the die.  Good for
    comparing routes; an absolute force within the band.

    .. [1] M. P. Groover, Fundamentals of Modern Manufacturing, eq. 18.18 (read).
    .. [2] Factors: M. P. Groover, table 18.1; J. A. Schey (from memory).
    """
    area = check_number(projected_area_mm2, "projected area", 0.0, 1e6, "mm²")
    middle, low, high = FORCE_FACTORS[check_choice(shape, "shape", FORCE_FACTORS)]
    unit = flow_stress_mpa * area / 1000.0
    return PressForce(middle * unit, low * unit, high * unit)


class Effort(NamedTuple):
    """What the press has to do."""

    flow_stress: Mapping[str, FlowStress]  #: of every zone at its metal temperature in the die
    mean_mpa: float  #: their mean by projected area
    press_force: PressForce  #: for the projected area, with the band of the shape factor
    relative: float  #: against 1030 at the same metal temperatures
    projected_mm2: float  #: plan area of the forging without flash
    die_c: float  #: metal temperature in the die, mean by projected area


class Hotter(NamedTuple):
    """How much hotter the metal in the die would have to be to press like 1030, °C, with the band; below 0: colder."""

    hotter_c: float
    low_c: float
    high_c: float


def least_press(strain, dwell_s) -> dict[str, np.ndarray]:
    """Strain of the press for the flow-stress laws, at least `LEAST_STRAIN`, and its mean rate, strain over dwell within the range
    of the laws, 1/s."""
    strain = np.maximum(strain, LEAST_STRAIN)
    rate = np.clip(strain / np.maximum(dwell_s, 1e-3), *RATE_RANGE_PER_S)
    return {"strain": strain, "rate_per_s": rate}


def projected_areas_mm2(d: Drawing) -> dict:
    """Plan area of every zone of a forging, mm², as the press sees it; the flash is not counted.

    .. [1] Plan area of the forging without flash from its dimensions (derived).
    """
    inside = d.face_length_mm * d.face_height_mm
    areas = {"face": inside, "rim": d.rim_length_mm * d.rim_height_mm - inside}
    areas["body"] = sum(b.length_mm * b.thickness_mm for b in d.body)
    areas["neck"] = d.neck_length_mm * (d.neck_base_mm + d.hosel_outside_mm) / 2
    return areas | {"hosel": d.hosel_length_mm * d.hosel_outside_mm}


def press_columns(cases: Cases, die_c: np.ndarray) -> dict[str, np.ndarray]:
    """Mean flow stress of every head in the die, whose zones have `die_c`, °C, (n, 5), and the force of the press: "area_mm2"
    (n, 5), its sum "projected_mm2", "die_c" and "flow_stress_mpa" (means by projected area), "press_force_kn", "shape" (index
    into `SHAPES`), "strain", "rate_per_s"."""
    areas = projected_areas_mm2(forged(cases.heads))
    area = np.stack([np.broadcast_to(areas[z], (len(cases.heads),)) for z in ZONES], axis=1)
    area = area[cases.head_of]
    used = least_press(cases.route["strain"], cases.route["dwell_s"])
    wide = {e: v[:, None] for e, v in cases.composition.items()}
    stress = flow_stress_mpa(wide, die_c, *(x[:, None] for x in used.values()))
    whole = area.sum(axis=1)
    mean = (stress * area).sum(axis=1) / whole
    shape = cases.route["press_shape"].astype(int)
    factor = np.array([FORCE_FACTORS[name][0] for name in SHAPES])[shape]
    found = {"area_mm2": area, "projected_mm2": whole, "shape": shape, **used}
    found |= {"die_c": (die_c * area).sum(axis=1) / whole, "flow_stress_mpa": mean}
    return {**found, "press_force_kn": factor * (mean * whole / 1000.0)}


@functools.cache
def _reference():
    return grade(REFERENCE_GRADE)


def effort_of(steel, die_c: np.ndarray, press: Mapping[str, np.ndarray], case: int = 0) -> Effort:
    """What the press has to do for one case, with the band of the laws; `press` is from `press_columns`."""
    strain, rate = float(press["strain"][case]), float(press["rate_per_s"][case])
    weight, here = press["area_mm2"][case], die_c[case]
    stress = flow_stress(steel, here, strain, rate)
    mean, whole = float(press["flow_stress_mpa"][case]), float(press["projected_mm2"][case])
    reference = float(weight @ flow_stress_mpa(_reference(), here, strain, rate) / weight.sum())
    zones = {z: FlowStress(*(float(s[i]) for s in stress)) for i, z in enumerate(ZONES)}
    force = press_force_kn(whole, mean, SHAPES[press["shape"][case]])
    return Effort(zones, mean, force, mean / reference, whole, float(press["die_c"][case]))


def hotter_for_reference(steel, die_c: float, strain: float, rate_per_s: float) -> Hotter | None:
    """By how much the metal in the die would have to be hotter to press like 1030 does at its temperature there; strain and rate
    as of `least_press`; None outside 700-1300 °C, where the laws do not reach."""
    if not 700.0 <= die_c <= 1300.0:
        return None
    found = equal_effort(_reference(), die_c, steel, strain=strain, rate_per_s=rate_per_s)
    return Hotter(found.preheat_c - die_c, found.low_c - die_c, found.high_c - die_c)
