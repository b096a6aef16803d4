"""Traverse of a duct with a thermal anemometer, which feels mass flux and shows it as a velocity."""

from __future__ import annotations

import numpy as np

from flowrig.methods import profile, traverse
from flowrig.methods.method import Effect, Limit, Method, Situation, Size, Window
from flowrig.methods.reference_density import reference_density
from flowrig.physics.si import Floats
from flowrig.physics.velocity import thermal_velocity
from flowrig.records.declare import FlagMeaning, Reading
from flowrig.records.items import Array


def kernel(
    density: Array,
    pressure: Array,
    static: Array,
    velocity: Array,
    weights: Array,
    other_weights: Array,
    area: Array,
    reference_density: Array | None = None,
) -> dict[str, Floats]:
    """Mass flow from a display true at its reference density; the air's own density then drops out of it."""
    here = density * (pressure + static) / pressure
    local = velocity if reference_density is None else thermal_velocity(velocity, here, reference_density)
    return traverse.plane_flow(local, here, weights, other_weights, area)


def _prepare(situation: Situation) -> None:
    traverse.prepare(situation)
    reference = reference_density(situation, "velocity")
    if reference is not None:
        situation.inputs["reference_density"] = reference


NO_SIGN = FlagMeaning(
    "reversal cannot be seen",
    "note",
    "A thermal probe shows speed without direction: that no point read backwards says nothing about reversed flow.",
)
DRAUGHT = FlagMeaning(
    "slow for a thermal probe",
    "warning",
    "Below about 0.1 m/s the probe's own warm plume is part of what it reads.",
    "common practice, no source",
)

VELOCITY = Reading(
    "velocity",
    "Velocity shown.",
    required=True,
    kind="velocity",
    low=0.0,
    high=100.0,
    grid=True,
    example='"1.82 m/s"',
)
# what a heated probe does anywhere, in a duct or before a face
RESPONSE = Effect(
    "method:thermal:response",
    "thermal probe's response in a stream",
    "Air temperature other than at calibration, turbulence and the direction of the sensor shift what a heated "
    "probe shows, beyond its maker's accuracy in a calm calibrated stream: 3 %.",
    lambda situation: Size(limit=0.03),
    scope="method",
    source="common practice, no source",
)
LIMITS = (
    Limit(NO_SIGN, lambda s: True, lambda s: "a thermal probe cannot tell backward from forward flow"),
    Limit(
        DRAUGHT,
        lambda s: np.abs(s.nominal["mean_velocity"]) < 0.1,
        lambda s: f"mean velocity {float(np.mean(s.nominal['mean_velocity'])):.2g} m/s",
        window=Window("mean_velocity", "mean velocity", 0.1, kind="velocity", unit="m/s"),
    ),
)

METHOD = Method(
    name="thermal-traverse",
    title="Thermal-anemometer traverse of a duct",
    help="Velocity at every point of a rule with a heated probe; its display holds at a reference density.",
    source=traverse.STANDARD,
    fields=(
        VELOCITY,
        traverse.VELOCITY_MONITOR,
        *traverse.PLANE_FIELDS,
    ),
    checks=(traverse.plane_checks,),
    kernel=kernel,
    air=("density", "pressure"),
    axes=("point",),
    hardware=(traverse.DUCTS,),
    prepare=_prepare,
    layout=traverse.layout,
    usual_profile=traverse.USUAL_PROFILE,
    summary=traverse.summary,
    sheet_defaults=traverse.usual_plan,
    cautions=traverse.CAUTIONS,
    effects=(
        *traverse.EFFECTS,
        traverse.blockage("thermal probe", (2e-4, 20e-4)),  # a telescopic stem of 6 to 12 mm reaching part of the way
        RESPONSE,
    ),
    limits=(
        *profile.LIMITS,
        *LIMITS,
    ),
    conventions=("v = v shown × reference density / density; none where the instrument corrects itself",),
)
