"""A word of the results, for the glossaries."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A word and what it means here.

    Attributes
    ----------
    name, meaning : str
    others : tuple of str
        Other names it is met under: in JSON and CSV, in a heading, in the trade.
    """

    name: str
    meaning: str
    others: tuple[str, ...] = ()
