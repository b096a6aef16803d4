"""Where the table begins in a CSV file: its encoding, delimiter, header line and row of units."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from flowrig.errors import Fault, InputError
from flowrig.records.csv_cells import time_kind
from flowrig.records.files import encoding_faults, quoted

CELL_LIMIT = 1024 * 1024  # characters; what is longer is no reading, but a quote or a line end gone missing
_SAMPLE = 200  # records looked at to find the delimiter and the header


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


def find_encoding(data: bytes, name: str) -> tuple[str, list[str]]:
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
            raise InputError(long_cell(f"{name}, row {line}"))
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


def long_cell(where: str) -> Fault:
    remedy = "Check for a quote that is not closed, or line ends that are missing."
    return Fault(where, f"a cell of more than {CELL_LIMIT:,} characters", "a reading", remedy)


CsvRecord = tuple[int, list[str] | csv.Error]


def read_records(data: bytes, encoding: str, delimiter: str) -> Iterator[CsvRecord]:
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
    width: int  # of the header with the blanks behind its last name
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
        for line, cells in islice(read_records(data, encoding, delimiter), _SAMPLE)
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
    cells, width = sample[top], len(sample[top])
    while cells and not cells[-1]:
        cells = cells[:-1]
    last = top + units(top + 1)
    fitting = sum(len(row) >= len(cells) and not any(row[len(cells) :]) for row in sample[last + 1 :])
    unit_row = [re.sub(r"^[\[(](.*)[\])]$", r"\1", cell) for cell in sample[last]] if last > top else []
    return _Layout(delimiter, records[top][0], cells, width, unit_row, top, records[last][0], fitting)


def _is_reading(cell: str) -> bool:
    return time_kind(cell) != "text"


def find_layout(data: bytes, encoding: str, name: str) -> _Layout:
    # Of equals the first wins: where a semicolon fits, a comma may be a decimal sign.
    layouts = [found for delimiter in ";\t|," if (found := _layout(data, encoding, delimiter)) and len(found.cells) > 1]
    single = [] if layouts else [found for found in [_layout(data, encoding, ";")] if found]
    if not layouts and not single:
        line, cells = next(read_records(data, encoding, ";"), (1, []))
        read = quoted(";".join(cells)) if isinstance(cells, list) else str(cells)
        remedy = "Write a line above the readings that names each column: 'nozzle drop [Pa]' (not after a #)."
        raise InputError(Fault(f"{name}, row {line}", read, "a header line above rows of readings", remedy))
    return max(layouts or single, key=lambda found: found.fitting)


def headings(layout: _Layout, name: str) -> tuple[list[Header], list[Fault]]:
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
