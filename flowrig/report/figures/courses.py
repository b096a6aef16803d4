"""Several numbers over time in one panel, with bands, and beside it where each of them ends, with its bar."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig.records.items import Array
from flowrig.report.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST = 6  # that can be told apart in one panel
HATCHES = ("", "////", "\\\\\\\\", "||||", "----", "++++")
FAR = 5.0  # times: where numbers lie further apart, steps by a factor read better than steps by a difference
MANY = 3000.0  # times: more ticks would be too many
DEEP = 1e5  # times: an axis of factors goes no further down


@dataclass(frozen=True)
class Course:
    """One number over time.

    Attributes
    ----------
    number : int
        By which the report names it.
    words : str
    x, value, low, high : array
        As long as each other.
    end : tuple of float
        Value and both ends of what it comes to in the end.
    filled : bool
        Whether the mark of the end is; a hollow one is explained by the words.
    """

    number: int
    words: str
    x: Array
    value: Array
    low: Array
    high: Array
    end: tuple[float, float, float]
    filled: bool = True


def draw(
    axes: Axes, ends: Axes, courses: Sequence[Course], beside: Sequence[float] = (), *, by_factors: bool = True
) -> bool:
    """Lines with bands, and the ends of all in a narrow panel, by number.

    Parameters
    ----------
    axes, ends : Axes
        Beside each other, with one axis of heights.
    courses : sequence of Course
        No more than can be told apart.
    beside : sequence of float
        Further heights that are to be seen.
    by_factors : bool
        Whether the axis may be one of factors; sums are not.

    Returns
    -------
    bool
        Whether the axis is one of factors.
    """
    for i, one in enumerate(courses):
        colour = style.SHADES[i]
        axes.fill_between(
            one.x, one.low, one.high, facecolor=_faint(colour, 0.12), edgecolor=_faint(colour, 0.3), hatch=HATCHES[i],
            linewidth=0.0,
        )  # fmt: skip
        axes.plot(one.x, one.value, color=colour, linestyle=style.DASHES[i], zorder=3)
        value, low, high = one.end
        ends.plot([i, i], [low, high], color=colour, linewidth=1.6, solid_capstyle="butt", gid="bar")
        ends.plot([i, i], [low, high], color=colour, linestyle="none", marker="_", markersize=8)
        ends.plot(
            [i], [value], linestyle="none", marker=style.MARKERS[i], color=colour, markersize=7, markeredgewidth=1.5,
            markerfacecolor=colour if one.filled else "white", gid="end", zorder=6, clip_on=False,
        )  # fmt: skip
    ends.set_xticks(range(len(courses)), [f"{one.number}" for one in courses])
    ends.set_xlim(-0.6, len(courses) - 0.4)
    ends.tick_params(axis="y", labelleft=False, length=0)
    ends.tick_params(axis="x", length=0, pad=7)
    ends.grid(False, axis="x")
    heights = [a for one in courses for a in (*one.low, *one.high, *one.value, *one.end)]
    return _limits(axes, [float(x) for x in (*heights, *beside) if math.isfinite(x)], by_factors)


def handles(courses: Sequence[Course]) -> list[Any]:
    """For a legend: each with its number and its words."""
    from matplotlib.lines import Line2D

    found = []
    for i, one in enumerate(courses):
        dash: Any = style.DASHES[i]
        look: dict[str, Any] = {"color": style.SHADES[i], "marker": style.MARKERS[i], "linestyle": dash}
        face = style.SHADES[i] if one.filled else "white"
        label = f"{one.number}  {style.ends_kept(one.words, 96)}"
        found.append(Line2D([], [], markersize=6, markerfacecolor=face, label=label, **look))
    return found


def columns(courses: Sequence[Course]) -> int:
    """Of a legend, by the longest of the words."""
    longest = max(len(style.ends_kept(one.words, 96)) for one in courses)
    return max(1, min(3, len(courses), 108 // (longest + 12)))


def groups(items: Sequence[Course]) -> list[list[Course]]:
    """As many as can be told apart in each, the first of all in every one of them, to compare with."""
    if len(items) <= MOST:
        return [list(items)]
    first, rest = items[0], items[1:]
    return [[first, *rest[k : k + MOST - 1]] for k in range(0, len(rest), MOST - 1)]


def sheets(items: Sequence[Course], name: str, title: str) -> Iterator[tuple[list[Course], str, str]]:
    """The same, each with the name and the title of its picture: numbered where there are several."""
    grouped = groups(items)
    for k, group in enumerate(grouped, 1):
        several = len(grouped) > 1
        yield group, f"{name}-{k}" if several else name, f"{title}, {k} of {len(grouped)}" if several else title


def _faint(colour: str, share: float) -> tuple[float, float, float, float]:
    from matplotlib.colors import to_rgb

    return (*to_rgb(colour), share)


def _limits(axes: Axes, heights: list[float], by_factors: bool) -> bool:
    lowest, highest = min(heights, default=0.0), max(heights, default=0.0)
    if by_factors and lowest > 0.0 and FAR * lowest < highest < DEEP * lowest:
        factors(axes.yaxis, highest / lowest)
        axes.set_ylim(_round(0.97 * lowest, down=True), _round(1.03 * highest, down=False))
        return True
    axes.set_ylim(1.08 * min(lowest, 0.0), 1.08 * max(highest, 0.0) or 1.0)
    if lowest < 0.0:
        axes.axhline(0.0, color="0.3", linewidth=0.8)
    style.round_ticks(axes.yaxis, 7)
    return False


def factors(axis: Any, times: float) -> None:
    """An axis of factors with plain numbers at 1, 2 and 5; where it goes over many times, at 1 alone."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

    axis.axes.set(**{f"{axis.axis_name}scale": "log"})
    axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if times < MANY else (1.0,)))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:.6g}"))


def _round(x: float, *, down: bool) -> float:
    """The next of 1, 2, 5, 10 and so on."""
    ten = 10.0 ** math.floor(math.log10(x))
    steps = np.array([0.5, 1.0, 2.0, 5.0, 10.0]) * ten
    return float(steps[steps <= x][-1] if down else steps[steps >= x][0])
