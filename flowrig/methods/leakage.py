"""What leaks between a unit and its meter: a chamber's power law at its own pressure, put back by mass balance."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flowrig.methods import static
from flowrig.methods.method import Limit
from flowrig.physics.leakage import leakage_flow, unit_flow
from flowrig.physics.si import Floats
from flowrig.records import flags
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate, hardware_identity
from flowrig.records.items import Array, Section
from flowrig.records.record import Record
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import linear

UNKNOWN = FlagMeaning(
    "leakage not stated",
    "note",
    "The record does not say what leaks between the unit and the meter (leaks), and nothing is put back: the result is "
    "what went through the meter. A box of plywood and tape easily leaks several per cent. Seal it, test it, and "
    "describe it under [chambers.…].",
    "common practice, no source",
)
LEAKY = FlagMeaning(
    "leaky rig",
    "warning",
    "What leaks between the unit and the meter is more than a hundredth of the flow. It was put back, but a leak is "
    "never known as well as it can be sealed.",
    "threshold: common practice, no source",
)
TOO_LEAKY = FlagMeaning(
    "leak rivals the flow",
    "alarm",
    "What leaks between the unit and the meter is more than a quarter of the flow: the result is about the leak test. "
    "Seal the rig, or look for a wrong unit.",
    "threshold: common practice, no source",
)
FAR = FlagMeaning(
    "leakage far from its test",
    "warning",
    "The chamber stood at a pressure more than four times above or below that of its leak test: the power law "
    "is stretched further than its exponent is known to hold.",
    "threshold: common practice, no source",
)
FLAGS = (LEAKY, TOO_LEAKY, FAR)
# for meters at the end of a chamber
LIMITS = (Limit(UNKNOWN, lambda s: "leaks" not in s.section, lambda s: "taken as none between unit and meter"),)

SHARE, LARGE_SHARE = 0.01, 0.25
STRETCH = 4.0
UNSTATED_LEAK = 0.25  # of a leakage stated without its ±: common practice, no source
UNSTATED_EXPONENT = 0.1  # the same of an exponent


@dataclass(frozen=True)
class PutBack:
    """A flow with its leakage put back.

    Attributes
    ----------
    mass_flow : Estimate
        Through the unit. [kg/s]
    share : array
        What was added, over the flow of the meter.
    findings : list of Finding
    """

    mass_flow: Estimate
    share: Array
    findings: list[Finding]


def put_back(
    mass_flow: Estimate,
    section: Section,
    chamber: Section,
    gauge: Estimate,
    meter: Mapping[str, Estimate],
    room_density: Estimate,
    record: Record,
) -> PutBack:
    """Flow through the unit from that through the meter, one leaking chamber between them.

    Parameters
    ----------
    mass_flow : Estimate
        Through the meter, other chambers already put back. [kg/s]
    section, chamber : Section
        The flow section and the chamber it names.
    gauge : Estimate
        Gauge pressure in the chamber. [Pa]
    meter : mapping of str to Estimate
        Density and pressure of the meter's air, which is the chamber's but for its gauge pressure.
    room_density : Estimate
        Of the air round the chamber. [kg/m3]
    record : Record
    """
    if chamber.value("in_calibration"):
        return PutBack(mass_flow, np.zeros(1), [])
    findings: list[Finding] = []
    leak = _stated(chamber, "leak", record, findings)
    inputs = {
        "mass_flow": mass_flow,
        "gauge": gauge,
        "leak": leak,
        "exponent": _stated(chamber, "leak_exponent", record, findings),
        "test_drop": given_estimate(chamber["leak_drop"], hardware_identity(chamber, record)),
        "density": meter["density"],
        "pressure": meter["pressure"],
        "room_density": room_density,
    }
    batch = mass_flow.axes or gauge.axes
    side = 1.0 if section.value("meter_side") == "downstream" else -1.0
    out = linear(kernel, inputs, batch, {"mass_flow": batch}, side=side)["mass_flow"]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.asarray(out.value / mass_flow.value - 1.0)
        stretch = np.abs(gauge.value) / inputs["test_drop"].value
    name, pressure = chamber.path[-1], float(np.mean(meter["pressure"].value))
    unlikely = np.abs(gauge.value) > static.MOST * pressure
    most = f"{'up to ' if batch else ''}{100 * float(np.nanmax(np.abs(share))):.2g} %"
    for meaning, raised, words in (
        (LEAKY, (np.abs(share) > SHARE) & (np.abs(share) <= LARGE_SHARE), f"{name}: {most} of the flow"),
        (TOO_LEAKY, np.abs(share) > LARGE_SHARE, f"{name}: {most} of the flow"),
        (
            static.UNLIKELY,
            unlikely,
            f"{name}: {100 * float(np.max(np.abs(gauge.value))) / pressure:.1f} % of the barometer's",
        ),
        (FAR, (stretch > STRETCH) | (stretch < 1 / STRETCH), f"{name}: at {_times(stretch)} the pressure of its test"),
    ):
        if np.any(raised):
            findings.append(Finding(meaning, words, raised if batch else None))
    return PutBack(out, share, findings)


def kernel(
    mass_flow: Array,
    gauge: Array,
    leak: Array,
    exponent: Array,
    test_drop: Array,
    density: Array,
    pressure: Array,
    room_density: Array,
    side: float,
) -> dict[str, Floats]:
    """Mass flow through the unit: ``side`` is 1 for a meter downstream of it, -1 for one upstream."""
    # a leakage whose error bar reaches zero may be drawn below it, and is then as much negative
    leaking = leak * leakage_flow(gauge, 1.0, exponent, test_drop)
    inside = density * (pressure + gauge) / pressure
    through = unit_flow(mass_flow / density, leaking, side, density, inside, room_density, density)
    return {"mass_flow": through * density}


def _stated(chamber: Section, name: str, record: Record, findings: list[Finding]) -> Estimate:
    """A figure of the leak test with its ±, or with an assumed one where none is written."""
    item = chamber[name]
    identity = hardware_identity(chamber, record)
    estimate = given_estimate(item, identity, f"{name} of {chamber.path[-1]}", "calibration")
    if item.assumed:
        findings.append(Finding(flags.ASSUMED, f"{chamber.name}: {name} = {item.field.default}"))  # type: ignore[attr-defined]
    if estimate.parts:
        return estimate
    half = UNSTATED_LEAK * item.value if name == "leak" else UNSTATED_EXPONENT
    said = f"{100 * UNSTATED_LEAK:.0f} % of it" if name == "leak" else f"{UNSTATED_EXPONENT}"
    findings.append(Finding(flags.ASSUMED, f"{chamber.name}: {name} stated without its ±, taken as known to {said}"))
    id_ = f"{identity}:{name} {item.value:.9g}:±"
    cause = Cause(id_, shape="rectangular", scope="calibration", label=f"{name} of {chamber.path[-1]} (± not stated)")
    return Estimate(item.value, (), {cause: [half / math.sqrt(3)]})


def _times(stretch: Array) -> str:
    ends = dict.fromkeys(f"{float(x):.2g}" for x in (np.min(stretch), np.max(stretch)))
    return f"{' to '.join(ends)} times"
