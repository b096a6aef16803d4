"""What all figures have in common: colours, fonts, captions, strips of intervals, labels that keep clear, and files.

Colours differ in lightness and stay apart for the common kinds of colour blindness (blue against orange-brown); nothing
is told by colour alone. All of them stand out from white by 3 : 1 or more (WCAG 2.1, 1.4.11, from memory).
"""

from __future__ import annotations

import io
import re
import textwrap
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig.records.items import Array
from flowrig.records.record import Record

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from flowrig.report.figures.picture import Picture

FORMS = ("svg", "png")
WIDTH = 8.0  # inches
ROW = 0.44  # inches: one row of a strip
SMALL = 8.5  # points: captions and words beside a mark
CONTROLS = bytes(set(range(32)) - set(b"\n\t"))  # no file of XML may hold them
LONGEST = 1200  # letters of a caption
LETTERS = 128  # of a caption's line over the whole width
DARK_BLUE, BROWN, BLUE, ORANGE, SKY, GREY = "#0b2545", "#6e2c00", "#1f5fa8", "#b4560f", "#4a90c4", "#949494"
SHADES = (DARK_BLUE, ORANGE, BLUE, BROWN, SKY, GREY)
DASHES = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (10, 3)), (0, (3, 1, 1, 1, 1, 1)))
MARKERS = ("o", "s", "^", "D", "v", "P")
STEPS = (1, 2, 5, 10)  # of ticks
SETTINGS: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "sans-serif"],
    "font.size": 9.5,
    "axes.labelsize": 9.5,
    "axes.titlesize": 10.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "0.3",
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "grid.color": "0.88",
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "legend.fontsize": 9.0,
    "lines.linewidth": 1.7,
    "lines.markersize": 5.5,
    "text.parse_math": False,  # titles are written by people: a $ is money
    "svg.fonttype": "none",
    "svg.hashsalt": "flowrig",
    "figure.dpi": 100.0,
    "savefig.dpi": 160.0,
}


@contextmanager
def house_style() -> Iterator[None]:
    """The settings above on top of the library's own, whatever a person has set for other work."""
    import matplotlib

    own: dict[Any, Any] = {
        k: v for k, v in matplotlib.rcParamsDefault.items() if not k.startswith(("backend", "toolbar", "interactive"))
    }
    with warnings.catch_warnings(), matplotlib.rc_context(own | SETTINGS):
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")  # the reader's own fonts may have it
        yield


