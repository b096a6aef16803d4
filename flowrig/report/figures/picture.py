"""A figure with what stands for it where it is not seen: a text alternative and the numbers drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flowrig.report.table import Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Picture:
    """One figure of a result.

    Attributes
    ----------
    name : str
        Of its file, without ending: lower case, words joined by hyphens.
    title : str
        What it is, as a heading.
    alt : str
        What there is to see in it, in a sentence or two, with the numbers that matter and their bars.
    table : Table
        The numbers drawn, with units and bars; of many, every so many (`flowrig.report.table.thinned`).
    figure : matplotlib Figure
        Laid out.
    """

    name: str
    title: str
    alt: str
    table: Table
    figure: Figure
