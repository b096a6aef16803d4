"""Columns of a CSV file into readings: which column is which field, in which unit, and the grid of a traverse."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.errors import Fault, InputError
from flowrig.records.csv_text import Header, Table, parse_table
from flowrig.records.declare import Finding, FlagMeaning, Reading
from flowrig.records.files import listed, quoted
from flowrig.records.items import Array, Item, Layout
from flowrig.records.words import bounds_in_words, opening, unreadable, usual_units

MISSING = FlagMeaning(
    "missing reading",
    "warning",
    "A place of the grid was not read in one pass; the same place in the other passes stands in, scaled to this pass.",
)
REPEATED = FlagMeaning(
    "repeated reading",
    "note",
    "A place of the grid was read more than once in one pass; the mean of the readings is used.",
)
FLAGS = (MISSING, REPEATED)
TIME_NAMES = ("time", "timestamp", "date", "datetime", "date time", "clock", "elapsed", "elapsed time")
TOLD = 5  # cells with the same fault that are told one by one
MOST = 10**6  # no plan has so many points, and no traverse so many passes


def table_of(columns: Any, name: str) -> Table:
    """A table that a record held in Python has in place of a file's name.

    Parameters
    ----------
    columns : mapping of header to column, or pandas frame
        Headers as in a CSV file, the unit in brackets; a NaN or None is a blank cell.
    name : str
        What to call it in faults.

    Raises
    ------
    InputError
        If the columns differ in length, or are no table.

    Notes
    -----
    It is written as CSV and read back, so that a table in memory gets the very checks that a file gets.
    """
    held: dict[str, list[Any]] = {}
    for header, column in columns.items():
        if isinstance(column, (str, bytes)) or not hasattr(column, "__iter__"):
            read = f"{column!r} in {str(header)!r}"
            raise InputError(Fault(name, read, "columns: a list, an array or a series each", "Write [ ] around it."))
        held[str(header)] = list(column)
    lengths = {header: len(column) for header, column in held.items()}
    if len(set(lengths.values())) > 1:
        said = ", ".join(f"{n} in {header!r}" for header, n in lengths.items())
        raise InputError(Fault(name, said, "columns of one length", "Fill the gaps with None, or cut the longer ones."))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(held)
    for row in zip(*held.values(), strict=True):
        writer.writerow("" if _is_blank(cell) else cell for cell in row)
    return parse_table(text.getvalue(), name)


def _is_blank(cell: Any) -> bool:
    """None, NaN, and what pandas has in place of them, of which nothing is true or false."""
    try:
        return cell is None or bool(cell != cell)
    except TypeError:
        return True
    except ValueError:  # a whole array
        return False


def find_column(table: Table, wanted: str) -> Header | None:
    """The column of a field, by its own name or by the header the record gives."""
    for header in table.headers:
        if wanted in (header.raw, header.name) or wanted.casefold() == header.name.casefold():
            return header
    return None


DAY = 86400.0  # s


def time_column(table: Table) -> Header | None:
    """The column that gives the time, by its name or its unit; a date that is the same all along does not.

    A clock goes before dates alone, which change at midnight only: it counts on over midnight by itself. Where none can
    be read, the first that cannot: its faults are then told.
    """
    unreadable = dates = None
    likely = [
        h for h in table.headers if h.name.casefold() in TIME_NAMES or (h.unit and "time" in units.kinds_of(h.unit))
    ]
    for header in likely:
        seconds, _, faults = table.time(header.raw)
        if not faults and len(seconds) and np.nanmax(seconds) > np.nanmin(seconds):
            if not header.unit and np.all(np.isnan(seconds) | (seconds % DAY == 0.0)):
                dates = dates or header
                continue
            return header
        unreadable = unreadable or (header if faults else None)
    return dates or unreadable


def second_columns(table: Table, used: Sequence[Header], left: Sequence[Header]) -> list[Fault]:
    """Faults for columns that are left over and called as one that is used: in another unit, most likely."""
    twice = [h for h in left if any(h.name.casefold() == u.name.casefold() for u in used)]
    return [
        Fault(f"{table.name}, header {quoted(h.raw)}", f"a second column {quoted(h.name)}", "one column a field",
              "Rename one of the two.")
        for h in twice
    ]  # fmt: skip


def missing_column(table: Table, wanted: str, help_: str, key: str = "") -> Fault:
    """A column that is not there; `key` is the name by which the record may point to another header."""
    heads = ", ".join(quoted(h.raw) for h in table.headers)
    named = {h.name: h.raw for h in table.headers}
    near = [named[name] for name in difflib.get_close_matches(wanted, named, n=1, cutoff=0.5)]
    remedy = f"Rename the header {quoted(near[0])}" if near else "Rename the header that it stands under"
    if key:
        shown_key = key if key.isidentifier() else f'"{key}"'
        remedy += f', or say in the record: columns = {{ {shown_key} = "{near[0] if near else "the header"}" }}'
    return Fault(f"{table.name}, header", f"the columns {heads}", f"a column {quoted(wanted)}, {help_}", f"{remedy}.")


def column_values(
    table: Table, header: Header, declared: Reading, faults: list[Fault], unit: str | None = None
) -> tuple[Array, list[int]] | None:
    """A column in SI, NaN where a cell is blank, and which rows those are; None after a fault.

    The unit stands in the header, or in the record where the header has none.
    """
    spelling = header.unit or unit
    place = f"{table.name}, column {quoted(header.raw)}"
    if not spelling and not units.bare(declared.kind):
        usual = usual_units(declared.kind)
        expected = f"a unit of {declared.kind} in the header, such as '{header.name} [{usual.split(',')[0]}]'"
        faults.append(Fault(place, "no unit", expected, f"Add the unit in square brackets: {usual}."))
        return None
    try:
        scale, offset = units.factor(spelling or "1", declared.kind)
    except ValueError as error:
        faults.append(unreadable(place, spelling or "", f"a unit of {declared.kind}", error))
        return None
    numbers, blanks, found = table.numbers(header.raw)
    faults.extend(found)
    values = scale * numbers + offset
    with np.errstate(invalid="ignore"):
        beyond = np.flatnonzero((values < declared.low) | (values > declared.high))
    said = bounds_in_words(declared, declared.kind, spelling or "")
    faults += cell_faults(table, header, beyond, said, "Check the reading, and the unit in the header.")
    if found or beyond.size:
        return None
    return values, blanks


def column_item(
    table: Table, header: Header, declared: Reading, path: str, run: str, faults: list[Fault]
) -> Item | None:
    """A column with a reading in every row as one item; None after a fault."""
    read = column_values(table, header, declared, faults)
    if read is None:
        return None
    values, blanks = read
    faults += cell_faults(table, header, blanks, "a reading in every row", "Fill the cell, or remove the row.")
    if blanks:
        return None
    return Item(declared, values, f"{table.name}, column {quoted(header.raw)}", path, header.unit or "", run=run)


def cell_faults(
    table: Table, header: Header, rows: Sequence[int] | NDArray[np.intp], expected: str, remedy: str
) -> list[Fault]:
    """The same fault of several cells of a column, the first of them told one by one."""

    def fault(row: int) -> Fault:
        cell = table.cell(row, header.raw)
        return Fault(_at(table, row, header), quoted(cell) if cell else "nothing", expected, remedy)

    where = f"{table.name}, column {quoted(header.raw)}"
    rest = f"and {len(rows) - TOLD} more"
    return listed([fault(int(row)) for row in rows[: TOLD + 1]], where, rest, TOLD)


def row_faults(table: Table, rows: Sequence[int], expected: str, remedy: str) -> list[Fault]:
    """The same fault of several whole rows, the first of them told one by one."""
    each = [Fault(f"{table.name}, row {table.row_number(i)}", "nothing", expected, remedy) for i in rows[: TOLD + 1]]
    return listed(each, table.name, f"and {len(rows) - TOLD} more", TOLD)


@dataclass
class Grid:
    """Readings of a grid, in the order of the layout's points.

    Attributes
    ----------
    values : dict of str to array, shape (passes, points)
    units : dict of str to str
    findings : list of Finding
    """

    values: dict[str, Array]
    units: dict[str, str]
    findings: list[Finding] = field(default_factory=list)


def read_grid(
    table: Table,
    layout: Layout,
    wanted: Sequence[Reading],
    columns: Mapping[str, str],
    faults: list[Fault],
) -> Grid | None:
    """One line a reading, to arrays of passes by points.

    Every point of the layout is read in every pass. A blank cell is a missing reading: it is filled from the other
    passes where there are any, and a fault otherwise. Positions written in the file are compared with the layout's.
    """
    before = len(faults)
    numbering = {}
    for key in ("pass", *layout.keys):
        header = find_column(table, key)
        if header is None:
            if key != "pass":
                faults.append(missing_column(table, key, "which numbers the points from 1"))
            continue
        numbers, _, found = table.numbers(header.raw)
        faults.extend(found)
        odd = np.flatnonzero(~(numbers == np.floor(numbers)) | (np.abs(numbers) > MOST))
        if not found:
            faults += cell_faults(table, header, odd, "a whole number from 1", "Number the point.")
        if not odd.size:
            numbering[key] = numbers.astype(int)
    readings: dict[str, tuple[Array, Header]] = {}
    known = {"pass", *layout.keys, *layout.positions}
    used: set[str] = set()
    for declared in wanted:
        name = columns.get(declared.name, declared.name)
        header = find_column(table, name)
        if header is None:
            if declared.name in columns or declared.required:
                faults.append(missing_column(table, name, opening(declared.help), declared.name))
            continue
        used.add(header.raw)
        read = column_values(table, header, declared, faults)
        if read is not None:
            readings[declared.name] = (read[0], header)
    if not readings and len(faults) == before:
        names = [r.name for r in wanted]
        faults.append(missing_column(table, " or ".join(names), "the reading itself", names[0]))
    if len(faults) > before:
        return None
    for header in table.headers:
        if header.raw not in used and header.name.casefold() not in known and header.name.casefold() != "note":
            place = f"{table.name}, column {quoted(header.raw)}"
            said = f"only the columns {', '.join(sorted(known))}, {', '.join(r.name for r in wanted)} and note"
            remedy = "Remove the column, name it 'note', or say under columns in the record which field it is."
            faults.append(Fault(place, "a column that is no field", said, remedy))
    if len(faults) > before:
        return None

    index = {point: i for i, point in enumerate(layout.points)}
    passes = numbering.get("pass", np.ones(len(table), dtype=int))
    numbers_of_passes = sorted(set(passes.tolist()))
    order = {number: i for i, number in enumerate(numbers_of_passes)}
    slot = np.full((len(table), 2), -1)
    off = []
    for i, key_values in enumerate(zip(*(numbering[k] for k in layout.keys), strict=True)):
        point = index.get(tuple(int(v) for v in key_values))
        if point is None:
            said = ", ".join(f"{k} {v}" for k, v in zip(layout.keys, key_values, strict=True))
            last = layout.place(-1)
            remedy = "Correct the numbers here, or how many points the record says there are."
            where = f"{table.name}, row {table.row_number(i)}"
            off.append(Fault(where, said, f"a point of the plan, up to {last}", remedy))
            continue
        slot[i] = order[int(passes[i])], point
    faults += listed(off, table.name, most=TOLD)
    if not off:  # else the positions belong to another plan
        _check_positions(table, layout, slot, faults)
    if len(faults) > before:
        return None

    grid = Grid({}, {})
    shape = (len(numbers_of_passes), len(layout))
    for name, (values, header) in readings.items():
        total, count, lines = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        np.add.at(lines, (slot[:, 0], slot[:, 1]), 1)
        present = ~np.isnan(values)
        np.add.at(total, (slot[present, 0], slot[present, 1]), values[present])
        np.add.at(count, (slot[present, 0], slot[present, 1]), 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            filled = total / count
        again = [f"{layout.place(point)}, pass {numbers_of_passes[p]}" for p, point in np.argwhere(count > 1)]
        if again and name != "monitor":
            grid.findings.append(Finding(REPEATED, f"{table.name}: {'; '.join(again[:5])}"))
        _fill(filled, table, layout, numbers_of_passes, name, grid, faults)
        grid.values[name] = filled
        grid.units[name] = header.unit or ""
    return grid if len(faults) == before else None


def _at(table: Table, row: int, header: Header) -> str:
    return f"{table.name}, row {table.row_number(row)}, column {quoted(header.raw)}"


def _check_positions(table: Table, layout: Layout, slot: Array, faults: list[Fault]) -> None:
    declared = Reading("position", "", kind="length")
    for name, planned in layout.positions.items():
        for header in table.headers:
            if header.name.casefold() != name:
                continue
            read = column_values(table, header, declared, faults)
            if read is None:
                continue
            extent = layout.extent[name]
            off = []
            for i in np.flatnonzero(slot[:, 1] >= 0):
                value, plan = read[0][i], planned[int(slot[i, 1])]
                if np.isnan(value):
                    continue
                shown = f"{float(units.from_si(plan, header.unit or 'm', 'length')):.4g} {header.unit}"
                if not 0.0 <= value <= extent:
                    expected = f"a place inside the duct; this point belongs at {shown}"
                    remedy = "Correct the position, or the size of the duct in the record."
                elif abs(value - plan) > 0.02 * extent:
                    expected = f"the planned position, {shown}, within 2 % of the duct"
                    remedy = (
                        "The rule holds at its own points: move the probe, or correct the number or the duct's size."
                    )
                else:
                    continue
                read_here = quoted(table.cell(int(i), header.raw))
                off.append(Fault(_at(table, int(i), header), read_here, expected, remedy))
            faults += listed(off, f"{table.name}, column {quoted(header.raw)}", most=TOLD)


def _fill(
    values: Array, table: Table, layout: Layout, passes: list[int], name: str, grid: Grid, faults: list[Fault]
) -> None:
    """Missing readings from the same place in the other passes, scaled by what else the passes have in common."""
    holes = np.argwhere(np.isnan(values))
    if not holes.size:
        return
    if len(holes) == values.size:
        many = f"no {name} at any of its {values.size} places"
        faults.append(Fault(table.name, many, "a reading at every point of the plan", "Fill the column in."))
        return
    with np.errstate(invalid="ignore"):
        known = ~np.isnan(values)
    filled = values.copy()
    gone, never = [], []
    for p, point in holes:
        others = known[:, point]
        said = layout.place(point)
        if not np.any(others):
            if said not in never:
                never.append(said)
            continue
        gone.append(f"{said}, pass {passes[p]}")
        both = known[p] & np.all(known[others], axis=0)
        level = np.mean(values[p, both]) / np.mean(values[others][:, both]) if np.any(both) else 1.0
        filled[p, point] = np.mean(values[others, point]) * level
    many = " in any pass" if len(passes) > 1 else ""
    remedy = "Read the point and add its line, or change the plan."
    holes_said = [Fault(table.name, f"no {name} at {said}{many}", "a reading at every point", remedy) for said in never]
    faults += listed(holes_said, table.name, most=TOLD)
    if not gone:
        return
    values[:] = filled
    grid.findings.append(
        Finding(MISSING, f"{table.name}: no {name} at {'; '.join(gone)}; filled from the other passes")
    )
