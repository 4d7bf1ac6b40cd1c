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
    decarburised_depth_estimate_um,
    diffusion_along_um2,
    layer_hardness_hv,
)
from ..forging.effort import FlowStress, equal_effort, flow_stress, flow_stress_mpa
from ..forging.press import PressForce, press_force_kn
from ..forging.scale import Blast, metal_loss_um
from ..inputs.head import ZONES, Head
from ..inputs.route import Press, Route
from ..inputs.shop import Shop
from ..inputs.steel import Steel
from ..transformation.austenite import diameter_um_from_astm
from ..transformation.recrystallisation import (
    recrystallised_share_along,
    retained_strain,
    strain_speed_factor,
)
from ..transformation.temperatures import ae3_c

__all__ = [
    "HEATED_WITHIN_C",
    "LEAST_STRAIN",
    "Effort",
    "Hotter",
    "PressStrain",
    "RATE_RANGE_PER_S",
    "REFERENCE_GRADE",
    "Surface",
    "effort_of",
    "heat_through_s",
    "hotter_for_reference",
    "press_rate_per_s",
    "press_strain",
    "projected_areas_mm2",
    "projected_mm2",
    "squeeze_strain",
    "surface_of",
]


#: Steel whose effort the others are told against.
REFERENCE_GRADE = "1030"
#: Heated through: the slowest zone is this near the furnace, °C (usual uniformity, common practice).
HEATED_WITHIN_C = 10.0
#: Depth a light Vickers indentation feels, µm: a 10 N indent in 200 HV steel is 14 µm deep (derived from the
#: pyramid's angle, depth = diagonal/7) and the metal around it counts too (our choice).
_SKIN_UM = 20.0
#: Depths at which the skin is told, µm.
_DEPTHS_UM = np.concatenate([np.arange(0.0, 100.0, 5.0), np.arange(100.0, 301.0, 20.0)])
#: Squeeze reckoned with where the press has none, so that effort can be told all the same.
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
        Share of the austenite that has recrystallised since the squeeze.
    strain : float
        Mean strain that is left.
    speed : float
        Factor by which it speeds ferrite, and at most bainite; only used on request.
    """

    recrystallised: float
    strain: float
    speed: float


def surface_of(
    steel: Steel,
    route: Route,
    time_s,
    front_c,
    scale_um: float,
    core_hv: float,
    water_on_s: float | None,
    water_c: float | None,
) -> Surface:
    """Scale, lost carbon and hardness of the face's skin.

    Parameters
    ----------
    time_s, front_c : array
        Front surface of the face from loading on, s and °C.
    scale_um : float
        On leaving the furnace.
    core_hv : float
        Hardness of the face's sound metal, HV.
    water_on_s, water_c : float or None
        When the water starts and how hot the metal is then; None without water.
    """
    end = len(time_s) if water_on_s is None else int(np.searchsorted(time_s, water_on_s, "right"))
    diffusion = diffusion_along_um2(steel, time_s[:end], front_c[:end])
    loss = metal_loss_um(scale_um)
    depth = decarburised_depth_estimate_um(diffusion, loss) if diffusion > 1e-3 else 0.0
    carbon = steel.get("C") * carbon_left(_DEPTHS_UM, diffusion, loss)
    hv = layer_hardness_hv(steel, carbon, core_hv, water_c)
    outer = np.linspace(0.0, _SKIN_UM, 21)
    skin = float(np.trapezoid(np.interp(outer, _DEPTHS_UM, hv), outer) / _SKIN_UM)
    return Surface(
        scale_um,
        loss,
        depth,
        skin,
        core_hv,
        Blast(scale_um * route.press.scale_left, depth),
        _DEPTHS_UM,
        carbon,
        hv,
    )


def squeeze_strain(press: Press) -> float:
    """Strain of the squeeze for the flow-stress laws, which need some: at least `LEAST_STRAIN`."""
    return max(press.strain, LEAST_STRAIN)


def press_rate_per_s(press: Press) -> float:
    """Mean strain rate of the squeeze, 1/s: strain over dwell, within the range of the flow-stress laws.

    Examples
    --------
    >>> press_rate_per_s(Press(dwell_s=0.05, strain=0.15))
    3.0
    """
    low, high = RATE_RANGE_PER_S
    return min(max(squeeze_strain(press) / max(press.dwell_s, 1e-3), low), high)


@functools.lru_cache(maxsize=512)
def projected_mm2(head: Head) -> dict[str, float]:
    """Plan area of every zone of the forging, mm², as the press sees it; the flash is not counted.

    Examples
    --------
    >>> from forgeprops.inputs.head import head
    >>> 3000 < sum(projected_mm2(head("mid-iron")).values()) < 8000
    True
    """
    return projected_areas_mm2(*head._drawn("forged"))


def projected_areas_mm2(face, rim, body, neck, hosel) -> dict:
    """`projected_mm2` from the parts of a forging, whose dimensions may be arrays.

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


