"""What a page is made of, whatever the command: its opening sentence, and parts of paragraphs, tables and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.report.figures.picture import Picture
from flowrig.report.table import Table
from flowrig.studies.result import Quantity


@dataclass(frozen=True)
class Words:
    """Lines that keep their spaces, as the terminal has them."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Points:
    """Short items below each other."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Below:
    """A heading within a part, or with level 3 within what is below one."""

    title: str
    level: int = 2


@dataclass(frozen=True)
class Found:
    """A flag, as the report has it.

    Attributes
    ----------
    severity, head, message : str
        alarm, warning or note; severity and code in words; what was found.
    """

    severity: str
    head: str
    message: str


Block = str | Table | Words | Points | Below | Found | Picture


@dataclass
class Part:
    """A stretch of a page under a heading.

    Attributes
    ----------
    anchor : str
        By which it can be linked to.
    title : str
    blocks : list of Block
    """

    anchor: str
    title: str
    blocks: list[Block] = field(default_factory=list)


@dataclass
class Subject:
    """What a page needs to know of a result.

    Attributes
    ----------
    kind : str
        What was done, in a word or two: measurement, prediction.
    record : Record
        Of the file that the command was given.
    answer : str
        One sentence.
    quantities : sequence of Quantity
        The numbers it is about, the first one leading.
    findings : list of Finding
    cautions : list of str
    conventions : list of str
        Choices a sceptical reader would ask about.
    others : list of Record
        Further records that stand behind it, and that it does not name.
    ahead : bool
        What the record is about lies ahead: its air and readings are expected.
    leading : list of Finding
        Alarms without which the answer is not to be read; others are of a row, an option or a target.
    settings : dict of str to str
        How it was reckoned: coverage, seed, draws.
    budgets : sequence of Quantity
        Numbers of which every cause of error is told.
    """

    kind: str
    record: Record
    answer: str
    quantities: Sequence[Quantity]
    findings: list[Finding]
    cautions: list[str] = field(default_factory=list)
    conventions: list[str] = field(default_factory=list)
    others: list[Record] = field(default_factory=list)
    ahead: bool = False
    leading: list[Finding] = field(default_factory=list)
    settings: dict[str, str] = field(default_factory=dict)
    budgets: Sequence[Quantity] = field(default_factory=list)

    @property
    def records(self) -> list[Record]:
        """Each once: tests, predictions, fans and filters that one names stand behind it."""
        found: dict[tuple[str, str], Record] = {}
        waiting = [self.record, *self.others]
        while waiting:
            record = waiting.pop(0)
            if found.setdefault((record.name, record.identity), record) is record:
                waiting += record.named
        return list(found.values())
