"""Rows of a table in which no cell is filled: one fault each, however many columns miss something there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from flowrig.errors import Fault
from flowrig.records.csv_text import Table

NOTHING = "nothing"  # what is said to be read of a blank cell


def told_once(faults: Sequence[Fault], tables: Iterable[Table | None]) -> list[Fault]:
    """The faults, those of the blank cells of a blank row as one."""
    if not any(fault.read == NOTHING for fault in faults):
        return list(faults)
    blank = {
        f"{table.name}, row {table.row_number(row)}, column "
        for table in tables
        if table is not None
        for row in range(len(table))
        if not any(table.cell(row, column) for column in range(len(table.headers)))
    }
    found: dict[str, Fault] = {}
    for number, fault in enumerate(faults):
        row = next((r for r in blank if fault.read == NOTHING and fault.where.startswith(r)), "")
        if row:
            where = row.removesuffix(", column ")
            said = Fault(where, "a blank row", "readings in every row", "Remove the row, or fill it in.")
            found.setdefault(row, said)
        else:
            found[str(number)] = fault
    return list(found.values())
