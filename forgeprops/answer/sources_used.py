"""What one estimate rests on: the rows of data/sources that its steel, head and route called for."""

from __future__ import annotations

import functools

from ..base.tables import read_rows
from ..inputs.head import head, heads
from ..inputs.steel import DEFAULT_RESIDUALS
from ..transformation.austenite import carbide_carbon
from .interval import UNSURE_CARBON, UNSURE_SHARE

__all__ = ["sources_of"]

_TEMPERATURES = """
    ae1_grange ae3_grange ac1_hougardy ac3_hougardy bainite_start_own bs_van_bohemen
    martensite_start_own ms_van_bohemen martensite_start_measured martensite_rate
""".split()
#: The other published formulas: their spread is told with the temperatures.
_SPREAD = """
    ae1_andrews ae1_eldis ae3_andrews ae3_andrews_long ae3_eldis ac1_steelmaker ac1_trzaska
    ac3_steelmaker ac3_trzaska bs_steven_haynes bs_bodnar bs_lee bs_trzaska ms_andrews
    ms_andrews_product ms_steven_haynes ms_kung_rayment ms_capdevila ms_steelmaker ms_trzaska
""".split()
_AUSTENITE = """
    austenite_equilibrium three_phase_interval austenite_formation carbide_dissolution grain_start
    grain_lee_lee grain_coarsening grain_size_table island_diameter pearlite_sites ferrite_return
""".split()
_TRANSFORMATION = """
    rate_equations rate_constants bainite_tail bs_li phase_boundaries martensite_law
    constituent_hardness phase_hardness_maynier tempering_own tempering_additive tempering_mixture
    retained_austenite_hardness air_cooled_bars hardness_residuals hardness_conversion
    hardness_below_20_hrc martensite_hardness_end_quench
""".split()
_HEAT = """
    cp_ferrite cp_austenite conductivity_carbon conductivity_chromoly latent_heat air natural_cylinder
    natural_plate combined_convection radiation emissivity furnace_convection die_contact die_steel
    die_conductance time_step wall_points
""".split()
_WATER = """
    spray spray_single_phase water_factor scale_conductivity wet_share evaporation_limit
    water_law_spread
""".split()
_COOLING = {
    "single": (),
    "row": ("row_view_factor",),
    "bin": ("neighbours_bin",),
    "fan": ("forced_cylinder", "forced_plate"),
    "sleeve": ("sleeve",),
}
_SURFACE = """
    scale_iron carbon_diffusivity decarburisation_estimate carbon_left layer_hardness heating_cautions
    forging_temperatures heated_through
""".split()
#: With 1030, which the effort is told against.
_EFFORT = """
    grades_sae_carbon mid_range_rule default_residuals
    flow_stress_shida flow_stress_chromium flow_stress_rolling_factor flow_stress_sets
    flow_stress_medina_hernandez flow_stress_misaka press_force projected_area
""".split()
_PRESS_STRAIN = """
    plastic_work recrystallisation_hodgson_gibbs retained_strain
""".split()
_OPINIONS = """
    critical_rates critical_rates_limits opinion_mixture ideal_diameter
    initial_hardness dividing_factors end_quench_cooling end_quench_t85
""".split()
#: Only where something became austenite.
_HARDENED_OPINIONS = ("critical_rates_parameter_unit", "grain_size_term")
_STRENGTH = """
    strength_qt_tensile strength_handbook_lines strength_bainite strength_all_data uniform_asme
    uniform_share yield_plateau considere youngs
""".split()
_HOSEL = """
    tube_section moment_curvature bench_beam strain_fraction bend_zone bar bore_out_of_round bauschinger
    strain_life roessle_fatemi brinell_share uniform_material_law scatter_factor ovalisation wrinkling
    hand_force_225 hand_force_400
""".split()
_DISTORTION = """
    martensite_volume bainite_pearlite_volume expansion_elongation plastic_share cutting_limit
""".split()
_FACE = """
    clamped_rectangle dynamic_overshoot fatigue_limit fatigue_line surface_factor shakedown strikes ball
    restitution patch
""".split()


#: Standard's first letters -> row of data/sources that holds its grades.
_STANDARDS = {
    "SAE J403": "grades_sae_carbon",
    "SAE J404": "grades_sae_alloy",
    "JIS": "grades_jis",
    "EN": "grades_en",
    "ISO 683": "grades_en",
}


@functools.cache
def _standards() -> dict[str, str]:
    return {
        row["grade"]: next(
            id for start, id in _STANDARDS.items() if row["standard"].startswith(start)
        )
        for row in read_rows("library/grades.csv")
    }


def _steel(steel) -> list[str]:
    library = steel.limits is not None and steel.name in _standards()
    ids = [_standards()[steel.name], "mid_range_rule"] if library else []
    if any(steel.get(e) for e in DEFAULT_RESIDUALS if e not in steel.composition):
        ids.append("default_residuals")
    return ids


def _head(drawing) -> list[str]:
    library = drawing.name in heads() and drawing == head(drawing.name)
    drawn = ["head_building", "steel_density", "section_mean_rise", "zone_bridges"]
    return ["heads", *drawn] if library else drawn


def _carbides(result) -> list[str]:
    """Carbides are marched slow and fast where that could matter (see `estimate.carbides_unsure`)."""
    steel, zones = result.steel, result.zones.values()
    shares = [z.austenite_share for z in zones]
    bound = [
        carbide_carbon(z.undissolved, steel.get("C"), steel.get("Cr"), steel.get("Mo"))
        for z in zones
    ]
    unsure = max(shares) > 0.0 and (min(shares) < UNSURE_SHARE or max(bound) > UNSURE_CARBON)
    return ["carbide_speeds"] if unsure else []


def sources_of(result) -> tuple[str, ...]:
    """Ids of the rows of data/sources that an estimate used, in the order of the shop floor.

    Parameters
    ----------
    result : Estimate

    Returns
    -------
    tuple of str
        See `sources.source` for what each says.
    """
    route = result.route
    sprayed = (
        route.spray is not None and route.spray.flux_kg_m2_s > 0.0 and route.spray.duration_s > 0.0
    )
    hardened = max(zone.austenite_share for zone in result.zones.values()) > 0.0
    ids = [
        *_steel(result.steel),
        *_head(result.head),
        *_TEMPERATURES,
        *_SPREAD,
        *_AUSTENITE,
        *_carbides(result),
        *_HEAT,
        *_COOLING[route.cool.surroundings],
        *(_WATER if sprayed else ()),
        *_TRANSFORMATION,
        *_SURFACE,
        *_EFFORT,
        *(_PRESS_STRAIN if route.press.strain > 0.0 else ()),
        *_OPINIONS,
        *(_HARDENED_OPINIONS if hardened else ()),
        *_STRENGTH,
        *_HOSEL,
        *_DISTORTION,
        *(_FACE if result.face is not None else ()),
    ]
    return tuple(dict.fromkeys(ids))
