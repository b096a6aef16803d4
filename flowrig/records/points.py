"""Paired readings: what a reference and a box, a chamber or an instrument showed, point by point, in one table.

A row is a point. Its columns stand for readings of the [[flow]] section that the row names, for readings of the air,
and for those of the [calibration] table; three more say in which run, direction and mounting it was read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig.errors import Fault
from flowrig.records import csv_text, schema, tables
from flowrig.records.beside import Beside
from flowrig.records.declare import (
    Choice,
    Date,
    Field,
    File,
    Finding,
    FlagMeaning,
    Given,
    OneOf,
    Pairs,
    Reading,
    Table,
    Text,
)
from flowrig.records.files import near_name, quoted
from flowrig.records.formulas import BOX, CALIBRATES, CHAMBER, FORMULA_NAMES
from flowrig.records.items import ROWS, Item, Section, path_name
from flowrig.records.record import Declared
from flowrig.records.walk import Walker

UNUSED = FlagMeaning(
    "columns of the points",
    "note",
    "Columns of the table of points that stand for no reading: they were read past. If one of them is a reading, give "
    "it that reading's name, or name it under columns.",
)
FLAGS = (UNUSED,)
DIRECTIONS = ("up", "down")
SECTION, RUN, DIRECTION, MOUNTING, SETTING = "section", "run", "direction", "mounting", "setting"
LABELS = {"calibration": (SECTION, RUN, DIRECTION, MOUNTING), "fan": (SECTION, SETTING), "filter": (SECTION,)}

CALIBRATION = Table(
    "calibration",
    "Paired readings of a reference and of what is calibrated or checked against it, in a table of points.",
    (
        Choice(
            "calibrates",
            "What is calibrated: a box as a meter, the leakage of a chamber, or an instrument, by the kind of quantity "
            "that it shows.",
            required=True,
            choices=CALIBRATES,
        ),
        File(
            "points",
            "CSV with a row for each point: indication, the readings of the reference, and whatever else changed. "
            "Columns run, direction (up or down), mounting and section (the name of the [[flow]] section that the row "
            "was read by) need no unit.",
            example='"points.csv"',
        ),
        File(
            "decay",
            "Of a chamber sealed and left to itself, in place of points: CSV with time and indication, the pressure as "
            "it falls, 20 rows at least over the fall.",
            example='"decay.csv"',
        ),
        Given(
            "volume",
            "Of a decay: volume of the chamber, free of what stands in it.",
            kind="volume",
            above=0.0,
            limits="must",
            example='"1.46 m3 ± 2 %"',
        ),
        Given(
            "compression",
            "Of a decay: exponent of the change of state, 1 where the walls keep the air at their temperature, 1.4 "
            "where they do not.",
            kind="ratio",
            default="1.2 ± 0.2",
            low=1.0,
            high=1.4,
            example='"1.05 ± 0.05"',
        ),
        Given(
            "temperature_drift",
            "Of a decay: by how much the air in the chamber may have warmed or cooled over the fall. 0.1 K is 34 Pa.",
            kind="temperature difference",
            default="0.1 K",
            low=0.0,
            example='"0.05 K"',
        ),
        Pairs(
            "columns",
            "Header of a reading's column in the table of points, where it differs from its name.",
            example='{ indication = "box drop [Pa]" }',
        ),
        Text(
            "serial",
            "What the box or the chamber is known by: its errors are shared wherever it is used. Of an instrument its "
            "own serial number is taken.",
            example='"LF-BOX-2"',
            asked=True,
        ),
        Choice("formula", "Curve to fit.", choices=("not said", *FORMULA_NAMES), asked=True),
        Given(
            "exponent",
            "Exponent of the power law, where it is fixed and not found: 0.5 for a sharp hole.",
            kind="ratio",
            low=0.4,
            high=1.1,
            limits="never",
            example="0.5",
        ),
        Reading(
            "indication",
            "What the box, chamber or instrument showed: of a box its pressure drop, of a chamber its gauge pressure.",
            required=True,
            kind="pressure difference",
            low=-50e3,
            high=50e3,
            example='"60.3 Pa"',
        ),
        Reading(
            "indication_static",
            "Gauge static pressure before the opening of the box that makes the drop; zero where it draws room air in.",
            kind="pressure difference",
            low=-20e3,
            high=20e3,
            example='"60.1 Pa"',
        ),
        Reading(
            "reference",
            "What a reference showed, where it is no [[flow]] of this record: of an instrument the same quantity, of a "
            "box or a chamber the flow, actual at the air of [air.meter].",
            kind="pressure difference",
        ),
        Given(
            "area",
            "Area that the reference flow passes evenly where an anemometer stood: flow over area is its velocity.",
            kind="area",
            above=0.0,
            limits="must",
            example='"0.0314 m2 ± 1 %"',
        ),
        Text("certificate", "Certificate of the reference: its number and who issued it."),
        Date("due", "Day on which the next calibration falls due.", example="2027-05-20", asked=True),
        Text("follows", "File name of the calibration that this one replaces.", example='"box-2-2025.toml"'),
        Given(
            "remount_limit",
            "How far the flow may lie off after a remounting, where fewer than three mountings were tried: 2 to 5 %, "
            "common practice without a source.",
            kind="ratio",
            low=0.02,
            high=0.05,
            limits="never",
            example='"3 %"',
        ),
        Choice(
            "remount",
            "In a check: whether the box was taken down, moved or put together again since it was calibrated.",
            choices=("remounted", "as calibrated"),
        ),
        Pairs("with", "Instrument of each reading, where more than one measures its kind.", alone=True),
        Text("notes", "Anything else."),
    ),
    alternatives=(OneOf((("points",), ("decay", "volume"))), OneOf((("reference",), ("area",)), required=False)),
)
OF_DECAY = ("decay", "volume", "compression", "temperature_drift")


def task_table(calibrates: str) -> Table:
    """The [calibration] table of one kind: readings of an instrument are of what it measures."""
    if calibrates in (BOX, CHAMBER) or calibrates not in CALIBRATES:
        unwanted = {"area", *(("indication_static", "remount") if calibrates == CHAMBER else OF_DECAY)}
    else:
        unwanted = {"indication_static", "exponent", "remount_limit", "remount", "serial", *OF_DECAY}
        unwanted |= set() if calibrates == "velocity" else {"area"}
    fields: list[Field] = []
    for f in CALIBRATION.fields:
        if f.name in unwanted:
            continue
        if isinstance(f, Reading) and f.name in ("indication", "reference") and calibrates in schema.CORRECTED:
            f = replace(f, kind=calibrates, low=-np.inf, high=np.inf)
        elif f.name == "reference":
            f = replace(f, kind="flow")  # type: ignore[call-arg]
        fields.append(f)
    known = {f.name for f in fields}
    alternatives = tuple(a for a in CALIBRATION.alternatives if all(n in known for names in a.sets for n in names))
    if calibrates != CHAMBER:
        fields = [replace(f, required=True) if f.name == "points" else f for f in fields]
    return replace(CALIBRATION, fields=tuple(fields), alternatives=alternatives)


@dataclass
class Points:
    """A record's table of points, and which rows belong to which [[flow]] section.

    Attributes
    ----------
    task : Table
        The table of the record that names it: [calibration], [fan] or [filter].
    table : csv_text.Table or None
        None where it could not be read, which is then among the faults.
    by_section : dict of int to list of int
        Rows of each [[flow]] section, by its number.
    labels : dict of str to list of str
        What the columns run, direction, mounting and setting say; without a column nothing.
    air : dict of str to dict of str to Item
        Readings of the air, one a row, by station.
    time : array or None
        Of a decay, the time of each row. [s]
    """

    walker: Walker
    task: Table
    table: csv_text.Table | None = None
    by_section: dict[int, list[int]] = field(default_factory=dict)
    labels: dict[str, list[str]] = field(default_factory=dict)
    air: dict[str, dict[str, Item]] = field(default_factory=dict)
    time: NDArray[np.float64] | None = None
    findings: list[Finding] = field(default_factory=list)
    _columns: dict[str, str] = field(default_factory=dict)
    _used: list[csv_text.Header] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.table) if self.table is not None else 0

    def readings(
        self, declared: Sequence[Reading], place: tuple[str | int, ...], rows: Sequence[int] | None = None
    ) -> dict[str, Item]:
        """Columns of some readings, each with a value in every one of the rows; a column blank in all is not there."""
        if self.table is None:
            return {}
        table = self.table if rows is None else self.table.only(rows)
        found: dict[str, Item] = {}
        for reading in declared:
            prefix = self._prefix(reading, place)
            name = self._columns.get(f"{prefix}{reading.name}", f"{prefix}{reading.name}")
            header = tables.find_column(table, name)
            if header is None:
                continue
            self._used.append(header)
            needed = reading.required and place[0] == self.task.name  # a flow's may stand in its section
            if not len(table) or (not needed and all(not cell for cell in table.column(header.raw))):
                continue
            path = path_name((*place, reading.name))
            item = tables.column_item(table, header, reading, path, ROWS, self.walker.faults)
            if item is None:
                self.walker.spoiled.add(path)
            else:
                found[reading.name] = item
        return found

    def _prefix(self, reading: Reading, place: tuple[str | int, ...]) -> str:
        """What stands before a reading's name in its header: a flow's is told from that of what it runs through."""
        if place[0] == "air":
            return f"air.{place[1]}."
        own = {f.name for f in self.task.fields if isinstance(f, Reading)}
        return "flow." if place[0] == "flow" and reading.name in own else ""

    def of_flow(self, i: int, method: Declared) -> dict[str, Item]:
        """Readings of a flow section, one a row that names it."""
        readings = [f for f in method.fields if isinstance(f, Reading) and not f.grid]
        if not self.by_section.get(i):  # what keeps them away is said where it stands
            self.walker.spoiled |= {path_name(("flow", i, f.name)) for f in readings}
        return self.readings(readings, ("flow", i), self.by_section.get(i, []))

    def told_unused(self) -> None:
        """Columns that stand for nothing are said."""
        if self.table is None:
            return
        labels = LABELS[self.task.name]
        left = [h for h in self.table.headers if not any(h is u for u in self._used) and h.name not in labels]
        twice = tables.second_columns(self.table, self._used, left)
        self.walker.faults.extend(twice)
        if left and not twice:
            self.findings.append(Finding(UNUSED, f"{self.table.name}: not used: {', '.join(h.raw for h in left)}"))


def read_points(walker: Walker, beside: Beside, task: Table, raw: Mapping[str, Any], flows: Sequence[Any]) -> Points:
    """The table that [calibration], [fan] or [filter] names, its rows told apart by section."""
    points = Points(walker, task)
    columns = raw.get("columns")
    points._columns = {k: v for k, v in columns.items() if isinstance(v, str)} if isinstance(columns, Mapping) else {}
    key = "decay" if "decay" in raw and "points" not in raw else "points"
    name = raw.get(key)
    table = points.table = beside.table(name, walker.where(task.name, key)) if isinstance(name, str) else None
    if table is None:  # said already, or with the other fields
        walker.spoiled |= {path_name((task.name, f.name)) for f in task.fields if isinstance(f, Reading)}
        air = [f.name for f in schema.AIR.fields if isinstance(f, Reading)]
        walker.spoiled |= {path_name(("air", station, name)) for station in schema.STATIONS for name in air}
        return points
    if key == "decay":
        _times(points, walker, table)
        return points
    for label in LABELS[task.name]:
        header = tables.find_column(table, label)
        if header is not None and header.unit is None:
            points._used.append(header)
            points.labels[label] = table.column(header.raw)
    _sections(points, walker, table, flows)
    _directions(points, walker, table)
    fields = [f for f in schema.AIR.fields if isinstance(f, Reading)]
    for station in schema.STATIONS:
        found = points.readings(fields, ("air", station))
        if found:
            points.air[station] = found
    return points


def _times(points: Points, walker: Walker, table: csv_text.Table) -> None:
    """The time of each row of a decay."""
    name = points._columns.get("time")
    header = tables.find_column(table, name) if name is not None else tables.time_column(table)
    if header is None:
        walker.faults.append(tables.missing_column(table, name or "time", "the time of each row", "time"))
        return
    points._used.append(header)
    seconds, _, faults = table.time(header.raw)
    walker.faults.extend(faults)
    if not faults:
        points.time = seconds


def _sections(points: Points, walker: Walker, table: csv_text.Table, flows: Sequence[Any]) -> None:
    names = [str(raw.get("name", "")) if isinstance(raw, Mapping) else "" for raw in flows]
    stated = points.labels.pop(SECTION, None)
    if stated is None:
        if len(flows) > 1:
            heads = ", ".join(quoted(h.raw) for h in table.headers)
            known = [quoted(name) for name in names if name]
            said = ", ".join(known) or "none has one"
            expected = f"a column {quoted(SECTION)}, the name of the [[flow]] section of each row: {said}"
            remedy = "Add it, or give the header that it stands under this name."
            walker.faults.append(Fault(f"{table.name}, header", f"the columns {heads}", expected, remedy))
        elif flows:
            points.by_section[0] = list(range(len(table)))
        return
    for row, name in enumerate(stated if flows else []):
        if name in names and name:
            points.by_section.setdefault(names.index(name), []).append(row)
    known = [n for n in names if n]
    expected = f"the name of a [[flow]] section: {', '.join(map(quoted, known)) or 'none has one'}"
    unknown = {name: "Write name = … in the section that is meant." for name in stated if flows and name not in known}
    _unknown(walker, table, SECTION, unknown, expected, known)
    for i, name in enumerate(names):
        if name and name in names[:i]:
            expected = f"a name of its own: the rows of the points tell flow[{names.index(name) + 1}] by this one"
            walker.faults.append(
                Fault(walker.where("flow", i, "name"), quoted(name), expected, "Rename one of the two.")
            )
        elif i not in points.by_section and not any(n not in names for n in stated):
            expected = "a row of the points that names each section"
            remedy = "Remove the section, or name it in the rows that were read by it."
            walker.faults.append(Fault(walker.where("flow", i), f"no point of {quoted(name)}", expected, remedy))


def _directions(points: Points, walker: Walker, table: csv_text.Table) -> None:
    remedy = "Write how the flow was approached, or leave the cell empty."
    unknown = {said: remedy for said in points.labels.get(DIRECTION, []) if said not in ("", *DIRECTIONS)}
    _unknown(walker, table, DIRECTION, unknown, "up or down", DIRECTIONS)


def _unknown(
    walker: Walker, table: csv_text.Table, label: str, words: Mapping[str, str], expected: str, known: Sequence[str]
) -> None:
    """Words of a label that stand for nothing, each told once, with what to do."""
    for word, remedy in words.items():
        header = tables.find_column(table, label)
        assert header is not None
        column = list(table.column(header.raw))
        near = near_name(word, list(known))
        more = f", in {column.count(word)} rows from here" if column.count(word) > 1 else ""
        read = (quoted(word) if word else "nothing") + more
        fault = Fault(table.where(column.index(word), label), read, expected, remedy)
        walker.faults.append(replace(fault, remedy=f"Did you mean {quoted(near)}?") if near else fault)


def rows_of(points: Points, i: int) -> NDArray[np.intp]:
    return np.asarray(points.by_section.get(i, []), dtype=np.intp)


def sliced(section: Section, rows: NDArray[np.intp]) -> Section:
    """A section whose readings of every point are those of some rows."""
    items = {n: replace(x, value=x.value[rows]) if x.run == ROWS else x for n, x in section.items.items()}
    return replace(section, items=items)
