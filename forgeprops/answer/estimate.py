"""One case in full: views of one row of `evaluation.evaluate` with everything wanted, and how it shows itself."""

from __future__ import annotations

import dataclasses
import functools
import html
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..base.errors import check_flag, check_number
from ..engine.run import check_march_options
from ..engine.section import lobatto
from ..face import distortion as bow
from ..face.margin import strike_of_faces
from ..face.strike import Strike, strike_options
from ..forging.press import Effort, Hotter, effort_of, hotter_for_reference
from ..hardenability.ideal_diameter import ideal_diameter
from ..hosel.bench import Bench, bench_options
from ..inputs.cases import Cases
from ..inputs.head import ZONES, Head
from ..inputs.job import Job
from ..inputs.limits import Limits
from ..inputs.route import Route
from ..inputs.shop import Shop
from ..inputs.steel import Steel
from ..strength.hardness_scales import try_convert
from ..thermal.surroundings import radiation_w_m2k
from ..transformation.temperatures import CriticalTemperatures, critical_temperatures
from . import words
from .cases import checked_case, limits_from
from .evaluation import EVERYTHING, Evaluation, evaluate
from .sources_used import sources_of

#: Longest soak marched to learn when a head is heated through, s.
_LONG_SOAK_S = 14_400.0
#: Columns of the results that a zone shows by their own name, and by another one.
_COLUMNS = """hardness_hv as_quenched_hv grain_astm undissolved peak_c die_c water_off_c low_c rebound_c
    rate_700_c_per_s""".split()
_RENAMED = {"austenite_share": "share", "water_c": "water_on_c", "t85_s": "time_800_500_s"}


class ZoneResult:
    """One zone of the head: a view of one row and zone of an evaluation.

    Attributes
    ----------
    time_s, temperature_c, front_c, back_c : array; the whole second heat, from loading into the furnace: mean, front- and
        back-surface temperature.
    fractions : Shares of ferrite, pearlite, bainite, martensite, austenite made in this heat, and "untransformed": what the
        furnace did not make austenite and so kept its first-heat structure. They sum to 1.
    hardness_hv, hardness_low_hv, hardness_high_hv, hardness_sd_hv : Mean hardness after self-tempering and later heats,
        with its 80 % interval and the model's standard deviation.
    hardness_hrc : None below 20 HRC, where the scale ends.
    as_quenched_hv : Before self-tempering and later heats.
    layers_hv, layer_fractions : Hardness and structure of the points through the thickness, front to back.
    strength : Strength
    austenite_share, grain_astm, undissolved : What the furnace made: share, ASTM grain, share of Cr-Mo carbides left.
    peak_c, die_c, water_c, water_off_c : Mean metal temperature on leaving the furnace, in the die, when the spray starts
        and stops, °C; the last two None without spray.
    low_c, rebound_c : Lowest mean temperature of the march and the largest re-heating after a low, °C.
    rate_700_c_per_s, t85_s : Cooling rate at 700 °C without heat of transformation, time from 800 to 500 °C with it; None
        where it did not cool through them.
    biot : Biot number in still air.
    recrystallised_share, retained_strain : Share of the pressed austenite that has recrystallised when the spray starts,
        and the press strain left in it.
    flow_stress : FlowStress; in the die at `die_c`, MPa with its band.
    """

    def __init__(self, estimate: Estimate, zone: int):
        self.estimate, self.name, self._zone = estimate, ZONES[zone], zone
        r = estimate.evaluation.results
        for name, column in {**{n: n for n in _COLUMNS}, **_RENAMED}.items():
            value = float(getattr(r, column)[0, zone])
            setattr(self, name, None if np.isnan(value) else value)
        self.fractions = {name: float(share[0, zone]) for name, share in r.fractions.items()}
        self.hardness_low_hv, self.hardness_high_hv = self.interval("hardness_hv")
        self.hardness_sd_hv = float(estimate.evaluation.sd_hv[0, zone])
        self.layers_hv = r.layers_hv(zone)[0]
        self.layer_fractions = r.layer_fractions(0, zone)
        trace = r.traces[0]
        self.time_s, self.temperature_c = trace.time_s, trace.zones_c[:, zone]
        self.front_c, self.back_c = trace.front_c[:, zone], trace.back_c(zone)
        self.hardness_hrc = try_convert(self.hardness_hv, "HV", "HRC")

    @functools.cached_property
    def strength(self):
        return self.estimate.evaluation.strength_of(0, self._zone)

    def interval(self, name: str) -> tuple[float, float]:
        """80 % interval of "hardness_hv", "tensile_mpa" or "yield_mpa" of this zone."""
        low, high = self.estimate.evaluation.interval_of(name)
        return float(low[0, self._zone]), float(high[0, self._zone])

    @property
    def recrystallised_share(self) -> float:
        return float(self.estimate.evaluation.press_strain["recrystallised"][0, self._zone])

    @property
    def retained_strain(self) -> float:
        return float(self.estimate.evaluation.press_strain["strain"][0, self._zone])

    @property
    def flow_stress(self):
        return self.estimate.effort.flow_stress[self.name]

    @property
    def biot(self) -> float:
        route = self.estimate.route
        worst_w_m2k = radiation_w_m2k(route.preheat_c, route.air_c, 0.8) + 15.0
        return self.estimate.head.zones("forged")[self.name].biot(worst_w_m2k)


