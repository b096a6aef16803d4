"""What leaks between a unit and its meter: a chamber's power law at its own pressure, put back by mass balance."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flowrig.methods import static
from flowrig.methods.method import Limit
from flowrig.physics.box import box_equivalent_drop, similar_flow
from flowrig.physics.leakage import leakage_flow, unit_flow
from flowrig.physics.si import Floats
from flowrig.records import flags
from flowrig.records.calibration import CalibrationFile
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
    "The chamber stood at a pressure outside the range of its leak test, or more than four times above or below the "
    "one pressure that is stated of it: the power law is stretched further than its exponent is known to hold.",
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
    inputs = {
        "mass_flow": mass_flow,
        "gauge": gauge,
        "density": meter["density"],
        "viscosity": meter["viscosity"],
        "pressure": meter["pressure"],
        "room_density": room_density,
    }
    test = chamber.value("leak_test")
    inputs |= _of_file(test, record, findings) if test is not None else _of_record(chamber, record, findings)
    batch = mass_flow.axes or gauge.axes
    side = 1.0 if section.value("meter_side") == "downstream" else -1.0
    out = linear(kernel, inputs, batch, {"mass_flow": batch, "share": batch}, side=side)
    share = out["share"].value
    low, high = (
        (test.range.value("lowest"), test.range.value("highest"))
        if test is not None
        else (inputs["test_drop"].value / STRETCH, inputs["test_drop"].value * STRETCH)
    )
    far = (np.abs(gauge.value) < low) | (np.abs(gauge.value) > high)
    name, pressure = chamber.path[-1], float(np.mean(meter["pressure"].value))
    unlikely = np.abs(gauge.value) > static.MOST * pressure
    worst = int(np.nanargmax(np.abs(np.atleast_1d(share))))
    most, give = (100 * abs(float(np.atleast_1d(x)[worst])) for x in (share, out["share"].u))
    said = f"{name}: {'up to ' if batch else ''}{most:.2g} % of the flow, u {give:.1g} %"
    for meaning, raised, words in (
        (LEAKY, (np.abs(share) > SHARE) & (np.abs(share) <= LARGE_SHARE), said),
        (TOO_LEAKY, np.abs(share) > LARGE_SHARE, said),
        (
            static.UNLIKELY,
            unlikely,
            f"{name}: {100 * float(np.max(np.abs(gauge.value))) / pressure:.1f} % of the barometer's",
        ),
        (FAR, far, f"{name}: {_times(np.abs(gauge.value))}, tested for {low:.3g} to {high:.3g} Pa"),
    ):
        if np.any(raised):
            findings.append(Finding(meaning, words, raised if batch else None))
    return PutBack(out["mass_flow"], np.asarray(share), findings)


def kernel(
    mass_flow: Array,
    gauge: Array,
    leak: Array,
    exponent: Array,
    test_drop: Array,
    density: Array,
    viscosity: Array,
    pressure: Array,
    room_density: Array,
    test_density: Array | None = None,
    test_viscosity: Array | None = None,
    *,
    side: float,
) -> dict[str, Floats]:
    """Mass flow through the unit: ``side`` is 1 for a meter downstream of it, -1 for one upstream."""
    inside = density * (pressure + gauge) / pressure
    alike: Floats
    slower: Floats
    if test_density is None or test_viscosity is None:
        alike, slower = gauge, 1.0
    else:  # in the air that leaks
        leaks = np.where(gauge > 0.0, inside, room_density)
        alike = box_equivalent_drop(gauge, leaks, viscosity, test_density, test_viscosity)
        slower = similar_flow(1.0, test_density, test_viscosity, leaks, viscosity)
    # a leakage whose error bar reaches zero may be drawn below it, and is then as much negative
    leaking = leak * leakage_flow(alike, 1.0, exponent, test_drop) * slower
    through = unit_flow(mass_flow / density, leaking, side, density, inside, room_density, density)
    with np.errstate(divide="ignore", invalid="ignore"):
        return {"mass_flow": through * density, "share": through * density / mass_flow - 1.0}


def _of_file(test: CalibrationFile, record: Record, findings: list[Finding]) -> dict[str, Estimate]:
    """Leakage by the file of a leak test, with its causes."""
    heading = record.heading
    findings += test.findings(heading.value("date"), bool(heading.value("invented")))
    numbers = test.estimates()
    names = {"flow": "leak", "exponent": "exponent", "drop": "test_drop"}
    names |= {"density": "test_density", "viscosity": "test_viscosity"}
    return {names[name]: number for name, number in numbers.items()}


def _of_record(chamber: Section, record: Record, findings: list[Finding]) -> dict[str, Estimate]:
    """Leakage as the record itself states it."""
    return {
        "leak": _stated(chamber, "leak", record, findings),
        "exponent": _stated(chamber, "leak_exponent", record, findings),
        "test_drop": given_estimate(chamber["leak_drop"], hardware_identity(chamber, record)),
    }


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


def _times(pressure: Array) -> str:
    ends = dict.fromkeys(f"{float(x):.3g}" for x in (np.min(pressure), np.max(pressure)))
    return f"{' to '.join(ends)} Pa"
