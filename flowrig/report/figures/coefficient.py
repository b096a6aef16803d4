"""The coefficient of a meter along its Reynolds number with its band, and where a measurement lies on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import log_ticks, percent, round_limits
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table
from flowrig.studies.coefficient import Curve
from flowrig.studies.result import FlowResult, Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST = 6
EVERY = 8  # places of a curve: one line of the table


def coefficient_picture(result: Result, flow: FlowResult, curves: tuple[Curve, ...], name: str, title: str) -> Picture:
    """Coefficient with its band over the Reynolds number.

    Parameters
    ----------
    result : Result
    flow : FlowResult
    curves : tuple of Curve
        From `flowrig.studies.behind`; one at least.
    name, title : str
    """
    said, rows = [], []
    for curve in curves:
        for i, reynolds in enumerate(curve.at_reynolds):
            low, high = _at(curve, i)
            of = f"{curve.names[i]}: " if curve.names else ""
            shown = bar(float(curve.at_value[i]), low, high)
            said.append(f"{of}{curve.words} {shown} at Reynolds number {reynolds:.0f}")
            rows.append((f"as measured{f', {curve.names[i]}' if curve.names else ''}", f"{reynolds:.0f}", shown))
        for k in range(0, len(curve.reynolds), EVERY):
            shown = bar(float(curve.value[k]), float(curve.low[k]), float(curve.high[k]))
            rows.append((f"curve{f', {_named(curve)}' if curve.names else ''}", f"{curve.reynolds[k]:.4g}", shown))
    asked = ", ".join(f"{x:.5g}" for x in curves[0].limits)
    alt = f"{'; '.join(said)}." + (f" Limits of use at {asked}." if asked else "")
    table = Table(("place", "Reynolds number", curves[0].words), tuple(rows))
    return Picture(name, title, alt, table, _figure(result, flow, curves, title))


def _named(curve: Curve) -> str:
    return ", ".join(curve.names)


def _at(curve: Curve, i: int) -> tuple[float, float]:
    """The band where an opening lies."""
    x = np.log(curve.reynolds)
    low, high = (float(np.interp(np.log(curve.at_reynolds[i]), x, y)) for y in (curve.low, curve.high))
    return low, high


def _figure(result: Result, flow: FlowResult, curves: tuple[Curve, ...], title: str) -> Figure:
    with style.house_style():
        figure = style.blank(4.6)
        axes = figure.subplots()
        axes.set_xscale("log")
        axes.set_xlim(float(curves[0].reynolds[0]), float(curves[0].reynolds[-1]))
        log_ticks(axes)
        for i, curve in enumerate(curves[:MOST]):
            _curve(axes, curve, i, len(curves) > 1 or len(curve.names) > 0)
        for limit in curves[0].limits:
            axes.axvline(limit, color="0.2", linewidth=1.4, linestyle=(0, (1, 2)), gid="limit")
        if curves[0].limits:
            axes.plot([], [], color="0.2", linewidth=1.4, linestyle=(0, (1, 2)), label="where a flag begins")
        round_limits(axes, "y", [x for c in curves for x in (*c.low, *c.high)], 7)
        axes.set_xlabel("Reynolds number")
        axes.set_ylabel(curves[0].words)
        figure.legend(loc="upper left", ncols=3, handlelength=3.2)
        caption = (
            f"{curves[0].words[:1].upper()}{curves[0].words[1:]} of {flow.name} ({flow.method.title}) along its "
            f"Reynolds number. Bands and bars hold {percent(result.coverage)}: what the equation leaves open, by the "
            "method, and what is known of this very meter; either moves the whole curve, or most of it, one way."
        )
        if len(curves) > MOST:
            caption += f" {MOST} of {len(curves)} curves are drawn."
        style.finish(figure, title, caption + style.invented(result.record))
    return figure


def _curve(axes: Axes, curve: Curve, number: int, told: bool) -> None:
    from matplotlib.colors import to_rgb

    colour = style.SHADES[number % 6]
    dash: Any = style.DASHES[number % 6]
    hatch = ("////", "\\\\\\\\", "||||", "----", "xxxx", "++++")[number % 6]
    axes.fill_between(
        curve.reynolds, curve.low, curve.high, facecolor=(*to_rgb(colour), 0.12), edgecolor=(*to_rgb(colour), 0.35),
        hatch=hatch, linewidth=0.0, gid="band",
    )  # fmt: skip
    words = f"coefficient, with its band{f': {style.shortened(_named(curve), 40)}' if told and curve.names else ''}"
    axes.plot(curve.reynolds, curve.value, color=colour, linestyle=dash, label=words, zorder=3, gid="curve")
    for i in range(len(curve.at_reynolds)):
        low, high = _at(curve, i)
        x, y = float(curve.at_reynolds[i]), float(curve.at_value[i])
        axes.errorbar(
            [x], [y], xerr=[[max(x - curve.at_low[i], 0.0)], [max(curve.at_high[i] - x, 0.0)]],
            yerr=[[max(y - low, 0.0)], [max(high - y, 0.0)]], color=style.DARK_BLUE,
            marker=style.MARKERS[(number + i) % 6], markersize=6.0, markerfacecolor="white", markeredgewidth=1.5,
            linestyle="none", elinewidth=1.4, capsize=2.5, zorder=5,
            label=f"as measured{f', {style.shortened(curve.names[i], 20)}' if curve.names else ''}",
        )  # fmt: skip
