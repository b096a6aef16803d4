"""A record: one test of one unit, read from TOML with its CSV files, or from a Python mapping."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from flowrig.errors import Fault, InputError
from flowrig.records import csv_text, schema, tables, toml_text
from flowrig.records.declare import Check, Field, Finding, Names, OneOf, Reading, Table
from flowrig.records.instruments import Instrument, backwards, find_instrument, read_instrument
from flowrig.records.items import Item, Layout, Section, as_written, path_name
from flowrig.records.walk import Walker, written


class Declared(Protocol):
    """What the reader needs of a method."""

    @property
    def name(self) -> str: ...
    @property
    def fields(self) -> tuple[Field, ...]: ...
    @property
    def alternatives(self) -> tuple[OneOf, ...]: ...
    @property
    def checks(self) -> tuple[Check, ...]: ...
    @property
    def hardware(self) -> tuple[Table, ...]: ...
    @property
    def layout(self) -> Callable[[Section, Mapping[str, list[Section]]], Layout] | None: ...


@dataclass
class Flow:
    """One way in which the flow was measured.

    Attributes
    ----------
    section : Section
    method : Declared
    hardware : dict of str to list of Section
        What the section names, by table.
    layout : Layout or None
    findings : list of Finding
    """

    section: Section
    method: Any
    hardware: dict[str, list[Section]] = field(default_factory=dict)
    layout: Layout | None = None
    findings: list[Finding] = field(default_factory=list)


@dataclass
class Record:
    """A record as read: checked, SI, with its instruments as sources of error.

    Attributes
    ----------
    name : str
    digests : dict of str to str
        SHA-256 of every file read.
    heading : Section
    air : dict of str to Section
    instruments : dict of str to Instrument
    flows : list of Flow
    """

    name: str
    digests: dict[str, str]
    heading: Section
    air: dict[str, Section] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    flows: list[Flow] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Identity for causes that are local to this record."""
        return f"record:{next(iter(self.digests.values()))[:16]}"

    def readings(self) -> dict[str, tuple[Section, Item]]:
        """Every reading of the record by its path."""
        sections = [*self.air.values(), *(flow.section for flow in self.flows)]
        return {
            item.path: (section, item)
            for section in sections
            for item in section.items.values()
            if isinstance(item.field, Reading)
        }


def read_record(
    source: str | Path | Mapping[str, Any], find_method: Callable[[str], Declared], names: Mapping[str, str]
) -> Record:
    """Read and check a record.

    Parameters
    ----------
    source : path or mapping
        A mapping has the structure of the TOML file and may hold pint quantities; file names in it are looked up in
        the working folder, and a table may stand in place of its file's name: a mapping of header to column, or a
        pandas frame.
    find_method : callable
        From a name in `names` to the method's declaration.
    names : mapping
        Known methods.

    Raises
    ------
    InputError
        With every fault of the record and its files.
    """
    if isinstance(source, Mapping):
        reader = _Reader(
            dict(source), lambda *path: f"record, {path_name(path)}" if path else "record", Path(), find_method, names
        )
        reader.digests["record"] = ""  # the record's own stands first
        reader.take_tables()
        content = repr(sorted(reader.data.items(), key=str)) + "".join(reader.digests.values())
        reader.digests["record"] = hashlib.sha256(content.encode()).hexdigest()
    else:
        document = toml_text.load(Path(source))
        folder = Path(source).parent
        reader = _Reader(document.data, document.where, folder, find_method, names)
        reader.digests[document.name] = document.digest
    return reader.read()


