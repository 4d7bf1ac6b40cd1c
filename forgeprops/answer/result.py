"""The answer: what one estimate holds, and how it shows itself."""

from __future__ import annotations

import dataclasses
import functools
import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..base.ranges import Warn
from ..base.sources import Source
from ..face.distortion import FaceBow
from ..forging.effort import FlowStress
from ..hardenability.ideal_diameter import ideal_diameter
from ..hosel.result import HoselBend
from ..inputs.head import Head
from ..inputs.route import Route
from ..inputs.shop import Shop
from ..inputs.steel import Steel
from ..strength.tensile import Strength
from ..transformation.temperatures import CriticalTemperatures
from . import words
from .press_and_skin import Effort, Hotter, Surface, hotter_for_reference
from .second_opinions import Opinion
from .sources_used import sources_of

__all__ = ["Estimate", "ZoneResult"]


@dataclass(frozen=True)
class ZoneResult:
    """One zone of the head.

    Attributes
    ----------
    time_s, temperature_c, front_c : array
        The whole second heat, from loading into the furnace: mean and front-surface temperature.
    fractions : dict of str to float
        Shares of ferrite, pearlite, bainite, martensite, austenite made in this heat, and "untransformed": what the
        furnace did not make austenite and so kept its first-heat structure.  They sum to 1.
    hardness_hv, hardness_low_hv, hardness_high_hv : float
        Mean hardness after self-tempering and later heats, with its 80 % interval.
    hardness_hrc : float or None
        None below 20 HRC, where the scale ends.
    as_quenched_hv : float
        Without self-tempering.
    layers_hv : array
        Points through the thickness, front to back.
    austenite_share, austenite_carbon, grain_astm, undissolved : float
        What the furnace made: share, its carbon (wt%), ASTM grain, share of Cr-Mo carbides left.
    peak_c, die_c, water_c, water_off_c : float (the last two None without spray)
        Mean metal temperature on leaving the furnace, at the stroke, when the water starts and stops, °C.
    low_c, rebound_c : float
        Lowest mean temperature of the march and the largest re-heating after a low, °C.
    rate_700_c_per_s, t85_s : float or None
        Cooling rate at 700 °C and time from 800 to 500 °C.
    biot, biot_die : float
        Biot number in still air, and under the die.
    opinions : tuple of Opinion
        Hardness by critical cooling rates and by end-quench position.
    chances : dict or None
        Near a cliff, the chance of each outcome (see `uncertainty.outcome_chances`).
    recrystallised_share, retained_strain : float
        Share of the pressed austenite that has recrystallised when the water starts, and the press strain left in it.
    flow_stress : FlowStress
        In the die at `die_c`, MPa with its band.
    layer_fractions : dict of str to array, or None
        Structure of the points of `layers_hv`.
    back_c : array, or None
        Back-surface temperature, beside `front_c`.
    """

    name: str
    time_s: np.ndarray
    temperature_c: np.ndarray
    front_c: np.ndarray
    fractions: dict[str, float]
    hardness_hv: float
    hardness_low_hv: float
    hardness_high_hv: float
    hardness_sd_hv: float
    hardness_hrc: float | None
    as_quenched_hv: float
    layers_hv: np.ndarray
    strength: Strength
    austenite_share: float
    austenite_carbon: float
    grain_astm: float
    undissolved: float
    peak_c: float
    die_c: float
    water_c: float | None
    water_off_c: float | None
    low_c: float
    rebound_c: float
    rate_700_c_per_s: float | None
    t85_s: float | None
    biot: float
    biot_die: float
    opinions: tuple[Opinion, ...]
    chances: dict[str, float] | None
    recrystallised_share: float = 1.0
    retained_strain: float = 0.0
    flow_stress: FlowStress | None = None
    layer_fractions: Mapping[str, np.ndarray] | None = None
    back_c: np.ndarray | None = None


@dataclass(frozen=True)
class Estimate:
    """The answer for one steel, head and route.

    Attributes
    ----------
    zones : dict of str to ZoneResult
        "face", "rim", "body", "neck", "hosel".
    hosel : HoselBend
    face : FaceStrike
    events : dict of str to float
        When each step of the route begins, s from loading.
    without_spray : dict of str to float, or None
        Hardness of every zone on the same route without water, HV.
    critical : CriticalTemperatures
    scale_um : float
        Scale on the face when it leaves the furnace.
    surface : Surface
        Scale, metal lost, decarburised depth, hardness of the face's skin, what a blast must take off.
    effort : Effort
        Flow stress in the die, press force, and how that compares with 1030 at the same temperatures.
    heat_through_s : float or None
        When the slowest zone is within 10 °C of the furnace, s from loading; None if four hours do not do it.
    strain_effect_hv : dict of str to float
        What the press strain left in the austenite changes in the hardness of every zone, HV, at most.
    press_strain_counted : bool
        Whether the hardness values hold it.
    warnings : tuple of Warn
    distortion : FaceBow
        Bow of the face and drift of the neck against the flatness limit; its own warnings also name what is
        machined later (by the drawing's allowances) and comes out harder than the user's limit.
    """

    steel: Steel
    head: Head
    route: Route
    shop: Shop
    zones: dict[str, ZoneResult]
    hosel: HoselBend
    face: Any
    events: Mapping[str, float]
    without_spray: dict[str, float] | None
    critical: CriticalTemperatures
    steps: int
    scale_um: float
    surface: Surface
    effort: Effort
    heat_through_s: float | None
    strain_effect_hv: dict[str, float]
    press_strain_counted: bool
    warnings: tuple[Warn, ...]
    distortion: FaceBow | None = None

    @property
    def ideal_diameter_mm(self) -> float:
        """Ideal diameter with the austenite grain the furnace gave the face, mm (ASTM A255 with the grain-size term)."""
        grain = min(max(self.zones["face"].grain_astm, 0.0), 14.0)
        return ideal_diameter(
            dataclasses.replace(self.steel, grain_size_astm=grain), grain_size=True
        )

    @functools.cached_property
    def equal_effort(self) -> Hotter | None:
        """How much hotter the metal in the die would have to be to press like 1030; None outside 700-1300 °C.

        For the furnace setting that does it see `forgeprops.equal_effort_preheat`.
        """
        return hotter_for_reference(self.steel, self.route.press, self.effort.die_c)

    @property
    def sources(self) -> tuple[Source, ...]:
        """Formulas, tables and constants this estimate used, each with its reference and basis."""
        return sources_of(self)

    def summary(self) -> str:
        """The answer in plain words, with units and ±."""
        return words.summary(self)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and texts, ready for JSON."""
        return words.to_dict(self)

    def __repr__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        return f"<pre style='white-space:pre-wrap'>{html.escape(self.summary())}</pre>"
