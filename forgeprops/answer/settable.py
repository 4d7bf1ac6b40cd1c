"""Steps in which a shop sets what is proposed to it."""

from __future__ import annotations

from ..inputs.settings import setting
from ..thermal.spray_units import from_flux

#: Steps in which a setting is set, by its unit: °C and s (our choice); 0.5 L/min of spray.
_STEPS = {"°C": 5.0, "s": 0.5, "kg/(m² s)": 0.5 / from_flux(1.0).total_l_min}
#: Of a time in minutes.
_LONG_S, _LONG_STEP_S = 3600.0, 30.0


def step_of(name: str) -> float:
    """Step in which a shop sets a setting of the route, in its unit; 0 for what is not set.

    Examples
    --------
    >>> step_of("preheat_c"), step_of("spray_s"), step_of("soak_s"), step_of("C")
    (5.0, 0.5, 30.0, 0.0)
    """
    what = setting(name)
    if what.group != "route":
        return 0.0
    long = what.unit == "s" and what.slider is not None and what.slider[1] >= _LONG_S
    return _LONG_STEP_S if long else _STEPS.get(what.unit, 0.0)
