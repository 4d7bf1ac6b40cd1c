"""forgeprops: how hard and strong a forged golf iron head comes out, and how far its hosel will bend.

For this steel, this head and this route: hardness and strength of face, rim, body, neck and hosel, the bend the hosel
takes, how sure that is, and which settings do better.

Examples
--------
>>> import forgeprops as fp
>>> result = fp.estimate(fp.grade("4130"), fp.head("mid-iron"), fp.Route())
>>> result.zones["face"].hardness_hv > result.zones["hosel"].hardness_hv
True
"""

import importlib

from .answer.estimate import estimate
from .inputs.head import head

__version__ = "0.1.0"

#: Room -> public names that live in it; loaded on first use, so that importing the package stays quick.
_ROOMS = {
    "base.errors": "InputError",
    "base.ranges": "Warn",
    "inputs.steel": "Steel",
    "inputs.grades": "grade grades",
    "inputs.head": "Head heads",
    "inputs.templates": "head_from",
    "inputs.route": "Cool FirstHeat LaterHeat LocalHeat Normalise Preheat Press Quench Route Spray Temper Transfer",
    "inputs.shop": "Shop load_shop",
    "inputs.job": "Job load_job",
    "units": "Units",
    "hardenability.ideal_diameter": "ideal_diameter ideal_diameter_upper",
    "hardenability.end_quench": "end_quench",
    "hardenability.carbon_equivalent": "carbon_equivalents",
    "transformation.temperatures": "critical_temperatures",
    "transformation.tempering": "tempered_hardness",
    "forging.effort": "equal_effort",
    "study.process.preheat": "equal_effort_preheat equal_effort_setting forging_temperature_study",
    "thermal.spray_units": "spray_setting",
    "specimens": "air_cooled_bar continuous_cooling end_quench_bar quenched_bar",
    "strength.hardness_scales": "convert_hardness",
    "strength.tensile": "tensile_strength",
    "hosel.bend": "hosel_bend",
    "face.margin": "face_strike",
    "face.distortion": "face_bow",
    "study.hosel_bench": "hosel_sensitivity soften",
    "study.shop.tracking": "add_to_log read_log track",
    "study.spray_plate.heat_transfer": "cooling_curve",
    "answer.estimate": "Estimate",
    "answer.next_measurement": "next_measurement",
    "study.process.many": "estimate_many",
    "inputs.limits": "Limits",
    "study.process.study": "Line",
    "study.process.comparison": "compare",
    "study.process.process_window": "window",
    "study.process.search": "choose",
    "study.process.scattering": "scatter",
    "io.tables": "read_table write_table",
    "certificates.reading": "read_certificates",
    "study.shop.measured_heads": "read_runs",
    "study.shop.traces": "read_channels read_traces",
    "study.shop.measurements": "read_bends read_hardness",
    "study.shop.heat_acceptance": "judge_heat judge_heats",
    "study.shop.fitting": "fit",
    "study.shop.find_cause": "find_cause",
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names.split()}

__all__ = sorted([*_ROOM_OF, "estimate", "head", "__version__"])


def __getattr__(name: str):
    if name in _ROOM_OF:
        value = getattr(importlib.import_module(f".{_ROOM_OF[name]}", __name__), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'forgeprops' has no attribute {name!r}")


def __dir__():
    return __all__
