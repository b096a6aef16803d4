"""Several slower cleaners in place of one: what they give at the limit of noise, how quiet they are for enough air."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flowrig import units
from flowrig.records.items import Array
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import NOT_TOLD, bar
from flowrig.report.noise_text import EXACT, noise_limit, noise_need, noise_verdict
from flowrig.report.table import Table, thinned
from flowrig.studies.equal_noise import EqualNoise
from flowrig.studies.predict import Predicted
from flowrig.studies.result import Quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANEL = 2.45  # inches
SPEED = "speed, over that of the curve"
STEPS_OF_LEVEL = 5.0  # dB
MOST_TICKS = 12


def noise_picture(predicted: Predicted, found: EqualNoise) -> Picture:
    """Four panels by the number of cleaners.

    Raises
    ------
    Nothing.
    """
    with style.house_style():
        figure = style.blank(2 * PANEL + 1.7)
        (give, speed), (level, slow) = figure.subplots(2, 2, sharex=True)
        together, against = found.together, found.enough["total_level"]
        of = "clean air" if found.need.of_clean_air else "flow"
        _draw(give, found, together, f"at the limit: {of} of all [{together.unit}]", whole=True)
        _draw(speed, found, found.quiet["speed"], f"at the limit: {SPEED} [%]", whole=True)
        _draw(level, found, against, f"for what is required: level of all [{against.unit}]")
        _draw(slow, found, found.enough["speed"], f"for what is required: {SPEED} [%]")
        _line(give, _need(found), "required")
        if found.tried and np.any(np.isfinite(found.enough["total_level"].value)):
            _line(level, float(found.section.value("limit")), "limit")
        _levels(level, found)
        _numbers(found, (level, slow))
        if found.answer is not None:
            for axes in (give, speed, level, slow):
                axes.axvline(found.answer, color="0.35", linewidth=0.9, linestyle=style.DASHES[1], zorder=1.5,
                             gid="answer")  # fmt: skip
        figure.align_ylabels()
        style.finish(figure, str(predicted.record.heading.value("title")), _caption(predicted, found))
    return Picture("noise", "More and slower cleaners", _alt(found), _table(found), figure)


def _need(found: EqualNoise) -> float:
    return float(units.from_si(float(np.ravel(found.need.total.value)[0]), found.together.unit, "flow"))


def _places(found: EqualNoise) -> Array:
    """One as it is stands at 0, apart from the numbers that are held against the limit."""
    return np.array([0.0, *found.number[1:]]) if found.tried else np.asarray(found.number, dtype=float)


def _draw(axes: Axes, found: EqualNoise, q: Quantity, label: str, *, whole: bool = False) -> None:
    """Bars by number; the row of one as it is, hollow, where it says anything of its own."""
    x = _places(found)
    value, low, high = (np.broadcast_to(np.asarray(a, dtype=float), x.shape) for a in (q.value, q.low, q.high))
    shown = np.isfinite(value)
    if not whole:
        shown = shown & (np.arange(len(x)) >= found.tried)
    axes.vlines(x[shown], low[shown], high[shown], color=style.DARK_BLUE, linewidth=1.5, gid="bar")
    for k in map(int, np.flatnonzero(shown)):
        style.mark(axes, float(x[k]), float(value[k]), "o" if k >= found.tried else "s", k >= found.tried, 5.5)
    ends = [float(a) for a in high[shown] if math.isfinite(a)]
    axes.set_ylim(0.0, 1.1 * max(ends, default=1.0))
    axes.set_ylabel(style.folded(label, 31))
    style.round_ticks(axes.yaxis, 6)
    axes.grid(False, axis="x")
    if not np.any(shown):
        axes.set_yticks([])
        why = "more than\nthe fans can give" if np.all(found.beyond[found.tried :]) else "fan and\nbank do not meet"
        axes.text(0.5, 0.5, f"no value: {why}", transform=axes.transAxes, ha="center", va="center")


def _levels(axes: Axes, found: EqualNoise) -> None:
    """Decibels do not start at zero."""
    q = found.enough["total_level"]
    ends = [float(x) for a in (q.low, q.high) for x in np.ravel(np.asarray(a, dtype=float))[found.tried :]]
    ends = [x for x in ends if math.isfinite(x)]
    if ends:
        ends += [float(found.section.value("limit"))] if found.tried else []
        axes.set_ylim(STEPS_OF_LEVEL * math.floor(min(ends) / STEPS_OF_LEVEL),
                      STEPS_OF_LEVEL * math.ceil((max(ends) + 1.0) / STEPS_OF_LEVEL))  # fmt: skip


def _line(axes: Axes, height: float, words: str) -> None:
    axes.axhline(height, color="black", linewidth=1.1, linestyle=(0, (1, 1)), zorder=1.6, gid="target")
    low, high = axes.get_ylim()
    if not low < height < high:
        axes.set_ylim(min(low, height), max(high, 1.1 * height))
    axes.annotate(
        words, (1.0, height), (3, 0), xycoords=("axes fraction", "data"), textcoords="offset points", va="center",
        fontsize=style.SMALL, annotation_clip=False,
    )  # fmt: skip


def _numbers(found: EqualNoise, lowest: tuple[Axes, ...]) -> None:
    """Ticks at the numbers, or at some of many; one as it is has words of its own where there is room for them."""
    x = _places(found)
    numbers = [int(n) for n in found.number[found.tried :]]
    every = next((step for step in (1, 2, 5, 10, 20, 50, 100) if len(numbers) <= MOST_TICKS * step), len(numbers))
    ticks = {float(n): f"{n}" for n in numbers if n % every == 0}
    if found.tried and every == 1:
        ticks[0.0] = "1, as\nit is"
    for axes in lowest:
        axes.set_xticks(list(ticks), list(ticks.values()))
        axes.set_xlim(float(x[0]) - 0.6, float(x[-1]) + 0.6)
        axes.set_xlabel("number of cleaners")


def _cell(q: Quantity, row: int) -> str:
    """A number with its bar; of what is exact no bar, and no rounding."""
    value, low, high = (float(np.broadcast_to(np.asarray(a, dtype=float), q.estimate.value.shape)[row])
                        for a in (q.value, q.low, q.high))  # fmt: skip
    if high - low < EXACT * max(abs(value), 1.0):
        value = low = high = value if abs(value) > EXACT else 0.0
    return bar(value, low, high)


def _caption(predicted: Predicted, found: EqualNoise) -> str:
    said = (
        f"Above: all together no louder than {noise_limit(found)}, each {found.heard.away} away. Below: all together "
    )
    said += f"giving {noise_need(found).rstrip(',')}. "
    said += "Hollow, at the left: one as it is. " if found.tried else ""
    said += f"Bars hold {100 * found.coverage:.4g} %, each by itself. {noise_verdict(found)} "
    said += "The dashed line is that number. " if found.answer is not None else ""
    lost = [f"{int(n)}" for n in np.unique(found.number[found.beyond])]
    said += f"Beyond what the fan can give at its full speed: {', '.join(lost)}. " if lost else ""
    said += f"The level follows the speed: {found.section['slope'].text} for ten times the speed. "
    setup = predicted.setup
    return said.strip() + style.invented(predicted.record, setup.curve.record, *(e.law.record for e in setup.entries))


def _alt(found: EqualNoise) -> str:
    q, level = found.together, found.enough["total_level"]
    each = []
    for k in (found.tried, len(found) - 1):
        quiet = f"{_cell(level, k)} {level.unit}" if np.isfinite(level.value[k]) else "no level"
        each.append(f"{int(found.number[k])}: {_cell(q, k)} {q.unit} at the limit, {quiet} for what is required")
    of = "clean air" if found.need.of_clean_air else "flow"
    return (
        f"By number of cleaners, {of} of all together at {noise_limit(found)}, and their level when they give "
        f"{noise_need(found).rstrip(',')}. {'; '.join(dict.fromkeys(each))}. {noise_verdict(found)}"
    ).strip()


def _table(found: EqualNoise) -> Table:
    columns = [("at the limit", q) for q in found.quiet.values()]
    columns += [("for what is required", q) for q in found.enough.values()]
    heads = ["cleaners", *(f"{where}: {q.label} [{q.unit}]" for where, q in columns)]
    rows = []
    for k, number in enumerate(found.number):
        cells = ["1, as it is" if k < found.tried else f"{int(number)}"]
        for where, q in columns:
            own = k < found.tried and where != "at the limit"  # held against nothing
            cells.append(NOT_TOLD if own else _cell(q, k))
        rows.append(tuple(cells))
    kept, said = thinned(rows)
    return Table(tuple(heads), kept, (0,), said)
