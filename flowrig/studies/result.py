"""The result of a reduction: numbers with error bars, what shares their error, and every finding."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import repeat
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from flowrig import units
from flowrig.records.declare import Finding
from flowrig.records.record import Record
from flowrig.studies.scatter import Scatter
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import Interval

if TYPE_CHECKING:
    import pandas as pd

    from flowrig.studies.claims import HeldClaim
    from flowrig.studies.together import CombinedFlow, Pair, Together

# Version of the JSON result; 2 adds `compared` and `claims`, and what a measurement is `of`; 3 adds `parts`, and the
# `kind` of every estimate; what was `measured` beside the flow is among the parts since.
CONTRACT = 3


@dataclass
class Quantity:
    """One number of a result (or one a row) with its error bar.

    Attributes
    ----------
    name : str
        ``actual_flow_meter``, ``actual_flow_unit``, ``actual_flow_room``, ``standard_flow``, ``mass_flow``.
    label : str
        In words, the station or standard density named.
    kind : str
        Key of `flowrig.units.KINDS`.
    unit : str
        Unit it is printed in.
    estimate : Estimate
        SI.
    interval : Interval
        SI.
    drawn : array of bool, or None
        Rows of a batch whose interval is Monte Carlo.
    bound : {'', 'at most', 'at least'}
        Only a limit is known: the one end of the interval that has a value, which holds with the stated coverage.
    """

    name: str
    label: str
    kind: str
    unit: str
    estimate: Estimate
    interval: Interval
    drawn: Any = None
    bound: Literal["", "at most", "at least"] = ""

    def __repr__(self) -> str:
        if self.estimate.axes:
            return f"<{self.name}: {self.estimate.value.size} rows [{self.unit}]>"
        if self.bound:
            return f"<{self.name}: {self.bound} {self.limit:.6g} {self.unit}>"
        return f"<{self.name}: {self.value:.6g} {self.unit}, {self.low:.6g} to {self.high:.6g}>"

    @property
    def value(self) -> Any:
        """In `unit`."""
        return units.from_si(self.estimate.value, self.unit, self.kind)

    @property
    def low(self) -> Any:
        return units.from_si(self.interval.low, self.unit, self.kind)

    @property
    def high(self) -> Any:
        return units.from_si(self.interval.high, self.unit, self.kind)

    @property
    def limit(self) -> Any:
        """Of a bound, what it is."""
        return self.low if self.bound == "at least" else self.high

    @property
    def u(self) -> Any:
        return units.from_si(self.estimate.u, self.unit, units.as_difference(self.kind))

    def to(self, unit: str) -> Quantity:
        """The same in another unit.

        Raises
        ------
        flowrig.units.UnitError
            If the unit is not one of this kind.
        """
        units.factor(unit, self.kind)
        return replace(self, unit=unit)

    def quantity(self, unit: str | None = None) -> Any:
        """Value as a pint quantity of flowrig's own registry."""
        return units.quantity(self.estimate.value, unit or self.unit, self.kind)

    def to_ufloat(self) -> Any:
        """SI value as a number of the `uncertainties` package, correlated with every other result."""
        return self.estimate.to_ufloat()


@dataclass
class FlowResult:
    """One measurement reduced.

    Attributes
    ----------
    name : str
    method : Method
    quantities : dict of str to Quantity
        The first is the one the measurement is about.
    air : dict of str to dict of str to Estimate
        State at each station.
    findings : list of Finding
        Every flag, alarms first.
    summary : str
        What the flow was computed from, in a line: enough to check it by hand.
    corrections : dict of str to array
        What was added to the flow of the summary, as a share of it, by what for; negative where it was taken off.
    scatter : Scatter or None
        What repeats, passes or a log said about their own mean.
    inputs : dict of str to array
        What the kernel was given: readings with their zero taken out, means of runs, dimensions, air. SI.
    diagnostics : dict of str to array
        Whatever else the kernel returned: Reynolds numbers, throat velocities, a profile.
    of : str
        Which flow it is a measurement of, where the record holds several.
    """

    name: str
    method: Any
    quantities: dict[str, Quantity]
    air: dict[str, dict[str, Estimate]]
    findings: list[Finding] = field(default_factory=list)
    summary: str = ""
    corrections: dict[str, Any] = field(default_factory=dict)
    scatter: Scatter | None = None
    inputs: dict[str, Any] = field(default_factory=dict)
    diagnostics: dict[str, Any] = field(default_factory=dict)
    of: str = ""

    @property
    def conventions(self) -> tuple[str, ...]:
        """Choices a sceptical reader would ask about."""
        conventions: tuple[str, ...] = self.method.conventions
        return conventions

    def __repr__(self) -> str:
        return f"<FlowResult {self.name!r}: {self.main!r}, {len(self.findings)} flags>"

    @property
    def main(self) -> Quantity:
        return next(iter(self.quantities.values()))

    def __getitem__(self, name: str) -> Quantity:
        return self.quantities[name]


