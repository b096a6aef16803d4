"""Numbers by particle size: a logarithmic axis of channels, each as wide as it is, with exact bars and limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flowrig.records.items import Array
from flowrig.report.figures import scales, style
from flowrig.uncertainty.estimate import Bools

if TYPE_CHECKING:
    from matplotlib.axes import Axes

OPEN = 1.7  # of its lower limit: as far as an open channel is drawn
BESIDE = 7.0  # points between two runs at one size
MOST_BELOW = 60.0  # per cent points beyond the values: a longer bar runs out of the panel
LABEL = "particle size [um]"
LONG, SHORT = 0.09, 0.055  # of the axis: arrows of limits, which end at 100 % where that leaves them long enough
TICKS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 20.0, 30.0, 50.0, 100.0)


@dataclass(frozen=True)
class Channels:
    """One run over the channels of a counter.

    Attributes
    ----------
    words : str
    lower, upper : array, shape (k,)
        Infinite above for an open channel. [um]
    value, low, high : array, shape (k,)
        In the unit of the axis; NaN where there is none.
    limit : array of bool, shape (k,)
        Only `low` is known: at least so much.
    """

    words: str
    lower: Array
    upper: Array
    value: Array
    low: Array
    high: Array
    limit: Bools

    @property
    def ends(self) -> Array:
        """Where each channel ends as drawn."""
        return np.where(np.isfinite(self.upper), self.upper, OPEN * self.lower)

    @property
    def middle(self) -> Array:
        """Geometric mean of both ends as drawn."""
        return np.sqrt(self.lower * self.ends)


HIGH = 80.0  # per cent: where all bars of an efficiency lie above, its axis need not begin at 0
ARROWS = 14.0  # per cent of the axis above 100, for the arrows of limits


def efficiency_axis(axes: Axes, runs: list[Channels]) -> tuple[bool, float]:
    """Efficiencies beside each other on an axis from 0 to 100 %, or as far below or above as they go.

    Returns
    -------
    cut : bool
        A bar runs out of the panel.
    begins : float
        Where the axis begins: not at 0 where all bars are close to 100 %.
    """
    low, high = scales.finite_ends(*(run.low for run in runs), *(run.value for run in runs))
    bottom, top = span(runs, 100.0)
    begins = min(0.0, bottom) if low < HIGH else round_below(low)
    above = (100.0 - begins) * (ARROWS if any_limit(runs) else 5.0) / 100.0
    ends = begins, max(100.0 + above, top if high > 100.0 else 0.0)
    cut = draw_channels(axes, runs, ends=ends)
    axes.set_yticks([t for t in axes.get_yticks() if ends[0] <= t <= max(100.0, high) + 1e-9])
    axes.set_ylim(*ends)
    return cut, begins


def round_below(low: float) -> float:
    """A round number below a per cent close to 100, for an axis to begin at."""
    left = max(1.1 * (100.0 - low), 1e-3)
    step = 10.0 ** math.floor(math.log10(left))
    return 100.0 - step * math.ceil(left / step)


def draw_channels(
    axes: Axes, runs: list[Channels], reference: float | None = None, ends: tuple[float, float] | None = None
) -> bool:
    """Runs beside each other; whether a bar runs out of the panel.

    Parameters
    ----------
    axes : Axes
    runs : list of Channels
    reference : float, optional
        A value that the axis is to hold, as 0 or 100 %.
    ends : tuple of float, optional
        Of the axis, in place of those by the values.
    """
    bottom, top = ends or span(runs, reference)
    cut = False
    for i, run in enumerate(runs):
        cut = _one(axes, run, i, len(runs), bottom, top) or cut
    axes.set_ylim(bottom, top)
    size_axis(axes, runs)
    style.round_ticks(axes.yaxis, 8)
    if bottom < 0.0:
        axes.axhline(0.0, color="0.3", linewidth=0.8, zorder=1)
    return cut


def span(runs: list[Channels], reference: float | None = None) -> tuple[float, float]:
    """Ends of the axis: all values, and bars unless they are so long that nothing else could be seen."""
    known = [np.where(run.limit, run.low, run.value) for run in runs]
    least, most = scales.finite_ends(*known, *([] if reference is None else [np.array([reference])]))
    low, high = scales.finite_ends(*(run.low for run in runs), *(np.where(run.limit, np.nan, run.high) for run in runs))
    bottom = max(min(low, least), least - MOST_BELOW)
    top = min(max(high, most), most + MOST_BELOW)
    room = 0.06 * ((top - bottom) or 1.0)
    return bottom - room, top + room


def _one(axes: Axes, run: Channels, i: int, of: int, bottom: float, top: float) -> bool:
    from matplotlib.transforms import ScaledTranslation

    colour, marker, dash = style.SHADES[i], style.MARKERS[i], style.DASHES[i]
    shift = BESIDE * (i - (of - 1) / 2)
    moved = axes.transData + ScaledTranslation(shift / 72.0, 0.0, axes.figure.dpi_scale_trans)
    x, two = run.middle, np.isfinite(run.value) & ~run.limit
    shown = np.where(run.limit, run.low, run.value)
    some = np.isfinite(shown)
    axes.plot(x[some], shown[some], color=colour, linestyle=dash, linewidth=0.9, transform=moved, zorder=2.5)
    axes.hlines(shown[some], run.lower[some], run.ends[some], color=colour, linewidth=0.8, alpha=0.75, zorder=2)
    for k in np.flatnonzero(two):
        low, high = max(run.low[k], bottom), min(run.high[k], top)
        axes.plot(
            [x[k]] * 2, [low, high], color=colour, linewidth=1.3, solid_capstyle="butt", transform=moved, gid="bar"
        )
        caps = [y for y in (run.low[k], run.high[k]) if bottom <= y <= top]
        axes.plot([x[k]] * len(caps), caps, "_", color=colour, markersize=7.0, transform=moved)
    axes.plot(
        x[two], run.value[two], marker, color=colour, markersize=6.0, linestyle="none", transform=moved, zorder=4,
        gid="value", label=run.words,
    )  # fmt: skip
    for k in np.flatnonzero(run.limit & some):
        far = max(min(100.0, run.low[k] + LONG * (top - bottom)), run.low[k] + SHORT * (top - bottom))
        axes.annotate(
            "", xy=(x[k], far), xycoords=moved, xytext=(x[k], run.low[k]), textcoords=moved,
            arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0}, zorder=3,
        )  # fmt: skip
        axes.plot(
            [x[k]], [run.low[k]], marker, color=colour, markerfacecolor="white", markeredgewidth=1.4, markersize=6.5,
            transform=moved, zorder=4, gid="limit",
        )  # fmt: skip
    with np.errstate(invalid="ignore"):
        return bool(np.any((run.low < bottom) | (run.high > top), where=two))


def size_axis(axes: Axes, runs: list[Channels]) -> None:
    """Sizes from the lowest limit to the highest, on a logarithmic scale."""
    lowest = min(float(np.min(run.lower)) for run in runs)
    highest = max(float(np.max(run.ends)) for run in runs)
    axes.set_xscale("log")
    axes.set_xlim(*scales.room_about(lowest, highest, 0.03, log=True))
    low, high = axes.get_xlim()
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    ticks = [t for t in TICKS if low <= t <= high]
    if len(ticks) > 2:
        axes.xaxis.set_major_locator(FixedLocator(ticks))
        axes.xaxis.set_major_formatter(FuncFormatter(scales.plain))
        axes.xaxis.set_minor_locator(NullLocator())
    else:
        scales.log_ticks(axes.xaxis)


def any_limit(runs: list[Channels]) -> bool:
    """Whether an arrow is drawn."""
    return any(bool(np.any(run.limit & np.isfinite(run.low))) for run in runs)


def micrometres(size: float) -> float:
    """A size of a record as drawn."""
    return 1e6 * size if math.isfinite(size) else math.inf
