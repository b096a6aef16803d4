"""CSV text as loggers write it: delimiter, decimal sign and header found, every odd cell named by line and column."""

from __future__ import annotations

import csv
import hashlib
import re
import sys
from array import array
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from flowrig.errors import Fault, InputError
from flowrig.records.csv_cells import (
    BACKWARDS,
    NUMBER,
    SECONDS,
    THOUSANDS,
    TIME_KINDS,
    cell_remedy,
    clock,
    decimal_sign,
    floats,
    stamp,
    time_kind,
)
from flowrig.records.csv_layout import (
    CELL_LIMIT,
    CsvRecord,
    find_encoding,
    find_layout,
    headings,
    long_cell,
    read_records,
)
from flowrig.records.csv_layout import (
    Header as Header,
)
from flowrig.records.files import LISTED, listed, near_name, quoted, read_bytes

CSV_LIMIT = 512 * 1024 * 1024  # bytes
_BLOCK = 64  # rows held before they go to their columns; a thousand took twice as long

# ---------------------------------------------------------------- what a table is


class Numbers(NamedTuple):
    """A column: ``values`` (n,), NaN where blank or bad; rows of the ``blanks``, from 0; ``faults`` of bad cells."""

    values: NDArray[np.float64]
    blanks: list[int]
    faults: list[Fault]


