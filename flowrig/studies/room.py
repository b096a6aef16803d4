"""How many units a room needs, and what becomes of the air in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.progress import each
from flowrig.records.declare import SEVERITIES, Finding
from flowrig.records.files import quoted
from flowrig.records.flags import ASSUMED
from flowrig.records.items import Array, Section
from flowrig.records.particle_words import is_class_average
from flowrig.records.record import Record
from flowrig.records.room import Room
from flowrig.records.room_facts import BASIS
from flowrig.records.words import three_digits
from flowrig.studies import room_flags
from flowrig.studies.arguments import checked
from flowrig.studies.building import (
    Chosen,
    Option,
    State,
    leak_findings,
    options_of,
    sound_findings,
    states_of,
)
from flowrig.studies.cleaner import all_of
from flowrig.studies.cleaner_source import DECAY, Source, source_of
from flowrig.studies.reduce import load
from flowrig.studies.reference_flow import told_once
from flowrig.studies.result import Quantity
from flowrig.studies.room_cases import case_of
from flowrig.studies.room_inputs import Asked, Facts, facts_of
from flowrig.studies.room_over_time import SHARES_OF_RUN
from flowrig.studies.room_reasons import BLOWN_IN, entering, why_so_much
from flowrig.studies.room_targets import (
    BOTH,
    LEVEL,
    Target,
    needed,
    particle_findings,
    targets_of,
)
from flowrig.studies.room_units import Limits
from flowrig.studies.room_verdict import FASTEST, MEETS, percent
from flowrig.uncertainty.interval import Interval, intervals, tangent

AS_COUNTED = "as the record counts them"
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
        *(partial(source_of, record, section, asked.drawn, also=()) for section in part.cleaners),
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
    if by_decay and not facts.mixed:
        facts.findings = [f for f in facts.findings if f.meaning is not room_flags.PERFECT_MIXING]
        others = [source.name for source in sources if source.how != DECAY]
        if others:
            said = f"no mixing in [room]: taken as 1 for {', '.join(others)}"
            facts.findings.append(Finding(room_flags.PERFECT_MIXING, said))
    named = [(section["prediction"], source.particles) for section, source in zip(part.cleaners, sources, strict=True)
             if "prediction" in section]  # fmt: skip
    if part.duct is not None and "prediction" in part.duct:
        named.append((part.duct["prediction"], facts.duct_particles))
    for item, words in named:
        if is_class_average(words):
            said = "an efficiency for sizes of particles: ePM is an average over a mixture that no room has"
            faults.append(Fault(item.where, f"efficiencies of {words}", said, "Give the filters those of 0.3 to 1 um."))
    if facts.known and not float(states_of(facts)[0].loss.value) > 0.0:
        said = "particles that leave the room or settle: infiltration, outdoor_air or deposition above 0"
        remedy = "State one of them; without any, no level comes to rest, and none can be told."
        faults.append(Fault(part.task.where, "a room that nothing leaves and in which nothing settles", said, remedy))
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
    targets = targets_of(facts, sections, asked.flow_unit)
    limits = _limits(facts, targets, sources)
    states = states_of(facts)
    sorts = {source.name: source for source in sources}
    counts = {source.name: source.count for source in sources if source.count is not None}
    rates = {source.name: source.particles for source in sources}
    if facts.duct is not None:
        rates["duct filter"] = facts.duct_particles
    for target in each("target", targets):
        for i, state in enumerate(states):
            two = [t for t in targets if target.kind == BOTH and t.infection and t.cases and t is not target]
            rate = needed(target, facts, state, [t.cases[i].needed.estimate for t in two])
            why = why_so_much(max(two, key=partial(_takes, i), default=target), facts, state)
            target.cases.append(case_of(target, rate, facts, state, sorts, counts, limits, why, asked))
        target.findings += particle_findings(target, rates)
    level = next((t for t in targets if t.kind == LEVEL), None)
    instants = float(facts.room.value("over")) * SHARES_OF_RUN
    chosen = [_sets(targets, i, sorts, counts) for i in range(len(states))]
    wanted = None if level is None else level.number
    options = options_of(facts, states, chosen, sorts, wanted, instants, asked)
    bars = intervals({name: sort.clean_air for name, sort in sorts.items()}, **asked.drawn, tolerance=SETTLED)
    lost = None
    if facts.lost is not None:
        bar = intervals({"": facts.lost}, **asked.drawn, tolerance=SETTLED)[""]
        lost = Quantity("flow_lost", "flow of the ducts that the better filter takes", "ratio", "%", facts.lost, bar)
    findings = [*facts.record.findings, *(f for source in sources for f in source.findings)]
    findings += [*facts.findings, *leak_findings(facts, options), *sound_findings(facts, options)]
    fast = limits.fastest
    for option in (o for o in options if o.units and float(o.quantities["added"].estimate.value) > fast):
        hourly = 30.0 * float(option.quantities["added"].estimate.value) / fast
        findings.append(Finding(room_flags.BEYOND_MIXED, f"{option.title}: {three_digits(hourly)} times an hour"))
    if level is not None and BLOWN_IN in (coming := entering(facts, states[0])) and coming[BLOWN_IN] > 0.0:
        findings.append(Finding(room_flags.SMOKE_BLOWN_IN, "outdoor_air in [room]"))
    findings = told_once(sorted(findings, key=lambda f: SEVERITIES.index(f.severity)))
    return RoomResult(
        facts.record, facts, sorts, counts, states, targets, options, instants, asked, findings, bars, lost
    )


def _takes(state: int, target: Target) -> float:
    """Clean air that a target takes in one state of the ducts. [m3/s]"""
    return float(target.cases[state].needed.estimate.value)


def _limits(facts: Facts, targets: Sequence[Target], sources: Sequence[Source]) -> Limits:
    """What bounds a number of units that is looked for; what is assumed of it is told."""
    assumed = "most_units" not in facts.room
    if assumed and targets and sources:
        facts.assume("room.most_units", str(facts.most_units), BASIS["most_units"])
        said = [f.message for f in facts.findings if f.meaning is ASSUMED]
        facts.findings = [f for f in facts.findings if f.meaning is not ASSUMED]
        facts.findings.append(Finding(ASSUMED, ", ".join([*said, f"room.most_units = {facts.most_units}"])))
    return Limits(facts.most_units, facts.place, assumed, FASTEST * float(facts.inputs["volume"].value))


def _sets(
    targets: Sequence[Target], state: int, sorts: Mapping[str, Source], counts: Mapping[str, int]
) -> list[Chosen]:
    """Numbers of units to be looked at in one state of the ducts: those that the record counts, and beside them what a
    target takes of each other sort there, the level's where there is one."""
    if not targets:
        return [Chosen(dict(counts), AS_COUNTED)] if counts else []
    ruling = next((t for t in targets if t.kind == LEVEL), None) or max(targets, key=partial(_takes, state))
    case = ruling.cases[state]
    sets = []
    if case.there is not None:
        why = f"{AS_COUNTED}; they {MEETS[ruling.kind]} with a probability of {percent(case.there)}"
        sets.append(Chosen(dict(counts), why))
    for found in case.units:
        if found.name in counts:
            continue
        meets, number = f"{MEETS[ruling.kind]} with {100 * found.confidence:g} % confidence", found.sure
        why = f"the number of {found.name} that will {meets}"
        if not found.allowed or case.changes > FASTEST:
            number = None if found.assumed else found.most
            why = f"most_units of {found.name}, which will not {meets}"
        if number:
            why += f", beside {found.beside}" if found.beside else ""
            sets.append(Chosen({**counts, found.name: number}, why))
    return sets
