"""Blocks that every report is made of: numbers with their bars, budgets, the air."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Protocol

import numpy as np

from flowrig import units
from flowrig.records.record import Record
from flowrig.records.words import rounded as rounded
from flowrig.records.words import three_digits
from flowrig.report.blocks import KEPT, Block, Heading, labelled, wrapped
from flowrig.report.table import Table
from flowrig.studies.result import Quantity, interval_source
from flowrig.uncertainty.estimate import Estimate

BENT = 3.0  # times the standard deviation of the draws, either way: beyond, the linear uncertainty has no meaning


class Sure(Protocol):
    """Anything that knows the probability of its intervals."""

    coverage: float


def percent(share: float) -> str:
    """Two digits, trailing zeros kept."""
    return f"{100 * share:#.2g}".rstrip(".") + " %"


def numbers(q: Quantity) -> list[str]:
    """Value, low and high end as printed."""
    return rounded(spread(q), float(q.value), float(q.low), float(q.high))


def spread(q: Quantity) -> float:
    """What its digits go by: the standard uncertainty, or where that has no meaning a quarter of the drawn interval."""
    return float(q.u) if linear_holds(q) else (float(q.high) - float(q.low)) / 4


def bound_shown(q: Quantity) -> str:
    """A limit on one side, to the second digit of u, rounded to its own side: it still holds as printed."""
    limit, u = float(q.limit), float(q.u)
    if not (math.isfinite(u) and u > 0.0):
        return f"{limit:.6g}"
    decimals = 1 - math.floor(math.log10(u))
    side = math.floor if q.bound == "at least" else math.ceil
    scale = 10.0**decimals
    return f"{side(round(limit * scale, 6)) / scale:.{max(decimals, 0)}f}"


def linear_holds(q: Quantity) -> bool:
    """Whether the linear uncertainty is of the size that draws have; a crossing that vanishes nearby leaves none."""
    drawn = float(units.from_si(float(q.interval.spread), q.unit, units.as_difference(q.kind)))
    return not (bool(q.interval.curved) and math.isfinite(drawn)) or BENT * drawn > float(q.u) > drawn / BENT


def quantity_line(q: Quantity) -> str:
    return quantity_words(quantity_cells(q))


def heading_blocks(record: Record) -> Iterator[Block]:
    heading = record.heading
    yield Heading(f"{heading.value('title')}, {heading.value('date')}", 1)
    if heading.value("invented"):
        yield "Invented readings, for demonstration."


def first_lines(result: Sure, main: Quantity) -> Iterator[Block]:
    """What a measurement, or several together, came to."""
    value, low, high = numbers(main)
    coverage = f"{100 * result.coverage:.6g} %"
    yield from wrapped(f"Flow {value} {main.unit}, {coverage} interval {low} to {high} {main.unit}", further=4)
    yield from wrapped(main.label, further=4)
    for text in _how_sure(main):
        yield from wrapped(text, further=4)


Cells = tuple[str, ...]
OTHERS = "the first in other units"


def quantity_cells(q: Quantity) -> Cells:
    """Value, unit and both ends; a bound has no ends."""
    if q.bound:
        return f"{q.bound} {bound_shown(q)}", q.unit, "", ""
    value, low, high = numbers(q)
    return value, q.unit, low, high


def quantity_words(cells: Cells) -> str:
    """The same in one line: 883 m3/h   [834 to 931]."""
    value, unit, low, high = cells
    return f"{value} {unit}" + (f"   [{low} to {high}]" if low else "")


def quantity_table(
    quantities: Iterable[Quantity],
    indent: int = 2,
    *,
    least: int = 0,
    cells: Callable[[Quantity], Cells] = quantity_cells,
    name: Callable[[Quantity], str] = lambda q: q.label,
    others: Sequence[Quantity] = (),
) -> Table:
    """A line a number, with its unit and both ends.

    Parameters
    ----------
    quantities : iterable of Quantity
    indent : int
    least : int
        Columns of the labels at the least, in plain text.
    cells : callable
        Value, unit and ends as words.
    name : callable
        What stands before them.
    others : sequence of Quantity
        The first in other units: their values alone.
    """
    rows = tuple((name(q), *cells(q)) for q in quantities)
    width = max((least, *(len(row[0]) for row in rows)))
    again = tuple((OTHERS if i == 0 else "", numbers(q)[0], q.unit, "", "") for i, q in enumerate(others))

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        n = len(rows) - len(again)
        told = [(label, quantity_words(tuple(shown))) for label, *shown in rows[:n]]
        if again:
            told.append((OTHERS, ", ".join(f"{value} {unit}" for _, value, unit, *_ in rows[n:])))
        for label, words in told:
            held = words.replace(" to ", f"{KEPT}to{KEPT}")
            yield from labelled(f"{' ' * indent}{label:<{width}}  ", held).lines(room)

    return Table(("quantity", "value", "unit", "from", "to"), rows + again, (0, 2), indent=indent, reads=reads)


def quantities_blocks(quantities: Mapping[str, Quantity]) -> Iterator[Block]:
    """All of them, the first in other units too where it is a flow."""
    first = next(iter(quantities.values()))
    yield quantity_table(quantities.values(), others=in_other_units(first))


def capital(q: Quantity) -> str:
    """Its label as the beginning of a line."""
    return q.label[:1].upper() + q.label[1:]


def budget_blocks(main: Quantity, of: str = "") -> Iterator[Block]:
    """The three largest causes of a number, below a heading.

    Parameters
    ----------
    main : Quantity
    of : str
        Which number, where more than one stands above.
    """
    about = f": {of}" if of else ""
    yield Heading(f"Largest causes of error{about} (share of the variance)", 3)
    yield budget_table(main.estimate, main.unit, main.kind)


LONGEST_CAUSE = 46  # columns of plain text


def budget_table(estimate: Estimate, unit: str, kind: str) -> Table:
    """The three largest causes of one number."""
    rows = []
    for line in estimate.budget()[:3]:
        u = units.from_si(float(np.squeeze(line.u)), unit, units.as_difference(kind))
        rows.append((f"{100 * float(np.squeeze(line.share)):.1f}", line.cause.name, three_digits(u)))
    return causes_table(rows, unit)


def causes_table(rows: Iterable[Cells], unit: str) -> Table:
    """Share of the variance in per cent, cause, and its part of the uncertainty; for many taken together none."""

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        for share, cause, u in rows:
            named = textwrap.shorten(cause, LONGEST_CAUSE, placeholder="...")
            yield f"    {share:>5} %  {named:<{LONGEST_CAUSE}}  u {u} {unit}" if u else f"    {share:>5} %  {cause}"

    return Table(("share [%]", "cause", f"u [{unit}]"), tuple(rows), (1,), indent=4, reads=reads)


def _how_sure(main: Quantity) -> Iterator[str]:
    how = "Monte Carlo" if interval_source(main) == "monte carlo" else "linear"
    dof = float(main.estimate.dof)
    value = float(main.estimate.value)
    if not linear_holds(main):
        yield "no linear uncertainty: the equation bends too much; interval Monte Carlo"
    elif value:
        share = f"standard uncertainty {percent(float(main.estimate.u) / abs(value))}"
        yield f"{share}{'' if dof > 1000 else f', {dof:.3g} degrees of freedom'}; interval {how}"
    if bool(main.interval.curved):
        spread = units.from_si(float(main.interval.spread), main.unit, units.as_difference(main.kind))
        yield f"the equation bends here: standard deviation of the draws {spread:.2g} {main.unit}"


def in_other_units(q: Quantity) -> list[Quantity]:
    """It in the usual units of flow other than its own; none for what is no flow."""
    if q.kind != "flow":
        return []
    own = units.factor(q.unit, q.kind)
    return [q.to(unit) for unit in ("m3/h", "L/s", "cfm") if units.factor(unit, q.kind) != own]


def other_units(q: Quantity) -> str:
    """The same in words."""
    return ", ".join(f"{numbers(other)[0]} {other.unit}" for other in in_other_units(q))


def air_line(state: dict[str, Any]) -> str:
    def mean(name: str) -> float:
        return float(np.mean(state[name].value))

    u = float(np.mean(state["density"].u / state["density"].value))
    return (
        f"{mean('temperature') - 273.15:.1f} degC, {mean('pressure') / 100:.1f} hPa, "
        f"{mean('density'):.4f} kg/m3 (u {percent(u)})"
    )
