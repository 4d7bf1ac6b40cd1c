"""Everything a hotter or colder preheat moves, for one steel, head and route, as arrays."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from ...answer import interval as uncertainty
from ...answer.evaluation import (
    carbides_unsure,
    evaluate,
    furnace_warnings_of,
    press_strains,
    zone_result,
)
from ...answer.press_and_skin import effort_of, heat_through_s, surface_of
from ...base.errors import InputError, check_kind, check_number
from ...base.ranges import Warn
from ...engine.march import M_DIE, M_SCALE
from ...hosel.bend import bend_of_head
from ...inputs.head import ZONES, Head
from ...inputs.route import BURNING_C, Route
from ...inputs.shop import Shop
from ...inputs.steel import Steel
from ...transformation.temperatures import ac1_c, ac3_c
from .equal_effort import with_defaults

__all__ = ["ForgingTemperatureStudy", "forging_temperature_study"]

#: Furnace settings studied when none are given, °C.
_SETTINGS_C = np.arange(700.0, 1251.0, 10.0)
_TOLD = ("face", "neck", "hosel")


@dataclass(frozen=True)
class ForgingTemperatureStudy:
    """One steel on one route at many furnace settings; every array has one entry a setting.

    Attributes
    ----------
    preheat_c : array
        Furnace set point, °C.
    peak_c, die_c, water_c : array
        Face: metal leaving the furnace, in the die, when the water starts (NaN without water), °C.
    heat_through_s : array
        When the slowest zone is within 10 °C of the furnace, s; infinite if the soak ends before.
    face_austenite, hosel_austenite : array
        Share of austenite when cooling starts, 0 to 1.
    face_grain_astm, hosel_grain_astm : array
        Austenite grain, ASTM number: large is fine.
    scale_um, metal_loss_um, decarburised_um, skin_hv : array
        Surface of the face (see `second_heat.Surface`).
    flow_stress_mpa, press_force_kn : array
        In the die, mean by projected area; force on the press.
    effort : array
        Flow stress over that of the same steel at the route's own setting: 1 there, less when hotter.
    face_hv, face_low_hv, face_high_hv, hosel_hv, hosel_low_hv, hosel_high_hv : array
        Hardness with its 80 % interval.
    allowed_deg, allowed_low_deg, allowed_high_deg : array
        Bend of the hosel.
    warnings : tuple of tuple of Warn
        At every setting, from the furnace.
    ac1_c, ac3_c : float
        Where austenite begins and where the last ferrite goes, on heating.
    """

    steel: Steel
    head: Head
    route: Route
    preheat_c: np.ndarray
    peak_c: np.ndarray
    die_c: np.ndarray
    water_c: np.ndarray
    heat_through_s: np.ndarray
    face_austenite: np.ndarray
    hosel_austenite: np.ndarray
    face_grain_astm: np.ndarray
    hosel_grain_astm: np.ndarray
    scale_um: np.ndarray
    metal_loss_um: np.ndarray
    decarburised_um: np.ndarray
    skin_hv: np.ndarray
    flow_stress_mpa: np.ndarray
    press_force_kn: np.ndarray
    effort: np.ndarray
    face_hv: np.ndarray
    face_low_hv: np.ndarray
    face_high_hv: np.ndarray
    hosel_hv: np.ndarray
    hosel_low_hv: np.ndarray
    hosel_high_hv: np.ndarray
    allowed_deg: np.ndarray
    allowed_low_deg: np.ndarray
    allowed_high_deg: np.ndarray
    warnings: tuple[tuple[Warn, ...], ...]
    ac1_c: float
    ac3_c: float

    def arrays(self) -> dict[str, np.ndarray]:
        """The arrays by name."""
        return {
            f.name: getattr(self, f.name)
            for f in dataclasses.fields(self)
            if isinstance(getattr(self, f.name), np.ndarray)
        }

    def table(self):
        """The arrays and the codes of the warnings as a DataFrame, one row a setting."""
        import pandas as pd

        codes = [", ".join(dict.fromkeys(w.code for w in found)) for found in self.warnings]
        return pd.DataFrame({**self.arrays(), "warnings": codes})

    def at(self, preheat_c: float) -> dict[str, float]:
        """Every array at one furnace setting, straight between the settings studied.

        Raises
        ------
        InputError
            A setting outside those studied.
        """
        t = check_number(
            preheat_c,
            "forging temperature",
            float(self.preheat_c[0]),
            float(self.preheat_c[-1]),
            "°C",
        )
        return {
            name: float(np.interp(t, self.preheat_c, values))
            for name, values in self.arrays().items()
        }


def forging_temperature_study(
    steel: Steel,
    head: Head | str | None = None,
    route: Route | None = None,
    temperatures=None,
    shop: Shop | None = None,
    **options,
) -> ForgingTemperatureStudy:
    """March one steel, head and route at many furnace settings and tell everything that moves.

    Parameters
    ----------
    steel : Steel
    head : Head or str, optional
        Mid-iron when left out.
    route : Route, optional
        `Route()` when left out; its own preheat temperature is the one that `effort` is counted from.
    temperatures : array, optional
        Furnace set points, °C, rising; 700 to 1250 by 10 when left out.
    shop : Shop, optional
    **options
        Passed to the march (see `estimate.evaluate`).

    Returns
    -------
    ForgingTemperatureStudy

    Raises
    ------
    InputError
        Set points that do not rise or lie outside 20 to 1340 °C.

    Examples
    --------
    >>> from forgeprops.inputs.grades import grade
    >>> study = forging_temperature_study(grade("4130"), temperatures=[780.0, 930.0, 1100.0])
    >>> bool(np.all(np.diff(study.flow_stress_mpa) < 0.0)), bool(np.all(np.diff(study.scale_um) > 0.0))
    (True, True)
    """
    check_kind(steel, Steel, "steel")
    head, route, shop = with_defaults(head, route, shop)
    settings = np.asarray(_SETTINGS_C if temperatures is None else temperatures, float).ravel()
    if settings.size == 0 or np.any(np.diff(settings) <= 0.0):
        raise InputError(
            "temperatures do not rise; allowed are one or more furnace settings, each above the one before."
        )
    for t in settings[[0, -1]]:
        check_number(float(t), "forging temperature", 20.0, BURNING_C, "°C")
    routes = [route.with_(preheat_c=float(t)) for t in settings]
    n = len(routes)
    # the last case is the route as it stands, which effort is counted from
    told = evaluate(
        [steel] * (n + 1),
        [head] * (n + 1),
        [*routes, route],
        [shop] * (n + 1),
        trace=True,
        **options,
    )
    deviates, water, spans = _unsure(steel, head, routes, shop, told, options)
    rows, zones, warnings = [], [], []
    for case, now in enumerate(routes):
        strains = press_strains(steel, now, shop, told, case)
        zone = {
            z: zone_result(
                z,
                steel,
                head,
                now,
                told,
                case,
                water[case, :, ZONES.index(z)],
                deviates,
                float(spans[case, ZONES.index(z)]),
                strains[ZONES.index(z)],
            )
            for z in _TOLD
        }
        surface = _surface(steel, now, shop, told, case, zone["face"])
        zones.append(zone)
        warnings.append(
            tuple(
                {w.text: w for w in furnace_warnings_of(steel, now, told, case, surface)}.values()
            )
        )
        rows.append(_row(steel, head, now, told, case, zone, surface))
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    reference = effort_of(steel, head, route.press, _die(told, n)).mean_mpa
    return ForgingTemperatureStudy(
        steel,
        head,
        route,
        settings,
        **columns,
        **_bends(head, zones),
        effort=columns["flow_stress_mpa"] / reference,
        warnings=tuple(warnings),
        ac1_c=float(ac1_c(steel)),
        ac3_c=float(ac3_c(steel)),
    )


def _unsure(steel, head, routes, shop, told, options):
    """Deviates of the water law, hardness there (n, nodes, 5), span of the carbides (n, 5)."""
    n, spray = len(routes), routes[0].spray
    sprayed = spray is not None and spray.flux_kg_m2_s > 0.0 and spray.duration_s > 0.0
    deviates, factors = uncertainty.spray_nodes() if sprayed else (np.array([]), np.array([]))
    cases = [
        (r, dataclasses.replace(shop, spray=min(max(shop.spray * f, 0.1), 10.0)), 1.0)
        for r in routes
        for f in factors
    ]
    doubtful = [i for i in range(n) if carbides_unsure(steel, told, i)]
    cases += [(routes[i], shop, f) for i in doubtful for f in uncertainty.CARBIDE_SPEEDS]
    spans = np.zeros((n, len(ZONES)))
    if not cases:
        return deviates, np.zeros((n, 0, len(ZONES))), spans
    m = len(cases)
    hv = evaluate(
        [steel] * m,
        [head] * m,
        [c[0] for c in cases],
        [c[1] for c in cases],
        carbide_speed=np.array([c[2] for c in cases]),
        **options,
    ).hardness_hv
    split = n * len(factors)
    if doubtful:
        ends = hv[split:].reshape(len(doubtful), 2, len(ZONES))
        spans[doubtful] = np.abs(ends[:, 1] - ends[:, 0])
    return deviates, hv[:split].reshape(n, len(factors), len(ZONES)), spans


def _die(told, case) -> dict[str, float]:
    return {z: float(told.marched.marks[case, i, M_DIE]) for i, z in enumerate(ZONES)}


def _surface(steel, route, shop, told, case, face):
    water_on = None
    if route.spray is not None:
        water_on = (
            route.preheat.soak_s
            + route.transfer.duration_s
            + route.press.rest_s / 2
            + route.press.dwell_s
            + max(route.spray.delay_s + shop.delay_s, 0.0)
        )
    return surface_of(
        steel,
        route,
        face.time_s,
        face.front_c,
        float(told.marched.marks[case, 0, M_SCALE]),
        face.hardness_hv,
        water_on,
        face.water_c,
    )


def _row(steel, head, route, told, case, zone, surface) -> dict[str, float]:
    """Numbers of one setting, by the names of the study's fields."""
    face, hosel = zone["face"], zone["hosel"]
    effort = effort_of(steel, head, route.press, _die(told, case))
    trace = told.marched.trace[case]
    through = heat_through_s(
        trace[:, 0], trace[:, 1 : 1 + len(ZONES)], route.preheat.temperature_c, route.preheat.soak_s
    )
    row = {
        "peak_c": face.peak_c,
        "die_c": face.die_c,
        "water_c": np.nan if face.water_c is None else face.water_c,
        "heat_through_s": np.inf if through is None else through,
        "scale_um": surface.scale_um,
        "metal_loss_um": surface.metal_loss_um,
        "decarburised_um": surface.decarburised_um,
        "skin_hv": surface.skin_hv,
        "flow_stress_mpa": effort.mean_mpa,
        "press_force_kn": effort.press_force.kn,
    }
    for name, z in (("face", face), ("hosel", hosel)):
        row |= {
            f"{name}_austenite": z.austenite_share,
            f"{name}_grain_astm": z.grain_astm,
            f"{name}_hv": z.hardness_hv,
            f"{name}_low_hv": z.hardness_low_hv,
            f"{name}_high_hv": z.hardness_high_hv,
        }
    return row


def _bends(head: Head, zones) -> dict[str, np.ndarray]:
    """Allowed degrees and their interval at every setting."""
    found = []
    for zone in zones:
        hosel = zone["hosel"]
        spread = (hosel.hardness_high_hv - hosel.hardness_low_hv) / (2.0 * uncertainty.Z)
        bend = bend_of_head(head, hosel.strength, zone["neck"].strength, hardness_se_hv=spread)
        found.append((bend.allowed_deg, bend.allowed_deg_low, bend.allowed_deg_high))
    names = ("allowed_deg", "allowed_low_deg", "allowed_high_deg")
    return dict(zip(names, np.array(found).T, strict=True))
