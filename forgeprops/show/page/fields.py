"""Controls of the page: sliders and choices in the reader's units, and what the reader set back as changes of the job."""

import dataclasses

from ...base.errors import check_choice, check_number
from ...inputs.grades import grade, grades
from ...inputs.head import head, heads
from ...inputs.job import Job
from ...inputs.limits import Limits
from ...inputs.route import Spray
from ...inputs.settings import COOLING_WORDS, table
from ...strength.hardness_scales import try_convert
from ...thermal.spray_units import spray_setting
from ..units import Units

#: Sliders of the rail; one click away; and what a head is first described by.
MAIN = ("preheat_c", "flux", "spray_s")
FURTHER = ("delay_s", "water_c", "soak_s", "transfer_s", "die_c", "dwell_s")
#: Limits by purpose (see `Limits`).
PURPOSES = {"hard thin face": Limits.hard_thin_face, "soft forged": Limits.soft_forged}


def number_of(job: Job, name: str) -> float:
    """What a setting is now; 0 for the spray of a route without one."""
    value = job.route.setting(name)
    if value is None:
        return 0.0 if name == "flux" else getattr(Spray(), table()[name].field)
    return value


def shown(units: Units, name: str, value: float) -> float:
    """A setting's number as the reader has it; a spray rate as flow."""
    return float(units.shown(table()[name], value))


def fields_of(job: Job, units: Units) -> dict[str, dict]:
    """Sliders by name: label, unit, ends, step, value and decimals, all in the reader's units."""
    found = {}
    for name in (*MAIN, *FURTHER):
        what = table()[name]
        low, high = (round(shown(units, name, end), 3) for end in what.slider[:2])
        step = 0.1 if name == "flux" else units.convert(what.slider[2], what.unit, step=True)
        value = shown(units, name, number_of(job, name))
        found[name] = {
            "label": what.label, "unit": units.unit(what.unit), "low": low, "high": high,
            "step": step, "value": round(value, 3), "digits": 0 if step >= 1 else 1 if step * 10 % 1 < 1e-9 else 2,
        }  # fmt: skip
    return found


def changes_of(job: Job, units: Units, given: dict) -> dict:
    """What the reader set, as changes of a job."""
    changes = {}
    for name, value in given.items():
        if name == "steel":
            changes["steel"] = grade(check_choice(value, "steel", grades(), "page"))
        elif name == "head":
            changes["head"] = head(check_choice(value, "head", heads(), "page"))
        elif name == "cooling":
            changes["surroundings"] = check_choice(value, "cooling", COOLING_WORDS, "page")
        elif name == "purpose":
            changes["limits"] = PURPOSES[check_choice(value, "purpose", PURPOSES, "page")]()
        else:
            check_choice(name, "control", (*MAIN, *FURTHER), "page")
            what = table()[name]
            value = check_number(value, what.label, -1e9, 1e9)
            if name == "flux":
                value = spray_setting(value / units.convert(1.0, "L/min")).flux_kg_m2_s
            elif what.unit == "°C":
                value = units.to_c(value)
            if what.part == "spray" and job.route.spray is None:
                spray = changes.get("spray") or Spray()
                changes["spray"] = dataclasses.replace(spray, **{what.field: value})
            else:
                changes[name] = round(value, 6)
    if "spray" in changes:
        route = dataclasses.replace(job.route, spray=changes.pop("spray"))
        changes = {"route": route, **changes}
    return changes


def hardness_number(units: Units, hv: float) -> float | None:
    """Hardness in the reader's scale, one decimal for Rockwell; None where the scale ends."""
    found = hv if units.hardness == "HV" else try_convert(hv, "HV", units.hardness)
    digits = 0 if units.hardness in ("HV", "HB") else 1
    return None if found is None else round(float(found), digits)


def purpose_of(limits: Limits) -> str:
    """Name of the set of limits; empty for the reader's own."""
    return next((name for name, made in PURPOSES.items() if made() == limits), "")


def limits_with(limits: Limits, units: Units, name: str, end: int, value: float | None) -> Limits:
    """The limits with one end changed or taken away (None), a hardness in the reader's scale."""
    kept = limits.saved()
    scale = units.hardness.lower() if name.endswith("_hardness_hv") else ""
    stem = name.removesuffix("_hv")
    pair = [None, None]
    for key in [k for k in kept if k.rpartition("_")[0] == stem] if scale else [name]:
        if key in kept:
            pair = kept.pop(key)
            if scale and key != f"{stem}_{scale}":
                pair = [e and hardness_number(units, e) for e in limits.bounds[name]]
    pair = [value if i == end else pair[i] for i in (0, 1)]
    if pair != [None, None]:
        kept[f"{stem}_{scale}" if scale else name] = pair
    return Limits(**kept)
