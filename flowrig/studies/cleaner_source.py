"""Clean-air rate, watts and sound of a cleaner that a record names: from its test, its prediction or stated figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.progress import doing
from flowrig.records.declare import Finding, FlagMeaning
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Section
from flowrig.records.record import Record
from flowrig.records.sizes import Sizes, read_sizes
from flowrig.records.words import three_digits
from flowrig.studies.predict import predict
from flowrig.studies.rate_findings import of_the_rate, predicted_of_the_rate
from flowrig.studies.reduce import reduce
from flowrig.studies.result import PartResult, Quantity, Result
from flowrig.uncertainty.estimate import Estimate

STATED_RATE = FlagMeaning(
    "clean-air rate stated, not measured",
    "warning",
    "The clean-air rate of a cleaner is a stated figure with the ± that stands beside it. A nameplate flow times a "
    "label efficiency is usually too much: filters throttle the fan, and filters in a frame pass more than in a "
    "laboratory. A test of the unit, named as its record, would show.",
)
PREDICTED_RATE = FlagMeaning(
    "clean-air rate predicted, not measured",
    "note",
    "The clean-air rate of a cleaner is that of a prediction, with its error bar; it has not been built or not been "
    "measured yet.",
)
FLAGS = (STATED_RATE, PREDICTED_RATE)
SIZE_CAUSE = "|sizes of a decay "  # in the identity of the cause, see `room_decay_sizes`
DECAY = "measured by decay"  # in a room: what the room does to the cleaner is in it


@dataclass
class Source:
    """One cleaner, of which a room may hold several.

    Attributes
    ----------
    name : str
    count : int or None
        How many; None where the record does not say.
    how : {'measured', 'measured by decay', 'predicted', 'stated'}
    clean_air : Estimate
        Clean-air rate of one. [m3/s]
    sizes : Sizes or None
        Of the particles that the rate is for; None where a prediction says it in words alone.
    particles : str
        The same in words.
    power : Estimate or None
        True electrical power of one. [W]
    sound : Estimate or None
        A-weighted level of one. [dB]
    sound_distance : float or None
        At which distance that is. [m]
    findings : list of Finding
        Alarms and warnings of the test or prediction too, with its name in front: those about the clean-air rate.
    sizes_said : str
        Of a rate by decay, what is to be said of the sizes it is for.
    of : Any
        The result of the test or the prediction; None for stated figures.
    """

    name: str
    count: int | None
    how: str
    clean_air: Estimate
    sizes: Sizes | None
    particles: str
    power: Estimate | None = None
    sound: Estimate | None = None
    sound_distance: float | None = None
    findings: list[Finding] = field(default_factory=list)
    of: Any = None
    sizes_said: str = ""


@doing("a clean-air rate")
def source_of(
    record: Record, section: Section, options: Mapping[str, Any], also: Sequence[str] = ("electrical", "sound")
) -> Source:
    """A cleaner from the section that describes it.

    Parameters
    ----------
    record : Record
        That holds the section; what is stated in it is local to it.
    section : Section
        With the fields `flowrig.records.cleaner_facts.CLEANER`.
    options : mapping
        ``coverage``, ``samples`` and ``seed`` of the reduction or prediction.
    also : sequence of {'electrical', 'sound'}
        Parts of a test whose findings are repeated beside those of the clean-air rate.

    Raises
    ------
    InputError
        If a test or a prediction tells no clean-air rate for these particles.
    CalculationError
        If none follows from it.
    """
    sizes = read_sizes(section.value("particles")) if "particles" in section else None
    if "test" in section:
        found = _of_test(section, sizes, reduce(section.value("test"), **options), also)
    elif "prediction" in section:
        found = _of_prediction(section, sizes, section.value("prediction"), options, also)
    else:
        found = _stated(record, section, sizes)
    for name in ("power", "sound"):
        if name in section:
            setattr(found, name, _given(record, section, name))
    if "sound_distance" in section:
        found.sound_distance = section.value("sound_distance")
    return found


def _of_test(section: Section, sizes: Sizes | None, result: Result, also: Sequence[str]) -> Source:
    item = section["test"]
    assert sizes is not None
    parts: list[Any] = [result.parts[name] for name in ("particles", "decay") if name in result.parts]
    told = (part.rate(sizes.lower, sizes.upper) for part in parts)
    rate: Quantity | None = next((quantity for quantity in told if quantity is not None), None)
    if rate is None:
        expected = f"a test that tells the clean-air rate from {sizes}"
        remedy = (
            "Its [particles] and [[flow]], or its [decay], must cover these sizes; flowrig reduce shows what it tells."
        )
        raise InputError(Fault(item.where, f"{result.record.name}, which tells none", expected, remedy))
    if not float(rate.high) > 0.0:
        read = f"{result.record.name}, which tells {three_digits(float(rate.value))} {rate.unit}"
        remedy = "Look at what flowrig reduce says of it: were places, or runs on and off, exchanged?"
        raise InputError(Fault(item.where, read, "a test that tells a clean-air rate above zero", remedy))
    by_decay = any(p.name == "decay" and p.rate(sizes.lower, sizes.upper) is rate for p in parts)
    power = _number(result.parts.get("electrical"), "power")
    heard: Any = result.parts.get("sound")
    sound = _number(heard, "level")
    name = section.value("name")
    findings = of_the_rate(result, name, "decay" if by_decay else "particles", sizes, also)
    return Source(
        name,
        section.value("count"),
        DECAY if by_decay else "measured",
        rate.estimate,
        sizes,
        str(sizes),
        power,
        sound,
        heard.distance if sound is not None else None,
        findings,
        result,
        _decay_sizes(rate, sizes) if by_decay else "",
    )


def _decay_sizes(rate: Quantity, sizes: Sizes) -> str:
    """What a rate by decay is the mean of, and how far the sizes of the counter may move it."""
    said = (
        f"The rate of the number of particles, {sizes}, as the counter counts them: the smallest are the most, and "
        "weigh most"
    )
    moved = [line for line in rate.estimate.budget() if SIZE_CAUSE in line.cause.id]
    if not moved:
        return f"{said}; how far the counter's sizes may be off is not in its bar"
    u = three_digits(float(units.from_si(float(np.squeeze(moved[0].u)), rate.unit, units.as_difference("flow"))))
    return f"{said}; {moved[0].cause.name} move it by u {u} {rate.unit}"


def _number(part: PartResult | None, name: str) -> Estimate | None:
    """None too where only a limit of it is known."""
    found = part.quantities.get(name) if part is not None else None
    return found.estimate if found is not None and not found.bound else None


def _of_prediction(
    section: Section, sizes: Sizes | None, record: Record, options: Mapping[str, Any], also: Sequence[str]
) -> Source:
    predicted = predict(record, **options)
    name = section.value("name")
    if predicted.held is None or "clean_air" not in predicted.main.quantities:
        said = "a prediction that tells a clean-air rate: the efficiency of every filter, for the same particles"
        where = section["prediction"].where
        remedy = "Give each filter's record its efficiency and particles; flowrig predict shows what it tells."
        raise InputError(Fault(where, f"{predicted.record.name}, which tells none", said, remedy))
    power = predicted.main.quantities.get("power") if predicted.setup.curve.electrical else None
    findings = predicted_of_the_rate(predicted.findings, name, predicted.record.name, also)
    findings.append(Finding(PREDICTED_RATE, name))
    rate = predicted.main.quantities["clean_air"].estimate
    return Source(
        name,
        section.value("count"),
        "predicted",
        rate,
        sizes,
        predicted.held.particles,
        power.estimate if power is not None else None,
        findings=findings,
        of=predicted,
    )


def _stated(record: Record, section: Section, sizes: Sizes | None) -> Source:
    name = section.value("name")
    rate = _given(record, section, "clean_air_rate")
    return Source(
        name,
        section.value("count"),
        "stated",
        rate,
        sizes,
        str(sizes) if sizes is not None else "",
        findings=[Finding(STATED_RATE, f"{name}: {section['clean_air_rate'].text}")],
    )


def _given(record: Record, section: Section, name: str) -> Estimate:
    words = f"{name.replace('_', ' ')} of {section.value('name')}"
    return given_estimate(section[name], f"{record.id}:{section.name}", words)
