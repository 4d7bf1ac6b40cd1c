"""The same march on a simple specimen: an air-cooled or quenched bar, an end-quench bar, an imposed curve, a diagram of curves."""

import functools
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .answer.interval import hardness_interval_hv
from .base.constants import STEEL_DENSITY_KG_M3
from .base.errors import InputError, check_curve, check_number, check_whole
from .base.ranges import Warn, contents_outside
from .engine import batch, outcome, packing
from .engine.section import lobatto
from .inputs.grades import steel_of
from .inputs.steel import Steel
from .io.tables import data_frame
from .strength.hardness_scales import try_convert
from .transformation import austenite, kinetics, temperatures

#: Emissivity of the end-quench bar's shank: the standard keeps it from scaling, so it is barer than a forging
#: (0.3-0.5 for oxide-free hot steel, from memory); with 0.8 its far end cools half as fast again as printed.
END_QUENCH_EMISSIVITY = 0.4
_PHASES = ("ferrite", "pearlite", "bainite", "martensite", "austenite")
#: Constant cooling rates the diagram is made from, °C/s, fast to slow; our choice: water on a thin face to
#: a bin.
RATES_C_PER_S = tuple(float(r) for r in np.geomspace(1000.0, 0.03, 49))
#: A constituent is drawn from 1 % of the steel on (the usual reading of diagrams, common practice) to 99 % of
#: what it comes to.
_SEEN, _DONE = 0.01, 0.99


@dataclass(frozen=True)
class Cooled:
    """Structure and hardness of a cooled specimen."""

    steel: Steel
    time_s: np.ndarray  #: shape (n,); the curve (mean over the section of a bar)
    temperature_c: np.ndarray
    fractions: dict[str, float]  #: shares of the constituents at the end; their sum is 1
    hardness_hv: float  #: with self-tempering
    hardness_as_quenched_hv: float  #: without it
    history: dict[str, np.ndarray] | None  #: shares along an imposed curve
    warnings: tuple[Warn, ...] = ()

    @property
    def hardness_hrc(self) -> float | None:
        """HRC, or None below the scale."""
        return try_convert(self.hardness_hv, "HV", "HRC")

    @property
    def hardness_hb(self) -> float | None:
        """HB, or None outside the tables."""
        return try_convert(self.hardness_hv, "HV", "HB")

    @property
    def hardness_low_hv(self) -> float:
        """Lower end of the 80 % interval, HV."""
        return hardness_interval_hv(self.hardness_hv, self.fractions)[0]

    @property
    def hardness_high_hv(self) -> float:
        """Upper end of the 80 % interval, HV."""
        return hardness_interval_hv(self.hardness_hv, self.fractions)[1]


def _case(steel, from_c, grain, k=None, within_c=(750.0, 1300.0), emissivity=0.8, air_c=25.0):
    """Steel, case and start of one specimen, fully austenitic, in still air (forge-scaled unless said otherwise)."""
    steel = steel_of(steel)
    from_c = check_number(from_c, "temperature from which it cools", *within_c, "°C")
    if k is not None:
        kinetics.check_constants(k)
    case = np.zeros(1, packing.CASE)
    start = packing.pack_steels([steel], case, k)
    if grain is not None:
        check_number(grain, "grain size", 0.0, 14.0, "ASTM number")
    grain = steel.grain_size_astm if grain is None else float(grain)
    case["start_grain_um"] = austenite.diameter_um_from_astm(grain)
    case["start_c"], case["start_austenite"] = from_c, 1.0
    case["air_c"], case["emissivity"] = air_c, emissivity
    case["view_factor"] = case["air_factor"] = 1.0
    return steel, case, start


