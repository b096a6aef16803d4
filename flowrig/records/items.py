"""What was read from a record: checked, SI, and still knowing where it stood."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.records.declare import Field, Table
from flowrig.uncertainty.statement import Component

Array = NDArray[np.float64]

ROWS = "rows"  # the run of readings that come one a row from a table of tests


@dataclass
class Item:
    """One field as read.

    Attributes
    ----------
    field : Field
    value : Any
        SI float for a given value; array for readings, shape (n,) for n repeats or log rows, (n, points) for a grid;
        otherwise str, bool, int, date, list of str or dict.
    where : str
        File, line and path, for messages.
    path : str
        Path in the record alone, for identities.
    unit : str
        Spelling in which it was written, or empty.
    text : str
        A given value, or a few readings, as written, with their ±; empty where they came as quantities.
    components : tuple of Component
        The ± stated beside the value itself.
    assumed : bool
        Nothing was written and the declaration's default stands in.
    run : str
        Readings taken together, row by row, carry the same run; empty for a single value.
    instrument : str
        Name of the instrument that showed it, or empty.
    scatter : tuple of float, or None
        Of a single reading, for rows of a batch: absolute, relative, degrees of freedom. The larger of the two holds.
    """

    field: Field
    value: Any
    where: str = ""
    path: str = ""
    unit: str = ""
    text: str = ""
    components: tuple[Component, ...] = ()
    assumed: bool = False
    run: str = ""
    instrument: str = ""
    scatter: tuple[float, float, float] | None = None


@dataclass
class Section:
    """One table of a record as read: `section["drop"]` is an Item, `section.value("drop")` its value or None."""

    table: Table
    path: tuple[str | int, ...]
    where: str
    items: dict[str, Item] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Item:
        return self.items[name]

    def __contains__(self, name: str) -> bool:
        return name in self.items

    def __iter__(self) -> Iterator[str]:
        return iter(self.items)

    def value(self, name: str, default: Any = None) -> Any:
        item = self.items.get(name)
        return default if item is None else item.value

    @property
    def whole(self) -> bool:
        """Whether every field that it cannot be without was read; what was wrong with the others is told already."""
        return all(f.name in self for f in self.table.fields if f.required)

    @property
    def name(self) -> str:
        """Path as people write it: `air.meter`, `flow[1]`."""
        return path_name(self.path)


@dataclass(frozen=True)
class Layout:
    """Where the probe goes.

    Attributes
    ----------
    keys : tuple of str
        Columns that number a point: ``('row', 'column')`` or ``('diameter', 'point')``.
    points : tuple of tuples of int
        One a point, counted from 1.
    positions : dict of str to array
        Distances from the walls, such as ``x`` and ``y``. [m]
    extent : dict of str to float
        Largest meaningful distance for each of them. [m]
    """

    keys: tuple[str, ...]
    points: tuple[tuple[int, ...], ...]
    positions: Mapping[str, Array]
    extent: Mapping[str, float]

    def __len__(self) -> int:
        return len(self.points)

    def place(self, point: int) -> str:
        """A point in words: row 3, column 4."""
        return ", ".join(f"{key} {n}" for key, n in zip(self.keys, self.points[point], strict=True))


def as_written(item: Item) -> str:
    """A value in the unit it was given in; the mean of several readings."""
    kind = getattr(item.field, "kind", "")
    if kind and item.unit and not isinstance(item.value, str):
        return f"{float(units.from_si(np.mean(item.value), item.unit, kind)):.5g} {item.unit}"
    if isinstance(item.value, np.ndarray):
        return (
            f"[{', '.join(f'{x:.6g}' for x in item.value.flat)}]" if item.value.size > 1 else f"{item.value.item():.6g}"
        )
    return item.value.isoformat() if isinstance(item.value, dt.date) else repr(item.value)


def as_read(item: Item) -> str:
    """What was written in a field: of a list, how many and between which ends."""
    number = np.size(item.value) if isinstance(item.value, np.ndarray | list | tuple) else 1
    if number < 2 or not item.unit or isinstance(item.value, str):
        return as_written(item)
    ends = as_shown(item, np.array([np.min(item.value), np.max(item.value)]))
    return f"{number} values, {' to '.join(dict.fromkeys(ends))}"


def as_shown(item: Item, values: Array) -> list[str]:
    """Some of an item's values in the unit it was given in."""
    kind = getattr(item.field, "kind", "")
    return [f"{x:.4g} {item.unit}".strip() for x in units.from_si(values, item.unit or units.KINDS[kind], kind)]


def path_name(path: tuple[str | int, ...]) -> str:
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def unit_written(text: str) -> str:
    """The unit of a value as it was written, whatever ± or range is stated with it; empty where none is found."""
    if text.lstrip()[:1] == "(":  # '(60 ± 10) %'
        text = f"1 {text.partition(')')[2].strip()}"
    head = text.replace("+/-", "±").split("±")[0].split("(")[0].strip()
    if head[:5].casefold() == "from ":  # 'from 4 to 6 h'
        head = head.partition(" to ")[2].strip()
    try:
        return units.split(head)[1]
    except ValueError:
        return ""