class _Reader:
    def __init__(
        self,
        data: dict[str, Any],
        where: Callable[..., str],
        folder: Path,
        find_method: Callable[[str], Declared],
        names: Mapping[str, str],
    ) -> None:
        self.data, self.where, self.folder = data, where, folder
        self.find_method, self.names = find_method, names
        self.walker = Walker(where, folder)
        self.faults = self.walker.faults
        self.digests: dict[str, str] = {}
        self.csv: dict[str, csv_text.Table | None] = {}

    def take_tables(self) -> None:
        """Tables that stand in place of a file's name, to the files already read."""
        flows = self.data.get("flow")
        if not isinstance(flows, list):
            return
        self.data["flow"] = [dict(raw) if isinstance(raw, Mapping) else raw for raw in flows]
        for i, raw in enumerate(self.data["flow"]):
            for key in ("log", "grid"):
                columns = raw.get(key) if isinstance(raw, Mapping) else None
                if not hasattr(columns, "items"):
                    continue
                raw[key] = name = path_name(("flow", i, key))
                self.csv[name] = None
                try:
                    self.csv[name] = table = tables.table_of(columns, name)
                    self.digests[name] = table.digest
                except InputError as error:
                    self.faults.extend(error.faults)

    def read(self) -> Record:
        data = self.data = written(self.data)
        sections = {"air", "instruments", "flow"}
        methods = self._methods()
        hardware_tables = {t.name: t for m in methods if m is not None for t in m.hardware}
        heading_raw = {k: v for k, v in data.items() if k not in sections | hardware_tables.keys()}
        for key, value in list(heading_raw.items()):
            unknown = {f.name for f in schema.HEADING.fields}
            if isinstance(value, (dict, list)) and key not in unknown:
                places = ", ".join(sorted(sections | hardware_tables.keys()))
                self.walker.fault(
                    (key,), "a table", f"one of the tables {places}", "Correct the name, or remove the table."
                )
                del heading_raw[key]
        heading = self.walker.section(schema.HEADING, heading_raw, ())
        self.walker.complete(heading)
        record = Record(self.where().split(",")[0], self.digests, heading)

        for name, raw in self._named("instruments"):
            section = self.walker.section(schema.INSTRUMENT, raw, ("instruments", name))
            self.walker.complete(section)
            instrument = read_instrument(section, record.id, heading.value("date"), self.faults)
            if instrument is not None:
                record.instruments[name] = instrument
        hardware = {
            table: {name: self._hardware(declared, raw, (table, name)) for name, raw in self._named(table)}
            for table, declared in hardware_tables.items()
        }
        from_log: dict[str, dict[str, Item]] = {}
        for i, method in enumerate(methods):
            if method is not None:
                record.flows.append(self._flow(i, method, hardware, from_log))
        self._air(record, from_log)
        for flow in record.flows:
            self._attach(flow.section, record.instruments)
        for section in record.air.values():
            self._attach(section, record.instruments)
        if self.faults:
            raise InputError(self.faults)
        return record

    def _named(self, table: str) -> list[tuple[str, object]]:
        raw = self.data.get(table, {})
        if not isinstance(raw, Mapping):
            self.walker.fault((table,), raw, f"tables [{table}.…]", f"Write [{table}.some_name] and its fields below.")
            return []
        return list(raw.items())

    def _hardware(self, table: Table, raw: object, path: tuple[str, str]) -> Section:
        section = self.walker.section(table, raw, path)
        self.walker.complete(section)
        return section

    def _methods(self) -> list[Declared | None]:
        raw = self.data.get("flow")
        if raw is None or raw == []:
            self.faults.append(
                Fault(
                    self.where(),
                    "no [[flow]]",
                    "at least one measurement of the flow",
                    'Add [[flow]] with method = "nozzle" or another.',
                )
            )
            return []
        if not isinstance(raw, list):
            self.walker.fault(
                ("flow",), "a table", "[[flow]], in double brackets", "Write [[flow]]: there may be several."
            )
            return []
        found: list[Declared | None] = []
        for i, section in enumerate(raw):
            name = section.get("method") if isinstance(section, Mapping) else None
            if isinstance(name, str) and name in self.names:
                found.append(self.find_method(name))
                continue
            found.append(None)
            known = ", ".join(self.names)
            read = "nothing" if name is None else name
            self.walker.fault(("flow", i, "method"), read, f"one of: {known}", 'Write method = "nozzle", for instance.')
        return found

    def _air(self, record: Record, from_log: dict[str, dict[str, Item]]) -> None:
        raw = self.data.get("air", {})
        if not isinstance(raw, Mapping) or "meter" not in raw:
            self.walker.fault(
                ("air",),
                raw if raw else "nothing",
                "a table [air.meter]",
                "Say in which air the flow was measured: temperature, pressure, humidity.",
            )
            raw = raw if isinstance(raw, Mapping) else {}
        for name, table in raw.items():
            if name not in schema.STATIONS:
                self.walker.fault(
                    ("air", name),
                    name,
                    f"one of: {', '.join(schema.STATIONS)}",
                    "Write [air.meter], [air.unit] or [air.room].",
                )
                continue
            section = self.walker.section(schema.AIR, table, ("air", name), from_log.pop(name, None))
            self.walker.complete(section)
            record.air[name] = section
        for name in from_log:
            self.walker.fault(("air",), f"a log column for air.{name}", f"a table [air.{name}]", "Add the table.")

    def _flow(
        self, i: int, method: Declared, hardware: dict[str, dict[str, Section]], from_log: dict[str, dict[str, Item]]
    ) -> Flow:
        path = ("flow", i)
        raw = self.data["flow"][i]
        declared = Table(
            "flow", schema.FLOW.help, (*schema.FLOW.fields, *method.fields), method.alternatives, method.checks
        )
        grid_fields = tuple(f for f in method.fields if isinstance(f, Reading) and f.grid)
        inline = {k: v for k, v in raw.items() if k not in {f.name for f in grid_fields}}
        for f in grid_fields:
            if f.name in raw:
                self.walker.fault(
                    (*path, f.name),
                    raw[f.name],
                    "a column of the grid file",
                    "Put the readings into the CSV that grid names.",
                )
        columns = raw.get("columns", {}) if isinstance(raw.get("columns", {}), Mapping) else {}
        given = self._from_log(path, raw, method, columns, from_log)
        section = self.walker.section(declared, inline, path, given)
        flow = Flow(section, method)
        self._refer(flow, hardware)
        if method.layout is not None and all(len(v) for v in flow.hardware.values()) and flow.hardware:
            self._grid(flow, grid_fields, columns)
        start = len(self.faults)
        if not any(f.where.startswith(self.where(*path, "grid")) for f in self.faults):
            self.walker.complete(section)
        if len(self.faults) == start:
            self._same_length(flow)
        return flow

    def _from_log(
        self,
        path: tuple[str, int],
        raw: Mapping[str, Any],
        method: Declared,
        columns: Mapping[str, Any],
        from_log: dict[str, dict[str, Item]],
    ) -> dict[str, Item]:
        """Columns of the log: the method's own fields, and the air's where `columns` names them."""
        if not isinstance(raw.get("log"), str) or not raw["log"]:
            return {}
        table = self._table(raw["log"], (*path, "log"))
        if table is None:
            return {}
        run = path_name(path)
        given: dict[str, Item] = {}
        for declared in method.fields:
            if not isinstance(declared, Reading) or declared.grid or declared.name in raw:
                continue
            item = self._column(table, declared, columns, declared.name, (*path, declared.name), run)
            if item is not None:
                given[declared.name] = item
        air_fields = {f.name: f for f in schema.AIR.fields if isinstance(f, Reading)}
        for key in columns:
            if not key.startswith("air."):
                continue
            station, _, name = key.removeprefix("air.").partition(".")
            if station not in schema.STATIONS or name not in air_fields:
                self.walker.fault(
                    (*path, "columns", key),
                    key,
                    "air.STATION.READING, such as air.meter.temperature",
                    "Correct the name.",
                )
                continue
            item = self._column(table, air_fields[name], columns, key, ("air", station, name), run)
            if item is not None:
                from_log.setdefault(station, {})[name] = item
        return given

    def _column(
        self,
        table: csv_text.Table,
        declared: Reading,
        columns: Mapping[str, str],
        key: str,
        path: tuple[str | int, ...],
        run: str,
    ) -> Item | None:
        name = columns.get(key, key)
        header = tables.find_column(table, name, key in columns)
        if header is None:
            if key in columns or declared.required:
                self.faults.append(tables.missing_column(table, name, declared.help.rstrip(".")))
            return None
        read = tables.column_values(table, header, declared, self.faults)
        if read is None:
            return None
        values, blanks = read
        for row in blanks[:20]:
            self.faults.append(
                Fault(
                    f"{table.name}, row {table.row_number(row)}, column {header.raw!r}",
                    "nothing",
                    "a reading in every row",
                    "Fill the cell, or remove the row.",
                )
            )
        if blanks:
            return None
        return Item(
            declared, values, f"{table.name}, column {header.raw!r}", path_name(path), header.unit or "", run=run
        )

    def _table(self, name: str, path: tuple[str | int, ...]) -> csv_text.Table | None:
        if name not in self.csv:
            self.csv[name] = None
            try:
                file = csv_text.inside(self.folder, name, where=self.where(*path))
                table = csv_text.read_table(file)
                self.csv[name] = table
                self.digests[name] = table.digest
            except InputError as error:
                self.faults.extend(error.faults)
        return self.csv[name]

    def _refer(self, flow: Flow, hardware: dict[str, dict[str, Section]]) -> None:
        for item in list(flow.section.items.values()):
            if not isinstance(item.field, Names):
                continue
            table = item.field.table
            known = hardware.get(table, {})
            missing = [name for name in item.value if name not in known]
            for name in missing:
                self.faults.append(
                    Fault(
                        item.where,
                        repr(name),
                        f"one of: {', '.join(known) or 'none described'}",
                        f"Add a table [{table}.{name}], or correct the name.",
                    )
                )
            flow.hardware[table] = [] if missing else [known[name] for name in item.value]

    def _grid(self, flow: Flow, grid_fields: tuple[Reading, ...], columns: Mapping[str, Any]) -> None:
        section = flow.section
        broken = {f.where for f in self.faults}
        described = all(s.where not in broken for named in flow.hardware.values() for s in named)
        if not described or "grid" not in section or any(check(section) for check in flow.method.checks):
            return  # said elsewhere; without a plan the grid cannot be read
        try:
            flow.layout = flow.method.layout(section, flow.hardware)
        except ValueError as error:
            self.faults.append(
                Fault(
                    section.where,
                    "the plan of this traverse",
                    "one that exists",
                    f"{str(error)[:1].upper()}{str(error)[1:]}.",
                )
            )
            return
        table = self._table(section.value("grid"), (*section.path, "grid"))
        if table is None or flow.layout is None:
            return
        grid = tables.read_grid(table, flow.layout, grid_fields, columns, self.faults)
        if grid is None:
            return
        flow.findings += grid.findings
        for declared in grid_fields:
            if declared.name in grid.values:
                path = path_name((*section.path, declared.name))
                values = grid.values[declared.name]
                section.items[declared.name] = Item(
                    declared,
                    values,
                    f"{table.name}, {declared.name}",
                    path,
                    grid.units[declared.name],
                    run=path_name(section.path) if len(values) > 1 else "",
                )

    def _same_length(self, flow: Flow) -> None:
        """Repeats of several fields of one measurement were taken together: as many of each."""
        run = path_name(flow.section.path)
        repeated = [
            item for item in flow.section.items.values() if isinstance(item.field, Reading) and len(item.value) > 1
        ]
        counts = {len(item.value) for item in repeated}
        if len(counts) > 1:
            said = ", ".join(f"{len(item.value)} of {item.field.name}" for item in repeated)
            self.faults.append(
                Fault(
                    flow.section.where,
                    said,
                    "as many readings of each field",
                    "They are taken together, row by row: fill the gap, or give a mean as one value.",
                )
            )
        for item in repeated:
            item.run = run

    def _attach(self, section: Section, instruments: dict[str, Instrument]) -> None:
        """Which instrument showed each reading."""
        named = section.value("with")
        readings = {n: i for n, i in section.items.items() if isinstance(i.field, Reading)}
        if isinstance(named, dict):
            for key in named:
                if key not in {f.name for f in section.table.fields if isinstance(f, Reading)}:
                    self.faults.append(
                        Fault(
                            section["with"].where,
                            repr(key),
                            f"one of: {', '.join(readings)}",
                            "Name a reading of this section.",
                        )
                    )
        for name, item in readings.items():
            assert isinstance(item.field, Reading)
            kind = item.field.kind
            choice = named.get(name) if isinstance(named, dict) else None
            if isinstance(named, str):
                chosen = instruments.get(named)
                # one name for the section stands for the readings it can measure
                choice = named if chosen is None or chosen.kind == kind else None
            instrument = find_instrument(kind, choice, instruments, item.where, self.faults)
            if item.field.positive and backwards(item, instrument):
                self.faults.append(
                    Fault(
                        item.where,
                        as_written(item),
                        f"a {kind} above zero, give or take the instrument's limit",
                        "Check whether the hoses are swapped.",
                    )
                )
            if instrument is not None:
                item.instrument = instrument.name
            elif not item.components and not any(item.where == f.where for f in self.faults):
                self.faults.append(
                    Fault(
                        item.where,
                        "a reading without an instrument",
                        f"an instrument that measures {kind}, or a ±",
                        f'Add [instruments.some_name] with measures = "{kind}" and its accuracy, or write the limit '
                        "beside the value.",
                    )
                )
