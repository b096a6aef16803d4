"""What can be done in a room, option by option; what is never reached says why."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from flowrig import units
from flowrig.records.words import ends_rounded, three_digits
from flowrig.report.blocks import Block, Heading, labelled, wrapped
from flowrig.report.table import Table
from flowrig.studies.building import Option, season_of
from flowrig.studies.result import Quantity
from flowrig.studies.room import RoomResult
from flowrig.studies.room_over_time import Minutes
from flowrig.studies.room_targets import LEVEL
from flowrig.studies.room_verdict import percent

NEVER = "never"
SURELY = 0.9995  # of the draws: as good as all of them


def ranged(value: float, low: float, high: float) -> str:
    """A value with both ends, to the digits of their distance."""
    if math.isnan(value):
        return "-"
    shown = [NEVER if x == "inf" else x for x in ends_rounded(value, low, high)]
    return shown[0] if shown[0] == shown[1] == shown[2] else f"{shown[0]} [{shown[1]} to {shown[2]}]"


def options_blocks(result: RoomResult) -> Iterator[Block]:
    """What may be done, each with what it does, and what the numbers rest on."""
    yield Heading(f"What can be done, {100 * result.coverage:.6g} % intervals in brackets")
    for i, option in enumerate(result.options, 1):
        yield Heading(f"{i}  {option.title}", 3, "  ", "     ")
        if option.why:
            yield from wrapped(option.why, 5, 5)
        yield _table(list(_lines(option, result)))
    left_out = [name for name in result.sorts if not any(name in option.units for option in result.options)]
    if left_out and result.targets:
        said = "it is not achievable, or none is needed; the targets say which"
        yield from wrapped(f"No number of {', '.join(left_out)} is offered: {said}.")
    yield from wrapped(
        "Minutes to clear are those in which 90, 99 and 99.9 % of what is in the air go while nothing enters and "
        "nothing is set free, in air that is mixed; infiltration, outdoor air and settling take their part."
    )
    if any("power" in option.quantities for option in result.options):
        said = "Power and energy are those of units that run all the time, and of the ducts' fan for its added runtime."
        yield from wrapped(said)
    if any("sound" in option.quantities for option in result.options):
        said = "Sound levels are those of the units alone, added by energy, as if each stood at that distance."
        yield from wrapped(said)
    yield from wrapped("Ends are drawn: from one table to another they may differ by a twentieth of their distance.")


def _table(told: list[tuple[str, str, str]]) -> Table:
    """A line a number or an answer; words of an answer hang behind its label in plain text."""
    width = max(len(label) for label, *_ in told)

    def reads(rows: tuple[tuple[str, ...], ...], room: int) -> Iterator[str]:
        for label, words, unit in rows:
            yield from labelled(f"     {label:<{width}}  ", f"{words} {unit}".rstrip()).lines(room)

    return Table(("of the option", "value", "unit"), tuple(told), (0, 1, 2), indent=5, reads=reads)


def _lines(option: Option, result: RoomResult) -> Iterator[tuple[str, str, str]]:
    season = units.from_si(season_of(result.facts), "d", "time")
    for q in option.quantities.values():
        label = f"energy in {season:.4g} d" if q.name == "energy" else q.label
        value, low, high = (float(x) for x in (q.value, q.low, q.high))
        shown = f"{value:.1f} [{low:.1f} to {high:.1f}]" if q.kind == "sound level" else ranged(value, low, high)
        yield label, shown, q.unit
    for name, label in (("power", "mean power"), ("sound", "sound level of all units")):
        if name in option.unknown:
            yield label, f"not known: {option.unknown[name]}", ""
    yield "minutes to clear 90, 99, 99.9 %", _minutes(option.cleared) or f"{NEVER}: nothing takes particles out", ""
    if option.come_down:
        told = _minutes(option.come_down)
        if any(math.isinf(float(m.time.value)) for m in option.come_down):
            told = f"{told or NEVER}: {_stays(option)}"
        yield "the same while more enters", told, ""
    if option.to_target is not None:
        yield "minutes to the target level", _to_target(option, option.to_target, result), ""


def _minutes(times: Sequence[Minutes]) -> str:
    """Empty where none is ever reached."""
    shown = [_time(m) for m in times]
    return "" if set(shown) == {NEVER} else "; ".join(shown)


def _time(m: Minutes) -> str:
    return ranged(*(float(x) for x in (m.time.value, m.time.low, m.time.high)))


def _stays(option: Option) -> str:
    """Where the level comes to rest, and what that is of what was there."""
    level = option.quantities["level"]
    assert option.curve is not None
    first = float(option.curve.value[0])
    if float(level.value) >= first * (1.0 - 1e-9):
        return f"what enters holds it at {_value(level)} {level.unit}, which is no less than at the start"
    share = 100.0 * float(level.value) / first
    return f"what enters holds it at {_value(level)} {level.unit}, {three_digits(share)} % of the start"


def _value(q: Quantity) -> str:
    return ends_rounded(float(q.value), float(q.low), float(q.high))[0]


def _to_target(option: Option, m: Minutes, result: RoomResult) -> str:
    level = option.quantities["level"]
    wanted = three_digits(float(units.from_si(float(result[LEVEL].number.value), level.unit, level.kind)))
    rests = f"it comes to rest at {_value(level)} {level.unit}, above {wanted}"
    if math.isinf(float(m.time.value)):
        if m.never >= SURELY:
            return f"{NEVER}: {rests}"
        soonest = ends_rounded(*(float(x) for x in (m.time.low, m.time.low, m.time.low)))[0]
        reached = f"{percent(1.0 - m.never)} of the draws get there"
        if math.isfinite(float(m.time.low)):
            reached += f", from {three_digits(float(soonest))} min on"
        return f"{NEVER}, with every value as it is stated: {rests}; {reached}"
    told = _time(m)
    if float(m.time.value) == 0.0:
        told = f"{told}: it is there from the start" if told == "0" else told
    elif float(m.time.estimate.value) > float(result.times[-1]):
        told += f", beyond the {three_digits(float(units.from_si(result.times[-1], 'min', 'time')))} that are followed"
    if 0.0 < m.never < SURELY:
        told += f"; {NEVER} in {percent(m.never)} of the draws, which come to rest above {wanted} {level.unit}"
    return told
