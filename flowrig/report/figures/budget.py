"""An uncertainty budget as bars: which causes make up the variance of one number."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flowrig.records.record import Record
from flowrig.records.words import three_digits
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import with_unit
from flowrig.report.lines import quantity_line
from flowrig.report.table import Table
from flowrig.studies.largest import Line, largest
from flowrig.studies.result import Quantity

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROW = 0.42  # inches
LETTERS = 46
SCOPES = {  # shared how widely: colour, hatch, words
    "method": (style.DARK_BLUE, "", "the same in every use of the method"),
    "calibration": (style.ORANGE, "////", "the same until calibrated or measured anew"),
    "setup": (style.SKY, "\\\\\\\\", "the same throughout this set-up"),
    "reading": (style.GREY, "||||", "of these readings: more of them make it less"),
    "": ("white", "", "several causes together"),
}


def budget_picture(quantity: Quantity, name: str, title: str, *records: Record) -> Picture | None:
    """Shares of the variance of one number by cause, largest first.

    Parameters
    ----------
    quantity : Quantity
        A single one.
    name : str
        Of the file, without ending.
    title : str
        Heading of the picture and the figure.
    records : Record
        Whose numbers it is made from: the caption says if they are invented.

    Returns
    -------
    Picture, or None
        None where the number has no uncertainty to be shared out.

    Raises
    ------
    ValueError
        If the quantity has axes.
    """
    lines = largest(quantity)
    if not lines:
        return None
    unit = quantity.unit
    rows = [(line.words, _share(line), three_digits(line.u), _shared(line)) for line in lines]
    heads = ("cause", "share of the variance [%]", f"u [{unit}]" if unit else "u", "shared how widely")
    first = lines[0]
    alt = (
        f"Bars of the share of the variance by cause, of {quantity.label}, {quantity_line(quantity)}. Largest: "
        f"{first.words}, {_share(first)} % of the variance, u {with_unit(three_digits(first.u), unit)}."
    )
    if len(lines) > 1:
        alt += f" Next: {lines[1].words}, {_share(lines[1])} %."
    table = Table(heads, tuple(rows), (0, 3))
    return Picture(name, title, alt, table, _figure(quantity, lines, title, records))


def _figure(quantity: Quantity, lines: list[Line], title: str, records: tuple[Record, ...]) -> Figure:
    from matplotlib.patches import Patch

    with style.house_style():
        figure = style.blank(ROW * len(lines) + 1.7)
        axes = figure.subplots()
        for i, line in enumerate(lines):
            colour, hatch, _ = SCOPES[line.scope]
            edge = "white" if hatch else "0.2"
            axes.barh(i, 100.0 * line.share, height=0.62, facecolor=colour, hatch=hatch, edgecolor=edge, linewidth=0.0)
            axes.barh(i, 100.0 * line.share, height=0.62, facecolor="none", edgecolor="0.2", linewidth=0.8, gid="share")
        axes.set_yticks(
            range(len(lines)),
            [
                f"{style.shortened(line.words, LETTERS)}{f' ({line.causes})' if line.causes > 1 else ''}\n"
                f"{_share(line)} %, u {with_unit(three_digits(line.u), quantity.unit)}"
                for line in lines
            ],
            fontsize=style.SMALL,
        )
        axes.set_ylim(len(lines) - 0.4, -0.6)
        axes.tick_params(axis="y", length=0)
        axes.grid(False, axis="y")
        axes.set_xlim(0.0, 100.0 if lines[0].share > 0.5 else min(100.0, 20.0 * (1 + int(5.5 * lines[0].share))))
        style.round_ticks(axes.xaxis, 6)
        axes.set_xlabel("share of the variance [%]")
        handles = []
        for scope, (colour, hatch, words) in SCOPES.items():
            if any(line.scope == scope for line in lines):
                handles.append(Patch(facecolor=colour, hatch=hatch, edgecolor="white" if hatch else "0.2", label=words))
        figure.legend(handles=handles, loc="upper left", ncols=2)
        u = three_digits(float(quantity.u))
        caption = (
            f"What makes up the variance of {quantity.label}, {quantity_line(quantity)}, standard uncertainty "
            f"{with_unit(u, quantity.unit)}. u is what one cause alone would make it; together they add in squares."
        )
        style.finish(figure, title, " ".join(caption.split()) + style.invented(*records) * bool(records))
    return figure


def _share(line: Line) -> str:
    share = 100.0 * line.share
    return f"{share:.1f}" if share >= 0.05 else "below 0.1"


def _shared(line: Line) -> str:
    words = SCOPES[line.scope][2]
    return f"{line.causes} causes together" if line.causes > 1 else words
