"""A record read from TOML with its CSV files, or from a Python mapping, every fault of it in one report."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records import flags, parts, plan_facts, schema, toml_text, unit_facts
from flowrig.records.attach import attach
from flowrig.records.beside import Beside, find_named
from flowrig.records.blanks import written
from flowrig.records.declare import DESCRIBED, Described, File, Finding, Reading, Table
from flowrig.records.fan_facts import FAN, MEASURED
from flowrig.records.files import near_name
from flowrig.records.filter_facts import FILTER
from flowrig.records.flow_reader import FlowReader, calibrations
from flowrig.records.in_python import plain
from flowrig.records.in_use import read_courses
from flowrig.records.instruments import read_instrument
from flowrig.records.items import Item, Section, path_name
from flowrig.records.named_flow import flow_unnamed
from flowrig.records.part import PartReader
from flowrig.records.pieces_apart import same_instrument, same_serial
from flowrig.records.points import CALIBRATION, Points, read_points, task_table
from flowrig.records.prediction import PREDICTION
from flowrig.records.record import Declared, Record, ToCome
from flowrig.records.walk import Walker
from flowrig.records.words import shown

TASKS = {table.name: table for table in (CALIBRATION, FAN, FILTER)}  # what a table of points may belong to


def read_record(
    source: str | Path | Mapping[str, Any],
    find_method: Callable[[str], Declared],
    names: Mapping[str, str],
    to_come: ToCome | None = None,
    named_by: str = "",
    named_as: str = "",
) -> Record:
    """Read and check a record.

    Parameters
    ----------
    source : path or mapping
        A mapping has the structure of the TOML file and may hold pint quantities; file names in it are looked up in
        the working folder, and a table may stand in place of its file's name: a mapping of header to column, or a
        pandas frame; in place of a calibration's, a mapping of its structure or a path.
    find_method : callable
        From a name in `names` to the method's declaration.
    names : mapping
        Known methods.
    to_come : ToCome, optional
        The record is a plan: its table ``[plan]`` is read, and this stands in for readings still to come.

    named_by, named_as : str
        The place in another record that names this one, and as what: a key of `DESCRIBED`.

    Raises
    ------
    InputError
        With every fault of the record and its files.
    """
    if isinstance(source, Mapping):
        reader = _Reader(dict(source), _place_in_mapping, Path(), find_method, names, to_come)
        reader.beside.in_python = True
        reader.beside.digests["record"] = ""  # the record's own stands first
        reader.take_tables()
        reader.data = plain(reader.data)
        content = repr(sorted(reader.data.items(), key=str)) + "".join(reader.beside.digests.values())
        reader.beside.digests["record"] = hashlib.sha256(content.encode()).hexdigest()
    else:
        document = toml_text.load(Path(source))
        reader = _Reader(document.data, document.where, Path(source).parent, find_method, names, to_come)
        reader.beside.digests[document.name] = document.digest
    if named_by:
        _names_no_more(reader, named_as)
    return reader.read()


def _names_no_more(reader: _Reader, named_as: str) -> None:
    """A record that is named itself names no cleaners: it may be the one that names it."""
    barred = [table.name for table in parts.TABLES.values() if any(isinstance(f, Described) for f in table.fields)]
    if named_as == "predict":
        barred = [name for name in barred if name not in {t.name for t in PREDICTION.all_tables}]
    for name in (name for name in barred if name in reader.data):
        what = DESCRIBED[named_as].words
        said = f"the {what}, which predicts nothing itself" if name == "predict" else f"the {what}"
        raise InputError(Fault(reader.where(name), f"a table {parts.HEADINGS[name]}", said, "Name another file."))


def _holds(found: Record, sort: str) -> bool:
    """Whether a record is of the sort that it is named as."""
    if sort == "test":
        reduced = bool(found.flows) or bool({"particles", "decay"} & set(found.parts))
        return reduced and found.curve is None and found.calibration is None
    if sort == "predict":
        return found.prediction is not None
    if sort == "sound":
        return "sound" in found.parts
    return found.curve is not None and found.curve.table.name == sort


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
        to_come: ToCome | None,
    ) -> None:
        self.data, self.where, self.to_come = data, where, to_come
        self.find_method, self.names = find_method, names
        self.walker = Walker(where)
        self.faults = self.walker.faults
        self.beside = Beside(folder, self.faults)

    def take_tables(self) -> None:
        """Tables that stand in place of a file's name, to the files already read."""
        for table in (*TASKS.values(), *parts.TABLES.values()):
            if not isinstance(self.data.get(table.name), Mapping):
                continue
            for key in (f.name for f in table.fields if isinstance(f, File)):
                columns = self.data[table.name].get(key)
                if hasattr(columns, "items"):
                    self.data[table.name] = {**self.data[table.name], key: f"{table.name}.{key}"}
                    self.beside.take(columns, f"{table.name}.{key}")
        lists = {table.name: [f.name for f in table.fields if isinstance(f, File)] for table in parts.TABLES.values()}
        for name, keys in {**lists, "flow": ["log", "grid"]}.items():
            sections = self.data.get(name)
            if not isinstance(sections, list):
                continue
            self.data[name] = [dict(raw) if isinstance(raw, Mapping) else raw for raw in sections]
            for i, raw in enumerate(self.data[name]):
                for key in keys:
                    columns = raw.get(key) if isinstance(raw, Mapping) else None
                    if hasattr(columns, "items"):
                        raw[key] = path_name((name, i, key))
                        self.beside.take(columns, raw[key])

    def read(self) -> Record:
        self.data = written(self.data)
        methods = self._methods()
        # where a method is not known, its hardware may be any method's
        told = [m for m in methods if m is not None] if methods and None not in methods else self._every_method()
        hardware_tables = {t.name: t for t in (schema.CHAMBERS, *(t for m in told for t in m.hardware))}
        tables = {"air", "instruments", "claims", "plan", "flow", *hardware_tables, *TASKS}
        tables |= set(parts.TABLES)
        for name in self._misspelt(hardware_tables):
            tables.discard(name)
        heading = self._heading(tables)
        record = Record(self.where().split(",")[0], self.beside.digests, heading, findings=self.beside.findings)
        hardware = {
            table: {name: self._section(declared, raw, (table, name)) for name, raw in self._named(table)}
            for table, declared in hardware_tables.items()
        }
        points = self._points()
        for section in (section for sections in hardware.values() for section in sections.values()):
            calibrations(section, self.beside, self.walker)
        record.pieces = hardware
        flow_reader = FlowReader(self.walker, self.beside, hardware, points, self.to_come, self._measured())
        for i, method in enumerate(methods):
            if method is not None:
                record.flows.append(flow_reader.read(i, self.data["flow"][i], method))
        used = [name for flow in record.flows for name in flow.section.value("leaks", [])]
        for name in (name for name in hardware[schema.CHAMBERS.name] if name not in used):
            record.findings.append(
                Finding(flags.CHAMBER_UNNAMED, f'add leaks = ["{name}"] to the section it belongs to')
            )
        self._task(record, points)
        held = {name: raw for name, raw in self.data.items() if name in tables}
        record.parts = dict(parts.read_parts(PartReader(held, self.walker, self.beside, self._described)))
        if "electrical" in record.parts and None not in methods:
            self.faults += flow_unnamed(record.parts["electrical"].sections[0], record.flows)
        self._air(record, {**flow_reader.air, **(points.air if points is not None else {})})
        if "claims" in self.data:
            record.claims = self._claims(record, None not in methods)
        if self.to_come is not None:
            record.plan = self._plan()
        same_serial(hardware, self.faults)
        # the instruments last: what is local to a record is known by all its files, which have been read by now
        instruments = {
            name: self._section(schema.INSTRUMENT, raw, ("instruments", name))
            for name, raw in self._named("instruments")
        }
        for section in instruments.values():
            calibrations(section, self.beside, self.walker)
        record.identity = hashlib.sha256("".join(record.digests.values()).encode()).hexdigest()[:16]
        for name, section in instruments.items():
            broken = [f.name for f in schema.INSTRUMENT.fields if self.walker.is_spoiled("instruments", name, f.name)]
            broken += [] if "date" in heading else ["date"]
            instrument = read_instrument(section, record.id, heading.value("date"), self.faults, broken)
            if instrument is not None:
                record.instruments[name] = instrument
        same_instrument(record.instruments, self.faults)
        unread = {name for name in instruments if name not in record.instruments}
        named = [s for sections in hardware.values() for s in sections.values()]
        named += [record.calibration] if record.calibration is not None else []
        named += [s for s in (record.curve,) if s is not None and s.value("figures") == MEASURED]
        named += [section for content in record.parts.values() for section in content.sections]
        for section in (*(f.section for f in record.flows), *record.air.values(), *named):
            known = not self.walker.is_spoiled("instruments")
            attach(section, record.instruments, unread if known else None, self.faults)
        if self.faults:
            raise InputError(self.beside.told(self.faults))
        record.sections = self.walker.sections
        record.tables = self.beside.tables()
        return record

    def _heading(self, tables: set[str]) -> Section:
        raw = {k: v for k, v in self.data.items() if k not in tables}
        for key, value in list(raw.items()):
            if isinstance(value, (dict, list)) and key not in {f.name for f in schema.HEADING.fields}:
                near = near_name(key, sorted(tables))
                if near:
                    self.walker.spoiled.add(near)  # it is missing because it stands here under another name
                alone = {
                    "flow": "[[flow]]",
                    **{name: f"[{name}]" for name in ("claims", "plan", *TASKS)},
                    **parts.HEADINGS,
                }
                remedy = "Correct the name, or remove the table."
                if near:
                    remedy = f"Did you mean {alone.get(near, f'[{near}.…]')}?"
                self.walker.miss((key,), f"a table {key}", f"one of the tables {', '.join(sorted(tables))}", remedy)
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

    def _every_method(self) -> list[Declared]:
        return [self.find_method(name) for name in self.names]

    def _misspelt(self, hardware: Collection[str]) -> list[str]:
        """Single tables that hold tables by name here: [duct.main], where [ducts.main] is meant."""
        single = [
            table.name for part in parts.PARTS for table in part.tables if isinstance(self.data.get(table.name), dict)
        ]
        return [
            name
            for name in single
            if self.data[name]
            and all(isinstance(raw, Mapping) for raw in self.data[name].values())
            and near_name(name, list(hardware))
        ]

    def _methods(self) -> list[Declared | None]:
        raw = self.data.get("flow")
        if raw is None and (any(name in self.data for name in TASKS) or parts.stands_alone(self.data)):
            return []  # a reference instrument may stand in the table of points
        if raw is None and any(near_name(key, ["flow"]) for key in self.data):
            return []  # said of the table that stands there under another name
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
        if isinstance(raw, Mapping):
            remedy = "Write [[flow]]: there may be several."
            self.walker.miss(("flow",), "[flow], a single table", "[[flow]], in double brackets", remedy)
            raw = self.data["flow"] = [raw]
        if not isinstance(raw, list):
            self.walker.fault(
                ("flow",), raw, "[[flow]], in double brackets", "Write [[flow]], and its fields below it."
            )
            return []
        found: list[Declared | None] = []
        for i, section in enumerate(raw):
            name = section.get("method") if isinstance(section, Mapping) else None
            if isinstance(name, str) and name in self.names:
                found.append(self.find_method(name))
                continue
            found.append(None)
            near = near_name(name, list(self.names)) if isinstance(name, str) else None
            remedy = f'Did you mean method = "{near}"?' if near else 'Write method = "nozzle", for instance.'
            read = "no method" if name is None else shown(name)
            self.walker.miss(("flow", i, "method"), read, f"one of: {', '.join(self.names)}", remedy)
        return found

    def _points(self) -> Points | None:
        held = [name for name in TASKS if name in self.data]
        if held and PREDICTION.name in self.data:
            said = "a prediction, and fans and filters in records of their own, which it names"
            remedy = "Did you mean [[filters]]?" if held[0] == FILTER.name else f"Move [{held[0]}] into its own file."
            self.walker.miss((held[0],), f"a table {held[0]} beside [predict]", said, remedy)
            self.walker.spoiled.add("filters")
            for name in held:
                del self.data[name]
            return None
        for name in held[1:]:
            remedy = "Give each a record of its own."
            self.walker.miss((name,), f"a table {name} beside a table {held[0]}", "one of the two", remedy)
        if not held:
            if not self.walker.is_spoiled("calibration"):
                return None
            held = ["calibration"]
        raw = self.data.get(held[0])
        raw = raw if isinstance(raw, Mapping) else {}
        if held[0] != "calibration" and "points" not in raw:
            return None  # they stand in the table itself
        flows = self.data.get("flow")
        return read_points(self.walker, self.beside, TASKS[held[0]], raw, flows if isinstance(flows, list) else [])

    def _task(self, record: Record, points: Points | None) -> None:
        """The [calibration], [fan] or [filter] table; its readings of every point stand in the table of points."""
        name = next((name for name in TASKS if name in self.data), None)
        if name is None:
            return
        raw, table = self.data[name], TASKS[name]
        if table is CALIBRATION:
            table = task_table(str(raw.get("calibrates")) if isinstance(raw, Mapping) else "")
        readings = [f for f in table.fields if isinstance(f, Reading)]
        given = points.readings(readings, (name,)) if points is not None else {}
        section = self.walker.section(table, raw, (name,), given)
        if points is not None:
            points.told_unused()
            record.points = points
            record.findings += points.findings
        if isinstance(raw, Mapping):
            self.walker.complete(section)
        if name == "calibration":
            record.calibration = section
        else:
            record.curve = section
            record.in_use = read_courses(section, self.beside, self.walker)

    def _described(self, declared: Described, raw: Any, path: tuple[str | int, ...]) -> Record | None:
        """The record that a field names; None after a fault."""
        where, sort = self.where(*path), declared.table
        try:
            source = find_named(self.beside.folder, raw, where, DESCRIBED[sort]) if isinstance(raw, str) else raw
            found = read_record(source, self.find_method, self.names, named_by=where, named_as=sort)
        except InputError as error:
            self.faults.extend(error.faults)
            return None
        if not _holds(found, sort):
            held = "a record of readings: [[flow]], [particles] or [decay]" if sort == "test" else ""
            held = held or f"a record with a table [{sort}]"
            what = {"test": "cleaner under test", "sound": "cleaner under test", "predict": "cleaner"}.get(sort, sort)
            self.faults.append(Fault(where, shown(raw), held, f"Name the record of a {what}."))
            return None
        for name, digest in found.digests.items():
            known = self.beside.digests.get(name, digest)
            self.beside.digests[name if known == digest else f"{found.name}: {name}"] = digest
        return found

    def _plan(self) -> Section | None:
        if "plan" not in self.data:
            if not self.walker.is_spoiled("plan"):
                remedy = 'Add [plan] with flow = "600 m3/h" below it, for instance.'
                self.faults.append(
                    Fault(self.where(), "no [plan]", "the flow to be expected, in a table [plan]", remedy)
                )
            return None
        return self._section(plan_facts.PLAN, self.data["plan"], ("plan",))

    def _measured(self) -> set[str]:
        """Kinds that the instruments say they measure."""
        raw = self.data.get("instruments", {})
        tables = raw.values() if isinstance(raw, Mapping) else ()
        return {str(table.get("measures")) for table in tables if isinstance(table, Mapping)}

    def _claims(self, record: Record, complete: bool) -> Section:
        """What is stated of the unit; of which flow is told by the words of a section that was read."""
        section = self._section(unit_facts.CLAIMS, self.data["claims"], ("claims",))
        if complete:
            self.faults += flow_unnamed(section, record.flows)
        return section

    def _air(self, record: Record, from_log: dict[str, dict[str, Item]]) -> None:
        raw = self.data.get("air", {})
        if not isinstance(raw, Mapping):
            self.walker.fault(("air",), raw, "a table [air.meter]", "Write [air.meter], and its readings below it.")
            raw = {"meter": None}
        readings = [name for name in raw if name in {f.name for f in schema.AIR.fields}]
        unknown = [name for name in raw if name not in schema.STATIONS and name not in readings]
        if readings:
            remedy = "Write [air.meter] in place of [air], or [air.unit] or [air.room]."
            self.walker.miss(("air",), f"[air] with {', '.join(readings)}", "a station in the heading", remedy)
        for name in unknown:
            near = near_name(name, list(schema.STATIONS))
            remedy = f"Did you mean [air.{near}]?" if near else "Write [air.meter], [air.unit] or [air.room]."
            self.walker.fault(("air", name), name, f"one of: {', '.join(schema.STATIONS)}", remedy)
        for name in schema.STATIONS:
            if isinstance(raw.get(name), Mapping):
                section = self.walker.section(
                    schema.air_table(name), raw[name], ("air", name), from_log.pop(name, None)
                )
                self.walker.complete(section)
                record.air[name] = section
            elif name in raw and not self.walker.is_spoiled("air"):
                remedy = "Write its readings on lines of their own below it."
                self.walker.fault(("air", name), raw[name], f"a table [air.{name}]", remedy)
            elif (
                name == "meter"
                and record.flows
                and not (readings or unknown or name in raw or self.walker.is_spoiled("air"))
            ):
                remedy = "Say in which air the flow was measured: temperature, pressure, humidity."
                self.walker.miss((), "no [air.meter]", "the air at the meter, in a table [air.meter]", remedy)
        for name in () if readings or unknown else from_log:
            said = f"a table [air.{name}] for the log's column air.{name}"
            self.walker.miss(("air",), f"no [air.{name}]", said, f"Add [air.{name}], with what the log does not hold.")