@dataclass
class PartResult:
    """What a part of a record beside its flows came to; each study may add to it.

    Attributes
    ----------
    name : str
        Of the part, as in `Record.parts`.
    title : str
        In words.
    quantities : dict of str to Quantity
        Single numbers, by name; the first is the one the part is about. None where only words follow.
    findings : list of Finding
    sentences : list of str
        What follows, in words.
    """

    name: str
    title: str
    quantities: dict[str, Quantity] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self.name}: {list(self.quantities.values())!r}>"


@dataclass
class Result:
    """A record reduced.

    Attributes
    ----------
    record : Record
    flows : list of FlowResult
    findings : list of Finding
        About the record as a whole (instruments, heading).
    coverage : float
    seed : int
    samples : int or None
    rows : dict of str to list, or None
        For a batch, the columns of its table as read.
    together : list of Together
        Measurements of one flow held against each other, one entry a flow; empty for a single measurement.
    claims : list of HeldClaim
        What a label states, held against what was measured.
    parts : dict of str to PartResult
        What else the record holds, reduced.
    unit : str or None
        In which flows were asked for.
    """

    record: Record
    flows: list[FlowResult]
    findings: list[Finding]
    coverage: float
    seed: int
    samples: int | None = None
    rows: dict[str, list[str]] | None = None
    together: list[Together] = field(default_factory=list)
    claims: list[HeldClaim] = field(default_factory=list)
    parts: dict[str, PartResult] = field(default_factory=dict)
    unit: str | None = None

    def __repr__(self) -> str:
        more = "".join(f", {x!r}" for x in (self.together, list(self.parts.values()), self.claims) if x)
        return f"<Result of {self.record.name}: {self.flows!r}{more}>"

    @property
    def comparisons(self) -> list[Pair]:
        """Every two measurements of one flow held against each other."""
        return [pair for group in self.together for pair in group.pairs]

    @property
    def combined(self) -> CombinedFlow | None:
        """One flow of the first group of measurements that agree; None where none do, or there is one alone."""
        return next((group.combined for group in self.together if group.combined is not None), None)

    @property
    def all_findings(self) -> list[Finding]:
        """Of every measurement, of what they say together, of the claims and of the record."""
        found = [f for flow in self.flows for f in flow.findings]
        for group in self.together:
            found += [*group.findings, *(group.combined.findings if group.combined is not None else ())]
        found += [f for part in self.parts.values() for f in part.findings]
        found += [f for claim in self.claims for f in claim.findings]
        return found + self.findings

    @property
    def flow_unit(self) -> str:
        """In which flows are printed: as asked for, else as the record says."""
        unit: str = self.unit or self.record.heading.value("flow_unit") or "m3/h"
        return unit

    @property
    def flow(self) -> Quantity:
        """The first measurement's own flow."""
        return self.flows[0].main

    def __iter__(self) -> Iterator[FlowResult]:
        return iter(self.flows)

    def to_frame(self) -> pd.DataFrame:
        """Every quantity of every measurement as a pandas frame, one line each (or one a row of the batch).

        Flags of a flow stand on all its lines. Those of a part have lines of their own, ``flag`` in place of the
        quantity; only its alarms are on its numbers too.
        """
        from flowrig.records.frames import frame

        return frame(list(self.lines()))

    def lines(self) -> Iterator[dict[str, Any]]:
        """The frame's lines, without pandas."""
        for flow in self.flows:
            for q in flow.quantities.values():
                yield from self._lines(flow.name, q, [*flow.findings, *self.findings])
        for group in self.together:
            for pair in group.pairs:
                [line] = self._lines(pair.difference.label, pair.difference, group.findings)
                yield line | {"flags": pair.verdict}
            if group.combined is not None:
                for q in group.combined.quantities.values():
                    yield from self._lines(group.combined.name, q, [*group.combined.findings, *self.findings])
        for part in self.parts.values():
            # a part tells of many things: its flags have lines of their own, and no number stands without an alarm
            alarms = [f for f in part.findings if f.severity == "alarm"]
            for q in part.quantities.values():
                yield from self._lines(part.title, q, alarms)
            yield from map(self._flag_line, repeat(part.title), part.findings)
        for claim in self.claims:
            for q in claim.ratios:
                yield from self._lines(q.label, q, claim.findings)
            if not claim.ratios:
                words = {"measurement": f"claim: {claim.name}", "quantity": claim.name, "label": claim.name}
                words["unit"] = claim.unit
                said = "; ".join([NOT_MEASURED, *codes(claim.findings)])
                yield {**words, **BLANK, "interval_from": "", "flags": said, "message": ""}

    def _lines(self, name: str, q: Quantity, findings: list[Finding]) -> Iterator[dict[str, Any]]:
        columns = [np.atleast_1d(a) for a in (q.value, q.u, q.low, q.high, q.estimate.dof)]
        for i, (value, u, low, high, dof) in enumerate(zip(*np.broadcast_arrays(*columns), strict=True)):
            said = codes(findings, i if self.rows is not None else None)
            yield {
                **({"row": i + 1} if self.rows is not None else {}),
                "measurement": name,
                "quantity": q.name,
                "label": q.label,
                "unit": q.unit,
                "value": float(value),
                "standard_uncertainty": float(u),
                "low": float(low) if math.isfinite(low) else math.nan,
                "high": float(high) if math.isfinite(high) else math.nan,
                "coverage": self.coverage,
                "dof": float(dof),
                "interval_from": interval_source(q, i),
                "flags": "; ".join(said),
                "message": "",
            }

    def _flag_line(self, name: str, finding: Finding) -> dict[str, Any]:
        words = {"measurement": name, "quantity": FLAG, "label": "", "unit": ""}
        row = {"row": ""} if self.rows is not None else {}
        return {**row, **words, **BLANK, "interval_from": "", "flags": marked(finding), "message": finding.message}


