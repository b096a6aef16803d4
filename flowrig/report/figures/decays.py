"""Decays in a room: readings over time with the curves fitted to them, and the clean air that follows by size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig import units
from flowrig.report.figures import scales, style
from flowrig.report.figures.clean_air import by_decay, sizes_in_words
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table, thinned
from flowrig.studies.decay_picture import Traced, traced
from flowrig.studies.result import Result
from flowrig.studies.room_decay import DecayResult, Told
from flowrig.studies.room_decay_run import Fall

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_PANELS = 6  # of a figure
MOST_BARS = 80  # readings of a run with mark and bar: more of them only crowd the panel
UNIT = "1/cm3"
ON, OFF = (style.DARK_BLUE, style.ORANGE)
DOWN = 0.4  # of the lowest level that is drawn: where the axis begins
TALL, FLAT = 2.15, 0.85  # inches


def decay_pictures(result: Result, part: DecayResult) -> list[Picture]:
    """The readings with their curves, as far as there are any, and the clean air by size."""
    found = []
    drawn = [told for told in part.told if told.rate.falls]
    if drawn:
        found.append(_readings(result, part, drawn))
    if part.told:
        found.append(by_decay(result, part))
    return found


@dataclass(frozen=True)
class _Look:
    """What a run is known by in all panels."""

    colour: str
    marker: str
    dash: Any
    hatch: str


def _looks(drawn: list[Told]) -> dict[str, _Look]:
    """By the name of the run: filled rounds and lines for the cleaner at work, hollow squares and dashes without it."""
    runs = {fall.run.name: fall.run.on for told in drawn for fall in told.rate.falls}
    found = {}
    for on in (True, False):
        names = [name for name, own in runs.items() if own == on]
        marks = ("o", "^", "v", "P", "*", "X") if on else ("s", "D", "<", ">", "p", "h")
        for k, name in enumerate(names):
            dashes = (
                ("-", (0, (10, 3)), (0, (10, 3, 2, 3))) if on else ((0, (4, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)))
            )
            shade = (ON, style.BLUE, style.SKY) if on else (OFF, style.BROWN, style.GREY)
            found[name] = _Look(shade[k % 3], marks[k % 6], dashes[k % 3], "" if on else "////")
    return found


def _level(x: Any) -> Any:
    return units.from_si(x, UNIT, "concentration")


def _minutes(x: Any) -> Any:
    return np.asarray(x) / 60.0


def _readings(result: Result, part: DecayResult, drawn: list[Told]) -> Picture:
    shown = drawn[:MOST_PANELS]
    looks = _looks(drawn)
    traces = [[(fall, traced(fall, result.coverage)) for fall in told.rate.falls] for told in shown]
    with style.house_style():
        figure = _figure(result, part, drawn, traces, looks)
    every = [fall for told in drawn for fall in told.rate.falls]
    alt = f"{len(drawn)} range{'s' * (len(drawn) > 1)} of size over time on a logarithmic axis, with fitted curves: "
    alt += "; ".join(_rate_words(told) for told in shown) + f". Of {len(every)} fits, {_free(every)}."
    return Picture("decay", "Decays as read and as fitted", alt, _table(traces, shown), figure)


def _free(falls: list[Fall]) -> str:
    assumed = sum(fall.assumed for fall in falls)
    return (
        f"{assumed} {'have' if assumed > 1 else 'has'} a floor that is assumed"
        if assumed
        else "all have a floor that was told or fitted"
    )


def _rate_words(told: Told) -> str:
    rates = [
        f"{words} {bar(float(q.value), float(q.low), float(q.high))} {q.unit}"
        for words, q in (("with the cleaner", told.on), ("without", told.off))
    ]
    return f"{sizes_in_words(told)}: {', '.join(rates)}"


def _figure(
    result: Result,
    part: DecayResult,
    drawn: list[Told],
    traces: list[list[tuple[Fall, Traced]]],
    looks: dict[str, _Look],
) -> Figure:
    across = 1 if len(traces) == 1 else 2
    deep = -(-len(traces) // across)
    scale = 1.7 if across == 1 else 1.0
    heights = [TALL * scale, FLAT * scale] * deep
    figure = style.blank(sum(heights) + 0.35 * deep + 1.9)
    grid = figure.subplots(2 * deep, across, squeeze=False, sharex=True, height_ratios=heights)
    latest = max(float(t.time[-1]) for own in traces for _, t in own) / 60.0
    for number in range(deep * across):
        row, column = divmod(number, across)
        top, bottom = grid[2 * row, column], grid[2 * row + 1, column]
        if number >= len(traces):
            top.set_visible(False)
            bottom.set_visible(False)
            continue
        own, told = traces[number], drawn[number]
        _panel(top, own, looks)
        _residuals(bottom, own, looks)
        top.set_title(sizes_in_words(told), loc="left", fontsize=9.5, pad=4.0)
        top.set_xlim(*scales.room_about(0.0, latest, 0.03))
        style.round_ticks(bottom.xaxis, 7)
        if number + across >= len(traces):
            bottom.set_xlabel("time since the decay began [min]")
            bottom.tick_params(axis="x", labelbottom=True)
        if column == 0:
            top.set_ylabel(f"particles [{UNIT}]")
            bottom.set_ylabel("off the curve\n[std. dev.]")
    figure.align_ylabels()
    figure.legend(handles=_handles(traces, looks), loc="upper left", ncols=3, columnspacing=1.6, handlelength=3.2)
    style.finish(figure, str(result.record.heading.value("title")), _caption(result, part, drawn, traces))
    return figure


def _panel(axes: Axes, own: list[tuple[Fall, Traced]], looks: dict[str, _Look]) -> None:
    """Readings with the limits of their counts, curves and floors; windows shaded."""
    above = np.concatenate([_level(x) for _, t in own for x in (t.level, t.curve, t.high)])
    above = above[np.isfinite(above) & (above > 0.0)]
    seen = np.concatenate([_level(t.level[t.level > 0.0]) for _, t in own] + [_level(t.curve) for _, t in own])
    bottom, top = DOWN * float(np.min(seen)), 1.35 * float(np.max(above))
    axes.set_yscale("log")
    axes.set_ylim(bottom, top)
    for fall, t in own:
        look = looks[fall.run.name]
        _window(axes, t, look)
        _points(axes, t, look, bottom)
        axes.plot(
            _minutes(t.curve_time),
            _level(t.curve),
            color=look.colour,
            linestyle=look.dash,
            linewidth=1.6,
            zorder=4,
            gid="curve",
        )
        _floor(axes, t, look, bottom)
    scales.log_ticks(axes.yaxis, 6)


def _window(axes: Axes, t: Traced, look: _Look) -> None:
    from matplotlib.colors import to_rgb

    rgb = to_rgb(look.colour)
    first, last = _minutes(t.window)
    axes.axvspan(
        first, last, facecolor=(*rgb, 0.07), edgecolor=(*rgb, 0.22), hatch=look.hatch, linewidth=0.0, zorder=0.5
    )


def _points(axes: Axes, t: Traced, look: _Look, bottom: float) -> None:
    """Those of the window in full, the others pale; none counted as an arrow down from its limit."""
    every = -(-len(t.time) // MOST_BARS)
    some = np.zeros(len(t.time), dtype=bool)
    some[::every] = True
    filled = not look.hatch
    x, y = _minutes(t.time), _level(t.level)
    low, high = _level(t.low), _level(t.high)
    for which, shade in ((t.used, 1.0), (~t.used, 0.4)):
        at = some & which & (t.level > 0.0)
        if np.any(np.isfinite(low[at])):
            ends = np.maximum(low[at], bottom)
            style.uprights(
                axes, x[at], ends, high[at], gid="bar", color=look.colour, linewidth=0.8, alpha=shade, zorder=2.5
            )
        axes.plot(
            x[at], y[at], look.marker, color=look.colour, markerfacecolor=look.colour if filled else "white",
            markersize=3.6, markeredgewidth=0.9, linestyle="none", alpha=shade, zorder=3, gid="reading",
        )  # fmt: skip
        none = some & which & (t.level <= 0.0) & np.isfinite(high)
        if np.any(none):
            style.uprights(
                axes, x[none], bottom, high[none], gid="bar", color=look.colour, linewidth=0.8, alpha=shade, zorder=2.5
            )
            axes.plot(
                x[none], high[none], "_", color=look.colour, markersize=3.5, linestyle="none", alpha=shade, gid="none"
            )


def _floor(axes: Axes, t: Traced, look: _Look, bottom: float) -> None:
    """As far as it was fitted, with one standard uncertainty either way."""
    floor, u = float(_level(t.floor)), float(_level(t.floor_u))
    if floor + u <= bottom:
        return
    first, last = _minutes(t.window)
    axes.fill_between(
        [first, last], max(floor - u, bottom), floor + u, color=look.colour, alpha=0.14, linewidth=0.0, zorder=1.5
    )
    if floor > bottom:
        axes.plot(
            [first, last], [floor] * 2, color=look.colour, linewidth=0.9, linestyle=(0, (1, 2)), zorder=3.5, gid="floor"
        )


def _residuals(axes: Axes, own: list[tuple[Fall, Traced]], looks: dict[str, _Look]) -> None:
    for fall, t in own:
        look = looks[fall.run.name]
        x, y = _minutes(t.time[t.used]), t.residuals
        every = -(-len(x) // MOST_BARS)
        axes.plot(
            x[::every], y[::every], look.marker, color=look.colour, markersize=3.4, markeredgewidth=0.9,
            linestyle="none", markerfacecolor=look.colour if not look.hatch else "white", zorder=3, gid="residual",
        )  # fmt: skip
    scales.about_zero(axes, *(t.residuals for _, t in own), least=2.6)
    for side in (-2.0, 2.0):
        axes.axhline(side, color="0.45", linewidth=0.8, linestyle=style.DASHES[2], zorder=1)
    style.round_ticks(axes.yaxis, 5)


def _handles(traces: list[list[tuple[Fall, Traced]]], looks: dict[str, _Look]) -> list[Any]:
    from matplotlib.patches import Patch

    runs = {fall.run.name: fall.run for own in traces for fall, _ in own}
    found: list[Any] = []
    for name, run in runs.items():
        look = looks[name]
        state = f"cleaner {'on' if run.on else 'off'}"
        words = name if state in name else f"{style.shortened(name, 22)}, {state}"
        face = look.colour if run.on else "white"
        found.append(
            scales.handle(
                color=look.colour,
                marker=look.marker,
                markerfacecolor=face,
                linestyle=look.dash,
                linewidth=1.5,
                label=words,
            )
        )
    for on in dict.fromkeys(run.on for run in runs.values()):
        look = next(looks[name] for name, run in runs.items() if run.on == on)
        words = f"window, cleaner {'on' if on else 'off'}"
        found.append(
            Patch(
                facecolor=look.colour, alpha=0.16, hatch=look.hatch, edgecolor=look.colour, linewidth=0.0, label=words
            )
        )
    found.append(
        scales.handle(color="0.3", linestyle=(0, (1, 2)), linewidth=0.9, label="floor, ± one std. uncertainty")
    )
    return found


def _caption(result: Result, part: DecayResult, drawn: list[Told], traces: list[list[tuple[Fall, Traced]]]) -> str:
    every = [pair for own in traces for pair in own]
    said = "Readings with the curve fitted to those of the window, its floor included; pale ones lie outside. "
    if any(fall.run.raw for fall, _ in every):
        said += f"Bars are the exact limits of each count, {100 * result.coverage:.4g} %. "
    if any(not fall.run.raw for fall, _ in every):
        said += "Where the number of particles is not known, readings have no bar of counting. "
    if any(bool(np.any(t.level <= 0.0)) for _, t in every):
        said += "A bar with a cap and no mark: nothing was counted. "
    said += (
        "Below each, how far a reading lies off its curve in standard deviations of a reading: 95 % belong within 2."
    )
    if len(drawn) > len(traces):
        others = ", ".join(sizes_in_words(told) for told in drawn[len(traces) :])
        said += f" {len(drawn) - len(traces)} more are not drawn: {style.shortened(others, 120)}."
    if any(len(t.time) > MOST_BARS for _, t in every):
        said += f" At most {MOST_BARS} readings of a run are drawn, evenly chosen."
    return said + style.invented(result.record)


def _table(traces: list[list[tuple[Fall, Traced]]], shown: list[Told]) -> Table:
    """A line a reading would be pages: a line a fit, with its window and its ends."""
    rows: list[tuple[str, ...]] = []
    for told, own in zip(shown, traces, strict=True):
        for fall, t in own:
            first, last = _minutes(t.window)
            how = "assumed" if fall.assumed else "told" if fall.known is not None else "fitted"
            rows.append(
                (
                    sizes_in_words(told), fall.run.name, "on" if fall.run.on else "off", f"{first:.3g} to {last:.3g}",
                    f"{int(np.sum(t.used))} of {len(t.time)}", f"{_level(t.curve[0]):.4g}",
                    f"{_level(t.curve[-1]):.4g}", f"{_level(t.floor):.3g} ± {_level(t.floor_u):.2g}", how,
                    f"{float(np.max(np.abs(t.residuals))):.2g}",
                )
            )  # fmt: skip
    heads = (
        "sizes", "run", "cleaner", "window [min]", "readings used", f"curve at first [{UNIT}]", f"at last [{UNIT}]",
        f"floor, std. uncertainty [{UNIT}]", "floor", "furthest off [std. dev.]",
    )  # fmt: skip
    kept, words = thinned(rows)
    return Table(heads, kept, (0, 1, 2, 8), words)
