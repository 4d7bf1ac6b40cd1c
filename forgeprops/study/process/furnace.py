"""Everything a hotter or colder preheat moves, for one steel, head and route, as arrays."""

from collections.abc import Mapping
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
    """One steel on one route at many preheat temperatures; every array is also an attribute: ``study.face_hv``."""

    steel: Steel
    head: Head
    route: Route
    arrays: Mapping[
        str, np.ndarray
    ]  # by name, one entry a setting; see `forging_temperature_study`
    warnings: tuple[tuple[Warn, ...], ...]  # at every setting, from the furnace
    ac1_c: float  # where austenite begins on heating
    ac3_c: float  # where the last ferrite goes on heating

    def __getattr__(self, name: str) -> np.ndarray:
        if name not in vars(self).get("arrays", ()):
            raise AttributeError(f"a forging temperature study has no {name}")
        return self.arrays[name]

    def table(self):
        """The arrays and the codes of the warnings as a DataFrame, one row a setting."""
        codes = [", ".join(dict.fromkeys(w.code for w in found)) for found in self.warnings]
        return data_frame({**self.arrays, "warnings": codes})

    def at(self, preheat_c: float) -> dict[str, float]:
        """Every array at one preheat temperature, straight between the settings studied."""
        low, high = float(self.preheat_c[0]), float(self.preheat_c[-1])
        t = check_number(preheat_c, "forging temperature", low, high, "°C")
        return {name: float(np.interp(t, self.preheat_c, v)) for name, v in self.arrays.items()}


def forging_temperature_study(
    steel: Steel, head=None, route=None, temperatures=None, shop=None, **options
) -> ForgingTemperatureStudy:
    """One steel, head and route at many preheat temperatures, and everything that moves.

    Parameters
    ----------
    steel : Steel
    head, route, shop : mid-iron, `Route()` and neutral shop when left out; `effort` is counted from the
        preheat temperature of the route.
    temperatures : preheat temperatures, °C, rising, 20 to 1340; 700 to 1250 by 10 when left out.
    **options : passed to the march (see `estimate`).

    Returns
    -------
    ForgingTemperatureStudy
        Of the face: ``peak_c, die_c, water_c`` (metal leaving the furnace, in the die, when the water starts; NaN
        without water), ``scale_um, metal_loss_um, decarburised_um, skin_hv`` (see `forging.skin.Surface`);
        ``heat_through_s`` (when the slowest zone is within 10 °C of the furnace; infinite if the soak ends
        before); of face and hosel: ``_austenite`` (share when cooling starts), ``_grain_astm`` (large is fine),
        ``_hv, _low_hv, _high_hv`` (with its 80 % interval); ``flow_stress_mpa`` (in the die, mean by projected
        area), ``press_force_kn``, ``effort`` (flow stress over that at the route's own setting);
        ``allowed_deg, allowed_low_deg, allowed_high_deg`` of the hosel.

    Raises
    ------
    InputError
        Temperatures that do not rise or are out of range.

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
    if not given or np.any(np.diff(given) <= 0.0):
        form = "one or more preheat temperatures, each above the one before"
        raise InputError(f"temperatures do not rise; give {form}.")
    # the last case is the route as it stands, which effort is counted from
    all_c = np.array([*given, route.preheat.temperature_c])
    cases = spread(steel, head, route, shop, {"preheat_c": all_c})
    e = evaluate(cases, ("interval", "trace"), **options)
    r, (low, high), n = e.results, e.interval_hv, len(given)
    through = [e.heat_through_s(i) for i in range(n)]
    stress = e.press["flow_stress_mpa"]
    arrays = {"preheat_c": all_c, "peak_c": r.peak_c[:, 0], "die_c": r.die_c[:, 0]}
    arrays["water_c"] = r.water_on_c[:, 0]
    arrays["heat_through_s"] = np.array([np.inf if t is None else t for t in through])
    for name, zone in (("face", 0), ("hosel", 4)):
        columns = {"austenite": r.share, "grain_astm": r.grain_astm, "hv": r.hardness_hv}
        columns |= {"low_hv": low, "high_hv": high}
        arrays |= {f"{name}_{what}": column[:, zone] for what, column in columns.items()}
    arrays |= {"scale_um": r.scale_um[:, 0], "metal_loss_um": e.metal_loss_um[:, 0]}
    arrays["decarburised_um"] = e.decarburised_um
    arrays["skin_hv"] = np.array([e.surface(i).skin_hv for i in range(n)])
    arrays |= {"flow_stress_mpa": stress, "press_force_kn": e.press["press_force_kn"]}
    arrays["effort"] = stress / stress[-1]
    bends = [e.bend_of(head, i) for i in range(n)]
    for end in ("", "_low", "_high"):
        arrays[f"allowed{end}_deg"] = np.array([getattr(b, f"allowed_deg{end}") for b in bends])
    arrays = {name: column[:n] for name, column in arrays.items()}
    warned = [tuple(w for w in e.warnings(i) if w.code in FURNACE_CODES) for i in range(n)]
    ends = float(e.critical["ac1"][0]), float(e.critical["ac3"][0])
    return ForgingTemperatureStudy(steel, head, route, arrays, tuple(warned), *ends)
