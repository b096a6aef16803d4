"""A room with its cleaners as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence

import numpy as np

from flowrig import units
from flowrig.methods.room_cautions import ROOM
from flowrig.records.words import three_digits
from flowrig.report.lines import (
    WIDTH,
    budget_lines,
    findings_text,
    heading_text,
    other_units,
    quantity_line,
    rounded,
    wrapped,
)
from flowrig.studies.building import NOW, Option, season_of
from flowrig.studies.result import Quantity
from flowrig.studies.room import RoomResult
from flowrig.studies.room_over_time import Minutes
from flowrig.studies.room_targets import Target
from flowrig.studies.room_units import UnitsFor
from flowrig.studies.room_verdict import percent, sentences

NEVER = "never"
SURELY = 0.9995  # of the draws: as good as all of them
TIMES_SHOWN = (0, 2, 5, 10, 15, 30, 60)  # of the times of a curve
LINES = 12  # numbers of units told one by one
HEADS = {
    "air_changes": "air changes",
    "per_person": "for each person",
    "added": "of all units",
    "level": "level",
}


def room_text(result: RoomResult) -> str:
    """Everything a person at the terminal is shown."""
    lines = [*heading_text(result.record), "", *_room(result)]
    for target in result.targets:
        lines += ["", *_target(result, target)]
    lines += ["", *_options(result), "", *_over_time(result)]
    if result.findings:
        lines += ["", "About the room and its cleaners", *findings_text(result.findings)]
    lines += ["", "Take care; local codes and licensed practice come first"]
    for caution in ROOM:
        lines += wrapped(f"- {caution.text}", further=4)
    return "\n".join(lines)


def alarms(result: RoomResult) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return list(dict.fromkeys(f"ALARM, {f.code}: {f.message}" for f in result.all_findings if f.severity == "alarm"))


def _room(result: RoomResult) -> Iterator[str]:
    facts = result.facts
    volume = facts.inputs["volume"]
    value, u = rounded(float(volume.u), float(volume.value), float(volume.u))
    yield f"The room: {value} m3 of air (u {u} m3)"
    for name, sort in result.sorts.items():
        rate = Quantity("", "", "flow", result.asked.flow_unit, sort.clean_air, result.bars[name])
        particles = sort.particles or "particles not said"
        yield from wrapped(f"{name}: {quantity_line(rate)} of clean air, {sort.how}; {particles}", further=4)
    if facts.mixed and result.sorts:
        mixing = facts.inputs["mixing"]
        shown = " ± ".join(rounded(float(mixing.u), float(mixing.value), float(mixing.u)))
        yield from wrapped(f"In this room each counts for {shown} (u) of that: its mixing.", further=4)
    if result.lost is not None:
        yield from wrapped(f"The better filter takes {quantity_line(result.lost)} of the flow of the ducts.", further=4)
    if facts.assumed:
        yield "  Assumed, as the record does not say:"
        for name, shown, basis in facts.assumed:
            yield from textwrap.wrap(f"{name} = {shown}; {basis}", WIDTH, initial_indent="    ",
                                     subsequent_indent="      ")  # fmt: skip


def _target(result: RoomResult, target: Target) -> Iterator[str]:
    yield target.title
    yield from wrapped(f"Target: {target.said}. {target.silent}", further=4)
    for case in target.cases:
        where = "" if len(target.cases) == 1 else f"{case.state.name.capitalize()}, units"
        yield from wrapped(f"{where or 'Units'} have to give {quantity_line(case.needed)} of clean air", further=4)
        others = other_units(case.needed)
        if others:
            yield f"    in other units {others}"
        for sentence in sentences(target, case):
            yield from wrapped(sentence, further=4)
        for found in case.units:
            yield from _numbers(found)
        if case.state.name == NOW and case.needed.estimate.parts:
            yield "    What is needed hangs on (share of the variance)"
            yield from budget_lines(case.needed.estimate, case.needed.unit, "flow")
        yield from findings_text(case.findings)
    yield from findings_text(target.findings)


def _numbers(found: UnitsFor) -> Iterator[str]:
    """A line a number of units: every one while they are few, else those about which something is said."""
    rows = _shown_rows(found)
    columns = {f"{HEADS[found.reached.name]} [{found.reached.unit}]": [_cell(found.reached, row) for row in rows]}
    if found.power is not None:
        columns["their watts"] = [_half(found.power, row) for row in rows]
    if found.sound is not None:
        columns["their dB"] = [_half(found.sound, row, 1) for row in rows]
    widths = {head: max(len(head), *map(len, column)) for head, column in columns.items()}
    yield f"    {found.name}"
    yield "    " + "  ".join([f"{'units':>5}", f"{'meet it':>11}", *(f"{head:>{w}}" for head, w in widths.items())])
    for i, row in enumerate(rows):
        told = [f"{int(found.numbers[row]):>5}", f"{percent(float(found.probability[row])):>11}"]
        yield "    " + "  ".join([*told, *(f"{columns[head][i]:>{w}}" for head, w in widths.items())])

    if len(rows) <= rows[-1]:
        yield "    --csv FILE writes every number"


def _shown_rows(found: UnitsFor) -> list[int]:
    enough = max(found.sure or 0, found.on_mean or 0)
    last = len(found.numbers) - 1
    if found.sure is not None:
        last = min(enough + 1, last)
    if last < LINES:
        return list(range(last + 1))
    told = [n + beside for n in (found.on_mean, found.sure) if n is not None for beside in (-1, 0, 1)]
    told += [round(last * i / 4) for i in range(5)]
    return sorted({n for n in told if 0 <= n <= last})


def _half(q: Quantity, row: int, decimals: int | None = None) -> str:
    """A value with half of its interval, to the digits of that half unless their number is given."""
    value, low, high = _ends(q, row)
    half = (high - low) / 2
    if not math.isfinite(value):
        return "-"
    if not half > 0.0:
        return f"{value:.6g}"
    shown = rounded(half, value, half) if decimals is None else [f"{x:.{decimals}f}" for x in (value, half)]
    return " ± ".join(shown)


def _cell(q: Quantity, row: int) -> str:
    return ranged(*_ends(q, row))


def _ends(q: Quantity, row: int) -> tuple[float, float, float]:
    value, low, high = (float(np.broadcast_to(x, q.estimate.value.shape)[row]) for x in (q.value, q.low, q.high))
    return value, low, high


def ranged(value: float, low: float, high: float) -> str:
    """A value with both ends, to the digits of their distance."""
    if not math.isfinite(value):
        return "-"
    if not math.isfinite(high - low) or high - low <= 1e-6 * abs(value):
        return f"{value:.4g}"
    shown = rounded((high - low) / 4, value, low, high)
    return f"{shown[0]} [{shown[1]} to {shown[2]}]"


def _options(result: RoomResult) -> Iterator[str]:
    """What may be done, each with what it does."""
    yield f"What can be done, {100 * result.coverage:.6g} % intervals in brackets"
    season = units.from_si(season_of(result.facts), "d", "time")
    for i, option in enumerate(result.options, 1):
        yield from wrapped(f"{i}  {option.title}", further=5)
        told = list(_lines(option, season))
        width = max(len(label) for label, _ in told)
        for label, words in told:
            head = f"     {label:<{width}}  "
            yield from textwrap.wrap(words, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
    if any("power" in option.quantities for option in result.options):
        said = "Power and energy are those of units that run all the time, and of the ducts' fan for its added runtime."
        yield from wrapped(said)


def _lines(option: Option, season: float) -> Iterator[tuple[str, str]]:
    for q in option.quantities.values():
        label = f"energy in {season:.4g} d" if q.name == "energy" else q.label
        value, low, high = (float(x) for x in (q.value, q.low, q.high))
        shown = f"{value:.1f} [{low:.1f} to {high:.1f}]" if q.kind == "sound level" else ranged(value, low, high)
        yield label, f"{shown} {q.unit}"
    yield "minutes to clear 90, 99, 99.9 %", _minutes(option.cleared)
    if option.come_down:
        yield "the same while more enters", _minutes(option.come_down)
    if option.to_target is not None:
        time = option.to_target
        shown, chance = _time(time), ""
        if 0.0 < time.never < SURELY:
            chance = f"{NEVER} in {percent(time.never)} of the draws"
            shown = chance if shown == NEVER else f"{shown}, {chance}"
        yield "minutes to the target level", shown


def _minutes(times: Sequence[Minutes]) -> str:
    shown = [_time(m) for m in times]
    return NEVER if set(shown) == {NEVER} else "; ".join(shown)


def _time(m: Minutes) -> str:
    value, low, high = (_three(float(x)) for x in (m.time.value, m.time.low, m.time.high))
    return value if low == high else f"{value} [{low} to {high}]"


def _three(x: float) -> str:
    return three_digits(x) if math.isfinite(x) else NEVER


def _over_time(result: RoomResult) -> Iterator[str]:
    """The level at some times, a column an option."""
    curves = [option.curve for option in result.options if option.curve is not None]
    first = curves[0]
    yield f"{first.label[:1].upper()}{first.label[1:]} after switching on [{first.unit}], by the number of the option"
    cells = [[_cell(q, row) for row in TIMES_SHOWN] for q in curves]
    shown = [f"{units.from_si(float(result.times[row]), 'min', 'time'):.4g}" for row in TIMES_SHOWN]
    widths = [max(len(str(i)), *map(len, column)) for i, column in enumerate(cells, 1)]
    for part in _abreast(widths, WIDTH - 7):
        yield "  " + "  ".join([f"{'min':>5}", *(f"{i + 1:>{widths[i]}}" for i in part)])
        for j, time in enumerate(shown):
            yield "  " + "  ".join([f"{time:>5}", *(f"{cells[i][j]:>{widths[i]}}" for i in part)])


def _abreast(widths: Sequence[int], room: int) -> Iterator[list[int]]:
    """As many columns beside each other as there is room for."""
    part: list[int] = []
    for i in range(len(widths)):
        if part and sum(widths[k] + 2 for k in (*part, i)) > room:
            yield part
            part = []
        part.append(i)
    yield part
