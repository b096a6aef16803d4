"""Ranges of particle size, as people write them: 0.3 to 1 um, from 0.3 um."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from flowrig import units

SAME = 1e-6  # of a size: two that differ by less are one, written in other units
SMALLEST, LARGEST = 1e-9, 1e-3  # of anything that a counter counts or a filter holds; beyond, a unit is wrong [m]
_RANGE = re.compile(r"(?P<low>[\d.]+)\s*(?P<unit>[a-zA-Zµμ]*)\s*(?:to|-|–|\.\.)\s*(?P<high>.+)")
_OPEN = re.compile(r"(?:from|above|over|>=?|≥)\s*(?P<low>.+)")


class SizeError(ValueError):
    """Sizes that were read, and that no particles have."""


@dataclass(frozen=True)
class Sizes:
    """A range of particle size. [m]

    Attributes
    ----------
    lower, upper : float
        The upper one is infinite for a range that is open.
    """

    lower: float
    upper: float

    def __str__(self) -> str:
        if math.isinf(self.upper):
            return f"from {micrometres(self.lower)} um"
        return f"{micrometres(self.lower)} to {micrometres(self.upper)} um"

    def same(self, other: Sizes) -> bool:
        """Whether both ends are the same, in whatever units they were written."""
        return math.isclose(self.lower, other.lower, rel_tol=SAME) and (
            self.upper == other.upper or math.isclose(self.upper, other.upper, rel_tol=SAME)
        )

    def holds(self, other: Sizes) -> bool:
        """Whether another range lies inside this one."""
        return other.lower >= self.lower * (1.0 - SAME) and other.upper <= self.upper * (1.0 + SAME)


def micrometres(size: float) -> str:
    """A size as people say it, without its unit."""
    return f"{size * 1e6:.6g}"


def read_sizes(text: str) -> Sizes:
    """A range of sizes from words.

    Raises
    ------
    ValueError
        For words that are no range, and a unit that is none of length.
    SizeError
        For ends that do not rise, and lengths that no particle in air has.
    """
    words = text.strip()
    if found := _OPEN.fullmatch(words):
        sizes = Sizes(read_size(found["low"]), math.inf)
    elif found := _RANGE.fullmatch(words):
        unit = found["unit"] or units.split(found["high"].strip())[1]
        sizes = Sizes(read_size(f"{found['low']} {unit}"), read_size(found["high"]))
    else:
        raise ValueError("no range of sizes")
    if not sizes.lower < sizes.upper:
        raise SizeError("the second size is not above the first")
    return sizes


def read_size(text: str) -> float:
    """One size. [m]

    Raises
    ------
    ValueError
        For words that are no length.
    SizeError
        For a length that no particle in air has.
    """
    size = float(units.read(text.strip(), "length"))
    if not SMALLEST <= size <= LARGEST:
        raise SizeError("sizes of particles lie between 1 nm and 1 mm")
    return size
