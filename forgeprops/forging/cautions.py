"""What to tell at the furnace: partial austenite, carbides left, coarse grain, scale, skin, burning."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np

from ..base.ranges import Warn, outside
from ..base.tables import read_rows
from ..transformation.austenite import astm_from_diameter
from .scale import metal_loss_um

__all__ = [
    "CARBIDES_LEFT",
    "COARSE_GRAIN_ASTM",
    "DECARBURISED_UM",
    "FULL_AUSTENITE",
    "HeatingLimits",
    "NO_AUSTENITE",
    "IDLE_WATER_HV",
    "SCALE_LOSS_UM",
    "carbide_warning",
    "decarburised_warning",
    "furnace_warnings",
    "grain_warning",
    "heating_limit_arrays",
    "heating_limits",
    "heating_warning",
    "is_idle",
    "partial_austenite_warning",
    "scale_warning",
]


#: Coarser than this the toughness of quenched steel suffers: ASTM 5 divides fine from coarse (ASTM A29,
#: common practice).
COARSE_GRAIN_ASTM = 5.0
#: Metal lost to scale on one side, µm, worth a word: 2 % of a 2.5 mm face (our own limit).
SCALE_LOSS_UM = 50.0
#: Decarburised depth, µm, worth a word: what a light polish no longer removes (our own limit).
DECARBURISED_UM = 100.0
#: Austenite share below which the steel is called partly austenitic, and share of Cr-Mo carbides left that is
#: worth a word; austenite share that is none (our own limits).
FULL_AUSTENITE, CARBIDES_LEFT, NO_AUSTENITE = 0.99, 0.10, 0.005
#: Gain by the water, HV, that is next to nothing: about one standard error of the method (our choice).
IDLE_WATER_HV = 20.0


class HeatingLimits(NamedTuple):
    """Forging heating limits of a steel, °C, with their source."""

    safe_c: float
    working_c: float
    finish_c: float
    source: str


@functools.cache
def _limits():
    return tuple(
        (
            r["family"],
            float(r["carbon_low"]),
            float(r["carbon_high"]),
            HeatingLimits(
                float(r["safe_c"]),
                float(r["working_c"]),
                float(r["finish_c"]),
                f"{r['source']} ({r['basis']})",
            ),
        )
        for r in read_rows("constants/forging_temperatures.csv")
    )


def heating_limits(steel) -> HeatingLimits:
    """Highest safe and highest working temperature of a steel, by family and carbon.

    References
    ----------
    .. [1] ASM Handbook vol. 14A and suppliers' pages, row by row
       (data/constants/forging_temperatures.csv) (from memory).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> heating_limits(Steel("4130", {"C": 0.305, "Cr": 0.95, "Mo": 0.20})).working_c
    1200.0
    """
    family = _FAMILIES[int(_family(steel))]
    carbon = steel.get("C")
    return next(
        limits for name, low, high, limits in _limits() if name == family and low <= carbon <= high
    )


_FAMILIES = ("carbon", "alloy", "nickel alloy")


def _family(steel):
    """Number of the family in `_FAMILIES`; contents may be arrays."""
    alloy = (np.asarray(steel.get("Cr")) >= 0.30) | (np.asarray(steel.get("Mo")) >= 0.08)
    return np.where(np.asarray(steel.get("Ni")) >= 0.40, 2, np.where(alloy, 1, 0))


def heating_limit_arrays(steel) -> tuple[np.ndarray, np.ndarray]:
    """Safe and working temperature of many steels, °C, as `heating_limits` tells one.

    Parameters
    ----------
    steel : object
        ``get(element)`` gives wt% as an array.
    """
    carbon, family = np.asarray(steel.get("C")), _family(steel)
    safe, working = np.full(carbon.shape, np.nan), np.full(carbon.shape, np.nan)
    for name, low, high, limits in reversed(_limits()):  # where rows meet the first counts
        here = (family == _FAMILIES.index(name)) & (low <= carbon) & (carbon <= high)
        safe[here], working[here] = limits.safe_c, limits.working_c
    return safe, working


def heating_warning(steel, temperature_c) -> Warn | None:
    """Warn of burning above the safe limit, of overheating above the working limit.

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> heating_warning(Steel("1020", {"C": 0.20}), 1000.0) is None
    True
    >>> heating_warning(Steel("1045", {"C": 0.46}), 1290.0).code
    'burning'
    """
    limits = heating_limits(steel)
    if temperature_c > limits.safe_c:
        return Warn(
            "burning",
            f"{temperature_c:.0f} °C is above {limits.safe_c:.0f} °C, the safe limit of "
            f"{steel.name}: the grain boundaries may melt, which nothing repairs.",
        )
    if temperature_c > limits.working_c:
        return Warn(
            "overheating",
            f"{temperature_c:.0f} °C is above {limits.working_c:.0f} °C, the working "
            f"limit of {steel.name}: expect very coarse, brittle grain.",
        )
    return None


def is_idle(wet_hv: float, dry_hv: float) -> bool:
    """Whether the water changes the hardness next to nothing.

    Examples
    --------
    >>> is_idle(249.0, 247.0), is_idle(429.0, 247.0)
    (True, False)
    """
    return abs(wet_hv - dry_hv) < IDLE_WATER_HV


def partial_austenite_warning(share, where="the steel") -> Warn | None:
    """Warn when part of the steel is still ferrite or pearlite: that part stays soft in the quench.

    Examples
    --------
    >>> print(partial_austenite_warning(0.6, "the face"))
    Only 60 % of the face is austenite when cooling starts; the rest keeps the first-heat structure, ...
    """
    if share >= FULL_AUSTENITE:
        return None
    if share < NO_AUSTENITE:
        return Warn(
            "partial-austenite",
            f"None of {where} becomes austenite; it keeps the first-heat "
            "structure, tempered, and stays soft.",
        )
    return Warn(
        "partial-austenite",
        f"Only {100 * share:.0f} % of {where} is austenite when cooling starts; "
        "the rest keeps the first-heat structure, tempered, and stays soft.",
    )


def carbide_warning(undissolved, where="the steel") -> Warn | None:
    """Warn when Cr-Mo carbides are left: less carbon and alloy in the austenite than the analysis says."""
    if undissolved <= CARBIDES_LEFT:
        return None
    text = (
        f"About {100 * undissolved:.0f} % of the Cr-Mo carbides of {where} are not dissolved; it hardens "
        "less than its analysis promises. Soak longer or hotter."
    )
    return Warn("carbides-left", text)


def grain_warning(grain_um, where="the steel") -> Warn | None:
    """Warn of coarse austenite grain.

    References
    ----------
    .. [1] ASTM 5 divides fine from coarse grain: ASTM A29 (common practice).

    Examples
    --------
    >>> grain_warning(30.0) is None, grain_warning(90.0).code
    (True, 'coarse-grain')
    """
    number = astm_from_diameter(grain_um)
    if number >= COARSE_GRAIN_ASTM:
        return None
    text = (
        f"The austenite grain of {where} grows to ASTM {number:.1f} ({grain_um:.0f} µm), coarser than "
        f"{COARSE_GRAIN_ASTM:.0f}: less tough, and the hosel hardens more in air."
    )
    return Warn("coarse-grain", text)


def scale_warning(scale_um) -> Warn | None:
    """Warn of scale that eats more metal than a thin face can spare.

    Examples
    --------
    >>> scale_warning(30.0) is None, scale_warning(150.0).code
    (True, 'scale')
    """
    loss = metal_loss_um(scale_um)
    if loss <= SCALE_LOSS_UM:
        return None
    return Warn(
        "scale",
        f"Scale of {scale_um:.0f} µm takes {loss:.0f} µm of metal from each side and must "
        "come off before the squeeze or it is pressed in.",
    )


def decarburised_warning(depth_um, skin_hv=None, core_hv=None) -> Warn | None:
    """Warn of a decarburised skin; with both hardness values it says what the skin has."""
    if depth_um <= DECARBURISED_UM:
        return None
    hardness = ""
    if skin_hv is not None and core_hv is not None:
        hardness = f" (skin {skin_hv:.0f} HV, below it {core_hv:.0f} HV)"
    return Warn(
        "decarburised",
        f"The skin has lost carbon to {depth_um:.0f} µm{hardness}: blast or grind it "
        "off where the face must be hard, or heat shorter.",
    )


def furnace_warnings(
    steel,
    temperature_c,
    *,
    share=1.0,
    undissolved=0.0,
    grain_um=None,
    scale_um=0.0,
    decarburised_um=0.0,
    where="the steel",
) -> tuple[Warn, ...]:
    """Everything worth saying about one place of one steel after the furnace.

    References
    ----------
    .. [1] Marks from which scale, lost carbon and carbides are worth a warning (our choice).

    Examples
    --------
    >>> from forgeprops.inputs.steel import Steel
    >>> steel = Steel("4130", {"C": 0.305, "Cr": 0.95, "Mo": 0.20})
    >>> [w.code for w in furnace_warnings(steel, 780.0, share=0.6, undissolved=0.3)]
    ['partial-austenite', 'carbides-left']
    """
    alloyed = steel.get("Cr") >= 0.30 or steel.get("Mo") >= 0.08
    found = (
        heating_warning(steel, temperature_c),
        partial_austenite_warning(share, where),
        carbide_warning(undissolved, where) if alloyed and share >= NO_AUSTENITE else None,
        None if grain_um is None else grain_warning(grain_um, where),
        scale_warning(scale_um),
        decarburised_warning(decarburised_um),
        None if grain_um is None else outside("lee_lee_grain", max(temperature_c, 900.0)),
        outside("scale.temperature", max(temperature_c, 700.0)) if scale_um > 0.0 else None,
    )
    return tuple(w for w in found if w)