def _cooled(steel, case, time_s, temperature_c, out, history=None) -> Cooled:
    shares = {p: float(out[getattr(outcome, f"O_{p.upper()}")]) for p in _PHASES}
    hv = float(out[outcome.O_HV]), float(out[outcome.O_HV_QUENCHED])
    found = [*contents_outside("kinetics", steel), *contents_outside("phase_hardness", steel)]
    from_c, ac3 = float(case["start_c"][0]), float(temperatures.ac3_c(steel))
    if from_c < ac3:
        said = f"cooling starts at {from_c:.0f} °C, below this steel's Ac3 of {ac3:.0f} °C"
        found.append(Warn("partial-austenite", f"{said}; it is counted as fully austenitic."))
    return Cooled(steel, time_s, temperature_c, shares, *hv, history, tuple(filter(None, found)))


def _bar_zone(diameter_mm: float) -> np.ndarray:
    """One metre of round bar as a zone: front and back are half the skin each (see `head.Zone`)."""
    d = diameter_mm * 1e-3
    zone = np.zeros((1, 1), packing.ZONE)
    zone["mass_kg"] = STEEL_DENSITY_KG_M3 * math.pi / 4 * d * d
    zone["front_m2"] = zone["back_m2"] = math.pi * d / 2
    zone["conduction_m"] = math.pi * d / 2 * (2 / 3) / (d / 2)
    return zone


def _march(case, zone, convection, start, constants, points, jet_s: float = 0.0, **options):
    """March one zone through a jet on its front, if any, and cooling to the end."""
    stages = [(packing.JET, jet_s)] * (jet_s > 0.0) + [(packing.COOL, 1e6)]
    steps = np.zeros((1, len(stages)), packing.STEP)
    steps["kind"], steps["duration_s"] = zip(*stages, strict=True)
    steps["fluid_c"] = 25.0
    zero, kinetic = np.zeros(1, np.int64), packing.kinetic_array(constants)
    section, convection = packing.section(points), np.reshape(convection, (1, 1, -1))
    packed = batch.Packed(case, zone, zero, steps, convection, zero, start, zero, kinetic, section)
    return batch.run(packed, **options)


def air_cooled_bar(
    steel: Steel, diameter_mm: float = 13.5, from_c: float = 870.0, *,
    grain_size_astm: float | None = None, air_c: float = 25.0, emissivity: float = 0.8,
    constants=None, tolerance_c: float = batch.TOLERANCE_C,
) -> Cooled:  # fmt: skip
    """Cool a long round bar of 2 to 300 mm in still air: the nearest everyday thing to a hosel.

    Parameters
    ----------
    from_c : temperature it leaves the furnace at, fully austenitic, °C (750 to 1300).
    grain_size_astm : austenite grain; the steel's own number when left out.
    air_c, emissivity : room, °C, and emissivity of the scaled bar.
    constants : of the rate equations, for fitting; see `transformation.kinetics.constants`.

    Examples
    --------
    >>> bar = air_cooled_bar(Steel("1020", {"C": 0.20, "Mn": 0.45, "Si": 0.25}), 25.0, 925.0)
    >>> 110 < bar.hardness_hv < 150
    True
    """
    diameter_mm = check_number(diameter_mm, "bar diameter", 2.0, 300.0, "mm")
    air_c = check_number(air_c, "air temperature", -30.0, 60.0, "°C")
    emissivity = check_number(emissivity, "emissivity", 0.05, 1.0)
    tolerance_c = check_number(tolerance_c, "error allowed a step", 1e-4, 50.0, "°C")
    around = {"emissivity": emissivity, "air_c": air_c}
    steel, case, start = _case(steel, from_c, grain_size_astm, constants, **around)
    convection = packing.convection_table("round", diameter_mm, air_c, 0.0)
    bar = (case, _bar_zone(diameter_mm), convection, start, constants, packing.POINTS[:1])
    marched = _march(*bar, trace=True, tolerance_c=tolerance_c)
    return _cooled(steel, case, *marched.trace[0].T[:2], marched.zones[0, 0])


