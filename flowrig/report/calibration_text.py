"""A calibration for the terminal: the curve, what it is worth over its range, what the points say against it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flowrig import units
from flowrig.records.formulas import Formula
from flowrig.report.lines import budget_lines, findings_text, heading_text, percent, rounded, wrapped
from flowrig.studies.calibrate import Calibrated
from flowrig.studies.calibration_file import units_of
from flowrig.studies.scrutiny import LEVEL
from flowrig.uncertainty.interval import interval

MOST = 40  # points printed


def calibration_text(done: Calibrated, coverage: float = 0.95) -> str:
    """Everything a person at the terminal is shown of a calibration."""
    pairs, formula = done.pairs, done.formula
    what = {"box": "Box", "chamber": "Leakage of a chamber"}.get(pairs.calibrates, f"Instrument for {pairs.calibrates}")
    lines = heading_text(done.record)
    lines += ["", *wrapped(f"{what}, against {pairs.reference}: {len(done.residuals)} points, {formula.name}.")]
    lines += wrapped(headline(done, coverage))
    lines += ["", *(f"  {line}" for line in _numbers(done))]
    lines += ["", *_over_the_range(done, coverage)]
    lines += ["", *_scrutiny(done), "", *_points(done)]
    if done.findings:
        lines += ["", *findings_text(done.findings)]
    return "\n".join(lines)


def headline(done: Calibrated, coverage: float = 0.95) -> str:
    """The curve at its pivot, with its error bar."""
    formula, shown = done.formula, units_of(done)
    unit_x, unit_y = (_unit(shown, f.kind) for f in (formula.argument, formula.result))
    bar = interval(done.number, coverage)
    kind = formula.result.kind
    values = [float(units.from_si(x, unit_y, kind)) for x in (done.number.value, bar.low, bar.high)]
    u = float(units.from_si(done.number.u, unit_y, units.as_difference(kind)))
    value, low, high = rounded(u, *values)
    pivot = float(units.from_si(done.numbers[formula.pivot].value, unit_x, formula.argument.kind))
    return f"At {pivot:.4g} {unit_x}: {value} {unit_y}, {100 * coverage:.6g} % interval {low} to {high} {unit_y}"


def _numbers(done: Calibrated) -> Iterator[str]:
    shown = units_of(done)
    width = max(len(f.name) for f in done.formula.numbers)
    for declared in done.formula.numbers:
        number = done.numbers[declared.name]
        unit = shown.get(declared.kind) or units.default_display(declared.kind)
        value = float(units.from_si(number.value, unit, declared.kind))
        u = float(units.from_si(number.u, unit, units.as_difference(declared.kind)))
        said = rounded(u, value, u) if u else [f"{value:.6g}"]
        spelled = "" if declared.kind == "ratio" else f" {unit}"
        if declared.kind == "ratio":
            value, u = float(number.value), float(number.u)
            said = rounded(u, value, u) if u else [f"{value:.6g}"]
        yield f"{declared.name:<{width}}  {said[0]}{spelled}" + (f"   u {said[1]}{spelled}" if u else "")


def _over_the_range(done: Calibrated, coverage: float) -> Iterator[str]:
    """The curve with its error bar at the lowest, the middle and the highest point."""
    formula, shown = done.formula, units_of(done)
    x = done.pairs.shown.value
    low, high = float(np.min(x)), float(np.max(x))
    middle = math.sqrt(low * high) if formula.relative else 0.5 * (low + high)
    at = np.array([low, middle, high])
    curve = done.at(at)
    u = curve.u
    own = np.zeros(3)
    for cause, part in curve.parts.items():
        if cause.n == 1 and cause.scope != "reading":
            own = own + np.sum(part**2, axis=0)
    unit_x, unit_y = (_unit(shown, f) for f in (formula.argument.kind, formula.result.kind))
    kind_x, kind_y = formula.argument.kind, formula.result.kind
    heads = (
        f"{formula.argument.name} [{unit_x}]",
        f"{formula.result.name} [{unit_y}]",
        f"{100 * coverage:.6g} % interval",
    )
    yield f"  {heads[0]:>15}  {heads[1]:>17}  {heads[2]:>22}  {'u [%]':>6}  {'shared [%]':>10}"
    for k in range(3):
        bar = interval(curve.single(k), coverage)
        values = [float(units.from_si(y, unit_y, kind_y)) for y in (curve.value[k], bar.low, bar.high)]
        error = float(units.from_si(u[k], unit_y, units.as_difference(kind_y)))
        value, bottom, top = rounded(error, *values)
        argument = f"{float(units.from_si(at[k], unit_x, kind_x)):.4g}"
        share = 100 * u[k] / abs(curve.value[k]) if curve.value[k] else math.nan
        common = 100 * own[k] / u[k] ** 2 if u[k] else 0.0
        yield f"  {argument:>15}  {value:>17}  {f'{bottom} to {top}':>22}  {share:>6.2g}  {common:>10.0f}"
    yield from wrapped(
        "Shared: the part of the variance that all points have in common, from the reference and from what was stated; "
        "more points do not make it smaller, and every later result carries it whole."
    )
    yield "  Largest causes in the middle (share of the variance)"
    yield from budget_lines(curve.single(1), unit_y, kind_y)


def _unit(shown: dict[str, str], kind: str) -> str:
    return shown.get(kind) or units.default_display(kind)


def _scrutiny(done: Calibrated) -> Iterator[str]:
    found, scrutiny = done.found, done.scrutiny
    yield "  What the points say"
    yield f"    chi-square over degrees of freedom {found.chi_square / found.dof:.3g}, {found.dof} degrees of freedom"
    for trial in scrutiny.trials:
        verdict = "" if not trial.significant else "; not chance"
        yield from wrapped(f"  {trial.name}: {trial.words}; as much by chance {_chance(trial.p)}{verdict}", further=6)
    if not math.isnan(scrutiny.remount_scatter):
        yield f"    {scrutiny.mountings} mountings: the flow of one scatters by {percent(scrutiny.remount_scatter)}"
    yield (
        f"    a test is called on at {100 * LEVEL:g} %"
        if scrutiny.trials
        else "    no repeats, directions or runs to test"
    )


def _chance(p: float) -> str:
    return f"{100 * p:.0f} %" if p > 0.1 else percent(p)


def _points(done: Calibrated) -> Iterator[str]:
    formula, shown, pairs = done.formula, units_of(done), done.pairs
    unit_x, unit_y = (_unit(shown, f) for f in (formula.argument.kind, formula.result.kind))
    off = "%" if formula.relative else unit_y
    labels = [name for name in ("run", "direction", "mounting") if name in pairs.labels]
    marks = "".join(f"  {name:<9}" for name in labels)
    heads = (f"{formula.argument.name} [{unit_x}]", f"{formula.result.name} [{unit_y}]", f"off [{off}]")
    yield f"  {heads[0]:>15}  {heads[1]:>17}  {heads[2]:>12}{marks}".rstrip()
    n = len(done.residuals)
    for k in range(min(n, MOST)):
        x = float(units.from_si(pairs.shown.value[k], unit_x, formula.argument.kind))
        y = float(units.from_si(pairs.truth.value[k], unit_y, formula.result.kind))
        r = _residual(formula, float(done.residuals[k]), unit_y)
        marks = "".join(f"  {pairs.labels[name][k]:<9}" for name in labels)
        yield f"  {x:>15.5g}  {y:>17.5g}  {r:>+12.2g}{marks}".rstrip()
    if n > MOST:
        yield f"  and {n - MOST} more"
    if pairs.of_flow:
        yield from wrapped(f"All in air of {pairs.density:.4g} kg/m3 and {1e6 * pairs.viscosity:.4g} uPa s.")


def _residual(formula: Formula, residual: float, unit: str) -> float:
    if formula.relative:
        return 100 * residual
    return float(units.from_si(residual, unit, units.as_difference(formula.result.kind)))
