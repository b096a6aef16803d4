"""The table of particle counts: a row a sample, a column a channel, into raw counts by channel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.errors import Fault
from flowrig.physics.particles import channel_counts
from flowrig.records import tables
from flowrig.records.channels import Column, limits, looks_like_channel, read_channel, told_apart
from flowrig.records.csv_text import Header, Table
from flowrig.records.declare import Reading
from flowrig.records.files import near_name, quoted
from flowrig.records.items import Array, Section
from flowrig.records.particle_facts import BESIDE, CUMULATIVE, IN_USE, PER, RUNS, SAMPLE, ZERO
from flowrig.records.raw_counts import raw_counts

PLACES = ("upstream", "downstream")
VELOCITY = Reading("velocity", "Velocity of the air at the point.", kind="velocity", low=0.0, high=100.0)
SAMPLE_TIME = Reading("sample_time", "How long it counted for this sample.", kind="time", low=1e-3, high=86400.0)
FIELDS = ("time", "number", "place", "counter", "run", "point", "velocity", "sample_time", "note")
MOST_COUNTED = 1e12  # in a sample or a volume


@dataclass
class CountTable:
    """Samples as read: raw counts by channel.

    Attributes
    ----------
    name : str
        Of the table, for messages.
    lower, upper : array, shape (k,)
        Limits of the channels. [m]
    run, place, counter, point : list of str, length n
        A place may be empty in a run for which it has no meaning.
    time : array, shape (n,)
        In seconds of its run, or the number of the sample.
    velocity : array, shape (n,)
        NaN where none was read. [m/s]
    counts : array, shape (n, k)
        Whole numbers.
    volume : array, shape (n,)
        [m^3]
    not_whole : list of str
        Counters whose figures are no whole numbers of counts.
    times : dict of str to float
        Counters all of whose counts are multiples of a number.
    line : list of int
        Row of the file.
    """

    name: str
    lower: Array
    upper: Array
    run: list[str]
    place: list[str]
    counter: list[str]
    point: list[str]
    time: Array
    velocity: Array
    counts: Array
    volume: Array
    not_whole: list[str] = field(default_factory=list)
    times: dict[str, float] = field(default_factory=dict)
    line: list[int] = field(default_factory=list)

    def rows(self, run: str) -> list[int]:
        return [i for i, name in enumerate(self.run) if name == run]


def read_counts(
    table: Table, particles: Section, counters: Mapping[str, Section], faults: list[Fault]
) -> CountTable | None:
    """Samples from a table and the counters that took them; None after a fault."""
    before = len(faults)
    if _no_header(table, faults):
        return None
    renamed: dict[str, str] = particles.value("columns", {})
    heads = _heads(table, renamed, faults)
    columns = channel_columns(table, particles, renamed, heads, faults)
    if len(faults) > before:
        return None
    n = len(table)
    run = _words(table, heads.get("run"), RUNS, IN_USE, faults)
    place = _words(table, heads.get("place"), PLACES, "", faults)
    counter = _counter(table, heads.get("counter"), particles, counters, faults)
    blank = [i for i in range(n) if not place[i] and run[i] in RUNS and run[i] not in (ZERO, BESIDE)]
    if "place" not in heads and blank:
        faults.append(tables.missing_column(table, "place", "upstream or downstream", "place"))
    elif blank:
        faults += tables.cell_faults(table, heads["place"], blank, "upstream or downstream", "Fill the cell.")
    point = table.column(heads["point"].raw) if "point" in heads else [""] * n
    velocity = _values(table, heads.get("velocity"), VELOCITY, faults)
    lasted = _values(table, heads.get("sample_time"), SAMPLE_TIME, faults)
    time = _times(table, heads, run, faults)
    cumulative = {str(section.value("counts")) == CUMULATIVE for section in counters.values()}
    if len(cumulative) > 1:
        said = "counters that print alike in one table: all cumulative, or all by channel"
        faults.append(Fault(particles.where, "counters that print differently", said, "Bring one to the other's way."))
    columns = told_apart(columns, True in cumulative, table.name, faults)
    printed = printed_counts(table, columns, faults)
    if len(faults) > before or counter is None or printed is None:
        return None
    lower, upper = limits(columns)
    found = CountTable(
        table.name, lower, upper, run, place, counter, point, time, velocity, printed, np.zeros(n),
        line=[table.row_number(i) for i in range(n)],
    )  # fmt: skip
    for name, section in counters.items():
        rows = np.flatnonzero([c == name for c in counter])
        if rows.size:
            to_raw(table, found, name, section, rows, lasted[rows], columns, faults)
    return found if len(faults) == before else None


def _no_header(table: Table, faults: list[Fault]) -> bool:
    """Headers that are numbers alone make a sample look like the header."""
    cells = {header.raw.casefold() for header in table.headers}
    if not cells & {*PLACES, *RUNS}:
        return False
    read = f"the columns {', '.join(quoted(header.raw) for header in table.headers)}, which are the cells of a sample"
    remedy = "Write its unit with each size above the counts; numbers alone are taken for readings."
    faults.append(Fault(f"{table.name}, header", read, "a line of headers, such as place, '0.3 um', '0.5 um'", remedy))
    return True


def _heads(table: Table, renamed: Mapping[str, str], faults: list[Fault]) -> dict[str, Header]:
    """The columns that are no channels, by their fields."""
    found = {}
    for name in FIELDS:
        header = tables.find_column(table, renamed.get(name, name))
        if header is not None:
            found[name] = header
        elif name in renamed:
            faults.append(tables.missing_column(table, renamed[name], f"which the record names for {name}"))
    if "time" in found and "number" in found:
        del found["number"]
    return found


def channel_columns(
    table: Table,
    section: Section,
    renamed: Mapping[str, str],
    heads: Mapping[str, Header],
    faults: list[Fault],
    fields: Sequence[str] = FIELDS,
) -> list[Column]:
    """The columns of counts, by their own headers or by the sizes that the record gives them.

    Parameters
    ----------
    section : Section
        That holds `columns`.
    renamed : mapping
        What stands there.
    heads : mapping
        The other columns that were found.
    fields : sequence of str
        Names of all that there may be.
    """
    found: list[Column | None] = []
    before = len(faults)
    taken = {header.raw for header in heads.values()}
    for words, name in renamed.items():
        if words in fields:
            continue
        where = section["columns"].where
        header = tables.find_column(table, name)
        if not looks_like_channel(words):
            near = near_name(words, list(fields))
            remedy = f"Did you mean {near}?" if near else "Correct it, or remove it."
            said = f"one of {', '.join(fields)}, or the size of a channel"
            faults.append(Fault(where, quoted(words), said, remedy))
        elif header is None:
            faults.append(tables.missing_column(table, name, f"which the record names for {words}"))
        else:
            taken.add(header.raw)
            found.append(read_channel(header, words, where, faults))
    for header in table.headers:
        if header.raw in taken:
            continue
        where = f"{table.name}, header {quoted(header.raw)}"
        if looks_like_channel(header.name):
            found.append(read_channel(header, header.name, where, faults))
        elif header.raw and header.name.casefold() not in fields:
            near = near_name(header.name, [f for f in fields if f not in heads])
            remedy = f"Did you mean {near}?" if near else "Remove the column, or name it 'note'."
            said = f"a size, such as '0.3 um', or one of {', '.join(fields)}"
            faults.append(Fault(where, "a column that is no field", said, remedy))
    columns = [c for c in found if c is not None]
    if not found:
        del faults[before:]  # what else there is may be meant for them
        heads_said = ", ".join(quoted(h.raw) for h in table.headers)
        remedy = "Name each column of counts by its size; a row of units is not needed."
        read, said = f"the columns {heads_said}", "columns of counts, such as '0.3 um' or '0.3-0.5 um'"
        faults.append(Fault(f"{table.name}, header", read, said, remedy))
    return columns


def _words(table: Table, header: Header | None, known: Sequence[str], blank: str, faults: list[Fault]) -> list[str]:
    """Cells that hold one of a few words."""
    if header is None:
        return [blank] * len(table)
    cells = [" ".join(cell.split()).casefold() for cell in table.column(header.raw)]
    odd = [i for i, cell in enumerate(cells) if cell and cell not in known]
    if odd:
        near = near_name(cells[odd[0]], list(known))
        remedy = f"Did you mean {near}?" if near else "Check the spelling."
        faults += tables.cell_faults(table, header, odd, f"one of: {', '.join(known)}", remedy)
    return [cell or blank for cell in cells]


def _counter(
    table: Table,
    header: Header | None,
    particles: Section,
    counters: Mapping[str, Section],
    faults: list[Fault],
) -> list[str] | None:
    alone = particles.value("counter") or (next(iter(counters)) if len(counters) == 1 else "")
    if alone and alone not in counters:
        remedy = f"Describe it in [counters.{alone}], or correct the name."
        faults.append(Fault(particles["counter"].where, quoted(alone), f"one of: {', '.join(counters)}", remedy))
        return None
    if header is None:
        if not alone:
            remedy = f'Add a column counter, or counter = "{next(iter(counters))}" in [particles].'
            faults.append(Fault(f"{table.name}, header", "no column counter", "which counter took each sample", remedy))
            return None
        return [alone] * len(table)
    cells = table.column(header.raw)
    odd = [i for i, cell in enumerate(cells) if (cell or alone) not in counters]
    near = near_name(cells[odd[0]], list(counters)) if odd else None
    remedy = f"Did you mean {near}?" if near else "Describe it in a table [counters.…], or correct the name."
    faults += tables.cell_faults(table, header, odd, f"one of: {', '.join(counters)}", remedy)
    return [cell or alone for cell in cells]


def _values(table: Table, header: Header | None, declared: Reading, faults: list[Fault]) -> Array:
    if header is None:
        return np.full(len(table), np.nan)
    read = tables.column_values(table, header, declared, faults)
    return read[0] if read is not None else np.full(len(table), np.nan)


def _times(table: Table, heads: Mapping[str, Header], run: Sequence[str], faults: list[Fault]) -> Array:
    """Seconds or numbers, each run by itself; the order of its rows where neither is told."""
    time = np.arange(len(table), dtype=float)
    header = heads.get("time", heads.get("number"))
    if header is None:
        return time
    for name in dict.fromkeys(run):
        rows = [i for i, own in enumerate(run) if own == name]
        own = table.only(rows)
        told, blanks, found = own.time(header.raw) if "time" in heads else own.numbers(header.raw)
        if len(blanks) == len(rows):
            continue
        faults += found
        said = "the time of the sample" if "time" in heads else "the number of the sample"
        at = [rows[i] for i in blanks]
        faults += tables.cell_faults(table, header, at, said, "Fill the cell, or leave those of the whole run empty.")
        time[rows] = told
    return time


def printed_counts(table: Table, columns: Sequence[Column], faults: list[Fault]) -> Array | None:
    """What stands in the columns, shape (n, k); None after a fault."""
    before = len(faults)
    found = []
    empty = {i for i in range(len(table)) if not any(table.cell(i, column.header.raw) for column in columns)}
    faults += tables.row_faults(table, sorted(empty), "a count in each column", "Fill the row, or remove it.")
    for column in columns:
        numbers, blanks, wrong = table.numbers(column.header.raw)
        faults += wrong
        blanks = [i for i in blanks if i not in empty]
        faults += tables.cell_faults(table, column.header, blanks, "a count", "Fill the cell, or remove the row.")
        with np.errstate(invalid="ignore"):
            below = np.flatnonzero(numbers < 0.0)
            beyond = np.flatnonzero(numbers > MOST_COUNTED)
        faults += tables.cell_faults(table, column.header, below, "a count of 0 or more", "Correct the cell.")
        said = f"no more than {MOST_COUNTED:g}, which no counter shows"
        faults += tables.cell_faults(table, column.header, beyond, said, "Correct the cell.")
        found.append(numbers)
    return np.stack(found, axis=1) if found and len(faults) == before else None


def to_raw(
    table: Table,
    found: CountTable,
    name: str,
    section: Section,
    rows: NDArray[np.intp],
    lasted: Array,
    columns: Sequence[Column],
    faults: list[Fault],
) -> None:
    """Counts of one counter by channel, and the volume of its samples."""
    per = str(section.value("per"))
    for header in (c.header for c in columns if c.header.unit):
        kinds = units.kinds_of(str(header.unit))
        same = (
            "concentration" in kinds
            and PER[per]
            and units.factor(str(header.unit), "concentration") == units.factor(PER[per], "concentration")
        )
        if "length" not in kinds and not same and not ("count" in kinds and per == SAMPLE):
            said = f"a size, or nothing but what the counter says: per = '{per}'"
            where = f"{table.name}, header {quoted(header.raw)}"
            told = Fault(where, quoted(str(header.unit)), said, "Correct the header, or per of the counter.")
            faults += [told] if told not in faults else []
            return
    time = np.where(np.isnan(lasted), section.value("sample_time"), lasted)
    volume = section.value("sample_flow") * time
    unit = float(units.factor(PER[per], "concentration")[0]) if PER[per] else 1.0
    raw = raw_counts(found.counts[rows], volume * unit if PER[per] else np.ones(len(rows)))
    if not PER[per] and np.any(found.counts[rows] != np.round(found.counts[rows])):
        for column, values in zip(columns, found.counts[rows].T, strict=True):
            odd = rows[values != np.round(values)]
            remedy = f"Correct the cell, or say for which volume counter {name} prints: per."
            faults += tables.cell_faults(table, column.header, odd, "a whole number of counts", remedy)
        return
    counts = raw.counts
    if str(section.value("counts")) == CUMULATIVE:
        counts = np.asarray(channel_counts(counts))
        for j in range(len(columns) - 1):
            odd = rows[np.isnan(counts[:, j])]
            said = f"no fewer than under {quoted(columns[j + 1].header.raw)}, as counts are cumulative"
            remedy = 'Correct the cell, or write counts = "by channel" with the counter.'
            faults += tables.cell_faults(table, columns[j].header, odd, said, remedy)
    found.counts[rows], found.volume[rows] = counts, volume / raw.times
    if not raw.whole:
        found.not_whole.append(name)
    if np.any(raw.times > 1.0):
        found.times[name] = float(np.max(raw.times))