def quenched_bar(
    steel: Steel, diameter_mm: float, h_w_m2k: float, from_c: float = 860.0,
    bath_c: float = 25.0, *, grain_size_astm: float | None = None, constants=None, points: int = 9,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Quench a round bar of 2 to 300 mm in a bath; depth under the skin to the centre, mm, and hardness there, HV.

    `h_w_m2k` is the coefficient of the bath: Grossmann severity H (1/in) times 2k/0.0254, k = 28 W/(m K): 2205 H;
    `points` from skin to skin (odd, 3 to 25); the rest as of `air_cooled_bar`.
    """
    diameter_mm = check_number(diameter_mm, "bar diameter", 2.0, 300.0, "mm")
    check_number(h_w_m2k, "heat-transfer coefficient", 10.0, 50_000.0, "W/(m² K)")
    points = check_whole(points, "points", 3, 25)
    if points % 2 == 0:
        raise InputError(f"points must be an odd number from 3 to 25; got {points}.")
    bath_c = check_number(bath_c, "bath temperature", 0.0, 100.0, "°C")
    steel, case, start = _case(steel, from_c, grain_size_astm, constants, air_c=bath_c)
    case["view_factor"] = 0.0
    convection = np.full(len(packing.CONVECTION_C), float(h_w_m2k))
    bar = (case, _bar_zone(diameter_mm), convection, start, constants, (points,))
    marched = _march(*bar, stop_c=bath_c + 15.0)
    half = points // 2 + 1
    x = lobatto(points)[0][:half]
    # the slab stands for the round: equal shares of section from the skin, so depth = R (1 - sqrt(1 - 2x))
    depth = diameter_mm / 2 * (1.0 - np.sqrt(np.maximum(1.0 - 2.0 * x, 0.0)))
    return depth, marched.point_hv[0, :half]


def end_quench_bar(
    steel: Steel, from_c: float = 860.0, *, grain_size_astm: float | None = None, constants=None,
    points: int = 26,
):  # fmt: skip
    """End-quench (Jominy) hardness by the march: a water jet on one end of a 25 x 100 mm bar.

    A DataFrame with columns ``distance_mm`` (0 to 100), ``hv``, ``hrc`` (None below the scale), at 10 to 40 points.
    The jet is one coefficient (`packing.JET_W_M2K`); the skin loses heat to still air.

    References
    ----------
    .. [1] Bar and jet: ISO 642; ASTM A255 (from memory).
    .. [2] Jet of 12 kW/(m² K), within 5-20 read from measured curves; emissivity of the shank 0.4 (our choice).
    """
    points = check_whole(points, "points", 10, 40)
    shank = {"emissivity": END_QUENCH_EMISSIVITY}
    _, case, start = _case(steel, from_c, grain_size_astm, constants, **shank)
    d, length = 0.025, 0.100
    area = math.pi / 4 * d * d
    zone = np.zeros((1, 1), packing.ZONE)
    zone["mass_kg"] = STEEL_DENSITY_KG_M3 * area * length
    zone["front_m2"] = zone["back_m2"] = area
    zone["side_m2"] = math.pi * d * length
    zone["conduction_m"] = area / length
    bar = (
        case,
        zone,
        packing.convection_table("round", 25.0, 25.0, 0.0),
        start,
        constants,
        (points,),
    )
    hv = _march(*bar, jet_s=1200.0, tolerance_c=1.0).point_hv[0]
    hrc = [try_convert(float(v), "HV", "HRC") for v in hv]
    return data_frame({"distance_mm": 100.0 * lobatto(points)[0], "hv": hv, "hrc": hrc})


def continuous_cooling(
    steel: Steel, time_s=None, temperature_c=None, *, from_c: float = 860.0,
    rate_c_per_s: float | None = None, to_c: float = 25.0, grain_size_astm: float | None = None,
    constants=None,
) -> Cooled:  # fmt: skip
    """Structure and hardness along an imposed temperature curve, fully austenitic at its start.

    Parameters
    ----------
    time_s, temperature_c : array-like; the curve: two or more points, times rising; `Cooled.history` has
        the shares there.
    from_c, rate_c_per_s, to_c : instead of a curve: start, constant rate (0.001 to 1000 °C/s) and end.

    Examples
    --------
    >>> cr_mo = Steel("4140", {"C": 0.40, "Mn": 0.85, "Si": 0.25, "Cr": 0.95, "Mo": 0.20})
    >>> fast = continuous_cooling(cr_mo, rate_c_per_s=100.0)
    >>> fast.fractions["martensite"] > 0.97
    True
    """
    if (time_s is None) != (temperature_c is None) or (time_s is None) == (rate_c_per_s is None):
        ways = "time_s with temperature_c, or rate_c_per_s (with from_c and to_c)"
        raise InputError(f"give either {ways}.")
    if time_s is None:
        rate = check_number(rate_c_per_s, "cooling rate", 1e-3, 1e3, "°C/s")
        from_c = check_number(from_c, "temperature from which it cools", 700.0, 1300.0, "°C")
        to_c = check_number(to_c, "end temperature", -50.0, from_c - 1.0, "°C")
        temperature = np.linspace(from_c, to_c, 201)
        time = (from_c - temperature) / rate
    else:
        time, temperature = check_curve(time_s, temperature_c, "the curve")
        for t in (temperature.min(), temperature.max()):
            check_number(float(t), "temperature of the curve", -100.0, 1350.0, "°C")
    begin = float(temperature[0]), grain_size_astm, constants
    steel, case, start = _case(steel, *begin, within_c=(-100.0, 1350.0))
    kinetic, grain_um = packing.kinetic_array(constants), float(case["start_grain_um"][0])
    out, history = batch.run_curve(case[0], start[0], kinetic, time, temperature, grain_um)
    shares = {p: history[:, i] for i, p in enumerate(_PHASES)}
    return _cooled(steel, case, time, temperature, out, shares)


class Region(NamedTuple):
    """Where one constituent forms: along each rate at which it forms at all, from a start to an end."""

    rate_c_per_s: np.ndarray
    start_s: np.ndarray  # since the steel fell below Ae3
    start_c: np.ndarray
    end_s: np.ndarray
    end_c: np.ndarray
    share: np.ndarray


class CoolingDiagram(NamedTuple):
    """Continuous-cooling diagram."""

    steel: Steel
    ae3_c: float
    ms_c: float
    regions: dict[str, Region]  # of "ferrite", "pearlite", "bainite", "martensite", those that form
    hardness_hv: np.ndarray  # at every one of `RATES_C_PER_S`


@functools.lru_cache(maxsize=64)
def cooling_diagram(steel: Steel, grain_size_astm: float | None = None) -> CoolingDiagram:
    """Cool the steel at 49 constant rates from above Ae3 and note where each constituent forms.

    Calculated by `forgeprops.specimens.continuous_cooling`, with the steel's own austenite grain or an ASTM
    number of 0 to 14.  A real head does not cool at a constant rate: laid over the diagram, its curve shows
    which region it meets first, not the shares.
    """
    if grain_size_astm is not None:
        check_number(grain_size_astm, "grain size", 0.0, 14.0, "ASTM number")
    steel = steel_of(steel)
    critical = temperatures.critical_temperatures(steel)
    from_c = critical.ae3_c + 30.0
    found: dict[str, list[tuple[float, ...]]] = {}
    hardness, own = [], {"from_c": from_c, "grain_size_astm": grain_size_astm}
    for rate in RATES_C_PER_S:
        cooled = continuous_cooling(steel, rate_c_per_s=rate, **own)
        hardness.append(cooled.hardness_hv)
        since_s = cooled.time_s - (from_c - critical.ae3_c) / rate
        for phase in ("ferrite", "pearlite", "bainite", "martensite"):
            share = np.maximum.accumulate(cooled.history[phase])
            last = float(share[-1])
            if last > _SEEN:
                levels = (_SEEN, max(_DONE * last, _SEEN))
                ends = [np.interp(levels, share, y) for y in (since_s, cooled.temperature_c)]
                found.setdefault(phase, []).append((rate, *np.transpose(ends).ravel(), last))
    regions = {phase: Region(*np.array(rows).T) for phase, rows in found.items()}
    return CoolingDiagram(steel, critical.ae3_c, critical.ms_c, regions, np.array(hardness))
