"""A record: one test of one unit, as read and checked."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from flowrig.records.csv_text import Table as CsvTable
from flowrig.records.declare import Check, Field, Finding, OneOf, Reading, Table
from flowrig.records.in_use import Course
from flowrig.records.instruments import Instrument
from flowrig.records.items import Array, Item, Layout, Section
from flowrig.records.prediction import Prediction

Hardware = dict[str, Section]  # sections of one table, by name


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


class ToCome(Protocol):
    """What stands in for readings still to come while a measurement is planned."""

    def __call__(
        self, method: Any, section: Section, pieces: Mapping[str, Hardware], measured: Collection[str]
    ) -> dict[str, Any]:
        """Values for some of the fields that a flow section does not hold: for a reading an array in SI, for hardware
        a list of names.

        Parameters
        ----------
        method : Declared
        section : Section
            As far as it is written.
        pieces : mapping of table to Hardware
            Hardware that the record describes.
        measured : collection of str
            Kinds that its instruments measure.
        """


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
    to_come : tuple of str
        Fields in whose place something stands while the measurement is only planned.
    times : array or None
        Of the rows of its log, from the first. [s] None where no column gives them.
    """

    section: Section
    method: Any
    hardware: dict[str, list[Section]] = field(default_factory=dict)
    layout: Layout | None = None
    findings: list[Finding] = field(default_factory=list)
    to_come: tuple[str, ...] = ()
    times: Array | None = None

    @property
    def pieces(self) -> list[Section]:
        """Every piece of hardware the section names."""
        return [section for sections in self.hardware.values() for section in sections]


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
    claims : Section or None
        What a nameplate or label states.
    calibration : Section or None
        Paired readings of a reference and of what is calibrated against it.
    points : Points or None
        The table of points of a calibration, a fan or a filter.
    curve : Section or None
        A fan or a filter, described in a record of its own.
    in_use : dict of str to Course
        How a filter changes in use: ``loading``, ``charge``.
    parts : dict of str to Content
        What else it holds, by the name of each `flowrig.records.part.Part`.
    plan : Section or None
        What a measurement still to come is expected to be; read only while it is planned.
    sections : list of Section
        Every table of the record, whatever it is for, in the order of reading.
    tables : dict of str to CsvTable
        The tables of its files as they were read, by the name of the file; of long ones some rows.
    pieces : dict of str to dict of str to Section
        Hardware described, by table and name, whether a measurement names it or not.
    findings : list of Finding
        About its files.
    identity : str
        Digest over its own files, by which causes that are local to it are known.
    table : str
        Digest of the table of tests whose rows stand in for its readings, if any.
    allow_outside : bool
        Values outside a calibrated range were asked for.
    """

    name: str
    digests: dict[str, str]
    heading: Section
    air: dict[str, Section] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    flows: list[Flow] = field(default_factory=list)
    claims: Section | None = None
    calibration: Section | None = None
    points: Any = None
    plan: Section | None = None
    curve: Section | None = None
    in_use: dict[str, Course] = field(default_factory=dict)
    parts: dict[str, Any] = field(default_factory=dict)
    sections: list[Section] = field(default_factory=list)
    tables: dict[str, CsvTable] = field(default_factory=dict)
    pieces: dict[str, Hardware] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    identity: str = ""
    table: str = ""
    allow_outside: bool = False

    @property
    def prediction(self) -> Prediction | None:
        """A cleaner that is not built yet."""
        return self.parts.get("predict")

    @property
    def id(self) -> str:
        """Identity for causes that are local to this record."""
        return f"record:{self.identity}"

    @property
    def row_id(self) -> str:
        """Identity for causes that are local to a row of a table of tests."""
        return f"{self.id}:table:{self.table}"

    @property
    def named(self) -> list[Record]:
        """Records that one of its fields names."""
        found = []
        for item in (item for section in self.sections for item in section.items.values()):
            values = item.value if isinstance(item.value, list | tuple) else [item.value]
            found += [value for value in values if isinstance(value, Record)]
        return found

    def readings(self) -> dict[str, tuple[Section, Item]]:
        """Every reading of the record by its path."""
        sections = [*self.air.values()]
        for flow in self.flows:
            sections += [flow.section, *flow.pieces]
        return {
            item.path: (section, item)
            for section in sections
            for item in section.items.values()
            if isinstance(item.field, Reading)
        }
