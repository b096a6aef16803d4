"""Several slower cleaners in place of one, for people."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.records.items import as_written
from flowrig.report.blocks import Block, Heading, raised, wrapped
from flowrig.report.lines import rounded
from flowrig.report.table import Table
from flowrig.studies.equal_noise import NONE, NOT_CLEAN, SURE, EqualNoise
from flowrig.studies.result import Quantity

EXACT = 1e-5  # of a number, or of 1: a bar narrower than this is rounding
HEADS = {
    "speed": "speed",
    "flow": "flow of each",
    "total_flow": "flow in all",
    "total_clean_air": "clean air in all",
    "total_level": "level",
    "against": "against one",
}


def noise_blocks(found: EqualNoise, told: Sequence[Finding] = ()) -> Iterator[Block]:
    """What so many give without more noise, how quiet they are for what is required, and the smallest number."""
    yield Heading("More and slower cleaners")
    section, coverage = found.section, 100 * found.coverage
    read_at = "" if section["speed_ratio"].assumed else f" at {as_written(section['speed_ratio'])} of the fan's speed"
    yield from wrapped(
        f"One was read at {found.heard.words}, {found.heard.away} away{read_at}. Taken: {section['slope'].text} for "
        f"ten times the speed, and all at the same distance. ± is half of the {coverage:.6g} % interval."
    )
    yield ""
    yield Heading(f"All together no louder than {noise_limit(found)}:", 3)
    shown = slice(found.tried, None)
    names = [f"{n:.0f}" for n in found.number[shown]]
    yield _table(["1, as it is"][: found.tried] + names, found.quiet)
    yield from wrapped(
        "Each turns as fast as the limit allows: what is not known of the level is in the speed and in the air."
    )
    yield ""
    yield Heading(f"To give {noise_need(found)} all together:", 3)
    yield _table(names, found.enough, shown)
    beyond = found.number[shown][found.beyond[shown]]
    if beyond.size:
        which = "any of them" if beyond.size == len(names) else ", ".join(f"{n:.0f}" for n in beyond)
        yield from wrapped(f"Beyond what the fan can give at its full speed, whatever the noise: {which}.")
    faster = found.number[shown][found.enough["speed"].value[shown] > 1.000001 * found.quiet["speed"].value[0]]
    if faster.size:
        yield from wrapped(f"Faster than the one that was asked for: {', '.join(f'{n:.0f}' for n in faster)}.")
    yield from ("", *wrapped(noise_verdict(found)))
    findings = [f for f in found.findings if f not in told]
    if findings:
        yield from ("", *raised(findings))


def noise_limit(found: EqualNoise) -> str:
    return as_written(found.section["limit"]) if found.tried else "one as it is"


def noise_need(found: EqualNoise) -> str:
    of = "of clean air" if found.need.of_clean_air else "of flow"
    unit = found.together.unit
    if not found.need.stated:
        value = units.from_si(float(np.ravel(found.need.total.value)[0]), unit, "flow")
        return f"as much as one, {value:.4g} {unit} {of},"
    value = units.from_si(float(found.need.total.value), unit, "flow")
    return f"{float(f'{value:.4g}'):.10g} {unit} {of}"  # without an exponent


def _table(names: Sequence[str], group: dict[str, Quantity], rows: slice = slice(None)) -> Table:
    """A line a number of cleaners."""
    heads = [f"{HEADS[name]}\n[{q.unit}]" for name, q in group.items()]
    columns = [[_cell(q, row) for row in range(len(q.estimate.value))[rows]] for q in group.values()]
    return Table(("cleaners", *heads), tuple(zip(names, *columns, strict=True)), ())


def _cell(q: Quantity, row: int) -> str:
    value, low, high = (float(np.asarray(x)[row]) for x in (q.value, q.low, q.high))
    if not math.isfinite(value):
        return "none"
    if high - low < EXACT * max(abs(value), 1.0):
        return f"{value if abs(value) > EXACT else 0.0:.4g}"
    shown, half = rounded((high - low) / 4, value, (high - low) / 2)
    return f"{shown} ± {half}"


def noise_verdict(found: EqualNoise) -> str:
    """The smallest number that meets both, how sure that is, or why none is told."""
    if not found.verdict and any(f.meaning == NOT_CLEAN for f in found.findings):
        return "How many give the clean air that is required cannot be told: no efficiency is known."
    if not found.verdict:
        return (
            "Neither a limit of noise nor an amount of air was asked for: one as it is stands as the measure of both. "
            "State limit, required_flow or required_clean_air to be told the smallest number."
        )
    asked = f"{noise_need(found).rstrip(',')} at no more noise than {noise_limit(found)}"
    most = int(found.number[-1])
    if found.verdict == NONE:
        q = found.together
        best = found.tried + int(np.argmax(np.nan_to_num(q.value[found.tried :], nan=-1.0)))
        value, low, high = (float(np.asarray(x)[best]) for x in (q.value, q.low, q.high))
        shown = rounded((high - low) / 4, value, low, high)
        return (
            f"Not achievable with up to {most} of them: {asked}. The most is {shown[0]} {q.unit} "
            f"[{shown[1]} to {shown[2]}], with {found.number[best]:.0f}."
        )
    sure = "the error bars included" if found.verdict == SURE else "but only in the middle of the error bars"
    return f"Smallest number for {asked}: {found.answer}, {sure}."
