"""A result as plain text for the terminal, within 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from flowrig.records.declare import Finding
from flowrig.report.lines import (
    MARK,
    WIDTH,
    air_line,
    budget_text,
    findings_text,
    first_lines,
    heading_text,
    quantities_text,
    quantity_line,
    rounded,
    wrapped,
)
from flowrig.report.parts_text import parts_text
from flowrig.studies.result import FlowResult, Result
from flowrig.studies.together import Pair, Together


def result_text(result: Result) -> str:
    """Everything a person at the terminal is shown."""
    lines = heading_text(result.record)
    for flow in result.flows:
        lines.append("")
        lines += flow_text(result, flow)
    for group in result.together:
        lines += ["", *together_text(result, group)]
    lines += parts_text(result)
    if result.claims:
        lines += ["", *claims_text(result)]
    if result.findings:
        lines += ["", "About the record"]
        lines += findings_text(result.findings)
    return "\n".join(lines)


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
