"""Blocks of a report on a terminal: tables as wide as it is, words to 80 columns, what matters told apart.

Severity is a word first and a colour besides; NO_COLOR, FORCE_COLOR and TERM=dumb are seen to by rich. Nothing that
stands in a record is read as markup, and no control character of it reaches the terminal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import IO

from rich.box import SIMPLE_HEAD
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table as RichTable
from rich.text import Text

from flowrig.report.blocks import Block, Heading, Paragraph, Raised
from flowrig.report.table import GAP, WIDTH, Table

LABELS = {"alarm": "bold red", "warning": "bold yellow", "note": "dim"}  # of the words that say how grave it is
MESSAGES = {"alarm": "bold", "warning": "", "note": "dim"}
FEW_LINES = 2
WORDS, FEW_WORDS = 24, 14  # columns that a cell of words is given at the least, if it has as many
CONTROLS = {k: "\N{REPLACEMENT CHARACTER}" for k in (*range(32), *range(127, 160)) if chr(k) not in "\n\t"}


def write(blocks: Iterable[Block], file: IO[str] | None = None, width: int | None = None) -> None:
    """Print them.

    Parameters
    ----------
    blocks : iterable of str or Table
    file : file, optional
        Standard output if left out.
    width : int, optional
        Columns; those of the terminal if left out.
    """
    console = Console(file=file, width=width, highlight=False, markup=False, emoji=False)
    before: Block = ""
    for block in blocks:
        if _apart(before, block):
            console.print()
        for part in drawn(block, console.width):
            console.print(part, overflow="fold", soft_wrap=False)
        before = block


def _apart(before: Block, block: Block) -> bool:
    """Whether a line is left empty between two that follow each other without one in plain text."""
    if isinstance(block, Table):
        return isinstance(before, Table)
    return isinstance(block, Heading) and before != "" and not isinstance(before, Heading)


def drawn(block: Block, width: int) -> Iterator[RenderableType]:
    """A block as rich shows it, within so many columns."""
    if isinstance(block, Table):
        yield from _table(block, width)
    elif isinstance(block, Raised):
        yield _raised(block, min(width, WIDTH))
    elif isinstance(block, Paragraph):
        yield _text("\n".join(block.lines(min(width, WIDTH))), "bold" if isinstance(block, Heading) else "")
    else:
        yield _text(block)


def _text(words: str, style: str = "") -> Text:
    return Text(words.translate(CONTROLS), style=style, overflow="fold")


def _raised(block: Raised, width: int) -> Text:
    """The word and the code stand out; they may run over lines."""
    text = _text("\n".join(block.lines(width)), MESSAGES[block.severity])
    left = len(block.head.replace(" ", ""))
    end = next((i for i, _ in enumerate(text.plain) if len("".join(text.plain[:i].split())) >= left), len(text.plain))
    start = len(text.plain) - len(text.plain.lstrip())
    text.stylize(LABELS[block.severity], start, end)
    return text


def _table(table: Table, width: int) -> Iterator[RenderableType]:
    """Side by side as far as the width holds them; where words would fill their cells, as in plain text."""
    room = width - table.indent
    told = _told(table)
    if table.reads is not None and (table.drawing or len(table) == 1 or _full(told, room)):
        lines = list(table.reads(table.rows, min(width, WIDTH)))
        if max(map(len, lines), default=0) <= width:
            yield _text("\n".join(lines))
            return
    most = WORDS if _fits(told, WORDS, room) else FEW_WORDS
    for i, part in enumerate(told.parts(room, most_words=most)):
        if i:
            yield ""
        yield Padding(_grid(part, _fits(part, most, room)), (0, 0, 0, table.indent), expand=False)


def _full(table: Table, room: int) -> bool:
    """Whether a cell of words would run over more than a few lines."""
    left = room - _taken(table, WORDS)
    if left < 0:
        return True
    wide = sum(table.widths[k] > WORDS for k in table.left)
    each = WORDS + left // max(wide, 1)
    cells = (row[k] for row in table.rows for k in table.left)
    return any(sum(-(-len(part) // each) for part in cell.split("\n")) > FEW_LINES for cell in cells)


def _taken(table: Table, most: int) -> int:
    """Columns of text where no cell of words takes more than so many."""
    return sum(table.narrow(most)) + GAP * (len(table.heads) - 1)


def _fits(table: Table, most: int, room: int) -> bool:
    return _taken(table, most) <= room


def _told(table: Table) -> Table:
    """Without columns in which nothing stands."""
    empty = {k for k in range(len(table.heads)) if not any(row[k] for row in table.rows)}
    return table.of([k for k in range(len(table.heads)) if k not in empty]) if empty else table


def _grid(table: Table, held: bool) -> RichTable:
    grid = RichTable(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for k, head in enumerate(table.heads):
        left = k in table.left
        grid.add_column(
            _text(head, "bold"),
            justify="left" if left else "right",
            no_wrap=held and not left,  # a number is never cut: where there is no room at all it is folded
            overflow="fold",
        )
    for row in table.rows:
        grid.add_row(*(_text(cell) for cell in row))
    return grid
