"""Several measurements of one flow: held against each other pair by pair, and combined where all of them agree."""

from __future__ import annotations

import itertools

import numpy as np

from flowrig.records.declare import Finding, FlagMeaning
from flowrig.studies.quantities import quantities
from flowrig.studies.result import FlowResult, Pair, Quantity, Result, Together
from flowrig.uncertainty import combine
from flowrig.uncertainty.interval import interval

DISAGREE = FlagMeaning(
    "methods disagree",
    "alarm",
    "Two measurements of one flow differ by more than their error bars explain, whether shared errors cancel or not. "
    "At least one of them is wrong by more than it says: find out which before either is used. Nothing is combined.",
    "E_n as in ISO 13528 (from memory)",
)
CANNOT_TELL = FlagMeaning(
    "cannot tell",
    "warning",
    "Two measurements of one flow agree or not, according to whether the errors of what both used cancel wholly. That "
    "is not known of a maker's limit, so nothing is claimed and nothing combined. A measurement with other instruments "
    "would tell.",
)
ADDS_NOTHING = FlagMeaning(
    "adds nothing",
    "note",
    "A measurement has no weight in the combined flow, or a negative one: what it could add, another knows better, and "
    "both share their larger errors.",
)
NOT_COMBINED = FlagMeaning(
    "not combined",
    "warning",
    "Measurements that agree could not be combined; the message says why.",
)
NOT_IN_ROWS = FlagMeaning(
    "not compared in rows",
    "note",
    "The measurements of a table of tests stand side by side, row by row; they are not held against each other. Reduce "
    "the records of interest one by one.",
)
FLAGS = (DISAGREE, CANNOT_TELL, ADDS_NOTHING, NOT_COMBINED, NOT_IN_ROWS)


def held_together(result: Result) -> list[Together]:
    """Measurements of one flow, group by group; findings go to the result.

    Notes
    -----
    They are compared as mass flow, which is the same at every station, shown as flow of standard air.
    """
    groups: dict[str, list[FlowResult]] = {}
    leaking: set[str] = set()
    for flow, reduced in zip(result.record.flows, result.flows, strict=True):
        of = flow.section.value("of") or ""
        groups.setdefault(of, []).append(reduced)
        if "chambers" in flow.hardware:
            leaking.add(of)
    several = {of: flows for of, flows in groups.items() if len(flows) > 1}
    if several and result.rows is not None:
        result.findings.append(Finding(NOT_IN_ROWS, f"{len(result.flows)} measurements"))
        return []
    return [_together(of, flows, result, of in leaking) for of, flows in several.items()]


def _together(of: str, flows: list[FlowResult], result: Result, through_unit: bool) -> Together:
    names = [flow.name for flow in flows]
    pairs = [_pair(a, b, result) for a, b in itertools.combinations(flows, 2)]
    why_not = [f"{pair.first} and {pair.second} disagree" for pair in pairs if pair.comparison.verdict == "disagree"]
    for said in why_not:
        result.findings.append(Finding(DISAGREE, said))
    for pair in pairs:
        if pair.comparison.verdict == "cannot tell":
            said = f"whether {pair.first} and {pair.second} agree"
            why_not.append(f"it cannot be told {said}")
            result.findings.append(Finding(CANNOT_TELL, said))
    if why_not:
        return Together(of, names, pairs, why_not="; ".join(why_not))
    try:
        combined = combine.combine([flow["mass_flow"].estimate for flow in flows])
    except ValueError as error:
        result.findings.append(Finding(NOT_COMBINED, str(error)))
        return Together(of, names, pairs, why_not=str(error))
    for i in combined.adds_nothing:
        result.findings.append(Finding(ADDS_NOTHING, f"{names[i]}, weight {combined.weights[i]:.2g}"))
    first = flows[0]
    shown = quantities(combined.estimate, first.densities, result, first.main.unit, "all methods", through_unit)
    return Together(of, names, pairs, shown, combined)


def _pair(first: FlowResult, second: FlowResult, result: Result) -> Pair:
    a, b = (flow["standard_flow"] for flow in (first, second))
    comparison = combine.compare(a.estimate, b.estimate, result.coverage)
    bar = interval(comparison.difference, result.coverage, samples=result.samples, seed=result.seed)
    difference = Quantity("difference", f"difference in {a.label}", "flow", a.unit, comparison.difference, bar)
    mean = (float(a.estimate.value) + float(b.estimate.value)) / 2
    share = float(comparison.difference.value) / mean if mean else np.nan
    return Pair(first.name, second.name, comparison, difference, share)
