"""The files a record names, each read once: CSV tables with what had to be guessed about them, and calibrations."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records import csv_text, tables, toml_text
from flowrig.records.blank_rows import told_once
from flowrig.records.calibration import CalibrationFile, content_digest, read_calibration
from flowrig.records.declare import CALIBRATIONS, Calibration, Finding, FlagMeaning, Sort
from flowrig.records.files import near_name, quoted
from flowrig.records.items import path_name
from flowrig.records.words import shown

FILE_GUESSED = FlagMeaning(
    "file read with a guess",
    "note",
    "Something about a CSV file was not certain (its encoding, its decimal sign, a row of units, whether it is whole) "
    "and was guessed; the message says what. Check that the first and last rows came out right.",
)
FLAGS = (FILE_GUESSED,)
MOST_KEPT = 400  # rows of a table that a record remembers, to be shown
CALIBRATION = Sort("calibration file", CALIBRATIONS)


class Beside:
    """Files in the folder of a record.

    Attributes
    ----------
    in_python : bool
        The record is a mapping: a path or a mapping may stand in place of a calibration's name.
    digests : dict of str to str
        SHA-256 of every file read, the record's own first.
    findings : list of Finding
    """

    def __init__(self, folder: Path, faults: list[Fault]) -> None:
        self.folder, self.faults = folder, faults
        self.in_python = False
        self.digests: dict[str, str] = {}
        self.findings: list[Finding] = []
        self._read: dict[str, csv_text.Table | None] = {}

    def table(self, name: str, where: str) -> csv_text.Table | None:
        """The table in a file, or None where it could not be read, which is then among the faults."""
        return self._once(name, lambda: self._file(name, where))

    def _file(self, name: str, where: str) -> csv_text.Table:
        path = csv_text.inside(self.folder, name, where=where)
        try:
            return csv_text.read_table(path, name=name)
        except InputError as error:
            if path.is_file():
                raise
            # no line of the file to point at, but the one that names it
            raise InputError(replace(fault, where=where) for fault in error.faults) from None

    def tables(self) -> dict[str, csv_text.Table]:
        """What was read, by the name of the file: of long ones every so many rows and the last."""
        found = {}
        for name, table in self._read.items():
            if table is not None:
                every = -(-len(table) // MOST_KEPT) or 1
                kept = sorted({*range(0, len(table), every), len(table) - 1}) if len(table) else []
                found[name] = table if every == 1 else table.only(kept)
        return found

    def told(self, faults: list[Fault]) -> list[Fault]:
        """The faults of a record, a blank row of one of its tables told once."""
        return told_once(faults, self._read.values())

    def take(self, columns: Any, name: str) -> None:
        """A table that stands in a Python record in place of its file's name."""
        self._once(name, lambda: tables.table_of(columns, name))

    def _once(self, name: str, read: Callable[[], csv_text.Table]) -> csv_text.Table | None:
        if name not in self._read:
            self._read[name] = None
            try:
                table = self._read[name] = read()
                self.digests[name] = table.digest
                self.findings += [Finding(FILE_GUESSED, f"{table.name}: {note}") for note in table.notes]
            except InputError as error:
                self.faults.extend(error.faults)
        return self._read[name]

    def calibration(self, declared: Calibration, raw: Any, path: tuple[str | int, ...], where: str) -> Any:
        """The calibration that a field names, or None where it could not be read, which is then among the faults."""
        try:
            found = self._calibration(declared, raw, path_name(path), where)
        except InputError as error:
            self.faults.extend(error.faults)
            return None
        self.digests[found.name] = found.digest
        return found

    def _calibration(self, declared: Calibration, raw: Any, place: str, where: str) -> CalibrationFile:
        if not isinstance(raw, str) and not self.in_python:
            remedy = "Write its name in quotes; the numbers stay in the file."
            raise InputError(Fault(where, shown(raw), "the name of a calibration file", remedy))
        if isinstance(raw, Mapping):
            return read_calibration(
                raw, lambda *at: f"record, {path_name((place, *at))}", place, content_digest(raw), declared.calibrates
            )
        file = find_named(self.folder, raw, where, CALIBRATION) if isinstance(raw, str) else Path(raw)
        try:
            document = toml_text.load(file, file.name, sort="a calibration")
        except InputError as error:
            if file.is_file():
                whole = "The file is damaged or cut short: take it whole from where it was written."
                raise InputError(replace(fault, remedy=whole) for fault in error.faults) from None
            # no line of the file to point at, but the one that names it
            raise InputError(replace(fault, where=where) for fault in error.faults) from None
        return read_calibration(document.data, document.where, document.name, document.digest, declared.calibrates)


def find_named(folder: Path, name: str, where: str, sort: Sort) -> Path:
    """The file of a bare `name`: beside the record, or in the folder of its sort there or beside a folder above.

    Raises
    ------
    InputError
        At `where`: there is no such file, or there are two that differ.
    """
    here = folder.resolve()
    folders = [here, *(above / sort.shelf for above in (here, *here.parents))]
    found = [csv_text.inside(place, name, where) for place in folders if os.path.isfile(place / name)]
    if not found:
        known = [entry for place in folders if os.path.isdir(place) for entry in place.glob("*.toml")]
        stem = near_name(name.removesuffix(".toml"), [entry.stem for entry in known])
        near = stem and f"{stem}.toml"
        expected = f"a {sort.words} beside the record, or in a folder {sort.shelf} there or further up"
        remedy = f"Did you mean {quoted(near)}?" if near else "Check its name, or put the file there."
        raise InputError(Fault(where, f"nothing, there is no file {quoted(name)}", expected, remedy))
    if len({path.read_bytes() for path in found}) > 1:
        read = f"{quoted(name)}, of which there are {len(found)} that differ"
        expected = f"one {sort.words} of that name beside the record and in its folders {sort.shelf}"
        remedy = f"A new {sort.words} is a new file with a new name: rename one of them, or remove it."
        raise InputError(Fault(where, read, expected, remedy))
    return found[0]
