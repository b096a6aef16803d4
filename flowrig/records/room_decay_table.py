"""The table of a run: a row for each sample, a column for each channel, into raw counts by channel over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records import tables
from flowrig.records.channels import Column, limits, told_apart
from flowrig.records.counts_table import SAMPLE_TIME, CountTable, channel_columns, printed_counts, to_raw
from flowrig.records.csv_cells import time_kind
from flowrig.records.csv_text import Header
from flowrig.records.csv_text import Table as Csv
from flowrig.records.declare import Reading
from flowrig.records.files import quoted
from flowrig.records.items import Array, Section
from flowrig.records.sizes import Sizes

EARLY = 0.9  # of a sample: clocks show whole seconds
FIELDS = ("time", "sample_time", "note")
CONCENTRATION = Reading("concentration", "Particles in a volume of air.", kind="concentration", low=0.0)


@dataclass
class Counted:
    """What was counted in a run.

    Attributes
    ----------
    name : str
        Of the table.
    lower, upper : array, shape (k,)
        Limits of the channels; the last may be infinite. [m]
    time : array, shape (n,)
        [s]
    counts : array, shape (n, k)
        Raw counts, none of them twice; concentrations where `volume` is None. [1 or 1/m^3]
    volume : array, shape (n,), or None
        [m^3]
    whole : bool
        What was printed is whole numbers of counts.
    times : float
        How many times smaller samples were than the counter's flow and time say, as all counts are multiples of it.
    """

    name: str
    lower: Array
    upper: Array
    time: Array
    counts: Array
    volume: Array | None
    whole: bool = True
    times: float = 1.0

    @property
    def sizes(self) -> list[Sizes]:
        return [Sizes(float(low), float(high)) for low, high in zip(self.lower, self.upper, strict=True)]


def read_counted(
    table: Csv, section: Section, name: str, counter: Section | None, faults: list[Fault], *, timed: bool = True
) -> Counted | None:
    """A table of counts over time; None after a fault.

    Parameters
    ----------
    section : Section
        Of the run, whose ``columns`` may name headers.
    name : str
        Of the counter.
    counter : Section or None
        None: the columns hold concentrations, each with its unit.
    timed : bool
        The times are needed, and rise.
    """
    before = len(faults)
    renamed: dict[str, str] = section.value("columns", {})
    heads = _heads(table, renamed, section, faults)
    columns = channel_columns(table, section, renamed, heads, faults, FIELDS)
    time = _time(table, heads, faults) if timed else np.arange(len(table), dtype=float)
    if len(faults) > before or not columns or time is None:
        return None
    if counter is None:
        return _concentrations(table, columns, time, faults)
    cumulative = counter.value("counts") == "cumulative"
    columns = told_apart(columns, cumulative, table.name, faults)
    printed = printed_counts(table, columns, faults)
    lasted = np.full(len(table), np.nan)
    if "sample_time" in heads:
        read = tables.column_values(table, heads["sample_time"], SAMPLE_TIME, faults)
        lasted = read[0] if read is not None else lasted
    if printed is None or len(faults) > before:
        return None
    lower, upper = limits(columns)
    n = len(table)
    samples = CountTable(
        table.name, lower, upper, [""] * n, [""] * n, [name] * n, [""] * n, time, lasted, printed, np.zeros(n),
        line=[table.row_number(i) for i in range(n)],
    )  # fmt: skip
    to_raw(table, samples, name, counter, np.arange(n), lasted, columns, faults)
    if timed and n > 1 and len(faults) == before:
        _in_time(table, heads["time"], time, lasted, float(counter.value("sample_time")), faults)
    if len(faults) > before:
        return None
    times = samples.times.get(name, 1.0)
    return Counted(table.name, lower, upper, time, samples.counts, samples.volume, not samples.not_whole, times)


def _heads(table: Csv, renamed: dict[str, str], section: Section, faults: list[Fault]) -> dict[str, Header]:
    found = {}
    for name in FIELDS:
        header = tables.find_column(table, renamed.get(name, name))
        if header is None and name == "time":
            header = tables.time_column(table)
        if header is not None:
            found[name] = header
        elif name in renamed:
            faults.append(tables.missing_column(table, renamed[name], f"which the record names for {name}"))
    return found


def _time(table: Csv, heads: dict[str, Header], faults: list[Fault]) -> Array | None:
    if "time" not in heads:
        faults.append(tables.missing_column(table, "time", "when each sample was taken", "time"))
        return None
    header = heads["time"]
    if header.unit is None and all(time_kind(cell) == "number" for cell in table.column(header.raw)):
        where = f"{table.name}, header {quoted(header.raw)}"
        said = f"its unit, as in '{header.name} [min]', or times of day"
        faults.append(Fault(where, "numbers without a unit", said, "Add the unit in square brackets: s, min or h."))
        return None
    seconds, blanks, wrong = table.time(header.raw)
    faults += wrong
    faults += tables.cell_faults(table, header, blanks, "the time of the sample", "Fill the cell, or remove the row.")
    if wrong or blanks:
        return None
    back = np.flatnonzero(np.diff(seconds) <= 0.0) + 1
    faults += tables.cell_faults(table, header, back, "a later time than in the row above", "Sort the rows.")
    return np.asarray(seconds) if not back.size else None


def _in_time(table: Csv, header: Header, time: Array, lasted: Array, usual: float, faults: list[Fault]) -> None:
    """Samples do not overlap: minutes read as seconds would."""
    long = np.where(np.isnan(lasted), usual, lasted)[:-1]
    soon = np.flatnonzero(np.diff(time) < EARLY * long) + 1
    said = f"a sample begun after the one above ended, {usual:.4g} s long by the counter's sample_time"
    faults += tables.cell_faults(table, header, soon, said, "Check the unit of the times, and sample_time.")


def _concentrations(table: Csv, columns: list[Column], time: Array, faults: list[Fault]) -> Counted | None:
    """Without a counter: what stands in each column is a concentration of its own channel."""
    before = len(faults)
    columns = told_apart(columns, False, table.name, faults)
    values = []
    for column in columns:
        where = f"{table.name}, header {quoted(column.header.raw)}"
        if column.header.unit is None or "concentration" not in units.kinds_of(column.header.unit):
            said = f"a unit of concentration, as in '{column.header.name} [1/cm3]', or a table [counters.…]"
            remedy = "Describe the counter: only with the volume of its samples is it known how much was counted."
            faults.append(Fault(where, "counts of no known volume", said, remedy))
            continue
        read = tables.column_values(table, column.header, CONCENTRATION, faults)
        if read is None:
            continue
        empty = np.flatnonzero(~(read[0] > 0.0))
        remedy = "Remove the row, or describe the counter, so that counts of 0 have a meaning."
        faults += tables.cell_faults(table, column.header, empty, "a concentration above 0", remedy)
        values.append(read[0])
    if len(faults) > before:
        return None
    lower, upper = limits(columns)
    return Counted(table.name, lower, upper, time, np.stack(values, axis=1), None)