class Table:
    """A CSV file as read; its rows are those below the header, counted from 0.

    Attributes
    ----------
    name, digest : str
        The file name to show; SHA-256 of the bytes, in hexadecimal.
    headers : list of Header
    delimiter : str
    decimal : str
        ``,`` where the delimiter is another sign and more numbers hold a comma than a point; otherwise a point.
    notes : list of str
        What was understood rather than read: an encoding, a row of units, a last line without its end.
    """

    def __init__(
        self,
        name: str,
        digest: str,
        headers: list[Header],
        columns: list[list[str]],
        lines: Sequence[int],
        delimiter: str,
        notes: list[str],
    ) -> None:
        self.name, self.digest, self.headers, self.delimiter = name, digest, headers, delimiter
        self._columns, self._lines = columns, lines
        self.decimal, doubtful = decimal_sign(columns, delimiter)
        self._doubtful = re.compile(rf"[-+]?[1-9]\d{{0,2}}\{self.decimal}\d{{3}}") if doubtful else None
        doubt = f"{self.decimal!r} read as the decimal sign, not as a thousands mark"
        self.notes = [*notes, doubt] if doubtful else notes

    def __len__(self) -> int:
        return len(self._lines)

    def only(self, rows: Sequence[int]) -> Table:
        """The same file with some of its rows, which keep their line numbers and the decimal sign of the whole."""
        columns = [[column[row] for row in rows] for column in self._columns]
        lines = [self._lines[row] for row in rows]
        some = Table(self.name, self.digest, self.headers, columns, lines, self.delimiter, [])
        some.decimal, some._doubtful, some.notes = self.decimal, self._doubtful, self.notes
        return some

    def header(self, name: str) -> Header:
        """The heading called ``name``, with or without its unit.

        Raises
        ------
        InputError
            There is none, or several share the name and differ in the unit.
        """
        wanted = " ".join(name.split())
        found = [h for h in self.headers if h.raw and wanted == h.raw] or [
            h for h in self.headers if h.name and wanted == h.name
        ]
        if len(found) == 1:
            return found[0]
        known = [h.raw for h in self.headers if h.raw]
        near = near_name(wanted, known) or near_name(wanted, [h.name for h in self.headers])
        remedy = f"Did you mean {quoted(near)}?" if near else "Use one of them, or check the file."
        if found:
            remedy = f"Write which: {' or '.join(quoted(h.raw) for h in found)}."
        read = "the columns " + ", ".join(quoted(raw) for raw in known)
        raise InputError(Fault(f"{self.name}, header", read, f"one column {quoted(wanted)}", remedy))

    def cell(self, row: int, column: str | int) -> str:
        """Text of one cell, without the spaces round it; ``column`` by name, or by index from 0."""
        index = column if isinstance(column, int) else self.header(column).column_number - 1
        return self._columns[index][row].strip()

    def column(self, name: str) -> list[str]:
        """Text of a column's cells, without the spaces round them."""
        return [cell.strip() for cell in self._columns[self.header(name).column_number - 1]]

    def row_number(self, row: int) -> int:
        """Line of the file, from 1, on which a row begins."""
        return self._lines[row]

    def where(self, row: int, name: str) -> str:
        """``0412.csv, row 17, 'nozzle drop [Pa]'``, the row being the file's line."""
        return f"{self.name}, row {self.row_number(row)}, {quoted(self.header(name).raw)}"

    def numbers(self, name: str) -> Numbers:
        """A column as numbers, in the unit of its heading.

        Parameters
        ----------
        name : str
            The column, with or without its unit.

        Returns
        -------
        Numbers
            Blank cells are NaN and listed in ``blanks``; a cell that is no number is NaN and has a fault.

        Raises
        ------
        InputError
            There is no such column.
        """
        column = self.column(name)
        values = floats(column, self.decimal)
        blanks = [row for row, cell in enumerate(column) if not cell] if values is None or "" in column else []
        if values is None:
            whole = re.compile(NUMBER.replace(".", re.escape(self.decimal)))
            values = np.full(len(column), np.nan)
            for row, cell in enumerate(column):
                if whole.fullmatch(cell):
                    values[row] = float(cell.replace(",", "."))
            values[np.isinf(values)] = np.nan
        bad = np.setdiff1d(np.flatnonzero(np.isnan(values)), blanks).tolist()
        expected = "a number" if self.decimal == "." else "a number with a decimal comma, as elsewhere in the file"
        faults = self._cell_faults(name, column, bad, expected)
        if self._doubtful and any(re.fullmatch(r"[-+]?[1-9]\d{0,2}", cell) for cell in column):
            # 980, 1,020 and no 0,98 or 98,5 anywhere: thousands, by the look of it, and a factor of 1000 at stake.
            marked = [row for row, cell in enumerate(column) if self._doubtful.fullmatch(cell)]
            values[marked] = np.nan
            faults += self._cell_faults(name, column, marked, "a number that can be read in one way only", THOUSANDS)
        return Numbers(values, blanks, faults)

    def time(self, name: str) -> Numbers:
        """A column of times as seconds since its first one.

        Parameters
        ----------
        name : str
            A column of ISO timestamps (``2026-08-21 12:00:00``) or ``21.08.2026 12:00:00``, of ``HH:MM:SS`` (midnight
            may fall within), or of plain numbers in s, or in ms, min, h or d where the heading says so. One kind only.

        Returns
        -------
        Numbers
            ``values`` in seconds. [s] A time before the one above it has a fault.

        Raises
        ------
        InputError
            There is no such column.
        """
        column, header = self.column(name), self.header(name)
        kinds = Counter(kind for cell in column if cell and (kind := time_kind(cell)) != "text")
        kind = kinds.most_common(1)[0][0] if kinds else "text"
        if kind == "number":
            values, blanks, faults = self.numbers(name)
            scale = SECONDS.get((header.unit or "s").casefold())
            if scale is None:
                remedy = "Give the unit of time in the heading."
                where = f"{self.name}, header, {quoted(header.raw)}"
                faults = [Fault(where, quoted(str(header.unit)), "s, ms, min, h or d", remedy), *faults]
            values = values * (scale or np.nan)
        else:
            read = clock if kind == "clock" else stamp
            values = np.array([read(cell) if cell and time_kind(cell) == kind else np.nan for cell in column])
            blanks = [row for row, cell in enumerate(column) if not cell]
            bad = np.setdiff1d(np.flatnonzero(np.isnan(values)), blanks).tolist()
            faults = self._cell_faults(name, column, bad, TIME_KINDS[kind])
        known = np.flatnonzero(~np.isnan(values))
        steps = np.diff(values[known])
        if kind == "clock":
            steps[steps < -43200.0] += 86400.0
            values[known[1:]] = values[known[:1]] + np.cumsum(steps)
        back = known[1:][steps < 0].tolist()
        faults += self._cell_faults(name, column, back, "a time not before the one above", BACKWARDS)
        return Numbers(values - (values[known[0]] if len(known) else 0.0), blanks, faults)

    def _cell_faults(
        self, name: str, column: list[str], rows: list[int], expected: str, remedy: str | None = None
    ) -> list[Fault]:
        def fault(row: int) -> Fault:
            cell = column[row]
            return Fault(self.where(row, name), quoted(cell), expected, remedy or cell_remedy(cell, self.decimal))

        told = [fault(row) for row in rows[: LISTED + 1]]
        return listed(told, f"{self.name}, {quoted(self.header(name).raw)}", rest=f"and {len(rows) - LISTED} more")


