"""Channels of a particle counter, as the headers of its columns name them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from flowrig import units
from flowrig.errors import Fault
from flowrig.records.csv_text import Header
from flowrig.records.files import quoted
from flowrig.records.items import Array
from flowrig.records.sizes import SAME, SizeError, Sizes, micrometres, read_size, read_sizes
from flowrig.records.words import unreadable

LIKE = re.compile(r"\s*(?:[><≥]=?|from\b|above\b|over\b)?\s*\d*[.,]?\d")  # what a header of a channel begins with
EXPECTED = "a size, such as '0.3 um', '0.3-0.5 um' or '>10 um'"


@dataclass(frozen=True)
class Column:
    """A column of counts.

    Attributes
    ----------
    header : Header
    lower : float
        [m]
    upper : float or None
        Infinite for an open channel; None where the header names one size alone. [m]
    """

    header: Header
    lower: float
    upper: float | None


def looks_like_channel(name: str) -> bool:
    return LIKE.match(name) is not None


def read_channel(header: Header, words: str, where: str, faults: list[Fault]) -> Column | None:
    """A column of counts from the words that name its size; None after a fault."""
    unit = header.unit if header.unit and "length" in units.kinds_of(header.unit) else None
    text = f"{words} {unit}" if unit else words
    try:
        try:
            sizes = read_sizes(text)
            return Column(header, sizes.lower, sizes.upper)
        except SizeError:
            raise
        except ValueError:
            lower = read_size(text)
    except ValueError as error:
        faults.append(unreadable(where, header.raw, EXPECTED, error))
        return None
    return Column(header, lower, None)


def told_apart(columns: list[Column], cumulative: bool, name: str, faults: list[Fault]) -> list[Column]:
    """The columns by rising size, each with its upper limit; those that overlap, or have no place, are faults."""
    columns = sorted(columns, key=lambda c: c.lower)
    found: list[Column] = []
    for column, following in zip(columns, [*columns[1:], None], strict=True):
        where = f"{name}, header {quoted(column.header.raw)}"
        end = following.lower if following is not None else math.inf
        if following is not None and following.lower <= column.lower * (1.0 + SAME):
            read = f"the size of {quoted(following.header.raw)} too"
            faults.append(Fault(where, read, "a size for each column", "Rename or remove one of the two."))
        elif cumulative and column.upper is not None and math.isfinite(column.upper):
            said = "one size in each header, as counts are cumulative"
            remedy = 'Write the lower size alone, or counts = "by channel" with the counter.'
            faults.append(Fault(where, "a range of sizes", said, remedy))
        elif column.upper is not None and not cumulative and column.upper > end * (1.0 + SAME):
            said = f"a channel that ends at {micrometres(end)} um, where the next begins"
            remedy = 'Correct the sizes, or write counts = "cumulative" with the counter.'
            faults.append(Fault(where, str(Sizes(column.lower, column.upper)), said, remedy))
        upper = end if cumulative or column.upper is None else column.upper
        found.append(Column(column.header, column.lower, upper))
    return found


def limits(columns: list[Column]) -> tuple[Array, Array]:
    """Lower and upper limits of columns told apart. [m]"""
    upper = [c.upper if c.upper is not None else math.inf for c in columns]
    return np.array([c.lower for c in columns]), np.array(upper)
