"""What each option has cost up to each time, when costs meet, and what their clean air costs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flowrig.records.own_facts import REAL
from flowrig.report.figures import courses, style
from flowrig.report.figures.courses import Course
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table, thinned
from flowrig.studies.own import BY, LEVELISED, PRESENT, Owned, OwnedOption
from flowrig.studies.pairs import Pair
from flowrig.studies.payments import time_step

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANEL = 3.6  # inches
MOST_MEETINGS = 8  # in one picture
MOST_LINES = 3  # through the panel of costs
MOST_SAID = 4  # pairs in the caption
LESS = "gives less than is needed"


def cost_pictures(owned: Owned) -> list[Picture]:
    """Costs over the years; several pictures where there are more options than can be told apart.

    Raises
    ------
    Nothing.
    """
    own = [_course(option, place) for place, option in enumerate(owned.ranked, 1)]
    return [_picture(owned, *each) for each in courses.sheets(own, "costs", "Cost over the years")]


def _course(option: OwnedOption, place: int) -> Course:
    q, path = option[PRESENT], option.course
    words = f"{option.name}; {LESS}" if option.short else option.name
    ends = (float(q.value), float(q.low), float(q.high))
    return Course(place, words, path.times, path.value, path.low, path.high, ends, not option.short)


def _picture(owned: Owned, group: list[Course], name: str, title: str) -> Picture:
    shown = [owned.ranked[one.number - 1] for one in group]
    met, never = _meetings(owned, group)
    deep = [style.ROW * len(rows) for rows in (met, group)]
    years = float(owned.terms.value("years"))
    with style.house_style():
        heights = [PANEL, *([deep[0]] if met else []), deep[1]]
        figure = style.blank(sum(heights) + 1.9)
        grid = figure.add_gridspec(len(heights), 2, height_ratios=heights, width_ratios=[5.0, 0.5 + 0.22 * len(group)])
        axes = figure.add_subplot(grid[0, 0])
        ends = figure.add_subplot(grid[0, 1], sharey=axes)
        courses.draw(axes, ends, group, by_factors=False)
        axes.set_xlim(0.0, 1.015 * years)  # what falls due on the last day is seen
        axes.set_xlabel("time [years]")
        axes.set_ylabel(style.folded(f"paid so far, present value [{owned.currency}]", 34))
        style.round_ticks(axes.xaxis, 12)
        ends.set_title("at the end,\nby option", fontsize=9.5, pad=4)
        if met:
            _met(axes, figure.add_subplot(grid[1, 0], sharex=axes), met)
        _air(figure.add_subplot(grid[-1, 0]), shown, group)
        figure.legend(handles=courses.handles(group), loc="upper left", ncols=courses.columns(group), handlelength=3.6)
        style.finish(figure, str(owned.record.heading.value("title")), _caption(owned, group, met, never))
    return Picture(name, title, _alt(owned, group, met, never), _table(owned, group), figure)


def _met(axes: Axes, below: Axes, met: list[tuple[str, Pair]]) -> None:
    """A strip of the times at which costs meet, each with its line through the panel above."""
    rows = []
    for i, (words, pair) in enumerate(met):
        at = pair.meeting
        rows.append(style.Row(words, _when(pair), at.years, at.low, at.high, style.MARKERS[i % 6]))
        if len(met) <= MOST_LINES:
            axes.axvline(at.years, color="0.35", linewidth=0.9, linestyle=style.DASHES[1 + i], zorder=2)
    style.strip(below, rows)
    axes.set_xlabel("")
    axes.tick_params(axis="x", labelbottom=False)
    below.set_xlabel("time [years]")


def _air(axes: Axes, shown: list[OwnedOption], group: list[Course]) -> None:
    """A strip of the cost of clean air."""
    told = [option[LEVELISED] for option in shown]
    rows = []
    for i, (option, q, one) in enumerate(zip(shown, told, group, strict=True)):
        value, low, high = (float(x) for x in (q.value, q.low, q.high))
        words = f"{one.number}  {style.ends_kept(option.name, 28)}"
        shown_as = bar(value, low, high)
        rows.append(style.Row(words, shown_as, value, low, high, style.MARKERS[i], one.filled))
    whole = [x for row in rows for x in (row.low, row.value, row.high) if math.isfinite(x)]
    axes.set_xlim(1.06 * min(0.0, *whole), 1.06 * max(0.0, *whole) or 1.0)
    style.strip(axes, rows)
    style.round_ticks(axes.xaxis, 8)
    axes.set_xlabel(f"{told[0].label} [{told[0].unit}]")


def _meetings(owned: Owned, group: list[Course]) -> tuple[list[tuple[str, Pair]], list[str]]:
    """Pairs of these options whose costs meet in some draws, the cheapest first; and what is said of the others."""
    names = {owned.ranked[one.number - 1].name: one.number for one in group}
    pairs = [pair for pair in owned.pairs if pair.first in names and pair.second in names]
    pairs.sort(key=lambda pair: sorted((names[pair.first], names[pair.second])))
    met: list[tuple[str, Pair]] = []
    rest: list[str] = []
    for pair in pairs:
        one, other = sorted((names[pair.first], names[pair.second]))
        if math.isfinite(pair.meeting.years) and len(met) < MOST_MEETINGS:
            met.append((f"costs of {one} and {other} meet", pair))
        elif math.isfinite(pair.meeting.years):
            rest.append(f"those of {one} and {other} meet after {_when(pair)}")
        elif not pair.meeting.cheaper_at_first:
            rest.append(f"{one} and {other} cost the same all along")
        else:
            rest.append(
                f"those of {one} and {other} do not meet, {names[pair.meeting.cheaper_at_first]} is the cheaper"
            )
    return met, rest


def _when(pair: Pair) -> str:
    at = pair.meeting
    between = f" [{_time(at.low)} to {_time(at.high)}]" if at.high - at.low > 1e-9 else ""
    return f"{_time(at.years)}{between} years{f', never in {_share(at.never)}' if at.never else ''}"


def _time(years: float) -> str:
    return f"{round(years, 2):g}"


def _share(share: float) -> str:
    """Of the draws."""
    return f"{100 * share:.2g} %" if share < 0.995 else f"{math.floor(1000 * share) / 10:.1f} %"


def _caption(owned: Owned, group: list[Course], met: list[tuple[str, Pair]], never: list[str]) -> str:
    money = "money of today" if owned.terms.value("money") == REAL else "money as it is paid"
    said = f"Present values in {owned.currency}, {money}; the cheapest first, by {BY[owned.leads]}. "
    said += f"Bands and bars hold {100 * owned.coverage:.4g} %, each by itself; what options share (tariff, hours, "
    said += (
        "rates) moves them together, so that bands that overlap may still be apart. Steps are what falls due. At the "
    )
    said += "end any residual value is taken off. "
    if not all(one.filled for one in group):
        said += f"Hollow: {LESS}. "
    new = [one.number for one in group if owned.ranked[one.number - 1].option.of_new_filters]
    if new:
        said += f"By the clean air of new filters, which makes air look too cheap: {', '.join(map(str, new))}. "
    if step := (0.0 if owned.options[0].option.terms is None else time_step(owned.options[0].option.terms)):
        said += (
            f"Costs are told {'year by year' if step == 1.0 else 'month by month' if step < 0.1 else 'step by step'}. "
        )
    if met:
        said += "Times at which costs meet are medians of the draws in which they do, with their bars. "
    more = f"; and {len(never) - MOST_SAID} more pairs" if len(never) > MOST_SAID else ""
    said += f"Of costs, {'; '.join(never[:MOST_SAID])}{more}. " if never else ""
    return said.strip() + style.invented(owned.record)


def _alt(owned: Owned, group: list[Course], met: list[tuple[str, Pair]], never: list[str]) -> str:
    years = owned.terms.value("years")
    each = []
    for one in group:
        option = owned.ranked[one.number - 1]
        q, air = option[PRESENT], option[LEVELISED]
        told = [bar(*(float(x) for x in (own.value, own.low, own.high))) for own in (q, air)]
        each.append(f"{one.number}, {one.words}: {told[0]} {q.unit}, clean air {told[1]} {air.unit}")
    said = f"Cost of {len(group)} option{'s'[: len(group) - 1]} over {years} years: {'; '.join(each)}."
    said += "".join(f" {words[:1].upper()}{words[1:]} after {_when(pair)}." for words, pair in met)
    return said + (f" Of costs, {'; '.join(never)}." if never else "")


def _table(owned: Owned, group: list[Course]) -> Table:
    """Before and after each step, as it is drawn."""
    heads = ("years", *(f"option {one.number} [{owned.currency}]" for one in group))
    rows = [
        (_time(float(x)), *(bar(*(float(a[k]) for a in (one.value, one.low, one.high))) for one in group))
        for k, x in enumerate(np.asarray(group[0].x))
    ]
    kept, said = thinned(rows)
    kept = (*kept, ("present value", *(bar(*one.end) for one in group)))
    named = "; ".join(f"{one.number}: {one.words}" for one in group)
    twice = "A time that stands twice is before and after what falls due."
    return Table(heads, kept, (0,), f"{named}. {twice} {said}".strip())
