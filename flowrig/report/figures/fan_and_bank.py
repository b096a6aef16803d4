"""The fan's curve and the bank's over one axis of flow, with every crossing and what is known of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig import units
from flowrig.records.items import Array
from flowrig.report.figures import style
from flowrig.report.lines import numbers
from flowrig.studies.operating_point import Crossing
from flowrig.studies.picture import DRAWS, Band, Curves, curves
from flowrig.studies.predict import Predicted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def fan_and_bank(predicted: Predicted, *, draws: int = DRAWS, seed: int = 1, found: Curves | None = None) -> Figure:
    """Fan and bank of a prediction.

    Parameters
    ----------
    predicted : Predicted
        Its flow's unit is that of the axis.
    draws : int
        For the bands, at each place.
    seed : int
    found : Curves, optional
        Both curves, where they are at hand.

    Returns
    -------
    matplotlib Figure
        Laid out; `style.save` turns it into a file.

    Raises
    ------
    Nothing.
    """
    found = found or curves(predicted.setup, coverage=predicted.coverage, draws=draws, seed=seed)
    rows = _rows(predicted)
    with style.house_style():
        low = style.ROW * len(rows)
        figure = style.blank(4.6 + low + 1.1)
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[4.6, low])
        drawn = _Panel(top, predicted)
        drawn.draw(found)
        style.strip(bottom, rows)
        unit = predicted.flow.unit
        bottom.set_xlabel(f"flow through the filters [{unit}]")
        top.set_ylabel(f"pressure over the bank [{drawn.pressure_unit}]")
        style.round_ticks(bottom.xaxis, 9)
        style.round_ticks(top.yaxis, 8)
        ends = [float(units.from_si(x[-1], unit, "flow")) for x in (found.fan_flow, found.point_flow.high)]
        top.set_xlim(0.0, 1.02 * float(np.nanmax([*ends, *(row.high for row in rows)])))
        figure.legend(loc="upper left", ncols=2, handlelength=3.2, columnspacing=2.5)
        style.finish(figure, str(predicted.record.heading.value("title")), _caption(predicted, found))
        places = [(*drawn.at(c), _kind(c)) for c in predicted.crossings]
        style.words_beside(top, places, drawn.lines, drawn.shaded)
    return figure


class _Panel:
    """The upper axes, in the units that are shown."""

    def __init__(self, axes: Axes, predicted: Predicted) -> None:
        self.axes, self.predicted = axes, predicted
        self.flow_unit, self.pressure_unit = predicted.flow.unit, predicted["pressure"].unit
        self.lines: list[tuple[Array, Array]] = []
        self.shaded: list[tuple[Array, Array]] = []

    def flow(self, x: Any) -> Any:
        return units.from_si(x, self.flow_unit, "flow")

    def pressure(self, x: Any) -> Any:
        return units.from_si(x, self.pressure_unit, "pressure difference")

    def at(self, crossing: Crossing) -> tuple[float, float]:
        return float(crossing.quantities["flow"].value), float(crossing.quantities["pressure"].value)

    def draw(self, found: Curves) -> None:
        setup, axes = self.predicted.setup, self.axes
        self._band(
            found.fan_flow, found.fan, style.DARK_BLUE, "-", "", style.folded(f"fan: {_fan(self.predicted)}", 52)
        )
        bank = style.folded(f"bank: {_bank(self.predicted)}", 52)
        self._band(found.flow, found.bank, style.ORANGE, (0, (6, 2)), "////", bank)
        if np.any(setup.inputs["loss"].value):
            words = "of it in grilles, ducts and shrouds"
            self._band(found.flow, found.lost, "0.35", (0, (1.5, 1.5)), r"\\\\", words)
        passing = found.point_flow.value >= 0.0  # with much flowing back the first points pass nothing
        x, y = self.flow(found.point_flow.value)[passing], self.pressure(found.point_pressure.value)[passing]
        across = _arms(found.point_flow, self.flow)[:, passing]
        up = _arms(found.point_pressure, self.pressure)[:, passing]
        figures = str(setup.curve.section.value("figures"))
        bars = axes.errorbar(
            x, y, yerr=up, xerr=across, fmt="s", color=style.DARK_BLUE, markersize=4.5, markerfacecolor="white",
            elinewidth=0.9, linewidth=0.9, capsize=2.0, label=f"{figures} points of the fan", zorder=4,
        )  # fmt: skip
        bars.lines[0].set_clip_on(False)  # a mark on an axis stays whole
        self.lines += [
            (np.array([a, b]), np.array([c, c])) for a, b, c in zip(x - across[0], x + across[1], y, strict=True)
        ]
        self.lines += [(np.array([c, c]), np.array([a, b])) for a, b, c in zip(y - up[0], y + up[1], x, strict=True)]
        for crossing in self.predicted.crossings:
            style.mark(axes, *self.at(crossing), "o", crossing.stable, 8.5)
        main = self.at(self.predicted.main)
        axes.plot([main[0]] * 2, [0.0, main[1]], color="0.35", linewidth=0.9, linestyle=(0, (2, 2)))
        self.lines.append((np.array([main[0]] * 2), np.array([0.0, main[1]])))
        most = max(np.max(self.pressure(found.fan.high)), np.max(y + up[1]))
        axes.set_ylim(min(0.0, 1.1 * float(np.min(y))), 1.05 * float(most))

    def _band(self, flow: Array, band: Band, colour: str, dash: Any, hatch: str, words: str) -> None:
        x, y = self.flow(flow), self.pressure(band.value)
        low, high = self.pressure(band.low), self.pressure(band.high)
        self.axes.fill_between(
            x, low, high, facecolor=(*_rgb(colour), 0.13), hatch=hatch, edgecolor=(*_rgb(colour), 0.35), linewidth=0.0
        )
        self.axes.plot(x, y, color=colour, linestyle=dash, label=words, zorder=3)
        self.lines.append((x, y))
        self.shaded += [(x, low + (high - low) * part) for part in np.linspace(0.0, 1.0, 9)]


def _rgb(colour: str) -> tuple[float, float, float]:
    from matplotlib.colors import to_rgb

    return to_rgb(colour)


def _arms(band: Band, shown: Any) -> Array:
    """Both arms of error bars; never below nothing by rounding."""
    value = shown(band.value)
    return np.maximum([value - shown(band.low), shown(band.high) - value], 0.0)


def _kind(crossing: Crossing) -> str:
    return "stable" if crossing.stable else "unstable"


def _rows(predicted: Predicted) -> list[style.Row]:
    """Every crossing by rising flow, then free air."""
    rows = []
    for crossing in sorted(predicted.crossings, key=lambda c: c.place):
        q = crossing.quantities["flow"]
        told = ", told first" if crossing is predicted.main and len(predicted.crossings) > 1 else ""
        rows.append(_row(f"{_kind(crossing)} crossing{told}", q, "o", crossing.stable))
    if "free_air" in predicted.main.quantities and np.isfinite(predicted["free_air"].high):
        rows.append(_row("free air", predicted["free_air"], "D", True))
    return rows


def _row(words: str, q: Any, marker: str, filled: bool) -> style.Row:
    value, low, high = numbers(q)
    return style.Row(words, f"{value} ({low} to {high})", float(q.value), float(q.low), float(q.high), marker, filled)


def _fan(predicted: Predicted) -> str:
    setup = predicted.setup
    fans = float(setup.inputs["abreast"].value * setup.inputs["in_line"].value)
    arranged = predicted.record.prediction.task.value("arrangement") if predicted.record.prediction else ""
    several = f"{fans:.0f} × " if fans > 1 else ""
    speed = float(setup.inputs["speed_ratio"].value)
    slowed = f", at {100 * speed:.4g} % of its speed" if abs(speed - 1.0) > 1e-9 else ""
    return f"{several}{setup.curve.title}{slowed}{f', {arranged}' if fans > 1 else ''}"


def _bank(predicted: Predicted) -> str:
    return " + ".join(f"{float(np.ravel(e.counts)[0]):.0f} × {e.law.title}" for e in predicted.setup.entries)


def _caption(predicted: Predicted, found: Curves) -> str:
    setup = predicted.setup
    records = [predicted.record, setup.curve.record, *(e.law.record for e in setup.entries)]
    said = (
        "Pressure of the fan and of the bank against the flow through the filters, in air of "
        f"{float(setup.inputs['density'].value):.3g} kg/m3. Bands and bars hold {100 * found.coverage:.4g} %, each by "
        "itself; an error that is shared along a curve moves all of it one way."
    )
    if np.any(setup.inputs["backflow"].value):
        said += " What flows back at the fan's corners is taken off."
        if np.any(found.point_flow.value < 0.0):
            said += " Points of the fan that pass nothing through the filters are left out."
    if any(not c.stable for c in predicted.crossings):
        said += " At an unstable crossing (hollow) a fan does not stay."
    return said + style.invented(*records)
