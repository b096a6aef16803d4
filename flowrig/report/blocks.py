"""What a report is made of: headings, paragraphs, findings and tables, for a pipe, a terminal and a page alike."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from flowrig.records.declare import Finding
from flowrig.report.table import WIDTH, Table

KEPT = "\N{NO-BREAK SPACE}"
MARK = {"alarm": "ALARM", "warning": "Warning", "note": "Note"}


class Paragraph(str):
    """Words that run over lines. As text it is those lines, within 80 columns; `lines` sets them to another width.

    Attributes
    ----------
    words : str
        On one line.
    first, further : str
        What stands before the words on the first line, and on every other: indents, or a label and the room below it.
    hyphens : bool
        Whether a word may end a line with its hyphen.
    """

    __slots__ = ("first", "further", "hyphens", "words")
    words: str
    first: str
    further: str
    hyphens: bool

    def __new__(cls, words: str, first: str = "", further: str = "", hyphens: bool = True) -> Paragraph:
        made = super().__new__(cls, "\n".join(_lines(words, first, further, hyphens, WIDTH)))
        made.words, made.first, made.further, made.hyphens = words, first, further, hyphens
        return made

    def lines(self, width: int = WIDTH) -> list[str]:
        return _lines(self.words, self.first, self.further, self.hyphens, width)


class Heading(Paragraph):
    """What stands above something.

    Attributes
    ----------
    level : int
        1 for the whole report, 2 for a part of it, 3 for a piece of a part.
    """

    __slots__ = ("level",)
    level: int

    def __new__(cls, words: str, level: int = 2, indent: str | None = None, further: str | None = None) -> Heading:
        before = indent if indent is not None else "  " if level == 3 else ""
        made = super().__new__(cls, words, before, before if further is None else further)
        assert isinstance(made, Heading)
        made.level = level
        return made


class Raised(Paragraph):
    """A finding, its severity as a word before it.

    Attributes
    ----------
    severity : str
        alarm, warning or note.
    head : str
        Severity and code, as the words begin.
    """

    __slots__ = ("head", "severity")
    severity: str
    head: str

    def __new__(cls, severity: str, code: str, message: str) -> Raised:
        head = f"{MARK[severity]}, {code}:"
        made = super().__new__(cls, f"{head} {message}", "  ", "    ")
        assert isinstance(made, Raised)
        made.severity, made.head = severity, head
        return made


Block = str | Table


def _lines(words: str, first: str, further: str, hyphens: bool, width: int) -> list[str]:
    if width < WIDTH and len(further) > width // 2:  # little room behind a label
        further = " " * (len(first) - len(first.lstrip()) + 4)
    joined = words.replace(" %", f"{KEPT}%").replace("± ", f"±{KEPT}")  # a number keeps its sign
    lines = textwrap.wrap(joined, width, initial_indent=first, subsequent_indent=further, break_on_hyphens=hyphens)
    return [line.replace(KEPT, " ") for line in lines] or [first.rstrip()]


def wrapped(text: str, further: int = 2, first: int = 2, hyphens: bool = True) -> list[Block]:
    """A paragraph, two columns in; nothing where there are no words."""
    return [Paragraph(text, " " * first, " " * further, hyphens)] if text else []


def raised(findings: Iterable[Finding]) -> list[Block]:
    """A paragraph a finding."""
    return [Raised(f.severity, f.code, f.message) for f in findings]


def labelled(label: str, words: str, hyphens: bool = True) -> Paragraph:
    """A label with its indent and gap, and words that hang behind it."""
    return Paragraph(words, label, " " * len(label), hyphens)


def lines_of(blocks: Iterable[Block]) -> Iterator[str]:
    """Plain text, line by line."""
    for block in blocks:
        if isinstance(block, Table):
            yield from block.lines()
        else:
            yield from block.split("\n")


def plain(blocks: Iterable[Block]) -> str:
    """What is printed in a pipe."""
    return "\n".join(lines_of(blocks))
