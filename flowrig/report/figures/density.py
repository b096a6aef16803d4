"""The linear evaluation of a number beside draws of it, and both intervals below."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flowrig.records.record import Record
from flowrig.records.words import rounded
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import of_unit, percent, round_limits, with_unit
from flowrig.report.table import Table
from flowrig.studies.draws_of import DRAWS, Drawn, draws_of
from flowrig.studies.result import Quantity

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def density_picture(
    quantity: Quantity, name: str, title: str, *records: Record, draws: int = DRAWS, seed: int = 1
) -> Picture | None:
    """Histogram of draws of one number with the density of its linear evaluation.

    Parameters
    ----------
    quantity : Quantity
        A single one.
    name, title : str
        Of the file, without ending; heading.
    records : Record
        The caption says if they are invented.
    draws, seed : int

    Returns
    -------
    Picture, or None
        None where there is nothing to draw: no uncertainty, a bound, an interval by counts.

    Raises
    ------
    ValueError
        If the quantity has axes.
    """
    found = draws_of(quantity, draws=draws, seed=seed)
    if found is None:
        return None
    unit = quantity.unit
    rows = []
    for which, (low, high), u in _both(found):
        shown = rounded(u, float(quantity.value), low, high)
        rows.append((_words(found, which), *shown, rounded(u, u)[0], "yes" if which == found.told else "no"))
    heads = ("interval", *(of_unit(x, unit) for x in ("value", "from", "to", "standard deviation")), "told")
    drawn, linear = (next(r for r in rows if r[0] == _words(found, which)) for which in ("drawn", "linear"))
    alt = (
        f"Histogram of {draws} draws of {quantity.label} beside the density of the linear evaluation. "
        f"{percent(quantity.interval.coverage)} intervals: linear {with_unit(f'{linear[2]} to {linear[3]}', unit)}, "
        f"drawn {with_unit(f'{drawn[2]} to {drawn[3]}', unit)}; told is the {found.told} one."
    )
    return Picture(name, title, alt, Table(heads, tuple(rows)), _figure(quantity, found, title, records))


def _both(found: Drawn) -> list[tuple[str, tuple[float, float], float]]:
    return [("linear", found.linear_ends, found.u), ("drawn", found.drawn_ends, found.spread)]


def _words(found: Drawn, which: str) -> str:
    return {"linear": "linear interval", "drawn": "interval of the draws"}[which]


def _figure(quantity: Quantity, found: Drawn, title: str, records: tuple[Record, ...]) -> Figure:
    rows = []
    for which, (low, high), u in _both(found):
        value, *ends = rounded(u, float(quantity.value), low, high)
        told = ", told" if which == found.told else ""
        shown = with_unit(f"{value} ({ends[0]} to {ends[1]})", quantity.unit)
        mark = "o" if which == "linear" else "D"
        is_told = which == found.told
        rows.append(style.Row(_words(found, which) + told, shown, float(quantity.value), low, high, mark, is_told))
    with style.house_style():
        figure = style.blank(4.6 + style.ROW * len(rows))
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[3.2, style.ROW * len(rows) + 0.1])
        top.stairs(
            found.density, found.edges, fill=True, facecolor=style.SKY, alpha=0.45, hatch="////", edgecolor="white",
            linewidth=0.0,
        )  # fmt: skip
        top.stairs(found.density, found.edges, color=style.BLUE, linewidth=1.2, label=f"{found.draws} draws")
        law = "normal" if math.isinf(found.dof) else f"Student's t, {found.dof:.3g} degrees of freedom"
        top.plot(
            found.places, found.linear, color=style.BROWN, linestyle=(0, (6, 2)), label=f"linear evaluation: {law}"
        )
        highest = float(max(np.max(found.density), np.max(found.linear)))
        top.set_ylim(0.0, 1.08 * highest)
        style.round_ticks(top.yaxis, 5)
        per = f"1/({quantity.unit})" if "/" in quantity.unit else f"1/{quantity.unit or '1'}"
        top.set_ylabel(f"probability density [{per}]")
        seen = [*found.linear_ends, *found.drawn_ends, float(found.edges[0]), float(found.edges[-1])]
        round_limits(bottom, "x", [*seen, float(quantity.value)], 9)
        style.strip(bottom, rows)
        bottom.set_xlabel(style.folded(of_unit(quantity.label, quantity.unit), 80))
        figure.legend(loc="upper left", ncols=2, handlelength=3.2)
        style.finish(figure, title, _caption(quantity, found) + style.invented(*records) * bool(records))
    return figure


def _caption(quantity: Quantity, found: Drawn) -> str:
    said = (
        f"{found.draws} draws of every cause of error through all equations, and what the linear evaluation makes of "
        f"the same causes. Both intervals hold {percent(quantity.interval.coverage)}; the filled mark is the one told. "
        f"{100.0 * found.beyond:.2g}\N{NO-BREAK SPACE}% of the draws lie beyond the ends of the histogram."
    )
    if found.told == "drawn" and quantity.interval.draws > found.draws:
        said += f" The interval told is from {quantity.interval.draws} draws."
    if found.lost:
        said += f" {100.0 * found.lost:.2g} % of the draws have no value and are left out."
    return said
