"""Averages, classes and clean-air rates that follow from efficiencies by size, for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from flowrig.physics.classes import EDITIONS
from flowrig.physics.size_averages import CLEAN_AIR_RANGES
from flowrig.records.clean_air_facts import MEDIA, SYSTEM
from flowrig.records.sizes import Sizes
from flowrig.report.blocks import Block, Heading, wrapped
from flowrig.report.lines import budget_blocks, numbers, other_units, quantity_line
from flowrig.report.table import Table
from flowrig.studies.clean_air_rate import CleanAir, Rate, at_least_shown
from flowrig.studies.counted import Sized
from flowrig.studies.size_classes import SizeClasses

AVERAGED = (
    "E1 to E3 are plain means over the channels of the standard, ePM is weighed by the volume of particles that its "
    "standard assumes in the air, and the ranges of a clean-air rate by the logarithm of size: one efficiency curve, "
    "averaged in three ways."
)


def clean_air_blocks(found: CleanAir) -> Iterator[Block]:
    """What stands behind the efficiency table of a part that counts particles; its findings not among it."""
    yield from _averages(found.classes, found.coverage)
    if found.classes.averages:
        yield ""
    if found.flow.quantity is None:
        yield from wrapped(f"No clean-air rate: {found.flow.words}.")
        return
    yield from _rates(found)


def _averages(classes: SizeClasses, coverage: float) -> Iterator[Block]:
    if classes.averages:
        yield Heading(f"Averages over published ranges of size, {100 * coverage:.6g} % intervals in brackets")
        rows = [
            (name, average.quantity.label.removeprefix(f"{name}, "), *_ends(average))
            for name, average in classes.averages.items()
        ]
        yield Table(("average", "sizes", "value [%]", "from", "to"), tuple(rows), (0, 1), keys=2, reads=_averages_read)
        yield from wrapped(AVERAGED, further=4)
    for each in _told_once(classes):
        yield from wrapped(each, further=4)


def _averages_read(rows: tuple[tuple[str, ...], ...], room: int) -> Iterator[str]:
    for name, sizes, *ends in rows:
        yield f"  {name:<8}{sizes:<16}{_cell(*ends)} %"


def _told_once(classes: SizeClasses) -> Iterator[str]:
    """A sentence for each table of classes; editions with one table share it."""
    done: dict[object, int] = {}
    for place, each in enumerate(classes.classes):
        table = EDITIONS[each.edition]
        if table.minima in done:
            continue
        done[table.minima] = place
        alike = [c.edition for c in classes.classes[place + 1 :] if EDITIONS[c.edition].minima == table.minima]
        more = "".join(f" and {edition.removeprefix('ANSI/ASHRAE 52.2')}" for edition in alike)
        status = f" Limits: {table.source}, {table.status}."
        yield each.sentence.replace(each.edition, f"{each.edition}{more}", 1) + status


def _rates(found: CleanAir) -> Iterator[Block]:
    flow = found.flow.quantity
    assert flow is not None
    yield Heading(f"Clean-air rate: flow times efficiency, {100 * found.coverage:.6g} % intervals in brackets")
    yield from wrapped(f"Flow: {found.flow.words}, {quantity_line(flow)}", further=4)
    if found.measured_on == MEDIA:
        yield from wrapped("At most: the efficiency is of the media, without what passes beside the filters.")
    elif found.measured_on != SYSTEM:
        yield from wrapped("At most, unless what passes beside the filters is in the efficiency: it is not told.")
    yield from _table(list(found.ranges.values()), flow.unit, with_efficiency=True)
    yield from _table(found.channels, flow.unit, with_efficiency=False)
    named = ", ".join(f"{name} {Sizes(*ends)}" for name, ends in CLEAN_AIR_RANGES.items())
    yield from wrapped(f"Ranges: {named} (ANSI/AHAM AC-1, from memory).")
    yield from wrapped(
        "Each range is averaged over the logarithm of size: a channel counts with how much of the range it holds, "
        "never with how many particles were in it."
    )
    per_watt = [(rate.words, rate.per_watt) for rate in found.ranges.values() if rate.per_watt is not None]
    if per_watt:
        yield Heading("Clean air per watt", 3)
        rows = tuple((words, *_ends(rate), rate.quantity.unit) for words, rate in per_watt)
        yield Table(("range", "clean air per watt", "from", "to", "unit"), rows, (0, 4), indent=4, reads=_per_watt_read)
    first = next((r for r in (*found.ranges.values(), *found.channels) if r.clean_air is not None), None)
    if first is not None and first.clean_air is not None:
        q = first.clean_air.quantity
        others = other_units(q)
        if others and not first.clean_air.one_sided:
            yield from wrapped(f"In other units ({first.words}): {others}.")
        yield from budget_blocks(q, first.words)


def _per_watt_read(rows: tuple[tuple[str, ...], ...], room: int) -> Iterator[str]:
    for words, *ends, unit in rows:
        yield f"    {words}: {_cell(*ends)} {unit}"


def _table(rates: Sequence[Rate], unit: str, *, with_efficiency: bool) -> Iterator[Table]:
    """A line a range; the efficiencies in a table of their own where both have no room side by side."""
    told = [(rate, rate.clean_air) for rate in rates if rate.clean_air is not None]
    if not told:
        return
    heads: tuple[str, ...] = ("range" if with_efficiency else "channel",)
    columns = [[rate.words for rate, _ in told]]
    if with_efficiency:
        heads += ("efficiency [%]",)
        columns.append([_cell(*_ends(rate.efficiency)) for rate, _ in told])
    heads += (f"clean air [{unit}]",)
    columns.append([_cell(*_ends(x)) for _, x in told])
    yield Table(heads, tuple(zip(*columns, strict=True)))


def _ends(found: Sized) -> tuple[str, str, str]:
    """Value and both ends as words; of a lower limit the value alone."""
    if found.one_sided:
        return f"at least {at_least_shown(found).removesuffix(found.quantity.unit).rstrip()}", "", ""
    value, low, high = numbers(found.quantity)
    return value, low, high


def _cell(value: str, low: str, high: str) -> str:
    return f"{value} [{low} to {high}]" if low else value
