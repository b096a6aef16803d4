"""Numbers that change while a cleaner runs, as bands over time, with the times at which filters are to be changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from flowrig.report.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL = 2.5  # inches


@dataclass(frozen=True)
class Series:
    """One line over time, with its band.

    Attributes
    ----------
    words : str
        What the line is, beside others of its panel.
    panel, unit : str
        Quantity and unit of the axis; series of one panel and unit share it.
    value, low, high : array, shape (n,)
        NaN where there is none.
    """

    words: str
    panel: str
    unit: str
    value: ArrayLike
    low: ArrayLike
    high: ArrayLike


@dataclass(frozen=True)
class Mark:
    """A time at which something is reached.

    Attributes
    ----------
    words : str
        The criterion.
    time, low, high : float
        In the unit of the axis; NaN for the time where it is not reached, which is then left out and said.
    shown : str
        The numbers as printed.
    """

    words: str
    time: float
    low: float
    high: float
    shown: str


def over_time(
    times: ArrayLike,
    unit: str,
    series: Sequence[Series],
    marks: Sequence[Mark] = (),
    *,
    title: str,
    caption: str,
    label: str = "running time",
) -> Figure:
    """Bands over time in panels below each other, and the times of change in a strip below.

    Parameters
    ----------
    times : array, shape (n,)
        Rising.
    unit : str
        Of the times.
    series : sequence of Series
        At least one; each as long as ``times``.
    marks : sequence of Mark
        A line through all panels for each.
    title, caption : str
        The caption should tell what is shown, the coverage, and whether it is invented (`style.invented`).
    label : str
        Of the axis.

    Returns
    -------
    matplotlib Figure
        Laid out; `style.save` turns it into a file.

    Raises
    ------
    ValueError
        If there is no series, or one is not as long as the times.
    """
    x = np.asarray(times, dtype=float)
    if not series:
        raise ValueError("no series to draw")
    for one in series:
        if not np.shape(one.value) == np.shape(one.low) == np.shape(one.high) == x.shape:
            raise ValueError(f"{one.words!r} has not one value and two ends for each of {x.size} times")
    panels = list(dict.fromkeys((one.panel, one.unit) for one in series))
    reached = [m for m in marks if np.isfinite(m.time)]
    never = [m.words for m in marks if not np.isfinite(m.time)]
    deep = style.ROW * len(reached)
    with style.house_style():
        figure = style.blank(PANEL * len(panels) + deep + 1.3)
        heights = [PANEL] * len(panels) + ([deep] if reached else [])
        grid = figure.subplots(len(heights), 1, sharex=True, squeeze=False, height_ratios=heights)[:, 0]
        for axes, panel in zip(grid, panels, strict=False):
            _panel(axes, x, panel, [one for one in series if (one.panel, one.unit) == panel])
            for i, m in enumerate(reached):
                axes.axvline(m.time, color="0.35", linewidth=0.9, linestyle=style.DASHES[1 + i % 5], zorder=2)
        grid[-1].set_xlim(float(x[0]), float(x[-1]))
        if reached:
            rows = [
                style.Row(m.words, f"{m.shown} {unit}", m.time, m.low, m.high, style.MARKERS[i % 6])
                for i, m in enumerate(reached)
            ]
            style.strip(grid[-1], rows)
        grid[-1].set_xlabel(f"{label} [{unit}]")
        style.round_ticks(grid[-1].xaxis, 9)
        if never:
            caption += f" Not reached in this time: {', '.join(never)}."
        style.finish(figure, title, caption)
    return figure


def _panel(axes: Axes, x: np.ndarray, panel: tuple[str, str], series: list[Series]) -> None:
    from matplotlib.colors import to_rgb

    highest, lowest = [0.0], [0.0]
    for i, one in enumerate(series):
        value, low, high = (np.asarray(a, dtype=float) for a in (one.value, one.low, one.high))
        colour = to_rgb(style.SHADES[i % 6])
        hatch = ("", "////", "\\\\\\\\", "||||", "----", "++++")[i % 6]
        axes.fill_between(
            x, low, high, facecolor=(*colour, 0.13), edgecolor=(*colour, 0.35), hatch=hatch, linewidth=0.0
        )
        axes.plot(x, value, color=colour, linestyle=style.DASHES[i % 6], label=style.shortened(one.words, 60))
        highest += [float(a) for a in high[np.isfinite(high)]]
        lowest += [float(a) for a in low[np.isfinite(low)]]
    axes.set_ylim(1.08 * min(lowest), 1.08 * max(highest) or 1.0)
    label = f"{panel[0]} [{panel[1]}]" if panel[1] else panel[0]
    axes.set_ylabel(style.folded(label, 30))
    style.round_ticks(axes.yaxis, 6)
    if len(series) > 1:
        axes.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=min(len(series), 3), handlelength=3.2)
