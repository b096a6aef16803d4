"""A calibration held against its checks, for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from flowrig import units
from flowrig.records.calibration import CalibrationFile
from flowrig.report.blocks import Block, Heading, Paragraph, plain, raised, wrapped
from flowrig.report.lines import rounded
from flowrig.report.table import Table
from flowrig.studies.verify import Check, Verified, claimed

CHART = 41  # columns of the chart at the most, its middle at zero


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
    own = _off(calibration, claimed(calibration))
    bars: list[tuple[str, float, float, float, str]] = [
        (str(calibration.heading.value("date")), 0.0, -own, own, "calibration's own bar")
    ]
    for check in verified.checks:
        drift, bar = check.drift, check.drift_interval
        mean, low, high = (_off(calibration, float(x)) for x in (drift.value, bar.low, bar.high))
        bars.append((str(check.date), mean, low, high, check.verdict))
    unit = _unit(calibration)
    yield Heading(f"All checks so far, mean off the calibration [{unit}]", 3)
    rows = tuple((date, *rounded((high - low) / 4, mean, low, high), said) for date, mean, low, high, said in bars)
    heads = ("check", f"mean off [{unit}]", "from", "to", "verdict")
    yield Table(heads, rows, (0, 4), reads=lambda _, room: _drawn(bars, room), drawing=True)


def _drawn(bars: Sequence[tuple[str, float, float, float, str]], room: int) -> Iterator[str]:
    """A line a check; the calibration's own bar is marked on each."""
    own = bars[0][3]
    most = max(abs(x) for _, _, low, high, _ in bars for x in (low, high)) * 1.1
    words = max(len(said) for *_, said in bars)
    half = max(3, min(CHART, room - 16 - words) // 2)
    chart = 2 * half + 1

    def place(x: float) -> int:
        return half + round(x / most * half)

    yield f"  {'':<12}{f'{-most:.2g}':<{half}}0{f'{most:+.2g}':>{half}}"
    for i, (date, mean, low, high, said) in enumerate(bars):
        row = [" "] * chart
        row[place(-own)] = row[place(own)] = ":"
        if i:
            row[place(low) : place(high) + 1] = ["-"] * (place(high) + 1 - place(low))
            row[half] = "|" if row[half] == " " else "+"
            row[place(mean)] = "o"
        else:
            row[half] = "+"
        yield f"  {date:<12}{''.join(row)}  {said}"
