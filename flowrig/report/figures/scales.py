"""Logarithmic axes with plain numbers, and the words of places on them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p", "h", "*")  # the first six are those of the house
PLAIN = 1e-4, 1e6  # numbers that are written out


def plain(number: float, _: Any = None) -> str:
    """A number of an axis as people write it."""
    if not PLAIN[0] <= abs(number) < PLAIN[1]:
        power = math.floor(math.log10(abs(number))) if number else 0
        return "0" if not number else f"{number / 10**power:.4g}e{power}"
    return f"{float(f'{number:.6g}'):.10g}"


def log_ticks(axis: Any, most: int = 8) -> None:
    """Ticks at 1, 2 and 5 of each decade, at 1 and 3, or at decades, as many as have room; grid lines at these only."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

    low, high = sorted(axis.get_view_interval())
    decades = math.log10(high / low)
    for steps in ((1, 1.5, 2, 3, 4, 5, 7), (1, 2, 5), (1, 3), (1,)):
        count = sum(low <= step * 10.0**k <= high for k in range(-30, 31) for step in steps)
        if count <= most:
            break
    every = max(1, math.ceil(decades / most))
    if every > 1:
        axis.set_major_locator(LogLocator(base=10.0**every, numticks=50))
    else:
        axis.set_major_locator(LogLocator(subs=steps, numticks=200))
    axis.set_major_formatter(FuncFormatter(plain))
    axis.set_minor_locator(NullLocator())
    axis.set_minor_formatter(NullFormatter())


def room_about(low: float, high: float, share: float = 0.06, *, log: bool = False) -> tuple[float, float]:
    """Ends of an axis with some room on either side."""
    if log:
        a, b = math.log(low), math.log(high)
        wide = (b - a) or 1.0
        return math.exp(a - share * wide), math.exp(b + share * wide)
    wide = (high - low) or abs(high) or 1.0
    return low - share * wide, high + share * wide


def finite_ends(*arrays: Any) -> tuple[float, float]:
    """The lowest and the highest of what is finite; 0 and 1 where nothing is."""
    every = np.concatenate([np.ravel(np.asarray(x, dtype=float)) for x in arrays]) if arrays else np.array([])
    every = every[np.isfinite(every)]
    return (float(np.min(every)), float(np.max(every))) if every.size else (0.0, 1.0)


def about_zero(axes: Axes, *arrays: Any, least: float = 0.0) -> None:
    """The same room above and below a line at zero, for what lies off something."""
    low, high = finite_ends(*arrays)
    most = max(abs(low), abs(high), least) or 1.0
    axes.set_ylim(-1.12 * most, 1.12 * most)
    axes.axhline(0.0, color="0.3", linewidth=0.8, zorder=1)


def handle(**look: Any) -> Any:
    """A line of a legend that looks so."""
    from matplotlib.lines import Line2D

    return Line2D([], [], **look)
