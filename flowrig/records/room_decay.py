"""The tables of decays in a room, read together: the room, its runs, and what a counter counted in them over time."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from flowrig.errors import Fault
from flowrig.records.count_record import read_counters
from flowrig.records.csv_text import Table as Csv
from flowrig.records.files import near_name, quoted
from flowrig.records.items import Section
from flowrig.records.part import Part, PartReader
from flowrig.records.particle_facts import COUNTERS
from flowrig.records.room_decay_facts import DECAY, OFF, ON, RUNS
from flowrig.records.room_decay_table import Counted, read_counted

__all__ = ["ROOM_DECAY", "Counted", "RoomDecay", "RunRead"]


@dataclass
class RunRead:
    """A run as read.

    Attributes
    ----------
    section : Section
    counter : str
        Name of its counter; empty where none is described.
    counted, background : Counted or None
    """

    section: Section
    counter: str = ""
    counted: Counted | None = None
    background: Counted | None = None

    @property
    def name(self) -> str:
        return str(self.section.value("name"))

    @property
    def on(self) -> bool:
        return bool(self.section.value("cleaner") == ON)


@dataclass
class RoomDecay:
    """What a record says of decays in a room.

    Attributes
    ----------
    section : Section
    runs : list of RunRead
    counters : dict of str to Section
    """

    section: Section
    runs: list[RunRead] = field(default_factory=list)
    counters: dict[str, Section] = field(default_factory=dict)

    @property
    def sections(self) -> list[Section]:
        return []  # nothing here is read by an instrument of the record


def read_room_decay(reader: PartReader) -> RoomDecay:
    """The tables [decay], [[decay_runs]] and [counters.…]."""
    before = len(reader.faults)
    found = RoomDecay(reader.section(DECAY, reader.data[DECAY.name], (DECAY.name,)))
    found.counters = read_counters(reader)
    found.runs = [RunRead(section) for section in reader.several(RUNS)]
    if len(reader.faults) > before or not all(counter.whole for counter in found.counters.values()):
        return found  # what hangs on these is told once they can be read
    _kinds(reader, found)
    _names(reader, found)
    for run in found.runs:
        run.counter = _counter(reader, found, run)
    if len(reader.faults) > before:
        return found
    for run in found.runs:
        run.counted = _counted(reader, found, run, "counts")
        run.background = _counted(reader, found, run, "background")
    _samples_alike(found)
    _channels_alike(reader, found)
    return found


def _kinds(reader: PartReader, found: RoomDecay) -> None:
    """A run with the cleaner at least, and one without unless what the room loses by itself is stated."""
    held = {run.on for run in found.runs}
    stated = "natural_rate" in found.section
    if True not in held:
        remedy = f'Add [[decay_runs]] with cleaner = "{ON}" and its counts.'
        reader.walker.miss((RUNS.name,), "no run with the cleaner on", "one at least", remedy)
    if False not in held and not stated:
        remedy = f'Add [[decay_runs]] with cleaner = "{OFF}", or natural_rate to [decay].'
        said = "one at least, or natural_rate in [decay]"
        reader.walker.miss((RUNS.name,), "no run with the cleaner off", said, remedy)
    if False in held and stated:
        where = found.section["natural_rate"].where
        read = "natural_rate beside a run with the cleaner off"
        reader.faults.append(Fault(where, read, "the one or the other", "Remove natural_rate: a run is better."))


def _names(reader: PartReader, found: RoomDecay) -> None:
    seen: set[str] = set()
    for run in found.runs:
        if run.name in seen:
            remedy = "Call each run by a name of its own."
            reader.faults.append(Fault(run.section["name"].where, quoted(run.name), "a name of its own", remedy))
        seen.add(run.name)


def _counter(reader: PartReader, found: RoomDecay, run: RunRead) -> str:
    """Name of the counter of a run; empty where none is described."""
    if "counts" not in run.section:
        return ""
    holder = run.section if "counter" in run.section else found.section
    if "counter" in holder:
        name = str(holder.value("counter"))
        if name not in found.counters:
            near = near_name(name, list(found.counters))
            remedy = f"Did you mean {quoted(near)}?" if near else f"Describe it in a table [counters.{name}]."
            said = f"one of: {', '.join(found.counters) or 'none is described'}"
            fault = Fault(holder["counter"].where, quoted(name), said, remedy)
            if fault not in reader.faults:  # that of [decay] is the one of every run
                reader.faults.append(fault)
        return name
    if len(found.counters) > 1:
        remedy = f'Add counter = "{next(iter(found.counters))}" to [decay], if that is the one.'
        said = f"one of: {', '.join(found.counters)}"
        reader.faults.append(Fault(run.section.where, "no counter named", said, remedy))
    return next(iter(found.counters), "")


def _counted(reader: PartReader, found: RoomDecay, run: RunRead, name: str) -> Counted | None:
    table: Csv | None = reader.csv(run.section, name)
    if table is None:
        return None
    counter = found.counters.get(run.counter)
    counted = read_counted(table, run.section, run.counter, counter, reader.faults, timed=name == "counts")
    if counted is not None and name == "counts":
        _times(reader, run, table, counted)
    return counted


def _times(reader: PartReader, run: RunRead, table: Csv, counted: Counted) -> None:
    """Start and end lie in the table."""
    first, last = float(counted.time[0]), float(counted.time[-1])
    for name in ("start", "end"):
        value = run.section.value(name)
        if value is not None and not first <= value <= last:
            item = run.section[name]
            said = f"a time of {table.name}, {first / 60.0:.4g} to {last / 60.0:.4g} min"
            reader.faults.append(Fault(item.where, quoted(item.text), said, "Check the value and its unit."))


def _samples_alike(found: RoomDecay) -> None:
    """Samples that a long table shows to be smaller than stated are so in a short one, which cannot show it."""
    for name in found.counters:
        own = [run for run in found.runs if run.counter == name]
        held = [table for run in own for table in (run.counted, run.background) if table is not None]
        times = max((table.times for table in held), default=1.0)
        for table in held:
            if table.times == 1.0 and table.volume is not None and not np.any(np.mod(table.counts, times)):
                table.counts, table.volume, table.times = table.counts / times, table.volume / times, times


def _channels_alike(reader: PartReader, found: RoomDecay) -> None:
    """Every table of the same channels: rates of one size are compared, and floors taken off."""
    held = [table for run in found.runs for table in (run.counted, run.background) if table is not None]
    if not held:
        return
    first = held[0]
    for table in held[1:]:
        same = table.lower.shape == first.lower.shape and np.allclose(table.lower, first.lower, rtol=1e-6)
        same = same and bool(np.allclose(table.upper, first.upper, rtol=1e-6))
        if not same or (table.volume is None) != (first.volume is None):
            read = f"the channels {', '.join(map(str, table.sizes))}"
            said = f"those of {first.name}: {', '.join(map(str, first.sizes))}"
            reader.faults.append(Fault(f"{table.name}, header", read, said, "Count all runs with the same channels."))


ROOM_DECAY = Part(DECAY.name, read_room_decay, tables=(DECAY,), lists=(RUNS,), named=(COUNTERS,))
