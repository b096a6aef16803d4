"""Where a measurement lies in the ranges that its method asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig.records.items import Array
from flowrig.records.words import rounded
from flowrig.report.blocks import MARK
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import log_ticks, of_unit, percent, round_limits, with_unit
from flowrig.report.table import Table
from flowrig.studies.behind import Placed
from flowrig.studies.result import FlowResult, Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL = 0.62  # inches
LOOKS: dict[bool, dict[str, Any]] = {  # whether an alarm is raised
    False: {"facecolor": "0.92", "hatch": "//", "edgecolor": "0.65", "linewidth": 0.0},
    True: {"facecolor": "0.80", "hatch": "xxxx", "edgecolor": "0.6", "linewidth": 0.0},
}
BEYOND = ((False, "beyond: a warning"), (True, "beyond: an alarm"))
TINY = 0.005  # of what is drawn: a bar that nobody could see is left out of the label
MOST_READINGS = 400  # of a run drawn as ticks


@dataclass(frozen=True)
class Place:
    """One number, or one of several side by side, with every range that holds for it."""

    words: str
    of: str
    unit: str
    value: float
    low: float
    high: float
    u: float
    ranges: tuple[tuple[float, float, str, str], ...]  # from, to, flag, severity
    beyond: tuple[str, ...]
    each: Array | None
    wide: bool

    @property
    def shown(self) -> str:
        if self.high - self.low < TINY * (max(self.seen) - min(self.seen)):
            return f"{self.value:.4g}"
        value, low, high = rounded(self.u, self.value, self.low, self.high)
        return f"{value} ({low} to {high})"

    @property
    def seen(self) -> list[float]:
        """All that is drawn."""
        each = [] if self.each is None else [float(x) for x in self.each[np.isfinite(self.each)]]
        ends = [x for low, high, _, _ in self.ranges for x in (low, high) if math.isfinite(x)]
        return [self.value, self.low, self.high, *each, *ends]


def places(ranges: tuple[Placed, ...]) -> list[Place]:
    """One number a line: the limits on it together, whether one asks for it or several."""
    found: dict[tuple[str, str], list[Placed]] = {}
    for placed in ranges:
        found.setdefault((placed.quantity.name, placed.quantity.label), []).append(placed)
    lines = []
    for (_, label), group in found.items():
        q, n = group[0].quantity, group[0].low.size
        value, low, high, u = (np.broadcast_to(np.ravel(a), (n,)) for a in (q.value, q.low, q.high, q.u))
        for i in range(n):
            held = [x for x in group if math.isfinite(x.low[i]) or math.isfinite(x.high[i])]
            if not held:
                continue
            of = group[0].names[i] if group[0].names else str(i + 1) if n > 1 else ""
            lines.append(
                Place(
                    label,
                    of,
                    q.unit,
                    float(value[i]),
                    float(low[i]),
                    float(high[i]),
                    float(u[i]),
                    tuple((float(x.low[i]), float(x.high[i]), x.flag, x.severity) for x in held),
                    tuple(f"{MARK[x.severity]}, {x.flag}" for x in held if x.beyond[i]),
                    None if group[0].each is None else group[0].each[:, i],
                    group[0].wide,
                )
            )
    return lines


def ranges_picture(result: Result, flow: FlowResult, ranges: tuple[Placed, ...], name: str, title: str) -> Picture:
    """Each number of the method against the range that a limit of use wants it in.

    Parameters
    ----------
    result : Result
    flow : FlowResult
    ranges : tuple of Placed
        From `flowrig.studies.behind`; one at least.
    name, title : str
    """
    lines = places(ranges)
    alt = "".join(
        f"{_named(line)} {with_unit(line.shown, line.unit)}, asked for {_asked(line)}: {_said(line)}. "
        for line in lines
    )
    rows = tuple(
        (_named(line), line.unit if line.unit != "1" else "", line.shown, _asked(line), _said(line)) for line in lines
    )
    heads = ("number", "unit", "value", "asked for", "said")
    table = Table(heads, rows, (0, 1, 3, 4))
    return Picture(name, title, alt.strip(), table, _figure(result, flow, lines, title))


def _named(line: Place) -> str:
    return f"{line.words}, {line.of}" if line.of else line.words


def _said(line: Place) -> str:
    return "; ".join(line.beyond) or "within"


def _asked(line: Place) -> str:
    """The ranges in words, each once."""
    said = []
    for low, high, _, _ in line.ranges:
        if math.isfinite(low) and math.isfinite(high):
            said.append(with_unit(f"{low:.5g} to {high:.5g}", line.unit))
        else:
            end = with_unit(f"{low if math.isfinite(low) else high:.5g}", line.unit)
            said.append(f"{end} at {'least' if math.isfinite(low) else 'most'}")
    return ", ".join(dict.fromkeys(said))


def _figure(result: Result, flow: FlowResult, lines: list[Place], title: str) -> Figure:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    with style.house_style():
        panels: dict[str, list[Place]] = {}
        for line in lines:
            panels.setdefault(line.words, []).append(line)
        deep = [PANEL * len(panel) + 0.12 for panel in panels.values()]
        figure = style.blank(sum(deep) + 0.38 * len(panels) + 1.5)
        grid = figure.subplots(len(panels), 1, squeeze=False, height_ratios=deep)[:, 0]
        for axes, panel in zip(grid, panels.values(), strict=True):
            _panel(axes, panel)
        raised = {severity == "alarm" for line in lines for *_, severity in line.ranges}
        handles: list[Line2D | Patch] = [
            *(Patch(**LOOKS[heavy], label=words) for heavy, words in BEYOND if heavy in raised),
            Line2D([], [], color=style.DARK_BLUE, marker="o", linewidth=1.6, label="as measured, with its bar"),
        ]
        if any(line.each is not None and len(line.each) > 1 for line in lines):
            handles.append(
                Line2D([], [], color=style.ORANGE, marker="|", linestyle="none", markersize=8, label="single readings")
            )
        figure.legend(handles=handles, loc="upper left", ncols=4)
        caption = (
            f"Where {flow.name} ({flow.method.title}) lies in the ranges that its method asks for. Bars hold "
            f"{percent(result.coverage)}; a hollow mark lies beyond, and the flag stands beside it. Limits of use and "
            "their sources: flowrig explain."
        )
        style.finish(figure, title, caption + style.invented(result.record))
    return figure


def _panel(axes: Axes, panel: list[Place]) -> None:
    """One number, or several of a kind below each other."""
    seen = [x for line in panel for x in line.seen]
    unit = panel[0].unit
    if panel[0].wide and min(seen) > 0.0:
        axes.set_xscale("log")
        axes.set_xlim(*_decades(min(seen), max(seen)))
        log_ticks(axes)
    else:
        room = 0.12 * (max(seen) - min(seen))
        kept = [min(seen) - room, max(seen) + room]
        if unit == "1" and all(0.0 <= x <= 1.0 for x in seen):
            kept = [max(kept[0], 0.0), 1.0]  # of shares nothing lies beyond the whole
        if min(seen) >= 0.0:
            kept[0] = max(kept[0], 0.0)
        round_limits(axes, "x", kept, 8)
    labels = []
    for i, line in enumerate(panel):
        _beyond(axes, line, i)
        _drawn(axes, line, i)
        said = "\n".join(style.shortened(x, 44) for x in line.beyond)
        words = f"{line.of}: {line.shown}" if len(panel) > 1 else line.shown
        labels.append(words + (f"\n{said}" if said else ""))
    heading = style.folded(of_unit(panel[0].words, unit), 44)
    labels[0] = f"{heading}\n{labels[0]}"
    axes.set_ylim(len(panel) - 0.5, -0.5)
    axes.set_yticks(range(len(panel)), labels, fontsize=style.SMALL)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=style.SMALL)
    axes.grid(False, axis="y")
    axes.spines["left"].set_visible(False)


def _beyond(axes: Axes, line: Place, row: int) -> None:
    """What lies beyond a limit, hatched; more heavily where an alarm is raised."""
    left, right = axes.get_xlim()
    for low, high, _, severity in line.ranges:
        heavy = severity == "alarm"
        for begin, end, at in ((left, low, low), (high, right, high)):
            if math.isfinite(at) and begin < end:
                axes.fill_betweenx([row - 0.5, row + 0.5], begin, end, **LOOKS[heavy], zorder=1.0 + 0.5 * heavy)
                at_edge = [row - 0.5, row + 0.5]
                axes.plot([at, at], at_edge, color="0.2", linewidth=1.8 if heavy else 0.9, zorder=2, gid="limit")


def _drawn(axes: Axes, line: Place, row: int) -> None:
    each = line.each if line.each is not None else np.array([])
    each = each[np.isfinite(each)]
    if each.size > 1:
        shown = each[:: -(-len(each) // MOST_READINGS)]
        at = np.full(len(shown), row + 0.27)
        axes.plot(shown, at, linestyle="none", marker="|", markersize=7, color=style.ORANGE, zorder=4, gid="each")
    y = row - 0.12
    axes.plot(
        [line.low, line.high], [y, y], color=style.DARK_BLUE, linewidth=1.8, solid_capstyle="butt", gid="bar", zorder=5,
        marker="|", markersize=9,
    )  # fmt: skip
    style.mark(axes, line.value, y, "o", not line.beyond, 5.5)


def _decades(low: float, high: float) -> tuple[float, float]:
    """Ends of a logarithmic axis with room at both."""
    return low / 1.6, high * 1.6
