"""One [[flow]] section: its fields, the hardware it names, the columns of its log and the points of its grid."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records import csv_text, schema, tables
from flowrig.records.beside import Beside
from flowrig.records.declare import Calibration, Finding, FlagMeaning, Names, Reading, Table
from flowrig.records.files import near_name, quoted
from flowrig.records.items import ROWS, Array, Item, Section, path_name
from flowrig.records.points import Points
from flowrig.records.record import Declared, Flow, Hardware, ToCome
from flowrig.records.walk import Walker
from flowrig.records.words import opening, sentence, shown

GAPS = FlagMeaning(
    "log with gaps",
    "warning",
    "The rows of a log are not evenly spaced in time. How far neighbouring readings resemble one another, and so the "
    "error of their mean, is judged as if they were; a long gap also means that the mean misses what happened in it.",
)
NO_TIME = FlagMeaning(
    "log without time",
    "note",
    "No column of the log gives the time of its rows, so a gap would not be noticed. A column named time, date, clock "
    'or timestamp, or one with a unit of time, is taken; another is named with columns = { time = "its header" }.',
)

UNUSED = FlagMeaning(
    "columns of the log",
    "note",
    "Columns of the log that stand for no field of the record: they were read past. If one of them is a reading, name "
    "it under columns.",
)
FLAGS = (GAPS, NO_TIME, UNUSED)
STEP_OFF = 1.5  # a step this many times the usual one (or the inverse) is not even


def calibrations(section: Section, beside: Beside, walker: Walker) -> None:
    """The calibration files that a section names, each read in the place of its name."""
    for name, item in list(section.items.items()):
        if isinstance(item.field, Calibration):
            path = (*section.path, name)
            item.value = beside.calibration(item.field, item.value, path, item.where)
            if item.value is None:
                del section.items[name]
                walker.spoiled.add(path_name(path))


class FlowReader:
    """Reads the flow sections of one record.

    Attributes
    ----------
    air : dict of str to dict of str to Item
        Readings of the air that stand in a log, by station.
    """

    def __init__(
        self,
        walker: Walker,
        beside: Beside,
        hardware: Mapping[str, Hardware],
        points: Points | None = None,
        to_come: ToCome | None = None,
        measured: Collection[str] = (),
    ) -> None:
        self.walker, self.beside, self.hardware, self.points = walker, beside, hardware, points
        self.to_come, self.measured = to_come, measured
        self.faults, self.where = walker.faults, walker.where
        self.air: dict[str, dict[str, Item]] = {}

    def read(self, i: int, raw: Mapping[str, Any], method: Declared) -> Flow:
        path = ("flow", i)
        fields = (*schema.FLOW.fields, *method.fields)
        checks = (*schema.FLOW.checks, *method.checks)
        declared = Table("flow", schema.FLOW.help, fields, method.alternatives, checks)
        grid_fields = tuple(f for f in method.fields if isinstance(f, Reading) and f.grid)
        for f in grid_fields:
            if f.name in raw:
                said = "Put the readings into the CSV that grid names."
                self.walker.fault((*path, f.name), raw[f.name], "a column of the grid file", said)
        inline = {k: v for k, v in raw.items() if k not in {f.name for f in grid_fields}}
        columns = self._columns(raw.get("columns", {}), path, method)
        findings: list[Finding] = []
        given, times = self._log(path, inline, method, columns, findings)
        if self.points is not None:
            given |= self.points.of_flow(i, method)
        section = self.walker.section(declared, inline, path, given)
        stand_ins = self._stand_ins(section, method)
        section.items |= {name: item for name, item in stand_ins.items() if item.field not in grid_fields}
        flow = Flow(section, method, findings=findings, to_come=tuple(stand_ins), times=times)
        calibrations(section, self.beside, self.walker)
        self._refer(flow)
        if method.layout is not None:
            self._grid(flow, grid_fields, columns, stand_ins)
        start = len(self.faults)
        self.walker.complete(section, [f.name for f in grid_fields])
        if len(self.faults) == start:
            self._same_length(flow)
        return flow

    def _stand_ins(self, section: Section, method: Declared) -> dict[str, Item]:
        """What stands in the place of fields still to come; nothing unless the record is a plan."""
        if self.to_come is None:
            return {}
        found = self.to_come(method, section, self.hardware, self.measured)
        items = {}
        for declared in (f for f in method.fields if f.name in found):
            place = (*section.path, declared.name)
            unit = units.default_display(declared.kind) if isinstance(declared, Reading) else ""
            items[declared.name] = Item(declared, found[declared.name], self.where(*place), path_name(place), unit)
        return items

    # the log

    def _columns(self, raw: object, path: tuple[str, int], method: Declared) -> dict[str, str]:
        """Headers that the record gives by itself; a name that is no field's would otherwise pass unseen."""
        if not isinstance(raw, Mapping):
            return {}  # said with the other fields of the section
        readings = [f.name for f in method.fields if isinstance(f, Reading)]
        air = [f"air.{s}.{f.name}" for s in schema.STATIONS for f in schema.AIR.fields if isinstance(f, Reading)]
        headers: dict[str, str] = {}
        for key, header in raw.items():
            near = None
            if key not in (*readings, *air, "time"):
                near = near_name(key, [name for name in (*readings, *air) if name not in raw])
                remedy = f"Did you mean {near}?" if near else "Correct the name; the header stands to the right of =."
                said = f"one of: {', '.join([*readings, 'time'])}, or a reading of air such as air.meter.temperature"
                self.walker.fault((*path, "columns", key), key, said, remedy)
            if isinstance(header, str):
                headers[near or key] = header  # read on as if it were right, to find what else is wrong
        return headers

    def _log(
        self,
        path: tuple[str, int],
        raw: Mapping[str, Any],
        method: Declared,
        columns: Mapping[str, Any],
        findings: list[Finding],
    ) -> tuple[dict[str, Item], Array | None]:
        """Columns of the log: the method's own fields, and the air's where `columns` names them; and its times."""
        if not isinstance(raw.get("log"), str):
            return {}, None
        wanted: dict[str, tuple[Reading, tuple[str | int, ...]]] = {
            f.name: (f, (*path, f.name)) for f in method.fields if isinstance(f, Reading) and not f.grid
        }
        air_fields = {f.name: f for f in schema.AIR.fields if isinstance(f, Reading)}
        table = self.beside.table(raw["log"], self.where(*path, "log"))
        headers = [h.name for h in table.headers] if table is not None else []
        for key in (*columns, *(name for name in headers if name.startswith("air."))):
            station, _, name = key.removeprefix("air.").partition(".")
            if station in schema.STATIONS and name in air_fields:
                wanted[key] = air_fields[name], ("air", station, name)
        if table is None:
            self.walker.spoiled |= {path_name(place) for _, place in wanted.values()}
            return {}, None
        times = self._times(table, columns.get("time", "time"), "time" in columns, findings)
        found: dict[str, Item] = {}
        before = len(self.faults)
        self._columns_left(table, [columns.get(key, key) for key in (*wanted, "time")], findings)
        for key, (declared, place) in wanted.items():
            item = self._column(table, declared, columns, key, place, path_name(path), key in raw)
            if item is not None and key.startswith("air."):
                self.air.setdefault(str(place[1]), {})[declared.name] = item
            elif item is not None:
                found[key] = item
        if len(self.faults) == before and not found and not self.air:
            read = f"a log without a column of any reading: {', '.join(quoted(h.raw) for h in table.headers)}"
            remedy = "Name its headers under columns, or remove the log."
            self.walker.miss((*path, "log"), read, f"a column for one of: {', '.join(wanted)}", remedy)
        return found, times

    def _columns_left(self, table: csv_text.Table, names: list[str], findings: list[Finding]) -> None:
        """Columns that stand for nothing are said; two for one field are a fault."""
        used = [header for name in names if (header := tables.find_column(table, name)) is not None]
        time = tables.time_column(table)
        left = [
            h
            for h in table.headers
            if not any(h is u for u in used) and h is not time and h.name.casefold() not in tables.TIME_NAMES
        ]
        self.faults += tables.second_columns(table, used, left)
        if left:
            findings.append(Finding(UNUSED, f"{table.name}: not used: {', '.join(h.raw for h in left)}"))

    def _times(self, table: csv_text.Table, name: str, said: bool, findings: list[Finding]) -> Array | None:
        """Seconds of the rows from the first, as far as they are known."""
        header = tables.find_column(table, name) if said else tables.time_column(table)
        if header is None:
            if said:
                self.faults.append(tables.missing_column(table, name, "the time of each row", "time"))
            else:
                findings.append(Finding(NO_TIME, f"{table.name}: rows taken as evenly spaced"))
            return None
        seconds, _, faults = table.time(header.raw)
        self.faults.extend(faults)
        if faults:
            return None
        times = np.asarray(seconds - seconds[0], dtype=float) if len(seconds) else None
        if len(seconds) < 3:
            return times
        steps = np.diff(seconds)
        usual = float(np.nanmedian(steps))
        odd = np.flatnonzero(~((steps < STEP_OFF * usual) & (steps > usual / STEP_OFF)))
        if odd.size:
            worst = int(odd[np.nanargmax(steps[odd])]) if not np.all(np.isnan(steps[odd])) else int(odd[0])
            where = f"rows {table.row_number(worst)} to {table.row_number(worst + 1)}"
            longest = f"the longest {steps[worst]:.4g} s ({where}), usual {usual:.4g} s"
            findings.append(Finding(GAPS, f"{table.name}: {odd.size} uneven steps, {longest}"))
        return times

    def _column(
        self,
        table: csv_text.Table,
        declared: Reading,
        columns: Mapping[str, str],
        key: str,
        place: tuple[str | int, ...],
        run: str,
        given: bool,
    ) -> Item | None:
        """The column of a reading; a value `given` in the record beside such a column is told by the walker."""
        name = columns.get(key, key)
        header = tables.find_column(table, name)
        before = len(self.faults)
        item = None
        if header is not None:
            item = tables.column_item(table, header, declared, path_name(place), run, self.faults)
        elif key in columns or (declared.required and not given):
            self.faults.append(tables.missing_column(table, name, opening(declared.help), key))
        if len(self.faults) > before:
            self.walker.spoiled.add(path_name(place))
        return item

    # the hardware and the grid

    def _refer(self, flow: Flow) -> None:
        for item in flow.section.items.values():
            if not isinstance(item.field, Names):
                continue
            table = item.field.table
            known = self.hardware.get(table, {})
            missing = [name for name in item.value if name not in known]
            for name in () if self.walker.is_spoiled(table) else missing:
                said = f"one of: {', '.join(known)}" if known else f"the name of a table [{table}.…], and there is none"
                near = near_name(name, list(known))
                remedy = f"Did you mean {near}?" if near else f"Describe it in a table [{table}.{name}]."
                if "," in name:
                    remedy = f"Several names are a list: {shown([part.strip() for part in name.split(',')])}."
                self.faults.append(Fault(item.where, quoted(name), said, remedy))
            flow.hardware[table] = [] if missing else [known[name] for name in item.value]

    def _grid(
        self,
        flow: Flow,
        grid_fields: tuple[Reading, ...],
        columns: Mapping[str, Any],
        stand_ins: Mapping[str, Item],
    ) -> None:
        section = flow.section
        broken = {f.where for f in self.faults}
        named = [s for sections in flow.hardware.values() for s in sections]
        described = bool(named) and all(s.where not in broken and not self._broken(s) for s in named)
        planned = {f.name for f in section.table.fields if f.required and f not in grid_fields} <= set(section)
        if not described or not planned or self._broken(section) or any(c(section) for c in flow.method.checks):
            return  # said elsewhere; without a plan the grid cannot be read
        try:
            flow.layout = flow.method.layout(section, flow.hardware)
        except ValueError as error:
            remedy = sentence(str(error))
            self.faults.append(Fault(section.where, "a plan that cannot be drawn", "a plan of points", remedy))
            return
        if flow.layout is not None and "grid" in stand_ins:
            for declared in (f for f in grid_fields if f.name in stand_ins):
                item = stand_ins[declared.name]
                section.items[declared.name] = replace(item, value=np.tile(item.value, (1, len(flow.layout))))
            return
        table = self.beside.table(section.value("grid"), self.where(*section.path, "grid"))
        if table is None or flow.layout is None:
            return
        grid = tables.read_grid(table, flow.layout, grid_fields, columns, self.faults)
        if grid is None:
            return
        flow.findings += grid.findings
        for declared in grid_fields:
            if declared.name in grid.values:
                values = grid.values[declared.name]
                section.items[declared.name] = Item(
                    declared,
                    values,
                    f"{table.name}, {declared.name}",
                    path_name((*section.path, declared.name)),
                    grid.units[declared.name],
                    run=section.name if len(values) > 1 else "",
                )

    def _broken(self, section: Section) -> bool:
        """Whether any field that is no column of the grid had a fault of its own."""
        names = [f.name for f in section.table.fields if not (isinstance(f, Reading) and f.grid)]
        return any(self.walker.is_spoiled(*section.path, name) for name in names)

    def _same_length(self, flow: Flow) -> None:
        """Repeats of several fields of one measurement were taken together: as many of each."""
        readings = [i for i in flow.section.items.values() if isinstance(i.field, Reading) and i.run != ROWS]
        repeated = [item for item in readings if len(item.value) > 1]
        if len({len(item.value) for item in repeated}) > 1:
            said = ", ".join(f"{len(item.value)} of {item.field.name}" for item in repeated)
            remedy = "They are taken together, row by row: fill the gap, or give a mean as one value."
            self.faults.append(Fault(flow.section.where, said, "as many readings of each field", remedy))
        for item in repeated:
            item.run = flow.section.name
