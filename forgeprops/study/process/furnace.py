"""Everything a hotter or colder preheat moves, for one steel, head and route, as arrays."""

from dataclasses import dataclass

import numpy as np

from ...answer.cases import checked_case
from ...answer.evaluation import evaluate
from ...answer.warnings.listing import FURNACE_CODES
from ...base.errors import InputError, check_list, check_number
from ...base.ranges import Warn
from ...engine.run import check_march_options
from ...inputs.cases import spread
from ...inputs.head import Head
from ...inputs.route import BURNING_C, Route
from ...inputs.steel import Steel
from ...io.tables import data_frame

#: Furnace settings studied when none are given, °C.
_SETTINGS_C = np.arange(700.0, 1251.0, 10.0)


@dataclass(frozen=True)
class ForgingTemperatureStudy:
    """One steel on one route at many preheat temperatures; every array has one entry a setting.

    Attributes
    ----------
    preheat_c : Preheat temperature, °C.
    peak_c, die_c, water_c : Face: metal leaving the furnace, in the die, when the water starts (NaN
        without water), °C.
    heat_through_s : When the slowest zone is within 10 °C of the furnace, s; infinite if the soak
        ends before.
    face_austenite, hosel_austenite : Share of austenite when cooling starts, 0 to 1.
    face_grain_astm, hosel_grain_astm : Austenite grain, ASTM number: large is fine.
    scale_um, metal_loss_um, decarburised_um, skin_hv : Surface of the face (see
        `second_heat.Surface`).
    flow_stress_mpa, press_force_kn : In the die, mean by projected area; force on the press.
    effort : Flow stress over that of the same steel at the route's own setting: 1 there, less when
        hotter.
    face_hv, face_low_hv, face_high_hv, hosel_hv, hosel_low_hv, hosel_high_hv : Hardness with its 80
        % interval.
    allowed_deg, allowed_low_deg, allowed_high_deg : Bend of the hosel.
    warnings : At every setting, from the furnace.
    ac1_c, ac3_c : Where austenite begins and where the last ferrite goes, on heating.
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
        return {name: v for name, v in vars(self).items() if isinstance(v, np.ndarray)}

    def table(self):
        """The arrays and the codes of the warnings as a DataFrame, one row a setting."""
        codes = [", ".join(dict.fromkeys(w.code for w in found)) for found in self.warnings]
        return data_frame({**self.arrays(), "warnings": codes})

    def at(self, preheat_c: float) -> dict[str, float]:
        """Every array at one preheat temperature, straight between the settings studied."""
        low, high = float(self.preheat_c[0]), float(self.preheat_c[-1])
        t = check_number(preheat_c, "forging temperature", low, high, "°C")
        return {name: float(np.interp(t, self.preheat_c, v)) for name, v in self.arrays().items()}


def forging_temperature_study(
    steel: Steel, head=None, route=None, temperatures=None, shop=None, **options
) -> ForgingTemperatureStudy:
    """March one steel, head and route at many preheat temperatures and tell everything that moves.

    Parameters
    ----------
    steel : Steel
    head : Head or str, optional
        Mid-iron when left out.
    route : Route, optional
        `Route()` when left out; its own preheat temperature is the one that `effort` is counted from.
    temperatures : array, optional
        Preheat temperatures, °C, rising; 700 to 1250 by 10 when left out.
    shop : Shop, optional
    **options
        Passed to the march (see `estimate.evaluate`).

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
    steel, head, route, shop = checked_case(steel, head, route, shop)
    check_march_options(options)
    given = check_list(_SETTINGS_C if temperatures is None else temperatures, "temperatures")
    given = [check_number(t, "forging temperature", 20.0, BURNING_C, "°C") for t in given]
    settings = np.array(given)
    if settings.size == 0 or np.any(np.diff(settings) <= 0.0):
        raise InputError(
            "temperatures do not rise; give one or more preheat temperatures, each above the one before."
        )
    # the last case is the route as it stands, which effort is counted from
    all_c = np.append(settings, route.preheat.temperature_c)
    cases = spread(steel, head, route, shop, len(all_c), settings={"preheat_c": all_c})
    e = evaluate(cases, ("interval", "trace"), **options)
    r, now, (low, high) = e.results, slice(len(settings)), e.interval_hv
    through = [e.heat_through_s(i) for i in range(len(settings))]
    columns = {
        "peak_c": r.peak_c[now, 0],
        "die_c": r.die_c[now, 0],
        "water_c": r.water_on_c[now, 0],
        "heat_through_s": np.array([np.inf if t is None else t for t in through]),
        "scale_um": r.scale_um[now, 0],
        "metal_loss_um": e.metal_loss_um[now, 0],
        "decarburised_um": e.decarburised_um[now],
        "skin_hv": np.array([e.surface(i).skin_hv for i in range(len(settings))]),
        "flow_stress_mpa": e.press["flow_stress_mpa"][now],
        "press_force_kn": e.press["press_force_kn"][now],
        "effort": (e.press["flow_stress_mpa"] / e.press["flow_stress_mpa"][-1])[now],
    }
    for name, zone in (("face", 0), ("hosel", 4)):
        columns |= {
            f"{name}_austenite": r.share[now, zone],
            f"{name}_grain_astm": r.grain_astm[now, zone],
            f"{name}_hv": r.hardness_hv[now, zone],
            f"{name}_low_hv": low[now, zone],
            f"{name}_high_hv": high[now, zone],
        }
    bends = [e.bend_of(head, i) for i in range(len(settings))]
    for name in ("allowed_deg", "allowed_deg_low", "allowed_deg_high"):
        column = name.replace("deg_low", "low_deg").replace("deg_high", "high_deg")
        columns[column] = np.array([getattr(bend, name) for bend in bends])
    warnings = tuple(
        tuple(w for w in e.warnings(i) if w.code in FURNACE_CODES) for i in range(len(settings))
    )
    ends = {"ac1_c": float(e.critical["ac1"][0]), "ac3_c": float(e.critical["ac3"][0])}
    case = (steel, head, route, settings)
    return ForgingTemperatureStudy(*case, **columns, warnings=warnings, **ends)
