"""What the heat costs: effort of forging, scale, carbon lost at the surface, and what to be warned of."""

from .cautions import HeatingLimits, furnace_warnings, heating_limits
from .decarburisation import carbon_diffusivity, carbon_profile, decarburised_depth_um, skin_hardness_hv
from .effort import (
    EqualEffort,
    FlowStress,
    equal_effort,
    equal_effort_preheat,
    flow_stress,
    flow_stress_mpa,
    relative_effort,
)
from .press import press_force_kn
from .scale import metal_loss_um, scale_along_um, scale_thickness_um

__all__ = [
    "EqualEffort", "FlowStress", "HeatingLimits", "carbon_diffusivity", "carbon_profile",
    "decarburised_depth_um", "equal_effort", "equal_effort_preheat", "flow_stress", "flow_stress_mpa",
    "furnace_warnings", "heating_limits", "metal_loss_um", "press_force_kn", "relative_effort",
    "scale_along_um", "scale_thickness_um", "skin_hardness_hv",
]
