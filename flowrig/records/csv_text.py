"""CSV text as loggers write it: delimiter, decimal sign and header found, every odd cell named by line and column."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from array import array
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from flowrig.errors import Fault, InputError
from flowrig.records.toml_text import LISTED, encoding_faults, listed, near_name, quoted, read_bytes

CSV_LIMIT = 512 * 1024 * 1024  # bytes
CELL_LIMIT = 1024 * 1024  # characters; what is longer is no reading, but a quote or a line end gone missing
_SAMPLE = 200  # records looked at to find the delimiter and the header
_BLOCK = 64  # rows held before they go to their columns; a thousand took twice as long

# ---------------------------------------------------------------- what a table is


@dataclass(frozen=True)
class Header:
    """One column's heading: ``nozzle drop [Pa]`` is the name ``nozzle drop`` and the unit ``Pa``.

    Attributes
    ----------
    name : str
        The heading without its unit.
    unit : str or None
        As spelled in the heading, or in a row of units below it; None where there is none.
    column_number : int
        Counted from 1.
    raw : str
        The heading as written.
    """

    name: str
    unit: str | None
    column_number: int
    raw: str


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
        self.decimal, doubtful = _decimal(columns, delimiter)
        self._doubtful = re.compile(rf"[-+]?[1-9]\d{{0,2}}\{self.decimal}\d{{3}}") if doubtful else None
        doubt = f"{self.decimal!r} read as the decimal sign, not as a thousands mark"
        self.notes = [*notes, doubt] if doubtful else notes

    def __len__(self) -> int:
        return len(self._lines)

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
        values = _floats(column, self.decimal)
        blanks = [row for row, cell in enumerate(column) if not cell] if values is None or "" in column else []
        if values is None:
            whole = re.compile(_NUMBER.replace(".", re.escape(self.decimal)))
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
            faults += self._cell_faults(name, column, marked, "a number that can be read in one way only", _THOUSANDS)
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
        kinds = Counter(kind for cell in column if cell and (kind := _time_kind(cell)) != "text")
        kind = kinds.most_common(1)[0][0] if kinds else "text"
        if kind == "number":
            values, blanks, faults = self.numbers(name)
            scale = _SECONDS.get((header.unit or "s").casefold())
            if scale is None:
                remedy = "Give the unit of time in the heading."
                where = f"{self.name}, header, {quoted(header.raw)}"
                faults = [Fault(where, quoted(str(header.unit)), "s, ms, min, h or d", remedy), *faults]
            values = values * (scale or np.nan)
        else:
            read = _clock if kind == "clock" else _stamp
            values = np.array([read(cell) if cell and _time_kind(cell) == kind else np.nan for cell in column])
            blanks = [row for row, cell in enumerate(column) if not cell]
            bad = np.setdiff1d(np.flatnonzero(np.isnan(values)), blanks).tolist()
            faults = self._cell_faults(name, column, bad, _TIME_KINDS[kind])
        known = np.flatnonzero(~np.isnan(values))
        steps = np.diff(values[known])
        if kind == "clock":
            steps[steps < -43200.0] += 86400.0
            values[known[1:]] = values[known[:1]] + np.cumsum(steps)
        back = known[1:][steps < 0].tolist()
        faults += self._cell_faults(name, column, back, "a time not before the one above", _BACK)
        return Numbers(values - (values[known[0]] if len(known) else 0.0), blanks, faults)

    def _cell_faults(
        self, name: str, column: list[str], rows: list[int], expected: str, remedy: str | None = None
    ) -> list[Fault]:
        def fault(row: int) -> Fault:
            cell = column[row]
            return Fault(self.where(row, name), quoted(cell), expected, remedy or _cell_remedy(cell, self.decimal))

        told = [fault(row) for row in rows[: LISTED + 1]]
        return listed(told, f"{self.name}, {quoted(self.header(name).raw)}", rest=f"and {len(rows) - LISTED} more")


# ---------------------------------------------------------------- cells

_NUMBER = r"[-+]?(?:[0-9]+.?[0-9]*|.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_POINT_NUMBER = re.compile(_NUMBER.replace(".", r"[.,]"))
_CLOCK = re.compile(r"([0-9]{1,4}):([0-5][0-9]):([0-5][0-9](?:[.,][0-9]+)?)")
_STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[T ].*)?|[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{4}(?:[T ].*)?")
_OFFSET = re.compile(r":[0-9.,]+ ?(?:Z|[+-][0-9:]+)$")
_TIME_KINDS = {
    "number": "a number, as in the rest of the column",
    "clock": "HH:MM:SS, as in the rest of the column",
    "zoned": "year-month-day HH:MM:SS and an offset from UTC, as in the rest of the column",
    "stamp": "year-month-day HH:MM:SS without an offset from UTC, as in the rest of the column",
    "text": "a time: year-month-day HH:MM:SS, or HH:MM:SS, or seconds",
}
_BACK = "Check the logger's clock (was it set, or put back an hour?) and correct the times."
_SECONDS = {"s": 1.0, "sec": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "hr": 3600.0, "d": 86400.0}
_THOUSANDS = "Write the number without a mark between the thousands."
_CELL_REMEDIES = [
    (r"[-+]?[\d.,]+[eE][-+]?\d+", "Check the exponent."),
    (r"[-+]?[\dOo.,]*[Oo][\dOo.,]*", "Check for a letter O in place of a zero."),
    (r"[-+]?[\dIl|.,]*[Il|][\dIl|.,]*", "Check for a letter I or l in place of a one."),
    (r"(?i)[-+]?(?:nan|inf|infinity|n/?a|null|none|-+|err\w*|#.*)", "Leave the cell blank where nothing was read."),
    (r"(?i)o\.?l\.?|over\w*|under\w*|[<>].*", "The meter was out of range: take it again, or leave the cell blank."),
    (r"[-+]?\d{1,3}(?:[ '’\u00a0\u202f]\d{3})+(?:[.,]\d*)?", _THOUSANDS),
    (r"[-+]?\d{1,3}(?:,\d{3})+\.\d*|[-+]?\d{1,3}(?:\.\d{3})+,\d*", _THOUSANDS),
    (r"[−–‒]\s*[\d.,]+", "Write the minus sign as a plain hyphen."),
    (r"[-+]?\d+[.,]\d+[.,][\d.,]*", "Check for a second decimal sign."),
    (r"[-+]?[\d.,]+\s*(?:[^\W\d_]|[%°]).*", "Write the unit in the heading, in square brackets, not here."),
    (r"\d{1,2}:\d{2}", "Write hours, minutes and seconds: 12:05:00."),
    (r"\d{1,2}[/-]\d{1,2}[/-]\d{2,4}.*", "Write the date as year-month-day: day and month cannot be told apart."),
]


def _cell_remedy(cell: str, decimal: str) -> str:
    if re.fullmatch(r"[-+]?\d*,\d+", cell) and decimal == ".":
        return "Write a decimal point: a comma may be a decimal sign or a mark between thousands."
    if re.fullmatch(r"[-+]?\d*\.\d+", cell) and decimal == ",":
        return "Write a decimal comma: a point may be a decimal sign or a mark between thousands."
    return next((remedy for slip, remedy in _CELL_REMEDIES if re.fullmatch(slip, cell)), "Correct the cell.")


def _floats(column: list[str], decimal: str) -> NDArray[np.float64] | None:
    """The whole column at once; None if any cell needs a closer look."""
    # float() alone would take '1_000', 'nan' and 'infinity', and a point among decimal commas.
    text = "\n".join(column)
    if not re.fullmatch(rf"[0-9eE+\-\{decimal}\n]*", text) or text.count("\n") >= max(len(column), 1):
        return None
    cells = text.replace(",", ".").split("\n")
    try:
        values = np.array([cell or "nan" for cell in cells] if "" in cells else cells, dtype=np.float64)
    except ValueError:
        return None
    return None if np.isinf(values).any() else values


def _decimal(columns: list[list[str]], delimiter: str) -> tuple[str, bool]:
    """The decimal sign, and whether every number that holds it could be one with a mark between thousands."""
    if delimiter == ",":
        return ".", False
    texts = ["\n".join(column) for column in columns]
    number = {sign: re.compile(rf"^[ \t]*[-+]?\d+\{sign}\d+(?:[eE][-+]?\d+)?[ \t]*$", re.M) for sign in ",."}
    held = [sign for sign in ",." if any(sign in text and number[sign].search(text) for text in texts)]
    if len(held) == 2:
        counts = {sign: sum(1 for text in texts for _ in number[sign].finditer(text)) for sign in held}
        held = ["," if counts[","] > counts["."] else "."]
    if not held:
        return ".", False
    plain = re.compile(rf"^[ \t]*[-+]?(?:0\d*|\d{{4,}}|\d+(?!\{held[0]}\d{{3}}[ \t]*$))\{held[0]}\d+[ \t]*$", re.M)
    return held[0], not any(plain.search(text) for text in texts)


def _time_kind(cell: str) -> str:
    if _POINT_NUMBER.fullmatch(cell):
        return "number"
    if _CLOCK.fullmatch(cell):
        return "clock"
    return "text" if not _STAMP.fullmatch(cell) else "zoned" if _OFFSET.search(cell) else "stamp"


def _clock(cell: str) -> float:
    hours, minutes, seconds = cell.replace(",", ".").split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds)


_EPOCH = datetime(2000, 1, 1)


def _stamp(cell: str) -> float:
    day_first = re.match(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", cell)
    if day_first:
        day, month, year = day_first.groups()
        cell = f"{year}-{int(month):02d}-{int(day):02d}{cell[day_first.end() :]}"
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        return float("nan")
    offset = moment.utcoffset()
    moment = moment.replace(tzinfo=None) - offset if offset is not None else moment
    return (moment - _EPOCH).total_seconds()


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
    path = Path(path)
    name = name or path.name or str(path)
    return _table(read_bytes(path, name, CSV_LIMIT), name, limit_rows)


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
    expected = "a file name relative to the record, in its folder or below it"
    if not relative.strip() or not relative.isprintable():
        remedy = "In TOML a backslash in double quotes starts an escape: write / between folders."
        raise InputError(Fault(where, quoted(relative), expected, remedy))
    if "\\" in relative:
        raise InputError(Fault(where, quoted(relative), expected, f"Write {quoted(relative.replace(chr(92), '/'))}."))
    root = Path(folder).resolve()
    try:
        path = (root / relative).resolve()
    except (OSError, RuntimeError):  # a symbolic link that leads to itself
        path = root.parent
    absolute = relative.startswith(("/", "~")) or re.match(r"[A-Za-z]:", relative) is not None
    if absolute or path == root or not path.is_relative_to(root):
        remedy = "Copy the file beside the record and write its name alone."
        raise InputError(Fault(where, quoted(relative), expected, remedy))
    return path


def _table(data: bytes, name: str, limit_rows: int | None) -> Table:
    encoding, notes = _encoding(data, name)
    before = csv.field_size_limit(CELL_LIMIT)  # the csv module keeps one limit for the whole process
    try:
        return _shape(data, encoding, name, limit_rows, notes)
    finally:
        csv.field_size_limit(before)


def _encoding(data: bytes, name: str) -> tuple[str, list[str]]:
    if not re.search(rb"[^\xef\xbb\xbf \t\r\n\0]", data):
        read = "an empty file" if not data else "a file of blanks"
        raise InputError(Fault(name, read, "a header and rows of readings", "Check that the file was saved."))
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            data.decode("utf-16")
        except UnicodeDecodeError as problem:
            where = f"{name}, byte {problem.start + 1}"
            remedy = "The file seems cut off or damaged: copy it again."
            raise InputError(Fault(where, "bytes that are not UTF-16", "UTF-16, as its mark says", remedy)) from None
        return "utf-16", ["read as UTF-16"]
    if b"\0" in data:
        raise InputError(encoding_faults(data, name))
    for start in range(0, len(data) - CELL_LIMIT, CELL_LIMIT):  # before a line of that length is taken apart
        if not _SEPARATOR.search(data, start, start + CELL_LIMIT):
            line = data.count(b"\n", 0, start) + 1
            raise InputError(_long_cell(f"{name}, row {line}"))
    decoder = codecs.getincrementaldecoder("utf-8-sig")()
    try:
        for start in range(0, len(data), CELL_LIMIT):
            decoder.decode(data[start : start + CELL_LIMIT])
        decoder.decode(b"", final=True)
        return "utf-8-sig", []
    except UnicodeDecodeError:
        # A file with some UTF-8 in it is damaged UTF-8; five bytes have no meaning in the Windows encoding.
        if re.search(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\x81\x8d\x8f\x90\x9d]", data):
            raise InputError(encoding_faults(data, name)) from None
        return "cp1252", ["read in the Windows encoding (cp1252), not being UTF-8"]


_SEPARATOR = re.compile(rb"[,;\t|\r\n]")


def _long_cell(where: str) -> Fault:
    remedy = "Check for a quote that is not closed, or line ends that are missing."
    return Fault(where, f"a cell of more than {CELL_LIMIT:,} characters", "a reading", remedy)


_Record = tuple[int, list[str] | csv.Error]


def _records(data: bytes, encoding: str, delimiter: str) -> Iterator[_Record]:
    """Each record with the line it begins on; comment lines and empty lines are passed over."""
    start = 0  # 0: the next line begins a record

    def lines() -> Iterator[str]:
        nonlocal start
        with io.TextIOWrapper(io.BytesIO(data), encoding, newline="") as stream:
            for number, line in enumerate(stream, 1):
                if not start:
                    if line.lstrip().startswith("#"):
                        continue
                    start = number
                yield line

    reader = csv.reader(lines(), delimiter=delimiter, strict=True, skipinitialspace=True)
    while True:
        start = 0
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as problem:
            yield start, problem
            continue
        if cells:
            yield start, cells


@dataclass(frozen=True)
class _Layout:
    delimiter: str
    line: int  # of the header
    cells: list[str]
    units: list[str]
    above: int  # records passed over before the header
    last: int  # line of the header, or of the row of units below it
    fitting: int  # sampled rows as wide as the header


# Words that may stand in a row of units. What they mean is for the table of units to say.
_UNIT = (
    r"(?:[mkhcdnµμu]?(?:Pa|bar|m|g|s|l|L|V|A|W|Hz|K)|(?:deg\s?|°)[CF]|[CFh%#]|%\s?RH|min|hr|d|ft|in|lb|psi|rpm|cfm|fpm"
    r"|mph|ppm|dBA?|dB\(A\)|(?:in|mm)\.?\s?(?:H2O|Hg|w\.?\s?[cg]\.?)|iw[cg]|counts?)(?:\^?[23]|[²³])?"
)
_UNIT_CELL = re.compile(rf"[\[(]?(?:-|(?:1/)?{_UNIT}(?:\s?[/*·]\s?{_UNIT})*|hh?:mm:ss)[\])]?")
_LETTER = re.compile(r"[^\W\d_]|[%°]")


def _layout(data: bytes, encoding: str, delimiter: str) -> _Layout | None:
    """Where the table begins, as this delimiter would have it; None if nothing stands like a header over rows."""
    records = [
        (line, [cell.strip() for cell in cells])
        for line, cells in islice(_records(data, encoding, delimiter), _SAMPLE)
        if not isinstance(cells, csv.Error)
    ]
    sample = [cells for _, cells in records]
    widths = Counter(len(cells) for cells in sample)
    width = max(widths, key=lambda n: (widths[n], n), default=0)
    body = [cells for cells in sample if len(cells) == width]
    tail = body[-len(body) // 3 :]  # the last third, clear of whatever stands above the readings
    # The columns of readings: those with no more text than numbers and times.
    told = [k for k in range(width) if 0 < sum(bool(c[k]) for c in tail) <= 2 * sum(_is_reading(c[k]) for c in tail)]

    def share(cells: list[str]) -> float:
        filled = [cells[k] for k in told if k < len(cells) and cells[k]]
        return sum(map(_is_reading, filled)) / len(filled) if filled else 0.0

    def units(n: int) -> bool:
        cells = sample[n] if n < len(sample) else []
        named = any(_LETTER.search(cells[k]) for k in told if k < len(cells))
        return named and share(cells) == 0.0 and all(_UNIT_CELL.fullmatch(cell) for cell in cells if cell)

    def heading(n: int) -> bool:
        named = any(_LETTER.search(cell) for cell in sample[n])
        return named and share(sample[n]) == 0.0 and (len(sample[n]) > 1 or width == 1)

    if told:
        first = next((n for n, cells in enumerate(sample) if len(cells) == width and share(cells) > 0.5), 0)
        found = [n for n in range(first) if heading(n) and not (units(n) and n and heading(n - 1))][-1:]
        if not found and sample[first : first + 1]:  # sizes of particles as headings: time;0.3;0.5;1.0
            found = [first] * any(cell.isalpha() for cell in sample[first])
    else:
        found = [n for n in range(len(sample)) if heading(n) and len(sample[n]) == width][:1]
    if not found:
        return None
    top = found[0]
    cells = sample[top]
    while cells and not cells[-1]:
        cells = cells[:-1]
    last = top + units(top + 1)
    fitting = sum(len(row) >= len(cells) and not any(row[len(cells) :]) for row in sample[last + 1 :])
    unit_row = [re.sub(r"^[\[(](.*)[\])]$", r"\1", cell) for cell in sample[last]] if last > top else []
    return _Layout(delimiter, records[top][0], cells, unit_row, top, records[last][0], fitting)


def _is_reading(cell: str) -> bool:
    return _time_kind(cell) != "text"


def _find_layout(data: bytes, encoding: str, name: str) -> _Layout:
    # Of equals the first wins: where a semicolon fits, a comma may be a decimal sign.
    layouts = [found for delimiter in ";\t|," if (found := _layout(data, encoding, delimiter)) and len(found.cells) > 1]
    single = [] if layouts else [found for found in [_layout(data, encoding, ";")] if found]
    if not layouts and not single:
        line, cells = next(_records(data, encoding, ";"), (1, []))
        read = quoted(";".join(cells)) if isinstance(cells, list) else str(cells)
        remedy = "Write a line above the readings that names each column: 'nozzle drop [Pa]' (not after a #)."
        raise InputError(Fault(f"{name}, row {line}", read, "a header line above rows of readings", remedy))
    return max(layouts or single, key=lambda found: found.fitting)


def _headers(layout: _Layout, name: str) -> tuple[list[Header], list[Fault]]:
    headers: list[Header] = []
    faults = []
    for number, cell in enumerate(layout.cells, 1):
        raw = " ".join(cell.split())
        parts = re.fullmatch(r"(.*?)\s*\[([^\[\]]*)\]|(.*?)\s+\(((?:[^()]|\([^()]*\))*)\)", raw)
        label, unit = [part for part in parts.groups() if part is not None] if parts else [raw, ""]
        below = layout.units[number - 1] if number <= len(layout.units) else ""
        if unit and below and unit != below:
            where = f"{name}, row {layout.last}, column {number}"
            faults.append(Fault(where, quoted(below), f"{quoted(unit)}, as in the heading", "Correct one of them."))
        if raw and (twin := next((h for h in headers if h.raw == raw), None)):
            where = f"{name}, row {layout.line}, column {number}"
            read = f"{quoted(raw)}, the heading of column {twin.column_number} too"
            faults.append(Fault(where, read, "a heading for each column", "Rename or remove one of the columns."))
        headers.append(Header(label, unit.strip() or below or None, number, raw))
    return headers, faults


def _shape(data: bytes, encoding: str, name: str, limit_rows: int | None, notes: list[str]) -> Table:
    layout = _find_layout(data, encoding, name)
    headers, faults = _headers(layout, name)
    width = len(headers)
    columns: list[list[str]] = [[] for _ in headers]
    lines, block = array("q"), []
    cut = not data.endswith((b"\n", b"\r", b"\n\0", b"\r\0"))
    last: _Record = (0, [])
    for line, cells in _records(data, encoding, layout.delimiter):
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
            elif len(cells) < width or any(map(str.strip, cells[width:])):
                faults.append(_misfit(f"{name}, row {line}", cells, width, layout.delimiter))
                continue
        lines.append(line)
        block.append(cells[:width])
        if len(block) == _BLOCK:
            _move(block, columns)
    _move(block, columns)
    if cut and isinstance(last[1], list) and len(last[1]) < width and any(map(str.strip, last[1])):
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
        return _long_cell(where)
    if "end of data" in str(problem):
        remedy = "Close it; if the file seems cut off, copy it from the logger again."
        return Fault(where, "a quote not closed before the end of the file", "quotes in pairs", remedy)
    remedy = "Remove the quote, or write it twice where it is part of the text."
    return Fault(where, "a quote with more text after it", "quotes round a whole cell", remedy)


def _misfit(where: str, cells: list[str], width: int, delimiter: str) -> Fault:
    few = len(cells) < width
    read = f"{len(cells)} cell{'s' * (len(cells) != 1)}, {quoted(delimiter.join(cells))}"
    remedy = "Add what is missing, or leave blank cells for it." if few else "Remove what is too much."
    if not few and delimiter == ",":
        remedy += " If they are decimal commas, save the file with semicolons between the cells."
    if any("\n" in cell for cell in cells):
        remedy = "A quote opened here takes in the lines below it: close it."
    return Fault(where, read, f"{width}, as in the header", remedy)
