"""Axes that end at round numbers, and words and names that several figures of one record share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from flowrig.report.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def round_limits(axes: Axes, which: str, values: ArrayLike, most: int = 7, room: float = 0.0) -> None:
    """Limits of one axis at ticks that hold all values; of one value alone, around it.

    Parameters
    ----------
    axes : matplotlib Axes
    which : {'x', 'y'}
    values : array
        What is not finite is passed over.
    most : int
        Intervals between ticks.
    room : float
        Share of their range that is kept free at both ends, so that a mark there stays whole.
    """
    from matplotlib.ticker import FixedLocator, MaxNLocator

    kept = np.asarray(values, dtype=float)
    kept = kept[np.isfinite(kept)]
    low, high = (float(np.min(kept)), float(np.max(kept))) if kept.size else (0.0, 1.0)
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        around = 0.05 * abs(low) or 1.0
        low, high = low - around, high + around
    low, high = low - room * (high - low), high + room * (high - low)
    ticks = MaxNLocator(most, steps=list(style.STEPS)).tick_values(low, high)
    getattr(axes, f"set_{which}lim")(float(ticks[0]), float(ticks[-1]))
    axis: Any = getattr(axes, f"{which}axis")
    axis.set_major_locator(FixedLocator(list(ticks)))
    _plain(axis)


def _plain(axis: Any) -> None:
    """Numbers as they are: no offset at the end of an axis, which nobody reads."""
    from matplotlib.ticker import ScalarFormatter

    form = ScalarFormatter(useOffset=False)
    form.set_scientific(False)
    axis.set_major_formatter(form)


def log_ticks(axes: Axes) -> None:
    """Ticks of a logarithmic axis at 1, 2 and 5, as plain numbers."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:.10g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def percent(coverage: float) -> str:
    """A number that keeps its sign where a caption is folded."""
    return f"{100.0 * coverage:.6g}\N{NO-BREAK SPACE}%"


def of_unit(words: str, unit: str) -> str:
    """Label of an axis."""
    return f"{words} [{unit}]" if unit not in ("", "1") else words


def with_unit(shown: str, unit: str) -> str:
    return f"{shown} {unit}" if unit not in ("", "1") else shown