def _by_zone(row) -> dict[str, float]:
    return dict(zip(ZONES, map(float, row), strict=True))


@dataclass(frozen=True, eq=False, repr=False)
class Estimate:
    """The answer for one steel, head and route: the one row of an evaluation.

    Attributes
    ----------
    steel, head, route, shop
    evaluation : The same as columns.
    bench, hosel : The bending bench, by the names of `hosel.bend.hosel_bend`, and the HoselBend on it.
    limits, verdict : What the Verdict is against; the default set of the route where none were given.
    zones : dict of str to ZoneResult; "face", "rim", "body", "neck", "hosel".
    face : FaceStrike
    events : dict of str to float; when each step of the route begins, s from loading.
    without_spray : dict of str to float; hardness of every zone on the same route without spray, HV.
    critical : CriticalTemperatures
    scale_um : Scale on the face when it leaves the furnace.
    surface : Surface; scale, metal lost, decarburised depth, hardness of the face's skin, what a blast must take off.
    effort : Effort; flow stress in the die, press force, and how that compares with 1030 at the same temperatures.
    heat_through_s : When the slowest zone is within 10 °C of the furnace, s from loading; None if four hours do not do it.
    strain_effect_hv : dict of str to float; what the press strain left in the austenite changes in the hardness of every
        zone, HV, at most.
    press_strain_counted : bool; whether the hardness values hold it.
    warnings : tuple of Warn
    distortion : FaceBow; bow of the face and drift of the neck against the limit `flatness_mm`; its own warnings also name
        what is machined later (by the drawing's allowances) and comes out harder than `cutting_limit_hv`.
    """

    steel: Steel
    head: Head
    route: Route
    shop: Shop
    evaluation: Evaluation
    bench: Mapping[str, Any]
    flatness_mm: float
    cutting_limit_hv: float
    limits: Limits

    @functools.cached_property
    def zones(self) -> dict[str, ZoneResult]:
        return {name: ZoneResult(self, i) for i, name in enumerate(ZONES)}

    @functools.cached_property
    def hosel(self):
        return self.evaluation.bend_of(self.head, **self.bench)

    @functools.cached_property
    def face(self):
        faces, sd_hv = self.evaluation.faces, self.zones["face"].hardness_sd_hv
        return strike_of_faces(faces, self.evaluation.strike, sd_hv)

    def interval(self, name: str) -> tuple[float, float] | None:
        """80 % interval of a quantity by its own formulas, by its name in `inputs.limits.QUANTITIES`; None without one."""
        zone, _, rest = name.partition("_")
        if zone in self.zones and rest in ("hardness_hv", "tensile_mpa", "yield_mpa"):
            return self.zones[zone].interval(rest)
        if name == "hosel_allowed_deg":
            return self.hosel.allowed_deg_low, self.hosel.allowed_deg_high
        return (self.face.margin_low, self.face.margin_high) if name == "face_margin" else None

    @functools.cached_property
    def verdict(self):
        """Whether it is good against `limits`; calculated when it is read first."""
        from .verdict import verdict_of  # it marches further cases

        return verdict_of(self)

    @functools.cached_property
    def warnings(self):
        return self.evaluation.warnings(0, self.hosel)

    @functools.cached_property
    def distortion(self) -> bow.FaceBow:
        head, zones = self.head, self.zones
        carbon, limit = self.steel.get("C"), self.flatness_mm
        shape = bow.bow_of_head(head, zones["face"], carbon, zones["neck"], limit_mm=limit)
        machined = {z: getattr(head, f"{z}_allowance_mm") for z in ("face", "rim", "neck")}
        machined["hosel"] = head.hosel_allowance_mm + head.hosel_bore_mm
        machined["body"] = max(b.allowance_mm for b in head.body)
        hardest = {name: float(zones[name].layers_hv.max()) for name in zones}
        # the recess is milled from the back
        back = np.linspace(head.face_thickness_mm / head.forged_thickness_mm, 1.0, 5)
        points = zones["face"].layers_hv
        hardest["face"] = float(np.interp(back, lobatto(points.size)[0], points).max())
        cut = [name for name in zones if machined[name] > 0.0]
        hard = bow.cutting_warnings(hardest, cut, self.cutting_limit_hv)
        return dataclasses.replace(shape, warnings=(*shape.warnings, *hard))

    @property
    def events(self) -> dict[str, float]:
        times = self.evaluation.cases.times_s
        return {name: float(t[0]) for name, t in times.items() if not np.isnan(t[0])}

    @property
    def sprayed(self) -> bool:
        """Whether water reaches the head."""
        return bool(self.evaluation.cases.sprayed[0])

    @functools.cached_property
    def without_spray(self) -> dict[str, float] | None:
        return _by_zone(self.evaluation.dry_hv[0]) if self.sprayed else None

    @functools.cached_property
    def critical(self) -> CriticalTemperatures:
        return critical_temperatures(self.steel)

    @property
    def scale_um(self) -> float:
        return float(self.evaluation.results.scale_um[0, 0])

    @functools.cached_property
    def surface(self):
        return self.evaluation.surface(0)

    @functools.cached_property
    def effort(self) -> Effort:
        return effort_of(self.steel, self.evaluation.results.die_c, self.evaluation.press)

    @functools.cached_property
    def heat_through_s(self) -> float | None:
        return self.evaluation.heat_through_s(0, longest_s=_LONG_SOAK_S)

    @functools.cached_property
    def strain_effect_hv(self) -> dict[str, float]:
        return _by_zone(self.evaluation.strain_effect_hv[0])

    @property
    def press_strain_counted(self) -> bool:
        return self.evaluation.counted_strain is not None

    @property
    def ideal_diameter_mm(self) -> float:
        """Ideal diameter with the austenite grain the furnace gave the face, mm (ASTM A255 with the grain-size term)."""
        grain = min(max(self.zones["face"].grain_astm, 0.0), 14.0)
        steel = dataclasses.replace(self.steel, grain_size_astm=grain)
        return ideal_diameter(steel, grain_size=True)

    @functools.cached_property
    def equal_effort(self) -> Hotter | None:
        """How much hotter the metal in the die would have to be to press like 1030; None outside 700-1300 °C.

        For the preheat temperature that does it see `forgeprops.equal_effort_setting`.
        """
        press = self.evaluation.press
        used = float(press["strain"][0]), float(press["rate_per_s"][0])
        return hotter_for_reference(self.steel, self.effort.die_c, *used)

    @property
    def sources(self):
        """Formulas, tables and constants this estimate used, each with its reference and basis."""
        return sources_of(self)

    summary, details, to_dict = words.summary, words.details, words.to_dict

    def __repr__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        return f"<pre style='white-space:pre-wrap'>{html.escape(self.summary())}</pre>"


