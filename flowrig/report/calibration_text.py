"""A calibration for people: the curve, what it is worth over its range, what the points say against it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flowrig import units
from flowrig.records.formulas import Formula
from flowrig.report.blocks import Block, Heading, plain, raised, wrapped
from flowrig.report.lines import Cells, budget_table, heading_blocks, percent, rounded
from flowrig.report.table import Table
from flowrig.studies.calibrate import Calibrated
from flowrig.studies.calibration_file import units_of
from flowrig.studies.scrutiny import LEVEL
from flowrig.uncertainty.interval import interval

MOST = 40  # points printed


def calibration_text(done: Calibrated, coverage: float = 0.95) -> str:
    """Everything a person is shown of a calibration, as plain text within 80 columns."""
    return plain(calibration_blocks(done, coverage))


def calibration_blocks(done: Calibrated, coverage: float = 0.95) -> Iterator[Block]:
    """Everything a person is shown of a calibration."""
    pairs, formula = done.pairs, done.formula
    what = {"box": "Box", "chamber": "Leakage of a chamber"}.get(pairs.calibrates, f"Instrument for {pairs.calibrates}")
    yield from heading_blocks(done.record)
    yield from ("", *wrapped(f"{what}, against {pairs.reference}: {len(done.residuals)} points, {formula.name}."))
    yield from wrapped(headline(done, coverage))
    yield from ("", _numbers(done))
    yield from ("", *_over_the_range(done, coverage))
    yield from ("", *_scrutiny(done), "", *_points(done))
    if done.findings:
        yield from ("", *raised(done.findings))


def alarms(done: Calibrated) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return [f"ALARM, {f.code}: {f.message}" for f in done.findings if f.severity == "alarm"]


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


def _numbers(done: Calibrated) -> Table:
    """The numbers of the curve, each with its standard uncertainty."""
    shown = units_of(done)
    rows = []
    for declared in done.formula.numbers:
        number = done.numbers[declared.name]
        unit = shown.get(declared.kind) or units.default_display(declared.kind)
        value = float(units.from_si(number.value, unit, declared.kind))
        u = float(units.from_si(number.u, unit, units.as_difference(declared.kind)))
        if declared.kind == "ratio":
            unit, value, u = "", float(number.value), float(number.u)
        said = rounded(u, value, u) if u else [f"{value:.6g}", ""]
        rows.append((declared.name, said[0], unit, said[1]))
    width = max(len(f.name) for f in done.formula.numbers)

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        for name, value, unit, u in rows:
            spelled = f" {unit}" if unit else ""
            yield f"  {name:<{width}}  {value}{spelled}" + (f"   u {u}{spelled}" if u else "")

    return Table(("number", "value", "unit", "u"), tuple(rows), (0, 2), reads=reads)


def _over_the_range(done: Calibrated, coverage: float) -> Iterator[Block]:
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
        "u [%]",
        "shared [%]",
    )
    rows = []
    for k in range(3):
        bar = interval(curve.single(k), coverage)
        values = [float(units.from_si(y, unit_y, kind_y)) for y in (curve.value[k], bar.low, bar.high)]
        error = float(units.from_si(u[k], unit_y, units.as_difference(kind_y)))
        value, bottom, top = rounded(error, *values)
        argument = f"{float(units.from_si(at[k], unit_x, kind_x)):.4g}"
        share = 100 * u[k] / abs(curve.value[k]) if curve.value[k] else math.nan
        common = 100 * own[k] / u[k] ** 2 if u[k] else 0.0
        rows.append((argument, value, f"{bottom} to {top}", f"{share:.2g}", f"{common:.0f}"))
    yield Table(heads, tuple(rows), ())
    yield from wrapped(
        "Shared: the part of the variance that all points have in common, from the reference and from what was stated; "
        "more points do not make it smaller, and every later result carries it whole."
    )
    yield Heading("Largest causes in the middle (share of the variance)", 3)
    yield budget_table(curve.single(1), unit_y, kind_y)


def _unit(shown: dict[str, str], kind: str) -> str:
    return shown.get(kind) or units.default_display(kind)


def _scrutiny(done: Calibrated) -> Iterator[Block]:
    found, scrutiny = done.found, done.scrutiny
    yield Heading("What the points say", 3)
    chi = f"chi-square over degrees of freedom {found.chi_square / found.dof:.3g}, {found.dof} degrees of freedom"
    yield from wrapped(chi, 6, 4)
    for trial in scrutiny.trials:
        verdict = "" if not trial.significant else "; not chance"
        yield from wrapped(f"{trial.name}: {trial.words}; as much by chance {_chance(trial.p)}{verdict}", 6, 4)
    if not math.isnan(scrutiny.remount_scatter):
        said = f"{scrutiny.mountings} mountings: the flow of one scatters by {percent(scrutiny.remount_scatter)}"
        yield from wrapped(said, 6, 4)
    called = f"a test is called on at {100 * LEVEL:g} %"
    yield from wrapped(called if scrutiny.trials else "no repeats, directions or runs to test", 6, 4)


def _chance(p: float) -> str:
    return f"{100 * p:.0f} %" if p > 0.1 else percent(p)


def _points(done: Calibrated) -> Iterator[Block]:
    formula, shown, pairs = done.formula, units_of(done), done.pairs
    unit_x, unit_y = (_unit(shown, f) for f in (formula.argument.kind, formula.result.kind))
    off = "%" if formula.relative else unit_y
    labels = [name for name in ("run", "direction", "mounting") if name in pairs.labels]
    heads = (f"{formula.argument.name} [{unit_x}]", f"{formula.result.name} [{unit_y}]", f"off [{off}]", *labels)
    n = len(done.residuals)
    rows = []
    for k in range(min(n, MOST)):
        x = float(units.from_si(pairs.shown.value[k], unit_x, formula.argument.kind))
        y = float(units.from_si(pairs.truth.value[k], unit_y, formula.result.kind))
        r = _residual(formula, float(done.residuals[k]), unit_y)
        rows.append((f"{x:.5g}", f"{y:.5g}", f"{r:+.2g}", *(str(pairs.labels[name][k]) for name in labels)))
    yield Table(heads, tuple(rows), tuple(range(3, len(heads))))
    if n > MOST:
        yield from wrapped(f"and {n - MOST} more")
    if pairs.of_flow:
        yield from wrapped(f"All in air of {pairs.density:.4g} kg/m3 and {1e6 * pairs.viscosity:.4g} uPa s.")


def _residual(formula: Formula, residual: float, unit: str) -> float:
    if formula.relative:
        return 100 * residual
    return float(units.from_si(residual, unit, units.as_difference(formula.result.kind)))
