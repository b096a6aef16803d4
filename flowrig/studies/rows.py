"""A thousand tests at once: the record is the pattern, a table's rows replace named readings."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from flowrig.errors import Fault, InputError
from flowrig.progress import each
from flowrig.records import csv_text, tables
from flowrig.records import flags as reading_flags
from flowrig.records.declare import SEVERITIES, Finding, Reading
from flowrig.records.files import near_name, quoted
from flowrig.records.items import ROWS, Item, as_written
from flowrig.records.record import Record
from flowrig.studies.arguments import checked
from flowrig.studies.compare import NOT_HELD_BY_ROW
from flowrig.studies.reduce import Reduction, empty_result, load, no_test
from flowrig.studies.result import Result, names_apart
from flowrig.uncertainty.series import mean_of

REMARKS = {"name", "of", "notes", "serial"}  # fields that a column may be called by and carried along


@checked
def reduce_rows(
    source: str | Path | Mapping[str, Any] | Record,
    table: str | Path | Any,
    *,
    coverage: float = 0.95,
    samples: int | None = None,
    seed: int = 1,
    unit: str | None = None,
    allow_outside: bool = False,
) -> Result:
    """Reduce every row of a table in the manner of a record.

    Parameters
    ----------
    source : path, mapping or Record
        The pattern: everything that the table does not replace, instruments included.
    table : path, mapping or pandas frame
        CSV, or a mapping of header to column, whose headers name readings with their unit, ``drop [Pa]`` or
        ``air.meter.temperature [degC]``; columns without a unit that name no reading (a test's number, a remark) are
        carried along.
    coverage, samples, seed, unit, allow_outside
        As for `flowrig.reduce`.

    Raises
    ------
    TypeError, ValueError
        If an argument is of no use, such as a coverage of 2.
    InputError
        With every fault of the record and of the table.
    """
    record, read = _both(source, table)
    no_test(record)
    if not record.flows:
        said = "a record of a flow, whose readings the rows replace"
        raise InputError(Fault(record.name, "no [[flow]]", said, "Reduce it without --rows."))
    record = replace(record, allow_outside=allow_outside)
    replaced = _columns(record, read)
    result = empty_result(record, coverage, samples, seed)
    result.rows = {h.raw: read.column(h.raw) for h in read.headers}
    record.digests[read.name] = read.digest

    batch = deepcopy(record)
    batch.table = read.digest[:16]
    places = batch.readings()
    for path, item in replaced.items():
        section, old = places[path]
        item.instrument, item.components = old.instrument, old.components
        item.scatter = _scatter(old, section.value("fluctuation", "noise"))
        section.items[item.field.name] = item
    _check_rows(batch, read, replaced)
    far = _far_from_pattern(replaced, record)
    used = [item.where.rpartition("column ")[2].strip("'") for item in replaced.values()]
    others = [h for h in result.rows if h not in used]
    said = ", ".join(f"{header} for {path}" for header, path in zip(used, replaced, strict=True))
    carried = ", ".join(others) or "none"
    result.findings.append(Finding(reading_flags.CARRIED, f"{said}; carried along: {carried}"))
    if not any(path.startswith("flow") for path in replaced):
        result.findings.append(Finding(reading_flags.OWN_FLOW_READING, "only readings of the air are replaced"))
    for pattern_flow, flow in each("flow", list(zip(record.flows, batch.flows, strict=True))):
        pattern = Reduction(record, pattern_flow, result, unit)
        pattern.run()
        done = Reduction(batch, flow, result, unit, pattern.scatter).run()
        done.findings += [replace(f, message=f"of the pattern: {f.message}") for f in pattern.scatter_findings]
        done.findings += far
        done.findings.sort(key=lambda f: SEVERITIES.index(f.severity))
        result.flows.append(done)
    names_apart(result.flows)
    if len(result.flows) > 1 or record.claims is not None:
        left = [f"{len(result.flows)} measurements"] if len(result.flows) > 1 else []
        left += ["the claims"] if record.claims is not None else []
        result.findings.append(Finding(NOT_HELD_BY_ROW, f"{' and '.join(left)} stand as they are in every row"))
    return result


def _both(source: str | Path | Mapping[str, Any] | Record, table: str | Path | Any) -> tuple[Record, csv_text.Table]:
    """Pattern and table; where either cannot be read, the faults of both."""
    faults: list[Fault] = []
    record = read = None
    try:
        record = source if isinstance(source, Record) else load(source)
    except InputError as error:
        faults += error.faults
    try:
        read = tables.table_of(table, "rows") if hasattr(table, "items") else csv_text.read_table(Path(table))
    except InputError as error:
        faults += error.faults
    if record is None or read is None:
        raise InputError(faults)
    return record, read


def _check_rows(batch: Record, table: csv_text.Table, replaced: Mapping[str, Item]) -> None:
    """What is asked of a record's fields together is asked of every row; a single reversed flow is flagged instead."""
    faults: list[Fault] = []
    places = batch.readings()
    headers = {path: header for header in table.headers if (path := _path(header.name, list(places))) in replaced}
    for section in (*batch.air.values(), *(flow.section for flow in batch.flows)):
        own = [headers[item.path] for item in section.items.values() if item.path in headers]
        for wrong in (w for check in section.table.checks for w in check(section) if w.rows is not None):
            header = next((h for h in own if h is headers.get(section[wrong.field].path)), own[0])
            rows = np.flatnonzero(wrong.rows)
            faults += tables.cell_faults(table, header, rows, wrong.expected, wrong.remedy)
    if faults:
        raise InputError(faults)


def _scatter(pattern: Item, known: str) -> tuple[float, float, float] | None:
    """What a single reading scatters by, from a run of the pattern's: absolute, relative, degrees of freedom.

    Noise of the sensor stays the same in pascals, unsteadiness of the flow in per cent; where it is not known which,
    both are kept and the larger one holds.
    """
    if len(pattern.value) < 2:
        return None
    series = mean_of(pattern.value)
    relative = series.s / abs(series.mean) if series.mean else 0.0
    return series.s if known != "real" else 0.0, relative if known != "noise" else 0.0, max(series.stretches - 1, 1.0)


def _far_from_pattern(replaced: Mapping[str, Item], record: Record) -> list[Finding]:
    """Where rows take their scatter from a pattern, and which lie far from it."""
    findings = []
    for path, item in replaced.items():
        if item.scatter is None:
            continue
        level = float(np.mean(record.readings()[path][1].value))
        findings.append(
            Finding(reading_flags.PATTERN_NOISE, f"each {path} scatters as one reading of the pattern's run")
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.abs(item.value / level)
        rows = ~((ratio > 0.5) & (ratio < 2.0))
        if np.any(rows):
            said = f"{path} more than a factor of two from the pattern's {as_written(record.readings()[path][1])}"
            findings.append(Finding(reading_flags.FAR_FROM_PATTERN, said, rows))
    return findings


def _columns(record: Record, table: csv_text.Table) -> dict[str, Item]:
    """Readings that the table replaces; its other columns are carried along unread."""
    readings = record.readings()
    faults: list[Fault] = []
    replaced: dict[str, Item] = {}
    for header in table.headers:
        path = _path(header.name, list(readings))
        place = f"{table.name}, column {quoted(header.raw)}"
        if path is None:
            near = near_name(header.name, [*_short(list(readings)), *readings])
            slip = near is not None and abs(len(near) - len(header.name)) <= 2  # 'dorp', not 'pressure drop'
            if header.unit is None and header.name in _other_fields(record):
                expected = f"a reading of the record ({', '.join(readings)}), or a column to carry along"
                remedy = (
                    "This field cannot change from row to row: reduce such records one by one, or rename the column."
                )
                faults.append(Fault(place, quoted(header.name), expected, remedy))
                continue
            if header.unit is None and not slip:
                continue
            expected = f"a reading of the record: {', '.join(readings)}"
            remedy = "Name a reading, or leave the unit out to carry the column along."
            if near:
                aside = "" if header.unit else " If it is something else, give it a name less like it."
                remedy = f"Did you mean {near}, with its unit in square brackets?{aside}"
            faults.append(Fault(place, quoted(header.name), expected, remedy))
            continue
        _, old = readings[path]
        assert isinstance(old.field, Reading)
        if old.field.grid:
            remedy = "A traverse is read point by point: reduce its records one by one."
            faults.append(Fault(place, quoted(header.name), "readings that are one value a test", remedy))
            continue
        if path in replaced:
            faults.append(Fault(place, quoted(header.name), "each reading once", "Remove one of the columns."))
            continue
        item = tables.column_item(table, header, old.field, path, ROWS, faults)
        if item is not None:
            replaced[path] = item
    if not replaced and not faults:
        heads = f"the columns {', '.join(quoted(h.raw) for h in table.headers)}"
        expected = f"at least one reading of the record: {', '.join(readings)}"
        faults.append(Fault(f"{table.name}, header", heads, expected, "Name the columns after the readings."))
    if faults:
        raise InputError(faults)
    return replaced


def _other_fields(record: Record) -> set[str]:
    """Fields of the measurements and their hardware on which a flow depends and which are no readings."""
    tables_ = [flow.section.table for flow in record.flows]
    tables_ += [piece.table for flow in record.flows for piece in flow.pieces]
    return {f.name for table in tables_ for f in table.fields if not isinstance(f, Reading)} - REMARKS


def _short(paths: list[str]) -> list[str]:
    return [path.rpartition(".")[2] for path in paths]


def _path(name: str, paths: list[str]) -> str | None:
    """A reading by its whole path, by `flow.drop` where there is one flow section, or by its last word if unique."""
    if name in paths:
        return name
    ends = [p for p in paths if p.rpartition(".")[2] == name or p.replace("[1]", "") == name]
    return ends[0] if len(ends) == 1 else None
