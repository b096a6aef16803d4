"""Traverse of a filter, coil or grille with a thermal anemometer."""

from __future__ import annotations

from flowrig.methods import face, thermal_traverse, traverse
from flowrig.methods.method import Method, Situation
from flowrig.methods.reference_density import reference_density
from flowrig.physics.si import Floats
from flowrig.physics.velocity import thermal_velocity
from flowrig.records.items import Array


def kernel(
    density: Array,
    velocity: Array,
    weights: Array,
    other_weights: Array,
    area: Array,
    factor: Array | None = None,
    reference_density: Array | None = None,
) -> dict[str, Floats]:
    """Mass flow through the face from a display true at its reference density."""
    local = velocity if reference_density is None else thermal_velocity(velocity, density, reference_density)
    return traverse.plane_flow(local, density, weights, other_weights, area if factor is None else area * factor)


def _prepare(situation: Situation) -> None:
    face.prepare(situation)
    reference = reference_density(situation, "velocity")
    if reference is not None:
        situation.inputs["reference_density"] = reference


METHOD = Method(
    name="thermal-face",
    title="Thermal-anemometer traverse of a face",
    help="Velocity on an equal-area grid at a filter, coil or grille with a heated probe; its display holds at a "
    "reference density.",
    source=face.STANDARD,
    fields=(
        thermal_traverse.VELOCITY,
        traverse.VELOCITY_MONITOR,
        *face.FIELDS,
    ),
    kernel=kernel,
    axes=("point",),
    hardware=(face.FACES,),
    prepare=_prepare,
    layout=face.layout,
    usual_profile=face.USUAL_PROFILE,
    summary=traverse.summary,
    sheet_defaults=face.usual_plan,
    cautions=face.CAUTIONS,
    effects=(*face.EFFECTS, thermal_traverse.RESPONSE),
    limits=(*face.LIMITS, *thermal_traverse.LIMITS),
    conventions=(
        *face.CONVENTIONS,
        "v = v shown × reference density / density; none where the instrument corrects itself",
    ),
)
