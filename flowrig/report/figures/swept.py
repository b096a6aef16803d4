"""Designs beside each other: what each gives against what was varied, with error bars."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig import units
from flowrig.records.items import Array
from flowrig.report.figures import style
from flowrig.studies.result import Quantity, unused
from flowrig.studies.sweep import Swept

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_LINES = 6  # that can be told apart
MOST_PLACES = 60  # of a line
MOST_NAMES = 20  # along an axis
LEVEL_NAMES = 4  # along an axis; more of them stand upright
MOST_FIGURES = 8
MOST_BARS = 300  # in a figure, or its file grows beyond what a page should carry
PANEL = 2.55  # inches
BESIDE = 4.5  # points between the bars of two lines, where there is room

AXES = {
    "count": "number of filters",
    "speed_ratio": "speed over that of the fan's curve",
    "gap_width": "width of the gap beside the filters",
    "loaded": "loaded, from new to the final drop",
    "filter": "filter",
}
LINES = {"count": "{} filters", "speed_ratio": "speed {}", "gap_width": "gap {}", "loaded": "loaded {}", "filter": "{}"}


@dataclass
class Varied:
    """One variable of a sweep, in the order in which it is drawn.

    Attributes
    ----------
    name : str
    unit : str
    words : list of str
    numbers : array or None
        In the unit; None for names.
    order : list of int
        Places among those of the sweep.
    """

    name: str
    unit: str
    words: list[str]
    numbers: Array | None
    order: list[int]

    @property
    def label(self) -> str:
        return f"{AXES[self.name]} [{self.unit}]" if self.unit else AXES[self.name]

    def line(self, place: int, letters: int = 44) -> str:
        return LINES[self.name].format(style.shortened(self.words[place], letters))


@dataclass
class Panel:
    """One of the axes: series of (quantity, whether filled), each drawn as offset + scale * value, a row each."""

    label: str
    series: list[tuple[Quantity, bool]]
    scale: Array | float = 1.0
    offset: float = 0.0
    gains: bool = False


@dataclass(frozen=True)
class Drawn:
    """One figure of a sweep.

    Attributes
    ----------
    figure : matplotlib Figure
        Laid out.
    rows : array of bool
        The designs that belong to it.
    told : str
        What all of them have; empty where there is one figure.
    """

    figure: Figure
    rows: Array
    told: str


def swept_figures(swept: Swept) -> dict[str, Figure]:
    """The figures alone of `swept_drawn`, by the name of the file."""
    return {name: drawn.figure for name, drawn in swept_drawn(swept).items()}


def words_of(swept: Swept) -> dict[str, list[str]]:
    """What was tried as figures have it, by variable: two filters of one name are told apart."""
    return {v.name: v.words for v in _read(swept)}


def swept_drawn(swept: Swept) -> dict[str, Drawn]:
    """A sweep as pictures: one, or one for each combination of what is varied beyond two.

    Parameters
    ----------
    swept : Swept

    Returns
    -------
    dict of str to Drawn
        By the name of the file; `style.save` turns figures into files.

    Raises
    ------
    Nothing.
    """
    across, *others = _arranged(swept)
    beside, further = others[0] if others else None, others[1:]
    combinations = list(product(*(v.order for v in further)))
    figures = {}
    for number, combination in enumerate(combinations[:MOST_FIGURES], 1):
        held = {v.name: place for v, place in zip(further, combination, strict=True)}
        told = [v.line(held[v.name], 90) for v in further]
        if len(combinations) > MOST_FIGURES:
            told.append(f"figure {number} of {MOST_FIGURES}; {len(combinations) - MOST_FIGURES} more are not drawn")
        name = "sweep" if len(combinations) == 1 else f"sweep-{number}"
        with style.house_style():
            sheet = _Sheet(swept, across, beside, held, "; ".join(told))
            figures[name] = Drawn(sheet.figure, sheet.rows, "; ".join(told))
    return figures


class _Sheet:
    """One figure of a sweep."""

    def __init__(self, swept: Swept, across: Varied, beside: Varied | None, held: dict[str, int], told: str) -> None:
        self.swept, self.across, self.beside = swept, across, beside
        chosen = [swept.places[name] == place for name, place in held.items()]
        self.rows = np.logical_and.reduce([np.ones(len(swept), dtype=bool), *chosen])
        self.lines = _thinned(beside.order, MOST_LINES) if beside is not None else [-1]
        self.places = _thinned(across.order, MOST_PLACES if across.numbers is not None else MOST_NAMES)
        panels = _panels(swept)
        bars = len(self.places) * len(self.lines) * sum(len(p.series) for p in panels)
        self.every = -(-bars // MOST_BARS)
        deep = (len(panels) + 1) // 2
        self.figure = style.blank(PANEL * deep + 1.6)
        grid = self.figure.subplots(deep, 2, squeeze=False)
        flat = list(grid.flat)
        for axes, panel in zip(flat, panels, strict=False):
            self._draw(axes, panel)
        for axes in flat[len(panels) :]:
            axes.set_visible(False)
        lowest = flat[: len(panels)][-2:]
        for axes in flat[: len(panels)]:
            self._ticks(axes, axes in lowest)
        for axes in lowest:
            axes.set_xlabel(across.label)
        self.figure.align_ylabels()
        self._legend(any(len(p.series) > 1 for p in panels))
        title = str(swept.setup.record.heading.value("title"))
        style.finish(self.figure, title, self._caption(told, panels))

    def _draw(self, axes: Axes, panel: Panel) -> None:
        from matplotlib.transforms import ScaledTranslation

        highest = [0.0]
        lowest = [0.0]
        for i, line in enumerate(self.lines):
            shift = self._apart() * (i - (len(self.lines) - 1) / 2) / 72  # bars of several lines beside each other
            moved = axes.transData + ScaledTranslation(shift, 0.0, self.figure.dpi_scale_trans)
            for quantity, filled in panel.series:
                x, value, low, high = self._values(line, quantity, panel)
                if not x.size:
                    continue
                colour, dash, marker = style.SHADES[i], style.DASHES[i], style.MARKERS[i]
                if self.across.numbers is not None and len(self.places) == len(self.across.order):
                    thin = 1.4 if filled else 0.8
                    axes.plot(x, value, color=colour, linestyle=dash, linewidth=thin, transform=moved)
                shown = slice(i % self.every, None, self.every)
                axes.vlines(x[shown], low[shown], high[shown], color=colour, linewidth=1.2, transform=moved)
                full = np.full(x.shape, filled) if not panel.gains else (low > 0.0) | (high < 0.0)
                for face, those in ((colour, full), ("white", ~full)):
                    axes.plot(
                        x[shown][those[shown]], value[shown][those[shown]], linestyle="none", marker=marker,
                        color=colour, markerfacecolor=face, markersize=5.0, transform=moved,
                    )  # fmt: skip
                highest.append(float(np.max(high)))
                lowest.append(float(np.min(low)))
        axes.set_ylim(1.08 * min(lowest), 1.08 * max(highest) or 1.0)
        if min(lowest) < 0.0:
            axes.axhline(0.0, color="0.3", linewidth=0.8)
        axes.set_ylabel(style.folded(panel.label, 30))
        style.round_ticks(axes.yaxis, 6)

    def _values(self, line: int, q: Quantity, panel: Panel) -> tuple[Array, Array, Array, Array]:
        """Those of one line that have a value, along the axis."""
        places = self.swept.places
        here = self.rows if self.beside is None else self.rows & (places[self.beside.name] == line)
        index = {int(places[self.across.name][k]): k for k in np.flatnonzero(here)}
        rows = np.array([index[p] for p in self.places])
        drawn = [(panel.offset + panel.scale * np.asarray(a, dtype=float))[rows] for a in (q.value, q.low, q.high)]
        value, low, high = drawn[0], np.minimum(*drawn[1:]), np.maximum(*drawn[1:])
        x = self._x()
        good = np.isfinite(value) & np.isfinite(low) & np.isfinite(high)
        return x[good], value[good], low[good], high[good]

    def _apart(self) -> float:
        """How far lines stand beside each other, so that places are not taken for their neighbours. [points]"""
        x = self._x()
        if len(x) < 2:
            return BESIDE
        between = 200.0 * float(np.min(np.diff(x))) / (float(np.ptp(x)) or 1.0)  # an axis is some 200 points long
        return min(BESIDE, 0.4 * between / max(len(self.lines) - 1, 1))

    def _x(self) -> Array:
        if self.across.numbers is None:
            return np.arange(len(self.places), dtype=float)
        return self.across.numbers[self.places]

    def _ticks(self, axes: Axes, lowest: bool) -> None:
        x = self._x()
        if self.across.numbers is None:
            if len(x) <= LEVEL_NAMES:
                words = [style.folded(self.across.words[p], max(10, 40 // len(x)), 3) for p in self.places]
                axes.set_xticks(x, words, fontsize=style.SMALL)
            else:
                words = [style.shortened(self.across.words[p], 26) if lowest else "" for p in self.places]
                axes.set_xticks(x, words, fontsize=style.SMALL, rotation=90)
            axes.set_xlim(-0.5, len(x) - 0.5)
            axes.grid(False, axis="x")
            return
        wide = float(np.ptp(x)) or 1.0
        axes.set_xlim(float(np.min(x)) - 0.07 * wide, float(np.max(x)) + 0.07 * wide)
        style.round_ticks(axes.xaxis, 8, whole=self.across.name == "count")

    def _legend(self, two_states: bool) -> None:
        from matplotlib.lines import Line2D

        handles = []
        if self.beside is not None:
            for i, line in enumerate(self.lines):
                dash: Any = style.DASHES[i] if self.across.numbers is not None else "none"
                look: dict[str, Any] = {"color": style.SHADES[i], "marker": style.MARKERS[i], "linestyle": dash}
                handles.append(Line2D([], [], label=self.beside.line(line), **look))
        if two_states:
            for face, words in (("0.3", "clean air with the charge kept"), ("white", "clean air with the charge lost")):
                handles.append(
                    Line2D([], [], color="0.3", marker="o", linestyle="none", markerfacecolor=face, label=words)
                )
        if handles:
            longest = max(len(str(h.get_label())) for h in handles)
            self.figure.legend(
                handles=handles, loc="upper left", ncols=max(1, min(4, 110 // (longest + 10))), handlelength=3.6
            )

    def _caption(self, told: str, panels: list[Panel]) -> str:
        swept = self.swept
        said = f"Predicted designs against the {AXES[self.across.name]}, "
        said += "each at its stable crossing of the greatest flow. "
        said += f"All of them with: {told}. " if told else ""
        hold = 100 * swept.quantities["flow"].interval.coverage
        said += f"Bars hold {hold:.4g} %, each by itself; an error that designs share moves all of them alike."
        if any(p.gains for p in panels):
            said += " Gains are hollow where the bar reaches zero: nothing is shown to be gained there."
        if self.beside is not None:
            said += " Lines stand a little beside each other, so that their bars can be told apart."
        if self.every > 1:
            said += f" One design in {self.every} has its bar and mark."
        if self.beside is not None and len(self.lines) < len(self.beside.order):
            said += f" {len(self.lines)} of {len(self.beside.order)} lines are drawn."
        if len(self.places) < len(self.across.order):
            said += f" {len(self.places)} of {len(self.across.order)} places of a line are drawn."
        missing = int(np.sum(~np.isfinite(swept.quantities["flow"].estimate.value[self.rows])))
        if missing:
            said += f" {missing} of {int(np.sum(self.rows))} designs have no crossing and are left out."
        records = [swept.setup.record, swept.setup.curve.record]
        records += [law.record for entry in swept.setup.entries for law in entry.laws]
        return said + style.invented(*records)


def _panels(swept: Swept) -> list[Panel]:
    """What is drawn, as far as it is known."""
    q = swept.quantities
    found = [Panel(f"flow [{q['flow'].unit}]", [(q["flow"], True)])]
    clean = [(q[name], filled) for name, filled in _CLEAN if name in q]
    if clean:
        found.append(Panel(f"clean-air rate [{clean[0][0].unit}]", clean))
    counts = next((v.numbers for v in _read(swept) if v.name == "count"), None)
    if swept.gained is not None and counts is not None and np.all(np.diff(counts) > 0):
        of = "clean air" if "clean_air" in q else "flow"
        each = 1.0 / np.diff(counts, prepend=np.nan)[swept.places["count"]]
        label = f"{of} gained by each further filter [{swept.gained.unit}]"
        found.append(Panel(label, [(swept.gained, True)], each, gains=True))
    if "share" in q:
        found.append(Panel("flow lost against free air [%]", [(q["share"], True)], -1.0, 100.0))
    found.append(Panel(f"pressure over the bank [{q['pressure'].unit}]", [(q["pressure"], True)]))
    several = ", first sort" if len(swept.setup.entries) > 1 else ""
    found.append(Panel(f"face velocity{several} [{q['velocity'].unit}]", [(q["velocity"], True)]))
    if "power" in q:
        kind = "electrical" if swept.setup.curve.electrical else "shaft"
        found.append(Panel(f"{kind} power [{q['power'].unit}]", [(q["power"], True)]))
    if "efficiency" in q:
        found.append(Panel("efficiency of the bank [%]", [(q["efficiency"], True)]))
    return found


_CLEAN = (("clean_air", True), ("clean_air_conditioned", False))


def _arranged(swept: Swept) -> list[Varied]:
    """What is varied: first what goes along the axis, then what is told apart by lines, then the rest."""
    found = [v for v in _read(swept) if len(v.order) > 1] or list(_read(swept))[:1]
    found.sort(key=lambda v: (v.name == "count", v.numbers is not None, len(v.order)), reverse=True)
    return found


def _read(swept: Swept) -> Iterator[Varied]:
    prediction = swept.setup.record.prediction
    assert prediction is not None
    assert prediction.sweep is not None
    for name in swept.varied:
        item = prediction.sweep[name]
        if name == "filter":
            words: list[str] = []
            for record in item.value:
                words.append(unused(str(record.heading.value("title")), words))
            yield Varied(name, "", words, None, list(range(len(words))))
            continue
        kind = str(getattr(item.field, "kind", ""))
        unit = item.unit or ("%" if kind == "ratio" else "")
        numbers = np.atleast_1d(units.from_si(np.asarray(item.value, dtype=float), unit or "1", kind))
        yield Varied(name, unit, swept.varied[name], numbers, [int(i) for i in np.argsort(numbers, kind="stable")])


def _thinned(order: list[int], most: int) -> list[Any]:
    """The first, the last and some evenly between."""
    if len(order) <= most:
        return order
    return [order[round(k)] for k in np.linspace(0, len(order) - 1, most)]