def blank(height: float) -> Figure:
    """A figure without axes, drawn without a screen."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def finish(figure: Figure, title: str, caption: str) -> None:
    """Title above, caption below, everything laid out once and then left in its place."""
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    height = float(figure.get_figheight())
    caption = shortened(caption, LONGEST)
    said = figure.text(0.012, 0.06 / height, "", va="bottom", fontsize=SMALL, color="0.15", linespacing=1.25)
    for letters in range(LETTERS, 60, -4):  # letters differ in width, as they do in the title
        said.set_text(textwrap.fill(caption, letters))
        if said.get_window_extent().x1 < 0.995 * figure.bbox.x1:
            break
    below = (said.get_text().count("\n") + 1) * SMALL * 1.3 / 72 / height + 0.12 / height
    above = 0.32 / height
    for legend in figure.legends:
        legend.set_loc("upper left")
        legend.set_bbox_to_anchor((0.0, 1.0 - above))
        above += float(legend.get_window_extent().height) / figure.dpi / height + 0.05 / height
    engine = figure.get_layout_engine()
    assert isinstance(engine, ConstrainedLayoutEngine)
    engine.set(rect=(0.0, below, 0.985, 1.0 - below - above))
    heading = figure.text(0.012, 1.0 - 0.07 / height, title, va="top", fontsize=11.5, fontweight="bold")
    for letters in range(90, 10, -2):  # letters differ in width: what does not fit is seen once it is set
        heading.set_text(shortened(title, letters))
        if heading.get_window_extent().x1 < 0.99 * figure.bbox.x1:
            break
    figure.texts.remove(said)
    figure.texts.append(said)  # the caption is the last text
    engine.execute(figure)
    figure.set_layout_engine("none")
    for axes in figure.axes:  # what solves the layout differs in the last digit from one time to another
        x, y, wide, tall = (round(float(a), 7) for a in axes.get_position().bounds)
        axes.set_position((x, y, wide, tall))


def shortened(words: str, letters: int) -> str:
    """One line of printable text; what is longer ends in dots."""
    plain = "".join(c if c.isprintable() else " " for c in words)
    return textwrap.shorten(plain, letters, placeholder=" …") if len(plain) > letters else plain


def ends_kept(words: str, letters: int) -> str:
    """One line of printable text; of what is longer both ends are kept, as long names often differ in the last word."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    if len(plain) <= letters:
        return plain
    last = max(1, (letters - 3) * 2 // 5)
    head, tail = plain[: letters - 3 - last], plain[-last:]
    if " " in head.strip():
        head = head[: head.rindex(" ")] if plain[len(head)] != " " else head
    if " " in tail.strip():
        tail = tail[tail.index(" ") :] if plain[-last - 1] != " " else tail
    return f"{head.rstrip(' ,')} … {tail.lstrip(' ,')}"


def folded(words: str, letters: int, lines: int = 2) -> str:
    """Text over a few short lines; a number keeps its unit."""
    words = re.sub(r"(?<=\d) (?=[a-z%])", "\N{NO-BREAK SPACE}", shortened(words, letters * lines))
    return "\n".join(textwrap.wrap(words, letters, max_lines=lines, placeholder=" …"))


def round_ticks(axis: Any, most: int = 7, whole: bool = False) -> None:
    from matplotlib.ticker import MaxNLocator

    axis.set_major_locator(MaxNLocator(most, steps=list(STEPS), integer=whole))


def invented(*records: Record) -> str:
    """What a caption says where any of the records is demonstration data."""
    known = [bool(record.heading.value("invented", False)) for record in records]
    if all(known):
        return " All figures are invented, for demonstration."
    return " Some of the records are invented, for demonstration." if any(known) else ""


@dataclass(frozen=True)
class Row:
    """A line of a strip: one number with its interval on the axis that the strip shares with the panel above.

    Attributes
    ----------
    words, shown : str
        What it is, and its numbers as printed.
    value, low, high : float
    marker : str
    filled : bool
    """

    words: str
    shown: str
    value: float
    low: float
    high: float
    marker: str = "o"
    filled: bool = True


def strip(axes: Axes, rows: Sequence[Row]) -> None:
    """Intervals below each other, each with its words and numbers at the left, clear of all data.

    A bar without a low end begins at its value; one without a high end runs out of the panel, and has no cap there.
    """
    beyond = axes.get_xlim()[1]
    for i, row in enumerate(rows):
        low, high = (row.low if np.isfinite(row.low) else row.value), (row.high if np.isfinite(row.high) else beyond)
        if np.isfinite(row.low) or np.isfinite(row.high):
            axes.plot([low, high], [i, i], color=DARK_BLUE, linewidth=1.6, solid_capstyle="butt", gid="bar")
        axes.plot([row.low, row.high], [i, i], linestyle="none", marker="|", color=DARK_BLUE, markersize=8)
        mark(axes, row.value, i, row.marker, row.filled)
    axes.set_yticks(range(len(rows)), [f"{row.words}\n{row.shown}" for row in rows], fontsize=SMALL)
    axes.set_ylim(len(rows) - 0.45, -0.55)
    axes.tick_params(axis="y", length=0, pad=7)  # a mark at the very edge keeps clear of the words
    axes.grid(False, axis="y")
    axes.spines["left"].set_visible(False)


def mark(axes: Axes, x: float, y: float, marker: str, filled: bool, size: float = 7.5) -> None:
    """One mark above everything else, filled or hollow."""
    face = DARK_BLUE if filled else "white"
    axes.plot(
        [x], [y], marker, color=DARK_BLUE, markerfacecolor=face, markeredgewidth=1.5, markersize=size, zorder=6,
        clip_on=False, gid="mark filled" if filled else "mark hollow",
    )  # fmt: skip


def uprights(axes: Axes, x: Array, low: Array | float, high: Array, **look: Any) -> None:
    """Many bars as one line: in a file a hundredth of what a bar each takes."""
    gaps = np.full(np.shape(x), np.nan)
    ends = np.column_stack([np.broadcast_to(low, np.shape(x)), np.broadcast_to(high, np.shape(x)), gaps])
    axes.plot(np.column_stack([x, x, gaps]).ravel(), ends.ravel(), solid_capstyle="butt", **look)


REACHES = (12.0, 20.0, 32.0, 48.0, 70.0)  # points from a mark to its words
DIRECTIONS = 16
SHADE = 0.05  # of covering a curve: covering a band


def words_beside(
    axes: Axes,
    places: Sequence[tuple[float, float, str]],
    curves: Sequence[tuple[Array, Array]],
    shaded: Sequence[tuple[Array, Array]] = (),
) -> None:
    """Words beside marks, each where it covers no curve, no mark and no other words; a hair line leads to it.

    The figure has to be laid out already. Lines of ``shaded`` are better kept clear of, but may be covered.
    """
    figure = axes.figure
    laid = [_dense(axes.transData.transform(np.column_stack(c))) for c in (*curves, *shaded)]
    weights = [np.full(len(line), 1.0 if i < len(curves) else SHADE) for i, line in enumerate(laid)]
    marks = axes.transData.transform(np.array([place[:2] for place in places]).reshape(-1, 2))
    crowd, weight = np.concatenate([*laid, marks]), np.concatenate([*weights, np.full(len(marks), 40.0)])
    inside = axes.get_window_extent()
    scale = figure.dpi / 72.0
    taken: list[Any] = []
    for (x, y, words), at in zip(places, marks, strict=True):
        note = axes.annotate(
            words, (x, y), (0, 0), textcoords="offset points", fontsize=SMALL, ha="center", va="center", zorder=5,
            bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 1.0},
            arrowprops={"arrowstyle": "-", "color": "0.35", "linewidth": 0.6, "shrinkA": 1, "shrinkB": 5},
        )  # fmt: skip
        wide, tall = note.get_window_extent().size
        best, chosen = np.inf, (0.0, 0.0)
        for reach in REACHES:
            for k in range(DIRECTIONS):
                turn = 2 * np.pi * (k + 0.5) / DIRECTIONS
                dx = (reach * scale + wide / 2) * np.cos(turn)
                dy = (reach * scale + tall / 2) * np.sin(turn)
                x0, x1 = at[0] + dx - wide / 2 - 3 * scale, at[0] + dx + wide / 2 + 3 * scale
                y0, y1 = at[1] + dy - tall / 2 - 3 * scale, at[1] + dy + tall / 2 + 3 * scale
                covered = (crowd[:, 0] > x0) & (crowd[:, 0] < x1) & (crowd[:, 1] > y0) & (crowd[:, 1] < y1)
                hit = float(np.sum(weight[covered]))
                hit += 1000 * sum(x0 < b[1] and x1 > b[0] and y0 < b[3] and y1 > b[2] for b in taken)
                hit += 1000 * (x0 < inside.x0 or x1 > inside.x1 or y0 < inside.y0 or y1 > inside.y1)
                if hit + reach / 20 < best:
                    best, chosen, where = hit + reach / 20, (dx, dy), (x0, x1, y0, y1)
        taken.append(where)
        note.set_position((chosen[0] / scale, chosen[1] / scale))


