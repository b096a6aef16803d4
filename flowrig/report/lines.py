"""Lines of plain text that every report is made of, within 80 columns: numbers with their bars, budgets, findings."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any, Protocol

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.records.words import rounded as rounded
from flowrig.records.words import three_digits
from flowrig.studies.result import Quantity, interval_source
from flowrig.uncertainty.estimate import Estimate

WIDTH = 80
BENT = 3.0  # times the standard deviation of the draws, either way: beyond, the linear uncertainty has no meaning


class Sure(Protocol):
    """Anything that knows the probability of its intervals."""

    coverage: float


MARK = {"alarm": "ALARM", "warning": "Warning", "note": "Note"}


def percent(share: float) -> str:
    """Two digits, trailing zeros kept."""
    return f"{100 * share:#.2g}".rstrip(".") + " %"


def numbers(q: Quantity) -> list[str]:
    """Value, low and high end as printed."""
    return rounded(spread(q), float(q.value), float(q.low), float(q.high))


def spread(q: Quantity) -> float:
    """What its digits go by: the standard uncertainty, or where that has no meaning a quarter of the drawn interval."""
    return float(q.u) if linear_holds(q) else (float(q.high) - float(q.low)) / 4


def linear_holds(q: Quantity) -> bool:
    """Whether the linear uncertainty is of the size that draws have; a crossing that vanishes nearby leaves none."""
    drawn = float(units.from_si(float(q.interval.spread), q.unit, units.as_difference(q.kind)))
    return not (bool(q.interval.curved) and math.isfinite(drawn)) or BENT * drawn > float(q.u) > drawn / BENT


def quantity_line(q: Quantity) -> str:
    if q.bound:
        return f"{q.bound} {rounded(float(q.u), float(q.limit))[0]} {q.unit}"
    value, low, high = numbers(q)
    return f"{value} {q.unit}   [{low} to {high}]"


def heading_text(record: Record) -> list[str]:
    heading = record.heading
    lines = textwrap.wrap(f"{heading.value('title')}, {heading.value('date')}", WIDTH)
    if heading.value("invented"):
        lines.append("Invented readings, for demonstration.")
    return lines


def first_lines(result: Sure, main: Quantity) -> Iterator[str]:
    """What a measurement, or several together, came to."""
    value, low, high = numbers(main)
    coverage = f"{100 * result.coverage:.6g} %"
    yield f"  Flow {value} {main.unit}, {coverage} interval {low} to {high} {main.unit}"
    yield f"  {main.label}"
    yield from (f"  {text}" for text in _how_sure(main))


def quantities_text(quantities: Mapping[str, Quantity]) -> Iterator[str]:
    width = max(len(q.label) for q in quantities.values())
    yield from (f"  {q.label:<{width}}  {quantity_line(q)}" for q in quantities.values())
    others = other_units(next(iter(quantities.values())))
    if others:
        yield f"  {'the first in other units':<{width}}  {others}"


def budget_text(main: Quantity) -> Iterator[str]:
    yield "  Largest causes of error (share of the variance)"
    yield from budget_lines(main.estimate, main.unit, main.kind)


def budget_lines(estimate: Estimate, unit: str, kind: str) -> Iterator[str]:
    """The three largest causes of one number."""
    for line in estimate.budget()[:3]:
        u = units.from_si(float(np.squeeze(line.u)), unit, units.as_difference(kind))
        cause = textwrap.shorten(line.cause.name, 46, placeholder="...")
        yield f"    {100 * float(np.squeeze(line.share)):5.1f} %  {cause:<46}  u {three_digits(u)} {unit}"


def wrapped(text: str, further: int = 2) -> list[str]:
    """A paragraph, two columns in."""
    joined = text.replace(" %", "\N{NO-BREAK SPACE}%")  # a number keeps its sign
    lines = textwrap.wrap(joined, WIDTH, initial_indent="  ", subsequent_indent=" " * further)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


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


def other_units(q: Quantity) -> str:
    """The value in the usual units of flow other than its own."""
    if q.kind != "flow":
        return ""
    own = units.factor(q.unit, q.kind)
    others = [q.to(unit) for unit in ("m3/h", "L/s", "cfm") if units.factor(unit, q.kind) != own]
    return ", ".join(f"{numbers(other)[0]} {other.unit}" for other in others)


def findings_text(findings: list[Finding]) -> list[str]:
    lines = []
    for f in findings:
        lines += wrapped(f"{MARK[f.severity]}, {f.code}: {f.message}", further=4)
    return lines


def air_line(state: dict[str, Any]) -> str:
    def mean(name: str) -> float:
        return float(np.mean(state[name].value))

    u = float(np.mean(state["density"].u / state["density"].value))
    return (
        f"{mean('temperature') - 273.15:.1f} degC, {mean('pressure') / 100:.1f} hPa, "
        f"{mean('density'):.4f} kg/m3 (u {percent(u)})"
    )