# ---------------------------------------------------------------- reading


def read_table(path: str | Path, limit_rows: int | None = None, name: str | None = None) -> Table:
    """Read a CSV file.

    Parameters
    ----------
    path : str or Path
        The file.
    limit_rows : int, optional
        Stop after so many rows below the header.
    name : str, optional
        The name to show in faults; the file's own name, without its folder, when left out.

    Raises
    ------
    InputError
        The file cannot be read or is no table: every fault found in its shape.
    """
    path, shown = Path(path), name or str(path)
    name = name or path.name or shown
    return _table(read_bytes(path, name, CSV_LIMIT, shown), name, limit_rows)


def parse_table(text: str, name: str = "text") -> Table:
    """`read_table` for text in memory."""
    return _table(text.encode("utf-8", "surrogatepass"), name, None)


def inside(folder: str | Path, relative: str, where: str) -> Path:
    """The file that a record calls ``relative``, which must lie in the record's own ``folder`` or below it.

    Raises
    ------
    InputError
        At ``where``: the name is absolute, has a backslash or an invisible character, or leads out of the folder.
    """
    expected = "the name of a file in the record's own folder, or below it"
    root = Path(folder).resolve()
    try:
        path = (root / relative).resolve()
    except (OSError, RuntimeError, ValueError):  # a symbolic link that leads to itself; a NUL in the name
        path = root.parent
    absolute = relative.startswith(("/", "~")) or re.match(r"[A-Za-z]:", relative) is not None
    remedy = ""
    if absolute or not relative.strip() or path == root or not path.is_relative_to(root):
        remedy = "Copy the file beside the record and write its name alone."
    if not relative.isprintable():
        remedy = f"A backslash in double quotes starts an escape. {remedy or 'Write / between folders.'}"
    elif not remedy and "\\" in relative:
        remedy = f"Write {quoted(relative.replace(chr(92), '/'))}."
    if remedy:
        raise InputError(Fault(where, quoted(relative), expected, remedy))
    return path


def _table(data: bytes, name: str, limit_rows: int | None) -> Table:
    encoding, notes = find_encoding(data, name)
    before = csv.field_size_limit(CELL_LIMIT)  # the csv module keeps one limit for the whole process
    try:
        return _shape(data, encoding, name, limit_rows, notes)
    finally:
        csv.field_size_limit(before)


