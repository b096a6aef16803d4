"""A table as every kind of report shows it: lines of plain text, a terminal's table, or a page's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

WIDTH = 80
GAP = 2


@dataclass(frozen=True)
class Table:
    """Cells that are words already.

    Attributes
    ----------
    heads : tuple of str
        Units in brackets, as `flow [m3/h]`; a line break where the unit has a line of its own.
    rows : tuple of tuple of str
        Each as long as ``heads``.
    left : tuple of int
        Columns that are set at the left, counted from 0; all others are numbers, at the right.
    caption : str
        What it is, where no heading says so.
    keys : int
        Columns at the left that say what a row is about, repeated where the others do not fit side by side.
    indent : int
        Columns of plain text before it.
    closest : int
        Columns between two of its own in plain text, at the least: fewer than two where that saves a second table.
    drawing : bool
        Whether what it reads as is drawn with characters, which a terminal shows as it is.
    reads : callable, optional
        How it reads in plain text where its rows say more as words than in columns: lines from its rows and the width.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: tuple[int, ...] = (0,)
    caption: str = ""
    keys: int = 1
    indent: int = 2
    closest: int = GAP
    drawing: bool = False
    reads: Callable[[tuple[tuple[str, ...], ...], int], Iterable[str]] | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.heads):
                raise ValueError(f"{len(row)} cells below {len(self.heads)} heads: {row!r}")

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def widths(self) -> tuple[int, ...]:
        """Columns of text that each of its own takes."""
        lines = (self.heads, *self.rows)
        return tuple(max(len(part) for line in lines for part in line[k].split("\n")) for k in range(len(self.heads)))

    def narrow(self, most: int) -> tuple[int, ...]:
        """The same where no column of words takes more than so many."""
        return tuple(min(width, most) if k in self.left else width for k, width in enumerate(self.widths))

    def lines(self, indent: int | None = None, width: int = WIDTH) -> Iterator[str]:
        """Plain text, each column as wide as its widest cell.

        Where the width does not hold them side by side they stand below each other, the keys with each.
        """
        if self.reads is not None:
            yield from self.reads(self.rows, width)
            return
        before = " " * (self.indent if indent is None else indent)
        room = width - len(before)
        gap = GAP if self.taken(GAP) <= room or self.taken(self.closest) > room else self.closest
        for i, part in enumerate(self.parts(room, gap)):
            if i:
                yield ""
            widths = part.widths
            for line in (part.heads, *part.rows):
                cells = [cell.split("\n") for cell in line]
                for j in range(max(map(len, cells))):
                    words = (cell[j] if j < len(cell) else "" for cell in cells)
                    yield (before + (" " * gap).join(part._set(words, widths))).rstrip()

    def _set(self, words: Iterable[str], widths: tuple[int, ...]) -> Iterator[str]:
        for k, (word, width) in enumerate(zip(words, widths, strict=True)):
            yield word.ljust(width) if k in self.left else word.rjust(width)

    def taken(self, gap: int) -> int:
        """Columns of text that all of it takes, with so many between two of its own."""
        return sum(self.widths) + gap * (len(self.heads) - 1)

    def parts(self, room: int, gap: int = GAP, most_words: int | None = None) -> Iterator[Table]:
        """The table itself where there is room for it, else as many columns at a time as there is, its keys with each.

        Parameters
        ----------
        room : int
            Columns of text, gaps among them.
        gap : int
            Between two columns of the table.
        most_words : int, optional
            Columns of text that one of words is given at the most: it runs over lines.
        """
        widths = self.widths if most_words is None else self.narrow(most_words)
        taken = sum(width + gap for width in widths[: self.keys]) - gap
        part: list[int] = []
        used = taken
        for k in range(self.keys, len(widths)):
            if part and used + gap + widths[k] > room:
                yield self.of([*range(self.keys), *part])
                part, used = [], taken
            part.append(k)
            used += gap + widths[k]
        yield self if len(part) == len(widths) - self.keys else self.of([*range(self.keys), *part])

    def of(self, columns: list[int]) -> Table:
        """These columns alone."""
        rows = tuple(tuple(row[k] for k in columns) for row in self.rows)
        left = tuple(i for i, k in enumerate(columns) if k in self.left)
        keys = sum(k < self.keys for k in columns)
        return replace(self, heads=tuple(self.heads[k] for k in columns), rows=rows, left=left, keys=keys)


MOST_ROWS = 60


def thinned(rows: list[tuple[str, ...]], most: int = MOST_ROWS) -> tuple[tuple[tuple[str, ...], ...], str]:
    """Every so many of a long list of rows, its first and last among them, and a sentence that says so."""
    if len(rows) <= most:
        return tuple(rows), ""
    every = -(-(len(rows) - 1) // (most - 1))
    kept = rows[::every]
    if kept[-1] is not rows[-1]:
        kept.append(rows[-1])
    return tuple(kept), f"One row in {every} of {len(rows)}, and the last."
