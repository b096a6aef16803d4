"""Decays of a room with the cleaner on and off: the clean-air rate by size, what speaks against it, and its bar."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flowrig.errors import CalculationError
from flowrig.physics.room import loss_from_half_life
from flowrig.records import flags as reading_flags
from flowrig.records import room_decay_facts as facts
from flowrig.records.declare import SEVERITIES, Finding
from flowrig.records.estimates import given_estimate
from flowrig.records.items import Section, as_written
from flowrig.records.room_decay import Counted, RoomDecay, RunRead
from flowrig.records.sizes import Sizes
from flowrig.records.words import three_digits
from flowrig.studies import particle_flags
from flowrig.studies import room_decay_flags as flags
from flowrig.studies.counter import Counter
from flowrig.studies.result import PartResult, Quantity, Result
from flowrig.studies.room_decay_checks import checked
from flowrig.studies.room_decay_counter import hidden_of
from flowrig.studies.room_decay_rates import Rate, Room, Timepiece, rate_of
from flowrig.studies.room_decay_run import Fall, Floor, Rule, Run
from flowrig.studies.room_decay_sizes import with_size_limits
from flowrig.studies.room_effect import SETTLED, Effect, held_against_flow, why_not_held
from flowrig.studies.sampling import counter_of
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Array, Estimate
from flowrig.uncertainty.interval import intervals
from flowrig.uncertainty.propagate import linear

TAKEN_UP = 0.05  # of the volume between the walls, give or take as much; own judgement, no source
MIXING = {facts.MIXED: 0.03, facts.UNMIXED: 0.16, facts.NOT_SAID: 0.16}
NAME = "decay"


@dataclass
class Told:
    """One range of size.

    Attributes
    ----------
    rate : Rate
    clean_air, on, off : Quantity
    effect : Effect or None
        Held against flow times efficiency, where that is known for the same sizes.
    """

    rate: Rate
    clean_air: Quantity
    on: Quantity
    off: Quantity
    effect: Effect | None = None


@dataclass(repr=False)
class DecayResult(PartResult):
    """Clean-air rates by decay.

    Attributes
    ----------
    told : list of Told
    volume : Quantity or None
        Net.
    room : Room or None
    why_not_held : str
        Why no rate is held against flow times efficiency, where that is known.
    """

    told: list[Told] = field(default_factory=list)
    volume: Quantity | None = None
    room: Room | None = None
    why_not_held: str = ""

    def rate(self, lower: float, upper: float) -> Quantity | None:
        """Clean-air rate of a range of size [m]; None where it was not told for the same one."""
        wanted = Sizes(lower, upper)
        return next((t.clean_air for t in self.told if t.rate.sizes is not None and t.rate.sizes.same(wanted)), None)


def decayed(result: Result) -> DecayResult:
    """The part of a record that holds decays, reduced.

    Parameters
    ----------
    result : Result
        With its flows, and with its particle counts where it has any.

    Notes
    -----
    CADR = V (k_on - k_off). The volume is one cause of every size; clock and dead time of a counter move both rates.
    """
    content: RoomDecay = result.record.parts[NAME]
    findings: list[Finding] = []
    counters = _counters(result, content, findings)
    room = _room(result, content, counters, findings)
    runs, sizes = _runs(content, counters, result.record.id)
    rates = []
    for channel, own in enumerate(sizes):
        try:
            rates.append(rate_of(room, runs, channel, own))
        except CalculationError as error:
            findings.append(Finding(flags.CHANNEL_LEFT_OUT, f"{own}: {error}"))
    for wanted in facts.ranges_of(content.section):
        if not any(wanted.holds(own) for own in sizes):
            findings.append(Finding(flags.CHANNEL_LEFT_OUT, f"{wanted}: no channel of the counter lies inside"))
    if not sizes:
        rates.append(rate_of(room, [], 0, None))
    named = {run.counter for run in runs}
    rates = with_size_limits(rates, counters.get(next(iter(named))) if len(named) == 1 else None)
    if not rates:
        findings.append(Finding(flags.NOTHING_TOLD, f"{len(sizes)} sizes left out"))
    findings += checked(room, rates, content, counters)
    part = DecayResult(NAME, "Clean air by decay in a room", room=room, findings=findings)
    _tell(result, part, rates)
    effects = held_against_flow(result, [t.rate for t in part.told], [t.clean_air.name for t in part.told])
    for told, effect in zip(part.told, effects, strict=True):
        told.effect = effect
        if told.effect is not None:
            part.findings += told.effect.findings
            part.quantities |= told.effect.quantities
            part.sentences.append(told.effect.sentence)
    part.why_not_held = why_not_held(result, rates)
    part.sentences += [part.why_not_held] if part.why_not_held else []
    part.sentences += [_in_words(fall, rate) for rate in rates for fall in rate.falls]
    part.findings = sorted(_once(part.findings), key=lambda f: SEVERITIES.index(f.severity))
    return part


def _counters(result: Result, content: RoomDecay, findings: list[Finding]) -> dict[str, Counter]:
    """Counters of the runs, and what is found about what they printed.

    How many of the particles a counter sees, its sample flow and how long it counts all cancel in a rate: of what is
    assumed of it nothing is told but what the counts themselves show.
    """
    told: list[Finding] = []
    counters = {name: counter_of(name, section, result.record, told) for name, section in content.counters.items()}
    findings += [f for f in told if f.meaning is not reading_flags.ASSUMED]
    for run in content.runs:
        for table in (run.counted, run.background):
            if table is not None and not table.whole:
                findings.append(Finding(particle_flags.NOT_WHOLE, table.name))
            if table is not None and table.times > 1.0:
                said = f"{table.name}: all counts would be multiples of {table.times:.0f}; taken as so many times fewer"
                findings.append(Finding(particle_flags.SMALLER, said))
    return counters


def _room(result: Result, content: RoomDecay, counters: Mapping[str, Counter], findings: list[Finding]) -> Room:
    record, section = result.record, content.section
    place = f"{record.id}:{NAME}"
    mixing = section.value("mixing_limit")
    if mixing is None:
        mixing = MIXING[section.value("mixing")]
        said = "" if section["mixing"].assumed else f" ({section.value('mixing')})"
        findings.append(Finding(reading_flags.ASSUMED, f"imperfect mixing within {100 * mixing:.3g} %{said}"))
    if section["clock_limit"].assumed:
        said = f"intervals between readings within {as_written(section['clock_limit'])}"
        findings.append(Finding(reading_flags.ASSUMED, said))
    alike = section.value("natural_run") == facts.FAN_ON and section.value("windows_and_doors") == facts.UNCHANGED
    timepieces = {
        name: Timepiece(c.identity, c.label, section.value("clock_limit"), c.dead_time, c.dead_time_limit)
        for name, c in counters.items()
    } or {"": Timepiece(f"{place}:clock", "the readings", section.value("clock_limit"))}
    stated = {(run.name, run.on): _from_half_life(run, place) for run in content.runs if run.counted is None}
    natural = given_estimate(section["natural_rate"], place, "natural rate") if "natural_rate" in section else None
    return Room(
        place=place,
        volume=_volume(result, section, findings),
        rule=Rule(section.value("mixing_time"), section.value("lowest_signal")),
        counters=timepieces,
        mixing_limit=mixing,
        natural_limit=0.0 if natural is not None else section.value("natural_limit"),
        alike=alike,
        natural=natural,
        stated=stated,
    )


def _from_half_life(run: RunRead, place: str) -> Estimate:
    half_life = given_estimate(run.section["half_life"], f"{place}:{run.name}", f"half-life, {run.name}", "reading")
    return linear(_halving, {"half_life": half_life}, outputs={"rate": ()})["rate"]


def _halving(*, half_life: Array) -> dict[str, Array]:
    return {"rate": np.asarray(loss_from_half_life(half_life))}


def _volume(result: Result, section: Section, findings: list[Finding]) -> Estimate:
    """Net volume; what stands in the room is taken off, or assumed."""
    known = section.value("room")
    identity = f"hardware:rooms:{known}" if known else f"{result.record.id}:{NAME}"
    if "net_volume" in section:
        return given_estimate(section["net_volume"], identity, "net volume of the room")
    walls = given_estimate(section["room_volume"], identity, "volume of the room")
    if "taken_up" in section:
        taken = given_estimate(section["taken_up"], identity, "volume of what stands in the room")
    else:
        findings.append(Finding(flags.VOLUME_GROSS, f"of {as_written(section['room_volume'])}"))
        size = TAKEN_UP * float(walls.value)
        cause = Cause(f"{identity}:taken up", shape="rectangular", scope="setup", label="what stands in the room")
        taken = Estimate(size, (), {cause: [size / math.sqrt(3.0)]})
    return linear(_net, {"walls": walls, "taken": taken}, outputs={"volume": ()})["volume"]


def _net(*, walls: Array, taken: Array) -> dict[str, Array]:
    return {"volume": walls - taken}


def _exposure(counted: Counted, counter: Counter | None) -> tuple[Array, Array]:
    """What a count is expected to be over the concentration, and the concentration of all channels, by samples."""
    volume = counted.volume if counted.volume is not None else np.ones(len(counted.time))
    hidden = hidden_of(counter, counted)
    exposure = volume * np.exp(-hidden)
    return exposure, np.sum(counted.counts, axis=1) / exposure


def _runs(content: RoomDecay, counters: Mapping[str, Counter], record_id: str) -> tuple[list[Run], list[Sizes]]:
    """Runs with their counts, channel by channel and then by the ranges asked for."""
    held = [read for read in content.runs if read.counted is not None]
    if not held or held[0].counted is None:
        return [], []
    channels = held[0].counted.sizes
    groups = [[j] for j in range(len(channels))]
    sizes = list(channels)
    for wanted in facts.ranges_of(content.section):
        at = [j for j, own in enumerate(channels) if wanted.holds(own)]
        if len(at) > 1:
            whole = Sizes(channels[at[0]].lower, channels[at[-1]].upper)
            sizes.append(whole)
            groups.append(at)
    return [_run(read, counters, record_id).summed(groups) for read in held], sizes


def _run(read: RunRead, counters: Mapping[str, Counter], record_id: str) -> Run:
    counted, section = read.counted, read.section
    assert counted is not None
    counter = counters.get(read.counter)
    exposure, total = _exposure(counted, counter)
    start = section.value("start", 0.0)
    return Run(
        name=read.name,
        on=read.on,
        time=counted.time,
        counts=counted.counts,
        exposure=exposure,
        raw=counted.volume is not None,
        hidden=hidden_of(counter, counted),
        total=total,
        floor=_floor(read, counter, record_id),
        start=start,
        end=section.value("end", math.inf),
        place=section.value("place", ""),
        counter=read.counter,
    )


def _floor(read: RunRead, counter: Counter | None, record_id: str) -> Floor | None:
    """What is told of the floor of a run."""
    section, counted, told = read.section, read.counted, read.background
    assert counted is not None
    if "floor_at_most" in section:
        at = int(np.argmax(counted.time >= section.value("start", 0.0)))
        half = 0.5 * section.value("floor_at_most") * counted.counts[at] / _exposure(counted, counter)[0][at]
        return Floor(half, 0.0 * half, half, f"{record_id}:{section.name}:floor")
    if told is None:
        return None
    exposure = _exposure(told, counter)[0][:, np.newaxis]
    total = np.sum(told.counts, axis=0)
    value = total / np.sum(exposure)
    counting = np.sqrt(np.maximum(total, 1.0)) / np.sum(exposure) if told.volume is not None else 0.0 * value
    n = len(told.time)
    if n > 1:  # they may scatter more than counting explains
        counting = np.maximum(counting, np.std(told.counts / exposure, axis=0, ddof=1) / math.sqrt(n))
    return Floor(value, counting, section.value("background_limit") * value, f"{record_id}:{told.name}")


def _tell(result: Result, part: DecayResult, rates: Sequence[Rate]) -> None:
    """Numbers with their bars, drawn together."""
    assert part.room is not None
    estimates: dict[str, Estimate] = {"volume": part.room.volume}
    for i, rate in enumerate(rates):
        estimates |= {f"clean_air_{i}": rate.clean_air, f"on_{i}": rate.on, f"off_{i}": rate.off}
    bars = intervals(estimates, result.coverage, samples=result.samples, seed=result.seed, tolerance=SETTLED)

    def quantity(name: str, label: str, kind: str, unit: str, key: str) -> Quantity:
        return Quantity(name, label, kind, unit, estimates[key], bars[key])

    for i, rate in enumerate(rates):
        of = f", {rate.sizes}" if rate.sizes is not None else ""
        key = str(rate.sizes).replace(" ", "_") if rate.sizes is not None else "all"
        told = Told(
            rate,
            quantity(f"clean_air_{key}", f"clean-air rate{of}", "flow", result.flow_unit, f"clean_air_{i}"),
            quantity(f"loss_on_{key}", f"decay with the cleaner{of}", "rate", "1/h", f"on_{i}"),
            quantity(f"loss_off_{key}", f"natural decay{of}", "rate", "1/h", f"off_{i}"),
        )
        part.told.append(told)
        if float(told.clean_air.low) <= 0.0:
            low, high = (three_digits(float(x)) for x in (told.clean_air.low, told.clean_air.high))
            said = f"{told.clean_air.label}: {low} to {high} {result.flow_unit}"
            flag = flags.SLOWER_WITH if float(told.clean_air.high) < 0.0 else flags.NOT_TOLD
            part.findings.append(Finding(flag, said))
    part.quantities |= {t.clean_air.name: t.clean_air for t in part.told}
    for told in part.told:
        part.quantities |= {q.name: q for q in (told.on, told.off)}
    if not part.told:
        return
    part.volume = quantity("net_volume", "net volume of the room", "volume", "m3", "volume")
    part.quantities["net_volume"] = part.volume


def _in_words(fall: Fall, rate: Rate) -> str:
    """How a run was used."""
    fit, (first, last) = fall.fit, fall.span
    how = "assumed" if fall.assumed else "as told" if fall.known is not None else "fitted"
    said = (
        f"{fall.run.name}, {rate.sizes}: {int(fall.used.sum())} rows from {first / 60:.4g} to {last / 60:.4g} min, "
        f"{fall.halvings:.3g} halvings, {fit.rate * 3600:.5g} 1/h (u {fit.u * 3600:.2g}), floor "
        f"{100 * fit.floor / fall.first:.3g} % of the first level ({how}), readings scatter by {100 * fit.excess:.2g} %"
    )
    if fall.run.raw:
        said += f" beyond counting, chi square over degrees of freedom {fit.chi_square / fit.free:.3g}"
    if fall.moves:
        moved = ", ".join(f"{by * 3600:+.2g} 1/h {words} by a fifth" for words, (by, _) in fall.moves.items())
        said += f"; the rate moves by {moved}, its bar is {fall.bar * 3600:.2g} 1/h"
    return f"{said}."


def _once(findings: list[Finding]) -> list[Any]:
    """Each finding once, those of one meaning in one line."""
    said: dict[str, Finding] = {}
    for f in findings:
        known = said.get(f.code)
        if known is None:
            said[f.code] = f
        elif f.message not in known.message.split("; "):
            said[f.code] = Finding(f.meaning, f"{known.message}; {f.message}")
    return list(said.values())
