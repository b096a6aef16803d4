"""A calibration held against later checks: a control chart over time, and the points of the checks on the curve."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig import units
from flowrig.records.calibration import CalibrationFile
from flowrig.report.figures import calibrated, scales, style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.rows import bar
from flowrig.report.table import Table, thinned
from flowrig.studies.calibration_picture import curve_band, differences
from flowrig.studies.verify import Check, Verified, claimed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HOLDS, FAILS, CANNOT_TELL = "holds", "fails", "cannot tell"
LOOKS = {HOLDS: ("o", style.DARK_BLUE, True), FAILS: ("X", style.ORANGE, True), CANNOT_TELL: ("s", style.BLUE, False)}
MOST_WORDS = 8  # checks that have their verdict beside them
MOST_CHECKS = 6  # on the curve
HEADROOM = 0.05


def verify_pictures(verified: Verified) -> list[Picture]:
    """The control chart, and the checks on the curve."""
    return [_chart(verified), _on_curve(verified)]


def _shown(verified: Verified) -> calibrated.Shown:
    calibration = verified.calibration
    unit_x = calibration.range["highest"].unit
    last = verified.checks[-1].pairs.record.heading.value("flow_unit") or "m3/h"
    lowest, highest = (float(calibration.range.value(name)) for name in ("lowest", "highest"))
    unit_y = last if calibration.formula.relative else unit_x
    return calibrated.shown_in(calibration.formula, unit_x, unit_y, lowest, highest)


def _off_unit(calibration: CalibrationFile) -> str:
    return "%" if calibration.formula.relative else calibration.range["highest"].unit


def _off(calibration: CalibrationFile, size: Any) -> Any:
    if calibration.formula.relative:
        return 100.0 * np.asarray(size)
    unit = calibration.range["highest"].unit
    return units.from_si(size, unit, units.as_difference(calibration.formula.result.kind))


def _chart(verified: Verified) -> Picture:
    """Mean of every check with its bar over time, against the calibration and what it claims of itself."""
    calibration, checks = verified.calibration, verified.checks
    unit = _off_unit(calibration)
    own = float(_off(calibration, claimed(calibration)))
    made, due = (calibration.heading.value(name) for name in ("date", "due"))
    ends = np.array(
        [[_off(calibration, float(x)) for x in (c.drift_interval.low, c.drift_interval.high)] for c in checks]
    )
    means = np.array([float(_off(calibration, c.drift.value)) for c in checks])
    unseen = np.array([float(_off(calibration, c.noticeable)) for c in checks])
    first, last = _days(made), max(_days(due), *(_days(c.date) for c in checks))
    with style.house_style():
        figure = style.blank(4.9)
        axes = figure.subplots()
        left, right = scales.room_about(first, last, 0.06)
        axes.axhspan(-own, own, facecolor="#f6eadf", edgecolor="#e3c3a5", hatch="////", linewidth=0.0, zorder=0.6)
        for side in (-own, own):
            axes.axhline(side, color=style.ORANGE, linewidth=1.0, linestyle=style.DASHES[1], zorder=1.5)
        axes.errorbar(
            [first], [0.0], yerr=[[own], [own]], fmt="D", color=style.BROWN, markersize=6.5, elinewidth=1.3,
            capsize=3.0, zorder=4,
        )  # fmt: skip
        axes.axvline(_days(due), color="0.35", linewidth=0.9, linestyle=style.DASHES[2])
        apart = np.diff(np.unique([_days(c.date) for c in checks]))
        wide = min(0.012 * (right - left), 0.4 * float(np.min(apart)) if apart.size else right)
        for check, mean, arms, least in zip(checks, means, ends, unseen, strict=True):
            _one(axes, _days(check.date), mean, arms, least, wide, check.verdict)
        scales.about_zero(axes, ends, unseen, [own], least=own)
        axes.set_xlim(left, right)
        _dates(axes)
        axes.set_xlabel("day of the check")
        axes.set_ylabel(f"mean off the calibration [{unit}]")
        style.round_ticks(axes.yaxis, 8)
        figure.legend(handles=_handles(checks), loc="upper left", ncols=3, columnspacing=1.6)
        style.finish(figure, _title(calibration), _chart_caption(verified))
        _words(axes, checks, means, ends, own, (first, _days(due)))
    rows = [
        (str(c.date), bar(m, *map(float, e)), f"{u:.2g}", str(len(c.points)), c.verdict)
        for c, m, e, u in zip(checks, means, ends, unseen, strict=True)
    ]
    calibration_row = (str(made), f"0 ± {own:.2g}", "", str(len(calibration.points)), "the calibration")
    heads = ("day", f"mean off [{unit}]", f"goes unseen below [{unit}]", "points", "verdict")
    kept, said = thinned([calibration_row, *rows])
    return Picture(
        "checks", "All checks so far", _chart_alt(verified, means, ends, own), Table(heads, kept, (0, 4), said), figure
    )


def _one(axes: Axes, day: float, mean: float, arms: Any, least: float, wide: float, verdict: str) -> None:
    """One check: what would go unseen about zero, then its mean with its bar."""
    from matplotlib.patches import Rectangle

    axes.add_patch(
        Rectangle(
            (day - wide, -least), 2 * wide, 2 * least, facecolor="0.82", edgecolor="0.45", linewidth=0.9, zorder=2
        )
    )
    marker, colour, filled = LOOKS[verdict]
    axes.errorbar(
        [day], [mean], yerr=np.maximum([[mean - arms[0]], [arms[1] - mean]], 0.0), fmt=marker, color=colour,
        markersize=7.5, markerfacecolor=colour if filled else "white", markeredgewidth=1.5, elinewidth=1.3, capsize=3.0,
        zorder=5, gid=f"check {verdict}",
    )  # fmt: skip


def _days(day: dt.date) -> float:
    """As matplotlib counts them: from the first of January 1970."""
    return float((day - dt.date(1970, 1, 1)).days)


def _dates(axes: Axes) -> None:
    """Whole days, months or years, written as the records write them."""
    from matplotlib.dates import AutoDateLocator, DateFormatter

    axes.xaxis.set_major_locator(AutoDateLocator(minticks=3, maxticks=7))  # type: ignore[no-untyped-call]
    low, high = axes.get_xlim()
    form = "%Y-%m-%d" if high - low < 1100 else "%Y-%m"
    axes.xaxis.set_major_formatter(DateFormatter(form))  # type: ignore[no-untyped-call]


def _words(axes: Axes, checks: Sequence[Check], means: Any, ends: Any, own: float, days: tuple[float, float]) -> None:
    """Verdicts beside the checks, those that do not hold first where there are many."""
    made, due = days
    told = list(range(len(checks)))
    if len(told) > MOST_WORDS:
        told = [k for k in told if checks[k].verdict != HOLDS][-MOST_WORDS:]
    places = [(_days(checks[k].date), float(means[k]), checks[k].verdict) for k in told]
    low, high = axes.get_ylim()
    left, right = axes.get_xlim()
    lines = [(np.array([_days(c.date)] * 2), np.asarray(e, dtype=float)) for c, e in zip(checks, ends, strict=True)]
    lines += [(np.array([left, right]), np.array([y, y])) for y in (-own, 0.0, own)]
    lines += [(np.array([made, made]), np.array([-own, own])), (np.array([due, due]), np.array([low, high]))]
    style.words_beside(axes, [(made, 0.0, "calibrated"), *places, (due, low + 0.06 * (high - low), "due")], lines)


def _handles(checks: Sequence[Check]) -> list[Any]:
    from matplotlib.patches import Patch

    found: list[Any] = [
        scales.handle(color=style.BROWN, marker="D", linestyle="none", label="calibration"),
        Patch(
            facecolor="#f6eadf", edgecolor=style.ORANGE, hatch="////", linestyle=style.DASHES[1], linewidth=1.0,
            label="what the calibration claims, 95 %",
        ),
        Patch(facecolor="0.82", edgecolor="0.45", label="drift that would go unseen"),
    ]  # fmt: skip
    for verdict, (marker, colour, filled) in LOOKS.items():
        number = sum(c.verdict == verdict for c in checks)
        if number:
            face = colour if filled else "white"
            words = f"check: {verdict} ({number})"
            found.append(
                scales.handle(color=colour, marker=marker, linestyle="none", markerfacecolor=face, label=words)
            )
    return found


def _title(calibration: CalibrationFile) -> str:
    return f"{calibration.heading.value('title')}, {calibration.heading.value('serial')}"


def _chart_caption(verified: Verified) -> str:
    calibration = verified.calibration
    said = (
        f"Checks of {calibration.name} over time: mean of the points of each, off the calibrated curve, 95 %. The band "
        "is the error bar of the calibration itself; a mean within the grey box about zero is no drift, what "
        "both share cancelled. The verdict is that of the single points, at a level for all of them: it may differ."
    )
    if len(verified.checks) > MOST_WORDS:
        said += " Of so many checks only those that do not hold have their verdict beside them."
    return said + _invented(verified)


def _invented(verified: Verified) -> str:
    if verified.calibration.heading.value("invented"):
        return style.invented(*(c.pairs.record for c in verified.checks)) or " The calibration is invented."
    return style.invented(*(c.pairs.record for c in verified.checks))


def _chart_alt(verified: Verified, means: Any, ends: Any, own: float) -> str:
    calibration, checks = verified.calibration, verified.checks
    unit = _off_unit(calibration)
    numbers = {verdict: sum(c.verdict == verdict for c in checks) for verdict in LOOKS}
    counted = ", ".join(f"{n} {verdict}" for verdict, n in numbers.items() if n)
    low, high = map(float, ends[-1])
    return (
        f"{len(checks)} check{'s' * (len(checks) > 1)} of the calibration of {calibration.heading.value('date')}, "
        f"which claims ± {own:.2g} {unit}: {counted}. The last, of {checks[-1].date}, lies on the mean "
        f"{bar(float(means[-1]), low, high)} {unit} off and {checks[-1].verdict}."
    )


def _on_curve(verified: Verified) -> Picture:
    """The points of the checks on the calibrated curve, and how far they lie off it."""
    calibration, shown = verified.calibration, _shown(verified)
    formula = calibration.formula
    lowest, highest = (float(calibration.range.value(name)) for name in ("lowest", "highest"))
    curve = curve_band(formula, calibration.estimates(), lowest, highest)
    drawn = verified.checks[-MOST_CHECKS:]
    off_ends, xs, ys = [], [], []
    rows: list[tuple[str, ...]] = []
    with style.house_style():
        figure = style.blank(7.0)
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[3.2, 2.6])
        calibrated.draw_curve(top, bottom, shown, curve)
        own_x = shown.x(np.array([p.value(formula.argument.name) for p in calibration.points]))
        own_y = shown.y(np.array([p.value(formula.result.name) for p in calibration.points]))
        top.plot(own_x, own_y, ".", color="0.55", markersize=4.0, linestyle="none", zorder=2.5)
        for k, check in enumerate(drawn):
            found = differences(calibration, check)
            at = check.points
            x, y = shown.x(check.pairs.shown.value[at]), shown.y(check.pairs.truth.value[at])
            off, half, wide = (shown.off(a) for a in (found.off, found.half, found.half_unshared))
            wide = np.maximum(half, wide)
            look = calibrated.Group("", np.arange(len(at)), scales.MARKS[k], style.SHADES[k], True)
            shift = calibrated.beside(k, len(drawn))
            calibrated.draw_points(top, x, y, np.zeros((2, len(at))), look)
            calibrated.draw_points(bottom, x, off, np.stack([half, half]), look, shift)
            _wide_ends(bottom, x, off, wide, look.colour, shift)
            _crossed(bottom, x, off, [h.verdict for h in check.held], shift)
            off_ends += [off - wide, off + wide]
            xs.append(x)
            ys.append(y)
            for n, held in enumerate(check.held):
                rows.append(
                    (str(check.date), f"{x[n]:.5g}", f"{y[n]:.5g}", f"{off[n]:+.2g} ± {half[n]:.2g}",
                     f"± {wide[n]:.2g}", held.verdict)
                )  # fmt: skip
        calibrated.finish_axes(top, bottom, shown, curve, [*xs, own_x], [*ys, own_y], off_ends)
        handles = [*calibrated.curve_handles(shown, 0.95), *_check_handles(drawn)]
        figure.legend(handles=handles, loc="upper left", ncols=3, columnspacing=1.6)
        style.finish(figure, _title(calibration), _curve_caption(verified, drawn))
    argument, result, how_far = shown.heads
    heads = ("day", argument, result, how_far, f"nothing cancelled [{shown.off_unit}]", "verdict")
    kept, said = thinned(rows)
    return Picture(
        "checks-on-curve",
        "The checks on the curve",
        _curve_alt(verified, drawn),
        Table(heads, kept, (0, 5), said),
        figure,
    )


def _moved(axes: Axes, shift: float) -> Any:
    from matplotlib.transforms import ScaledTranslation

    return axes.transData + ScaledTranslation(shift / 72.0, 0.0, axes.figure.dpi_scale_trans)


def _wide_ends(axes: Axes, x: Any, off: Any, wide: Any, colour: str, shift: float) -> None:
    """Thin bars of what may lie off if nothing cancelled."""
    known = np.isfinite(wide)
    axes.vlines(
        x[known], (off - wide)[known], (off + wide)[known], color=colour, linewidth=0.6, linestyle=style.DASHES[2],
        transform=_moved(axes, shift), zorder=3.5,
    )  # fmt: skip


def _crossed(axes: Axes, x: Any, off: Any, verdicts: Sequence[str], shift: float) -> None:
    """A ring about points that differ, and a dashed one about those of which it cannot be told."""
    for verdict, dash in (("disagree", "-"), ("cannot tell", ":")):
        at = np.array([v == verdict for v in verdicts])
        if np.any(at):
            ring: dict[str, Any] = {"facecolors": "none", "edgecolors": style.ORANGE, "linewidths": 1.5}
            axes.scatter(x[at], off[at], s=110.0, linestyle=dash, transform=_moved(axes, shift), zorder=6, **ring)


def _check_handles(checks: Sequence[Check]) -> list[Any]:

    found = [scales.handle(color="0.55", marker=".", linestyle="none", label="points of the calibration")]
    for k, check in enumerate(checks):
        words = f"{check.date}: {check.verdict}"
        found.append(scales.handle(color=style.SHADES[k], marker=scales.MARKS[k], linestyle="none", label=words))
    verdicts = {h.verdict for c in checks for h in c.held}
    for verdict, words, dash in (("disagree", "point differs", "-"), ("cannot tell", "cannot be told", ":")):
        if verdict in verdicts:
            ring: dict[str, Any] = {"markerfacecolor": "none", "markersize": 10.0, "markeredgewidth": 1.5}
            found.append(scales.handle(color=style.ORANGE, marker="o", linestyle="none", label=words, **ring))
            if dash == ":":
                found[-1].set_fillstyle("none")
    return found


def _curve_caption(verified: Verified, drawn: Sequence[Check]) -> str:
    said = (
        "Below, how far each point of a check lies off the curve. Bars are how far it may, at the level that the check "
        "is judged by, what check and calibration share cancelled; dotted, if nothing cancelled: a point differs where "
        "it is further off than both. The band is the error bar of the calibration, 95 %."
    )
    if len(drawn) > 1:
        said += " Marks stand a little beside each other."
    if len(drawn) < len(verified.checks):
        said += f" The last {len(drawn)} of {len(verified.checks)} checks are drawn."
    left = sum(len(c.pairs.shown.value) - len(c.points) for c in drawn)
    if left:
        said += f" {left} point{'s' * (left > 1)} outside the calibrated range {'are' if left > 1 else 'is'} left out."
    return said + _invented(verified)


def _curve_alt(verified: Verified, drawn: Sequence[Check]) -> str:
    calibration = verified.calibration
    unit = _off_unit(calibration)
    said = []
    for check in drawn:
        off = np.asarray(_off(calibration, check.off.value), dtype=float)
        differ = sum(h.verdict == "disagree" for h in check.held)
        most = float(off[int(np.argmax(np.abs(off)))])
        bad = f", {differ} of them beyond what the error bars explain" if differ else ""
        said.append(f"{check.date}: {len(off)} points, up to {most:+.2g} {unit} off{bad}; {check.verdict}")
    return f"Points of checks on the calibrated curve from {calibration.range_in_words()}. {'. '.join(said)}."
