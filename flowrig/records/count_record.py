"""The tables of particle counts, read together: the samples, the counters, and whether each run can be used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flowrig.errors import Fault, InputError
from flowrig.records.counts_table import CountTable, read_counts
from flowrig.records.csv_text import Table, parse_table
from flowrig.records.items import Section
from flowrig.records.part import Part, PartReader
from flowrig.records.particle_facts import BESIDE, COUNTERS, IN_USE, PARTICLES, RUNS, ZERO

PAIR = 2  # counters that a run may have at most
MOST = 2000  # samples of a run


@dataclass
class CountRecord:
    """What a record says of particle counts.

    Attributes
    ----------
    particles : Section
    counters : dict of str to Section
    table : CountTable or None
        None after a fault alone.
    """

    particles: Section
    counters: dict[str, Section] = field(default_factory=dict)
    table: CountTable | None = None

    @property
    def sections(self) -> list[Section]:
        return [self.particles, *self.counters.values()]


def read_count_record(reader: PartReader) -> CountRecord:
    """The tables [particles] and [counters.…]."""
    before = len(reader.faults)
    particles = reader.section(PARTICLES, reader.data["particles"], ("particles",))
    found = CountRecord(particles, read_counters(reader))
    if not found.counters and not reader.walker.is_spoiled("counters"):
        remedy = 'Add [counters.A] with sample_flow = "2.83 L/min", sample_time, counts and per.'
        reader.walker.miss(("particles",), "no table [counters.…]", "the counter that took the samples", remedy)
    table = _table(reader, particles)
    if table is not None and len(reader.faults) == before and all(c.whole for c in found.counters.values()):
        found.table = read_counts(table, particles, found.counters, reader.faults)
        if found.table is not None:
            _runs(found.table, reader.faults)
    return found


def read_counters(reader: PartReader) -> dict[str, Section]:
    """The tables [counters.…], which particle counts and decays share."""
    first = COUNTERS.name not in reader.by_name
    counters = reader.named(COUNTERS)
    if first:
        _same_serial(counters, reader.faults)
    return counters


def _same_serial(counters: Mapping[str, Section], faults: list[Fault]) -> None:
    """Two counters of one serial number and date could not be told apart."""
    known: dict[tuple[str, object], str] = {}
    for name, section in counters.items():
        serial = section.value("serial")
        if serial is None:
            continue
        first = known.setdefault((serial, section.value("calibrated")), name)
        if first != name:
            said = f"a serial number or date of its own; counters.{first} has these"
            remedy = "Name the same counter in both places, or give each its own number."
            faults.append(Fault(section["serial"].where, repr(serial), said, remedy))


def _table(reader: PartReader, particles: Section) -> Table | None:
    if "samples" not in particles or "counts" in particles:
        return reader.csv(particles, "counts") if "samples" not in particles else None
    item = particles["samples"]
    try:
        return parse_table(item.value.strip() + "\n", item.where)
    except InputError as error:
        reader.faults.extend(error.faults)
        return None


def _runs(table: CountTable, faults: list[Fault]) -> None:
    """Whether every run has what it needs."""
    held = [run for run in RUNS if table.rows(run)]
    if IN_USE not in held and BESIDE not in held:
        said = f"samples of the run '{IN_USE}', or of two counters '{BESIDE}'"
        faults.append(
            Fault(table.name, f"the runs {', '.join(held)} alone", said, "Add them, or correct the column run.")
        )
    for run in held:
        rows = table.rows(run)
        counters = list(dict.fromkeys(table.counter[i] for i in rows))
        where = f"{table.name}, run '{run}'"
        twice = _twice(table, rows)
        if len(rows) > MOST:
            remedy = "Sum the counts of samples that follow each other, and write how long they took: sample_time."
            faults.append(Fault(where, f"{len(rows)} samples", f"at most {MOST} samples in a run", remedy))
        elif twice:
            said = "each counter once at a time, or number"
            faults.append(Fault(where, twice, said, "Give each sample its own time or number."))
        elif run == BESIDE:
            _beside(table, rows, counters, where, faults)
        elif run != ZERO:
            _both_sides(table, rows, counters, where, faults)


def _twice(table: CountTable, rows: list[int]) -> str:
    seen: dict[tuple[str, float], int] = {}
    for i in rows:
        first = seen.setdefault((table.counter[i], float(table.time[i])), i)
        if first != i:
            return f"counter {table.counter[i]} in rows {table.line[first]} and {table.line[i]} at one time"
    return ""


def _beside(table: CountTable, rows: list[int], counters: list[str], where: str, faults: list[Fault]) -> None:
    if len(counters) != PAIR:
        remedy = "Give each sample its counter in the column counter."
        faults.append(Fault(where, f"samples of {', '.join(counters)}", "samples of two counters", remedy))
    elif not any(len({table.counter[i] for i in rows if table.time[i] == table.time[j]}) == PAIR for j in rows):
        remedy = "Give samples that were taken at once the same time or number."
        faults.append(Fault(where, "no two samples at one time", "samples of both counters at once", remedy))


def _both_sides(table: CountTable, rows: list[int], counters: list[str], where: str, faults: list[Fault]) -> None:
    sides = {place: [i for i in rows if table.place[i] == place] for place in ("upstream", "downstream")}
    missing = [place for place, own in sides.items() if not own]
    if missing:
        faults.append(Fault(where, f"no sample {missing[0]}", "samples upstream and downstream", "Add them."))
        return
    if len(counters) > PAIR:
        faults.append(Fault(where, f"samples of {', '.join(counters)}", "one counter, or two", "Leave the others out."))
        return
    twin = [
        any(table.time[u] == table.time[d] and table.counter[u] != table.counter[d] for u in sides["upstream"])
        for d in sides["downstream"]
    ]
    if any(twin) and not all(twin):
        row = table.line[sides["downstream"][twin.index(False)]]
        said = "each sample downstream with one upstream at the same time or number, as the others of this run"
        faults.append(
            Fault(f"{table.name}, row {row}", "a sample without its partner", said, "Add it, or remove the row.")
        )
        return
    names = {place: {table.counter[i] for i in own} for place, own in sides.items()}
    if not any(twin) and not names["downstream"] <= names["upstream"]:
        read = "one counter upstream and another downstream, at other times"
        remedy = "Give samples that were taken at once the same number in a column number."
        faults.append(Fault(where, read, "samples of both at once", remedy))


PARTICLE_COUNTS = Part("particles", read_count_record, tables=(PARTICLES,), named=(COUNTERS,))
