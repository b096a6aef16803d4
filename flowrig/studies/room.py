"""How many units a room needs, and what becomes of the air in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.declare import SEVERITIES, Finding
from flowrig.records.files import quoted
from flowrig.records.items import Array, Section
from flowrig.records.particle_words import is_class_average
from flowrig.records.record import Record
from flowrig.records.room import Room
from flowrig.studies import room_flags
from flowrig.studies.arguments import checked
from flowrig.studies.building import Option, State, leak_findings, options_of, rate_of, states_of
from flowrig.studies.cleaner import all_of
from flowrig.studies.cleaner_source import DECAY, Source, source_of
from flowrig.studies.reduce import load
from flowrig.studies.reference_flow import told_once
from flowrig.studies.result import Quantity
from flowrig.studies.room_inputs import Asked, Facts, facts_of
from flowrig.studies.room_over_time import TIMES
from flowrig.studies.room_targets import (
    AIR_CHANGES,
    BOTH,
    LEVEL,
    PER_PERSON,
    Case,
    Target,
    needed,
    particle_findings,
    targets_of,
)
from flowrig.studies.room_units import DRAWS, UnitsFor, tell, units_for
from flowrig.studies.room_verdict import FASTEST
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval, intervals, tangent
from flowrig.uncertainty.montecarlo import sample
from flowrig.uncertainty.propagate import linear

REACHED = {AIR_CHANGES: "air_changes", PER_PERSON: "per_person", BOTH: "added", LEVEL: "level"}
SETTLED = 0.05


@dataclass
class RoomResult:
    """A room with its cleaners.

    Attributes
    ----------
    record : Record
    facts : Facts
    sorts : dict of str to Source
        Units of the record, by name.
    counts : dict of str to int
        Of the sorts whose number the record states.
    states : list of State
    targets : list of Target
        Guidance on infection first, the level of particles last.
    options : list of Option
        What may be done, and what it does.
    times : array
        Of the curves of the options. [s]
    asked : Asked
        How it is told: coverage, seed, draws, unit of flow.
    findings : list of Finding
        Of the room; those of a target stand with it.
    bars : dict of str to Interval
        Of the clean-air rate of each sort.
    lost : Quantity or None
        Share of the flow of the ducts that the better filter takes.
    """

    record: Record
    facts: Facts
    sorts: dict[str, Source]
    counts: dict[str, int]
    states: list[State]
    targets: list[Target]
    options: list[Option]
    times: Array
    asked: Asked
    findings: list[Finding] = field(default_factory=list)
    bars: dict[str, Interval] = field(default_factory=dict)
    lost: Quantity | None = None

    @property
    def coverage(self) -> float:
        return self.asked.coverage

    def __repr__(self) -> str:
        return f"<RoomResult of {self.record.name}: {[t.kind for t in self.targets]}, {len(self.options)} options>"

    def __getitem__(self, kind: str) -> Target:
        """The target of a kind: ``air changes``, ``per person``, ``larger of two``, ``concentration``."""
        return next(target for target in self.targets if target.kind == kind)

    @property
    def all_findings(self) -> list[Finding]:
        found = list(self.findings)
        for target in self.targets:
            found += [*target.findings, *(f for case in target.cases for f in case.findings)]
        return found


@checked
def room(
    source: str | Path | Mapping[str, Any] | Record,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
) -> RoomResult:
    """How many units a room needs, and what becomes of the air in it.

    Parameters
    ----------
    source : path, mapping or Record
        With a table [room]; targets, [[cleaners]] and [duct] as far as they are wanted.
    coverage : float
        Probability of the intervals; a number of units has the confidence of one side, (1 + coverage)/2.
    samples : int, optional
        Take Monte Carlo intervals from so many draws; by default they are taken only where the linear ones would not
        be honest.
    seed : int
        Of the draws.
    unit : str, optional
        Unit to print flows in, before the record's own.

    Raises
    ------
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the records, and if a target lacks what it is told by.
    CalculationError
        If no clean-air rate of a cleaner follows from its test or prediction.
    """
    record = source if isinstance(source, Record) else load(source)
    if "room" not in record.parts:
        said = "a record with a table [room]"
        raise InputError(Fault(record.name, "no [room]", said, "Describe the room there; flowrig sheet room has one."))
    part: Room = record.parts["room"]
    asked = Asked(coverage, seed, samples, unit or record.heading.value("flow_unit") or "m3/h")
    facts, *sources = all_of(
        lambda: facts_of(record, part.task, part.duct, asked),
        *(partial(source_of, record, section, asked.drawn) for section in part.cleaners),
    )
    _honest(part, facts, sources)
    return work_out(facts, part.targets, [_kept(source) for source in sources], asked)


def _kept(source: Source) -> Source:
    """A cleaner as its test or prediction tells it, with all causes: no draw works these out anew."""
    power, sound = (None if x is None else tangent(x) for x in (source.power, source.sound))
    return replace(source, clean_air=tangent(source.clean_air), power=power, sound=sound)


def _honest(part: Room, facts: Facts, sources: Sequence[Source]) -> None:
    """Raises `InputError` for what no room has: a clean-air rate of a class average, more units than it has place for.

    The sizes that stand in the record itself were looked at when it was read; these are of the records that it names.
    """
    faults = []
    by_decay = [source.name for source in sources if source.how == DECAY]
    if by_decay and facts.mixed:
        read = f"a mixing beside {quoted(by_decay[0])}, whose clean-air rate was measured by decay in a room"
        said = "no mixing for a rate by decay: what a room does to a cleaner is in it already"
        remedy = "Remove mixing, or give its test [particles] and a [[flow]]: flow times efficiency takes a mixing."
        faults.append(Fault(part.task["mixing"].where, read, said, remedy))
    if by_decay and len(by_decay) == len(sources):
        facts.findings = [f for f in facts.findings if f.meaning is not room_flags.PERFECT_MIXING]
    named = [(section["prediction"], source.particles) for section, source in zip(part.cleaners, sources, strict=True)
             if "prediction" in section]  # fmt: skip
    if part.duct is not None and "prediction" in part.duct:
        named.append((part.duct["prediction"], facts.duct_particles))
    for item, words in named:
        if is_class_average(words):
            said = "an efficiency for sizes of particles: ePM is an average over a mixture that no room has"
            faults.append(Fault(item.where, f"efficiencies of {words}", said, "Give the filters those of 0.3 to 1 um."))
    most = part.task.value("most_units")
    for section in part.cleaners:
        count = section.value("count")
        if most is not None and count is not None and count > most:
            said = f"no more than most_units in [room], {most}"
            faults.append(Fault(section["count"].where, str(count), said, "Correct one of the two."))
    if faults:
        raise InputError(faults)


def work_out(
    facts: Facts,
    sections: Mapping[str, Section],
    sources: Sequence[Source],
    asked: Asked,
) -> RoomResult:
    """A room with its cleaners, from what its record says and from the cleaners' clean-air rates.

    Parameters
    ----------
    facts : Facts
    sections : mapping of str to Section
        Of the targets, by the names of their tables.
    sources : sequence of Source
    asked : Asked

    Raises
    ------
    InputError
        If a target lacks what it is told by.
    """
    targets = targets_of(facts, sections)
    states = states_of(facts)
    sorts = {source.name: source for source in sources}
    counts = {source.name: source.count for source in sources if source.count is not None}
    rates = {source.name: source.particles for source in sources}
    if facts.duct is not None:
        rates["duct filter"] = facts.duct_particles
    for target in targets:
        for i, state in enumerate(states):
            two = [t.cases[i].needed.estimate for t in targets if t.infection and t.cases and t is not target]
            rate = needed(target, facts, state, two if target.kind == BOTH else [])
            target.cases.append(_case(target, rate, facts, state, sorts, counts, asked))
        target.findings += particle_findings(target, rates)
    level = next((t for t in targets if t.kind == LEVEL), None)
    instants = np.linspace(0.0, float(facts.room.value("over")), TIMES)
    chosen = _sets(targets, sorts, counts)
    wanted = None if level is None else level.number
    options = options_of(facts, states, chosen, sorts, wanted, instants, asked)
    bars = intervals({name: sort.clean_air for name, sort in sorts.items()}, **asked.drawn, tolerance=SETTLED)
    lost = None
    if facts.lost is not None:
        bar = intervals({"": facts.lost}, **asked.drawn, tolerance=SETTLED)[""]
        lost = Quantity("flow_lost", "flow of the ducts that the better filter takes", "ratio", "%", facts.lost, bar)
    findings = [*facts.record.findings, *(f for source in sources for f in source.findings)]
    findings += [*facts.findings, *leak_findings(facts, options)]
    if level is not None and facts.inputs["outdoor_air"].value > 0.0:
        findings.append(Finding(room_flags.SMOKE_BLOWN_IN, "outdoor_air in [room]"))
    findings = told_once(sorted(findings, key=lambda f: SEVERITIES.index(f.severity)))
    return RoomResult(
        facts.record, facts, sorts, counts, states, targets, options, instants, asked, findings, bars, lost
    )


def _case(
    target: Target,
    rate: Estimate,
    facts: Facts,
    state: State,
    sorts: Mapping[str, Source],
    counts: Mapping[str, int],
    asked: Asked,
) -> Case:
    """One target in one state of the ducts: the rate it takes, and how many units of each sort."""
    bar = intervals({"": rate}, **asked.drawn, tolerance=SETTLED)[""]
    label = "clean-air rate that units have to give"
    case = Case(state, Quantity("needed", label, "flow", asked.flow_unit, rate, bar))
    mixing, most = facts.inputs["mixing"], facts.room.value("most_units")
    for name, sort in sorts.items():
        others = [(sorts[n].clean_air, float(k)) for n, k in counts.items() if n != name]
        base, unit = rate_of(others, mixing), rate_of([(sort.clean_air, 1.0)], mixing)
        found = units_for(name, rate, base, unit, asked, most)
        inputs = {
            "unit": unit, "base": base, "volume": facts.inputs["volume"], "counted": state.counted,
            "gain": state.gain, "loss": state.loss,
        }  # fmt: skip
        if "persons" in facts.inputs:
            inputs["persons"] = facts.inputs["persons"]
        shown = _labels(facts, asked.flow_unit)
        wanted = REACHED[target.kind]
        case.units.append(tell(found, wanted, shown, inputs, sort.power, sort.sound, asked))
        case.findings += _judged(target, state, found)
    if counts:
        there = [(sorts[n].clean_air, float(k)) for n, k in counts.items()]
        case.there = _probability(rate, rate_of(there, mixing), asked)
    case.without = _probability(rate, Estimate(0.0), asked)
    case.changes = float(rate.value) / float(facts.inputs["volume"].value)
    if case.changes > FASTEST:
        said = f"{units.from_si(case.changes, '1/h', 'rate'):.3g} air changes an hour from the units"
        case.findings.append(Finding(room_flags.TOO_FAST, said))
    if not target.infection and float(rate.value) == 0.0:
        case.findings.append(Finding(room_flags.INDOORS_ALREADY, f"{target.said}; {state.name}"))
    return case


def _probability(rate: Estimate, given: Estimate, asked: Asked) -> float:
    """That units which are counted meet a target."""
    inputs = {"one": given, "other": rate}
    spare = sample(
        linear(lambda one, other: {"x": one - other}, inputs, (), {"x": ()})["x"], asked.samples or DRAWS, asked.seed
    )
    return float(np.mean(spare >= 0.0))


def _judged(target: Target, state: State, found: UnitsFor) -> list[Finding]:
    findings = []
    who = f"{found.name}, {state.name}"
    sure = f"{100 * found.confidence:g} %"
    if found.sure is None:
        said = f"{who}: no number meets {target.said} with {sure} confidence"
        findings.append(Finding(room_flags.NOT_ACHIEVABLE, said))
    elif not found.allowed:
        chance = 100 * found.probability_of(int(found.most or 0))
        said = f"{who}: {found.sure} would be needed with {sure} confidence, at most {found.most} are allowed"
        findings.append(Finding(room_flags.TOO_MANY, f"{said}; these meet it with a probability of {chance:.3g} %"))
    elif found.on_edge:
        said = f"{found.sure} meet it with a probability of {100 * found.of_sure:.2f} %"
        fewer = 100 * found.probability_of(found.sure - 1) if found.sure else 0.0
        findings.append(Finding(room_flags.ON_EDGE, f"{who}: {said}, one fewer with {fewer:.2f} %"))
    if found.lost > 0.0:
        findings.append(Finding(room_flags.LOST, f"{who}: {100 * found.lost:.2g} % of the draws"))
    return findings


def _labels(facts: Facts, flow_unit: str) -> dict[str, tuple[str, str, str]]:
    return {
        "air_changes": ("air changes of clean air", "rate", "1/h"),
        "per_person": ("clean air for each person", "flow", flow_unit),
        "added": ("clean-air rate of all units", "flow", flow_unit),
        "level": ("level, once steady", facts.kind, facts.unit),
        "power": ("power", "power", "W"),
        "sound": ("sound level", "sound level", "dB"),
    }


def _sets(targets: Sequence[Target], sorts: Mapping[str, Source], counts: Mapping[str, int]) -> list[dict[str, int]]:
    """Numbers of units to be looked at: those that the record counts, and beside them what a target takes of each
    other sort, the level's where there is one, as the building is."""
    sets = [dict(counts)] if counts else []
    if not targets:
        return sets
    ruling = next((t for t in targets if t.kind == LEVEL), None) or max(
        targets, key=lambda t: float(t.cases[0].needed.estimate.value)
    )
    for found in ruling.cases[0].units:
        if found.name in counts:
            continue
        number = found.sure if found.sure is not None and found.allowed else found.most
        if number is None:
            number = found.on_mean
        if number:
            sets.append({**counts, found.name: min(number, int(found.numbers[-1]))})
    return sets
