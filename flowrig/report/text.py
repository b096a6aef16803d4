"""A result for people: headings, words and tables."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from flowrig.records.declare import Finding
from flowrig.report.blocks import MARK, Block, Heading, Raised, plain, raised, wrapped
from flowrig.report.lines import (
    Cells,
    air_line,
    budget_blocks,
    first_lines,
    heading_blocks,
    quantities_blocks,
    quantity_cells,
    quantity_words,
    rounded,
)
from flowrig.report.parts_text import parts_blocks
from flowrig.report.table import Table
from flowrig.studies.result import FlowResult, Result
from flowrig.studies.together import Pair, Together

SHOWN_NAME = 40  # columns of a measurement's name beside its flow


def result_text(result: Result) -> str:
    """Everything a person is shown, as plain text within 80 columns."""
    return plain(result_blocks(result))


def result_blocks(result: Result) -> Iterator[Block]:
    """Everything a person is shown."""
    yield from heading_blocks(result.record)
    for flow in result.flows:
        yield ""
        yield from flow_blocks(result, flow)
    for group in result.together:
        yield from ("", *together_blocks(result, group))
    yield from parts_blocks(result)
    if result.claims:
        yield from ("", *claims_blocks(result))
    if result.findings:
        yield from ("", Heading("About the record"), *raised(result.findings))


def flow_blocks(result: Result, flow: FlowResult) -> Iterator[Block]:
    yield Heading(f"{flow.name}: {flow.method.title}" if flow.name != flow.method.title else flow.name)
    yield from first_lines(result, flow.main)
    scatter = flow.scatter
    if scatter is not None and scatter.stretches < 0.95 * scatter.n:
        yield from wrapped(f"log of {scatter.n} readings, worth {scatter.stretches:.0f} independent ones")
    yield from ("", *quantities_blocks(flow.quantities), "")
    for station, state in flow.air.items():
        yield from wrapped(f"Air at the {station}: {air_line(state)}", 4)
    plane = float(flow.diagnostics["density"].reshape(-1)[0])
    if not math.isclose(plane, float(flow.air["meter"]["density"].value), rel_tol=1e-4):
        yield from wrapped(f"Air at the metering plane, static pressure included: {plane:.4f} kg/m3", 4)
    if flow.summary:
        yield from wrapped(f"From: {flow.summary}.", 4)
    if flow.corrections:
        taken = "; ".join(f"{label} {100 * float(np.mean(x)):+.2g} %" for label, x in flow.corrections.items())
        yield from wrapped(f"Corrected for: {taken}.", 4)
    yield from ("", *budget_blocks(flow.main))
    for text in flow.conventions:
        yield from wrapped(f"Convention: {text}.", 4)
    if flow.findings:
        yield from ("", *raised(flow.findings))


def together_blocks(result: Result, group: Together) -> Iterator[Block]:
    """Every two measurements of a flow held against each other, then all of them as one flow or why not."""
    yield Heading("Held against each other" + (f": {group.of}" if group.of else ""))
    number = {name: i + 1 for i, name in enumerate(group.names)}
    yield _members(group)
    if group.pairs:
        yield from wrapped(f"{group.basis[:1].upper()}{group.basis[1:]}.")
        yield ""
        yield from _pairs(result, group.pairs, number)
        yield ""
    combined = group.combined
    if combined is None:
        yield from wrapped(f"{group.why_not[:1].upper()}{group.why_not[1:]}.")
    else:
        yield Heading(f"{combined.name[:1].upper()}{combined.name[1:]}")
        yield from first_lines(result, combined.main)
        weights = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in combined.weights.items())
        yield from wrapped(f"Weights: {weights}.", further=4)
        yield from ("", *quantities_blocks(combined.quantities))
        yield from ("", *budget_blocks(combined.main))
    findings = [*group.findings, *(combined.findings if combined is not None else ())]
    if findings:
        yield from ("", *raised(findings))


def _members(group: Together) -> Table:
    """The measurements with the numbers they go by."""
    flows = [quantity_cells(q) for q in group.flows] or [("", "", "", "")] * len(group.names)
    rows = tuple((f"{i}", name, *cells) for i, (name, cells) in enumerate(zip(group.names, flows, strict=True), 1))
    width = max(min(len(name), SHOWN_NAME) for name in group.names)

    def reads(rows: tuple[Cells, ...], room: int) -> Iterator[str]:
        for i, name, *cells in rows:
            shown = f"  {i}  {textwrap.shorten(name, SHOWN_NAME, placeholder='...'):<{width}}"
            yield f"{shown}  {quantity_words(tuple(cells))}".rstrip()

    return Table(("no.", "measurement", "flow", "unit", "from", "to"), rows, (0, 1, 3), keys=2, reads=reads)


def _pairs(result: Result, pairs: Sequence[Pair], number: Mapping[str, int]) -> Iterator[Block]:
    unit = pairs[0].difference.unit
    rows = []
    for pair in pairs:
        value, bar = rounded(float(pair.difference.u), float(pair.difference.value), pair.expanded)
        which = f"{number[pair.first]} - {number[pair.second]}"
        e_n, apart = (f"{x:.2f}" for x in (pair.e_n, pair.comparison.e_n_unshared))
        rows.append((which, f"{value} ± {bar}", f"{100 * pair.share:+.2g}", e_n, apart, pair.verdict))
    yield Table(("pair", f"difference [{unit}]", "in %", "E_n", "E_n*", "verdict"), tuple(rows), (0, 5))
    yield from wrapped(
        f"E_n is the difference over its {100 * result.coverage:.6g} % uncertainty, with what both share cancelled; "
        f"E_n* as if they shared nothing. Beyond 1 either way, in both, they disagree."
    )


def claims_blocks(result: Result) -> Iterator[Block]:
    """What is stated, held against what was measured."""
    section = result.record.claims
    assert section is not None
    yield Heading("Claims")
    for words in filter(None, (section.value("notes"),)):
        yield from wrapped(words)
    for claim in result.claims:
        for sentence in claim.sentences:
            yield from wrapped(sentence, further=4)
    yield from raised([f for claim in result.claims for f in claim.findings])


def alarms_text(result: Result) -> list[str]:
    """What must not go unseen even where nothing else is wanted."""
    return [f"{MARK[f.severity]}, {f.code}: {f.message}" for f in result.all_findings if f.severity == "alarm"]


def batch_text(result: Result, most: int = 10) -> str:
    """The first rows of a batch, and what was found over all of them, as plain text."""
    return plain(batch_blocks(result, most))


def batch_blocks(result: Result, most: int = 10) -> Iterator[Block]:
    """The first rows of a batch, and what was found over all of them."""
    yield from heading_blocks(result.record)
    for flow in result.flows:
        main = flow.main
        n = len(np.atleast_1d(main.value))
        yield from ("", Heading(f"{flow.name}: {n} rows, {100 * result.coverage:.6g} % intervals"))
        yield from wrapped(f"{main.label}, in {main.unit}", 4)
        value, u, low, high = (np.broadcast_to(a, (n,)) for a in (main.value, main.u, main.low, main.high))
        rows = [
            (f"{i + 1}", *rounded(float(u[i]), float(value[i]), float(low[i]), float(high[i])))
            for i in range(min(n, most))
        ]
        yield Table(("row", "value", "low", "high"), tuple(rows), ())
        if n > most:
            yield from wrapped(f"... {n - most} more; --csv FILE writes them all")
        yield from _batch_findings(flow.findings, n)
    if result.findings:
        yield from ("", Heading("About the record"), *raised(result.findings))


def _batch_findings(findings: list[Finding], n: int) -> Iterator[Block]:
    for f in findings:
        said = f.message
        if f.rows is not None:
            rows = (np.flatnonzero(f.rows) + 1).tolist()
            which = ", ".join(map(str, rows[:6])) + (", ..." if len(rows) > 6 else "")
            said += f" ({len(rows)} of {n} rows: {which})"
        yield Raised(f.severity, f.code, said)
