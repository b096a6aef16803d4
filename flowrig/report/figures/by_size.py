"""Particle counts: efficiency by size with its averages and classes, and two counters beside each other."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flowrig.physics.classes import EDITIONS, NONE
from flowrig.physics.size_averages import AVERAGED
from flowrig.records.particle_facts import IN_USE
from flowrig.report.figures import over_size, scales, style
from flowrig.report.figures.clean_air import by_flow
from flowrig.report.figures.over_size import Channels
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.lines import numbers
from flowrig.report.particles_text import least_shown
from flowrig.report.table import Table
from flowrig.studies.by_size import BySize
from flowrig.studies.particles import ParticlesResult, sizes_of
from flowrig.studies.result import Quantity, Result
from flowrig.studies.size_classes import ClassEquivalent, SizeClasses, class_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEVELS = ((style.BROWN, style.DASHES[1]), (style.BLUE, style.DASHES[2]))  # the class it came out like, and the next
TALL, BELOW, ABOVE = 0.075, 0.11, 0.09  # of the axis: a line of words, and room below and above the data for more
ALONG = 0.66  # of a range: where the bar of its average stands, clear of the words of levels
ROUNDING = 1e-12  # of an efficiency that is nothing


def particles_pictures(result: Result, part: ParticlesResult) -> list[Picture]:
    """What was counted, each as far as it is there."""
    found = []
    if any(np.any(np.isfinite(of.penetration.value)) for of in part.runs.values()):
        found.append(_efficiency(result, part))
    if part.beside is not None and np.any(np.isfinite(part.beside.penetration.value)):
        found.append(_beside(result, part, part.beside))
    clean = part.clean_air
    if clean is not None and any(rate.clean_air is not None for rate in (*clean.ranges.values(), *clean.channels)):
        found.append(by_flow(result, clean))
    return found


def _title(result: Result) -> str:
    return str(result.record.heading.value("title"))


def _channels(of: BySize, words: str, *, held_back: bool = True) -> Channels:
    """Efficiencies of a run in per cent, or the ratio itself."""
    value, low, high = of.penetration.value, of.low, of.high
    if held_back:
        value, low, high = 1.0 - value, 1.0 - of.high, 1.0 - of.low
        value = np.where(np.abs(value) < ROUNDING, 0.0, value)
    known = np.isfinite(of.penetration.value)
    ends = [np.where(known, 100.0 * np.asarray(x, dtype=float), np.nan) for x in (value, low, high)]
    limit = of.upper_only & known & held_back
    return Channels(words, 1e6 * of.lower, 1e6 * of.upper, ends[0], ends[1], ends[2], limit)


def _efficiency(result: Result, part: ParticlesResult) -> Picture:
    runs = [_channels(of, run) for run, of in part.runs.items()]
    classes = part.clean_air.classes if part.clean_air is not None else SizeClasses()
    averages = {name: a for name, a in classes.averages.items() if name in AVERAGED}
    with style.house_style():
        figure = style.blank(6.9 if averages else 4.9)
        grid = figure.subplots(
            2 if averages else 1, 1, sharex=True, squeeze=False, height_ratios=[3.4, 2.6][: 1 + bool(averages)]
        )
        axes = grid[0, 0]
        cut, begin = over_size.efficiency_axis(axes, runs)
        begins = [begin]
        axes.set_ylabel("efficiency [%]")
        if averages:
            also, low = _averages(grid[1, 0], classes)
            cut, begins = cut or also, [begin, low]
        grid[-1, 0].set_xlabel(over_size.LABEL)
        figure.align_ylabels()
        figure.legend(handles=_handles(runs, classes), loc="upper left", ncols=3, columnspacing=1.6, handlelength=3.2)
        style.finish(figure, _title(result), _efficiency_caption(result, part, runs, classes, cut, begins))
    return Picture(
        "efficiency-by-size",
        "Efficiency by size",
        _efficiency_alt(part, classes),
        _efficiency_table(part, classes),
        figure,
    )


def _averages(axes: Axes, classes: SizeClasses) -> tuple[bool, float]:
    """Averages over the published ranges, and the least that the class it performed like and the next one ask for.

    Returns
    -------
    cut : bool
        A bar runs out of the panel.
    begins : float
        Where its data begin.
    """
    told = classes.classes[-1] if classes.classes else None
    values = {name: _ends(a.quantity) for name, a in classes.averages.items() if name in AVERAGED}
    levels = {name: [(n, 100.0 * _minimum(told, n, name)) for n in _levels(told)] for name in AVERAGED}
    asked = [least for own in levels.values() for _, least in own if least > 0.0]
    least = min([x for x, _, _ in values.values()] + asked)
    lows, most = [low for _, low, _ in values.values()], max(value for value, _, _ in values.values())
    if min(lows + asked) >= over_size.HIGH:
        bottom = over_size.round_below(min(lows + asked))
    else:
        bottom = min(0.0, max(min(lows), least - over_size.MOST_BELOW))
    top = min(max(100.0, *(high for _, _, high in values.values())), max(100.0, most) + over_size.MOST_BELOW)
    span = (top - bottom) / (1.0 - BELOW - ABOVE)
    for name, (lower, upper) in AVERAGED.items():
        a, b = 1e6 * lower, 1e6 * upper
        held: list[tuple[float, float]] = []  # heights that words are to keep clear of
        if name in values:
            value, low, high = values[name]
            low, high = max(low, bottom), min(high, top)
            at = a ** (1.0 - ALONG) * b**ALONG
            axes.fill_between([a, b], low, high, facecolor="0.88", edgecolor="0.7", linewidth=0.0, zorder=1)
            axes.plot([a, b], [value, value], color=style.DARK_BLUE, linewidth=2.0, solid_capstyle="butt", zorder=3)
            axes.plot([at] * 2, [low, high], color=style.DARK_BLUE, linewidth=1.4, zorder=3, gid="bar")
            q = classes.averages[name].quantity
            style.mark(axes, at, value, "D", not q.bound, 6.0)
            words = f"{name}: at least {least_shown(value)} %" if q.bound else f"{name}: {numbers(q)[0]} %"
            axes.annotate(
                words, (math.sqrt(a * b), 0.0), (0, 4), xycoords=axes.get_xaxis_transform(), textcoords="offset points",
                ha="center", va="bottom", fontsize=style.SMALL, fontweight="bold",
            )  # fmt: skip
            held.append((low, high))
        held += [(least, least) for _, least in levels[name] if least > 0.0]
        for (number, least), (colour, dash) in reversed(list(zip(levels[name], LEVELS, strict=False))):
            if least > 0.0:
                axes.plot([a, b], [least, least], color=colour, linestyle=dash, linewidth=1.3, zorder=2.5, gid="level")
                _beside_level(axes, a, least, f"{class_name(number)}: {least:.0f} %", colour, held, TALL * span)
    axes.set_ylim(bottom - BELOW * span, top + ABOVE * span)
    style.round_ticks(axes.yaxis, 8)
    axes.set_yticks([t for t in axes.get_yticks() if bottom - 1e-9 <= t <= top + 1e-9])
    axes.set_ylim(bottom - BELOW * span, top + ABOVE * span)
    axes.set_ylabel("average over range [%]")
    if bottom < 0.0:
        axes.axhline(0.0, color="0.3", linewidth=0.8, zorder=1)
    return min(lows) < bottom, bottom


def _ends(q: Quantity) -> tuple[float, float, float]:
    """Value and both ends as drawn; of a limit the limit, and up to 100 %."""
    if q.bound:
        return float(q.limit), float(q.limit), 100.0
    return float(q.value), float(q.low), float(q.high)


def _beside_level(
    axes: Axes, x: float, level: float, words: str, colour: str, held: list[tuple[float, float]], tall: float
) -> None:
    """Words above or below a level, where less is in their way; their place is held from then on."""
    above, below = (level + 0.1 * tall, level + tall), (level - tall, level - 0.1 * tall)
    hidden = [
        sum(max(min(b, high) - max(a, low), 0.0) + (a < low == high < b) for low, high in held)
        for a, b in (above, below)
    ]
    over = hidden[0] <= hidden[1]
    held.append(above if over else below)
    axes.annotate(
        words, (x, level), (5, 2 if over else -2), textcoords="offset points", va="bottom" if over else "top",
        ha="left", fontsize=style.SMALL, color=colour, zorder=5,
    )  # fmt: skip


def _levels(told: ClassEquivalent | None) -> list[int]:
    """The class that the test came out like, and the next: of those that have limits."""
    if told is None:
        return []
    known = [number for number, *_ in EDITIONS[told.edition].minima]
    above = [number for number in known if number > told.likeliest]
    return [*([told.likeliest] if told.likeliest in known else []), *above[:1]]


def _minimum(told: ClassEquivalent | None, number: int, name: str) -> float:
    if told is None:
        return NONE
    minima = {own: least for own, *least in EDITIONS[told.edition].minima}
    return minima[number][list(AVERAGED).index(name)]


def _handles(runs: list[Channels], classes: SizeClasses) -> list[object]:
    from matplotlib.patches import Patch

    found: list[object] = [
        scales.handle(
            color=style.SHADES[i], marker=style.MARKERS[i], linestyle=style.DASHES[i], linewidth=0.9, label=run.words
        )
        for i, run in enumerate(runs)
    ]
    if over_size.any_limit(runs):
        found.append(
            scales.handle(
                color="0.3",
                marker="o",
                markerfacecolor="white",
                linestyle="none",
                label="nothing came through: at least",
            )
        )
    if any(name in AVERAGED for name in classes.averages):
        found.append(scales.handle(color=style.DARK_BLUE, marker="D", linewidth=2.0, label="average over a range"))
        found.append(Patch(facecolor="0.88", edgecolor="0.7", label="its bar"))
    told = classes.classes[-1] if classes.classes else None
    for number, (colour, dash) in zip(_levels(told), LEVELS, strict=False):
        found.append(scales.handle(color=colour, linestyle=dash, linewidth=1.3, label=f"least of {class_name(number)}"))
    return found


def _efficiency_caption(
    result: Result, part: ParticlesResult, runs: list[Channels], classes: SizeClasses, cut: bool, begins: list[float]
) -> str:
    coverage = next(iter(part.runs.values())).coverage
    said = (
        f"Efficiency in each channel of the counter; lines across are as wide as the channel, bars hold "
        f"{100 * coverage:.4g} % and are exact where counts are few."
    )
    if max(begins) > 0.0:
        said += f" Axes begin at {' and '.join(dict.fromkeys(f'{max(x, 0.0):.6g} %' for x in begins))}."
    if any(bool(np.any(run.value < 0.0)) for run in runs):
        said += " What came out below zero is kept as measured."
    if any(not math.isfinite(float(run.upper[-1])) for run in runs):
        said += " The last channel has no upper end."
    if over_size.any_limit(runs):
        said += " Where nothing came through, the limit is on one side."
    if cut:
        said += " A bar without a cap runs out of the panel."
    gone = sum(int(np.sum(~np.isfinite(run.value))) for run in runs)
    if gone:
        said += f" {gone} channel{'s' * (gone > 1)} with no value left out."
    told = classes.classes[-1] if classes.classes else None
    if told is not None:
        said += f" {told.sentence} This is no rating. Limits: {told.edition}, {EDITIONS[told.edition].source}."
    return said + style.invented(result.record)


def _efficiency_alt(part: ParticlesResult, classes: SizeClasses) -> str:
    run, of = next(iter(part.runs.items()))
    told = []
    shown = _channels(of, run)
    for i in range(len(of)):
        if math.isfinite(shown.value[i]):
            told.append(f"{sizes_of(of, i)} {_cell(shown, i)}")
    words = f"Efficiency by size, {run}: {'; '.join(told[:8])}."
    if classes.averages:
        words += " " + ", ".join(
            f"{name} {_average_cell(a.quantity)} %" for name, a in classes.averages.items() if name in AVERAGED
        )
        words += "."
    return f"{words} {classes.classes[-1].sentence}" if classes.classes else words


def _cell(shown: Channels, i: int, unit: str = " %") -> str:
    if shown.limit[i]:
        return f"at least {least_shown(float(shown.low[i]))}{unit}"
    return f"{bar(float(shown.value[i]), float(shown.low[i]), float(shown.high[i]))}{unit}"


def _average_cell(q: Quantity) -> str:
    return f"at least {least_shown(float(q.limit))}" if q.bound else bar(float(q.value), float(q.low), float(q.high))


def _efficiency_table(part: ParticlesResult, classes: SizeClasses) -> Table:
    rows: list[tuple[str, ...]] = []
    for run, of in part.runs.items():
        shown = _channels(of, run)
        for i in range(len(of)):
            counted = (f"{of.counted[i, 0]:.0f}", f"{of.counted[i, 1]:.0f}")
            cell = _cell(shown, i, "") if math.isfinite(shown.value[i]) else "not told"
            rows.append((run, str(sizes_of(of, i)), *counted, cell))
    told = classes.classes[-1] if classes.classes else None
    for name, average in classes.averages.items():
        if name not in AVERAGED:
            continue
        q = average.quantity
        cell = _average_cell(q)
        rows.append((IN_USE, q.label, "", "", cell))
        for number in _levels(told):
            least = _minimum(told, number, name)
            rows.append(("limit", f"{name}, {class_name(number)}", "", "", f"{100 * least:.0f}" if least else "none"))
    return Table(("run", "sizes", "counts before", "counts behind", "efficiency [%]"), tuple(rows), (0, 1))


def _beside(result: Result, part: ParticlesResult, of: BySize) -> Picture:
    """What the second counter shows over what the first does."""
    first, second = part.pair
    shown = _channels(of, f"counter {second} over counter {first}", held_back=False)
    with style.house_style():
        figure = style.blank(4.6)
        axes = figure.subplots()
        axes.axhline(100.0, color=style.BROWN, linewidth=1.3, linestyle=style.DASHES[1], zorder=1.5, gid="alike")
        cut = over_size.draw_channels(axes, [shown], 100.0)
        axes.set_ylabel(f"counter {style.shortened(second, 12)} over {style.shortened(first, 12)} [%]")
        axes.set_xlabel(over_size.LABEL)

        handles = [
            scales.handle(color=style.SHADES[0], marker="o", linewidth=0.9, label=style.shortened(shown.words, 60)),
            scales.handle(
                color=style.BROWN, linestyle=style.DASHES[1], linewidth=1.3, label="both show the same, 100 %"
            ),
        ]
        figure.legend(handles=handles, loc="upper left", ncols=2, handlelength=3.2)
        caption = (
            f"Two counters at one place at the same times; lines across are as wide as the channel, bars hold "
            f"{100 * of.coverage:.4g} % by counting alone."
        )
        if cut:
            caption += " A bar without a cap runs out of the panel."
        style.finish(figure, _title(result), caption + style.invented(result.record))
    told = [i for i in range(len(of)) if math.isfinite(shown.value[i])]
    apart = [i for i in told if not shown.low[i] <= 100.0 <= shown.high[i]]
    words = "; ".join(f"{sizes_of(of, i)} {_cell(shown, i)}" for i in told[:8])
    alt = f"Counter {second} over counter {first} by size: {words}. "
    alt += f"{len(apart)} of {len(told)} bars do not hold 100 %." if apart else "All bars hold 100 %."
    rows = tuple(
        (str(sizes_of(of, i)), *(f"{n:.0f}" for n in of.counted[i]), _cell(shown, i, "") if i in told else "not told")
        for i in range(len(of))
    )
    heads = ("sizes", f"counts by {first}", f"counts by {second}", f"{second} over {first} [%]")
    return Picture("counters-beside", "Two counters beside each other", alt, Table(heads, rows), figure)
