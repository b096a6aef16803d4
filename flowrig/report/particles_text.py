"""Particle counts for people: efficiency by size, what goes round the filter, two counters."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from flowrig.records.particle_facts import IN_USE
from flowrig.report.blocks import Block, Heading, raised, wrapped
from flowrig.report.clean_air_text import clean_air_blocks
from flowrig.report.lines import budget_blocks, capital, quantity_table, rounded
from flowrig.report.table import Table
from flowrig.studies.by_size import BySize
from flowrig.studies.counter import FEW
from flowrig.studies.particles import ParticlesResult, efficiency_quantity, sizes_of
from flowrig.studies.result import Result

HEADS = ("size", "before", "behind", "efficiency [%]", "from", "to", "remark")
PLAIN = ("size", "before", "behind", "efficiency", "interval", "")
AT_LEAST = "at least"
FEW_SAID, NONE_SAID, BELOW_SAID = "few", "none", "below 0"
MARKS = {
    FEW_SAID: f"fewer than {FEW:.0f} counts behind",
    NONE_SAID: "nothing came through, a limit on one side",
    BELOW_SAID: "kept as measured",
}


def particles_blocks(result: Result, part: ParticlesResult) -> Iterator[Block]:
    """Tables by size, what follows in words, the largest causes of error, and what was found."""
    yield Heading(part.title)
    told_below = part.clean_air.classes.sentences if part.clean_air is not None else []
    for sentence in (s for s in part.sentences if s not in told_below):
        yield from wrapped(sentence, further=4)
    for run, of in part.runs.items():
        yield ""
        exact = f"{100 * of.coverage:.6g} % intervals, exact where counts are few"
        yield Heading(f"Efficiency by size, {run}; {exact}", 3)
        yield from wrapped(_summed(*part.samples[run]))
        yield from by_size_blocks(of)
    own = set(part.clean_air.quantities) if part.clean_air is not None else set()
    others = [q for q in part.quantities.values() if not q.name.startswith("efficiency") and q.name not in own]
    if others:
        yield from ("", quantity_table(others, name=capital))
    told = [q for q in part.quantities.values() if q.name.startswith("efficiency")]
    if told:
        yield ""
        yield from budget_blocks(told[0], told[0].label)
    if part.clean_air is not None:
        yield from ("", *clean_air_blocks(part.clean_air))
    if part.findings:
        yield from ("", *raised(part.findings))


def _summed(before: int, behind: int) -> str:
    """What the counts of a line are sums of; where their numbers differ a reader cannot divide one by the other."""
    said = f"Counts are those of {before} sample{'s' * (before != 1)} before and {behind} behind the filter"
    return f"{said}." if before == behind else f"{said}; efficiencies are of samples at one time and of one volume."


def by_size_blocks(of: BySize, run: str = IN_USE) -> Iterator[Block]:
    """A line a channel."""
    rows = tuple(_row(of, i, run) for i in range(len(of)))
    yield Table(HEADS, rows, (0, 6), reads=_read)
    used = {mark for row in rows for mark in row[-1].split(", ")}
    told = "; ".join(f"{mark}: {meaning}" for mark, meaning in MARKS.items() if mark in used)
    if told:
        yield from wrapped(told, further=4)


def _read(rows: tuple[tuple[str, ...], ...], room: int) -> Iterator[str]:
    """In plain text a limit on one side has the room of value and interval."""
    lines = [PLAIN]
    for size, before, behind, value, low, high, remark in rows:
        if low:
            lines.append((size, before, behind, f"{value} %", f"{low} to {high} %", remark))
        elif value.startswith(AT_LEAST):
            lines.append((size, before, behind, "", f"{value} %", remark))
        else:
            lines.append((size, before, behind, value, "", remark))
    two_sided = [line for line in lines if line[3]]
    widths = [max(len(line[k]) for line in (two_sided if k in (3, 4) else lines)) for k in range(len(PLAIN))]
    for line in lines:
        cells = [line[0].ljust(widths[0]), line[1].rjust(widths[1]), line[2].rjust(widths[2])]
        if line[3]:
            cells += [line[3].rjust(widths[3]), line[4].rjust(widths[4])]
        else:
            cells.append(line[4].rjust(widths[3] + 2 + widths[4]))
        yield f"  {'  '.join([*cells, line[5]])}".rstrip()


def _row(of: BySize, i: int, run: str) -> tuple[str, ...]:
    before, behind = (f"{n:.0f}" for n in of.counted[i])
    counted = (str(sizes_of(of, i)), before, behind)
    if not np.isfinite(of.penetration.value[i]):
        return *counted, "not told", "", "", ""
    q = efficiency_quantity(of, i, run)
    if of.upper_only[i]:
        return *counted, f"{AT_LEAST} {least_shown(float(q.low))}", "", "", NONE_SAID
    # a quarter of the interval: where counts are few it lies to one side, and u says little
    value, low, high = rounded((float(q.high) - float(q.low)) / 4.0, float(q.value), float(q.low), float(q.high))
    marks = [said for said, holds in ((FEW_SAID, of.counted[i, 1] < FEW), (BELOW_SAID, float(q.value) < 0.0)) if holds]
    return *counted, value, low, high, ", ".join(marks)


def least_shown(percentage: float) -> str:
    """A lower limit, rounded down to the second digit of what is missing to 100 %."""
    left = 100.0 - percentage
    place = int(np.ceil(-np.log10(left))) + 1 if left > 0.0 else 0
    scale = 10.0 ** max(place, 0)
    return f"{np.floor(percentage * scale) / scale:.{max(place, 0)}f}"
