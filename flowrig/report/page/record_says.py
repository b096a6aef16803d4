"""What stands in the records behind a result: who, when and where, instruments, air, and every reading as read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import numpy as np

from flowrig import units
from flowrig.records.csv_text import Table as CsvTable
from flowrig.records.declare import Reading, Series
from flowrig.records.items import Item, Section
from flowrig.records.record import Record
from flowrig.records.schema import MEASURED_KIND
from flowrig.report.table import Table
from flowrig.studies.result import Quantity

UNTOLD = "not told"
LONG = 24  # readings of a field, beyond which their ends and number are told
MEASURED, STATED, ASSUMED, EXPECTED = "measured", "stated", "assumed", "expected"
SUPPOSED = ("air", "flow")  # tables that hold what is expected, where nothing was measured yet
FIRST = ("title", "item", "received", "date", "by", "laboratory", "place", "customer", "notes")


def heading_rows(record: Record) -> Iterator[tuple[str, str]]:
    """What was tested, by whom, when and where."""
    for name in FIRST:
        value = record.heading.value(name)
        if value:
            yield name, shown(record.heading[name])
    for name, item in record.heading.items.items():
        if name not in (*FIRST, "invented") and not item.assumed:
            yield name.replace("_", " "), shown(item)


def origin(item: Item, section: Section, ahead: bool = False) -> str:
    """Whether a value was measured, stated, assumed as nothing was written, or is expected of what lies ahead."""
    if item.assumed:
        return ASSUMED
    if ahead and isinstance(item.field, Reading) and section.path and section.path[0] in SUPPOSED:
        return EXPECTED
    figures = section.value("figures")  # of a fan or a filter: whose they are
    read = isinstance(item.field, Reading) if figures is None else figures == MEASURED
    return MEASURED if read and isinstance(item.field, Reading | Series) else STATED


def shown(item: Item) -> str:
    """A field as a reader of the page checks it: in the unit in which it was written."""
    if item.text:
        return item.text
    value = item.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int):
        return str(value)
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, np.ndarray | float):
        return _numbers(item)
    if isinstance(value, list | tuple):
        return ", ".join(_named(one) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{key}: {_named(one)}" for key, one in value.items())
    return _named(value)


def _named(value: Any) -> str:
    """A record or a calibration by its file; anything else as it is."""
    return str(getattr(value, "name", value))


def _numbers(item: Item) -> str:
    kind = getattr(item.field, "kind", "") or ""
    values = np.ravel(np.asarray(item.value, dtype=float))
    unit = item.unit
    if kind == MEASURED_KIND and unit:  # of an instrument: whatever it measures
        kind = units.kinds_of(unit)[0]
    if kind in units.KINDS:
        values = np.ravel(units.from_si(values, unit or units.KINDS[kind], kind))
    if len(values) > LONG:
        said = f"{len(values)} readings, {np.nanmin(values):.5g} to {np.nanmax(values):.5g}"
    else:
        said = ", ".join(f"{x:.6g}" for x in values)
    return f"{said} {unit}".strip() + (", with a ± beside it" if item.components else "")


def field_tables(record: Record, ahead: bool = False) -> Iterator[Table]:
    """Every field of every table of a record, and where its value comes from."""
    invented = _to_come(record)
    for section in record.sections:
        if section.path and section.path[0] == "instruments":
            continue
        items = [(name, x) for name, x in section.items.items() if (id(section), name) not in invented]
        rows = [(name.replace("_", " "), shown(x), x.instrument, origin(x, section, ahead)) for name, x in items]
        if rows and section.path:
            yield Table(("field", "as written", "instrument", "origin"), tuple(rows), (0, 1, 2, 3), f"[{section.name}]")


def _to_come(record: Record) -> set[tuple[int, str]]:
    """Fields in whose place something stands while a measurement is only planned."""
    return {(id(flow.section), name) for flow in record.flows for name in flow.to_come}


def file_tables(record: Record) -> Iterator[Table]:
    """The tables of its files, cell by cell as they stand."""
    for name, table in record.tables.items():
        heads = ("line", *(header.raw for header in table.headers))
        rows = tuple((str(table.row_number(i)), *_cells(table, i)) for i in range(len(table)))
        left = tuple(k for k in range(1, len(heads)) if not all(is_number(row[k]) for row in rows))
        yield Table(heads, rows, left, name)


def is_number(cell: str) -> bool:
    """Whether a cell of a table holds one, or nothing."""
    try:
        float(cell.replace(",", ".") or 0)
    except ValueError:
        return False
    return True


def _cells(table: CsvTable, row: int) -> Iterator[str]:
    for column in range(len(table.headers)):
        yield table.cell(row, column)


def instrument_table(records: list[Record]) -> Table | None:
    """Instruments and counters with what is known of their calibration."""
    rows: list[tuple[str, ...]] = []
    for record in records:
        of = record.name if len(records) > 1 else ""
        for instrument in record.instruments.values():
            section = instrument.section
            limits = "; ".join(section.value("accuracy", ()) or ()) or ", ".join(instrument.assumed)
            resolution = shown(section["resolution"]) if "resolution" in section else ""
            rows.append(_instrument_row(section, instrument.name, instrument.kind, limits, resolution, of))
        for section in record.sections:
            if section.path and section.path[0] == "counters":
                size = f"size {shown(section['size_error'])}" if "size_error" in section else ""
                rows.append(_instrument_row(section, str(section.path[1]), "particle counts", size, "", of))
    rows = list(dict.fromkeys(rows))
    heads: tuple[str, ...] = (
        "instrument", "measures", "serial", "calibrated", "due", "corrected by", "limits", "resolution", "record",
    )  # fmt: skip
    if not any(row[-1] for row in rows):
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    return Table(heads, tuple(rows), tuple(range(len(heads)))) if rows else None


def _instrument_row(section: Section, name: str, kind: str, limits: str, resolution: str, of: str) -> tuple[str, ...]:
    by = _named(section.value("calibration", ""))
    dates = (shown(section[each]) if section.value(each) is not None else UNTOLD for each in ("calibrated", "due"))
    return (name, kind, str(section.value("serial") or UNTOLD), *dates, by, limits, resolution, of)


def air_table(record: Record) -> Table | None:
    """Readings of the air at each station."""
    fields = list(dict.fromkeys(name for section in record.air.values() for name in section if name != "side"))
    rows = [
        (place, *(shown(section[name]) if name in section else "" for name in fields))
        for place, section in record.air.items()
    ]
    heads = ("station", *(name.replace("_", " ") for name in fields))
    return Table(heads, tuple(rows), tuple(range(len(heads)))) if rows else None


def apart(records: list[Record], sort: str, ahead: bool = False) -> list[str]:
    """Fields of all records by where their values come from, each with its value."""
    found = []
    for record in records:
        of = f"{record.name}: " if len(records) > 1 else ""
        invented = _to_come(record)
        for section in record.sections:
            for name, item in section.items.items():
                if (id(section), name) in invented or not section.path or section.path[0] == "instruments":
                    continue
                if origin(item, section, ahead and record is records[0]) == sort:
                    found.append(f"{of}{section.name}.{name} = {shown(item)}")
    return found


def digest_table(records: list[Record]) -> Table:
    """Every file that was read, and its SHA-256."""
    rows = dict.fromkeys((name, digest) for record in records for name, digest in record.digests.items())
    return Table(("file", "SHA-256"), tuple(rows), (0, 1))


def budget_table(q: Quantity) -> Table:
    """Every cause of one number that makes a thousandth of its variance or more, the largest first."""
    rows = []
    left = 0.0
    for line in q.estimate.budget():
        share = float(np.squeeze(line.share))
        if abs(share) < 1e-3:
            left += share
            continue
        u = float(np.squeeze(units.from_si(line.u, q.unit, units.as_difference(q.kind))))
        rows.append((line.cause.name, f"{100.0 * share:.1f} %", f"{u:.3g}"))
    if left > 0.0:
        rows.append(("all others, each less than 0.1 %", f"{100.0 * left:.1g} %", ""))
    unit = f" [{q.unit}]" if q.unit else ""
    return Table(("cause", "share of the variance", f"u{unit}"), tuple(rows), (0,), q.label)
