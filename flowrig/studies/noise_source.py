"""How loud one cleaner was: by a level that is stated, or by the part sound of the record of its test."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Item, Section, as_written
from flowrig.records.record import Record
from flowrig.studies.reduce import reduce
from flowrig.studies.sound import SoundResult, of_distance
from flowrig.uncertainty.estimate import Estimate


@dataclass
class Heard:
    """The level of one cleaner.

    Attributes
    ----------
    level : Estimate
        A-weighted, its background taken off. [dB]
    words : str
        The same as it was stated, or with its interval.
    away : str
        At which distance.
    findings : list of Finding
        Of a test its alarms and warnings about the sound, with its name in front.
    """

    level: Estimate
    words: str
    away: str
    findings: list[Finding] = field(default_factory=list)


def level_of_one(record: Record, section: Section, options: Mapping[str, Any]) -> Heard:
    """The level that a table [noise] states, or that of the test it names.

    Parameters
    ----------
    record : Record
        That holds the table; what is stated in it is local to it.
    section : Section
        The table [noise].
    options : mapping
        ``coverage``, ``samples`` and ``seed`` of the reduction of a test.

    Raises
    ------
    InputError
        If the test tells no level, or a limit of it alone, or not the distance.
    """
    if "test" in section:
        return _of_test(section, section["test"], options)
    level = given_estimate(section["level"], f"{record.id}:noise", "level of one cleaner")
    return Heard(level, section["level"].text or as_written(section["level"]), as_written(section["distance"]),
                 of_distance(section))  # fmt: skip


def _of_test(section: Section, named: Item, options: Mapping[str, Any]) -> Heard:
    test: Record = named.value
    found = reduce(test, **options)
    part = found.parts["sound"]
    assert isinstance(part, SoundResult)
    level = part.quantities.get("level")
    if level is None:
        read = f"{test.name}, which tells an upper bound alone"
        remedy = "Its background was too near, or the microphone stood in the jet: read it again, or state a level."
        raise InputError(Fault(named.where, read, "a test that tells the level of the cleaner", remedy))
    own = test.parts["sound"].section
    if ("distance" in own) == ("distance" in section):
        if "distance" in own:
            item, remedy = section["distance"], "Remove the line."
            raise InputError(Fault(item.where, as_written(item), f"no distance: {test.name} tells it", remedy))
        remedy = 'Add distance = "1.5 m" to [noise], for instance, or to its [sound].'
        raise InputError(Fault(named.where, f"{test.name}, which tells none", "the distance of the microphone", remedy))
    place = own if "distance" in own else section
    words = f"{level.value:.1f} {level.unit} [{level.low:.1f} to {level.high:.1f}] in {test.name}"
    findings = [Finding(f.meaning, f"{test.name}: {f.message}") for f in part.findings if f.severity != "note"]
    findings += [f for f in of_distance(section) if place is section] if "distance" in section else []
    return Heard(level.estimate, words, as_written(place["distance"]), findings)