FLAG = "flag"  # in place of a quantity's name, on a line that holds a flag alone
BLANK = dict.fromkeys(("value", "standard_uncertainty", "low", "high", "coverage", "dof"), math.nan)
NOT_MEASURED = "not measured in this record"


def unused(name: str, taken: Collection[str]) -> str:
    """The name, with a number behind it if it is taken."""
    number, found = 1, name
    while found in taken:
        number += 1
        found = f"{name} ({number})"
    return found


def names_apart(flows: Sequence[FlowResult]) -> None:
    """Measurements of one name get a number behind it, to be told apart in a comparison and when stored."""
    taken: list[str] = []
    for flow in flows:
        flow.name = unused(flow.name, taken)
        taken.append(flow.name)


def interval_source(q: Quantity, row: int = 0) -> str:
    if q.drawn is not None:
        return "monte carlo" if q.drawn[row] else "linear"
    return q.interval.source


def marked(finding: Finding) -> str:
    """The code, an alarm marked as such."""
    return f"ALARM {finding.code}" if finding.severity == "alarm" else finding.code


def codes(findings: list[Finding], row: int | None = None) -> list[str]:
    """Flag codes, each once; those of one row where `row` is given."""
    chosen = [f for f in findings if row is None or f.rows is None or bool(f.rows[row])]
    return list(dict.fromkeys(marked(f) for f in chosen))
