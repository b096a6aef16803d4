"""A result as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.studies.result import FlowResult, Quantity, Result, interval_source
from flowrig.studies.together import Pair, Together
from flowrig.uncertainty.estimate import Estimate

WIDTH = 80
BENT = 3.0  # times the standard deviation of the draws, either way: beyond, the linear uncertainty has no meaning


class Sure(Protocol):
    """Anything that knows the probability of its intervals."""

    coverage: float


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
    return rounded(spread(q), float(q.value), float(q.low), float(q.high))


def spread(q: Quantity) -> float:
    """What its digits go by: the standard uncertainty, or where that has no meaning a quarter of the drawn interval."""
    return float(q.u) if linear_holds(q) else (float(q.high) - float(q.low)) / 4


def linear_holds(q: Quantity) -> bool:
    """Whether the linear uncertainty is of the size that draws have; a crossing that vanishes nearby leaves none."""
    drawn = float(units.from_si(float(q.interval.spread), q.unit, units.as_difference(q.kind)))
    return not (bool(q.interval.curved) and math.isfinite(drawn)) or BENT * drawn > float(q.u) > drawn / BENT


def quantity_line(q: Quantity) -> str:
    value, low, high = numbers(q)
    return f"{value} {q.unit}   [{low} to {high}]"


def result_text(result: Result) -> str:
    """Everything a person at the terminal is shown."""
    lines = heading_text(result.record)
    for flow in result.flows:
        lines.append("")
        lines += flow_text(result, flow)
    for group in result.together:
        lines += ["", *together_text(result, group)]
    if result.measured:
        lines += ["", "Beside the flow"]
        lines += [f"  {q.label[:1].upper()}{q.label[1:]}  {quantity_line(q)}" for q in result.measured.values()]
    if result.claims:
        lines += ["", *claims_text(result)]
    if result.findings:
        lines += ["", "About the record"]
        lines += findings_text(result.findings)
    return "\n".join(lines)


def heading_text(record: Record) -> list[str]:
    heading = record.heading
    lines = textwrap.wrap(f"{heading.value('title')}, {heading.value('date')}", WIDTH)
    if heading.value("invented"):
        lines.append("Invented readings, for demonstration.")
    return lines


def flow_text(result: Result, flow: FlowResult) -> list[str]:
    title = f"{flow.name}: {flow.method.title}" if flow.name != flow.method.title else flow.name
    lines = textwrap.wrap(title, WIDTH)
    lines += first_lines(result, flow.main)
    scatter = flow.scatter
    if scatter is not None and scatter.stretches < 0.95 * scatter.n:
        lines.append(f"  log of {scatter.n} readings, worth {scatter.stretches:.0f} independent ones")
    lines += ["", *quantities_text(flow.quantities), ""]
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
    lines += ["", *budget_text(flow.main)]
    for text in flow.conventions:
        lines += textwrap.wrap(f"Convention: {text}.", WIDTH, initial_indent="  ", subsequent_indent="    ")
    if flow.findings:
        lines.append("")
        lines += findings_text(flow.findings)
    return lines


def first_lines(result: Sure, main: Quantity) -> Iterator[str]:
    """What a measurement, or several together, came to."""
    value, low, high = numbers(main)
    coverage = f"{100 * result.coverage:.6g} %"
    yield f"  Flow {value} {main.unit}, {coverage} interval {low} to {high} {main.unit}"
    yield f"  {main.label}"
    yield from (f"  {text}" for text in _how_sure(main))


def quantities_text(quantities: Mapping[str, Quantity]) -> Iterator[str]:
    width = max(len(q.label) for q in quantities.values())
    yield from (f"  {q.label:<{width}}  {quantity_line(q)}" for q in quantities.values())
    others = other_units(next(iter(quantities.values())))
    if others:
        yield f"  {'the first in other units':<{width}}  {others}"


def budget_text(main: Quantity) -> Iterator[str]:
    yield "  Largest causes of error (share of the variance)"
    yield from budget_lines(main.estimate, main.unit, main.kind)


def budget_lines(estimate: Estimate, unit: str, kind: str) -> Iterator[str]:
    """The three largest causes of one number."""
    for line in estimate.budget()[:3]:
        u = units.from_si(float(np.squeeze(line.u)), unit, units.as_difference(kind))
        cause = textwrap.shorten(line.cause.name, 46, placeholder="...")
        yield f"    {100 * float(np.squeeze(line.share)):5.1f} %  {cause:<46}  u {u:.3g} {unit}"


def together_text(result: Result, group: Together) -> Iterator[str]:
    """Every two measurements of a flow held against each other, then all of them as one flow or why not."""
    yield from textwrap.wrap("Held against each other" + (f": {group.of}" if group.of else ""), WIDTH)
    number = {name: i + 1 for i, name in enumerate(group.names)}
    width = max(min(len(name), 40) for name in number)
    for name, i in number.items():
        shown = f"  {i}  {textwrap.shorten(name, 40, placeholder='...'):<{width}}"
        yield f"{shown}  {quantity_line(group.flows[i - 1])}" if group.flows else shown.rstrip()
    if group.pairs:
        yield from wrapped(f"{group.basis[:1].upper()}{group.basis[1:]}.")
        yield ""
        yield from _pairs_text(result, group.pairs, number)
        yield ""
    combined = group.combined
    if combined is None:
        yield from wrapped(f"{group.why_not[:1].upper()}{group.why_not[1:]}.")
    else:
        yield f"{combined.name[:1].upper()}{combined.name[1:]}"
        yield from first_lines(result, combined.main)
        weights = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in combined.weights.items())
        yield from wrapped(f"Weights: {weights}.", further=4)
        yield from ("", *quantities_text(combined.quantities))
        yield from ("", *budget_text(combined.main))
    findings = [*group.findings, *(combined.findings if combined is not None else ())]
    if findings:
        yield from ("", *findings_text(findings))


def _pairs_text(result: Result, pairs: Sequence[Pair], number: Mapping[str, int]) -> Iterator[str]:
    unit = pairs[0].difference.unit
    yield f"  {'':>7}  {f'difference [{unit}]':>20}  {'in %':>7}  {'E_n':>6}  {'E_n*':>6}  verdict"
    for pair in pairs:
        value, bar = rounded(float(pair.difference.u), float(pair.difference.value), pair.expanded)
        which = f"{number[pair.first]} - {number[pair.second]}"
        e_n, apart = (f"{x:.2f}" for x in (pair.e_n, pair.comparison.e_n_unshared))
        share = f"{100 * pair.share:+.2g}"
        yield f"  {which:>7}  {f'{value} ± {bar}':>20}  {share:>7}  {e_n:>6}  {apart:>6}  {pair.verdict}"
    yield from wrapped(
        f"E_n is the difference over its {100 * result.coverage:.6g} % uncertainty, with what both share cancelled; "
        f"E_n* as if they shared nothing. Beyond 1 either way, in both, they disagree."
    )


def claims_text(result: Result) -> Iterator[str]:
    """What is stated, held against what was measured."""
    section = result.record.claims
    assert section is not None
    yield "Claims"
    for words in filter(None, (section.value("notes"),)):
        yield from wrapped(words)
    for claim in result.claims:
        for sentence in claim.sentences:
            yield from wrapped(sentence, further=4)
    yield from findings_text([f for claim in result.claims for f in claim.findings])


def wrapped(text: str, further: int = 2) -> list[str]:
    """A paragraph, two columns in."""
    joined = text.replace(" %", "\N{NO-BREAK SPACE}%")  # a number keeps its sign
    lines = textwrap.wrap(joined, WIDTH, initial_indent="  ", subsequent_indent=" " * further)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def _how_sure(main: Quantity) -> Iterator[str]:
    how = "Monte Carlo" if interval_source(main) == "monte carlo" else "linear"
    dof = float(main.estimate.dof)
    value = float(main.estimate.value)
    if not linear_holds(main):
        yield "no linear uncertainty: the equation bends too much; interval Monte Carlo"
    elif value:
        share = f"standard uncertainty {percent(float(main.estimate.u) / abs(value))}"
        yield f"{share}{'' if dof > 1000 else f', {dof:.3g} degrees of freedom'}; interval {how}"
    if bool(main.interval.curved):
        spread = units.from_si(float(main.interval.spread), main.unit, units.as_difference(main.kind))
        yield f"the equation bends here: standard deviation of the draws {spread:.2g} {main.unit}"


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
        lines += wrapped(f"{MARK[f.severity]}, {f.code}: {f.message}", further=4)
    return lines


def alarms_text(result: Result) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return [f"{MARK[f.severity]}, {f.code}: {f.message}" for f in result.all_findings if f.severity == "alarm"]


def batch_text(result: Result, most: int = 10) -> str:
    """The first rows of a batch, and what was found over all of them."""
    lines = heading_text(result.record)
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
