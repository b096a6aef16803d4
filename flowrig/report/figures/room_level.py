"""The level in a room after switching on, option by option, and where each of them brings it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flowrig import units
from flowrig.records.items import as_written
from flowrig.records.words import three_digits
from flowrig.report.figures import courses, style
from flowrig.report.figures.courses import Course
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table, thinned
from flowrig.studies.room import RoomResult
from flowrig.studies.room_targets import LEVEL, Target

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANEL = 3.9  # inches
OUTDOORS = "outdoor_concentration"
MINUTES = (1, 1.5, 3, 6, 10)  # steps of ticks: halves of an hour


def level_pictures(result: RoomResult) -> list[Picture]:
    """The level over time; several pictures where there are more options than can be told apart.

    Raises
    ------
    Nothing.
    """
    own = [_course(result, i) for i in range(len(result.options))]
    return [_picture(result, *each) for each in courses.sheets(own, "room-level", "Level over time")]


def _course(result: RoomResult, i: int) -> Course:
    option = result.options[i]
    assert option.curve is not None
    minutes = np.asarray(units.from_si(result.times, "min", "time"))
    value, low, high = (np.broadcast_to(x, minutes.shape) for x in (option.curve.value,
                                                                    option.curve.low, option.curve.high))  # fmt: skip
    steady = option.quantities.get("level")
    end = (value[-1], low[-1], high[-1]) if steady is None else (steady.value, steady.low, steady.high)
    a, b, c = (float(x) for x in end)
    return Course(i + 1, option.title, minutes, value, low, high, (a, b, c))


def _target(result: RoomResult) -> tuple[Target, float] | None:
    """The target of a level and its number as the axis has it."""
    found = next((target for target in result.targets if target.kind == LEVEL), None)
    curve = result.options[0].curve
    if found is None or curve is None:
        return None
    return found, float(units.from_si(float(found.number.value), curve.unit, curve.kind))


def _picture(result: RoomResult, group: list[Course], name: str, title: str) -> Picture:
    from matplotlib.ticker import MaxNLocator

    curve = result.options[0].curve
    assert curve is not None
    target = _target(result)
    wanted = [] if target is None else [target[1]]
    with style.house_style():
        figure = style.blank(PANEL + 1.5)
        axes, ends = figure.subplots(1, 2, sharey=True, width_ratios=[5.0, 0.5 + 0.22 * len(group)])
        by_factors = courses.draw(axes, ends, group, wanted)
        if target is not None:
            _line(axes, ends, target[1], f"target\n{three_digits(target[1])} {curve.unit}")
        axes.set_xlim(0.0, float(group[0].x[-1]))
        axes.xaxis.set_major_locator(MaxNLocator(9, steps=list(MINUTES)))
        axes.set_xlabel("time after switching on [min]")
        axes.set_ylabel(style.folded(f"{curve.label} [{curve.unit}]", 44))
        ends.set_xlabel(
            "once steady,\nby option" if "level" in result.options[0].quantities else "at the end,\nby option"
        )
        figure.legend(handles=courses.handles(group), loc="upper left", ncols=courses.columns(group), handlelength=3.6)
        style.finish(figure, str(result.record.heading.value("title")), _caption(result, by_factors))
    return Picture(name, title, _alt(result, group), _table(result, group), figure)


def _line(axes: Axes, ends: Axes, height: float, words: str) -> None:
    """Over both panels, its words at the right of them."""
    for one in (axes, ends):
        one.axhline(height, color="black", linewidth=1.1, linestyle=(0, (1, 1)), zorder=2.5, gid="target")
    ends.annotate(
        words, (1.0, height), (4, 0), xycoords=("axes fraction", "data"), textcoords="offset points", va="center",
        fontsize=style.SMALL, annotation_clip=False,
    )  # fmt: skip


def _caption(result: RoomResult, by_factors: bool) -> str:
    said = "Level by the number of the option in the report. Bands and bars hold "
    said += f"{100 * result.coverage:.4g} %, each by itself; what options share (what gets in, the room) moves them "
    said += "together, so that bands that overlap may still be apart. "
    if result.facts.known:
        outdoors = result.facts.room[OUTDOORS]
        said += f"Outdoors: {outdoors.text or as_written(outdoors)}, taken as steady. "
    else:
        said += (
            "The concentration outdoors is not known: what is shown is the share that is left while nothing enters. "
        )
    target = _target(result)
    if target is not None:
        said += f"Target: {target[0].asked}. {target[0].silent} "
    said += "Equal steps upwards are equal factors. " if by_factors else ""
    return said.strip() + style.invented(result.record)


def _alt(result: RoomResult, group: list[Course]) -> str:
    curve = result.options[0].curve
    assert curve is not None
    steady = "level" in result.options[0].quantities
    where = "once steady" if steady else f"after {three_digits(float(group[0].x[-1]))} min"
    told = [f"{one.number}, {one.words}: {bar(*one.end)} {curve.unit}" for one in group]
    first = group[0]
    said = f"Level over {three_digits(float(first.x[-1]))} min after switching on, from "
    said += f"{bar(*(float(x[0]) for x in (first.value, first.low, first.high)))} {curve.unit}; {where}, by option: "
    said += "; ".join(told) + "."
    target = _target(result)
    if target is not None:
        said += f" Target: {three_digits(target[1])} {curve.unit}."
    return said


def _table(result: RoomResult, group: list[Course]) -> Table:
    curve = result.options[0].curve
    assert curve is not None
    heads = ("minutes", *(f"option {one.number} [{curve.unit}]" for one in group))
    rows = [
        (f"{float(x):.4g}", *(bar(*(float(a[k]) for a in (one.value, one.low, one.high))) for one in group))
        for k, x in enumerate(group[0].x)
    ]
    kept, said = thinned(rows)
    if "level" in result.options[0].quantities:
        kept = (*kept, ("once steady", *(bar(*one.end) for one in group)))
    named = "; ".join(f"{one.number}: {one.words}" for one in group)
    return Table(heads, kept, (0,), f"{named}. {said}".strip())
