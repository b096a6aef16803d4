"""Averages, classes and clean-air rates that follow from efficiencies by size, as plain text within 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from flowrig.physics.classes import EDITIONS
from flowrig.physics.size_averages import CLEAN_AIR_RANGES
from flowrig.records.clean_air_facts import MEDIA, SYSTEM
from flowrig.records.sizes import Sizes
from flowrig.report.lines import WIDTH, budget_lines, numbers, other_units, quantity_line, wrapped
from flowrig.studies.clean_air_rate import CleanAir, Rate, at_least_shown
from flowrig.studies.counted import Sized
from flowrig.studies.size_classes import SizeClasses

GAP = 2  # columns between two of a table
AVERAGED = (
    "E1 to E3 are plain means over the channels of the standard, ePM is weighed by the volume of particles that its "
    "standard assumes in the air, and the ranges of a clean-air rate by the logarithm of size: one efficiency curve, "
    "averaged in three ways."
)


def clean_air_text(found: CleanAir) -> Iterator[str]:
    """What stands behind the efficiency table of a part that counts particles; its findings not among it."""
    yield from _averages_text(found.classes, found.coverage)
    if found.classes.averages:
        yield ""
    if found.flow.quantity is None:
        yield from wrapped(f"No clean-air rate: {found.flow.words}.")
        return
    yield from _rates_text(found)


def _averages_text(classes: SizeClasses, coverage: float) -> Iterator[str]:
    if classes.averages:
        yield f"Averages over published ranges of size, {100 * coverage:.6g} % intervals in brackets"
    for name, average in classes.averages.items():
        sizes = average.quantity.label.removeprefix(f"{name}, ")
        yield f"  {name:<8}{sizes:<16}{_cell(average)} %"
    if classes.averages:
        yield from wrapped(AVERAGED, further=4)
    for each in _told_once(classes):
        yield from wrapped(each, further=4)


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


def _rates_text(found: CleanAir) -> Iterator[str]:
    flow = found.flow.quantity
    assert flow is not None
    yield f"Clean-air rate: flow times efficiency, {100 * found.coverage:.6g} % intervals in brackets"
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
    per_watt = [rate for rate in found.ranges.values() if rate.per_watt is not None]
    if per_watt:
        yield "  Clean air per watt"
        for rate in per_watt:
            assert rate.per_watt is not None
            yield f"    {rate.words}: {_cell(rate.per_watt)} {rate.per_watt.quantity.unit}"
    first = next((r for r in (*found.ranges.values(), *found.channels) if r.clean_air is not None), None)
    if first is not None and first.clean_air is not None:
        q = first.clean_air.quantity
        others = other_units(q)
        if others and not first.clean_air.one_sided:
            yield from wrapped(f"In other units ({first.words}): {others}.")
        yield f"  Largest causes of error: {first.words} (share of the variance)"
        yield from budget_lines(q.estimate, q.unit, q.kind)


def _table(rates: Sequence[Rate], unit: str, *, with_efficiency: bool) -> Iterator[str]:
    """A line a range; the efficiencies in a table of their own where both have no room side by side."""
    told = [(rate, rate.clean_air) for rate in rates if rate.clean_air is not None]
    if not told:
        return
    names = [rate.words for rate, _ in told]
    clean = _column(f"clean air [{unit}]", [_cell(x) for _, x in told])
    first = _column("range" if with_efficiency else "channel", names)
    held = _column("efficiency [%]", [_cell(rate.efficiency) for rate, _ in told])
    tables = [[first, held, clean]] if with_efficiency else [[first, clean]]
    if sum(len(column[0]) + GAP for column in tables[0]) > WIDTH:
        tables = [[first, held], [first, clean]]
    for table in tables:
        yield from ((" " * GAP + (" " * GAP).join(line)).rstrip() for line in zip(*table, strict=True))


def _column(head: str, cells: Sequence[str]) -> list[str]:
    width = max(map(len, (head, *cells)))
    return [f"{cell:<{width}}" for cell in (head, *cells)]


def _cell(found: Sized) -> str:
    if found.one_sided:
        return f"at least {at_least_shown(found).removesuffix(found.quantity.unit).rstrip()}"
    value, low, high = numbers(found.quantity)
    return f"{value} [{low} to {high}]"
