"""A result as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import Any

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.studies.result import FlowResult, Quantity, Result, Together, interval_source

WIDTH = 80
MARK = {"alarm": "ALARM", "warning": "Warning", "note": "Note"}


def rounded(u: float, *values: float) -> list[str]:
    """Values to the place of the second digit of their standard uncertainty (JCGM 100:2008 7.2.6, from memory)."""
    if not math.isfinite(u) or u <= 0:
        return [f"{x:.6g}" for x in values]
    exponent = math.floor(math.log10(float(f"{u:.1e}")))
    decimals = 1 - exponent
    return [f"{round(x, decimals):.{max(decimals, 0)}f}" for x in values]


def percent(share: float) -> str:
    """Two digits, trailing zeros kept."""
    return f"{100 * share:#.2g}".rstrip(".") + " %"


def numbers(q: Quantity) -> list[str]:
    """Value, low and high end as printed."""
    return rounded(float(q.u), float(q.value), float(q.low), float(q.high))


def quantity_line(q: Quantity) -> str:
    value, low, high = numbers(q)
    return f"{value} {q.unit}   [{low} to {high}]"


def result_text(result: Result) -> str:
    """Everything a person at the terminal is shown."""
    lines = heading_text(result)
    for flow in result.flows:
        lines.append("")
        lines += flow_text(result, flow)
    for held in result.together:
        lines.append("")
        lines += together_text(result, held)
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
    value, low, high = numbers(main)
    coverage = f"{100 * result.coverage:.6g} %"
    lines.append(f"  Flow {value} {main.unit}, {coverage} interval {low} to {high} {main.unit}")
    lines.append(f"  {main.label}")
    lines += [f"  {text}" for text in _how_sure(flow)]
    lines.append("")
    width = max(len(q.label) for q in flow.quantities.values())
    lines += [f"  {q.label:<{width}}  {quantity_line(q)}" for q in flow.quantities.values()]
    others = other_units(main)
    if others:
        lines.append(f"  {'the first in other units':<{width}}  {others}")
    lines.append("")
    for station, state in flow.air.items():
        lines.append(f"  Air at the {station}: {air_line(state)}")
    plane = float(flow.diagnostics["density"].reshape(-1)[0])
    if not math.isclose(plane, float(flow.air["meter"]["density"].value), rel_tol=1e-4):
        lines.append(f"  Air at the metering plane, static pressure included: {plane:.4f} kg/m3")
    if flow.summary:
        lines += textwrap.wrap(f"From: {flow.summary}.", WIDTH, initial_indent="  ", subsequent_indent="    ")
    if flow.corrections:
        taken = "; ".join(f"{label} {100 * float(np.mean(x)):+.2g} %" for label, x in flow.corrections.items())
        lines += textwrap.wrap(f"Corrected for: {taken}.", WIDTH, initial_indent="  ", subsequent_indent="    ")
    lines.append("")
    lines.append("  Largest causes of error (share of the variance)")
    for line in main.estimate.budget()[:3]:
        u = units.from_si(float(line.u), main.unit, units.as_difference(main.kind))
        cause = textwrap.shorten(line.cause.name, 46, placeholder="...")
        lines.append(f"    {100 * float(line.share):5.1f} %  {cause:<46}  u {u:.3g} {main.unit}")
    for text in flow.conventions:
        lines += textwrap.wrap(f"Convention: {text}.", WIDTH, initial_indent="  ", subsequent_indent="    ")
    if flow.findings:
        lines.append("")
        lines += findings_text(flow.findings)
    return lines


def together_text(result: Result, held: Together) -> Iterator[str]:
    """Each pair of measurements of one flow, and what they give together."""
    yield f"Held against each other{f', {held.of}' if held.of else ''}, as standard flow"
    for pair in held.pairs:
        c, d = pair.comparison, pair.difference
        half = float(d.interval.factor) * float(d.u)
        value, half_shown = rounded(float(d.u), float(d.value), half)
        said = (
            f"{pair.first} less {pair.second}: {value} ± {half_shown} {d.unit} ({percent(pair.share)}); "
            f"E_n {c.e_n:.2f}, with no shared error cancelled {c.e_n_unshared:.2f}: {c.verdict}"
        )
        yield from textwrap.wrap(said, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if held.combined is None:
        why = textwrap.wrap(
            f"Nothing is combined: {held.why_not}.", WIDTH, initial_indent="  ", subsequent_indent="    "
        )
        yield from why
        return
    main = held.main
    value, low, high = numbers(main)
    coverage = f"{100 * result.coverage:.6g} %"
    yield f"  Combined {value} {main.unit}, {coverage} interval {low} to {high} {main.unit}"
    where = " of the first" if main.name == "actual_flow_meter" else ""
    yield f"  {main.label}{where}"
    width = max(len(q.label) for q in held.quantities.values())
    others = [q for q in held.quantities.values() if q is not main]
    yield from (f"  {q.label:<{width}}  {quantity_line(q)}" for q in others)
    weights = ", ".join(f"{n} {w:.2f}" for n, w in zip(held.names, held.combined.weights, strict=True))
    yield from textwrap.wrap(f"Weights: {weights}.", WIDTH, initial_indent="  ", subsequent_indent="    ")


def _how_sure(flow: FlowResult) -> Iterator[str]:
    main = flow.main
    how = "Monte Carlo" if interval_source(main) == "monte carlo" else "linear"
    dof = float(main.estimate.dof)
    value = float(main.estimate.value)
    if value:
        share = f"standard uncertainty {percent(float(main.estimate.u) / abs(value))}"
        yield f"{share}{'' if dof > 1000 else f', {dof:.3g} degrees of freedom'}; interval {how}"
    if bool(main.interval.curved):
        spread = units.from_si(float(main.interval.spread), main.unit, units.as_difference(main.kind))
        yield f"the equation bends here: standard deviation of the draws {spread:.2g} {main.unit}"
    scatter = flow.scatter
    if scatter is not None and scatter.stretches < 0.95 * scatter.n:
        yield f"log of {scatter.n} readings, worth {scatter.stretches:.0f} independent ones"


def other_units(q: Quantity) -> str:
    """The value in the usual units of flow other than its own."""
    if q.kind != "flow":
        return ""
    own = units.factor(q.unit, q.kind)
    others = [q.to(unit) for unit in ("m3/h", "L/s", "cfm") if units.factor(unit, q.kind) != own]
    return ", ".join(f"{numbers(other)[0]} {other.unit}" for other in others)


def air_line(state: dict[str, Any]) -> str:
    def mean(name: str) -> float:
        return float(np.mean(state[name].value))

    u = float(np.mean(state["density"].u / state["density"].value))
    return (
        f"{mean('temperature') - 273.15:.1f} degC, {mean('pressure') / 100:.1f} hPa, "
        f"{mean('density'):.4f} kg/m3 (u {percent(u)})"
    )


def findings_text(findings: list[Finding]) -> list[str]:
    lines = []
    for f in findings:
        text = f"{MARK[f.severity]}, {f.code}: {f.message}"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines


def alarms_text(result: Result) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    findings = [f for flow in result.flows for f in flow.findings] + result.findings
    return [f"{MARK[f.severity]}, {f.code}: {f.message}" for f in findings if f.severity == "alarm"]


def batch_text(result: Result, most: int = 10) -> str:
    """The first rows of a batch, and what was found over all of them."""
    lines = heading_text(result)
    for flow in result.flows:
        main = flow.main
        n = len(np.atleast_1d(main.value))
        coverage = f"{100 * result.coverage:.6g} %"
        lines += ["", f"{flow.name}: {n} rows, {coverage} intervals", f"  {main.label}, in {main.unit}"]
        value, u, low, high = (np.broadcast_to(a, (n,)) for a in (main.value, main.u, main.low, main.high))
        lines.append(f"  {'row':>7}  {'value':>12}  {'low':>12}  {'high':>12}")
        for i in range(min(n, most)):
            shown = rounded(float(u[i]), float(value[i]), float(low[i]), float(high[i]))
            lines.append(f"  {i + 1:>7}  {shown[0]:>12}  {shown[1]:>12}  {shown[2]:>12}")
        if n > most:
            lines.append(f"  {'...':>7}  {n - most} more; --csv FILE writes them all")
        lines += _batch_findings(flow.findings, n)
    if result.findings:
        lines += ["", "About the record", *findings_text(result.findings)]
    return "\n".join(lines)


def _batch_findings(findings: list[Finding], n: int) -> Iterator[str]:
    for f in findings:
        text = f"{MARK[f.severity]}, {f.code}: {f.message}"
        if f.rows is not None:
            rows = (np.flatnonzero(f.rows) + 1).tolist()
            said = ", ".join(map(str, rows[:6])) + (", ..." if len(rows) > 6 else "")
            text += f" ({len(rows)} of {n} rows: {said})"
        yield from textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
