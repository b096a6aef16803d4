"""A table of tests: the flow of every row with its bar, flagged rows marked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import percent, round_limits
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table, thinned
from flowrig.studies.behind import rows_raised
from flowrig.studies.result import FlowResult, Result, codes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_BARS = 160
MOST_FLAGGED = 200


def rows_picture(result: Result, flow: FlowResult, name: str, title: str) -> Picture:
    """The main quantity of one measurement of a batch by row.

    Parameters
    ----------
    result : Result
        Of a table of tests.
    flow : FlowResult
    name, title : str
    """
    q = flow.main
    n = q.estimate.value.size
    value, low, high = (np.broadcast_to(np.asarray(a, dtype=float), (n,)) for a in (q.value, q.low, q.high))
    raised = rows_raised(flow.findings, n)
    valued = np.isfinite(value)
    alt = f"{n} rows of {flow.name}, {q.label}: "
    if np.any(valued):
        least, most = (int(np.nanargmin(value)), int(np.nanargmax(value)))
        alt += (
            f"least {bar(value[least], low[least], high[least])} {q.unit} in row {least + 1}, greatest "
            f"{bar(value[most], low[most], high[most])} {q.unit} in row {most + 1}. "
        )
    alt += f"{int(np.sum(raised))} rows carry a warning or an alarm; {int(np.sum(~valued))} have no value."
    own = [f for f in flow.findings if f.rows is not None and f.severity != "note"]
    rows: list[tuple[str, ...]] = [
        (str(i + 1), bar(value[i], low[i], high[i]), "; ".join(codes(own, i))) for i in range(n)
    ]
    kept, said = thinned(rows)
    table = Table(("row", f"{q.label} [{q.unit}]", "flags"), kept, (2,), said)
    return Picture(name, title, alt, table, _figure(result, flow, (value, low, high), raised, title))


def _figure(
    result: Result, flow: FlowResult, numbers: tuple[np.ndarray, np.ndarray, np.ndarray], raised: np.ndarray, title: str
) -> Figure:
    value, low, high = numbers
    n = len(value)
    x = np.arange(1, n + 1)
    valued = np.isfinite(value)
    every = -(-n // MOST_BARS)
    shown = valued & (np.arange(n) % every == 0)
    flagged = np.flatnonzero(raised & valued)
    flagged = flagged[:: max(1, -(-len(flagged) // MOST_FLAGGED))]
    plain = shown & ~raised
    marked = np.zeros(n, dtype=bool)
    marked[flagged] = True
    with style.house_style():
        figure = style.blank(4.9)
        axes = figure.subplots()
        if every > 1:
            axes.plot(x, value, color=style.SKY, linewidth=0.6, label="every row", zorder=1)
        size = float(np.clip(300.0 / max(int(np.sum(plain)), 1), 2.5, 6.0))
        for those, colour, marker, face, words in (
            (plain, style.DARK_BLUE, "o", style.DARK_BLUE, "row" if every == 1 else f"one row in {every}"),
            (marked, style.ORANGE, "^", "white", "with a warning or an alarm"),
        ):
            if np.any(those):
                arms = np.maximum([value[those] - low[those], high[those] - value[those]], 0.0)
                axes.errorbar(
                    x[those], value[those], yerr=np.where(np.isfinite(arms), arms, 0.0), linestyle="none", color=colour,
                    marker=marker, markerfacecolor=face, markersize=size + (2.0 if marker == "^" else 0.0),
                    elinewidth=1.0, capsize=0.0, label=f"{words}, with its bar", zorder=3,
                )  # fmt: skip
        axes.set_xlim(0.5 - 0.01 * n, n + 0.5 + 0.01 * n)
        style.round_ticks(axes.xaxis, 10, whole=True)
        axes.set_xlabel("row of the table")
        axes.set_ylabel(style.folded(f"{flow.main.label} [{flow.main.unit}]", 40))
        drawn = plain | marked | valued
        round_limits(axes, "y", [0.0, *value[drawn], *low[plain | marked], *high[plain | marked]], 7)
        if axes.get_ylim()[0] < 0.0:
            axes.axhline(0.0, color="0.3", linewidth=0.8)
        figure.legend(loc="upper left", ncols=3)
        caption = (
            f"{n} rows of {flow.name}, {flow.method.title}. Bars hold {percent(result.coverage)}, each by itself; an "
            "error that rows share moves all of them alike."
        )
        if len(flagged) < np.count_nonzero(raised & valued):
            caption += f" {len(flagged)} of {np.count_nonzero(raised & valued)} flagged rows are marked."
        if not np.all(valued):
            caption += f" {np.count_nonzero(~valued)} rows have no value."
        style.finish(figure, title, caption + style.invented(result.record))
    return figure