def effort_of(steel: Steel, head: Head, press: Press, die_c: Mapping[str, float]) -> Effort:
    """Flow stress of every zone and force of the press, from the metal temperatures in the die, °C."""
    strain, rate = squeeze_strain(press), press_rate_per_s(press)
    temperatures = np.array([die_c[z] for z in ZONES])
    stress = flow_stress(steel, temperatures, strain, rate)
    area = projected_mm2(head)
    weight = np.array([area[z] for z in ZONES])
    mean = float(weight @ stress.mpa / weight.sum())
    reference = float(
        weight @ flow_stress_mpa(_reference(), temperatures, strain, rate) / weight.sum()
    )
    by_zone = {z: FlowStress(*(float(s[i]) for s in stress)) for i, z in enumerate(ZONES)}
    return Effort(
        by_zone,
        mean,
        press_force_kn(float(weight.sum()), mean),
        mean / reference,
        float(weight.sum()),
        float(weight @ temperatures / weight.sum()),
    )


def hotter_for_reference(steel: Steel, press: Press, die_c: float) -> Hotter | None:
    """By how much the metal in the die would have to be hotter to press like 1030 does at its temperature there.

    Parameters
    ----------
    die_c : float
        Metal temperature in the die, °C.

    Returns
    -------
    Hotter or None
        None outside 700-1300 °C, where the laws do not reach.
    """
    if not 700.0 <= die_c <= 1300.0:
        return None
    found = equal_effort(
        _reference(), die_c, steel, strain=squeeze_strain(press), rate_per_s=press_rate_per_s(press)
    )
    return Hotter(found.preheat_c - die_c, found.low_c - die_c, found.high_c - die_c)


def press_strain(
    steel: Steel, route: Route, shop: Shop, time_s, temperature_c, grain_astm: float
) -> PressStrain:
    """Strain that the squeeze leaves in one zone until the water starts; without water until it cools to Ae3.

    Parameters
    ----------
    time_s, temperature_c : array
        Mean temperature of the zone from loading on.
    grain_astm : float
        Austenite grain before the squeeze.
    """
    if route.press.strain <= 0.0:
        return PressStrain(1.0, 0.0, 1.0)
    start = (
        route.preheat.soak_s
        + route.transfer.duration_s
        + route.press.rest_s / 2
        + route.press.dwell_s
    )
    if route.spray is not None:
        end = start + max(route.spray.delay_s + shop.delay_s, 0.0)
    else:
        cold = (time_s > start) & (temperature_c < float(ae3_c(steel)))
        end = float(time_s[np.argmax(cold)]) if cold.any() else float(time_s[-1])
    inside = (time_s > start) & (time_s < end)
    t = np.concatenate([[start], time_s[inside], [max(end, start)]])
    share = recrystallised_share_along(
        t,
        np.interp(t, time_s, temperature_c),
        route.press.strain,
        diameter_um_from_astm(grain_astm),
        steel.get("Mo"),
    )
    left = retained_strain(route.press.strain, share)
    return PressStrain(share, left, strain_speed_factor(left))


def heat_through_s(time_s, zones_c, set_point_c: float, soak_s: float) -> float | None:
    """Time from loading until the slowest zone is within 10 °C of the furnace, s; None if not.

    Parameters
    ----------
    time_s : array, shape (n,)
    zones_c : array, shape (n, zones)
        Mean temperatures.

    References
    ----------
    .. [1] Slowest zone within 10 °C of the furnace: usual uniformity (common practice).
    """
    slowest = np.min(zones_c, axis=1)
    inside = time_s <= soak_s * (1.0 + 1e-9)
    reached = inside & (slowest >= set_point_c - HEATED_WITHIN_C)
    if not reached.any():
        return None
    k = int(np.argmax(reached))
    if k == 0:
        return float(time_s[0])
    # the gap to the furnace closes exponentially: straight in its logarithm
    gap = set_point_c - slowest[k - 1 : k + 1]
    if gap[1] <= 0.0 or gap[0] <= gap[1]:
        return float(time_s[k])
    part = math.log(gap[0] / HEATED_WITHIN_C) / math.log(gap[0] / gap[1])
    return float(time_s[k - 1] + part * (time_s[k] - time_s[k - 1]))