def _shape(data: bytes, encoding: str, name: str, limit_rows: int | None, notes: list[str]) -> Table:
    layout = find_layout(data, encoding, name)
    headers, faults = headings(layout, name)
    width = len(headers)
    most = layout.width if layout.delimiter == "," else sys.maxsize
    columns: list[list[str]] = [[] for _ in headers]
    lines, misfits, block = array("q"), array("q"), []
    cut = not data.endswith((b"\n", b"\r", b"\n\0", b"\r\0"))
    last: CsvRecord = (0, [])
    for line, cells in read_records(data, encoding, layout.delimiter):
        if line <= layout.last:
            continue
        if limit_rows is not None and len(lines) >= limit_rows:
            cut = False
            break
        last = line, cells
        if isinstance(cells, csv.Error):
            faults.append(_unread(f"{name}, row {line}", cells))
            if "limit" in str(cells):  # what follows is the rest of that cell
                break
            continue
        if len(cells) != width:
            if not any(map(str.strip, cells)):
                cells = [""] * width
            elif len(cells) < width or len(cells) > most or any(map(str.strip, cells[width:])):
                # among commas even a blank one too many may be a number cut in two: 183,1,
                faults.append(_misfit(f"{name}, row {line}", cells, width, layout.delimiter))
                misfits.append(len(cells))
                continue
        lines.append(line)
        block.append(cells[:width])
        if len(block) == _BLOCK:
            _move(block, columns)
    _move(block, columns)
    if not lines and len(misfits) == len(faults) > 5 and len(set(misfits)) == 1:
        faults = [_misnamed(f"{name}, row {layout.line}", misfits[0], width, layout.delimiter)]
    elif cut and isinstance(last[1], list) and len(last[1]) < width and any(map(str.strip, last[1])):
        faults[-1] = Fault(
            faults[-1].where,
            f"{faults[-1].read}, and no line end after it",
            faults[-1].expected,
            "The file seems cut off: copy it from the logger again, or delete this last line.",
        )
    elif cut:
        notes.append("no line end after the last row: if the file was cut off, its last number may be short of digits")
    while lines and not any(column[-1].strip() for column in columns):
        lines.pop()
        for column in columns:
            column.pop()
    if not lines and not faults:
        remedy = "Check that the logger saved them."
        faults.append(Fault(f"{name}, row {layout.line}", "a header without rows", "rows of readings", remedy))
    if faults:
        raise InputError(listed(faults, name))
    if layout.above:
        notes.append(f"{layout.above} lines above the header passed over")
    if layout.units:
        notes.append(f"row {layout.last} read as the columns' units")
    return Table(name, hashlib.sha256(data).hexdigest(), headers, columns, lines, layout.delimiter, notes)


def _move(block: list[list[str]], columns: list[list[str]]) -> None:
    for column, cells in zip(columns, zip(*block, strict=True), strict=False):
        column.extend(cells)
    block.clear()


def _unread(where: str, problem: csv.Error) -> Fault:
    if "limit" in str(problem):
        return long_cell(where)
    if "end of data" in str(problem):
        remedy = "Close it; if the file seems cut off, copy it from the logger again."
        return Fault(where, "a quote not closed before the end of the file", "quotes in pairs", remedy)
    remedy = "Remove the quote, or write it twice where it is part of the text."
    return Fault(where, "a quote with more text after it", "quotes round a whole cell", remedy)


def _misnamed(where: str, cells: int, width: int, delimiter: str) -> Fault:
    """No row fits the header: it is the header that is wrong, or the number of columns that the rows seem to have."""
    remedy = f"Check the header for a {quoted(delimiter)} too many or too few."
    if delimiter == "," and cells > width:
        remedy += " If the numbers have decimal commas, save the file with semicolons between the cells."
    return Fault(where, f"{width} names above rows of {cells} cells each", "a name for each column", remedy)


def _misfit(where: str, cells: list[str], width: int, delimiter: str) -> Fault:
    few = len(cells) < width
    read = f"{len(cells)} cell{'s' * (len(cells) != 1)}, {quoted(delimiter.join(cells))}"
    remedy = "Add what is missing, or leave blank cells for it." if few else "Remove what is too much."
    if not few and delimiter == ",":
        remedy += " If they are decimal commas, save the file with semicolons between the cells."
    if any("\n" in cell for cell in cells):
        remedy = "A quote opened here takes in the lines below it: close it."
    return Fault(where, read, f"{width}, as in the header", remedy)
