"""Traverse of a filter, coil or grille with a rotating-vane anemometer."""

from __future__ import annotations

from flowrig.methods import face, profile, traverse, vane_traverse
from flowrig.methods.method import Method
from flowrig.physics.si import Floats
from flowrig.records.items import Array


def kernel(
    density: Array,
    velocity: Array,
    weights: Array,
    other_weights: Array,
    area: Array,
    factor: Array | None = None,
) -> dict[str, Floats]:
    """Mass flow through the face from velocities that do not depend on density."""
    return traverse.plane_flow(velocity, density, weights, other_weights, area if factor is None else area * factor)


METHOD = Method(
    name="vane-face",
    title="Vane-anemometer traverse of a face",
    help="Velocity on an equal-area grid at a filter, coil or grille with a rotating vane; mean of the velocities "
    "times the open area.",
    source=face.STANDARD,
    fields=(
        vane_traverse.VELOCITY,
        traverse.VELOCITY_MONITOR,
        *face.FIELDS,
    ),
    kernel=kernel,
    axes=("point",),
    hardware=(face.FACES,),
    prepare=face.prepare,
    layout=face.layout,
    usual_profile=face.USUAL_PROFILE,
    summary=traverse.summary,
    sheet_defaults=face.usual_plan,
    cautions=face.CAUTIONS,
    effects=(*face.EFFECTS, vane_traverse.DENSITY),
    limits=(*face.LIMITS, profile.REVERSAL, *vane_traverse.LIMITS),
    conventions=(*face.CONVENTIONS, "no density correction of a vane"),
)
