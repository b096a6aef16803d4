"""What each target takes: clean air for infection, by air changes or by person, and a level of particles.

The three are kept apart: each has its own words, its own verdict, and says what it does not speak of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.declare import Finding
from flowrig.records.guidance import LARGER, MEMORY, Guidance, find_guidance
from flowrig.records.items import Section, as_written
from flowrig.records.particle_words import match, sizes_of
from flowrig.records.words import three_digits
from flowrig.studies import room_flags
from flowrig.studies.building import State
from flowrig.studies.result import Quantity
from flowrig.studies.room_balance import for_air_changes, for_concentration, for_persons, larger
from flowrig.studies.room_inputs import Facts
from flowrig.studies.room_units import UnitsFor
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.propagate import Kernel, linear

AIR_CHANGES, PER_PERSON, BOTH, LEVEL = "air changes", "per person", "larger of two", "concentration"
TITLES = {
    AIR_CHANGES: "Guidance on infection: air changes of clean air",
    PER_PERSON: "Guidance on infection: clean air for each person",
    BOTH: "Guidance on infection: air changes or air for each person, whichever takes more",
    LEVEL: "Level of particles in the room",
}
KIND_OF = {AIR_CHANGES: "rate", PER_PERSON: "flow"}
SILENT = {  # of what a target says nothing
    AIR_CHANGES: "It says nothing about smoke.",
    PER_PERSON: "It says nothing about smoke.",
    BOTH: "It says nothing about smoke.",
    LEVEL: "It says nothing about infection.",
}
SUBMICROMETRE = 1e-6  # m: up to it what is assumed of penetration and deposition holds


@dataclass
class Case:
    """One target with the ducts in one state.

    Attributes
    ----------
    state : State
    needed : Quantity
        Clean-air rate of units that the target takes, all of them.
    units : list of UnitsFor
        One a sort.
    there : float or None
        Probability that the units which the record counts meet it; None where it counts none.
    without : float or None
        Probability that it is met without any unit.
    changes : float
        Volumes of the room that the units have to clean a time. [1/s]
    why : str
        What makes the target take so much, as a sentence.
    findings : list of Finding
    """

    state: State
    needed: Quantity
    units: list[UnitsFor] = field(default_factory=list)
    there: float | None = None
    without: float | None = None
    changes: float = 0.0
    why: str = ""
    findings: list[Finding] = field(default_factory=list)


@dataclass
class Target:
    """A target.

    Attributes
    ----------
    kind : {'air changes', 'per person', 'larger of two', 'concentration'}
    said : str
        The number, and where it is from.
    particles : str
        Empty where it was not said.
    number : Estimate
        Exact. [1/s], [m3/s] or a concentration
    unit : str
        In which the number was written, or is printed.
    asked : str
        The number alone, as it is asked for.
    guidance : Guidance or None
    cases : list of Case
        One a state of the ducts.
    findings : list of Finding
    """

    kind: str
    said: str
    particles: str
    number: Estimate
    unit: str = ""
    asked: str = ""
    guidance: Guidance | None = None
    cases: list[Case] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def title(self) -> str:
        return TITLES[self.kind]

    @property
    def silent(self) -> str:
        return SILENT[self.kind]

    @property
    def infection(self) -> bool:
        return self.kind != LEVEL


def targets_of(facts: Facts, sections: Mapping[str, Section], flow_unit: str = "m3/h") -> list[Target]:
    """The targets of a record, the one of a level last.

    Parameters
    ----------
    facts : Facts
    sections : mapping of str to Section
        By the names of their tables.
    flow_unit : str
        In which flows are told: a target of another unit is told in both.

    Raises
    ------
    InputError
        If a target lacks what it is told by: persons, the concentration outdoors; or if guidance names both of two and
        one of them is told otherwise.
    """
    faults: list[Fault] = []
    found: list[Target] = []
    changes, persons = sections.get("air_change_target"), sections.get("per_person_target")
    level = sections.get("concentration_target")
    if changes is not None:
        found.append(_of_guidance(AIR_CHANGES, changes, "air_changes", "1/h"))
    if persons is not None:
        if "persons" not in facts.room:
            said = "the number of persons, in [room]: the target is one for each of them"
            faults.append(Fault(persons.where, "no persons", said, 'Add persons = "28 ± 2", for instance.'))
        found.append(_of_guidance(PER_PERSON, persons, "per_person", flow_unit))
        if found[-1].guidance is not None and found[-1].guidance.name == LARGER:
            found += _second_of(found[-1].guidance, changes, persons, faults)
    found.sort(key=lambda target: target.kind)  # air changes first
    if len(found) > 1:
        both = [t.guidance for t in found if t.guidance is not None]
        said = "both of these, whichever takes more clean air"
        found.append(Target(BOTH, said, "", Estimate(0.0), flow_unit, "", both[0] if both else None))
    if level is not None:
        if not facts.known:
            said = "the concentration outdoors, in [room]: it is what gets in"
            remedy = 'Add outdoor_concentration = "150 ug/m3 ± 30 ug/m3", for instance.'
            faults.append(Fault(level.where, "no outdoor_concentration", said, remedy))
        found.append(_of_level(facts, level))
    if faults:
        raise InputError(faults)
    return found


def _of_guidance(kind: str, section: Section, name: str, shown: str) -> Target:
    """A target of clean air; where it is written in another unit than is `shown`, it is told in both."""
    guidance = find_guidance(section.value("guidance")) if "guidance" in section else None
    particles = str(section.value("particles", ""))
    findings = []
    if guidance is None:
        number, unit = float(section.value(name)), section[name].unit or shown
        asked = f"{as_written(section[name])}{_also(number, unit, shown, KIND_OF[kind])}"
        asked += " a person" if kind == PER_PERSON else ""
        said = f"{asked} ({section.value('source')})" if "source" in section else asked
        if "source" not in section:
            findings.append(Finding(room_flags.NO_SOURCE, f"{section.name}: {as_written(section[name])}"))
    else:
        asked, number, unit = _printed(guidance, name, shown)
        said = _sourced(asked, guidance)
        if guidance.status == MEMORY:
            note = f"; {guidance.note}" if guidance.note else ""
            findings.append(Finding(room_flags.FROM_MEMORY, f"{guidance.name}: {guidance.source}{note}"))
    return Target(kind, said, particles, Estimate(number), unit, asked, guidance, findings=findings)


def _also(number: float, unit: str, shown: str, kind: str) -> str:
    """The number in the unit that is shown elsewhere, in brackets, where that is another one."""
    if units.factor(unit, kind) == units.factor(shown, kind):
        return ""
    return f" ({three_digits(float(units.from_si(number, shown, kind)))} {shown})"


def _printed(guidance: Guidance, name: str, shown: str) -> tuple[str, float, str]:
    """A published target in the unit that it is printed in."""
    number = getattr(guidance, name)
    assert number is not None
    if name == "air_changes":
        unit, said = "1/h", f"{guidance.hourly:g} 1/h"
    else:
        unit, said = "cfm", f"{guidance.cfm:g} cfm{_also(float(number), 'cfm', shown, 'flow')} a person"
    return said, float(number), unit


def _sourced(asked: str, guidance: Guidance) -> str:
    """With its name and source, and its status beside it."""
    return f"{asked}: {guidance.name} ({guidance.source}; {guidance.status})"


def _second_of(guidance: Guidance, changes: Section | None, persons: Section, faults: list[Fault]) -> list[Target]:
    """The air changes that a guidance of two rules asks for, where no table of its own says them."""
    asked, number, unit = _printed(guidance, "air_changes", "1/h")
    if changes is None:
        words = str(persons.value("particles", ""))
        return [Target(AIR_CHANGES, _sourced(asked, guidance), words, Estimate(number), unit, asked, guidance)]
    other = find_guidance(changes.value("guidance")) if "guidance" in changes else None
    own = float(changes.value("air_changes")) if other is None else float(other.air_changes or 0.0)
    if abs(own - number) > 1e-9 * number:
        read = f"{units.from_si(own, '1/h', 'rate'):.4g} 1/h beside guidance = {guidance.name!r}"
        remedy = "Remove [air_change_target], or write the clean air for each person as a number."
        faults.append(Fault(changes.where, read, f"{guidance.hourly:g} 1/h, which that guidance has in it", remedy))
    return []


def _of_level(facts: Facts, section: Section) -> Target:
    findings = []
    if "source" not in section:
        findings.append(Finding(room_flags.NO_SOURCE, f"{section.name}: {as_written(section['level'])}"))
    words = str(section.value("particles"))
    number, unit = float(section.value("level")), section["level"].unit or facts.unit
    asked = f"{as_written(section['level'])}{_also(number, unit, facts.unit, facts.kind)} of {words}"
    said = f"{asked} ({section.value('source')})" if "source" in section else asked
    sizes = sizes_of(words)
    told = ("deposition",) if facts.clean_outdoors else ("penetration", "deposition")
    guessed = [name for name in told if facts.room[name].assumed]
    if guessed and sizes is not None and sizes.lower >= SUBMICROMETRE:
        findings.append(Finding(room_flags.OTHER_SIZES_ASSUMED, f"{' and '.join(guessed)}; the target is of {sizes}"))
    return Target(LEVEL, said, words, Estimate(number), facts.unit, asked, None, findings=findings)


def needed(target: Target, facts: Facts, state: State, others: list[Estimate]) -> Estimate:
    """Clean-air rate of units that a target takes; of the larger of two from those of the two. [m3/s]"""
    inputs = facts.inputs
    if target.kind == BOTH:
        one, other = others
        return linear(larger, {"one": one, "other": other}, (), {"needed": ()})["needed"]
    kernels: dict[str, tuple[Kernel, dict[str, Estimate]]] = {
        AIR_CHANGES: (
            for_air_changes,
            {"air_changes": target.number, "volume": inputs["volume"], "counted": state.counted},
        ),
        LEVEL: (
            for_concentration,
            {"target": target.number, "gain": state.gain, "loss": state.loss, "volume": inputs["volume"]},
        ),
    }
    if "persons" in inputs:
        kernels[PER_PERSON] = (
            for_persons,
            {"persons": inputs["persons"], "per_person": target.number, "counted": state.counted},
        )
    kernel, given = kernels[target.kind]
    return linear(kernel, given, (), {"needed": ()})["needed"]


def particle_findings(target: Target, rates: Mapping[str, str]) -> list[Finding]:
    """Whether rates, by the name of what has them, are of the particles that a target is of."""
    if not target.particles:
        said = ", ".join(f"{name} {words}" for name, words in rates.items())
        return [Finding(room_flags.GUIDANCE_SIZES, said)] if said and target.kind != BOTH else []
    findings = []
    for name, words in rates.items():
        found = match(words, target.particles)
        meaning = {
            "apart": room_flags.PARTICLES_APART,
            "partly": room_flags.PARTICLES_PARTLY,
            "not known": room_flags.PARTICLES_UNKNOWN,
        }.get(found)
        if meaning is not None:
            said = f"{name}: {words or 'not said'}; the target is of {target.particles}"
            findings.append(Finding(meaning, said))
            continue
        own, wanted = sizes_of(words), sizes_of(target.particles)
        if own is not None and wanted is not None and own.lower > wanted.lower * 1.1:
            findings.append(Finding(room_flags.FROM_300, f"{name}: {words}; the target is of {target.particles}"))
    return findings
