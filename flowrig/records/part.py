"""What a record may hold beside its flows, or in their place: tables that belong together, and how they are read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from flowrig.errors import Fault
from flowrig.records.beside import Beside
from flowrig.records.csv_text import Table as Csv
from flowrig.records.declare import Described, Table
from flowrig.records.items import Section, path_name
from flowrig.records.walk import Walker

LookUp = Callable[[Described, Any, tuple[str | int, ...]], Any]


class Content(Protocol):
    """What was read of a part."""

    @property
    def sections(self) -> list[Section]:
        """Every section with readings, which get their instruments."""


@dataclass(frozen=True)
class Part:
    """Tables that belong together.

    Attributes
    ----------
    name : str
        The table that it cannot be without; its content is `record.parts[name]`.
    read : callable
        From a `PartReader` to the content; faults go to the reader.
    tables : tuple of Table
        Each a single table of the record: ``[room]``.
    lists : tuple of Table
        Each any number of sections: ``[[filters]]``.
    named : tuple of Table
        Each any number of sections by a name: ``[counters.A]``.
    """

    name: str
    read: Callable[[PartReader], Content]
    tables: tuple[Table, ...] = ()
    lists: tuple[Table, ...] = ()
    named: tuple[Table, ...] = ()

    @property
    def all_tables(self) -> tuple[Table, ...]:
        return (*self.tables, *self.lists, *self.named)

    def heading(self, table: Table) -> str:
        """How a section of one of its tables begins."""
        form = "[{}]" if table in self.tables else "[[{}]]" if table in self.lists else "[{}.…]"
        return form.format(table.name)


@dataclass
class PartReader:
    """Reads the tables of a part from a record's data.

    Attributes
    ----------
    data : mapping
        The record as TOML has it.
    walker : Walker
    beside : Beside
        The files beside the record.
    look_up : callable
        From what a field holds to the record it names, or None after a fault.
    by_name : dict of str to dict of str to Section
        Sections by their names that were read already, by table.
    """

    data: Mapping[str, Any]
    walker: Walker
    beside: Beside
    look_up: LookUp
    by_name: dict[str, dict[str, Section]] = field(default_factory=dict)

    @property
    def faults(self) -> list[Fault]:
        return self.walker.faults

    def section(self, table: Table, raw: object, path: tuple[str | int, ...]) -> Section:
        """A table read and complete; where it names records, the records stand in place of their names."""
        read = self.walker.section(table, raw, path)
        for name, item in list(read.items.items()):
            if not isinstance(item.field, Described):
                continue
            item.value = self._looked_up(item.field, item.value, (*path, name))
            if item.value is None:
                del read.items[name]
                self.walker.spoiled.add(path_name((*path, name)))
        self.walker.complete(read)
        return read

    def one(self, table: Table) -> Section | None:
        """The single table of this name, or None."""
        return self.section(table, self.data[table.name], (table.name,)) if table.name in self.data else None

    def several(self, table: Table) -> list[Section]:
        """The sections in double brackets."""
        raw = self.data.get(table.name, [])
        if isinstance(raw, list):
            return [self.section(table, one, (table.name, i)) for i, one in enumerate(raw)]
        remedy = f"Write [[{table.name}]]: there may be several."
        if not isinstance(raw, Mapping):
            self.walker.fault((table.name,), raw, f"[[{table.name}]], in double brackets", "Write its fields below it.")
            return []
        read, said = f"[{table.name}], a single table", f"[[{table.name}]], in double brackets"
        self.walker.miss((table.name,), read, said, remedy)
        return []

    def named(self, table: Table) -> dict[str, Section]:
        """The sections by their names; read once, where several parts have the table."""
        if table.name not in self.by_name:
            self.by_name[table.name] = self._named(table)
        return self.by_name[table.name]

    def _named(self, table: Table) -> dict[str, Section]:
        raw = self.data.get(table.name, {})
        if isinstance(raw, Mapping):
            return {name: self.section(table, one, (table.name, name)) for name, one in raw.items()}
        remedy = f"Write [{table.name}.some_name] and its fields below it."
        self.walker.fault((table.name,), raw, f"tables [{table.name}.…]", remedy)
        return {}

    def csv(self, section: Section, name: str) -> Csv | None:
        """The table in the file that a field names; None where none is named or it could not be read."""
        return self.beside.table(section.value(name), section[name].where) if name in section else None

    def _looked_up(self, declared: Described, raw: Any, path: tuple[str | int, ...]) -> Any:
        if not declared.several:
            return self.look_up(declared, raw, path)
        found = [self.look_up(declared, one, (*path, i)) for i, one in enumerate(raw)]
        return None if any(one is None for one in found) else found
