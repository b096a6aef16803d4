"""A plan: what limits the answer, and what every change that was tried would make of its half-width."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig.report.figures import scales, style
from flowrig.report.figures.picture import Picture
from flowrig.report.lines import quantity_line
from flowrig.report.plan_text import half
from flowrig.report.table import Table
from flowrig.studies.outlook import Outlook, Plan, budget, half_width

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_CAUSES, MOST_CHANGES = 8, 16
LEAST_SHARE = 0.005  # of the variance: causes below are told together
FAR = 2.5  # times the half-width as planned: what lies beyond runs out of the panel
ROW = 0.37  # inches
NOTHING = ("does not pay", "could be left out")
LETTERS = 40  # of a line of a label
GROWS, SHRINKS = ("s", style.ORANGE), ("o", style.DARK_BLUE)


def plan_pictures(plan: Plan) -> list[Picture]:
    """One figure a measurement."""
    found = []
    for number, outlook in enumerate(plan.outlooks, 1):
        several = len(plan.outlooks) > 1
        name = f"plan-{number}" if several else "plan"
        title = f"What limits {outlook.name}" if several else "What limits the answer"
        rows = _rows(outlook)
        found.append(Picture(name, title, _alt(plan, outlook), _table(plan, outlook), _figure(plan, outlook, rows)))
    return found


@dataclass(frozen=True)
class _Row:
    """One change: its words, and the half-width after it as a share of the flow."""

    words: str
    after: float
    verdict: str
    warned: bool = False

    @property
    def said(self) -> str:
        """The verdict, and that a warning comes with the change."""
        return f"{self.verdict}{', with a warning' if self.warned else ''}"


def _rows(outlook: Outlook) -> list[_Row]:
    """Changes that lead somewhere, the largest gain first."""
    lines = [line for line in outlook.lines if math.isfinite(line.half)]
    lines.sort(key=lambda line: -line.gain)
    return [
        _Row(line.change.words, line.half, line.verdict, any(f.severity == "warning" for f in line.new))
        for line in lines
    ]


def _drawn(rows: list[_Row]) -> list[_Row]:
    """Those that move the half-width at all, of many those that move it most, either way; their order kept."""
    rows = [row for row in rows if row.verdict not in NOTHING]
    if len(rows) <= MOST_CHANGES:
        return rows
    best = MOST_CHANGES - 4  # what is won counts for more than what is lost
    return [*rows[:best], *rows[-(MOST_CHANGES - best) :]]


def _figure(plan: Plan, outlook: Outlook, rows: list[_Row]) -> Figure:
    drawn, causes = _drawn(rows), _causes(outlook)
    deep, low = ROW * len(causes) + 0.2, ROW * (len(drawn) + 2) + 0.2
    with style.house_style():
        figure = style.blank(deep + low + 2.4)
        top, bottom = figure.subplots(2, 1, height_ratios=[deep, low])
        _shares(top, causes)
        _changes(bottom, plan, outlook, drawn)
        figure.legend(handles=_handles(plan, drawn, outlook), loc="upper left", ncols=3, columnspacing=1.6)
        title = str(plan.record.heading.value("title"))
        style.finish(
            figure, f"{title}: {outlook.name}" if len(plan.outlooks) > 1 else title, _caption(plan, outlook, rows)
        )
    return figure


def _causes(outlook: Outlook) -> list[tuple[str, float]]:
    """Share of the variance by cause, the rest told together."""
    shares = list(budget(outlook.expected).items())
    told = [(name, share) for name, share in shares if share >= LEAST_SHARE][:MOST_CAUSES]
    rest = [share for name, share in shares if (name, share) not in told]
    return [*told, (f"{len(rest)} more causes", sum(rest))] if rest and sum(rest) >= 5e-4 else told


def _shares(axes: Axes, causes: list[tuple[str, float]]) -> None:
    places = np.arange(len(causes))
    values = [100.0 * share for _, share in causes]
    axes.barh(places, values, height=0.62, color=style.SKY, edgecolor=style.DARK_BLUE, linewidth=0.9)
    for place, value in zip(places, values, strict=True):
        axes.text(value + 1.2, float(place), f"{value:.1f} %", va="center", fontsize=style.SMALL)
    axes.set_yticks(places, [style.folded(name, LETTERS, 2) for name, _ in causes], fontsize=style.SMALL)
    axes.set_ylim(len(causes) - 0.4, -0.6)
    axes.set_xlim(0.0, 112.0)
    axes.set_xticks(range(0, 101, 20))
    axes.set_xlabel("share of the variance as planned [%]")
    axes.tick_params(axis="y", length=0)
    axes.grid(False, axis="y")


def _changes(axes: Axes, plan: Plan, outlook: Outlook, rows: list[_Row]) -> None:
    """Half-width before and after each change; the first row is the plan, the last its floor."""
    now, floor = 100.0 * outlook.half, 100.0 * half_width(outlook.floor)
    target = 100.0 * plan.target if plan.target is not None else math.nan
    after = np.array([100.0 * row.after for row in rows])
    near = after[after <= FAR * now]
    right = 1.08 * float(np.nanmax([now, target, *near]))
    axes.set_xlim(0.0, right)
    last = len(rows) + 1
    axes.axvline(now, color="0.35", linewidth=0.9, linestyle=style.DASHES[2], zorder=1)
    if math.isfinite(target):
        axes.axvline(target, color=style.BROWN, linewidth=1.4, linestyle=style.DASHES[1], zorder=1.5, gid="target")
    axes.plot([now], [0], "D", color=style.DARK_BLUE, markersize=7.0, zorder=4, clip_on=False, gid="planned")
    labels, beside = ["as planned"], [half(outlook.half)]
    for place, (row, value) in enumerate(zip(rows, after, strict=True), 1):
        marker, colour = GROWS if value > now else SHRINKS
        axes.plot(
            [now, min(value, right)], [place, place], color=colour, linewidth=2.2, solid_capstyle="butt", zorder=3
        )
        axes.plot([now], [place], "|", color="0.35", markersize=9.0, zorder=3)
        if value <= right:
            useless = row.verdict in ("not usable", "not possible")
            axes.plot(
                [value], [place], marker, color=colour, markerfacecolor="white" if useless else colour,
                markeredgewidth=1.4, markersize=7.0, zorder=4, clip_on=False, gid="after",
            )  # fmt: skip
        labels.append(style.folded(row.words, LETTERS))
        beside.append(f"{half(row.after)}, {row.said}")
    axes.plot([floor], [last], "v", color=style.BROWN, markersize=7.5, markerfacecolor="white", markeredgewidth=1.4,
              zorder=4, clip_on=False, gid="floor")  # fmt: skip
    labels.append("floor: every reading, every ± perfect")
    beside.append(half(half_width(outlook.floor)))
    axes.set_yticks(range(last + 1), labels, fontsize=style.SMALL)
    for place, words in enumerate(beside):
        axes.text(1.02, place, words, transform=axes.get_yaxis_transform(), va="center", fontsize=style.SMALL)
    axes.set_ylim(last + 0.6, -0.6)
    axes.set_xlabel(f"half of the {100 * plan.coverage:.4g} % interval, as a share of the flow [%]")
    axes.tick_params(axis="y", length=0)
    axes.grid(False, axis="y")
    style.round_ticks(axes.xaxis, 8)


def _handles(plan: Plan, rows: list[_Row], outlook: Outlook) -> list[Any]:

    look: dict[str, Any] = {"linestyle": "none", "markersize": 6.5}
    found = [scales.handle(color=style.DARK_BLUE, marker="D", label="as planned", **look)]
    if any(row.after <= outlook.half for row in rows):
        found.append(scales.handle(color=SHRINKS[1], marker=SHRINKS[0], label="after a change: narrower", **look))
    if any(row.after > outlook.half for row in rows):
        found.append(scales.handle(color=GROWS[1], marker=GROWS[0], label="after a change: wider", **look))
    if any(row.verdict in ("not usable", "not possible") for row in rows):
        found.append(scales.handle(color="0.3", marker="o", markerfacecolor="white", label="raises an alarm", **look))
    found.append(scales.handle(color=style.BROWN, marker="v", markerfacecolor="white", label="floor", **look))
    if plan.target is not None:
        words = f"target, {half(plan.target)}"
        found.append(scales.handle(color=style.BROWN, linestyle=style.DASHES[1], linewidth=1.4, label=words))
    return found


def _caption(plan: Plan, outlook: Outlook, rows: list[_Row]) -> str:
    said = (
        f"To be expected: {' '.join(quantity_line(outlook.expected.main).split())}; nothing of it was measured. Above, "
        "which causes of error make its interval; below, what would become of the interval's half-width with one thing "
        "changed, everything else as planned."
    )
    if any(row.after > FAR * outlook.half for row in _drawn(rows)):
        said += " A line that runs out of the panel leads further."
    said += " The floor is that of what is planned: another reading or piece may lead below it."
    small = sum(row.verdict in NOTHING for row in rows)
    if small:
        said += f" {small} change{'s' * (small > 1)} by less than a hundredth {'are' if small > 1 else 'is'} not drawn."
    if len(rows) - small > MOST_CHANGES:
        said += f" {MOST_CHANGES} of {len(rows) - small} others are drawn, those with the largest gains and losses."
    nothing = sum(not math.isfinite(line.half) for line in outlook.lines)
    if nothing:
        said += f" {nothing} more lead{'s' * (nothing == 1)} to no flow at all."
    return said + style.invented(plan.record)


def _alt(plan: Plan, outlook: Outlook) -> str:
    name, share = next(iter(budget(outlook.expected).items()), ("no cause", 0.0))
    rows = _rows(outlook)
    best = rows[0] if rows and rows[0].after < outlook.half else None
    change = f"the most is won by: {best.words}, {half(best.after)}" if best else "no change narrows it"
    target = ""
    if plan.target is not None:
        target = f" The target of {half(plan.target)} is {'reached' if outlook.half <= plan.target else 'not reached'}."
    return (
        f"Half-width {half(outlook.half)} of the flow as planned; {100 * share:.0f} % of its variance is {name}; "
        f"{change}. Its floor is {half(half_width(outlook.floor))}.{target}"
    )


def _table(plan: Plan, outlook: Outlook) -> Table:
    """Causes first, then what every change would make of the half-width."""
    rows: list[tuple[str, ...]] = [
        ("cause", name, f"{100 * share:.1f} % of the variance", "") for name, share in _causes(outlook)
    ]
    rows.append(("half-width", "as planned", half(outlook.half), ""))
    rows += [("half-width", row.words, half(row.after), row.said) for row in _rows(outlook)]
    rows.append(("half-width", "floor: every reading and every ± perfect", half(half_width(outlook.floor)), ""))
    if plan.target is not None:
        rows.append(("half-width", "target", half(plan.target), ""))
    return Table(("of", "what", "value", "verdict"), tuple(rows), (0, 1, 3))
