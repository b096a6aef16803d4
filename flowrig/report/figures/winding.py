"""The rise of a winding against the highest that is allowed."""

from __future__ import annotations

import math

from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import table_of
from flowrig.report.lines import numbers
from flowrig.report.table import Table
from flowrig.studies.heat import NO_LIMIT, Heat


def winding_picture(heat: Heat) -> Picture:
    """One bar, and the limit as a line.

    Raises
    ------
    Nothing.
    """
    q = heat.rise
    value, low, high = numbers(q)
    told = [float(x) for x in (q.value, q.low, q.high)]
    with style.house_style():
        figure = style.blank(2.25)
        axes = figure.subplots()
        most = max(x for x in (*told, heat.limit or 0.0) if math.isfinite(x))
        axes.set_xlim(min(0.0, 1.1 * min(told)), 1.15 * most or 1.0)
        style.strip(axes, [style.Row("rise above the room", f"{value} [{low} to {high}]", told[0], told[1], told[2])])
        if heat.limit is not None:
            axes.axvspan(heat.limit, axes.get_xlim()[1], color="0.93", linewidth=0.0, zorder=0)
            axes.axvline(heat.limit, color="black", linewidth=1.2, linestyle=(0, (1, 1)), gid="target")
            axes.annotate(
                f"limit {heat.limit:.4g} {q.unit}", (heat.limit, 1.0), (0, 4), xycoords=("data", "axes fraction"),
                textcoords="offset points", ha="center", fontsize=style.SMALL, annotation_clip=False,
            )  # fmt: skip
        style.round_ticks(axes.xaxis, 8)
        axes.set_xlabel(f"{q.label} [{q.unit}]")
        style.finish(figure, str(heat.record.heading.value("title")), _caption(heat))
    said = f"{q.label[:1].upper()}{q.label[1:]}: {value} {q.unit} [{low} to {high}]"
    said += f"; limit {heat.limit:.4g} {q.unit}: {heat.verdict}." if heat.limit is not None else f"; {NO_LIMIT}."
    return Picture("winding", "Heat of the motor", said, _table(heat), figure)


def _caption(heat: Heat) -> str:
    said = "From resistances, the mean over the winding: its hottest place is warmer. The bar holds "
    said += f"{100 * heat.rise.interval.coverage:.4g} %. "
    said += f"The rise is {heat.verdict}. " if heat.limit is not None and heat.verdict.endswith("limit") else ""
    said += "Whether it is below the limit cannot be told. " if heat.verdict == "cannot be told" else ""
    said += "No limit was given. " if heat.limit is None else ""
    return said.strip() + style.invented(heat.record)


def _table(heat: Heat) -> Table:
    table = table_of([heat.rise])
    if heat.limit is None:
        return table
    return Table(table.heads, (*table.rows, ("limit", heat.rise.unit, f"{heat.limit:.4g}", "", "")), table.left)
