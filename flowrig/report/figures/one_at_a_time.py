"""What the range of each number does to the difference between the two cheapest options, the largest first."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flowrig import units
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.lines import numbers, percent, rounded, spread
from flowrig.report.own_text import at_ends, exact, number_of
from flowrig.report.table import Table, thinned
from flowrig.studies.drawn import Drawn
from flowrig.studies.own import BY, PRESENT, Owned
from flowrig.studies.pairs import Odds, Pair
from flowrig.studies.tornado import Bar

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW = 0.36  # inches
MOST = 12  # bars in the picture; the table has them all
NEAR = 2.5  # times the width of what is drawn: a zero no further away is drawn


def ranges_pictures(owned: Owned) -> list[Picture]:
    """One picture of the pair that the report tells; none where nothing moves their difference.

    Raises
    ------
    Nothing.
    """
    if len(owned.options) < 2:
        return []
    best, next_ = owned.ranked[:2]
    pair = owned.pair(best.name, next_.name)
    by_present = owned.leads == PRESENT
    bars = pair.bars if by_present else pair.bars_by_air
    if not bars:
        return []
    q, odds = (pair.difference, pair.cheaper) if by_present else (pair.by_air, pair.cheaper_by_air)
    return [_picture(owned, pair, q, odds, bars)]


def short_of(q: Drawn) -> str:
    """A number with its bar; one that is exact without."""
    if exact(q):
        return number_of(float(q.value))
    value, low, high = numbers(q)
    return f"{value} [{low} to {high}]"


def _shown(x: float, q: Drawn) -> float:
    return float(units.from_si(x, q.unit, q.kind))


def _picture(owned: Owned, pair: Pair, q: Drawn, odds: Odds, bars: list[Bar]) -> Picture:
    drawn = bars[:MOST]
    with style.house_style():
        figure = style.blank(ROW * (len(drawn) + 1) + 2.3)
        axes = figure.subplots()
        _limits(axes, q, drawn)
        _whole(axes, q)
        for i, bar in enumerate(drawn, 1):
            _bar(axes, bar, q, i)
        axes.axvline(_shown(bars[0].middle, q), color="0.25", linewidth=1.0, linestyle=(0, (4, 2)), zorder=1.5,
                     gid="middle")  # fmt: skip
        names = ["all ranges together", *(style.folded(style.ends_kept(bar.input.name, 46), 30) for bar in drawn)]
        axes.set_yticks(range(len(names)), names, fontsize=style.SMALL)
        axes.set_ylim(len(drawn) + 0.6, -0.65)
        axes.tick_params(axis="y", length=0)
        axes.grid(False, axis="y")
        axes.spines["left"].set_visible(False)
        style.round_ticks(axes.xaxis, 7)
        first, second = _names(pair)
        axes.set_xlabel(style.folded(f"{BY[q.name]}, {first} less {second} [{q.unit}]", 84))
        _sides(axes, pair)
        style.finish(figure, str(owned.record.heading.value("title")), _caption(owned, pair, q, odds, bars))
    title = f"What each range does to the {BY[q.name]}"
    return Picture("ranges", title, _alt(owned, pair, q, odds, bars), _table(q, bars), figure)


def _limits(axes: Axes, q: Drawn, bars: list[Bar]) -> None:
    """All of the bars and the interval, with room for words beside them; zero as well where it is near."""
    told = [float(x) for x in (q.value, q.low, q.high)]
    told += [_shown(x, q) for bar in bars for x in (bar.middle, bar.at_low, bar.at_high)]
    told = [x for x in told if math.isfinite(x)]
    low, high = min(told), max(told)
    wide = (high - low) or abs(high) or 1.0
    if low > 0.0 and low < NEAR * wide:
        low = 0.0
    elif high < 0.0 and -high < NEAR * wide:
        high = 0.0
    wide = (high - low) or wide
    axes.set_xlim(low - 0.17 * wide, high + 0.17 * wide)


def _whole(axes: Axes, q: Drawn) -> None:
    value, low, high = (float(x) for x in (q.value, q.low, q.high))
    axes.plot([low, high], [0, 0], color=style.DARK_BLUE, linewidth=1.6, solid_capstyle="butt", gid="bar")
    axes.plot([low, high], [0, 0], linestyle="none", marker="|", color=style.DARK_BLUE, markersize=8)
    style.mark(axes, value, 0, "o", True)
    _beside(axes, 0, short_of(q))


def _bar(axes: Axes, bar: Bar, q: Drawn, at: int) -> None:
    """From the lowest to the highest of middle and both ends; what the number is at each end stands there."""
    middle, *ends = (_shown(x, q) for x in (bar.middle, bar.at_low, bar.at_high))
    known = [x for x in (middle, *ends) if math.isfinite(x)]
    axes.barh(at, max(known) - min(known), left=min(known), height=0.42, facecolor=(0.12, 0.37, 0.66, 0.28),
              edgecolor=style.BLUE, linewidth=0.9, zorder=2, gid="range")  # fmt: skip
    rising = ends[1] >= ends[0] if all(map(math.isfinite, ends)) else math.isfinite(ends[1])
    for x, filled, words in zip(ends, (False, True), _range(bar), strict=True):
        if not math.isfinite(x):
            continue
        style.mark(axes, x, at, "D" if filled else "o", filled, 5.0)
        right = rising if filled else not rising
        axes.annotate(
            words, (x, at), (6 if right else -6, 0), textcoords="offset points", va="center",
            ha="left" if right else "right", fontsize=style.SMALL - 0.5, annotation_clip=False, zorder=5,
            bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.6},
        )  # fmt: skip
    _beside(axes, at, " to ".join(at_ends(bar, q)))


def _beside(axes: Axes, at: int, words: str) -> None:
    axes.annotate(
        words, (1.0, at), (6, 0), xycoords=("axes fraction", "data"), textcoords="offset points", va="center",
        fontsize=style.SMALL, annotation_clip=False,
    )  # fmt: skip


def _sides(axes: Axes, pair: Pair) -> None:
    """Who is cheaper on which side of zero, in words above the axes."""
    low, high = axes.get_xlim()
    first, second = _names(pair)
    words = [(0.0, "left", 5, f"all of it {'below' if high <= 0.0 else 'above'} 0: "
              f"{first if high <= 0.0 else second} is the cheaper")]  # fmt: skip
    if low < 0.0 < high:
        axes.axvline(0.0, color="black", linewidth=1.2, zorder=1.6, gid="zero")
        words = [
            (0.0, "left", 19, f"left of 0: {first} is the cheaper"),
            (1.0, "right", 5, f"right of 0: {second} is the cheaper"),
        ]
    for x, side, above, said in words:
        axes.annotate(
            said, (x, 1.0), (0, above), xycoords="axes fraction", textcoords="offset points", ha=side, va="bottom",
            fontsize=style.SMALL, annotation_clip=False,
        )  # fmt: skip


def _names(pair: Pair) -> tuple[str, str]:
    return style.ends_kept(pair.first, 48), style.ends_kept(pair.second, 48)


def _range(bar: Bar) -> tuple[str, str]:
    """Both ends of what the number was told as."""
    unit = bar.input.unit if bar.input.unit != "1" else ""
    low, high = (
        f"{number_of(float(f'{float(units.from_si(x, bar.input.unit, bar.input.kind)):.3g}'))} {unit}".strip()
        for x in (bar.low, bar.high)
    )
    return low, high


def _odds(pair: Pair, odds: Odds) -> str:
    if not odds.draws:
        return "Which is the cheaper is not known."
    share = percent(odds.share) if 0.0 < odds.share < 0.995 else f"{100 * odds.share:.4g} %"
    of = {0.0: " (none of the draws)", 1.0: " (all of the draws)"}.get(odds.share, "")
    return f"Probability that {_names(pair)[0]} is the cheaper: {share}{of}."


def _caption(owned: Owned, pair: Pair, q: Drawn, odds: Odds, bars: list[Bar]) -> str:
    first, second = _names(pair)
    said = f"The {BY[q.name]} of {first} less that of {second}, with one number at a time at either end of its range "
    said += "and all others at their middle (dashed line). Hollow circle: low end, diamond: high end; at the right "
    said += "the difference at both. A bar starts at the middle where both ends push to one side. "
    said += f"All together: {100 * owned.coverage:.4g} %, drawn. {_odds(pair, odds)} "
    said += f"{len(bars) - MOST} more move it less. " if len(bars) > MOST else ""
    lost = [bar.input.name for bar in bars if not math.isfinite(bar.swing)]
    said += f"There is no difference at an end of {', '.join(lost)}. " if lost else ""
    said += f"{pair.lives} " if pair.lives else ""
    return said.strip() + style.invented(owned.record)


def _alt(owned: Owned, pair: Pair, q: Drawn, odds: Odds, bars: list[Bar]) -> str:
    said = f"{BY[q.name].capitalize()} of {pair.first} less {pair.second}: {short_of(q)} {q.unit}, "
    said += f"{100 * owned.coverage:.4g} %. {_odds(pair, odds)} The widest ranges: "
    each = [
        f"{bar.input.name}, {low} to {high}, makes it {' to '.join(at_ends(bar, q))}"
        for bar, (low, high) in ((bar, _range(bar)) for bar in bars[:3])
    ]
    return f"{said}{'; '.join(each)}."


def _table(q: Drawn, bars: list[Bar]) -> Table:
    rows = [(bar.input.name, *_range(bar), *at_ends(bar, q)) for bar in bars]
    kept, said = thinned(rows)
    at_middle = _shown(bars[0].middle, q)
    shown = number_of(at_middle) if exact(q) else rounded(spread(q), at_middle)[0]
    middle = f"{shown} {q.unit} with every number at its middle."
    heads = ("number", "from", "to", f"difference at from [{q.unit}]", f"difference at to [{q.unit}]")
    return Table(heads, kept, (0,), f"{middle} {said}".strip())
