"""Traverse of a duct with a pitot-static probe, its manometer showing pressure or velocity."""

from __future__ import annotations

import numpy as np

from flowrig.methods import profile, traverse
from flowrig.methods.method import Effect, Limit, Method, Situation, Size, Window
from flowrig.methods.reference_density import reference_density
from flowrig.physics.si import Floats
from flowrig.physics.velocity import pitot_display_velocity, pitot_velocity
from flowrig.records.declare import FlagMeaning, Given, OneOf, Reading, Text
from flowrig.records.items import Array


def kernel(
    density: Array,
    pressure: Array,
    static: Array,
    coefficient: Array,
    weights: Array,
    other_weights: Array,
    area: Array,
    drop: Array | None = None,
    velocity: Array | None = None,
    reference_density: Array | None = None,
) -> dict[str, Floats]:
    """Mass flow from velocity pressures, or from a display that turned them into velocity at a set density."""
    here = density * (pressure + static) / pressure
    if drop is not None:
        local = pitot_velocity(drop, here, pressure + static, coefficient)
    elif velocity is not None and reference_density is not None:
        local = coefficient * pitot_display_velocity(velocity, here, reference_density)
    else:
        assert velocity is not None
        local = coefficient * velocity
    return traverse.plane_flow(local, here, weights, other_weights, area)


def _prepare(situation: Situation) -> None:
    traverse.prepare(situation)
    if "velocity" in situation.inputs:
        reference = reference_density(situation, "velocity")
        if reference is not None:
            situation.inputs["reference_density"] = reference


def _fluctuation(situation: Situation) -> Size | None:
    rms = situation.value("fluctuation_rms")
    if rms is None:
        return None
    if "drop" not in situation.inputs:
        return Size(assumed="the display shows velocity: fluctuation_rms, which is of the pressure, was not used")
    bias = rms**2 / 8
    known = situation.value("fluctuation")
    if known == "real":
        return Size(shift=-bias)
    if known == "noise":
        return Size()
    return Size(
        shift=-bias / 2,
        limit=bias / 2,
        assumed="not known whether the pressure's unsteadiness is real; half of s²/8 taken off, the rest in the bar",
    )


UNSTEADY = FlagMeaning(
    "unsteady readings",
    "warning",
    "The pressure fluctuates by more than 10 % rms: the root of its mean reads high, and by how much depends on "
    "whether the flow or the sensor is unsteady.",
    "second-order expansion of the root; threshold common practice, no source",
)
SLOW = FlagMeaning(
    "slow for a pitot probe",
    "warning",
    "Below about 3 m/s the velocity pressure is under 6 Pa and most manometers say little about it.",
    "common practice, no source",
)

METHOD = Method(
    name="pitot-traverse",
    title="Pitot-static traverse of a duct",
    help="Velocity pressure (or a display's velocity) at every point of a rule; mean of the velocities times the area.",
    source=traverse.STANDARD,
    fields=(
        Reading(
            "drop",
            "Velocity pressure: total minus static.",
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            grid=True,
            positive=True,
            example='"24.6 Pa"',
        ),
        Reading(
            "velocity",
            "Velocity shown by the manometer instead of pressure.",
            kind="velocity",
            low=-100.0,
            high=200.0,
            grid=True,
        ),
        Reading(
            "monitor",
            "Velocity pressure at a fixed place, read with every point: takes slow drift of the flow out.",
            kind="pressure difference",
            low=1e-3,
            high=20e3,
            grid=True,
        ),
        *traverse.PLANE_FIELDS,
        Text("probe_serial", "Serial number of the probe: its coefficient's error is shared wherever it is used."),
        Given(
            "coefficient",
            "Coefficient of the probe on velocity.",
            kind="ratio",
            default="1.00 ± 0.01",
            belongs="probe_serial",
            above=0.0,
            high=2.0,
            example='"1.003 ± 0.005"',
        ),
        Given(
            "fluctuation_rms",
            "How much the pressure at a point fluctuates in time, root mean square over mean.",
            kind="ratio",
            low=0.0,
            high=1.0,
            example='"8 %"',
        ),
    ),
    alternatives=(OneOf((("drop",), ("velocity",))),),
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
        traverse.blockage("pitot probe", (2e-4, 20e-4)),  # a stem of 6 to 8 mm reaching part of the way
        Effect(
            "pitot:fluctuation",
            "unsteady pressure",
            "Real unsteadiness makes the root of an averaged pressure read high by s²/8 (s: rms over mean); noise of "
            "the sensor does not. Where it is unknown which, the middle is taken and the difference is the limit.",
            _fluctuation,
        ),
    ),
    limits=(
        *profile.LIMITS,
        profile.REVERSAL,
        Limit(
            UNSTEADY,
            lambda s: s.value("fluctuation_rms", 0.0) > 0.1,
            lambda s: f"pressure fluctuates by {100 * s.value('fluctuation_rms'):.0f} % rms",
        ),
        Limit(
            SLOW,
            lambda s: np.abs(s.nominal["mean_velocity"]) < 3.0,
            lambda s: f"mean velocity {float(np.mean(s.nominal['mean_velocity'])):.2g} m/s",
            window=Window("mean_velocity", "mean velocity", 3.0, kind="velocity", unit="m/s"),
        ),
    ),
    conventions=("mean of the velocities, not the root of the mean pressure", "compressibility to second order"),
)
