"""What a record may hold, as declarations: the reader, the blank sheet and the documentation are made from these."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from flowrig.records.items import Section


@dataclass(frozen=True)
class Field:
    """One line a person may write.

    Attributes
    ----------
    name : str
    help : str
        What it means, for `flowrig explain`, the sheet and the documentation.
    required : bool
    example : str
        As it would be written, quotes included; the blank sheet shows it in a comment.
    asked : bool
        Not required, yet worth an empty line of its own in the blank sheet.
    """

    name: str
    help: str
    required: bool = False
    example: str = ""
    asked: bool = False


@dataclass(frozen=True)
class Reading(Field):
    """What an instrument showed: one value, repeats, a column of a log, or one value a point of a grid.

    Attributes
    ----------
    kind : str
        Key of `flowrig.units.KINDS`.
    low, high : float
        Bounds beyond which the reading has no meaning. SI.
    positive : bool
        The mean of the readings must not be below zero by more than the instrument's own limit.
    grid : bool
        Read at every point of the method's grid, from the grid file.
    """

    kind: str = ""
    low: float = -math.inf
    high: float = math.inf
    positive: bool = False
    grid: bool = False


@dataclass(frozen=True)
class Given(Field):
    """A dimension, constant or tolerance stated by a person, with its own ± in the text.

    Attributes
    ----------
    default : str
        Used when nothing is written; the report then lists it as assumed.
    belongs : str
        Field with the serial number of the thing it is a property of, by which its error is known elsewhere.
    above : float
        The value must be greater. SI.
    low, high : float
        Bounds that include their ends. SI.
    limits : {'may', 'must', 'never'}
        Whether a ± stands beside it. It must where an error not stated would not be zero and none can be assumed; never
        where the error is stated elsewhere.
    of_error : bool
        The value is itself the limit of an error, which a comparison could make smaller.
    """

    kind: str = ""
    default: str = ""
    belongs: str = ""
    above: float = -math.inf
    low: float = -math.inf
    high: float = math.inf
    limits: Literal["may", "must", "never"] = "may"
    of_error: bool = False


@dataclass(frozen=True)
class Series(Field):
    """Values of one kind without a ± that belong to the places of a list: the points of a curve, the directions in
    which a cause moves a number. One alone may stand without its list.

    Attributes
    ----------
    kind : str
    least : int
        How many are needed.
    low, high : float
        Bounds that include their ends. SI.
    """

    kind: str = ""
    least: int = 1
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True)
class Choice(Field):
    """One of a few words. The first is the default unless the field is required.

    Attributes
    ----------
    choices : tuple of str
    aim : str
        The one of them that makes the error smallest, where a person can bring it about; empty where it is a fact.
    """

    choices: tuple[str, ...] = ()
    aim: str = ""


@dataclass(frozen=True)
class Count(Field):
    """A whole number."""

    low: int = 1
    high: int = 10_000


@dataclass(frozen=True)
class Flag(Field):
    """true or false; false when nothing is written."""


@dataclass(frozen=True)
class Text(Field):
    """Free words."""


@dataclass(frozen=True)
class Date(Field):
    """A TOML date: 2026-08-21."""


@dataclass(frozen=True)
class Statement(Field):
    """Words of a datasheet or certificate about an instrument, or a list of them for several ranges."""

    yearly: bool = False


@dataclass(frozen=True)
class Words(Field):
    """A list of words, each from `choices`."""

    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Names(Field):
    """Names of hardware described once in a table of its own.

    Attributes
    ----------
    table : str
        Top-level table that holds them.
    axis : str
        Axis along which several of them are stacked; empty if exactly one is named.
    """

    table: str = ""
    axis: str = ""


@dataclass(frozen=True)
class File(Field):
    """Name of a CSV file beside the record."""


@dataclass(frozen=True)
class Calibration(Field):
    """Bare name of a calibration file, beside the record or in a folder ``calibrations`` there or further up.

    Attributes
    ----------
    calibrates : tuple of str
        What it may be the calibration of, of `flowrig.records.formulas.CALIBRATES`; of an instrument, what it measures.
    """

    calibrates: tuple[str, ...] = ()


CALIBRATIONS = "calibrations"  # folder of the files of calibrations, beside the record or further up


@dataclass(frozen=True)
class Sort:
    """Of records that others name: what one is called, and the folder they may lie in."""

    words: str
    shelf: str


DESCRIBED = {
    "fan": Sort("record of a fan or filter", "curves"),
    "filter": Sort("record of a fan or filter", "curves"),
    "predict": Sort("record of a cleaner", "cleaners"),
    "test": Sort("record of a cleaner", "cleaners"),
    "sound": Sort("record of a cleaner", "cleaners"),
}


@dataclass(frozen=True)
class Described(Field):
    """Bare name of another record, beside this one or in a folder such as ``curves`` there or further up.

    Attributes
    ----------
    table : str
        Key of `DESCRIBED`: the table that it must hold, or ``test`` for a clean-air rate that `reduce` tells.
    several : bool
        A list of names.
    """

    table: str = ""
    several: bool = False


@dataclass(frozen=True)
class Pairs(Field):
    """A table of field name = word: which instrument, which column.

    Attributes
    ----------
    alone : bool
        A single word may stand for all fields.
    """

    alone: bool = False


@dataclass(frozen=True)
class OneOf:
    """Exactly one of several sets of fields is given.

    Attributes
    ----------
    sets : tuple of tuples of str
        Such as ``(("relative_humidity",), ("wet_bulb",), ("dew_point",))`` or ``(("width", "height"), ("diameter",))``.
    required : bool
        False allows none of them.
    """

    sets: tuple[tuple[str, ...], ...]
    required: bool = True


@dataclass(frozen=True)
class Wrong:
    """What a cross-field check found. `rows`, where it is not None, is a mask over the rows of a batch."""

    field: str
    expected: str
    remedy: str
    rows: Any = None


Check = Callable[["Section"], Sequence[Wrong]]


@dataclass(frozen=True)
class Table:
    """A table of a record.

    Attributes
    ----------
    name : str
        As written in the record: ``air.meter``, ``instruments``, ``nozzles``.
    help : str
    fields : tuple of Field
    alternatives : tuple of OneOf
    checks : tuple of callables
        Each takes the read section and returns what is wrong between its fields.
    """

    name: str
    help: str
    fields: tuple[Field, ...]
    alternatives: tuple[OneOf, ...] = ()
    checks: tuple[Check, ...] = ()

    def field(self, name: str) -> Field:
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)


Severity = Literal["alarm", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("alarm", "warning", "note")  # gravest first


@dataclass(frozen=True)
class FlagMeaning:
    """A finding that may stand beside a result, declared once.

    Attributes
    ----------
    code : str
    severity : {'note', 'warning', 'alarm'}
        A note is an assumption to know; a warning may move the result by as much as its error bar; an alarm means the
        number should not be used before it is dealt with.
    meaning : str
        What it means and what to do, for `flowrig explain`.
    source : str
    """

    code: str
    severity: Severity
    meaning: str
    source: str = ""


@dataclass(frozen=True)
class Finding:
    """One flag raised on one result. `rows`, where it is not None, is a mask over the rows of a batch."""

    meaning: FlagMeaning
    message: str
    rows: Any = None

    @property
    def code(self) -> str:
        return self.meaning.code

    @property
    def severity(self) -> Severity:
        return self.meaning.severity
