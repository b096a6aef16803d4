"""A room with its cleaners for people."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flowrig import units
from flowrig.methods.room_cautions import ROOM
from flowrig.records.words import three_digits
from flowrig.report.blocks import Block, Heading, labelled, plain, raised, wrapped
from flowrig.report.lines import budget_table, heading_blocks, other_units, quantity_line, rounded
from flowrig.report.room_options_text import options_blocks, ranged
from flowrig.report.table import Table
from flowrig.studies.building import NOW
from flowrig.studies.cleaner_source import DECAY
from flowrig.studies.result import Quantity
from flowrig.studies.room import RoomResult
from flowrig.studies.room_targets import Target
from flowrig.studies.room_units import UnitsFor
from flowrig.studies.room_verdict import answers, percent, sentences

SHARES_SHOWN = np.array([2.0, 5.0, 10.0, 15.0, 30.0, 60.0]) / 60.0  # of the times of a curve, beside its start
LINES = 12  # numbers of units told one by one
SORTS = {  # how a rate was come by, beside the mixing that is applied to it
    "measured": "flow times efficiency",
    "predicted": "predicted, flow times efficiency",
    "stated": "stated: taken as from a test chamber",
}
HEADS = {
    "air_changes": "air changes",
    "per_person": "for each person",
    "added": "of all units",
    "level": "level",
}


def room_text(result: RoomResult) -> str:
    """Everything a person is shown, as plain text within 80 columns."""
    return plain(room_blocks(result))


def room_blocks(result: RoomResult) -> Iterator[Block]:
    """Everything a person is shown."""
    yield from (*heading_blocks(result.record), "", *_room(result))
    if result.targets and result.sorts:
        yield from ("", *_answers(result))
    for target in result.targets:
        yield from ("", *_target(result, target))
    yield from ("", *options_blocks(result), "", *_over_time(result))
    if result.findings:
        yield from ("", Heading("About the room and its cleaners"), *raised(result.findings))
    yield from ("", Heading("Take care; local codes and licensed practice come first"))
    for caution in ROOM:
        yield from wrapped(f"- {caution.text}", further=4)


def alarms(result: RoomResult) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return list(dict.fromkeys(f"ALARM, {f.code}: {f.message}" for f in result.all_findings if f.severity == "alarm"))


def _room(result: RoomResult) -> Iterator[Block]:
    facts = result.facts
    volume = facts.inputs["volume"]
    value, u = rounded(float(volume.u), float(volume.value), float(volume.u))
    yield Heading(f"The room: {value} m3 of air (u {u} m3)")
    for name, sort in result.sorts.items():
        rate = Quantity("", "", "flow", result.asked.flow_unit, sort.clean_air, result.bars[name])
        particles = sort.particles or "particles not said"
        yield from wrapped(f"{name}: {quantity_line(rate)} of clean air, {sort.how}; {particles}", further=4)
        if sort.sizes_said:
            yield from wrapped(f"{sort.sizes_said}.", 4, 4)
    if result.sorts:
        yield from wrapped(_mixed(result), further=4)
    if result.lost is not None:
        yield from wrapped(f"The better filter takes {quantity_line(result.lost)} of the flow of the ducts.", further=4)
    if facts.assumed:
        yield Heading("Assumed, as the record does not say:", 3)
        for name, shown, basis in facts.assumed:
            yield from wrapped(f"{name} = {shown}; {basis}", 6, 4)


def _mixed(result: RoomResult) -> str:
    """To which rates the mixing of the room was applied."""
    facts = result.facts
    decayed = [name for name, sort in result.sorts.items() if sort.how == DECAY]
    others = [f"{name} ({SORTS[sort.how]})" for name, sort in result.sorts.items() if sort.how != DECAY]
    if not facts.mixed:
        said = f"No mixing is stated: taken as 1 for {', '.join(others)}. " if others else ""
        within = f"What its room did to {', '.join(decayed)} is in the rate by decay: no mixing is applied to it."
        return said + within if decayed else said.strip()
    mixing = facts.inputs["mixing"]
    shown = " ± ".join(rounded(float(mixing.u), float(mixing.value), float(mixing.u)))
    ducts = "; not to the filter in the ducts" if facts.duct is not None else ""
    return f"In this room each counts for {shown} (u) of that: its mixing, applied to {', '.join(others)}{ducts}."


def _answers(result: RoomResult) -> Iterator[Block]:
    """The number of units that each target takes, before anything else."""
    yield Heading("The answer, target by target; what it rests on follows")
    for about, state, words in answers(result.targets):
        yield from wrapped(f"{about}{f' ({state})' if state else ''}: {words}.", further=4)


def _target(result: RoomResult, target: Target) -> Iterator[Block]:
    yield Heading(target.title)
    yield from wrapped(f"Target: {target.said}. {target.silent}", further=4)
    for case in target.cases:
        what = case.needed.label if len(target.cases) == 1 else f"{case.state.name}, {case.needed.label}"
        yield from wrapped(f"{what[:1].upper()}{what[1:]}: {_needed(case.needed)}", further=4)
        yield labelled("    in other units ", _others(case.needed))
        for sentence in sentences(target, case):
            yield from wrapped(sentence, further=4)
        for found in case.units:
            yield from _numbers(found)
        if case.state.name == NOW and case.needed.estimate.parts:
            yield Heading("What is needed hangs on (share of the variance)", 3, "    ")
            yield budget_table(case.needed.estimate, case.needed.unit, "flow")
        yield from raised(case.findings)
    yield from raised(target.findings)


def _needed(q: Quantity) -> str:
    """Without a bar where nothing it is made of has one."""
    return quantity_line(q) if q.estimate.parts else f"{float(q.value):.4g} {q.unit}"


def _others(q: Quantity) -> str:
    if q.estimate.parts:
        return other_units(q)
    own = units.factor(q.unit, q.kind)
    others = [q.to(unit) for unit in ("m3/h", "L/s", "cfm") if units.factor(unit, q.kind) != own]
    return ", ".join(f"{float(other.value):.4g} {other.unit}" for other in others)


def _numbers(found: UnitsFor) -> Iterator[Block]:
    """A line a number of units: every one while they are few, else those about which something is said."""
    rows = shown_rows(found)
    columns = {f"{HEADS[found.reached.name]} [{found.reached.unit}]": [_cell(found.reached, row) for row in rows]}
    if found.power is not None:
        columns["their watts"] = [_half(found.power, row) for row in rows]
    if found.sound is not None:
        columns["their dB"] = [_half(found.sound, row, 1) for row in rows]
    silent = [head for head, q in (("watts", found.power), ("dB", found.sound)) if q is None]
    told = [[f"{int(found.numbers[row])}" for row in rows], [percent(float(found.probability[row])) for row in rows]]
    yield from wrapped(found.name, 4, 4)
    yield Table(("units", "meet it", *columns), tuple(zip(*told, *columns.values(), strict=True)), (), indent=4)
    if silent:
        yield from wrapped(f"their {' and their '.join(silent)}: not known", 4, 4)
    if len(rows) <= rows[-1]:
        yield from wrapped("--csv FILE writes every number", 4, 4)


def shown_rows(found: UnitsFor) -> list[int]:
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


def _over_time(result: RoomResult) -> Iterator[Block]:
    """The level at some times, a column an option."""
    curves = [option.curve for option in result.options if option.curve is not None]
    label, unit = curves[0].label, curves[0].unit
    yield Heading(f"{label[:1].upper()}{label[1:]} after switching on [{unit}], by the number of the option")
    rows = [0, *(int(np.argmin(np.abs(result.times - share * result.times[-1]))) for share in SHARES_SHOWN)]
    shown = [three_digits(float(units.from_si(float(result.times[row]), "min", "time"))) for row in rows]
    cells = [[_cell(q, row) for row in rows] for q in curves]
    heads = ("min", *(f"{i}" for i in range(1, len(curves) + 1)))
    yield Table(heads, tuple(zip(shown, *cells, strict=True)), ())
