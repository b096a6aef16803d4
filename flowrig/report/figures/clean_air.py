"""Clean-air rates by size as strips of intervals: flow times efficiency, and by decay in a room with that beside it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flowrig.report.figures import scales, style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import NOT_TOLD, bar, table_of
from flowrig.report.lines import bound_shown, numbers, quantity_line
from flowrig.report.table import Table
from flowrig.studies.clean_air_rate import CleanAir, Rate, at_least_shown
from flowrig.studies.result import Quantity, Result
from flowrig.studies.room_decay import DecayResult, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_ROWS = 16  # of a strip


def sizes_in_words(told: Told) -> str:
    """Sizes that a decay was counted in."""
    return str(told.rate.sizes) if told.rate.sizes is not None else "sizes not said"


def rate_rows(rates: list[Rate], marker: str) -> list[style.Row]:
    """Clean-air rates as lines of a strip; a limit on one side runs out of it."""
    found = []
    for rate in rates:
        clean = rate.clean_air
        if clean is None:
            continue
        q, label = clean.quantity, style.shortened(rate.words, 40)
        if clean.one_sided:
            low = float(q.low)
            found.append(style.Row(label, f"at least {at_least_shown(clean)}", low, low, math.nan, marker, False))
            continue
        value, low_shown, high_shown = numbers(q)
        ends = float(q.value), float(q.low), float(q.high)
        found.append(style.Row(label, f"{value} {q.unit} ({low_shown} to {high_shown})", *ends, marker))
    return found


def by_flow(result: Result, clean: CleanAir) -> Picture:
    """Clean-air rates by range and channel, beside the flow that they are a share of."""
    flow = clean.flow.quantity
    assert flow is not None
    rows = [flow_row(flow, "flow through the unit")]
    rows += rate_rows(list(clean.ranges.values()), "o")
    rows += rate_rows([rate for rate in clean.channels if not _twice(rate, clean)], "s")
    drawn = rows[:MOST_ROWS]
    with style.house_style():
        figure = style.blank(style.ROW * len(drawn) + 1.9)
        axes = figure.subplots()
        strip_with_room(axes, drawn, flow.unit)
        axes.axvline(float(flow.value), color="0.45", linewidth=0.9, linestyle=style.DASHES[2], zorder=1)
        style.finish(figure, str(result.record.heading.value("title")), _rates_caption(result, clean, drawn, rows))
    told = [r for r in (*clean.ranges.values(), *clean.channels) if r.clean_air is not None]
    alt = f"Clean-air rates by size beside the flow of {_with_bar(flow)}: "
    alt += "; ".join(f"{r.words} {_with_bar(r.clean_air.quantity)}" for r in told[:5] if r.clean_air is not None) + "."
    table = table_of([flow, *(r.clean_air.quantity for r in told if r.clean_air is not None)])
    return Picture("clean-air-by-size", "Clean-air rate by size", alt, table, figure)


def _twice(rate: Rate, clean: CleanAir) -> bool:
    """A channel that a range of the same sizes is told for already."""
    return any(rate.sizes.same(other.sizes) for other in clean.ranges.values())


def flow_row(q: Quantity, words: str) -> style.Row:
    """Any number with its bar as a line of a strip."""
    value, low, high = numbers(q)
    return style.Row(words, f"{value} {q.unit} ({low} to {high})", float(q.value), float(q.low), float(q.high), "D")


def strip_with_room(axes: Axes, rows: list[style.Row], unit: str) -> None:
    """A strip by itself, its axis from zero or from below it."""
    low, high = scales.finite_ends(*(np.array([r.value, r.low, r.high]) for r in rows))
    room = 0.06 * ((max(high, 0.0) - min(low, 0.0)) or 1.0)
    axes.set_xlim(low - room if low < 0.0 else 0.0, max(high, 0.0) + room)
    style.strip(axes, rows)
    if low < 0.0:
        axes.axvline(0.0, color="0.3", linewidth=0.8, zorder=1)
    axes.set_xlabel(f"clean-air rate [{unit}]")
    style.round_ticks(axes.xaxis, 8)


def _with_bar(q: Quantity) -> str:
    if q.bound:
        return f"{q.bound} {bound_shown(q)} {q.unit}"
    return f"{bar(float(q.value), float(q.low), float(q.high))} {q.unit}"


def _rates_caption(result: Result, clean: CleanAir, drawn: list[style.Row], rows: list[style.Row]) -> str:
    said = (
        f"Flow times efficiency; bars hold {100 * clean.coverage:.4g} %. Rounds: ranges of size, averaged over the "
        "logarithm of size. Squares: channels of the counter. The flow is one error in all of them."
    )
    if any(_twice(rate, clean) for rate in clean.channels):
        said += " A channel of the same sizes as a range stands under the range alone."
    if any(not row.filled for row in drawn):
        said += " Hollow: nothing came through, the limit is on one side."
    if len(drawn) < len(rows):
        said += f" {len(rows) - len(drawn)} more channels are not drawn."
    if clean.missing:
        said += f" Not told: {', '.join(f'{name} range' for name in clean.missing)}."
    return said + style.invented(result.record)


def by_decay(result: Result, part: DecayResult) -> Picture:
    """Clean air by decay, size by size, with flow times efficiency beside it where both are known."""
    rows: list[style.Row] = []
    left_out = 0
    for told in part.told:
        own = [flow_row(told.clean_air, sizes_in_words(told))]
        if told.effect is not None:
            own.append(_by_flow(told.effect.by_flow))
        if len(rows) + len(own) > MOST_ROWS:
            left_out += 1
            continue
        own[0] = style.Row(own[0].words, own[0].shown, own[0].value, own[0].low, own[0].high, "o")
        rows += own
    unit = part.told[0].clean_air.unit
    with style.house_style():
        figure = style.blank(style.ROW * len(rows) + 1.9)
        axes = figure.subplots()
        strip_with_room(axes, rows, unit)
        said = (
            f"Rounds: clean air by decay, net volume of the room times the difference of both rates; bars hold "
            f"{100 * result.coverage:.4g} %. The volume is one error in all of them."
        )
        if any(told.effect is not None for told in part.told):
            said += " Hollow diamonds: flow times efficiency of the same sizes."
        if left_out:
            said += f" {left_out} more sizes are not drawn."
        style.finish(figure, str(result.record.heading.value("title")), said + style.invented(result.record))
    room = f" in a net volume of {_with_bar(part.volume)}" if part.volume is not None else ""
    alt = f"Clean air by decay{room}: {'; '.join(_held(told) for told in part.told[:6])}."
    return Picture("clean-air-by-decay", "Clean air by decay", alt, _rate_table(part), figure)


def _by_flow(q: Quantity) -> style.Row:
    if q.bound:
        words = " ".join(quantity_line(q).split())
        return style.Row("flow times efficiency", words, float(q.limit), float(q.low), math.nan, "D", False)
    row = flow_row(q, "flow times efficiency")
    return style.Row(row.words, row.shown, row.value, row.low, row.high, "D", False)


def _held(told: Told) -> str:
    words = f"{sizes_in_words(told)} {' '.join(quantity_line(told.clean_air).split())}"
    if told.effect is not None:
        words += f", where flow times efficiency is {' '.join(quantity_line(told.effect.by_flow).split())}"
    return words


def _rate_table(part: DecayResult) -> Table:
    def cell(q: Quantity) -> str:
        if q.bound:
            return f"{q.bound} {bound_shown(q)}"
        return bar(float(q.value), float(q.low), float(q.high))

    unit = part.told[0].clean_air.unit
    rows = [
        (
            sizes_in_words(told), cell(told.clean_air), cell(told.on), cell(told.off),
            cell(told.effect.by_flow) if told.effect is not None else NOT_TOLD,
        )
        for told in part.told
    ]  # fmt: skip
    heads = ("sizes", f"clean air [{unit}]", "with cleaner [1/h]", "without [1/h]", f"flow times efficiency [{unit}]")
    return Table(heads, tuple(rows))
