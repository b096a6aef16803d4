"""A table as every kind of report shows it: lines of plain text, a terminal's table, or a page's."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

GAP = "  "


@dataclass(frozen=True)
class Table:
    """Cells that are words already.

    Attributes
    ----------
    heads : tuple of str
        Units in brackets, as `flow [m3/h]`.
    rows : tuple of tuple of str
        Each as long as ``heads``.
    left : tuple of int
        Columns that are set at the left, counted from 0; all others are numbers, at the right.
    caption : str
        What it is, where no heading says so.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: tuple[int, ...] = (0,)
    caption: str = ""

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.heads):
                raise ValueError(f"{len(row)} cells below {len(self.heads)} heads: {row!r}")

    def __len__(self) -> int:
        return len(self.rows)

    def lines(self, indent: int = 2) -> Iterator[str]:
        """Plain text, each column as wide as its widest cell."""
        widths = [max(len(line[k]) for line in (self.heads, *self.rows)) for k in range(len(self.heads))]
        for line in (self.heads, *self.rows):
            cells = [
                cell.ljust(width) if k in self.left else cell.rjust(width)
                for k, (cell, width) in enumerate(zip(line, widths, strict=True))
            ]
            yield (" " * indent + GAP.join(cells)).rstrip()


MOST_ROWS = 60


def thinned(rows: list[tuple[str, ...]], most: int = MOST_ROWS) -> tuple[tuple[tuple[str, ...], ...], str]:
    """Every so many of a long list of rows, its first and last among them, and a sentence that says so."""
    if len(rows) <= most:
        return tuple(rows), ""
    every = -(-(len(rows) - 1) // (most - 1))
    kept = rows[::every]
    if kept[-1] is not rows[-1]:
        kept.append(rows[-1])
    return tuple(kept), f"Every {every}th of {len(rows)} rows, and the last."
