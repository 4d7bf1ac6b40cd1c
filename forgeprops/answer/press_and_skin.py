"""What the second heat costs and leaves, from one march: skin, effort, press strain, time to heat through.

The formulas live in `forging` and `transformation`; here they meet the temperatures that the march found.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..forging.decarburisation import (
    carbon_left,
    carbon_rate_um2_s,
    decarburised_depth_estimate_um,
    layer_hardness_hv,
)
from ..forging.effort import FlowStress, equal_effort, flow_stress, flow_stress_mpa
from ..forging.press import FORCE_FACTORS, PressForce, press_force_kn
from ..forging.scale import ATMOSPHERES, Blast, metal_loss_um, scale_rate
from ..inputs.cases import Cases
from ..inputs.head import ZONES, forged_parts
from ..inputs.steel import Steel
from ..transformation.austenite import diameter_um_from_astm
from ..transformation.recrystallisation import (
    recrystallised_share_along,
    retained_strain,
    strain_speed_factor,
)

#: Reference grade for relative press effort.
REFERENCE_GRADE = "1030"
#: Heated through: the slowest zone is this near the furnace, °C (usual uniformity, common practice).
HEATED_WITHIN_C = 10.0
#: Depth a light Vickers indentation feels, µm: a 10 N indent in 200 HV steel is 14 µm deep (derived from the
#: pyramid's angle, depth = diagonal/7) and the metal around it counts too (our choice).
_SKIN_UM = 20.0
#: Depths at which the skin is calculated, µm.
_DEPTHS_UM = np.concatenate([np.arange(0.0, 100.0, 5.0), np.arange(100.0, 301.0, 20.0)])
#: Least strain, so that a flow stress exists even without a press strain.
LEAST_STRAIN = 0.01
#: Strain rates of the flow-stress laws, 1/s.
RATE_RANGE_PER_S = (0.1, 100.0)


@dataclass(frozen=True)
class Surface:
    """Skin of the face after the second heat, one side.

    Attributes
    ----------
    scale_um : float
        Scale on leaving the furnace.
    metal_loss_um : float
        Metal that became scale.
    decarburised_um : float
        Depth below the metal surface at which 90 % of the carbon is left.
    skin_hv, sound_hv : float
        Mean hardness of the outer 20 µm of metal, and of the metal below the layer.
    blast : Blast
        What a cleaning blast must take off for a hard skin: the scale that the press leaves, and metal.
    depth_um, carbon, hardness_hv : array
        Carbon (wt%) and hardness against depth below the metal surface.
    """

    scale_um: float
    metal_loss_um: float
    decarburised_um: float
    skin_hv: float
    sound_hv: float
    blast: Blast
    depth_um: np.ndarray
    carbon: np.ndarray
    hardness_hv: np.ndarray


@dataclass(frozen=True)
class Effort:
    """What the press has to do.

    Attributes
    ----------
    flow_stress : dict of str to FlowStress
        Of every zone at its metal temperature in the die.
    mean_mpa : float
        Their mean by projected area.
    press_force : PressForce
        Force on the press for the projected area of the head, kN, with the band of the shape factor.
    relative : float
        Against 1030 at the same metal temperatures.
    projected_mm2 : float
        Plan area of the forging without flash.
    die_c : float
        Metal temperature in the die, °C, mean by projected area.
    """

    flow_stress: Mapping[str, FlowStress]
    mean_mpa: float
    press_force: PressForce
    relative: float
    projected_mm2: float
    die_c: float


@dataclass(frozen=True)
class Hotter:
    """How much hotter the metal in the die would have to be to press like 1030; below 0: colder.

    Attributes
    ----------
    hotter_c, low_c, high_c : float
        Difference of metal temperatures in the die, °C, with the band of the laws.
    """

    hotter_c: float
    low_c: float
    high_c: float


@dataclass(frozen=True)
class PressStrain:
    """The press strain in the austenite of one zone when the water starts (without water: at Ae3).

    Attributes
    ----------
    recrystallised : float
        Share of the austenite that has recrystallised since the press stroke.
    strain : float
        Mean strain that is left.
    speed : float
        Factor by which it speeds ferrite, and at most bainite; only used on request.
    """

    recrystallised: float
    strain: float
    speed: float


#: Gauss points of heating up, cold to Ac1 and Ac1 to the end (see `diffusion_um2`).
_HEATING, _HEATING_WEIGHTS = (x[:, None] for x in np.polynomial.legendre.leggauss(8))


def diffusion_um2(carbon, critical, route, peak_c, scale_um) -> np.ndarray:
    """Time integral of carbon's diffusivity at the front of the face in the furnace, µm²; arrays of shape (n,).

    Parameters
    ----------
    carbon : array
        wt%.
    critical : dict of str to array
        With "ac1" and "ac3", °C.
    route : mapping of str to array
        With "start_c", "preheat_c" and "soak_s".
    peak_c, scale_um : array
        Of the front leaving the furnace.

    Notes
    -----
    The scale x is a clock: x²/k(peak) is the time at the peak that gives as much of it, and heating up costs the rest of
    the soak.  The metal nears the furnace exponentially, dt = τ dT/(furnace - T), so that heating up costs a rate r the
    time τ ∫ (1 - r(T)/r(peak)) dT/(furnace - T): the cost to the diffusion follows from that to the scale.

    References
    ----------
    .. [1] Depth against the integral along the calculated temperatures, 200 cases of all library steels: within 4 % above
       Ac3, at most 12 µm more between Ac1 and Ac3, where latent heat delays the metal (derived).
    """

    def rates(t):
        return carbon_rate_um2_s(carbon, critical["ac1"], critical["ac3"], t), scale_rate(t)

    most, most_scale = rates(peak_c)
    start = np.minimum(route["start_c"], peak_c)
    cost = cost_scale = 0.0
    middle = np.clip(critical["ac1"], start, peak_c)
    for low, high in ((start, middle), (middle, peak_c)):
        t = low + 0.5 * (high - low) * (1.0 + _HEATING)
        weight = 0.5 * (high - low) * _HEATING_WEIGHTS / np.maximum(route["preheat_c"] - t, 1e-3)
        here, here_scale = rates(t)
        cost = cost + (weight * (most - here)).sum(axis=0)
        cost_scale = cost_scale + (weight * (1.0 - here_scale / most_scale)).sum(axis=0)
    soak_s = route["soak_s"]
    at_peak_s = (scale_um / ATMOSPHERES["gas furnace"][0]) ** 2 / most_scale
    lost = (soak_s - at_peak_s) * cost / np.maximum(cost_scale, 1e-9)
    return np.maximum(most * soak_s - lost, 0.0)


def decarburised_um(diffusion, loss_um) -> np.ndarray:
    """Depth at which 90 % of the carbon is left, µm; 0 where next to nothing has moved."""
    depth = decarburised_depth_estimate_um(diffusion, loss_um)
    return np.where(np.asarray(diffusion) > 1e-3, depth, 0.0)


#: Gauss points through the outer layer.
_OUTER, _WEIGHTS = np.polynomial.legendre.leggauss(4)


def struck_skin_hv(composition, diffusion, loss_um, core_hv, water_c) -> np.ndarray:
    """Mean hardness of the outer 20 µm of metal, which the strike meets, HV; arrays of shape (n,).

    Parameters
    ----------
    composition : dict of str to array
    diffusion, loss_um, core_hv, water_c : array
        See `diffusion_um2`; metal that the scale took, hardness of the sound metal, metal temperature when the
        spray starts (NaN: no spray).
    """
    layers = 0.5 * _SKIN_UM * (1.0 + _OUTER)
    wide = {element: content[:, None] for element, content in composition.items()}
    carbon = wide["C"] * carbon_left(layers, diffusion[:, None], loss_um[:, None])
    return layer_hardness_hv(wide, carbon, core_hv[:, None], water_c[:, None]) @ (0.5 * _WEIGHTS)


def surface_of(
    steel,
    scale_um: float,
    diffusion: float,
    core_hv: float,
    water_c: float | None,
    scale_left: float,
) -> Surface:
    """Scale, lost carbon and hardness of the face's skin.

    Parameters
    ----------
    steel : Steel or mapping
    scale_um : float
        On leaving the furnace.
    diffusion : float
        See `diffusion_um2`.
    core_hv : float
        Hardness of the face's sound metal, HV.
    water_c : float or None
        Metal temperature when the spray starts; None without spray.
    scale_left : float
        Share of the scale that the press leaves.
    """
    loss = metal_loss_um(scale_um)
    depth = float(decarburised_um(diffusion, loss))
    carbon = steel.get("C") * carbon_left(_DEPTHS_UM, diffusion, loss)
    hv = layer_hardness_hv(steel, carbon, core_hv, water_c)
    outer = np.linspace(0.0, _SKIN_UM, 21)
    skin = float(np.trapezoid(np.interp(outer, _DEPTHS_UM, hv), outer) / _SKIN_UM)
    blast = Blast(scale_um * scale_left, depth)
    return Surface(scale_um, loss, depth, skin, core_hv, blast, _DEPTHS_UM, carbon, hv)


def least_press(strain, dwell_s) -> dict[str, np.ndarray]:
    """Strain of the press for the flow-stress laws, at least `LEAST_STRAIN`, and its mean rate, 1/s.

    The rate is strain over dwell, within the range of the laws.

    Examples
    --------
    >>> {name: float(x) for name, x in least_press(0.15, 0.05).items()}
    {'strain': 0.15, 'rate_per_s': 3.0}
    """
    strain = np.maximum(strain, LEAST_STRAIN)
    rate = np.clip(strain / np.maximum(dwell_s, 1e-3), *RATE_RANGE_PER_S)
    return {"strain": strain, "rate_per_s": rate}


def press_columns(cases: Cases, die_c: np.ndarray) -> dict[str, np.ndarray]:
    """Mean flow stress of every head in the die and the force of the press.

    Parameters
    ----------
    die_c : array, shape (n, 5)
        Metal temperature of the zones in the die, °C.

    Returns
    -------
    dict
        "area_mm2" (n, 5), its sum "projected_mm2", "die_c" and "flow_stress_mpa" (means by projected area),
        "press_force_kn", "strain", "rate_per_s".
    """
    areas = projected_areas_mm2(*forged_parts(*cases.heads.parts))
    area = np.stack([np.broadcast_to(areas[z], (len(cases.heads),)) for z in ZONES], axis=1)
    area = area if cases.head_of is None else area[cases.head_of]
    used = least_press(cases.route["strain"], cases.route["dwell_s"])
    wide = {e: v[:, None] for e, v in cases.composition.items()}
    stress = flow_stress_mpa(wide, die_c, *(x[:, None] for x in used.values()))
    whole = area.sum(axis=1)
    mean = (stress * area).sum(axis=1) / whole
    return {
        "area_mm2": area,
        "projected_mm2": whole,
        "die_c": (die_c * area).sum(axis=1) / whole,
        "flow_stress_mpa": mean,
        "press_force_kn": FORCE_FACTORS["complex"][0] * mean * whole / 1000.0,
        **used,
    }


def projected_areas_mm2(face, rim, body, neck, hosel) -> dict:
    """Plan area of every zone from the parts of a forging, mm², as the press sees it; the flash is not counted.

    References
    ----------
    .. [1] Plan area of the forging without flash from its dimensions (derived).
    """
    inside = face.length_mm * face.height_mm
    return {
        "face": inside,
        "rim": rim.length_mm * rim.height_mm - inside,
        "body": sum(b.length_mm * b.thickness_mm for b in body),
        "neck": neck.length_mm * (neck.base_mm + hosel.outside_mm) / 2,
        "hosel": hosel.length_mm * hosel.outside_mm,
    }


@functools.cache
def _reference() -> Steel:
    from ..inputs.grades import grade

    return grade(REFERENCE_GRADE)


def effort_of(steel, die_c: np.ndarray, press: Mapping[str, np.ndarray], case: int = 0) -> Effort:
    """What the press has to do for one case, with the band of the laws.

    Parameters
    ----------
    die_c : array, shape (n, 5)
    press : mapping
        From `press_columns`.
    """
    strain, rate = float(press["strain"][case]), float(press["rate_per_s"][case])
    weight, here = press["area_mm2"][case], die_c[case]
    stress = flow_stress(steel, here, strain, rate)
    mean, whole = float(press["flow_stress_mpa"][case]), float(press["projected_mm2"][case])
    reference = float(weight @ flow_stress_mpa(_reference(), here, strain, rate) / weight.sum())
    return Effort(
        {z: FlowStress(*(float(s[i]) for s in stress)) for i, z in enumerate(ZONES)},
        mean,
        press_force_kn(whole, mean),
        mean / reference,
        whole,
        float(press["die_c"][case]),
    )


def hotter_for_reference(
    steel: Steel, die_c: float, strain: float, rate_per_s: float
) -> Hotter | None:
    """By how much the metal in the die would have to be hotter to press like 1030 does at its temperature there.

    Parameters
    ----------
    die_c : float
        Metal temperature in the die, °C.
    strain, rate_per_s : float
        See `least_press`.

    Returns
    -------
    Hotter or None
        None outside 700-1300 °C, where the laws do not reach.
    """
    if not 700.0 <= die_c <= 1300.0:
        return None
    found = equal_effort(_reference(), die_c, steel, strain=strain, rate_per_s=rate_per_s)
    return Hotter(found.preheat_c - die_c, found.low_c - die_c, found.high_c - die_c)


def press_strain(
    time_s,
    temperature_c,
    span_s: tuple[float, float],
    strain: float,
    grain_um: float,
    molybdenum: float = 0.0,
) -> PressStrain:
    """Strain that the press leaves in one zone until the spray starts.

    Parameters
    ----------
    time_s, temperature_c : array
        Mean temperature of the zone from loading on.
    span_s : tuple of float
        End of the press and start of the spray, s.
    strain : float
        Of the press.
    grain_um : float
        Austenite grain before the press.
    molybdenum : float
        wt%.
    """
    if strain <= 0.0:
        return PressStrain(1.0, 0.0, 1.0)
    start, end = span_s
    inside = (time_s > start) & (time_s < end)
    t = np.concatenate([[start], time_s[inside], [max(end, start)]])
    share = recrystallised_share_along(
        t, np.interp(t, time_s, temperature_c), strain, grain_um, molybdenum
    )
    left = retained_strain(strain, share)
    return PressStrain(share, left, strain_speed_factor(left))


def press_strain_columns(cases: Cases, traces, grain_astm, ae3_c) -> dict[str, np.ndarray]:
    """`press_strain` of every zone, arrays of shape (n, 5); without spray until the zone cools to Ae3.

    Returns
    -------
    dict
        "recrystallised", "strain", "speed": the fields of `PressStrain`.
    """
    times, molybdenum = cases.times_s, cases.content("Mo")
    found = np.ones((3, *grain_astm.shape))
    for case, trace in enumerate(traces):
        start, on = times["end of stroke"][case], times["water on"][case]
        for zone in range(len(ZONES)):
            temperature = trace.zones_c[:, zone]
            end = on
            if np.isnan(on):
                cold = (trace.time_s > start) & (temperature < ae3_c[case])
                end = trace.time_s[np.argmax(cold) if cold.any() else -1]
            one = press_strain(
                trace.time_s,
                temperature,
                (start, end),
                cases.route["strain"][case],
                diameter_um_from_astm(grain_astm[case, zone]),
                molybdenum[case],
            )
            found[:, case, zone] = one.recrystallised, one.strain, one.speed
    return dict(zip(("recrystallised", "strain", "speed"), found, strict=True))


def heat_through_s(time_s, zones_c, set_c: float, soak_s: float) -> float | None:
    """Time from loading until the slowest zone is within 10 °C of the furnace, s; None if not.

    Parameters
    ----------
    time_s : array, shape (m,)
    zones_c : array, shape (m, zones)
        Mean temperatures.
    set_c, soak_s : float
        Preheat temperature and time in the furnace.

    References
    ----------
    .. [1] Slowest zone within 10 °C of the furnace: usual uniformity (common practice).
    """
    slowest = np.min(zones_c, axis=1)
    reached = (time_s <= soak_s * (1.0 + 1e-9)) & (slowest >= set_c - HEATED_WITHIN_C)
    if not reached.any():
        return None
    k = int(np.argmax(reached))
    if k == 0:
        return float(time_s[0])
    # the gap to the furnace closes exponentially: straight in its logarithm
    gap = set_c - slowest[k - 1 : k + 1]
    if gap[1] <= 0.0 or gap[0] <= gap[1]:
        return float(time_s[k])
    part = math.log(gap[0] / HEATED_WITHIN_C) / math.log(gap[0] / gap[1])
    return float(time_s[k - 1] + part * (time_s[k] - time_s[k - 1]))
