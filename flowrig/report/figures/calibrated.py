"""A calibration: its points and the curve through them over the range, and how far each point lies off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from flowrig import units
from flowrig.records.formulas import Formula
from flowrig.records.items import Array
from flowrig.records.points import DIRECTION, MOUNTING, RUN
from flowrig.report.figures import scales, style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table, thinned
from flowrig.studies.calibrate import Calibrated
from flowrig.studies.calibration_file import units_of
from flowrig.studies.calibration_picture import CurveBand, curve_band, points_with_bars

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WHAT = {"box": "the box", "chamber": "what the chamber leaks"}
BESIDE, WIDEST = 4.0, 28.0  # points between bars of two groups, and of all of them
MOST_BARS = 90  # points with a bar; more would hide each other, and each makes the file larger
ON_LOG = 4.0  # highest over lowest argument, from which a logarithmic axis shows more


@dataclass(frozen=True)
class Shown:
    """In which units a calibration is drawn, and along which axis.

    Attributes
    ----------
    formula : Formula
    unit_x, unit_y : str
    log : bool
    """

    formula: Formula
    unit_x: str
    unit_y: str
    log: bool

    @property
    def off_unit(self) -> str:
        return "%" if self.formula.relative else self.unit_y

    def x(self, argument: Any) -> Any:
        return units.from_si(argument, self.unit_x, self.formula.argument.kind)

    def y(self, result: Any) -> Any:
        return units.from_si(result, self.unit_y, self.formula.result.kind)

    def off(self, size: Any) -> Any:
        """What lies off, in per cent of a flow or in the unit of an instrument."""
        if self.formula.relative:
            return 100.0 * np.asarray(size)
        return units.from_si(size, self.unit_y, units.as_difference(self.formula.result.kind))

    @property
    def heads(self) -> tuple[str, str, str]:
        """Labels of both axes, and of what lies off."""
        argument, result = self.formula.argument.name, self.formula.result.name
        words = {"drop": "pressure drop", "shown": "indication", "reading": "indication"}
        return (
            f"{words.get(argument, argument)} [{self.unit_x}]",
            f"{result} [{self.unit_y}]",
            f"off the curve [{self.off_unit}]",
        )


def shown_in(formula: Formula, unit_x: str, unit_y: str, lowest: float, highest: float) -> Shown:
    """A logarithmic axis where a flow is told over more than a small range."""
    return Shown(formula, unit_x, unit_y, formula.relative and lowest > 0.0 and highest > ON_LOG * lowest)


def calibrate_pictures(done: Calibrated) -> list[Picture]:
    """The one figure of a calibration."""
    formula, pairs = done.formula, done.pairs
    unit = units_of(done)
    unit_x, unit_y = (unit.get(f.kind) or units.default_display(f.kind) for f in (formula.argument, formula.result))
    lowest, highest = float(np.min(pairs.shown.value)), float(np.max(pairs.shown.value))
    shown = shown_in(formula, unit_x, unit_y, lowest, highest)
    curve = curve_band(formula, done.numbers, lowest, highest, done.coverage)
    points = points_with_bars(done, done.coverage)
    x, y = shown.x(pairs.shown.value), shown.y(points.result.value)
    low, high = shown.y(points.result.low), shown.y(points.result.high)
    off, half = shown.off(points.off), shown.off(points.half)
    groups = grouped(pairs.labels, len(x))
    with style.house_style():
        figure = style.blank(6.9)
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[3.6, 2.2])
        draw_curve(top, bottom, shown, curve)
        for k, group in enumerate(groups):
            draw_points(top, x, y, np.stack([y - low, high - y]), group)
            draw_points(bottom, x, off, np.stack([half, half]), group, beside(k, len(groups)))
        finish_axes(top, bottom, shown, curve, [x], [low, high], [off - half, off + half])
        figure.legend(handles=[*curve_handles(shown, done.coverage), *handles_of(groups)], loc="upper left", ncols=3)
        style.finish(figure, str(done.record.heading.value("title")), _caption(done, groups))
    table = _table(shown, done, (x, y, low, high, off, half))
    return [Picture("calibration", "The calibration", _alt(shown, done, curve, off, x), table, figure)]


@dataclass(frozen=True)
class Group:
    """Points that are drawn alike.

    Attributes
    ----------
    words : str
        For the legend; empty where there is but one.
    at : array of int
    marker, colour : str
    filled : bool
    """

    words: str
    at: NDArray[np.intp]
    marker: str
    colour: str
    filled: bool


def grouped(labels: dict[str, list[str]], n: int) -> list[Group]:
    """By mounting where there are several, else by run; hollow where a point was approached from above."""
    by = next((name for name in (MOUNTING, RUN) if len(set(labels.get(name, []))) > 1), "")
    names = labels[by] if by else [""] * n
    ways = labels.get(DIRECTION, [""] * n)
    down = np.array([way == "down" for way in ways])
    found = []
    for k, name in enumerate(dict.fromkeys(names)):
        own = np.array([other == name for other in names])
        marker, colour = scales.MARKS[k % len(scales.MARKS)], style.SHADES[k % len(style.SHADES)]
        for filled, which in ((True, own & ~down), (False, own & down)):
            if np.any(which):
                words = name if by in name.split() else f"{by} {name}".strip()
                found.append(Group(words, np.flatnonzero(which), marker, colour, filled))
    return found


def beside(k: int, of: int) -> float:
    """How far the points of one of several groups stand beside their place, so that bars can be told apart. [points]"""
    return min(BESIDE, WIDEST / max(of - 1, 1)) * (k - (of - 1) / 2)


def bars_apart(n: int) -> int:
    """Of so many points, one in how many has a bar."""
    return -(-n // MOST_BARS)


def draw_points(axes: Axes, x: Array, y: Array, arms: Array, group: Group, shift: float = 0.0) -> None:
    """Points of one sort with their bars, so many points of the page beside their place."""
    from matplotlib.transforms import ScaledTranslation

    at, every = group.at, bars_apart(len(x))
    moved = axes.transData + ScaledTranslation(shift / 72.0, 0.0, axes.figure.dpi_scale_trans)
    look: dict[str, Any] = {"color": group.colour, "linestyle": "none", "zorder": 4, "transform": moved}
    look |= {"markerfacecolor": group.colour if group.filled else "white", "markeredgewidth": 1.1}
    if every > 1:
        axes.plot(x[at], y[at], group.marker, **look | {"markersize": 2.4, "markeredgewidth": 0.6})
        at = at[::every]
    axes.errorbar(
        x[at], y[at], yerr=np.maximum(arms[:, at], 0.0), fmt=group.marker, markersize=4.6 if every == 1 else 2.4,
        elinewidth=0.9, capsize=1.8, **look,
    )  # fmt: skip


def draw_curve(top: Axes, bottom: Axes, shown: Shown, curve: CurveBand) -> None:
    """The curve with its band, and the band off the curve below; nothing of it outside its range."""
    from matplotlib.colors import to_rgb

    rgb = to_rgb(style.ORANGE)
    look: dict[str, Any] = {"facecolor": (*rgb, 0.16), "edgecolor": (*rgb, 0.4), "hatch": "////", "linewidth": 0.0}
    x = shown.x(curve.argument)
    top.fill_between(x, shown.y(curve.curve.low), shown.y(curve.curve.high), **look)
    top.plot(x, shown.y(curve.curve.value), color=style.ORANGE, zorder=3, gid="curve")
    bottom.fill_between(x, shown.off(curve.off_low), shown.off(curve.off_high), **look)


def finish_axes(
    top: Axes, bottom: Axes, shown: Shown, curve: CurveBand, x: list[Array], y: list[Array], off: list[Array]
) -> None:
    """Scales, labels, and where the range ends."""
    ends = shown.x(curve.argument[[0, -1]])
    left, right = scales.room_about(*scales.finite_ends(ends, *x), 0.07, log=shown.log)
    top.set_xlim(left, right)
    low, high = scales.finite_ends(shown.y(curve.curve.low), shown.y(curve.curve.high), *y)
    on_log = shown.log and low > 0.0
    if shown.log:
        bottom.set_xscale("log")
        top.set_xlim(left, right)
    if on_log:
        top.set_yscale("log")
    top.set_ylim(*scales.room_about(low, high, log=on_log))
    scales.about_zero(bottom, shown.off(curve.off_low), shown.off(curve.off_high), *off)
    for axes in (top, bottom):
        for a, b in ((left, ends[0]), (ends[1], right)):
            axes.axvspan(a, b, facecolor="0.9", edgecolor="0.72", hatch="xxx", linewidth=0.0, zorder=0.5)
        for end in ends:
            axes.axvline(end, color="0.35", linewidth=0.9, linestyle=style.DASHES[2], zorder=2)
    argument, result, how_far = shown.heads
    bottom.set_xlabel(argument)
    top.set_ylabel(result)
    bottom.set_ylabel(how_far)
    scales.log_ticks(bottom.xaxis, 10) if shown.log else style.round_ticks(bottom.xaxis, 9)
    scales.log_ticks(top.yaxis, 8) if on_log else style.round_ticks(top.yaxis, 8)
    style.round_ticks(bottom.yaxis, 6)


def curve_handles(shown: Shown, coverage: float) -> list[Any]:
    """What the curve and its surroundings look like."""
    from matplotlib.colors import to_rgb
    from matplotlib.patches import Patch

    rgb = to_rgb(style.ORANGE)
    return [
        Patch(
            facecolor=(*rgb, 0.16), edgecolor=style.ORANGE, hatch="////", linewidth=1.2,
            label=f"curve ({shown.formula.name}), {100 * coverage:.4g} %",
        ),
        Patch(facecolor="0.9", edgecolor="0.72", hatch="xxx", linewidth=0.0, label="outside its range: no value"),
    ]  # fmt: skip


def handles_of(groups: list[Group]) -> list[Any]:
    """What the points look like."""

    found = []
    for words in dict.fromkeys(g.words for g in groups):
        first = next(g for g in groups if g.words == words)
        look: dict[str, Any] = {"color": first.colour, "marker": first.marker, "linestyle": "none"}
        found.append(scales.handle(label=style.shortened(words or "points", 30), **look))
    if any(not g.filled for g in groups):
        found.append(
            scales.handle(
                color="0.3", marker="o", linestyle="none", markerfacecolor="white", label="approached from above"
            )
        )
    return found


def _caption(done: Calibrated, groups: list[Group]) -> str:
    hold = f"{100 * done.coverage:.4g} %"
    what = WHAT.get(done.pairs.calibrates, f"an instrument for {done.pairs.calibrates}")
    said = (
        f"Calibration of {what} against {style.shortened(done.pairs.reference, 160)}. Above, bars are all that may be "
        f"wrong of the reference, which moves many points alike; below, what is a point's own. Band and "
        f"bars hold {hold}."
    )
    if done.pairs.of_flow:
        said += f" All in air of {done.pairs.density:.4g} kg/m3."
    if (every := bars_apart(len(done.residuals))) > 1:
        said += f" One point in {every} has its bar."
    if len(groups) > 1:
        said += " Below, marks stand a little beside each other."
    if len({(g.marker, g.colour) for g in groups}) < len({g.words for g in groups}):
        said += f" There are more sorts of points than {len(scales.MARKS)} marks; the legend goes round them again."
    return said + style.invented(done.record)


def _alt(shown: Shown, done: Calibrated, curve: CurveBand, off: Array, x: Array) -> str:
    middle = len(curve.argument) // 2
    at = float(shown.x(curve.argument[middle]))
    told = bar(*(float(shown.y(e[middle])) for e in (curve.curve.value, curve.curve.low, curve.curve.high)))
    most = int(np.argmax(np.abs(off)))
    return (
        f"{len(off)} points and the fitted curve ({shown.formula.name}) from {shown.x(curve.argument[0]):.4g} to "
        f"{shown.x(curve.argument[-1]):.4g} {shown.unit_x}; at {at:.4g} {shown.unit_x} it tells {told} {shown.unit_y}. "
        f"Points lie up to {abs(off[most]):.2g} {shown.off_unit} off it, the furthest at {x[most]:.4g} {shown.unit_x}."
    )


def _table(shown: Shown, done: Calibrated, drawn: tuple[Array, ...]) -> Table:
    labels = [name for name in (RUN, DIRECTION, MOUNTING) if name in done.pairs.labels]
    rows = [
        (
            f"{x:.5g}",
            bar(float(y), float(low), float(high)),
            f"{off:+.2g} ± {half:.2g}",
            *(done.pairs.labels[name][k] for name in labels),
        )
        for k, (x, y, low, high, off, half) in enumerate(zip(*drawn, strict=True))
    ]
    kept, said = thinned(rows)
    return Table((*shown.heads, *labels), kept, tuple(range(3, 3 + len(labels))), said)
