"""A calibration held against its checks, for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from flowrig import units
from flowrig.records.calibration import CalibrationFile
from flowrig.report.lines import WIDTH, findings_text, rounded, wrapped
from flowrig.studies.verify import Check, Verified, claimed

CHART = 41  # columns of the chart, its middle at zero


def verified_text(verified: Verified) -> str:
    """Everything a person at the terminal is shown."""
    calibration = verified.calibration
    heading = calibration.heading
    lines = textwrap.wrap(f"{heading.value('title')}, {heading.value('serial')}", WIDTH)
    said = f"{calibration.name}: calibrated on {heading.value('date')}, due on {heading.value('due')}"
    lines += textwrap.wrap(said, WIDTH)
    if heading.value("invented"):
        lines.append("Invented readings, for demonstration.")
    for check in verified.checks:
        lines += ["", *_check(calibration, check)]
    lines += ["", *_chart(verified)]
    return "\n".join(lines)


def _unit(calibration: CalibrationFile) -> str:
    """Unit of what is off."""
    return "%" if calibration.formula.relative else calibration.range["highest"].unit


def _off(calibration: CalibrationFile, x: float) -> float:
    if calibration.formula.relative:
        return 100 * x
    return float(units.from_si(x, _unit(calibration), units.as_difference(calibration.formula.result.kind)))


def _check(calibration: CalibrationFile, check: Check) -> Iterator[str]:
    yield f"Check of {check.date}, against {check.pairs.reference}: {check.verdict.upper()}"
    formula = calibration.formula
    argument, result = formula.argument, formula.result
    unit_x = calibration.range["highest"].unit
    section = check.pairs.record.calibration
    assert section is not None
    unit_y = unit_x if not formula.relative else check.pairs.record.heading.value("flow_unit") or "m3/h"
    heads = (
        f"{argument.name} [{unit_x}]",
        f"calibration [{unit_y}]",
        f"reference [{unit_y}]",
        f"off [{_unit(calibration)}]",
    )
    yield f"  {heads[0]:>14}  {heads[1]:>18}  {heads[2]:>16}  {heads[3]:>8}  {'E_n':>6}  {'E_n*':>6}  verdict"
    for k, held in enumerate(check.held):
        at = int(check.points[k])
        x = float(units.from_si(check.pairs.shown.value[at], unit_x, argument.kind))
        y, truth = (
            float(units.from_si(v, unit_y, result.kind)) for v in (check.expected.value[k], check.pairs.truth.value[at])
        )
        off = _off(calibration, float(check.off.value[k]))
        e_n = f"{held.e_n:>6.2f}  {held.e_n_unshared:>6.2f}"
        yield f"  {x:>14.4g}  {y:>18.5g}  {truth:>16.5g}  {off:>+8.2g}  {e_n}  {held.verdict}"
    yield from wrapped(
        "E_n is the difference over its expanded uncertainty, what both share cancelled; in E_n* the limits of shared "
        "instruments do not cancel, nor a reference that is not the same piece. Each is at "
        f"{100 * check.level:.4g} %, so that all {len(check.held)} together raise a false alarm in 5 % of checks."
    )
    yield from wrapped(f"{_drift(calibration, check)}.")
    if check.findings:
        yield from ("", *findings_text(check.findings))


def _drift(calibration: CalibrationFile, check: Check) -> str:
    bar = check.drift_interval
    values = [_off(calibration, float(x)) for x in (check.drift.value, bar.low, bar.high)]
    u = _off(calibration, float(check.drift.u))
    mean, low, high = rounded(u, *values)
    days = (check.date - calibration.heading.value("date")).days
    unit = _unit(calibration)
    least = rounded(u, _off(calibration, check.noticeable))[0]
    return (
        f"On the mean {mean} {unit}, 95 % interval {low} to {high} {unit}, {days} days after the calibration; a drift "
        f"below {least} {unit} would have gone unseen"
    )


def _chart(verified: Verified) -> Iterator[str]:
    """Mean of every check with its bar, on one scale, zero being the calibration."""
    calibration = verified.calibration
    ends = [abs(float(x)) for check in verified.checks for x in (check.drift_interval.low, check.drift_interval.high)]
    own = claimed(calibration)
    most = _off(calibration, max([*ends, own])) * 1.1
    half = CHART // 2

    def place(x: float) -> int:
        return half + round(_off(calibration, x) / most * half)

    yield f"  All checks so far, mean off the calibration [{_unit(calibration)}]"
    scale = f"{-most:.2g}"
    yield f"  {'':<12}{scale:<{half}}0{f'{most:+.2g}':>{half}}"
    row = [" "] * CHART
    row[place(-own)] = row[place(own)] = ":"
    row[half] = "+"
    yield f"  {calibration.heading.value('date')!s:<12}{''.join(row)}  calibration, its own error bar"
    for check in verified.checks:
        row = [" "] * CHART
        row[place(-own)] = row[place(own)] = ":"
        low, high = (place(float(x)) for x in (check.drift_interval.low, check.drift_interval.high))
        row[low : high + 1] = ["-"] * (high + 1 - low)
        row[half] = "|" if row[half] == " " else "+"
        row[place(float(check.drift.value))] = "o"
        yield f"  {check.date!s:<12}{''.join(row)}  {check.verdict}"
