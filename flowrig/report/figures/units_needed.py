"""How many units: what each number of them comes to, against the target, with the probability that it is met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flowrig import units
from flowrig.records.words import ends_rounded
from flowrig.report.figures import style
from flowrig.report.figures.courses import FAR, factors
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.room_text import shown_rows
from flowrig.report.table import Table, thinned
from flowrig.studies.room import RoomResult
from flowrig.studies.room_targets import AIR_CHANGES, BOTH, LEVEL, PER_PERSON, Case, Target
from flowrig.studies.room_units import UnitsFor
from flowrig.studies.room_verdict import FASTEST, achievable, answer, percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW = 0.27  # inches: a number of units
MOST_ROWS = 30  # in one picture
FILES = {AIR_CHANGES: "air-changes", PER_PERSON: "per-person", BOTH: "larger-of-two", LEVEL: "level"}
ABOVE = {AIR_CHANGES: "or more", PER_PERSON: "or more", BOTH: "or more", LEVEL: "or less"}


@dataclass(frozen=True)
class Goal:
    """Where the target stands on the axis; with an interval where it is uncertain itself."""

    value: float
    low: float
    high: float
    words: str


def units_pictures(result: RoomResult) -> list[Picture]:
    """One for each target in each state of the ducts; several where there are many cleaners.

    Raises
    ------
    Nothing.
    """
    found = []
    for target in result.targets:
        for i, case in enumerate(target.cases):
            grouped = _groups(case.units)
            for k, sorts in enumerate(grouped, 1):
                name = f"units-{FILES[target.kind]}{'-duct-filter' if i else ''}{f'-{k}' if len(grouped) > 1 else ''}"
                found.append(_picture(result, target, case, sorts, name))
    return found


def _groups(sorts: Sequence[UnitsFor]) -> list[list[UnitsFor]]:
    """As many as a page has room for."""
    groups: list[list[UnitsFor]] = []
    room = 0
    for one in sorts:
        rows = len(shown_rows(one)) + 2
        if rows > room:
            groups.append([])
            room = MOST_ROWS
        groups[-1].append(one)
        room -= rows
    return groups


def _goal(target: Target, case: Case, sort: UnitsFor) -> Goal:
    q = sort.reached
    if target.kind == BOTH:
        need = case.needed.to(q.unit)
        ends = (float(need.value), float(need.low), float(need.high))
    else:
        ends = (float(units.from_si(float(target.number.value), q.unit, q.kind)),) * 3
    return Goal(*ends, f"target: {ends[0]:.4g} {q.unit} {ABOVE[target.kind]}")


def _picture(result: RoomResult, target: Target, case: Case, sorts: list[UnitsFor], name: str) -> Picture:
    goal = _goal(target, case, sorts[0])
    rows = [shown_rows(one) for one in sorts]
    state = f", {case.state.name}" if len(target.cases) > 1 else ""
    with style.house_style():
        heights = [ROW * len(own) + 0.1 for own in rows]
        figure = style.blank(sum(heights) + 0.62 * len(sorts) + 1.7)
        panels = figure.subplots(len(sorts), 1, sharex=True, squeeze=False, height_ratios=heights)[:, 0]
        by_factors = _axis(panels[-1], target, sorts, rows, goal)
        for axes, one, own in zip(panels, sorts, rows, strict=True):
            _panel(axes, case, one, own, goal, lower=target.kind == LEVEL)
        across = panels[0].transAxes.inverted().transform(panels[0].transData.transform((goal.value, 0.0)))[0]
        side = "left" if across < 0.25 else "right" if across > 0.75 else "center"  # words stay over the panel
        panels[0].annotate(
            goal.words, (goal.value, 1.0), (0, 4), xycoords=("data", "axes fraction"), textcoords="offset points",
            ha=side, fontsize=style.SMALL, annotation_clip=False,
        )  # fmt: skip
        q = sorts[0].reached
        panels[-1].set_xlabel(f"{q.label} [{q.unit}]")
        style.finish(
            figure, str(result.record.heading.value("title")), _caption(result, target, case, sorts, by_factors)
        )
    title = f"How many units. {target.title}{state}"
    return Picture(name, title, _alt(target, case, sorts, goal, state), _table(sorts), figure)


def _ends(one: UnitsFor, row: int) -> tuple[float, float, float]:
    a, b, c = (float(np.broadcast_to(x, one.numbers.shape)[row]) for x in (one.reached.value, one.reached.low,
                                                                           one.reached.high))  # fmt: skip
    return a, b, c


def _axis(axes: Axes, target: Target, sorts: list[UnitsFor], rows: list[list[int]], goal: Goal) -> bool:
    """Levels that lie far apart by factors, everything else from zero."""
    ends = [x for one, own in zip(sorts, rows, strict=True) for row in own for x in _ends(one, row)]
    ends = [x for x in (*ends, goal.value, goal.low, goal.high) if np.isfinite(x)]
    lowest, highest = min(ends), max(ends)
    if target.kind == LEVEL and lowest > 0.0 and FAR * lowest < highest:
        factors(axes.xaxis, highest / lowest)
        axes.set_xlim(lowest / 1.15, highest * 1.15)
        return True
    axes.set_xlim(min(0.0, 1.06 * lowest), 1.06 * highest or 1.0)
    style.round_ticks(axes.xaxis, 8)
    return False


def _panel(axes: Axes, case: Case, one: UnitsFor, rows: list[int], goal: Goal, *, lower: bool) -> None:
    """A line a number of units; where the target is not met the ground is grey."""
    low, high = axes.get_xlim()
    missed = (goal.value, high) if lower else (low, goal.value)
    axes.axvspan(*missed, color="0.945", linewidth=0.0, zorder=0)
    if goal.high > goal.low:
        axes.axvspan(goal.low, goal.high, facecolor=(0.3, 0.3, 0.3, 0.12), edgecolor="0.6", hatch="////", linewidth=0.0,
                     zorder=0.5)  # fmt: skip
    axes.axvline(goal.value, color="black", linewidth=1.1, linestyle=(0, (1, 1)), zorder=1.5, gid="target")
    sure, mean = _enough(case, one)
    for i, row in enumerate(rows):
        value, *ends = _ends(one, row)
        axes.plot(ends, [i, i], color=style.DARK_BLUE, linewidth=1.6, solid_capstyle="butt", gid="bar")
        axes.plot(ends, [i, i], linestyle="none", marker="|", color=style.DARK_BLUE, markersize=7)
        number = int(one.numbers[row])
        marker, filled = ("D", True) if number == sure else ("s", False) if number == mean else ("o", True)
        style.mark(axes, value, i, marker, filled, 6.5 if number in (sure, mean) else 5.0)
        told = [percent(float(one.probability[row]))]
        told += ["enough on the mean"] if number == mean else []
        told += [f"enough with {100 * one.confidence:g} %"] if number == sure else []
        said = f"{told[0]}   {' and '.join(told[1:])}".replace(" and enough", " and").rstrip()
        axes.annotate(
            said, (1.0, i), (6, 0), xycoords=("axes fraction", "data"), textcoords="offset points", va="center",
            fontsize=style.SMALL, annotation_clip=False,
        )  # fmt: skip
    axes.annotate(
        "probability to meet it", (1.0, 1.0), (6, 4), xycoords="axes fraction", textcoords="offset points",
        fontsize=style.SMALL, color="0.25", annotation_clip=False,
    )  # fmt: skip
    axes.set_yticks(range(len(rows)), [f"{int(one.numbers[row])}" for row in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0, pad=8)
    axes.grid(False, axis="y")
    axes.set_ylabel("units")
    beside = f", beside {one.beside}" if one.beside else ""
    axes.set_title(style.ends_kept(f"{one.name}{beside}", 74), loc="left", pad=17, fontweight="bold", fontsize=9.5)


def _enough(case: Case, one: UnitsFor) -> tuple[int | None, int | None]:
    """Numbers that are enough with confidence and on the mean, as far as they may be told."""
    if case.changes > FASTEST or one.adds_nothing:
        return None, None
    return one.sure if achievable(case, one) else None, one.told(one.on_mean)


def _caption(result: RoomResult, target: Target, case: Case, sorts: list[UnitsFor], by_factors: bool) -> str:
    state = f" ({case.state.name})" if len(target.cases) > 1 else ""
    asked = f", {target.asked}" if target.asked else ""
    said = f"{target.title}{asked}{state}. {target.silent} Bars hold {100 * result.coverage:.4g} %, each by itself. "
    said += "Their ends are drawn: they may be off by a twentieth of their length. "
    said += "The target is not met on the grey side of the line"
    said += ", which is uncertain itself (hatched). " if target.kind == BOTH else ". "
    said += f"Answer: {answer(replace(case, units=sorts))}. "
    marked = [_enough(case, one) for one in sorts]
    told = [words for words, k in (("diamond: enough with that confidence", 0), ("hollow square: on the mean", 1))
            if any(each[k] is not None and (k == 0 or each[0] != each[1]) for each in marked)]  # fmt: skip
    said += f"{'; '.join(told)[:1].upper()}{'; '.join(told)[1:]}. " if told else ""
    said += "Equal steps to the right are equal factors. " if by_factors else ""
    return said.strip() + style.invented(result.record)


def _alt(target: Target, case: Case, sorts: list[UnitsFor], goal: Goal, state: str) -> str:
    said = f"{target.title}{state}, {goal.words}. Answer: {answer(replace(case, units=sorts))}."
    for one in sorts:
        told = {0, len(one.numbers) - 1, *(n for n in _enough(case, one) if n is not None)}
        each = []
        for n in sorted(n for n in told if n < len(one.numbers)):
            value, low, high = ends_rounded(*_ends(one, n))
            reached = value if low == high else f"{value} [{low} to {high}]"
            each.append(f"{n}: {reached} {one.reached.unit}, probability {percent(float(one.probability[n]))}")
        said += f" By number of {one.name}: {'; '.join(each)}."
    return said


def _table(sorts: list[UnitsFor]) -> Table:
    """Every number of units that was reckoned, of each cleaner."""
    q = sorts[0].reached
    more = [name for name in ("power", "sound") if any(getattr(one, name) is not None for one in sorts)]
    heads = ["cleaner", "units", "probability to meet it", f"{q.label} [{q.unit}]"]
    heads += [{"power": "power [W]", "sound": "sound level [dB]"}[name] for name in more]
    rows = []
    for one in sorts:
        for row, number in enumerate(one.numbers):
            cells = [one.name, f"{int(number)}", percent(float(one.probability[row])), bar(*_ends(one, row))]
            for name in more:
                own = getattr(one, name)
                cells.append("–" if own is None else bar(*(float(np.broadcast_to(x, one.numbers.shape)[row])
                                                           for x in (own.value, own.low, own.high))))  # fmt: skip
            rows.append(tuple(cells))
    kept, said = thinned(rows)
    return Table(tuple(heads), kept, (0,), said)
