"""A calibration held against its checks, for people."""

from __future__ import annotations

from collections.abc import Iterator

from flowrig import units
from flowrig.records.calibration import CalibrationFile
from flowrig.report.blocks import Block, Heading, Paragraph, plain, raised, wrapped
from flowrig.report.lines import rounded
from flowrig.report.table import Table
from flowrig.studies.verify import Check, Verified, curve_share

CHART = 41  # columns of the chart, its middle at zero


def verified_text(verified: Verified) -> str:
    """Everything a person is shown, as plain text within 80 columns."""
    return plain(verified_blocks(verified))


def verified_blocks(verified: Verified) -> Iterator[Block]:
    """Everything a person is shown."""
    calibration = verified.calibration
    heading = calibration.heading
    yield Heading(f"{heading.value('title')}, {heading.value('serial')}", 1)
    yield Paragraph(f"{calibration.name}: calibrated on {heading.value('date')}, due on {heading.value('due')}")
    if heading.value("invented"):
        yield "Invented readings, for demonstration."
    for check in verified.checks:
        yield from ("", *_check(calibration, check))
    yield from ("", *_chart(verified))


def alarms(verified: Verified) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return [f"ALARM, {f.code}: {f.message}" for f in verified.findings if f.severity == "alarm"]


def _unit(calibration: CalibrationFile) -> str:
    """Unit of what is off."""
    return "%" if calibration.formula.relative else calibration.range["highest"].unit


def _off(calibration: CalibrationFile, x: float) -> float:
    if calibration.formula.relative:
        return 100 * x
    return float(units.from_si(x, _unit(calibration), units.as_difference(calibration.formula.result.kind)))


def _check(calibration: CalibrationFile, check: Check) -> Iterator[Block]:
    yield Heading(f"Check of {check.date}, against {check.pairs.reference}: {check.verdict.upper()}")
    formula = calibration.formula
    argument, result = formula.argument, formula.result
    unit_x = calibration.range["highest"].unit
    section = check.pairs.record.calibration
    assert section is not None
    unit_y = unit_x if not formula.relative else check.pairs.record.heading.value("flow_unit") or "m3/h"
    heads = (
        f"{argument.name}\n[{unit_x}]",
        f"calibration\n[{unit_y}]",
        f"reference\n[{unit_y}]",
        f"off\n[{_unit(calibration)}]",
        "E_n",
        "E_n*",
        "verdict",
    )
    rows = []
    for k, held in enumerate(check.held):
        at = int(check.points[k])
        x = float(units.from_si(check.pairs.shown.value[at], unit_x, argument.kind))
        y, truth = (
            float(units.from_si(v, unit_y, result.kind)) for v in (check.expected.value[k], check.pairs.truth.value[at])
        )
        off = _off(calibration, float(check.off.value[k]))
        e_n = f"{held.e_n:.2f}", f"{held.e_n_unshared:.2f}"
        rows.append((f"{x:.4g}", f"{y:.5g}", f"{truth:.5g}", f"{off:+.2g}", *e_n, held.verdict))
    yield Table(heads, tuple(rows), (6,))
    yield from wrapped(
        "E_n is the difference over its expanded uncertainty, what both share cancelled; in E_n* the limits of shared "
        "instruments do not cancel, nor a reference that is not the same piece. Each is at "
        f"{100 * check.level:.4g} %, so that all {len(check.held)} together raise a false alarm in 5 % of checks."
    )
    yield from wrapped(f"{_drift(calibration, check)}.")
    if check.findings:
        yield from ("", *raised(check.findings))


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


def _chart(verified: Verified) -> Iterator[Block]:
    """Mean of every check with its bar, on one scale, zero being the calibration."""
    calibration = verified.calibration
    ends = [abs(float(x)) for check in verified.checks for x in (check.drift_interval.low, check.drift_interval.high)]
    claimed = _claimed(calibration)
    most = _off(calibration, max([*ends, claimed])) * 1.1
    half = CHART // 2

    def place(x: float) -> int:
        return half + round(_off(calibration, x) / most * half)

    yield Heading(f"All checks so far, mean off the calibration [{_unit(calibration)}]", 3)
    scale = f"{-most:.2g}"
    yield f"  {'':<12}{scale:<{half}}0{f'{most:+.2g}':>{half}}"
    row = [" "] * CHART
    row[place(-claimed)] = row[place(claimed)] = ":"
    row[half] = "+"
    yield f"  {calibration.heading.value('date')!s:<12}{''.join(row)}  calibration's own bar"
    for check in verified.checks:
        row = [" "] * CHART
        row[place(-claimed)] = row[place(claimed)] = ":"
        low, high = (place(float(x)) for x in (check.drift_interval.low, check.drift_interval.high))
        row[low : high + 1] = ["-"] * (high + 1 - low)
        row[half] = "|" if row[half] == " " else "+"
        row[place(float(check.drift.value))] = "o"
        yield f"  {check.date!s:<12}{''.join(row)}  {check.verdict}"


def _claimed(calibration: CalibrationFile) -> float:
    low, high = (calibration.range.value(name) for name in ("lowest", "highest"))
    return curve_share(calibration, abs(low * high) ** 0.5 if calibration.formula.relative else high)
