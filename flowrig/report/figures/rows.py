"""Tables of what a figure draws: numbers with their bars, one a line, or several along a row."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from flowrig.records.words import rounded
from flowrig.report.lines import bound_shown, numbers
from flowrig.report.table import Table, thinned
from flowrig.studies.result import Quantity

NOT_TOLD = "–"
ROUNDING = 1e-9  # of a number: a bar narrower than this is none


def bar(value: float, low: float, high: float) -> str:
    """One number with its interval: 883 [834 to 931]; digits by the interval."""
    if not math.isfinite(value):
        return NOT_TOLD
    if not (math.isfinite(low) and math.isfinite(high)) or high - low <= ROUNDING * abs(value):
        return f"{float(f'{value:.4g}'):.10g}"  # without an exponent
    shown = rounded((high - low) / 4.0, value, low, high)
    return f"{shown[0]} [{shown[1]} to {shown[2]}]"


def table_of(quantities: Iterable[Quantity], head: str = "quantity", caption: str = "") -> Table:
    """A line a number, with its unit and both ends."""
    rows: list[tuple[str, ...]] = []
    for q in quantities:
        if q.bound:
            rows.append((q.label, q.unit, f"{q.bound} {bound_shown(q)}", "", ""))
        else:
            rows.append((q.label, q.unit, *numbers(q)))
    return Table((head, "unit", "value", "from", "to"), tuple(rows), (0, 1), caption)


def table_along(
    first: Mapping[str, Sequence[str]],
    quantities: Iterable[Quantity],
    most: int | None = None,
    rows: Sequence[int] | None = None,
) -> Table:
    """A line a row: words of it first, then each of the quantities with its bar.

    Parameters
    ----------
    first : mapping of head to words, one a row
    quantities : iterable of Quantity
        With one axis, of as many rows.
    most : int, optional
        Lines at the most.
    rows : sequence of int, optional
        Places along the axis that are told; all of them where nothing is said.
    """
    heads = list(first)
    n = len(next(iter(first.values())))
    columns = [list(words) for words in first.values()]
    for q in quantities:
        heads.append(f"{q.label} [{q.unit}]" if q.unit else q.label)
        ends = [np.asarray(x, dtype=float) for x in (q.value, q.low, q.high)]
        told = [np.broadcast_to(x if rows is None or x.ndim == 0 else x[list(rows)], (n,)) for x in ends]
        columns.append([bar(*map(float, each)) for each in zip(*told, strict=True)])
    lines = [tuple(cells) for cells in zip(*columns, strict=True)]
    kept, said = thinned(lines, most) if most else thinned(lines)
    return Table(tuple(heads), kept, tuple(range(len(first))), said)
