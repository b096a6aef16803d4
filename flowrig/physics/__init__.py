"""Equations of moving air: floats and arrays in SI, kelvin and absolute pascal in, the same out.

Every public name is resolved on first use, so that importing this package loads nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_MODULES: dict[str, tuple[str, ...]] = {
    "air": (
        "enhancement_factor",
        "fan_standard_density",
        "fan_standard_vapour_pressure",
        "ice_vapour_pressure",
        "moist_air_density",
        "relative_humidity",
        "saturation_vapour_pressure",
        "standard_pressure",
        "sutherland_viscosity",
        "temperature_rise",
        "vapour_fraction_from_dew_point",
        "vapour_fraction_from_humidity",
        "vapour_fraction_from_wet_bulb",
        "viscosity",
    ),
    "box": ("box_equivalent_drop", "box_flow", "similar_flow"),
    "box_orifice": (
        "box_orifice_approach",
        "box_orifice_coefficient",
        "box_orifice_expansibility",
        "box_orifice_flow",
        "box_orifice_reynolds",
        "calibrated_hole_flow",
    ),
    "channel_content": ("content_shift", "efficiency_across"),
    "clean_air": (
        "clean_air_for_air_changes",
        "clean_air_for_concentration",
        "clean_air_for_persons",
        "clean_air_from_decay",
        "short_circuit_clean_air",
        "short_circuit_share",
    ),
    "cost": ("break_even", "energy_cost", "levelised_cost", "residual_value"),
    "duct_filter": ("duct_clean_air", "duct_gain", "duct_loss"),
    "fan": (
        "fan_flow_at_speed",
        "fan_level_at_speed",
        "fan_power_at_speed",
        "fan_pressure_at_speed",
        "fan_speed_at_level",
    ),
    "hood": ("hood_actual_flow", "hood_free_flow", "hood_free_flow_by_curve"),
    "inlet": ("inlet_expansibility", "inlet_flow"),
    "leakage": ("decay_flow", "leakage_flow", "unit_flow"),
    "nozzle": (
        "bank_beta",
        "nozzle_coefficient",
        "nozzle_expansibility",
        "nozzle_expansibility_linear",
        "nozzle_flow",
        "nozzle_reynolds",
        "nozzle_throat_velocity",
    ),
    "orifice": (
        "orifice_coefficient",
        "orifice_coefficient_uncertainty",
        "orifice_expansibility",
        "orifice_expansibility_uncertainty",
        "orifice_flange_position",
        "orifice_flow",
    ),
    "particles": (
        "channel_counts",
        "coincidence_corrected",
        "coincidence_dead_time",
        "coincidence_loss",
        "geometric_mean_size",
        "penetration",
        "penetration_between",
        "penetration_by_correlation",
        "penetration_swapped",
    ),
    "pipe": ("pipe_reynolds",),
    "pipe_nozzle": (
        "isa_1932_coefficient",
        "isa_1932_coefficient_uncertainty",
        "isa_1932_flow",
        "long_radius_coefficient",
        "long_radius_flow",
        "pipe_nozzle_expansibility_uncertainty",
    ),
    "present_value": (
        "nominal_rate",
        "present_value_factor",
        "purchases_until",
        "purchases_within",
        "real_rate",
        "repeated_factor",
        "uniform_factor",
        "year_end_factor",
    ),
    "resistance": (
        "efficiency_with_gap",
        "filter_drop",
        "filter_velocity",
        "gap_flow",
        "loss_drop",
        "power_law_in_air",
        "power_law_velocity",
    ),
    "room": (
        "concentration_at",
        "loss_from_half_life",
        "removal_time",
        "room_gain",
        "room_loss",
        "steady_concentration",
        "time_to_concentration",
    ),
    "sampling": ("bypass_share", "density_at_limits", "mean_log_size", "spectrum_slope", "tube_volumes"),
    "size_averages": (
        "efficiency_at_size",
        "log_size_weights",
        "particulate_efficiency",
        "range_averages",
        "volume_density",
        "volume_weights",
    ),
    "sound": (
        "energy_mean",
        "energy_sum",
        "equal_sources_level",
        "level_at_distance",
        "level_upper_bound",
        "level_without_background",
        "power_level_from_room",
        "room_constant",
        "room_level",
    ),
    "traverse": (
        "diameter_positions",
        "face_weights_side",
        "points_per_diameter",
        "points_rule",
        "radius_positions",
        "side_positions",
        "wall_law_weights_diameter",
        "wall_law_weights_side",
    ),
    "venturi": (
        "venturi_expansibility_uncertainty",
        "venturi_flow",
        "venturi_nozzle_coefficient",
        "venturi_nozzle_coefficient_uncertainty",
    ),
    "velocity": ("pitot_display_velocity", "pitot_velocity", "thermal_velocity", "yaw_overreading"),
    "weighting": ("a_weighted_level", "a_weighted_level_sloped", "a_weighting", "band_frequency"),
    "winding": ("winding_rise",),
}
_HOME = {name: module for module, names in _MODULES.items() for name in names}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"flowrig.physics has no {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
