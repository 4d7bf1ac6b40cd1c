"""forgeprops: how hard and strong a forged iron head comes out, and how far its hosel will bend.

For this steel, this head and this route: hardness and strength of face, rim, body, neck and hosel, the bend the hosel
takes, how sure that is, and which settings do better.

Examples
--------
>>> import forgeprops as fp
>>> result = fp.estimate(fp.grade("4130"), fp.head("mid-iron"), fp.Route())
>>> result.zones["face"].hardness_hv > result.zones["hosel"].hardness_hv
True
"""

from __future__ import annotations

import importlib

# Eager, and in this order: a function that bears its room's name must be bound after the room is loaded.
from .estimate import estimate
from .head import head

__version__ = "0.1.0"

#: Public name -> room it lives in; loaded on first use, so that importing the package stays quick.
_ROOMS = {
    "errors": ["InputError"],
    "ranges": ["Warn"],
    "steel": ["Steel", "grade"],
    "steel.grades": ["grades"],
    "head": ["Head", "heads"],
    "route": ["Cool", "FirstHeat", "LaterHeat", "Preheat", "Press", "Route", "Spray", "Transfer"],
    "shop": ["Shop", "load_shop"],
    "hardenability.ideal_diameter": ["ideal_diameter", "ideal_diameter_upper"],
    "hardenability.end_quench": ["end_quench"],
    "hardenability.carbon_equivalent": ["carbon_equivalents"],
    "transformation.temperatures": ["critical_temperatures"],
    "transformation.tempering": ["tempered_hardness"],
    "forging.effort": ["equal_effort"],
    "study.equal_effort": ["equal_effort_preheat", "equal_effort_setting"],
    "study.forging_temperature": ["forging_temperature_study"],
    "thermal.spray": ["spray_setting"],
    "specimens": ["air_cooled_bar", "continuous_cooling", "end_quench_bar", "quenched_bar"],
    "mechanical.hardness_scales": ["convert_hardness"],
    "mechanical.strength": ["strength", "tensile_strength"],
    "limits.hosel": ["hosel_bend"],
    "limits.face": ["face_strike"],
    "limits.distortion": ["face_bow"],
    "study.hosel_bench": ["hosel_sensitivity", "soften"],
    "study.tracking": ["add_to_log", "read_log", "track"],
    "study.inverse": ["cooling_curve"],
    "answer": ["Estimate"],
    "study.many": ["estimate_many"],
    "study.user_limits": ["Limits"],
    "study.line": ["Line"],
    "study.compare": ["compare"],
    "study.window": ["window"],
    "study.choose": ["choose"],
    "study.scatter": ["scatter"],
    "steel.certificates": ["read_certificates"],
    "study.runs": ["read_runs"],
    "study.traces": ["read_channels", "read_traces"],
    "study.measurements": ["read_bends", "read_hardness"],
    "study.judge": ["judge_heat", "judge_heats"],
    "study.fit": ["fit"],
    "study.find_cause": ["find_cause"],
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = sorted([*_ROOM_OF, "estimate", "head", "__version__"])


def __getattr__(name: str):
    if name in _ROOM_OF:
        value = getattr(importlib.import_module(f".{_ROOM_OF[name]}", __name__), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'forgeprops' has no attribute {name!r}")


def __dir__():
    return __all__
