"""A result as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import Any

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.studies.result import FlowResult, Quantity, Result, interval_source

WIDTH = 80
MARK = {"alarm": "ALARM", "warning": "Warning", "note": "Note"}


def rounded(value: float, low: float, high: float) -> tuple[str, str, str]:
    """Value and interval with so many decimals that the half-width keeps two digits."""
    half = (high - low) / 2
    if not math.isfinite(half) or half <= 0:
        return f"{value:.6g}", f"{low:.6g}", f"{high:.6g}"
    decimals = 1 - math.floor(math.log10(half))
    if decimals <= 0:
        return tuple(f"{round(x, decimals):.0f}" for x in (value, low, high))  # type: ignore[return-value]
    return f"{value:.{decimals}f}", f"{low:.{decimals}f}", f"{high:.{decimals}f}"


def percent(coverage: float) -> str:
    return f"{100 * coverage:.6g} %"


def quantity_line(q: Quantity) -> str:
    value, low, high = rounded(float(q.value), float(q.low), float(q.high))
    return f"{value} {q.unit}   [{low} to {high}]"


def result_text(result: Result) -> str:
    """Everything a person at the terminal is shown."""
    lines = heading_text(result)
    for flow in result.flows:
        lines.append("")
        lines += flow_text(result, flow)
    if result.findings:
        lines += ["", "About the record"]
        lines += findings_text(result.findings)
    return "\n".join(lines)


def heading_text(result: Result) -> list[str]:
    heading = result.record.heading
    lines = textwrap.wrap(f"{heading.value('title')}, {heading.value('date')}", WIDTH)
    if heading.value("invented"):
        lines.append("Invented readings, for demonstration.")
    return lines


def flow_text(result: Result, flow: FlowResult) -> list[str]:
    lines = [f"{flow.name}: {flow.method.title}" if flow.name != flow.method.title else flow.name]
    main = flow.main
    value, low, high = rounded(float(main.value), float(main.low), float(main.high))
    lines.append(f"  Flow {value} {main.unit}, {percent(result.coverage)} interval {low} to {high} {main.unit}")
    how = "Monte Carlo" if interval_source(main) == "monte carlo" else "linear"
    dof = float(main.estimate.dof)
    share = float(main.estimate.u / abs(main.estimate.value)) if float(main.estimate.value) else math.inf
    said = "" if dof > 1000 else f", {dof:.3g} degrees of freedom"
    lines.append(f"  standard uncertainty {share:.2%}{said}; interval {how}")
    lines.append("")
    width = max(len(q.label) for q in flow.quantities.values())
    for q in flow.quantities.values():
        lines.append(f"  {q.label:<{width}}  {quantity_line(q)}")
    also = other_units(main)
    if also:
        lines.append(f"  {'the first also in other units':<{width}}  {also}")
    lines.append("")
    for station, state in flow.air.items():
        lines.append(f"  Air at the {station}: {air_line(state)}")
    lines.append("")
    lines.append("  Largest causes of error (share of the variance)")
    for line in main.estimate.budget()[:3]:
        u = units.from_si(float(line.u), main.unit, units.as_difference(main.kind))
        cause = textwrap.shorten(line.cause.name, 46, placeholder="...")
        lines.append(f"    {float(line.share):5.1%}  {cause:<46}  u {u:.3g} {main.unit}")
    for text in flow.conventions:
        lines += textwrap.wrap(f"Convention: {text}.", WIDTH, initial_indent="  ", subsequent_indent="    ")
    if flow.findings:
        lines.append("")
        lines += findings_text(flow.findings)
    return lines


def other_units(q: Quantity) -> str:
    others = (
        [
            u
            for u in ("m3/h", "L/s", "cfm")
            if not math.isclose(units.factor(u, q.kind)[0], units.factor(q.unit, q.kind)[0])
        ]
        if q.kind == "flow"
        else []
    )
    shown = []
    for unit in others:
        other = q.to(unit)
        value, _, _ = rounded(float(other.value), float(other.low), float(other.high))
        shown.append(f"{value} {unit}")
    return ", ".join(shown)


def air_line(state: dict[str, Any]) -> str:
    def mean(name: str) -> float:
        return float(np.mean(state[name].value))

    density = state["density"]
    u = float(np.mean(density.u / density.value))
    return (
        f"{mean('temperature') - 273.15:.1f} degC, {mean('pressure') / 100:.1f} hPa, "
        f"{mean('density'):.4f} kg/m3 (u {u:.2%})"
    )


def findings_text(findings: list[Finding]) -> list[str]:
    lines = []
    for f in findings:
        text = f"{MARK[f.severity]}, {f.code}: {f.message}"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines


def batch_text(result: Result, most: int = 10) -> str:
    """The first rows of a batch, and what was found over all of them."""
    lines = heading_text(result)
    for flow in result.flows:
        main = flow.main
        n = len(np.atleast_1d(main.value))
        lines.append("")
        lines.append(f"{flow.name}: {n} rows, {percent(result.coverage)} intervals, {main.label} in {main.unit}")
        value, low, high = (np.broadcast_to(a, (n,)) for a in (main.value, main.low, main.high))
        lines.append(f"  {'row':>7}  {'value':>12}  {'low':>12}  {'high':>12}")
        for i in range(min(n, most)):
            shown = rounded(float(value[i]), float(low[i]), float(high[i]))
            lines.append(f"  {i + 1:>7}  {shown[0]:>12}  {shown[1]:>12}  {shown[2]:>12}")
        if n > most:
            lines.append(f"  {'...':>7}  {n - most} more; --csv FILE writes them all")
        lines += _batch_findings(flow.findings, n)
    if result.findings:
        lines += ["About the record", *findings_text(result.findings)]
    return "\n".join(lines)


def _batch_findings(findings: list[Finding], n: int) -> Iterator[str]:
    for f in findings:
        count = n if f.rows is None else int(np.sum(f.rows))
        text = f"{MARK[f.severity]}, {f.code} ({count} of {n} rows): {f.message}"
        yield from textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
