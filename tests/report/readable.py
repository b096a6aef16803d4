"""Whether a person can read a figure: no text over another, none off the page, legends clear of data, an axis told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import combinations
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text

from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture


def caption(figure: Figure) -> str:
    return " ".join(figure.texts[-1].get_text().split())


def texts(figure: Figure) -> list[Text]:
    """All text that is drawn: of ticks, those within the axes' limits."""
    found = [t for t in figure.texts if t.get_text()]
    for legend in figure.legends:
        found += legend.get_texts()
    for axes in figure.axes:
        if not axes.get_visible():
            continue
        found += [*axes.texts, axes.xaxis.label, axes.yaxis.label]
        found += axes.get_legend().get_texts() if axes.get_legend() else []
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            ticks = zip(axis.get_majorticklocs(), axis.get_major_ticks(), strict=True)
            found += [tick.label1 for at, tick in ticks if low - 1e-9 <= at <= high + 1e-9]
    return [t for t in found if t.get_visible() and t.get_text().strip()]


def check_words(figure: Figure, name: str, least: int = 0) -> None:
    """No text over another, none off the page, and so many at the least."""
    figure.draw_without_rendering()
    titles = [axes.title if loc == "center" else axes._left_title for axes in figure.axes for loc in ("center", "left")]
    shown = [*texts(figure), *(t for t in titles if t.get_text() and t.axes.get_visible())]
    boxes = [(t.get_text(), Text.get_window_extent(t)) for t in shown]
    assert len(boxes) > least, name
    for words, box in boxes:
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= figure.bbox.x1 and box.y1 <= figure.bbox.y1
        assert inside, f"{name}: {words!r} leaves the page"
    for (one, a), (two, b) in combinations(boxes, 2):
        apart = a.x1 <= b.x0 + 1 or b.x1 <= a.x0 + 1 or a.y1 <= b.y0 + 1 or b.y1 <= a.y0 + 1
        assert apart, f"{name}: {one!r} over {two!r}"


def check_legends(figure: Figure, name: str) -> None:
    """None over data."""
    own = [axes.get_legend() for axes in figure.axes if axes.get_legend()]
    for legend in [*figure.legends, *own]:
        for axes in figure.axes:
            assert not axes.get_visible() or not legend.get_window_extent().overlaps(axes.get_window_extent()), name


def check_picture(picture: Picture) -> None:
    """Every figure of a person's result is held to this."""
    figure = picture.figure
    check_words(figure, picture.name)
    check_legends(figure, picture.name)
    lowest = [a for a in figure.axes if a.get_visible() and a.get_xlabel()]
    assert lowest, f"{picture.name}: no axis is told"
    assert all("[" in a.get_xlabel() or a.get_xlabel() == "day of the check" for a in lowest), picture.name
    assert len(picture.alt) > 60
    assert len(picture.table) > 0
    assert all(cell == cell.strip() for row in picture.table.rows for cell in row)


def check_bytes(made: Iterable[Picture], anew: Iterable[Picture]) -> None:
    """Made twice, a figure is the same to the last byte."""
    once, again = ({p.name: style.drawn(p.figure, "svg") for p in pictures} for pictures in (made, anew))
    assert once == again
    assert once


def by_name(pictures: Any) -> Mapping[str, Picture]:
    return {picture.name: picture for picture in pictures}


def panel(figure: Figure, words: str) -> Axes:
    [found] = [axes for axes in figure.axes if axes.get_visible() and words in axes.get_ylabel().replace("\n", " ")]
    return found


def marks(axes: Axes, gid: str) -> list[tuple[float, float]]:
    """Places of all marks of one sort, in the order of the axis."""
    return sorted(
        (float(x), float(y))
        for line in axes.lines
        if line.get_gid() == gid
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    )


def bars(axes: Axes) -> list[tuple[float, float, float]]:
    """Place, low and high end of every vertical bar with caps."""
    found = []
    for container in axes.containers:
        for collection in getattr(container, "lines", ((), (), ()))[2]:
            found += [(float(s[0, 0]), float(s[0, 1]), float(s[1, 1])) for s in collection.get_segments()]
    return sorted(found)
