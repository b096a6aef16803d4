"""A cleaner over its running time, and the heat of its motor, for people."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flowrig.report.blocks import Block, Heading, raised, wrapped
from flowrig.report.lines import quantity_table, rounded
from flowrig.report.table import Table
from flowrig.studies.cleaner import HOT
from flowrig.studies.filter_change import CHEAPEST, FINAL_DROP, NOT_KNOWN, Change, ruling
from flowrig.studies.heat import NO_LIMIT, Heat
from flowrig.studies.life import IN_USE, KEPT, LOST, Life
from flowrig.studies.result import Quantity

SHOWN = 9  # times told, both ends of the run included
HEADS = {
    "flow": "flow",
    "pressure": "pressure",
    "progress": "to final drop",
    "motor_temperature": "motor",
    KEPT: "clean air, charge kept",
    IN_USE: "charge as told",
    LOST: "charge lost",
    "cost": "cost of clean air",
}
NONE = "not told"


def life_blocks(life: Life) -> Iterator[Block]:
    """Flow and clean air over the run, when each limit is reached, and which ruled."""
    run = f"{float(life.shown(life.times[-1])):.4g} {life.unit}"
    yield Heading(f"Over {run} of running, {100 * life.coverage:.6g} % intervals in brackets")
    yield ""
    yield _table(life)
    yield ""
    yield Heading("When to change the filters", 3)
    for change in life.changes:
        yield from wrapped(f"- {_sentence(life, change)}", further=4)
    yield from _verdict(life)
    findings = [f for f in life.findings if f not in life.setup.findings]
    if findings:
        yield from ("", *raised(findings))


def heat_blocks(found: Heat | None) -> Iterator[Block]:
    """The rise of the winding where its resistance was measured, and the caution in any case."""
    yield Heading("Heat of the motor")
    if found is None:
        yield from wrapped("No resistance of the winding was measured; none of it can be told from a flow.")
    else:
        q = found.rise
        yield quantity_table([q], name=lambda q: "Rise of the winding above the room")
        if found.verdict == NO_LIMIT:
            yield from wrapped("No limit was given to hold it against.")
        else:
            yield from wrapped(f"Limit {found.limit:.4g} {q.unit}: {found.verdict}.")
    yield from wrapped(f"Caution: {HOT.meaning}")
    if found is not None and found.findings:
        yield from ("", *raised(found.findings))


def _table(life: Life) -> Table:
    """A line a time, every column with its interval."""
    columns = [(HEADS[name], q) for name, q in life.quantities.items() if name in HEADS]
    several = len(life.names) > 1
    ways = [
        (f"{HEADS['progress']}, {name}" if several else HEADS["progress"], q)
        for name, q in zip(life.names, life.progress, strict=True)
        if q is not None
    ]
    at = next(i for i, (head, _) in enumerate(columns) if head == HEADS["pressure"]) + 1
    columns[at:at] = ways
    rows = [(f"{float(life.shown(life.times[row])):.4g}", *(_cell(q, row) for _, q in columns)) for row in _rows(life)]
    return Table((f"running\n[{life.unit}]", *(f"{head}\n[{q.unit}]" for head, q in columns)), tuple(rows), ())


def _rows(life: Life) -> list[int]:
    """Times evenly over the run."""
    wanted = np.linspace(0.0, life.times[-1], SHOWN)
    return sorted({int(np.argmin(np.abs(life.times - t))) for t in wanted})


def _cell(q: Quantity, row: int) -> str:
    value, low, high = (float(np.asarray(x)[row]) for x in (q.value, q.low, q.high))
    if not math.isfinite(value):
        return NONE
    shown = rounded((high - low) / 4, value, low, high)  # the bar, where u of a crossing near a dip is no measure
    return f"{shown[0]} [{shown[1]} to {shown[2]}]" if high > low else shown[0]


def _sentence(life: Life, change: Change) -> str:
    name = f"{change.name[:1].upper()}{change.name[1:]}"
    if change.time is None:
        return f"{name}: {change.status}; {change.why}."
    when = f"{name}: at {_time(life, change.time)}"
    if change.name == CHEAPEST:
        ends = " to ".join(_time(life, x) for x in (change.earliest, change.latest) if x is not None)
        return f"{when}, {change.why}; within 2 % as cheap from {ends}."
    if change.name == FINAL_DROP:
        early = f", from {_time(life, change.earliest)} on by the error bars" if change.earliest is not None else ""
        pressure = float(np.interp(change.time, life.times, np.asarray(life["pressure"].value)))
        there = f"; the pressure over the bank is then {pressure:.3g} {life['pressure'].unit}"
        return f"{when}{early}, of filter {change.why}{there if math.isfinite(pressure) else ''}."
    other = f"at {_time(life, change.latest)}" if change.latest is not None else "at no time that is told"
    return f"{when}, by the {change.why}; by the other end {other}."


def _time(life: Life, time: float) -> str:
    """Three digits, and no power of ten."""
    return f"{float(f'{float(life.shown(time)):.3g}'):.10g} {life.unit}"


def _verdict(life: Life) -> Iterator[Block]:
    unknown = any(change.status == NOT_KNOWN for change in life.changes)
    of = " of those that are known" if unknown else ""
    later = ruling([change for change in life.changes if change.time])
    ruled = life.ruled
    if ruled is not None and not ruled.time:
        without = ", once the charge is lost," if life.held[KEPT].time else ""
        yield from wrapped(
            f"Not even new filters{without} give the clean air required at the lower end of its error bar: no change "
            "brings it."
        )
        if later is not None and later.time is not None:
            yield from wrapped(f"Apart from that the earliest{of} is at {_time(life, later.time)}: {later.name}.")
    elif ruled is None or ruled.time is None:
        yield from wrapped(f"None{of or ' of them'} is reached within the run.")
    else:
        yield from wrapped(f"Change them after {_time(life, ruled.time)} of running: the earliest{of} is {ruled.name}.")
    others = [_how_long(life, name, c) for name, c in life.held.items() if name != life.lower and c.time != 0.0]
    if others:
        yield from wrapped(f"The clean air required is held, at the lower end of the error bar, {'; '.join(others)}.")


def _how_long(life: Life, name: str, change: Change) -> str:
    with_ = life[name].label.partition(", ")[2]
    if change.time is not None:
        return f"with the {with_} for {_time(life, change.time)}"
    return f"with the {with_} {'as long as it is told' if change.status == NOT_KNOWN else 'over the whole run'}"
