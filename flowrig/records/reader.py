"""A record read from TOML with its CSV files, or from a Python mapping, every fault of it in one report."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records import schema, toml_text
from flowrig.records.beside import Beside
from flowrig.records.declare import Reading, Table
from flowrig.records.flow_reader import FlowReader
from flowrig.records.instruments import Instrument, backwards, find_instrument, read_instrument
from flowrig.records.items import Item, Section, as_written, path_name
from flowrig.records.record import Declared, Record
from flowrig.records.walk import Walker, written


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
        reader = _Reader(dict(source), _place_in_mapping, Path(), find_method, names)
        reader.beside.digests["record"] = ""  # the record's own stands first
        reader.take_tables()
        content = repr(sorted(reader.data.items(), key=str)) + "".join(reader.beside.digests.values())
        reader.beside.digests["record"] = hashlib.sha256(content.encode()).hexdigest()
    else:
        document = toml_text.load(Path(source))
        reader = _Reader(document.data, document.where, Path(source).parent, find_method, names)
        reader.beside.digests[document.name] = document.digest
    return reader.read()


def _place_in_mapping(*path: str | int) -> str:
    return f"record, {path_name(path)}" if path else "record"


class _Reader:
    def __init__(
        self,
        data: dict[str, Any],
        where: Callable[..., str],
        folder: Path,
        find_method: Callable[[str], Declared],
        names: Mapping[str, str],
    ) -> None:
        self.data, self.where = data, where
        self.find_method, self.names = find_method, names
        self.walker = Walker(where)
        self.faults = self.walker.faults
        self.beside = Beside(folder, self.faults)

    def take_tables(self) -> None:
        """Tables that stand in place of a file's name, to the files already read."""
        flows = self.data.get("flow")
        if not isinstance(flows, list):
            return
        self.data["flow"] = [dict(raw) if isinstance(raw, Mapping) else raw for raw in flows]
        for i, raw in enumerate(self.data["flow"]):
            for key in ("log", "grid"):
                columns = raw.get(key) if isinstance(raw, Mapping) else None
                if hasattr(columns, "items"):
                    raw[key] = path_name(("flow", i, key))
                    self.beside.take(columns, raw[key])

    def read(self) -> Record:
        self.data = written(self.data)
        methods = self._methods()
        hardware_tables = {t.name: t for m in methods if m is not None for t in m.hardware}
        heading = self._heading({"air", "instruments", "flow", *hardware_tables})
        record = Record(self.where().split(",")[0], self.beside.digests, heading, findings=self.beside.findings)
        for name, raw in self._named("instruments"):
            section = self._section(schema.INSTRUMENT, raw, ("instruments", name))
            instrument = read_instrument(section, record.id, heading.value("date"), self.faults)
            if instrument is not None:
                record.instruments[name] = instrument
        hardware = {
            table: {name: self._section(declared, raw, (table, name)) for name, raw in self._named(table)}
            for table, declared in hardware_tables.items()
        }
        flow_reader = FlowReader(self.walker, self.beside, hardware)
        for i, method in enumerate(methods):
            if method is not None:
                record.flows.append(flow_reader.read(i, self.data["flow"][i], method))
        self._air(record, flow_reader.air)
        for section in (*(flow.section for flow in record.flows), *record.air.values()):
            self._attach(section, record.instruments)
        if self.faults:
            raise InputError(self.faults)
        return record

    def _heading(self, tables: set[str]) -> Section:
        raw = {k: v for k, v in self.data.items() if k not in tables}
        for key, value in list(raw.items()):
            if isinstance(value, (dict, list)) and key not in {f.name for f in schema.HEADING.fields}:
                said = f"one of the tables {', '.join(sorted(tables))}"
                self.walker.fault((key,), "a table", said, "Correct the name, or remove the table.")
                del raw[key]
        return self._section(schema.HEADING, raw, ())

    def _section(self, table: Table, raw: object, path: tuple[str, ...]) -> Section:
        section = self.walker.section(table, raw, path)
        self.walker.complete(section)
        return section

    def _named(self, table: str) -> list[tuple[str, object]]:
        raw = self.data.get(table, {})
        if not isinstance(raw, Mapping):
            self.walker.fault((table,), raw, f"tables [{table}.…]", f"Write [{table}.some_name] and its fields below.")
            return []
        return list(raw.items())

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
