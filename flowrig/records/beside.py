"""The CSV files a record names, each read once, with what had to be guessed about them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records import csv_text, tables
from flowrig.records.declare import Finding, FlagMeaning

FILE_GUESSED = FlagMeaning(
    "file read with a guess",
    "note",
    "Something about a CSV file was not certain (its encoding, its decimal sign, a row of units, whether it is whole) "
    "and was guessed; the message says what. Check that the first and last rows came out right.",
)
FLAGS = (FILE_GUESSED,)


class Beside:
    """Files in the folder of a record.

    Attributes
    ----------
    digests : dict of str to str
        SHA-256 of every file read, the record's own first.
    findings : list of Finding
    """

    def __init__(self, folder: Path, faults: list[Fault]) -> None:
        self.folder, self.faults = folder, faults
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
