"""Particle counts as plain text within 80 columns: efficiency by size, what goes round the filter, two counters."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from flowrig.records.particle_facts import IN_USE
from flowrig.report.clean_air_text import clean_air_text
from flowrig.report.lines import budget_lines, findings_text, quantity_line, rounded, wrapped
from flowrig.studies.by_size import BySize
from flowrig.studies.counter import FEW
from flowrig.studies.particles import ParticlesResult, efficiency_quantity, sizes_of
from flowrig.studies.result import Result

HEADS = ("size", "before", "behind", "efficiency", "interval", "")
FEW_SAID, NONE_SAID, BELOW_SAID = "few", "none", "below 0"
MARKS = {
    FEW_SAID: f"fewer than {FEW:.0f} counts behind",
    NONE_SAID: "nothing came through, a limit on one side",
    BELOW_SAID: "kept as measured",
}


def particles_text(result: Result, part: ParticlesResult) -> Iterator[str]:
    """Tables by size, what follows in words, the largest causes of error, and what was found."""
    yield part.title
    told_below = part.clean_air.classes.sentences if part.clean_air is not None else []
    for sentence in (s for s in part.sentences if s not in told_below):
        yield from wrapped(sentence, further=4)
    for run, of in part.runs.items():
        yield ""
        yield from wrapped(
            f"Efficiency by size, {run}; {100 * of.coverage:.6g} % intervals, exact where counts are few"
        )
        yield from wrapped(_summed(*part.samples[run]))
        yield from by_size_text(of)
    own = set(part.clean_air.quantities) if part.clean_air is not None else set()
    others = [q for q in part.quantities.values() if not q.name.startswith("efficiency") and q.name not in own]
    if others:
        width = max(len(q.label) for q in others)
        yield ""
        yield from (f"  {q.label[:1].upper()}{q.label[1:]:<{width - 1}}  {quantity_line(q)}" for q in others)
    told = [q for q in part.quantities.values() if q.name.startswith("efficiency")]
    if told:
        yield ""
        yield from wrapped(f"Largest causes of error: {told[0].label} (share of the variance)")
        yield from budget_lines(told[0].estimate, told[0].unit, told[0].kind)
    if part.clean_air is not None:
        yield ""
        yield from clean_air_text(part.clean_air)
    if part.findings:
        yield from ("", *findings_text(part.findings))


def _summed(before: int, behind: int) -> str:
    """What the counts of a line are sums of; where their numbers differ a reader cannot divide one by the other."""
    said = f"Counts are those of {before} sample{'s' * (before != 1)} before and {behind} behind the filter"
    return f"{said}." if before == behind else f"{said}; efficiencies are of samples at one time and of one volume."


def by_size_text(of: BySize, run: str = IN_USE) -> Iterator[str]:
    """A line a channel."""
    rows = [HEADS, *(_row(of, i, run) for i in range(len(of)))]
    two_sided = [row for row in rows if row[3]]
    widths = [max(len(row[k]) for row in (two_sided if k in (3, 4) else rows)) for k in range(len(HEADS))]
    for row in rows:
        cells = [row[0].ljust(widths[0]), row[1].rjust(widths[1]), row[2].rjust(widths[2])]
        if row[3]:
            cells += [row[3].rjust(widths[3]), row[4].rjust(widths[4])]
        else:  # a limit on one side has the room of both
            cells.append(row[4].rjust(widths[3] + 2 + widths[4]))
        yield f"  {'  '.join([*cells, row[5]])}".rstrip()
    used = {mark for row in rows for mark in row[5].split(", ")}
    told = "; ".join(f"{mark}: {meaning}" for mark, meaning in MARKS.items() if mark in used)
    if told:
        yield from wrapped(told, further=4)


def _row(of: BySize, i: int, run: str) -> tuple[str, ...]:
    before, behind = (f"{n:.0f}" for n in of.counted[i])
    if not np.isfinite(of.penetration.value[i]):
        return str(sizes_of(of, i)), before, behind, "not told", "", ""
    q = efficiency_quantity(of, i, run)
    if of.upper_only[i]:
        return str(sizes_of(of, i)), before, behind, "", f"at least {least_shown(float(q.low))} %", NONE_SAID
    # a quarter of the interval: where counts are few it lies to one side, and u says little
    value, low, high = rounded((float(q.high) - float(q.low)) / 4.0, float(q.value), float(q.low), float(q.high))
    marks = [said for said, holds in ((FEW_SAID, of.counted[i, 1] < FEW), (BELOW_SAID, float(q.value) < 0.0)) if holds]
    return str(sizes_of(of, i)), before, behind, f"{value} %", f"{low} to {high} %", ", ".join(marks)


def least_shown(percentage: float) -> str:
    """A lower limit, rounded down to the second digit of what is missing to 100 %."""
    left = 100.0 - percentage
    place = int(np.ceil(-np.log10(left))) + 1 if left > 0.0 else 0
    scale = 10.0 ** max(place, 0)
    return f"{np.floor(percentage * scale) / scale:.{max(place, 0)}f}"