def estimate(
    steel: Steel | Job,
    head: Head | str | Mapping | None = None,
    route: Route | Mapping | None = None,
    shop: Shop | str | os.PathLike | Mapping | None = None,
    *,
    count_press_strain: bool = False,
    bench: Mapping[str, Any] | None = None,
    strike: Mapping[str, Any] | None = None,
    flatness_mm: float = bow.FLATNESS_MM,
    cutting_limit_hv: float = bow.CUTTING_LIMIT_HV,
    limits: Limits | None = None,
    **options: Any,
) -> Estimate:
    """Hardness and strength of face, rim, body, neck and hosel, how far the hosel bends, and how sure that is.

    Parameters
    ----------
    steel : Steel, str or Job
        Or what `grades.steel_of` makes one of: "4130", "C 0.31 Mn 0.5 Cr 0.95 Mo 0.2".  A job brings all the rest with it.
    head : Head, str or mapping, optional
        A library head by name, or dimensions changed on one: ``{"head": "wedge", "face_thickness_mm": 3}``; else the mid-iron.
    route : Route or mapping of settings by their short names, ``{"preheat_c": 900}``; else `Route()`
    shop : Shop, path of the file `Shop.save` wrote, or mapping of its numbers; else neutral
    count_press_strain : bool
        Let the strain that the press leaves in the austenite speed ferrite and bainite.  Off by default, because only
        its bound is known; `Estimate.strain_effect_hv` shows what it would change either way.
    bench : mapping, optional; bench and required change by the names of `hosel.bend.hosel_bend`
        ``{"target_lie_deg": 1.5, "target_loft_deg": 1, "bar_mm": 600, "hand": "left"}``
    strike : mapping, optional; strike and finish of the face by the names of `face.strike.Strike`
        ``{"speed_m_s": 45, "required_strikes": 3000, "front_finish": "polished"}``
    flatness_mm, cutting_limit_hv : float; limits on the bow of the face and on what is machined, for `Estimate.distortion`
    limits : Limits, optional; what `Estimate.verdict` is against, see `cases.limits_from`

    Raises
    ------
    InputError
        Something that is not a steel, head, route or shop, or a head or later heat outside the range of the formulas.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> result = estimate(grade("4130"))
    >>> result.zones["face"].hardness_hv > result.zones["hosel"].hardness_hv
    True
    """
    if isinstance(steel, Job):
        job = steel
        steel, head, route, shop = job.steel, job.struck_head, job.route, job.shop
        bench = dict(job.bench) if bench is None else bench
        strike = job.surface if strike is None else strike
        limits = job.limits if limits is None else limits
    case = checked_case(steel, head, route, shop)
    check_march_options(options)
    check_flag(count_press_strain, "count_press_strain")
    bench, strike = bench_options(bench), strike_options(strike)
    given = {"strike": Strike(**strike)} if strike else {}
    flatness_mm = check_number(flatness_mm, "flatness limit", *bow.LIMIT_MM, "mm")
    cutting_limit_hv = check_number(cutting_limit_hv, "cutting limit", *bow.CUTTING_HV, "HV")
    cases = Cases.of(*([part] for part in case))
    found = evaluate(cases, EVERYTHING, count_press_strain=count_press_strain, **options)
    given |= {"bench": Bench(**bench)} if bench else {}
    found = dataclasses.replace(found, **given) if given else found
    limits = limits_from(limits, case[2], bench)
    result = Estimate(*case, found, bench, flatness_mm, cutting_limit_hv, limits)
    if bench:
        _ = result.hosel  # a bench that does not fit the head is refused here
    return result
