"""How a filter changes in use, as its record's tables `loading` and `charge` have it: each a course from new on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flowrig.errors import Fault
from flowrig.records import tables
from flowrig.records.beside import Beside
from flowrig.records.csv_text import Header
from flowrig.records.csv_text import Table as Csv
from flowrig.records.declare import Reading
from flowrig.records.files import quoted
from flowrig.records.items import Array, Section
from flowrig.records.walk import Walker

TIME, DUST = "time", "dust"
LEAST = 2  # rows
ALONG = {
    TIME: Reading(TIME, "Running time since the filter was new.", kind="time", low=0.0, example='"200 h"'),
    DUST: Reading(DUST, "Dust fed to one filter since it was new.", kind="mass", low=0.0, example='"30 g"'),
}
TOLD = {  # table: along what it may be told, what it tells
    "loading": (
        (TIME, DUST),
        Reading("drop", "Drop of the filter at final_velocity.", kind="pressure difference", high=5e3),
    ),
    "charge": ((TIME,), Reading("efficiency", "Efficiency in use.", kind="ratio", low=-0.5, high=1.0)),
}


@dataclass(frozen=True)
class Course:
    """What a table tells of a filter in use.

    Attributes
    ----------
    along : str
        ``time`` [s] or ``dust`` [kg, a filter].
    at : array
        Rising, from 0 on.
    value : array
        Drop [Pa] or efficiency [1] there.
    unit : str
        As the table tells `along`.
    where : str
        File and column, for messages.
    """

    along: str
    at: Array
    value: Array
    unit: str
    where: str


def read_courses(section: Section, beside: Beside, walker: Walker) -> dict[str, Course]:
    """The tables that a [filter] section names; faults go to the walker.

    Returns
    -------
    dict of str to Course
        By the name of the field: ``loading``, ``charge``.
    """
    found = {}
    for name in (name for name in TOLD if name in section):
        table = beside.table(section.value(name), section[name].where)
        course = _course(name, table, walker.faults) if table is not None else None
        if course is not None:
            found[name] = course
    return found


def _course(name: str, table: Csv, faults: list[Fault]) -> Course | None:
    before = len(faults)
    ways, told = TOLD[name]
    heads = {way: header for way in ways if (header := tables.find_column(table, way)) is not None}
    value = tables.find_column(table, told.name)
    if not heads:
        help_ = ", or ".join([_said(ALONG[ways[0]]), *(f"{quoted(way)}, {_said(ALONG[way])}" for way in ways[1:])])
        faults.append(tables.missing_column(table, ways[0], help_))
    if len(heads) > 1:
        read = f"the columns {' and '.join(quoted(h.raw) for h in heads.values())}"
        remedy = "Keep the one that your use is known by, and name the other 'note'."
        faults.append(Fault(f"{table.name}, header", read, "either a time or the dust fed", remedy))
    if value is None:
        faults.append(tables.missing_column(table, told.name, _said(told)))
    if len(faults) > before or value is None:
        return None  # a column more is the one that is missing, most likely
    known = {h.raw for h in (*heads.values(), value)}
    for header in table.headers:
        if header.raw not in known and header.name.casefold() != "note":
            remedy = "Remove the column, or name it 'note'."
            said = f"only the columns {' or '.join(ways)}, {told.name} and note"
            faults.append(
                Fault(f"{table.name}, column {quoted(header.raw)}", "a column that is no field", said, remedy)
            )
    if len(faults) > before:
        return None
    if len(table) < LEAST:
        remedy = "Add the filter in use, with the drop or efficiency it had by then."
        faults.append(Fault(table.name, f"{len(table)} row", "two rows at least: new, and in use", remedy))
        return None
    [(way, along)] = heads.items()
    at = tables.column_item(table, along, ALONG[way], "", "", faults)
    values = tables.column_item(table, value, told, "", "", faults)
    if at is not None:
        _rising(table, along, at.value, faults)
    if values is not None:
        _meaningful(name, table, value, values.value, faults)
    if at is None or values is None or len(faults) > before:
        return None
    return Course(way, at.value, values.value, at.unit, f"{table.name}, column {quoted(value.raw)}")


def _said(declared: Reading) -> str:
    return declared.help[:1].lower() + declared.help[1:].rstrip(".")


def _rising(table: Csv, header: Header, at: Array, faults: list[Fault]) -> None:
    first = [0] if at[0] != 0.0 else []
    new = "0 in the first row: the new filter"
    faults += tables.cell_faults(table, header, first, new, "Begin with the new filter, at 0.")
    back = np.flatnonzero(np.diff(at) <= 0.0) + 1
    remedy = "Sort the rows, and give each time once."
    faults += tables.cell_faults(table, header, back, "more than in the row above", remedy)


def _meaningful(name: str, table: Csv, header: Header, value: Array, faults: list[Fault]) -> None:
    if name == "loading":
        low = np.flatnonzero(value <= 0.0)
        faults += tables.cell_faults(table, header, low, "a drop above zero", "Check the reading, and its unit.")
    elif value[0] <= 0.0:
        remedy = "Check the first row: of a filter that holds nothing back, nothing can be lost."
        faults += tables.cell_faults(table, header, [0], "an efficiency of the new filter above zero", remedy)