def _dense(line: Array, apart: float = 3.0) -> Array:
    """Points along a line on the page, close enough that no word falls between two."""
    line = line[np.all(np.isfinite(line), axis=1)]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    places = np.linspace(0.0, along[-1], int(min(along[-1] / apart, 5000)) + 2)
    return np.column_stack([np.interp(places, along, line[:, i]) for i in (0, 1)])


def save(pictures: Iterable[Picture], folder: str | Path, form: str = "svg") -> dict[Path, bytes]:
    """Figures as contents of files, to be written by `flowrig.records.write.write_all`: all or none.

    Parameters
    ----------
    pictures : iterable of Picture
    folder : path
    form : str
        ``svg``, with text as text, or ``png``.

    Returns
    -------
    dict of Path to bytes
        The same bytes for the same figures, always.

    Raises
    ------
    ValueError
        If the form is not one of the two.
    """
    if form not in FORMS:
        raise ValueError(f"form is {form!r}; one of {', '.join(FORMS)}")
    return {Path(folder) / f"{each.name}.{form}": drawn(each.figure, form) for each in pictures}


def drawn(figure: Figure, form: str = "svg") -> bytes:
    """One figure as the contents of a file."""
    stream = io.BytesIO()
    empty = {"Date": None, "Creator": None} if form == "svg" else {"Software": None}
    with house_style():
        figure.savefig(stream, format=form, metadata=empty)
    return _shorter(stream.getvalue().translate(None, CONTROLS)) if form == "svg" else stream.getvalue()


# Coordinates, and nothing that is read as text; a hundredth of a point is far below what can be seen.
_PLACES = re.compile(rb' (?:d|points|x|y|width|height|transform)="[^"]*"')
_DIGITS = re.compile(rb"(\.\d\d)\d+(?![\de])")


def _shorter(svg: bytes) -> bytes:
    """The same drawing in a smaller file."""
    return _PLACES.sub(lambda found: _DIGITS.sub(rb"\1", found[0]), svg)
