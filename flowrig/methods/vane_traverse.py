"""Traverse of a duct with a rotating-vane anemometer."""

from __future__ import annotations

import numpy as np

from flowrig.methods import profile, traverse
from flowrig.methods.method import Effect, Limit, Method, Situation, Size, Window
from flowrig.physics.si import Floats
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
) -> dict[str, Floats]:
    """Mass flow from velocities that do not depend on density."""
    here = density * (pressure + static) / pressure
    return traverse.plane_flow(velocity, here, weights, other_weights, area)


def _density(situation: Situation) -> Size:
    ratio = np.abs(situation.nominal["density"][..., 0] / 1.2 - 1.0)
    return Size(limit=np.where(ratio <= 0.1, 0.005, 0.015))


THIN_AIR = FlagMeaning(
    "vane far from usual density",
    "note",
    "The density is more than a tenth away from 1.2 kg/m3, near which vanes are calibrated; the limit for what that "
    "does to a vane is widened from 0.5 to 1.5 %.",
    "common practice, no source",
)
SLOW = FlagMeaning(
    "slow for a vane",
    "warning",
    "Vanes start turning at some 0.3 to 0.5 m/s and read poorly just above.",
    "common practice, no source",
)

VELOCITY = Reading(
    "velocity",
    "Velocity shown.",
    required=True,
    kind="velocity",
    low=-60.0,
    high=60.0,
    grid=True,
    example='"2.41 m/s"',
)
# what a vane does anywhere, in a duct or before a face
DENSITY = Effect(
    "method:vane:density",
    "vane's response to density",
    "A vane shows velocity whatever the density, within a limit: bearing friction weighs more in thin air. "
    "0.5 % within a tenth of 1.2 kg/m3, 1.5 % beyond.",
    _density,
    scope="method",
    source="common practice, no source",
)
LIMITS = (
    Limit(
        THIN_AIR,
        lambda s: np.abs(s.nominal["density"] / 1.2 - 1.0) > 0.1,
        lambda s: f"density {float(np.mean(s.nominal['density'])):.3g} kg/m3",
    ),
    Limit(
        SLOW,
        lambda s: np.abs(s.nominal["mean_velocity"]) < 0.6,
        lambda s: f"mean velocity {float(np.mean(s.nominal['mean_velocity'])):.2g} m/s",
        window=Window("mean_velocity", "mean velocity", 0.6, kind="velocity", unit="m/s"),
    ),
)

METHOD = Method(
    name="vane-traverse",
    title="Vane-anemometer traverse of a duct",
    help="Velocity at every point of a rule with a rotating vane; mean of the velocities times the area.",
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
    prepare=traverse.prepare,
    layout=traverse.layout,
    usual_profile=traverse.USUAL_PROFILE,
    summary=traverse.summary,
    sheet_defaults=traverse.usual_plan,
    cautions=traverse.CAUTIONS,
    effects=(
        *traverse.EFFECTS,
        traverse.blockage("vane", (2e-4, 90e-4)),  # a head of 16 to 100 mm
        DENSITY,
    ),
    limits=(
        *profile.LIMITS,
        profile.REVERSAL,
        *LIMITS,
    ),
    conventions=("no density correction of a vane",),
)
