"""The readings behind a flow in the order in which they were taken, with their mean and its bar."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flowrig.records.items import Array
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import of_unit, percent, round_limits, with_unit
from flowrig.report.lines import numbers, quantity_line
from flowrig.report.table import Table, thinned
from flowrig.studies.behind import Run
from flowrig.studies.result import FlowResult, Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARK_ROOM = 0.04  # of what is drawn: a mark's half
MARKED = 60  # readings: beyond, a line without marks
TIMES = ((7200.0, 3600.0, "h"), (300.0, 60.0, "min"), (0.0, 1.0, "s"))  # from how long, seconds in one, unit


def readings_picture(result: Result, flow: FlowResult, run: Run, name: str, title: str) -> Picture:
    """What each reading alone would have made the flow, and what was read.

    Parameters
    ----------
    result : Result
    flow : FlowResult
    run : Run
        From `flowrig.studies.behind`.
    name, title : str
    """
    x, words, unit = _along(run)
    least, most = (f"{float(v):.4g}" for v in (np.min(run.flows), np.max(run.flows)))
    alt = (
        f"{len(run.flows)} {run.what} of {flow.name} in order: the flow by each alone lies from {least} to {most} "
        f"{run.told.unit}. Told is {quantity_line(run.told)}; their scatter alone leaves it open from "
        f"{run.mean_low:.5g} to {run.mean_high:.5g}.{_stretches(run)}"
    )
    same = [r for r in run.read if len(r.values) == len(run.flows)]
    heads = [of_unit(words, unit), of_unit("flow by this reading alone", run.told.unit)]
    heads += [of_unit(r.words, r.unit) for r in same]
    rows = [
        (f"{x[i]:.5g}", f"{run.flows[i]:.5g}", *(f"{r.values[i]:.5g}" for r in same)) for i in range(len(run.flows))
    ]
    kept, said = thinned(rows)
    return Picture(name, title, alt, Table(tuple(heads), kept, (), said), _figure(result, flow, run, title))


def _stretches(run: Run) -> str:
    scatter = run.scatter
    if scatter.stretches < 0.95 * scatter.n:
        return f" {scatter.n} readings follow one another and are worth {scatter.stretches:.0f} independent ones."
    return ""


def _along(run: Run) -> tuple[Array, str, str]:
    """Places along the axis, what they are, and their unit."""
    n = len(run.flows)
    if run.times is None:
        one = {"passes": "pass", "places in turn": "place in turn", "rows of the log": "row of the log"}
        return np.arange(1.0, n + 1.0), one.get(run.what, "reading, in the order taken"), ""
    _, scale, unit = next(row for row in TIMES if float(run.times[-1]) >= row[0])
    return run.times / scale, "time from the first reading", unit


def _figure(result: Result, flow: FlowResult, run: Run, title: str) -> Figure:
    x, words, unit = _along(run)
    shown = [r for r in run.read if np.all(np.isfinite(r.values))][:3]
    with style.house_style():
        figure = style.blank(3.0 + 1.5 * len(shown) + 1.4)
        grid = figure.subplots(1 + len(shown), 1, squeeze=False, height_ratios=[2.9, *[1.5] * len(shown)])[:, 0]
        wide = _flows(grid[0], x, run)
        for axes, read, shade in zip(grid[1:], shown, style.SHADES[1:], strict=False):
            own = x if len(read.values) == len(x) else np.arange(1.0, len(read.values) + 1.0)
            _line(axes, own, read.values, shade, "s")
            round_limits(axes, "y", read.values, 4, MARK_ROOM)
            axes.set_ylabel(style.folded(of_unit(read.words, read.unit), 18, 3))
            if own is not x:
                _counted(axes, own)
        alike = [axes for axes, read in zip(grid[1:], shown, strict=True) if len(read.values) == len(x)]
        for axes in (grid[0], *alike):
            if run.times is None:
                _counted(axes, x)
            else:
                axes.set_xlim(*wide)
                style.round_ticks(axes.xaxis, 9)
        for axes in grid[:-1]:
            axes.tick_params(axis="x", labelbottom=axes is grid[0] and len(alike) < len(shown))
        if len(alike) < len(shown):
            grid[0].set_xlabel(words)
            grid[-1].set_xlabel("reading, in the order taken")
        else:
            grid[-1].set_xlabel(of_unit(words, unit))
        figure.align_ylabels()
        figure.legend(loc="upper left", ncols=2, handlelength=3.0)
        style.finish(figure, title, _caption(result, flow, run))
    return figure


def _counted(axes: Axes, x: Array) -> None:
    axes.set_xlim(float(x[0]) - 0.5, float(x[-1]) + 0.5)
    style.round_ticks(axes.xaxis, 10, whole=True)


def _flows(axes: Axes, x: Array, run: Run) -> tuple[float, float]:
    from matplotlib.colors import to_rgb

    told = run.told
    wide = (x[0], x[-1]) if run.times is not None else (x[0] - 0.5, x[-1] + 0.5)
    ends = (float(wide[0]), float(wide[1]))
    value = numbers(told)[0]
    words = f"flow told, {with_unit(value, told.unit)}, and its bar"
    for a, b, colour, hatch, label in (
        (float(told.low), float(told.high), style.DARK_BLUE, "", words),
        (run.mean_low, run.mean_high, style.ORANGE, "////", "of that, left open by the scatter of the readings"),
    ):
        axes.fill_between(
            ends, a, b, facecolor=(*to_rgb(colour), 0.14), edgecolor=(*to_rgb(colour), 0.45), hatch=hatch,
            linewidth=0.0, label=label,
        )  # fmt: skip
    axes.plot(ends, [float(told.value)] * 2, color=style.DARK_BLUE, linewidth=1.4)
    _line(axes, x, run.flows, style.BROWN, "o", "flow by each reading alone")
    round_limits(axes, "y", [*run.flows, float(told.low), float(told.high), run.mean_low, run.mean_high], 7, MARK_ROOM)
    axes.set_ylabel(of_unit("flow", told.unit))
    return ends


def _line(axes: Axes, x: Array, y: Array, colour: str, marker: str, label: str = "") -> None:
    many = len(x) > MARKED
    axes.plot(
        x, y, color=colour, linewidth=0.9, linestyle="-" if many else (0, (1.5, 1.5)), marker="" if many else marker,
        markersize=5.0, markerfacecolor="white", markeredgewidth=1.4, label=label or "_", gid="readings", zorder=4,
    )  # fmt: skip


def _caption(result: Result, flow: FlowResult, run: Run) -> str:
    said = (
        f"{len(run.flows)} {run.what} of {flow.name}, {flow.method.title}, in order. The flow by one reading alone is "
        "the flow told plus the distance of that reading's own flow from the mean of all; it has no bar of its own. "
        f"Bands hold {percent(result.coverage)}.{_stretches(run)}"
    )
    if run.read:
        each = ", the mean of each pass" if run.what == "passes" else ""
        zeroed = any(x.zero is not None for x in result.record.instruments.values())
        said += f" Below: what was read{each}{', before a zero is taken off' if zeroed else ''}."
    if run.times is None and run.what == "rows of the log":
        said += " The log has no times; its rows are taken as evenly spaced."
    return said + style.invented(result.record)
